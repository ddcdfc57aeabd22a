/* "proveout/part-proof/1" as JSON, one line. SPDX-License-Identifier: Apache-2.0
 *
 * `facts` are of the whole part, copies counted; `items` holds the same of each solid, with its walls, its fits and the
 * ways up that were looked at. What was not measured is null. */
#include <math.h>

#include "slip/json_kit.h"
#include "slip/say.h"

static void key_size(po_text *out, const char *name, const double bounds[2][3])
{
    po_span3 span;
    for (int k = 0; k < 3; k++) {
        span.min[k] = bounds[0][k];
        span.max[k] = bounds[1][k];
    }
    po_json_key_bounds(out, name, &span);
}

static void key_int(po_text *out, const char *name, long long v)
{
    po_json_key(out, name);
    po_text_printf(out, "%lld", v);
}

static void key_place(po_text *out, const char *name, const double at[3], bool known)
{
    if (known && isfinite(at[0])) {
        po_json_key_point(out, name, at);
    } else {
        po_json_key_string(out, name, NULL);
    }
}

/* A number of machines' fits: of one solid, or of all of them together. */
static void fits(po_text *out, const po_part_report *r, const po_solid *solids, size_t n)
{
    po_json_key(out, "fits");
    po_text_add(out, "[");
    for (size_t m = 0, shown = 0; m < r->shop->n_machines && n > 0; m++) {
        bool as_is = true, turned = true, measured = true;
        double over[3] = {-INFINITY, -INFINITY, -INFINITY}, scale = INFINITY;
        for (size_t i = 0; i < n && measured; i++) {
            measured = solids[i].fits != NULL;
            const po_fit *f = measured ? &solids[i].fits[m] : NULL;
            as_is = as_is && measured && f->as_is;
            turned = turned && measured && f->turned;
            scale = measured ? fmin(scale, f->largest_scale) : NAN;
            for (int k = 0; k < 3; k++) {
                over[k] = measured ? fmax(over[k], f->over_mm[k]) : NAN;
            }
        }
        if (!measured) {
            break;
        }
        const po_fit *only = n == 1 ? &solids[0].fits[m] : NULL;
        po_text_add(out, shown++ ? ", {" : "{");
        po_json_key_string(out, "machine", r->shop->machines[m].name);
        po_json_key_bool(out, "as_is", as_is);
        po_json_key_bool(out, "turned", turned);
        if (only != NULL && only->pose >= 0) {
            key_int(out, "pose", only->pose);
        } else {
            po_json_key_string(out, "pose", NULL);
        }
        po_json_key_number(out, "turn_deg", only != NULL ? only->turn_deg : NAN);
        po_json_key_point(out, "over_mm", over);
        po_json_key_number(out, "largest_scale", scale);
        po_text_add(out, "}");
    }
    po_text_add(out, "]");
}

static void estimates(po_text *out, const po_part_report *r)
{
    po_json_key(out, "estimates");
    po_text_add(out, "[");
    for (size_t i = 0; r->estimates != NULL && i < r->shop->n_recipes; i++) {
        const po_estimate *e = &r->estimates[i];
        po_text_add(out, i ? ", {" : "{");
        po_json_key_string(out, "recipe", e->recipe->name);
        po_json_key_number(out, "filament_mm", e->filament_mm);
        po_json_key_number(out, "filament_g", e->filament_g);
        po_json_key_number(out, "volume_mm3", e->volume_mm3);
        po_json_key_number(out, "seconds", e->seconds);
        po_json_key_number(out, "first_layer_seconds", e->first_layer_seconds);
        po_json_key_number(out, "layers", isnan(e->filament_mm) ? NAN : e->layers);
        po_json_key(out, "range");
        po_text_add(out, "{");
        po_json_key_range(out, "filament_mm", e->filament_range_mm);
        po_json_key_range(out, "seconds", e->seconds_range);
        po_json_key_string(out, "covers", e->covers);
        po_text_add(out, "}");
        po_json_key_number(out, "wall_mm", e->wall_mm);
        po_json_key_number(out, "solid_mm", e->solid_mm);
        po_json_key_number(out, "fill_mm", e->fill_mm);
        po_json_key_number(out, "travel_mm", e->travel_mm);
        po_json_key_number(out, "support_mm", e->support_mm);
        po_json_key_number(out, "support_seconds", e->support_seconds);
        po_text_add(out, "}");
    }
    po_text_add(out, "]");
}

static void key_total(po_text *out, const char *name, double v, size_t n_solids)
{
    po_json_key_number(out, name, n_solids > 0 ? v : NAN);
}

static void facts(po_text *out, const po_part_report *r)
{
    const po_part_totals *t = &r->totals;
    po_text_add(out, "{");
    po_json_key_count(out, "triangles", t->triangles);
    po_json_key_count(out, "vertices", t->vertices);
    po_json_key_count(out, "shells", t->shells);
    po_json_key_count(out, "open_edges", t->open_edges);
    po_json_key_count(out, "crowded_edges", t->crowded_edges);
    po_json_key_count(out, "flipped_triangles", t->flipped_triangles);
    po_json_key_count(out, "flat_triangles", t->flat_triangles);
    po_json_key_count(out, "doubled_triangles", t->doubled_triangles);
    po_json_key_number(out, "seams_closed_at_mm", t->seams_closed_at_mm);
    po_json_key_count(out, "self_cuts", t->self_cuts);
    po_json_key_bool(out, "watertight", t->watertight);
    po_json_key_number(out, "volume_mm3", t->volume_mm3);
    po_json_key_number(out, "area_mm2", t->area_mm2);
    key_size(out, "bounds_mm", t->bounds_mm);
    po_json_key_point(out, "centre_of_mass_mm", t->centre_of_mass_mm);
    key_int(out, "euler", t->euler);
    po_json_key_number(out, "genus", t->genus);
    po_json_key_string(out, "units", r->part->unit);
    po_json_key_string(out, "unit_guess", r->unit_guess);
    po_json_key_number(out, "unit_factor", r->unit_factor);
    po_json_key_number(out, "thinnest_wall_mm", t->thinnest_wall_mm);
    key_total(out, "thin_wall_mm2", t->thin_wall_mm2, r->n_solids);
    key_total(out, "slim_wall_mm2", t->slim_wall_mm2, r->n_solids);
    key_total(out, "overhang_mm2", t->overhang_mm2, r->n_solids);
    key_total(out, "support_mm3", t->support_mm3, r->n_solids);
    key_total(out, "foothold_mm2", t->foothold_mm2, r->n_solids);
    po_json_key_bool(out, "stands", t->stands);
    fits(out, r, r->solids, r->n_solids);
    estimates(out, r);
    po_json_key_number(out, "allowance_scale", r->allowance_scale);
    po_json_key_number(out, "without_fill_mm", r->hollow_mm);
    key_int(out, "n_items", r->n_items);
    key_int(out, "left_out", r->n_left_out);
    po_json_key_count(out, "materials_wanted", r->part->n_materials);
    po_json_key(out, "not_known");
    po_text_add(out, "[");
    for (size_t i = 0; i < r->n_notes; i++) {
        po_text_add(out, i ? ", " : "");
        po_json_string(out, r->notes[i]);
    }
    po_text_add(out, "]");
    po_json_key(out, "reading");
    po_text_add(out, "[");
    for (size_t i = 0; i < r->part->n_notes; i++) {
        po_text_add(out, i ? ", " : "");
        po_json_string(out, r->part->notes[i]);
    }
    po_text_add(out, "]}");
}

static void pose_members(po_text *out, const po_pose *p)
{
    po_json_key(out, "turn");
    po_text_add(out, "[");
    for (int k = 0; k < 9; k++) {
        po_text_add(out, k ? ", " : "");
        po_json_number(out, p->turn[k]);
    }
    po_text_add(out, "]");
    po_json_key_point(out, "size_mm", p->size_mm);
    po_json_key_number(out, "foothold_mm2", p->foothold_mm2);
    key_int(out, "footholds", p->footholds);
    po_json_key_number(out, "overhang_mm2", p->overhang_mm2);
    po_json_key_number(out, "overhang_open_mm2", p->overhang_open_mm2);
    po_json_key_number(out, "support_mm3", p->support_mm3);
    po_json_key_number(out, "support_open_mm3", p->support_open_mm3);
    po_json_key_number(out, "longest_bridge_mm", p->longest_bridge_mm);
    po_json_key_bool(out, "stands", p->stands);
    po_json_key_number(out, "tip_deg", p->tip_deg);
    po_json_key_number(out, "steps_mm2", p->steps_mm2);
    po_json_key_number(out, "across_layers", p->across_layers);
    key_int(out, "layers", p->layers);
    po_json_key_number(out, "minutes_machine", p->minutes_machine);
    po_json_key_number(out, "minutes_hand", p->minutes_hand);
    po_json_key_number(out, "cost", p->cost);
    po_json_key_bool(out, "best_in_something", p->best_in_something);
    po_json_key_string(out, "why", p->why);
}

static void ways_up(po_text *out, const po_solid *s)
{
    po_json_key(out, "lies");
    if (s->lies_done) {
        po_text_add(out, "{");
        pose_members(out, &s->lies);
        po_text_add(out, "}");
    } else {
        po_text_add(out, "null");
    }
    po_json_key(out, "poses");
    if (s->poses == NULL) {
        po_text_add(out, "null");
        return;
    }
    po_text_add(out, "[");
    for (size_t i = 0; i < s->n_poses; i++) {
        po_text_add(out, i ? ", {" : "{");
        po_json_key_bool(out, "as_is", i == s->as_is);
        pose_members(out, &s->poses[i]);
        po_text_add(out, "}");
    }
    po_text_add(out, "]");
}

static void walls(po_text *out, const po_solid *s)
{
    const po_wall_facts *w = &s->walls;
    po_json_key(out, "walls");
    if (!s->walls_done) {
        po_text_add(out, "null");
        return;
    }
    po_text_add(out, "{");
    po_json_key_number(out, "bead_mm", w->bead_mm);
    po_json_key_count(out, "rays", w->rays);
    po_json_key_count(out, "seed", w->seed);
    po_json_key_number(out, "thinnest_wall_mm", w->thinnest_wall_mm);
    key_place(out, "thinnest_at", w->thinnest_at, isfinite(w->thinnest_wall_mm));
    po_json_key_number(out, "thinnest_sheet_mm", w->thinnest_sheet_mm);
    key_place(out, "sheet_at", w->sheet_at, isfinite(w->thinnest_sheet_mm));
    po_json_key_number(out, "thin_wall_mm2", w->thin_wall_mm2);
    po_json_key_number(out, "slim_wall_mm2", w->slim_wall_mm2);
    po_json_key_number(out, "thin_sheet_mm2", w->thin_sheet_mm2);
    po_json_key_number(out, "slim_sheet_mm2", w->slim_sheet_mm2);
    po_json_key_number(out, "area_error_mm2", w->area_error_mm2);
    po_json_key_number(out, "narrowest_gap_mm", w->narrowest_gap_mm);
    key_place(out, "gap_at", w->gap_at, isfinite(w->narrowest_gap_mm));
    po_json_key_number(out, "gap_mm2", w->gap_mm2);
    po_text_add(out, "}");
}

static void items(po_text *out, const po_part_report *r)
{
    po_json_key(out, "items");
    po_text_add(out, "[");
    for (size_t i = 0; i < r->n_solids; i++) {
        const po_solid *s = &r->solids[i];
        const po_mesh_facts *f = &s->facts;
        po_text_add(out, i ? ", {" : "{");
        key_int(out, "item", s->build_item);
        po_json_key_string(out, "name", s->name);
        key_int(out, "object", r->part->objects[s->object].id);
        key_int(out, "times", s->times);
        po_json_key_count(out, "triangles", f->triangles);
        po_json_key_count(out, "vertices", f->vertices);
        po_json_key_count(out, "shells", f->shells);
        po_json_key_count(out, "loose_shells", s->loose_shells);
        po_json_key_count(out, "shells_inside_out", s->shells_inside_out);
        po_json_key_count(out, "open_edges", f->open_edges);
        po_json_key_count(out, "crowded_edges", f->crowded_edges);
        po_json_key_count(out, "uneven_edges", s->uneven_edges);
        po_json_key_count(out, "flipped_triangles", f->flipped_triangles);
        po_json_key_count(out, "flat_triangles", f->flat_triangles);
        po_json_key_count(out, "doubled_triangles", f->doubled_triangles);
        po_json_key_number(out, "seams_closed_at_mm", f->seams_closed_at_mm);
        po_json_key_number(out, "self_cuts", s->cuts_done ? (double)s->cuts.pairs : NAN);
        po_json_key_number(out, "self_cut_depth_mm", s->cut_depth_mm);
        po_json_key_bool(out, "self_cuts_complete", s->cuts_done && s->cuts.complete);
        po_json_key_bool(out, "watertight", f->watertight);
        po_json_key_bool(out, "closed", s->closed);
        po_json_key_number(out, "volume_mm3", f->volume_mm3);
        po_json_key_number(out, "area_mm2", f->area_mm2);
        key_size(out, "bounds_mm", f->bounds_mm);
        po_json_key_point(out, "centre_of_mass_mm", f->centre_of_mass_mm);
        key_int(out, "euler", f->euler);
        po_json_key_number(out, "genus", f->genus);
        walls(out, s);
        fits(out, r, s, 1);
        ways_up(out, s);
        po_text_add(out, "}");
    }
    po_text_add(out, "]");
}

static void identity(po_text *out, const po_part_proof *proof)
{
    po_json_key_string(out, "format", "proveout/part-proof/1");
    po_json_key_string(out, "file", proof->file ? proof->file : "");
    po_json_key_string(out, "sha256", proof->report->part->sha256);
    po_json_key_count(out, "bytes", proof->report->part->bytes);
}

static void one(po_text *out, const po_part_proof *proof)
{
    const po_part_report *r = proof->report;
    po_text_add(out, "{");
    identity(out, proof);
    po_json_key_string(out, "machine", r->machine->name);
    po_json_key(out, "materials");
    po_text_add(out, "[");
    po_json_string(out, r->material ? r->material->name : NULL);
    po_text_add(out, "]");
    po_json_key_string(out, "recipe", r->recipe ? r->recipe->name : NULL);
    po_json_key_string(out, "verdict", po_verdict_name(proof->verdict));
    po_json_key(out, "findings");
    po_text_add(out, "[");
    for (size_t i = 0; i < proof->n_findings; i++) {
        po_text_add(out, i ? ", " : "");
        po_json_finding(out, &proof->findings[i]);
    }
    po_text_add(out, "]");
    po_json_key(out, "facts");
    facts(out, r);
    items(out, r);
    po_json_key_string(out, "aloud", proof->aloud);
    po_json_key(out, "changed_rules");
    po_text_add(out, "[");
    for (size_t i = 0; i < proof->n_changed_rules; i++) {
        po_text_add(out, i ? ", " : "");
        po_json_string(out, proof->changed_rules[i]);
    }
    po_text_add(out, "]}");
}

static void identity_of(po_text *out, const void *proofs)
{
    identity(out, *(const po_part_proof *const *)proofs);
}

static void one_of(po_text *out, const void *proofs, size_t i)
{
    one(out, ((const po_part_proof *const *)proofs)[i]);
}

static po_verdict verdict_of(const void *proofs, size_t i)
{
    return ((const po_part_proof *const *)proofs)[i]->verdict;
}

po_status po_part_slip_json(const po_part_proof *const *proofs, size_t n_proofs, bool several, po_arena *arena,
                            po_document *ret, po_err *err)
{
    const po_json_proofs of = {proofs, n_proofs, several, identity_of, one_of, verdict_of};
    return po_json_document(&of, arena, ret, err);
}
