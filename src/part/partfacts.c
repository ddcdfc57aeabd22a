/* All facts of a part: solids, totals, and what each machine and recipe make of them. SPDX-License-Identifier: Apache-2.0
 *
 * What no machine has a say in (topology, walls, ways up) is measured once and shared by all reports; so are estimates of
 * machines that move, heat and feed alike. Totals are defined in docs/measures.md, "Meshes": sums over all items, copies
 * counted; the centre of mass is weighted by volume.
 * A part is judged without what could not be measured (say, walls where the ray library is missing); the report says so. */
#include "part/partfacts.h"

#include <math.h>
#include <string.h>

/* ---- progress, and what went missing ---- */

static bool tell(const po_steps *steps, uint64_t done)
{
    const po_part_options *o = steps->options;
    return o->progress == NULL || o->progress(done < steps->total ? done : steps->total, steps->total, o->user);
}

po_status po_steps_begin(po_steps *steps, uint64_t slice, po_err *err)
{
    steps->done += steps->slice;
    steps->slice = slice;
    return tell(steps, steps->done) ? PO_OK : po_fail(err, PO_E_CANCELLED, "stopped while the part was being measured");
}

bool po_steps_within(uint64_t done, uint64_t total, void *user)
{
    const po_steps *steps = user;
    double share = total > 0 && done < total ? (double)done / (double)total : 1;
    return tell(steps, steps->done + (uint64_t)(share * (double)steps->slice));
}

bool po_go_without(po_unmeasured *list, const char *what, const po_err *err)
{
    if (err->code != PO_E_UNSUPPORTED && err->code != PO_E_RANGE && err->code != PO_E_LIMIT &&
        err->code != PO_E_NOTFOUND) {
        return false;
    }
    const char *sentence = po_arena_printf(list->arena, "%s (%s).", what, err->msg);
    for (size_t i = 0; sentence != NULL && i < list->n; i++) {
        if (strcmp(list->said[i], sentence) == 0) {
            return true;
        }
    }
    if (sentence == NULL) {
        list->failed = true;
    } else if (list->n < list->cap) {
        list->said[list->n++] = sentence;
    }
    return true;
}

/* ---- totals ---- */

static double least(double a, double b)
{
    return isnan(a) || b < a ? b : a;
}

static void add_copies(po_part_totals *t, const po_solid *s, const po_copies *copies, double *moment)
{
    const double *first = copies->items[0]->matrix;
    const po_mesh_facts *f = &s->facts;
    for (size_t i = 0; i < copies->n_items; i++) {
        for (int k = 0; k < 3; k++) {
            double shift = copies->items[i]->matrix[9 + k] - first[9 + k];
            t->bounds_mm[0][k] = fmin(t->bounds_mm[0][k], f->bounds_mm[0][k] + shift);
            t->bounds_mm[1][k] = fmax(t->bounds_mm[1][k], f->bounds_mm[1][k] + shift);
            moment[k] += f->volume_mm3 != 0 ? f->volume_mm3 * (f->centre_of_mass_mm[k] + shift) : 0;
        }
    }
}

static po_part_totals sum_up(const po_solid *solids, size_t n, const po_copies *copies)
{
    po_part_totals t = {.watertight = n > 0,
                        .seams_closed_at_mm = NAN,
                        .centre_of_mass_mm = {NAN, NAN, NAN},
                        .genus = 0,
                        .thinnest_wall_mm = NAN,
                        .stands = n > 0};
    double moment[3] = {0, 0, 0};
    for (int k = 0; k < 3; k++) {
        t.bounds_mm[0][k] = INFINITY;
        t.bounds_mm[1][k] = -INFINITY;
    }
    for (size_t i = 0; i < n; i++) {
        const po_solid *s = &solids[i];
        const po_mesh_facts *f = &s->facts;
        uint64_t times = s->times;
        double many = (double)times;
        t.triangles += times * f->triangles;
        t.vertices += times * f->vertices;
        t.shells += times * f->shells;
        t.open_edges += times * f->open_edges;
        t.crowded_edges += times * f->crowded_edges;
        t.flipped_triangles += times * f->flipped_triangles;
        t.flat_triangles += times * f->flat_triangles;
        t.doubled_triangles += times * f->doubled_triangles;
        t.self_cuts += times * s->cuts.pairs;
        t.watertight &= f->watertight;
        t.seams_closed_at_mm = fmax(t.seams_closed_at_mm, f->seams_closed_at_mm); /* fmax: a number before NAN */
        t.volume_mm3 += many * f->volume_mm3;
        t.area_mm2 += many * f->area_mm2;
        t.euler += (int64_t)times * f->euler;
        t.genus += many * f->genus;
        add_copies(&t, s, &copies[i], moment);
        /* a measure that one of them lacks has no sum */
        t.thinnest_wall_mm = s->walls_done ? least(t.thinnest_wall_mm, s->walls.thinnest_wall_mm) : t.thinnest_wall_mm;
        t.thin_wall_mm2 += s->walls_done ? many * s->walls.thin_wall_mm2 : NAN;
        t.slim_wall_mm2 += s->walls_done ? many * s->walls.slim_wall_mm2 : NAN;
        t.overhang_mm2 += s->lies_done ? many * s->lies.overhang_mm2 : NAN;
        t.support_mm3 += s->lies_done ? many * s->lies.support_mm3 : NAN;
        t.foothold_mm2 += s->lies_done ? many * s->lies.foothold_mm2 : NAN;
        t.stands &= s->lies_done && s->lies.stands;
    }
    for (int k = 0; k < 3; k++) {
        if (t.volume_mm3 != 0) {
            t.centre_of_mass_mm[k] = moment[k] / t.volume_mm3;
        }
        if (!(t.bounds_mm[0][k] <= t.bounds_mm[1][k])) {
            t.bounds_mm[0][k] = t.bounds_mm[1][k] = NAN;
        }
    }
    t.genus = t.watertight ? t.genus : NAN;
    return t;
}

/* ---- reports ---- */

static double narrowest_bead(const po_shop *shop, double unknown)
{
    double bead = NAN;
    for (size_t i = 0; i < shop->n_recipes; i++) {
        bead = fmin(bead, shop->recipes[i].bead_width_mm);
    }
    return isnan(bead) ? unknown : bead;
}

static bool same_nozzles(const po_machine *a, const po_machine *b)
{
    return a->n_nozzles == b->n_nozzles && a->nozzles[0].diameter_mm == b->nozzles[0].diameter_mm &&
           a->nozzles[0].melt_mm3_s == b->nozzles[0].melt_mm3_s;
}

/* Whether two machines take the same time and filament for everything. */
static bool alike(const po_machine *a, const po_machine *b)
{
    const po_limits *m = &a->limits, *n = &b->limits;
    bool same = m->print_mm_s2 == n->print_mm_s2 && m->travel_mm_s2 == n->travel_mm_s2 &&
                m->retract_mm_s2 == n->retract_mm_s2 && m->corner == n->corner && m->deviation_mm == n->deviation_mm;
    for (int i = 0; i < 4; i++) {
        same = same && m->feed_mm_s[i] == n->feed_mm_s[i] && m->accel_mm_s2[i] == n->accel_mm_s2[i] &&
               m->step_mm_s[i] == n->step_mm_s[i];
    }
    const po_heat *h = &a->heat, *k = &b->heat;
    same = same && h->nozzle_c_per_s == k->nozzle_c_per_s && h->bed_c_per_s == k->bed_c_per_s &&
           h->room_c == k->room_c && h->home_seconds == k->home_seconds && h->probe_seconds == k->probe_seconds;
    for (int i = 0; i < 3; i++) { /* where a run starts and how far it may go */
        same = same && a->home_mm[i] == b->home_mm[i] && a->reach[i].low == b->reach[i].low &&
               a->reach[i].high == b->reach[i].high;
    }
    return same && same_nozzles(a, b) && a->retract_mm == b->retract_mm && a->retract_mm_s == b->retract_mm_s &&
           a->retract_extra_mm == b->retract_extra_mm;
}

/* The first report before this one whose estimates are this one's as well; NULL = none. */
static const po_part_report *alike_before(const po_part_report *reports, size_t i)
{
    for (size_t k = 0; k < i; k++) {
        if (reports[k].material == reports[i].material && alike(reports[k].machine, reports[i].machine)) {
            return &reports[k];
        }
    }
    return NULL;
}

/* The same for the filament alone, which does not depend on how a machine moves. */
static const po_part_report *same_filament_before(const po_part_report *reports, size_t i)
{
    for (size_t k = 0; k < i; k++) {
        if (reports[k].material == reports[i].material && reports[k].judged_estimate == reports[i].judged_estimate) {
            return &reports[k];
        }
    }
    return NULL;
}

/* Of more than so many allowances' worth a third of the size is left over, which is another part. */
static const double MOST_ALLOWANCES = 30;

static po_status estimate_reports(po_part_report *reports, size_t n, po_steps *steps, po_unmeasured *unmeasured,
                                  const po_part_options *options, po_arena *arena, po_err *err)
{
    for (size_t i = 0; i < n; i++) {
        po_part_report *r = &reports[i];
        const po_part_report *before = alike_before(reports, i);
        if (before != NULL) {
            r->estimates = before->estimates;
            r->judged_estimate = before->judged_estimate;
            r->allowance_scale = before->allowance_scale;
            r->hollow_mm = before->hollow_mm;
            continue;
        }
        po_estimating e = {.shop = r->shop,
                           .solids = r->solids,
                           .n_solids = r->n_solids,
                           .machine = r->machine,
                           .material = r->material,
                           .asked = options->recipe,
                           .threads = options->threads,
                           .steps = steps,
                           .unmeasured = unmeasured};
        po_status status = po_part_estimates(&e, arena, &r->estimates, &r->judged_estimate, err);
        double most = r->shop->rules.allowance_m_per_run * 1000;
        const po_part_report *asked = status == PO_OK ? same_filament_before(reports, i) : NULL;
        if (asked != NULL) {
            r->allowance_scale = asked->allowance_scale;
            r->hollow_mm = asked->hollow_mm;
        } else if (status == PO_OK && r->shop->n_recipes > 0 && most > 0 &&
                   r->estimates[r->judged_estimate].filament_mm > most &&
                   r->estimates[r->judged_estimate].filament_mm < MOST_ALLOWANCES * most) {
            status = po_part_lighter(&e, r->estimates[r->judged_estimate].recipe, most, arena, &r->allowance_scale,
                                     &r->hollow_mm, err);
        }
        if (status != PO_OK) {
            return status;
        }
    }
    return PO_OK;
}

static void guess_unit(const po_part *part, po_part_report *r)
{
    double side = 0;
    for (size_t i = 0; i < r->n_solids;
         i++) { /* not of all together: items spread over a plate are not large for that */
        for (int k = 0; k < 3; k++) {
            side = fmax(side, r->solids[i].facts.bounds_mm[1][k] - r->solids[i].facts.bounds_mm[0][k]);
        }
    }
    r->unit_factor = po_part_unit_factor(side, part->unit != NULL, po_part_largest_room(r->shop), &r->unit_guess);
}

po_status po_part_measure(const po_part *part, const po_shop *shop, const po_machine *const *machines,
                          const po_material *const *materials, size_t n_machines, const po_part_options *options,
                          po_arena *arena, const po_part_report **ret_reports, po_err *err)
{
    static const po_part_options ordinary = {.threads = 0};
    options = options != NULL ? options : &ordinary;
    po_err own;
    err = err != NULL ? err : &own; /* errors are read here, too */
    enum { MOST_NOTES = 16 };
    const po_copies *copies;
    size_t n;
    po_part_report first = {.part = part,
                            .shop = shop,
                            .recipe = options->recipe,
                            .allowance_scale = NAN,
                            .unit_factor = 1,
                            .hollow_mm = NAN};
    po_status status = po_part_assembled(part, arena, &part, err);
    first.part = part;
    if (status == PO_OK) {
        status = po_part_copies(part, arena, &copies, &n, &first.n_left_out, err);
    }
    if (status != PO_OK) {
        return status;
    }
    po_part_report *reports = po_arena_zeros(arena, n_machines + 1, sizeof *reports);
    po_solid *solids = po_arena_zeros(arena, n + 1, sizeof *solids);
    po_unmeasured unmeasured = {
        .arena = arena, .said = po_arena_zeros(arena, MOST_NOTES, sizeof(const char *)), .cap = MOST_NOTES};
    if (reports == NULL || solids == NULL || unmeasured.said == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory for the part's facts");
    }
    for (size_t i = 0; i < n_machines; i++) {
        reports[i] = first;
        reports[i].machine = machines[i];
        reports[i].material = materials[i];
    }
    size_t n_unlike = 0;
    for (size_t i = 0; i < n_machines; i++) {
        n_unlike += alike_before(reports, i) == NULL;
    }
    po_steps steps = {
        .options = options,
        .total = n * (PO_SOLID_STEPS + PO_POSES_STEPS + (uint64_t)n_unlike * shop->n_recipes * PO_ESTIMATE_STEPS)};
    po_solid_setup setup = {.part = part, .shop = shop, .options = options, .steps = &steps, .unmeasured = &unmeasured};
    po_pose_setup_for(shop, n_machines > 0 ? materials[0] : NULL, options->recipe, &setup.pose);
    setup.bead_mm = options->recipe != NULL ? options->recipe->bead_width_mm : narrowest_bead(shop, setup.pose.bead_mm);
    for (size_t i = 0; i < n; i++) {
        status = po_solid_measure(&setup, &copies[i], arena, &solids[i], err);
        if (status != PO_OK) {
            return status;
        }
        first.n_items += solids[i].times;
    }
    first.solids = solids;
    first.n_solids = n;
    first.totals = sum_up(solids, n, copies);
    guess_unit(part, &first);
    for (size_t i = 0; i < n_machines; i++) {
        first.machine = machines[i];
        first.material = materials[i];
        reports[i] = first;
    }
    status = estimate_reports(reports, n_machines, &steps, &unmeasured, options, arena, err);
    if (status != PO_OK) {
        return status;
    }
    if (unmeasured.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the part's facts");
    }
    for (size_t i = 0; i < n_machines; i++) {
        reports[i].notes = unmeasured.said;
        reports[i].n_notes = unmeasured.n;
        ret_reports[i] = &reports[i];
    }
    return po_steps_begin(&steps, 0, err);
}
