/* Small helps with text. SPDX-License-Identifier: Apache-2.0
 *
 * The distance is the optimal string alignment: the recurrence of Wagner and Fischer ("The String-to-String Correction
 * Problem", J. ACM 21, 1974) with Damerau's swap of neighbours ("A technique for computer detection and correction of
 * spelling errors", Comm. ACM 7, 1964), three rows at a time. No locale is asked: letters are ASCII. */
#include "base/text.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

void po_text_init(po_text *text, po_arena *arena)
{
    *text = (po_text){.arena = arena};
}

/* Room for n more bytes and the ending zero. */
static bool make_room(po_text *text, size_t n)
{
    if (text->failed) {
        return false;
    }
    size_t need;
    if (__builtin_add_overflow(text->n, n, &need) || need == SIZE_MAX) {
        text->failed = true;
        return false;
    }
    need++;
    if (need > text->cap) {
        size_t cap = text->cap ? text->cap : 64;
        while (cap < need) {
            cap = cap > SIZE_MAX / 2 ? need : cap * 2;
        }
        char *data = po_arena_zeros(text->arena, cap, 1);
        if (!data) {
            text->failed = true;
            return false;
        }
        if (text->n) {
            memcpy(data, text->data, text->n);
        }
        text->data = data;
        text->cap = cap;
    }
    return true;
}

void po_text_add_n(po_text *text, const void *s, size_t n)
{
    if (make_room(text, n)) {
        if (n) {
            memcpy(text->data + text->n, s, n);
        }
        text->n += n;
        text->data[text->n] = 0;
    }
}

void po_text_add(po_text *text, const char *s)
{
    po_text_add_n(text, s, strlen(s));
}

void po_text_printf(po_text *text, const char *format, ...)
{
    va_list args, again;
    va_start(args, format);
    va_copy(again, args);
    /* Most pieces fit into what is there already. */
    size_t room = text->failed ? 0 : text->cap - text->n;
    int n = vsnprintf(room ? text->data + text->n : NULL, room, format, args);
    if (n < 0) {
        text->failed = true;
    } else if ((size_t)n >= room && make_room(text, (size_t)n)) {
        vsnprintf(text->data + text->n, (size_t)n + 1, format, again);
    }
    if (!text->failed) {
        text->n += (size_t)n;
    } else if (room) {
        text->data[text->n] = 0; /* what did not fit is not half there */
    }
    va_end(again);
    va_end(args);
}

static unsigned char lower(char c)
{
    return (unsigned char)(c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c);
}

size_t po_utf8_length(const void *bytes, size_t left)
{
    const unsigned char *p = bytes;
    unsigned c = p[0];
    size_t n = c < 0x80 ? 1 : c >= 0xc2 && c <= 0xdf ? 2 : (c & 0xf0) == 0xe0 ? 3 : c >= 0xf0 && c <= 0xf4 ? 4 : 0;
    if (n == 0 || n > left) {
        return 0;
    }
    for (size_t i = 1; i < n; i++) {
        if ((p[i] & 0xc0) != 0x80) {
            return 0;
        }
    }
    if ((c == 0xe0 && p[1] < 0xa0) || (c == 0xed && p[1] > 0x9f) || (c == 0xf0 && p[1] < 0x90) ||
        (c == 0xf4 && p[1] > 0x8f)) {
        return 0;
    }
    return n;
}

bool po_text_same(const char *a, const char *b)
{
    while (*a && lower(*a) == lower(*b)) {
        a++;
        b++;
    }
    return lower(*a) == lower(*b);
}

size_t po_text_distance(const char *a, const char *b)
{
    enum { MOST = 63 };
    size_t n_a = strnlen(a, MOST), n_b = strnlen(b, MOST);
    size_t rows[3][MOST + 1];
    size_t *before = rows[0], *above = rows[1], *row = rows[2];
    for (size_t j = 0; j <= n_b; j++) {
        above[j] = j;
        before[j] = 0;
    }
    for (size_t i = 1; i <= n_a; i++) {
        row[0] = i;
        for (size_t j = 1; j <= n_b; j++) {
            size_t best = above[j - 1] + (lower(a[i - 1]) != lower(b[j - 1]));
            best = above[j] + 1 < best ? above[j] + 1 : best;
            best = row[j - 1] + 1 < best ? row[j - 1] + 1 : best;
            if (i > 1 && j > 1 && lower(a[i - 1]) == lower(b[j - 2]) && lower(a[i - 2]) == lower(b[j - 1]) &&
                before[j - 2] + 1 < best) {
                best = before[j - 2] + 1;
            }
            row[j] = best;
        }
        size_t *free_row = before;
        before = above;
        above = row;
        row = free_row;
    }
    return above[n_b];
}
