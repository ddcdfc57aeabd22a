/* The line of those who look at parts (bench.h). SPDX-License-Identifier: Apache-2.0 */
#include "desk/bench.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    KEPT_MOST = 256, /* entries: waiting, working, done */
    EACH_MOST = 24,  /* that wait for one client */
    THREADS = 2,
    GONE_S = 40 /* nobody asked for so long: nobody wants it any more */
};
#define KEPT_BYTES_MOST ((size_t)192 << 20)
#define ARENA_MOST ((size_t)2000000000)

typedef enum stage { FREE, WAITS, WORKS, DONE, FAILED } stage;

typedef struct entry {
    stage stage;
    char proof[DESK_PROOF_ID], client[DESK_CLIENT_MOST];
    desk_look_asked asked;
    desk_made *made; /* ours while it waits and works */
    uint64_t number;
    int64_t used_s;
    double share;
    po_arena *arena;
    desk_seen seen;
    po_err err;
} entry;

struct desk_bench {
    po_desk *desk;
    pthread_mutex_t lock;
    pthread_cond_t more;
    entry entries[KEPT_MOST];
    uint64_t numbers;
    bool ending;
    pthread_t threads[THREADS];
    int n_threads;
};

/* With the lock held. */
static void clear(entry *e)
{
    po_arena_free(e->arena);
    *e = (entry){.stage = FREE};
}

static bool same(const desk_look_asked *a, const desk_look_asked *b)
{
    return a->look == b->look && a->machine == b->machine && a->solid == b->solid && a->face == b->face &&
           a->recipe == b->recipe && a->below == b->below && a->small == b->small && a->mended == b->mended &&
           a->scale == b->scale && memcmp(a->turn, b->turn, sizeof a->turn) == 0 &&
           memcmp(a->degrees, b->degrees, sizeof a->degrees) == 0;
}

static entry *find(desk_bench *b, const char *proof, const desk_look_asked *asked)
{
    for (int i = 0; i < KEPT_MOST; i++) {
        entry *e = &b->entries[i];
        if (e->stage != FREE && strcmp(e->proof, proof) == 0 && same(&e->asked, asked)) {
            return e;
        }
    }
    return NULL;
}

/* What is done and was used longest ago goes, until there is room. NULL: all wait or are worked on. */
static entry *make_room(desk_bench *b)
{
    for (;;) {
        entry *oldest = NULL, *unused = NULL;
        size_t bytes = 0;
        for (int i = 0; i < KEPT_MOST; i++) {
            entry *e = &b->entries[i];
            if (e->stage == FREE) {
                unused = e;
            } else if (e->stage >= DONE) {
                bytes += e->arena ? po_arena_used(e->arena) : 0;
                oldest = !oldest || e->used_s < oldest->used_s ? e : oldest;
            }
        }
        if (unused && (bytes <= KEPT_BYTES_MOST || !oldest)) {
            return unused;
        }
        if (!oldest) {
            return NULL;
        }
        clear(oldest);
    }
}

desk_look_state desk_bench_ask(po_desk *desk, const char *proof, desk_made *made, const desk_look_asked *asked,
                               const char *client, po_arena *arena, desk_seen *ret, double *ret_share, po_err *err)
{
    desk_bench *b = desk->bench;
    desk_look_state state = DESK_LOOK_WAITS;
    pthread_mutex_lock(&b->lock);
    entry *e = find(b, proof, asked);
    if (!e) {
        int waiting = 0;
        for (int i = 0; i < KEPT_MOST; i++) {
            waiting += b->entries[i].stage == WAITS && strcmp(b->entries[i].client, client) == 0;
        }
        e = waiting < EACH_MOST && !b->ending ? make_room(b) : NULL;
        if (e) {
            *e = (entry){.stage = WAITS, .asked = *asked, .made = made, .number = ++b->numbers};
            snprintf(e->proof, sizeof e->proof, "%s", proof);
            snprintf(e->client, sizeof e->client, "%s", client);
            desk_proof_share(desk, made);
            pthread_cond_signal(&b->more);
        } else {
            state = DESK_LOOK_FULL;
        }
    }
    if (e) {
        e->used_s = desk_seconds();
        *ret_share = e->share;
    }
    if (e && e->stage == DONE) {
        void *copy = po_arena_zeros(arena, e->seen.n + 1, 1);
        *ret = (desk_seen){.type = e->seen.type, .data = copy, .n = e->seen.n};
        state = copy ? DESK_LOOK_DONE : DESK_LOOK_FAILED;
        if (copy) {
            memcpy(copy, e->seen.data, e->seen.n);
        } else {
            (void)po_fail(err, PO_E_NOMEM, "memory ran out");
        }
    } else if (e && e->stage == FAILED) {
        *err = e->err;
        state = DESK_LOOK_FAILED;
        if (err->code == PO_E_NOMEM || err->code == PO_E_CANCELLED) { /* another try may do */
            clear(e);
        }
    }
    pthread_mutex_unlock(&b->lock);
    return state;
}

typedef struct task {
    desk_bench *bench;
    entry *entry;
} task;

/* Still wanted? */
static bool report(uint64_t done, uint64_t total, void *user)
{
    task *t = user;
    pthread_mutex_lock(&t->bench->lock);
    t->entry->share = total > 0 ? (double)done / (double)total : 0;
    bool wanted = !t->bench->ending && desk_seconds() - t->entry->used_s < GONE_S;
    pthread_mutex_unlock(&t->bench->lock);
    return wanted;
}

/* The next: of those that wait, the first that came. With the lock held. */
static entry *next(desk_bench *b)
{
    entry *first = NULL;
    for (int i = 0; i < KEPT_MOST; i++) {
        entry *e = &b->entries[i];
        if (e->stage == WAITS && (!first || e->number < first->number)) {
            first = e;
        }
    }
    return first;
}

static void *work(void *user)
{
    desk_bench *b = user;
    pthread_mutex_lock(&b->lock);
    while (!b->ending) {
        entry *e = next(b);
        if (!e) {
            pthread_cond_wait(&b->more, &b->lock);
            continue;
        }
        e->stage = WORKS;
        bool wanted = desk_seconds() - e->used_s < GONE_S;
        desk_look_asked asked = e->asked;
        desk_made *made = e->made;
        pthread_mutex_unlock(&b->lock);
        po_arena *arena = wanted ? po_arena_new(ARENA_MOST) : NULL;
        desk_seen seen = {0};
        po_err err = {0};
        task t = {b, e};
        po_status s = !wanted ? po_fail(&err, PO_E_CANCELLED, "nobody asked for it any more")
                      : arena ? desk_look_do(b->desk, made, &asked, report, &t, arena, &seen, &err)
                              : po_fail(&err, PO_E_NOMEM, "memory ran out");
        /* Only the bytes are kept, not what it took to make them. */
        po_arena *kept = s == PO_OK ? po_arena_new(0) : NULL;
        void *copy = kept ? po_arena_zeros(kept, seen.n + 1, 1) : NULL;
        if (copy) {
            memcpy(copy, seen.data, seen.n);
        } else if (s == PO_OK) {
            s = po_fail(&err, PO_E_NOMEM, "memory ran out");
        }
        po_arena_free(arena);
        desk_proof_give(b->desk, made);
        pthread_mutex_lock(&b->lock);
        e->made = NULL;
        e->arena = kept;
        e->seen = (desk_seen){seen.type, copy, seen.n};
        e->err = err;
        e->stage = s == PO_OK ? DONE : FAILED;
        if (s == PO_E_CANCELLED) {
            clear(e);
        }
        pthread_mutex_unlock(&b->lock);
        desk_changed(b->desk);
        pthread_mutex_lock(&b->lock);
    }
    pthread_mutex_unlock(&b->lock);
    return NULL;
}

po_status desk_bench_open(po_desk *desk, po_err *err)
{
    desk_bench *b = calloc(1, sizeof *b);
    if (!b) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    b->desk = desk;
    pthread_mutex_init(&b->lock, NULL);
    pthread_cond_init(&b->more, NULL);
    desk->bench = b;
    for (int i = 0; i < THREADS; i++) {
        if (pthread_create(&b->threads[i], NULL, work, b) != 0) {
            return po_fail(err, PO_E_NOMEM, "a thread can't be had");
        }
        b->n_threads++;
    }
    return PO_OK;
}

void desk_bench_stop(po_desk *desk)
{
    desk_bench *b = desk->bench;
    if (!b) {
        return;
    }
    pthread_mutex_lock(&b->lock);
    b->ending = true;
    pthread_cond_broadcast(&b->more);
    pthread_mutex_unlock(&b->lock);
    for (; b->n_threads > 0; b->n_threads--) {
        pthread_join(b->threads[b->n_threads - 1], NULL);
    }
}

void desk_bench_close(po_desk *desk)
{
    desk_bench *b = desk->bench;
    if (!b) {
        return;
    }
    desk_bench_stop(desk);
    for (int i = 0; i < KEPT_MOST; i++) {
        if (b->entries[i].made) {
            desk_proof_give(desk, b->entries[i].made);
        }
        clear(&b->entries[i]);
    }
    pthread_mutex_destroy(&b->lock);
    pthread_cond_destroy(&b->more);
    free(b);
    desk->bench = NULL;
}
