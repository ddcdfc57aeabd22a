/* Base materials, colours, textures, composites, multiproperties. SPDX-License-Identifier: Apache-2.0
 * Sources: 3MF core specification 1.4.0, chapter 5; materials and properties extension, chapters 2 to 6. Display
 * properties (chapter 7) are for screens: their ids are kept, nothing else. */
#include "part/threemf_elements.h"

#include <assert.h>
#include <string.h>

#include "part/threemf_values.h"

po_status po_3mf_define_here(po_3mf_model *m, po_xml *xml, po_3mf_kind what, uint32_t id, uint32_t *ret, po_err *err)
{
    po_3mf_resource *r;
    if (!po_3mf_define(&m->r->materials, what, m->file, id, &r)) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "the id %u is given to two resources (3.4.2)", id);
    }
    if (!r) {
        return po_3mf_no_memory(err);
    }
    *ret = (uint32_t)(r - m->r->materials.resources);
    return PO_OK;
}

po_3mf_resource *po_3mf_reading(po_3mf_model *m)
{
    return &m->r->materials.resources[m->reading];
}

static po_status add_slot(po_3mf_model *m, const uint32_t *wants, size_t n, po_err *err)
{
    for (size_t i = 0; i < n; i++) {
        if (wants[i] == PO_3MF_NONE) {
            return po_3mf_no_memory(err);
        }
    }
    return po_3mf_add_slot(&m->r->materials, wants, n) ? PO_OK : po_3mf_no_memory(err);
}

po_status po_3mf_open_base(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    const char *name = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "name", .to = &name, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "displaycolor", .value = V_COLOUR, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "displaypropertiesid", .value = V_ID}};
    po_status s = po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
    if (s != PO_OK) {
        return s;
    }
    uint32_t want = po_3mf_want(&m->r->materials, 'b', name);
    po_3mf_reading(m)->n++;
    return add_slot(m, &want, 1, err);
}

po_status po_3mf_open_colour(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    uint32_t colour = 0;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "color", .value = V_COLOUR, .to = &colour, .must = true}};
    po_status s = po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
    if (s != PO_OK) {
        return s;
    }
    char text[7];
    for (int i = 0; i < 6; i++) {
        text[i] = "0123456789abcdef"[colour >> (28 - 4 * i) & 15];
    }
    text[6] = 0;
    uint32_t want = po_3mf_want(&m->r->materials, 'c', text);
    po_3mf_reading(m)->n++;
    return add_slot(m, &want, 1, err);
}

po_status po_3mf_open_texture(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
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
    po_status s = po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
    s = s == PO_OK ? po_3mf_define_here(m, xml, PO_3MF_TEXTURE, id, &m->reading, err) : s;
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
    if (!po_opc_find_rel(&m->r->files[m->file].rels, PO_OPC_TEXTURE_REL, path)) {
        return po_xml_fail(xml, err, PO_E_SYNTAX,
                           "the texture \"%.80s\" has no relationship to its model (materials extension, chapter 6)",
                           path);
    }
    po_3mf_reading(m)->base = po_3mf_want(&m->r->materials, 't', path);
    return po_3mf_reading(m)->base == PO_3MF_NONE ? po_3mf_no_memory(err) : PO_OK;
}

po_status po_3mf_open_coords(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    uint32_t id = 0, texture = 0;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "id", .value = V_ID, .to = &id, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "texid", .value = V_ID, .to = &texture, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "displaypropertiesid", .value = V_ID}};
    po_status s = po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
    s = s == PO_OK ? po_3mf_define_here(m, xml, PO_3MF_COORD, id, &m->reading, err) : s;
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

po_status po_3mf_open_composites(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    uint32_t id = 0, base = 0;
    const char *indices = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "id", .value = V_ID, .to = &id, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "matid", .value = V_ID, .to = &base, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "matindices", .to = &indices, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "displaypropertiesid", .value = V_ID}};
    po_status s = po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
    s = s == PO_OK ? po_3mf_define_here(m, xml, PO_3MF_COMPOSITE, id, &m->reading, err) : s;
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

po_status po_3mf_open_composite(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    const char *values = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "values", .to = &values, .must = true}};
    po_status s = po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
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
    po_3mf_reading(m)->n++;
    return add_slot(m, wants, n_wants, err);
}

po_status po_3mf_open_multis(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    uint32_t id = 0;
    const char *pids = NULL, *blend = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "id", .value = V_ID, .to = &id, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "pids", .to = &pids, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "blendmethods", .to = &blend}};
    po_status s = po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
    s = s == PO_OK ? po_3mf_define_here(m, xml, PO_3MF_MULTI, id, &m->reading, err) : s;
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

po_status po_3mf_open_multi(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    const char *indices = NULL;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "pindices", .to = &indices, .must = true}};
    po_status s = po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
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
            po_3mf_note(m->r, "multiproperties %u name property %u of group %u, which has %u; ignored",
                        po_3mf_reading(m)->id, index, g->id, g->n);
            continue;
        }
        for (uint32_t w = 0; w < slot->n_wants; w++) { /* one composite at most: 256 and 255 single ones */
            assert(n_wants < N_OF(wants));
            wants[n_wants++] = mat->lists[slot->first_want + w];
        }
    }
    po_3mf_reading(m)->n++;
    return add_slot(m, wants, n_wants, err);
}

/* A group with nothing but an id to look at: base materials, colours, display properties. */
po_status po_3mf_open_group(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_3mf_kind what, po_err *err)
{
    uint32_t id = 0;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "id", .value = V_ID, .to = &id, .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "displaypropertiesid", .value = V_ID},
                     {.space = PO_3MF_SPACE_MATERIAL, .name = "displaypropertiesid", .value = V_ID},
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
    po_status s = po_3mf_attributes(m, xml, tag, list, what == PO_3MF_DISPLAY ? N_OF(list) : 3, err);
    if (what == PO_3MF_DISPLAY) {
        po_xml_skip(xml); /* for screens only */
    }
    return s == PO_OK ? po_3mf_define_here(m, xml, what, id, &m->reading, err) : s;
}
