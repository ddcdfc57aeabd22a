/* Bitmaps: thick lines by spans, erosion by shifts. SPDX-License-Identifier: Apache-2.0 */
#include "geometry/bitmap.h"

#include <limits.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "geometry/line_shape.h"

bool po_bitmap_init(po_bitmap *map, int width, int height)
{
    memset(map, 0, sizeof *map);
    map->width = width;
    map->height = height;
    map->stride = ((size_t)width + 63) / 64 + 1;
    map->bits = calloc(map->stride * (size_t)(height + 1), sizeof *map->bits);
    return map->bits != NULL;
}

void po_bitmap_done(po_bitmap *map)
{
    free(map->bits);
    memset(map, 0, sizeof *map);
}

void po_bitmap_clear(po_bitmap *map)
{
    if (map->used.x0 < map->used.x1) {
        size_t w0 = (size_t)map->used.x0 >> 6, w1 = ((size_t)map->used.x1 + 63) >> 6;
        for (int y = map->used.y0; y < map->used.y1; y++) {
            memset(map->bits + (size_t)y * map->stride + w0, 0, (w1 - w0) * sizeof *map->bits);
        }
    }
    memset(&map->used, 0, sizeof map->used);
}

static void widen(po_cells *c, int x0, int y0, int x1, int y1)
{
    if (c->x0 >= c->x1) {
        *c = (po_cells){x0, y0, x1, y1};
        return;
    }
    c->x0 = x0 < c->x0 ? x0 : c->x0;
    c->y0 = y0 < c->y0 ? y0 : c->y0;
    c->x1 = x1 > c->x1 ? x1 : c->x1;
    c->y1 = y1 > c->y1 ? y1 : c->y1;
}

static inline void or_span(uint64_t *row, int x0, int x1) /* [x0, x1], not empty */
{
    unsigned w0 = (unsigned)x0 >> 6, w1 = (unsigned)x1 >> 6;
    uint64_t first = ~0ull << (x0 & 63), last = ~0ull >> (63 - (x1 & 63));
    if (w1 - w0 <= 1) { /* one word or two, without a branch on which: that one would be guessed wrong too often */
        uint64_t two = (uint64_t)(w0 == w1) - 1;
        row[w0] |= first & (last | two);
        row[w1] |= last & (first | two);
        return;
    }
    row[w0] |= first;
    for (unsigned w = w0 + 1; w < w1; w++) {
        row[w] = ~0ull;
    }
    row[w1] |= last;
}

void po_bitmap_set_span(po_bitmap *map, int y, int x0, int x1)
{
    x0 = x0 < 0 ? 0 : x0;
    x1 = x1 > map->width ? map->width : x1;
    if (y < 0 || y >= map->height || x0 >= x1) {
        return;
    }
    or_span(map->bits + (size_t)y * map->stride, x0, x1 - 1);
    widen(&map->used, x0, y, x1, y + 1);
}

int po_line_spans(float ax, float ay, float bx, float by, float radius, int *row, int32_t lo[PO_SPAN_ROWS],
                  int32_t hi[PO_SPAN_ROWS])
{
    line_shape s = shape_of(ax, ay, bx, by, radius);
    int first = whole(ceilf(s.ay - radius - 0.5f)), last = whole(floorf(s.by + radius - 0.5f));
    if (*row == INT_MIN) {
        *row = first;
    }
    int n = last - *row + 1;
    if (n <= 0) {
        return 0;
    }
    n = n > PO_SPAN_ROWS ? PO_SPAN_ROWS : n;
    spans(&s, *row, n, lo, hi);
    *row += n;
    return n;
}

void po_cells_join(po_cells *a, const po_cells *b)
{
    if (b->x0 < b->x1) {
        widen(a, b->x0, b->y0, b->x1, b->y1);
    }
}

void po_bitmap_line(po_bitmap *map, float ax, float ay, float bx, float by, float radius)
{
    po_bitmap_line_rows(map, ax, ay, bx, by, radius, 0, map->height, &map->used);
}

MANY_TARGETS
void po_bitmap_line_rows(po_bitmap *map, float ax, float ay, float bx, float by, float radius, int y0, int y1,
                         po_cells *used)
{
    line_shape s = shape_of(ax, ay, bx, by, radius);
    float x_min = min_f(ax, bx) - radius, x_max = max_f(ax, bx) + radius;
    if (!(s.by + radius >= 0 && s.ay - radius <= (float)map->height && x_max >= 0 && x_min <= (float)map->width)) {
        return;
    }
    int first = whole(ceilf(s.ay - radius - 0.5f)), last = whole(floorf(s.by + radius - 0.5f));
    first = first < y0 ? y0 : first;
    last = last >= y1 ? y1 - 1 : last;
    if (first > last) {
        return;
    }
    int x0 = whole(floorf(x_min)), x1 = whole(ceilf(x_max)) + 1;
    x0 = x0 < 0 ? 0 : x0;
    x1 = x1 > map->width ? map->width : x1;
    bool inside = x_min >= 1 && x_max <= (float)(map->width - 2);
#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__
    const bool narrow = inside && x1 - (x0 & ~7) <= 64; /* the stride has a word to spare */
#else
    const bool narrow = false;
#endif
    int32_t lo[16], hi[16];
    for (int row = first; row <= last; row += 16) {
        spans(&s, row, 16, lo, hi);
        int n = last - row + 1 < 16 ? last - row + 1 : 16;
        uint64_t *bits = map->bits + (size_t)row * map->stride;
        if (narrow) { /* a row's cells lie in eight bytes, wherever those begin */
            for (int i = 0; i < n; i += 8) {
                uint64_t rows[8];
                bits_of_rows(lo + i, hi + i, x0 & ~7, rows);
                for (int k = 0; k < 8 && k < n - i; k++, bits += map->stride) {
                    uint64_t now;
                    char *at = (char *)bits + (x0 >> 3);
                    memcpy(&now, at, sizeof now);
                    now |= rows[k];
                    memcpy(at, &now, sizeof now);
                }
            }
        } else if (inside) {
            for (int i = 0; i < n; i++, bits += map->stride) {
                if (lo[i] <= hi[i]) {
                    or_span(bits, lo[i], hi[i]);
                }
            }
        } else {
            for (int i = 0; i < n; i++, bits += map->stride) {
                int a = lo[i] < 0 ? 0 : lo[i], b = hi[i] >= map->width ? map->width - 1 : hi[i];
                if (a <= b) {
                    or_span(bits, a, b);
                }
            }
        }
    }
    widen(used, x0, first, x1, last + 1);
}

/* a &= a shifted towards lower x by n cells, over a row of w words */
static void and_shifted(uint64_t *row, size_t w, int n)
{
    size_t words = (size_t)n >> 6;
    int bits = n & 63;
    for (size_t i = 0; i < w; i++) {
        uint64_t a = i + words < w ? row[i + words] : 0, b = i + words + 1 < w ? row[i + words + 1] : 0;
        row[i] &= bits ? a >> bits | b << (64 - bits) : a;
    }
}

void po_bitmap_erode(const po_bitmap *in, po_cells area, bool empty, int side, po_bitmap *out)
{
    size_t w0 = (size_t)area.x0 >> 6, w = (((size_t)area.x1 + 63) >> 6) - w0;
    int rows = area.y1 - area.y0;
    if (area.x0 >= area.x1 || rows <= 0) {
        return;
    }
    for (int y = 0; y < rows; y++) {
        const uint64_t *from = in->bits + (size_t)(area.y0 + y) * in->stride + w0;
        uint64_t *to = out->bits + (size_t)(area.y0 + y) * out->stride + w0;
        for (size_t i = 0; i < w; i++) {
            to[i] = empty ? ~from[i] : from[i];
        }
        to[0] &= ~0ull << (area.x0 & 63);
        if (area.x1 & 63) {
            to[w - 1] &= ~0ull >> (64 - (area.x1 & 63));
        }
        for (int done = 1; done < side;) { /* after this, a bit says: this cell and done - 1 cells to its right */
            int step = done < side - done ? done : side - done;
            and_shifted(to, w, step);
            done += step;
        }
    }
    for (int done = 1; done < side;) {
        int step = done < side - done ? done : side - done;
        for (int y = 0; y < rows; y++) {
            uint64_t *to = out->bits + (size_t)(area.y0 + y) * out->stride + w0;
            if (y + step < rows) {
                const uint64_t *other = to + (size_t)step * out->stride;
                for (size_t i = 0; i < w; i++) {
                    to[i] &= other[i];
                }
            } else {
                memset(to, 0, w * sizeof *to);
            }
        }
        done += step;
    }
    widen(&out->used, area.x0, area.y0, area.x1, area.y1);
}
