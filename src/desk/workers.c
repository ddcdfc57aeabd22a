/* Those who answer. SPDX-License-Identifier: Apache-2.0 */
#include "desk/server.h"

static void push(desk_line *line, desk_context *c)
{
    c->next = NULL;
    *line->end = c;
    line->end = &c->next;
    line->n++;
    pthread_cond_signal(&line->more);
}

/* The first in line, waiting for one; NULL: it is time to end. With the lock held. */
static desk_context *pull(desk_server *server, desk_line *line)
{
    while (!line->first && !server->workers_end) {
        pthread_cond_wait(&line->more, &server->lock);
    }
    desk_context *c = line->first;
    if (c) {
        line->first = c->next;
        line->n--;
        if (!line->first) {
            line->end = &line->first;
        }
    }
    return c;
}

/* Put off, if nothing changed meanwhile and there is time. With the lock held. */
static bool put_off(desk_server *server, desk_context *c)
{
    bool waits = c->rp.later && !server->stopping && !server->workers_end && desk_seconds() < c->rq.until_s;
    if (!waits) {
        return false;
    }
    if (c->changes != server->changes) { /* it may be there by now */
        push(&server->quick, c);
    } else {
        c->next = server->later;
        server->later = c;
    }
    return true;
}

void desk_workers_again(desk_server *server, bool all)
{
    pthread_mutex_lock(&server->lock);
    server->changes += all;
    for (desk_context **at = &server->later; *at;) {
        desk_context *c = *at;
        if (all || server->stopping || desk_seconds() >= c->rq.until_s) {
            *at = c->next;
            push(&server->quick, c);
        } else {
            at = &c->next;
        }
    }
    pthread_mutex_unlock(&server->lock);
}

void desk_changed(po_desk *desk)
{
    if (desk->server) {
        desk_workers_again(desk->server, true);
    }
}

static void work(desk_server *server, desk_line *line)
{
    pthread_mutex_lock(&server->lock);
    for (desk_context *c; (c = pull(server, line));) {
        c->changes = server->changes;
        pthread_mutex_unlock(&server->lock);
        c->rp = (desk_reply){0};
        if (desk_admit(c->desk, &c->rq, &c->rp)) {
            desk_answer(c->desk, &c->rq, &c->rp);
        }
        pthread_mutex_lock(&server->lock);
        bool later = put_off(server, c);
        pthread_mutex_unlock(&server->lock);
        if (later) {
            pthread_mutex_lock(&server->lock);
            continue;
        }
        c->done = true;
        c->desk->http.resume_connection(c->connection); /* from here on the context is the network's again */
        pthread_mutex_lock(&server->lock);
    }
    pthread_mutex_unlock(&server->lock);
}

static void *work_quick(void *server)
{
    work(server, &((desk_server *)server)->quick);
    return NULL;
}

static void *work_slow(void *server)
{
    work(server, &((desk_server *)server)->slow);
    return NULL;
}

bool desk_workers_begin(desk_server *server)
{
    for (int i = 0; i <= DESK_WORKERS; i++) {
        if (pthread_create(&server->workers[i], NULL, i == 0 ? work_slow : work_quick, server) != 0) {
            return false;
        }
        server->n_workers++;
    }
    return true;
}

void desk_workers_end(desk_server *server)
{
    pthread_mutex_lock(&server->lock);
    server->workers_end = true;
    pthread_cond_broadcast(&server->quick.more);
    pthread_cond_broadcast(&server->slow.more);
    pthread_mutex_unlock(&server->lock);
    for (int i = 0; i < server->n_workers; i++) {
        pthread_join(server->workers[i], NULL);
    }
    server->n_workers = 0;
}

bool desk_workers_take(desk_server *server, desk_context *context)
{
    desk_line *line = context->rq.route->slow ? &server->slow : &server->quick;
    pthread_mutex_lock(&server->lock);
    bool room = line->n < line->most && !server->workers_end;
    if (room) {
        context->link->phase = DESK_WORKS;
        context->desk->http.suspend_connection(context->connection);
        push(line, context);
    }
    pthread_mutex_unlock(&server->lock);
    return room;
}
