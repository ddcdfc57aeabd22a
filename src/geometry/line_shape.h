/* Spans of a thick line, row by row: shared by bitmap.c and relief.c. SPDX-License-Identifier: Apache-2.0
 *
 * A thick line is convex, so each row holds one span. Its left and right ends follow the disc at one end, the straight
 * side, or the disc at the other: which one is told by the heights of the two points where the side touches the discs.
 * Rows are worked out in groups, so that the compiler can use vector units. */
#ifndef PO_GEOMETRY_LINE_SHAPE_H
#define PO_GEOMETRY_LINE_SHAPE_H

#include <math.h>
#include <stdint.h>
#include <string.h>

/* One loop for many processors; the answer is the same, since nothing is contracted or reordered. */
#if defined(__x86_64__) && defined(__gnu_linux__) && defined(__GNUC__) && !defined(__clang__) &&                       \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define MANY_TARGETS __attribute__((target_clones("default", "avx2", "arch=x86-64-v4")))
#else
#define MANY_TARGETS
#endif

/* fminf and fmaxf are calls, for the sake of NAN; there is none here. */
static inline float min_f(float a, float b)
{
    return a < b ? a : b;
}

static inline float max_f(float a, float b)
{
    return a > b ? a : b;
}

/* To a whole number, held within what an int and the difference of two can hold: lines may come from anywhere. */
static inline int whole(float v)
{
    return v > 1e9f ? 1000000000 : v > -1e9f ? (int)v : -1000000000;
}

typedef struct line_shape { /* ay <= by */
    float ax, ay, bx, by, ux, inv_uy, slope, r, r2;
    float right_a, right_b, left_a, left_b; /* heights where the sides begin and end */
} line_shape;

static inline line_shape shape_of(float ax, float ay, float bx, float by, float r)
{
    line_shape s;
    if (by < ay) {
        float t = ax;
        ax = bx;
        bx = t;
        t = ay;
        ay = by;
        by = t;
    }
    float dx = bx - ax, dy = by - ay, len = sqrtf(dx * dx + dy * dy);
    float inv = len > 1e-6f ? 1 / len : 0;
    float ux = dx * inv, uy = dy * inv;
    s.ax = ax;
    s.ay = ay;
    s.bx = bx;
    s.by = by;
    s.ux = ux;
    s.inv_uy = 1 / max_f(uy, 1e-6f);
    s.slope = ux * s.inv_uy;
    s.r = r;
    s.r2 = r * r;
    s.right_a = ay - r * ux;
    s.right_b = by - r * ux;
    s.left_a = ay + r * ux;
    s.left_b = by + r * ux;
    return s;
}

static inline void spans(const line_shape *s, int row, int n, int32_t *restrict lo, int32_t *restrict hi)
{
    for (int i = 0; i < n; i++) {
        float y = (float)(row + i) + 0.5f, da = y - s->ay, db = y - s->by;
        float ha = sqrtf(max_f(0, s->r2 - da * da)), hb = sqrtf(max_f(0, s->r2 - db * db));
        float mid = s->ax + da * s->slope, side = s->r * s->inv_uy;
        float right = y < s->right_a ? s->ax + ha : y > s->right_b ? s->bx + hb : mid + side;
        float left = y < s->left_a ? s->ax - ha : y > s->left_b ? s->bx - hb : mid - side;
        lo[i] = (int32_t)max_f(min_f(ceilf(left - 0.5f), 1e9f), -1e9f); /* as whole(), in vectors */
        hi[i] = (int32_t)max_f(min_f(floorf(right - 0.5f), 1e9f), -1e9f);
    }
}

/* Bits of the cells lo .. hi of eight rows, from x0 on: 64 of them at most. */
#if defined(__GNUC__)
typedef int32_t eight_ints __attribute__((vector_size(32)));
typedef int64_t eight_longs __attribute__((vector_size(64)));
typedef uint64_t eight_words __attribute__((vector_size(64)));
static inline __attribute__((always_inline)) void bits_of_rows(const int32_t *lo, const int32_t *hi, int x0,
                                                               uint64_t rows[8])
{
    eight_ints a, b;
    memcpy(&a, lo, sizeof a);
    memcpy(&b, hi, sizeof b);
    a -= x0;
    b -= x0;
    a &= a > 0;
    eight_ints inside = b < 63;
    b = (b & inside) | (63 & ~inside);
    eight_longs some = __builtin_convertvector((eight_ints)(a <= b), eight_longs);
    eight_words from = __builtin_convertvector(a & 63, eight_words);
    eight_words to = __builtin_convertvector((63 - b) & 63, eight_words);
    eight_words all = from - from - 1;
    eight_words bits = (all << from) & (all >> to) & (eight_words)some;
    memcpy(rows, &bits, sizeof bits);
}
#else
static inline void bits_of_rows(const int32_t *lo, const int32_t *hi, int x0, uint64_t rows[8])
{
    for (int k = 0; k < 8; k++) {
        int32_t a = lo[k] < x0 ? 0 : lo[k] - x0, b = hi[k] > x0 + 63 ? 63 : hi[k] - x0;
        uint64_t bits = (~0ull << (a & 63)) & (~0ull >> ((63 - b) & 63));
        rows[k] = a <= b ? bits : 0;
    }
}
#endif

#endif
