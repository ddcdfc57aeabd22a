/* Bedfuls as JSON, as 3MF and as a sheet to be drawn. SPDX-License-Identifier: Apache-2.0 */
#include "work/bedful.h"

#include <math.h>
#include <string.h>

static json_t *number(double value)
{
    return isfinite(value) ? json_real(value) : json_null();
}

static json_t *text(const char *value)
{
    return value ? json_string(value) : json_null();
}

static const char *grade_word(po_grade grade)
{
    return grade == PO_GRADE_STOP ? "stop" : grade == PO_GRADE_ASK ? "ask" : "note";
}

const char *work_bedful_verdict(const work_bedfuls *b)
{
    po_grade worst = b->n_findings ? b->findings[0].grade : PO_GRADE_OFF;
    return worst == PO_GRADE_STOP ? "stop" : worst == PO_GRADE_ASK ? "ask" : "clear";
}

const char *work_bedful_due(const work_bedfuls *b, const po_bedful *bed)
{
    for (size_t i = 0; bed->due != INT64_MAX && i < bed->n_places; i++) {
        if (b->laid[bed->places[i].part].due == bed->due) {
            return b->parts[bed->places[i].part].due_text;
        }
    }
    return NULL;
}

static json_t *shares_note(const work_bedfuls *b, const po_bedful *bed, const work_bedful_load *load)
{
    const char *members[WORK_BEDFUL_PARTS];
    double mm[WORK_BEDFUL_PARTS];
    size_t n = isnan(load->filament_mm) ? 0 : work_bedful_shares(b, bed, members, mm, WORK_BEDFUL_PARTS);
    json_t *list = json_array();
    for (size_t k = 0; k < n; k++) {
        json_array_append_new(list, json_pack("{s:o, s:o}", "member", text(*members[k] ? members[k] : NULL),
                                              "filament_mm", number(mm[k])));
    }
    return list;
}

static json_t *bed_note(const work_bedfuls *b, size_t at)
{
    const po_bedful *bed = &b->nest.bedfuls[at];
    const work_bedful_part *first = &b->parts[bed->places[0].part];
    work_bedful_load load = work_bedful_load_of(b, bed);
    json_t *places = json_array();
    for (size_t i = 0; i < bed->n_places; i++) {
        const po_nest_place *p = &bed->places[i];
        json_t *o = json_pack("{s:I, s:I, s:f, s:f, s:f, s:b}", "part", (json_int_t)p->part + 1, "copy",
                              (json_int_t)p->copy + 1, "x", p->x, "y", p->y, "turn_deg", p->turn_deg, "in_hole",
                              p->in_hole);
        if (o && b->setup.finish_each) {
            json_object_set_new(o, "order", json_integer((json_int_t)i + 1));
        }
        json_array_append_new(places, o);
    }
    return json_pack("{s:I, s:s, s:o, s:o, s:f, s:o, s:o, s:o, s:o, s:o}", "bedful", (json_int_t)at + 1, "material",
                     first->material->name, "recipe", text(first->recipe ? first->recipe->name : NULL), "due",
                     text(work_bedful_due(b, bed)), "filled", bed->filled, "filament_mm", number(load.filament_mm),
                     "filament_g", number(load.filament_g), "seconds", number(load.seconds), "shares",
                     shares_note(b, bed, &load), "places", places);
}

json_t *work_bedful_json(const work_bedfuls *b)
{
    json_t *parts = json_array(), *beds = json_array(), *out = json_array(), *findings = json_array();
    for (size_t i = 0; i < b->n_parts; i++) {
        const work_bedful_part *p = &b->parts[i];
        json_array_append_new(
            parts, json_pack("{s:I, s:s, s:s, s:o, s:o, s:I, s:[f, f, f], s:o}", "part", (json_int_t)i + 1, "file",
                             p->path, "label", p->label, "member", text(p->member), "due", text(p->due_text), "copies",
                             (json_int_t)b->laid[i].copies, "size_mm", p->size_mm[0], p->size_mm[1], p->size_mm[2],
                             "filament_mm", number(p->estimated ? p->estimate.filament_mm : NAN)));
    }
    for (size_t i = 0; i < b->nest.n_bedfuls; i++) {
        json_array_append_new(beds, bed_note(b, i));
    }
    for (size_t i = 0; i < b->nest.n_left_out; i++) {
        const po_left_out *l = &b->nest.left_out[i];
        json_array_append_new(out, json_pack("{s:I, s:I, s:s}", "part", (json_int_t)l->part + 1, "copies",
                                             (json_int_t)l->copies, "why", l->why));
    }
    for (size_t i = 0; i < b->n_findings; i++) {
        const work_bedful_finding *f = &b->findings[i];
        json_array_append_new(findings, json_pack("{s:s, s:s, s:s, s:s}", "name", f->name, "grade",
                                                  grade_word(f->grade), "says", f->says, "do", f->todo));
    }
    return json_pack("{s:s, s:s, s:s, s:o, s:f, s:f, s:I, s:I, s:I, s:o, s:o, s:o, s:o}", "format", "proveout/nest/1",
                     "machine", b->machine->name, "verdict", work_bedful_verdict(b), "worst",
                     text(b->n_findings ? b->findings[0].name : NULL), "clearance_mm", b->setup.clearance_mm,
                     "margin_mm", b->setup.margin_mm, "at_least", (json_int_t)b->nest.at_least, "seed",
                     (json_int_t)b->setup.effort.seed, "steps", (json_int_t)b->nest.steps, "parts", parts, "bedfuls",
                     beds, "left_out", out, "findings", findings);
}

po_status work_bedful_3mf(const work_bedfuls *b, size_t at, po_arena *arena, po_document *ret, po_err *err)
{
    const po_bedful *bed = &b->nest.bedfuls[at];
    po_3mf_item *items = po_arena_zeros(arena, bed->n_places, sizeof *items);
    double(*matrices)[12] = po_arena_zeros(arena, bed->n_places, sizeof *matrices);
    const unsigned char *bytes = NULL;
    bool whole = items && matrices;
    for (size_t i = 0; whole && i < bed->n_places; i++) {
        const po_nest_place *p = &bed->places[i];
        double a = p->turn_deg * M_PI / 180, s = fmod(p->turn_deg, 180) == 0 ? 0 : sin(a);
        double k = fmod(p->turn_deg, 180) == 90 ? 0 : cos(a);
        const double m[12] = {k, s, 0, -s, k, 0, 0, 0, 1, p->x, p->y, 0};
        memcpy(matrices[i], m, sizeof m);
        items[i] = (po_3mf_item){.mesh = b->parts[p->part].mesh, .matrix = matrices[i]};
        items[i].name = po_arena_printf(arena, "%s, copy %u", b->parts[p->part].label, p->copy + 1);
        whole = items[i].name != NULL;
    }
    if (!whole) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    po_status status = po_3mf_write(items, bed->n_places, NULL, arena, &bytes, &ret->n_bytes, err);
    ret->data = (const char *)bytes;
    return status;
}

po_status work_bedful_sheet(const work_bedfuls *b, po_nest_sheet *ret, po_err *err)
{
    const char **names = po_arena_zeros(b->arena, b->n_parts, sizeof(*names));
    const char **heads = po_arena_zeros(b->arena, b->nest.n_bedfuls + 1, sizeof(*heads));
    if (!names || !heads) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < b->n_parts; i++) {
        const work_bedful_part *p = &b->parts[i];
        names[i] = po_arena_printf(b->arena, "%s%s%s: %u, %.0f x %.0f x %.0f mm", p->label, p->member ? ", for " : "",
                                   p->member ? p->member : "", b->laid[i].copies, p->size_mm[0], p->size_mm[1],
                                   p->size_mm[2]);
    }
    for (size_t i = 0; i < b->nest.n_bedfuls; i++) {
        const work_bedful_part *p = &b->parts[b->nest.bedfuls[i].places[0].part];
        heads[i] = po_arena_printf(b->arena, "%s%s%s", p->material->name, p->recipe ? ", " : "",
                                   p->recipe ? p->recipe->name : "");
    }
    *ret = (po_nest_sheet){&b->nest,   b->laid,   names, b->n_parts,          b->setup.n_bands,
                           b->machine, "Bedfuls", heads, b->setup.finish_each};
    return PO_OK;
}
