/* Small helps with text. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_BASE_TEXT_H
#define PO_BASE_TEXT_H

#include <stdbool.h>
#include <stddef.h>

#include "proveout/arena.h"

/* A text that grows, in an arena. A failed append is remembered in `failed`; later ones do nothing. */
typedef struct po_text {
    po_arena *arena;
    char *data; /* always ended once something was appended; NULL before */
    size_t n, cap;
    bool failed;
} po_text;

void po_text_init(po_text *text, po_arena *arena);
void po_text_add(po_text *text, const char *s);
void po_text_add_n(po_text *text, const void *s, size_t n);
void po_text_printf(po_text *text, const char *format, ...) PO_PRINTF(2, 3);

/* Length of the UTF-8 character at p, 0 when it is none (overlong, surrogate, beyond U+10FFFF, cut short; RFC 3629 section 4).
 * left: bytes that may be looked at, at least 1. */
size_t po_utf8_length(const void *p, size_t left);

/* ASCII case-insensitive equality. */
bool po_text_same(const char *a, const char *b);
/* Number of insertions, deletions, replacements and swaps of neighbours between two short words (ASCII case ignored;
 * words beyond 63 bytes are cut). Method: optimal string alignment (Damerau 1964, Wagner & Fischer 1974). */
size_t po_text_distance(const char *a, const char *b);

#endif
