/* What is computed of a part that is looked at: JSON, bytes, pictures, 3MF. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "desk/bench.h"
#include "proof/limits.h"
#include "proveout/pieces.h"
#include "slip/spots_picture.h"

enum { MOST_FACES = 8, MOST_TRIANGLES = 300000 };

typedef struct looking {
    po_desk *desk;
    const desk_made *made;
    const desk_look_asked *asked;
    const po_part_proof *proof;
    const po_part_report *report;
    const po_solid *solid;
    po_pose_setup setup;
    po_part_options options;
    po_arena *arena;
} looking;

static json_t *number(double value)
{
    return isfinite(value) ? json_real(value) : json_null();
}

static json_t *numbers(const double *v, size_t n)
{
    json_t *a = json_array();
    for (size_t i = 0; i < n; i++) {
        json_array_append_new(a, number(v[i]));
    }
    return a;
}

static json_t *text(const char *s)
{
    json_t *o = s ? json_string(s) : NULL; /* a name that is no UTF-8 is none */
    return o ? o : json_null();
}

static bool put(json_t *o, const char *key, json_t *value)
{
    return json_object_set_new(o, key, value) == 0;
}

/* What faces down, in the part's own words: the side of the drawing, with -y in front. */
static const char *downwards(const double turn[9])
{
    static const struct {
        double d[3];
        const char *word;
    } sides[] = {{{0, 0, -1}, "bottom"}, {{0, 0, 1}, "top"},    {{-1, 0, 0}, "left"},
                 {{1, 0, 0}, "right"},   {{0, -1, 0}, "front"}, {{0, 1, 0}, "back"}};
    for (size_t i = 0; i < sizeof sides / sizeof sides[0]; i++) {
        double dot = -(turn[2] * sides[i].d[0] + turn[5] * sides[i].d[1] + turn[8] * sides[i].d[2]);
        if (dot > 0.9998) { /* a degree */
            return sides[i].word;
        }
    }
    return "slanted";
}

static json_t *fit_note(const po_fit *f)
{
    return json_pack("{s:s, s:b, s:b, s:o, s:o, s:o}", "machine", f->machine->name, "as_is", f->as_is, "turned",
                     f->turned, "turn_deg", number(f->turn_deg), "over_mm", numbers(f->over_mm, 3), "largest_scale",
                     number(f->largest_scale));
}

static json_t *fits_note(const po_fit *fits, size_t n)
{
    json_t *a = json_array();
    for (size_t i = 0; fits && i < n; i++) {
        json_array_append_new(a, fit_note(&fits[i]));
    }
    return a;
}

static json_t *pose_note(const po_pose *p)
{
    json_t *o = json_object();
    put(o, "turn", numbers(p->turn, 9));
    put(o, "down", json_string(downwards(p->turn)));
    put(o, "size_mm", numbers(p->size_mm, 3));
    put(o, "foothold_mm2", number(p->foothold_mm2));
    put(o, "footholds", json_integer(p->footholds));
    put(o, "overhang_mm2", number(p->overhang_mm2));
    put(o, "support_mm2", number(p->overhang_open_mm2));
    put(o, "support_mm3", number(p->support_open_mm3));
    put(o, "bridge_mm", number(p->longest_bridge_mm));
    put(o, "stands", json_boolean(p->stands));
    put(o, "tip_deg", number(p->tip_deg));
    put(o, "brim", json_boolean(p->brim));
    put(o, "layers", json_integer(p->layers));
    put(o, "best_in_something", json_boolean(p->best_in_something));
    put(o, "why", text(p->why));
    return o;
}

static json_t *estimates_note(const po_estimate *e, size_t n)
{
    json_t *a = json_array();
    for (size_t i = 0; e && i < n; i++) {
        json_array_append_new(
            a,
            json_pack("{s:s, s:o, s:o, s:o, s:o, s:o, s:i, s:o, s:o, s:o}", "recipe", e[i].recipe->name, "filament_mm",
                      number(e[i].filament_mm), "filament_g", number(e[i].filament_g), "seconds", number(e[i].seconds),
                      "seconds_range", numbers((const double[2]){e[i].seconds_range.low, e[i].seconds_range.high}, 2),
                      "filament_range_mm",
                      numbers((const double[2]){e[i].filament_range_mm.low, e[i].filament_range_mm.high}, 2), "layers",
                      e[i].layers, "support_mm", number(e[i].support_mm), "support_seconds",
                      number(e[i].support_seconds), "covers", text(e[i].covers)));
    }
    return a;
}

/* ---- spots ---- */

static const po_finding *finding_of(const looking *l, const char *name)
{
    for (size_t i = 0; i < l->proof->n_findings; i++) {
        const po_finding *f = &l->proof->findings[i];
        if (strcmp(f->name, name) == 0 && (f->solid == UINT32_MAX || f->solid == l->asked->solid)) {
            return f;
        }
    }
    return NULL;
}

/* Spots that a finding speaks of. Overhangs depend on the way up: as it lies, by the finding; else by its limit. */
static po_status spots_of(const looking *l, const uint8_t *classes, const po_pose *pose, bool as_is, po_spots *ret,
                          po_err *err)
{
    po_spots all;
    po_status s = po_show_spots(l->solid, classes, 1, l->arena, &all, err);
    po_spot *kept = s == PO_OK ? po_arena_zeros(l->arena, all.n + 1, sizeof *kept) : NULL;
    size_t n = 0;
    if (s != PO_OK || !kept) {
        return s != PO_OK ? s : po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < all.n; i++) {
        bool hangs = strcmp(all.spots[i].finding, "needs-support") == 0;
        bool said = finding_of(l, all.spots[i].finding) != NULL;
        if (hangs && !as_is ? pose->overhang_open_mm2 > LIM_OVERHANG_MM2 : said) {
            kept[n++] = all.spots[i];
        }
    }
    *ret = (po_spots){kept, n, n + (all.n_all - all.n)};
    return PO_OK;
}

/* What no finding speaks of is not shown as trouble either. */
static po_status said_classes(const looking *l, const double *turn, const uint8_t **ret, po_err *err)
{
    const uint8_t *found;
    po_pose pose = l->solid->lies;
    po_status s = po_show_classes(l->solid, turn, &l->setup, l->options.threads, l->arena, &found, &pose, err);
    size_t n = l->solid->judged->n_triangles;
    uint8_t *said = s == PO_OK ? po_arena_zeros(l->arena, n + 1, 1) : NULL;
    if (s != PO_OK || !said) {
        return s != PO_OK ? s : po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    bool as_is = !turn || turn[8] == 1;
    bool hangs = as_is ? finding_of(l, "needs-support") != NULL : pose.overhang_open_mm2 > LIM_OVERHANG_MM2;
    int hushed = (finding_of(l, "thin-walls") ? 0 : PO_SHOW_THIN) | (finding_of(l, "slim-walls") ? 0 : PO_SHOW_SLIM) |
                 (hangs ? 0 : PO_SHOW_OVERHANG);
    for (size_t t = 0; t < n; t++) {
        said[t] = (uint8_t)(found[t] & ~hushed);
    }
    *ret = said;
    return PO_OK;
}

static json_t *spots_note(const looking *l, const po_spots *spots)
{
    json_t *a = json_array();
    for (size_t i = 0; i < spots->n; i++) {
        const po_spot *s = &spots->spots[i];
        const po_finding *f = finding_of(l, s->finding);
        json_array_append_new(a, json_pack("{s:i, s:s, s:s, s:o, s:o, s:o, s:o, s:o}", "number", (int)i + 1, "finding",
                                           s->finding, "grade", po_grade_name(f ? f->grade : PO_GRADE_NOTE), "at",
                                           numbers(s->at, 3), "normal", numbers(s->normal, 3), "size_mm",
                                           number(s->size_mm), "mm2", number(s->mm2), "mm", number(s->mm)));
    }
    return a;
}

/* ---- the works ---- */

static po_status as_json(json_t *o, po_arena *arena, desk_seen *ret, po_err *err)
{
    char *dump = o ? json_dumps(o, JSON_COMPACT | JSON_REAL_PRECISION(12)) : NULL;
    char *copy = dump ? po_arena_text(arena, dump) : NULL;
    free(dump);
    json_decref(o);
    if (!copy) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    *ret = (desk_seen){"application/json", copy, strlen(copy)};
    return PO_OK;
}

static json_t *solids_note(const po_part_report *r)
{
    enum { MOST = 200 };
    json_t *a = json_array();
    for (size_t i = 0; i < r->n_solids && i < MOST; i++) {
        const po_solid *s = &r->solids[i];
        double size[3];
        for (int k = 0; k < 3; k++) {
            size[k] = s->facts.bounds_mm[1][k] - s->facts.bounds_mm[0][k];
        }
        json_array_append_new(a, json_pack("{s:i, s:o, s:i, s:I, s:o, s:b}", "solid", (int)i, "name", text(s->name),
                                           "times", (int)s->times, "triangles", (json_int_t)s->judged->n_triangles,
                                           "size_mm", numbers(size, 3), "closed", s->closed));
    }
    return a;
}

static json_t *bed_note(const po_machine *m)
{
    return json_pack("{s:b, s:o, s:o}", "round", m->round_bed, "size_mm", numbers(m->bed_mm, 2), "height_mm",
                     number(m->height_mm));
}

static po_status look_part(const looking *l, desk_seen *ret, po_err *err)
{
    const po_solid *s = l->solid;
    const po_part_report *r = l->report;
    const uint8_t *classes;
    po_pose lies = s->lies;
    po_spots spots;
    po_status status = po_show_classes(s, NULL, &l->setup, l->options.threads, l->arena, &classes, &lies, err);
    status = status == PO_OK ? spots_of(l, classes, &lies, true, &spots, err) : status;
    const po_flat_face *faces = NULL;
    size_t n_faces = 0;
    status = status == PO_OK ? po_mesh_flat_faces(s->judged, MOST_FACES, l->arena, &faces, &n_faces, err) : status;
    if (status != PO_OK) {
        return status;
    }
    json_t *o = json_object(), *poses = json_array(), *flat = json_array(), *recipes = json_array();
    for (size_t i = 0; i < s->n_poses; i++) {
        json_array_append_new(poses, pose_note(&s->poses[i]));
    }
    for (size_t i = 0; i < n_faces; i++) {
        double turn[9];
        po_turn_down(faces[i].normal, turn);
        json_array_append_new(flat, json_pack("{s:I, s:o, s:o, s:o, s:s}", "triangle", (json_int_t)faces[i].triangle,
                                              "mm2", number(faces[i].mm2), "at", numbers(faces[i].at, 3), "normal",
                                              numbers(faces[i].normal, 3), "side", downwards(turn)));
    }
    for (size_t i = 0; i < r->shop->n_recipes; i++) {
        json_array_append_new(recipes, json_string(r->shop->recipes[i].name));
    }
    put(o, "format", json_string("proveout/part-view/1"));
    put(o, "machine", json_string(r->machine->name));
    put(o, "material", json_string(r->material->name));
    put(o, "recipes", recipes);
    put(o, "recipe", r->shop->n_recipes > 0 ? json_string(r->shop->recipes[r->judged_estimate].name) : json_null());
    put(o, "solid", json_integer((json_int_t)l->asked->solid));
    put(o, "solids", solids_note(r));
    put(o, "bed", bed_note(r->machine));
    put(o, "bounds_mm", json_pack("[o, o]", numbers(s->facts.bounds_mm[0], 3), numbers(s->facts.bounds_mm[1], 3)));
    put(o, "lies", s->lies_done ? pose_note(&s->lies) : json_null());
    put(o, "poses", poses);
    put(o, "as_is", s->n_poses > 0 ? json_integer((json_int_t)s->as_is) : json_null());
    put(o, "faces", flat);
    put(o, "spots", spots_note(l, &spots));
    put(o, "spots_all", json_integer((json_int_t)spots.n_all));
    put(o, "bead_mm", number(s->walls_done ? s->walls.bead_mm : l->setup.bead_mm));
    put(o, "overhang_limit_deg", number(l->setup.overhang_limit_deg));
    put(o, "allowance_mm", number(r->shop->rules.allowance_m_per_run * 1000));
    put(o, "triangles", json_integer((json_int_t)s->judged->n_triangles));
    put(o, "mendable",
        json_boolean(!s->closed || s->shells_inside_out > 0 || s->facts.doubled_triangles > 0 ||
                     s->facts.flipped_triangles > 0));
    return as_json(o, l->arena, ret, err);
}

static po_status look_mesh(const looking *l, desk_seen *ret, po_err *err)
{
    const po_solid *s = l->solid;
    const uint8_t *classes;
    po_shown shown;
    const unsigned char *bytes;
    po_status status = said_classes(l, NULL, &classes, err);
    status = status == PO_OK ? po_show_mesh(s->judged, classes, MOST_TRIANGLES, l->arena, &shown, err) : status;
    const po_wall_sample *samples = s->walls.samples;
    po_wall_sample *sheets = po_arena_zeros(l->arena, s->walls.n_samples + 1, sizeof *sheets);
    size_t n = 0;
    for (size_t i = 0; sheets && s->walls_done && i < s->walls.n_samples; i++) {
        if (samples[i].sheet && finding_of(l, samples[i].mm < s->walls.bead_mm ? "thin-walls" : "slim-walls")) {
            sheets[n++] = samples[i];
        }
    }
    status = status == PO_OK ? po_show_bytes(&shown, sheets, n, l->arena, &bytes, &ret->n, err) : status;
    if (status == PO_OK) {
        ret->type = "application/octet-stream";
        ret->data = bytes;
    }
    return status;
}

static po_status look_classes(const looking *l, desk_seen *ret, po_err *err)
{
    const uint8_t *classes;
    po_status status = said_classes(l, l->asked->turn, &classes, err);
    if (status == PO_OK) {
        *ret = (desk_seen){"application/octet-stream", classes, l->solid->judged->n_triangles};
    }
    return status;
}

static bool is_as_is(const double turn[9])
{
    return turn[8] == 1; /* about the vertical at most: overhangs are the same */
}

static po_status look_pose(const looking *l, desk_seen *ret, po_err *err)
{
    const desk_look_asked *a = l->asked;
    const po_part_report *r = l->report;
    double turn[9];
    memcpy(turn, a->turn, sizeof turn);
    if (a->face >= 0) {
        po_flat_face face;
        po_status status = po_mesh_flat_face(l->solid->judged, a->face > UINT32_MAX ? UINT32_MAX : (uint32_t)a->face,
                                             l->arena, &face, err);
        if (status != PO_OK) {
            return status;
        }
        po_turn_down(face.normal, turn);
    }
    po_turn_by(turn, a->degrees, turn);
    po_posed posed;
    po_spots spots;
    po_part_report own = *r;
    own.recipe = a->recipe ? a->recipe : r->recipe;
    po_status status = po_solid_posed(&own, a->solid, turn, true, &l->options, l->arena, &posed, err);
    status = status == PO_OK ? spots_of(l, posed.classes, &posed.pose, is_as_is(turn), &spots, err) : status;
    if (status != PO_OK) {
        return status;
    }
    json_t *o = json_object();
    put(o, "format", json_string("proveout/part-pose/1"));
    put(o, "machine", json_string(r->machine->name));
    put(o, "material", json_string(r->material->name));
    put(o, "solid", json_integer((json_int_t)a->solid));
    put(o, "pose", pose_note(&posed.pose));
    put(o, "fits", fits_note(posed.fits, r->shop->n_machines));
    put(o, "estimates", estimates_note(posed.estimates, posed.estimates ? r->shop->n_recipes : 0));
    put(o, "judged", json_integer((json_int_t)posed.judged));
    put(o, "why_no_estimate", text(posed.why_no_estimate));
    put(o, "spots", spots_note(l, &spots));
    put(o, "spots_all", json_integer((json_int_t)spots.n_all));
    return as_json(o, l->arena, ret, err);
}

static po_status look_scales(const looking *l, desk_seen *ret, po_err *err)
{
    const po_part_report *r = l->report;
    const po_recipe *recipe = l->asked->recipe         ? l->asked->recipe
                              : r->shop->n_recipes > 0 ? &r->shop->recipes[r->judged_estimate]
                                                       : NULL;
    double most = r->shop->rules.allowance_m_per_run * 1000 / (double)(r->n_items > 0 ? r->n_items : 1);
    double allowance = NAN, machine = NAN;
    po_status status = po_solid_scales(r, l->asked->solid, l->asked->turn, recipe, most, &l->options, l->arena,
                                       &allowance, &machine, err);
    if (status != PO_OK) {
        return status;
    }
    return as_json(json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:o}", "format", "proveout/part-scales/1", "machine",
                             r->machine->name, "recipe", text(recipe ? recipe->name : NULL), "allowance_mm",
                             number(most), "allowance_scale", number(allowance), "machine_scale", number(machine),
                             "both_scale", number(isfinite(allowance) ? fmin(allowance, machine) : machine)),
                   l->arena, ret, err);
}

static po_status look_view(const looking *l, desk_seen *ret, po_err *err)
{
    const desk_look_asked *a = l->asked;
    po_spots spots = {0};
    po_status status = PO_OK;
    if (!a->small) {
        const uint8_t *classes;
        po_pose pose = l->solid->lies;
        status = po_show_classes(l->solid, a->turn, &l->setup, l->options.threads, l->arena, &classes, &pose, err);
        status = status == PO_OK ? spots_of(l, classes, &pose, is_as_is(a->turn), &spots, err) : status;
    }
    const char *title = po_arena_printf(l->arena, "%s, %s down", l->solid->name ? l->solid->name : "The part",
                                        downwards(a->turn));
    po_spots_picture p = {.solid = l->solid,
                          .turn = a->turn,
                          .spots = spots.spots,
                          .n_spots = spots.n,
                          .below = a->below,
                          .small = a->small,
                          .overhang_limit_deg = a->small ? (double)NAN : l->setup.overhang_limit_deg,
                          .first_layer_mm = l->setup.first_layer_mm,
                          .bead_mm = l->solid->walls_done ? l->solid->walls.bead_mm : l->setup.bead_mm,
                          .title = title,
                          .description = po_arena_printf(l->arena, "seen from %s, %zu numbered places",
                                                         a->below ? "beneath" : "the front right above", spots.n)};
    po_document d = {0};
    status = status == PO_OK ? po_spots_svg(&p, l->arena, &d, err) : status;
    if (status == PO_OK) {
        *ret = (desk_seen){"image/svg+xml", d.data, d.n_bytes};
    }
    return status;
}

static po_status look_write(const looking *l, desk_seen *ret, po_err *err)
{
    const desk_look_asked *a = l->asked;
    const unsigned char *bytes;
    po_status status = po_solid_write(l->report, a->solid, a->turn, a->scale, a->mended, l->arena, &bytes, &ret->n,
                                      err);
    if (status == PO_OK) {
        ret->type = "model/3mf";
        ret->data = bytes;
    }
    return status;
}

po_status desk_look_do(po_desk *desk, const desk_made *made, const desk_look_asked *asked,
                       bool (*progress)(uint64_t done, uint64_t total, void *user), void *user, po_arena *arena,
                       desk_seen *ret, po_err *err)
{
    const po_part_proof *proof = made->parts[asked->machine];
    looking l = {.desk = desk,
                 .made = made,
                 .asked = asked,
                 .proof = proof,
                 .report = proof->report,
                 .solid = &proof->report->solids[asked->solid],
                 .options = {.threads = 1, .progress = progress, .user = user},
                 .arena = arena};
    po_pose_setup_for(desk->options.shop, l.report->material, l.report->recipe, &l.setup);
    switch (asked->look) {
    case DESK_LOOK_PART:
        return look_part(&l, ret, err);
    case DESK_LOOK_MESH:
        return look_mesh(&l, ret, err);
    case DESK_LOOK_POSE:
        return look_pose(&l, ret, err);
    case DESK_LOOK_CLASSES:
        return look_classes(&l, ret, err);
    case DESK_LOOK_SCALES:
        return look_scales(&l, ret, err);
    case DESK_LOOK_VIEW:
        return look_view(&l, ret, err);
    default:
        return look_write(&l, ret, err);
    }
}
