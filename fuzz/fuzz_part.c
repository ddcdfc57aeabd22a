/* A part from bytes to slip, on two very small machines. SPDX-License-Identifier: Apache-2.0
 * Promises: every byte string ends in facts or in a clear error; facts are numbers and agree with each other; places lie
 * in the file's own coordinates; the verdict is the worst grade found; the JSON is JSON, and the same whatever the number
 * of threads. Large parts are left to other targets: what is searched here is odd ones. */
#include <jansson.h>
#include <math.h>
#include <string.h>

#include "proveout/slip.h"
#include "small_shop.h"

enum { MOST_TRIANGLES = 600, POSES_BELOW = 120, MOST_ITEMS = 12 };
static const double MOST_MM = 200; /* an estimate of more takes too long to search with */

static uint64_t triangles_of(const po_part *part)
{
    uint64_t sum = 0;
    for (size_t i = 0; i < part->n_items; i++) {
        sum += part->objects[part->items[i].object].mesh.n_triangles;
    }
    return sum;
}

static bool is_small(const po_part *part)
{
    if (triangles_of(part) > MOST_TRIANGLES || part->n_items > MOST_ITEMS) {
        return false;
    }
    for (size_t i = 0; i < part->n_items; i++) {
        const po_mesh *mesh = &part->objects[part->items[i].object].mesh;
        double factor = 0;
        for (int k = 0; k < 9; k++) {
            factor = fmax(factor, fabs(part->items[i].matrix[k]));
        }
        double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
        for (size_t v = 0; v < 3 * mesh->n_vertices; v++) {
            low[v % 3] = fmin(low[v % 3], mesh->xyz[v]);
            high[v % 3] = fmax(high[v % 3], mesh->xyz[v]);
        }
        for (int k = 0; k < 3; k++) {
            double side = (high[k] - low[k]) * factor;
            if (side > MOST_MM && side < 1e5) { /* absurd sizes must end quickly as well */
                return false;
            }
        }
    }
    return true;
}

static void check_report(const po_part_report *r)
{
    const po_part_totals *t = &r->totals;
    uint64_t items = 0, triangles = 0;
    for (size_t i = 0; i < r->n_solids; i++) {
        const po_solid *s = &r->solids[i];
        items += s->times;
        triangles += s->times * s->facts.triangles;
        PROMISE(s->times > 0 && s->mesh && s->judged && s->facts.judged);
        PROMISE(!s->closed || s->facts.open_edges == 0);
        PROMISE(!s->poses || (s->n_poses > 0 && s->as_is < s->n_poses));
        PROMISE(s->cuts_within <= s->cuts.n_first && s->uneven_edges <= s->facts.crowded_edges);
        PROMISE(isnan(s->sheet_share) || (s->sheet_share >= 0 && s->sheet_share < 1 + 1e-6));
        for (size_t m = 0; s->fits && m < r->shop->n_machines; m++) {
            PROMISE(s->fits[m].machine == &r->shop->machines[m] && (!s->fits[m].as_is || s->fits[m].turned));
            PROMISE(s->fits[m].pose < (int)s->n_poses);
        }
        PROMISE(!s->walls_done || s->walls.thin_sheet_mm2 <= s->walls.thin_wall_mm2 * (1 + 1e-9) + 1e-9);
    }
    PROMISE(items == r->n_items && triangles == t->triangles);
    PROMISE(r->unit_factor > 0 && (r->unit_factor == 1) == (r->unit_guess == NULL));
    PROMISE(isnan(r->allowance_scale) || (r->allowance_scale > 0 && r->allowance_scale <= 1));
    for (size_t i = 0; i < r->shop->n_recipes; i++) {
        const po_estimate *e = &r->estimates[i];
        PROMISE(e->recipe == &r->shop->recipes[i]);
        PROMISE(isnan(e->filament_mm) || (e->filament_mm >= 0 && isfinite(e->filament_mm) && e->seconds >= 0));
    }
}

static void check_proof(const po_part_proof *proof, po_arena *arena)
{
    po_err err;
    po_verdict worst = PO_CLEAR;
    for (size_t k = 0; k < proof->n_findings; k++) {
        const po_finding *f = &proof->findings[k];
        const po_rule_info *rule = po_rule_find(f->name);
        PROMISE(rule && rule->kind & PO_RULE_PART && f->says[0] && f->todo[0] && f->count > 0);
        PROMISE(f->solid == UINT32_MAX || f->solid < proof->report->n_solids);
        po_verdict v = f->grade == PO_GRADE_STOP ? PO_STOP : f->grade == PO_GRADE_ASK ? PO_ASK : PO_CLEAR;
        worst = v > worst ? v : worst;
    }
    PROMISE(proof->verdict == worst && proof->aloud[0]);
    po_slip_options slip = PO_SLIP_OPTIONS_INIT;
    po_document text;
    PROMISE(po_part_slip_text(proof, &slip, arena, &text, &err) == PO_OK);
    PROMISE(text.n_bytes > 0 && text.data[text.n_bytes - 1] == '\n' && !memchr(text.data, 27, text.n_bytes));
}

/* One object a line, of the right kind, without anything that JSON does not know. */
static void check_json(const po_document *doc)
{
    PROMISE(doc->n_bytes > 0 && doc->data[doc->n_bytes - 1] == '\n');
    json_error_t why;
    json_t *root = json_loadb(doc->data, doc->n_bytes, JSON_REJECT_DUPLICATES, &why);
    PROMISE(root);
    const char *format = json_string_value(json_object_get(root, "format"));
    PROMISE(format && strcmp(format, "proveout/part-proof/1") == 0);
    PROMISE(json_array_size(json_object_get(root, "machines")) == 2);
    json_decref(root);
}

static po_document prove(const po_part *part, size_t n, int threads, po_arena *arena)
{
    const po_shop *shop = small_shop();
    const po_machine *machines[2] = {&shop->machines[0], &shop->machines[1]};
    const po_material *materials[2] = {&shop->materials[0], &shop->materials[0]};
    const po_part_report *reports[2];
    po_part_options options = {.poses = triangles_of(part) < POSES_BELOW, .images = true, .threads = threads};
    po_err err;
    po_status status = po_part_measure(part, shop, machines, materials, 2, &options, arena, reports, &err);
    if (status != PO_OK) {
        PROMISE(status == err.code && err.msg[0]);
        PROMISE(status == PO_E_RANGE || status == PO_E_NOMEM || status == PO_E_LIMIT || status == PO_E_EMPTY);
        return (po_document){NULL, 0};
    }
    po_proof_context context = {.shop = shop, .spool_g = n % 3 ? NAN : 1, .allowance_left_m = n % 5 ? NAN : 0.1};
    const po_part_proof *proofs[2];
    for (int i = 0; i < 2; i++) {
        check_report(reports[i]);
        PROMISE(po_proof_part(reports[i], "a file", &context, arena, &proofs[i], &err) == PO_OK);
        check_proof(proofs[i], arena);
    }
    po_document json;
    PROMISE(po_part_slip_json(proofs, 2, true, arena, &json, &err) == PO_OK);
    check_json(&json);
    return json;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    po_arena *arena = po_arena_new(512 << 20);
    PROMISE(arena);
    po_part_limits limits = PO_PART_LIMITS_INIT;
    limits.most_unpacked = 1 << 20;
    limits.most_triangles = 10000;
    po_source source = {.data = data, .n_bytes = n};
    const po_part *part = NULL;
    po_err err;
    if (po_part_read(&source, &limits, arena, &part, &err) == PO_OK && is_small(part)) {
        po_document one = prove(part, n, 1, arena);
        if (n % 4 == 0) { /* costs as much again, so not always */
            po_document many = prove(part, n, 3, arena);
            PROMISE(one.n_bytes == many.n_bytes && (!one.n_bytes || memcmp(one.data, many.data, one.n_bytes) == 0));
        }
    }
    po_arena_free(arena);
    return 0;
}
