/* Shapes laid by hand at a known place, turn, scale and hand are found again. SPDX-License-Identifier: Apache-2.0
 *
 * The job's side is painted here: walls of two beads, fill lines far apart, holes left free. The answers are known because
 * the test places the shapes; nothing of match.c is used to make them. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "geometry/canvas.h"
#include "proveout/match.h"

enum { N_LAYERS = 60 };
#define LAYER 0.2

/* A flag: a post with two arms of different length and a round hole: no mirror image of it is itself. From half its height
 * up only the post stands. */
static const double flag_xy[] = {0, 0, 8, 0, 8, 12, 20, 12, 20, 18, 8, 18, 8, 26, 28, 26, 28, 34, 0, 34};
static const double post_xy[] = {0, 0, 8, 0, 8, 34, 0, 34};
static const double slab_xy[] = {0, 0, 26, 0, 26, 30, 0, 30};

typedef struct shape {
    int kind; /* 0 flag, 1 slab */
} shape;

static void outline(int kind, double z, double height, po_arena *arena, po_loops *ret)
{
    const double *from = kind == 1 ? slab_xy : z < height / 2 ? flag_xy : post_xy;
    size_t n = kind == 1 ? 4 : z < height / 2 ? 10 : 4, hole = kind == 0 ? 24 : 0;
    double *xy = po_arena_zeros(arena, 2 * (n + hole), sizeof *xy);
    uint32_t *ends = po_arena_zeros(arena, 2, sizeof *ends);
    assert_non_null(xy);
    memcpy(xy, from, 2 * n * sizeof *xy);
    for (size_t i = 0; i < hole; i++) { /* clockwise */
        double a = -2 * M_PI * (double)i / (double)hole;
        xy[2 * (n + i)] = 4 + 2 * cos(a);
        xy[2 * (n + i) + 1] = 5 + 2 * sin(a);
    }
    ends[0] = (uint32_t)n;
    ends[1] = (uint32_t)(n + hole);
    *ret = (po_loops){xy, n + hole, ends, hole ? 2 : 1};
}

static po_status sections(void *user, size_t pose, const double *z, size_t n, po_arena *arena, po_loops *ret,
                          po_err *err)
{
    const shape *s = user;
    (void)pose;
    (void)err;
    for (size_t i = 0; i < n; i++) {
        outline(s->kind, z[i], N_LAYERS * LAYER, arena, &ret[i]);
    }
    return PO_OK;
}

/* Walls 0.8 mm in, lines every 4 mm within. until: layers laid. */
static po_match_layer *lay(int kind, const po_placing *p, size_t until, po_arena *arena)
{
    po_match_layer *layers = po_arena_zeros(arena, until, sizeof *layers);
    double height = N_LAYERS * LAYER;
    for (size_t k = 0; k < until; k++) {
        po_canvas c, in;
        po_loops loops;
        uint8_t *px = po_arena_zeros(arena, 500 * 500, 1);
        assert_non_null(px);
        layers[k] = (po_match_layer){((double)k + 1) * LAYER, 50, 50, 0.2, 500, 500, px};
        double z = ((double)k + 0.5) * LAYER / p->scale, before = z - LAYER / p->scale;
        if (k > 0 && (kind == 1 || (z < height / 2) == (before < height / 2))) {
            memcpy(px, layers[k - 1].px, 500 * 500); /* the same outline: painted once */
            continue;
        }
        assert_true(po_canvas_init(&c, 500, 500, 50, 50, 0.2) && po_canvas_init(&in, 500, 500, 50, 50, 0.2));
        outline(kind, z, height, arena, &loops);
        assert_true(po_canvas_loops(&c, &loops, p) && po_canvas_loops(&in, &loops, p) && po_canvas_grow(&in, -4));
        for (size_t i = 0; i < 500 * 500; i++) {
            px[i] = c.px[i] && (!in.px[i] || (i % 500 + i / 500) % 20 < 2);
        }
        po_canvas_done(&c);
        po_canvas_done(&in);
    }
    return layers;
}

static po_match find(int kind, const po_match_layer *layers, size_t n, size_t want_objects, po_arena *arena)
{
    const po_match_object *objects;
    size_t n_objects;
    po_err err;
    po_match m;
    shape s = {kind};
    double height = N_LAYERS * LAYER;
    assert_int_equal(po_match_objects(layers, n, 20, arena, &objects, &n_objects, &err), PO_OK);
    assert_int_equal(n_objects, want_objects);
    po_match_shape of = {1, &height, sections, &s};
    assert_int_equal(po_match_find(&objects[0], &of, LAYER, NULL, &m, &err), PO_OK);
    return m;
}

static void found_as_placed(void **state)
{
    (void)state;
    static const po_placing placings[] = {
        {1, 0, {90, 90}, false},        {1, 90, {110, 90}, false},    {1, 37.3, {100, 80}, false},
        {1, -141.8, {120, 110}, false}, {1, 0, {120, 90}, true},      {1, 64.4, {115, 85}, true},
        {0.8, 12, {90, 90}, false},     {1.3, -77, {85, 110}, false},
    };
    for (size_t i = 0; i < sizeof placings / sizeof placings[0]; i++) {
        const po_placing *p = &placings[i];
        po_arena *arena = po_arena_new(0);
        size_t n = (size_t)lround(N_LAYERS * p->scale);
        po_match m = find(0, lay(0, p, n, arena), n, 1, arena);
        assert_true(m.found);
        assert_int_equal(m.mirrored, p->mirrored);
        assert_true(fabs(m.scale - p->scale) < 0.006);
        assert_true(fabs(remainder(m.turn_deg - p->turn_deg, 360)) < 0.6);
        assert_true(hypot(m.shift_mm[0] - p->shift[0], m.shift_mm[1] - p->shift[1]) < 0.4);
        assert_true(m.covered > 0.95 && m.spilled < 0.05 && isnan(m.missing_from_mm));
        po_arena_free(arena);
    }
}

static void another_shape_is_not_found(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_placing p = {1, 20, {90, 90}, false};
    po_match m = find(1, lay(0, &p, N_LAYERS, arena), N_LAYERS, 1, arena);
    assert_false(m.found);
    m = find(0, lay(1, &p, N_LAYERS, arena), N_LAYERS, 1, arena);
    assert_false(m.found);
    po_arena_free(arena);
}

static void what_ends_early_is_missed(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_placing p = {1, -30, {90, 100}, false};
    po_match m = find(0, lay(0, &p, N_LAYERS - 20, arena), N_LAYERS - 20, 1, arena);
    assert_true(m.found);
    assert_true(m.scale == 1);
    assert_true(fabs(m.missing_from_mm - (N_LAYERS - 20) * LAYER) < 0.01);
    po_arena_free(arena);
}

static void symmetric_shapes_are_not_mirrored(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    for (int k = 0; k < 2; k++) {
        po_placing p = {1, 25, {90, 100}, k};
        po_match m = find(1, lay(1, &p, N_LAYERS, arena), N_LAYERS, 1, arena);
        assert_true(m.found && !m.mirrored);
    }
    po_arena_free(arena);
}

static void supports_do_not_hide_it(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_placing p = {1, 15, {90, 90}, false};
    po_match_layer *layers = lay(0, &p, N_LAYERS, arena);
    for (size_t k = 0; k < N_LAYERS / 2; k++) { /* a block of lines a millimetre from the longer arm */
        uint8_t *px = (uint8_t *)layers[k].px;
        for (size_t y = 350; y < 420; y++) {
            for (size_t x = 180; x < 300; x++) {
                px[y * 500 + x] |= y % 10 < 2 || x == 180 || x == 299;
            }
        }
    }
    const po_match_object *objects;
    size_t n;
    po_err err;
    po_match m = {0};
    shape s = {0};
    double height = N_LAYERS * LAYER;
    po_match_shape of = {1, &height, sections, &s};
    assert_int_equal(po_match_objects(layers, N_LAYERS, 20, arena, &objects, &n, &err), PO_OK);
    bool found = false;
    for (size_t i = 0; i < n; i++) {
        assert_int_equal(po_match_find(&objects[i], &of, LAYER, NULL, &m, &err), PO_OK);
        found |= m.found && !m.mirrored && fabs(m.turn_deg - 15) < 1;
    }
    assert_true(found);
    po_arena_free(arena);
}

static void apart_on_the_bed(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_placing p = {1, 0, {60, 60}, false}, q = {1, 90, {145, 100}, false};
    po_match_layer *a = lay(0, &p, N_LAYERS, arena), *b = lay(0, &q, N_LAYERS, arena);
    for (size_t k = 0; k < N_LAYERS; k++) {
        uint8_t *px = (uint8_t *)a[k].px;
        for (size_t i = 0; i < 500 * 500; i++) {
            px[i] |= b[k].px[i] | (k == 0 && i / 500 == 60 && i % 500 > 50 && i % 500 < 480); /* one brim joins them */
        }
    }
    const po_match_object *objects;
    size_t n;
    po_err err;
    assert_int_equal(po_match_objects(a, N_LAYERS, 20, arena, &objects, &n, &err), PO_OK);
    assert_int_equal(n, 2);
    assert_true(fabs(objects[0].bounds_mm[1][2] - N_LAYERS * LAYER) < 1e-9);
    po_match first, second;
    shape s = {0};
    double height = N_LAYERS * LAYER;
    po_match_shape of = {1, &height, sections, &s};
    assert_int_equal(po_match_find(&objects[0], &of, LAYER, NULL, &first, &err), PO_OK);
    assert_int_equal(po_match_find(&objects[1], &of, LAYER, &first, &second, &err), PO_OK);
    assert_true(first.found && second.found);
    po_arena_free(arena);
}

static void bad_input(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_match_object *objects;
    size_t n;
    po_err err;
    uint8_t px[4] = {1, 1, 1, 1};
    po_match_layer one = {NAN, 0, 0, 0.2, 2, 2, px};
    assert_int_equal(po_match_objects(&one, 1, 1, arena, &objects, &n, &err), PO_E_RANGE);
    one = (po_match_layer){1, 0, 0, 0, 2, 2, px};
    assert_int_equal(po_match_objects(&one, 1, 1, arena, &objects, &n, &err), PO_E_RANGE);
    assert_int_equal(po_match_objects(NULL, 0, 1, arena, &objects, &n, &err), PO_OK);
    assert_int_equal(n, 0);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(found_as_placed),
        cmocka_unit_test(another_shape_is_not_found),
        cmocka_unit_test(what_ends_early_is_missed),
        cmocka_unit_test(symmetric_shapes_are_not_mirrored),
        cmocka_unit_test(supports_do_not_hide_it),
        cmocka_unit_test(apart_on_the_bed),
        cmocka_unit_test(bad_input),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
