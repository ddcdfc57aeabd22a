/* Each number of limits.h from close by on both sides: silent at `inside`, said at `beyond`. SPDX-License-Identifier: Apache-2.0
 * The numbers are those of docs/findings.md, typed anew here, so that a slip in limits.h shows. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "proof/bench_report.h"

typedef struct edge {
    const char *name;
    void (*set)(bench *b, double value);
    double inside, beyond;
} edge;

#define SET(id) static void set_##id(bench *b, double v)

SET(nozzle_share)
{
    bench_move(b->nozzle[0], 240, 260, v);
    b->tools[0].nozzle_c.highest = 260;
}
SET(nozzle_c)
{
    bench_all(b->nozzle[0], PO_C_BINS, (int)v);
    b->tools[0].nozzle_c = (po_heat_facts){v, v, v};
}
SET(boost) /* the first layer is 3.5 % of the time; so much is excused up to 15 C beyond 250 */
{
    bench_move(b->nozzle[0], 240, (int)v, 0.035);
    bench_move(b->nozzle[0], 240, 256, 0.08);
    b->tools[0].nozzle_c = (po_heat_facts){v, 240, v};
}
SET(fan_share)
{
    bench_move(b->fan, 40, 100, v);
}
SET(fan_percent)
{
    bench_all(b->fan, PO_FAN_BINS, (int)v);
}
SET(nozzle_wait)
{
    bench_see(b, PO_SIGHT_NO_NOZZLE_WAIT, v);
}
SET(sits)
{
    bench_see(b, PO_SIGHT_SITS_HOT, v);
}
SET(layer_slack)
{
    b->report.facts.first_layer_height_mm = v;
}
SET(much) /* 0.9 x 0.45 mm, what of it lies in layers of 0.45 mm */
{
    bench_all(b->width[0], PO_WIDTH_BINS, 90);
    bench_move(b->height[0], 22, 45, v);
    b->tools[0].bead_width_mm = 0.9;
    b->tools[0].bead_area_mm2 = 0.3;
}
SET(narrow)
{
    bench_machine(b, "Dogwood", "petg");
    b->tools[0].bead_width_mm = v;
}
SET(first_thin_06)
{
    bench_machine(b, "Dogwood", "petg");
    b->report.facts.first_layer_height_mm = v;
}
SET(first_fast)
{
    b->report.facts.first_layer_mm_s = v;
}
SET(quick_s)
{
    bench_see(b, PO_SIGHT_QUICK_LAYER, v);
    for (int i = 50; i < 55; i++) {
        b->rows[i].seconds = v;
    }
}
SET(quick_n)
{
    bench_see(b, PO_SIGHT_QUICK_LAYER, 2);
    for (int i = 50; i < 50 + (int)v; i++) {
        b->rows[i].seconds = 2;
    }
}
SET(passes)
{
    bench_see(b, PO_SIGHT_GRINDS, v);
}
SET(overhang_stretch)
{
    bench_see(b, PO_SIGHT_OVERHANG, v);
    b->report.facts.overhang_mm = 5000;
}
SET(overhang_job) /* 1 % of 150 m */
{
    bench_see(b, PO_SIGHT_OVERHANG, 30);
    b->report.facts.overhang_mm = v;
}
SET(overhang_layer) /* 15 % of a layer of 150000 / 136 = 1103 mm is 165 mm */
{
    bench_see(b, PO_SIGHT_OVERHANG, 30);
    b->report.facts.overhang_mm = v;
    b->rows[50].overhang_mm = (float)v;
}
SET(overhang_layer_mm)
{
    set_overhang_layer(b, v);
    b->rows[50].extruding_mm = 40;
}
SET(roof_layer)
{
    b->report.facts.roofs = 2;
    b->report.facts.layer_height_mm = v;
}
SET(sparse)
{
    b->report.facts.roofs = 2;
    b->report.facts.fill_fraction = -v; /* rising values are graver in this table */
}
SET(some_fill)
{
    b->report.facts.roofs = 2;
    b->report.facts.fill_fraction = v;
}
SET(tall)
{
    b->parts[0].foothold_mm2 = 90;
    b->parts[0].bounds_mm.max[2] = v;
}
SET(tall_foot)
{
    b->parts[0].foothold_mm2 = v;
    b->parts[0].bounds_mm.max[2] = 80;
}
SET(tip)
{
    b->parts[0].tip_deg = v;
}
SET(upright)
{
    b->parts[0].tip_deg = 3;
    b->parts[0].bounds_mm.max[2] = v;
}
SET(lift) /* petg: 0.4 % */
{
    b->parts[0].longest_edge_mm = v;
}
SET(reserve) /* the job needs 16.46 g */
{
    b->context.spool_g = v;
}
static void centre(bench *b, double x, double y)
{
    b->report.facts.bounds_mm = (po_span3){{x - 12, y - 12, 0}, {x + 12, y + 12, 20}};
}
SET(centred) /* on Dogwood's middle (165, 145), so many mm off */
{
    centre(b, 165, 145 - v);
}
SET(uncentred) /* Alder made so large that its middle lies so many mm off Dogwood's */
{
    b->machine.bed_mm[0] = 2 * (165 - v);
    b->machine.bed_mm[1] = 2 * (145 - v);
    centre(b, 165, 145);
}
SET(gap)
{
    b->report.facts.across_gap_mm = v;
}
SET(fill_gap)
{
    b->report.facts.over_fill_mm = v;
}
SET(recipe_layer)
{
    b->report.facts.layer_height_mm = v;
}
SET(recipe_width)
{
    b->report.facts.bead_width_mm = v;
}
SET(recipe_fill)
{
    b->report.facts.fill_fraction = v;
}
SET(recipe_speed)
{
    b->report.facts.usual_bead_mm_s = v;
}
SET(air)
{
    bench_see(b, PO_SIGHT_ON_AIR, v);
}
SET(limits)
{
    bench_see(b, PO_SIGHT_LOOSENS_LIMITS, v);
}

static const edge edges[] = {
    {"nozzle-out-of-band", set_nozzle_share, 0.095, 0.105},
    {"nozzle-out-of-band", set_nozzle_c, 253, 254},
    {"nozzle-out-of-band", set_nozzle_c, 222, 221},
    {"nozzle-out-of-band", set_boost, 265, 266},
    {"fan-out-of-band", set_fan_share, 0.19, 0.21},
    {"fan-out-of-band", set_fan_percent, 70, 71},
    {"fan-out-of-band", set_fan_percent, 10, 9},
    {"no-heat-wait", set_nozzle_wait, 4.9, 5.1},
    {"sits-hot", set_sits, 355, 365},
    {"first-layer-too-thick", set_layer_slack, 0.335, 0.345},
    {"wrong-nozzle", set_much, 0.29, 0.31},
    {"wrong-nozzle", set_narrow, 0.515, 0.505},
    {"first-layer-too-thin", set_layer_slack, 0.096, 0.094},
    {"first-layer-too-thin", set_first_thin_06, 0.116, 0.114},
    {"first-layer-too-fast", set_first_fast, 60, 61},
    {"layer-too-quick", set_quick_s, 3.05, 2.95},
    {"layer-too-quick", set_quick_n, 4, 5},
    {"grinds-filament", set_passes, 40, 41},
    {"steep-overhang", set_overhang_stretch, 4.9, 5.1},
    {"steep-overhang", set_overhang_job, 1490, 1510},
    {"steep-overhang", set_overhang_layer, 164, 167},
    {"steep-overhang", set_overhang_layer_mm, 19, 21},
    {"few-roofs", set_roof_layer, 0.299, 0.296},
    {"few-roofs", set_sparse, -0.61, -0.59},
    {"few-roofs", set_some_fill, 0.029, 0.031},
    {"small-foothold", set_tall, 49.5, 50.5},
    {"small-foothold", set_tall_foot, 101, 99},
    {"tips-over", set_tip, 6.1, 5.9},
    {"tips-over", set_upright, 14.9, 15.1},
    {"may-lift", set_lift, 249, 251},
    {"spool-short", set_reserve, 18.2, 18.0},
    {"made-for-other-machine", set_centred, 0.8, 0.7},
    {"made-for-other-machine", set_uncentred, 9.5, 10.5},
    {"across-gap", set_gap, 9.5, 10.5},
    {"over-fill", set_fill_gap, 9.5, 10.5},
    {"off-recipe", set_recipe_layer, 0.239, 0.243},
    {"off-recipe", set_recipe_width, 0.489, 0.495},
    {"off-recipe", set_recipe_fill, 0.275, 0.285},
    {"off-recipe", set_recipe_speed, 84, 85},
    {"prints-on-air", set_air, 4.95, 5.05},
    {"loosens-limits", set_limits, 1.019, 1.021},
};

static const po_finding *ask(bench *b, const edge *e, double value)
{
    e->set(b, value);
    bench_judge(b);
    return bench_finding(b, e->name);
}

static void limits_are_where_they_say(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof edges / sizeof edges[0]; i++) {
        bench *b = bench_new();
        const po_finding *f = ask(b, &edges[i], edges[i].inside);
        if (f != NULL) {
            fail_msg("%s (edge %zu) at %g: %s", f->name, i, edges[i].inside, f->says);
        }
        bench_done(b);
        b = bench_new();
        if (ask(b, &edges[i], edges[i].beyond) == NULL) {
            fail_msg("%s (edge %zu) is silent at %g", edges[i].name, i, edges[i].beyond);
        }
        bench_done(b);
    }
}

/* Small parts anywhere on the right bed are never taken for another machine's: a raster of places, but for the few that
 * are another bed's middle to a fraction of a mm (Dogwood's 165, 145). */
static void a_small_part_anywhere_is_ours(void **state)
{
    (void)state;
    static const char *const machines[] = {"Alder", "Dogwood", "Elm"};
    for (size_t m = 0; m < 3; m++) {
        bench *b = bench_new();
        bench_machine(b, machines[m], "petg");
        po_range x, y;
        po_machine_bed_extent(&b->machine, &x, &y);
        for (double px = x.low + 13; px < x.high - 13; px += 11) {
            for (double py = y.low + 13; py < y.high - 13; py += 11) {
                if (b->machine.round_bed && hypot(px, py) > 115) {
                    continue;
                }
                centre(b, px + 0.3, py + 0.4);
                bench_judge(b);
                const po_finding *f = bench_finding(b, "made-for-other-machine");
                if (f != NULL) {
                    fail_msg("%s: %s", machines[m], f->says);
                }
            }
        }
        bench_done(b);
    }
}

static void filament_range(void **state)
{
    (void)state;
    bench *b = bench_new();
    b->report.facts.filament_mm = 1000;
    bench_judge(b);
    assert_float_equal(b->proof->filament_mm.low, 970, 1e-9); /* handbook 1.2: 2.3 to 3.4 % */
    assert_float_equal(b->proof->filament_mm.high, 1030, 1e-9);
    bench_done(b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(limits_are_where_they_say),
        cmocka_unit_test(a_small_part_anywhere_is_ours),
        cmocka_unit_test(filament_range),
    };
    return cmocka_run_group_tests_name("edges", tests, NULL, NULL);
}
