/* Writes many ordinary, good job files: every one must prove out with nothing above a note.
 * SPDX-License-Identifier: Apache-2.0
 *
 * Each shape is a trap for a tool that cries wolf (a roof over sparse fill, a counterbore, a support's gap, ...), each way
 * another (skirts, ramped starts, inch, checksums, ...). Every shape meets a few ways, every way a few shapes. Files and a
 * list `manifest.tsv` (file, machine, materials) go into the folder given. Usage: ordinary_jobs FOLDER */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "trap_shapes.h"

typedef struct setup {
    job j;
    dialect d;
    style s, aid;
    body b[6];
    const char *machine, *materials;
    double middle_x, middle_y;
} setup;

static const double LEAN_40 = 40, LEAN_44 = 44, WINDOW_MM = 8, TOWER_MM = 8, BAR_MM = 60;

/* ---- ways ---- */

static void way_plain(setup *u)
{
    (void)u;
}

static void way_absolute(setup *u)
{
    u->d.e_absolute = true;
    u->d.reset_e_every = 1;
    u->d.comments = 3;
}

static void way_arcs(setup *u)
{
    u->d.arcs = true;
    u->d.hop_mm = 0.3;
    u->j.skirt_loops = 2;
}

static void way_drive_by_word(setup *u)
{
    u->d.firmware_retract = true;
    u->d.crlf = true;
    u->d.blank_lines = true;
}

static void way_numbered(setup *u)
{
    u->d.numbered = true;
    u->d.heat = HEAT_IN_TURN;
    u->d.e_absolute = true;
}

static void way_inch(setup *u)
{
    u->d.inch = true;
    u->d.e_absolute = true;
    u->d.comments = 2;
}

static void way_inch_arcs(setup *u)
{
    u->d.inch = true;
    u->d.arcs = true;
    u->d.end = END_RELATIVE_LIFT;
}

static void way_brim(setup *u)
{
    u->j.brim_loops = 6;
    u->j.skirt_loops = 0;
    u->j.purge = PURGE_HIGH;
}

static void way_draft_wall(setup *u)
{
    u->j.skirt_layers = 10000;
    u->j.skirt_gap = 6;
}

static void way_ramped(setup *u)
{
    u->s.ramp_mm = 8;
    u->d.reset_e_every = 3;
}

static void way_smooth(setup *u)
{
    u->s.smooth_roofs = true;
    u->j.purge = PURGE_TWICE;
}

static void way_two_heights(setup *u)
{
    u->j.other_layer = 0.16;
    u->j.other_from = 2.8;
}

static void way_tool_words(setup *u)
{
    u->d.heat = HEAT_BY_TOOL;
    u->d.end = END_TOOL_WORDS;
}

/* M83 before G90, and said again later: both readings of G90 then agree. */
static void way_m83_first(setup *u)
{
    u->d.m83_before_g90 = true;
    u->d.heat = HEAT_AFTER_HOME;
    u->j.extra_start = "M83";
}

static void way_packed(setup *u)
{
    u->d.lower_case = true;
    u->d.packed = true;
    u->d.comments = 2;
}

static void way_grid(setup *u)
{
    u->s.fill = FILL_GRID;
    u->s.outer_first = true;
}

static void way_rings(setup *u)
{
    u->s.fill = FILL_RINGS;
    u->d.hop_mm = 0.2;
}

static void way_light(setup *u)
{
    u->s.fill_percent = 8;
    u->s.roofs = 5;
    u->s.walls = 2;
}

static void way_talkative(setup *u)
{
    u->d.progress = true;
    u->d.messages = true;
    u->d.end = END_LONG;
    u->j.extra_start = "M17\nT0\nM82\nM83\nG92 E0\nM220 S100\nM221 S100\nM204 P1000 R2000 T1500\nM400";
}

static void way_elm_pla(setup *u)
{
    u->machine = "Elm";
    u->materials = "pla";
    u->d.retract_mm = 2.5;
    u->d.retract_mm_s = 50;
}

static void way_elm_arcs(setup *u)
{
    u->machine = "Elm";
    u->d.arcs = true;
    u->d.firmware_retract = true;
}

static void way_wide(setup *u)
{
    u->machine = "Dogwood";
    u->materials = "petg,petg";
}

static void way_asa(setup *u)
{
    u->machine = "Dogwood";
    u->materials = "asa,asa";
    u->d.e_absolute = true;
}

static void way_tpu(setup *u)
{
    u->machine = "Cedar";
    u->materials = "tpu";
}

static void way_pla(setup *u)
{
    u->materials = "pla";
    u->d.heat = HEAT_AFTER_HOME;
}

static void way_solid(setup *u)
{
    u->s.fill_percent = 100;
    u->s.walls = 2;
}

static void way_careful(setup *u)
{
    u->j.layer = 0.15;
    u->j.first_layer = 0.22;
    u->s.walls = 4;
    u->s.floors = u->s.roofs = 6;
    u->s.fill_percent = 30;
    u->s.wall_mm_s = 32;
    u->s.outer_mm_s = 28;
    u->s.fill_mm_s = 45;
    u->s.first_mm_s = 18;
    u->j.purge = PURGE_OFF_BED;
}

static void way_quick(setup *u)
{
    u->j.layer = 0.3;
    u->j.first_layer = 0.28;
    u->s.width = 0.46;
    u->s.walls = 2;
    u->s.floors = u->s.roofs = 3;
    u->s.fill_percent = 12;
    u->s.wall_mm_s = 60;
    u->s.outer_mm_s = 50;
    u->s.fill_mm_s = 80;
}

static void way_bare(setup *u)
{
    u->j.purge = PURGE_NONE;
    u->j.skirt_loops = 0;
    u->d.comments = 0;
    u->d.end = END_HOME_X;
}

static void way_three_skirts(setup *u)
{
    u->j.skirt_loops = 3;
    u->j.skirt_layers = 2;
    u->j.purge = PURGE_TWICE;
}

static void way_no_probe(setup *u)
{
    u->j.probe = false;
}

/* ---- shapes ---- */

static body *add(setup *u, solid_fn solid, const void *self, double width, double depth, double height)
{
    body *b = &u->b[u->j.n_bodies++];
    *b = (body){.solid = solid,
                .self = self,
                .x = -width / 2,
                .y = -depth / 2,
                .x1 = width,
                .y1 = depth,
                .height = height,
                .style = &u->s};
    return b;
}

static void shape_cube(setup *u)
{
    add(u, trap_cube, NULL, 16, 16, 8);
}

static void shape_ring(setup *u)
{
    add(u, trap_ring, NULL, 18, 18, 8);
}

static void shape_counterbore(setup *u)
{
    add(u, trap_counterbore, NULL, 30, 20, 5);
}

static void shape_lean(setup *u)
{
    add(u, trap_lean, &LEAN_40, 24, 14, 8)->x = -12;
}

static void shape_lean_more(setup *u)
{
    add(u, trap_lean, &LEAN_44, 23, 14, 6);
}

static void shape_chamfer(setup *u)
{
    add(u, trap_chamfer, NULL, 20, 14, 9);
}

static void shape_text(setup *u)
{
    add(u, trap_text, NULL, 34, 16, 3.1);
}

static void shape_cross_hole(setup *u)
{
    add(u, trap_cross_hole, NULL, 16, 12, 14);
}

static void shape_window(setup *u)
{
    u->s.bridge_degrees = 0;
    add(u, trap_window, &WINDOW_MM, 20, 10, 11);
}

static void shape_thin_box(setup *u)
{
    u->s.walls = 1;
    add(u, trap_thin_box, NULL, 24, 18, 9);
}

static void shape_wave_wall(setup *u)
{
    body *b = add(u, NULL, NULL, 60, 10, 8);
    b->trace = trap_wave_wall;
}

static void shape_vase(setup *u)
{
    body *b = add(u, trap_flower, NULL, 0, 0, 16);
    b->x = b->y = 0;
    b->x0 = b->y0 = -16;
    b->x1 = b->y1 = 16;
    u->s.spiral = true;
    u->s.walls = 2;
    u->s.fill_percent = 0;
}

static void make_aid(setup *u, body *b)
{
    u->aid = u->s;
    u->aid.walls = 2;
    u->aid.floors = u->aid.roofs = 0;
    u->aid.fill_percent = 25;
    u->aid.ramp_mm = 0;
    u->aid.smooth_roofs = false;
    b->style = &u->aid;
}

/* A cap on a sparse support, whose lines run across those of the cap's underside. */
static void shape_mushroom(setup *u)
{
    bool one = u->j.layer > 0.22; /* a gap of one layer, or of two */
    make_aid(u, add(u, trap_mushroom_aid, NULL, 20, 20, 8 - (one ? 1 : 2) * u->j.layer));
    u->aid.turn_degrees = one ? 90 : 0;
    u->b[0].x0 = u->b[0].y0 = -1;
    u->b[0].x1 = u->b[0].y1 = 21;
    add(u, trap_mushroom, NULL, 20, 20, 11);
}

/* The same on a support that closes with two solid layers. */
static void shape_closed_aid(setup *u)
{
    shape_mushroom(u);
    u->aid.roofs = 2;
    u->aid.fill_percent = 15;
}

static void shape_branches(setup *u)
{
    make_aid(u, add(u, trap_branch, NULL, 24, 14, 8 - u->j.layer));
    add(u, trap_table, NULL, 24, 14, 10);
}

static void shape_in_turn(setup *u)
{
    u->j.in_turn = true;
    for (int i = 0; i < 3; i++) {
        add(u, i == 1 ? trap_ring : trap_cube, NULL, 18, 18, 6)->x += 40 * (i - 1);
    }
}

static void shape_pair(setup *u)
{
    add(u, trap_cube, NULL, 16, 16, 5)->x -= 13;
    add(u, trap_ring, NULL, 18, 18, 8)->x += 13;
}

static void shape_gear(setup *u)
{
    add(u, trap_gear, NULL, 22, 22, 5);
}

static void shape_dome(setup *u)
{
    add(u, trap_dome, NULL, 22, 22, 4.6);
}

static void shape_stairs(setup *u)
{
    add(u, trap_stairs, NULL, 24, 12, 9);
}

static void shape_cone(setup *u)
{
    add(u, trap_cone, NULL, 18, 18, 14);
}

static void shape_tower(setup *u)
{
    u->s.walls = 2;
    add(u, trap_tower, &TOWER_MM, 8, 8, 24);
}

static void shape_funnel(setup *u)
{
    add(u, trap_funnel, NULL, 28, 28, 8);
}

static void shape_bar(setup *u)
{
    add(u, trap_bar, &BAR_MM, 60, 12, 3);
}

typedef struct named {
    const char *name;
    void (*set)(setup *);
} named;

#define ROW(kind, name)                                                                                                \
    {                                                                                                                  \
#name, kind##_##name                                                                                           \
    }
static const named WAYS[] = {
    ROW(way, plain),    ROW(way, absolute),    ROW(way, arcs),       ROW(way, drive_by_word), ROW(way, numbered),
    ROW(way, inch),     ROW(way, inch_arcs),   ROW(way, brim),       ROW(way, draft_wall),    ROW(way, ramped),
    ROW(way, smooth),   ROW(way, two_heights), ROW(way, tool_words), ROW(way, m83_first),     ROW(way, packed),
    ROW(way, grid),     ROW(way, rings),       ROW(way, light),      ROW(way, talkative),     ROW(way, elm_pla),
    ROW(way, elm_arcs), ROW(way, wide),        ROW(way, asa),        ROW(way, tpu),           ROW(way, pla),
    ROW(way, solid),    ROW(way, careful),     ROW(way, quick),      ROW(way, bare),          ROW(way, three_skirts),
    ROW(way, no_probe),
};
static const named SHAPES[] = {
    ROW(shape, cube),      ROW(shape, ring),  ROW(shape, counterbore), ROW(shape, lean),       ROW(shape, lean_more),
    ROW(shape, chamfer),   ROW(shape, text),  ROW(shape, cross_hole),  ROW(shape, window),     ROW(shape, thin_box),
    ROW(shape, wave_wall), ROW(shape, vase),  ROW(shape, mushroom),    ROW(shape, closed_aid), ROW(shape, branches),
    ROW(shape, in_turn),   ROW(shape, pair),  ROW(shape, gear),        ROW(shape, dome),       ROW(shape, stairs),
    ROW(shape, cone),      ROW(shape, tower), ROW(shape, funnel),      ROW(shape, bar),
};
enum { N_WAYS = sizeof WAYS / sizeof *WAYS, N_SHAPES = sizeof SHAPES / sizeof *SHAPES, PER_SHAPE = 4 };

/* What a machine and a material want, set after the way has chosen them. */
static void suit(setup *u)
{
    bool dogwood = strcmp(u->machine, "Dogwood") == 0, elm = strcmp(u->machine, "Elm") == 0;
    u->middle_x = dogwood ? 165 : elm ? 0 : 122;
    u->middle_y = dogwood ? 145 : elm ? 0 : 102;
    u->j.purge_x = elm ? -30 : 12;
    u->j.purge_y = elm ? -112 : u->j.purge == PURGE_OFF_BED ? -3 : 4;
    u->j.park_x = elm ? 0 : 6;
    u->j.park_y = elm ? 115 : 190;
    if (strncmp(u->materials, "pla", 3) == 0) {
        u->j.nozzle_c = 208;
        u->j.bed_c = 55;
        u->j.fan_percent = 100;
        u->j.fan_from = 1;
    } else if (strncmp(u->materials, "asa", 3) == 0) {
        u->j.nozzle_c = 250;
        u->j.bed_c = 100;
        u->j.fan_percent = 15;
    } else if (strncmp(u->materials, "tpu", 3) == 0) {
        u->j.nozzle_c = 228;
        u->j.bed_c = 45;
        u->j.fan_percent = 50;
        u->s.wall_mm_s = u->s.outer_mm_s = u->s.fill_mm_s = 25;
    }
    if (dogwood) {
        u->j.layer = 0.3;
        u->j.first_layer = 0.3;
        u->s.width = 0.64;
        u->s.first_width = 0.68;
        u->s.walls = u->s.walls > 2 ? 2 : u->s.walls;
        u->s.floors = u->s.roofs = 3;
    }
}

static bool write_one(const char *folder, FILE *list, int number, const named *shape, const named *way)
{
    setup u = {.j = JOB_INIT, .d = DIALECT_INIT, .s = STYLE_INIT, .machine = "Alder", .materials = "petg"};
    char name[128], file[4096];
    way->set(&u);
    suit(&u);
    shape->set(&u);
    u.j.words = &u.d;
    u.j.bodies = u.b;
    for (int i = 0; i < u.j.n_bodies; i++) {
        u.b[i].x += u.middle_x;
        u.b[i].y += u.middle_y;
    }
    snprintf(name, sizeof name, "%02d_%s_%s.gcode", number, shape->name, way->name);
    int n = snprintf(file, sizeof file, "%s/%s", folder, name);
    if (n < 0 || (size_t)n >= sizeof file || !job_save(&u.j, file)) {
        return false;
    }
    return fprintf(list, "%s\t%s\t%s\n", name, u.machine, u.materials) > 0;
}

int main(int argc, char **argv)
{
    if (argc != 2) {
        fprintf(stderr, "usage: ordinary_jobs FOLDER\n");
        return 4;
    }
    char file[4096];
    int n = snprintf(file, sizeof file, "%s/manifest.tsv", argv[1]);
    FILE *list = n > 0 && (size_t)n < sizeof file ? fopen(file, "w") : NULL;
    if (!list) {
        perror(file);
        return 5;
    }
    bool ok = true;
    int number = 0;
    for (int s = 0; s < N_SHAPES; s++) {
        for (int i = 0, w = s * 7 % N_WAYS; i < PER_SHAPE; i++, w = (w + 11) % N_WAYS) {
            bool needs_head = SHAPES[s].set ==
                              shape_in_turn; /* Elm's head has no outline in the shop file: it may only ask */
            const named *way = &WAYS[w];
            if (needs_head && (way->set == way_elm_pla || way->set == way_elm_arcs || way->set == way_draft_wall)) {
                continue;
            }
            if (SHAPES[s].set == shape_wave_wall && (way->set == way_brim || way->set == way_rings)) {
                continue;
            }
            ok &= write_one(argv[1], list, ++number, &SHAPES[s], way);
        }
    }
    ok &= fclose(list) == 0;
    return ok ? 0 : 5;
}
