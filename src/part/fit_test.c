/* Room on machines: closed forms, brute force, the shop's own machines. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/rounds.h"
#include "part/fit.h"
#include "part/shapes.h"

typedef struct held { /* a soup as a mesh whose vertices are not shared */
    soup soup;
    uint32_t *corners;
    po_mesh mesh;
} held;

static const po_mesh *hold(held *h)
{
    h->corners = malloc((3 * h->soup.n + 1) * sizeof *h->corners);
    assert_non_null(h->corners);
    for (uint32_t i = 0; i < 3 * h->soup.n; i++) {
        h->corners[i] = i;
    }
    h->mesh = (po_mesh){h->soup.nine, 3 * h->soup.n, h->corners, h->soup.n};
    return &h->mesh;
}

static void drop(held *h)
{
    free(h->soup.nine);
    free(h->corners);
    *h = (held){0};
}

static po_machine rectangle(double x, double y, double z)
{
    return (po_machine){.name = "Bench", .bed_mm = {x, y}, .height_mm = z};
}

static po_machine disc(double d, double z)
{
    return (po_machine){.name = "Disc", .bed_mm = {d, d}, .height_mm = z, .round_bed = true, .origin_centre = true};
}

static po_fit fit_mesh(const po_mesh *mesh, const po_machine *machine, double clearance)
{
    po_fit fit;
    po_err err = {0};
    if (po_part_fit(mesh, machine, clearance, NULL, 0, NULL, &fit, &err) != PO_OK) {
        fail_msg("%s", err.msg);
    }
    assert_ptr_equal(fit.machine, machine);
    assert_int_equal(fit.pose, -1);
    assert_true(fit.turned || !fit.as_is);
    assert_true(fit.turned == !isnan(fit.turn_deg));
    if (!fit.turned) {
        return fit;
    }
    /* where it was put it lies on the bed, by plain sums */
    po_range x, y;
    po_machine_bed_extent(machine, &x, &y);
    double c = cos(fit.turn_deg * M_PI / 180), s = sin(fit.turn_deg * M_PI / 180), low = INFINITY;
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        low = fmin(low, mesh->xyz[3 * v + 2]);
    }
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        const double *p = mesh->xyz + 3 * v;
        double px = p[0] * c - p[1] * s + fit.shift_mm[0], py = p[0] * s + p[1] * c + fit.shift_mm[1], eps = 1e-8;
        if (machine->round_bed) {
            assert_true(hypot(px - (x.low + x.high) / 2, py - (y.low + y.high) / 2) <=
                        machine->bed_mm[0] / 2 - clearance + eps);
        } else {
            assert_true(px >= x.low + clearance - eps && px <= x.high - clearance + eps);
            assert_true(py >= y.low + clearance - eps && py <= y.high - clearance + eps);
        }
        for (size_t k = 0; k < machine->n_keep_outs; k++) {
            const po_keep_out *o = &machine->keep_outs[k];
            assert_false(p[2] - low < o->below_z_mm && px > o->x.low + eps && px < o->x.high - eps &&
                         py > o->y.low + eps && py < o->y.high - eps);
        }
    }
    return fit;
}

static po_fit fit_box(double a, double b, double c, const po_machine *machine, double clearance)
{
    held h = {0};
    soup_box(&h.soup, -7, 3, 20, a, b, c);
    po_fit fit = fit_mesh(hold(&h), machine, clearance);
    drop(&h);
    return fit;
}

static void boxes(void **state)
{
    (void)state;
    po_machine m = rectangle(200, 150, 100);
    po_fit f = fit_box(200, 150, 100, &m, 0);
    assert_true(f.as_is && f.turned && f.turn_deg == 0);
    assert_true(fabs(f.largest_scale - 1) < 1e-9);
    assert_true(fabs(f.shift_mm[0] - 7) < 1e-9 && fabs(f.shift_mm[1] + 3) < 1e-9);
    for (int k = 0; k < 3; k++) {
        assert_true(fabs(f.over_mm[k]) < 1e-12);
        double size[3] = {200, 150, 100};
        size[k] += 3e-9; /* beyond the slack for rounding */
        f = fit_box(size[0], size[1], size[2], &m, 0);
        assert_false(f.as_is);
        assert_true(f.over_mm[k] > 2e-9);
        size[k] -= 4e-9;
        assert_true(fit_box(size[0], size[1], size[2], &m, 0).as_is);
    }
    f = fit_box(150, 200, 50, &m, 0); /* a quarter turn */
    assert_true(!f.as_is && f.turned && fabs(fabs(f.turn_deg) - 90) < 1e-9);
    assert_true(f.over_mm[0] < 0 && fabs(f.over_mm[1] - 50) < 1e-12);
    assert_true(fabs(f.largest_scale - 1) < 1e-9);
    f = fit_box(100, 100, 125, &m, 0); /* too tall: nothing but less of it helps */
    assert_true(!f.turned && fabs(f.over_mm[2] - 25) < 1e-12 && fabs(f.largest_scale - 0.8) < 1e-9);
    assert_true(fit_box(190, 140, 10, &m, 5).as_is);
    assert_false(fit_box(190, 140.1, 10, &m, 5).turned);
    f = fit_box(1, 1, 1, &m, 90); /* no bed left */
    assert_true(!f.turned && f.largest_scale == 0);
    m.origin_centre = true;
    f = fit_box(20, 30, 5, &m, 0); /* in the middle: box from -7 and 3 */
    assert_true(fabs(f.shift_mm[0] + 3) < 1e-9 && fabs(f.shift_mm[1] + 18) < 1e-9);
}

/* A bar a x b turned by t is a cos t + b sin t wide and a sin t + b cos t deep: the condition for a rectangle in a
 * rectangle (L. R. Ford 1925; J. E. Wetzel, "Rectangles in rectangles", Mathematics Magazine 73, 2000). */
static void diagonal_bar(void **state)
{
    (void)state;
    po_machine m = rectangle(200, 150, 100);
    static const struct {
        double a, b;
    } bars[] = {{220, 20}, {230, 10}, {205, 30}, {240, 5}, {201, 1}};
    for (size_t i = 0; i < sizeof bars / sizeof bars[0]; i++) {
        double a = bars[i].a, b = bars[i].b, least = NAN, best = 0;
        for (double t = 0; t <= 90; t += 0.001) { /* steps, as a check */
            double c = cos(t * M_PI / 180), s = sin(t * M_PI / 180), w = a * c + b * s, d = a * s + b * c;
            best = fmax(best, fmin(200 / w, 150 / d));
            if (isnan(least) && w <= 200 && d <= 150) {
                least = t;
            }
        }
        po_fit f = fit_box(a, b, 10, &m, 0);
        assert_false(f.as_is);
        assert_true(f.turned == !isnan(least));
        assert_true(fabs(f.largest_scale - best) < 2e-5 && f.largest_scale >= best - 1e-12);
        if (f.turned) {
            double t = f.turn_deg * M_PI / 180;
            assert_true(fabs(fabs(f.turn_deg) - least) < 0.0011);
            assert_true(fabs(a * cos(t) + b * sin(fabs(t)) - 200) < 1e-7); /* the least turn just fits the long side */
        }
    }
    /* the exact limit: with b = 0 wide, the diagonal is 250 */
    held h = {0};
    double o[3] = {0, 0, 0}, p[3] = {250, 0, 0}, q[3] = {125, 0, 9};
    soup_add(&h.soup, o, p, q);
    po_fit f = fit_mesh(hold(&h), &m, 0);
    assert_true(f.turned && fabs(fabs(f.turn_deg) - atan2(150, 200) * 180 / M_PI) < 1e-4);
    assert_true(fabs(f.largest_scale - 1) < 1e-9);
    h.mesh.xyz = h.soup.nine;
    h.soup.nine[3] = 250.0001;
    assert_false(fit_mesh(&h.mesh, &m, 0).turned);
    drop(&h);
}

static void round_beds(void **state)
{
    (void)state;
    po_machine m = disc(200, 100);
    double a = 200 / sqrt(2);
    po_fit f = fit_box(a, a, 10, &m, 0); /* a square's diagonal is the bed's diameter */
    assert_true(f.as_is && fabs(f.largest_scale - 1) < 1e-9);
    assert_true(fabs(f.shift_mm[0] - (7 - a / 2)) < 1e-6 && fabs(f.shift_mm[1] - (-3 - a / 2)) < 1e-6);
    f = fit_box(a + 1e-8, a, 10, &m, 0);
    assert_true(!f.turned && f.over_mm[0] > 0 && f.over_mm[1] > 0);
    assert_true(fit_box(a - 1e-9, a, 10, &m, 0).as_is);
    f = fit_box(a / 2, a / 2, 10, &m, 50);
    assert_true(f.as_is && fabs(f.largest_scale - 1) < 1e-9);
    /* an equilateral triangle of side s has a circle of s / sqrt 3 around it; its box would not fit */
    held h = {0};
    double s = 100 * sqrt(3), p[3] = {0, 0, 0}, q[3] = {s, 0, 0}, r[3] = {s / 2, s * sqrt(3) / 2, 0},
           t[3] = {s / 2, 40, 99};
    soup_add(&h.soup, p, q, t);
    soup_add(&h.soup, q, r, t);
    f = fit_mesh(hold(&h), &m, 0);
    assert_true(f.as_is && fabs(f.largest_scale - 1) < 1e-9);
    assert_true(fabs(f.shift_mm[0] + s / 2) < 1e-6 && fabs(f.shift_mm[1] + 50) < 1e-6);
    drop(&h);
}

/* An L is judged by its hull: 100 x 100 with arms 10 wide. */
static void l_shape(void **state)
{
    (void)state;
    po_machine m = rectangle(200, 72, 50);
    held h = {0};
    soup_box(&h.soup, 0, 0, 0, 100, 10, 5);
    soup_box(&h.soup, 0, 0, 0, 10, 100, 5);
    /* hull (0,0) (100,0) (100,10) (10,100) (0,100): square to its long edge it is 110 / sqrt 2 = 77.78 deep */
    po_fit f = fit_mesh(hold(&h), &m, 0);
    assert_true(!f.turned && fabs(f.largest_scale - 72 / (110 / sqrt(2))) < 1e-6);
    m.bed_mm[1] = 78;
    f = fit_mesh(&h.mesh, &m, 0);
    assert_true(!f.as_is && f.turned && fabs(fabs(f.turn_deg) - 45) < 1.0);
    drop(&h);
}

static void keep_outs(void **state)
{
    (void)state;
    po_keep_out out[2] = {{{180, 200}, {130, 150}, 15}, {{0, 20}, {0, 20}, 15}};
    po_machine m = rectangle(200, 150, 100);
    m.keep_outs = out;
    m.n_keep_outs = 1;
    po_fit f = fit_box(180, 150, 10, &m, 0); /* flush with the side of what is in the way */
    assert_true(f.as_is && fabs(f.shift_mm[0] - 7) < 1e-6);
    f = fit_box(200, 130, 10, &m, 0);
    assert_true(f.as_is && fabs(f.shift_mm[1] + 3) < 1e-6);
    assert_false(fit_box(180.001, 130.001, 10, &m, 0).turned);
    f = fit_box(181, 131, 10, &m, 0);
    assert_true(!f.turned && f.over_mm[0] < 0 && f.largest_scale < 181 / 180.0 && f.largest_scale > 130 / 131.0 - 1e-6);
    assert_true(fit_box(100, 100, 90, &m, 0).as_is); /* taller than what it does not touch */
    f = fit_box(60, 60, 10, &m, 0);                  /* the middle is free: there it goes */
    assert_true(fabs(f.shift_mm[0] - (100 - 30 + 7)) < 1e-6 && fabs(f.shift_mm[1] - (75 - 30 - 3)) < 1e-6);
    m.n_keep_outs = 2; /* two opposite corners: x <= 180 and y >= 20, or so */
    assert_true(fit_box(160, 150, 10, &m, 0).as_is);
    assert_true(fit_box(180, 130, 10, &m, 0).as_is);
    assert_true(fit_box(200, 110, 10, &m, 0).as_is);
    assert_false(fit_box(181, 131, 10, &m, 0).as_is);
    assert_false(fit_box(161, 131, 10, &m, 0).as_is == false && fit_box(161, 131, 10, &m, 0).turned == false);
    /* one in the middle: what is left beside it is 90 wide */
    out[0] = (po_keep_out){{90, 110}, {0, 150}, 15};
    m.n_keep_outs = 1;
    f = fit_box(90, 150, 10, &m, 0);
    assert_true(f.as_is && (fabs(f.shift_mm[0] - 7) < 1e-6 || fabs(f.shift_mm[0] - 117) < 1e-6));
    f = fit_box(95, 80, 10, &m, 0);
    assert_true(!f.as_is && f.turned);
    assert_false(fit_box(95, 95, 10, &m, 0).turned);
    /* a table whose top is above what is in the way, and whose legs are not */
    held h = {0};
    soup_box(&h.soup, 0, 0, 15, 200, 150, 5);
    soup_box(&h.soup, 0, 0, 0, 80, 150, 15);
    f = fit_mesh(hold(&h), &m, 0);
    assert_true(f.as_is);
    h.mesh.n_triangles = 12; /* the top alone lies on the bed */
    assert_false(fit_mesh(&h.mesh, &m, 0).turned);
    drop(&h);
}

static void round_with_keep_out(void **state)
{
    (void)state;
    po_keep_out out = {{60, 100}, {-100, 100}, 15};
    po_machine m = disc(200, 100);
    m.keep_outs = &out;
    m.n_keep_outs = 1;
    assert_true(fit_box(20, 20, 10, &m, 0).as_is);
    po_fit f = fit_box(100, 100, 10, &m, 0); /* left of it: from -40 to 60, corners at 64 */
    assert_true(f.as_is);
    /* a bar 150 x 60 along x does not go beside it (60 - 150 = -90, 30: hypot 94.9 fits!), 165 x 60 only turned */
    assert_true(fit_box(150, 60, 10, &m, 0).as_is);
    f = fit_box(165, 60, 10, &m, 0);
    assert_true(!f.as_is && f.turned);
    m.reach[0] = (po_range){-50, 100}; /* the nozzle does not get everywhere */
    m.reach[1] = (po_range){-100, 100};
    assert_false(fit_box(111, 111, 10, &m, 0).as_is);
    assert_true(fit_box(109, 109, 10, &m, 0).as_is);
}

/* Whether the hull, shifted, is on the bed and apart from all that is in the way along one of the axes that may part
 * convex polygons (separating axes: S. Gottschalk et al., SIGGRAPH 1996). */
static bool free_at(const po_machine *m, const po_xy *hull, size_t n, double sx, double sy, double eps)
{
    po_range bx, by;
    po_machine_bed_extent(m, &bx, &by);
    for (size_t i = 0; i < n; i++) {
        double x = hull[i].x + sx, y = hull[i].y + sy;
        if (m->round_bed ? hypot(x, y) > m->bed_mm[0] / 2 + eps
                         : x < bx.low - eps || x > bx.high + eps || y < by.low - eps || y > by.high + eps) {
            return false;
        }
    }
    for (size_t k = 0; k < m->n_keep_outs; k++) {
        const po_keep_out *o = &m->keep_outs[k];
        bool apart = false;
        for (size_t e = 0; e < n + 4 && !apart; e++) {
            po_xy a = hull[e % n], b = hull[(e + 1) % n];
            double length = hypot(b.x - a.x, b.y - a.y),
                   nx = e < n        ? (b.y - a.y) / length
                        : e == n     ? 1
                        : e == n + 1 ? -1
                                     : 0,
                   ny = e < n        ? (a.x - b.x) / length
                        : e == n + 2 ? 1
                        : e == n + 3 ? -1
                                     : 0,
                   most = -INFINITY;
            for (size_t i = 0; i < n; i++) {
                most = fmax(most, nx * (hull[i].x + sx) + ny * (hull[i].y + sy));
            }
            apart = most <= fmin(nx * o->x.low, nx * o->x.high) + fmin(ny * o->y.low, ny * o->y.high) + eps;
        }
        if (!apart) {
            return false;
        }
    }
    return true;
}

/* Random hulls and random things in the way: what the sweep finds is free, and where it finds nothing steps don't. */
static void against_steps(void **state)
{
    (void)state;
    uint64_t seed = 12345;
    size_t found = 0, none = 0;
    for (int round = 0; round < PO_ROUNDS(160, 40); round++) {
        double u[40];
        for (int i = 0; i < 40; i++) {
            seed = seed * UINT64_C(6364136223846793005) + 1;
            u[i] = (double)(seed >> 33) / 2147483648.0;
        }
        po_keep_out out[3];
        po_machine m = round % 3 == 2 ? disc(110, 100) : rectangle(100, 80, 100);
        double ox = m.origin_centre ? -50 : 0, oy = m.origin_centre ? -40 : 0;
        for (int k = 0; k < 3; k++) {
            double x = u[4 * k] * 90, y = u[4 * k + 1] * 70;
            out[k] = (po_keep_out){
                {ox + x, ox + x + 3 + u[4 * k + 2] * 25}, {oy + y, oy + y + 3 + u[4 * k + 3] * 25}, 20};
        }
        m.keep_outs = out;
        m.n_keep_outs = (size_t)(round % 4);
        po_xy points[8], hull[9];
        held h = {0};
        double apex[3] = {0, 0, 5};
        for (int i = 0; i < 8; i++) {
            points[i] = (po_xy){u[12 + 2 * i] * (70 + round % 5 * 10), u[13 + 2 * i] * (60 + round % 7 * 4)};
        }
        size_t n = po_hull(points, 8, hull);
        for (size_t i = 0; i < n; i++) {
            double a[3] = {hull[i].x, hull[i].y, 0}, b[3] = {hull[(i + 1) % n].x, hull[(i + 1) % n].y, 0};
            apex[0] = hull[0].x;
            apex[1] = hull[0].y;
            soup_add(&h.soup, a, b, apex);
        }
        po_fit f = fit_mesh(hold(&h), &m, 0);
        if (f.as_is) {
            assert_true(free_at(&m, hull, n, f.shift_mm[0], f.shift_mm[1], 2e-9));
        } else if (f.turned) {
            double c = cos(f.turn_deg * M_PI / 180), s = sin(f.turn_deg * M_PI / 180);
            po_xy turned[9];
            for (size_t i = 0; i < n; i++) {
                turned[i] = (po_xy){hull[i].x * c - hull[i].y * s, hull[i].x * s + hull[i].y * c};
            }
            assert_true(free_at(&m, turned, n, f.shift_mm[0], f.shift_mm[1], 1e-8));
        }
        for (double sx = -120; !f.as_is && sx < 100; sx += 0.5) {
            for (double sy = -120; sy < 100; sy += 0.5) {
                assert_false(free_at(&m, hull, n, sx, sy, m.round_bed && m.n_keep_outs ? -0.005 : 0));
            }
        }
        found += f.as_is;
        none += !f.as_is;
        drop(&h);
    }
    print_message("%zu found, %zu not\n", found, none);
    assert_true(found > PO_ROUNDS(30, 7) && none > PO_ROUNDS(10, 2)); /* both are tried */
}

static void tipped_poses(void **state)
{
    (void)state;
    po_machine m = rectangle(200, 150, 100);
    held h = {0};
    soup_box(&h.soup, 0, 0, 0, 20, 30, 160); /* a post: too tall, lies down well */
    po_pose poses[3] = {{.turn = {1, 0, 0, 0, 1, 0, 0, 0, 1}, .cost = 1},
                        {.turn = {1, 0, 0, 0, 0, 1, 0, -1, 0}, .cost = 5},  /* about x: 160 deep, fits once turned */
                        {.turn = {0, 0, -1, 0, 1, 0, 1, 0, 0}, .cost = 3}}; /* about y: 160 wide */
    po_fit f;
    assert_int_equal(po_part_fit(hold(&h), &m, 0, poses, 3, NULL, &f, NULL), PO_OK);
    assert_false(f.turned);
    assert_int_equal(f.pose, 2);
    assert_true(f.pose_turn_deg == 0);
    poses[2].cost = 9;
    assert_int_equal(po_part_fit(&h.mesh, &m, 0, poses, 3, NULL, &f, NULL), PO_OK);
    assert_int_equal(f.pose, 1);
    assert_true(fabs(f.pose_turn_deg) > 1);
    assert_int_equal(po_part_fit(&h.mesh, &m, 0, poses, 1, NULL, &f, NULL), PO_OK);
    assert_true(f.pose == -1 && isnan(f.pose_turn_deg));
    drop(&h);
}

static void bad_input(void **state)
{
    (void)state;
    po_machine m = rectangle(200, 150, 100);
    held h = {0};
    soup_box(&h.soup, 0, 0, 0, 20, 30, 40);
    hold(&h);
    po_fit f;
    assert_int_equal(po_part_fit(&h.mesh, &m, NAN, NULL, 0, NULL, &f, NULL), PO_E_RANGE);
    h.corners[5] = 400;
    assert_int_equal(po_part_fit(&h.mesh, &m, 0, NULL, 0, NULL, &f, NULL), PO_E_RANGE);
    h.corners[5] = 5;
    h.soup.nine[4] = NAN;
    assert_int_equal(po_part_fit(&h.mesh, &m, 0, NULL, 0, NULL, &f, NULL), PO_E_RANGE);
    h.mesh.n_triangles = 0;
    assert_int_equal(po_part_fit(&h.mesh, &m, 0, NULL, 0, NULL, &f, NULL), PO_E_EMPTY);
    drop(&h);
}

/* The invented shop: Alder 245 x 205 x 230 with a corner kept out, Dogwood 330 x 290 x 410, Elm a disc of 270. */
static void quayside(void **state)
{
    (void)state;
    char path[4096];
    snprintf(path, sizeof path, "%s/demo/shop.yaml", getenv("PO_SOURCE_ROOT") ? getenv("PO_SOURCE_ROOT") : ".");
    po_arena *arena = po_arena_new(0);
    const po_shop *shop;
    po_shop_faults faults;
    po_err err = {0};
    if (po_shop_read_file(path, arena, &shop, &faults, &err) != PO_OK) {
        fail_msg("%s", err.msg);
    }
    const po_machine *alder = po_shop_machine(shop, "Alder"), *dogwood = po_shop_machine(shop, "Dogwood"),
                     *elm = po_shop_machine(shop, "Elm");
    assert_non_null(alder);
    assert_true(fit_box(227, 205, 10, alder, 0).as_is);
    assert_true(fit_box(245, 193, 230, alder, 0).as_is);
    assert_false(fit_box(228, 194, 10, alder, 0).turned);
    assert_true(fit_box(245, 205, 10, dogwood, 0).as_is);
    assert_true(fit_box(400, 30, 10, dogwood, 0).turned);
    assert_false(fit_box(400, 30, 10, alder, 0).turned);
    po_fit f = fit_box(190, 190, 345, elm, 0); /* diagonal 268.7 */
    assert_true(f.as_is && fabs(f.largest_scale - 1) < 1e-9);
    assert_false(fit_box(192, 192, 10, elm, 0).turned);
    po_arena_free(arena);
}

/* A million vertices on a wall, all of them at the edge of the outline, and things in the way. */
static void many(void **state)
{
    (void)state;
    held h = {0};
    size_t n = 170000;
    for (size_t i = 0; i < n; i++) {
        double a = 2 * M_PI * (double)i / (double)n, b = 2 * M_PI * (double)(i + 1) / (double)n;
        double p[3] = {90 * cos(a), 70 * sin(a), 0}, q[3] = {90 * cos(b), 70 * sin(b), 0}, r[3] = {p[0], p[1], 40},
               s[3] = {q[0], q[1], 40};
        soup_add(&h.soup, p, q, r);
        soup_add(&h.soup, q, s, r);
    }
    hold(&h);
    po_keep_out out[2] = {{{180, 200}, {130, 150}, 15}, {{0, 20}, {0, 20}, 15}};
    po_machine m[2] = {rectangle(200, 150, 100), rectangle(170, 160, 100)};
    for (int i = 0; i < 2; i++) {
        m[i].keep_outs = out;
        m[i].n_keep_outs = 2;
        clock_t begun = clock();
        po_fit f = fit_mesh(&h.mesh, &m[i], 0);
        double seconds = (double)(clock() - begun) / CLOCKS_PER_SEC;
        print_message("%d: %.2f s, turn %.3f, scale %.4f\n", i, seconds, f.turn_deg, f.largest_scale);
        assert_true(seconds < 20); /* a second or so; sanitizers are slow */
        assert_true(i == 0 ? f.as_is : !f.as_is);
    }
    drop(&h);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(boxes),         cmocka_unit_test(diagonal_bar), cmocka_unit_test(round_beds),
        cmocka_unit_test(l_shape),       cmocka_unit_test(keep_outs),    cmocka_unit_test(round_with_keep_out),
        cmocka_unit_test(against_steps), cmocka_unit_test(tipped_poses), cmocka_unit_test(bad_input),
        cmocka_unit_test(quayside),      cmocka_unit_test(many)};
    return cmocka_run_group_tests_name("fit", tests, NULL, NULL);
}
