/* What is said of each triangle of a part that is looked at. SPDX-License-Identifier: Apache-2.0
 *
 * Overhangs and footholds come from the measuring of the way up (pose_measure.c), so that the picture shows what the finding
 * counts. Walls were measured at points: each point is brought to the triangle that it lies on. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/mend.h"
#include "part/pose.h"
#include "part/show_inside.h"
#include "proveout/show.h"

enum { FEW_CELLS = 64 };
#define BESIDE_COS 0.8 /* a sample speaks for a small triangle beside it that faces about the same way */

typedef struct grid { /* of samples, by cells of side `cell`; a chain for each bucket */
    double cell;
    uint32_t *first, *next;
    size_t mask;
    const po_wall_sample *samples;
} grid;

static size_t bucket(const grid *g, const int64_t c[3])
{
    uint64_t h = (uint64_t)c[0] * 0x9e3779b97f4a7c15u ^ (uint64_t)c[1] * 0xc2b2ae3d27d4eb4fu ^
                 (uint64_t)c[2] * 0x165667b19e3779f9u;
    return (size_t)(h ^ h >> 31) & g->mask;
}

static void cell_of(const grid *g, const double p[3], int64_t ret[3])
{
    for (int k = 0; k < 3; k++) {
        ret[k] = (int64_t)floor(p[k] / g->cell);
    }
}

static bool grid_make(grid *g, const po_wall_sample *samples, size_t n, double cell)
{
    size_t room = 64;
    while (room < 2 * n) {
        room *= 2;
    }
    *g = (grid){.cell = cell, .mask = room - 1, .samples = samples};
    g->first = malloc(room * sizeof *g->first);
    g->next = malloc((n + 1) * sizeof *g->next);
    if (!g->first || !g->next) {
        return false;
    }
    memset(g->first, 0xff, room * sizeof *g->first);
    for (size_t i = 0; i < n; i++) {
        int64_t c[3];
        cell_of(g, samples[i].at, c);
        size_t b = bucket(g, c);
        g->next[i] = g->first[b];
        g->first[b] = (uint32_t)i;
    }
    return true;
}

/* A triangle asked about. */
typedef struct face {
    double p[3][3], n[3], area, low[3], high[3];
} face;

static face face_of(const po_mesh *mesh, size_t t)
{
    face f = {.low = {INFINITY, INFINITY, INFINITY}, .high = {-INFINITY, -INFINITY, -INFINITY}};
    for (int c = 0; c < 3; c++) {
        memcpy(f.p[c], mesh->xyz + 3 * (size_t)mesh->corners[3 * t + (size_t)c], sizeof f.p[c]);
        for (int k = 0; k < 3; k++) {
            f.low[k] = fmin(f.low[k], f.p[c][k]);
            f.high[k] = fmax(f.high[k], f.p[c][k]);
        }
    }
    f.area = po_show_normal(mesh, t, f.n);
    return f;
}

/* Whether a point lies on the face, to a slack in mm. */
static bool lies_on(const face *f, const double at[3], double slack)
{
    double off = 0;
    for (int k = 0; k < 3; k++) {
        off += (at[k] - f->p[0][k]) * f->n[k];
    }
    if (fabs(off) > slack) {
        return false;
    }
    for (int c = 0; c < 3; c++) { /* inside of each edge */
        const double *a = f->p[c], *b = f->p[(c + 1) % 3];
        double e[3] = {b[0] - a[0], b[1] - a[1], b[2] - a[2]}, d[3] = {at[0] - a[0], at[1] - a[1], at[2] - a[2]};
        double in[3] = {f->n[1] * e[2] - f->n[2] * e[1], f->n[2] * e[0] - f->n[0] * e[2],
                        f->n[0] * e[1] - f->n[1] * e[0]};
        double length = sqrt(e[0] * e[0] + e[1] * e[1] + e[2] * e[2]);
        if (in[0] * d[0] + in[1] * d[1] + in[2] * d[2] < -slack * length) {
            return false;
        }
    }
    return true;
}

typedef struct heard { /* what samples say of a face */
    double thin_mm2, slim_mm2;
    bool thin_beside, slim_beside;
} heard;

static void hear(const po_wall_sample *s, const face *f, double bead, double slack, heard *h)
{
    if (!s->sheet) {
        return;
    }
    bool thin = s->mm < bead;
    if (lies_on(f, s->at, slack)) {
        *(thin ? &h->thin_mm2 : &h->slim_mm2) += s->mm2;
    }
    double reach = 1.5 * sqrt(s->mm2), square = 0, facing = 0;
    for (int k = 0; k < 3; k++) {
        double d = (f->p[0][k] + f->p[1][k] + f->p[2][k]) / 3 - s->at[k];
        square += d * d;
        facing += f->n[k] * s->normal[k];
    }
    if (f->area < s->mm2 && square < reach * reach && fabs(facing) > BESIDE_COS) {
        *(thin ? &h->thin_beside : &h->slim_beside) = true;
    }
}

static po_status mark_walls(const po_solid *s, uint8_t *classes, po_err *err)
{
    const po_wall_facts *w = &s->walls;
    double most = 0;
    for (size_t i = 0; i < w->n_samples; i++) {
        most = fmax(most, w->samples[i].mm2);
    }
    if (!s->walls_done || w->n_samples == 0 || !(most > 0)) {
        return PO_OK;
    }
    grid g = {0};
    double reach = 1.5 * sqrt(most), slack = 1e-3 * sqrt(most);
    bool fine = grid_make(&g, w->samples, w->n_samples, reach);
    for (size_t t = 0; fine && t < s->judged->n_triangles; t++) {
        face f = face_of(s->judged, t);
        if (!(f.area > 0)) {
            continue;
        }
        heard h = {0};
        double low[3], high[3], cells = 1;
        for (int k = 0; k < 3; k++) {
            low[k] = floor((f.low[k] - reach) / g.cell);
            high[k] = floor((f.high[k] + reach) / g.cell);
            cells *= high[k] - low[k] + 1;
        }
        if (cells > FEW_CELLS) { /* as large as that: all samples */
            for (size_t i = 0; i < w->n_samples; i++) {
                hear(&w->samples[i], &f, w->bead_mm, slack, &h);
            }
        } else {
            int64_t c[3];
            for (c[0] = (int64_t)low[0]; c[0] <= (int64_t)high[0]; c[0]++) {
                for (c[1] = (int64_t)low[1]; c[1] <= (int64_t)high[1]; c[1]++) {
                    for (c[2] = (int64_t)low[2]; c[2] <= (int64_t)high[2]; c[2]++) {
                        for (uint32_t i = g.first[bucket(&g, c)]; i != UINT32_MAX; i = g.next[i]) {
                            int64_t own[3];
                            cell_of(&g, w->samples[i].at, own);
                            if (memcmp(own, c, sizeof own) == 0) {
                                hear(&w->samples[i], &f, w->bead_mm, slack, &h);
                            }
                        }
                    }
                }
            }
        }
        bool thin = h.thin_mm2 >= f.area / 2 || h.thin_beside,
             slim = h.slim_mm2 + h.thin_mm2 >= f.area / 2 || h.slim_beside;
        classes[t] |= thin ? PO_SHOW_THIN : slim ? PO_SHOW_SLIM : 0;
    }
    free(g.first);
    free(g.next);
    return fine ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out while a part was made ready to be shown");
}

static po_status mark_edges(const po_solid *s, uint8_t *classes, po_err *err)
{
    if (s->facts.open_edges + s->facts.crowded_edges == 0) {
        return PO_OK;
    }
    po_edges edges;
    po_status status = po_edges_find(s->judged, &edges, err);
    if (status != PO_OK) {
        return status;
    }
    for (size_t t = 0; t < s->judged->n_triangles; t++) {
        const uint32_t *c = s->judged->corners + 3 * t;
        for (int k = 0; k < 3 && !po_is_flat(c); k++) {
            size_t n;
            po_edges_of(&edges, c[k], c[(k + 1) % 3], &n);
            classes[t] |= n == 1 ? PO_SHOW_OPEN : n > 2 ? PO_SHOW_CROWDED : 0;
        }
    }
    po_edges_done(&edges);
    return PO_OK;
}

po_status po_show_classes(const po_solid *s, const double *turn, const po_pose_setup *setup, int threads,
                          po_arena *arena, const uint8_t **ret_classes, po_pose *ret_pose, po_err *err)
{
    const po_mesh *mesh = s->judged;
    uint8_t *classes = po_arena_zeros(arena, mesh->n_triangles + 1, 1);
    if (!classes) {
        return po_fail(err, PO_E_NOMEM, "memory ran out while a part was made ready to be shown");
    }
    if (s->lies_done) {
        po_pose pose;
        po_status status = po_pose_mark(mesh, turn, setup, threads, classes, &pose, err);
        if (status != PO_OK) {
            return status;
        }
        for (size_t t = 0; t < mesh->n_triangles; t++) {
            uint8_t m = classes[t];
            classes[t] = (uint8_t)((m & PO_MARK_FOOTHOLD ? PO_SHOW_FOOTHOLD : 0) |
                                   (m & PO_MARK_CARRIED ? PO_SHOW_CARRIED : 0) |
                                   (m & PO_MARK_HANGS ? PO_SHOW_OVERHANG : 0));
        }
        if (ret_pose) {
            *ret_pose = pose;
        }
    }
    po_status status = mark_walls(s, classes, err);
    if (status == PO_OK) {
        status = mark_edges(s, classes, err);
    }
    bool same = s->facts.judged && s->facts.judged->n_triangles == mesh->n_triangles; /* turned at most, none dropped */
    for (size_t i = 0; status == PO_OK && s->cuts_done && same && i < s->cuts.n_first; i++) {
        classes[s->cuts.first[i][0]] |= PO_SHOW_CUT;
        classes[s->cuts.first[i][1]] |= PO_SHOW_CUT;
    }
    *ret_classes = status == PO_OK ? classes : *ret_classes;
    return status;
}
