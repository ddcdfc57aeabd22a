/* Runs of cells and the pieces they form. SPDX-License-Identifier: Apache-2.0
 *
 * Connected components by runs and union-find (He, Chao, Suzuki, IEEE Trans. Image Process. 17, 2008, in essence): two
 * runs of neighbouring rows belong together when they overlap, for 8 neighbours also when they meet at a corner. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "geometry/bitmap.h"

void po_runs_done(po_runs *r)
{
    free(r->runs);
    free(r->row_start);
    free(r->parent);
    memset(r, 0, sizeof *r);
}

static bool grow(void **p, size_t *cap, size_t want, size_t size)
{
    if (want <= *cap) {
        return true;
    }
    size_t n = *cap ? *cap : 256, bytes;
    while (n < want) {
        n *= 2;
    }
    if (__builtin_mul_overflow(n, size, &bytes)) {
        return false;
    }
    void *q = realloc(*p, bytes);
    if (!q) {
        return false;
    }
    *p = q;
    *cap = n;
    return true;
}

static uint32_t root(uint32_t *parent, uint32_t i)
{
    while (parent[i] != i) {
        parent[i] = parent[parent[i]];
        i = parent[i];
    }
    return i;
}

/* First position at or after x (relative to the row's first word) where the bits are `value`, or limit. */
static inline int next_bit(const uint64_t *row, int x, int limit, uint64_t flip)
{
    int w = x >> 6;
    uint64_t bits = (row[w] ^ flip) & (~0ull << (x & 63));
    while (!bits) {
        w++;
        if (w << 6 >= limit) {
            return limit;
        }
        bits = row[w] ^ flip;
    }
    int at = (w << 6) + __builtin_ctzll(bits);
    return at < limit ? at : limit;
}

bool po_runs_find(po_runs *r, const po_bitmap *map, po_cells area, bool empty)
{
    r->n_runs = 0;
    r->n_pieces = 0;
    r->n_rows = area.x0 < area.x1 && area.y0 < area.y1 ? (size_t)(area.y1 - area.y0) : 0;
    r->y0 = area.y0;
    if (!grow((void **)&r->row_start, &r->cap_rows, r->n_rows + 1, sizeof *r->row_start)) {
        return false;
    }
    const uint64_t want = empty ? ~0ull : 0, other = ~want;
    const int corner = empty ? 0 : 1;
    for (size_t j = 0; j < r->n_rows; j++) {
        const uint64_t *row = map->bits + (size_t)(area.y0 + (int)j) * map->stride;
        r->row_start[j] = (uint32_t)r->n_runs;
        for (int x = next_bit(row, area.x0, area.x1, want); x < area.x1;) {
            int end = next_bit(row, x, area.x1, other);
            if (r->n_runs >= UINT32_MAX - 1 ||
                (r->n_runs == r->cap_runs && !grow((void **)&r->runs, &r->cap_runs, r->n_runs + 1, sizeof *r->runs))) {
                return false;
            }
            r->runs[r->n_runs++] = (po_run){x, end, area.y0 + (int)j, 0};
            x = end < area.x1 ? next_bit(row, end, area.x1, want) : end;
        }
    }
    r->row_start[r->n_rows] = (uint32_t)r->n_runs;
    if (!grow((void **)&r->parent, &r->cap_parent, r->n_runs + 1, sizeof *r->parent)) {
        return false;
    }
    uint32_t *parent = r->parent;
    for (size_t j = 0; j < r->n_rows; j++) {
        uint32_t a = j ? r->row_start[j - 1] : 0, a_end = r->row_start[j];
        for (uint32_t b = r->row_start[j]; b < r->row_start[j + 1]; b++) {
            parent[b] = b;
            const po_run *run = &r->runs[b];
            while (a < a_end && r->runs[a].x1 + corner <= run->x0) {
                a++;
            }
            for (uint32_t k = a; k < a_end && r->runs[k].x0 < run->x1 + corner; k++) {
                uint32_t p = root(parent, k), q = root(parent, b);
                if (p < q) {
                    parent[q] = p;
                } else {
                    parent[p] = q;
                }
            }
        }
    }
    for (uint32_t i = 0; i < r->n_runs; i++) { /* a root is always the lowest of its piece, so it comes first */
        if (parent[i] == i) {
            r->runs[i].piece = r->n_pieces++;
        } else {
            r->runs[i].piece = r->runs[root(parent, i)].piece;
        }
    }
    return true;
}

static void unite(uint32_t *parent, uint32_t a, uint32_t b)
{
    a = root(parent, a);
    b = root(parent, b);
    parent[a < b ? b : a] = a < b ? a : b;
}

bool po_runs_join_near(po_runs *r)
{
    if (r->n_pieces < 2) {
        return true;
    }
    if (!grow((void **)&r->parent, &r->cap_parent, (size_t)r->n_pieces + 1, sizeof *r->parent)) {
        return false;
    }
    uint32_t *parent = r->parent;
    for (uint32_t i = 0; i < r->n_pieces; i++) {
        parent[i] = i;
    }
    for (size_t j = 0; j < r->n_rows; j++) {
        uint32_t a = j >= 2 ? r->row_start[j - 2] : 0, a_end = j >= 2 ? r->row_start[j - 1] : 0;
        for (uint32_t b = r->row_start[j]; b < r->row_start[j + 1]; b++) {
            const po_run *run = &r->runs[b];
            if (b > r->row_start[j] && run->x0 - r->runs[b - 1].x1 <= 1) {
                unite(parent, run->piece, r->runs[b - 1].piece);
            }
            while (a < a_end && r->runs[a].x1 <= run->x0) {
                a++;
            }
            for (uint32_t k = a; k < a_end && r->runs[k].x0 < run->x1; k++) { /* two rows back: one empty row between */
                unite(parent, run->piece, r->runs[k].piece);
            }
        }
    }
    for (uint32_t i = 0; i < r->n_pieces; i++) {
        parent[i] = root(parent, i);
    }
    uint32_t n = 0;
    for (uint32_t i = 0; i < r->n_pieces; i++) { /* a root is the lowest of its set, so its new number is there first */
        parent[i] = parent[i] == i ? n++ : parent[parent[i]];
    }
    for (size_t i = 0; i < r->n_runs; i++) {
        r->runs[i].piece = parent[r->runs[i].piece];
    }
    r->n_pieces = n;
    return true;
}

const po_run *po_runs_at(const po_runs *r, int x, int y)
{
    if (y < r->y0 || (size_t)(y - r->y0) >= r->n_rows) {
        return NULL;
    }
    size_t lo = r->row_start[y - r->y0], hi = r->row_start[y - r->y0 + 1];
    while (lo < hi) {
        size_t mid = (lo + hi) / 2;
        if (r->runs[mid].x1 <= x) {
            lo = mid + 1;
        } else {
            hi = mid;
        }
    }
    return lo < r->row_start[y - r->y0 + 1] && r->runs[lo].x0 <= x ? &r->runs[lo] : NULL;
}

double po_runs_inscribed(const po_runs *r, uint32_t piece)
{
    int x0 = INT32_MAX, x1 = INT32_MIN, y0 = INT32_MAX, y1 = INT32_MIN;
    for (size_t i = 0; i < r->n_runs; i++) {
        const po_run *run = &r->runs[i];
        if (run->piece == piece) {
            x0 = run->x0 < x0 ? run->x0 : x0;
            x1 = run->x1 > x1 ? run->x1 : x1;
            y0 = run->y < y0 ? run->y : y0;
            y1 = run->y > y1 ? run->y : y1;
        }
    }
    if (x0 > x1) {
        return 0;
    }
    /* one row and column of wall around the piece */
    size_t w = (size_t)(x1 - x0) + 2, h = (size_t)(y1 - y0) + 3;
    if (w * h > 64u << 20) {
        return -1;
    }
    const float far = 1e9f;
    float *d = malloc(w * h * sizeof *d), *z = malloc((h + w + 2) * sizeof *z);
    int *v = malloc((h + w) * sizeof *v);
    double best = -1;
    if (d && z && v) {
        memset(d, 0, w * h * sizeof *d);
        for (size_t i = 0; i < r->n_runs; i++) {
            const po_run *run = &r->runs[i];
            if (run->piece == piece) {
                float *row = d + (size_t)(run->y - y0 + 1) * w + (size_t)(run->x0 - x0 + 1);
                for (int k = 0; k < run->x1 - run->x0; k++) {
                    row[k] = far;
                }
            }
        }
        for (size_t y = 0; y < h; y++) { /* along rows: distance to the nearest wall, then squared */
            float *row = d + y * w;
            for (size_t x = 1; x < w; x++) {
                row[x] = row[x] > 0 ? fminf(row[x], row[x - 1] + 1) : 0;
            }
            float right = 1; /* a wall stands right of the last column */
            for (size_t x = w; x-- > 0;) {
                row[x] = fminf(row[x], right);
                right = row[x] + 1;
                row[x] *= row[x];
            }
        }
        best = 0;
        for (size_t x = 1; x < w; x++) { /* down columns: lower envelope of parabolas */
            size_t k = 0;
            v[0] = 0;
            z[0] = -far;
            z[1] = far;
            for (size_t q = 1; q < h; q++) {
                float s;
                for (;;) {
                    size_t p = (size_t)v[k];
                    s = ((d[q * w + x] + (float)(q * q)) - (d[p * w + x] + (float)(p * p))) / (2.0f * (float)(q - p));
                    if (s > z[k] || k == 0) {
                        break;
                    }
                    k--;
                }
                if (s <= z[k] && k == 0) {
                    v[0] = (int)q;
                    z[1] = far;
                    continue;
                }
                k++;
                v[k] = (int)q;
                z[k] = s;
                z[k + 1] = far;
            }
            k = 0;
            for (size_t q = 0; q < h; q++) {
                while (z[k + 1] < (float)q) {
                    k++;
                }
                float off = (float)q - (float)v[k];
                double dist2 = (double)off * (double)off + (double)d[(size_t)v[k] * w + x];
                best = dist2 > best ? dist2 : best;
            }
        }
        /* From cell centre to the centre of the nearest wall cell: a gap of n cells gives n or n + 1 for twice that. */
        best = best > 0 ? 2 * sqrt(best) - 0.5 : 0;
    }
    free(d);
    free(z);
    free(v);
    return best;
}
