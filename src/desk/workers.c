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

static void work(desk_server *server, desk_line *line)
{
    pthread_mutex_lock(&server->lock);
    for (desk_context *c; (c = pull(server, line));) {
        pthread_mutex_unlock(&server->lock);
        if (desk_admit(c->desk, &c->rq, &c->rp)) {
            desk_answer(c->desk, &c->rq, &c->rp);
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
