/* Writes job files with one geometric fault each, named for the finding that they must trip, and one good file for the
 * faults that a change of words makes (tests/faulty_test.py). SPDX-License-Identifier: Apache-2.0
 *
 * Usage: faulty_jobs FOLDER. The list `faults.tsv` gives finding, machine, materials, and a height where it must lie
 * (-1: anywhere). */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "trap_shapes.h"

static const double LEAN_65 = 65, SPAN_22 = 22, PIN_4 = 4, PIN_5 = 5, MAST_7 = 7, BLOCK_44 = 44, BAR_60 = 60,
                    BAR_260 = 260;

typedef struct setup {
    job j;
    dialect d;
    style s;
    body b[4];
} setup;

static setup fresh(solid_fn solid, const void *self, double width, double depth, double height)
{
    setup u = {.j = JOB_INIT, .d = DIALECT_INIT, .s = STYLE_INIT};
    u.b[0] = (body){.solid = solid,
                    .self = self,
                    .x = 122 - width / 2,
                    .y = 102 - depth / 2,
                    .x1 = width,
                    .y1 = depth,
                    .height = height};
    u.j.n_bodies = 1;
    return u;
}

static bool save(const char *folder, FILE *list, const char *name, const char *machine, const char *materials, double z,
                 setup *u)
{
    char file[4096];
    int n = snprintf(file, sizeof file, "%s/%s.gcode", folder, name);
    u->j.words = &u->d;
    u->j.bodies = u->b;
    for (int i = 0; i < u->j.n_bodies; i++) {
        u->b[i].style = &u->s;
    }
    return n > 0 && (size_t)n < sizeof file && job_save(&u->j, file) &&
           fprintf(list, "%s\t%s\t%s\t%g\n", name, machine, materials, z) > 0;
}

int main(int argc, char **argv)
{
    char file[4096];
    if (argc != 2 || (size_t)snprintf(file, sizeof file, "%s/faults.tsv", argv[1]) >= sizeof file) {
        fprintf(stderr, "usage: faulty_jobs FOLDER\n");
        return 4;
    }
    FILE *list = fopen(file, "w");
    if (!list) {
        perror(file);
        return 5;
    }
    const char *out = argv[1];
    bool ok = true;
    setup u;

    u = fresh(trap_bar, &BAR_60, 60, 12, 4.5); /* for faults of words: 21 layers, with walls, fill and roofs */
    ok &= save(out, list, "good", "Alder", "petg", -1, &u);

    u = fresh(trap_cube, NULL, 16, 16, 6);
    u.b[0].x = 245.8 - 16; /* the last 0.8 mm beyond the bed, within reach */
    ok &= save(out, list, "leaves-the-bed", "Alder", "petg", -1, &u);

    u = fresh(trap_cube, NULL, 16, 16, 6);
    u.b[0].x = 222;
    u.b[0].y = 185;
    u.j.skirt_loops = 0;
    ok &= save(out, list, "hits-keep-out", "Alder", "petg", -1, &u);

    u = fresh(NULL, NULL, 30, 30, 232);
    u.b[0].trace = trap_square_tube;
    u.j.layer = 0.3;
    ok &= save(out, list, "too-tall", "Alder", "petg", 230.1, &u);

    u = fresh(trap_hook, NULL, 22, 10, 14);
    ok &= save(out, list, "prints-on-air", "Alder", "petg", 6.2, &u);

    u = fresh(trap_window, &SPAN_22, 34, 10, 11);
    u.s.bridge_degrees = 0;
    ok &= save(out, list, "long-bridge", "Alder", "petg", 8.2, &u);

    u = fresh(trap_lean, &LEAN_65, 33, 14, 8);
    u.s.layer_seconds = 15;
    ok &= save(out, list, "steep-overhang", "Alder", "petg", -1, &u);

    u = fresh(trap_cube, NULL, 16, 16, 8);
    u.s.roofs = 1;
    u.s.fill_percent = 12;
    ok &= save(out, list, "few-roofs", "Alder", "petg", -1, &u);

    u = fresh(trap_tower, &PIN_4, 4, 4, 8);
    u.s.walls = 1;
    ok &= save(out, list, "small-foothold", "Alder", "petg", -1, &u);

    u = fresh(trap_tower, &MAST_7, 7, 7, 90);
    u.s.walls = 2;
    ok &= save(out, list, "tips-over", "Alder", "petg", -1, &u);

    u = fresh(trap_tower, &PIN_5, 5.5, 5.5, 12);
    u.s.layer_seconds = 0.5;
    u.s.wall_mm_s = u.s.outer_mm_s = u.s.fill_mm_s = 90;
    ok &= save(out, list, "layer-too-quick", "Alder", "petg", -1, &u);

    u = fresh(trap_cube, NULL, 16, 16, 8);
    u.j.other_layer = 0.37; /* the last four layers, above 0.8 of the nozzle */
    u.j.other_from = 6.3;
    u.s.layer_seconds = 20;
    ok &= save(out, list, "layer-too-thick", "Alder", "petg", 6.6, &u);

    u = fresh(trap_cube, NULL, 16, 16, 8);
    u.j.layer = 0.45;
    u.j.first_layer = 0.4;
    u.s.width = u.s.first_width = 0.95;
    u.s.walls = 2;
    u.s.layer_seconds = 25;
    ok &= save(out, list, "wrong-nozzle", "Alder", "petg", -1, &u);

    u = fresh(trap_cube, NULL, 16, 16, 5);
    u.j.first_layer = 0.42;
    ok &= save(out, list, "first-layer-too-thick", "Alder", "petg", 0.42, &u);

    u = fresh(trap_cube, NULL, 16, 16, 5);
    u.j.first_layer = 0.06;
    ok &= save(out, list, "first-layer-too-thin", "Alder", "petg", 0.06, &u);

    u = fresh(trap_cube, NULL, 16, 16, 5);
    u.s.first_mm_s = 110;
    u.s.layer_seconds = 3;
    ok &= save(out, list, "first-layer-too-fast", "Alder", "petg", 0.25, &u);

    u = fresh(trap_bar, &BAR_260, 260, 12, 6);
    u.b[0].x = 35;
    u.b[0].y = 140;
    u.j.nozzle_c = 250;
    u.j.bed_c = 100;
    u.j.fan_percent = 10;
    u.j.layer = 0.3;
    u.j.first_layer = 0.3;
    u.s.width = 0.64;
    u.s.first_width = 0.68;
    u.s.walls = 2;
    ok &= save(out, list, "may-lift", "Dogwood", "asa,asa", -1, &u);

    u = fresh(trap_cube, NULL, 16, 16, 6); /* made for a bed with its origin in the centre */
    u.b[0].x = u.b[0].y = -8;
    u.j.purge_x = -30;
    u.j.purge_y = -110;
    u.j.park_x = 0;
    u.j.park_y = 110;
    ok &= save(out, list, "elm-good", "Elm", "petg", -1, &u);

    u = fresh(trap_tower, &BLOCK_44, 44, 44, 42); /* solid: 81 cm3, about 34 m */
    u.s.fill_percent = 100;
    ok &= save(out, list, "over-allowance", "Alder", "petg", -1, &u);

    ok &= fclose(list) == 0;
    return ok ? 0 : 5;
}
