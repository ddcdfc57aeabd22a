/* "proveout/job-proof/1" as JSON, one line. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/json_kit.h"
#include "slip/say.h"

static void key_heat(po_text *out, const char *name, const po_heat_facts *h)
{
    po_json_key(out, name);
    po_text_add(out, "{");
    po_json_key_number(out, "first", h->first);
    po_json_key_number(out, "lowest", h->lowest);
    po_json_key_number(out, "highest", h->highest);
    po_text_add(out, "}");
}

static void tools(po_text *out, const po_job_facts *f)
{
    po_json_key(out, "tools");
    po_text_add(out, "[");
    for (size_t i = 0; i < f->n_tools; i++) {
        const po_tool_facts *t = &f->tools[i];
        po_text_add(out, i ? ", {" : "{");
        po_json_key(out, "tool");
        po_text_printf(out, "%d", t->tool);
        po_json_key_string(out, "material", t->material);
        po_json_key_number(out, "filament_mm", t->filament_mm);
        po_json_key_number(out, "filament_net_mm", t->filament_net_mm);
        po_json_key_number(out, "filament_g", t->filament_g);
        po_json_key_number(out, "volume_mm3", t->volume_mm3);
        po_json_key_number(out, "extruding_mm", t->extruding_mm);
        po_json_key_number(out, "seconds", t->seconds);
        key_heat(out, "nozzle_c", &t->nozzle_c);
        po_json_key_number(out, "peak_flow_mm3_s", t->peak_flow_mm3_s);
        po_json_key_number(out, "sustained_flow_mm3_s", t->sustained_flow_mm3_s);
        po_json_key_number(out, "bead_width_mm", t->bead_width_mm);
        po_json_key_number(out, "layer_height_mm", t->layer_height_mm);
        po_text_add(out, "}");
    }
    po_text_add(out, "]");
}

static void parts(po_text *out, const po_job_facts *f)
{
    po_json_key(out, "parts");
    po_text_add(out, "[");
    for (size_t i = 0; i < f->n_parts; i++) {
        const po_job_part *p = &f->parts[i];
        po_text_add(out, i ? ", {" : "{");
        po_json_key(out, "number");
        po_text_printf(out, "%d", p->number);
        po_json_key_bool(out, "aid", p->aid);
        po_json_key_number(out, "foothold_mm2", p->foothold_mm2);
        po_json_key(out, "footholds");
        po_text_printf(out, "%d", p->footholds);
        po_json_key_number(out, "x", p->x);
        po_json_key_number(out, "y", p->y);
        po_json_key_bounds(out, "bounds_mm", &p->bounds_mm);
        po_json_key_number(out, "g", p->grams);
        po_json_key_point(out, "centre_of_mass_mm", p->centre_of_mass_mm);
        po_json_key_number(out, "hull_area_mm2", p->hull_area_mm2);
        po_json_key_number(out, "tip_deg", p->tip_deg);
        po_json_key_number(out, "tip_accel_mm_s2", p->tip_accel_mm_s2);
        po_json_key_number(out, "longest_edge_mm", p->longest_edge_mm);
        po_json_key_number(out, "begun_seconds", p->begun_seconds);
        po_json_key_number(out, "done_seconds", p->done_seconds);
        po_text_add(out, "}");
    }
    po_text_add(out, "]");
}

static void facts(po_text *out, const po_job_facts *f)
{
    /* Facts of the deposit have no value where it was not measured; zero would be a claim. */
    double none = f->deposit_done ? 0 : NAN;
    po_text_add(out, "{");
    po_json_key_number(out, "filament_mm", f->filament_mm);
    po_json_key_number(out, "filament_net_mm", f->filament_net_mm);
    po_json_key_number(out, "filament_g", f->filament_g);
    po_json_key_number(out, "volume_mm3", f->volume_mm3);
    tools(out, f);
    po_json_key_number(out, "seconds", f->seconds);
    po_json_key_number(out, "motion_seconds", f->motion_seconds);
    po_json_key_number(out, "heat_seconds", f->heat_seconds);
    po_json_key_number(out, "wait_seconds", f->wait_seconds);
    po_json_key_number(out, "first_bead_seconds", f->first_bead_seconds);
    po_json_key_number(out, "first_layer_seconds", f->first_layer_seconds);
    po_json_key(out, "later_first_layers");
    po_text_add(out, "[");
    for (size_t i = 0; i < f->n_later_first_layers; i++) {
        po_text_add(out, i ? ", [" : "[");
        po_json_number(out, f->later_first_layers[2 * i]);
        po_text_add(out, ", ");
        po_json_number(out, f->later_first_layers[2 * i + 1]);
        po_text_add(out, "]");
    }
    po_text_add(out, "]");
    po_json_key(out, "layers");
    po_text_printf(out, "%d", f->layers);
    po_json_key_number(out, "layer_height_mm", f->layer_height_mm);
    po_json_key_number(out, "first_layer_height_mm", f->first_layer_height_mm);
    po_json_key_number(out, "first_layer_mm_s", f->first_layer_mm_s);
    po_json_key_number(out, "bead_width_mm", f->bead_width_mm);
    po_json_key_bool(out, "continuous", f->continuous);
    po_json_key_bounds(out, "bounds_mm", &f->bounds_mm);
    po_json_key_bounds(out, "bounds_all_mm", &f->bounds_all_mm);
    po_json_key_bounds(out, "travel_bounds_mm", &f->travel_bounds_mm);
    key_heat(out, "nozzle_c", &f->nozzle_c);
    key_heat(out, "bed_c", &f->bed_c);
    key_heat(out, "fan_percent", &f->fan_percent);
    po_json_key_number(out, "peak_flow_mm3_s", f->peak_flow_mm3_s);
    po_json_key_number(out, "sustained_flow_mm3_s", f->sustained_flow_mm3_s);
    po_json_key_count(out, "retractions", f->retractions);
    po_json_key_number(out, "extruding_mm", f->extruding_mm);
    po_json_key_number(out, "travel_mm", f->travel_mm);
    po_json_key_count(out, "moves", f->moves);
    po_json_key_number(out, "foothold_mm2", f->foothold_mm2 + none);
    po_json_key_number(out, "footholds", f->footholds + none);
    parts(out, f);
    po_json_key_number(out, "on_air_mm", f->on_air_mm + none);
    po_json_key_number(out, "across_gap_mm", f->across_gap_mm + none);
    po_json_key_number(out, "over_fill_mm", f->over_fill_mm + none);
    po_json_key(out, "bridges");
    po_text_add(out, "{");
    po_json_key_number(out, "count", f->bridge_count + none);
    po_json_key_number(out, "longest_mm", f->longest_bridge_mm + none);
    po_text_add(out, "}");
    po_json_key_number(out, "overhang_mm", f->overhang_mm + none);
    po_json_key_number(out, "fill_fraction", f->fill_fraction + none);
    po_json_key_number(out, "walls", f->walls + none);
    po_json_key_number(out, "floors", f->floors + none);
    po_json_key_number(out, "roofs", f->roofs + none);
    po_json_key(out, "by_height");
    po_text_add(out, "[");
    for (size_t i = 0; i < f->n_by_height; i++) {
        po_text_add(out, i ? ", {" : "{");
        po_json_key_number(out, "z", f->by_height[i].z);
        po_json_key_number(out, "filament_mm", f->by_height[i].filament_mm);
        po_json_key_number(out, "g", f->by_height[i].g);
        po_json_key_number(out, "seconds", f->by_height[i].seconds);
        po_text_add(out, "}");
    }
    po_text_add(out, "]");
    po_json_key_number(out, "raster_mm", f->deposit_done ? f->raster_mm : NAN);
    po_json_key_bool(out, "in_turn", f->in_turn);
    po_json_key_number(out, "last_bed_c", f->last_bed_c);
    po_json_key_point(out, "end_xyz_mm", f->end_xyz_mm);
    po_json_key(out, "hands");
    po_text_add(out, "[");
    for (size_t i = 0; i < f->n_hands; i++) {
        po_text_add(out, i ? ", {" : "{");
        po_json_key_string(out, "word", f->hands[i].word);
        po_json_key_count(out, "line", f->hands[i].line);
        po_json_key_number(out, "z", f->hands[i].z);
        po_json_key_number(out, "seconds", f->hands[i].seconds);
        po_text_add(out, "}");
    }
    po_text_add(out, "]}");
}

static void identity(po_text *out, const po_proof *proof)
{
    po_json_key_string(out, "format", "proveout/job-proof/1");
    po_json_key_string(out, "file", proof->file ? proof->file : "");
    po_json_key_string(out, "sha256", proof->report->sha256);
    po_json_key_count(out, "bytes", proof->report->facts.bytes);
    po_json_key_count(out, "lines", proof->report->facts.lines);
}

static void against(po_text *out, const po_against *a)
{
    po_json_key(out, "against");
    po_text_add(out, "{");
    po_json_key_string(out, "part", a->part);
    po_json_key_count(out, "objects", a->objects);
    po_json_key_count(out, "others", a->others);
    po_json_key(out, "solids");
    po_text_add(out, "[");
    for (size_t i = 0; i < a->n_solids; i++) {
        const po_against_solid *s = &a->solids[i];
        po_text_add(out, i ? ", {" : "{");
        po_json_key_string(out, "name", s->name);
        po_json_key_count(out, "wanted", s->wanted);
        po_json_key_count(out, "found", s->found);
        po_json_key_number(out, "covered", s->tried ? s->best.covered : NAN);
        po_json_key_number(out, "scale", s->found ? s->best.scale : NAN);
        po_json_key_number(out, "turn_deg", s->found ? s->best.turn_deg : NAN);
        po_json_key_bool(out, "mirrored", s->found && s->best.mirrored);
        po_json_key_number(out, "ends_at_mm", s->found ? s->best.missing_from_mm : NAN);
        po_text_add(out, "}");
    }
    po_text_add(out, "]}");
}

static void one(po_text *out, const po_proof *proof)
{
    const po_job_report *r = proof->report;
    po_text_add(out, "{");
    identity(out, proof);
    po_json_key_string(out, "machine", r->machine->name);
    po_json_key(out, "materials");
    po_text_add(out, "[");
    for (size_t i = 0; i < r->n_materials && i < PO_MAX_TOOLS; i++) {
        po_text_add(out, i ? ", " : "");
        po_json_string(out, r->materials[i] ? r->materials[i]->name : NULL);
    }
    po_text_add(out, "]");
    po_json_key_string(out, "recipe", proof->recipe ? proof->recipe->name : NULL);
    po_json_key_string(out, "verdict", po_verdict_name(proof->verdict));
    po_json_key(out, "findings");
    po_text_add(out, "[");
    for (size_t i = 0; i < proof->n_findings; i++) {
        po_text_add(out, i ? ", " : "");
        po_json_finding(out, &proof->findings[i]);
    }
    po_text_add(out, "]");
    po_json_key(out, "facts");
    facts(out, &r->facts);
    if (proof->against) {
        against(out, proof->against);
    }
    po_json_key(out, "ranges");
    po_text_add(out, "{");
    po_json_key_range(out, "filament_mm", proof->filament_mm);
    po_json_key_range(out, "seconds", proof->seconds);
    po_json_key_string(out, "from", proof->ranges_from ? proof->ranges_from : "model");
    po_text_add(out, "}");
    po_json_key_string(out, "aloud", proof->aloud);
    po_json_key(out, "changed_rules");
    po_text_add(out, "[");
    for (size_t i = 0; i < proof->n_changed_rules; i++) {
        po_text_add(out, i ? ", " : "");
        po_json_string(out, proof->changed_rules[i]);
    }
    po_text_add(out, "]");
    po_json_key_number(out, "watch_seconds", proof->watch_seconds);
    po_json_key_number(out, "cool_seconds", proof->cool_seconds);
    bool clocks = proof->start_known;
    po_json_key_string(out, "start", clocks ? po_say_iso(out->arena, proof->start) : NULL);
    po_json_key_string(out, "watch_until", clocks ? po_say_iso(out->arena, proof->watch_until) : NULL);
    po_json_key_string(out, "end", clocks ? po_say_iso(out->arena, proof->end) : NULL);
    po_json_key_string(out, "cool",
                       clocks && isfinite(proof->cool_seconds) ? po_say_iso(out->arena, proof->cool) : NULL);
    po_text_add(out, "}");
}

static void identity_of(po_text *out, const void *proofs)
{
    identity(out, *(const po_proof *const *)proofs);
}

static void one_of(po_text *out, const void *proofs, size_t i)
{
    one(out, ((const po_proof *const *)proofs)[i]);
}

static po_verdict verdict_of(const void *proofs, size_t i)
{
    return ((const po_proof *const *)proofs)[i]->verdict;
}

po_status po_slip_json(const po_proof *const *proofs, size_t n_proofs, bool several, po_arena *arena, po_document *ret,
                       po_err *err)
{
    const po_json_proofs of = {proofs, n_proofs, several, identity_of, one_of, verdict_of};
    return po_json_document(&of, arena, ret, err);
}
