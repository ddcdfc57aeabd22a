/* A mesh as it looks: rasterised and shaded in few greys. SPDX-License-Identifier: Apache-2.0
 *
 * First pass: each triangle is filled row by row at the centres of dots and the nearest one stays (z-buffer: Catmull, "A
 * subdivision algorithm for computer display of curved surfaces", 1974). Ends of rows are computed from an edge's lower
 * corner, so that two triangles that share an edge leave no crack. Second pass: only dots that are seen are shaded, by the
 * normal of their triangle and one light (Lambert), in levels; lines where the surface ends, jumps or bends. A million
 * triangles cost their corners and no more. Textures tell what is meant, never colour alone. */
#include "slip/part_view.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "geometry/canvas.h"

enum { CLEAR, LEVEL, N_LEVELS = 8, INK = LEVEL + N_LEVELS, BEND, WHITE, WARM, PALE, N_COLOURS };
static const uint32_t RGBA[N_COLOURS] = {
    [CLEAR] = 0x00000000,     [LEVEL] = 0x77828CFF,     [LEVEL + 1] = 0x8B959EFF, [LEVEL + 2] = 0x9EA7AFFF,
    [LEVEL + 3] = 0xB0B8BEFF, [LEVEL + 4] = 0xC1C8CDFF, [LEVEL + 5] = 0xD2D7DBFF, [LEVEL + 6] = 0xE2E6E8FF,
    [LEVEL + 7] = 0xF1F3F3FF, [INK] = 0x1C2530FF,       [BEND] = 0x59646FFF,      [WHITE] = 0xFFFFFFFF,
    [WARM] = 0xE3C3BBFF,      [PALE] = 0xB9C6DEFF,
};
enum { MOST_SIDE = 2048, NOTHING = -1 };
#define BEND_COS 0.77      /* surfaces that meet at 40 degrees or more get a line */
#define VIEW_TURN_DEG 32.0 /* to the right of the front */
#define VIEW_TILT_DEG 27.0 /* above, or beneath, the level */

typedef struct raster {
    const po_view_setup *setup;
    po_part_view *view;
    int width, height;
    double *xyz;    /* of each vertex: dots to the right and down, mm towards the eye */
    int32_t *owner; /* of each dot: a triangle */
    float *depth;
    uint8_t *px;
} raster;

/* Not fmin and fmax: those must think of NaN, and are calls; here every number is finite. */
static inline double lesser(double a, double b)
{
    return b < a ? b : a;
}

static inline double greater(double a, double b)
{
    return b > a ? b : a;
}

/* The first dot whose centre is not before v. Places on the picture are never negative. */
static inline int first_centre(double v)
{
    return (int)(v + (0.5 - 1e-9));
}

static const double *corner(const raster *r, size_t triangle, int k)
{
    return r->xyz + 3 * (size_t)r->setup->mesh->corners[3 * triangle + (size_t)k];
}

/* ---- the eye ---- */

static void place_eye(const po_view_setup *s, double eye[3][3])
{
    if (s->from == PO_VIEW_DOWN) {
        static const double DOWN[3][3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
        memcpy(eye, DOWN, sizeof DOWN);
        return;
    }
    double az = VIEW_TURN_DEG * M_PI / 180, el = (s->from == PO_VIEW_BELOW ? -1 : 1) * VIEW_TILT_DEG * M_PI / 180;
    double rows[3][3] = {{cos(az), sin(az), 0},
                         {-sin(el) * sin(az), sin(el) * cos(az), cos(el)}, /* towards the eye, times to the right */
                         {sin(az) * cos(el), -cos(az) * cos(el), sin(el)}};
    memcpy(eye, rows, sizeof rows);
}

/* Rows of the whole way from the mesh to the eye: the pose first. */
static void compose(const po_view_setup *s, double rows[3][3], double turned[3][3])
{
    double eye[3][3];
    place_eye(s, eye);
    for (int i = 0; i < 3; i++) { /* turned: rows that give the coordinates after the pose */
        for (int k = 0; k < 3; k++) {
            turned[i][k] = s->turn ? s->turn[3 * k + i] : i == k;
        }
    }
    for (int i = 0; i < 3; i++) {
        for (int k = 0; k < 3; k++) {
            rows[i][k] = eye[i][0] * turned[0][k] + eye[i][1] * turned[1][k] + eye[i][2] * turned[2][k];
        }
    }
}

static double along(const double row[3], const double *p)
{
    return row[0] * p[0] + row[1] * p[1] + row[2] * p[2];
}

/* Corners as the eye sees them, bounds, and the scale. PO_E_EMPTY: nothing to see. */
static po_status look(raster *r, double turned[3][3])
{
    const po_mesh *m = r->setup->mesh;
    po_part_view *v = r->view;
    double low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY};
    unsigned char *used = calloc(m->n_vertices + 1, 1);
    if (!used) {
        return PO_E_NOMEM;
    }
    for (size_t i = 0; i < 3 * m->n_triangles; i++) {
        used[m->corners[i]] = 1;
    }
    for (int k = 0; k < 3; k++) {
        v->low[k] = INFINITY;
        v->high[k] = -INFINITY;
    }
    for (size_t i = 0; i < m->n_vertices; i++) {
        const double *p = m->xyz + 3 * i;
        double *q = r->xyz + 3 * i;
        for (int k = 0; k < 3; k++) {
            q[k] = along(v->rows[k], p);
        }
        if (!used[i]) {
            continue;
        }
        for (int k = 0; k < 2; k++) {
            low[k] = lesser(low[k], q[k]);
            high[k] = greater(high[k], q[k]);
        }
        for (int k = 0; k < 3; k++) {
            double c = along(turned[k], p);
            v->low[k] = lesser(v->low[k], c);
            v->high[k] = greater(v->high[k], c);
        }
    }
    free(used);
    double dx = high[0] - low[0], dy = high[1] - low[1];
    if (!(dx >= 0 && dy >= 0 && dx < 1e30 && dy < 1e30 && fabs(low[0]) < 1e30 && fabs(low[1]) < 1e30) ||
        (dx == 0 && dy == 0)) {
        return PO_E_EMPTY;
    }
    enum { EDGE = 2 }; /* dots left free on each side */
    double most_x = r->setup->width - 2 * EDGE - 1, most_y = r->setup->height - 2 * EDGE - 1;
    v->dot_mm = fmax(dx / most_x, dy / most_y);
    r->width = (int)fmin(floor(dx / v->dot_mm) + 1 + 2 * EDGE, r->setup->width);
    r->height = (int)fmin(floor(dy / v->dot_mm) + 1 + 2 * EDGE, r->setup->height);
    v->left = (low[0] + high[0]) / 2 - v->dot_mm * r->width / 2;
    v->top = (low[1] + high[1]) / 2 + v->dot_mm * r->height / 2;
    for (size_t i = 0; i < m->n_vertices; i++) {
        double *q = r->xyz + 3 * i;
        q[0] = (q[0] - v->left) / v->dot_mm;
        q[1] = (v->top - q[1]) / v->dot_mm;
    }
    return PO_OK;
}

/* ---- first pass: what is nearest ---- */

/* x of an edge at a row's centre, from its end that is higher on the picture (ties: either gives the same row). */
static double edge_at(const double *a, const double *b, double y)
{
    if (a[1] > b[1]) {
        const double *t = a;
        a = b;
        b = t;
    }
    return a[0] + (y - a[1]) * ((b[0] - a[0]) / (b[1] - a[1]));
}

static void fill_row(raster *r, int row, double left, double right, const double plane[3], const double range[2],
                     int32_t triangle)
{
    int x0 = first_centre(lesser(left, right)), x1 = first_centre(greater(left, right));
    x1 = x1 < r->width ? x1 : r->width;
    size_t at = (size_t)row * (size_t)r->width;
    for (int x = x0; x < x1; x++) {
        double z = plane[0] + plane[1] * (x + 0.5) + plane[2] * (row + 0.5);
        float depth = (float)lesser(greater(z, range[0]), range[1]); /* a sliver's plane may be steep: keep it within */
        if (depth > r->depth[at + (size_t)x]) {
            r->depth[at + (size_t)x] = depth;
            r->owner[at + (size_t)x] = triangle;
        }
    }
}

static void fill_triangle(raster *r, size_t triangle)
{
    const double *a = corner(r, triangle, 0), *b = corner(r, triangle, 1), *c = corner(r, triangle, 2);
    double top = lesser(a[1], lesser(b[1], c[1])), bottom = greater(a[1], greater(b[1], c[1]));
    double least_x = lesser(a[0], lesser(b[0], c[0])), most_x = greater(a[0], greater(b[0], c[0]));
    int row0 = first_centre(top), row1 = first_centre(bottom);
    if (row0 >= row1 || first_centre(least_x) >= first_centre(most_x)) {
        return; /* between two rows or two columns of centres, as most triangles of a fine mesh are */
    }
    row1 = row1 < r->height ? row1 : r->height;
    double ux = b[0] - a[0], uy = b[1] - a[1], vx = c[0] - a[0], vy = c[1] - a[1], area = ux * vy - uy * vx;
    double uz = b[2] - a[2], vz = c[2] - a[2], plane[3] = {0};
    if (area != 0) {
        plane[1] = (uz * vy - uy * vz) / area;
        plane[2] = (ux * vz - uz * vx) / area;
    }
    plane[0] = a[2] - plane[1] * a[0] - plane[2] * a[1];
    double range[2] = {lesser(a[2], lesser(b[2], c[2])), greater(a[2], greater(b[2], c[2]))};
    if (!isfinite(plane[0])) {
        plane[0] = range[0];
        plane[1] = plane[2] = 0;
    }
    const double *ends[3][2] = {{a, b}, {b, c}, {c, a}};
    for (int row = row0; row < row1; row++) {
        double y = row + 0.5, x[2] = {0, 0};
        int n = 0;
        for (int e = 0; e < 3 && n < 2; e++) {
            const double *p = ends[e][0], *q = ends[e][1];
            if ((p[1] <= y) != (q[1] <= y)) {
                x[n++] = edge_at(p, q, y);
            }
        }
        if (n == 2) {
            fill_row(r, row, x[0], x[1], plane, range, (int32_t)triangle);
        }
    }
}

/* ---- second pass: how it looks ---- */

typedef struct facet { /* of the dot looked at: unit normal as the eye sees it, x right, y up, z towards the eye */
    double n[3];
    double down; /* share of the normal, as the mesh gives it, that points down in the pose */
    bool inside;
} facet;

static facet facet_of(const raster *r, int32_t triangle, const double up[3])
{
    const double *a = corner(r, (size_t)triangle, 0), *b = corner(r, (size_t)triangle, 1),
                 *c = corner(r, (size_t)triangle, 2);
    double s = r->view->dot_mm;
    double ux = (b[0] - a[0]) * s, uy = -(b[1] - a[1]) * s, uz = b[2] - a[2];
    double vx = (c[0] - a[0]) * s, vy = -(c[1] - a[1]) * s, vz = c[2] - a[2];
    facet f = {.n = {uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx}};
    double length = sqrt(f.n[0] * f.n[0] + f.n[1] * f.n[1] + f.n[2] * f.n[2]);
    if (!(length > 0) || !isfinite(length)) {
        return (facet){.n = {0, 0, 1}};
    }
    for (int k = 0; k < 3; k++) {
        f.n[k] /= length;
    }
    f.down = -(f.n[0] * up[0] + f.n[1] * up[1] + f.n[2] * up[2]);
    f.inside = f.n[2] < 0;
    for (int k = 0; k < 3 && f.inside; k++) {
        f.n[k] = -f.n[k];
    }
    return f;
}

static uint8_t level_of(const facet *f)
{
    static const double LIGHT[3] = {-0.42, 0.62, 0.66}; /* from the upper left, before the picture; nearly unit */
    double lit = f->n[0] * LIGHT[0] + f->n[1] * LIGHT[1] + f->n[2] * LIGHT[2];
    double share = 0.12 + 0.88 * fmax(lit, 0) + 0.1 * fmin(lit, 0);
    int level = (int)floor(share * N_LEVELS);
    return (uint8_t)(LEVEL + (level < 0 ? 0 : level >= N_LEVELS ? N_LEVELS - 1 : level));
}

static uint8_t texture(po_view_kind kind, int x, int y)
{
    if (kind == PO_SURFACE_OVERHANG) { /* crossed lines, as overhangs of layers have them */
        return (x - y + 70000) % 6 == 0 || (x + y) % 6 == 0 ? INK : WARM;
    }
    return (x - y + 70000) % 5 == 0 ? BEND : PALE; /* inside: single lines, falling */
}

/* Lines: 2 = the surface ends or jumps, 1 = it bends. */
static int line_at(const raster *r, int x, int y, const facet *f, const double up[3])
{
    static const int STEP[6][2] = {{1, 0}, {0, 1}, {-1, 0}, {0, -1}, {2, 0}, {0, 2}};
    size_t at = (size_t)y * (size_t)r->width + (size_t)x;
    double s = r->view->dot_mm, jump = 5 * s;
    int line = 0;
    for (int i = 0; i < 6; i++) {
        int nx = x + STEP[i][0], ny = y + STEP[i][1];
        if (nx < 0 || ny < 0 || nx >= r->width || ny >= r->height) {
            return 2;
        }
        size_t other = (size_t)ny * (size_t)r->width + (size_t)nx;
        if (r->owner[other] == NOTHING) {
            return 2;
        }
        if (r->owner[other] == r->owner[at] || i >= 4) {
            continue;
        }
        /* How far the neighbour lies behind the plane of this dot: a slope is no jump. */
        double steep = fmin((fabs(f->n[0]) + fabs(f->n[1])) / fmax(f->n[2], 0.02), 20);
        double behind = (double)(r->depth[at] - r->depth[other]);
        if (behind > jump + 1.5 * s * steep) {
            facet g = facet_of(r, r->owner[other], up);
            double steep_there = fmin((fabs(g.n[0]) + fabs(g.n[1])) / fmax(g.n[2], 0.02), 20);
            if (behind > jump + 1.5 * s * steep_there) {
                return 2;
            }
        }
        if (i < 2 && !line) {
            facet g = facet_of(r, r->owner[other], up);
            line = f->n[0] * g.n[0] + f->n[1] * g.n[1] + f->n[2] * g.n[2] < BEND_COS;
        }
    }
    return line;
}

static void shade(raster *r, double turned[3][3])
{
    const po_view_setup *s = r->setup;
    po_part_view *v = r->view;
    double up[3]; /* the pose's upward direction as the eye sees it */
    for (int k = 0; k < 3; k++) {
        up[k] = along(v->rows[k], turned[2]);
    }
    double limit = isfinite(s->overhang_limit_deg) ? sin(s->overhang_limit_deg * M_PI / 180) + 1e-6 : 2;
    int32_t last = NOTHING;
    facet f = {.n = {0, 0, 1}};
    bool hangs = false;
    for (int y = 0; y < r->height; y++) {
        for (int x = 0; x < r->width; x++) {
            size_t at = (size_t)y * (size_t)r->width + (size_t)x;
            if (r->owner[at] == NOTHING) {
                continue;
            }
            if (r->owner[at] != last) {
                last = r->owner[at];
                f = facet_of(r, last, up);
                hangs = f.down > limit;
                double highest = -INFINITY; /* of the triangle, above the bed */
                for (int k = 0; hangs && k < 3; k++) {
                    highest = fmax(
                        highest,
                        along(turned[2], s->mesh->xyz + 3 * (size_t)s->mesh->corners[3 * (size_t)last + (size_t)k]));
                }
                hangs = hangs && highest > v->low[2] + s->on_bed_mm;
            }
            int line = line_at(r, x, y, &f, up);
            uint8_t colour = line == 2 ? INK : line == 1 ? BEND : level_of(&f);
            if (line == 0 && (hangs || f.inside)) {
                po_view_kind kind = f.inside ? PO_SURFACE_INSIDE : PO_SURFACE_OVERHANG;
                uint8_t over = texture(kind, x, y);
                v->seen[kind] = true;
                colour = over == PALE ? colour : over; /* what is seen from inside keeps its shape */
            }
            r->px[at] = colour;
        }
    }
}

/* ---- walls ---- */

/* A dot for a thin place: dark on white. Slim ones are a ring. */
static void stamp(uint8_t *px, int width, int height, int x, int y, bool thin)
{
    static const char *const THIN[5] = {" www ", "wkkkw", "wkkkw", "wkkkw", " www "};
    static const char *const SLIM[5] = {" kkk ", "kwwwk", "kwwwk", "kwwwk", " kkk "};
    for (int j = 0; j < 5; j++) {
        for (int i = 0; i < 5; i++) {
            char c = (thin ? THIN : SLIM)[j][i];
            int px_x = x + i - 2, px_y = y + j - 2;
            if (c != ' ' && px_x >= 0 && px_y >= 0 && px_x < width && px_y < height) {
                px[(size_t)px_y * (size_t)width + (size_t)px_x] = c == 'k' ? INK : WHITE;
            }
        }
    }
}

/* Samples that are seen, thin ones first, none nearer to another than a few dots. */
static bool dot_walls(raster *r)
{
    const po_view_setup *s = r->setup;
    enum { CELL = 9 };
    int columns = r->width / CELL + 1, rows = r->height / CELL + 1;
    unsigned char *taken = calloc((size_t)columns * (size_t)rows, 1);
    if (!taken) {
        return false;
    }
    for (size_t i = 0; i < s->n_samples; i++) {
        const po_wall_sample *w = &s->samples[i];
        double x, y;
        if (!w->sheet || !(w->mm < 2 * s->bead_mm) || !po_part_view_point(r->view, w->at, &x, &y)) {
            continue;
        }
        unsigned char *cell = &taken[(size_t)(y / CELL) * (size_t)columns + (size_t)(x / CELL)];
        if (!*cell) {
            bool thin = w->mm < s->bead_mm;
            *cell = 1;
            stamp(r->px, r->width, r->height, (int)x, (int)y, thin);
            r->view->seen[thin ? PO_SURFACE_THIN : PO_SURFACE_SLIM] = true;
        }
    }
    free(taken);
    return true;
}

/* ---- all of it ---- */

po_status po_part_view_make(const po_view_setup *setup, po_arena *arena, po_part_view *ret, po_err *err)
{
    const po_mesh *m = setup->mesh;
    double turned[3][3];
    *ret = (po_part_view){0};
    if (setup->width < 8 || setup->height < 8 || setup->width > MOST_SIDE || setup->height > MOST_SIDE) {
        return po_fail(err, PO_E_RANGE, "a view has 8 to %d dots a side", MOST_SIDE);
    }
    compose(setup, ret->rows, turned);
    if (m == NULL || m->n_triangles == 0 || m->n_triangles > INT32_MAX) {
        return PO_OK;
    }
    raster r = {.setup = setup, .view = ret};
    po_status status = po_fail(err, PO_E_NOMEM, "no memory for a view of the part");
    r.xyz = calloc(m->n_vertices + 1, 3 * sizeof *r.xyz);
    if (!r.xyz) {
        goto done;
    }
    po_status looked = look(&r, turned);
    if (looked) {
        status = looked == PO_E_EMPTY ? PO_OK : status; /* nothing that could be seen is no fault */
        goto done;
    }
    size_t n = (size_t)r.width * (size_t)r.height;
    po_palette_image *image = po_arena_zeros(arena, 1, sizeof *image);
    r.px = po_arena_zeros(arena, n, 1);
    r.depth = po_arena_zeros(arena, n, sizeof *r.depth);
    r.owner = malloc(n * sizeof *r.owner);
    if (!image || !r.px || !r.depth || !r.owner) {
        goto done;
    }
    for (size_t i = 0; i < n; i++) {
        r.depth[i] = -INFINITY;
        r.owner[i] = NOTHING;
    }
    for (size_t t = 0; t < m->n_triangles; t++) {
        fill_triangle(&r, t);
    }
    ret->depth = r.depth;
    double span = 0;
    for (int k = 0; k < 3; k++) {
        span = fmax(span, ret->high[k] - ret->low[k]);
    }
    ret->slack_mm = 0.004 * span + 3 * ret->dot_mm;
    shade(&r, turned);
    *image = (po_palette_image){.width = r.width, .height = r.height, .px = r.px, .rgba = RGBA, .n_colours = N_COLOURS};
    ret->image = image;
    if (!dot_walls(&r)) {
        goto done;
    }
    status = PO_OK;
done:
    free(r.xyz);
    free(r.owner);
    return status;
}

bool po_part_view_point(const po_part_view *v, const double p[3], double *ret_x, double *ret_y)
{
    *ret_x = *ret_y = 0;
    if (!(v->dot_mm > 0)) {
        return false;
    }
    double x = (along(v->rows[0], p) - v->left) / v->dot_mm, y = (v->top - along(v->rows[1], p)) / v->dot_mm;
    if (!(fabs(x) < 1e6 && fabs(y) < 1e6)) {
        return false;
    }
    *ret_x = x;
    *ret_y = y;
    if (v->image == NULL && v->depth == NULL) {
        return false;
    }
    int width = v->image ? v->image->width : 0, height = v->image ? v->image->height : 0;
    if (x < 0 || y < 0 || x >= width || y >= height) {
        return false;
    }
    float depth = v->depth[(size_t)y * (size_t)width + (size_t)x];
    return along(v->rows[2], p) > (double)depth - v->slack_mm && isfinite(depth);
}

const po_palette_image *po_surface_patch(po_arena *arena, po_view_kind kind, int width, int height)
{
    uint8_t *px;
    po_palette_image *image = po_palette_blank(arena, width, height, MOST_SIDE, RGBA, N_COLOURS, &px);
    bool dots = kind == PO_SURFACE_THIN || kind == PO_SURFACE_SLIM;
    for (int y = 0; image && y < height; y++) {
        for (int x = 0; x < width; x++) {
            bool edge = x == 0 || y == 0 || x == width - 1 || y == height - 1;
            px[(size_t)y * (size_t)width + (size_t)x] = edge ? BEND : dots ? LEVEL + 5 : texture(kind, x, y);
        }
    }
    for (int y = 6; image && dots && y < height - 3; y += 10) {
        for (int x = 6; x < width - 3; x += 10) {
            stamp(px, width, height, x, y, kind == PO_SURFACE_THIN);
        }
    }
    return image;
}

const po_palette_image *po_section_dots(po_arena *arena, const po_loops *loops, double x0, double y0, double dot_mm,
                                        int width, int height)
{
    static const po_placing AS_IT_IS = {.scale = 1};
    uint8_t *px;
    po_canvas canvas = {0};
    po_palette_image *image = po_palette_blank(arena, width, height, MOST_SIDE, RGBA, N_COLOURS, &px);
    if (!image || !po_canvas_init(&canvas, width, height, x0, y0, dot_mm) ||
        !po_canvas_loops(&canvas, loops, &AS_IT_IS)) {
        po_canvas_done(&canvas);
        return NULL;
    }
    for (int y = 0; y < height; y++) { /* the canvas counts rows upwards */
        for (int x = 0; x < width; x++) {
            size_t at = (size_t)(height - 1 - y) * (size_t)width + (size_t)x;
            if (!canvas.px[at]) {
                continue;
            }
            bool edge = x == 0 || y == 0 || x == width - 1 || y == height - 1 || !canvas.px[at - 1] ||
                        !canvas.px[at + 1] || !canvas.px[at - (size_t)width] || !canvas.px[at + (size_t)width];
            px[(size_t)y * (size_t)width + (size_t)x] = edge ? INK : (x + y) % 7 == 0 ? BEND : LEVEL + 5;
        }
    }
    po_canvas_done(&canvas);
    return image;
}
