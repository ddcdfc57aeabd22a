/* Solids both as signed distances and as meshes: see estimate_solids.h. SPDX-License-Identifier: Apache-2.0
 *
 * Meshes are built by turning a profile, or by raising outlines whose inside is star-shaped or a ring. */
#include "estimate_solids.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "shapes.h"

/* ---- meshes ---- */

typedef struct builder {
    double *xyz;
    uint32_t *corners;
    size_t n_v, cap_v, n_t, cap_t;
} builder;

static uint32_t vertex(builder *b, double x, double y, double z)
{
    if (b->n_v == b->cap_v) {
        b->cap_v = b->cap_v ? 2 * b->cap_v : 256;
        b->xyz = demo_more(b->xyz, b->cap_v, 3 * sizeof *b->xyz);
    }
    memcpy(b->xyz + 3 * b->n_v, (double[]){x, y, z}, 3 * sizeof(double));
    return (uint32_t)b->n_v++;
}

/* The same, but the vertex that is there already, where there is one within a millionth. */
static uint32_t vertex_once(builder *b, double x, double y, double z)
{
    for (size_t i = 0; i < b->n_v; i++) {
        const double *p = b->xyz + 3 * i;
        if (fabs(p[0] - x) < 1e-6 && fabs(p[1] - y) < 1e-6 && fabs(p[2] - z) < 1e-6) {
            return (uint32_t)i;
        }
    }
    return vertex(b, x, y, z);
}

static void triangle(builder *b, uint32_t p, uint32_t q, uint32_t r)
{
    if (p == q || q == r || p == r) {
        return;
    }
    if (b->n_t == b->cap_t) {
        b->cap_t = b->cap_t ? 2 * b->cap_t : 256;
        b->corners = demo_more(b->corners, b->cap_t, 3 * sizeof *b->corners);
    }
    memcpy(b->corners + 3 * b->n_t++, (uint32_t[]){p, q, r}, 3 * sizeof(uint32_t));
}

static void quad(builder *b, uint32_t p, uint32_t q, uint32_t r, uint32_t s)
{
    triangle(b, p, q, r);
    triangle(b, p, r, s);
}

static po_mesh finish(builder *b)
{
    return (po_mesh){b->xyz, b->n_v, b->corners, b->n_t};
}

enum { AROUND = 360 };

/* A closed profile of (r, z), outside on its right when walked upwards, turned about the axis. */
static po_mesh turn_profile(const double (*rz)[2], size_t n)
{
    builder b = {0};
    uint32_t *at = demo_alloc(n * AROUND, sizeof *at);
    for (size_t i = 0; i < n; i++) {
        for (int k = 0; k < AROUND; k++) {
            double t = 2 * M_PI * k / AROUND;
            at[i * AROUND + (size_t)k] = rz[i][0] > 0 || k == 0
                                             ? vertex(&b, rz[i][0] * cos(t), rz[i][0] * sin(t), rz[i][1])
                                             : at[i * AROUND];
        }
    }
    for (size_t i = 0; i < n; i++) {
        const uint32_t *p = at + i * AROUND, *q = at + (i + 1) % n * AROUND;
        for (int k = 0; k < AROUND && (rz[i][0] > 0 || rz[(i + 1) % n][0] > 0); k++) {
            int k2 = (k + 1) % AROUND;
            quad(&b, p[k], p[k2], q[k2], q[k]);
        }
    }
    free(at);
    return finish(&b);
}

/* An outline that is star-shaped about the origin, raised. */
static po_mesh raise_star(const double (*xy)[2], size_t n, double height)
{
    builder b = {0};
    uint32_t low = vertex(&b, 0, 0, 0), high = vertex(&b, 0, 0, height);
    uint32_t first = 2;
    for (size_t i = 0; i < n; i++) {
        vertex(&b, xy[i][0], xy[i][1], 0);
        vertex(&b, xy[i][0], xy[i][1], height);
    }
    for (size_t i = 0; i < n; i++) {
        uint32_t p = first + 2 * (uint32_t)i, q = first + 2 * (uint32_t)((i + 1) % n);
        triangle(&b, low, q, p);
        triangle(&b, high, p + 1, q + 1);
        quad(&b, p, q, q + 1, p + 1);
    }
    return finish(&b);
}

/* ---- boxes ---- */

static double box_at(const void *self, double x, double y, double z)
{
    const solid *s = self;
    (void)z;
    return shape_box(x, y, 0, 0, s->half[0], s->half[1], 0);
}

static void box_mesh(const solid *s, po_mesh *ret)
{
    double a = s->half[0], b = s->half[1];
    *ret = raise_star((const double[][2]){{-a, -b}, {a, -b}, {a, b}, {-a, b}}, 4, s->height);
}

/* ---- turned ---- */

static double tube_at(const void *self, double x, double y, double z)
{
    const solid *s = self;
    (void)z;
    return fmax(shape_disc(x, y, 0, 0, s->size[0]), -shape_disc(x, y, 0, 0, s->size[1]));
}

static void tube_mesh(const solid *s, po_mesh *ret)
{
    double r = s->size[0], i = s->size[1], h = s->height;
    *ret = turn_profile((const double[][2]){{r, 0}, {r, h}, {i, h}, {i, 0}}, 4);
}

static double cone_at(const void *self, double x, double y, double z)
{
    const solid *s = self;
    return shape_disc(x, y, 0, 0, s->size[0] + (s->size[1] - s->size[0]) * z / s->height);
}

static void cone_mesh(const solid *s, po_mesh *ret)
{
    *ret = turn_profile((const double[][2]){{0, 0}, {s->size[0], 0}, {s->size[1], s->height}, {0, s->height}}, 4);
}

/* A ball of radius size[0] whose middle stands at size[1], cut off at 0. */
static double ball_at(const void *self, double x, double y, double z)
{
    const solid *s = self;
    double r2 = s->size[0] * s->size[0] - (z - s->size[1]) * (z - s->size[1]);
    return shape_disc(x, y, 0, 0, r2 > 0 ? sqrt(r2) : -10);
}

static void ball_mesh(const solid *s, po_mesh *ret)
{
    enum { STEPS = 200 };
    double rz[STEPS + 3][2], r = s->size[0], from = asin(fmax(-1, -s->size[1] / r));
    size_t n = 0;
    for (int i = 0; i <= STEPS; i++) {
        double t = from + (M_PI / 2 - from) * i / STEPS;
        rz[n][0] = i == STEPS || (i == 0 && s->size[1] >= r) ? 0 : r * cos(t);
        rz[n++][1] = i == 0 ? fmax(0, s->size[1] - r) : s->size[1] + r * sin(t);
    }
    if (rz[0][0] > 0) {
        rz[n][0] = 0;
        rz[n++][1] = 0;
    }
    *ret = turn_profile((const double(*)[2])rz, n);
}

/* Open above; walls size[1] thick, floor size[2]. */
static double cup_at(const void *self, double x, double y, double z)
{
    const solid *s = self;
    double r = s->size[0] + s->size[3] * z;
    double out = shape_disc(x, y, 0, 0, r);
    return z < s->size[2] ? out : fmax(out, -shape_disc(x, y, 0, 0, r - s->size[1]));
}

static void cup_mesh(const solid *s, po_mesh *ret)
{
    double r = s->size[0], w = s->size[1], f = s->size[2], lean = s->size[3], h = s->height;
    *ret = turn_profile(
        (const double[][2]){{0, 0}, {r, 0}, {r + lean * h, h}, {r + lean * h - w, h}, {r + lean * f - w, f}, {0, f}},
        6);
}

/* ---- flower ---- */

static double flower_at(const void *self, double x, double y, double z)
{
    const solid *s = self;
    (void)z;
    return shape_flower(x, y, 0, 0, s->size[0], s->size[1], (int)s->size[2], 0);
}

static void flower_mesh(const solid *s, po_mesh *ret)
{
    enum { POINTS = 1440 };
    double(*xy)[2] = demo_alloc(POINTS, sizeof *xy);
    for (int i = 0; i < POINTS; i++) {
        double t = 2 * M_PI * i / POINTS, r = s->size[0] * (1 + s->size[1] * cos(s->size[2] * t));
        xy[i][0] = r * cos(t);
        xy[i][1] = r * sin(t);
    }
    *ret = raise_star((const double(*)[2])xy, POINTS, s->height);
    free(xy);
}

/* ---- plate with holes: 4 by 3 cells, a hole of radius size[0] in each ---- */

enum { CELLS_X = 4, CELLS_Y = 3, RIM = 64 };

static double plate_at(const void *self, double x, double y, double z)
{
    const solid *s = self;
    double cell_x = 2 * s->half[0] / CELLS_X, cell_y = 2 * s->half[1] / CELLS_Y, d = -1e9;
    (void)z;
    for (int i = 0; i < CELLS_X; i++) {
        for (int j = 0; j < CELLS_Y; j++) {
            d = fmax(d,
                     -shape_disc(x, y, (i + 0.5) * cell_x - s->half[0], (j + 0.5) * cell_y - s->half[1], s->size[0]));
        }
    }
    return fmax(d, shape_box(x, y, 0, 0, s->half[0], s->half[1], 0));
}

/* Where the ray at angle t from the middle of a square cell meets its edge; corners are met exactly. */
static void on_square(int k, double half_x, double half_y, double ret[2])
{
    int side = k / (RIM / 4), step = k % (RIM / 4);
    double u = -1 + 2.0 * step / (RIM / 4); /* from the corner where the side begins */
    const double p[4][2] = {{1, u}, {-u, 1}, {-1, -u}, {u, -1}};
    ret[0] = half_x * p[side][0];
    ret[1] = half_y * p[side][1];
}

static void plate_mesh(const solid *s, po_mesh *ret)
{
    builder b = {0};
    double half_x = s->half[0] / CELLS_X, half_y = s->half[1] / CELLS_Y;
    for (int i = 0; i < CELLS_X; i++) {
        for (int j = 0; j < CELLS_Y; j++) {
            double cx = (2 * i + 1) * half_x - s->half[0], cy = (2 * j + 1) * half_y - s->half[1];
            uint32_t at[RIM + 1][4]; /* below and above, on the hole and on the cell's edge */
            for (int k = 0; k < RIM; k++) {
                double p[2], t = 2 * M_PI * (k - RIM / 8.0) / RIM; /* even steps around the hole, facing the edge */
                on_square(k, half_x, half_y, p);
                for (int up = 0; up < 2; up++) {
                    double z = up ? s->height : 0;
                    at[k][up] = vertex(&b, cx + s->size[0] * cos(t), cy + s->size[0] * sin(t), z);
                    at[k][2 + up] = vertex_once(&b, cx + p[0], cy + p[1], z);
                }
            }
            memcpy(at[RIM], at[0], sizeof at[0]);
            for (int k = 0; k < RIM; k++) {
                const uint32_t *p = at[k], *q = at[k + 1];
                int side = k / (RIM / 4);
                bool edge = (side == 0 && i == CELLS_X - 1) || (side == 1 && j == CELLS_Y - 1) ||
                            (side == 2 && i == 0) || (side == 3 && j == 0);
                quad(&b, q[0], p[0], p[1], q[1]); /* the hole */
                quad(&b, p[0], q[0], q[2], p[2]); /* below */
                quad(&b, q[1], p[1], p[3], q[3]); /* above */
                if (edge) {
                    quad(&b, p[2], q[2], q[3], p[3]);
                }
            }
        }
    }
    *ret = finish(&b);
}

const solid SOLIDS[N_SOLIDS] = {
    {.name = "box", .at = box_at, .half = {20, 14}, .height = 16, .mesh = box_mesh},
    {.name = "slab", .at = box_at, .half = {40, 25}, .height = 5, .mesh = box_mesh},
    {.name = "tower", .at = box_at, .half = {5, 5}, .height = 30, .mesh = box_mesh},
    {.name = "tube", .at = tube_at, .half = {18, 18}, .height = 20, .size = {18, 11}, .mesh = tube_mesh},
    {.name = "pipe", .at = tube_at, .half = {12, 12}, .height = 30, .size = {12, 9.6}, .mesh = tube_mesh},
    {.name = "cone", .at = cone_at, .half = {18, 18}, .height = 28, .size = {18, 4}, .mesh = cone_mesh},
    {.name = "dome", .at = ball_at, .half = {22, 22}, .height = 22, .size = {22, 0}, .mesh = ball_mesh},
    {.name = "cap", .at = ball_at, .half = {20, 20}, .height = 8, .size = {29, -21}, .mesh = ball_mesh},
    {.name = "sphere", .at = ball_at, .half = {15, 15}, .height = 30, .size = {15, 15}, .mesh = ball_mesh},
    {.name = "flower", .at = flower_at, .half = {24, 24}, .height = 15, .size = {20, 0.15, 7}, .mesh = flower_mesh},
    {.name = "plate", .at = plate_at, .half = {36, 27}, .height = 6, .size = {5.5}, .mesh = plate_mesh},
    {.name = "cup", .at = cup_at, .half = {24, 24}, .height = 40, .size = {16, 2.6, 2.2, 0.18}, .mesh = cup_mesh},
};

po_mesh solid_mesh(const solid *s)
{
    po_mesh mesh = {0};
    s->mesh(s, &mesh);
    return mesh;
}

void free_mesh(po_mesh *mesh)
{
    free((void *)(uintptr_t)mesh->xyz);
    free((void *)(uintptr_t)mesh->corners);
    *mesh = (po_mesh){0};
}
