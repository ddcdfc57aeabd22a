/* One 3D model part of a 3MF: elements, attributes, and the rules between them. SPDX-License-Identifier: Apache-2.0
 *
 * Sources: 3MF core specification 1.4.0, chapters 2.3 to 5 and appendix B.1; production extension, chapters 2 to 4;
 * materials and properties extension, chapters 2 to 6. Numbers in messages are sections of the core specification unless
 * they say otherwise. What is tolerated although a specification says MUST, and why, stands in docs/3mf-notes.md.
 *
 * expat (xml.c) hands over one tag at a time. `rows` says which element may stand in which; `open_...` reads the
 * attributes; nothing calls itself, nesting lives in a small stack of kinds. */
#include "part/threemf_elements.h"

#include <stdlib.h>
#include <string.h>

#include "part/threemf_values.h"

static const char *const spaces[PO_3MF_N_SPACES] = {
    "http://schemas.microsoft.com/3dmanufacturing/core/2015/02",
    "http://schemas.microsoft.com/3dmanufacturing/material/2015/02",
    "http://schemas.microsoft.com/3dmanufacturing/production/2015/06",
    "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07",
    "http://www.w3.org/2001/XMLSchema-instance",
};
/* Extensions that are not read, by the names of their specifications (prefix of the namespace). */
static const char *const unread[][2] = {
    {"http://schemas.microsoft.com/3dmanufacturing/beamlattice/", "beam lattice"},
    {"http://schemas.microsoft.com/3dmanufacturing/slice/", "slice"},
    {"http://schemas.microsoft.com/3dmanufacturing/securecontent/", "secure content"},
    {"http://schemas.microsoft.com/3dmanufacturing/production/alternatives/", "production alternatives"},
    {"http://schemas.3mf.io/3dmanufacturing/displacement/", "displacement"},
    {"http://schemas.3mf.io/3dmanufacturing/booleanoperations/", "boolean operations"},
    {"http://schemas.3mf.io/3dmanufacturing/volumetric/", "volumetric"},
    {"http://schemas.3mf.io/3dmanufacturing/implicit/", "implicit"},
};

static const struct row {
    po_3mf_element in;
    int space;
    const char *name;
    po_3mf_element kind;
} rows[] = {
    {K_TRIANGLES, PO_3MF_SPACE_CORE, "triangle", K_TRIANGLE},
    {K_VERTICES, PO_3MF_SPACE_CORE, "vertex", K_VERTEX},
    {K_NONE, PO_3MF_SPACE_CORE, "model", K_MODEL},
    {K_MODEL, PO_3MF_SPACE_CORE, "metadata", K_METADATA},
    {K_MODEL, PO_3MF_SPACE_CORE, "resources", K_RESOURCES},
    {K_MODEL, PO_3MF_SPACE_CORE, "build", K_BUILD},
    {K_RESOURCES, PO_3MF_SPACE_CORE, "object", K_OBJECT},
    {K_RESOURCES, PO_3MF_SPACE_CORE, "basematerials", K_BASEMATERIALS},
    {K_BASEMATERIALS, PO_3MF_SPACE_CORE, "base", K_BASE},
    {K_OBJECT, PO_3MF_SPACE_CORE, "metadatagroup", K_METADATAGROUP},
    {K_ITEM, PO_3MF_SPACE_CORE, "metadatagroup", K_METADATAGROUP},
    {K_METADATAGROUP, PO_3MF_SPACE_CORE, "metadata", K_METADATA},
    {K_OBJECT, PO_3MF_SPACE_CORE, "mesh", K_MESH},
    {K_OBJECT, PO_3MF_SPACE_CORE, "components", K_COMPONENTS},
    {K_MESH, PO_3MF_SPACE_CORE, "vertices", K_VERTICES},
    {K_MESH, PO_3MF_SPACE_CORE, "triangles", K_TRIANGLES},
    {K_COMPONENTS, PO_3MF_SPACE_CORE, "component", K_COMPONENT},
    {K_BUILD, PO_3MF_SPACE_CORE, "item", K_ITEM},
    {K_RESOURCES, PO_3MF_SPACE_MATERIAL, "texture2d", K_TEXTURE},
    {K_RESOURCES, PO_3MF_SPACE_MATERIAL, "colorgroup", K_COLOURS},
    {K_COLOURS, PO_3MF_SPACE_MATERIAL, "color", K_COLOUR},
    {K_RESOURCES, PO_3MF_SPACE_MATERIAL, "texture2dgroup", K_COORDS},
    {K_COORDS, PO_3MF_SPACE_MATERIAL, "tex2coord", K_COORD},
    {K_RESOURCES, PO_3MF_SPACE_MATERIAL, "compositematerials", K_COMPOSITES},
    {K_COMPOSITES, PO_3MF_SPACE_MATERIAL, "composite", K_COMPOSITE},
    {K_RESOURCES, PO_3MF_SPACE_MATERIAL, "multiproperties", K_MULTIS},
    {K_MULTIS, PO_3MF_SPACE_MATERIAL, "multi", K_MULTI},
    {K_RESOURCES, PO_3MF_SPACE_MATERIAL, "pbspeculardisplayproperties", K_DISPLAY},
    {K_RESOURCES, PO_3MF_SPACE_MATERIAL, "pbmetallicdisplayproperties", K_DISPLAY},
    {K_RESOURCES, PO_3MF_SPACE_MATERIAL, "pbspeculartexturedisplayproperties", K_DISPLAY},
    {K_RESOURCES, PO_3MF_SPACE_MATERIAL, "pbmetallictexturedisplayproperties", K_DISPLAY},
    {K_RESOURCES, PO_3MF_SPACE_MATERIAL, "translucentdisplayproperties", K_DISPLAY},
};

static const char *extension_name(const char *uri)
{
    for (size_t i = 0; i < N_OF(unread); i++) {
        if (strncmp(uri, unread[i][0], strlen(unread[i][0])) == 0) {
            return unread[i][1];
        }
    }
    return NULL;
}

static po_status check_extensions(po_3mf_model *m, po_xml *xml, const char *required, const char *recommended,
                                  po_err *err)
{
    size_t n;
    for (const char *word, *p = required; p && (word = po_3mf_word(&p, &n));) {
        const char *uri = po_xml_space_of(xml, word, n);
        if (!uri) {
            return po_xml_fail(xml, err, PO_E_UNSUPPORTED,
                               "the file requires an extension \"%.*s\", but its prefix is declared nowhere (3.4)",
                               (int)(n < 40 ? n : 40), word);
        }
        bool known = false;
        for (int i = PO_3MF_SPACE_CORE; i <= PO_3MF_SPACE_SETS; i++) {
            known = known || strcmp(uri, spaces[i]) == 0;
        }
        m->production = m->production || strcmp(uri, spaces[PO_3MF_SPACE_PRODUCTION]) == 0;
        if (!known) {
            const char *name = extension_name(uri);
            return po_xml_fail(xml, err, PO_E_UNSUPPORTED,
                               "the file requires the extension \"%.90s\", which is not read here (3.4)",
                               name ? name : uri);
        }
    }
    size_t n2;
    for (const char *word, *p = recommended; p && (word = po_3mf_word(&p, &n));) {
        for (const char *other, *q = required; q && (other = po_3mf_word(&q, &n2));) {
            if (n == n2 && memcmp(word, other, n) == 0) {
                return po_xml_fail(xml, err, PO_E_SYNTAX,
                                   "the extension \"%.*s\" is both required and recommended (3.4)",
                                   (int)(n < 40 ? n : 40), word);
            }
        }
        const char *uri = po_xml_space_of(xml, word, n);
        bool known = false;
        for (int i = PO_3MF_SPACE_CORE; uri && i <= PO_3MF_SPACE_SETS; i++) {
            known = known || strcmp(uri, spaces[i]) == 0;
        }
        if (!known) {
            const char *name = uri ? extension_name(uri) : NULL;
            po_3mf_note(m->r, "the file recommends the extension \"%.*s\", which is not read here",
                        name || uri ? 90 : (int)(n < 40 ? n : 40),
                        name  ? name
                        : uri ? uri
                              : word);
        }
    }
    return PO_OK;
}

static po_status open_model(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    static const struct {
        const char *name;
        double mm;
    } units[] = {{"millimeter", 1}, {"micron", 0.001}, {"centimeter", 10},
                 {"inch", 25.4},    {"foot", 304.8},   {"meter", 1000}};
    const char *unit = units[0].name, *required = NULL, *recommended = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "unit", .to = &unit},
                     {.space = PO_XML_NO_SPACE, .name = "requiredextensions", .to = &required},
                     {.space = PO_XML_NO_SPACE, .name = "recommendedextensions", .to = &recommended}};
    po_status s = po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
    if (s != PO_OK) {
        return s;
    }
    for (size_t i = 0; i < N_OF(units); i++) {
        if (strcmp(unit, units[i].name) == 0) {
            m->unit_mm = units[i].mm;
            m->r->files[m->file].unit = units[i].name;
            m->r->files[m->file].unit_mm = units[i].mm;
        }
    }
    if (m->unit_mm == 0) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "unit=\"%.40s\" is none of the six that there are (3.4)", unit);
    }
    return check_extensions(m, xml, required, recommended, err);
}

static po_status open_metadata(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_3mf_element in, po_err *err)
{
    const char *name = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "name", .to = &name, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "preserve", .value = V_BOOLEAN},
                     {.space = PO_XML_NO_SPACE, .name = "type"}};
    po_status s = po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
    if (s != PO_OK) {
        return s;
    }
    const char *colon = strchr(name, ':');
    if (!name[0] || (colon && (colon == name || !colon[1]))) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "\"%.60s\" can't be the name of metadata (3.4.1)", name);
    }
    if (colon && !po_xml_space_of(xml, name, (size_t)(colon - name))) {
        return po_xml_fail(xml, err, PO_E_SYNTAX,
                           "the metadata \"%.60s\" has a prefix that is declared nowhere (3.4.1)", name);
    }
    bool ok = true;
    if (in == K_MODEL && m->root && !po_3mf_is_new(m, 'm', name, &ok)) {
        po_3mf_note(m->r, "the metadata \"%.60s\" stands twice", name);
    }
    po_xml_skip(xml); /* a text of any kind */
    return ok ? PO_OK : po_3mf_no_memory(err);
}

static po_status open_kind(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_3mf_element k, po_3mf_element in,
                           po_err *err)
{
    switch (k) {
    case K_MODEL:
        return open_model(m, xml, tag, err);
    case K_METADATA:
        return open_metadata(m, xml, tag, in, err);
    case K_RESOURCES:
        if (m->seen_resources || m->seen_build) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "<%.40s> stands twice, or behind <build> (3.4)", tag->qualified);
        }
        m->seen_resources = true;
        return po_3mf_attributes(m, xml, tag, NULL, 0, err);
    case K_BUILD: {
        const char *uuid = NULL;
        wanted list[] = {{.space = PO_3MF_SPACE_PRODUCTION,
                          .name = "UUID",
                          .value = V_UUID,
                          .to = &uuid,
                          .must = m->production && m->root}};
        if (m->seen_build || !m->seen_resources) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "<%.40s> stands %s <resources> (3.4)", tag->qualified,
                               m->seen_build ? "twice; it stands once, behind" : "before or without");
        }
        m->seen_build = true;
        if (!m->root) {
            po_xml_skip(xml); /* production extension, chapter 2: only the root's build counts */
        }
        return po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
    }
    case K_OBJECT:
        return po_3mf_open_object(m, xml, tag, err);
    case K_MESH:
    case K_COMPONENTS:
        if (m->seen_components || m->seen_vertices || m->object.is_mesh) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "object %u has more than one shape (4)", m->object.id);
        }
        if (k == K_MESH) {
            po_3mf_begin_mesh(m);
        } else {
            m->seen_components = true;
            if (m->group != PO_3MF_NONE) { /* writers in use do this: docs/3mf-notes.md */
                po_3mf_note(m->r, "object %u is made of components and yet has a pid; ignored (4)", m->object.id);
            }
        }
        return po_3mf_attributes(m, xml, tag, NULL, 0, err);
    case K_VERTICES:
    case K_TRIANGLES:
        return po_3mf_open_list(m, xml, tag, k == K_VERTICES, err);
    case K_VERTEX:
        return po_3mf_open_vertex(m, xml, tag, err);
    case K_TRIANGLE:
        return po_3mf_open_triangle(m, xml, tag, err);
    case K_COMPONENT:
        return po_3mf_open_component(m, xml, tag, err);
    case K_ITEM:
        return po_3mf_open_item(m, xml, tag, err);
    case K_BASEMATERIALS:
        return po_3mf_open_group(m, xml, tag, PO_3MF_BASE, err);
    case K_BASE:
        return po_3mf_open_base(m, xml, tag, err);
    case K_TEXTURE:
        return po_3mf_open_texture(m, xml, tag, err);
    case K_COLOURS:
        return po_3mf_open_group(m, xml, tag, PO_3MF_COLOUR, err);
    case K_COLOUR:
        return po_3mf_open_colour(m, xml, tag, err);
    case K_COORDS:
        return po_3mf_open_coords(m, xml, tag, err);
    case K_COORD: {
        wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "u", .value = V_NUMBER, .must = true},
                         {.space = PO_XML_NO_SPACE, .name = "v", .value = V_NUMBER, .must = true}};
        po_3mf_reading(m)->n++;
        return po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
    }
    case K_COMPOSITES:
        return po_3mf_open_composites(m, xml, tag, err);
    case K_COMPOSITE:
        return po_3mf_open_composite(m, xml, tag, err);
    case K_MULTIS:
        return po_3mf_open_multis(m, xml, tag, err);
    case K_MULTI:
        return po_3mf_open_multi(m, xml, tag, err);
    case K_DISPLAY:
        return po_3mf_open_group(m, xml, tag, PO_3MF_DISPLAY, err);
    case K_METADATAGROUP:
    case K_NONE:
        break;
    }
    return po_3mf_attributes(m, xml, tag, NULL, 0, err);
}

static po_status open(void *user, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    po_3mf_model *m = user;
    po_3mf_element in = m->stack[tag->depth - 1];
    bool in_material = in >= K_COLOURS && in <= K_MULTI;
    for (size_t i = 0; i < N_OF(rows); i++) {
        /* Published samples leave out the prefix inside a group of the materials extension: docs/3mf-notes.md. */
        bool same = rows[i].space == tag->space ||
                    (in_material && rows[i].space == PO_3MF_SPACE_MATERIAL && tag->space == PO_3MF_SPACE_CORE);
        if (rows[i].in == in && same && strcmp(rows[i].name, tag->name) == 0) {
            if (rows[i].space != tag->space) {
                po_3mf_note(m->r, "<%.40s> lacks the prefix of the materials extension", tag->name);
            }
            m->stack[tag->depth] = rows[i].kind;
            return open_kind(m, xml, tag, rows[i].kind, in, err);
        }
    }
    if (tag->space == PO_3MF_SPACE_CORE || tag->space == PO_XML_NO_SPACE || tag->space == PO_XML_XML ||
        tag->space == PO_3MF_SPACE_XSI || in == K_NONE) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "<%.60s> may not stand here%s", tag->qualified,
                           in == K_NONE ? "; a model begins with <model> of the 3MF core namespace (3.4)" : " (B.1.1)");
    }
    if (tag->space == PO_XML_UNDECLARED) {
        po_3mf_note(m->r, "the element <%.60s> has a prefix that is declared nowhere; ignored", tag->qualified);
    }
    po_xml_skip(xml); /* 2.3.3.1: what is not supported is ignored */
    if (in == K_RESOURCES) {
        uint32_t id = 0, at;
        for (size_t i = 0; i < tag->n_attrs; i++) {
            if (tag->attrs[i].space == PO_XML_NO_SPACE && strcmp(tag->attrs[i].name, "id") == 0 &&
                po_3mf_is_id(tag->attrs[i].value, &id) && !po_3mf_find(&m->r->materials, m->file, id)) {
                return po_3mf_define_here(m, xml, PO_3MF_FOREIGN, id, &at, err); /* triangles may point to it */
            }
        }
    }
    return PO_OK;
}

static po_status close(void *user, po_xml *xml, unsigned depth, po_err *err)
{
    po_3mf_model *m = user;
    switch (m->stack[depth]) {
    case K_MODEL:
        return m->seen_resources && m->seen_build ? PO_OK
                                                  : po_xml_fail(xml, err, PO_E_SYNTAX, "the model has no <%s> (3.4)",
                                                                m->seen_resources ? "build" : "resources");
    case K_OBJECT:
        return po_3mf_close_object(m, xml, err);
    case K_MESH:
        return po_3mf_close_mesh(m, xml, err);
    case K_COMPONENTS:
        return m->r->n_components > m->object.first_component
                   ? PO_OK
                   : po_xml_fail(xml, err, PO_E_SYNTAX, "the components of object %u are none (4.2)", m->object.id);
    case K_BASEMATERIALS:
    case K_COLOURS:
    case K_COORDS:
    case K_COMPOSITES:
    case K_MULTIS:
        if (po_3mf_reading(m)->n == 0) {
            po_3mf_note(m->r, "the group %u holds nothing", po_3mf_reading(m)->id);
        }
        return PO_OK;
    default:
        return PO_OK;
    }
}

po_status po_3mf_read_model(po_3mf_reader *r, const char *part, bool root, po_err *err)
{
    static const char *const words[] = {"vertices", "triangles"};
    po_3mf_model *m = calloc(1, sizeof *m);
    if (!m || r->n_files >= PO_3MF_NONE / 4 || !po_3mf_room(&r->files, r->n_files, &r->cap_files, sizeof *r->files)) {
        free(m);
        return po_3mf_no_memory(err);
    }
    *m = (po_3mf_model){.r = r, .part = part, .file = (uint32_t)r->n_files, .root = root};
    m->group = PO_3MF_NONE;
    r->files[r->n_files++] = (po_3mf_file){.part = part, .first_object = (uint32_t)r->n_objects};
    char *text = NULL;
    po_status s = po_opc_rels_of(r->opc, part, &r->files[m->file].rels, err);
    s = s == PO_OK ? po_opc_load(r->opc, part, &text, &m->n_text, err) : s;
    if (s == PO_OK) {
        text[m->n_text] = 0; /* the scanner stops at it */
        m->text = text;
        po_xml_job job = {.text = text,
                          .n = m->n_text,
                          .where = part,
                          .spaces = spaces,
                          .n_spaces = PO_3MF_N_SPACES,
                          .most_depth = r->limits->most_depth < MOST_DEPTH ? r->limits->most_depth : MOST_DEPTH,
                          .user = m,
                          .open = open,
                          .close = close,
                          .jump_words = words,
                          .n_jump_words = 2,
                          .jump = po_3mf_jump};
        s = po_xml_read(&job, err);
    }
    free(text);
    free(m);
    return s;
}
