/* For tests: machines and programs. SPDX-License-Identifier: Apache-2.0 */
#include "job/try_job.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const po_nozzle nozzles[2] = {{0.4, 260, 12}, {0.4, 260, 12}};
static const po_keep_out corner = {{180, 200}, {180, 200}, 15};
static const po_material plain_material = {.name = "plain",
                                           .density_g_cm3 = 1.25,
                                           .diameter_mm = 1.75,
                                           .nozzle_c = {200, 240},
                                           .cold_below_c = 180,
                                           .bed_c = {50, 70},
                                           .fan_percent = {0, 100},
                                           .glass_c = 60,
                                           .house = true};
#define LIMITS                                                                                                         \
    .feed_mm_s = {200, 200, 20, 50}, .accel_mm_s2 = {1000, 1000, 1000, 1000}, .print_mm_s2 = 1000,                     \
    .travel_mm_s2 = 1000, .retract_mm_s2 = 1000

const po_machine try_machines[TRY_MACHINES] = {
    [TRY_PLAIN] = {.name = "Plain",
                   .bed_mm = {200, 200},
                   .height_mm = 180,
                   .reach = {{-2, 205}, {-2, 205}, {0, 190}},
                   .keep_outs = &corner,
                   .n_keep_outs = 1,
                   .nozzles = nozzles,
                   .n_nozzles = 1,
                   .bed_hottest_c = 100,
                   .e_follows_g90 = true,
                   .retract_mm = 1,
                   .retract_mm_s = 40,
                   .retract_extra_mm = 0.1,
                   .retract_most_mm = 2,
                   .head = {true, 30, 30, 30, 30, 20},
                   .limits = {LIMITS, .corner = PO_CORNER_STEP, .step_mm_s = {8, 8, 1, 5}},
                   .heat = {2, 0.5, 20, 15, 9, 20}},
    [TRY_PAIR] = {.name = "Pair",
                  .bed_mm = {300, 250},
                  .height_mm = 300,
                  .reach = {{0, 300}, {0, 250}, {0, 310}},
                  .nozzles = nozzles,
                  .n_nozzles = 2,
                  .bed_hottest_c = 120,
                  .e_follows_g90 = false,
                  .retract_mm = 2,
                  .retract_mm_s = 40,
                  .retract_most_mm = 4,
                  .limits = {LIMITS, .corner = PO_CORNER_DEVIATION, .deviation_mm = 0.02},
                  .heat = {3, 0.3, 20, 15, 30, 60}},
    [TRY_ROUND] = {.name = "Round",
                   .round_bed = true,
                   .origin_centre = true,
                   .bed_mm = {200, 200},
                   .height_mm = 300,
                   .reach = {{-100, 100}, {-100, 100}, {0, 345}},
                   .home_mm = {0, 0, 345},
                   .nozzles = nozzles,
                   .n_nozzles = 1,
                   .bed_hottest_c = 110,
                   .e_follows_g90 = true,
                   .retract_mm = 1,
                   .retract_mm_s = 40,
                   .retract_most_mm = 4,
                   .limits = {LIMITS, .corner = PO_CORNER_DEVIATION, .deviation_mm = 0.05},
                   .heat = {2, 0.5, 20, 15, 9, 20}},
};

static const char *const harmless[] = {"M7777"};
const po_rules try_rules = {.overhang_limit_deg = 45,
                            .bridge_limit_mm = 12,
                            .support_gap_mm = 0.5,
                            .smallest_foothold_mm2 = 25,
                            .clearance_mm = 6,
                            .harmless_words = harmless,
                            .n_harmless_words = 1};

po_job_setup try_setup(try_machine machine)
{
    po_job_setup s = {.machine = &try_machines[machine], .rules = &try_rules};
    for (size_t i = 0; i < s.machine->n_nozzles; i++) {
        s.materials[i] = &plain_material;
    }
    return s;
}

const po_job_report *try_text(const char *text, size_t n, try_machine machine, bool deposit, po_arena **ret_arena,
                              po_status *ret_status)
{
    po_job_setup setup = try_setup(machine);
    po_job_options options = PO_JOB_OPTIONS_INIT;
    options.deposit = deposit;
    options.threads = 1;
    po_source source = {.data = text, .n_bytes = n};
    const po_job_report *report = NULL;
    po_err err;
    *ret_arena = po_arena_new(64 << 20);
    *ret_status = po_job_measure(&source, &setup, 1, &options, *ret_arena, &report, &err);
    return report;
}

static bool equal(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}

static bool same_place(const po_place *a, const po_place *b)
{
    return a->known == b->known && a->line == b->line && equal(a->x, b->x) && equal(a->y, b->y) && equal(a->z, b->z) &&
           equal(a->seconds, b->seconds);
}

static bool same_shares(const float *a, const float *b, size_t n)
{
    return (!a && !b) || (a && b && memcmp(a, b, n * sizeof *a) == 0);
}

bool try_same(const po_job_report *a, const po_job_report *b, const char **ret_what)
{
    const po_job_facts *f = &a->facts, *g = &b->facts;
#define SAME(field)                                                                                                    \
    do {                                                                                                               \
        if (!equal((double)f->field, (double)g->field)) {                                                              \
            *ret_what = #field;                                                                                        \
            return false;                                                                                              \
        }                                                                                                              \
    } while (0)
    SAME(lines);
    SAME(moves);
    SAME(retractions);
    SAME(filament_mm);
    SAME(filament_net_mm);
    SAME(filament_g);
    SAME(volume_mm3);
    SAME(seconds);
    SAME(motion_seconds);
    SAME(heat_seconds);
    SAME(wait_seconds);
    SAME(first_bead_seconds);
    SAME(first_layer_seconds);
    SAME(layers);
    SAME(layer_height_mm);
    SAME(first_layer_height_mm);
    SAME(first_layer_mm_s);
    SAME(bead_width_mm);
    SAME(continuous);
    SAME(peak_flow_mm3_s);
    SAME(sustained_flow_mm3_s);
    SAME(extruding_mm);
    SAME(travel_mm);
    SAME(foothold_mm2);
    SAME(footholds);
    SAME(n_parts);
    SAME(on_air_mm);
    SAME(across_gap_mm);
    SAME(over_fill_mm);
    SAME(bridge_count);
    SAME(longest_bridge_mm);
    SAME(overhang_mm);
    SAME(fill_fraction);
    SAME(walls);
    SAME(roofs);
    SAME(floors);
    SAME(n_by_height);
    SAME(n_layer_rows);
    SAME(deposit_done);
    SAME(last_bed_c);
    SAME(shutdown_bed_c);
    SAME(shutdown_nozzle_c);
    SAME(n_hands);
    SAME(n_unknown_words);
    SAME(in_turn);
    SAME(sets_units);
    SAME(sets_mode);
    SAME(homes);
    SAME(probes);
    SAME(job_ends);
    SAME(usual_bead_mm_s);
    SAME(n_tools);
    for (int i = 0; i < 3; i++) {
        SAME(bounds_mm.min[i]);
        SAME(bounds_mm.max[i]);
        SAME(bounds_all_mm.min[i]);
        SAME(bounds_all_mm.max[i]);
        SAME(travel_bounds_mm.min[i]);
        SAME(travel_bounds_mm.max[i]);
        SAME(end_xyz_mm[i]);
    }
    for (size_t i = 0; i < f->n_by_height; i++) {
        SAME(by_height[i].z);
        SAME(by_height[i].filament_mm);
        SAME(by_height[i].seconds);
    }
    for (size_t i = 0; i < f->n_layer_rows; i++) {
        SAME(layer_rows[i].seconds);
        SAME(layer_rows[i].start_seconds);
        SAME(layer_rows[i].area_mm2);
    }
    for (size_t i = 0; i < f->n_tools; i++) {
        SAME(tools[i].tool);
        SAME(tools[i].seconds);
        SAME(tools[i].filament_mm);
        SAME(tools[i].sustained_flow_mm3_s);
        if (!same_shares(f->tools[i].nozzle_share, g->tools[i].nozzle_share, PO_C_BINS)) {
            *ret_what = "nozzle_share";
            return false;
        }
    }
#undef SAME
    *ret_what = "bed_share or fan_share";
    if (!same_shares(f->bed_share, g->bed_share, PO_C_BINS) || !same_shares(f->fan_share, g->fan_share, PO_FAN_BINS)) {
        return false;
    }
    for (int s = 0; s < PO_SIGHT_COUNT; s++) {
        const po_sighting *p = &a->sights[s], *q = &b->sights[s];
        if (p->count != q->count || (p->count && (!equal(p->worst, q->worst) || !same_place(&p->first, &q->first) ||
                                                  !same_place(&p->worst_at, &q->worst_at)))) {
            *ret_what = "a sighting";
            return false;
        }
    }
    *ret_what = "sha256";
    return strcmp(a->sha256, b->sha256) == 0;
}

char *try_block(const char *before, const char *after, int heights, double side)
{
    char *text = NULL;
    size_t n = 0;
    FILE *f = open_memstream(&text, &n);
    if (!f) {
        return NULL;
    }
    fputs(before, f);
    const double per_mm = 0.0345; /* about 0.45 x 0.2 mm */
    for (int k = 0; k < heights; k++) {
        double x = 50, y = 50;
        fprintf(f, "G1 Z%.3f F600\n", 0.2 * (k + 1));
        for (int wall = 0; wall < 2; wall++) {
            double in = 0.45 * wall, s = side - 2 * in;
            fprintf(f, "G0 X%.3f Y%.3f F6000\n", x + in, y + in);
            fprintf(f, "G1 X%.3f E%.5f F1800\nG1 Y%.3f E%.5f\n", x + in + s, s * per_mm, y + in + s, s * per_mm);
            fprintf(f, "G1 X%.3f E%.5f\nG1 Y%.3f E%.5f\n", x + in, s * per_mm, y + in, s * per_mm);
        }
        for (double u = 1; u < side - 1; u += 0.9) { /* lines one and a half apart, turned from height to height */
            bool up = fmod(u, 1.8) < 0.9;
            double a = up ? 0.9 : side - 0.9, b = side - a, l = side - 1.8;
            if (k & 1) {
                fprintf(f, "G1 X%.3f Y%.3f F6000\nG1 X%.3f E%.5f F3000\n", x + a, y + u, x + b, l * per_mm);
            } else {
                fprintf(f, "G1 X%.3f Y%.3f F6000\nG1 Y%.3f E%.5f F3000\n", x + u, y + a, y + b, l * per_mm);
            }
        }
    }
    fputs(after, f);
    if (fclose(f) != 0) {
        free(text);
        return NULL;
    }
    return text;
}
