/* "proveout/job-proof/1" as JSON, one line. SPDX-License-Identifier: Apache-2.0
 *
 * Written by hand and not through a tree of a JSON library: the order of the keys is the contract's, every number has
 * one form whatever the locale (at most 9 significant digits: measures are agreed upon to 1e-6, and the same bytes come
 * out on every machine), nothing is allocated but the text, and a check that only prints a line does not load a
 * library. The tests read it back with jansson. Strings by RFC 8259 section 7; foreign bytes are made valid UTF-8. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/say.h"

static void string(po_text *out, const char *text)
{
    if (!text) {
        po_text_add(out, "null");
        return;
    }
    const char *clean = po_say_clean(out->arena, text);
    po_text_add(out, "\"");
    for (const char *p = clean; *p;) {
        size_t n = strcspn(p, "\"\\");
        po_text_add_n(out, p, n);
        p += n;
        if (*p) {
            po_text_add(out, *p == '"' ? "\\\"" : "\\\\");
            p++;
        }
    }
    po_text_add(out, "\"");
}

static void number(po_text *out, double v)
{
    if (!isfinite(v)) {
        po_text_add(out, "null");
        return;
    }
    char buf[64], *to = buf;
    snprintf(buf, sizeof buf, "%.9g", v == 0 ? 0 : v);
    bool mark = false;
    for (const char *p = buf; *p; p++) { /* whatever a locale puts for the decimal mark, one byte or several: '.' */
        bool ordinary = (*p >= '0' && *p <= '9') || *p == '-' || *p == '+' || *p == 'e';
        if (ordinary) {
            *to++ = *p;
        } else if (!mark) {
            *to++ = '.';
            mark = true;
        }
    }
    po_text_add_n(out, buf, (size_t)(to - buf));
}

static void key(po_text *out, const char *name)
{
    if (out->n && out->data[out->n - 1] != '{' && out->data[out->n - 1] != '[') {
        po_text_add(out, ", ");
    }
    po_text_printf(out, "\"%s\": ", name);
}

static void key_number(po_text *out, const char *name, double v)
{
    key(out, name);
    number(out, v);
}

static void key_count(po_text *out, const char *name, uint64_t v)
{
    key(out, name);
    po_text_printf(out, "%llu", (unsigned long long)v);
}

static void key_string(po_text *out, const char *name, const char *v)
{
    key(out, name);
    string(out, v);
}

static void key_bool(po_text *out, const char *name, bool v)
{
    key(out, name);
    po_text_add(out, v ? "true" : "false");
}

static void key_point(po_text *out, const char *name, const double xyz[3])
{
    key(out, name);
    po_text_add(out, "[");
    for (int i = 0; i < 3; i++) {
        po_text_add(out, i ? ", " : "");
        number(out, xyz[i]);
    }
    po_text_add(out, "]");
}

static void key_bounds(po_text *out, const char *name, const po_span3 *b)
{
    key(out, name);
    po_text_add(out, "{"); /* objects keep their shape: a value that is missing is null, never the object around it */
    key_point(out, "min", b->min);
    key_point(out, "max", b->max);
    po_text_add(out, "}");
}

static void key_heat(po_text *out, const char *name, const po_heat_facts *h)
{
    key(out, name);
    po_text_add(out, "{");
    key_number(out, "first", h->first);
    key_number(out, "lowest", h->lowest);
    key_number(out, "highest", h->highest);
    po_text_add(out, "}");
}

static void key_place(po_text *out, const char *name, const po_place *place)
{
    key(out, name);
    if (!place->known) {
        po_text_add(out, "null");
        return;
    }
    po_text_add(out, "{");
    key(out, "line");
    if (place->line) {
        po_text_printf(out, "%llu", (unsigned long long)place->line);
    } else {
        po_text_add(out, "null");
    }
    key_number(out, "z", place->z);
    key_number(out, "x", place->x);
    key_number(out, "y", place->y);
    key_number(out, "seconds", place->seconds);
    po_text_add(out, "}");
}

static void key_range(po_text *out, const char *name, po_range r)
{
    key(out, name);
    po_text_add(out, "[");
    number(out, r.low);
    po_text_add(out, ", ");
    number(out, r.high);
    po_text_add(out, "]");
}

static void tools(po_text *out, const po_job_facts *f)
{
    key(out, "tools");
    po_text_add(out, "[");
    for (size_t i = 0; i < f->n_tools; i++) {
        const po_tool_facts *t = &f->tools[i];
        po_text_add(out, i ? ", {" : "{");
        key(out, "tool");
        po_text_printf(out, "%d", t->tool);
        key_string(out, "material", t->material);
        key_number(out, "filament_mm", t->filament_mm);
        key_number(out, "filament_net_mm", t->filament_net_mm);
        key_number(out, "filament_g", t->filament_g);
        key_number(out, "volume_mm3", t->volume_mm3);
        key_number(out, "extruding_mm", t->extruding_mm);
        key_number(out, "seconds", t->seconds);
        key_heat(out, "nozzle_c", &t->nozzle_c);
        key_number(out, "peak_flow_mm3_s", t->peak_flow_mm3_s);
        key_number(out, "sustained_flow_mm3_s", t->sustained_flow_mm3_s);
        key_number(out, "bead_width_mm", t->bead_width_mm);
        key_number(out, "layer_height_mm", t->layer_height_mm);
        po_text_add(out, "}");
    }
    po_text_add(out, "]");
}

static void parts(po_text *out, const po_job_facts *f)
{
    key(out, "parts");
    po_text_add(out, "[");
    for (size_t i = 0; i < f->n_parts; i++) {
        const po_job_part *p = &f->parts[i];
        po_text_add(out, i ? ", {" : "{");
        key(out, "number");
        po_text_printf(out, "%d", p->number);
        key_bool(out, "aid", p->aid);
        key_number(out, "foothold_mm2", p->foothold_mm2);
        key(out, "footholds");
        po_text_printf(out, "%d", p->footholds);
        key_number(out, "x", p->x);
        key_number(out, "y", p->y);
        key_bounds(out, "bounds_mm", &p->bounds_mm);
        key_number(out, "g", p->grams);
        key_point(out, "centre_of_mass_mm", p->centre_of_mass_mm);
        key_number(out, "hull_area_mm2", p->hull_area_mm2);
        key_number(out, "tip_deg", p->tip_deg);
        key_number(out, "tip_accel_mm_s2", p->tip_accel_mm_s2);
        key_number(out, "longest_edge_mm", p->longest_edge_mm);
        key_number(out, "begun_seconds", p->begun_seconds);
        key_number(out, "done_seconds", p->done_seconds);
        po_text_add(out, "}");
    }
    po_text_add(out, "]");
}

static void facts(po_text *out, const po_job_facts *f)
{
    /* Facts of the deposit have no value where it was not measured; zero would be a claim. */
    double none = f->deposit_done ? 0 : NAN;
    po_text_add(out, "{");
    key_number(out, "filament_mm", f->filament_mm);
    key_number(out, "filament_net_mm", f->filament_net_mm);
    key_number(out, "filament_g", f->filament_g);
    key_number(out, "volume_mm3", f->volume_mm3);
    tools(out, f);
    key_number(out, "seconds", f->seconds);
    key_number(out, "motion_seconds", f->motion_seconds);
    key_number(out, "heat_seconds", f->heat_seconds);
    key_number(out, "wait_seconds", f->wait_seconds);
    key_number(out, "first_bead_seconds", f->first_bead_seconds);
    key_number(out, "first_layer_seconds", f->first_layer_seconds);
    key(out, "later_first_layers");
    po_text_add(out, "[");
    for (size_t i = 0; i < f->n_later_first_layers; i++) {
        po_text_add(out, i ? ", [" : "[");
        number(out, f->later_first_layers[2 * i]);
        po_text_add(out, ", ");
        number(out, f->later_first_layers[2 * i + 1]);
        po_text_add(out, "]");
    }
    po_text_add(out, "]");
    key(out, "layers");
    po_text_printf(out, "%d", f->layers);
    key_number(out, "layer_height_mm", f->layer_height_mm);
    key_number(out, "first_layer_height_mm", f->first_layer_height_mm);
    key_number(out, "first_layer_mm_s", f->first_layer_mm_s);
    key_number(out, "bead_width_mm", f->bead_width_mm);
    key_bool(out, "continuous", f->continuous);
    key_bounds(out, "bounds_mm", &f->bounds_mm);
    key_bounds(out, "bounds_all_mm", &f->bounds_all_mm);
    key_bounds(out, "travel_bounds_mm", &f->travel_bounds_mm);
    key_heat(out, "nozzle_c", &f->nozzle_c);
    key_heat(out, "bed_c", &f->bed_c);
    key_heat(out, "fan_percent", &f->fan_percent);
    key_number(out, "peak_flow_mm3_s", f->peak_flow_mm3_s);
    key_number(out, "sustained_flow_mm3_s", f->sustained_flow_mm3_s);
    key_count(out, "retractions", f->retractions);
    key_number(out, "extruding_mm", f->extruding_mm);
    key_number(out, "travel_mm", f->travel_mm);
    key_count(out, "moves", f->moves);
    key_number(out, "foothold_mm2", f->foothold_mm2 + none);
    key_number(out, "footholds", f->footholds + none);
    parts(out, f);
    key_number(out, "on_air_mm", f->on_air_mm + none);
    key_number(out, "across_gap_mm", f->across_gap_mm + none);
    key_number(out, "over_fill_mm", f->over_fill_mm + none);
    key(out, "bridges");
    po_text_add(out, "{");
    key_number(out, "count", f->bridge_count + none);
    key_number(out, "longest_mm", f->longest_bridge_mm + none);
    po_text_add(out, "}");
    key_number(out, "overhang_mm", f->overhang_mm + none);
    key_number(out, "fill_fraction", f->fill_fraction + none);
    key_number(out, "walls", f->walls + none);
    key_number(out, "floors", f->floors + none);
    key_number(out, "roofs", f->roofs + none);
    key(out, "by_height");
    po_text_add(out, "[");
    for (size_t i = 0; i < f->n_by_height; i++) {
        po_text_add(out, i ? ", {" : "{");
        key_number(out, "z", f->by_height[i].z);
        key_number(out, "filament_mm", f->by_height[i].filament_mm);
        key_number(out, "g", f->by_height[i].g);
        key_number(out, "seconds", f->by_height[i].seconds);
        po_text_add(out, "}");
    }
    po_text_add(out, "]");
    key_number(out, "raster_mm", f->deposit_done ? f->raster_mm : NAN);
    key_bool(out, "in_turn", f->in_turn);
    key_number(out, "last_bed_c", f->last_bed_c);
    key_point(out, "end_xyz_mm", f->end_xyz_mm);
    key(out, "hands");
    po_text_add(out, "[");
    for (size_t i = 0; i < f->n_hands; i++) {
        po_text_add(out, i ? ", {" : "{");
        key_string(out, "word", f->hands[i].word);
        key_count(out, "line", f->hands[i].line);
        key_number(out, "z", f->hands[i].z);
        key_number(out, "seconds", f->hands[i].seconds);
        po_text_add(out, "}");
    }
    po_text_add(out, "]}");
}

static void finding(po_text *out, const po_finding *f)
{
    po_text_add(out, "{");
    key_string(out, "name", f->name);
    key_string(out, "grade", po_grade_name(f->grade));
    if (f->grade != f->default_grade) {
        key_string(out, "default_grade", po_grade_name(f->default_grade));
    }
    key_string(out, "says", f->says ? f->says : "");
    key_string(out, "do", f->todo ? f->todo : "");
    key_count(out, "count", f->count);
    key_place(out, "where", &f->where);
    key_place(out, "worst", &f->worst);
    po_text_add(out, "}");
}

static void identity(po_text *out, const po_proof *proof)
{
    key_string(out, "format", "proveout/job-proof/1");
    key_string(out, "file", proof->file ? proof->file : "");
    key_string(out, "sha256", proof->report->sha256);
    key_count(out, "bytes", proof->report->facts.bytes);
    key_count(out, "lines", proof->report->facts.lines);
}

static void one(po_text *out, const po_proof *proof)
{
    const po_job_report *r = proof->report;
    po_text_add(out, "{");
    identity(out, proof);
    key_string(out, "machine", r->machine->name);
    key(out, "materials");
    po_text_add(out, "[");
    for (size_t i = 0; i < r->n_materials && i < PO_MAX_TOOLS; i++) {
        po_text_add(out, i ? ", " : "");
        string(out, r->materials[i] ? r->materials[i]->name : NULL);
    }
    po_text_add(out, "]");
    key_string(out, "recipe", proof->recipe ? proof->recipe->name : NULL);
    key_string(out, "verdict", po_verdict_name(proof->verdict));
    key(out, "findings");
    po_text_add(out, "[");
    for (size_t i = 0; i < proof->n_findings; i++) {
        po_text_add(out, i ? ", " : "");
        finding(out, &proof->findings[i]);
    }
    po_text_add(out, "]");
    key(out, "facts");
    facts(out, &r->facts);
    key(out, "ranges");
    po_text_add(out, "{");
    key_range(out, "filament_mm", proof->filament_mm);
    key_range(out, "seconds", proof->seconds);
    key_string(out, "from", proof->ranges_from ? proof->ranges_from : "model");
    po_text_add(out, "}");
    key_string(out, "aloud", proof->aloud);
    key(out, "changed_rules");
    po_text_add(out, "[");
    for (size_t i = 0; i < proof->n_changed_rules; i++) {
        po_text_add(out, i ? ", " : "");
        string(out, proof->changed_rules[i]);
    }
    po_text_add(out, "]");
    key_number(out, "watch_seconds", proof->watch_seconds);
    key_number(out, "cool_seconds", proof->cool_seconds);
    bool clocks = proof->start_known;
    key_string(out, "start", clocks ? po_say_iso(out->arena, proof->start) : NULL);
    key_string(out, "watch_until", clocks ? po_say_iso(out->arena, proof->watch_until) : NULL);
    key_string(out, "end", clocks ? po_say_iso(out->arena, proof->end) : NULL);
    key_string(out, "cool", clocks && isfinite(proof->cool_seconds) ? po_say_iso(out->arena, proof->cool) : NULL);
    po_text_add(out, "}");
}

po_status po_slip_json(const po_proof *const *proofs, size_t n_proofs, bool several, po_arena *arena, po_document *ret,
                       po_err *err)
{
    po_text out;
    po_text_init(&out, arena);
    if (!several && n_proofs == 1) {
        one(&out, proofs[0]);
    } else if (!n_proofs) {
        return po_fail(err, PO_E_RANGE, "no proof to write");
    } else {
        po_verdict best = proofs[0]->verdict;
        for (size_t i = 1; i < n_proofs; i++) {
            best = proofs[i]->verdict < best ? proofs[i]->verdict : best;
        }
        po_text_add(&out, "{");
        identity(&out, proofs[0]);
        key_string(&out, "verdict", po_verdict_name(best));
        key(&out, "machines");
        po_text_add(&out, "[");
        for (size_t i = 0; i < n_proofs; i++) {
            po_text_add(&out, i ? ", " : "");
            one(&out, proofs[i]);
        }
        po_text_add(&out, "]}");
    }
    po_text_add(&out, "\n");
    if (out.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the proof's JSON");
    }
    *ret = (po_document){.data = out.data, .n_bytes = out.n};
    return PO_OK;
}
