/* How much of a box a machine holds, and which way a part is built. SPDX-License-Identifier: Apache-2.0
 *
 * A rectangle in a rectangle: W. B. Carver, "Solution to problem E 1225", American Mathematical Monthly 64, 1957: p by q
 * (p >= q) goes into a by b (a >= b) where p <= a and q <= b, or p > a, q <= b and
 * b >= (2 p q a + (p^2 - q^2) sqrt(p^2 + q^2 - a^2)) / (p^2 + q^2). */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/pieces_plan.h"

enum { GRID_MOST = 512, NORMALS_MOST = 4096 };

typedef struct patch {
    double low[2], high[2];
} patch;

/* What is left of a rectangle beside another: up to four that overlap in its corners. */
static size_t beside(const patch *whole, const patch *out, patch *ret)
{
    size_t n = 0;
    bool apart = false;
    for (int k = 0; k < 2; k++) {
        apart = apart || out->high[k] <= whole->low[k] || out->low[k] >= whole->high[k];
    }
    if (apart) {
        ret[n++] = *whole;
    }
    for (int k = 0; k < 2 && !apart; k++) {
        if (out->low[k] > whole->low[k]) {
            ret[n] = *whole;
            ret[n++].high[k] = out->low[k];
        }
        if (out->high[k] < whole->high[k]) {
            ret[n] = *whole;
            ret[n++].low[k] = out->high[k];
        }
    }
    return n;
}

po_bed_room po_bed_room_of(const po_machine *machine, double clearance_mm)
{
    double less = 2 * clearance_mm;
    po_bed_room room = {
        machine->bed_mm[0] - less, machine->bed_mm[1] - less, machine->height_mm, machine->round_bed, {{0}}, 0};
    po_range x, y;
    po_machine_bed_extent(machine, &x, &y);
    patch free_areas[PO_FREE_MOST] = {
        {{x.low + clearance_mm, y.low + clearance_mm}, {x.high - clearance_mm, y.high - clearance_mm}}};
    size_t n = 1;
    for (size_t i = 0; i < machine->n_keep_outs && !machine->round_bed; i++) {
        const po_keep_out *k = &machine->keep_outs[i];
        patch out = {{k->x.low, k->y.low}, {k->x.high, k->y.high}}, next[4 * PO_FREE_MOST];
        size_t n_next = 0;
        for (size_t a = 0; a < n; a++) {
            n_next += beside(&free_areas[a], &out, next + n_next);
        }
        n = n_next < PO_FREE_MOST ? n_next : PO_FREE_MOST; /* beyond that some room is left out: never too much */
        memcpy(free_areas, next, n * sizeof next[0]);
    }
    for (size_t a = 0; a < n; a++) {
        for (int k = 0; k < 2; k++) {
            room.free_sides[a][k] = free_areas[a].high[k] - free_areas[a].low[k];
        }
    }
    room.n_free = n;
    return room;
}

static bool in_rectangle(const double *sides, double p, double q)
{
    double a = fmax(sides[0], sides[1]), b = fmin(sides[0], sides[1]), shorter = fmin(p, q);
    p = fmax(p, q);
    q = shorter;
    if (p <= a) {
        return q <= b;
    }
    double square = p * p + q * q;
    return q <= b && b * square >= 2 * p * q * a + (p * p - q * q) * sqrt(square - a * a);
}

static bool flat_fits(const po_bed_room *room, double p, double q)
{
    if (room->round) {
        return hypot(p, q) <= room->x;
    }
    for (size_t i = 0; i < room->n_free; i++) {
        if (in_rectangle(room->free_sides[i], p, q)) {
            return true;
        }
    }
    return false;
}

bool po_box_fits(const po_bed_room *room, const double size[3])
{
    for (int up = 0; up < 3; up++) {
        if (size[up] <= room->z && flat_fits(room, size[(up + 1) % 3], size[(up + 2) % 3])) {
            return true;
        }
    }
    return false;
}

unsigned po_box_pieces(const po_bed_room *room, const double size[3], unsigned ret_counts[3])
{
    for (unsigned n = 1; n <= GRID_MOST; n++) {
        double best = INFINITY;
        for (unsigned i = 1; i <= n; i++) {
            for (unsigned j = 1; n % i == 0 && j <= n / i; j++) {
                unsigned k = n / i / j;
                double part[3] = {size[0] / i, size[1] / j, size[2] / k};
                if (n / i % j || !po_box_fits(room, part)) {
                    continue;
                }
                /* of several such grids the one with the least joint */
                double joint = (i - 1) * size[1] * size[2] + (j - 1) * size[0] * size[2] + (k - 1) * size[0] * size[1];
                if (joint < best) {
                    best = joint;
                    if (ret_counts) {
                        ret_counts[0] = i;
                        ret_counts[1] = j;
                        ret_counts[2] = k;
                    }
                }
            }
        }
        if (best < INFINITY) {
            return n;
        }
        /* far too large: no need to count it out */
        if (n == 64 && size[0] * size[1] * size[2] > 2.0 * GRID_MOST * room->x * room->x * room->z) {
            return 0;
        }
    }
    return 0;
}

double po_box_longest(const po_bed_room *room, const double size[3], int axis)
{
    double part[3] = {size[0], size[1], size[2]}, low = 0, high = size[axis];
    part[axis] = high;
    if (po_box_fits(room, part)) {
        return high;
    }
    part[axis] = high * 1e-6;
    if (!po_box_fits(room, part)) {
        return 0;
    }
    for (int i = 0; i < 50; i++) { /* what is shorter fits as well */
        part[axis] = (low + high) / 2;
        if (po_box_fits(room, part)) {
            low = part[axis];
        } else {
            high = part[axis];
        }
    }
    return low;
}

/* ---- axes ---- */

static double dot(const double *a, const double *b)
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

static void cross(const double *a, const double *b, double *ret)
{
    ret[0] = a[1] * b[2] - a[2] * b[1];
    ret[1] = a[2] * b[0] - a[0] * b[2];
    ret[2] = a[0] * b[1] - a[1] * b[0];
}

static bool unit(double *a)
{
    double length = sqrt(dot(a, a));
    for (int k = 0; k < 3 && length > 0; k++) {
        a[k] /= length;
    }
    return length > 0;
}

void po_axes_bounds(const po_axes *axes, const po_mesh *mesh, double low[3], double high[3])
{
    for (int k = 0; k < 3; k++) {
        low[k] = INFINITY;
        high[k] = -INFINITY;
    }
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        for (int k = 0; k < 3; k++) {
            double at = dot(axes->of[k], mesh->xyz + 3 * v);
            low[k] = fmin(low[k], at);
            high[k] = fmax(high[k], at);
        }
    }
}

static double box_volume(const po_axes *axes, const po_mesh *mesh)
{
    double low[3], high[3];
    po_axes_bounds(axes, mesh, low, high);
    return (high[0] - low[0]) * (high[1] - low[1]) * (high[2] - low[2]);
}

typedef struct facing {
    double normal[3], area;
} facing;

static double twice_normal(const po_mesh *mesh, size_t t, double *ret)
{
    const double *p[3];
    double u[3], v[3];
    for (int k = 0; k < 3; k++) {
        p[k] = mesh->xyz + 3 * (size_t)mesh->corners[3 * t + (size_t)k];
    }
    for (int k = 0; k < 3; k++) {
        u[k] = p[1][k] - p[0][k];
        v[k] = p[2][k] - p[0][k];
    }
    cross(u, v, ret);
    return sqrt(dot(ret, ret));
}

/* Axes along the normals that most area has, of which two lie at right angles. */
static bool axes_of_faces(const po_mesh *mesh, po_axes *ret)
{
    facing *faces = calloc(NORMALS_MOST, sizeof *faces);
    size_t n = 0;
    if (!faces) {
        return false;
    }
    size_t step = mesh->n_triangles / 200000 + 1; /* a sample does for huge meshes */
    for (size_t t = 0; t < mesh->n_triangles; t += step) {
        double normal[3], area = twice_normal(mesh, t, normal);
        if (area <= 0) {
            continue;
        }
        int largest = 0;
        for (int k = 0; k < 3; k++) {
            normal[k] /= area;
            largest = fabs(normal[k]) > fabs(normal[largest]) ? k : largest;
        }
        uint64_t hash = 0;
        for (int k = 0; k < 3; k++) { /* one direction, whichever way it faces */
            normal[k] *= normal[largest] < 0 && k != largest ? -1 : 1;
        }
        normal[largest] = fabs(normal[largest]);
        for (int k = 0; k < 3; k++) {
            hash = (hash + (uint64_t)(int64_t)llround(normal[k] * 500)) * 0x9e3779b97f4a7c15u;
        }
        size_t at = (size_t)(hash >> 52);
        for (size_t tries = 0; tries < 16; tries++, at = (at + 1) % NORMALS_MOST) {
            if (faces[at].area <= 0) {
                memcpy(faces[at].normal, normal, sizeof normal);
                n++;
            }
            if (faces[at].area <= 0 || fabs(dot(faces[at].normal, normal)) > 0.99999) {
                faces[at].area += area;
                break;
            }
        }
    }
    size_t first = 0, second = SIZE_MAX;
    for (size_t i = 0; n && i < NORMALS_MOST; i++) {
        first = faces[i].area > faces[first].area ? i : first;
    }
    for (size_t i = 0; n && i < NORMALS_MOST; i++) {
        if (faces[i].area > 0 && fabs(dot(faces[i].normal, faces[first].normal)) < 1e-3 &&
            (second == SIZE_MAX || faces[i].area > faces[second].area)) {
            second = i;
        }
    }
    if (second != SIZE_MAX) {
        memcpy(ret->of[0], faces[first].normal, sizeof ret->of[0]);
        cross(faces[first].normal, faces[second].normal, ret->of[2]);
        unit(ret->of[2]);
        cross(ret->of[2], ret->of[0], ret->of[1]);
    }
    free(faces);
    return second != SIZE_MAX;
}

/* Main axes of the surface, by Jacobi's rotations (Golub and Van Loan, Matrix Computations, section 8.5). */
static bool axes_of_mass(const po_mesh *mesh, po_axes *ret)
{
    double m[3][3] = {{0}}, mean[3] = {0}, sum = 0, e[3][3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
    for (int pass = 0; pass < 2; pass++) {
        for (size_t t = 0; t < mesh->n_triangles; t++) {
            double normal[3], area = twice_normal(mesh, t, normal), c[3];
            for (int k = 0; k < 3; k++) {
                c[k] = 0;
                for (size_t i = 0; i < 3; i++) {
                    c[k] += mesh->xyz[3 * (size_t)mesh->corners[3 * t + i] + (size_t)k] / 3;
                }
                mean[k] += pass ? 0 : area * c[k];
            }
            sum += pass ? 0 : area;
            for (int i = 0; pass && i < 9; i++) {
                m[i / 3][i % 3] += area * (c[i / 3] - mean[i / 3]) * (c[i % 3] - mean[i % 3]);
            }
        }
        for (int k = 0; !pass && k < 3; k++) {
            mean[k] /= sum > 0 ? sum : 1;
        }
    }
    for (int sweep = 0; sweep < 30; sweep++) {
        for (int i = 0; i < 3; i++) {
            int p = i, q = (i + 1) % 3;
            if (fabs(m[p][q]) <= 1e-15 * (fabs(m[p][p]) + fabs(m[q][q]))) {
                continue;
            }
            double angle = atan2(2 * m[p][q], m[q][q] - m[p][p]) / 2, c = cos(angle), s = sin(angle);
            for (int k = 0; k < 3; k++) {
                double a = m[k][p], b = m[k][q];
                m[k][p] = c * a - s * b;
                m[k][q] = s * a + c * b;
            }
            for (int k = 0; k < 3; k++) {
                double a = m[p][k], b = m[q][k];
                m[p][k] = c * a - s * b;
                m[q][k] = s * a + c * b;
                a = e[p][k];
                b = e[q][k];
                e[p][k] = c * a - s * b;
                e[q][k] = s * a + c * b;
            }
        }
    }
    memcpy(ret->of, e, sizeof e);
    return unit(ret->of[0]) && unit(ret->of[1]) && unit(ret->of[2]);
}

size_t po_axes_find(const po_mesh *mesh, po_axes ret[PO_AXES_MOST])
{
    size_t n = 1;
    ret[0] = (po_axes){{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}};
    double least = box_volume(&ret[0], mesh);
    for (int kind = 0; kind < 2; kind++) {
        po_axes axes;
        if (kind ? !axes_of_mass(mesh, &axes) : !axes_of_faces(mesh, &axes)) {
            continue;
        }
        double volume = box_volume(&axes, mesh);
        if (volume < 0.97 * least) { /* worth looking at only where the part lies snugger in them */
            ret[n++] = axes;
            least = volume;
        }
    }
    return n;
}
