/* A job made by hand for the tests of slips. SPDX-License-Identifier: Apache-2.0
 *
 * An L-shaped bracket, 80 by 60 mm, with a round post beside it: a foothold layer with a skirt, layers with walls and
 * slanted fill, a bridge across a window, a shelf that starts on air. Drawn into rasters with plain loops, so that the
 * pictures have what real ones have: thin beads, gaps, large areas. */
#include "slip/fixture.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { SIDE_W = 200, SIDE_H = 120 };
#define PX 0.2

static void *zeros(po_arena *arena, size_t n, size_t size)
{
    void *p = po_arena_zeros(arena, n, size);
    assert(p);
    return p;
}

/* Signed distance to the outline of the bracket (negative inside), bracket coordinates 0..80, 0..60. */
static double bracket(double x, double y)
{
    double a = fmax(fmax(-x, x - 80), fmax(-y, y - 22)), b = fmax(fmax(-x, x - 22), fmax(-y, y - 60));
    double l = fmin(a, b), hole = 5 - hypot(x - 66, y - 11), hole2 = 4 - hypot(x - 11, y - 48);
    return fmax(fmax(l, hole), hole2);
}

static double post(double x, double y)
{
    return hypot(x - 56, y - 46) - 9;
}

typedef enum kind { FIRST, FILL, BRIDGED, SHELF } kind;

static po_layer_image *layer(po_arena *arena, kind k, double z, double at_x, double at_y)
{
    po_layer_image *image = zeros(arena, 1, sizeof *image);
    int w = 560, h = 430;
    uint8_t *px = zeros(arena, (size_t)w * (size_t)h, 1);
    *image = (po_layer_image){.z = z, .x0 = at_x - 12, .y0 = at_y - 12, .px_mm = PX, .width = w, .height = h, .px = px};
    for (int j = 0; j < h; j++) {
        for (int i = 0; i < w; i++) {
            double x = (i + 0.5) * PX - 12, y = (j + 0.5) * PX - 12, d = fmin(bracket(x, y), post(x, y));
            uint8_t v = PO_PX_NONE;
            if (k == FIRST) {
                double skirt = fabs(fmin(fmax(fmax(-x, x - 80), fmax(-y, y - 60)), 50) - 6);
                v = d < 0 ? PO_PX_FOOTHOLD : skirt < 0.45 ? PO_PX_PRIMING : PO_PX_NONE;
                if (fabs(x - 40) < 40 && y > -11 && y < -10.2) {
                    v = PO_PX_PRIMING;
                }
            } else if (d < 0) {
                bool wall = d > -1.3;
                double stripe = fmod((x + y) / 1.4142 + 1000, 4.4), other = fmod((x - y) / 1.4142 + 1000, 4.4);
                v = wall || stripe < 0.44 || other < 0.44 ? PO_PX_LAID : PO_PX_BENEATH;
                if (k == BRIDGED && x > 30 && x < 48 && y < 22) {
                    v = PO_PX_BRIDGE;
                }
                if (k == BRIDGED && x > 20 && x < 24 && y > 22) {
                    v = PO_PX_OVERHANG;
                }
            }
            if (k == SHELF && x > 22.6 && x < 40 && y > 34 && y < 52) {
                v = PO_PX_ON_AIR;
            }
            if (k != FIRST && k != SHELF && x >= 22 && x < 24.5 && y > 22 && y < 60) {
                v = PO_PX_OVERHANG;
            }
            px[j * w + i] = v;
        }
    }
    return image;
}

static po_side_image *side(po_arena *arena, double at_x)
{
    po_side_image *image = zeros(arena, 1, sizeof *image);
    uint8_t *px = zeros(arena, SIDE_W * SIDE_H, 1);
    *image = (po_side_image){
        .x0 = at_x - 10, .z0 = 0, .px_x_mm = 0.5, .px_z_mm = 0.4, .width = SIDE_W, .height = SIDE_H, .px = px};
    for (int j = 0; j < SIDE_H; j++) {
        for (int i = 0; i < SIDE_W; i++) {
            double x = (i + 0.5) * 0.5 - 10, z = (j + 0.5) * 0.4, v = 0;
            if (x > 0 && x < 80 && z < 12) {
                v = x < 22 ? 0.95 : 0.4;
            }
            if (x > 0 && x < 22 && z < 46) {
                v = 0.9;
            }
            if (x > 47 && x < 65 && z < 30) {
                v = fmax(v, 0.3);
            }
            if (x >= 22 && x < 40 && z > 33 && z < 36) {
                v = 0.25;
            }
            if (x > 30 && x < 48 && z > 4 && z < 8) {
                v = 0.08;
            }
            px[j * SIDE_W + i] = (uint8_t)lround(v * 255);
        }
    }
    return image;
}

static void shop(po_fixture *f)
{
    f->shop = zeros(f->arena, 1, sizeof *f->shop);
    f->materials[0] = (po_material){.name = "petg",
                                    .density_g_cm3 = 1.27,
                                    .diameter_mm = 1.75,
                                    .nozzle_c = {225, 250},
                                    .cold_below_c = 205,
                                    .bed_c = {70, 85},
                                    .fan_percent = {20, 60},
                                    .glass_c = 80,
                                    .house = true};
    f->materials[1] = (po_material){.name = "asa",
                                    .density_g_cm3 = 1.07,
                                    .diameter_mm = 1.75,
                                    .nozzle_c = {235, 260},
                                    .cold_below_c = 215,
                                    .bed_c = {90, 110},
                                    .fan_percent = {0, 25},
                                    .glass_c = 100};
    static const po_keep_out SCRAPER[] = {{.x = {227, 245}, .y = {193, 205}, .below_z_mm = 15}};
    static const po_nozzle NOZZLE[] = {{.diameter_mm = 0.4, .hottest_c = 265, .melt_mm3_s = 11}};
    f->machines[0] = (po_machine){.name = "Alder",
                                  .bed_mm = {245, 205},
                                  .height_mm = 230,
                                  .keep_outs = SCRAPER,
                                  .n_keep_outs = 1,
                                  .nozzles = NOZZLE,
                                  .n_nozzles = 1,
                                  .bed_hottest_c = 110};
    f->machines[1] = (po_machine){.name = "Elm",
                                  .round_bed = true,
                                  .origin_centre = true,
                                  .bed_mm = {270, 270},
                                  .height_mm = 345,
                                  .home_mm = {0, 0, 345},
                                  .nozzles = NOZZLE,
                                  .n_nozzles = 1,
                                  .bed_hottest_c = 110};
    static const po_span_minutes DAY[] = {{600, 1200}};
    f->shop->name = "Quayside Workshop";
    f->shop->materials = f->materials;
    f->shop->n_materials = 2;
    f->shop->machines = f->machines;
    f->shop->n_machines = 2;
    for (int i = 0; i < 5; i++) {
        f->shop->hours[i] = (po_day_hours){DAY, 1};
    }
}

static void facts(po_fixture *f, double at_x, double at_y)
{
    po_arena *a = f->arena;
    po_tool_facts *tool = zeros(a, 1, sizeof *tool);
    *tool = (po_tool_facts){.tool = 0,
                            .filament_mm = 12345.678,
                            .filament_net_mm = 12340.5,
                            .filament_g = 37.713,
                            .volume_mm3 = 29694.8,
                            .extruding_mm = 310000,
                            .seconds = 9000,
                            .nozzle_c = {240, 235, 240},
                            .peak_flow_mm3_s = 8.4,
                            .sustained_flow_mm3_s = 6.9,
                            .bead_width_mm = 0.44,
                            .layer_height_mm = 0.22,
                            .material = "petg"};
    po_job_part *parts = zeros(a, 2, sizeof *parts);
    parts[0] = (po_job_part){.number = 1,
                             .foothold_mm2 = 2470,
                             .footholds = 1,
                             .x = at_x + 40,
                             .y = at_y + 30,
                             .bounds_mm = {{at_x, at_y, 0}, {at_x + 80, at_y + 60, 46}},
                             .grams = 30,
                             .centre_of_mass_mm = {at_x + 25, at_y + 22, 14},
                             .hull_area_mm2 = 3500,
                             .tip_deg = 48,
                             .tip_accel_mm_s2 = 10900,
                             .longest_edge_mm = 80,
                             .begun_seconds = 300,
                             .done_seconds = 11000};
    parts[0].x = at_x + 14;
    parts[0].y = at_y + 20;
    parts[1] = parts[0];
    parts[1].number = 2;
    parts[1].x = at_x + 56;
    parts[1].y = at_y + 46;
    parts[1].foothold_mm2 = 254;
    po_height_row *rows = zeros(a, 200, sizeof *rows);
    for (int i = 0; i < 200; i++) {
        rows[i] = (po_height_row){.z = 46.0 * (i + 1) / 200,
                                  .filament_mm = 12345.678 * (i + 1) / 200,
                                  .g = 37.713 * (i + 1) / 200,
                                  .seconds = 300 + 11700.0 * (i + 1) / 200};
    }
    po_span3 b = {{at_x, at_y, 0.25}, {at_x + 80, at_y + 60, 46}},
             all = {{at_x - 7, at_y - 11, 0.25}, {at_x + 87, at_y + 67, 46}};
    f->report->facts = (po_job_facts){.bytes = 1834211,
                                      .lines = 61234,
                                      .moves = 60011,
                                      .retractions = 812,
                                      .filament_mm = 12345.678,
                                      .filament_net_mm = 12340.5,
                                      .filament_g = 37.713,
                                      .volume_mm3 = 29694.8,
                                      .tools = tool,
                                      .n_tools = 1,
                                      .seconds = 12000,
                                      .motion_seconds = 11640,
                                      .heat_seconds = 260,
                                      .wait_seconds = 100,
                                      .first_bead_seconds = 371,
                                      .first_layer_seconds = 905,
                                      .layers = 208,
                                      .layer_height_mm = 0.22,
                                      .first_layer_height_mm = 0.25,
                                      .first_layer_mm_s = 20,
                                      .bead_width_mm = 0.44,
                                      .bounds_mm = b,
                                      .bounds_all_mm = all,
                                      .travel_bounds_mm = all,
                                      .nozzle_c = {240, 235, 240},
                                      .bed_c = {NAN, NAN, NAN},
                                      .fan_percent = {0, 0, 45},
                                      .peak_flow_mm3_s = 8.4,
                                      .sustained_flow_mm3_s = 6.9,
                                      .extruding_mm = 310000,
                                      .travel_mm = 84000,
                                      .foothold_mm2 = 2724,
                                      .footholds = 2,
                                      .parts = parts,
                                      .n_parts = 2,
                                      .over_fill_mm = 3120,
                                      .bridge_count = 14,
                                      .longest_bridge_mm = 18.2,
                                      .fill_fraction = 0.2,
                                      .walls = 3,
                                      .roofs = 4,
                                      .floors = 4,
                                      .by_height = rows,
                                      .n_by_height = 200,
                                      .raster_mm = 0.1,
                                      .deposit_done = true,
                                      .last_bed_c = 80,
                                      .end_xyz_mm = {0, 200, 56},
                                      .job_ends = true};
}

static po_finding finding(const char *name, po_grade grade, const char *says, const char *todo, uint64_t count,
                          po_place where, po_place worst, po_sight sight)
{
    return (po_finding){.name = name,
                        .grade = grade,
                        .default_grade = grade,
                        .says = says,
                        .todo = todo,
                        .count = count,
                        .where = where,
                        .worst = worst,
                        .sight = sight};
}

static void findings(po_fixture *f, double ax, double ay)
{
    po_finding *list = zeros(f->arena, 6, sizeof *list);
    po_place air = {true, 40210, ax + 31, ay + 43, 33.25, 8400}, bridge = {true, 9120, ax + 39, ay + 11, 8.17, 2100};
    po_place hang = {true, 20001, ax + 23, ay + 40, 20.05, 5000}, none = {.known = false};
    list[0] = finding(
        "prints-on-air", PO_GRADE_STOP,
        "312 mm of bead lies on nothing, 18 mm of it in one piece: it would fall as a tangle and may be dragged "
        "about by the nozzle.",
        "Give the shelf a support or turn the part, prepare the file anew and check again.", 44, air, air,
        PO_SIGHT_ON_AIR);
    list[1] = finding("leaves-heat-on", PO_GRADE_STOP,
                      "The bed is left at 80 C when the job is over, and nobody is at the desk then.",
                      "Add words that switch the heaters off at the end, or start it so that it ends in desk hours.", 1,
                      (po_place){true, 61234, NAN, NAN, NAN, 12000}, none, PO_SIGHT_LEAVES_BED_ON);
    list[2] = finding("long-bridge", PO_GRADE_ASK, "14 bridges span up to 18.2 mm; this shop lays up to 12 mm freely.",
                      "Accept a sagging underside, or add a rib in the window.", 14, bridge, bridge, PO_SIGHT_BRIDGE);
    list[3] = finding("steep-overhang", PO_GRADE_ASK,
                      "96 mm of bead hangs out more than 45 degrees lets it, the longest stretch 38 mm.",
                      "Look at the underside of the lip: it may curl up and be hit by the nozzle.", 3, hang, hang,
                      PO_SIGHT_OVERHANG);
    list[4] = finding("off-recipe", PO_GRADE_NOTE, "Near the recipe everyday, but with 3 roofs instead of 4.", "", 1,
                      none, none, PO_SIGHT_COUNT);
    list[4].default_grade = PO_GRADE_ASK;
    list[5] = finding("over-fill", PO_GRADE_NOTE, "Roofs over open fill: 3120 mm of bead, ordinary.", "", 1, none, none,
                      PO_SIGHT_COUNT);
    f->proof->findings = list;
    f->proof->n_findings = 6;
    f->proof->verdict = PO_STOP;
    f->report->facts.on_air_mm = 312;
    f->report->facts.overhang_mm = 96;
    static const char *const CHANGED[] = {"This shop grades off-recipe as a note; usually it asks."};
    f->proof->changed_rules = CHANGED;
    f->proof->n_changed_rules = 1;
    f->proof->aloud = "I can't start this one on Alder: part of the shelf would be printed on air, 33 mm up. "
                      "Add a support there, or turn the part, and bring it again.";

    po_layer_image *worst = zeros(f->arena, 3, sizeof *worst);
    worst[0] = *layer(f->arena, SHELF, 33.25, ax, ay);
    worst[1] = *layer(f->arena, BRIDGED, 8.17, ax, ay);
    worst[2] = *layer(f->arena, FILL, 20.05, ax, ay);
    po_flag *flags = zeros(f->arena, 3, sizeof *flags);
    flags[0] = (po_flag){.sight = PO_SIGHT_ON_AIR, .x = ax + 31, .y = ay + 43, .z = 33.25, .value = 18, .line = 40210};
    flags[1] = (po_flag){.sight = PO_SIGHT_BRIDGE, .x = ax + 39, .y = ay + 11, .z = 8.17, .value = 18.2, .line = 9120};
    flags[2] = (po_flag){.sight = PO_SIGHT_OVERHANG, .x = ax + 23, .y = ay + 40, .z = 20, .value = 38, .line = 20001};
    worst[0].flags = flags;
    worst[0].n_flags = 1;
    worst[1].flags = flags + 1;
    worst[1].n_flags = 2;
    worst[2].flags = flags + 2;
    worst[2].n_flags = 1;
    f->report->images.worst = worst;
    f->report->images.n_worst = 3;
}

void po_fixture_init(po_fixture *f, bool stops, bool round, bool start)
{
    memset(f, 0, sizeof *f);
    f->arena = po_arena_new(0);
    assert(f->arena);
    shop(f);
    double ax = round ? -40 : 82, ay = round ? -30 : 70;
    f->report = zeros(f->arena, 1, sizeof *f->report);
    f->proof = zeros(f->arena, 1, sizeof *f->proof);
    f->report->machine = &f->machines[round];
    f->report->materials[0] = &f->materials[0];
    f->report->n_materials = 1;
    memcpy(f->report->sha256, "3b1f9c0d5e77a2468ace13579bdf02468ace0fedcba9876543210fedcba98765", 65);
    facts(f, ax, ay);
    f->report->images.first_layer = layer(f->arena, FIRST, 0.25, ax, ay);
    f->report->images.side = side(f->arena, ax);
    f->proof->report = f->report;
    f->proof->file = "stick-07/wall bracket <left> & \"post\".gcode";
    f->proof->verdict = PO_CLEAR;
    f->proof->aloud =
        "Yes: it takes 12.3 metres and about 3 hours 20 minutes on this machine. Stay until the first layer "
        "is down, at least half an hour.";
    f->proof->filament_mm = (po_range){12345, 12600};
    f->proof->seconds = (po_range){11400, 13200};
    f->proof->ranges_from = "model";
    f->proof->watch_seconds = 1800;
    f->proof->cool_seconds = 936;
    if (stops) {
        findings(f, ax, ay);
    }
    if (start) {
        f->proof->start_known = true;
        f->proof->start = (po_wall_time){{2026, 11, 26}, 17 * 60 + 45};
        f->proof->watch_until = po_wall_add(f->proof->start, 37);
        f->proof->end = po_wall_add(f->proof->start, 200);
        f->proof->cool = po_wall_add(f->proof->start, 216);
    }
}

void po_fixture_done(po_fixture *f)
{
    po_arena_free(f->arena);
    memset(f, 0, sizeof *f);
}
