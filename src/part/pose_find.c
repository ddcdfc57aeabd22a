/* The best ways up. SPDX-License-Identifier: Apache-2.0
 *
 * 1. Candidates (pose_candidates.c) are scored in bulk (pose_score.c); the best points of the sphere are moved about a
 *    little, as long as that makes them cheaper.
 * 2. Those that may be among the cheapest, and some that bulk scoring can't judge fairly (it knows no bridges), are
 *    measured in full (pose_measure.c), side by side on all threads.
 * 3. Near ones and mirrored ones (the same in all scores) are one; the rest is sorted by price (po_pose_price), and those
 *    that no other beats in everything are marked (Pareto); docs/poses.md says all of it. */
#include <math.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#include "part/pose_candidates.h"

static const double DEG = 57.295779513082321;
static const double NEAR_DEG = 6;        /* poses nearer than this are one where they cost the same */
static const double NEAR_COST = 0.05;    /* relative */
static const double ALIKE = 0.005;       /* of surface, bounds and diagonal: the same score */
static const double BESIDE_DEG = 20;     /* a pose that a better one lies beside is not worth a line */
static const double ENOUGH_TIP_DEG = 30; /* steadier than this is no better */
enum {
    DEFAULT_MOST = 12,
    BY_COST = 28,
    BY_FOOT = 10,
    BY_HEIGHT = 4,
    MOST_MEASURED = 64,
    FINE_MESH = 300 * 1000, /* triangles */
    MOVED = 6,
    RING = 8,
    ROUNDS = 3
};

typedef struct search {
    const po_mesh *mesh;
    const po_pose_setup *setup;
    po_pool *pool;
    po_pose_bulk bulk;
    po_candidates *candidates;
    po_pose *scored; /* of each candidate */
    size_t picked[MOST_MEASURED], n_picked;
    po_pose measured[MOST_MEASURED];
    po_err errors[MOST_MEASURED];
    po_status statuses[MOST_MEASURED];
    bool (*progress)(uint64_t done, uint64_t total, void *user);
    void *user;
    bool cancelled;
} search;

static double apart_deg(const double a[3], const double b[3])
{
    double x = a[0] - b[0], y = a[1] - b[1], z = a[2] - b[2];
    return 2 * asin(fmin(sqrt(x * x + y * y + z * z) / 2, 1)) * DEG;
}

static void up_of(const po_pose *pose, double up[3])
{
    up[0] = pose->turn[2];
    up[1] = pose->turn[5];
    up[2] = pose->turn[8];
}

static po_status score(search *s, size_t from, po_err *err)
{
    size_t n = s->candidates->n - from;
    return po_pose_bulk_score(&s->bulk, (const double(*)[3])s->candidates->up + from, n, s->setup, s->pool,
                              s->scored + from, err);
}

typedef struct ranked {
    double by;
    size_t number;
} ranked;

static int lower_first(const void *a, const void *b)
{
    const ranked *p = a, *q = b;
    return p->by != q->by ? (p->by < q->by ? -1 : 1) : p->number < q->number ? -1 : p->number > q->number;
}

/* Numbers of candidates, cheapest first by one of three scores. Caller frees; NULL: no memory. */
static ranked *rank(const search *s, int by)
{
    size_t n = s->candidates->n;
    ranked *order = malloc((n + 1) * sizeof *order);
    for (size_t i = 0; order && i < n; i++) {
        const po_pose *p = &s->scored[i];
        order[i] = (ranked){by == 0 ? p->cost : by == 1 ? -p->foothold_mm2 : p->size_mm[2] + (p->stands ? 0 : 1e9), i};
    }
    if (order) {
        qsort(order, n, sizeof *order, lower_first);
    }
    return order;
}

/* The best points of the sphere, moved downhill: rings of ever smaller radius. */
static po_status move_about(search *s, po_err *err)
{
    double best[MOVED][3], costs[MOVED];
    size_t n = 0;
    ranked *order = rank(s, 0);
    if (!order) {
        return po_fail(err, PO_E_NOMEM, "memory ran out while poses were looked for");
    }
    for (size_t k = 0; k < s->candidates->n && n < MOVED; k++) {
        size_t i = order[k].number;
        bool near = s->candidates->kind[i] != PO_CANDIDATE_SPHERE;
        for (size_t m = 0; m < n; m++) {
            near |= apart_deg(best[m], s->candidates->up[i]) < 12;
        }
        if (!near) {
            memcpy(best[n], s->candidates->up[i], sizeof best[n]);
            costs[n++] = s->scored[i].cost;
        }
    }
    free(order);
    po_status status = PO_OK;
    double radius = 2 / DEG;
    for (int round = 0; round < ROUNDS && status == PO_OK; round++, radius /= 3) {
        for (size_t m = 0; m < n && status == PO_OK; m++) {
            double turn[9];
            size_t from = s->candidates->n;
            po_pose_turn(best[m], turn);
            for (int k = 0; k < RING; k++) { /* a point beside +z, turned back to where best lies */
                double x = radius * cos(k * 6.28318530717958648 / RING),
                       y = radius * sin(k * 6.28318530717958648 / RING);
                double up[3];
                for (int a = 0; a < 3; a++) {
                    up[a] = x * turn[3 * a] + y * turn[3 * a + 1] + turn[3 * a + 2];
                }
                po_candidates_add(s->candidates, up, PO_CANDIDATE_SPHERE);
            }
            status = score(s, from, err);
            for (size_t i = from; i < s->candidates->n && status == PO_OK; i++) {
                if (s->scored[i].cost < costs[m]) {
                    costs[m] = s->scored[i].cost;
                    memcpy(best[m], s->candidates->up[i], sizeof best[m]);
                }
            }
        }
    }
    return status;
}

/* Some of the best by one score; points of the sphere only where no other one is near. */
static bool pick(search *s, int by, size_t most)
{
    ranked *order = rank(s, by);
    size_t n = 0;
    for (size_t k = 0; order && k < s->candidates->n && n < most && s->n_picked < MOST_MEASURED; k++) {
        size_t i = order[k].number;
        bool known = false;
        double least = s->candidates->kind[i] == PO_CANDIDATE_SPHERE ? NEAR_DEG : 0.5;
        for (size_t m = 0; m < s->n_picked; m++) {
            known |= apart_deg(s->candidates->up[i], s->candidates->up[s->picked[m]]) < least;
        }
        if (!known) {
            s->picked[s->n_picked++] = i;
            n++;
        }
    }
    bool fine = order != NULL;
    free(order);
    return fine;
}

static void measure_one(size_t k, void *user)
{
    search *s = user;
    double turn[9];
    po_pose_turn(s->candidates->up[s->picked[k]], turn);
    s->statuses[k] = po_pose_measure(s->mesh, turn, s->setup, 1, NULL, &s->measured[k], &s->errors[k]);
}

typedef struct slice {
    search *s;
    size_t from;
} slice;

static void measure_of_slice(size_t k, void *user)
{
    slice *x = user;
    measure_one(x->from + k, x->s);
}

/* A few at a time: progress is told from the caller's own thread, and memory is bounded. */
static po_status measure_picked(search *s, po_err *err)
{
    size_t step = (size_t)po_pool_threads(s->pool);
    step = step > 8 ? 8 : step;
    for (size_t from = 0; from < s->n_picked; from += step) {
        if (s->progress && !s->progress(from + 1, s->n_picked + 1, s->user)) {
            return po_fail(err, PO_E_CANCELLED, "cancelled");
        }
        slice x = {s, from};
        po_pool_each(s->pool, from + step < s->n_picked ? step : s->n_picked - from, measure_of_slice, &x);
    }
    for (size_t k = 0; k < s->n_picked; k++) {
        if (s->statuses[k] != PO_OK) {
            if (err) {
                *err = s->errors[k];
            }
            return s->statuses[k];
        }
    }
    return PO_OK;
}

/* The same in every score, as seen against the part's size. */
static bool alike(const search *s, const po_pose *a, const po_pose *b, double surface)
{
    double d = s->bulk.diagonal, box = a->size_mm[0] * a->size_mm[1] * a->size_mm[2];
    double mm = ALIKE * d, mm2 = ALIKE * surface, mm3 = ALIKE * box;
    bool across = isnan(a->across_layers) || fabs(a->across_layers - b->across_layers) < 0.02;
    return a->stands == b->stands && fabs(a->size_mm[2] - b->size_mm[2]) <= mm &&
           fabs(a->foothold_mm2 - b->foothold_mm2) <= mm2 && fabs(a->overhang_mm2 - b->overhang_mm2) <= mm2 &&
           fabs(a->overhang_open_mm2 - b->overhang_open_mm2) <= mm2 &&
           fabs(a->support_open_mm3 - b->support_open_mm3) <= mm3 &&
           fabs(a->longest_bridge_mm - b->longest_bridge_mm) <= mm && fabs(a->steps_mm2 - b->steps_mm2) <= mm2 &&
           fabs(a->tip_deg - b->tip_deg) <= 1 && across &&
           fabs(a->cost - b->cost) <= NEAR_COST * fmax(a->cost, b->cost);
}

/* a beats b: nowhere worse, somewhere better by more than rounding. */
static bool beats(const search *s, const po_pose *a, const po_pose *b, double surface)
{
    double mm = ALIKE * s->bulk.diagonal, mm2 = ALIKE * surface;
    double mm3 = ALIKE * a->size_mm[0] * a->size_mm[1] * a->size_mm[2];
    double tips[2] = {fmin(a->tip_deg, ENOUGH_TIP_DEG), fmin(b->tip_deg, ENOUGH_TIP_DEG)};
    double scores[7][3] = {
        {a->support_open_mm3, b->support_open_mm3, mm3},
        {a->overhang_open_mm2, b->overhang_open_mm2, mm2},
        {a->longest_bridge_mm, b->longest_bridge_mm, mm},
        {-tips[0], -tips[1], 1},
        {a->size_mm[2], b->size_mm[2], mm},
        {a->steps_mm2, b->steps_mm2, mm2},
        {isnan(a->across_layers) ? 0 : a->across_layers, isnan(b->across_layers) ? 0 : b->across_layers, 0.02}};
    bool better = a->stands && !b->stands;
    if (!a->stands && b->stands) {
        return false;
    }
    for (int k = 0; k < 7; k++) {
        if (scores[k][0] > scores[k][1] + scores[k][2]) {
            return false;
        }
        better |= scores[k][0] < scores[k][1] - scores[k][2];
    }
    return better;
}

static int cheaper_first(const void *a, const void *b)
{
    const po_pose *p = a, *q = b;
    double keys[3][2] = {{p->cost, q->cost}, {p->size_mm[2], q->size_mm[2]}, {-p->foothold_mm2, -q->foothold_mm2}};
    for (int k = 0; k < 3; k++) {
        if (keys[k][0] != keys[k][1]) {
            return keys[k][0] < keys[k][1] ? -1 : 1;
        }
    }
    return memcmp(p->turn, q->turn, sizeof p->turn);
}

/* Whether a kept pose makes one superfluous: the same, a mirrored one, or a better one beside it. */
static bool covers(const search *s, const po_pose *kept, const po_pose *p, double surface, bool *ret_same)
{
    double up[3], other[3];
    up_of(p, up);
    up_of(kept, other);
    double apart = apart_deg(up, other);
    bool near = apart < NEAR_DEG && fabs(kept->cost - p->cost) <= NEAR_COST * fmax(kept->cost, p->cost);
    *ret_same = near || alike(s, kept, p, surface);
    return *ret_same || (apart < BESIDE_DEG && beats(s, kept, p, surface));
}

/* Sorted; near and mirrored ones are one; what falls is left out where something stands; the pose as it lies is kept,
 * *as_is is its number. Returns how many. */
static size_t sift(const search *s, po_pose *poses, size_t n, bool must, size_t most, size_t *as_is)
{
    double surface = 0;
    bool stands = false;
    for (size_t i = 0; i < s->bulk.n_planes; i++) {
        surface += (double)s->bulk.planes.area[i];
    }
    const po_pose lies = poses[0];
    qsort(poses, n, sizeof *poses, cheaper_first);
    size_t kept = 0;
    *as_is = SIZE_MAX;
    for (size_t i = 0; i < n; i++) {
        stands |= poses[i].stands;
    }
    for (size_t i = 0; i < n; i++) {
        bool own = memcmp(poses[i].turn, lies.turn, sizeof lies.turn) == 0, covered = !poses[i].stands && stands;
        for (size_t k = 0; k < kept && !must && (!covered || own); k++) {
            bool same;
            covered |= covers(s, &poses[k], &poses[i], surface, &same);
            if (own && same && *as_is == SIZE_MAX) { /* as it lies is as good as its twin: nothing has to be turned */
                poses[k] = poses[i];
                *as_is = k;
            }
        }
        if (own ? *as_is == SIZE_MAX : !covered || must) {
            *as_is = own ? kept : *as_is;
            poses[kept++] = poses[i];
        }
    }
    for (size_t i = 0; i < kept; i++) {
        poses[i].best_in_something = true;
        for (size_t k = 0; k < kept && poses[i].best_in_something; k++) {
            poses[i].best_in_something = k == i || !beats(s, &poses[k], &poses[i], surface);
        }
    }
    if (must && kept == 2) { /* the one that keeps the face is the only choice; the other is shown for comparison */
        poses[*as_is].best_in_something = false;
        poses[1 - *as_is].best_in_something = true;
    }
    if (must && kept == 2 && *as_is == 0) { /* what was asked for comes first */
        po_pose other = poses[1];
        poses[1] = poses[0];
        poses[0] = other;
        *as_is = 1;
    }
    if (*as_is >= most) { /* beyond the end: it takes the last place */
        poses[most - 1] = poses[*as_is];
        *as_is = most - 1;
    }
    return kept < most ? kept : most;
}

static po_status look(search *s, const double *keep, po_err *err)
{
    po_status status = po_pose_bulk_make(s->mesh, s->pool, &s->bulk, err);
    if (status != PO_OK) {
        return status;
    }
    s->picked[s->n_picked++] = 0; /* as it lies */
    if (keep) {
        s->candidates->n = 0;
        po_candidates_add(s->candidates, (const double[3]){0, 0, 1}, PO_CANDIDATE_AS_IS);
        po_candidates_add(s->candidates, (const double[3]){-keep[0], -keep[1], -keep[2]}, PO_CANDIDATE_FLAT);
        s->n_picked = s->candidates->n;
        s->picked[1] = 1;
        return PO_OK;
    }
    status = po_candidates_find(&s->bulk, s->candidates, err);
    if (status == PO_OK) {
        status = score(s, 0, err);
    }
    if (status == PO_OK) {
        status = move_about(s, err);
    }
    /* of a fine mesh fewer: each of them takes a tenth of a second */
    size_t share = s->mesh->n_triangles > FINE_MESH ? 2 : 1;
    if (status == PO_OK &&
        !(pick(s, 0, BY_COST / share) && pick(s, 1, BY_FOOT / share) && pick(s, 2, BY_HEIGHT / share))) {
        status = po_fail(err, PO_E_NOMEM, "memory ran out while poses were looked for");
    }
    return status;
}

po_status po_pose_find(const po_mesh *mesh, const po_pose_setup *setup, const double *keep, size_t most, int threads,
                       bool (*progress)(uint64_t done, uint64_t total, void *user), void *user, po_arena *arena,
                       const po_pose **ret_poses, size_t *ret_n, size_t *ret_as_is, po_err *err)
{
    if (keep) {
        double length = sqrt(keep[0] * keep[0] + keep[1] * keep[1] + keep[2] * keep[2]);
        if (!(length > 0 && isfinite(length))) {
            return po_fail(err, PO_E_RANGE, "the direction to be kept facing down is none");
        }
    }
    most = !most ? DEFAULT_MOST : most < 2 ? 2 : most; /* the best, and as it lies */
    search *s = calloc(1, sizeof *s);
    po_candidates *candidates = malloc(sizeof *candidates);
    po_pose *scored = malloc(PO_MOST_CANDIDATES * sizeof *scored);
    po_pool *pool = po_pool_new(mesh->n_triangles < 500 ? 1 : threads);
    po_status status = PO_E_NOMEM;
    if (s && candidates && scored && pool) {
        *s = (search){.mesh = mesh,
                      .setup = setup,
                      .pool = pool,
                      .candidates = candidates,
                      .scored = scored,
                      .progress = progress,
                      .user = user};
        status = look(s, keep, err);
        if (status == PO_OK) {
            status = measure_picked(s, err);
        }
    } else {
        po_fail(err, PO_E_NOMEM, "memory ran out while poses were looked for");
    }
    if (status == PO_OK) {
        size_t as_is, n = sift(s, s->measured, s->n_picked, keep != NULL, most, &as_is);
        po_pose *poses = po_arena_zeros(arena, n, sizeof *poses);
        double largest = 0;
        for (size_t i = 0; i < n; i++) {
            largest = fmax(largest, s->measured[i].foothold_mm2);
        }
        bool fine = poses != NULL;
        for (size_t i = 0; fine && i < n; i++) {
            poses[i] = s->measured[i];
            poses[i].why = po_pose_why(&poses[i], largest, setup, arena);
            fine = poses[i].why != NULL;
        }
        if (fine) {
            *ret_poses = poses;
            *ret_n = n;
            *ret_as_is = as_is;
        } else {
            status = po_fail(err, PO_E_NOMEM, "memory ran out while poses were looked for");
        }
    }
    if (s) {
        po_pose_bulk_done(&s->bulk);
    }
    po_pool_free(pool);
    free(s);
    free(candidates);
    free(scored);
    return status;
}
