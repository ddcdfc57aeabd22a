/* Estimates of parts against jobs: the demo's toolpaths for a solid, measured as any job, and the mesh of the same
 * solid, estimated. SPDX-License-Identifier: Apache-2.0
 *
 * The toolpath writer works on signed distances sampled on a grid and shares no code with the library; what it writes
 * is timed by the motion model. Filament has to agree within 3 %, time within 10 % (both ends of a range that one
 * person would not notice in a booking), for all recipes of the shop and two machines with different corner rules.
 * Usage: estimate_jobs SHOP_FILE [SHAPE] */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "estimate_solids.h"
#include "proveout/job.h"
#include "proveout/solid.h"
#include "toolpath.h"

static const double FILAMENT_WITHIN = 0.03, SECONDS_WITHIN = 0.10;

typedef struct bench_row {
    const char *recipe;
    double outer_mm_s; /* of the writer's style: walls on the outside a little slower, as the demo's jobs have it */
} bench_row;
static const bench_row RECIPES[] = {{"quick", 50}, {"everyday", 40}, {"careful", 28}};

static void fail(const char *what, const po_err *err)
{
    char text[400];
    fprintf(stderr, "%s: %s\n", what, po_err_text(err, text, sizeof text));
    exit(5);
}

/* The job of a solid on a machine, by a recipe. */
static void write_job(const solid *s, const po_machine *m, const po_recipe *r, double outer_mm_s, words *w)
{
    dialect d = DIALECT_INIT;
    style st = STYLE_INIT;
    job j = JOB_INIT;
    st.width = r->bead_width_mm;
    st.walls = r->walls;
    st.floors = r->floors;
    st.roofs = r->roofs;
    st.fill_percent = r->fill_percent;
    st.wall_mm_s = r->wall_mm_s;
    st.outer_mm_s = outer_mm_s;
    st.fill_mm_s = r->fill_mm_s;
    st.first_mm_s = r->first_layer_mm_s;
    d.retract_mm = m->retract_mm;
    d.retract_mm_s = m->retract_mm_s;
    j.layer = r->layer_mm;
    j.first_layer = r->first_layer_mm;
    double x = m->origin_centre ? 0 : m->bed_mm[0] / 2, y = m->origin_centre ? 0 : m->bed_mm[1] / 2;
    j.purge_x = m->origin_centre ? -30 : 12;
    j.purge_y = m->origin_centre ? -112 : 4;
    j.park_x = m->origin_centre ? 0 : 6;
    j.park_y = m->origin_centre ? 115 : 190;
    body b = {.solid = s->at,
              .self = s,
              .x = x,
              .y = y,
              .x0 = -s->half[0],
              .y0 = -s->half[1],
              .x1 = s->half[0],
              .y1 = s->half[1],
              .height = s->height,
              .style = &st};
    j.words = &d;
    j.bodies = &b;
    j.n_bodies = 1;
    job_write(&j, w);
}

static bool compare(const po_shop *shop, const char *machine, const solid *s, const bench_row *row)
{
    po_err err;
    po_arena *arena = po_arena_new(0);
    const po_machine *m = po_shop_machine(shop, machine);
    const po_recipe *r = po_shop_recipe(shop, row->recipe);
    const po_material *material = po_shop_house_material(shop);
    if (!arena || !m || !r) {
        fprintf(stderr, "the shop file lacks %s or %s\n", machine, row->recipe);
        exit(5);
    }
    words w = {0};
    write_job(s, m, r, row->outer_mm_s, &w);
    po_source source = {.data = w.text, .n_bytes = w.n};
    po_job_setup setup = {.machine = m, .rules = &shop->rules};
    for (size_t i = 0; i < m->n_nozzles; i++) {
        setup.materials[i] = material;
    }
    po_job_options options = PO_JOB_OPTIONS_INIT;
    options.deposit = options.hash = false;
    const po_job_report *report;
    if (po_job_measure(&source, &setup, 1, &options, arena, &report, &err) != PO_OK) {
        fail("measuring the job", &err);
    }
    po_mesh mesh = solid_mesh(s);
    po_estimate e;
    po_estimate_setup ask = {
        .recipe = r, .machine = m, .material = material, .scale = 1, .fill_percent = NAN, .threads = 0};
    if (po_part_estimate(&mesh, &ask, arena, &e, &err) != PO_OK) {
        fail("estimating the part", &err);
    }
    const po_job_facts *f = &report->facts;
    double filament = e.filament_mm / f->filament_mm - 1, seconds = e.seconds / f->seconds - 1;
    bool inside = f->filament_mm >= e.filament_range_mm.low && f->filament_mm <= e.filament_range_mm.high &&
                  f->seconds >= e.seconds_range.low && f->seconds <= e.seconds_range.high;
    bool good = fabs(filament) <= FILAMENT_WITHIN && fabs(seconds) <= SECONDS_WITHIN && inside;
    double motion = f->motion_seconds;
    printf(
        "%-8s %-7s %-9s filament %7.0f mm, job %7.0f (%+5.2f %%); time %6.0f s, job %6.0f (%+5.2f %%, motion %+5.2f); "
        "travel %+4.0f %%%s\n",
        s->name, machine, row->recipe, e.filament_mm, f->filament_mm, 100 * filament, e.seconds, f->seconds,
        100 * seconds, 100 * ((e.seconds - f->seconds + motion) / motion - 1), 100 * (e.travel_mm / f->travel_mm - 1),
        good     ? ""
        : inside ? "  TOO FAR"
                 : "  OUT OF RANGE");
    free_mesh(&mesh);
    words_done(&w);
    po_arena_free(arena);
    return good;
}

int main(int argc, char **argv)
{
    if (argc < 2) {
        fprintf(stderr, "usage: estimate_jobs SHOP_FILE [SHAPE]\n");
        return 4;
    }
    po_err err;
    po_arena *arena = po_arena_new(0);
    const po_shop *shop;
    po_shop_faults faults;
    if (!arena || po_shop_read_file(argv[1], arena, &shop, &faults, &err) != PO_OK) {
        fail(argv[1], &err);
    }
    size_t passed = 0, failed = 0;
    for (size_t i = 0; i < N_SOLIDS; i++) {
        if (argc > 2 && strcmp(argv[2], SOLIDS[i].name) != 0) {
            continue;
        }
        for (size_t k = 0; k < sizeof RECIPES / sizeof *RECIPES; k++) {
            const char *machine = (i + k) % 2 ? "Elm" : "Alder"; /* corners by step, by deviation */
            bool good = compare(shop, machine, &SOLIDS[i], &RECIPES[k]);
            passed += good;
            failed += !good;
        }
    }
    printf("%zu solids by recipe passed, %zu failed\n", passed, failed);
    po_arena_free(arena);
    return failed || !passed ? 1 : 0;
}
