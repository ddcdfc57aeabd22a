/* The desk's day for a page. SPDX-License-Identifier: Apache-2.0
 *
 * Every open page asks for it after every act, so it is made once for all: it holds until the next event of the book, the
 * next minute, or the time at which something falls due, whichever comes first. Who asks meanwhile waits for the one who makes it. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "desk/at_desk.h"
#include "desk/opening.h"
#include "desk/proving.h"
#include "desk/server.h"
#include "work/day.h"

#define MINUTE_MS INT64_C(60000)
enum { DAY_ARENA_MOST = 64 << 20 };

struct desk_day {
    pthread_mutex_t lock;
    struct MHD_Response *ready; /* the answer with its header; NULL: none */
    char *text;                 /* the answer; NULL: none yet */
    size_t n;
    uint64_t booked;           /* desk_live_seen's, before it was made */
    uint64_t event;            /* the last of the book before it was made */
    int64_t from_ms, until_ms; /* it holds so long */
    int64_t begun_ms;          /* of this server: another one's shop file may be another */
    char tag[80];
};

po_status desk_day_open(po_desk *desk, po_err *err)
{
    desk->day = calloc(1, sizeof *desk->day);
    if (!desk->day) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    pthread_mutex_init(&desk->day->lock, NULL);
    desk->day->begun_ms = desk_now_ms_of(desk);
    return PO_OK;
}

void desk_day_close(po_desk *desk)
{
    if (desk->day) {
        pthread_mutex_destroy(&desk->day->lock);
        if (desk->day->ready) {
            desk->http.destroy_response(desk->day->ready);
        }
        free(desk->day->text);
        free(desk->day);
        desk->day = NULL;
    }
}

/* The next minute, or the time at which something falls due before it. */
static int64_t holds_until(const json_t *day, int64_t now)
{
    int64_t until = now - now % MINUTE_MS + MINUTE_MS;
    size_t i;
    const json_t *row;
    json_array_foreach(json_object_get(day, "due"), i, row)
    {
        int64_t at = work_int(row, "at_ms", 0);
        until = at > now && at < until ? at : until;
    }
    return until;
}

/* With the lock held. */
static po_status make(po_desk *desk, uint64_t event, int64_t now, po_err *err)
{
    struct desk_day *d = desk->day;
    po_arena *arena = po_arena_new(DAY_ARENA_MOST);
    work_context w;
    json_t *day = NULL;
    po_status s = arena ? work_begin(&w, arena, desk_shop_now(desk), NULL, desk->options.ledger, now, err)
                        : po_fail(err, PO_E_NOMEM, "memory ran out");
    w.studies = s == PO_OK ? desk->studies : NULL;
    s = s == PO_OK ? work_day(&w, &day, err) : s;
    po_arena_free(arena); /* the answer stands by itself */
    if (s != PO_OK) {
        return s;
    }
    int64_t until = holds_until(day, now);
    json_object_set_new(day, "until_ms", json_integer(until));
    json_object_set_new(day, "event", json_integer((json_int_t)event));
    char *text = json_dumps(day, JSON_COMPACT);
    json_decref(day);
    if (!text) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    free(d->text);
    d->text = text;
    d->n = strlen(text);
    d->event = event;
    d->from_ms = now;
    d->until_ms = until;
    snprintf(d->tag, sizeof d->tag, "\"day-%llx-%llx-%llx\"", (unsigned long long)d->begun_ms,
             (unsigned long long)event, (unsigned long long)now);
    return PO_OK;
}

/* The answer with its header, for whoever may be answered at once. With the lock held. */
static void make_ready(po_desk *desk)
{
    struct desk_day *d = desk->day;
    desk_reply rp = {.status = 200, .type = "application/json", .tag = d->tag, .body = d->text, .n = d->n};
    if (d->ready) {
        desk->http.destroy_response(d->ready); /* whoever still sends it keeps it */
    }
    d->ready = desk_ready_response(&desk->http, &rp);
}

bool desk_day_send(desk_context *c, enum MHD_Result *ret)
{
    po_desk *desk = c->desk;
    struct desk_day *d = desk->day;
    desk_request *rq = &c->rq;
    char word[DESK_WORD];
    uint64_t booked, event;
    if (!rq->route || rq->route->run != desk_do_today || strcmp(rq->method, "GET") != 0 || rq->query[0] ||
        rq->if_none_match || c->declared > 0 || !rq->cookie || !desk_cookie(rq->cookie, rq->tls, word)) {
        return false;
    }
    desk_live_seen(desk, &booked, &event);
    po_standing role = desk_session_known(desk, word, !rq->background, booked);
    if (role < rq->route->least || pthread_mutex_trylock(&d->lock) != 0) { /* somebody makes it anew */
        return false;
    }
    int64_t now = desk_now_ms_of(desk);
    bool holds = d->ready && d->booked == booked && event <= d->event && now >= d->from_ms && now < d->until_ms;
    if (holds) {
        rq->who.role = role; /* for the log */
        c->rp.status = 200;
        c->rp.n = d->n;
        *ret = desk_send_ready(c, d->ready);
    }
    pthread_mutex_unlock(&d->lock);
    return holds;
}

void desk_do_today(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    struct desk_day *d = desk->day;
    uint64_t event = 0, booked, seen;
    po_err err;
    desk_live_seen(desk, &booked, &seen);
    po_status s = po_ledger_last_event(desk->options.ledger, &event, &err);
    pthread_mutex_lock(&d->lock);
    int64_t now = desk_now_ms_of(desk);
    if (s == PO_OK && (!d->text || d->event != event || now >= d->until_ms || now < d->from_ms)) {
        s = make(desk, event, now, &err);
        if (s == PO_OK) {
            make_ready(desk);
        }
    }
    if (s == PO_OK && d->event == event) { /* and still is the answer, whatever was booked meanwhile */
        d->booked = booked;
    }
    if (s == PO_OK) {
        char *tag = po_arena_text(rq->arena, d->tag);
        bool same = tag && rq->if_none_match && strstr(rq->if_none_match, tag);
        char *text = same || !tag ? NULL : po_arena_text_n(rq->arena, d->text, d->n);
        rp->n = text ? d->n : 0;
        rp->body = text;
        rp->tag = tag;
        rp->type = text ? "application/json" : NULL;
        rp->status = same ? 304 : text ? 200 : 503;
    }
    pthread_mutex_unlock(&d->lock);
    if (s != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
    } else if (rp->status == 503) {
        rp->tag = NULL;
        desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
    }
}
