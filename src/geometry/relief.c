/* Heights and labels in squares of cells. SPDX-License-Identifier: Apache-2.0 */
#include "geometry/relief.h"

#include <string.h>
#include <sys/mman.h>

#include "geometry/line_shape.h"

/* Zero pages on demand: a bed is large, a part is small. */
static void *zero_pages(size_t bytes)
{
    void *p = mmap(NULL, bytes, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS | MAP_NORESERVE, -1, 0);
    return p == MAP_FAILED ? NULL : p;
}

bool po_relief_init(po_relief *r, int width, int height)
{
    memset(r, 0, sizeof *r);
    r->width = width;
    r->height = height;
    r->squares = ((size_t)width + 3) / 4 + 1;
    if (r->squares % 64 == 0) {
        r->squares++; /* rows a power of two apart would fight for the same cache lines */
    }
    r->cells = r->squares * (((size_t)height + 3) / 4 + 1) * 16;
    r->heights = zero_pages(r->cells * sizeof *r->heights);
    r->labels = zero_pages(r->cells * sizeof *r->labels);
    if (!r->heights || !r->labels) {
        po_relief_done(r);
        return false;
    }
    return true;
}

void po_relief_done(po_relief *r)
{
    if (r->heights) {
        munmap(r->heights, r->cells * sizeof *r->heights);
    }
    if (r->labels) {
        munmap(r->labels, r->cells * sizeof *r->labels);
    }
    memset(r, 0, sizeof *r);
}

#if defined(__GNUC__)
typedef float four_floats __attribute__((vector_size(16)));
typedef uint32_t four_bits __attribute__((vector_size(16)));
typedef uint64_t four_labels __attribute__((may_alias));

/* Some cells of one square's row, by a mask of whole cells; no branch on how many. */
static inline void set_some(float *heights, uint16_t *labels, four_bits mask, uint64_t label_mask, float z,
                            uint64_t label4, bool top)
{
    four_floats *h = (four_floats *)heights;
    four_floats now = *h, want = {z, z, z, z};
    if (!top) {
        mask &= (four_bits)(want > now);
    }
    *h = (four_floats)(((four_bits)want & mask) | ((four_bits)now & ~mask));
    four_labels *l = (four_labels *)labels;
    *l = (label4 & label_mask) | (*l & ~label_mask);
}

static const uint32_t from_left[4][4] = {/* cells from k on */
                                         {~0u, ~0u, ~0u, ~0u},
                                         {0, ~0u, ~0u, ~0u},
                                         {0, 0, ~0u, ~0u},
                                         {0, 0, 0, ~0u}};
static const uint32_t to_right[4][4] = {/* cells up to k */
                                        {~0u, 0, 0, 0},
                                        {~0u, ~0u, 0, 0},
                                        {~0u, ~0u, ~0u, 0},
                                        {~0u, ~0u, ~0u, ~0u}};

static inline void span(float *heights, uint16_t *labels, int x0, int x1, float z, uint64_t label4, bool top)
{
    /* x1 is the last cell; pointers are to the row of squares, at this row of cells */
    unsigned s0 = (unsigned)x0 >> 2, s1 = (unsigned)x1 >> 2, l = (unsigned)x0 & 3, r = (unsigned)x1 & 3;
    four_bits left, right;
    memcpy(&left, from_left[l], sizeof left);
    memcpy(&right, to_right[r], sizeof right);
    uint64_t label_left = ~0ull << (16 * l), label_right = ~0ull >> (16 * (3 - r));
    if (s0 == s1) {
        set_some(heights + 16 * s0, labels + 16 * s0, left & right, label_left & label_right, z, label4, top);
        return;
    }
    set_some(heights + 16 * s0, labels + 16 * s0, left, label_left, z, label4, top);
    const four_bits all = {~0u, ~0u, ~0u, ~0u};
    for (unsigned s = s0 + 1; s < s1; s++) {
        set_some(heights + 16 * s, labels + 16 * s, all, ~0ull, z, label4, top);
    }
    set_some(heights + 16 * s1, labels + 16 * s1, right, label_right, z, label4, top);
}
#else
static inline void span(float *heights, uint16_t *labels, int x0, int x1, float z, uint64_t label4, bool top)
{
    for (int x = x0; x <= x1; x++) {
        size_t at = 16 * ((size_t)x >> 2) + ((size_t)x & 3);
        heights[at] = top || heights[at] < z ? z : heights[at];
        labels[at] = (uint16_t)label4;
    }
}
#endif

void po_relief_span(po_relief *r, int y, int x0, int x1, float z, uint16_t label, bool top)
{
    if (x0 < x1) {
        size_t at = po_relief_at(r, 0, y);
        span(r->heights + at, r->labels + at, x0, x1 - 1, z, label * 0x0001000100010001ull, top);
    }
}

#if defined(__GNUC__)
typedef float square_floats __attribute__((vector_size(64)));
typedef int32_t square_bits __attribute__((vector_size(64)));
typedef uint16_t square_labels __attribute__((vector_size(32)));
typedef int16_t square_halves __attribute__((vector_size(32)));

/* The cells of one square whose bits are set, lowest bit first. */
static inline __attribute__((always_inline)) void set_square(float *heights, uint16_t *labels, uint32_t mask, float z,
                                                             uint16_t label, bool top)
{
    const square_bits bit = {1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024, 2048, 4096, 8192, 16384, 32768};
    const square_halves half = {1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024, 2048, 4096, 8192, 16384, -32768};
    square_floats *h = (square_floats *)heights, now = *h;
    square_bits want = (bit & (int32_t)mask) != 0;
    if (!top) {
        want &= now < z;
    }
    *h = (square_floats)(((square_bits)(now * 0 + z) & want) | ((square_bits)now & ~want));
    square_labels *l = (square_labels *)labels;
    square_halves here = (half & (int16_t)(uint16_t)mask) != 0;
    *l = (square_labels)(((square_halves)(*l * 0 + label) & here) | ((square_halves)*l & ~here));
}
#endif

MANY_TARGETS
void po_relief_line(po_relief *r, float ax, float ay, float bx, float by, float radius, float z, uint16_t label,
                    bool top)
{
    line_shape s = shape_of(ax, ay, bx, by, radius);
    int first = whole(ceilf(s.ay - radius - 0.5f)), last = whole(floorf(s.by + radius - 0.5f));
    int32_t lo[16], hi[16];
    const uint64_t label4 = label * 0x0001000100010001ull;
    for (int row = first & ~3; row <= last; row += 16) {
        spans(&s, row, 16, lo, hi);
        for (int i = 0; i < 16 && row + i <= last; i += 4) { /* one row of squares */
            int x0 = INT32_MAX, x1 = INT32_MIN;
            for (int k = 0; k < 4; k++) {
                bool none = row + i + k < first || row + i + k > last || lo[i + k] > hi[i + k];
                lo[i + k] = none ? INT32_MAX : lo[i + k];
                hi[i + k] = none ? INT32_MIN : hi[i + k];
                x0 = lo[i + k] < x0 ? lo[i + k] : x0;
                x1 = hi[i + k] > x1 ? hi[i + k] : x1;
            }
            if (x0 > x1) {
                continue;
            }
            size_t at = po_relief_at(r, x0 & ~3, row + i);
#if defined(__GNUC__)
            int base = x0 & ~3;
            if (x1 - base < 60) { /* all four spans as bits of one word each */
                uint64_t bits[4];
                for (int k = 0; k < 4; k++) {
                    bool none = lo[i + k] > hi[i + k];
                    bits[k] = none ? 0 : (~0ull >> (63 - (hi[i + k] - lo[i + k]))) << (lo[i + k] - base);
                }
                for (int x = base; x <= x1; x += 4, at += 16) {
                    uint32_t mask = (uint32_t)((bits[0] & 15) | (bits[1] & 15) << 4 | (bits[2] & 15) << 8 |
                                               (bits[3] & 15) << 12);
                    for (int k = 0; k < 4; k++) {
                        bits[k] >>= 4;
                    }
                    set_square(r->heights + at, r->labels + at, mask, z, label, top);
                }
                continue;
            }
#endif
            for (int k = 0; k < 4; k++) {
                if (lo[i + k] <= hi[i + k]) {
                    size_t row_at = po_relief_at(r, 0, row + i + k);
                    span(r->heights + row_at, r->labels + row_at, lo[i + k], hi[i + k], z, label4, top);
                }
            }
        }
    }
}
