/* One way up of a solid in full, and what is written of it. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "part/partfacts.h"
#include "part/pose_candidates.h"
#include "proveout/pieces.h"
#include "proveout/show.h"

static po_status turned(const po_mesh *mesh, const double turn[9], po_arena *arena, const po_mesh **ret, po_err *err)
{
    double matrix[12] = {0};
    memcpy(matrix, turn, 9 * sizeof *turn);
    return po_mesh_placed(mesh, matrix, arena, ret, err);
}

static po_status wrong_turn(po_err *err)
{
    return po_fail(err, PO_E_RANGE, "a pose's nine numbers are no turn");
}

/* One piece of the solid as it is turned, for the estimating of whole parts. */
static po_solid piece_of(const po_solid *from, const po_mesh *mesh, const po_pose *pose)
{
    po_solid one = *from;
    one.times = 1;
    one.judged = mesh;
    one.lies = *pose;
    one.lies_done = true;
    return one;
}

po_status po_solid_posed(const po_part_report *r, size_t number, const double turn[9], bool estimates,
                         const po_part_options *options, po_arena *arena, po_posed *ret, po_err *err)
{
    const po_solid *s = &r->solids[number];
    po_posed posed = {.pose = {.across_layers = NAN}};
    po_pose_setup setup;
    if (!po_is_turn(turn)) {
        return wrong_turn(err);
    }
    po_pose_setup_for(r->shop, r->material, r->recipe, &setup);
    po_status status = po_show_classes(s, turn, &setup, options->threads, arena, &posed.classes, &posed.pose, err);
    if (status == PO_OK && !s->lies_done) {
        return po_fail(err, PO_E_RANGE, "how this part lies could not be measured");
    }
    double largest = posed.pose.foothold_mm2;
    for (size_t i = 0; i < s->n_poses; i++) {
        largest = fmax(largest, s->poses[i].foothold_mm2);
    }
    if (status == PO_OK) {
        posed.pose.why = po_pose_why(&posed.pose, largest, &setup, arena);
        status = posed.pose.why ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out while a pose was measured");
    }
    po_arena *scratch = po_arena_new(0); /* the turned mesh is as large as the part */
    const po_mesh *mesh = NULL;
    po_fit *fits = po_arena_zeros(arena, r->shop->n_machines + 1, sizeof *fits);
    if (status == PO_OK) {
        status = scratch && fits ? turned(s->judged, turn, scratch, &mesh, err)
                                 : po_fail(err, PO_E_NOMEM, "memory ran out while a pose was measured");
    }
    for (size_t m = 0; status == PO_OK && m < r->shop->n_machines; m++) {
        status = po_part_fit(mesh, &r->shop->machines[m], 0, NULL, 0, scratch, &fits[m], err);
    }
    posed.fits = fits;
    if (status == PO_OK && estimates && r->shop->n_recipes > 0) {
        po_solid one = piece_of(s, mesh, &posed.pose);
        const char *said[4] = {0};
        po_unmeasured unmeasured = {.arena = arena, .said = said, .cap = 4};
        po_steps steps = {.options = options, .total = r->shop->n_recipes * PO_ESTIMATE_STEPS};
        po_estimating e = {.shop = r->shop,
                           .solids = &one,
                           .n_solids = 1,
                           .machine = r->machine,
                           .material = r->material,
                           .asked = r->recipe,
                           .threads = options->threads,
                           .steps = &steps,
                           .unmeasured = &unmeasured};
        status = po_part_estimates(&e, arena, &posed.estimates, &posed.judged, err);
        posed.why_no_estimate = unmeasured.n > 0 ? unmeasured.said[0] : NULL;
    }
    po_arena_free(scratch);
    *ret = status == PO_OK ? posed : *ret;
    return status;
}

po_status po_solid_scales(const po_part_report *r, size_t number, const double turn[9], const po_recipe *recipe,
                          double most_mm, const po_part_options *options, po_arena *arena, double *ret_allowance,
                          double *ret_machine, po_err *err)
{
    const po_solid *s = &r->solids[number];
    po_arena *scratch = po_arena_new(0);
    const po_mesh *mesh = NULL;
    po_fit fit;
    po_pose pose;
    po_pose_setup setup;
    double allowance = NAN;
    if (!po_is_turn(turn)) {
        po_arena_free(scratch);
        return wrong_turn(err);
    }
    po_pose_setup_for(r->shop, r->material, recipe, &setup);
    po_status status = scratch ? turned(s->judged, turn, scratch, &mesh, err)
                               : po_fail(err, PO_E_NOMEM, "memory ran out while a scale was looked for");
    if (status == PO_OK) {
        status = po_pose_measure(s->judged, turn, &setup, options->threads, scratch, &pose, err);
    }
    if (status == PO_OK) {
        status = po_part_fit(mesh, r->machine, 0, NULL, 0, scratch, &fit, err);
    }
    if (status == PO_OK && recipe && most_mm > 0) {
        double support = isfinite(pose.support_open_mm3) ? pose.support_open_mm3 : 0;
        po_estimate_setup e = {.recipe = recipe,
                               .machine = r->machine,
                               .material = r->material,
                               .scale = 1,
                               .support_mm3 = support,
                               .fill_percent = NAN,
                               .threads = options->threads,
                               .progress = options->progress,
                               .user = options->user};
        enum { MOST_SCALE = 10 };
        double most = isfinite(fit.largest_scale) ? fmin(fit.largest_scale, MOST_SCALE) : 1;
        status = po_part_scale_for(mesh, &e, most_mm, 1, fmax(most, 0.06), scratch, &allowance, err);
    }
    if (status == PO_OK) {
        *ret_allowance = allowance;
        *ret_machine = fit.largest_scale;
    }
    (void)arena;
    po_arena_free(scratch);
    return status;
}

po_status po_solid_write(const po_part_report *r, size_t number, const double turn[9], double scale, bool mended,
                         po_arena *arena, const unsigned char **ret_bytes, size_t *ret_n, po_err *err)
{
    enum { MOST_COPIES = 10000 };
    const po_solid *s = &r->solids[number];
    const po_mesh *mesh = s->judged;
    if (!po_is_turn(turn)) {
        return wrong_turn(err);
    }
    if (!(scale >= 0.01 && scale <= 100)) {
        return po_fail(err, PO_E_RANGE, "a scale of %g: from 0.01 to 100 was wanted", scale);
    }
    if (s->times > MOST_COPIES) {
        return po_fail(err, PO_E_LIMIT, "%u copies: at most %d are written", s->times, MOST_COPIES);
    }
    po_mend mend;
    po_status status = mended ? po_mesh_mend(s->mesh, NAN, 0, arena, &mend, err) : PO_OK;
    po_3mf_item *items = po_arena_zeros(arena, (size_t)s->times + 1, sizeof *items);
    double(*matrices)[12] = po_arena_zeros(arena, (size_t)s->times + 1, sizeof *matrices);
    if (status == PO_OK && (!items || !matrices)) {
        status = po_fail(err, PO_E_NOMEM, "memory ran out while a part was written");
    }
    if (status != PO_OK) {
        return status;
    }
    mesh = mended ? mend.mesh : mesh;
    double low[3] = {INFINITY, INFINITY, INFINITY}, high = -INFINITY, gap = fmax(r->shop->rules.clearance_mm, 1);
    for (size_t i = 0; i < 3 * mesh->n_triangles; i++) {
        const double *p = mesh->xyz + 3 * (size_t)mesh->corners[i];
        for (int k = 0; k < 3; k++) {
            double q = scale * (p[0] * turn[k] + p[1] * turn[3 + k] + p[2] * turn[6 + k]);
            low[k] = fmin(low[k], q);
            high = k == 0 ? fmax(high, q) : high;
        }
    }
    for (uint32_t c = 0; c < s->times; c++) {
        for (int k = 0; k < 9; k++) {
            matrices[c][k] = scale * turn[k];
        }
        matrices[c][9] = c * (high - low[0] + gap) - low[0];
        matrices[c][10] = -low[1];
        matrices[c][11] = -low[2];
        items[c] = (po_3mf_item){.mesh = mesh, .name = s->name, .matrix = matrices[c]};
    }
    return po_3mf_write(items, s->times, NULL, arena, ret_bytes, ret_n, err);
}
