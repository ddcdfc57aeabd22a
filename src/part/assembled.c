/* What a build item brings together becomes one object. SPDX-License-Identifier: Apache-2.0
 *
 * A 3MF object may be put together from components (3MF core, section 4.2): they are printed as one, so a table's top does not
 * float and its legs do not tip over by themselves. Build items of the same components that differ only by where they lie
 * share the object that is made. */
#include <math.h>
#include <string.h>

#include "proveout/solid.h"

typedef struct group { /* models of one build item */
    size_t first, n;   /* in items brought together */
    size_t object;     /* that was made of them; SIZE_MAX: none */
} group;

/* How far b lies from a when they are the same but for that; false when they are not. */
static bool same_but_place(const po_part_item *a, const po_part_item *b, size_t n, double shift[3])
{
    for (int k = 0; k < 3; k++) {
        shift[k] = b[0].matrix[9 + k] - a[0].matrix[9 + k];
    }
    for (size_t i = 0; i < n; i++) {
        if (a[i].object != b[i].object || memcmp(a[i].matrix, b[i].matrix, 9 * sizeof(double)) != 0) {
            return false;
        }
        for (int k = 0; k < 3; k++) {
            if (fabs(b[i].matrix[9 + k] - a[i].matrix[9 + k] - shift[k]) > 1e-9) {
                return false;
            }
        }
    }
    return true;
}

/* The meshes of some items, each where it is placed, as one. */
static po_status merge(const po_part *part, const po_part_item *items, size_t n, po_arena *arena, po_part_object *ret,
                       po_err *err)
{
    const po_part_object *first = &part->objects[items[0].object];
    *ret = (po_part_object){.type = PO_OBJECT_MODEL, .name = first->name, .id = first->id};
    size_t vertices = 0, triangles = 0;
    for (size_t i = 0; i < n; i++) {
        const po_part_object *object = &part->objects[items[i].object];
        vertices += object->mesh.n_vertices;
        triangles += object->mesh.n_triangles;
        ret->n_materials = object->n_materials > ret->n_materials ? object->n_materials : ret->n_materials;
    }
    double *xyz = po_arena_zeros(arena, vertices + 1, 3 * sizeof *xyz);
    uint32_t *corners = po_arena_zeros(arena, triangles + 1, 3 * sizeof *corners);
    if (xyz == NULL || corners == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory to bring %zu components together", n);
    }
    if (vertices > UINT32_MAX) {
        return po_fail(err, PO_E_LIMIT, "an item of %zu corners is too large", vertices);
    }
    size_t v = 0, t = 0;
    for (size_t i = 0; i < n; i++) {
        const po_mesh *mesh;
        po_status status = po_mesh_placed(&part->objects[items[i].object].mesh, items[i].matrix, arena, &mesh, err);
        if (status != PO_OK) {
            return status;
        }
        memcpy(xyz + 3 * v, mesh->xyz, 3 * mesh->n_vertices * sizeof *xyz);
        for (size_t k = 0; k < 3 * mesh->n_triangles; k++) {
            corners[3 * t + k] = mesh->corners[k] + (uint32_t)v;
        }
        v += mesh->n_vertices;
        t += mesh->n_triangles;
    }
    ret->mesh = (po_mesh){xyz, v, corners, t};
    return PO_OK;
}

static bool needed(const po_part *part)
{
    for (size_t i = 1; i < part->n_items; i++) {
        if (part->items[i].build_item == part->items[i - 1].build_item) {
            return true;
        }
    }
    return false;
}

po_status po_part_assembled(const po_part *part, po_arena *arena, const po_part **ret, po_err *err)
{
    if (!needed(part)) {
        *ret = part;
        return PO_OK;
    }
    po_part *made = po_arena_zeros(arena, 1, sizeof *made);
    po_part_item *items = po_arena_zeros(arena, part->n_items + 1, sizeof *items);
    po_part_item *models = po_arena_zeros(arena, part->n_items + 1, sizeof *models);
    group *groups = po_arena_zeros(arena, part->n_items + 1, sizeof *groups);
    po_part_object *objects = po_arena_zeros(arena, part->n_objects + part->n_items + 1, sizeof *objects);
    if (!made || !items || !models || !groups || !objects) {
        return po_fail(err, PO_E_NOMEM, "no memory for the part's items");
    }
    memcpy(objects, part->objects, part->n_objects * sizeof *objects);
    size_t n_items = 0, n_models = 0, n_groups = 0, n_objects = part->n_objects;
    for (size_t i = 0, end; i < part->n_items; i = end) {
        group g = {.first = n_models, .object = SIZE_MAX};
        for (end = i; end < part->n_items && part->items[end].build_item == part->items[i].build_item; end++) {
            if (part->objects[part->items[end].object].type == PO_OBJECT_MODEL) {
                models[n_models++] = part->items[end];
                g.n++;
            } else {
                items[n_items++] = part->items[end];
            }
        }
        if (g.n < 2) {
            if (g.n == 1) {
                items[n_items++] = models[g.first];
            }
            continue;
        }
        po_part_item item = {.matrix = {1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0}, .build_item = part->items[i].build_item};
        for (size_t k = 0; k < n_groups && g.object == SIZE_MAX; k++) {
            double shift[3];
            if (groups[k].n == g.n && same_but_place(models + groups[k].first, models + g.first, g.n, shift)) {
                g.object = groups[k].object;
                memcpy(item.matrix + 9, shift, sizeof shift);
            }
        }
        if (g.object == SIZE_MAX) {
            po_status status = merge(part, models + g.first, g.n, arena, &objects[n_objects], err);
            if (status != PO_OK) {
                return status;
            }
            g.object = n_objects++;
            groups[n_groups++] = g; /* later ones are told by the first */
        }
        item.object = (uint32_t)g.object;
        items[n_items++] = item;
    }
    *made = *part;
    made->objects = objects;
    made->n_objects = n_objects;
    made->items = items;
    made->n_items = n_items;
    *ret = made;
    return PO_OK;
}
