/* The ordinary report for tests. SPDX-License-Identifier: Apache-2.0 */
#include "proof/bench_report.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

void bench_all(float *shares, size_t n, int bin)
{
    memset(shares, 0, n * sizeof *shares);
    shares[bin] = 1;
}

void bench_move(float *shares, int from, int to, double share)
{
    shares[from] -= (float)share;
    shares[to] += (float)share;
}

static void fill_facts(bench *b)
{
    po_job_facts *f = &b->report.facts;
    for (int i = 0; i < 2; i++) {
        bench_all(b->width[i], PO_WIDTH_BINS, 44);
        bench_all(b->height[i], PO_WIDTH_BINS, 22);
        bench_all(b->nozzle[i], PO_C_BINS, 240);
    }
    bench_all(b->bed, PO_C_BINS, 75);
    bench_all(b->fan, PO_FAN_BINS, 40);
    /* 0.44 x 0.22 mm as a stadium: 0.086414 mm2; 150 m of it are 12.96 cm3, 5389 mm of filament, 16.46 g */
    double area = (0.44 - 0.22) * 0.22 + acos(-1) * 0.22 * 0.22 / 4, bead_mm = 150000;
    double volume = area * bead_mm, filament = volume / (acos(-1) / 4 * 1.75 * 1.75);
    b->tools[0] = (po_tool_facts){.tool = 0,
                                  .filament_mm = filament,
                                  .filament_net_mm = filament,
                                  .filament_g = volume * 1.27 / 1000,
                                  .volume_mm3 = volume,
                                  .extruding_mm = bead_mm,
                                  .seconds = 4000,
                                  .nozzle_c = {240, 240, 240},
                                  .peak_flow_mm3_s = 6,
                                  .sustained_flow_mm3_s = 5.2,
                                  .bead_width_mm = 0.44,
                                  .layer_height_mm = 0.22,
                                  .material = "petg",
                                  .width_share = b->width[0],
                                  .height_share = b->height[0],
                                  .nozzle_share = b->nozzle[0],
                                  .bead_area_mm2 = area};
    b->tools[1] = b->tools[0];
    b->tools[1].tool = 1;
    b->tools[1].width_share = b->width[1];
    b->tools[1].height_share = b->height[1];
    b->tools[1].nozzle_share = b->nozzle[1];
    b->parts[0] = (po_job_part){.number = 1,
                                .foothold_mm2 = 2400,
                                .footholds = 1,
                                .x = 122.5,
                                .y = 102.5,
                                .bounds_mm = {{92.5, 82.5, 0}, {152.5, 122.5, 30}},
                                .grams = 16.4,
                                .centre_of_mass_mm = {122.5, 102.5, 12},
                                .hull_area_mm2 = 2400,
                                .tip_deg = 59,
                                .tip_accel_mm_s2 = 16000,
                                .longest_edge_mm = 60,
                                .begun_seconds = 300,
                                .done_seconds = 4500,
                                .least_base_mm = 40};
    b->parts[1] = b->parts[0];
    b->parts[1].number = 2;
    for (int i = 0; i < BENCH_ROWS; i++) {
        b->rows[i] = (po_layer_row){.z = 0.25 + 0.22 * i,
                                    .seconds = 30,
                                    .start_seconds = 300 + 30 * i,
                                    .extruding_mm = bead_mm / BENCH_ROWS,
                                    .filament_mm = filament / BENCH_ROWS,
                                    .area_mm2 = 900,
                                    .mean_mm_s = 40,
                                    .solid_share = 0.4};
    }
    *f = (po_job_facts){.bytes = 4000000,
                        .lines = 120000,
                        .moves = 110000,
                        .retractions = 900,
                        .filament_mm = filament,
                        .filament_net_mm = filament,
                        .filament_g = volume * 1.27 / 1000,
                        .volume_mm3 = volume,
                        .tools = b->tools,
                        .n_tools = 1,
                        .seconds = 4560,
                        .motion_seconds = 4200,
                        .heat_seconds = 250,
                        .wait_seconds = 110,
                        .first_bead_seconds = 330,
                        .first_layer_seconds = 480,
                        .layers = BENCH_ROWS,
                        .layer_height_mm = 0.22,
                        .first_layer_height_mm = 0.25,
                        .first_layer_mm_s = 20,
                        .bead_width_mm = 0.44,
                        .bounds_mm = b->parts[0].bounds_mm,
                        .bounds_all_mm = b->parts[0].bounds_mm,
                        .travel_bounds_mm = b->parts[0].bounds_mm,
                        .nozzle_c = {240, 240, 240},
                        .bed_c = {75, 75, 75},
                        .fan_percent = {0, 0, 40},
                        .bed_share = b->bed,
                        .fan_share = b->fan,
                        .peak_flow_mm3_s = 6,
                        .sustained_flow_mm3_s = 5.2,
                        .extruding_mm = bead_mm,
                        .travel_mm = 40000,
                        .foothold_mm2 = 2400,
                        .footholds = 1,
                        .parts = b->parts,
                        .n_parts = 1,
                        .fill_fraction = 0.2,
                        .walls = 3,
                        .roofs = 4,
                        .floors = 4,
                        .layer_rows = b->rows,
                        .n_layer_rows = BENCH_ROWS,
                        .raster_mm = 0.1,
                        .deposit_done = true,
                        .last_bed_c = 75,
                        .end_xyz_mm = {0, 200, 40},
                        .sets_units = true,
                        .sets_mode = true,
                        .homes = true,
                        .probes = true,
                        .job_ends = true,
                        .usual_bead_mm_s = 60};
}

bench *bench_new(void)
{
    char path[1024];
    const char *root = getenv("PO_SOURCE_ROOT");
    snprintf(path, sizeof path, "%s/demo/shop.yaml", root != NULL ? root : ".");
    po_arena *arena = po_arena_new(0);
    const po_shop *shop = NULL;
    po_shop_faults faults;
    po_err err;
    if (po_shop_read_file(path, arena, &shop, &faults, &err) != PO_OK) {
        fail_msg("%s: %s", path, err.msg);
    }
    bench *b = po_arena_zeros(arena, 1, sizeof *b);
    assert_non_null(b);
    b->arena = arena;
    b->shop = *shop;
    b->context = (po_proof_context){.shop = &b->shop, .spool_g = NAN, .allowance_left_m = NAN};
    bench_machine(b, "Alder", "petg");
    fill_facts(b);
    return b;
}

void bench_machine(bench *b, const char *machine, const char *material)
{
    const po_machine *m = po_shop_machine(&b->shop, machine);
    const po_material *mat = po_shop_material(&b->shop, material);
    assert_non_null(m);
    assert_non_null(mat);
    b->machine = *m;
    b->report.machine = &b->machine;
    b->report.n_materials = m->n_nozzles;
    for (size_t i = 0; i < m->n_nozzles; i++) {
        b->report.materials[i] = mat;
    }
}

void bench_done(bench *b)
{
    po_arena_free(b->arena);
}

po_sighting *bench_see(bench *b, po_sight sight, double worst)
{
    po_place at = {.known = true, .line = 100, .x = 120, .y = 100, .z = 5, .seconds = 600};
    b->report.sights[sight] = (po_sighting){
        .count = 1, .first = at, .worst_at = at, .worst = worst, .total = worst, .text = NULL};
    return &b->report.sights[sight];
}

const po_proof *bench_judge(bench *b)
{
    po_err err;
    if (po_proof_job(&b->report, "bracket.gcode", &b->context, b->arena, &b->proof, &err) != PO_OK) {
        fail_msg("no proof: %s", err.msg);
    }
    return b->proof;
}

const po_finding *bench_finding(const bench *b, const char *name)
{
    for (size_t i = 0; i < b->proof->n_findings; i++) {
        if (strcmp(b->proof->findings[i].name, name) == 0) {
            return &b->proof->findings[i];
        }
    }
    return NULL;
}
