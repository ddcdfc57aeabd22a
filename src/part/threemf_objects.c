/* Objects, components, build items. SPDX-License-Identifier: Apache-2.0
 * Sources: 3MF core specification 1.4.0, 3.3, 3.4.3, 4 and 4.2; production extension, chapters 2 to 4. Numbers in messages
 * are sections of the core specification unless they say otherwise. */
#include "part/threemf_elements.h"

#include <assert.h>
#include <string.h>

#include "base/text.h"
#include "part/threemf_values.h"

/* The default property of an object: both or none, except that pid alone may stand for the triangles (4). */
static po_status default_property(po_3mf_model *m, po_xml *xml, const wanted *pid, uint32_t id, const wanted *pindex,
                                  uint32_t index, po_err *err)
{
    if (!pid->seen) {
        return pindex->seen ? po_xml_fail(xml, err, PO_E_SYNTAX, "the object has a pindex but no pid (4)") : PO_OK;
    }
    const po_3mf_resource *g = po_3mf_find(&m->r->materials, m->file, id);
    if (!g || (g->kind > PO_3MF_MULTI && g->kind != PO_3MF_FOREIGN)) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "pid=\"%u\" names no group of properties before it (4)", id);
    }
    if (pindex->seen && g->kind != PO_3MF_FOREIGN && index >= g->n) {
        return po_xml_fail(xml, err, PO_E_RANGE, "pindex %u is beyond the %u properties of group %u (4)", index, g->n,
                           id);
    }
    m->group = (uint32_t)(g - m->r->materials.resources);
    m->has_default = pindex->seen;
    m->index = index;
    return PO_OK;
}

po_status po_3mf_open_object(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    static const char *const types[] = {"model", "support", "solidsupport", "surface", "other"};
    static_assert(PO_OBJECT_MODEL == 0 && PO_OBJECT_SUPPORT == 1 && PO_OBJECT_SOLID_SUPPORT == 2 &&
                      PO_OBJECT_SURFACE == 3 && PO_OBJECT_OTHER == 4,
                  "types[] follows po_object_type");
    uint32_t id = 0, group = 0, index = 0;
    const char *type = types[0], *name = NULL, *thumbnail = NULL, *uuid = NULL;
    wanted list[] = {
        {.space = PO_XML_NO_SPACE, .name = "id", .value = V_ID, .to = &id, .must = true},
        {.space = PO_XML_NO_SPACE, .name = "pid", .value = V_ID, .to = &group},
        {.space = PO_XML_NO_SPACE, .name = "pindex", .value = V_INDEX, .to = &index},
        {.space = PO_XML_NO_SPACE, .name = "type", .to = &type},
        {.space = PO_XML_NO_SPACE, .name = "name", .to = &name},
        {.space = PO_XML_NO_SPACE, .name = "thumbnail", .to = &thumbnail},
        {.space = PO_XML_NO_SPACE, .name = "partnumber"},
        {.space = PO_3MF_SPACE_PRODUCTION, .name = "UUID", .value = V_UUID, .to = &uuid, .must = m->production}};
    po_3mf_reader *r = m->r;
    po_status s = po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
    s = s == PO_OK ? po_3mf_define_here(m, xml, PO_3MF_OBJECT, id, &m->resource, err) : s;
    s = s == PO_OK ? po_3mf_check_uuid(m, xml, 'o', uuid, err) : s;
    if (s != PO_OK) {
        return s;
    }
    m->object = (po_3mf_object){.file = m->file,
                                .id = id,
                                .number = (uint32_t)r->n_objects + 1,
                                .type = (po_object_type)N_OF(types),
                                .first_component = (uint32_t)r->n_components,
                                .first_used = (uint32_t)r->materials.n_used};
    m->group = m->index = PO_3MF_NONE;
    m->has_default = m->seen_vertices = m->seen_triangles = m->seen_components = false;
    m->seen_property = m->uses_default = false;
    m->last_pid = 0;
    r->materials.resources[m->resource].first = PO_3MF_NONE; /* not to be named before it is closed */
    for (size_t i = 0; i < N_OF(types); i++) {
        if (strcmp(type, types[i]) == 0) {
            m->object.type = (po_object_type)i;
        }
    }
    if (m->object.type == (po_object_type)N_OF(types)) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "type=\"%.40s\" is no type of an object (4)", type);
    }
    if (name) {
        m->object.name = po_arena_text(r->arena, name);
        if (!m->object.name) {
            return po_3mf_no_memory(err);
        }
    }
    if (thumbnail && !po_opc_find(r->opc, thumbnail)) {
        po_3mf_note(r, "the thumbnail \"%.80s\" of object %u is not in the package", thumbnail, id);
    }
    return default_property(m, xml, &list[1], group, &list[2], index, err);
}

po_status po_3mf_close_object(po_3mf_model *m, po_xml *xml, po_err *err)
{
    po_3mf_reader *r = m->r;
    po_3mf_object *o = &m->object;
    if (!o->is_mesh && !m->seen_components) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "object %u has neither a mesh nor components (4)", o->id);
    }
    if (o->is_mesh && m->uses_default && m->has_default) {
        po_3mf_materials *mat = &r->materials;
        po_3mf_slot *slot = po_3mf_slot_of(mat, &mat->resources[m->group], m->index); /* NULL: foreign */
        if (slot && !po_3mf_use(mat, slot, o->number)) {
            return po_3mf_no_memory(err);
        }
    }
    if (m->seen_property && !m->has_default) {
        po_3mf_note(r, "triangles of object %u have properties, but the object names none for the others (4)", o->id);
    }
    o->n_components = (uint32_t)r->n_components - o->first_component;
    o->n_used = (uint32_t)r->materials.n_used - o->first_used;
    if (r->n_objects >= PO_3MF_NONE - 2 ||
        !po_3mf_room(&r->objects, r->n_objects, &r->cap_objects, sizeof *r->objects)) {
        return po_3mf_no_memory(err);
    }
    r->materials.resources[m->resource].first = (uint32_t)r->n_objects;
    r->objects[r->n_objects++] = *o;
    r->files[m->file].n_objects++;
    return PO_OK;
}

/* An object of this file by id, complete; NULL = none so far. */
static const po_3mf_resource *object_of(const po_3mf_model *m, uint32_t id)
{
    const po_3mf_resource *r = po_3mf_find(&m->r->materials, m->file, id);
    return r && r->kind == PO_3MF_OBJECT && r->first != PO_3MF_NONE ? r : NULL;
}

/* What items and components have in common. */
typedef struct placing {
    uint32_t id, object, other;
    const char *path;
    double matrix[12];
} placing;

static po_status read_placing(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, char set, placing *ret, po_err *err)
{
    placing p = {.object = PO_3MF_NONE, .other = PO_3MF_NONE, .matrix = {1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0}};
    const char *uuid = NULL;
    bool is_item = set == 'i';
    wanted list[] = {
        {.space = PO_XML_NO_SPACE, .name = "objectid", .value = V_ID, .to = &p.id, .must = true},
        {.space = PO_XML_NO_SPACE, .name = "transform", .value = V_MATRIX, .to = p.matrix},
        {.space = PO_3MF_SPACE_PRODUCTION, .name = "path", .to = &p.path},
        {.space = PO_3MF_SPACE_PRODUCTION, .name = "UUID", .value = V_UUID, .to = &uuid, .must = m->production},
        {.space = PO_XML_NO_SPACE, .name = "partnumber"}};
    po_status s = po_3mf_attributes(m, xml, tag, list, is_item ? N_OF(list) : N_OF(list) - 1, err);
    s = s == PO_OK ? po_3mf_check_uuid(m, xml, set, uuid, err) : s;
    if (s != PO_OK) {
        return s;
    }
    for (int i = 9; i < 12; i++) {
        p.matrix[i] *= m->unit_mm;
    }
    if (!po_3mf_keeps_volume(p.matrix)) {
        return po_xml_fail(xml, err, PO_E_RANGE, "the transform of object %u flattens it or is out of bounds (3.3)",
                           p.id);
    }
    if (p.path) {
        if (!m->root) {
            return po_xml_fail(xml, err, PO_E_SYNTAX,
                               "a path stands in a model that is not the root (production extension, chapter 2)");
        }
        if (!m->production) {
            return po_xml_fail(xml, err, PO_E_SYNTAX,
                               "the model points to another file, but does not require the production extension "
                               "(production extension, chapter 1)");
        }
        if (is_item && po_text_same(p.path, m->part)) {
            p.path = NULL; /* the root itself */
        }
    }
    if (p.path) {
        const po_opc_rels *rels = &m->r->files[m->file].rels;
        const po_opc_rel *rel = po_opc_find_rel(rels, PO_OPC_MODEL_REL, p.path);
        if (!rel || po_text_same(p.path, m->part)) {
            return po_xml_fail(xml, err, PO_E_NOTFOUND,
                               "\"%.90s\" is no model that the root is related to (production extension, 3.3)", p.path);
        }
        p.other = (uint32_t)(rel - rels->list);
    } else {
        const po_3mf_resource *o = object_of(m, p.id);
        if (!o) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "objectid=\"%u\" names no object before it (%s)", p.id,
                               is_item ? "3.4.3.1" : "4.2.1");
        }
        p.object = o->first;
    }
    *ret = p;
    return PO_OK;
}

po_status po_3mf_open_component(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    placing p;
    po_3mf_reader *r = m->r;
    po_status s = read_placing(m, xml, tag, 'c', &p, err);
    if (s != PO_OK) {
        return s;
    }
    if (r->n_components >= (UINT32_C(1) << 31) - 1 ||
        !po_3mf_room(&r->components, r->n_components, &r->cap_components, sizeof *r->components)) {
        return po_3mf_no_memory(err);
    }
    po_3mf_component c = {.object = p.object, .id = p.id, .other = p.other};
    memcpy(c.matrix, p.matrix, sizeof c.matrix);
    r->components[r->n_components++] = c;
    return PO_OK;
}

po_status po_3mf_open_item(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    placing p;
    po_3mf_reader *r = m->r;
    po_status s = read_placing(m, xml, tag, 'i', &p, err);
    if (s != PO_OK) {
        return s;
    }
    if (r->n_items == PO_3MF_MOST_ITEMS) {
        return po_xml_fail(xml, err, PO_E_LIMIT, "the build has more than %d items", PO_3MF_MOST_ITEMS);
    }
    if (!po_3mf_room(&r->items, r->n_items, &r->cap_items, sizeof *r->items)) {
        return po_3mf_no_memory(err);
    }
    po_3mf_item item = {.object = p.object, .id = p.id, .other = p.other};
    memcpy(item.matrix, p.matrix, sizeof item.matrix);
    r->items[r->n_items++] = item;
    return PO_OK;
}
