/* A deposit and the lanes that it serves. SPDX-License-Identifier: Apache-2.0
 *
 *     lane that leads -> batcher -> waiting (for the times of all lanes) -> queue -> deposit, on a worker's thread
 *          ^                                                                            |
 *          `------------------------------ spare batches <-----------------------------'
 *
 * Memory is bounded: the queue holds at most QUEUE_BATCHES and QUEUE_BEADS, spare batches SPARE_BEADS; what waits for
 * times is bounded by the planner's look-ahead. A lane whose beads turn out to differ from the leader's is set aside
 * (po_lane.off): its machines need a pass of their own. */
#include "job/group.h"

#include <math.h>
#include <pthread.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

enum { QUEUE_BATCHES = 16, QUEUE_BEADS = 1 << 18, SPARE_BATCHES = 32, SPARE_BEADS = 1 << 17 };
enum { MOST_CELLS = 120000000 }; /* of a deposit's map */
/* The same window for nearly every machine, so that facts do not depend on which others are asked; what nothing touches
 * costs nothing. */
#define WINDOW_LOW_MM -200
#define WINDOW_HIGH_MM 500
#define MARGIN_MM 30.0 /* around the beds: purge lines lie there */
#define RASTER_MM 0.1  /* docs/measures.md, "Deposit" */
#define COARSE_RASTER_MM 0.2
#define LARGE_BED_MM 400.0

/* What the reading thread and a group's worker both touch, under the workers' mutex (its own where there are none). */
struct po_group_shared {
    pthread_mutex_t *mutex, own;
    po_batch *spare[SPARE_BATCHES];
    size_t n_spare, spare_beads;
    size_t queued, queued_beads; /* sent to the worker and not done yet */
    bool failed;
    po_deposit *deposit;
};

typedef struct task {
    struct po_group_shared *shared;
    po_batch *batch;
} task;

/* Items of work that a worker gives out while it has them; whoever waits takes some. */
typedef struct handout {
    void (*item)(size_t i, void *user);
    void *user;
    size_t n;
    atomic_size_t next; /* may run past n */
    size_t busy;        /* helpers; under the mutex, like open */
    bool open;
} handout;

typedef struct worker {
    struct po_workers *of;
    pthread_t thread;
    bool started;
    task queue[256];
    size_t first, n;
    handout out;
} worker;

struct po_workers {
    pthread_mutex_t mutex;
    pthread_cond_t changed;
    bool stop;
    size_t n;
    worker at[64];
};

/* A batch that the deposit is done with. */
static void spent(po_batch *batch, void *user)
{
    struct po_group_shared *s = user;
    bool keep = false;
    po_batch_empty(batch);
    pthread_mutex_lock(s->mutex);
    if (s->n_spare < SPARE_BATCHES && s->spare_beads + batch->cap_beads <= SPARE_BEADS) {
        s->spare[s->n_spare++] = batch;
        s->spare_beads += batch->cap_beads;
        keep = true;
    }
    pthread_mutex_unlock(s->mutex);
    if (!keep) {
        po_batch_free(batch);
    }
}

static void take_items(handout *out)
{
    size_t i;
    while ((i = atomic_fetch_add_explicit(&out->next, 1, memory_order_relaxed)) < out->n) {
        out->item(i, out->user);
    }
}

/* Take a share in what some worker gives out. False when there is nothing. The mutex is held on entry and on return. */
static bool help(po_workers *all)
{
    for (size_t i = 0; i < all->n; i++) {
        handout *out = &all->at[i].out;
        if (out->open && atomic_load_explicit(&out->next, memory_order_relaxed) < out->n) {
            out->busy++;
            pthread_mutex_unlock(&all->mutex);
            take_items(out);
            pthread_mutex_lock(&all->mutex);
            if (--out->busy == 0) {
                pthread_cond_broadcast(&all->changed);
            }
            return true;
        }
    }
    return false;
}

/* Wait for a change, and be of use meanwhile. The mutex is held. */
static void wait(po_workers *all)
{
    if (!help(all)) {
        pthread_cond_wait(&all->changed, &all->mutex);
    }
}

/* po_deposit_help's each, called on a worker's thread. */
static void give_out(void *helpers, size_t n, void (*item)(size_t i, void *user), void *user)
{
    worker *w = helpers;
    po_workers *all = w->of;
    handout *out = &w->out;
    pthread_mutex_lock(&all->mutex);
    out->item = item;
    out->user = user;
    out->n = n;
    atomic_store_explicit(&out->next, 0, memory_order_relaxed);
    out->open = true;
    pthread_cond_broadcast(&all->changed);
    pthread_mutex_unlock(&all->mutex);
    take_items(out);
    pthread_mutex_lock(&all->mutex);
    out->open = false;
    while (out->busy) {
        pthread_cond_wait(&all->changed, &all->mutex);
    }
    pthread_mutex_unlock(&all->mutex);
}

static void *work(void *user)
{
    worker *w = user;
    po_workers *all = w->of;
    pthread_mutex_lock(&all->mutex);
    for (;;) {
        while (w->n == 0 && !all->stop) {
            wait(all);
        }
        if (all->stop) {
            break;
        }
        task t = w->queue[w->first];
        bool failed = t.shared->failed;
        size_t beads = t.batch->n_beads;
        pthread_mutex_unlock(&all->mutex);
        bool ok = true;
        if (failed) {
            po_batch_free(t.batch);
        } else {
            ok = po_deposit_batch(t.shared->deposit, t.batch, spent, t.shared);
        }
        pthread_mutex_lock(&all->mutex);
        t.shared->failed |= !ok;
        t.shared->queued--;
        t.shared->queued_beads -= beads;
        w->first = (w->first + 1) % (sizeof w->queue / sizeof *w->queue);
        w->n--;
        pthread_cond_broadcast(&all->changed);
    }
    pthread_mutex_unlock(&all->mutex);
    return NULL;
}

po_workers *po_workers_new(size_t n)
{
    po_workers *w = calloc(1, sizeof *w);
    if (!w) {
        return NULL;
    }
    n = n < 64 ? n : 64;
    pthread_mutex_init(&w->mutex, NULL);
    pthread_cond_init(&w->changed, NULL);
    sigset_t all, before; /* signals are the caller's affair */
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before);
    pthread_mutex_lock(&w->mutex); /* those that begin at once look at the others */
    for (size_t i = 0; i < n; i++) {
        w->at[i].of = w;
        if (pthread_create(&w->at[i].thread, NULL, work, &w->at[i]) != 0) {
            break;
        }
        w->at[i].started = true;
        w->n++;
    }
    pthread_mutex_unlock(&w->mutex);
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    if (w->n == 0) {
        po_workers_free(w);
        return NULL;
    }
    return w;
}

void po_workers_free(po_workers *w)
{
    if (!w) {
        return;
    }
    pthread_mutex_lock(&w->mutex);
    w->stop = true;
    pthread_cond_broadcast(&w->changed);
    pthread_mutex_unlock(&w->mutex);
    for (size_t i = 0; i < w->n; i++) {
        pthread_join(w->at[i].thread, NULL);
        while (w->at[i].n) {
            task t = w->at[i].queue[w->at[i].first];
            po_batch_free(t.batch);
            w->at[i].first = (w->at[i].first + 1) % (sizeof w->at[i].queue / sizeof *w->at[i].queue);
            w->at[i].n--;
        }
    }
    pthread_cond_destroy(&w->changed);
    pthread_mutex_destroy(&w->mutex);
    free(w);
}

static double raster_of(const po_machine *m)
{
    return m->bed_mm[0] > LARGE_BED_MM || m->bed_mm[1] > LARGE_BED_MM ? COARSE_RASTER_MM : RASTER_MM;
}

bool po_group_alike(const po_job_setup *a, const po_job_setup *b)
{
    const po_machine *m = a->machine, *n = b->machine;
    bool alike = m->n_nozzles == n->n_nozzles && raster_of(m) == raster_of(n) &&
                 a->rules->overhang_limit_deg == b->rules->overhang_limit_deg &&
                 a->rules->support_gap_mm == b->rules->support_gap_mm;
    for (size_t i = 0; alike && i < m->n_nozzles && i < PO_MAX_TOOLS; i++) {
        alike = m->nozzles[i].diameter_mm == n->nozzles[i].diameter_mm &&
                a->materials[i]->diameter_mm == b->materials[i]->diameter_mm;
    }
    return alike;
}

/* The leader's next batch: a spare one or a new one. Called by the batcher. */
static po_batch *take(po_batch *full, void *user)
{
    po_group *g = user;
    if (g->waiting_in - g->waiting_out == g->cap_waiting) {
        size_t cap = g->cap_waiting ? g->cap_waiting * 2 : 16;
        po_batch **more = malloc(cap * sizeof(po_batch *));
        if (!more) {
            po_batch_free(full);
            return NULL;
        }
        for (uint64_t i = g->waiting_out; i < g->waiting_in; i++) {
            more[i & (cap - 1)] = g->waiting[i & (g->cap_waiting - 1)];
        }
        free(g->waiting);
        g->waiting = more;
        g->cap_waiting = cap;
    }
    g->waiting[g->waiting_in++ & (g->cap_waiting - 1)] = full;
    po_batch *next = NULL;
    pthread_mutex_lock(g->shared->mutex);
    if (g->shared->n_spare) {
        next = g->shared->spare[--g->shared->n_spare];
        g->shared->spare_beads -= next->cap_beads;
    }
    pthread_mutex_unlock(g->shared->mutex);
    return next ? next : po_batch_new(g->n_lanes);
}

po_status po_group_init(po_group *g, po_lane **lanes, size_t n_lanes, const po_job_setup *const *machines,
                        const size_t *lane_of, size_t n_machines, bool images, size_t prints, po_workers *workers,
                        size_t worker_at, po_err *err)
{
    memset(g, 0, sizeof *g);
    const po_machine *like = machines[0]->machine;
    po_deposit_setup setup = {.n_lanes = n_lanes,
                              .n_tools = like->n_nozzles < PO_MAX_TOOLS ? like->n_nozzles : PO_MAX_TOOLS,
                              .overhang_limit_deg = machines[0]->rules->overhang_limit_deg,
                              .support_gap_mm = machines[0]->rules->support_gap_mm,
                              .raster_mm = raster_of(like),
                              .window_x = {WINDOW_LOW_MM, WINDOW_HIGH_MM},
                              .window_y = {WINDOW_LOW_MM, WINDOW_HIGH_MM},
                              .machines = machines,
                              .lane_of = lane_of,
                              .n_machines = n_machines,
                              .images = images,
                              .prints = prints};
    for (size_t i = 0; i < setup.n_tools; i++) {
        setup.nozzle_mm[i] = like->nozzles[i].diameter_mm;
        setup.filament_mm[i] = machines[0]->materials[i]->diameter_mm;
    }
    for (size_t i = 0; i < n_machines; i++) {
        const po_machine *m = machines[i]->machine;
        double x = m->origin_centre ? -m->bed_mm[0] / 2 : 0, y = m->origin_centre ? -m->bed_mm[1] / 2 : 0;
        setup.window_x.low = fmin(setup.window_x.low, x - MARGIN_MM);
        setup.window_x.high = fmax(setup.window_x.high, x + m->bed_mm[0] + MARGIN_MM);
        setup.window_y.low = fmin(setup.window_y.low, y - MARGIN_MM);
        setup.window_y.high = fmax(setup.window_y.high, y + m->bed_mm[1] + MARGIN_MM);
    }
    double area = (setup.window_x.high - setup.window_x.low) * (setup.window_y.high - setup.window_y.low);
    while (area / (setup.raster_mm * setup.raster_mm) > MOST_CELLS && setup.raster_mm < 100) {
        setup.raster_mm *= 2; /* a bed of metres: the facts tell the raster */
    }
    g->lanes = lanes;
    g->n_lanes = n_lanes;
    g->workers = workers;
    g->worker = worker_at;
    g->shared = calloc(1, sizeof *g->shared);
    if (!g->shared) {
        return po_fail(err, PO_E_NOMEM, "no memory for the deposit");
    }
    pthread_mutex_init(&g->shared->own, NULL);
    g->shared->mutex = workers ? &workers->mutex : &g->shared->own;
    g->deposit = g->shared->deposit = po_deposit_new(&setup);
    po_batch *first = g->deposit ? po_batch_new(n_lanes) : NULL;
    if (!first) {
        po_group_done(g);
        return po_fail(err, PO_E_NOMEM, "no memory for the deposit");
    }
    if (workers) {
        po_deposit_help(g->deposit, give_out, &workers->at[worker_at]);
    }
    po_batcher_init(&g->batcher, setup.filament_mm, setup.n_tools, first, take, g);
    lanes[0]->batcher = &g->batcher;
    for (size_t i = 0; i < n_lanes; i++) {
        lanes[i]->clock.keep_beads = true;
        lanes[i]->tally.hashing = n_lanes > 1;
    }
    return PO_OK;
}

/* Workers must have been freed, or be done with this group, before. */
void po_group_done(po_group *g)
{
    po_batch_free(g->batcher.now);
    g->batcher.now = NULL;
    for (uint64_t i = g->waiting_out; i < g->waiting_in; i++) {
        po_batch_free(g->waiting[i & (g->cap_waiting - 1)]);
    }
    free(g->waiting);
    g->waiting = NULL;
    g->waiting_in = g->waiting_out = 0;
    po_deposit_free(g->deposit);
    g->deposit = NULL;
    if (g->shared) {
        for (size_t i = 0; i < g->shared->n_spare; i++) {
            po_batch_free(g->shared->spare[i]);
        }
        pthread_mutex_destroy(&g->shared->own);
        free(g->shared);
        g->shared = NULL;
    }
}

static void set_aside(po_lane *lane)
{
    lane->off = true;
    lane->clock.keep_beads = false;
    lane->clock.beads_done = lane->clock.beads_queued;
}

/* Times of a batch's beads on one lane. A bead that lacks its time, or a time that lacks its bead, sets the lane aside. */
static void fill(po_lane *lane, const po_batch *batch, po_bead_times *times)
{
    po_clock *c = &lane->clock;
    uint64_t at = c->beads_done;
    const uint64_t end = c->beads_queued;
    const size_t mask = c->cap_beads - 1;
    for (size_t i = 0; i < batch->n_beads && !lane->off; i++) {
        const po_bead *b = &batch->beads[i];
        if (at < end && c->beads[at & mask].line != b->line && !(b->flags & PO_BEAD_PIECE)) {
            at++; /* the move before is done with */
        }
        if (at >= end || c->beads[at & mask].line != b->line) {
            set_aside(lane);
            break;
        }
        const po_bead_time *t = &c->beads[at & mask];
        times->start[i] = t->start + (double)t->seconds * (double)b->from;
        times->seconds[i] = t->seconds * b->share;
        times->top_mm_s[i] = t->top_mm_s;
    }
    if (lane->off) {
        for (size_t i = 0; i < batch->n_beads; i++) {
            times->start[i] = 0;
            times->seconds[i] = times->top_mm_s[i] = 0;
        }
    } else {
        c->beads_done = at;
    }
}

static bool send(po_group *g, po_batch *batch)
{
    if (!g->workers) {
        return po_deposit_batch(g->deposit, batch, spent, g->shared);
    }
    po_workers *all = g->workers;
    worker *w = &all->at[g->worker];
    struct po_group_shared *s = g->shared;
    pthread_mutex_lock(&all->mutex);
    while (!s->failed && s->queued && (s->queued >= QUEUE_BATCHES || s->queued_beads + batch->n_beads > QUEUE_BEADS)) {
        wait(all);
    }
    while (w->n == sizeof w->queue / sizeof *w->queue) { /* many groups on one worker */
        wait(all);
    }
    bool ok = !s->failed;
    if (ok) {
        w->queue[(w->first + w->n++) % (sizeof w->queue / sizeof *w->queue)] = (task){s, batch};
        s->queued++;
        s->queued_beads += batch->n_beads;
        pthread_cond_broadcast(&all->changed);
    }
    pthread_mutex_unlock(&all->mutex);
    if (!ok) {
        po_batch_free(batch);
    }
    return ok;
}

bool po_group_pump(po_group *g)
{
    while (g->waiting_out < g->waiting_in && !g->failed) {
        po_batch *batch = g->waiting[g->waiting_out & (g->cap_waiting - 1)];
        for (size_t i = 0; i < g->n_lanes && batch->n_beads; i++) {
            const po_lane *lane = g->lanes[i];
            if (!lane->off && !lane->finished && lane->clock.timed_line <= batch->last_line) {
                return true; /* not yet */
            }
        }
        g->waiting_out++;
        if (!po_batch_times(batch)) {
            po_batch_free(batch);
            g->failed = true;
            break;
        }
        for (size_t i = 0; i < g->n_lanes; i++) {
            fill(g->lanes[i], batch, &batch->times[i]);
        }
        g->failed = !send(g, batch);
    }
    return !g->failed;
}

bool po_group_finish(po_group *g)
{
    bool ok = po_batcher_finish(&g->batcher);
    ok = po_group_pump(g) && ok;
    if (g->workers) {
        pthread_mutex_lock(&g->workers->mutex);
        while (g->shared->queued) {
            wait(g->workers);
        }
        ok = ok && !g->shared->failed;
        pthread_mutex_unlock(&g->workers->mutex);
    }
    const po_lane *leader = g->lanes[0];
    ok = ok && po_deposit_finish(g->deposit, leader->state.pos, spent, g->shared);
    double high = leader->tally.beads.max[2] + 1;
    for (size_t i = 1; ok && i < g->n_lanes; i++) {
        po_lane *lane = g->lanes[i];
        const double *a = leader->state.pos, *b = lane->state.pos;
        bool elsewhere = (a[0] != b[0] || a[1] != b[1] || a[2] != b[2]) && (a[2] < high || b[2] < high);
        /* other beads, other ways between them, or another place at the end, low enough to matter */
        if (lane->tally.hash != leader->tally.hash || elsewhere) {
            lane->off = true;
        }
    }
    return ok;
}
