/* What the files of the 3MF reader share. SPDX-License-Identifier: Apache-2.0
 * Working lists are grown on the heap and freed at the end; meshes and texts lie in the caller's arena. */
#ifndef PO_PART_THREEMF_MODEL_H
#define PO_PART_THREEMF_MODEL_H

#include "part/opc.h"

enum {
    PO_3MF_MOST_LAYERS = 256,    /* of one multiproperty, constituents of one composite */
    PO_3MF_MOST_ITEMS = 1000000, /* placed meshes, after components are resolved */
    PO_3MF_MOST_NOTES = 40,
};
#define PO_3MF_NONE UINT32_MAX

/* What an id in a model stands for. */
typedef enum po_3mf_kind {
    PO_3MF_BASE, /* groups of properties: base materials, ... */
    PO_3MF_COLOUR,
    PO_3MF_COORD, /* texture coordinates */
    PO_3MF_COMPOSITE,
    PO_3MF_MULTI,
    PO_3MF_TEXTURE, /* not a group: may only be named by one */
    PO_3MF_DISPLAY, /* display properties */
    PO_3MF_FOREIGN, /* of an extension that is not read */
    PO_3MF_OBJECT,
} po_3mf_kind;

typedef struct po_3mf_resource {
    po_3mf_kind kind;
    uint32_t file, id;
    uint32_t n;     /* groups: properties; kept up to date while it is read */
    uint32_t first; /* groups: first slot of its properties (texture coordinates share one); objects: index */
    uint32_t base;  /* composites: resource index of its base materials; texture groups: its texture's want */
} po_3mf_resource;

typedef struct po_3mf_slot { /* one property and the materials that it wants */
    uint32_t first_want, n_wants;
    uint32_t seen_by; /* number of the object that was counted last */
} po_3mf_slot;

typedef struct po_3mf_materials {
    po_3mf_resource *resources;
    size_t n_resources, cap_resources;
    uint32_t *by_id; /* open addressing over resources; PO_3MF_NONE = free */
    size_t n_by_id;  /* a power of two */
    po_3mf_slot *slots;
    size_t n_slots, cap_slots;
    uint32_t *lists; /* wants of slots, one list after another */
    size_t n_lists, cap_lists;
    char *keys; /* texts of wants, ended, one after another */
    size_t n_keys, cap_keys;
    size_t *wants; /* offset of each want's text; a want is a different base material, colour or texture */
    size_t n_wants, cap_wants;
    uint32_t *want_seen; /* as seen_by */
    size_t cap_want_seen;
    uint32_t *by_key;
    size_t n_by_key;
    uint32_t *used; /* wants of objects, one list after another */
    size_t n_used, cap_used;
} po_3mf_materials;

typedef struct po_3mf_component {
    uint32_t object; /* index into objects; PO_3MF_NONE until the other file is read */
    uint32_t id;
    uint32_t other;    /* relationship of the root to the model that holds it; PO_3MF_NONE = the same file */
    double matrix[12]; /* mm */
} po_3mf_component;

typedef struct po_3mf_object {
    uint32_t file, id, number; /* number: from 1, over all files */
    po_object_type type;
    const char *name;
    bool is_mesh;
    po_mesh mesh;
    uint32_t first_component, n_components;
    uint32_t first_used, n_used; /* wants */
    /* filled when all files are read */
    uint64_t triangles, meshes; /* with all components; saturating */
    unsigned depth;
    bool has_other; /* holds a mesh of type "other" */
    bool built;
    uint32_t out; /* index in the result */
} po_3mf_object;

typedef struct po_3mf_item {
    uint32_t object, id, other; /* as in components */
    double matrix[12];
} po_3mf_item;

typedef struct po_3mf_file {
    const char *part; /* absolute name */
    uint32_t first_object, n_objects;
    const char *unit;
    double unit_mm;
    po_opc_rels rels;
} po_3mf_file;

typedef struct po_3mf_reader {
    const po_opc *opc;
    const po_part_limits *limits;
    po_arena *arena;
    po_3mf_file *files;
    size_t n_files, cap_files;
    uint32_t *related; /* file of each relationship of the root; 0 (the root itself) = not read yet */
    po_3mf_object *objects;
    size_t n_objects, cap_objects;
    po_3mf_component *components;
    size_t n_components, cap_components;
    po_3mf_item *items;
    size_t n_items, cap_items;
    uint64_t n_triangles; /* of all meshes so far */
    po_3mf_materials materials;
    po_3mf_materials texts; /* names of metadata and UUIDs: only its set of texts is used */
    const char *notes[PO_3MF_MOST_NOTES + 1];
    size_t n_notes, lost_notes;
} po_3mf_reader;

/* Room for one more in a list on the heap. False: no memory. */
bool po_3mf_room(void *list, size_t n, size_t *cap, size_t size);
/* Keep a remark, once. */
void po_3mf_note(po_3mf_reader *r, const char *format, ...) PO_PRINTF(2, 3);

/* threemf_model.c: read one model part into the reader. root: the start part, whose build counts. */
po_status po_3mf_read_model(po_3mf_reader *r, const char *part, bool root, po_err *err) PO_MUST_USE;

/* threemf_materials.c */
void po_3mf_materials_done(po_3mf_materials *m);
/* NULL = no such id in that file. */
po_3mf_resource *po_3mf_find(const po_3mf_materials *m, uint32_t file, uint32_t id);
/* A new resource. *ret NULL: no memory. False: the id is taken (core 3.4.2). */
bool po_3mf_define(po_3mf_materials *m, po_3mf_kind kind, uint32_t file, uint32_t id, po_3mf_resource **ret);
/* The number of a want by its kind ('b' base material, 'c' colour, 't' texture) and text; PO_3MF_NONE: no memory. */
uint32_t po_3mf_want(po_3mf_materials *m, char kind, const char *text);
/* A property that wants these. False: no memory. */
bool po_3mf_add_slot(po_3mf_materials *m, const uint32_t *wants, size_t n);
/* The slot of a property; NULL: out of the group's range, or not a group. */
po_3mf_slot *po_3mf_slot_of(const po_3mf_materials *m, const po_3mf_resource *group, uint32_t index);
/* Count that the object number `number` uses the property. False: no memory. */
bool po_3mf_use(po_3mf_materials *m, po_3mf_slot *slot, uint32_t number);
/* Different wants of the marked objects together. */
uint32_t po_3mf_count_built(po_3mf_reader *r);

/* threemf_scan.c: the two hot elements. Texts are followed by a zero byte. */
typedef struct po_3mf_mesh_fill {
    double unit_mm;
    double *xyz;
    size_t n_vertices, cap_vertices;
    uint32_t *corners;
    size_t n_triangles, cap_triangles;
    /* properties: called for triangles that have any attribute p1, p2, p3, pid; false = stop there */
    bool (*property)(void *user, unsigned have, uint32_t pid, const uint32_t p[3]);
    void *user;
    size_t n_plain; /* triangles without a property of their own */
} po_3mf_mesh_fill;
enum { PO_3MF_HAVE_P1 = 1, PO_3MF_HAVE_P2 = 2, PO_3MF_HAVE_P3 = 4, PO_3MF_HAVE_PID = 8 };

/* Run over elements <name x= y= z=/> and blanks from pos. Stops in front of whatever is not plainly that, or when there
 * is no more room. Returns the new place. */
size_t po_3mf_scan_vertices(const char *text, size_t n, size_t pos, const char *name, po_3mf_mesh_fill *fill);
/* The same for <name v1= v2= v3= [pid= p1= p2= p3=]/>. */
size_t po_3mf_scan_triangles(const char *text, size_t n, size_t pos, const char *name, po_3mf_mesh_fill *fill);

#endif
