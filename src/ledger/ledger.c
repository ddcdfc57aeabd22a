/* The open book: acts in turn, several with one sync. SPDX-License-Identifier: Apache-2.0
 *
 * Group commit (DeWitt, Katz, Olken, Shapiro, Stonebraker & Wood, "Implementation techniques for main memory database systems",
 * SIGMOD 1984): callers line up; whoever finds nobody leading takes all that wait into one transaction, each act between marks
 * of its own, and one COMMIT brings all to the disk. While it waits for the disk the next line forms. A leader whose
 * predecessor had several waits a moment for the others of that turn to come back; a lone caller never waits. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "ledger/ledger_inside.h"

enum { TURN_MOST = 64, LINGER_US = 120, USUAL_WAIT_MS = 10000 };

/* One act on its way. */
typedef struct doing {
    const po_act_kind *kind;
    const char *by;
    json_t *body, *private, *answer;
    int64_t event;
    unsigned char hash[PO_HASH];
} doing;

/* A caller in the line, with one act or several that stand or fall together. */
struct po_waiting {
    doing *acts;
    size_t n, failed; /* failed: which act the status is about */
    po_status status;
    po_err err;
    bool done;
    po_waiting *next;
};

static int64_t system_now(void *user)
{
    (void)user;
    struct timespec t;
    clock_gettime(CLOCK_REALTIME, &t);
    return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

po_status po_ledger_open(const char *path, const po_ledger_options *options, po_ledger **ret, po_err *err)
{
    po_ledger_options o = options ? *options : (po_ledger_options){0};
    po_store_options so = {.create = o.create,
                           .read_only = o.read_only,
                           .wait_ms = o.wait_ms > 0 ? o.wait_ms : USUAL_WAIT_MS,
                           .vfs = o.vfs,
                           .schema = &po_ledger_schema};
    po_ledger *l = calloc(1, sizeof *l);
    if (!l) {
        return po_fail(err, PO_E_NOMEM, "out of memory for a book");
    }
    l->now_ms = o.now_ms ? o.now_ms : system_now;
    l->user = o.user;
    l->end = &l->first;
    pthread_mutex_init(&l->queue_lock, NULL);
    pthread_mutex_init(&l->asking_lock, NULL);
    pthread_cond_init(&l->moved, NULL);
    pthread_condattr_t attr;
    pthread_condattr_init(&attr);
    pthread_condattr_setclock(&attr, CLOCK_MONOTONIC);
    pthread_cond_init(&l->more, &attr);
    pthread_condattr_destroy(&attr);
    po_status s = PO_OK;
    if (o.read_only) {
        s = po_store_open(path, &so, &l->asking, err);
    } else {
        s = po_store_open(path, &so, &l->store, err);
        s = s == PO_OK ? po_store_again(l->store, true, &l->asking, err) : s;
    }
    s = s == PO_OK ? po_ledger_derive(l, err) : s;
    if (s != PO_OK) {
        po_ledger_close(l);
        return s;
    }
    *ret = l;
    return PO_OK;
}

void po_ledger_close(po_ledger *ledger)
{
    if (!ledger) {
        return;
    }
    po_store_close(ledger->asking);
    po_store_close(ledger->store); /* the last to close moves all into the file itself */
    pthread_cond_destroy(&ledger->more);
    pthread_cond_destroy(&ledger->moved);
    pthread_mutex_destroy(&ledger->asking_lock);
    pthread_mutex_destroy(&ledger->queue_lock);
    free(ledger);
}

/* One caller's acts within the open transaction; alone: without marks, since nothing else is in it. */
static void carry_out(po_ledger *l, po_waiting *w, po_tail *tail, bool alone)
{
    w->status = alone ? PO_OK : po_store_mark(l->store, &w->err);
    if (w->status != PO_OK) {
        return;
    }
    po_tail next = *tail;
    for (w->failed = 0; w->failed < w->n; w->failed++) {
        doing *d = &w->acts[w->failed];
        w->status = po_event_append(l->store, &next, d->kind, d->by, d->body, d->private, l->now_ms(l->user), d->answer,
                                    &w->err);
        if (w->status != PO_OK) {
            break;
        }
        d->event = next.seq;
        memcpy(d->hash, next.hash, PO_HASH);
    }
    if (w->status == PO_OK) {
        w->status = alone ? PO_OK : po_store_keep(l->store, &w->err);
    } else if (!alone && po_store_is_open(l->store)) {
        po_err ignored;
        if (po_store_back(l->store, &ignored) != PO_OK) {
            po_store_rollback(l->store); /* then nothing of this turn stands; carry_out_turn sees it */
        }
    }
    if (w->status == PO_OK) {
        *tail = next;
    }
}

static void carry_out_turn(po_ledger *l, po_waiting *first, bool alone)
{
    po_err err = {0};
    po_tail tail = {0};
    bool any = false;
    po_status s = po_store_begin(l->store, true, &err);
    s = s == PO_OK ? po_event_tail(l->store, &tail, &err) : s;
    for (po_waiting *w = first; s == PO_OK && w; w = w->next) {
        carry_out(l, w, &tail, alone);
        any = any || w->status == PO_OK;
        if (w->status != PO_OK && !po_store_is_open(l->store)) {
            s = w->status; /* the disk failed and everything was rolled back */
            err = w->err;
        }
    }
    if (s == PO_OK && any) {
        s = po_store_commit(l->store, &err);
    }
    po_store_rollback(l->store);
    for (po_waiting *w = first; s != PO_OK && w; w = w->next) { /* of a turn that failed nothing stands */
        if (w->status == PO_OK) {
            w->status = s;
            w->err = err;
        }
    }
}

/* Wait a moment for those of the last turn to line up again. Called with the lock held. */
static void linger(po_ledger *l)
{
    struct timespec until;
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_nsec += LINGER_US * 1000;
    if (until.tv_nsec >= 1000000000) {
        until.tv_nsec -= 1000000000;
        until.tv_sec++;
    }
    while (l->n_waiting < l->n_last && pthread_cond_timedwait(&l->more, &l->queue_lock, &until) != ETIMEDOUT) {
    }
}

/* Take all that wait and carry them out. Called with the lock held, by a caller who is among them; the same at the end. */
static void lead_a_turn(po_ledger *l)
{
    l->leading = true;
    if (l->n_last > 1) {
        linger(l);
    }
    po_waiting *turn = l->first, **end = &l->first;
    int n = 0;
    while (*end && n < TURN_MOST) {
        end = &(*end)->next;
        n++;
    }
    l->first = *end;
    *end = NULL;
    if (!l->first) {
        l->end = &l->first;
    }
    l->n_waiting -= n;
    l->n_last = n;
    pthread_mutex_unlock(&l->queue_lock);
    carry_out_turn(l, turn, n == 1);
    pthread_mutex_lock(&l->queue_lock);
    while (turn) {
        po_waiting *next = turn->next; /* before its owner can go on */
        turn->done = true;
        turn = next;
    }
    l->leading = false;
    pthread_cond_broadcast(&l->moved);
}

void po_ledger_lead(po_ledger *ledger)
{
    pthread_mutex_lock(&ledger->queue_lock);
    while (ledger->leading) {
        pthread_cond_wait(&ledger->moved, &ledger->queue_lock);
    }
    ledger->leading = true;
    pthread_mutex_unlock(&ledger->queue_lock);
}

void po_ledger_let_go(po_ledger *ledger)
{
    pthread_mutex_lock(&ledger->queue_lock);
    ledger->leading = false;
    pthread_cond_broadcast(&ledger->moved);
    pthread_mutex_unlock(&ledger->queue_lock);
}

static void line_up(po_ledger *l, po_waiting *w)
{
    pthread_mutex_lock(&l->queue_lock);
    *l->end = w;
    l->end = &w->next;
    l->n_waiting++;
    if (l->leading) {
        pthread_cond_signal(&l->more);
    }
    while (!w->done) {
        if (!l->leading) {
            lead_a_turn(l);
        } else {
            pthread_cond_wait(&l->moved, &l->queue_lock);
        }
    }
    pthread_mutex_unlock(&l->queue_lock);
}

/* Of somebody who is forgotten no bytes shall stay in the file or beside it. */
static void clear_traces(po_ledger *l)
{
    po_err err;
    po_ledger_lead(l);
    po_status s = po_store_begin(l->store, true, &err);
    s = s == PO_OK ? po_persons_write_anew(l->store, &err) : s;
    s = s == PO_OK ? po_store_commit(l->store, &err) : s;
    (void)s; /* where the disk refuses, the next one who is forgotten takes these bytes along */
    po_store_rollback(l->store);
    po_store_settle(l->store);
    po_ledger_let_go(l);
}

/* What the caller gave, read and held against its description. */
static po_status make_ready(const po_act *act, doing *d, po_err *err)
{
    if (!act->name || !act->by || !act->body) {
        return po_fail(err, PO_E_RANGE, "an act needs a name, who does it, and a body");
    }
    d->kind = po_act_find(act->name);
    d->by = act->by;
    if (!d->kind) {
        return po_fail_at(err, PO_E_NOTFOUND, "act", 0, 0, "there is no act \"%.60s\"", act->name);
    }
    if (!po_field_is_id(act->by)) {
        return po_fail_at(err, PO_E_RANGE, "by", 0, 0, "who does it is not a member's number or a role");
    }
    d->answer = json_object();
    return d->answer ? po_fields_read(d->kind->verb->fields, act->body, &d->body, &d->private, err)
                     : po_fail(err, PO_E_NOMEM, "out of memory for an answer");
}

/* It is booked: even when memory for the words is gone. */
static void hand_back(const doing *d, po_arena *arena, po_act_done *ret)
{
    char *answer = po_fields_canonical(d->answer), *kept = answer ? po_arena_text(arena, answer) : NULL;
    ret->event = (uint64_t)d->event;
    po_hex(ret->hash, d->hash);
    ret->answer = kept ? kept : "{}";
    free(answer);
}

po_status po_ledger_act_all(po_ledger *ledger, const po_act *acts, size_t n, po_arena *arena, po_act_done *ret,
                            size_t *ret_failed, po_err *err)
{
    *ret_failed = 0;
    if (!ledger->store) {
        return po_fail(err, PO_E_IO, "the book was opened to be read only; nothing can be booked");
    }
    if (n == 0 || n > PO_ACTS_MOST) {
        return po_fail(err, PO_E_RANGE, "1 to %d acts can be booked together", PO_ACTS_MOST);
    }
    po_waiting w = {.acts = calloc(n, sizeof *w.acts), .n = n};
    po_status s = w.acts ? PO_OK : po_fail(err, PO_E_NOMEM, "out of memory for %zu acts", n);
    bool forgets = false;
    for (size_t i = 0; s == PO_OK && i < n; i++) {
        s = make_ready(&acts[i], &w.acts[i], err);
        *ret_failed = i;
        forgets = forgets || strcmp(acts[i].name, "member-forget") == 0;
    }
    if (s == PO_OK) {
        line_up(ledger, &w);
        s = w.status;
        *ret_failed = w.failed;
        if (s != PO_OK && err) {
            *err = w.err;
        }
        for (size_t i = 0; s == PO_OK && i < n; i++) { /* by mistake enrolled is as good as forgotten */
            forgets = forgets || json_object_get(w.acts[i].answer, "enrolment_of");
        }
        if (s == PO_OK && forgets) {
            clear_traces(ledger);
        }
        for (size_t i = 0; s == PO_OK && i < n; i++) {
            hand_back(&w.acts[i], arena, &ret[i]);
        }
    }
    for (size_t i = 0; w.acts && i < n; i++) {
        json_decref(w.acts[i].answer);
        json_decref(w.acts[i].body);
        json_decref(w.acts[i].private);
    }
    free(w.acts);
    return s;
}

po_status po_ledger_act(po_ledger *ledger, const po_act *act, po_arena *arena, po_act_done *ret, po_err *err)
{
    size_t failed;
    return po_ledger_act_all(ledger, act, 1, arena, ret, &failed, err);
}

po_status po_ledger_ask(po_ledger *ledger, const char *question, const char *parameters, po_arena *arena,
                        const char **ret_json, po_err *err)
{
    const char *fields = NULL;
    po_question ask = po_question_find(question, &fields);
    if (!ask) {
        return po_fail_at(err, PO_E_NOTFOUND, "question", 0, 0, "there is no question \"%.60s\"", question);
    }
    json_t *body = NULL, *answer = json_object();
    po_status s = answer ? po_fields_read(fields, parameters, &body, NULL, err)
                         : po_fail(err, PO_E_NOMEM, "out of memory for an answer");
    if (s == PO_OK) {
        pthread_mutex_lock(&ledger->asking_lock);
        s = po_store_begin(ledger->asking, false, err);
        s = s == PO_OK ? ask(ledger->asking, body, ledger->now_ms(ledger->user), answer, err) : s;
        po_store_rollback(ledger->asking);
        pthread_mutex_unlock(&ledger->asking_lock);
    }
    if (s == PO_OK && !json_object_get(answer, "format")) { /* po_put */
        s = po_fail(err, PO_E_NOMEM, "out of memory for an answer");
    }
    if (s == PO_OK) {
        char *text = po_fields_canonical(answer);
        const char *kept = text ? po_arena_text(arena, text) : NULL;
        free(text);
        if (kept) {
            *ret_json = kept;
        } else {
            s = po_fail(err, PO_E_NOMEM, "out of memory for an answer");
        }
    }
    json_decref(body);
    json_decref(answer);
    return s;
}
