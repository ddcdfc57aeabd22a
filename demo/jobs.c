/* Writes the Quayside Workshop's job files for `make demo`. SPDX-License-Identifier: Apache-2.0
 *
 * Thirteen files: good ones, and one for each of the things that a desk meets in a week. Usage: jobs FOLDER [BEGINNING_OF_A_NAME...]. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "shapes.h"
#include "toolpath.h"

/* An angle bracket: base with two holes, upright with a hole, a gusset that leans at 45 degrees. */
static double bracket(const void *self, double x, double y, double z)
{
    (void)self;
    double d = z < 4 ? shape_box(x, y, 25, 15, 25, 15, 3) : shape_box(x, y, 25, 2.5, 25, 2.5, 1);
    if (z < 4) {
        d = fmax(d, -shape_disc(x, y, 12, 20, 2.2));
        d = fmax(d, -shape_disc(x, y, 38, 20, 2.2));
    } else {
        double deep = 20 - (z - 4); /* the gusset's depth shrinks with height */
        if (deep > 4) {
            d = fmin(d, shape_box(x, y, 25, deep / 2, 2.5, deep / 2, 0.5));
        }
        double dz = z - 17; /* a hole across the upright, round as seen from the front */
        if (fabs(dz) < 2.5) {
            double half = sqrt(2.5 * 2.5 - dz * dz);
            d = fmax(d, -shape_box(x, y, 12, 2.5, half, 9, 0));
            d = fmax(d, -shape_box(x, y, 38, 2.5, half, 9, 0));
        }
    }
    return d;
}

static double box(const void *self, double x, double y, double z)
{
    (void)self;
    double d = shape_box(x, y, 20, 15, 20, 15, 4);
    return z < 1.8 ? d : fmax(d, -shape_box(x, y, 20, 15, 17.6, 12.6, 1.6));
}

static double lid(const void *self, double x, double y, double z)
{
    (void)self;
    if (z < 2) {
        return shape_box(x, y, 20, 15, 20, 15, 4);
    }
    return fmax(shape_box(x, y, 20, 15, 17.3, 12.3, 1.4), -shape_box(x, y, 20, 15, 15.3, 10.3, 1));
}

static double lamp_shade(const void *self, double x, double y, double z)
{
    (void)self;
    return shape_flower(x, y, 0, 0, 20 + 5 * sin(z / 18), 0.06, 9, z / 22);
}

/* Two piers and a deck with a span of 10 mm. */
static double bridge(const void *self, double x, double y, double z)
{
    (void)self;
    double d = shape_box(x, y, 15, 6, 15, 6, 0);
    return z < 11 ? fmax(d, -shape_box(x, y, 15, 6, 5, 9, 0)) : d;
}

static double knob(const void *self, double x, double y, double z)
{
    (void)self;
    double d = shape_flower(x, y, 0, 0, 9, z < 9 ? 0.07 : 0.02, 8, 0);
    return z > 4 ? fmax(d, -shape_disc(x, y, 0, 0, 2.6)) : d;
}

static double block(const void *self, double x, double y, double z)
{
    (void)self;
    (void)z;
    return shape_box(x, y, 38, 38, 38, 38, 6);
}

/* A tag with a raised Q, to be finished in a second colour. */
static double letter_q(double x, double y)
{
    double d = fmax(shape_disc(x, y, 12, 10, 5.4), -shape_disc(x, y, 12, 10, 3.8));
    return fmin(d, shape_stroke(x, y, 13, 8, 17.5, 4.5, 1.6));
}

static double tag(const void *self, double x, double y, double z)
{
    (void)self;
    double d = fmax(shape_box(x, y, 20, 10, 20, 10, 5), -shape_disc(x, y, 34, 10, 2.5));
    return z < 2.2 ? d : letter_q(x, y);
}

static double tag_plate(const void *self, double x, double y, double z)
{
    (void)self;
    (void)z;
    return fmax(shape_box(x, y, 20, 10, 20, 10, 5), -shape_disc(x, y, 34, 10, 2.5));
}

static double tag_letter(const void *self, double x, double y, double z)
{
    (void)self;
    (void)z;
    return letter_q(x, y);
}

/* A hook whose tip hangs down beside the stem: its lowest layers have nothing beneath. */
static double hook(const void *self, double x, double y, double z)
{
    (void)self;
    double d = shape_box(x, y, 6, 6, 6, 6, 1);
    if (z > 10 && z < 20) {
        d = fmin(d, shape_box(x, y, 22, 6, 4, 6, 1));
    }
    return z >= 20 ? shape_box(x, y, 13, 6, 13, 6, 1) : d;
}

/* A plate with a hole and a post (parts.c, shelf_catch), as a mirror shows it: the wrong hand. */
static double catch_mirrored(const void *self, double x, double y, double z)
{
    (void)self;
    if (z < 4) {
        return fmax(shape_box(x, y, 20, 8, 20, 8, 3), -shape_disc(x, y, 7, 4.5, 2.2));
    }
    return shape_disc(x, y, 32, 11, 4);
}

typedef struct place {
    const char *folder;
    char **wanted; /* beginnings of names; none: all */
    int n_wanted;
} place;

static bool save(const place *at, const char *name, const job *j)
{
    char file[4096];
    bool wanted = at->n_wanted == 0;
    for (int i = 0; i < at->n_wanted; i++) {
        wanted = wanted || strncmp(name, at->wanted[i], strlen(at->wanted[i])) == 0;
    }
    int n = snprintf(file, sizeof file, "%s/%s", at->folder, name);
    return !wanted || (n > 0 && (size_t)n < sizeof file && job_save(j, file));
}

int main(int argc, char **argv)
{
    if (argc < 2) {
        fprintf(stderr, "usage: jobs FOLDER [BEGINNING_OF_A_NAME...]\n");
        return 4;
    }
    const place out = {argv[1], argv + 2, argc - 2};
    bool ok = true;
    const dialect plain = DIALECT_INIT;
    dialect round_words = DIALECT_INIT, absolute = DIALECT_INIT, tools = DIALECT_INIT;
    round_words.arcs = true;
    round_words.hop_mm = 0.2;
    round_words.heat = HEAT_AFTER_HOME;
    round_words.end = END_RELATIVE_LIFT;
    absolute.e_absolute = true;
    absolute.reset_e_every = 1;
    absolute.firmware_retract = true;
    absolute.numbered = true;
    absolute.comments = 0;
    tools.hop_mm = 0.4;
    tools.messages = true;

    const style everyday = STYLE_INIT;
    style quick = STYLE_INIT, spanning = STYLE_INIT, shade = STYLE_INIT, wide = STYLE_INIT, badge = STYLE_INIT;
    quick.width = 0.46;
    quick.walls = 2;
    quick.floors = quick.roofs = 3;
    quick.fill_percent = 40;
    quick.wall_mm_s = 60;
    quick.outer_mm_s = 50;
    quick.fill_mm_s = 70;
    spanning.bridge_degrees = 0;
    shade.spiral = true;
    shade.walls = 2;
    shade.fill_percent = 0;
    shade.outer_mm_s = 38;
    wide.width = 0.64;
    wide.first_width = 0.68;
    wide.walls = 2;
    badge.fill_percent = 100;

    body b[6];
    job j = JOB_INIT;

    b[0] = (body){.solid = bracket, .x = 95, .y = 85, .x1 = 50, .y1 = 30, .height = 30, .style = &everyday};
    j.words = &round_words;
    j.bodies = b;
    j.n_bodies = 1;
    ok &= save(&out, "01-bracket.gcode", &j);
    j.stop_share = 0.62;
    ok &= save(&out, "07-cut-short.gcode", &j);
    j.stop_share = 0;
    j.words = &plain;
    j.extra_start = "M92 E415\nM301 P22 I1.8 D70\nM500";
    ok &= save(&out, "08-stores-settings.gcode", &j);

    j = (job)JOB_INIT;
    j.words = &absolute;
    b[0] = (body){.solid = box, .x = 70, .y = 85, .x1 = 40, .y1 = 30, .height = 18, .style = &everyday};
    b[1] = (body){.solid = lid, .x = 122, .y = 85, .x1 = 40, .y1 = 30, .height = 4, .style = &everyday};
    j.bodies = b;
    j.n_bodies = 2;
    j.skirt_loops = 2;
    j.purge = PURGE_TWICE;
    ok &= save(&out, "02-box-with-lid.gcode", &j);

    j = (job)JOB_INIT;
    j.words = &plain;
    j.nozzle_c = 210;
    j.bed_c = 55;
    j.fan_percent = 100;
    b[0] = (body){.solid = lamp_shade,
                  .x = 120,
                  .y = 100,
                  .x0 = -28,
                  .y0 = -28,
                  .x1 = 28,
                  .y1 = 28,
                  .height = 60,
                  .style = &shade};
    j.bodies = b;
    j.n_bodies = 1;
    ok &= save(&out, "03-lamp-shade-pla.gcode", &j);

    j = (job)JOB_INIT;
    j.words = &plain;
    b[0] = (body){.solid = bridge, .x = 105, .y = 95, .x1 = 30, .y1 = 12, .height = 15, .style = &spanning};
    j.bodies = b;
    j.n_bodies = 1;
    j.purge = PURGE_HIGH;
    ok &= save(&out, "04-bridge.gcode", &j);

    j = (job)JOB_INIT;
    j.words = &round_words;
    for (int i = 0; i < 4; i++) {
        b[i] = (body){.solid = knob,
                      .x = 60 + 40.0 * i,
                      .y = 100,
                      .x0 = -10,
                      .y0 = -10,
                      .x1 = 10,
                      .y1 = 10,
                      .height = 14,
                      .style = &everyday};
    }
    j.bodies = b;
    j.n_bodies = 4;
    j.in_turn = true;
    ok &= save(&out, "05-knobs-in-turn.gcode", &j);

    j = (job)JOB_INIT;
    j.words = &plain;
    b[0] = (body){.solid = bracket, .x = -25, .y = -15, .x1 = 50, .y1 = 30, .height = 30, .style = &everyday};
    j.bodies = b;
    j.n_bodies = 1;
    j.purge_x = -30;
    j.purge_y = -110;
    j.park_x = 0;
    j.park_y = 110;
    ok &= save(&out, "06-bracket-for-elm.gcode", &j);

    j = (job)JOB_INIT;
    j.words = &plain;
    j.layer = 0.3;
    j.first_layer = 0.28;
    b[0] = (body){.solid = block, .x = 80, .y = 70, .x1 = 76, .y1 = 76, .height = 38, .style = &quick};
    j.bodies = b;
    j.n_bodies = 1;
    ok &= save(&out, "09-plinth-over-allowance.gcode", &j);

    j = (job)JOB_INIT;
    j.words = &tools;
    b[0] = (body){.solid = tag, .x = 100, .y = 95, .x1 = 40, .y1 = 20, .height = 3.2, .style = &badge};
    j.bodies = b;
    j.n_bodies = 1;
    j.pause_layer = 10;
    ok &= save(&out, "10-tag-two-colours.gcode", &j);

    j = (job)JOB_INIT;
    j.words = &plain;
    b[0] = (body){.solid = hook, .x = 110, .y = 95, .x1 = 26, .y1 = 12, .height = 25, .style = &everyday};
    j.bodies = b;
    j.n_bodies = 1;
    ok &= save(&out, "11-hook-on-air.gcode", &j);

    j = (job)JOB_INIT;
    j.words = &tools;
    j.nozzle_c = 240;
    j.nozzle_c2 = 235;
    b[0] = (body){.solid = tag_plate, .x = 140, .y = 120, .x1 = 40, .y1 = 20, .height = 2.2, .style = &wide};
    b[1] = (body){.solid = tag_letter,
                  .x = 140,
                  .y = 120,
                  .x1 = 40,
                  .y1 = 20,
                  .base = 2.2,
                  .height = 3.2,
                  .style = &badge,
                  .tool = 1};
    j.bodies = b;
    j.n_bodies = 2;
    ok &= save(&out, "12-tag-two-materials.gcode", &j);

    j = (job)JOB_INIT;
    j.words = &plain;
    b[0] = (body){.solid = catch_mirrored, .x = 100, .y = 95, .x1 = 40, .y1 = 16, .height = 16, .style = &everyday};
    j.bodies = b;
    j.n_bodies = 1;
    ok &= save(&out, "13-catch-mirrored.gcode", &j);
    return ok ? 0 : 5;
}
