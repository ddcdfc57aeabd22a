/* The thread that lays out bedfuls (nest_line.h). SPDX-License-Identifier: Apache-2.0 */
#include "desk/nest_line.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { KEPT_MOST = 24, EACH_MOST = 3, GONE_S = 60, FILES_MOST = 64, THREADS = 2 };
#define ARENA_MOST ((size_t)2000000000)
#define FILE_BYTES_MOST ((size_t)128 << 20) /* of one layout; more are the command line's */
static const double FIRST_ROUND_S = 1;

typedef struct bytes {
    char *data;
    size_t n;
} bytes;

typedef struct entry {
    desk_nest_standing st; /* without its texts */
    char client[DESK_CLIENT_MOST];
    desk_nest_asked *asked;
    uint64_t number;
    int64_t used_s;
    double begun_s, ended_s;
    bytes result, picture, files[FILES_MOST];
} entry;

struct desk_nests {
    po_desk *desk;
    pthread_mutex_t lock;
    pthread_cond_t more;
    entry entries[KEPT_MOST];
    uint64_t numbers;
    bool ending, runs;
    pthread_t thread;
};

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void drop(bytes *b)
{
    free(b->data);
    *b = (bytes){0};
}

static void clear(entry *e)
{
    drop(&e->result);
    drop(&e->picture);
    for (size_t i = 0; i < FILES_MOST; i++) {
        drop(&e->files[i]);
    }
    free(e->asked);
    *e = (entry){0};
}

static bool copy_of(const void *data, size_t n, bytes *ret)
{
    ret->data = malloc(n + 1);
    ret->n = n;
    if (ret->data) {
        memcpy(ret->data, data, n);
        ret->data[n] = 0;
    }
    return ret->data != NULL;
}

/* ---- one layout ---- */

typedef struct task {
    struct desk_nests *nests;
    entry *entry;
    desk_nest_asked asked;
    work_bedfuls *b; /* parts, and the best so far */
    po_arena *best;  /* of its layout */
} task;

static void say_doing(task *t, const char *doing)
{
    pthread_mutex_lock(&t->nests->lock);
    t->entry->st.doing = doing;
    pthread_mutex_unlock(&t->nests->lock);
}

static bool goes_on(task *t)
{
    pthread_mutex_lock(&t->nests->lock);
    bool on = !t->nests->ending && !t->entry->st.stopped && desk_seconds() - t->entry->used_s < GONE_S;
    pthread_mutex_unlock(&t->nests->lock);
    return on;
}

static bool on_progress(double value, double seconds, void *user)
{
    (void)value;
    (void)seconds;
    return goes_on(user);
}

static po_status read_parts(task *t, po_err *err)
{
    work_bedfuls *b = t->b;
    const desk_nest_asked *a = &t->asked;
    size_t at = 0;
    po_status s = PO_OK;
    for (size_t i = 0; s == PO_OK && i < a->n; i++) {
        const po_part *part = NULL;
        const char *name = po_arena_text(b->arena, a->files[i].name[0] ? a->files[i].name : "unnamed");
        po_source source = {.path = desk_file_path(t->nests->desk, a->files[i].sha256, b->arena)};
        work_bedful_wish wish = {.path = name,
                                 .copies = a->copies[i],
                                 .due = INT64_MAX,
                                 .turn_step = a->turn_step,
                                 .material = a->material,
                                 .recipe = a->recipe,
                                 .find_pose = a->find_pose};
        s = !name || !source.path ? po_fail(err, PO_E_NOMEM, "memory ran out")
            : !goes_on(t)         ? po_fail(err, PO_E_CANCELLED, "it was stopped before anything was laid out")
                                  : po_part_read(&source, NULL, b->arena, &part, err);
        s = s == PO_OK ? po_part_assembled(part, b->arena, &part, err) : s;
        s = s == PO_OK ? work_bedful_add(b, &wish, part, err) : s;
        if (s != PO_OK && s != PO_E_NOMEM && s != PO_E_CANCELLED) { /* which of several */
            char says[sizeof err->msg];
            snprintf(says, sizeof says, "%.80s: %.150s", name, err->msg);
            snprintf(err->msg, sizeof err->msg, "%s", says);
        }
    }
    return s == PO_OK ? work_bedful_outlines(b, &at, err) : s;
}

static uint32_t left_out_of(const po_nest *nest)
{
    uint32_t n = 0;
    for (size_t i = 0; i < nest->n_left_out; i++) {
        n += nest->left_out[i].copies;
    }
    return n;
}

static double emptiest(const po_nest *nest)
{
    double least = INFINITY;
    for (size_t i = 0; i < nest->n_bedfuls; i++) {
        least = fmin(least, nest->bedfuls[i].filled);
    }
    return least;
}

/* Fewer left out, then fewer beds, then more room on the emptiest. */
static bool is_better(const po_nest *a, const po_nest *b)
{
    uint32_t x = left_out_of(a), y = left_out_of(b);
    return x != y                         ? x < y
           : a->n_bedfuls != b->n_bedfuls ? a->n_bedfuls < b->n_bedfuls
                                          : emptiest(a) < emptiest(b) - 1e-9;
}

/* The best so far is shown: its document and its picture. */
static po_status show(task *t, po_err *err)
{
    work_bedfuls *b = t->b;
    po_nest_sheet sheet;
    po_document drawn = {0};
    bytes result = {0}, picture = {0};
    po_arena *own = b->arena, *scratch = po_arena_new(ARENA_MOST);
    if (!scratch) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    b->arena = scratch; /* its words are made anew each time */
    b->n_findings = 0;
    work_bedful_judge(b);
    json_t *o = work_bedful_json(b);
    char *text = o ? json_dumps(o, JSON_COMPACT) : NULL;
    po_status s = text ? work_bedful_sheet(b, &sheet, err) : po_fail(err, PO_E_NOMEM, "memory ran out");
    s = s == PO_OK ? po_nest_picture(&sheet, PO_PICTURE_SVG, scratch, &drawn, err) : s;
    if (s == PO_OK && (!copy_of(text, strlen(text), &result) || !copy_of(drawn.data, drawn.n_bytes, &picture))) {
        s = po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    free(text);
    json_decref(o);
    b->arena = own;
    po_arena_free(scratch);
    pthread_mutex_lock(&t->nests->lock);
    if (s == PO_OK) {
        drop(&t->entry->result);
        drop(&t->entry->picture);
        t->entry->result = result;
        t->entry->picture = picture;
    } else {
        drop(&result);
        drop(&picture);
    }
    pthread_mutex_unlock(&t->nests->lock);
    desk_changed(t->nests->desk);
    return s;
}

/* Rounds until the time is over, somebody stops it, or nothing can be better. */
static po_status search(task *t, po_err *err)
{
    work_bedfuls *b = t->b;
    double begun = now_s(), round_s = FIRST_ROUND_S;
    bool have = false;
    po_status s = PO_OK;
    for (uint64_t round = 0; s == PO_OK; round++) {
        double left = t->asked.seconds - (now_s() - begun);
        bool plainly = round == 0; /* without searching: something to see at once */
        if (have && (left <= 0.05 || !goes_on(t))) {
            break;
        }
        po_nest found = {0};
        po_arena *arena = po_arena_new(ARENA_MOST);
        b->setup.effort = (po_nest_effort){.seed = round + 1,
                                           .steps = plainly ? 1 : 0,
                                           .seconds = plainly ? 0 : fmin(round_s, left),
                                           .threads = THREADS,
                                           .progress = on_progress,
                                           .user = t};
        s = arena ? po_nest_find(b->laid, b->n_parts, &b->setup, arena, &found, err)
                  : po_fail(err, PO_E_NOMEM, "memory ran out");
        bool stops = s == PO_OK && !goes_on(t), better = s == PO_OK && (!have || is_better(&found, &b->nest));
        if (better) {
            po_arena_free(t->best);
            t->best = arena;
            b->nest = found;
            have = true;
        } else {
            po_arena_free(arena);
        }
        if (s == PO_OK && stops != b->nest.ended_early) {
            b->nest.ended_early = stops;
            better = true;
        }
        round_s *= plainly ? 1 : 2;
        pthread_mutex_lock(&t->nests->lock);
        t->entry->st.rounds = (int)round + 1;
        pthread_mutex_unlock(&t->nests->lock);
        s = s == PO_OK && better ? show(t, err) : s;
        if (s == PO_OK && (b->nest.n_bedfuls == b->nest.at_least || b->nest.n_bedfuls == 0)) {
            break; /* no layout takes fewer */
        }
    }
    return s;
}

static po_status write_files(task *t, po_err *err)
{
    size_t all = 0, n = t->b->nest.n_bedfuls < FILES_MOST ? t->b->nest.n_bedfuls : FILES_MOST;
    po_status s = PO_OK;
    for (size_t i = 0; s == PO_OK && i < n && all < FILE_BYTES_MOST; i++) {
        po_document d = {0};
        bytes file = {0};
        po_arena *scratch = po_arena_new(ARENA_MOST);
        s = scratch ? work_bedful_3mf(t->b, i, scratch, &d, err) : po_fail(err, PO_E_NOMEM, "memory ran out");
        if (s == PO_OK && !copy_of(d.data, d.n_bytes, &file)) {
            s = po_fail(err, PO_E_NOMEM, "memory ran out");
        }
        po_arena_free(scratch);
        all += file.n;
        pthread_mutex_lock(&t->nests->lock);
        t->entry->files[i] = file;
        t->entry->st.n_files = file.data ? i + 1 : i;
        pthread_mutex_unlock(&t->nests->lock);
    }
    return s;
}

static po_status lay_out(task *t, po_err *err)
{
    const desk_nest_asked *a = &t->asked;
    po_arena *arena = po_arena_new(ARENA_MOST);
    t->b = calloc(1, sizeof *t->b);
    po_status s = arena && t->b ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    if (s == PO_OK) {
        t->b->shop = t->nests->desk->options.shop;
        t->b->machine = a->machine;
        t->b->arena = arena;
        t->b->setup = (po_nest_setup){.machine = a->machine,
                                      .clearance_mm = a->clearance_mm,
                                      .margin_mm = a->margin_mm,
                                      .finish_each = a->finish_each,
                                      .keep_holes_free = a->keep_holes_free,
                                      .effort = {.threads = THREADS}};
        s = read_parts(t, err);
    }
    if (s == PO_OK) {
        say_doing(t, "lays");
        s = search(t, err);
    }
    if (s == PO_OK) {
        say_doing(t, "writes");
        s = write_files(t, err);
    }
    po_arena_free(t->best);
    po_arena_free(arena);
    free(t->b);
    return s;
}

/* ---- the line ---- */

static entry *next(struct desk_nests *n)
{
    entry *first = NULL;
    for (int i = 0; i < KEPT_MOST; i++) {
        entry *e = &n->entries[i];
        first = e->st.stage == DESK_NEST_WAITS && (!first || e->number < first->number) ? e : first;
    }
    return first;
}

static void *work(void *user)
{
    struct desk_nests *n = user;
    pthread_mutex_lock(&n->lock);
    while (!n->ending) {
        entry *e = next(n);
        if (!e) {
            pthread_cond_wait(&n->more, &n->lock);
            continue;
        }
        task t = {.nests = n, .entry = e, .asked = *e->asked};
        e->st.stage = DESK_NEST_WORKS;
        e->st.doing = "reads";
        e->begun_s = now_s();
        pthread_mutex_unlock(&n->lock);
        po_err err = {0};
        po_status s = lay_out(&t, &err);
        pthread_mutex_lock(&n->lock);
        e->ended_s = now_s();
        e->st.err = err;
        e->st.stage = s == PO_OK ? DESK_NEST_DONE : DESK_NEST_FAILED;
        pthread_mutex_unlock(&n->lock);
        desk_changed(n->desk);
        pthread_mutex_lock(&n->lock);
    }
    pthread_mutex_unlock(&n->lock);
    return NULL;
}

/* With the lock held. */
static entry *find(struct desk_nests *n, const char *id)
{
    for (int i = 0; i < KEPT_MOST; i++) {
        if (n->entries[i].st.stage != DESK_NEST_FREE && strcmp(n->entries[i].st.id, id) == 0) {
            return &n->entries[i];
        }
    }
    return NULL;
}

/* A place for one more: a free one, else that of what is done and was used longest ago. With the lock held. */
static entry *make_room(struct desk_nests *n)
{
    entry *oldest = NULL;
    for (int i = 0; i < KEPT_MOST; i++) {
        entry *e = &n->entries[i];
        if (e->st.stage == DESK_NEST_FREE) {
            return e;
        }
        if (e->st.stage >= DESK_NEST_DONE && (!oldest || e->used_s < oldest->used_s)) {
            oldest = e;
        }
    }
    if (oldest) {
        clear(oldest);
    }
    return oldest;
}

static void stand(const struct desk_nests *n, const entry *e, desk_nest_standing *ret)
{
    *ret = e->st;
    ret->position = 1;
    for (int i = 0; i < KEPT_MOST; i++) {
        const entry *o = &n->entries[i];
        ret->position += o->st.stage == DESK_NEST_WAITS && o->number < e->number;
    }
    ret->seconds = e->st.stage <= DESK_NEST_WAITS   ? 0
                   : e->st.stage == DESK_NEST_WORKS ? now_s() - e->begun_s
                                                    : e->ended_s - e->begun_s;
}

po_status desk_nest_ask(po_desk *desk, const desk_nest_asked *asked, const char *client, desk_nest_standing *ret,
                        po_err *err)
{
    struct desk_nests *n = desk->nests;
    char word[DESK_WORD];
    int same = 0;
    po_status s = PO_OK;
    desk_word_new(desk, word);
    desk_nest_asked *own = malloc(sizeof *own);
    if (!own) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    *own = *asked;
    pthread_mutex_lock(&n->lock);
    for (int i = 0; i < KEPT_MOST; i++) {
        const entry *e = &n->entries[i];
        same += (e->st.stage == DESK_NEST_WAITS || e->st.stage == DESK_NEST_WORKS) && strcmp(e->client, client) == 0;
    }
    entry *e = same < EACH_MOST && !n->ending ? make_room(n) : NULL;
    if (e) {
        *e = (entry){.asked = own, .number = ++n->numbers, .used_s = desk_seconds()};
        e->st = (desk_nest_standing){.stage = DESK_NEST_WAITS, .most_seconds = asked->seconds, .doing = "waits"};
        snprintf(e->st.id, sizeof e->st.id, "%.32s", word);
        snprintf(e->client, sizeof e->client, "%s", client);
        stand(n, e, ret);
        pthread_cond_signal(&n->more);
    } else {
        free(own);
        s = same >= EACH_MOST
                ? po_fail(err, PO_E_LIMIT, "you have %d layouts on their way; stop one of them first", EACH_MOST)
                : po_fail(err, PO_E_CONFLICT, "too many layouts are on their way; ask again in a moment");
    }
    pthread_mutex_unlock(&n->lock);
    return s;
}

bool desk_nest_stands(po_desk *desk, const char *id, po_arena *arena, desk_nest_standing *ret)
{
    struct desk_nests *n = desk->nests;
    pthread_mutex_lock(&n->lock);
    entry *e = find(n, id);
    if (e) {
        e->used_s = desk_seconds();
        stand(n, e, ret);
        ret->result = e->result.data ? po_arena_text_n(arena, e->result.data, e->result.n) : NULL;
    }
    pthread_mutex_unlock(&n->lock);
    return e != NULL;
}

bool desk_nest_stop_one(po_desk *desk, const char *id)
{
    struct desk_nests *n = desk->nests;
    pthread_mutex_lock(&n->lock);
    entry *e = find(n, id);
    if (e && e->st.stage < DESK_NEST_DONE) {
        e->st.stopped = true;
        if (e->st.stage == DESK_NEST_WAITS) {
            e->st.stage = DESK_NEST_FAILED;
            (void)po_fail(&e->st.err, PO_E_CANCELLED, "it was stopped before anything was laid out");
        }
    }
    pthread_mutex_unlock(&n->lock);
    if (e) {
        desk_changed(desk);
    }
    return e != NULL;
}

const void *desk_nest_bytes(po_desk *desk, const char *id, size_t bedful, po_arena *arena, size_t *ret_n)
{
    struct desk_nests *n = desk->nests;
    void *copy = NULL;
    pthread_mutex_lock(&n->lock);
    entry *e = bedful <= FILES_MOST ? find(n, id) : NULL;
    const bytes *from = !e ? NULL : bedful == 0 ? &e->picture : &e->files[bedful - 1];
    if (from && from->data && (copy = po_arena_zeros(arena, from->n + 1, 1))) {
        memcpy(copy, from->data, from->n);
        *ret_n = from->n;
        e->used_s = desk_seconds();
    }
    pthread_mutex_unlock(&n->lock);
    return copy;
}

po_status desk_nests_open(po_desk *desk, po_err *err)
{
    struct desk_nests *n = calloc(1, sizeof *n);
    if (!n) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    n->desk = desk;
    pthread_mutex_init(&n->lock, NULL);
    pthread_cond_init(&n->more, NULL);
    desk->nests = n;
    n->runs = pthread_create(&n->thread, NULL, work, n) == 0;
    return n->runs ? PO_OK : po_fail(err, PO_E_NOMEM, "a thread can't be had");
}

void desk_nests_stop(po_desk *desk)
{
    struct desk_nests *n = desk->nests;
    if (n && n->runs) {
        pthread_mutex_lock(&n->lock);
        n->ending = true;
        pthread_cond_broadcast(&n->more);
        pthread_mutex_unlock(&n->lock);
        pthread_join(n->thread, NULL);
        n->runs = false;
    }
}

void desk_nests_close(po_desk *desk)
{
    struct desk_nests *n = desk->nests;
    if (!n) {
        return;
    }
    desk_nests_stop(desk);
    for (int i = 0; i < KEPT_MOST; i++) {
        clear(&n->entries[i]);
    }
    pthread_mutex_destroy(&n->lock);
    pthread_cond_destroy(&n->more);
    free(n);
    desk->nests = NULL;
}
