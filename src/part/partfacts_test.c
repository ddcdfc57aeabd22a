/* A whole part measured: copies, totals, the right way round, units, estimates, what is left out.
 * SPDX-License-Identifier: Apache-2.0
 * Known answers: boxes and tetrahedra (handbook 6.1), 3MF core specification 3.3 (a mirrored item keeps its volume's sign),
 * 4.1.1 (bodies that touch along an edge), handbook 6.1 (sizes that are asked about), the demo's shop file. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "part/partfacts.h"
#include "part/shapes.h"

typedef struct bench {
    po_arena *arena;
    const po_shop *shop;
    po_part part;
    po_part_object objects[4];
    po_part_item items[8];
    const po_machine *machines[8];
    const po_material *materials[8];
    const po_part_report *reports[8];
    po_part_options options;
} bench;

static bench *bench_new(void)
{
    char path[1024];
    const char *root = getenv("PO_SOURCE_ROOT");
    snprintf(path, sizeof path, "%s/demo/shop.yaml", root ? root : ".");
    po_arena *arena = po_arena_new(0);
    bench *b = po_arena_zeros(arena, 1, sizeof *b);
    po_shop_faults faults;
    po_err err;
    b->arena = arena;
    if (po_shop_read_file(path, arena, &b->shop, &faults, &err) != PO_OK) {
        fail_msg("%s", err.msg);
    }
    assert_true(b->shop->n_machines <= 8);
    for (size_t i = 0; i < b->shop->n_machines; i++) {
        b->machines[i] = &b->shop->machines[i];
        b->materials[i] = po_shop_house_material(b->shop);
    }
    b->part = (po_part){.objects = b->objects, .items = b->items, .unit_mm = 1};
    return b;
}

static void bench_done(bench *b)
{
    po_arena_free(b->arena);
}

/* An object of the soup's triangles, equal corners welded; frees the soup. */
static void add_object(bench *b, soup *s, const char *name)
{
    double *xyz = po_arena_zeros(b->arena, 3 * s->n, 3 * sizeof *xyz);
    uint32_t *corners = po_arena_zeros(b->arena, s->n, 3 * sizeof *corners);
    size_t n = 0;
    for (size_t i = 0; i < 3 * s->n; i++) {
        size_t v = 0;
        while (v < n && memcmp(xyz + 3 * v, s->nine + 3 * i, 3 * sizeof *xyz) != 0) {
            v++;
        }
        if (v == n) {
            memcpy(xyz + 3 * n++, s->nine + 3 * i, 3 * sizeof *xyz);
        }
        corners[i] = (uint32_t)v;
    }
    b->objects[b->part.n_objects] = (po_part_object){.mesh = {xyz, n, corners, s->n}, .name = name, .id = 1};
    b->part.n_objects++;
    free(s->nine);
}

static void add_item(bench *b, uint32_t object, double sx, double sy, double sz, double x, double y, double z)
{
    b->items[b->part.n_items] = (po_part_item){
        .object = object, .matrix = {sx, 0, 0, 0, sy, 0, 0, 0, sz, x, y, z}, .mirrored = sx * sy * sz < 0};
    b->part.n_items++;
    b->items[b->part.n_items - 1].build_item = (uint32_t)b->part.n_items;
}

static void add_box(bench *b, double x, double y, double z)
{
    soup s = {0};
    soup_box(&s, 0, 0, 0, x, y, z);
    add_object(b, &s, NULL);
}

static const po_part_report *measure(bench *b)
{
    po_err err;
    po_status status = po_part_measure(&b->part, b->shop, b->machines, b->materials, b->shop->n_machines, &b->options,
                                       b->arena, b->reports, &err);
    if (status != PO_OK) {
        fail_msg("%d: %s", status, err.msg);
    }
    return b->reports[0];
}

static void a_box(void **state)
{
    (void)state;
    bench *b = bench_new();
    add_box(b, 40, 30, 20);
    add_item(b, 0, 1, 1, 1, 5, 6, -7);
    const po_part_report *r = measure(b);
    assert_int_equal(r->n_solids, 1);
    assert_int_equal(r->n_items, 1);
    const po_part_totals *t = &r->totals;
    assert_true(t->watertight);
    assert_float_equal(t->volume_mm3, 24000, 1e-9 * 24000);
    assert_float_equal(t->area_mm2, 2 * (1200 + 800 + 600), 1e-9);
    assert_float_equal(t->centre_of_mass_mm[0], 25, 1e-9);
    assert_float_equal(t->centre_of_mass_mm[2], 3, 1e-9);
    assert_float_equal(t->bounds_mm[0][1], 6, 1e-12);
    assert_float_equal(t->bounds_mm[1][2], 13, 1e-12);
    assert_int_equal(t->euler, 2);
    assert_true(t->genus == 0 && isnan(t->seams_closed_at_mm) && t->stands);
    assert_float_equal(t->foothold_mm2, 1200, 1e-6);
    assert_float_equal(t->overhang_mm2, 0, 1e-9);
    assert_float_equal(t->thinnest_wall_mm, 20, 0.01);
    assert_true(r->unit_factor == 1 && r->unit_guess == NULL);
    for (size_t i = 0; i < b->shop->n_machines; i++) {
        const po_part_report *one = b->reports[i];
        assert_ptr_equal(one->machine, b->machines[i]);
        assert_ptr_equal(one->solids, r->solids); /* measured once */
        assert_true(one->solids[0].fits[i].machine == b->machines[i] && one->solids[0].fits[i].as_is);
        for (size_t k = 0; k < b->shop->n_recipes; k++) {
            const po_estimate *e = &one->estimates[k];
            assert_ptr_equal(e->recipe, &b->shop->recipes[k]);
            /* no more than the box itself and what comes once, no less than its skin */
            assert_true(e->volume_mm3 < 24000 + 4000 && e->volume_mm3 > 24000 * 0.15 && e->seconds > 600);
            assert_true(e->filament_range_mm.low <= e->filament_mm && e->filament_range_mm.high >= e->filament_mm);
        }
    }
    assert_ptr_equal(b->reports[0]->estimates, b->reports[1]->estimates);                    /* Birch is as Alder */
    assert_true(b->reports[0]->estimates[0].seconds != b->reports[3]->estimates[0].seconds); /* Dogwood is not */
    assert_true(isnan(r->allowance_scale) && isnan(r->hollow_mm));
    bench_done(b);
}

static void copies_are_one_solid(void **state)
{
    (void)state;
    bench *b = bench_new();
    add_box(b, 20, 20, 10);
    add_box(b, 10, 10, 10);
    b->objects[1].name = "cube";
    add_item(b, 0, 1, 1, 1, 0, 0, 0);
    add_item(b, 1, 1, 1, 1, 100, 0, 0);
    add_item(b, 0, 1, 1, 1, 50, 0, 0);
    add_item(b, 0, 2, 1, 1, 0, 50, 0);  /* scaled: another solid */
    add_item(b, 0, -1, 1, 1, 0, 90, 0); /* mirrored: another one, and still the right way round */
    const po_part_report *r = measure(b);
    assert_int_equal(r->n_solids, 4);
    assert_int_equal(r->n_items, 5);
    assert_int_equal(r->solids[0].times, 2);
    assert_int_equal(r->solids[0].build_item, 1);
    assert_string_equal(r->solids[1].name, "cube");
    assert_int_equal(r->solids[3].build_item, 5);
    assert_float_equal(r->solids[3].facts.volume_mm3, 4000, 1e-6);
    assert_int_equal(r->solids[3].shells_inside_out, 0);
    assert_float_equal(r->totals.volume_mm3, 2 * 4000 + 1000 + 8000 + 4000, 1e-6);
    assert_float_equal(r->totals.bounds_mm[0][0], -20, 1e-9);
    assert_float_equal(r->totals.bounds_mm[1][0], 110, 1e-9);
    assert_int_equal(r->totals.triangles, 60);
    assert_int_equal(r->totals.euler, 10);
    /* a second copy adds the part, not the heating and the skirt */
    double both = r->estimates[0].filament_mm, once = r->estimates[0].once_mm;
    b->part.n_items = 2; /* one of each */
    double less = measure(b)->estimates[0].filament_mm;
    b->part.n_items = 3; /* the first one twice */
    double more = measure(b)->estimates[0].filament_mm;
    b->part.n_items = 1;
    const po_estimate *alone = &measure(b)->estimates[0];
    assert_float_equal(more - less, alone->filament_mm - alone->once_mm, 1e-6);
    assert_true(once > 0 && both > more);
    bench_done(b);
}

static void wrong_way_round(void **state)
{
    (void)state;
    bench *b = bench_new();
    soup s = {0};
    soup_box(&s, 0, 0, 0, 30, 30, 20);
    for (size_t i = 0; i < s.n; i++) { /* inside out */
        double keep[3];
        memcpy(keep, s.nine + 9 * i, sizeof keep);
        memcpy(s.nine + 9 * i, s.nine + 9 * i + 3, sizeof keep);
        memcpy(s.nine + 9 * i + 3, keep, sizeof keep);
    }
    add_object(b, &s, NULL);
    add_item(b, 0, 1, 1, 1, 0, 0, 0);
    const po_part_report *r = measure(b);
    const po_solid *solid = &r->solids[0];
    assert_float_equal(r->totals.volume_mm3, -18000, 1e-6); /* the facts are the file's */
    assert_int_equal(solid->shells_inside_out, 1);
    assert_true(solid->closed && solid->judged != solid->facts.judged);
    assert_true(solid->walls.thinnest_wall_mm > 19); /* and what needs an inside is measured of the mesh turned right */
    assert_true(r->estimates[0].volume_mm3 > 18000 * 0.15);
    bench_done(b);

    b = bench_new(); /* a cavity is no such thing */
    soup t = {0};
    soup_box(&t, 0, 0, 0, 30, 30, 30);
    soup_box(&t, 10, 10, 10, 10, 10, 10);
    for (size_t i = 12; i < 24; i++) {
        double keep[3];
        memcpy(keep, t.nine + 9 * i, sizeof keep);
        memcpy(t.nine + 9 * i, t.nine + 9 * i + 3, sizeof keep);
        memcpy(t.nine + 9 * i + 3, keep, sizeof keep);
    }
    add_object(b, &t, NULL);
    add_item(b, 0, 1, 1, 1, 0, 0, 0);
    r = measure(b);
    assert_float_equal(r->totals.volume_mm3, 26000, 1e-6);
    assert_int_equal(r->solids[0].shells_inside_out, 0);
    assert_int_equal(r->solids[0].loose_shells, 0);
    assert_true(r->solids[0].closed);
    bench_done(b);
}

static void open_and_crowded(void **state)
{
    (void)state;
    bench *b = bench_new();
    soup s = {0};
    soup_box(&s, 0, 0, 0, 30, 30, 20);
    s.n -= 2; /* without one face */
    add_object(b, &s, NULL);
    add_item(b, 0, 1, 1, 1, 0, 0, 0);
    const po_part_report *r = measure(b);
    assert_int_equal(r->totals.open_edges, 4);
    assert_false(r->solids[0].closed);
    assert_true(isnan(r->estimates[0].filament_mm) && r->estimates[0].recipe == &b->shop->recipes[0]);
    assert_true(isfinite(r->solids[0].open_at[0]) && r->solids[0].open_at[0] == 30); /* the face x = 30 is missing */
    assert_true(r->solids[0].sheet_share > 0.1 && r->solids[0].sheet_share < 0.2);   /* 600 of 3600 mm2 */
    bool said = false;
    for (size_t i = 0; i < r->n_notes; i++) {
        said = said || strstr(r->notes[i], "not closed") != NULL;
    }
    assert_true(said);
    bench_done(b);

    b = bench_new(); /* two boxes that share an edge: an inside all the same */
    soup t = {0};
    soup_box(&t, 0, 0, 0, 10, 10, 10);
    soup_box(&t, 10, 10, 0, 10, 10, 10);
    add_object(b, &t, NULL);
    add_item(b, 0, 1, 1, 1, 0, 0, 0);
    r = measure(b);
    assert_int_equal(r->totals.crowded_edges, 1);
    assert_int_equal(r->solids[0].uneven_edges, 0);
    assert_false(r->totals.watertight);
    assert_true(r->solids[0].closed && r->estimates[0].filament_mm > 0);
    bench_done(b);

    for (int copied = 0; copied < 2; copied++) { /* one on top of the other, face to face; and one on itself */
        b = bench_new();
        soup twice = {0};
        soup_box(&twice, 0, 0, 0, 10, 10, 10);
        soup_box(&twice, 0, 0, copied ? 0 : 10, 10, 10, 10);
        add_object(b, &twice, NULL);
        add_item(b, 0, 1, 1, 1, 0, 0, 0);
        r = measure(b);
        assert_int_equal(r->solids[0].twice, copied ? 12 : 0);
        assert_int_equal(r->solids[0].uneven_edges, 0);
        bench_done(b);
    }

    /* A lamp on a table: it stands on it, floats, floats beside it, hangs from a hook that its bounds overlap. */
    static const struct {
        double at[3];
        uint64_t afloat;
    } lamps[] = {{{5, 5, 10}, 0},  {{5, 5, 10.1}, 0}, {{5, 5, 12}, 1},
                 {{40, 5, 12}, 1}, {{40, 5, 0}, 0},   {{5, 5, 5}, 0}};
    for (size_t i = 0; i < sizeof lamps / sizeof *lamps; i++) {
        b = bench_new();
        soup lamp = {0};
        soup_box(&lamp, 0, 0, 0, 30, 30, 10);
        soup_box(&lamp, lamps[i].at[0], lamps[i].at[1], lamps[i].at[2], 8, 8, 8);
        add_object(b, &lamp, NULL);
        add_item(b, 0, 1, 1, 1, 0, 0, 0);
        r = measure(b);
        assert_int_equal(r->solids[0].afloat, lamps[i].afloat);
        assert_true(lamps[i].afloat ? r->solids[0].afloat_at[2] == lamps[i].at[2] : isnan(r->solids[0].afloat_at[2]));
        bench_done(b);
    }

    b = bench_new(); /* a wall without thickness within a box: no such inside */
    soup u = {0};
    soup_box(&u, 0, 0, 0, 10, 10, 10);
    double p[4][3] = {{0, 0, 0}, {0, 0, 10}, {10, 10, 10}, {10, 10, 0}};
    soup_add(&u, p[0], p[1], p[2]);
    soup_add(&u, p[0], p[2], p[3]);
    add_object(b, &u, NULL);
    add_item(b, 0, 1, 1, 1, 0, 0, 0);
    r = measure(b);
    assert_true(r->totals.crowded_edges > 0 && r->solids[0].uneven_edges > 0 && !r->solids[0].closed);
    bench_done(b);
}

static void cuts(void **state)
{
    (void)state;
    bench *b = bench_new();
    soup s = {0};
    soup_box(&s, 0, 0, 0, 20, 20, 20);
    soup_box(&s, 10.5, 5.25, 5.125, 20, 5, 5); /* a bar laid into a block: two shells */
    add_object(b, &s, NULL);
    add_item(b, 0, 1, 1, 1, 0, 0, 0);
    const po_part_report *r = measure(b);
    assert_true(r->totals.self_cuts > 0 && r->solids[0].cuts_within == 0);
    assert_true(isfinite(r->solids[0].cut_at[0]));
    assert_int_equal(r->solids[0].loose_shells, 1);
    bench_done(b);
}

static void units(void **state)
{
    (void)state;
    const char *guess;
    static const struct {
        double side;
        bool stated;
        double factor;
        const char *guess;
    } cases[] = {
        {0.047, false, 1000, "metre"},
        {0.49, false, 1000, "metre"},
        {0.51, false, 25.4, "inch"},
        {4.99, false, 25.4, "inch"},
        {5, false, 1, NULL},
        {300, false, 1, NULL},
        {1999, false, 1, NULL},
        {2540, false, 1 / 25.4, "millimetre taken for inch"},
        {40000, false, 0.001, "micrometre"},
        {4.99, true, 1, NULL},
        {0.9, true, 25.4, "inch"},
        {9999, true, 1, NULL},
        {0, false, 1, NULL},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        double factor = po_part_unit_factor(cases[i].side, cases[i].stated, 410, &guess);
        assert_float_equal(factor, cases[i].factor, 1e-12);
        if (cases[i].guess) {
            assert_string_equal(guess, cases[i].guess);
        } else {
            assert_null(guess);
        }
    }
    assert_float_equal(po_part_unit_factor(3000, false, 1600, &guess), 1, 0); /* a shop with a very large machine */
    bench *b = bench_new();
    add_box(b, 2, 2, 2); /* two inches, and forty such cubes far apart: judged one by one */
    add_item(b, 0, 1, 1, 1, 0, 0, 0);
    add_item(b, 0, 1, 1, 1, 100, 0, 0);
    assert_string_equal(measure(b)->unit_guess, "inch");
    bench_done(b);
}

static void over_the_allowance(void **state)
{
    (void)state;
    bench *b = bench_new();
    add_box(b, 120, 100, 60);
    add_item(b, 0, 1, 1, 1, 0, 0, 0);
    const po_part_report *r = measure(b);
    double most = b->shop->rules.allowance_m_per_run * 1000;
    const po_estimate *e = &r->estimates[r->judged_estimate];
    assert_true(e->filament_mm > most);
    for (size_t i = 0; i < b->shop->n_recipes; i++) {
        assert_true(r->estimates[i].filament_mm >= e->filament_mm); /* no recipe asked: the lightest is judged */
    }
    assert_true(r->allowance_scale > 0.3 && r->allowance_scale < 1);
    assert_true(r->hollow_mm < e->filament_mm);
    /* the scale keeps its word */
    po_part_item *item = &b->items[0];
    for (int k = 0; k < 9; k += 4) {
        item->matrix[k] = r->allowance_scale;
    }
    double at_scale = measure(b)->estimates[r->judged_estimate].filament_mm;
    assert_true(at_scale <= most && at_scale > 0.97 * most);
    /* two items of different shape share one scale */
    for (int k = 0; k < 9; k += 4) {
        item->matrix[k] = 1;
    }
    add_box(b, 60, 60, 60);
    add_item(b, 1, 1, 1, 1, 200, 0, 0);
    r = measure(b);
    double scale = r->allowance_scale;
    assert_true(scale > 0.3 && scale < 1);
    for (size_t i = 0; i < 2; i++) {
        for (int k = 0; k < 9; k += 4) {
            b->items[i].matrix[k] = scale;
        }
    }
    at_scale = measure(b)->estimates[r->judged_estimate].filament_mm;
    assert_true(at_scale <= most * 1.001 && at_scale > 0.97 * most);
    /* the recipe asked for is the one that is judged */
    b->options.recipe = &b->shop->recipes[2];
    assert_int_equal(measure(b)->judged_estimate, 2);
    bench_done(b);
}

static void supports_are_left_out(void **state)
{
    (void)state;
    bench *b = bench_new();
    add_box(b, 20, 20, 10);
    add_box(b, 5, 5, 5);
    b->objects[1].type = PO_OBJECT_SUPPORT;
    add_item(b, 0, 1, 1, 1, 0, 0, 0);
    add_item(b, 1, 1, 1, 1, 50, 0, 0);
    const po_part_report *r = measure(b);
    assert_int_equal(r->n_solids, 1);
    assert_int_equal(r->n_left_out, 1);
    assert_float_equal(r->totals.volume_mm3, 4000, 1e-6);
    b->objects[0].type = PO_OBJECT_OTHER;
    r = measure(b);
    assert_int_equal(r->n_solids, 0);
    assert_false(r->totals.watertight);
    assert_true(isnan(r->totals.bounds_mm[0][0]));
    bench_done(b);
}

static void sections_for_pictures(void **state)
{
    (void)state;
    bench *b = bench_new();
    add_box(b, 20, 20, 10);
    add_item(b, 0, 1, 1, 1, 0, 0, 3);
    assert_int_equal(measure(b)->solids[0].n_sections, 0);
    b->options.images = true;
    const po_solid *s = &measure(b)->solids[0];
    assert_true(s->n_sections >= 3 && s->n_sections <= 6);
    for (size_t i = 0; i < s->n_sections; i++) {
        assert_true(s->sections[i].z > 3 && s->sections[i].z < 13 && (!i || s->sections[i].z > s->sections[i - 1].z));
        assert_float_equal(po_loops_area(&s->sections[i].loops), 400, 1e-6);
    }
    bench_done(b);
}

typedef struct watch {
    uint64_t last, calls, stop_at;
    bool back;
} watch;

static bool step(uint64_t done, uint64_t total, void *user)
{
    watch *w = user;
    w->back = w->back || done < w->last || done > total;
    w->last = done;
    return ++w->calls != w->stop_at;
}

static void progress_and_cancel(void **state)
{
    (void)state;
    bench *b = bench_new();
    add_box(b, 30, 30, 20);
    add_item(b, 0, 1, 1, 1, 0, 0, 0);
    watch w = {0};
    b->options.progress = step;
    b->options.user = &w;
    measure(b);
    assert_true(w.calls > 10 && !w.back && w.last > 0);
    uint64_t all = w.calls;
    for (uint64_t at = 1; at <= all; at += 1 + all / 7) {
        w = (watch){.stop_at = at};
        po_err err;
        assert_int_equal(po_part_measure(&b->part, b->shop, b->machines, b->materials, b->shop->n_machines, &b->options,
                                         b->arena, b->reports, &err),
                         PO_E_CANCELLED);
    }
    bench_done(b);
}

/* The same, whatever the number of threads. */
static void threads(void **state)
{
    (void)state;
    bench *b = bench_new();
    soup s = {0};
    soup_torus(&s, 50, 50, 10, 40, 10, 90, 40);
    add_object(b, &s, NULL);
    add_item(b, 0, 1, 1, 1, 0, 0, 0);
    b->options.poses = true;
    b->options.threads = 1;
    const po_part_report *one = measure(b);
    b->options.threads = 3;
    const po_part_report *three = measure(b);
    assert_memory_equal(&one->totals, &three->totals, sizeof one->totals);
    assert_true(one->estimates[1].filament_mm == three->estimates[1].filament_mm);
    assert_true(one->estimates[1].seconds == three->estimates[1].seconds);
    assert_int_equal(one->solids[0].n_poses, three->solids[0].n_poses);
    bench_done(b);
}

static void bad_input(void **state)
{
    (void)state;
    bench *b = bench_new();
    add_box(b, 30, 30, 20);
    po_err err;
    add_item(b, 0, NAN, 1, 1, 0, 0, 0);
    assert_int_equal(po_part_measure(&b->part, b->shop, b->machines, b->materials, 1, NULL, b->arena, b->reports, &err),
                     PO_E_RANGE);
    b->part.n_items = 0;
    add_item(b, 0, 1, 1, 0, 0, 0, 0); /* pressed flat: measured, and judged as no solid */
    const po_part_report *r = measure(b);
    assert_true(r->totals.bounds_mm[1][2] == r->totals.bounds_mm[0][2]);
    bench_done(b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_box),
        cmocka_unit_test(copies_are_one_solid),
        cmocka_unit_test(wrong_way_round),
        cmocka_unit_test(open_and_crowded),
        cmocka_unit_test(cuts),
        cmocka_unit_test(units),
        cmocka_unit_test(over_the_allowance),
        cmocka_unit_test(supports_are_left_out),
        cmocka_unit_test(sections_for_pictures),
        cmocka_unit_test(progress_and_cancel),
        cmocka_unit_test(threads),
        cmocka_unit_test(bad_input),
    };
    return cmocka_run_group_tests_name("partfacts", tests, NULL, NULL);
}
