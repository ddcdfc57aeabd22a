/* Many ways up at once. SPDX-License-Identifier: Apache-2.0
 *
 * Directions are shared out in groups; each is summed over all planes and corners in one thread, in one order, so that
 * nothing depends on the number of threads. What it can't see without rays (what lies beneath an overhang, bridges,
 * ledges, faces inside another shell) is left out: overhangs are all counted, supports reach down to the bed. Heights are
 * exact to the rounding of floats; a plane counts as one piece, on the bed when its centre is. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/pose_bulk.h"

static const double DEG = 57.295779513082321;
enum { GROUP = PO_MOST_AXES, MOST_FEET = 512, SIDES = 64 };

typedef struct scoring {
    const po_pose_bulk *bulk;
    const po_pose_kernel *kernel;
    const double (*up)[3];
    size_t n;
    const po_pose_setup *setup;
    float bed;
    po_plane_limits limits;
    po_pose *poses;
    bool *failed; /* by group */
} scoring;

/* Of many points the outermost in 64 directions: their hull is inside the true one by at most 0.13 % of its width. */
static size_t thin_out(po_xy *points, size_t n, po_xy *ret)
{
    for (int d = 0; d < SIDES; d++) {
        double x = cos(6.28318530717958648 * d / SIDES), y = sin(6.28318530717958648 * d / SIDES), best = -INFINITY;
        for (size_t i = 0; i < n; i++) {
            double t = points[i].x * x + points[i].y * y;
            if (t > best) {
                best = t;
                ret[d] = points[i];
            }
        }
    }
    return SIDES;
}

static bool stand(const scoring *s, const float axis[3], float low, po_pose *pose, uint32_t **feet, size_t *cap)
{
    const po_corners3 *c = &s->bulk->corners;
    size_t n = s->kernel->below(c, axis, low + s->bed, *feet, *cap);
    if (n > *cap) {
        free(*feet);
        *cap = 2 * n;
        *feet = malloc(*cap * sizeof **feet);
        if (!*feet) {
            *cap = 0;
            return false;
        }
        n = s->kernel->below(c, axis, low + s->bed, *feet, *cap);
    }
    po_xy few[MOST_FEET], hull[MOST_FEET + 1], *points = n > MOST_FEET ? malloc(n * sizeof *points) : few;
    if (!points) {
        return false;
    }
    const double *t = pose->turn;
    for (size_t i = 0; i < n; i++) {
        double p[3] = {(double)c->x[(*feet)[i]], (double)c->y[(*feet)[i]], (double)c->z[(*feet)[i]]};
        points[i] = (po_xy){p[0] * t[0] + p[1] * t[3] + p[2] * t[6], p[0] * t[1] + p[1] * t[4] + p[2] * t[7]};
    }
    if (points != few) {
        n = thin_out(points, n, few);
        free(points);
    }
    const double *m = s->bulk->centre;
    double centre[3];
    for (int k = 0; k < 3; k++) {
        centre[k] = m[0] * t[k] + m[1] * t[3 + k] + m[2] * t[6 + k];
    }
    centre[2] -= (double)low;
    po_pose_stand(few, n, centre, hull, pose);
    return true;
}

static void score_group(size_t group, void *user)
{
    scoring *s = user;
    size_t from = group * GROUP, n = from + GROUP < s->n ? GROUP : s->n - from;
    float axes[3][GROUP][3], bounds[3][GROUP][2], low[GROUP];
    po_plane_sums sums[GROUP];
    for (size_t i = 0; i < n; i++) {
        po_pose *p = &s->poses[from + i];
        memset(p, 0, sizeof *p);
        po_pose_turn(s->up[from + i], p->turn);
        for (int a = 0; a < 3; a++) {
            for (int k = 0; k < 3; k++) {
                axes[a][i][k] = (float)p->turn[3 * k + a];
            }
        }
    }
    for (int a = 0; a < 3; a++) {
        s->kernel->heights(&s->bulk->corners, (const float(*)[3])axes[a], n, bounds[a]);
    }
    for (size_t i = 0; i < n; i++) {
        low[i] = bounds[2][i][0];
    }
    s->kernel->sums(&s->bulk->planes, (const float(*)[3])axes[2], low, s->bed, n, &s->limits, sums);
    uint32_t *feet = NULL;
    size_t cap = 0;
    for (size_t i = 0; i < n; i++) {
        po_pose *p = &s->poses[from + i];
        for (int a = 0; a < 3; a++) {
            p->size_mm[a] = (double)bounds[a][i][1] - (double)bounds[a][i][0];
        }
        p->foothold_mm2 = fmax(sums[i].foothold, 0);
        p->overhang_mm2 = p->overhang_open_mm2 = sums[i].hang;
        p->support_mm3 = p->longest_bridge_mm = NAN;
        p->support_open_mm3 = fmax(sums[i].beneath, 0);
        p->steps_mm2 = sums[i].steps;
        p->across_layers = po_pose_across(s->setup, p->turn);
        p->layers = po_pose_layers(p->size_mm[2], s->setup);
        if (p->foothold_mm2 > 0 && !stand(s, axes[2][i], low[i], p, &feet, &cap)) {
            s->failed[group] = true;
        }
        po_pose_price(s->setup, p);
    }
    free(feet);
}

po_status po_pose_bulk_score(const po_pose_bulk *bulk, const double (*up)[3], size_t n, const po_pose_setup *setup,
                             po_pool *pool, po_pose *ret, po_err *err)
{
    double first = setup->first_layer_mm > 0 ? setup->first_layer_mm : setup->layer_mm > 0 ? setup->layer_mm : 0.2;
    size_t n_groups = (n + GROUP - 1) / GROUP;
    scoring s = {.bulk = bulk, .kernel = po_pose_kernel_best(), .up = up, .n = n, .setup = setup, .poses = ret};
    s.bed = (float)(first / 2);
    s.limits.down = (float)-sin((setup->overhang_limit_deg + PO_POSE_SLACK_DEG) / DEG);
    s.limits.steps_low = (float)cos(PO_POSE_STEPS_HIGH_DEG / DEG);
    s.limits.steps_high = (float)cos(PO_POSE_STEPS_LOW_DEG / DEG);
    s.failed = calloc(n_groups + 1, sizeof *s.failed);
    bool failed = !s.failed;
    if (!failed) {
        po_pool_each(pool, n_groups, score_group, &s);
        for (size_t i = 0; i < n_groups; i++) {
            failed |= s.failed[i];
        }
    }
    free(s.failed);
    return failed ? po_fail(err, PO_E_NOMEM, "memory ran out while poses were compared") : PO_OK;
}

po_status po_pose_score(const po_mesh *mesh, const double (*up)[3], size_t n, const po_pose_setup *setup, int threads,
                        po_arena *arena, po_pose *ret, po_err *err)
{
    (void)arena; /* poses are plain numbers; what it takes to find them is given back */
    for (size_t i = 0; i < n; i++) {
        double length = sqrt(up[i][0] * up[i][0] + up[i][1] * up[i][1] + up[i][2] * up[i][2]);
        if (!(length > 0 && isfinite(length))) {
            return po_fail(err, PO_E_RANGE, "direction %zu is none", i);
        }
    }
    po_pool *pool = po_pool_new(mesh->n_triangles < 4000 && n < 4000 ? 1 : threads);
    po_pose_bulk bulk = {0};
    po_status s = pool ? po_pose_bulk_make(mesh, pool, &bulk, err) : po_fail(err, PO_E_NOMEM, "memory ran out");
    if (s == PO_OK) {
        s = po_pose_bulk_score(&bulk, up, n, setup, pool, ret, err);
    }
    po_pose_bulk_done(&bulk);
    po_pool_free(pool);
    return s;
}
