/* The element readers of one model part. SPDX-License-Identifier: Apache-2.0
 * threemf_model.c knows which element stands where and calls these; each reads the attributes of its element. */
#ifndef PO_PART_THREEMF_ELEMENTS_H
#define PO_PART_THREEMF_ELEMENTS_H

#include "part/threemf_model.h"
#include "part/xml.h"

/* Namespaces: indices into the list that xml.c is given. */
enum {
    PO_3MF_SPACE_CORE,
    PO_3MF_SPACE_MATERIAL,
    PO_3MF_SPACE_PRODUCTION,
    PO_3MF_SPACE_SETS,
    PO_3MF_SPACE_XSI,
    PO_3MF_N_SPACES
};

typedef enum po_3mf_element {
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
} po_3mf_element;

enum { MOST_DEPTH = 255, MOST_QUALIFIED = 200 };

typedef struct po_3mf_model {
    po_3mf_reader *r;
    const char *part;
    const char *text;
    size_t n_text;
    uint32_t file;
    double unit_mm;
    bool root, production; /* production: required by this file */
    bool seen_resources, seen_build;
    po_3mf_element stack[MOST_DEPTH + 1];
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
} po_3mf_model;

typedef enum value { V_TEXT, V_ID, V_INDEX, V_NUMBER, V_MATRIX, V_COLOUR, V_UUID, V_BOOLEAN } value;

typedef struct wanted { /* an attribute that an element may have */
    int space;
    const char *name;
    value value;
    void *to; /* NULL: checked only */
    bool must, seen;
} wanted;
#define N_OF(list) (sizeof(list) / sizeof *(list))

/* threemf_attributes.c */
po_status po_3mf_no_memory(po_err *err) PO_MUST_USE;
/* Read the attributes of a tag into the list; those of other extensions are passed over, unknown ones noted. */
po_status po_3mf_attributes(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, wanted *list, size_t n,
                            po_err *err) PO_MUST_USE;
/* Whether the text was not there before (set keeps kinds apart); *ret_ok false: no memory. */
bool po_3mf_is_new(po_3mf_model *m, char set, const char *text, bool *ret_ok);
/* UUIDs are unique in a package (production extension, chapter 4). set: kind of element; uuid NULL = none. */
po_status po_3mf_check_uuid(po_3mf_model *m, po_xml *xml, char set, const char *uuid, po_err *err) PO_MUST_USE;

/* threemf_groups.c: groups of properties and what is in them */
/* Give an id of this file to a resource; *ret its index. Fails when the id is taken. */
po_status po_3mf_define_here(po_3mf_model *m, po_xml *xml, po_3mf_kind what, uint32_t id, uint32_t *ret,
                             po_err *err) PO_MUST_USE;
/* The group whose children come by; valid until the next resource is defined. */
po_3mf_resource *po_3mf_reading(po_3mf_model *m);
po_status po_3mf_open_base(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err) PO_MUST_USE;
po_status po_3mf_open_colour(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err) PO_MUST_USE;
po_status po_3mf_open_texture(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err) PO_MUST_USE;
po_status po_3mf_open_coords(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err) PO_MUST_USE;
po_status po_3mf_open_composites(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err) PO_MUST_USE;
po_status po_3mf_open_composite(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err) PO_MUST_USE;
po_status po_3mf_open_multis(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err) PO_MUST_USE;
po_status po_3mf_open_multi(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err) PO_MUST_USE;
/* Groups with nothing but an id to look at: base materials, colours, display properties. */
po_status po_3mf_open_group(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_3mf_kind what,
                            po_err *err) PO_MUST_USE;

/* threemf_objects.c */
po_status po_3mf_open_object(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err) PO_MUST_USE;
po_status po_3mf_open_component(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err) PO_MUST_USE;
po_status po_3mf_open_item(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err) PO_MUST_USE;
po_status po_3mf_close_object(po_3mf_model *m, po_xml *xml, po_err *err) PO_MUST_USE;

/* threemf_mesh.c */
void po_3mf_begin_mesh(po_3mf_model *m);
/* <vertices> or <triangles> */
po_status po_3mf_open_list(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, bool vertices, po_err *err) PO_MUST_USE;
po_status po_3mf_open_vertex(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err) PO_MUST_USE;
po_status po_3mf_open_triangle(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err) PO_MUST_USE;
po_status po_3mf_close_mesh(po_3mf_model *m, po_xml *xml, po_err *err) PO_MUST_USE;
/* xml.c found a place from where children may be scanned. */
po_status po_3mf_jump(void *user, po_xml *xml, size_t *pos, po_err *err) PO_MUST_USE;

#endif
