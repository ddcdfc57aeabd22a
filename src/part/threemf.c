/* 3MF: from the package to placed meshes. SPDX-License-Identifier: Apache-2.0
 *
 * Sources: 3MF core specification 1.4.0, 3.4.3 (build), 4.2 (components), 3.3 (matrices); production extension, chapters
 * 2 and 3. The root model is read first, then each model that it points to. An object can only name objects that are
 * complete before it, and other files can't point on, so no cycle can be written; what one item stands for is summed up
 * before anything is multiplied out. The walk over components keeps its own stack. */
#include "part/threemf.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "part/threemf_model.h"
#include "part/threemf_values.h"

enum { MOST_DEPTH = 255 };

bool po_3mf_room(void *list, size_t n, size_t *cap, size_t size)
{
    if (n < *cap) {
        return true;
    }
    void *old;
    size_t more = *cap ? 2 * *cap : 16, bytes;
    memcpy(&old, list, sizeof old); /* a pointer to any kind of object */
    if (__builtin_mul_overflow(more, size, &bytes)) {
        return false;
    }
    void *grown = realloc(old, bytes);
    if (!grown) {
        return false;
    }
    memcpy(list, &grown, sizeof grown);
    *cap = more;
    return true;
}

void po_3mf_note(po_3mf_reader *r, const char *format, ...)
{
    char text[400];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    for (size_t i = 0; i < r->n_notes; i++) {
        if (strcmp(r->notes[i], text) == 0) {
            return;
        }
    }
    const char *kept = r->n_notes < PO_3MF_MOST_NOTES ? po_arena_text(r->arena, text) : NULL;
    if (kept) {
        r->notes[r->n_notes++] = kept;
    } else {
        r->lost_notes++;
    }
}

/* The object that an item or component of the root means in another file; reads that file when it is the first. */
static po_status resolve(po_3mf_reader *r, uint32_t other, uint32_t id, uint32_t *ret, po_err *err)
{
    const char *part = r->files[0].rels.list[other].target;
    if (r->related[other] == 0) {
        const char *type = po_opc_type_of(r->opc, part);
        if (!type || !po_text_same(type, PO_OPC_MODEL_TYPE)) {
            return po_fail_at(err, PO_E_SYNTAX, part, 0, 0,
                              "this part has the content type \"%.60s\", not that of a model", type ? type : "none");
        }
        uint32_t file = (uint32_t)r->n_files;
        po_status s = po_3mf_read_model(r, part, false, err);
        if (s != PO_OK) {
            return s;
        }
        r->related[other] = file;
    }
    const po_3mf_resource *found = po_3mf_find(&r->materials, r->related[other], id);
    if (!found || found->kind != PO_3MF_OBJECT) {
        return po_fail_at(err, PO_E_SYNTAX, part, 0, 0, "the root model asks for object %u, which is not defined here",
                          id);
    }
    *ret = found->first;
    return PO_OK;
}

static po_status resolve_all(po_3mf_reader *r, po_err *err)
{
    po_status s = PO_OK;
    r->related = calloc(r->files[0].rels.n + 1, sizeof *r->related);
    if (!r->related) {
        return po_fail(err, PO_E_NOMEM, "no memory for the parts of the 3MF");
    }
    for (size_t i = 0; i < r->n_components && s == PO_OK; i++) { /* those of other files have no path */
        if (r->components[i].other != PO_3MF_NONE) {
            uint32_t object = PO_3MF_NONE;
            s = resolve(r, r->components[i].other, r->components[i].id, &object, err);
            r->components[i].object = object;
        }
    }
    for (size_t i = 0; i < r->n_items && s == PO_OK; i++) {
        if (r->items[i].other != PO_3MF_NONE) {
            s = resolve(r, r->items[i].other, r->items[i].id, &r->items[i].object, err);
        }
    }
    return s;
}

static uint64_t add(uint64_t a, uint64_t b)
{
    uint64_t sum;
    return __builtin_add_overflow(a, b, &sum) ? UINT64_MAX : sum;
}

/* Triangles, meshes and depth of an object with all its components, whose own sums are known already. */
static void sum_up(po_3mf_reader *r, po_3mf_object *o)
{
    o->depth = 1;
    if (o->is_mesh) {
        o->triangles = o->mesh.n_triangles;
        o->meshes = 1;
        o->has_other = o->type == PO_OBJECT_OTHER;
        return;
    }
    for (uint32_t i = 0; i < o->n_components; i++) {
        const po_3mf_object *c = &r->objects[r->components[o->first_component + i].object];
        o->triangles = add(o->triangles, c->triangles);
        o->meshes = add(o->meshes, c->meshes);
        o->depth = c->depth >= o->depth ? c->depth + 1 : o->depth;
        o->has_other = o->has_other || c->has_other;
    }
}

static po_status check_build(po_3mf_reader *r, uint64_t *ret_meshes, po_err *err)
{
    const char *where = r->files[0].part;
    uint64_t triangles = 0, meshes = 0;
    for (size_t f = r->n_files; f-- > 0;) { /* the root, whose components point into the others, last */
        for (uint32_t i = 0; i < r->files[f].n_objects; i++) {
            sum_up(r, &r->objects[r->files[f].first_object + i]);
        }
    }
    for (size_t i = 0; i < r->n_items; i++) {
        const po_3mf_object *o = &r->objects[r->items[i].object];
        if (o->has_other) {
            return po_fail_at(err, PO_E_SYNTAX, where, 0, 0, "item %zu builds an object of type \"other\" (3.4.3.1)",
                              i + 1);
        }
        if (o->depth > r->limits->most_depth || o->depth > MOST_DEPTH) {
            return po_fail_at(err, PO_E_LIMIT, where, 0, 0, "item %zu: components are nested %u deep; the limit is %u",
                              i + 1, o->depth, r->limits->most_depth);
        }
        triangles = add(triangles, o->triangles);
        meshes = add(meshes, o->meshes);
        if (triangles > r->limits->most_triangles || meshes > PO_3MF_MOST_ITEMS) {
            return po_fail_at(err, PO_E_LIMIT, where, 0, 0,
                              "the build multiplies out to more than %llu triangles or %d meshes",
                              (unsigned long long)r->limits->most_triangles, PO_3MF_MOST_ITEMS);
        }
    }
    *ret_meshes = meshes;
    return PO_OK;
}

/* All meshes of one item, in the order in which the file names them. */
static po_status place(po_3mf_reader *r, size_t item, po_part_item *list, size_t *n, po_err *err)
{
    struct level {
        uint32_t object, next;
        double matrix[12];
    } stack[MOST_DEPTH + 1];
    size_t depth = 1;
    stack[0].object = r->items[item].object;
    stack[0].next = 0;
    memcpy(stack[0].matrix, r->items[item].matrix, sizeof stack[0].matrix);
    while (depth > 0) {
        struct level *top = &stack[depth - 1];
        po_3mf_object *o = &r->objects[top->object];
        if (o->is_mesh) {
            if (!po_3mf_keeps_volume(top->matrix)) {
                return po_fail_at(err, PO_E_RANGE, r->files[0].part, 0, 0,
                                  "the transforms of item %zu flatten object %u or go out of bounds (3.3)", item + 1,
                                  o->id);
            }
            o->built = true;
            po_part_item *to = &list[(*n)++];
            to->object = top->object;
            memcpy(to->matrix, top->matrix, sizeof to->matrix);
            to->mirrored = po_3mf_determinant(top->matrix) < 0;
            to->build_item = (uint32_t)item + 1;
            depth--;
        } else if (top->next < o->n_components) {
            const po_3mf_component *c = &r->components[o->first_component + top->next++];
            struct level *below = &stack[depth++];
            below->object = c->object;
            below->next = 0;
            po_3mf_multiply(c->matrix, top->matrix, below->matrix);
        } else {
            depth--;
        }
    }
    return PO_OK;
}

static po_status no_memory(po_err *err)
{
    return po_fail(err, PO_E_NOMEM, "no memory for the parts of the 3MF");
}

/* Objects that are placed, in the order of the file, and items that point to them. */
static po_status hand_out(po_3mf_reader *r, uint64_t n_meshes, po_part *out, po_err *err)
{
    po_part_item *items = po_arena_zeros(r->arena, (size_t)n_meshes, sizeof *items);
    if (!items) {
        return no_memory(err);
    }
    size_t n_items = 0, n_objects = 0;
    for (size_t i = 0; i < r->n_items; i++) {
        po_status s = place(r, i, items, &n_items, err);
        if (s != PO_OK) {
            return s;
        }
    }
    for (size_t i = 0; i < r->n_objects; i++) {
        n_objects += r->objects[i].built;
    }
    po_part_object *objects = po_arena_zeros(r->arena, n_objects, sizeof *objects);
    if (!objects) {
        return no_memory(err);
    }
    const po_3mf_object *left_out = NULL;
    size_t n_left_out = 0;
    n_objects = 0;
    for (size_t i = 0; i < r->n_objects; i++) {
        po_3mf_object *o = &r->objects[i];
        if (o->built) {
            o->out = (uint32_t)n_objects;
            objects[n_objects++] = (po_part_object){
                .mesh = o->mesh, .type = o->type, .name = o->name, .id = o->id, .n_materials = o->n_used};
        } else if (o->is_mesh) {
            left_out = o;
            n_left_out++;
        }
    }
    if (n_left_out == 1) {
        po_3mf_note(r, "object %u%s%.60s%s is not in the build and is left out", left_out->id,
                    left_out->name ? " (" : "", left_out->name ? left_out->name : "", left_out->name ? ")" : "");
    } else if (n_left_out > 1) {
        po_3mf_note(r, "%zu objects are not in the build and are left out", n_left_out);
    }
    for (size_t i = 0; i < n_items; i++) {
        items[i].object = r->objects[items[i].object].out;
    }
    out->objects = objects;
    out->n_objects = n_objects;
    out->items = items;
    out->n_items = n_items;
    out->n_materials = po_3mf_count_built(r);
    if (r->lost_notes) {
        r->notes[r->n_notes] = po_arena_printf(r->arena, "there are %zu more remarks", r->lost_notes);
        r->n_notes += r->notes[r->n_notes] != NULL;
    }
    const char **notes = po_arena_zeros(r->arena, r->n_notes, sizeof *notes);
    if (!notes) {
        return no_memory(err);
    }
    memcpy(notes, r->notes, r->n_notes * sizeof *notes);
    out->notes = notes;
    out->n_notes = r->n_notes;
    return PO_OK;
}

static po_status read_all(po_3mf_reader *r, po_part *out, po_err *err)
{
    uint64_t n_meshes = 0;
    po_status s = po_3mf_read_model(r, r->opc->start_part, true, err);
    if (s == PO_OK && r->n_items == 0) {
        return po_fail_at(err, PO_E_EMPTY, r->opc->start_part, 0, 0, "the build names nothing to print (3.4.3)");
    }
    s = s == PO_OK ? resolve_all(r, err) : s;
    s = s == PO_OK ? check_build(r, &n_meshes, err) : s;
    return s == PO_OK ? hand_out(r, n_meshes, out, err) : s;
}

po_status po_threemf_read(const unsigned char *data, size_t n, const po_part_limits *limits, po_arena *arena,
                          po_part *out, po_err *err)
{
    static const po_part_limits usual = PO_PART_LIMITS_INIT;
    po_opc opc;
    po_3mf_reader r = {.opc = &opc, .limits = limits ? limits : &usual, .arena = arena};
    po_part part = {.format = PO_PART_3MF, .bytes = n};
    po_status s = po_opc_open(data, n, r.limits, arena, &opc, err);
    s = s == PO_OK ? read_all(&r, &part, err) : s;
    if (s == PO_OK) {
        part.unit = r.files[0].unit;
        part.unit_mm = r.files[0].unit_mm;
        *out = part;
    }
    free(r.files);
    free(r.related);
    free(r.objects);
    free(r.components);
    free(r.items);
    po_3mf_materials_done(&r.materials);
    po_3mf_materials_done(&r.texts);
    return s;
}
