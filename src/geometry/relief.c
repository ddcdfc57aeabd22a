/* Heights and labels in tiles of cells. SPDX-License-Identifier: Apache-2.0 */
#include "geometry/relief.h"

#include <float.h>
#include <stdlib.h>
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
    r->across = ((size_t)width + 7) / 8 + 1;
    if (r->across % 64 == 0) {
        r->across++; /* rows a power of two apart would fight for the same cache lines */
    }
    r->n_tiles = r->across * (((size_t)height + 7) / 8 + 1);
    r->tiles = zero_pages(r->n_tiles * sizeof *r->tiles);
    r->heights = zero_pages(r->n_tiles * 64 * sizeof *r->heights);
    r->labels = zero_pages(r->n_tiles * 64 * sizeof *r->labels);
    r->coarse_across = (r->across + 1) / 2;
    r->coarse_down = (r->n_tiles / r->across + 1) / 2;
    r->coarse = calloc(r->coarse_across * r->coarse_down, sizeof *r->coarse);
    if (!r->tiles || !r->heights || !r->labels || !r->coarse) {
        po_relief_done(r);
        return false;
    }
    return true;
}

void po_relief_done(po_relief *r)
{
    if (r->tiles) {
        munmap(r->tiles, r->n_tiles * sizeof *r->tiles);
    }
    if (r->heights) {
        munmap(r->heights, r->n_tiles * 64 * sizeof *r->heights);
    }
    if (r->labels) {
        munmap(r->labels, r->n_tiles * 64 * sizeof *r->labels);
    }
    free(r->coarse);
    memset(r, 0, sizeof *r);
}

/* Write cells of a tile through to the arrays behind it. over: whatever is there; then nothing is read, so that nobody has
 * to wait for memory that has long left the caches. Else only where z is higher. */
static void write_out(po_relief *r, size_t at, uint64_t cells, float z, uint16_t label, bool over)
{
    float *heights = r->heights + (at << 6);
    uint16_t *labels = r->labels + (at << 6);
    if (over && cells == ~0ull) {
        for (int i = 0; i < 64; i++) {
            heights[i] = z;
            labels[i] = label;
        }
        return;
    }
    for (; cells; cells &= cells - 1) {
        int i = __builtin_ctzll(cells);
        if (over || heights[i] < z) {
            heights[i] = z;
        }
        labels[i] = label;
    }
}

/* Everything that a tile holds goes to the arrays behind it. */
static void empty_tile(po_relief *r, size_t at)
{
    po_tile *t = &r->tiles[at];
    write_out(r, at, t->before & ~t->last, t->before_z, t->before_label, true);
    write_out(r, at, t->last, t->last_z, t->last_label, true);
    t->before = t->last = 0;
}

static inline size_t tile_at(const po_relief *r, unsigned i, unsigned j)
{
    return (size_t)j * r->across + i;
}

static void raise_most(po_relief *r, unsigned i, unsigned j, float z)
{
    float *most = &r->tiles[tile_at(r, i, j)].most,
          *coarse = &r->coarse[(size_t)(j >> 1) * r->coarse_across + (i >> 1)];
    *most = max_f(*most, z);
    *coarse = max_f(*coarse, z);
}

/* Cells that differ in height or label from what was painted last. */
static __attribute__((noinline)) void paint_other(po_relief *r, unsigned i, unsigned j, uint64_t cells, float z,
                                                  uint16_t label, bool top)
{
    size_t at = tile_at(r, i, j);
    po_tile *t = &r->tiles[at];
    if (top || z >= t->most) {
        uint64_t old = t->before & ~t->last & ~cells;
        if (old) {
            write_out(r, at, old, t->before_z, t->before_label, true);
        }
        t->before = t->last;
        t->before_z = t->last_z;
        t->before_label = t->last_label;
        t->last = cells;
        t->last_z = z;
        t->last_label = label;
        raise_most(r, i, j, z);
    } else {
        empty_tile(r, at);
        write_out(r, at, cells, z, label, false);
    }
}

static inline void paint(po_relief *r, unsigned i, unsigned j, uint64_t cells, float z, uint16_t label, bool top)
{
    po_tile *t = &r->tiles[tile_at(r, i, j)];
    bool same = (t->last_z == z) & (t->last_label == label) &
                ((int)top | (z >= t->most)); /* one branch: a guess less */
    if (__builtin_expect(same, 1)) {
        t->last |= cells;
    } else if (cells) {
        paint_other(r, i, j, cells, z, label, top);
    }
}

void po_relief_span(po_relief *r, int y, int x0, int x1, float z, uint16_t label, bool top)
{
    unsigned shift = ((unsigned)y & 7) << 3;
    for (int x = x0 & ~7; x < x1; x += 8) {
        unsigned cells = 255;
        cells &= x0 > x ? 255u << (x0 - x) : 255u;
        cells &= x1 < x + 8 ? 255u >> (x + 8 - x1) : 255u;
        paint(r, (unsigned)x >> 3, (unsigned)y >> 3, (uint64_t)(cells & 255) << shift, z, label, top);
    }
}

void po_relief_label_span(po_relief *r, int y, int x0, int x1, uint16_t label)
{
    size_t row = (size_t)((unsigned)y >> 3) * r->across;
    for (int x = x0; x < x1; x++) {
        size_t at = row + ((unsigned)x >> 3);
        if (x == x0 || (x & 7) == 0) {
            empty_tile(r, at);
            r->tiles[at].most = max_f(r->tiles[at].most, FLT_MIN); /* something is there */
        }
        r->labels[at << 6 | ((unsigned)y & 7) << 3 | ((unsigned)x & 7)] = label;
    }
}

void po_relief_raise(po_relief *r, int x, int y, float z)
{
    size_t at = (size_t)((unsigned)y >> 3) * r->across + ((unsigned)x >> 3);
    po_tile *t = &r->tiles[at];
    if (t->last | t->before) {
        empty_tile(r, at);
    }
    float *h = &r->heights[at << 6 | ((unsigned)y & 7) << 3 | ((unsigned)x & 7)];
    *h = max_f(*h, z);
    raise_most(r, (unsigned)x >> 3, (unsigned)y >> 3, z);
}

/* Eight rows of at most 64 cells to eight tiles: byte j of row k becomes byte k of tile j. */
#if defined(__x86_64__) && __has_builtin(__builtin_shufflevector)
typedef uint8_t bytes16 __attribute__((vector_size(16)));
typedef uint16_t words16 __attribute__((vector_size(16)));
typedef uint32_t longs16 __attribute__((vector_size(16)));
/* bytes of two rows side by side, then of four, then of eight */
#define TWO(v) ((words16)__builtin_shufflevector(v, v, 0, 8, 1, 9, 2, 10, 3, 11, 4, 12, 5, 13, 6, 14, 7, 15))
#define FOUR_LOW(v, w) ((longs16)__builtin_shufflevector(v, w, 0, 8, 1, 9, 2, 10, 3, 11))
#define FOUR_HIGH(v, w) ((longs16)__builtin_shufflevector(v, w, 4, 12, 5, 13, 6, 14, 7, 15))
#define EIGHT_LOW(v, w) __builtin_shufflevector(v, w, 0, 4, 1, 5)
#define EIGHT_HIGH(v, w) __builtin_shufflevector(v, w, 2, 6, 3, 7)
static inline __attribute__((always_inline)) void to_tiles(const uint64_t rows[8], uint64_t tiles[8])
{
    bytes16 v[4];
    memcpy(v, rows, sizeof v);
    words16 ab = TWO(v[0]), cd = TWO(v[1]), ef = TWO(v[2]), gh = TWO(v[3]);
    longs16 p = FOUR_LOW(ab, cd), q = FOUR_HIGH(ab, cd), s = FOUR_LOW(ef, gh), t = FOUR_HIGH(ef, gh);
    longs16 out[4] = {EIGHT_LOW(p, s), EIGHT_HIGH(p, s), EIGHT_LOW(q, t), EIGHT_HIGH(q, t)};
    memcpy(tiles, out, sizeof out);
}
#else
static inline void to_tiles(const uint64_t rows[8], uint64_t tiles[8])
{
    for (int j = 0; j < 8; j++) {
        tiles[j] = 0;
        for (int k = 0; k < 8; k++) {
            tiles[j] |= (rows[k] >> (8 * j) & 255) << (8 * k);
        }
    }
}
#endif

/* Eight rows of cells from (x0, row) on, at most 64 wide up to x1: into the tiles of one row of tiles or of two. last: of
 * all rows that are painted; tiles beyond may belong to another thread. */
static inline __attribute__((always_inline)) void paint_rows(po_relief *r, const int32_t *lo, const int32_t *hi,
                                                             int row, int last, int x0, int x1, float z, uint16_t label,
                                                             bool top)
{
    uint64_t rows[8], tiles[8];
    bits_of_rows(lo, hi, x0, rows);
    to_tiles(rows, tiles);
    unsigned n = x1 - x0 >= 64 ? 8 : (unsigned)(x1 - x0) / 8 + 1, i = (unsigned)x0 >> 3, j = (unsigned)row >> 3;
    unsigned shift = ((unsigned)row & 7) << 3;
    for (unsigned k = 0; k < n; k++) {
        paint(r, i + k, j, tiles[k] << shift, z, label, top);
    }
    if (shift && (row | 7) < last) {
        for (unsigned k = 0; k < n; k++) {
            paint(r, i + k, j + 1, tiles[k] >> (64 - shift), z, label, top);
        }
    }
}

MANY_TARGETS
void po_relief_line(po_relief *r, float ax, float ay, float bx, float by, float radius, int y0, int y1, float z,
                    uint16_t label, bool top)
{
    line_shape s = shape_of(ax, ay, bx, by, radius);
    int first = whole(ceilf(s.ay - radius - 0.5f)), last = whole(floorf(s.by + radius - 0.5f));
    first = first < y0 ? y0 : first;
    last = last >= y1 ? y1 - 1 : last;
    int box0 = (int)(min_f(ax, bx) - radius) & ~7, box1 = (int)(max_f(ax, bx) + radius);
    int32_t lo[16], hi[16];
    for (int row = first; row <= last; row += 16) {
        spans(&s, row, 16, lo, hi);
        for (int i = 0; i < 16; i++) {
            hi[i] = i > last - row ? -2000000000 : hi[i];
        }
        for (int i = 0; i < 16 && row + i <= last; i += 8) {
            int x0 = box0, x1 = box1;
            if (x1 - x0 >= 64) {
                x0 = INT32_MAX;
                x1 = INT32_MIN;
                for (int k = i; k < i + 8; k++) {
                    x0 = lo[k] < x0 && lo[k] <= hi[k] ? lo[k] : x0;
                    x1 = hi[k] > x1 && lo[k] <= hi[k] ? hi[k] : x1;
                }
                x0 &= ~7;
            }
            for (; x0 <= x1; x0 += 64) {
                paint_rows(r, lo + i, hi + i, row + i, last, x0, x1, z, label, top);
            }
        }
    }
}

void po_relief_at_least(const po_relief *r, po_cells area, float floor, po_bitmap *map)
{
    if (area.x0 >= area.x1 || area.y0 >= area.y1) {
        return;
    }
    size_t w0 = (size_t)area.x0 >> 6, w1 = ((size_t)area.x1 + 63) >> 6;
    for (int y = area.y0 & ~7; y < area.y1; y += 8) {
        int from = y < area.y0 ? area.y0 : y, to = y + 8 > area.y1 ? area.y1 : y + 8;
        for (size_t w = w0; w < w1; w++) {
            uint64_t tiles[8] = {0}, rows[8];
            for (size_t j = 0; j < 8 && (w << 3) + j < ((size_t)r->width + 7) / 8; j++) {
                size_t at = (size_t)((unsigned)y >> 3) * r->across + (w << 3) + j;
                const po_tile *t = &r->tiles[at];
                uint64_t known = t->last | t->before, cells = 0;
                if (t->most == 0) {
                    cells = 0 >= floor ? ~0ull : 0;
                } else if (t->most >= floor) {
                    for (uint64_t others = ~known; others; others &= others - 1) {
                        size_t k = (size_t)__builtin_ctzll(others);
                        cells |= (uint64_t)(r->heights[at << 6 | k] >= floor) << k;
                    }
                }
                cells |= t->before_z >= floor ? t->before & ~t->last : 0;
                tiles[j] = cells | (t->last_z >= floor ? t->last : 0);
            }
            to_tiles(tiles, rows); /* its own inverse */
            uint64_t wide = (w << 6) + 64 <= (size_t)r->width ? ~0ull : ~0ull >> ((w << 6) + 64 - (size_t)r->width);
            for (int k = from; k < to; k++) {
                map->bits[(size_t)k * map->stride + w] = rows[k - y] & wide;
            }
        }
    }
    map->used = (po_cells){(int)(w0 << 6), area.y0, (int)(w1 << 6) < r->width ? (int)(w1 << 6) : r->width, area.y1};
}
