/* Plane cuts and pieces of small meshes. SPDX-License-Identifier: Apache-2.0
 * The bytes: kind of mesh, plane (three of the normal, one of the distance), room of the machine, then the mesh: corners
 * and triangles as they come; tetrahedra, each closed by itself; cells of a 3 x 3 x 3 grid; or a ball with radii of its
 * own in each direction. Coordinates are whole numbers, so that corners, edges and faces in the plane are common.
 * Promises: an answer or an error; corners are vertices; nothing open, nothing lost; pieces fit. */
#include <math.h>
#include <string.h>

#include "fuzz.h"
#include "proveout/pieces.h"

enum { ARENA = 512 << 20, TETRAS = 40, RINGS = 5, SPOKES = 8, MOST_POINTS = 60, MOST_TRIANGLES = 200 };

typedef struct shape {
    double xyz[3 * 1024];
    uint32_t corners[3 * 2048];
    size_t n_vertices, n_triangles;
} shape;

static void add(shape *s, size_t a, size_t b, size_t c)
{
    uint32_t *k = s->corners + 3 * s->n_triangles++;
    k[0] = (uint32_t)a;
    k[1] = (uint32_t)b;
    k[2] = (uint32_t)c;
}

static double whole(uint8_t byte)
{
    return (int8_t)byte / 8; /* -16 .. 15 */
}

static void make_raw(shape *s, const uint8_t *data, size_t n)
{
    size_t points = n ? 1 + data[0] % MOST_POINTS : 0, at = 1;
    for (; s->n_vertices < points && at + 3 <= n; at += 3, s->n_vertices++) {
        for (size_t k = 0; k < 3; k++) {
            s->xyz[3 * s->n_vertices + k] = whole(data[at + k]);
        }
    }
    for (; s->n_vertices && s->n_triangles < MOST_TRIANGLES && at + 3 <= n; at += 3) {
        add(s, data[at] % s->n_vertices, data[at + 1] % s->n_vertices, data[at + 2] % s->n_vertices);
    }
}

static void make_tetras(shape *s, const uint8_t *data, size_t n)
{
    for (size_t t = 0; t < TETRAS && 12 * (t + 1) <= n; t++) {
        double *p = s->xyz + 3 * s->n_vertices, u[3][3];
        size_t v = s->n_vertices;
        for (size_t k = 0; k < 12; k++) {
            p[k] = whole(data[12 * t + k]);
        }
        for (int i = 0; i < 3; i++) {
            for (int k = 0; k < 3; k++) {
                u[i][k] = p[3 * (i + 1) + k] - p[k];
            }
        }
        double det = u[0][0] * (u[1][1] * u[2][2] - u[1][2] * u[2][1]) +
                     u[0][1] * (u[1][2] * u[2][0] - u[1][0] * u[2][2]) +
                     u[0][2] * (u[1][0] * u[2][1] - u[1][1] * u[2][0]);
        if (det == 0) {
            continue;
        }
        size_t b = det > 0 ? v + 1 : v + 2, c = det > 0 ? v + 2 : v + 1;
        s->n_vertices += 4;
        add(s, v, c, b);
        add(s, v, b, v + 3);
        add(s, b, c, v + 3);
        add(s, c, v, v + 3);
    }
}

static void make_cells(shape *s, const uint8_t *data, size_t n)
{
    bool full[5][5][5] = {{{false}}};
    static const int steps[6][3] = {{1, 0, 0}, {-1, 0, 0}, {0, 1, 0}, {0, -1, 0}, {0, 0, 1}, {0, 0, -1}};
    for (size_t i = 0; i < 27; i++) {
        full[1 + i % 3][1 + i / 3 % 3][1 + i / 9] = i / 8 < n && (data[i / 8] >> (i % 8) & 1);
    }
    for (size_t i = 0; i < 64; i++) {
        for (size_t k = 0; k < 3; k++) {
            s->xyz[3 * i + k] = 4.0 * (double)(i >> (2 * k) & 3) - 6;
        }
    }
    s->n_vertices = 64;
    for (int i = 0; i < 27; i++) {
        int c[3] = {1 + i % 3, 1 + i / 3 % 3, 1 + i / 9};
        for (int f = 0; f < 6 && full[c[0]][c[1]][c[2]]; f++) {
            if (full[c[0] + steps[f][0]][c[1] + steps[f][1]][c[2] + steps[f][2]]) {
                continue;
            }
            int axis = f / 2, u = (axis + 1) % 3, v = (axis + 2) % 3;
            size_t q[4];
            for (int k = 0; k < 4; k++) { /* counter-clockwise seen along the axis from above */
                int g[3] = {c[0] - 1, c[1] - 1, c[2] - 1};
                g[axis] += f % 2 == 0;
                g[u] += k == 1 || k == 2;
                g[v] += k >= 2;
                q[k] = (size_t)(g[0] + 4 * g[1] + 16 * g[2]);
            }
            add(s, q[0], q[f % 2 ? 2 : 1], q[f % 2 ? 1 : 2]);
            add(s, q[0], q[f % 2 ? 3 : 2], q[f % 2 ? 2 : 3]);
        }
    }
}

static void make_ball(shape *s, const uint8_t *data, size_t n)
{
    s->n_vertices = 2 + RINGS * SPOKES;
    for (size_t i = 0; i < s->n_vertices; i++) {
        double r = 3 + (i < n ? data[i] % 12 : 5), t = i == 0 ? 0 : i == 1 ? 6 : 1 + (double)((i - 2) / SPOKES);
        double f = i < 2 ? 0 : (double)((i - 2) % SPOKES), ring = i < 2 ? 0 : sin(t * M_PI / 6);
        s->xyz[3 * i] = r * ring * cos(f * M_PI / 4);
        s->xyz[3 * i + 1] = r * ring * sin(f * M_PI / 4);
        s->xyz[3 * i + 2] = r * cos(t * M_PI / 6);
    }
    for (size_t k = 0; k < SPOKES; k++) {
        size_t m = (k + 1) % SPOKES, last = 2 + (RINGS - 1) * SPOKES;
        add(s, 0, 2 + k, 2 + m);
        add(s, 1, last + m, last + k);
        for (size_t i = 0; i + 1 < RINGS; i++) {
            size_t a = 2 + i * SPOKES, b = a + SPOKES;
            add(s, a + k, b + k, b + m);
            add(s, a + k, b + m, a + m);
        }
    }
}

static double measure(const po_mesh *mesh, po_arena *arena, po_mesh_facts *facts)
{
    po_err err;
    memset(facts, 0, sizeof *facts);
    for (size_t i = 0; i < 3 * mesh->n_triangles; i++) {
        PROMISE(mesh->corners[i] < mesh->n_vertices);
    }
    if (mesh->n_triangles && po_mesh_measure(mesh, 1, arena, facts, &err) != PO_OK) {
        return NAN;
    }
    PROMISE(facts->open_edges == 0 || !mesh->n_triangles);
    return facts->volume_mm3;
}

static void try_cut(const po_mesh *mesh, const po_plane *plane, bool simple, po_arena *arena)
{
    po_mesh halves[2];
    po_mesh_facts facts;
    po_cut cut;
    po_err err;
    po_status status = po_mesh_cut(mesh, plane, arena, &halves[0], &halves[1], &cut, &err);
    PROMISE(status == PO_OK || err.code == status);
    PROMISE(status != PO_E_INTERNAL && (status == PO_OK || !simple));
    if (status != PO_OK) {
        return;
    }
    double all = measure(mesh, arena, &facts), sum = 0;
    double size = 0;
    for (int k = 0; k < 3; k++) {
        size = fmax(size, facts.bounds_mm[1][k] - facts.bounds_mm[0][k]);
    }
    for (int i = 0; i < 2; i++) {
        sum += measure(&halves[i], arena, &facts);
        PROMISE(!simple || !halves[i].n_triangles || facts.watertight);
    }
    PROMISE(fabs(sum - all) <= 1e-9 * fmax(fabs(all), size * size * size));
    PROMISE(cut.loops == cut.section.n_loops && (cut.least_mm >= 0 || isnan(cut.least_mm)));
}

static void try_pieces(const po_mesh *mesh, uint8_t room, po_arena *arena)
{
    po_machine machine = {.name = "small", .bed_mm = {4 + room, 5 + room}, .height_mm = 5 + room / 2};
    po_pieces_setup setup = {.machine = &machine,
                             .pose = {.overhang_limit_deg = 45,
                                      .layer_mm = 0.2,
                                      .first_layer_mm = 0.2,
                                      .bead_mm = 0.4,
                                      .bridge_limit_mm = 10,
                                      .support_gap_mm = 0.5,
                                      .rough_flow_mm3_s = 5},
                             .pins = room & 1,
                             .pin_mm = 1,
                             .pin_slack_mm = NAN,
                             .least_joint_mm = 0.5,
                             .most_pieces = 8,
                             .threads = 1};
    po_pieces pieces;
    po_err err;
    po_status status = po_part_pieces(mesh, &setup, arena, &pieces, &err);
    PROMISE(status == PO_OK || err.code == status);
    PROMISE(status != PO_E_INTERNAL && status != PO_E_CANCELLED);
    for (size_t i = 0; status == PO_OK && i < pieces.n_pieces; i++) {
        PROMISE(pieces.pieces[i].fit.as_is && pieces.pieces[i].volume_mm3 > 0);
    }
    PROMISE(status != PO_OK || pieces.volume_error <= 1e-9 || pieces.n_pieces == 1);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    static shape s; /* large for a stack; made anew each time */
    if (n < 7) {
        return 0;
    }
    s.n_vertices = s.n_triangles = 0;
    po_plane plane = {{(int8_t)data[1], (int8_t)data[2], (int8_t)data[3]}, whole(data[4])};
    double length = sqrt(plane.n[0] * plane.n[0] + plane.n[1] * plane.n[1] + plane.n[2] * plane.n[2]);
    if (length == 0) {
        return 0;
    }
    for (int k = 0; k < 3; k++) {
        plane.n[k] /= length;
    }
    bool simple = data[0] % 4 == 3;
    (data[0] % 4 == 0   ? make_raw
     : data[0] % 4 == 1 ? make_tetras
     : data[0] % 4 == 2 ? make_cells
                        : make_ball)(&s, data + 6, n - 6);
    po_mesh mesh = {s.xyz, s.n_vertices, s.corners, s.n_triangles};
    po_arena *arena = po_arena_new(ARENA);
    PROMISE(arena);
    if (mesh.n_triangles) {
        try_cut(&mesh, &plane, simple, arena);
    }
    if (mesh.n_triangles && data[5] >> 5 == 7) { /* seldom: it takes a hundred times as long */
        try_pieces(&mesh, data[5] & 31, arena);
    }
    po_arena_free(arena);
    return 0;
}
