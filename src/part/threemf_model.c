/* One 3D model part of a 3MF: elements, attributes, and the rules between them. SPDX-License-Identifier: Apache-2.0
 *
 * Sources: 3MF core specification 1.4.0, chapters 2.3 to 5 and appendix B.1; production extension, chapters 2 to 4;
 * materials and properties extension, chapters 2 to 6. Numbers in messages are sections of the core specification unless
 * they say otherwise. What is tolerated although a specification says MUST, and why, stands in docs/3mf-notes.md.
 *
 * expat (xml.c) hands over one tag at a time. `rows` says which element may stand in which; `open_...` reads the
 * attributes; nothing calls itself, nesting lives in a small stack of kinds. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "part/threemf_model.h"
#include "part/threemf_values.h"
#include "part/xml.h"

enum { CORE, MATERIAL, PRODUCTION, SETS, XSI, N_SPACES };
static const char *const spaces[N_SPACES] = {
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

typedef enum kind {
    K_NONE,
    K_MODEL,
    K_METADATA,
    K_RESOURCES,
    K_OBJECT,
    K_METADATAGROUP,
    K_MESH,
    K_VERTICES,
    K_VERTEX,
    K_TRIANGLES,
    K_TRIANGLE,
    K_COMPONENTS,
    K_COMPONENT,
    K_BUILD,
    K_ITEM,
    K_BASEMATERIALS,
    K_BASE,
    K_TEXTURE,
    K_COLOURS,
    K_COLOUR,
    K_COORDS,
    K_COORD,
    K_COMPOSITES,
    K_COMPOSITE,
    K_MULTIS,
    K_MULTI,
    K_DISPLAY
} kind;

static const struct row {
    kind in;
    int space;
    const char *name;
    kind kind;
} rows[] = {
    {K_TRIANGLES, CORE, "triangle", K_TRIANGLE},
    {K_VERTICES, CORE, "vertex", K_VERTEX},
    {K_NONE, CORE, "model", K_MODEL},
    {K_MODEL, CORE, "metadata", K_METADATA},
    {K_MODEL, CORE, "resources", K_RESOURCES},
    {K_MODEL, CORE, "build", K_BUILD},
    {K_RESOURCES, CORE, "object", K_OBJECT},
    {K_RESOURCES, CORE, "basematerials", K_BASEMATERIALS},
    {K_BASEMATERIALS, CORE, "base", K_BASE},
    {K_OBJECT, CORE, "metadatagroup", K_METADATAGROUP},
    {K_ITEM, CORE, "metadatagroup", K_METADATAGROUP},
    {K_METADATAGROUP, CORE, "metadata", K_METADATA},
    {K_OBJECT, CORE, "mesh", K_MESH},
    {K_OBJECT, CORE, "components", K_COMPONENTS},
    {K_MESH, CORE, "vertices", K_VERTICES},
    {K_MESH, CORE, "triangles", K_TRIANGLES},
    {K_COMPONENTS, CORE, "component", K_COMPONENT},
    {K_BUILD, CORE, "item", K_ITEM},
    {K_RESOURCES, MATERIAL, "texture2d", K_TEXTURE},
    {K_RESOURCES, MATERIAL, "colorgroup", K_COLOURS},
    {K_COLOURS, MATERIAL, "color", K_COLOUR},
    {K_RESOURCES, MATERIAL, "texture2dgroup", K_COORDS},
    {K_COORDS, MATERIAL, "tex2coord", K_COORD},
    {K_RESOURCES, MATERIAL, "compositematerials", K_COMPOSITES},
    {K_COMPOSITES, MATERIAL, "composite", K_COMPOSITE},
    {K_RESOURCES, MATERIAL, "multiproperties", K_MULTIS},
    {K_MULTIS, MATERIAL, "multi", K_MULTI},
    {K_RESOURCES, MATERIAL, "pbspeculardisplayproperties", K_DISPLAY},
    {K_RESOURCES, MATERIAL, "pbmetallicdisplayproperties", K_DISPLAY},
    {K_RESOURCES, MATERIAL, "pbspeculartexturedisplayproperties", K_DISPLAY},
    {K_RESOURCES, MATERIAL, "pbmetallictexturedisplayproperties", K_DISPLAY},
    {K_RESOURCES, MATERIAL, "translucentdisplayproperties", K_DISPLAY},
};

enum { MOST_DEPTH = 255, MOST_QUALIFIED = 200 };

typedef struct model {
    po_3mf_reader *r;
    const char *part;
    const char *text;
    size_t n_text;
    uint32_t file;
    double unit_mm;
    bool root, production; /* production: required by this file */
    bool seen_resources, seen_build;
    kind stack[MOST_DEPTH + 1];
    /* the object being read */
    po_3mf_object object;
    uint32_t group, index; /* resource and index of its default property; PO_3MF_NONE */
    uint32_t resource;     /* its own */
    bool seen_vertices, seen_triangles, seen_components, seen_property, uses_default, has_default;
    po_3mf_mesh_fill fill;
    char child[MOST_QUALIFIED + 16], closing[MOST_QUALIFIED + 16]; /* "p:vertex", "</p:vertices" */
    uint32_t last_pid, last_group;
    const char *why; /* of the last property that was refused */
    /* the group being read */
    uint32_t reading; /* resource */
    uint32_t layers[PO_3MF_MOST_LAYERS];
    uint32_t n_layers;
} model;

/* ---- attributes ---- */

typedef enum value { V_TEXT, V_ID, V_INDEX, V_NUMBER, V_MATRIX, V_COLOUR, V_UUID, V_BOOLEAN } value;

typedef struct wanted { /* an attribute that an element may have */
    int space;
    const char *name;
    value value;
    void *to; /* NULL: checked only */
    bool must, seen;
} wanted;

static po_status no_memory(po_err *err)
{
    return po_fail(err, PO_E_NOMEM, "no memory to read the 3MF");
}

static bool fits(const wanted *w, const char *text)
{
    uint32_t index;
    double m[12];
    switch (w->value) {
    case V_TEXT:
        if (w->to) {
            *(const char **)w->to = text;
        }
        return true;
    case V_ID:
        return po_3mf_is_id(text, w->to ? w->to : &index);
    case V_INDEX:
        return po_3mf_is_index(text, w->to ? w->to : &index);
    case V_NUMBER:
        return po_3mf_is_number(text, w->to ? w->to : m);
    case V_MATRIX:
        return po_3mf_is_matrix(text, w->to ? w->to : m);
    case V_COLOUR:
        return po_3mf_is_colour(text, w->to ? w->to : &index);
    case V_UUID:
        if (w->to) {
            *(const char **)w->to = text;
        }
        return po_3mf_is_uuid(text);
    case V_BOOLEAN:
        return po_3mf_is_boolean(text);
    }
    return false;
}

static const char *const value_names[] = {
    "a text",
    "an id (1 to 2147483647)",
    "an index (0 to 2147483647)",
    "a number",
    "twelve numbers",
    "a colour #RRGGBB[AA]",
    "a UUID",
    "a boolean",
};

static po_status attributes(model *m, po_xml *xml, const po_xml_tag *tag, wanted *list, size_t n, po_err *err)
{
    for (size_t a = 0; a < tag->n_attrs; a++) {
        const po_xml_attr *attr = &tag->attrs[a];
        wanted *w = NULL;
        for (size_t i = 0; i < n && !w; i++) {
            w = list[i].space == attr->space && strcmp(list[i].name, attr->name) == 0 ? &list[i] : NULL;
        }
        if (w) {
            w->seen = true;
            if (!fits(w, attr->value)) {
                return po_xml_fail(xml, err, PO_E_SYNTAX, "%.40s=\"%.60s\" of <%.40s> is not %s", attr->name,
                                   attr->value, tag->qualified, value_names[w->value]);
            }
        } else if ((attr->space == PO_XML_XML && strcmp(attr->name, "lang") != 0) || attr->space == XSI) {
            return po_xml_fail(xml, err, PO_E_SYNTAX,
                               "<%.40s> has an attribute %s:%.40s, which 3MF does not allow (2.3.2)", tag->qualified,
                               attr->space == XSI ? "xsi" : "xml", attr->name);
        } else if (attr->space == PO_XML_NO_SPACE) {
            po_3mf_note(m->r, "<%.40s> has an attribute \"%.40s\" that the specification does not know; ignored",
                        tag->name, attr->name);
        } else if (attr->space == PO_XML_UNDECLARED) {
            po_3mf_note(m->r, "an attribute \"%.40s\" has a prefix that is declared nowhere; ignored", attr->name);
        }
    }
    for (size_t i = 0; i < n; i++) {
        if (list[i].must && !list[i].seen) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "<%.40s> lacks its %s \"%s\"", tag->qualified,
                               list[i].space == PRODUCTION ? "production attribute" : "attribute", list[i].name);
        }
    }
    return PO_OK;
}
#define N_OF(list) (sizeof(list) / sizeof *(list))

/* Whether the text was not there before (kind keeps the sets apart); *ret_ok false: no memory. */
static bool is_new(model *m, char set, const char *text, bool *ret_ok)
{
    size_t before = m->r->texts.n_wants;
    *ret_ok = po_3mf_want(&m->r->texts, set, text) != PO_3MF_NONE;
    return m->r->texts.n_wants > before;
}

/* UUIDs are unique in a package (production extension, chapter 4). */
static po_status check_uuid(model *m, po_xml *xml, char set, const char *uuid, po_err *err)
{
    char lower[37] = {0};
    bool ok = true;
    for (int i = 0; uuid && i < 36; i++) {
        lower[i] = uuid[i] >= 'A' && uuid[i] <= 'F' ? (char)(uuid[i] + 32) : uuid[i];
    }
    if (!uuid || is_new(m, set, lower, &ok)) {
        return PO_OK;
    }
    if (!ok) {
        return no_memory(err);
    }
    if (m->production) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "the UUID %s stands twice (production extension, chapter 4)", lower);
    }
    po_3mf_note(m->r, "the UUID %s stands twice", lower);
    return PO_OK;
}

/* ---- model, metadata ---- */

static const char *extension_name(const char *uri)
{
    for (size_t i = 0; i < N_OF(unread); i++) {
        if (strncmp(uri, unread[i][0], strlen(unread[i][0])) == 0) {
            return unread[i][1];
        }
    }
    return NULL;
}

static po_status check_extensions(model *m, po_xml *xml, const char *required, const char *recommended, po_err *err)
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
        for (int i = CORE; i <= SETS; i++) {
            known = known || strcmp(uri, spaces[i]) == 0;
        }
        m->production = m->production || strcmp(uri, spaces[PRODUCTION]) == 0;
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
        for (int i = CORE; uri && i <= SETS; i++) {
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

static po_status open_model(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
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
    po_status s = attributes(m, xml, tag, list, N_OF(list), err);
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

static po_status open_metadata(model *m, po_xml *xml, const po_xml_tag *tag, kind in, po_err *err)
{
    const char *name = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "name", .to = &name, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "preserve", .value = V_BOOLEAN},
                     {.space = PO_XML_NO_SPACE, .name = "type"}};
    po_status s = attributes(m, xml, tag, list, N_OF(list), err);
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
    if (in == K_MODEL && m->root && !is_new(m, 'm', name, &ok)) {
        po_3mf_note(m->r, "the metadata \"%.60s\" stands twice", name);
    }
    po_xml_skip(xml); /* a text of any kind */
    return ok ? PO_OK : no_memory(err);
}

/* ---- groups of properties ---- */

static po_status define(model *m, po_xml *xml, po_3mf_kind what, uint32_t id, uint32_t *ret, po_err *err)
{
    po_3mf_resource *r;
    if (!po_3mf_define(&m->r->materials, what, m->file, id, &r)) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "the id %u is given to two resources (3.4.2)", id);
    }
    if (!r) {
        return no_memory(err);
    }
    *ret = (uint32_t)(r - m->r->materials.resources);
    return PO_OK;
}

static po_3mf_resource *reading(model *m)
{
    return &m->r->materials.resources[m->reading];
}

static po_status add_slot(model *m, const uint32_t *wants, size_t n, po_err *err)
{
    for (size_t i = 0; i < n; i++) {
        if (wants[i] == PO_3MF_NONE) {
            return no_memory(err);
        }
    }
    return po_3mf_add_slot(&m->r->materials, wants, n) ? PO_OK : no_memory(err);
}

static po_status open_base(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    const char *name = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "name", .to = &name, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "displaycolor", .value = V_COLOUR, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "displaypropertiesid", .value = V_ID}};
    po_status s = attributes(m, xml, tag, list, N_OF(list), err);
    if (s != PO_OK) {
        return s;
    }
    uint32_t want = po_3mf_want(&m->r->materials, 'b', name);
    reading(m)->n++;
    return add_slot(m, &want, 1, err);
}

static po_status open_colour(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    uint32_t colour = 0;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "color", .value = V_COLOUR, .to = &colour, .must = true}};
    po_status s = attributes(m, xml, tag, list, N_OF(list), err);
    if (s != PO_OK) {
        return s;
    }
    char text[7];
    for (int i = 0; i < 6; i++) {
        text[i] = "0123456789abcdef"[colour >> (28 - 4 * i) & 15];
    }
    text[6] = 0;
    uint32_t want = po_3mf_want(&m->r->materials, 'c', text);
    reading(m)->n++;
    return add_slot(m, &want, 1, err);
}

static po_status open_texture(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    uint32_t id = 0;
    const char *path = NULL, *type = NULL, *style[2] = {"wrap", "wrap"}, *filter = "auto";
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "id", .value = V_ID, .to = &id, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "path", .to = &path, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "contenttype", .to = &type, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "tilestyleu", .to = &style[0]},
                     {.space = PO_XML_NO_SPACE, .name = "tilestylev", .to = &style[1]},
                     {.space = PO_XML_NO_SPACE, .name = "filter", .to = &filter},
                     {.space = PO_XML_NO_SPACE, .name = "box"}};
    po_status s = attributes(m, xml, tag, list, N_OF(list), err);
    s = s == PO_OK ? define(m, xml, PO_3MF_TEXTURE, id, &m->reading, err) : s;
    if (s != PO_OK) {
        return s;
    }
    if (strcmp(type, "image/png") != 0 && strcmp(type, "image/jpeg") != 0) {
        return po_xml_fail(xml, err, PO_E_SYNTAX,
                           "a texture of type \"%.60s\"; only JPEG and PNG may be (materials extension, chapter 6)",
                           type);
    }
    for (int i = 0; i < 2; i++) {
        if (strcmp(style[i], "wrap") != 0 && strcmp(style[i], "mirror") != 0 && strcmp(style[i], "clamp") != 0 &&
            strcmp(style[i], "none") != 0) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "\"%.40s\" is no tile style (materials extension, chapter 6)",
                               style[i]);
        }
    }
    if (strcmp(filter, "auto") != 0 && strcmp(filter, "linear") != 0 && strcmp(filter, "nearest") != 0) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "\"%.40s\" is no filter (materials extension, chapter 6)", filter);
    }
    if (path[0] != '/' || !po_opc_find(m->r->opc, path)) {
        return po_xml_fail(xml, err, PO_E_NOTFOUND, "the texture \"%.100s\" is not in the package", path);
    }
    if (!po_opc_has_rel(&m->r->files[m->file].rels, PO_OPC_TEXTURE_REL, path)) {
        po_3mf_note(m->r, "the texture \"%.100s\" has no relationship to its model", path);
    }
    reading(m)->base = po_3mf_want(&m->r->materials, 't', path);
    return reading(m)->base == PO_3MF_NONE ? no_memory(err) : PO_OK;
}

static po_status open_coords(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    uint32_t id = 0, texture = 0;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "id", .value = V_ID, .to = &id, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "texid", .value = V_ID, .to = &texture, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "displaypropertiesid", .value = V_ID}};
    po_status s = attributes(m, xml, tag, list, N_OF(list), err);
    s = s == PO_OK ? define(m, xml, PO_3MF_COORD, id, &m->reading, err) : s;
    if (s != PO_OK) {
        return s;
    }
    const po_3mf_resource *t = po_3mf_find(&m->r->materials, m->file, texture);
    if (!t || t->kind != PO_3MF_TEXTURE) {
        return po_xml_fail(xml, err, PO_E_SYNTAX,
                           "texid=\"%u\" names no texture before it (materials extension, chapter 3)", texture);
    }
    return add_slot(m, &t->base, 1, err);
}

static po_status open_composites(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    uint32_t id = 0, base = 0;
    const char *indices = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "id", .value = V_ID, .to = &id, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "matid", .value = V_ID, .to = &base, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "matindices", .to = &indices, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "displaypropertiesid", .value = V_ID}};
    po_status s = attributes(m, xml, tag, list, N_OF(list), err);
    s = s == PO_OK ? define(m, xml, PO_3MF_COMPOSITE, id, &m->reading, err) : s;
    if (s != PO_OK) {
        return s;
    }
    const po_3mf_materials *mat = &m->r->materials;
    const po_3mf_resource *b = po_3mf_find(mat, m->file, base);
    if (!b || b->kind != PO_3MF_BASE) {
        return po_xml_fail(xml, err, PO_E_SYNTAX,
                           "matid=\"%u\" names no base materials before it (materials extension, chapter 4)", base);
    }
    m->n_layers = 0;
    size_t n;
    for (const char *word; (word = po_3mf_word(&indices, &n)) != NULL;) {
        uint32_t index = 0;
        const po_3mf_slot *slot = po_3mf_index(word, word + n, &index) == word + n ? po_3mf_slot_of(mat, b, index)
                                                                                   : NULL;
        if (!slot) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "\"%.*s\" is no index into the base materials %u",
                               (int)(n < 20 ? n : 20), word, base);
        }
        if (m->n_layers == PO_3MF_MOST_LAYERS) {
            return po_xml_fail(xml, err, PO_E_LIMIT, "a composite of more than %d materials", PO_3MF_MOST_LAYERS);
        }
        m->layers[m->n_layers++] = mat->lists[slot->first_want];
    }
    if (m->n_layers == 0) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "<%.40s> mixes nothing (materials extension, chapter 4)",
                           tag->qualified);
    }
    return PO_OK;
}

static po_status open_composite(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    const char *values = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "values", .to = &values, .must = true}};
    po_status s = attributes(m, xml, tag, list, N_OF(list), err);
    if (s != PO_OK) {
        return s;
    }
    uint32_t wants[PO_3MF_MOST_LAYERS];
    size_t n, n_wants = 0, i = 0;
    for (const char *word; (word = po_3mf_word(&values, &n)) != NULL; i++) {
        double share = 0;
        if (po_3mf_number(word, word + n, &share) != word + n || share < 0 || share > 1) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "\"%.*s\" is no share between 0 and 1 (materials extension, 4.1)",
                               (int)(n < 30 ? n : 30), word);
        }
        if (share > 0 && i < m->n_layers) {
            wants[n_wants++] = m->layers[i];
        }
    }
    if (n_wants == 0) { /* all zero: equal shares of all */
        memcpy(wants, m->layers, m->n_layers * sizeof *wants);
        n_wants = m->n_layers;
    }
    reading(m)->n++;
    return add_slot(m, wants, n_wants, err);
}

static po_status open_multis(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    uint32_t id = 0;
    const char *pids = NULL, *blend = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "id", .value = V_ID, .to = &id, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "pids", .to = &pids, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "blendmethods", .to = &blend}};
    po_status s = attributes(m, xml, tag, list, N_OF(list), err);
    s = s == PO_OK ? define(m, xml, PO_3MF_MULTI, id, &m->reading, err) : s;
    if (s != PO_OK) {
        return s;
    }
    unsigned materials = 0, colours = 0;
    size_t n;
    m->n_layers = 0;
    for (const char *word; (word = po_3mf_word(&pids, &n)) != NULL; m->n_layers++) {
        uint32_t pid = 0;
        const po_3mf_resource *g = po_3mf_index(word, word + n, &pid) == word + n
                                       ? po_3mf_find(&m->r->materials, m->file, pid)
                                       : NULL;
        if (!g || g->kind == PO_3MF_OBJECT || g->kind == PO_3MF_DISPLAY || g->kind == PO_3MF_MULTI) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "pids names \"%.*s\", %s (materials extension, chapter 5)",
                               (int)(n < 20 ? n : 20), word,
                               g && g->kind == PO_3MF_MULTI ? "itself multiproperties"
                                                            : "no group of properties before it");
        }
        if (m->n_layers == PO_3MF_MOST_LAYERS) {
            return po_xml_fail(xml, err, PO_E_LIMIT, "multiproperties of more than %d layers", PO_3MF_MOST_LAYERS);
        }
        bool material = g->kind == PO_3MF_BASE || g->kind == PO_3MF_COMPOSITE;
        materials += material;
        colours += g->kind == PO_3MF_COLOUR;
        if (materials > 1 || colours > 1) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "pids names more than one %s (materials extension, chapter 5)",
                               materials > 1 ? "material" : "colour group");
        }
        if (material && m->n_layers > 0) {
            return po_xml_fail(xml, err, PO_E_SYNTAX,
                               "pids names a material after its first (materials extension, chapter 5)");
        }
        if (g->kind == PO_3MF_TEXTURE) {
            po_3mf_note(m->r, "multiproperties %u name the texture %u itself, not a group of its coordinates", id, pid);
        }
        m->layers[m->n_layers] = (uint32_t)(g - m->r->materials.resources);
    }
    unsigned n_blend = 0;
    for (const char *word; blend && (word = po_3mf_word(&blend, &n)) != NULL; n_blend++) {
        if (!(n == 3 && memcmp(word, "mix", 3) == 0) && !(n == 8 && memcmp(word, "multiply", 8) == 0)) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "\"%.*s\" is no way to blend (materials extension, chapter 5)",
                               (int)(n < 20 ? n : 20), word);
        }
    }
    if (m->n_layers == 0 || n_blend + 1 > m->n_layers + (n_blend == 0)) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "<%.40s> has %s (materials extension, chapter 5)", tag->qualified,
                           m->n_layers == 0 ? "no layer" : "more blend methods than layers to blend");
    }
    return PO_OK;
}

static po_status open_multi(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    const char *indices = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "pindices", .to = &indices, .must = true}};
    po_status s = attributes(m, xml, tag, list, N_OF(list), err);
    if (s != PO_OK) {
        return s;
    }
    const po_3mf_materials *mat = &m->r->materials;
    uint32_t wants[4 * PO_3MF_MOST_LAYERS];
    size_t n_wants = 0, n;
    for (uint32_t i = 0; i < m->n_layers; i++) {
        uint32_t index = 0;
        const char *word = po_3mf_word(&indices, &n);
        const po_3mf_resource *g = &mat->resources[m->layers[i]];
        if (word && po_3mf_index(word, word + n, &index) != word + n) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "\"%.*s\" is no index (materials extension, 5.1)",
                               (int)(n < 20 ? n : 20), word);
        }
        if (g->kind > PO_3MF_MULTI) {
            continue; /* not a group: nothing to count */
        }
        const po_3mf_slot *slot = po_3mf_slot_of(mat, g, index);
        if (!slot) { /* the published conformance files do this and must be accepted: docs/3mf-notes.md */
            po_3mf_note(m->r, "multiproperties %u name property %u of group %u, which has %u; ignored", reading(m)->id,
                        index, g->id, g->n);
            continue;
        }
        for (uint32_t w = 0; w < slot->n_wants; w++) { /* one composite at most: 256 and 255 single ones */
            assert(n_wants < N_OF(wants));
            wants[n_wants++] = mat->lists[slot->first_want + w];
        }
    }
    reading(m)->n++;
    return add_slot(m, wants, n_wants, err);
}

/* A group with nothing but an id to look at: base materials, colours, display properties. */
static po_status open_group(model *m, po_xml *xml, const po_xml_tag *tag, po_3mf_kind what, po_err *err)
{
    uint32_t id = 0;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "id", .value = V_ID, .to = &id, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "displaypropertiesid", .value = V_ID},
                     {.space = MATERIAL, .name = "displaypropertiesid", .value = V_ID},
                     /* textured display properties carry theirs on the same element; not looked at */
                     {.space = PO_XML_NO_SPACE, .name = "name"},
                     {.space = PO_XML_NO_SPACE, .name = "speculartextureid"},
                     {.space = PO_XML_NO_SPACE, .name = "glossinesstextureid"},
                     {.space = PO_XML_NO_SPACE, .name = "diffusefactor"},
                     {.space = PO_XML_NO_SPACE, .name = "specularfactor"},
                     {.space = PO_XML_NO_SPACE, .name = "glossinessfactor"},
                     {.space = PO_XML_NO_SPACE, .name = "metallictextureid"},
                     {.space = PO_XML_NO_SPACE, .name = "roughnesstextureid"},
                     {.space = PO_XML_NO_SPACE, .name = "metallicfactor"},
                     {.space = PO_XML_NO_SPACE, .name = "roughnessfactor"}};
    po_status s = attributes(m, xml, tag, list, what == PO_3MF_DISPLAY ? N_OF(list) : 3, err);
    if (what == PO_3MF_DISPLAY) {
        po_xml_skip(xml); /* for screens only */
    }
    return s == PO_OK ? define(m, xml, what, id, &m->reading, err) : s;
}

/* ---- objects ---- */

/* The default property of an object: both or none, except that pid alone may stand for the triangles (4). */
static po_status default_property(model *m, po_xml *xml, const wanted *pid, uint32_t id, const wanted *pindex,
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

static po_status open_object(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    static const char *const types[] = {"model", "support", "solidsupport", "surface", "other"};
    static_assert(PO_OBJECT_MODEL == 0 && PO_OBJECT_SUPPORT == 1 && PO_OBJECT_SOLID_SUPPORT == 2 &&
                      PO_OBJECT_SURFACE == 3 && PO_OBJECT_OTHER == 4,
                  "types[] follows po_object_type");
    uint32_t id = 0, group = 0, index = 0;
    const char *type = types[0], *name = NULL, *thumbnail = NULL, *uuid = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "id", .value = V_ID, .to = &id, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "pid", .value = V_ID, .to = &group},
                     {.space = PO_XML_NO_SPACE, .name = "pindex", .value = V_INDEX, .to = &index},
                     {.space = PO_XML_NO_SPACE, .name = "type", .to = &type},
                     {.space = PO_XML_NO_SPACE, .name = "name", .to = &name},
                     {.space = PO_XML_NO_SPACE, .name = "thumbnail", .to = &thumbnail},
                     {.space = PO_XML_NO_SPACE, .name = "partnumber"},
                     {.space = PRODUCTION, .name = "UUID", .value = V_UUID, .to = &uuid, .must = m->production}};
    po_3mf_reader *r = m->r;
    po_status s = attributes(m, xml, tag, list, N_OF(list), err);
    s = s == PO_OK ? define(m, xml, PO_3MF_OBJECT, id, &m->resource, err) : s;
    s = s == PO_OK ? check_uuid(m, xml, 'o', uuid, err) : s;
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
            return no_memory(err);
        }
    }
    if (thumbnail && !po_opc_find(r->opc, thumbnail)) {
        po_3mf_note(r, "the thumbnail \"%.80s\" of object %u is not in the package", thumbnail, id);
    }
    return default_property(m, xml, &list[1], group, &list[2], index, err);
}

static po_status close_object(model *m, po_xml *xml, po_err *err)
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
            return no_memory(err);
        }
    }
    if (m->seen_property && !m->has_default) {
        po_3mf_note(r, "triangles of object %u have properties, but the object names none for the others (4)", o->id);
    }
    o->n_components = (uint32_t)r->n_components - o->first_component;
    o->n_used = (uint32_t)r->materials.n_used - o->first_used;
    if (r->n_objects >= PO_3MF_NONE - 2 ||
        !po_3mf_room(&r->objects, r->n_objects, &r->cap_objects, sizeof *r->objects)) {
        return no_memory(err);
    }
    r->materials.resources[m->resource].first = (uint32_t)r->n_objects;
    r->objects[r->n_objects++] = *o;
    r->files[m->file].n_objects++;
    return PO_OK;
}

/* An object of this file by id, complete; NULL = none so far. */
static const po_3mf_resource *object_of(const model *m, uint32_t id)
{
    const po_3mf_resource *r = po_3mf_find(&m->r->materials, m->file, id);
    return r && r->kind == PO_3MF_OBJECT && r->first != PO_3MF_NONE ? r : NULL;
}

/* What items and components have in common. */
typedef struct placing {
    uint32_t id, object;
    const char *path;
    double matrix[12];
} placing;

static po_status read_placing(model *m, po_xml *xml, const po_xml_tag *tag, char set, placing *ret, po_err *err)
{
    placing p = {.object = PO_3MF_NONE, .matrix = {1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0}};
    const char *uuid = NULL;
    bool is_item = set == 'i';
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "objectid", .value = V_ID, .to = &p.id, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "transform", .value = V_MATRIX, .to = p.matrix},
                     {.space = PRODUCTION, .name = "path", .to = &p.path},
                     {.space = PRODUCTION, .name = "UUID", .value = V_UUID, .to = &uuid, .must = m->production},
                     {.space = PO_XML_NO_SPACE, .name = "partnumber"}};
    po_status s = attributes(m, xml, tag, list, is_item ? N_OF(list) : N_OF(list) - 1, err);
    s = s == PO_OK ? check_uuid(m, xml, set, uuid, err) : s;
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
            po_3mf_note(m->r, "the model points to other files, but does not require the production extension");
        }
        if (is_item && strcmp(p.path, m->part) == 0) {
            p.path = NULL; /* the root itself */
        }
    }
    if (p.path) {
        if (p.path[0] != '/' || strcmp(p.path, m->part) == 0 ||
            !po_opc_has_rel(&m->r->files[m->file].rels, PO_OPC_MODEL_REL, p.path)) {
            return po_xml_fail(xml, err, PO_E_NOTFOUND,
                               "\"%.90s\" is no model that the root is related to (production extension, 3.3)", p.path);
        }
        p.path = po_arena_text(m->r->arena, p.path);
        if (!p.path) {
            return no_memory(err);
        }
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

static po_status open_component(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    placing p;
    po_3mf_reader *r = m->r;
    po_status s = read_placing(m, xml, tag, 'c', &p, err);
    if (s != PO_OK) {
        return s;
    }
    if (r->n_components >= (UINT32_C(1) << 31) - 1 ||
        !po_3mf_room(&r->components, r->n_components, &r->cap_components, sizeof *r->components)) {
        return no_memory(err);
    }
    po_3mf_component c = {.object = p.object, .id = p.id, .path = p.path};
    memcpy(c.matrix, p.matrix, sizeof c.matrix);
    r->components[r->n_components++] = c;
    return PO_OK;
}

static po_status open_item(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
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
        return no_memory(err);
    }
    po_3mf_item item = {.object = p.object, .id = p.id, .path = p.path};
    memcpy(item.matrix, p.matrix, sizeof item.matrix);
    r->items[r->n_items++] = item;
    return PO_OK;
}

/* ---- meshes ---- */

/* The property of a triangle: checked and counted. False: m->why says what is wrong. */
static bool on_property(void *user, unsigned have, uint32_t pid, const uint32_t p[3])
{
    model *m = user;
    po_3mf_materials *mat = &m->r->materials;
    uint32_t index = m->group;
    m->why = NULL;
    if (have & PO_3MF_HAVE_PID) {
        if (m->last_pid != pid) {
            const po_3mf_resource *g = po_3mf_find(mat, m->file, pid);
            if (!g || (g->kind > PO_3MF_MULTI && g->kind != PO_3MF_FOREIGN)) {
                m->why = "its pid names no group of properties before it (4.1.4.1)";
                return false;
            }
            m->last_pid = pid;
            m->last_group = (uint32_t)(g - mat->resources);
        }
        index = m->last_group;
    }
    if (index == PO_3MF_NONE) {
        m->why = "it has a property index, but neither it nor its object has a pid (4.1.4.1)";
        return false;
    }
    const po_3mf_resource *g = &mat->resources[index];
    if (!(have & PO_3MF_HAVE_P1)) {
        m->uses_default = true;
        return true;
    }
    m->seen_property = true;
    if (g->kind == PO_3MF_FOREIGN) {
        return true;
    }
    unsigned both = PO_3MF_HAVE_P2 | PO_3MF_HAVE_P3;
    if (g->kind == PO_3MF_BASE &&
        (((have & PO_3MF_HAVE_P2) && p[1] != p[0]) || ((have & PO_3MF_HAVE_P3) && p[2] != p[0]))) {
        m->why = "it blends base materials (4.1.4.1)";
        return false;
    }
    for (int i = 0; i < ((have & both) == both ? 3 : 1); i++) {
        po_3mf_slot *slot = po_3mf_slot_of(mat, g, p[i]);
        if (!slot) {
            m->why = "its property index is beyond its group (4.1.4.1)";
            return false;
        }
        if (!po_3mf_use(mat, slot, m->object.number)) {
            m->why = "no memory";
            return false;
        }
    }
    return true;
}

/* Make room for the children of <vertices> or <triangles>: as many as the text up to its end can hold, once; after that
 * (a comment held the closing tag, say) twice as many. */
static po_status make_room(model *m, size_t pos, bool vertices, po_err *err)
{
    enum {
        SHORTEST_VERTEX = 27,
        SHORTEST_TRIANGLE = 31
    }; /* <vertex x="0" y="0" z="0"/>, <triangle v1="0" v2="1" v3="2"/> */
    po_3mf_mesh_fill *f = &m->fill;
    size_t n = vertices ? f->n_vertices : f->n_triangles, cap = 2 * n + 16;
    if (n == 0) {
        const char *begin = m->text + pos;
        const char *end = memmem(begin, m->n_text - pos, m->closing, strlen(m->closing));
        size_t bytes = end ? (size_t)(end - begin) : m->n_text - pos, tags = 0;
        for (size_t i = 0; i < bytes; i++) {
            tags += begin[i] == '<';
        }
        size_t most = bytes / (vertices ? SHORTEST_VERTEX : SHORTEST_TRIANGLE) + 1;
        cap = (tags < most ? tags : most) + 1;
    }
    if (cap >= UINT32_C(1) << 31) {
        cap = (UINT32_C(1) << 31) - 1; /* 4.1.3, 4.1.4 */
    }
    if (cap <= n) {
        return po_fail(err, PO_E_LIMIT, "a mesh with 2^31 or more vertices or triangles (4.1.3)");
    }
    void *more = po_arena_zeros(m->r->arena, cap, 3 * (vertices ? sizeof(double) : sizeof(uint32_t)));
    if (!more) {
        return no_memory(err);
    }
    if (vertices) {
        if (n) {
            memcpy(more, f->xyz, n * 3 * sizeof(double));
        }
        f->xyz = more;
        f->cap_vertices = cap;
    } else {
        if (n) {
            memcpy(more, f->corners, n * 3 * sizeof(uint32_t));
        }
        f->corners = more;
        f->cap_triangles = cap;
    }
    return PO_OK;
}

static po_status check_count(const model *m, po_xml *xml, size_t pos, po_err *err)
{
    if (m->r->n_triangles + m->fill.n_triangles > m->r->limits->most_triangles) {
        return po_xml_fail_at(xml, err, PO_E_LIMIT, pos, "more than %llu triangles",
                              (unsigned long long)m->r->limits->most_triangles);
    }
    return PO_OK;
}

/* xml.c found a place from where children may be scanned. */
static po_status jump(void *user, po_xml *xml, size_t *pos, po_err *err)
{
    model *m = user;
    po_3mf_mesh_fill *f = &m->fill;
    bool vertices = !m->seen_triangles;
    for (;;) {
        if (vertices ? f->n_vertices == f->cap_vertices : f->n_triangles == f->cap_triangles) {
            po_status s = make_room(m, *pos, vertices, err);
            if (s != PO_OK) {
                return s;
            }
        }
        *pos = vertices ? po_3mf_scan_vertices(m->text, m->n_text, *pos, m->child, f)
                        : po_3mf_scan_triangles(m->text, m->n_text, *pos, m->child, f);
        if (vertices ? f->n_vertices < f->cap_vertices : f->n_triangles < f->cap_triangles) {
            return check_count(m, xml, *pos, err);
        }
    }
}

static po_status open_list(model *m, po_xml *xml, const po_xml_tag *tag, bool vertices, po_err *err)
{
    if (vertices ? m->seen_vertices : m->seen_triangles || !m->seen_vertices) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "<%.40s> stands twice, or not in its order (B.1.1)", tag->qualified);
    }
    po_status s = attributes(m, xml, tag, NULL, 0, err);
    *(vertices ? &m->seen_vertices : &m->seen_triangles) = true;
    size_t prefix = (size_t)(tag->name - tag->qualified);
    if (s == PO_OK && strlen(tag->qualified) < MOST_QUALIFIED) {
        memcpy(m->child, tag->qualified, prefix);
        memcpy(m->child + prefix, vertices ? "vertex" : "triangle", vertices ? 7 : 9);
        memcpy(m->closing, "</", 2);
        memcpy(m->closing + 2, tag->qualified, strlen(tag->qualified) + 1);
        po_xml_jump(xml);
    } else if (s == PO_OK) {
        return po_xml_fail(xml, err, PO_E_LIMIT, "a prefix of more than %d bytes", MOST_QUALIFIED);
    }
    return s;
}

static po_status open_vertex(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    po_3mf_mesh_fill *f = &m->fill;
    double v[3] = {0};
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "x", .value = V_NUMBER, .to = &v[0], .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "y", .value = V_NUMBER, .to = &v[1], .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "z", .value = V_NUMBER, .to = &v[2], .must = true}};
    po_status s = attributes(m, xml, tag, list, N_OF(list), err);
    if (s == PO_OK && f->n_vertices == f->cap_vertices) {
        s = make_room(m, m->n_text, true, err);
    }
    for (int i = 0; s == PO_OK && i < 3; i++) {
        f->xyz[3 * f->n_vertices + (size_t)i] = v[i] * f->unit_mm;
    }
    f->n_vertices += s == PO_OK;
    return s;
}

static po_status open_triangle(model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    po_3mf_mesh_fill *f = &m->fill;
    uint32_t v[3] = {0}, p[3] = {0}, pid = 0;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "v1", .value = V_INDEX, .to = &v[0], .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "v2", .value = V_INDEX, .to = &v[1], .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "v3", .value = V_INDEX, .to = &v[2], .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "p1", .value = V_INDEX, .to = &p[0]},
                     {.space = PO_XML_NO_SPACE, .name = "p2", .value = V_INDEX, .to = &p[1]},
                     {.space = PO_XML_NO_SPACE, .name = "p3", .value = V_INDEX, .to = &p[2]},
                     {.space = PO_XML_NO_SPACE, .name = "pid", .value = V_ID, .to = &pid}};
    po_status s = attributes(m, xml, tag, list, N_OF(list), err);
    if (s != PO_OK) {
        return s;
    }
    for (int i = 0; i < 3; i++) {
        if (v[i] >= f->n_vertices) {
            return po_xml_fail(xml, err, PO_E_RANGE, "v%d=\"%u\" of triangle %zu is beyond the %zu vertices", i + 1,
                               v[i], f->n_triangles + 1, f->n_vertices);
        }
    }
    if (v[0] == v[1] || v[1] == v[2] || v[0] == v[2]) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "triangle %zu names one vertex twice (4.1.4.1)", f->n_triangles + 1);
    }
    unsigned have = (list[3].seen ? PO_3MF_HAVE_P1 : 0u) | (list[4].seen ? PO_3MF_HAVE_P2 : 0u) |
                    (list[5].seen ? PO_3MF_HAVE_P3 : 0u) | (list[6].seen ? PO_3MF_HAVE_PID : 0u);
    if (have && !on_property(m, have, pid, p)) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "triangle %zu: %s", f->n_triangles + 1, m->why);
    }
    f->n_plain += !have;
    if (f->n_triangles == f->cap_triangles) {
        s = make_room(m, m->n_text, false, err);
    }
    if (s == PO_OK) {
        memcpy(f->corners + 3 * f->n_triangles, v, sizeof v);
        f->n_triangles++;
        s = check_count(m, xml, 0, err);
    }
    return s;
}

static po_status close_mesh(model *m, po_xml *xml, po_err *err)
{
    const po_3mf_mesh_fill *f = &m->fill;
    if (f->n_vertices < 3 || f->n_triangles < 1) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "the mesh of object %u has %zu vertices and %zu triangles (B.1.1)",
                           m->object.id, f->n_vertices, f->n_triangles);
    }
    if (m->object.type == PO_OBJECT_MODEL && f->n_triangles < 4) {
        return po_xml_fail(xml, err, PO_E_SYNTAX,
                           "the mesh of object %u has %zu triangles; a model has at least 4 (4.1.4)", m->object.id,
                           f->n_triangles);
    }
    m->object.is_mesh = true;
    m->object.mesh = (po_mesh){f->xyz, f->n_vertices, f->corners, f->n_triangles};
    m->r->n_triangles += f->n_triangles;
    m->uses_default = m->uses_default || f->n_plain > 0;
    return PO_OK;
}

/* ---- elements ---- */

static po_status open_kind(model *m, po_xml *xml, const po_xml_tag *tag, kind k, kind in, po_err *err)
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
        return attributes(m, xml, tag, NULL, 0, err);
    case K_BUILD: {
        const char *uuid = NULL;
        wanted list[] = {
            {.space = PRODUCTION, .name = "UUID", .value = V_UUID, .to = &uuid, .must = m->production && m->root}};
        if (m->seen_build || !m->seen_resources) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "<%.40s> stands %s <resources> (3.4)", tag->qualified,
                               m->seen_build ? "twice; it stands once, behind" : "before or without");
        }
        m->seen_build = true;
        if (!m->root) {
            po_xml_skip(xml); /* production extension, chapter 2: only the root's build counts */
        }
        return attributes(m, xml, tag, list, N_OF(list), err);
    }
    case K_OBJECT:
        return open_object(m, xml, tag, err);
    case K_MESH:
    case K_COMPONENTS:
        if (m->seen_components || m->seen_vertices || m->object.is_mesh) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "object %u has more than one shape (4)", m->object.id);
        }
        if (k == K_MESH) {
            m->fill = (po_3mf_mesh_fill){.unit_mm = m->unit_mm, .property = on_property, .user = m};
        } else {
            m->seen_components = true;
            if (m->group != PO_3MF_NONE) { /* writers in use do this: docs/3mf-notes.md */
                po_3mf_note(m->r, "object %u is made of components and yet has a pid; ignored (4)", m->object.id);
            }
        }
        return attributes(m, xml, tag, NULL, 0, err);
    case K_VERTICES:
    case K_TRIANGLES:
        return open_list(m, xml, tag, k == K_VERTICES, err);
    case K_VERTEX:
        return open_vertex(m, xml, tag, err);
    case K_TRIANGLE:
        return open_triangle(m, xml, tag, err);
    case K_COMPONENT:
        return open_component(m, xml, tag, err);
    case K_ITEM:
        return open_item(m, xml, tag, err);
    case K_BASEMATERIALS:
        return open_group(m, xml, tag, PO_3MF_BASE, err);
    case K_BASE:
        return open_base(m, xml, tag, err);
    case K_TEXTURE:
        return open_texture(m, xml, tag, err);
    case K_COLOURS:
        return open_group(m, xml, tag, PO_3MF_COLOUR, err);
    case K_COLOUR:
        return open_colour(m, xml, tag, err);
    case K_COORDS:
        return open_coords(m, xml, tag, err);
    case K_COORD: {
        wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "u", .value = V_NUMBER, .must = true},
                         {.space = PO_XML_NO_SPACE, .name = "v", .value = V_NUMBER, .must = true}};
        reading(m)->n++;
        return attributes(m, xml, tag, list, N_OF(list), err);
    }
    case K_COMPOSITES:
        return open_composites(m, xml, tag, err);
    case K_COMPOSITE:
        return open_composite(m, xml, tag, err);
    case K_MULTIS:
        return open_multis(m, xml, tag, err);
    case K_MULTI:
        return open_multi(m, xml, tag, err);
    case K_DISPLAY:
        return open_group(m, xml, tag, PO_3MF_DISPLAY, err);
    case K_METADATAGROUP:
    case K_NONE:
        break;
    }
    return attributes(m, xml, tag, NULL, 0, err);
}

static po_status open(void *user, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    model *m = user;
    kind in = m->stack[tag->depth - 1];
    bool in_material = in >= K_COLOURS && in <= K_MULTI;
    for (size_t i = 0; i < N_OF(rows); i++) {
        /* Published samples leave out the prefix inside a group of the materials extension: docs/3mf-notes.md. */
        bool same = rows[i].space == tag->space || (in_material && rows[i].space == MATERIAL && tag->space == CORE);
        if (rows[i].in == in && same && strcmp(rows[i].name, tag->name) == 0) {
            if (rows[i].space != tag->space) {
                po_3mf_note(m->r, "<%.40s> lacks the prefix of the materials extension", tag->name);
            }
            m->stack[tag->depth] = rows[i].kind;
            return open_kind(m, xml, tag, rows[i].kind, in, err);
        }
    }
    if (tag->space == CORE || tag->space == PO_XML_NO_SPACE || tag->space == PO_XML_XML || tag->space == XSI ||
        in == K_NONE) {
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
                return define(m, xml, PO_3MF_FOREIGN, id, &at, err); /* triangles may point to it */
            }
        }
    }
    return PO_OK;
}

static po_status close(void *user, po_xml *xml, unsigned depth, po_err *err)
{
    model *m = user;
    switch (m->stack[depth]) {
    case K_MODEL:
        return m->seen_resources && m->seen_build ? PO_OK
                                                  : po_xml_fail(xml, err, PO_E_SYNTAX, "the model has no <%s> (3.4)",
                                                                m->seen_resources ? "build" : "resources");
    case K_OBJECT:
        return close_object(m, xml, err);
    case K_MESH:
        return close_mesh(m, xml, err);
    case K_COMPONENTS:
        return m->r->n_components > m->object.first_component
                   ? PO_OK
                   : po_xml_fail(xml, err, PO_E_SYNTAX, "the components of object %u are none (4.2)", m->object.id);
    case K_BASEMATERIALS:
    case K_COLOURS:
    case K_COORDS:
    case K_COMPOSITES:
    case K_MULTIS:
        if (reading(m)->n == 0) {
            po_3mf_note(m->r, "the group %u holds nothing", reading(m)->id);
        }
        return PO_OK;
    default:
        return PO_OK;
    }
}

po_status po_3mf_read_model(po_3mf_reader *r, const char *part, bool root, po_err *err)
{
    static const char *const words[] = {"vertices", "triangles"};
    model *m = calloc(1, sizeof *m);
    if (!m || r->n_files >= PO_3MF_NONE / 4 || !po_3mf_room(&r->files, r->n_files, &r->cap_files, sizeof *r->files)) {
        free(m);
        return no_memory(err);
    }
    *m = (model){.r = r, .part = part, .file = (uint32_t)r->n_files, .root = root};
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
                          .n_spaces = N_SPACES,
                          .most_depth = r->limits->most_depth < MOST_DEPTH ? r->limits->most_depth : MOST_DEPTH,
                          .user = m,
                          .open = open,
                          .close = close,
                          .jump_words = words,
                          .n_jump_words = 2,
                          .jump = jump};
        s = po_xml_read(&job, err);
    }
    free(text);
    free(m);
    return s;
}
