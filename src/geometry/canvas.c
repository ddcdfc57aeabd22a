/* Small rasters for comparing outlines: loops filled by scan lines, enclosed pixels filled by a flood from the border, growing
 * by separable running maxima. SPDX-License-Identifier: Apache-2.0 */
#include "geometry/canvas.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_SIDE = 4096 };

bool po_canvas_init(po_canvas *c, int width, int height, double x0, double y0, double px_mm)
{
    *c = (po_canvas){.width = width, .height = height, .x0 = x0, .y0 = y0, .px_mm = px_mm};
    if (width < 1 || height < 1 || width > MOST_SIDE || height > MOST_SIDE || !(px_mm > 0)) {
        return false;
    }
    c->px = calloc((size_t)width * (size_t)height, 1);
    return c->px != NULL;
}

void po_canvas_done(po_canvas *c)
{
    free(c->px);
    c->px = NULL;
}

/* Each edge adds its direction to the winding of all pixels to its right, by differences along the row. */
bool po_canvas_loops(po_canvas *c, const po_loops *loops, const po_placing *p)
{
    size_t n_px = (size_t)c->width * (size_t)c->height;
    int16_t *steps = calloc(n_px + 1, sizeof *steps);
    if (!steps) {
        return false;
    }
    double turn = p->turn_deg * (3.14159265358979323846 / 180), co = cos(turn) * p->scale, si = sin(turn) * p->scale;
    double flip = p->mirrored ? -1 : 1;
    for (size_t l = 0, at = 0; l < loops->n_loops; at = loops->ends[l++]) {
        size_t n = loops->ends[l] - at;
        if (n < 3) {
            continue;
        }
        const double *last = loops->xy + 2 * (at + n - 1);
        double lx = flip * last[0], px = (co * lx - si * last[1] + p->shift[0] - c->x0) / c->px_mm - 0.5;
        double py = (si * lx + co * last[1] + p->shift[1] - c->y0) / c->px_mm - 0.5;
        for (size_t i = 0; i < n; i++) {
            const double *q = loops->xy + 2 * (at + i);
            double qx = flip * q[0], x = (co * qx - si * q[1] + p->shift[0] - c->x0) / c->px_mm - 0.5;
            double y = (si * qx + co * q[1] + p->shift[1] - c->y0) / c->px_mm - 0.5;
            double low = fmin(py, y), high = fmax(py, y);
            if (high >= 0 && low < c->height && low != high) {
                int from = low < 0 ? 0 : (int)ceil(low), to = high > c->height ? c->height : (int)ceil(high);
                double slope = (x - px) / (y - py);
                int16_t way = (int16_t)((y > py ? -1 : 1) * (p->mirrored ? -1 : 1));
                for (int row = from; row < to; row++) {
                    double cross = px + (row - py) * slope;
                    int column = cross <= 0 ? 0 : cross >= c->width ? c->width : (int)ceil(cross);
                    if (column < c->width) {
                        steps[(size_t)row * (size_t)c->width + (size_t)column] += way;
                    }
                }
            }
            px = x;
            py = y;
        }
    }
    for (int row = 0; row < c->height; row++) {
        int winding = 0;
        for (int i = 0; i < c->width; i++) {
            size_t at = (size_t)row * (size_t)c->width + (size_t)i;
            winding += steps[at];
            c->px[at] = winding > 0;
        }
    }
    free(steps);
    return true;
}

bool po_canvas_close(po_canvas *c)
{
    int w = c->width, h = c->height;
    uint32_t *queue = malloc(((size_t)w * (size_t)h + 1) * sizeof *queue);
    if (!queue) {
        return false;
    }
    size_t n = 0;
#define REACH(i)                                                                                                       \
    do {                                                                                                               \
        size_t i_ = (i);                                                                                               \
        if (c->px[i_] == 0) {                                                                                          \
            c->px[i_] = 2;                                                                                             \
            queue[n++] = (uint32_t)i_;                                                                                 \
        }                                                                                                              \
    } while (0)
    for (int x = 0; x < w; x++) {
        REACH((size_t)x);
        REACH((size_t)(h - 1) * (size_t)w + (size_t)x);
    }
    for (int y = 0; y < h; y++) {
        REACH((size_t)y * (size_t)w);
        REACH((size_t)y * (size_t)w + (size_t)(w - 1));
    }
    for (size_t k = 0; k < n; k++) {
        size_t i = queue[k], x = i % (size_t)w, y = i / (size_t)w;
        if (x > 0) {
            REACH(i - 1);
        }
        if (x + 1 < (size_t)w) {
            REACH(i + 1);
        }
        if (y > 0) {
            REACH(i - (size_t)w);
        }
        if (y + 1 < (size_t)h) {
            REACH(i + (size_t)w);
        }
    }
#undef REACH
    for (size_t i = 0; i < (size_t)w * (size_t)h; i++) {
        c->px[i] = c->px[i] != 2;
    }
    free(queue);
    return true;
}

/* Pixels within `by` of one that is `of`, along lines of n pixels a stride apart, become `of`. */
static void spread(const uint8_t *from, uint8_t *to, size_t n, size_t stride, size_t by, uint8_t of)
{
    size_t left = SIZE_MAX; /* since the last one */
    for (size_t i = 0; i < n; i++) {
        left = from[i * stride] == of ? 0 : left == SIZE_MAX ? SIZE_MAX : left + 1;
        to[i * stride] = left <= by ? of : from[i * stride];
    }
    left = SIZE_MAX;
    for (size_t i = n; i-- > 0;) {
        left = from[i * stride] == of ? 0 : left == SIZE_MAX ? SIZE_MAX : left + 1;
        to[i * stride] = left <= by ? of : to[i * stride];
    }
}

bool po_canvas_grow(po_canvas *c, int by)
{
    size_t w = (size_t)c->width, h = (size_t)c->height;
    uint8_t *other = malloc(w * h);
    if (!other) {
        return false;
    }
    size_t reach = (size_t)(by < 0 ? -by : by);
    uint8_t of = by > 0;
    for (size_t y = 0; y < h; y++) {
        spread(c->px + y * w, other + y * w, w, 1, reach, of);
    }
    for (size_t x = 0; x < w; x++) {
        spread(other + x, c->px + x, h, w, reach, of);
    }
    free(other);
    return true;
}
