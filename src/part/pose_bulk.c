/* A mesh made ready for many directions. SPDX-License-Identifier: Apache-2.0
 *
 * Triangles of one plane are summed into one (a hash of normal and offset), so that an ordinary part, drawn from planes,
 * shrinks to a few thousand numbers; a curved one stays as it is. Corners that lie inside the hull of the lowest corners
 * along a few hundred directions can never be lowest (Akl and Toussaint, Inf. Process. Lett. 7, 1978, in space), and are
 * left out. */
#include "part/pose_bulk.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PROBES = 256 };
static const double MOST_MM = 1e7;
static const double INSIDE = 2e-6; /* of the diagonal: a corner this little outside the inner hull is left out, too */

void po_pose_spread(size_t n, double (*ret)[3])
{
    const double golden = 2.39996322972865332; /* radians */
    for (size_t i = 0; i < n; i++) {
        double z = 1 - (2 * (double)i + 1) / (double)n, r = sqrt(fmax(0, 1 - z * z)), u = golden * (double)i;
        ret[i][0] = r * cos(u);
        ret[i][1] = r * sin(u);
        ret[i][2] = z;
    }
}

typedef struct sum { /* of the triangles of a plane */
    double normal[3], area, moment[3];
} sum;

enum { CHUNK = 16384 };

static double normal_of(const po_mesh *mesh, const double *middle, size_t t, double n[3], double at[3])
{
    const uint32_t *v = mesh->corners + 3 * t;
    const double *p = mesh->xyz + 3 * (size_t)v[0], *q = mesh->xyz + 3 * (size_t)v[1],
                 *r = mesh->xyz + 3 * (size_t)v[2];
    double e[3], f[3];
    for (int k = 0; k < 3; k++) {
        e[k] = q[k] - p[k];
        f[k] = r[k] - p[k];
        at[k] = (p[k] + q[k] + r[k]) / 3 - middle[k];
    }
    n[0] = e[1] * f[2] - e[2] * f[1];
    n[1] = e[2] * f[0] - e[0] * f[2];
    n[2] = e[0] * f[1] - e[1] * f[0];
    return sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2]);
}

static uint64_t key_of(const double n[3], double offset)
{
    uint64_t hash = 0;
    for (int k = 0; k < 4; k++) {
        double x = k < 3 ? n[k] / PO_POSE_PLANE_STEP : offset / PO_POSE_PLANE_MM;
        hash = (hash ^ (uint64_t)(int64_t)floor(x + 0.5)) * 0x9e3779b97f4a7c15u;
        hash ^= hash >> 31;
    }
    return hash ? hash : 1;
}

typedef struct hashing {
    const po_mesh *mesh;
    const double *middle;
    uint64_t *keys; /* 0: no area */
} hashing;

static void hash_chunk(size_t chunk, void *user)
{
    const hashing *h = user;
    size_t from = chunk * CHUNK, to = from + CHUNK < h->mesh->n_triangles ? from + CHUNK : h->mesh->n_triangles;
    for (size_t t = from; t < to; t++) {
        double n[3], at[3], length = normal_of(h->mesh, h->middle, t, n, at);
        h->keys[t] = 0;
        if (length > 0) {
            for (int k = 0; k < 3; k++) {
                n[k] /= length;
            }
            h->keys[t] = key_of(n, n[0] * at[0] + n[1] * at[1] + n[2] * at[2]);
        }
    }
}

/* Keys of 64 bits from four whole numbers: two planes of a part that share one by chance are not to be expected (10^7
 * planes: 3 in a million), and would only be summed as one. */
static po_status sum_planes(const po_mesh *mesh, po_pool *pool, po_pose_bulk *bulk, sum **ret, size_t *ret_n,
                            po_err *err)
{
    size_t room = 64, n = 0;
    while (room < 2 * mesh->n_triangles) {
        room *= 2;
    }
    uint64_t *keys = malloc(mesh->n_triangles * sizeof *keys), *table_key = calloc(room, sizeof *table_key);
    uint32_t *table = malloc(room * sizeof *table);
    size_t cap = 1024;
    sum *sums = malloc(cap * sizeof *sums);
    bool fine = keys && table_key && table && sums;
    if (fine) {
        hashing h = {mesh, bulk->middle, keys};
        po_pool_each(pool, (mesh->n_triangles + CHUNK - 1) / CHUNK, hash_chunk, &h);
    }
    for (size_t t = 0; fine && t < mesh->n_triangles; t++) {
        if (!keys[t]) {
            continue;
        }
        size_t at = keys[t] & (room - 1);
        while (table_key[at] && table_key[at] != keys[t]) {
            at = (at + 1) & (room - 1);
        }
        if (!table_key[at]) {
            if (n == cap) {
                sum *more = realloc(sums, 2 * cap * sizeof *more);
                if (!more) {
                    fine = false;
                    break;
                }
                sums = more;
                cap *= 2;
            }
            table_key[at] = keys[t];
            table[at] = (uint32_t)n;
            sums[n++] = (sum){{0}, 0, {0}};
        }
        sum *s = &sums[table[at]];
        double normal[3], centre[3], area = normal_of(mesh, bulk->middle, t, normal, centre) / 2;
        s->area += area;
        for (int k = 0; k < 3; k++) {
            s->normal[k] += normal[k];
            s->moment[k] += area * centre[k];
        }
    }
    free(keys);
    free(table_key);
    free(table);
    if (!fine) {
        free(sums);
        return po_fail(err, PO_E_NOMEM, "memory ran out while poses were compared");
    }
    *ret = sums;
    *ret_n = n;
    return PO_OK;
}

/* Volume and centre of mass by tetrahedra to the middle; of a surface without volume, the centre of its area. */
static void weigh(const po_mesh *mesh, po_pose_bulk *bulk)
{
    double volume = 0, moment[3] = {0}, area = 0, flat[3] = {0};
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        double n[3], at[3], a = normal_of(mesh, bulk->middle, t, n, at) / 2;
        double v = (n[0] * at[0] + n[1] * at[1] + n[2] * at[2]) / 6;
        volume += v;
        area += a;
        for (int k = 0; k < 3; k++) {
            moment[k] += v * at[k] * 0.75;
            flat[k] += a * at[k];
        }
    }
    bool solid = fabs(volume) > 1e-9 * bulk->diagonal * bulk->diagonal * bulk->diagonal;
    bulk->sign = volume < 0 ? -1 : 1;
    for (int k = 0; k < 3; k++) {
        bulk->centre[k] = solid ? moment[k] / volume : area > 0 ? flat[k] / area : 0;
    }
}

static size_t full(size_t n)
{
    return (n + PO_LANES - 1) / PO_LANES * PO_LANES;
}

/* Corners in use as floats; three arrays of full(n) in one piece. */
static float *gather(const po_mesh *mesh, const uint8_t *used, size_t n, const double *middle)
{
    size_t room = full(n);
    float *out = aligned_alloc(32, 3 * room * sizeof *out);
    size_t at = 0;
    for (size_t i = 0; out && i < mesh->n_vertices; i++) {
        if (used[i]) {
            for (size_t k = 0; k < 3; k++) {
                out[k * room + at] = (float)(mesh->xyz[3 * i + k] - middle[k]);
            }
            at++;
        }
    }
    for (; out && at < room; at++) {
        for (size_t k = 0; k < 3; k++) {
            out[k * room + at] = out[k * room + n - 1];
        }
    }
    return out;
}

typedef struct sift {
    const po_pose_kernel *kernel;
    const float *xyz;
    size_t room;
    const float (*axes)[3];
    uint32_t *lowest;
    const float (*planes)[4];
    size_t n_planes;
    float margin;
    uint8_t *outside;
} sift;

static void probe(size_t part, void *user)
{
    sift *s = user;
    po_corners3 c = {s->xyz, s->xyz + s->room, s->xyz + 2 * s->room, s->room, NULL};
    s->kernel->lowest(&c, s->axes + part * PO_MOST_AXES, PO_MOST_AXES, s->lowest + part * PO_MOST_AXES);
}

static void look_outside(size_t chunk, void *user)
{
    sift *s = user;
    size_t from = chunk * CHUNK, n = from + CHUNK < s->room ? CHUNK : s->room - from;
    po_corners3 c = {s->xyz + from, s->xyz + s->room + from, s->xyz + 2 * s->room + from, n, NULL};
    s->kernel->outside(&c, s->planes, s->n_planes, s->margin, s->outside + from);
}

/* Which of the corners may be outermost: 1, or 2 for those that are lowest along one of the probes. */
static po_status sift_corners(const float *xyz, size_t n, double diagonal, po_pool *pool, uint8_t *ret, po_err *err)
{
    static const size_t parts = PROBES / PO_MOST_AXES;
    double directions[PROBES][3], points[3 * PROBES];
    float axes[PROBES][3];
    uint32_t lowest[PROBES];
    size_t room = full(n), n_points = 0;
    po_pose_spread(PROBES, directions);
    for (int i = 0; i < PROBES; i++) {
        for (int k = 0; k < 3; k++) {
            axes[i][k] = (float)directions[i][k];
        }
    }
    sift s = {.kernel = po_pose_kernel_best(),
              .xyz = xyz,
              .room = room,
              .axes = (const float(*)[3])axes,
              .lowest = lowest,
              .outside = ret,
              .margin = (float)(INSIDE * diagonal)};
    po_pool_each(pool, parts, probe, &s);
    for (int i = 0; i < PROBES; i++) {
        for (size_t k = 0; k < 3; k++) {
            points[3 * n_points + k] = (double)xyz[k * room + lowest[i]];
        }
        n_points++;
    }
    po_hull_face *faces;
    size_t n_faces;
    po_status status = po_hull_faces(points, n_points, &faces, &n_faces, err);
    if (status != PO_OK) {
        return status;
    }
    float(*planes)[4] = malloc((n_faces + 1) * sizeof *planes);
    if (!planes) {
        free(faces);
        return po_fail(err, PO_E_NOMEM, "memory ran out while poses were compared");
    }
    for (size_t i = 0; i < n_faces; i++) {
        for (int k = 0; k < 3; k++) {
            planes[i][k] = (float)faces[i].normal[k];
        }
        planes[i][3] = (float)faces[i].offset;
    }
    if (n_faces) {
        s.planes = (const float(*)[4])planes;
        s.n_planes = n_faces;
        po_pool_each(pool, (room + CHUNK - 1) / CHUNK, look_outside, &s);
    } else {
        memset(ret, 1, room);
    }
    for (int i = 0; i < PROBES; i++) {
        ret[lowest[i]] = 2;
    }
    free(planes);
    free(faces);
    return PO_OK;
}

static po_status check(const po_mesh *mesh, uint8_t *used, size_t *ret_used, po_pose_bulk *bulk, po_err *err)
{
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    for (size_t i = 0; i < 3 * mesh->n_triangles; i++) {
        if (mesh->corners[i] >= mesh->n_vertices) {
            return po_fail(err, PO_E_RANGE, "triangle %zu names vertex %u of %zu", i / 3, mesh->corners[i],
                           mesh->n_vertices);
        }
        used[mesh->corners[i]] = 1;
    }
    for (size_t i = 0; i < mesh->n_vertices; i++) {
        for (size_t k = 0; used[i] && k < 3; k++) {
            double x = mesh->xyz[3 * i + k];
            if (!(fabs(x) <= MOST_MM)) {
                return po_fail(err, PO_E_RANGE, "vertex %zu lies beyond 10 km, or nowhere", i);
            }
            low[k] = fmin(low[k], x);
            high[k] = fmax(high[k], x);
        }
        *ret_used += used[i];
    }
    double square = 0;
    for (int k = 0; k < 3; k++) {
        bulk->middle[k] = (low[k] + high[k]) / 2;
        square += (high[k] - low[k]) * (high[k] - low[k]);
    }
    bulk->diagonal = sqrt(square);
    return PO_OK;
}

/* Bits of a number below 1024 spread to every third place. */
static uint32_t every_third(uint32_t x)
{
    x = (x | x << 16) & 0x030000ff;
    x = (x | x << 8) & 0x0300f00f;
    x = (x | x << 4) & 0x030c30c3;
    return (x | x << 2) & 0x09249249;
}

enum { CELLS = 32, N_CELLS = CELLS * CELLS * CELLS };

/* Where a vector with parts from -1 to 1 lies on a curve that keeps near ones together (Morton, IBM technical report,
 * 1966), in cells of a 16th. */
static uint32_t cell_of(const double v[3])
{
    uint32_t code = 0;
    for (int k = 0; k < 3; k++) {
        double x = floor((v[k] + 1) * (CELLS / 2));
        code |= every_third((uint32_t)fmin(fmax(x, 0), CELLS - 1)) << k;
    }
    return code;
}

/* Numbers 0..n-1 by their cells, stable. Caller frees; NULL: no memory. */
static uint32_t *by_cell(const uint16_t *cells, size_t n)
{
    uint32_t *order = malloc((n + 1) * sizeof *order), *start = calloc(N_CELLS + 1, sizeof *start);
    if (order && start) {
        for (size_t i = 0; i < n; i++) {
            start[cells[i] + 1]++;
        }
        for (size_t c = 0; c < N_CELLS; c++) {
            start[c + 1] += start[c];
        }
        for (size_t i = 0; i < n; i++) {
            order[start[cells[i]]++] = (uint32_t)i;
        }
    } else {
        free(order);
        order = NULL;
    }
    free(start);
    return order;
}

static void bound_planes(const po_planes *p, size_t n, po_cone *cones)
{
    for (size_t begin = 0; begin < n; begin += PO_BLOCK) {
        size_t end = begin + PO_BLOCK < n ? begin + PO_BLOCK : n;
        double axis[3] = {0}, cosine = 1;
        for (size_t i = begin; i < end; i++) {
            axis[0] += (double)p->nx[i], axis[1] += (double)p->ny[i], axis[2] += (double)p->nz[i];
        }
        double length = sqrt(axis[0] * axis[0] + axis[1] * axis[1] + axis[2] * axis[2]);
        for (size_t i = begin; i < end && length > 1e-6; i++) {
            double dot = axis[0] * (double)p->nx[i] + axis[1] * (double)p->ny[i] + axis[2] * (double)p->nz[i];
            cosine = fmin(cosine, dot / length);
        }
        po_cone *cone = &cones[begin / PO_BLOCK];
        *cone = (po_cone){{1, 0, 0}, -1, 0}; /* all directions */
        if (length > 1e-6 && cosine > 0.1) {
            for (int k = 0; k < 3; k++) {
                cone->axis[k] = (float)(axis[k] / length);
            }
            cone->cosine = (float)cosine;
            cone->sine = (float)sqrt(1 - cosine * cosine);
        }
    }
}

static void bound_corners(const po_corners3 *c, po_ball *balls)
{
    for (size_t begin = 0; begin < c->n; begin += PO_BLOCK) {
        size_t end = begin + PO_BLOCK < c->n ? begin + PO_BLOCK : c->n;
        const float *xyz[3] = {c->x, c->y, c->z};
        po_ball *ball = &balls[begin / PO_BLOCK];
        double square = 0, at[3];
        for (int k = 0; k < 3; k++) {
            float low = INFINITY, high = -INFINITY;
            for (size_t i = begin; i < end; i++) {
                low = fminf(low, xyz[k][i]);
                high = fmaxf(high, xyz[k][i]);
            }
            ball->at[k] = low / 2 + high / 2;
            at[k] = (double)ball->at[k];
        }
        for (size_t i = begin; i < end; i++) {
            double x = (double)c->x[i] - at[0], y = (double)c->y[i] - at[1], z = (double)c->z[i] - at[2];
            square = fmax(square, x * x + y * y + z * z);
        }
        ball->radius = (float)sqrt(square);
    }
}

static void put_planes(const po_pose_bulk *bulk, const sum *sums, const uint32_t *order, size_t n, size_t rows,
                       float *m)
{
    for (size_t i = 0; i < n; i++) {
        const sum *s = &sums[order[i]];
        const double *v = s->normal;
        double length = sqrt(v[0] * v[0] + v[1] * v[1] + v[2] * v[2]);
        for (size_t k = 0; k < 3; k++) {
            m[k * rows + i] = (float)(bulk->sign * v[k] / length);
            m[(4 + k) * rows + i] = (float)s->moment[k];
        }
        m[3 * rows + i] = (float)s->area;
    }
}

/* The planes and outer corners for good, near ones together; the corners that were lowest somewhere (2 in outer) come
 * first, so that nearly all other blocks can be passed over. */
static po_status keep(po_pose_bulk *bulk, const sum *sums, size_t n_sums, const float *xyz, size_t n_used,
                      const uint8_t *outer, po_err *err)
{
    size_t n = 0, from = full(n_used), rows = full(n_sums), most = n_used > n_sums ? n_used : n_sums;
    uint16_t *cells = malloc((most + 1) * sizeof *cells);
    uint32_t *kept = malloc((n_used + 1) * sizeof *kept), *planes = NULL, *corners = NULL;
    for (size_t i = 0; cells && i < n_sums; i++) {
        double v[3], length = 0;
        for (int k = 0; k < 3; k++) {
            length += sums[i].normal[k] * sums[i].normal[k];
        }
        for (int k = 0; k < 3; k++) {
            v[k] = sums[i].normal[k] / sqrt(length);
        }
        cells[i] = (uint16_t)cell_of(v);
    }
    planes = cells ? by_cell(cells, n_sums) : NULL;
    for (size_t i = 0; planes && kept && i < n_used; i++) {
        if (outer[i]) {
            double v[3];
            for (size_t k = 0; k < 3; k++) {
                v[k] = (double)xyz[k * from + i] * 2 / fmax(bulk->diagonal, 1e-9);
            }
            cells[n] = outer[i] == 2 ? 0 : (uint16_t)cell_of(v);
            kept[n++] = (uint32_t)i;
        }
    }
    corners = planes && kept ? by_cell(cells, n) : NULL;
    size_t room = full(n), n_blocks = room / PO_BLOCK + 1;
    float *m = corners ? aligned_alloc(32, (7 * rows + 3 * room) * sizeof *m) : NULL;
    bulk->memory = m;
    bulk->balls = malloc(n_blocks * sizeof *bulk->balls);
    bulk->cones = malloc((rows / PO_BLOCK + 1) * sizeof *bulk->cones);
    bool fine = m && bulk->balls && bulk->cones;
    if (fine) {
        memset(m, 0, (7 * rows + 3 * room) * sizeof *m);
        put_planes(bulk, sums, planes, n_sums, rows, m);
        float *c = m + 7 * rows;
        for (size_t i = 0; i < room; i++) {
            size_t at = kept[corners[i < n ? i : n - 1]];
            for (size_t k = 0; k < 3; k++) {
                c[k * room + i] = xyz[k * from + at];
            }
        }
        bulk->planes = (po_planes){
            m, m + rows, m + 2 * rows, m + 3 * rows, m + 4 * rows, m + 5 * rows, m + 6 * rows, rows, bulk->cones};
        bulk->n_planes = n_sums;
        bulk->corners = (po_corners3){c, c + room, c + 2 * room, room, bulk->balls};
        bulk->n_corners = n;
        bound_planes(&bulk->planes, n_sums, bulk->cones);
        bound_corners(&bulk->corners, bulk->balls);
    }
    free(cells);
    free(kept);
    free(planes);
    free(corners);
    return fine ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out while poses were compared");
}

void po_pose_bulk_done(po_pose_bulk *bulk)
{
    free(bulk->memory);
    free(bulk->balls);
    free(bulk->cones);
    *bulk = (po_pose_bulk){0};
}

po_status po_pose_bulk_make(const po_mesh *mesh, po_pool *pool, po_pose_bulk *ret, po_err *err)
{
    *ret = (po_pose_bulk){0};
    if (mesh->n_triangles == 0) {
        return po_fail(err, PO_E_EMPTY, "a part without triangles has no pose");
    }
    uint8_t *used = calloc(mesh->n_vertices + 1, 1), *outer = NULL;
    float *xyz = NULL;
    sum *sums = NULL;
    size_t n_used = 0, n_sums = 0;
    po_status s = used ? check(mesh, used, &n_used, ret, err) : po_fail(err, PO_E_NOMEM, "memory ran out");
    if (s == PO_OK) {
        weigh(mesh, ret);
        s = sum_planes(mesh, pool, ret, &sums, &n_sums, err);
    }
    if (s == PO_OK) {
        xyz = gather(mesh, used, n_used, ret->middle);
        outer = malloc(full(n_used));
        s = xyz && outer ? sift_corners(xyz, n_used, ret->diagonal, pool, outer, err)
                         : po_fail(err, PO_E_NOMEM, "memory ran out while poses were compared");
    }
    if (s == PO_OK) {
        s = keep(ret, sums, n_sums, xyz, n_used, outer, err);
    }
    free(used);
    free(outer);
    free(xyz);
    free(sums);
    return s;
}
