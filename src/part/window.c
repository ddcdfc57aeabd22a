/* A stretch of a file that moves along. SPDX-License-Identifier: Apache-2.0 */
#include "part/window.h"

#include <stdlib.h>
#include <string.h>

po_status po_window_init(po_window *window, po_input *input, size_t cap, po_err *err)
{
    memset(window, 0, sizeof *window);
    window->bytes = malloc(cap + 1);
    if (!window->bytes) {
        return po_fail(err, PO_E_NOMEM, "no memory to read a part");
    }
    window->bytes[0] = 0;
    window->input = input;
    window->cap = cap;
    return PO_OK;
}

void po_window_done(po_window *window)
{
    free(window->bytes);
    window->bytes = NULL;
}

static uint64_t line_ends(const unsigned char *p, size_t n)
{
    uint64_t count = 0;
    for (size_t i = 0; i < n; i++) {
        count += p[i] == '\n';
    }
    return count;
}

po_status po_window_fill(po_window *window, po_err *err)
{
    if (window->at) {
        if (window->count_lines) {
            window->lines += line_ends(window->bytes, window->at);
        }
        memmove(window->bytes, window->bytes + window->at, window->n - window->at);
        window->start += window->at;
        window->n -= window->at;
        window->at = 0;
    }
    po_status s = PO_OK;
    size_t got;
    while (!window->ended && window->n < window->cap && s == PO_OK) {
        s = po_input_read(window->input, window->bytes + window->n, window->cap - window->n, &got, err);
        window->n += got;
        window->ended = s == PO_OK && got == 0;
    }
    window->bytes[window->n] = 0;
    return s;
}

void po_window_place(const po_window *window, const unsigned char *p, uint32_t *ret_line, uint32_t *ret_column)
{
    size_t n = (size_t)(p - window->bytes), column = 1;
    while (column <= n && p[-(ptrdiff_t)column] != '\n') {
        column++;
    }
    uint64_t line = window->lines + line_ends(window->bytes, n) + 1;
    *ret_line = line < UINT32_MAX ? (uint32_t)line : 0;
    *ret_column = column < UINT32_MAX ? (uint32_t)column : 0;
}
