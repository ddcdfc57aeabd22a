/* A part as a mesh: read, welded, measured. SPDX-License-Identifier: Apache-2.0
 * Lengths in mm, areas in mm2, volumes in mm3. docs/measures.md, "Meshes", defines each quantity. */
#ifndef PROVEOUT_PART_H
#define PROVEOUT_PART_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/job.h" /* po_source */
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Triangles over shared vertices. Corners of a triangle counter-clockwise seen from outside. */
typedef struct po_mesh {
    const double *xyz; /* 3 * n_vertices */
    size_t n_vertices;
    const uint32_t *corners; /* 3 * n_triangles, indices below n_vertices */
    size_t n_triangles;
} po_mesh;

typedef enum po_object_type {
    PO_OBJECT_MODEL,
    PO_OBJECT_SUPPORT,
    PO_OBJECT_SOLID_SUPPORT,
    PO_OBJECT_SURFACE,
    PO_OBJECT_OTHER
} po_object_type;

typedef struct po_part_object { /* one mesh of a file: a solid of an STL, an object of a 3MF */
    po_mesh mesh;
    po_object_type type;
    const char *name;     /* NULL = none */
    uint32_t id;          /* of the 3MF; 1, 2 ... for the solids of an STL */
    uint32_t n_materials; /* different materials or colours that its triangles want; 0 = none said */
} po_part_object;

typedef struct po_part_item { /* an object as it is placed: components are resolved into one item for each mesh */
    uint32_t object;          /* index into objects */
    double matrix[12];        /* row vectors: x' = x*m[0] + y*m[3] + z*m[6] + m[9], and so on (3MF core, section 3.3) */
    bool mirrored;            /* negative determinant: triangles are to be read the other way round */
    uint32_t build_item;      /* 1-based number of the build item that it comes from */
} po_part_item;

typedef enum po_part_format { PO_PART_STL_BINARY, PO_PART_STL_ASCII, PO_PART_3MF } po_part_format;

typedef struct po_part { /* lives in the arena given to po_part_read */
    po_part_format format;
    uint64_t bytes;
    char sha256[65];
    const po_part_object *objects;
    size_t n_objects;
    const po_part_item *items;
    size_t n_items;
    const char *unit;     /* "millimeter" and the like from a 3MF; NULL: not said (STL) */
    double unit_mm;       /* factor already applied to all coordinates; 1 for STL */
    uint32_t n_materials; /* base materials and colours that the build uses */
    const char *const
        *notes; /* oddities that did not hinder reading (trailing bytes, count corrected, non-finite ...) */
    size_t n_notes;
} po_part;

typedef struct po_part_limits { /* caps on foreign input; docs/part-limits.md */
    uint64_t most_bytes;        /* of the file */
    uint64_t most_unpacked;     /* of all members of an archive together */
    uint32_t most_ratio;        /* unpacked to packed, of one member beyond a megabyte */
    uint32_t most_members;
    uint64_t most_triangles; /* after instances are multiplied out */
    uint32_t most_depth;     /* of components, and of XML elements */
} po_part_limits;
#define PO_PART_LIMITS_INIT                                                                                            \
    {                                                                                                                  \
        .most_bytes = 4ull << 30, .most_unpacked = 4ull << 30, .most_ratio = 200, .most_members = 10000,               \
        .most_triangles = 50u * 1000 * 1000, .most_depth = 64                                                          \
    }

/* Read a part. The kind is told from its bytes.
 * Errors: PO_E_EMPTY (neither STL nor 3MF, or no triangle), PO_E_SYNTAX (with place), PO_E_UNSUPPORTED (a required
 * extension, encryption ... by name), PO_E_LIMIT, PO_E_IO, PO_E_NOTFOUND, PO_E_NOMEM. */
PO_API po_status po_part_read(const po_source *source, const po_part_limits *limits, po_arena *arena,
                              const po_part **ret_part, po_err *err) PO_MUST_USE;

/* The part with what each build item brings together (the components of a 3MF) made one object, placed as it is; the part
 * itself where there is nothing to bring together. Solids are judged so. It borrows from the part. Errors: PO_E_NOMEM,
 * PO_E_RANGE, PO_E_LIMIT. */
PO_API po_status po_part_assembled(const po_part *part, po_arena *arena, const po_part **ret, po_err *err) PO_MUST_USE;

/* Topology and bulk of one mesh. */
typedef struct po_mesh_facts {
    uint64_t triangles, vertices;
    uint64_t shells, open_edges, crowded_edges, flipped_triangles, flat_triangles, doubled_triangles;
    double seams_closed_at_mm; /* NAN: closed as it is, or not closed even so */
    bool watertight;
    double volume_mm3, area_mm2, centre_of_mass_mm[3];
    double bounds_mm[2][3];
    int64_t euler;
    double genus;                    /* NAN unless watertight */
    const double *shell_volumes_mm3; /* one for each shell, signed; NULL when there are more than 10,000 */
    /* The mesh that the facts are of: the one given, or, where seams were closed, another one (in the arena). */
    const po_mesh *judged;
} po_mesh_facts;
/* More about these facts:
 * - Flat triangles with two equal corners are left out of everything but `triangles` and `flat_triangles`; thin ones
 *   with three different corners close gaps and stay in.
 * - Shells are pieces connected through shared vertices.
 * - Flipped triangles: in each piece, the fewest that have to be turned so that all neighbours agree.
 * - Doubled triangles: those that come again, without the first of each.
 * - euler = vertices - edges + triangles. The genus counts a vertex once for each fan of triangles around it, so that
 *   pieces that touch in a point or line keep a whole one.
 * - Volume and centre of mass of a mesh that is not watertight depend on where the tetrahedra meet: in the first corner
 *   of its first triangle. The centre is NAN where the volume is 0. */

/* threads: 0 = as many as cores, else 1..64; the answer does not depend on it. Facts are of the exact weld, or where
 * that leaves open edges and a weld at 1e-5 of the diagonal closes some, of that one (docs/measures.md). */
PO_API po_status po_mesh_measure(const po_mesh *mesh, int threads, po_arena *arena, po_mesh_facts *ret_facts,
                                 po_err *err) PO_MUST_USE;
/* Errors of po_mesh_measure: PO_E_EMPTY (no triangle), PO_E_RANGE (an index or coordinate out of bounds: err->byte is
 * the triangle or vertex), PO_E_NOMEM. */

typedef struct po_mesh_self_cuts {
    uint64_t pairs;       /* of triangles that share no vertex and meet in more than a point */
    bool complete;        /* false: so many boxes meet that the search was cut off; pairs is then a lower bound */
    uint32_t (*first)[2]; /* the first n_first pairs by number, rising; in the arena */
    size_t n_first;       /* at most 1000 */
} po_mesh_self_cuts;

/* Every pair of triangles of the mesh that cut each other, by exact predicates on the coordinates as they are.
 * Triangles without area (exactly) cut nothing. For a part give po_mesh_facts.judged: seams that are merely not welded
 * cross each other by rounding. threads as above; the answer does not depend on it. Errors: as po_mesh_measure. */
PO_API po_status po_mesh_find_self_cuts(const po_mesh *mesh, int threads, po_arena *arena, po_mesh_self_cuts *ret_cuts,
                                        po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
