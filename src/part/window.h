/* A stretch of a file that moves along. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_PART_WINDOW_H
#define PO_PART_WINDOW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/input.h"

/* bytes[at .. n) are at hand; a zero byte always stands behind them. */
typedef struct po_window {
    po_input *input;
    unsigned char *bytes;
    size_t at, n, cap;
    uint64_t start; /* offset in the file of bytes[0] */
    uint64_t lines; /* ends of lines before bytes[0], when count_lines */
    bool count_lines;
    bool ended; /* no more follows bytes[n] */
} po_window;

/* cap bytes at most at a time. PO_E_NOMEM. The input is borrowed. */
po_status po_window_init(po_window *window, po_input *input, size_t cap, po_err *err) PO_MUST_USE;
void po_window_done(po_window *window);
/* Drop what lies before at, and read until the window is full or the file ends. */
po_status po_window_fill(po_window *window, po_err *err) PO_MUST_USE;
/* 1-based line and column of bytes[at + further]; lines must be counted. */
void po_window_place(const po_window *window, const unsigned char *p, uint32_t *ret_line, uint32_t *ret_column);

#endif
