/* Each rule: a report that trips it, one just inside that doesn't. SPDX-License-Identifier: Apache-2.0
 * Limits are checked against their source where there is one: handbook sections 1.2 (filament areas), 2.1 (bead areas, re-
 * derived), 2.2 (0.8 nozzles), 4.5 (first layer 0.10 mm), 5 (tip angles, contact, slenderness), and the issue's own table. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "proof/bench_report.h"

typedef struct rule_case {
    const char *name;
    po_grade grade;
    const char *must_say; /* a piece of the sentence with its number and unit */
    void (*trip)(bench *b);
    void (*inside)(bench *b);
} rule_case;

#define TRIP(id) static void trip_##id(bench *b)
#define INSIDE(id) static void inside_##id(bench *b)
#define SIGHT_RULE(id, SIGHT, TRIPS, INSIDES)                                                                          \
    TRIP(id)                                                                                                           \
    {                                                                                                                  \
        bench_see(b, SIGHT, TRIPS);                                                                                    \
    }                                                                                                                  \
    INSIDE(id)                                                                                                         \
    {                                                                                                                  \
        bench_see(b, SIGHT, INSIDES);                                                                                  \
    }
/* Seen at all or not at all: inside is an ordinary report with some other thing seen that is close to it. */
#define SEEN_RULE(id, SIGHT, TRIPS, OTHER)                                                                             \
    TRIP(id)                                                                                                           \
    {                                                                                                                  \
        bench_see(b, SIGHT, TRIPS)->text = "M1234 x";                                                                  \
    }                                                                                                                  \
    INSIDE(id)                                                                                                         \
    {                                                                                                                  \
        bench_see(b, SIGHT, TRIPS)->count = 0;                                                                         \
        bench_see(b, OTHER, 0.001);                                                                                    \
    }

SIGHT_RULE(leaves_the_bed, PO_SIGHT_OFF_BED, 3.25, 0.005)
SIGHT_RULE(hits_keep_out, PO_SIGHT_KEEP_OUT, 2.5, 0.005)
SIGHT_RULE(reaches_too_far, PO_SIGHT_REACH, 12, 0.005)
SIGHT_RULE(parking, PO_SIGHT_REACH_PARKING, 2, 0.005)
SIGHT_RULE(too_tall, PO_SIGHT_TOO_TALL, 4, 0.005)
SEEN_RULE(below_the_bed, PO_SIGHT_BELOW_BED, 0.2, PO_SIGHT_OFF_BED)
SEEN_RULE(runs_into_part, PO_SIGHT_RUNS_INTO_PART, 1.5, PO_SIGHT_KEEP_OUT)
SEEN_RULE(head_hits_part, PO_SIGHT_HEAD_HITS_PART, 8, PO_SIGHT_KEEP_OUT)
SEEN_RULE(head_unknown, PO_SIGHT_HEAD_UNKNOWN, 0, PO_SIGHT_KEEP_OUT)
SEEN_RULE(homes_into_part, PO_SIGHT_HOMES_INTO_PART, 0, PO_SIGHT_KEEP_OUT)
SEEN_RULE(not_homed, PO_SIGHT_NOT_HOMED, 0, PO_SIGHT_REACH)
SEEN_RULE(parks_on_part, PO_SIGHT_PARKS_ON_PART, 0.1, PO_SIGHT_REACH_PARKING)
SEEN_RULE(skips_probe, PO_SIGHT_SKIPS_PROBE, 0, PO_SIGHT_REACH)
SEEN_RULE(pushes_cold, PO_SIGHT_PUSHES_COLD, 160, PO_SIGHT_KEEP_OUT)
SEEN_RULE(never_heated, PO_SIGHT_NEVER_HEATED, 0, PO_SIGHT_KEEP_OUT)
SEEN_RULE(nozzle_rating, PO_SIGHT_NOZZLE_TOO_HOT, 290, PO_SIGHT_KEEP_OUT)
SEEN_RULE(bed_rating, PO_SIGHT_BED_TOO_HOT, 125, PO_SIGHT_KEEP_OUT)
SIGHT_RULE(no_heat_wait, PO_SIGHT_NO_NOZZLE_WAIT, 40, 4)
SIGHT_RULE(no_bed_wait, PO_SIGHT_NO_BED_WAIT, 20, 4)
SEEN_RULE(leaves_heat_on, PO_SIGHT_LEAVES_NOZZLE_ON, 240, PO_SIGHT_OFF_BED)
SIGHT_RULE(sits_hot, PO_SIGHT_SITS_HOT, 900, 300)
SEEN_RULE(damaged_file, PO_SIGHT_DAMAGED, 0, PO_SIGHT_OFF_BED)
SEEN_RULE(cut_short, PO_SIGHT_CUT_SHORT, 0, PO_SIGHT_OFF_BED)
SEEN_RULE(stores_settings, PO_SIGHT_STORES_SETTINGS, 0, PO_SIGHT_OFF_BED)
SEEN_RULE(needs_tool, PO_SIGHT_NEEDS_TOOL, 2, PO_SIGHT_OFF_BED)
SEEN_RULE(heats_tool, PO_SIGHT_HEATS_TOOL, 2, PO_SIGHT_OFF_BED)
SEEN_RULE(needs_hands, PO_SIGHT_NEEDS_HANDS, 0, PO_SIGHT_OFF_BED)
SIGHT_RULE(loosens_limits, PO_SIGHT_LOOSENS_LIMITS, 2.5, 1.01)
SIGHT_RULE(shifts_origin, PO_SIGHT_SHIFTS_ORIGIN, 5, 0.005)
SEEN_RULE(tunes, PO_SIGHT_TUNES, 0, PO_SIGHT_OFF_BED)
SEEN_RULE(unknown_word, PO_SIGHT_UNKNOWN_WORD, 0, PO_SIGHT_OFF_BED)
SEEN_RULE(feed_mode_doubtful, PO_SIGHT_FEED_MODE, 40, PO_SIGHT_OFF_BED)
SEEN_RULE(two_jobs_in_one, PO_SIGHT_TWO_JOBS, 0, PO_SIGHT_OFF_BED)
SEEN_RULE(no_feed, PO_SIGHT_NO_FEED, 0, PO_SIGHT_OFF_BED)
SEEN_RULE(starts_in_the_air, PO_SIGHT_STARTS_IN_AIR, 3, PO_SIGHT_OFF_BED)
SEEN_RULE(missing_layers, PO_SIGHT_MISSING_LAYERS, 1.1, PO_SIGHT_OFF_BED)
SIGHT_RULE(prints_on_air, PO_SIGHT_ON_AIR, 5.2, 4.9)
SIGHT_RULE(grinds_filament, PO_SIGHT_GRINDS, 52, 36)
SIGHT_RULE(long_bridge, PO_SIGHT_BRIDGE, 18, 12)

TRIP(bad_arc)
{
    bench_see(b, PO_SIGHT_BAD_ARC, 0.4);
}
INSIDE(bad_arc)
{
    bench_see(b, PO_SIGHT_BAD_ARC, 0.4)->count = 0;
}

TRIP(retracts_too_far)
{
    b->machine.retract_most_mm = 2;
    bench_see(b, PO_SIGHT_RETRACTS_FAR, 6.5);
}
INSIDE(retracts_too_far)
{
    b->machine.retract_most_mm = 2;
    bench_see(b, PO_SIGHT_RETRACTS_FAR, 2.0);
}

TRIP(no_print)
{
    b->report.facts.extruding_mm = 0;
    b->report.facts.n_tools = 0;
}
INSIDE(no_print)
{
    b->report.facts.extruding_mm = 3;
}

TRIP(nozzle_out_of_band) /* petg's band is 225 to 250 C; 205 C suits pla (190 to 220) */
{
    bench_all(b->nozzle[0], PO_C_BINS, 205);
    bench_all(b->bed, PO_C_BINS, 60);
    b->tools[0].nozzle_c = (po_heat_facts){205, 205, 205};
    b->report.facts.bed_c = (po_heat_facts){60, 60, 60};
}
INSIDE(nozzle_out_of_band) /* 9 % of the time too hot, and a hotter first layer (150 s of 4230 s) besides */
{
    bench_move(b->nozzle[0], 240, 254, 0.09);
    bench_move(b->nozzle[0], 240, 260, 0.045);
    b->tools[0].nozzle_c = (po_heat_facts){260, 240, 260};
}

TRIP(bed_out_of_band)
{
    bench_all(b->bed, PO_C_BINS, 0);
    b->report.facts.bed_c = (po_heat_facts){NAN, NAN, NAN};
}
INSIDE(bed_out_of_band) /* 88 C is within 3 C of 85 */
{
    bench_all(b->bed, PO_C_BINS, 88);
    b->report.facts.bed_c = (po_heat_facts){88, 88, 88};
}

TRIP(fan_out_of_band)
{
    bench_all(b->fan, PO_FAN_BINS, 100);
}
INSIDE(fan_out_of_band) /* 20 to 60 %, slack 10; a fifth of the time the fan helps small layers */
{
    bench_move(b->fan, 40, 100, 0.19);
    bench_move(b->fan, 40, 70, 0.5);
}

TRIP(melts_too_fast)
{
    bench_see(b, PO_SIGHT_MELT, 12);
    b->tools[0].sustained_flow_mm3_s = 12;
}
INSIDE(melts_too_fast) /* Alder melts 11 mm3/s */
{
    bench_see(b, PO_SIGHT_MELT, 11);
    b->tools[0].sustained_flow_mm3_s = 11;
}
TRIP(melts_stop)
{
    bench_see(b, PO_SIGHT_MELT, 16.5);
    b->tools[0].sustained_flow_mm3_s = 16.5;
}
INSIDE(melts_stop)
{
    inside_melts_too_fast(b);
}

TRIP(bead_too_thin) /* 0.6 x 0.4 = 0.24 mm */
{
    bench_move(b->width[0], 44, 20, 0.06);
}
INSIDE(bead_too_thin)
{
    bench_move(b->width[0], 44, 20, 0.04);
    bench_move(b->width[0], 44, 24, 0.5);
}
TRIP(bead_too_wide) /* 2.5 x 0.4 = 1.0 mm */
{
    bench_move(b->width[0], 44, 110, 0.06);
}
INSIDE(bead_too_wide)
{
    bench_move(b->width[0], 44, 110, 0.04);
    bench_move(b->width[0], 44, 99, 0.5);
}
TRIP(layer_too_thick) /* handbook 2.2: 0.8 x 0.4 = 0.32 mm */
{
    bench_move(b->height[0], 22, 36, 0.06);
}
INSIDE(layer_too_thick)
{
    bench_move(b->height[0], 22, 36, 0.04);
    bench_move(b->height[0], 22, 32, 0.5);
}

TRIP(wrong_nozzle) /* 0.9 x 0.45 mm beads need Dogwood's 0.6 mm nozzle (0.8 x 0.6 = 0.48) */
{
    bench_all(b->width[0], PO_WIDTH_BINS, 90);
    bench_all(b->height[0], PO_WIDTH_BINS, 45);
    b->tools[0].bead_width_mm = b->report.facts.bead_width_mm = 0.9;
    b->tools[0].layer_height_mm = b->report.facts.layer_height_mm = 0.45;
    b->tools[0].bead_area_mm2 = (0.9 - 0.45) * 0.45 + acos(-1) * 0.45 * 0.45 / 4;
    b->tools[0].sustained_flow_mm3_s = 10;
}
INSIDE(wrong_nozzle) /* 0.6 x 0.3 mm: unusual for 0.4, but it lays it (handbook 2.2: 1.5 nozzles, 0.75 nozzles) */
{
    bench_all(b->width[0], PO_WIDTH_BINS, 60);
    bench_all(b->height[0], PO_WIDTH_BINS, 30);
    b->tools[0].bead_width_mm = b->report.facts.bead_width_mm = 0.6;
    b->tools[0].layer_height_mm = b->report.facts.layer_height_mm = 0.3;
    b->tools[0].bead_area_mm2 = 0.160686; /* handbook 2.1 */
}
TRIP(narrow_for_nozzle) /* an ordinary 0.4 mm job on Dogwood's first nozzle of 0.6 mm: 0.73 nozzles wide */
{
    bench_machine(b, "Dogwood", "petg");
}
TRIP(
    narrow_for_fitted) /* the same job on Alder with a nozzle of 0.6 mm fitted since: what came off is not its other tool */
{
    static po_nozzle fitted;
    fitted = b->machine.nozzles[0];
    fitted.diameter_mm = 0.6;
    b->machine.nozzles = &fitted;
}
INSIDE(narrow_for_fitted) /* 0.68 x 0.3 mm belongs to it */
{
    trip_narrow_for_fitted(b);
    bench_all(b->width[0], PO_WIDTH_BINS, 68);
    bench_all(b->height[0], PO_WIDTH_BINS, 30);
    b->tools[0].bead_width_mm = b->report.facts.bead_width_mm = 0.68;
    b->tools[0].layer_height_mm = b->report.facts.layer_height_mm = 0.3;
    b->tools[0].bead_area_mm2 = 0.184686; /* handbook 2.1 */
}
INSIDE(narrow_for_nozzle) /* 0.68 x 0.3 mm belongs to it */
{
    bench_machine(b, "Dogwood", "petg");
    bench_all(b->width[0], PO_WIDTH_BINS, 68);
    bench_all(b->height[0], PO_WIDTH_BINS, 30);
    b->tools[0].bead_width_mm = b->report.facts.bead_width_mm = 0.68;
    b->tools[0].layer_height_mm = b->report.facts.layer_height_mm = 0.3;
    b->tools[0].bead_area_mm2 = 0.184686; /* handbook 2.1 */
}

TRIP(wrong_filament) /* written for 2.85 mm, run with 1.75: the area falls by (2.85 / 1.75)^2 = 2.652 (handbook 1.2) */
{
    double area = 0.081416 / (6.379397 / 2.405282); /* 0.45 x 0.20 mm, handbook 2.1 */
    b->tools[0].layer_height_mm = b->report.facts.layer_height_mm = 0.2;
    b->tools[0].bead_area_mm2 = 0; /* not measured: net feed over length */
    b->tools[0].filament_net_mm = area / 2.405282 * b->tools[0].extruding_mm;
    b->tools[0].bead_width_mm = b->report.facts.bead_width_mm = NAN; /* all round strands */
    memset(b->width[0], 0, sizeof b->width[0]);
    bench_see(b, PO_SIGHT_THIN_BEAD, 0.2);
}
INSIDE(wrong_filament) /* the same beads with the right diameter */
{
    b->tools[0].layer_height_mm = b->report.facts.layer_height_mm = 0.2;
    b->tools[0].bead_area_mm2 = 0.081416;
    b->tools[0].bead_width_mm = b->report.facts.bead_width_mm = 0.45;
}
TRIP(thin_filament) /* the other way round, on a 2.85 mm machine */
{
    b->material = *b->report.materials[0];
    b->material.diameter_mm = 2.85;
    b->report.materials[0] = &b->material;
    b->tools[0].layer_height_mm = b->report.facts.layer_height_mm = 0.2;
    b->tools[0].bead_area_mm2 = 0.081416 * 2.6522;
}
INSIDE(thin_filament)
{
    trip_thin_filament(b);
    b->tools[0].bead_area_mm2 = 0.081416;
}

TRIP(first_layer_too_thick)
{
    b->report.facts.first_layer_height_mm = 0.4;
}
INSIDE(first_layer_too_thick)
{
    b->report.facts.first_layer_height_mm = 0.32;
}
TRIP(first_layer_too_thin)
{
    b->report.facts.first_layer_height_mm = 0.05;
}
INSIDE(first_layer_too_thin)
{
    b->report.facts.first_layer_height_mm = 0.1;
}
TRIP(first_layer_too_fast)
{
    b->report.facts.first_layer_mm_s = 90;
}
INSIDE(first_layer_too_fast)
{
    b->report.facts.first_layer_mm_s = 50;
}

TRIP(layer_too_quick)
{
    bench_see(b, PO_SIGHT_QUICK_LAYER, 1.5)->total = 6;
    for (int i = 20; i < 26; i++) {
        b->rows[i].seconds = 1.5;
    }
}
INSIDE(layer_too_quick) /* quick, but not too quick; and a tip of four layers */
{
    bench_see(b, PO_SIGHT_QUICK_LAYER, 1.5)->total = 40;
    for (int i = 80; i < 116; i++) {
        b->rows[i].seconds = 4;
    }
    for (int i = 132; i < 136; i++) {
        b->rows[i].seconds = 1.5;
    }
}

TRIP(steep_overhang) /* one layer's ledge */
{
    bench_see(b, PO_SIGHT_OVERHANG, 60);
    b->report.facts.overhang_mm = 400;
    b->rows[70].overhang_mm = 400;
}
INSIDE(steep_overhang) /* the top of a round hole: some stretches of 20 mm in six layers */
{
    bench_see(b, PO_SIGHT_OVERHANG, 20);
    b->report.facts.overhang_mm = 240;
    for (int i = 70; i < 76; i++) {
        b->rows[i].overhang_mm = 40;
    }
}

TRIP(few_roofs)
{
    b->report.facts.roofs = 2;
}
INSIDE(few_roofs) /* 3 x 0.22 = 0.66 mm; and an open shell has none at all over no fill */
{
    b->report.facts.roofs = 3;
}
TRIP(few_roofs_none)
{
    b->report.facts.roofs = 0;
}
INSIDE(few_roofs_none)
{
    b->report.facts.roofs = 0;
    b->report.facts.fill_fraction = 0;
}

TRIP(small_foothold)
{
    b->parts[0].foothold_mm2 = 20;
}
INSIDE(small_foothold)
{
    b->parts[0].foothold_mm2 = 25;
    b->parts[1].foothold_mm2 = 2;
    b->parts[1].aid = true;
    b->report.facts.n_parts = 2;
}
TRIP(tall_foothold) /* handbook 5: less than 1 cm2 under 50 mm */
{
    b->parts[0].foothold_mm2 = 90;
    b->parts[0].bounds_mm.max[2] = 55;
}
INSIDE(tall_foothold)
{
    b->parts[0].foothold_mm2 = 90;
    b->parts[0].bounds_mm.max[2] = 45;
}

TRIP(tips_over) /* handbook 5: base 8, height 100: 4.574 degrees */
{
    b->parts[0].bounds_mm.max[2] = 100;
    b->parts[0].tip_deg = 4.574;
    b->parts[0].least_base_mm = 14;
}
INSIDE(tips_over) /* handbook 5: base 10, height 60: 9.462 degrees; and an aid that is slender */
{
    b->parts[0].bounds_mm.max[2] = 60;
    b->parts[0].tip_deg = 9.462;
    b->parts[0].least_base_mm = 10;
    b->parts[1].aid = true;
    b->parts[1].tip_deg = 1;
    b->parts[1].bounds_mm.max[2] = 100;
    b->report.facts.n_parts = 2;
}
TRIP(slender) /* handbook 5: height over least base above 8; base from 60 x 6 mm, not measured */
{
    b->parts[0].bounds_mm.max[2] = 50;
    b->parts[0].least_base_mm = 0;
    b->parts[0].hull_area_mm2 = 360;
    b->parts[0].tip_deg = 7;
}
INSIDE(slender)
{
    b->parts[0].bounds_mm.max[2] = 47;
    b->parts[0].least_base_mm = 0;
    b->parts[0].hull_area_mm2 = 360;
    b->parts[0].tip_deg = 7;
}

TRIP(may_lift) /* asa shrinks by 0.55 %: 1.1 mm over 200 mm */
{
    bench_machine(b, "Dogwood", "asa");
    b->parts[0].longest_edge_mm = 200;
}
INSIDE(may_lift)
{
    bench_machine(b, "Dogwood", "asa");
    b->parts[0].longest_edge_mm = 150;
}

TRIP(across_gap)
{
    b->report.facts.across_gap_mm = 800;
}
INSIDE(across_gap)
{
    b->report.facts.across_gap_mm = 4;
}
TRIP(over_fill)
{
    b->report.facts.over_fill_mm = 9000;
}
INSIDE(over_fill)
{
    b->report.facts.over_fill_mm = 4;
}

TRIP(wrong_material)
{
    b->report.materials[0] = po_shop_material(&b->shop, "asa");
}
INSIDE(wrong_material)
{
    b->report.materials[0] = po_shop_material(&b->shop, "pla");
}

static const char *const starter[] = {"starter"}, *const large[] = {"large-format"};
TRIP(not_permitted)
{
    bench_machine(b, "Dogwood", "petg");
    b->context.permissions = starter;
    b->context.n_permissions = 1;
}
INSIDE(not_permitted) /* large-format implies starter, which is what Alder asks for */
{
    b->context.permissions = large;
    b->context.n_permissions = 1;
}
TRIP(no_permission)
{
    b->context.permissions = starter;
    b->context.n_permissions = 0;
}
INSIDE(no_permission) /* not asked */
{
    bench_machine(b, "Dogwood", "petg");
}

TRIP(over_allowance) /* 30 m are free for one run */
{
    b->report.facts.filament_mm = 34500;
    b->report.facts.filament_g = 105.4;
}
INSIDE(over_allowance)
{
    b->report.facts.filament_mm = 30000;
}
TRIP(over_term)
{
    b->context.allowance_left_m = 1.25;
}
INSIDE(over_term)
{
    b->context.allowance_left_m = 5.5;
}

TRIP(spool_short) /* the job needs 16.46 g */
{
    b->context.spool_g = 12;
}
INSIDE(spool_short)
{
    b->context.spool_g = 18.2;
}
TRIP(spool_tight)
{
    b->context.spool_g = 17;
}
INSIDE(spool_tight)
{
    b->context.spool_g = 18.2;
}

TRIP(spool_end) /* the end of the spool can't be used */
{
    b->context.spool_g = 20;
    b->context.spool_reserve_g = 5;
}
INSIDE(spool_end)
{
    b->context.spool_g = 25;
    b->context.spool_reserve_g = 5;
}
TRIP(over_waived)
{
    b->context.allowance_left_m = 1.25;
    b->context.waived_m = 3;
}
INSIDE(over_waived)
{
    b->context.allowance_left_m = 1.25;
    b->context.waived_m = 4.2;
}
TRIP(machine_taken)
{
    b->context.not_free = "Alder is out with member 1042 (run 812).";
}
INSIDE(machine_taken)
{
    b->context.not_free = NULL;
}
TRIP(machine_tagged)
{
    b->context.not_free = "Alder is tagged out.";
    b->context.out_of_use = true;
}
INSIDE(machine_tagged)
{
    b->context.out_of_use = false;
}
TRIP(gap_unverified)
{
    b->context.gap_due = "The nozzle was changed, and nobody has checked the gap since.";
}
INSIDE(gap_unverified)
{
    b->context.gap_due = NULL;
}

TRIP(too_long)
{
    b->report.facts.seconds = 61 * 3600;
}
INSIDE(too_long)
{
    b->report.facts.seconds = 60 * 3600;
}
TRIP(ends_unstaffed) /* Monday 2026-11-30, desk until 20:00; the run takes 76 min */
{
    b->shop.rules.may_end_unstaffed = false;
    b->context.start_known = true;
    b->context.start = (po_wall_time){{2026, 11, 30}, 19 * 60};
}
INSIDE(ends_unstaffed)
{
    b->shop.rules.may_end_unstaffed = false;
    b->context.start_known = true;
    b->context.start = (po_wall_time){{2026, 11, 30}, 18 * 60};
}

/* What a calendar says of a start on Monday 2026-11-30 at 19:00; the desk is there until 20:00 and from 10:00 on the next day. */
static po_when when_of_a_bench;
static void clocked(bench *b)
{
    when_of_a_bench = (po_when){.open_at_start = true,
                                .watched = true,
                                .watch_until = {{2026, 11, 30}, 19 * 60 + 36},
                                .leaves = {{2026, 11, 30}, 20 * 60},
                                .end = {{2026, 11, 30}, 20 * 60 + 16},
                                .off_known = true,
                                .cool = {{2026, 11, 30}, 20 * 60 + 36},
                                .off = {{2026, 12, 1}, 10 * 60},
                                .full_seconds = 824 * 60,
                                .after_cool_seconds = 4 * 3600,
                                .better_known = true,
                                .better = {{2026, 12, 1}, 10 * 60}};
    b->context.start_known = true;
    b->context.start = (po_wall_time){{2026, 11, 30}, 19 * 60};
    b->context.when = &when_of_a_bench;
}
TRIP(watch_past_closing)
{
    clocked(b);
    when_of_a_bench.watched = false;
    when_of_a_bench.watch_until.minute = 20 * 60 + 6;
}
INSIDE(watch_past_closing)
{
    clocked(b);
}
TRIP(starts_closed)
{
    clocked(b);
    when_of_a_bench.watched = when_of_a_bench.open_at_start = false;
}
TRIP(end_forbidden)
{
    clocked(b);
    b->shop.rules.may_end_unstaffed = false;
}
INSIDE(
    end_forbidden) /* at an end that the desk hours alone would call unstaffed: an opening that the calendar knows of */
{
    clocked(b);
    b->shop.rules.may_end_unstaffed = false;
    when_of_a_bench.end_staffed = true;
}
INSIDE(end_allowed)
{
    clocked(b);
}
TRIP(alone_machine)
{
    static const size_t elm[] = {4};
    clocked(b);
    when_of_a_bench.alone_seconds = 16 * 60;
    b->shop.unattended = (po_unattended){.machines = {elm, 1}};
}
INSIDE(alone_machine) /* somebody is there all along */
{
    trip_alone_machine(b);
    when_of_a_bench.alone_seconds = 0;
}
TRIP(alone_material) /* not the one that is printed */
{
    static const size_t others[] = {0, 1};
    clocked(b);
    when_of_a_bench.alone_seconds = 16 * 60;
    bool first = strcmp(b->shop.materials[0].name, b->report.materials[0]->name) == 0;
    b->shop.unattended = (po_unattended){.materials = {&others[first], 1}};
}
INSIDE(alone_material) /* nothing is asked: no list, no hours */
{
    clocked(b);
    when_of_a_bench.alone_seconds = 16 * 60;
}
TRIP(alone_long)
{
    clocked(b);
    when_of_a_bench.alone_seconds = 8 * 3600 + 60;
    b->shop.unattended.longest_hours = 8;
}
INSIDE(alone_long)
{
    trip_alone_long(b);
    when_of_a_bench.alone_seconds = 8 * 3600;
}
TRIP(hands_when_closed)
{
    clocked(b);
    when_of_a_bench.n_hands = 2;
    when_of_a_bench.hands = (po_wall_time){{2026, 11, 30}, 20 * 60 + 4};
    when_of_a_bench.hands_wait_seconds = 836 * 60;
}
INSIDE(hands_when_closed)
{
    clocked(b);
}
TRIP(hands_for_long) /* nobody comes in what is laid out */
{
    clocked(b);
    when_of_a_bench.n_hands = 1;
    when_of_a_bench.hands = (po_wall_time){{2026, 12, 24}, 60};
    when_of_a_bench.better_known = false;
}
TRIP(off_late)
{
    clocked(b);
    when_of_a_bench.after_cool_seconds = 804 * 60;
}
INSIDE(off_late) /* four hours and no more */
{
    clocked(b);
}

static void put(bench *b, double x, double y, double half)
{
    po_span3 s = {{x - half, y - half, 0}, {x + half, y + half, 30}};
    b->report.facts.bounds_mm = b->report.facts.bounds_all_mm = s;
}
TRIP(made_for_other_machine) /* the middle of Dogwood's bed of 330 x 290 mm */
{
    put(b, 165, 145, 20);
}
INSIDE(made_for_other_machine) /* a small part somewhere on the right bed */
{
    put(b, 169, 141, 10);
}
TRIP(centre_origin) /* around zero: Elm's */
{
    put(b, 0, 0, 30);
}
INSIDE(centre_origin) /* too large for this bed, but where this bed's own middle is */
{
    put(b, 122.5, 102.5, 110);
}

/* Held against a part of one solid, found as it should be. */
static po_against_solid held_solid;
static po_against held = {.part = "bracket.stl", .solids = &held_solid, .n_solids = 1, .objects = 1};
static po_match *hold(bench *b)
{
    held_solid = (po_against_solid){.wanted = 1, .found = 1, .tried = true};
    held_solid.best = (po_match){.found = true, .scale = 1, .covered = 0.99, .missing_from_mm = NAN};
    b->context.against = &held;
    return &held_solid.best;
}
TRIP(other_part)
{
    hold(b)->covered = 0.5;
    held_solid.found = 0;
    held_solid.best.found = false;
}
INSIDE(other_part)
{
    hold(b)->covered = 0.94;
}
TRIP(scaled)
{
    hold(b)->scale = 0.9;
}
INSIDE(scaled)
{
    hold(b)->scale = 1.005; /* made up for shrinkage */
}
TRIP(mirrored)
{
    hold(b)->mirrored = true;
}
INSIDE(mirrored)
{
    hold(b)->turn_deg = 180;
}
TRIP(incomplete)
{
    hold(b);
    held_solid.wanted = 2;
}
INSIDE(incomplete)
{
    hold(b);
    held_solid.found = 3; /* more copies than the file has */
}
TRIP(ends_early)
{
    hold(b)->missing_from_mm = 12.5;
}
INSIDE(ends_early)
{
    hold(b);
}

TRIP(off_recipe)
{
    b->report.facts.walls = 2;
    b->report.facts.fill_fraction = 0.4;
    b->report.facts.usual_bead_mm_s = 120;
}
INSIDE(off_recipe)
{
    b->report.facts.layer_height_mm = 0.24;
    b->report.facts.fill_fraction = 0.26;
    b->report.facts.usual_bead_mm_s = 80;
}

#define C(id, name, grade, must)                                                                                       \
    {                                                                                                                  \
        name, grade, must, trip_##id, inside_##id                                                                      \
    }
static const rule_case cases[] = {
    C(leaves_the_bed, "leaves-the-bed", PO_GRADE_STOP, "3.2 mm"),
    C(hits_keep_out, "hits-keep-out", PO_GRADE_STOP, "2.5 mm"),
    C(reaches_too_far, "reaches-too-far", PO_GRADE_STOP, "12.0 mm"),
    C(parking, "reaches-too-far", PO_GRADE_ASK, "2.0 mm"),
    C(too_tall, "too-tall", PO_GRADE_STOP, "4.0 mm"),
    C(below_the_bed, "below-the-bed", PO_GRADE_STOP, "0.20 mm"),
    C(runs_into_part, "runs-into-part", PO_GRADE_STOP, "1.5 mm"),
    C(head_hits_part, "runs-into-part", PO_GRADE_STOP, "8.0 mm"),
    C(head_unknown, "runs-into-part", PO_GRADE_ASK, "shop file"),
    C(homes_into_part, "homes-into-part", PO_GRADE_STOP, "10 min"),
    C(not_homed, "not-homed", PO_GRADE_STOP, "homed"),
    C(parks_on_part, "parks-on-part", PO_GRADE_ASK, "5.0 mm up"),
    C(skips_probe, "skips-probe", PO_GRADE_NOTE, "probe"),
    C(pushes_cold, "pushes-cold", PO_GRADE_STOP, "160 C"),
    C(never_heated, "pushes-cold", PO_GRADE_ASK, "panel"),
    C(nozzle_rating, "beyond-rating", PO_GRADE_STOP, "290 C; this machine may reach 265 C"),
    C(bed_rating, "beyond-rating", PO_GRADE_STOP, "125 C"),
    C(no_heat_wait, "no-heat-wait", PO_GRADE_ASK, "nozzle is about 40 C"),
    C(no_bed_wait, "no-heat-wait", PO_GRADE_ASK, "bed is about 20 C"),
    C(leaves_heat_on, "leaves-heat-on", PO_GRADE_ASK, "240 C"),
    C(sits_hot, "sits-hot", PO_GRADE_ASK, "15 min"),
    C(damaged_file, "damaged-file", PO_GRADE_STOP, "line 100: M1234 x"),
    C(no_print, "no-print", PO_GRADE_STOP, "120000 lines"),
    C(cut_short, "cut-short", PO_GRADE_STOP, "5.0 mm up"),
    C(stores_settings, "stores-settings", PO_GRADE_STOP, "M1234 x"),
    C(needs_tool, "needs-tool", PO_GRADE_STOP, "tool 2"),
    C(heats_tool, "needs-tool", PO_GRADE_NOTE, "tool"),
    C(needs_hands, "needs-hands", PO_GRADE_ASK, "5.0 mm height, 10 min"),
    C(loosens_limits, "loosens-limits", PO_GRADE_ASK, "2.5 times"),
    C(shifts_origin, "shifts-origin", PO_GRADE_ASK, "5.0 mm"),
    C(tunes, "shifts-origin", PO_GRADE_NOTE, "M1234 x"),
    C(unknown_word, "unknown-word", PO_GRADE_ASK, "M1234 x"),
    C(bad_arc, "bad-arc", PO_GRADE_ASK, "0.40 mm"),
    C(feed_mode_doubtful, "feed-mode-doubtful", PO_GRADE_ASK, "40 times"),
    C(two_jobs_in_one, "two-jobs-in-one", PO_GRADE_ASK, "line 100"),
    C(no_feed, "no-feed", PO_GRADE_NOTE, "speed"),
    C(starts_in_the_air, "starts-in-the-air", PO_GRADE_STOP, "3.0 mm"),
    C(missing_layers, "missing-layers", PO_GRADE_STOP, "1.1 mm"),
    C(prints_on_air, "prints-on-air", PO_GRADE_STOP, "5.2 mm"),
    C(grinds_filament, "grinds-filament", PO_GRADE_ASK, "52 times"),
    C(retracts_too_far, "retracts-too-far", PO_GRADE_ASK, "6.5 mm"),
    C(long_bridge, "long-bridge", PO_GRADE_ASK, "18.0 mm freely (at x 120, y 100, 5.0 mm up)"),
    C(nozzle_out_of_band, "nozzle-out-of-band", PO_GRADE_ASK, "205 C; petg wants 225 to 250 C. That would suit pla."),
    C(bed_out_of_band, "bed-out-of-band", PO_GRADE_ASK, "70 to 85 C"),
    C(fan_out_of_band, "fan-out-of-band", PO_GRADE_ASK, "100 %"),
    C(melts_too_fast, "melts-too-fast", PO_GRADE_ASK, "12.0 mm3/s"),
    C(melts_stop, "melts-too-fast", PO_GRADE_STOP, "16.5 mm3/s"),
    C(bead_too_thin, "bead-too-thin", PO_GRADE_ASK, "6 %"),
    C(bead_too_wide, "bead-too-wide", PO_GRADE_ASK, "1.00 mm"),
    C(layer_too_thick, "layer-too-thick", PO_GRADE_ASK, "0.32 mm"),
    C(wrong_nozzle, "wrong-nozzle", PO_GRADE_STOP, "0.6 mm (as Dogwood has)"),
    C(narrow_for_nozzle, "wrong-nozzle", PO_GRADE_ASK, "0.4 mm (as this machine's other tool has)"),
    C(narrow_for_fitted, "wrong-nozzle", PO_GRADE_ASK, "0.4 mm (as Birch has)"),
    C(wrong_filament, "wrong-filament", PO_GRADE_STOP, "2.85 mm"),
    C(thin_filament, "wrong-filament", PO_GRADE_STOP, "1.75 mm"),
    C(first_layer_too_thick, "first-layer-too-thick", PO_GRADE_ASK, "0.40 mm"),
    C(first_layer_too_thin, "first-layer-too-thin", PO_GRADE_ASK, "0.05 mm"),
    C(first_layer_too_fast, "first-layer-too-fast", PO_GRADE_ASK, "90 mm/s"),
    C(layer_too_quick, "layer-too-quick", PO_GRADE_ASK, "1.5 s"),
    C(steep_overhang, "steep-overhang", PO_GRADE_ASK, "60.0 mm"),
    C(few_roofs, "few-roofs", PO_GRADE_ASK, "0.44 mm"),
    C(few_roofs_none, "few-roofs", PO_GRADE_ASK, "No layer closes the top over a fill of 20 %"),
    C(small_foothold, "small-foothold", PO_GRADE_ASK, "20 mm2"),
    C(tall_foothold, "small-foothold", PO_GRADE_ASK, "90 mm2"),
    C(tips_over, "tips-over", PO_GRADE_ASK, "4.6 degrees"),
    C(slender, "tips-over", PO_GRADE_ASK, "6.0 mm wide"),
    C(may_lift, "may-lift", PO_GRADE_ASK, "200 mm; asa shrinks by 1.1 mm"),
    C(across_gap, "across-gap", PO_GRADE_NOTE, "0.8 m"),
    C(over_fill, "over-fill", PO_GRADE_NOTE, "9.0 m"),
    C(wrong_material, "wrong-material", PO_GRADE_STOP, "asa"),
    C(not_permitted, "not-permitted", PO_GRADE_STOP, "two-material"),
    C(no_permission, "not-permitted", PO_GRADE_STOP, "starter"),
    C(over_allowance, "over-allowance", PO_GRADE_ASK, "4.5 m (14 g)"),
    C(over_term, "over-allowance", PO_GRADE_ASK, "4.1 m"),
    C(spool_short, "spool-short", PO_GRADE_ASK, "4 g (1.5 m) are missing"),
    C(spool_tight, "spool-short", PO_GRADE_NOTE, "17 g"),
    C(spool_end, "spool-short", PO_GRADE_ASK, "the last 5 g"),
    C(over_waived, "over-allowance", PO_GRADE_ASK, "and 3.0 m by waiver: 1.1 m"),
    C(machine_taken, "machine-taken", PO_GRADE_ASK, "out with member 1042"),
    C(machine_tagged, "machine-taken", PO_GRADE_STOP, "tagged out"),
    C(gap_unverified, "gap-unverified", PO_GRADE_ASK, "nobody has checked the gap"),
    C(too_long, "too-long", PO_GRADE_ASK, "61 h"),
    C(ends_unstaffed, "too-long", PO_GRADE_ASK, "20:16"),
    C(watch_past_closing, "watch-past-closing", PO_GRADE_ASK,
      "breaks at 20:00, and heating and watch last until about 20:06"),
    {"watch-past-closing", PO_GRADE_ASK, "at 19:00, when it would start", trip_starts_closed,
     inside_watch_past_closing},
    C(end_forbidden, "ends-unstaffed", PO_GRADE_ASK, "20:16"),
    {"ends-unstaffed", PO_GRADE_ASK, "20:16", trip_end_forbidden, inside_end_allowed},
    C(alone_machine, "runs-alone", PO_GRADE_ASK, "for 16 min while it runs, and this shop lets"),
    C(alone_material, "runs-alone", PO_GRADE_ASK, "only with somebody there"),
    C(alone_long, "runs-alone", PO_GRADE_ASK, "for 8 h 1 min of the run; this shop leaves a run alone for 8 h at most"),
    C(hands_when_closed, "hands-when-closed", PO_GRADE_ASK,
      "about 20:04, when nobody is at the desk, and would stand still, hot, for about 13 h 56 min"),
    {"hands-when-closed", PO_GRADE_ASK, "1:00 on 2026-12-24", trip_hands_for_long, inside_hands_when_closed},
    C(off_late, "off-late", PO_GRADE_NOTE, "before 10:00 on Tuesday: the machine stands full for 13 h 44 min"),
    C(made_for_other_machine, "made-for-other-machine", PO_GRADE_ASK, "Dogwood"),
    C(centre_origin, "made-for-other-machine", PO_GRADE_ASK, "Elm"),
    C(other_part, "other-part", PO_GRADE_ASK, "50 %"),
    C(scaled, "scaled", PO_GRADE_ASK, "90.0 %"),
    C(mirrored, "mirrored", PO_GRADE_ASK, "mirror image"),
    C(incomplete, "incomplete", PO_GRADE_ASK, "2 solids"),
    C(ends_early, "incomplete", PO_GRADE_ASK, "12.5 mm"),
    C(off_recipe, "off-recipe", PO_GRADE_NOTE, "speed 120 mm/s (recipe: 65 mm/s)"),
};
enum { N_CASES = sizeof cases / sizeof cases[0] };

static void each_rule_trips(void **state)
{
    (void)state;
    for (size_t i = 0; i < N_CASES; i++) {
        const rule_case *c = &cases[i];
        bench *b = bench_new();
        c->trip(b);
        bench_judge(b);
        const po_finding *f = bench_finding(b, c->name);
        if (f == NULL) {
            fail_msg("%s (case %zu) was not found", c->name, i);
        }
        if (f->grade != c->grade) {
            fail_msg("%s (case %zu) is %s: %s", c->name, i, po_grade_name(f->grade), f->says);
        }
        if (strstr(f->says, c->must_say) == NULL) {
            fail_msg("%s should say \"%s\": %s", c->name, c->must_say, f->says);
        }
        bench_done(b);
    }
}

static void just_inside_is_silent(void **state)
{
    (void)state;
    for (size_t i = 0; i < N_CASES; i++) {
        const rule_case *c = &cases[i];
        bench *b = bench_new();
        c->inside(b);
        bench_judge(b);
        const po_finding *f = bench_finding(b, c->name);
        if (f != NULL) {
            fail_msg("%s (case %zu) is a false alarm: %s", c->name, i, f->says);
        }
        bench_done(b);
    }
}

/* Sentences: whole, with an end, short, no decimal comma, something to do, units behind numbers of length. */
static void sentences_are_plain(void **state)
{
    (void)state;
    for (size_t i = 0; i < N_CASES; i++) {
        bench *b = bench_new();
        cases[i].trip(b);
        bench_judge(b);
        for (size_t k = 0; k < b->proof->n_findings; k++) {
            const po_finding *f = &b->proof->findings[k];
            size_t n = strlen(f->says);
            if (n < 20 || n > 170 || f->says[n - 1] != '.') {
                fail_msg("%s, %zu letters: %s", f->name, n, f->says);
            }
            assert_true(f->todo != NULL && strlen(f->todo) > 5 && f->todo[strlen(f->todo) - 1] == '.');
            for (const char *s = f->says; (s = strchr(s, ',')) != NULL; s++) {
                if (s[1] != ' ') {
                    fail_msg("%s: a comma within a number: %s", f->name, f->says);
                }
            }
            if (strstr(f->says, "nan") != NULL || strstr(f->says, "inf ") != NULL || strstr(f->says, "-0 ") != NULL) {
                fail_msg("%s: %s", f->name, f->says);
            }
        }
        bench_done(b);
    }
}

static void every_rule_has_a_case(void **state)
{
    (void)state;
    size_t n;
    const po_rule_info *rules = po_rules_table(&n);
    for (size_t i = 0; i < n; i++) {
        bool found = false;
        for (size_t k = 0; k < N_CASES; k++) {
            found |= strcmp(cases[k].name, rules[i].name) == 0;
        }
        if (!found && rules[i].kind & PO_RULE_JOB) { /* those of parts alone: part_rules_test.c */
            fail_msg("%s has no case", rules[i].name);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_rule_trips),
        cmocka_unit_test(just_inside_is_silent),
        cmocka_unit_test(sentences_are_plain),
        cmocka_unit_test(every_rule_has_a_case),
    };
    return cmocka_run_group_tests_name("rules", tests, NULL, NULL);
}
