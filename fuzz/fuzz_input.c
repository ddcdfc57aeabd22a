/* Bytes of a job from memory: plain, gzip, zstd. SPDX-License-Identifier: Apache-2.0
 * Promises: the cap holds; status and error agree; the place lies in the input; a second reading, in other pieces, gives
 * the same bytes and the same end; the hash does not depend on what unpacks. */
#include <string.h>

#include "base/input.h"
#include "fuzz.h"

enum { MOST = 600000 };

/* Read to the end in pieces; a running sum stands for the bytes. */
static po_status read_all(po_input *input, size_t piece, size_t *ret_n, uint64_t *ret_sum, po_err *err)
{
    static unsigned char buf[300000];
    *ret_n = 0;
    *ret_sum = 14695981039346656037u; /* FNV-1a, 64 bit */
    for (;;) {
        size_t n = 12345;
        po_status s = po_input_read(input, buf, piece, &n, err);
        if (s != PO_OK) {
            return s;
        }
        PROMISE(n <= piece);
        if (n == 0) {
            return s;
        }
        for (size_t i = 0; i < n; i++) {
            *ret_sum = (*ret_sum ^ buf[i]) * 1099511628211u;
        }
        *ret_n += n;
        PROMISE(*ret_n <= MOST);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    po_source source = {.data = data, .n_bytes = n};
    po_input *input;
    po_err err = {.code = PO_OK}, err2 = {.code = PO_OK};
    PROMISE(po_input_open(&source, MOST, true, &input, &err) == PO_OK);
    PROMISE(po_input_raw_total(input) == n);
    size_t got, got2;
    uint64_t sum, sum2;
    po_status s = read_all(input, 4096, &got, &sum, &err);
    PROMISE(s == PO_OK || s == PO_E_SYNTAX || s == PO_E_LIMIT);
    PROMISE(s == err.code);
    PROMISE(s == PO_OK || err.msg[0]);
    PROMISE(s != PO_E_SYNTAX || err.byte <= n);
    PROMISE(s != PO_OK || po_input_raw_done(input) == n);
    char hex[65], hex2[65];
    PROMISE(po_input_sha256(input, hex, &err2) == PO_OK && strlen(hex) == 64);
    PROMISE(po_input_again(input, &err2) == PO_OK);
    po_status s2 = read_all(input, 300000, &got2, &sum2, &err2);
    PROMISE(s2 == s && got2 == got && sum2 == sum);
    PROMISE(s == PO_OK || (err2.byte == err.byte && strcmp(err2.msg, err.msg) == 0));
    PROMISE(po_input_sha256(input, hex2, &err2) == PO_OK && strcmp(hex, hex2) == 0);
    po_input_close(input);
    return 0;
}
