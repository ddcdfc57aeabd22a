/* The demo's jobs measured on the demo's machines, for the book. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "proveout/proof.h"
#include "seed.h"

enum { ROWS_MOST = 100, TEXT_MOST = 16000 };

static const struct {
    const char *file;
    bool pla;
} jobs[JOBS] = {
    {"01-bracket.gcode", false},
    {"02-box-with-lid.gcode", false},
    {"03-lamp-shade-pla.gcode", true},
    {"04-bridge.gcode", false},
    {"05-knobs-in-turn.gcode", false},
    {"06-bracket-for-elm.gcode", false},
    {"09-plinth-over-allowance.gcode", false},
    {"12-tag-two-materials.gcode", false},
    {"13-catch-mirrored.gcode", false},
};

bool seed_is_pla(int job)
{
    return jobs[job].pla;
}

bool seed_goes_on(int job, int machine)
{
    static const char *const on[JOBS] = {"ABCD", "ABCD", "ABC", "ABC", "ABCD", "E", "ABCD", "D", "ABC"};
    return strchr(on[job], 'A' + machine) != NULL;
}

static int64_t whole(double v)
{
    return v > 0 ? (int64_t)(v + 0.5) : 0;
}

typedef struct text {
    char *at;
    size_t n;
} text;

static void add(text *t, const char *format, ...) PO_PRINTF(2, 3);
static void add(text *t, const char *format, ...)
{
    va_list values;
    va_start(values, format);
    int n = vsnprintf(t->at + t->n, TEXT_MOST - t->n, format, values);
    va_end(values);
    t->n += n > 0 && (size_t)n < TEXT_MOST - t->n ? (size_t)n : 0;
}

/* Height, filament and time, rising, as thin as they can be. */
static void add_heights(text *t, const po_job_facts *f, po_arena *arena)
{
    size_t *kept = po_arena_zeros(arena, f->n_by_height + 1, sizeof *kept);
    size_t n = kept ? po_height_rows_thin(f->by_height, f->n_by_height, 0.002, ROWS_MOST, kept) : 0;
    int64_t last[3] = {0, 0, whole(f->first_bead_seconds)};
    add(t, ",\"by_height\":[[0,0,%lld]", (long long)last[2]);
    for (size_t i = 0; i < n; i++) {
        const po_height_row *row = &f->by_height[kept[i]];
        int64_t z = whole(row->z * 1000), um = whole(row->filament_mm * 1000), s = whole(row->seconds);
        if (z > last[0] && um >= last[1] && s >= last[2]) {
            add(t, ",[%lld,%lld,%lld]", (long long)z, (long long)um, (long long)s);
            last[0] = z;
            last[1] = um;
            last[2] = s;
        }
    }
    add(t, "]");
}

static bool keep(const po_shop *shop, const po_proof *proof, po_arena *arena, seed_proof *ret)
{
    const po_job_report *r = proof->report;
    const po_job_facts *f = &r->facts;
    text t = {po_arena_zeros(arena, TEXT_MOST, 1), 0};
    if (!t.at) {
        return false;
    }
    double layer = shop->rules.watch_first_layer ? f->first_layer_seconds - f->first_bead_seconds : 0;
    double watch = shop->rules.watch_minutes * 60;
    ret->recipe = proof->recipe ? proof->recipe->name : NULL;
    ret->verdict = po_verdict_name(proof->verdict);
    ret->um = whole(f->filament_mm * 1000);
    ret->mg = whole(f->filament_g * 1000);
    ret->seconds = whole(f->seconds);
    ret->first_bead_s = whole(f->first_bead_seconds);
    ret->watch_s = whole(layer > watch ? layer : watch);
    ret->height_um = f->n_by_height ? whole(f->by_height[f->n_by_height - 1].z * 1000) : 0;
    memcpy(ret->sha256, r->sha256, sizeof ret->sha256);
    add(&t,
        "{\"sha256\":\"%s\",\"machine\":\"%s\",\"verdict\":\"%s\",\"um\":%lld,\"mg\":%lld,\"seconds\":%lld,"
        "\"file\":\"%s\"",
        ret->sha256, r->machine->name, ret->verdict, (long long)ret->um, (long long)ret->mg, (long long)ret->seconds,
        ret->file);
    if (ret->recipe) {
        add(&t, ",\"recipe\":\"%s\"", ret->recipe);
    }
    add(&t, ",\"first_bead_seconds\":%lld,\"first_layer_seconds\":%lld,\"height_um\":%lld,\"materials\":[",
        (long long)ret->first_bead_s, (long long)whole(f->first_layer_seconds), (long long)ret->height_um);
    for (size_t i = 0; i < r->n_materials; i++) {
        add(&t, "%s\"%s\"", i ? "," : "", r->materials[i]->name);
    }
    add(&t, "],\"findings\":[");
    for (size_t i = 0; i < proof->n_findings; i++) {
        add(&t, "%s\"%s\"", i ? "," : "", proof->findings[i].name);
    }
    add(&t, "]");
    add_heights(&t, f, arena);
    add(&t, "}");
    ret->body = t.at;
    return true;
}

bool seed_measure(const po_shop *shop, const char *folder, po_arena *arena, seed_proof ret[JOBS][MACHINES])
{
    for (int j = 0; j < JOBS; j++) {
        po_job_setup setups[MACHINES] = {0};
        const po_job_report *reports[MACHINES];
        size_t n = 0;
        const po_material *material = po_shop_material(shop, jobs[j].pla ? "pla" : "petg");
        for (int m = 0; m < MACHINES; m++) {
            if (seed_goes_on(j, m)) {
                setups[n] = (po_job_setup){.machine = &shop->machines[m], .rules = &shop->rules};
                for (size_t i = 0; i < PO_MAX_TOOLS; i++) {
                    setups[n].materials[i] = material;
                }
                n++;
            }
        }
        const char *path = po_arena_printf(arena, "%s/%s", folder, jobs[j].file);
        po_source source = {.path = path};
        po_job_options options = PO_JOB_OPTIONS_INIT;
        po_err err = {0};
        po_status s = path ? po_job_measure(&source, setups, n, &options, arena, reports, &err) : PO_E_NOMEM;
        for (size_t i = 0; s == PO_OK && i < n; i++) {
            po_proof_context context = {.shop = shop, .spool_g = NAN, .allowance_left_m = NAN};
            const po_proof *proof = NULL;
            seed_proof *one = &ret[j][setups[i].machine - shop->machines];
            s = po_proof_job(reports[i], jobs[j].file, &context, arena, &proof, &err);
            one->file = jobs[j].file;
            if (s == PO_OK && !keep(shop, proof, arena, one)) {
                s = po_fail(&err, PO_E_NOMEM, "memory ran out");
            }
        }
        if (s != PO_OK) {
            fprintf(stderr, "seed: %s: %s; demo_jobs writes the jobs\n", path ? path : folder, err.msg);
            return false;
        }
    }
    return true;
}
