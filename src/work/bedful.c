/* Parts made ready to be laid out. SPDX-License-Identifier: Apache-2.0 */
#include "work/bedful.h"

#include <math.h>
#include <string.h>

void work_bedful_usual(const po_shop *shop, const po_machine *machine, const po_material **ret_material,
                       const po_recipe **ret_recipe)
{
    *ret_material = po_shop_house_material(shop);
    if (!po_machine_takes(shop, machine, *ret_material)) {
        *ret_material = &shop->materials[machine->materials[0]];
    }
    *ret_recipe = po_shop_recipe(shop, "everyday");
    if (!*ret_recipe && shop->n_recipes) {
        *ret_recipe = &shop->recipes[shop->n_recipes / 2];
    }
}

/* Lowest point to 0, middle to the origin. */
static const po_mesh *settle(const po_mesh *mesh, po_arena *arena, double size[3], po_err *err)
{
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    for (size_t i = 0; i < 3 * mesh->n_triangles; i++) {
        for (size_t k = 0; k < 3; k++) {
            double x = mesh->xyz[3 * (size_t)mesh->corners[i] + k];
            low[k] = fmin(low[k], x);
            high[k] = fmax(high[k], x);
        }
    }
    const double matrix[12] = {1, 0, 0, 0, 1, 0, 0, 0, 1, -(low[0] + high[0]) / 2, -(low[1] + high[1]) / 2, -low[2]};
    for (int k = 0; k < 3; k++) {
        size[k] = high[k] - low[k];
    }
    const po_mesh *ret = NULL;
    return po_mesh_placed(mesh, matrix, arena, &ret, err) == PO_OK ? ret : NULL;
}

static po_status make_part(work_bedfuls *b, const work_bedful_wish *w, const po_mesh *mesh, work_bedful_part *ret,
                           po_err *err)
{
    po_mesh_facts facts;
    int threads = b->setup.effort.threads;
    po_status status = po_mesh_measure(mesh, threads, b->arena, &facts, err);
    if (status != PO_OK) {
        return status;
    }
    mesh = facts.judged;
    po_pose_setup pose_setup;
    po_pose_setup_for(b->shop, w->material, w->recipe, &pose_setup);
    if (w->find_pose) {
        const po_pose *poses;
        size_t n, as_is;
        status = po_pose_find(mesh, &pose_setup, NULL, 1, threads, NULL, NULL, b->arena, &poses, &n, &as_is, err);
        if (status == PO_OK) {
            double matrix[12] = {0};
            memcpy(matrix, poses[0].turn, sizeof poses[0].turn);
            status = po_mesh_placed(mesh, matrix, b->arena, &mesh, err);
        }
        if (status != PO_OK) {
            return status;
        }
    }
    ret->mesh = settle(mesh, b->arena, ret->size_mm, err);
    if (!ret->mesh) {
        return err->code;
    }
    po_err none; /* a part that can't be estimated can still be laid out */
    po_estimate_setup setup = {.recipe = w->recipe,
                               .machine = b->machine,
                               .material = w->material,
                               .scale = 1,
                               .fill_percent = NAN,
                               .threads = threads};
    ret->estimated = w->recipe && po_part_estimate(ret->mesh, &setup, b->arena, &ret->estimate, &none) == PO_OK;
    return PO_OK;
}

static uint32_t group_of(const work_bedfuls *b, const work_bedful_wish *w)
{
    uint32_t group = 0;
    for (size_t i = 0; i < b->n_parts; i++) {
        if (b->parts[i].material == w->material && b->parts[i].recipe == w->recipe) {
            return b->laid[i].group;
        }
        group = b->laid[i].group >= group ? b->laid[i].group + 1 : group;
    }
    return group;
}

po_status work_bedful_add(work_bedfuls *b, const work_bedful_wish *w, const po_part *part, po_err *err)
{
    size_t models = 0;
    const char *slash = strrchr(w->path, '/');
    for (size_t i = 0; i < part->n_items; i++) {
        models += part->objects[part->items[i].object].type == PO_OBJECT_MODEL;
    }
    for (size_t i = 0; i < part->n_items; i++) {
        const po_part_item *item = &part->items[i];
        size_t same = 0;
        if (part->objects[item->object].type != PO_OBJECT_MODEL) {
            continue;
        }
        bool seen = false;
        for (size_t k = 0; k < part->n_items; k++) { /* items that differ only by where they lie are copies */
            const po_part_item *o = &part->items[k];
            bool alike = o->object == item->object && !memcmp(o->matrix, item->matrix, 9 * sizeof(double));
            seen = seen || (alike && k < i);
            same += alike;
        }
        if (seen) {
            continue;
        }
        if (b->n_parts == WORK_BEDFUL_PARTS) {
            return po_fail(err, PO_E_LIMIT, "more than %d different parts; split the list", WORK_BEDFUL_PARTS);
        }
        work_bedful_part *p = &b->parts[b->n_parts];
        const char *name = slash ? slash + 1 : w->path;
        *p = (work_bedful_part){.path = w->path,
                                .member = w->member,
                                .due_text = w->due_text,
                                .material = w->material,
                                .recipe = w->recipe};
        p->label = models > same ? po_arena_printf(b->arena, "%s, item %u", name, item->build_item) : name;
        const po_mesh *mesh;
        po_status status = po_mesh_placed(&part->objects[item->object].mesh, item->matrix, b->arena, &mesh, err);
        status = status == PO_OK ? make_part(b, w, mesh, p, err) : status;
        if (status != PO_OK) {
            return status;
        }
        b->laid[b->n_parts] = (po_nest_part){.height_mm = p->size_mm[2],
                                             .copies = w->copies * (uint32_t)same,
                                             .turn_step_deg = w->turn_step,
                                             .group = group_of(b, w),
                                             .due = w->due};
        b->n_parts++;
    }
    return models ? PO_OK : po_fail(err, PO_E_EMPTY, "there is no model in it");
}

po_status work_bedful_outlines(work_bedfuls *b, size_t *ret_part, po_err *err)
{
    double most = 0;
    for (size_t i = 0; i < b->n_parts; i++) {
        most = fmax(most, b->laid[i].height_mm);
    }
    b->setup.n_bands = b->reach_over ? WORK_BEDFUL_BANDS : 1;
    for (size_t band = 0; band < b->setup.n_bands; band++) {
        b->band_from[band] = most * (double)band / (double)b->setup.n_bands;
    }
    b->setup.band_from_mm = b->band_from;
    for (size_t i = 0; i < b->n_parts; i++) {
        po_loops *bands = po_arena_zeros(b->arena, b->setup.n_bands, sizeof *bands);
        *ret_part = i;
        if (!bands) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
        for (size_t band = 0; band < b->setup.n_bands; band++) {
            double to = band + 1 < b->setup.n_bands ? b->band_from[band + 1] : most + 1;
            if (b->band_from[band] < b->laid[i].height_mm) {
                po_status status = po_nest_outline(b->parts[i].mesh, b->band_from[band], to, b->arena, &bands[band],
                                                   err);
                if (status != PO_OK) {
                    return status;
                }
            }
        }
        b->laid[i].bands = bands;
    }
    return PO_OK;
}
