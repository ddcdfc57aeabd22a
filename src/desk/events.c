/* Live events: one thread looks at the book, streams sleep. SPDX-License-Identifier: Apache-2.0
 *
 * Server-sent events (WHATWG HTML, 9.2). A stream is a connection that is set aside until there is something to send: no
 * thread and no turn of the network's loop. One thread looks four times a second at the number of the last event, so acts of
 * other programs are seen too; an act that was booked here wakes it at once. The last events are kept in a ring; whoever comes back
 * after longer is told to load all anew ("reload"). */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "desk/desk_inside.h"

enum { LOOK_MS = 250, HEARTBEAT_S = 15, READ_AT_ONCE = 256, HOLDS_S = 5, LINE_MOST = 128 };

typedef struct stream {
    struct stream *next, *before;
    struct desk_live *live;
    struct MHD_Connection *connection;
    desk_who who;
    uint64_t at; /* the last event that was sent */
    bool asleep, greeted, over, said_over;
    int64_t sent_s, checked_s;
} stream;

struct desk_live {
    po_desk *desk;
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t wake;
    bool running, poked, stopping;
    uint64_t booked; /* how often it was poked */
    stream *first;
    int n;
    po_news ring[DESK_NEWS];
    size_t n_ring, begin; /* begin: where the oldest stands */
    uint64_t last;
};

/* With the lock held. */
static void keep(desk_live *l, const po_news *news, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        l->ring[(l->begin + l->n_ring) % DESK_NEWS] = news[i];
        if (l->n_ring < DESK_NEWS) {
            l->n_ring++;
        } else {
            l->begin = (l->begin + 1) % DESK_NEWS;
        }
        l->last = news[i].event;
    }
}

static bool has_something(const desk_live *l, const stream *s, int64_t now)
{
    return s->over || !s->greeted || s->at != l->last || now - s->sent_s >= HEARTBEAT_S;
}

static ssize_t stream_read(void *user, uint64_t position, char *buffer, size_t most)
{
    (void)position;
    stream *s = user;
    desk_live *l = s->live;
    size_t n = 0;
    int64_t now = desk_seconds();
    pthread_mutex_lock(&l->lock);
    if (s->over) {
        pthread_mutex_unlock(&l->lock);
        return MHD_CONTENT_READER_END_OF_STREAM;
    }
    if (!s->greeted) {
        n += (size_t)snprintf(buffer, most, "retry: 2000\n\n");
        s->greeted = true;
        s->sent_s = now;
    }
    uint64_t oldest = l->n_ring ? l->ring[l->begin].event : l->last + 1;
    if (s->at > l->last || s->at + 1 < oldest) {
        n += (size_t)snprintf(buffer + n, most - n, "id: %llu\nevent: reload\ndata: {\"event\":%llu}\n\n",
                              (unsigned long long)l->last, (unsigned long long)l->last);
        s->at = l->last;
    }
    while (s->at < l->last && most - n > LINE_MOST) {
        const po_news *news = &l->ring[(l->begin + (size_t)(s->at + 1 - oldest)) % DESK_NEWS];
        n += (size_t)snprintf(buffer + n, most - n,
                              s->who.role >= PO_STANDS_AS_DESK ? "id: %llu\ndata: {\"event\":%llu,\"act\":\"%s\"}\n\n"
                                                               : "id: %llu\ndata: {\"event\":%llu}\n\n",
                              (unsigned long long)news->event, (unsigned long long)news->event, news->act);
        s->at = news->event;
    }
    if (n == 0 && now - s->sent_s >= HEARTBEAT_S) {
        n = (size_t)snprintf(buffer, most, ": still here\n\n");
    }
    if (n > 0) {
        s->sent_s = now;
    } else {
        s->asleep = true;
        l->desk->http.suspend_connection(s->connection);
    }
    pthread_mutex_unlock(&l->lock);
    return (ssize_t)n;
}

static void stream_free(void *user)
{
    stream *s = user;
    desk_live *l = s->live;
    pthread_mutex_lock(&l->lock);
    if (s->before) {
        s->before->next = s->next;
    } else {
        l->first = s->next;
    }
    if (s->next) {
        s->next->before = s->before;
    }
    l->n--;
    pthread_mutex_unlock(&l->lock);
    free(s);
}

/* Wake those who have something to get. With the lock held. */
static void wake_streams(desk_live *l)
{
    int64_t now = desk_seconds();
    for (stream *s = l->first; s; s = s->next) {
        if (s->asleep && (l->stopping || has_something(l, s, now))) {
            s->over = s->over || l->stopping;
            s->asleep = false;
            l->desk->http.resume_connection(s->connection);
        } else if (l->stopping) {
            s->over = true;
        }
    }
}

/* Streams whose sessions are over end. A few at a time, outside the lock, for the book is asked. */
static void check_sessions(desk_live *l)
{
    enum { AT_ONCE = 64 };
    unsigned char keys[AT_ONCE][32];
    int n = 0;
    int64_t now = desk_seconds();
    pthread_mutex_lock(&l->lock);
    for (stream *s = l->first; s && n < AT_ONCE; s = s->next) {
        if (now - s->checked_s >= HOLDS_S) {
            bool known = false;
            s->checked_s = now;
            for (int i = 0; i < n && !known; i++) {
                known = memcmp(keys[i], s->who.key, 32) == 0;
            }
            if (!known) {
                memcpy(keys[n++], s->who.key, 32);
            }
        }
    }
    pthread_mutex_unlock(&l->lock);
    for (int i = 0; i < n; i++) {
        if (desk_session_holds(l->desk, keys[i])) {
            continue;
        }
        pthread_mutex_lock(&l->lock);
        for (stream *s = l->first; s; s = s->next) {
            s->over = s->over || memcmp(s->who.key, keys[i], 32) == 0;
        }
        pthread_mutex_unlock(&l->lock);
    }
}

static void *look(void *user)
{
    desk_live *l = user;
    po_news news[READ_AT_ONCE];
    pthread_mutex_lock(&l->lock);
    while (!l->stopping) {
        uint64_t last = l->last;
        size_t n = 0;
        l->poked = false;
        pthread_mutex_unlock(&l->lock);
        po_err err;
        if (po_ledger_news(l->desk->options.ledger, last, READ_AT_ONCE, news, &n, &err) != PO_OK) {
            n = 0; /* a book that is busy is asked again in a moment */
        }
        check_sessions(l);
        pthread_mutex_lock(&l->lock);
        keep(l, news, n);
        wake_streams(l);
        if (n == READ_AT_ONCE || l->poked || l->stopping) {
            continue;
        }
        struct timespec until;
        clock_gettime(CLOCK_MONOTONIC, &until);
        until.tv_nsec += LOOK_MS * 1000000L;
        until.tv_sec += until.tv_nsec / 1000000000L;
        until.tv_nsec %= 1000000000L;
        pthread_cond_timedwait(&l->wake, &l->lock, &until);
    }
    wake_streams(l);
    pthread_mutex_unlock(&l->lock);
    return NULL;
}

po_status desk_live_open(po_desk *desk, po_err *err)
{
    desk_live *l = calloc(1, sizeof *l);
    if (!l) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    l->desk = desk;
    pthread_mutex_init(&l->lock, NULL);
    pthread_condattr_t attr;
    pthread_condattr_init(&attr);
    pthread_condattr_setclock(&attr, CLOCK_MONOTONIC);
    pthread_cond_init(&l->wake, &attr);
    pthread_condattr_destroy(&attr);
    desk->live = l;
    uint64_t last = 0;
    po_status s = po_ledger_last_event(desk->options.ledger, &last, err);
    size_t n = 0;
    po_news news[DESK_NEWS];
    s = s == PO_OK
            ? po_ledger_news(desk->options.ledger, last > DESK_NEWS ? last - DESK_NEWS : 0, DESK_NEWS, news, &n, err)
            : s;
    if (s == PO_OK) {
        keep(l, news, n);
        l->running = pthread_create(&l->thread, NULL, look, l) == 0;
        s = l->running ? PO_OK : po_fail(err, PO_E_IO, "no thread could be started");
    }
    return s;
}

void desk_live_poke(po_desk *desk)
{
    desk_live *l = desk->live;
    pthread_mutex_lock(&l->lock);
    l->poked = true;
    l->booked++;
    pthread_cond_signal(&l->wake);
    pthread_mutex_unlock(&l->lock);
}

void desk_live_seen(po_desk *desk, uint64_t *ret_booked, uint64_t *ret_event)
{
    desk_live *l = desk->live;
    pthread_mutex_lock(&l->lock);
    *ret_booked = l->booked;
    *ret_event = l->last;
    pthread_mutex_unlock(&l->lock);
}

struct MHD_Response *desk_live_response(po_desk *desk, struct MHD_Connection *connection, const desk_who *who,
                                        uint64_t after)
{
    desk_live *l = desk->live;
    stream *s = calloc(1, sizeof *s);
    if (!s) {
        return NULL;
    }
    s->live = l;
    s->connection = connection;
    s->who = *who;
    s->checked_s = desk_seconds();
    pthread_mutex_lock(&l->lock);
    s->at = after == UINT64_MAX ? l->last : after;
    s->over = l->stopping;
    s->next = l->first;
    if (l->first) {
        l->first->before = s;
    }
    l->first = s;
    l->n++;
    pthread_mutex_unlock(&l->lock);
    struct MHD_Response *r = desk->http.create_response_from_callback(MHD_SIZE_UNKNOWN, 4096, stream_read, s,
                                                                      stream_free);
    if (!r) {
        stream_free(s);
    }
    return r;
}

int desk_live_streams(po_desk *desk)
{
    pthread_mutex_lock(&desk->live->lock);
    int n = desk->live->n;
    pthread_mutex_unlock(&desk->live->lock);
    return n;
}

void desk_live_stop(po_desk *desk)
{
    desk_live *l = desk->live;
    if (!l || !l->running) {
        return;
    }
    pthread_mutex_lock(&l->lock);
    l->stopping = true;
    pthread_cond_signal(&l->wake);
    pthread_mutex_unlock(&l->lock);
    pthread_join(l->thread, NULL);
    l->running = false;
}

void desk_live_close(po_desk *desk)
{
    desk_live *l = desk->live;
    if (l) {
        pthread_cond_destroy(&l->wake);
        pthread_mutex_destroy(&l->lock);
        free(l);
        desk->live = NULL;
    }
}
