/* Vertical lines on a raster, and where they cross a mesh. SPDX-License-Identifier: Apache-2.0
 *
 * Each triangle is drawn as seen from above, row by row (scan conversion: Foley, van Dam, Feiner, Hughes, "Computer
 * Graphics", 2nd ed., 3.5). A row crosses an edge when one end is at or below it and the other above; the point where it
 * does is always found from the lower end of the edge, so that it is the same number for both triangles of the edge, and
 * a column belongs to a span that begins at or before it and ends behind it. So of a closed mesh each column sees as many
 * ways in as out, whatever lies on a corner or an edge: no ray is ever lost between two triangles.
 *
 * Rows are taken in bands, each with its own memory, on all threads; what comes out does not depend on them. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/pose.h"

static const double CELL_MM = 0.5;      /* docs/measures.md */
static const double LEAST_CELLS = 64;   /* across a small part: finer cells */
static const double MOST_COLUMNS = 4e6; /* of a very large one: coarser */
enum { MOST_CROSSINGS = 1u << 26 };     /* 512 MiB; beyond that cells are coarser as well */
enum { MOST_SHARES = 1u << 28 };        /* triangles times the bands that they reach: the same */

typedef struct job {
    const double *xyz;
    const uint32_t *corners;
    bool against;
    po_columns *columns;
    const uint32_t *first, *triangles; /* of each band */
    uint64_t *counts;                  /* crossings of each band */
    bool *failed;
} job;

typedef struct tri {
    double p[3][3];
    double gx, gy, low, high; /* height over the plane, and its bounds */
    bool enters;
} tri;

/* False for a triangle that is seen edge on. */
static bool tri_of(const job *b, uint32_t t, tri *ret)
{
    for (int k = 0; k < 3; k++) {
        memcpy(ret->p[k], b->xyz + 3 * (size_t)b->corners[3 * (size_t)t + (size_t)k], 3 * sizeof(double));
    }
    double e[3], f[3];
    for (int k = 0; k < 3; k++) {
        e[k] = ret->p[1][k] - ret->p[0][k];
        f[k] = ret->p[2][k] - ret->p[0][k];
    }
    double nz = e[0] * f[1] - e[1] * f[0];
    if (!(fabs(nz) > 0)) {
        return false;
    }
    ret->gx = (f[1] * e[2] - e[1] * f[2]) / nz;
    ret->gy = (e[0] * f[2] - f[0] * e[2]) / nz;
    ret->low = fmin(ret->p[0][2], fmin(ret->p[1][2], ret->p[2][2]));
    ret->high = fmax(ret->p[0][2], fmax(ret->p[1][2], ret->p[2][2]));
    ret->enters = (nz < 0) != b->against;
    return true;
}

static int64_t at_or_after(double x, double x0, double cell)
{
    return (int64_t)ceil((x - x0) / cell);
}

/* Columns [from, to) of row j that the triangle covers. */
static bool span_of(const tri *t, double y, const po_columns *c, int64_t *from, int64_t *to)
{
    double x[2];
    int n = 0;
    for (int k = 0; k < 3 && n < 2; k++) {
        const double *a = t->p[k], *b = t->p[(k + 1) % 3];
        if ((a[1] <= y) != (b[1] <= y)) {
            const double *low = a[1] < b[1] ? a : b, *high = a[1] < b[1] ? b : a;
            x[n++] = low[0] + (y - low[1]) * ((high[0] - low[0]) / (high[1] - low[1]));
        }
    }
    if (n < 2) {
        return false;
    }
    int64_t i = at_or_after(x[0], c->x0, c->cell[0]), k = at_or_after(x[1], c->x0, c->cell[0]);
    *from = i < k ? i : k;
    *to = i < k ? k : i;
    *from = *from < 0 ? 0 : *from;
    *to = *to > (int64_t)c->nx ? (int64_t)c->nx : *to;
    return *from < *to;
}

static po_crossing crossing_at(const tri *t, uint32_t number, double x, double y)
{
    double z = t->p[0][2] + t->gx * (x - t->p[0][0]) + t->gy * (y - t->p[0][1]);
    float height = (float)fmin(fmax(z, t->low), t->high);
    uint32_t bits;
    memcpy(&bits, &height, 4);
    bits = bits & 0x80000000u ? ~bits : bits ^ 0x80000000u;
    return (uint64_t)bits << 32 | (t->enters ? 0 : 0x80000000u) | number;
}

static int by_number(const void *a, const void *b)
{
    uint64_t p = *(const uint64_t *)a, q = *(const uint64_t *)b;
    return p < q ? -1 : p > q;
}

static void sort(po_crossing *c, size_t n)
{
    if (n > 48) {
        qsort(c, n, sizeof *c, by_number);
        return;
    }
    for (size_t i = 1; i < n; i++) {
        po_crossing x = c[i];
        size_t k = i;
        for (; k && c[k - 1] > x; k--) {
            c[k] = c[k - 1];
        }
        c[k] = x;
    }
}

static void rows_of(const po_columns *c, const tri *t, uint32_t band, int64_t *from, int64_t *to)
{
    double low = fmin(t->p[0][1], fmin(t->p[1][1], t->p[2][1])), high = fmax(t->p[0][1], fmax(t->p[1][1], t->p[2][1]));
    int64_t begin = (int64_t)band * PO_BAND_ROWS, end = begin + PO_BAND_ROWS;
    *from = at_or_after(low, c->y0, c->cell[1]);
    *to = at_or_after(high, c->y0, c->cell[1]) + 1; /* span_of says exactly */
    *from = *from < begin ? begin : *from;
    *to = *to > end ? end : *to;
    *to = *to > (int64_t)c->ny ? (int64_t)c->ny : *to;
}

static void count_band(size_t band, void *user)
{
    job *b = user;
    po_columns *c = b->columns;
    uint32_t *start = c->bands[band].start;
    for (uint32_t k = b->first[band]; k < b->first[band + 1] && b->counts[band] <= MOST_CROSSINGS; k++) {
        tri t;
        int64_t from, to, left, right;
        if (!tri_of(b, b->triangles[k], &t)) {
            continue;
        }
        rows_of(c, &t, (uint32_t)band, &from, &to);
        for (int64_t j = from; j < to; j++) {
            if (span_of(&t, c->y0 + (double)j * c->cell[1], c, &left, &right)) {
                uint32_t *row = start + (size_t)(j % PO_BAND_ROWS) * c->nx;
                for (int64_t i = left; i < right; i++) {
                    row[i + 1]++;
                }
                b->counts[band] += (uint64_t)(right - left);
            }
        }
    }
}

static void fill_band(size_t band, void *user)
{
    job *b = user;
    po_columns *c = b->columns;
    uint32_t *start = c->bands[band].start;
    size_t n = (size_t)PO_BAND_ROWS * c->nx;
    for (size_t i = 0; i < n; i++) {
        start[i + 1] += start[i];
    }
    po_crossing *out = c->bands[band].crossings = malloc((start[n] + (size_t)1) * sizeof *out);
    uint32_t *next = malloc((n + 1) * sizeof *next);
    if (!out || !next) {
        free(next);
        b->failed[band] = true;
        return;
    }
    memcpy(next, start, n * sizeof *next);
    for (uint32_t k = b->first[band]; k < b->first[band + 1]; k++) {
        tri t;
        int64_t from, to, left, right;
        if (!tri_of(b, b->triangles[k], &t)) {
            continue;
        }
        rows_of(c, &t, (uint32_t)band, &from, &to);
        for (int64_t j = from; j < to; j++) {
            double y = c->y0 + (double)j * c->cell[1];
            if (span_of(&t, y, c, &left, &right)) {
                uint32_t *row = next + (size_t)(j % PO_BAND_ROWS) * c->nx;
                for (int64_t i = left; i < right; i++) {
                    out[row[i]++] = crossing_at(&t, b->triangles[k], c->x0 + (double)i * c->cell[0], y);
                }
            }
        }
    }
    for (size_t i = 0; i < n; i++) {
        sort(out + start[i], start[i + 1] - start[i]);
    }
    free(next);
}

/* Rows (or columns) whose centres may lie within [low, high]: none of most triangles of a fine mesh. A little more than
 * exactly, for span_of takes its numbers from other roundings. */
static bool centres(double low, double high, double first, double cell, uint32_t n, int64_t *from, int64_t *to)
{
    static const double DOUBT = 1e-3; /* of a cell */
    *from = (int64_t)ceil((low - first) / cell - DOUBT);
    *to = (int64_t)floor((high - first) / cell + DOUBT);
    *from = *from < 0 ? 0 : *from;
    *to = *to >= (int64_t)n ? (int64_t)n - 1 : *to;
    return *from <= *to;
}

typedef struct banded { /* a triangle that may meet lines of these bands */
    uint32_t triangle, from, to;
} banded;

/* Triangles that lines may meet. Caller frees; NULL: no memory. */
static banded *met(const double *xyz, const po_mesh *mesh, const po_columns *c, size_t *ret_n)
{
    size_t n = 0, cap = 4096;
    banded *list = malloc(cap * sizeof *list);
    for (size_t t = 0; list && t < mesh->n_triangles; t++) {
        const uint32_t *v = mesh->corners + 3 * t;
        const double *p = xyz + 3 * (size_t)v[0], *q = xyz + 3 * (size_t)v[1], *r = xyz + 3 * (size_t)v[2];
        int64_t from, to, left, right;
        double low[2], high[2];
        for (int k = 0; k < 2; k++) { /* coordinates are numbers here: plain comparisons do */
            low[k] = p[k] < q[k] ? p[k] : q[k];
            low[k] = low[k] < r[k] ? low[k] : r[k];
            high[k] = p[k] > q[k] ? p[k] : q[k];
            high[k] = high[k] > r[k] ? high[k] : r[k];
        }
        if (!centres(low[0], high[0], c->x0, c->cell[0], c->nx, &left, &right) ||
            !centres(low[1], high[1], c->y0, c->cell[1], c->ny, &from, &to)) {
            continue;
        }
        if (n == cap) {
            cap *= 2;
            banded *more = realloc(list, cap * sizeof *list);
            if (!more) {
                free(list);
                return NULL;
            }
            list = more;
        }
        list[n++] = (banded){(uint32_t)t, (uint32_t)from / PO_BAND_ROWS, (uint32_t)to / PO_BAND_ROWS};
    }
    *ret_n = n;
    return list;
}

/* Triangles by band: first (n_bands + 2) and their numbers, rising. *ret_more: too many. */
static bool share_out(const double *xyz, const po_mesh *mesh, const po_columns *c, uint32_t **ret_first,
                      uint32_t **ret_triangles, bool *ret_more)
{
    size_t n = 0;
    banded *list = met(xyz, mesh, c, &n);
    uint32_t *first = calloc((size_t)c->n_bands + 2, sizeof *first), *triangles = NULL;
    uint64_t total = 0;
    bool fine = list != NULL && first != NULL;
    for (size_t k = 0; fine && k < n; k++) {
        total += list[k].to - list[k].from + 1;
    }
    *ret_more = total > MOST_SHARES;
    triangles = fine && !*ret_more ? malloc((total + 1) * sizeof *triangles) : NULL;
    fine = triangles != NULL;
    for (size_t k = 0; fine && k < n; k++) {
        for (uint32_t band = list[k].from; band <= list[k].to; band++) {
            first[band + 2]++;
        }
    }
    for (uint32_t band = 0; fine && band < c->n_bands; band++) {
        first[band + 2] += first[band + 1];
    }
    for (size_t k = 0; fine && k < n; k++) {
        for (uint32_t band = list[k].from; band <= list[k].to; band++) {
            triangles[first[band + 1]++] = list[k].triangle;
        }
    }
    free(list);
    if (!fine) {
        free(first);
        return false;
    }
    *ret_first = first;
    *ret_triangles = triangles;
    return true;
}

void po_columns_done(po_columns *columns)
{
    for (uint32_t i = 0; columns->bands && i < columns->n_bands; i++) {
        free(columns->bands[i].start);
        free(columns->bands[i].crossings);
    }
    free(columns->bands);
    *columns = (po_columns){0};
}

/* *ret_more: too many crossings, try coarser cells. */
static bool try_cells(job *b, const po_mesh *mesh, po_pool *pool, bool *ret_more)
{
    po_columns *c = b->columns;
    uint32_t *first = NULL, *triangles = NULL;
    c->bands = calloc(c->n_bands, sizeof *c->bands);
    b->counts = calloc(c->n_bands, sizeof *b->counts);
    b->failed = calloc(c->n_bands, sizeof *b->failed);
    *ret_more = false;
    bool fine = c->bands && b->counts && b->failed && share_out(b->xyz, mesh, c, &first, &triangles, ret_more);
    for (uint32_t i = 0; fine && i < c->n_bands; i++) {
        c->bands[i].start = calloc((size_t)PO_BAND_ROWS * c->nx + 1, sizeof *c->bands[i].start);
        fine = c->bands[i].start != NULL;
    }
    if (fine) {
        b->first = first;
        b->triangles = triangles;
        po_pool_each(pool, c->n_bands, count_band, b);
        uint64_t total = 0;
        for (uint32_t i = 0; i < c->n_bands; i++) {
            total += b->counts[i];
        }
        *ret_more = total > MOST_CROSSINGS;
        if (!*ret_more) {
            po_pool_each(pool, c->n_bands, fill_band, b);
        }
        for (uint32_t i = 0; i < c->n_bands; i++) {
            fine &= !b->failed[i];
        }
    }
    free(first);
    free(triangles);
    free(b->counts);
    free(b->failed);
    return fine || *ret_more;
}

po_status po_columns_make(const double *xyz, const po_mesh *mesh, double bounds[2][3], bool against, po_pool *pool,
                          po_columns *ret, po_err *err)
{
    double width = bounds[1][0] - bounds[0][0], depth = bounds[1][1] - bounds[0][1], cell = CELL_MM;
    double larger = fmax(fmax(width, depth), 1e-6);
    while (larger / cell < LEAST_CELLS) {
        cell /= 2;
    }
    while ((width / cell + 1) * (depth / cell + 1) > MOST_COLUMNS || larger / cell > 1e6) {
        cell *= 2;
    }
    double seen = 0; /* area from above, every surface counted */
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const double *p = xyz + 3 * (size_t)mesh->corners[3 * t], *q = xyz + 3 * (size_t)mesh->corners[3 * t + 1];
        const double *r = xyz + 3 * (size_t)mesh->corners[3 * t + 2];
        seen += fabs((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])) / 2;
    }
    while (seen / (cell * cell) > MOST_CROSSINGS) {
        cell *= 2;
    }
    for (bool more = true; more; cell *= 2) {
        *ret = (po_columns){0};
        ret->nx = (uint32_t)fmax(ceil(width / cell - 1e-9), 1);
        ret->ny = (uint32_t)fmax(ceil(depth / cell - 1e-9), 1);
        ret->cell[0] = fmax(width, 1e-9) / ret->nx; /* so that whole cells fill the bounds */
        ret->cell[1] = fmax(depth, 1e-9) / ret->ny;
        ret->x0 = bounds[0][0] + ret->cell[0] / 2;
        ret->y0 = bounds[0][1] + ret->cell[1] / 2;
        ret->n_bands = (ret->ny + PO_BAND_ROWS - 1) / PO_BAND_ROWS;
        job b = {.xyz = xyz, .corners = mesh->corners, .against = against, .columns = ret};
        bool fine = try_cells(&b, mesh, pool, &more), last = ret->nx == 1 && ret->ny == 1;
        if (!fine || more) {
            po_columns_done(ret);
        }
        if (!fine || (more && last)) {
            return po_fail(err, PO_E_NOMEM, "memory ran out while a part was looked at from above");
        }
    }
    return PO_OK;
}
