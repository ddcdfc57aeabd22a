/* The codes that stand on slips (proving.h). SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "desk/proving.h"

/* Seven random characters (34 bits) and a check character; 0 O 1 I L U, and Z, which reads like 2, are left out. Only desk roles
 * may look one up, so that guessing is no way in. */
static const char letters[] = "23456789ABCDEFGHJKMNPQRSTVWXY";
enum { CODE_LETTERS = sizeof letters - 1, CODE_DIGITS = 7 };

/* Modulo 29, a prime: the sum of weights 2 to 8 times values; one wrong character or a swap of any two changes it always. */
static char check_letter(const int digits[CODE_DIGITS])
{
    int sum = 0;
    for (int i = 0; i < CODE_DIGITS; i++) {
        sum += (i + 2) * digits[i];
    }
    return letters[sum % CODE_LETTERS];
}

void desk_slip_code_new(po_desk *desk, char ret[DESK_SLIP_CODE])
{
    int digits[CODE_DIGITS];
    char plain[CODE_DIGITS + 1];
    for (int i = 0; i < CODE_DIGITS; i++) {
        uint8_t byte;
        do {
            desk->crypt.randombytes_buf(&byte, 1);
        } while (byte >= 256 / CODE_LETTERS * CODE_LETTERS);
        digits[i] = byte % CODE_LETTERS;
        plain[i] = letters[digits[i]];
    }
    plain[CODE_DIGITS] = check_letter(digits);
    snprintf(ret, DESK_SLIP_CODE, "%.4s-%.4s", plain, plain + 4);
}

bool desk_slip_code_read(const char *text, char ret[DESK_SLIP_CODE])
{
    int digits[CODE_DIGITS + 1], n = 0;
    char plain[CODE_DIGITS + 2] = "";
    for (const char *p = text; *p; p++) {
        char c = *p >= 'a' && *p <= 'z' ? (char)(*p - 'a' + 'A') : *p;
        if (c == '-' || c == ' ') {
            continue;
        }
        const char *at = strchr(letters, c);
        if (!at || n > CODE_DIGITS) {
            return false;
        }
        plain[n] = c;
        digits[n++] = (int)(at - letters);
    }
    if (n != CODE_DIGITS + 1 || plain[CODE_DIGITS] != check_letter(digits)) {
        return false;
    }
    snprintf(ret, DESK_SLIP_CODE, "%.4s-%.4s", plain, plain + 4);
    return true;
}
