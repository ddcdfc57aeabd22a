/* Bars for a scanner: code 128. SPDX-License-Identifier: Apache-2.0
 *
 * ISO/IEC 15417: each sign is three bars and three spaces, 11 modules together; set C packs two digits into a sign. Digits in pairs at the
 * beginning go by set C, the rest by set B, so that the number of a run stays short and is read from afar. */
#include "slip/code128.h"

#include <stdbool.h>
#include <string.h>

enum { MOST = 48, SET_C_TO_B = 100, START_B = 104, START_C = 105, CHECK = 103 };

static const char *const patterns[106] = {
    "212222", "222122", "222221", "121223", "121322", "131222", "122213", "122312", "132212", "221213", "221312",
    "231212", "112232", "122132", "122231", "113222", "123122", "123221", "223211", "221132", "221231", "213212",
    "223112", "312131", "311222", "321122", "321221", "312212", "322112", "322211", "212123", "212321", "232121",
    "111323", "131123", "131321", "112313", "132113", "132311", "211313", "231113", "231311", "112133", "112331",
    "132131", "113123", "113321", "133121", "313121", "211331", "231131", "213113", "213311", "213131", "311123",
    "311321", "331121", "312113", "312311", "332111", "314111", "221411", "431111", "111224", "111422", "121124",
    "121421", "141122", "141221", "112214", "112412", "122114", "122411", "142112", "142211", "241211", "221114",
    "413111", "241112", "134111", "111242", "121142", "121241", "114212", "124112", "124211", "411212", "421112",
    "421211", "212141", "214121", "412121", "111143", "111341", "131141", "114113", "114311", "411113", "411311",
    "113141", "114131", "311141", "411131", "211412", "211214", "211232",
};
static const char stop[] = "2331112";

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* The text as signs, with its start; ret has room for MOST + 2. The number of them. */
static int signs_of(const char *text, uint8_t *ret)
{
    size_t n = strlen(text), digits = 0;
    int k = 0;
    while (is_digit(text[digits])) {
        digits++;
    }
    size_t paired = digits >= 4 || (digits == n && digits >= 2) ? digits - digits % 2 : 0;
    ret[k++] = paired ? START_C : START_B;
    for (size_t i = 0; i < paired; i += 2) {
        ret[k++] = (uint8_t)((text[i] - '0') * 10 + (text[i + 1] - '0'));
    }
    if (paired && paired < n) {
        ret[k++] = SET_C_TO_B;
    }
    for (size_t i = paired; i < n; i++) {
        ret[k++] = (uint8_t)(text[i] - ' ');
    }
    return k;
}

po_status po_code128(const char *text, po_arena *arena, const uint8_t **ret_widths, int *ret_n, int *ret_modules,
                     po_err *err)
{
    uint8_t signs[MOST + 3];
    size_t n = strlen(text);
    bool plain = n > 0 && n <= MOST;
    for (size_t i = 0; plain && i < n; i++) {
        plain = text[i] >= ' ' && text[i] <= '~';
    }
    if (!plain) {
        return po_fail(err, PO_E_RANGE, "bars are drawn of 1 to %d signs from blank to ~", MOST);
    }
    int k = signs_of(text, signs), sum = signs[0], modules = 0;
    for (int i = 1; i < k; i++) {
        sum += i * signs[i];
    }
    signs[k++] = (uint8_t)(sum % CHECK);
    int all = k * 6 + (int)sizeof stop - 1;
    uint8_t *widths = po_arena_zeros(arena, (size_t)all, 1);
    if (!widths) {
        return po_fail(err, PO_E_NOMEM, "no memory for the bars");
    }
    for (int i = 0; i < all; i++) {
        const char *p = i < k * 6 ? patterns[signs[i / 6]] + i % 6 : stop + (i - k * 6);
        widths[i] = (uint8_t)(*p - '0');
        modules += widths[i];
    }
    *ret_widths = widths;
    *ret_n = all;
    *ret_modules = modules;
    return PO_OK;
}
