/* A mesh small enough to be shown, and its bytes. SPDX-License-Identifier: Apache-2.0
 *
 * Vertex clustering (J. Rossignac, P. Borrel 1993): corners in one cell of a grid become their mean; triangles that lose a
 * corner go. Corners of triangles that findings are about are clusters of their own. */
#include <limits.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/show_inside.h"
#include "proveout/show.h"

enum { USUAL_MOST = 300000, ROUNDS = 40 };

typedef struct clusters {
    const po_mesh *mesh;
    const uint8_t *fixed; /* of vertices */
    double low[3];
    uint32_t *of; /* of each vertex: its cluster; UINT32_MAX: no triangle has it */
    double *sum;  /* 4 for each cluster: x, y, z, how many */
    size_t n;
    uint32_t *table; /* cell -> cluster */
    uint64_t *keys;
    size_t room;
} clusters;

static void cluster(clusters *c, double cell, const uint8_t *used)
{
    c->n = 0;
    memset(c->table, 0xff, c->room * sizeof *c->table);
    for (size_t v = 0; v < c->mesh->n_vertices; v++) {
        const double *p = c->mesh->xyz + 3 * v;
        if (!used[v]) {
            c->of[v] = UINT32_MAX;
            continue;
        }
        uint32_t mine = (uint32_t)c->n;
        if (!c->fixed[v]) {
            uint64_t key = 0;
            for (int k = 0; k < 3; k++) { /* a cell is no smaller than 2^-20 of the part */
                key = key << 21 | ((uint64_t)((p[k] - c->low[k]) / cell) & 0x1fffff);
            }
            size_t at = (size_t)((key * 0x9e3779b97f4a7c15u) >> 20) & (c->room - 1);
            while (c->table[at] != UINT32_MAX && c->keys[at] != key) {
                at = (at + 1) & (c->room - 1);
            }
            if (c->table[at] == UINT32_MAX) {
                c->table[at] = mine;
                c->keys[at] = key;
            }
            mine = c->table[at];
        }
        if (mine == c->n) {
            memset(c->sum + 4 * c->n++, 0, 4 * sizeof(double));
        }
        double *s = c->sum + 4 * (size_t)mine;
        s[0] += p[0];
        s[1] += p[1];
        s[2] += p[2];
        s[3] += 1;
        c->of[v] = mine;
    }
}

static bool stays(const clusters *c, size_t t, uint32_t ret[3])
{
    for (size_t k = 0; k < 3; k++) {
        ret[k] = c->of[c->mesh->corners[3 * t + k]];
    }
    return ret[0] != ret[1] && ret[1] != ret[2] && ret[2] != ret[0];
}

static size_t count(const clusters *c)
{
    size_t n = 0;
    uint32_t corner[3];
    for (size_t t = 0; t < c->mesh->n_triangles; t++) {
        n += stays(c, t, corner);
    }
    return n;
}

/* The kinds whose triangles stay as they are: from the gravest down, as many as there is room for. */
static int kinds_to_keep(const po_mesh *mesh, const uint8_t *classes, size_t most, bool *ret_all)
{
    int keep = 0, wanted = 0;
    for (int bit = PO_SHOW_OPEN; bit >= PO_SHOW_OVERHANG; bit /= 2) {
        size_t n = 0;
        wanted |= bit;
        for (size_t t = 0; t < mesh->n_triangles; t++) {
            n += (classes[t] & (keep | bit)) != 0;
        }
        keep |= n <= most ? bit : 0;
    }
    *ret_all = keep == wanted;
    return keep;
}

static po_status copy_out(const clusters *c, const uint8_t *classes, po_arena *arena, po_shown *ret, po_err *err)
{
    size_t n = count(c);
    float *xyz = po_arena_zeros(arena, c->n + 1, 3 * sizeof *xyz);
    uint32_t *corners = po_arena_zeros(arena, n + 1, 3 * sizeof *corners),
             *from = po_arena_zeros(arena, n + 1, sizeof *from);
    uint8_t *of = po_arena_zeros(arena, n + 1, 1);
    if (!xyz || !corners || !from || !of) {
        return po_fail(err, PO_E_NOMEM, "memory ran out while a part was made ready to be shown");
    }
    for (size_t i = 0; i < c->n; i++) {
        for (size_t k = 0; k < 3; k++) {
            xyz[3 * i + k] = (float)(c->sum[4 * i + k] / c->sum[4 * i + 3] - ret->origin[k]);
        }
    }
    size_t at = 0;
    for (size_t t = 0; t < c->mesh->n_triangles; t++) {
        if (stays(c, t, corners + 3 * at)) {
            from[at] = (uint32_t)t;
            of[at++] = classes ? classes[t] : 0;
        }
    }
    if (at < n + 1) { /* what the last look left behind its end */
        memset(corners + 3 * at, 0, 3 * sizeof *corners);
    }
    ret->xyz = xyz;
    ret->n_vertices = c->n;
    ret->corners = corners;
    ret->from = from;
    ret->classes = of;
    ret->n_triangles = at;
    return PO_OK;
}

po_status po_show_mesh(const po_mesh *mesh, const uint8_t *classes, size_t most, po_arena *arena, po_shown *ret,
                       po_err *err)
{
    po_shown shown = {.n_whole = mesh->n_triangles, .kept_all = true};
    clusters c = {.mesh = mesh, .low = {INFINITY, INFINITY, INFINITY}};
    double high[3] = {-INFINITY, -INFINITY, -INFINITY}, area = 0, side = 0, normal[3];
    most = most ? most : USUAL_MOST;
    size_t n = mesh->n_vertices;
    for (c.room = 1024; c.room < 2 * n; c.room *= 2) {
    }
    uint8_t *marks = calloc(n + 1, 2), *used = marks, *fixed = marks ? marks + n : NULL;
    c.of = malloc((n + 1) * sizeof *c.of);
    c.sum = malloc((n + 1) * 4 * sizeof *c.sum);
    c.table = malloc(c.room * sizeof *c.table);
    c.keys = malloc(c.room * sizeof *c.keys);
    c.fixed = fixed;
    po_status status = marks && c.of && c.sum && c.table && c.keys
                           ? PO_OK
                           : po_fail(err, PO_E_NOMEM, "memory ran out while a part was made ready to be shown");
    bool thin_out = mesh->n_triangles > most;
    int keep = thin_out && classes ? kinds_to_keep(mesh, classes, most, &shown.kept_all) : 0;
    for (size_t t = 0; status == PO_OK && t < mesh->n_triangles; t++) {
        bool as_is = !thin_out || (classes && (classes[t] & keep));
        area += po_show_normal(mesh, t, normal);
        for (size_t k = 0; k < 3; k++) {
            uint32_t v = mesh->corners[3 * t + k];
            used[v] = 1;
            fixed[v] |= as_is;
            for (size_t a = 0; a < 3; a++) {
                c.low[a] = fmin(c.low[a], mesh->xyz[3 * (size_t)v + a]);
                high[a] = fmax(high[a], mesh->xyz[3 * (size_t)v + a]);
            }
        }
    }
    for (int k = 0; k < 3; k++) {
        shown.origin[k] = c.low[k] <= high[k] ? (c.low[k] + high[k]) / 2 : 0;
        side = fmax(side, high[k] - c.low[k]);
    }
    if (status == PO_OK) {
        double cell = fmax(sqrt(area / (double)most), side / 0x100000);
        cluster(&c, cell > 0 ? cell : 1, used);
        for (int round = 0; thin_out && round < ROUNDS && count(&c) > most; round++) {
            cell *= 1.25;
            cluster(&c, cell, used);
        }
        shown.cell_mm = thin_out ? cell : 0;
        status = copy_out(&c, classes, arena, &shown, err);
    }
    if (status == PO_OK) {
        *ret = shown;
    }
    free(marks);
    free(c.of);
    free(c.sum);
    free(c.table);
    free(c.keys);
    return status;
}

/* ---- bytes ---- */

static unsigned char *put_u32(unsigned char *to, uint32_t v)
{
    for (int i = 0; i < 4; i++) {
        *to++ = (unsigned char)(v >> 8 * i);
    }
    return to;
}

static unsigned char *put_f32(unsigned char *to, float f)
{
    uint32_t v;
    memcpy(&v, &f, 4);
    return put_u32(to, v);
}

static unsigned char *put_f64(unsigned char *to, double f)
{
    uint64_t v;
    memcpy(&v, &f, 8);
    return put_u32(put_u32(to, (uint32_t)v), (uint32_t)(v >> 32));
}

po_status po_show_bytes(const po_shown *s, const po_wall_sample *samples, size_t n_samples, po_arena *arena,
                        const unsigned char **ret, size_t *ret_n, po_err *err)
{
    enum { HEAD = 32 + 24 };
    size_t index = s->n_vertices <= 0x10000 ? 2 : 4;
    size_t n = HEAD + 12 * s->n_vertices + (4 + 3 * index + 1) * s->n_triangles + 16 * n_samples;
    bool counts = s->n_vertices < UINT32_MAX && s->n_triangles < UINT32_MAX && s->n_whole < UINT32_MAX;
    unsigned char *bytes = counts ? po_arena_zeros(arena, n, 1) : NULL, *to = bytes;
    if (!bytes) {
        return po_fail(err, PO_E_NOMEM, "memory ran out while a part was made ready to be shown");
    }
    memcpy(to, "PVM1", 4);
    to = put_u32(to + 4, (uint32_t)s->n_vertices);
    to = put_u32(to, (uint32_t)s->n_triangles);
    to = put_u32(to, (uint32_t)s->n_whole);
    to = put_u32(to, (uint32_t)index);
    to = put_u32(to, (uint32_t)n_samples);
    to = put_f32(to, (float)s->cell_mm);
    to = put_u32(to, s->kept_all ? 1 : 0);
    for (int k = 0; k < 3; k++) {
        to = put_f64(to, s->origin[k]);
    }
    for (size_t i = 0; i < 3 * s->n_vertices; i++) {
        to = put_f32(to, s->xyz[i]);
    }
    for (size_t i = 0; i < s->n_triangles; i++) {
        to = put_u32(to, s->from[i]);
    }
    for (size_t i = 0; i < n_samples; i++) {
        for (int k = 0; k < 3; k++) {
            to = put_f32(to, (float)(samples[i].at[k] - s->origin[k]));
        }
        to = put_f32(to, (float)samples[i].mm);
    }
    for (size_t i = 0; i < 3 * s->n_triangles; i++) {
        if (index == 4) {
            to = put_u32(to, s->corners[i]);
        } else {
            *to++ = (unsigned char)s->corners[i];
            *to++ = (unsigned char)(s->corners[i] >> 8);
        }
    }
    for (size_t i = 0; i < s->n_triangles; i++) {
        *to++ = s->classes[i];
    }
    *ret = bytes;
    *ret_n = n;
    return PO_OK;
}
