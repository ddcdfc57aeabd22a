/* What stands apart on a bed, from heights as they were laid. SPDX-License-Identifier: Apache-2.0
 *
 * All heights go onto one grid; their union, without the two lowest (brims and skirts join what is apart there), falls into
 * pieces by 8-neighbours, a pixel's gap bridged (A. Rosenfeld, J. Pfaltz, "Sequential operations in digital picture
 * processing", J. ACM 13, 1966). */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "geometry/canvas.h"
#include "proveout/match.h"

enum { LEFT_OUT = 2, MARGIN_PX = 3, MOST_OBJECTS = 1000 };
#define SAME_HEIGHT_MM 0.02

typedef struct grid {
    double x0, y0, px_mm;
    int width, height;
    size_t *order; /* of layers, by z */
    double *heights;
    size_t n_heights;
    po_canvas all;
    uint32_t *piece; /* 0 = none */
} grid;

static int by_z(const void *a, const void *b, void *user)
{
    const po_match_layer *layers = user;
    size_t i = *(const size_t *)a, k = *(const size_t *)b;
    double x = layers[i].z, y = layers[k].z;
    return x != y ? (x > y) - (x < y) : (i > k) - (i < k);
}

static bool lay_out(grid *g, const po_match_layer *layers, size_t n)
{
    double x1 = -INFINITY, y1 = -INFINITY;
    g->x0 = g->y0 = INFINITY;
    for (size_t i = 0; i < n; i++) {
        const po_match_layer *l = &layers[i];
        if (!(l->px_mm > 0) || l->width < 1 || l->height < 1 || !isfinite(l->x0 + l->y0 + l->z + l->px_mm)) {
            return false;
        }
        g->px_mm = fmax(g->px_mm, l->px_mm);
        g->x0 = fmin(g->x0, l->x0);
        g->y0 = fmin(g->y0, l->y0);
        x1 = fmax(x1, l->x0 + l->width * l->px_mm);
        y1 = fmax(y1, l->y0 + l->height * l->px_mm);
    }
    while ((x1 - g->x0) / g->px_mm > 3000 || (y1 - g->y0) / g->px_mm > 3000) {
        g->px_mm *= 2;
    }
    g->x0 -= MARGIN_PX * g->px_mm;
    g->y0 -= MARGIN_PX * g->px_mm;
    g->width = (int)ceil((x1 - g->x0) / g->px_mm) + MARGIN_PX;
    g->height = (int)ceil((y1 - g->y0) / g->px_mm) + MARGIN_PX;
    return true;
}

/* Pixels of a layer onto a canvas whose pixel (0, 0) is (at_x, at_y) of the grid; only those of a piece where one is named. */
static void put(const grid *g, const po_match_layer *l, po_canvas *to, int at_x, int at_y, uint32_t piece)
{
    for (int j = 0; j < l->height; j++) {
        int y = (int)floor((l->y0 + (j + 0.5) * l->px_mm - g->y0) / g->px_mm);
        for (int i = 0; i < l->width; i++) {
            if (!l->px[(size_t)j * (size_t)l->width + (size_t)i]) {
                continue;
            }
            int x = (int)floor((l->x0 + (i + 0.5) * l->px_mm - g->x0) / g->px_mm);
            if (x < 0 || y < 0 || x >= g->width || y >= g->height ||
                (piece && g->piece[(size_t)y * (size_t)g->width + (size_t)x] != piece)) {
                continue;
            }
            int u = x - at_x, v = y - at_y;
            if (u >= 0 && v >= 0 && u < to->width && v < to->height) {
                to->px[(size_t)v * (size_t)to->width + (size_t)u] = 1;
            }
        }
    }
}

typedef struct found {
    uint32_t piece;
    size_t n;
    int x0, y0, x1, y1;
} found;

/* Number the pieces of g->all; those with at least least pixels are kept. */
static bool number_pieces(grid *g, size_t least, found *pieces, size_t *ret_n)
{
    size_t n_px = (size_t)g->width * (size_t)g->height, n = 0;
    uint32_t *queue = malloc(n_px * sizeof *queue + 1), numbers = 0;
    g->piece = calloc(n_px + 1, sizeof *g->piece);
    if (!queue || !g->piece) {
        free(queue);
        return false;
    }
    for (size_t start = 0; start < n_px; start++) {
        if (!g->all.px[start] || g->piece[start]) {
            continue;
        }
        found f = {++numbers, 0, g->width, g->height, 0, 0};
        size_t end = 0;
        g->piece[start] = f.piece;
        queue[end++] = (uint32_t)start;
        for (size_t k = 0; k < end; k++) {
            int x = (int)(queue[k] % (uint32_t)g->width), y = (int)(queue[k] / (uint32_t)g->width);
            f.x0 = x < f.x0 ? x : f.x0;
            f.y0 = y < f.y0 ? y : f.y0;
            f.x1 = x > f.x1 ? x : f.x1;
            f.y1 = y > f.y1 ? y : f.y1;
            for (int dy = -1; dy <= 1; dy++) {
                for (int dx = -1; dx <= 1; dx++) {
                    int u = x + dx, v = y + dy;
                    size_t at = (size_t)v * (size_t)g->width + (size_t)u;
                    if (u >= 0 && v >= 0 && u < g->width && v < g->height && g->all.px[at] && !g->piece[at]) {
                        g->piece[at] = f.piece;
                        queue[end++] = (uint32_t)at;
                    }
                }
            }
        }
        f.n = end;
        if (f.n >= least && n < MOST_OBJECTS) {
            pieces[n++] = f;
        }
    }
    free(queue);
    *ret_n = n;
    return true;
}

static bool cut_out(const grid *g, const po_match_layer *layers, size_t n_layers, const found *f, po_arena *arena,
                    po_match_object *ret)
{
    int at_x = f->x0 - MARGIN_PX, at_y = f->y0 - MARGIN_PX;
    int width = f->x1 - f->x0 + 1 + 2 * MARGIN_PX, height = f->y1 - f->y0 + 1 + 2 * MARGIN_PX;
    po_match_layer *cut = po_arena_zeros(arena, g->n_heights + 1, sizeof *cut);
    po_canvas c;
    if (!cut || !po_canvas_init(&c, width, height, g->x0 + at_x * g->px_mm, g->y0 + at_y * g->px_mm, g->px_mm)) {
        return false;
    }
    size_t n = 0, i = 0, n_px = (size_t)width * (size_t)height;
    bool good = true;
    *ret = (po_match_object){.px_mm = g->px_mm, .layers = cut};
    ret->bounds_mm[0][2] = INFINITY;
    for (size_t h = 0; h < g->n_heights && good; h++) {
        memset(c.px, 0, n_px);
        for (; i < n_layers && layers[g->order[i]].z <= g->heights[h] + SAME_HEIGHT_MM; i++) {
            put(g, &layers[g->order[i]], &c, at_x, at_y, f->piece);
        }
        if (memchr(c.px, 1, n_px) == NULL) {
            continue;
        }
        uint8_t *px = po_arena_zeros(arena, n_px, 1);
        good = px != NULL;
        if (good) {
            memcpy(px, c.px, n_px);
            cut[n++] = (po_match_layer){g->heights[h], c.x0, c.y0, c.px_mm, width, height, px};
            ret->bounds_mm[0][2] = fmin(ret->bounds_mm[0][2], g->heights[h]);
            ret->bounds_mm[1][2] = g->heights[h];
        }
    }
    ret->n_layers = n;
    ret->bounds_mm[0][0] = g->x0 + f->x0 * g->px_mm;
    ret->bounds_mm[0][1] = g->y0 + f->y0 * g->px_mm;
    ret->bounds_mm[1][0] = g->x0 + (f->x1 + 1) * g->px_mm;
    ret->bounds_mm[1][1] = g->y0 + (f->y1 + 1) * g->px_mm;
    po_canvas_done(&c);
    return good;
}

static po_status find_objects(grid *g, const po_match_layer *layers, size_t n_layers, double least_mm2, po_arena *arena,
                              const po_match_object **ret, size_t *ret_n, po_err *err)
{
    g->order = malloc((n_layers + 1) * sizeof *g->order);
    g->heights = malloc((n_layers + 1) * sizeof *g->heights);
    if (!g->order || !g->heights || !po_canvas_init(&g->all, g->width, g->height, g->x0, g->y0, g->px_mm)) {
        return po_fail(err, PO_E_NOMEM, "no memory to compare outlines");
    }
    for (size_t i = 0; i < n_layers; i++) {
        g->order[i] = i;
    }
    qsort_r(g->order, n_layers, sizeof *g->order, by_z, (void *)(uintptr_t)layers);
    for (size_t i = 0; i < n_layers; i++) {
        double z = layers[g->order[i]].z;
        if (g->n_heights == 0 || z > g->heights[g->n_heights - 1] + SAME_HEIGHT_MM) {
            g->heights[g->n_heights++] = z;
        }
    }
    double above = g->n_heights > 2 * LEFT_OUT ? g->heights[LEFT_OUT - 1] + SAME_HEIGHT_MM : -INFINITY;
    for (size_t i = 0; i < n_layers; i++) {
        if (layers[i].z > above) {
            put(g, &layers[i], &g->all, 0, 0, 0);
        }
    }
    found *pieces = po_arena_zeros(arena, MOST_OBJECTS, sizeof *pieces);
    size_t n = 0;
    if (!pieces || !po_canvas_grow(&g->all, 1) ||
        !number_pieces(g, (size_t)fmax(1, least_mm2 / (g->px_mm * g->px_mm)), pieces, &n)) {
        return po_fail(err, PO_E_NOMEM, "no memory to compare outlines");
    }
    po_match_object *objects = po_arena_zeros(arena, n + 1, sizeof *objects);
    for (size_t i = 0; i < n; i++) {
        if (!objects || !cut_out(g, layers, n_layers, &pieces[i], arena, &objects[i])) {
            return po_fail(err, PO_E_NOMEM, "no memory to compare outlines");
        }
    }
    *ret = objects;
    *ret_n = n;
    return PO_OK;
}

po_status po_match_objects(const po_match_layer *layers, size_t n_layers, double least_mm2, po_arena *arena,
                           const po_match_object **ret, size_t *ret_n, po_err *err)
{
    grid g = {0};
    *ret = NULL;
    *ret_n = 0;
    if (n_layers == 0) {
        return PO_OK;
    }
    if (!lay_out(&g, layers, n_layers)) {
        return po_fail(err, PO_E_RANGE, "a height to compare has no sensible place or size");
    }
    po_status status = find_objects(&g, layers, n_layers, least_mm2, arena, ret, ret_n, err);
    free(g.order);
    free(g.heights);
    free(g.piece);
    po_canvas_done(&g.all);
    return status;
}
