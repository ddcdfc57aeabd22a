/* Replies onto the network, and the log's line about each. SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "desk/server.h"

int64_t desk_microseconds(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
}

static void put_line(po_desk *desk, const char *line)
{
    if (desk->server) {
        pthread_mutex_lock(&desk->server->log_lock);
    }
    desk->options.log(desk->options.user, line);
    if (desk->server) {
        pthread_mutex_unlock(&desk->server->log_lock);
    }
}

void desk_log(po_desk *desk, json_t *object)
{
    struct timespec t;
    clock_gettime(CLOCK_REALTIME, &t);
    char *line = NULL;
    if (object && desk->options.log) {
        json_object_set_new(object, "at_ms", json_integer((json_int_t)t.tv_sec * 1000 + t.tv_nsec / 1000000));
        line = json_dumps(object, JSON_COMPACT);
    }
    json_decref(object);
    if (line) {
        put_line(desk, line);
        free(line);
    }
}

/* Nothing that anybody sent stands in the log: no address, no number of a member, no path but those of the table. */
void desk_log_request(desk_context *c)
{
    static const char *const methods[] = {"GET", "HEAD", "POST", "OPTIONS", "PUT", "DELETE", "PATCH"};
    const char *method = "other";
    for (size_t i = 0; i < sizeof methods / sizeof methods[0]; i++) {
        method = c->rq.method && strcmp(methods[i], c->rq.method) == 0 ? methods[i] : method;
    }
    if (!c->desk->options.log) {
        return;
    }
    struct timespec t;
    clock_gettime(CLOCK_REALTIME, &t);
    char line[400]; /* every word of it is one of ours, without a quote in it; made by hand, for each request has one */
    int n = snprintf(line, sizeof line,
                     "{\"what\":\"request\",\"method\":\"%s\",\"route\":\"%s\",\"status\":%d,\"us\":%lld,\"bytes\":%zu,"
                     "\"role\":\"%s\"%s%s%s,\"at_ms\":%lld}",
                     method, c->rq.route ? c->rq.route->pattern : "none", c->rp.status,
                     (long long)(desk_microseconds() - c->begun_us), c->rp.n, desk_role_word(c->rq.who.role),
                     c->rp.act[0] ? ",\"name\":\"" : "", c->rp.act, c->rp.act[0] ? "\"" : "",
                     (long long)t.tv_sec * 1000 + t.tv_nsec / 1000000);
    if (n > 0 && (size_t)n < sizeof line) {
        put_line(c->desk, line);
    }
}

static const struct {
    const char *name, *value;
} always[] = {
    {"Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
                                "font-src 'self'; connect-src 'self'; manifest-src 'self'; "
                                "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"},
    {"X-Content-Type-Options", "nosniff"},
    {"X-Frame-Options", "DENY"},
    {"Referrer-Policy", "no-referrer"},
    {"Cross-Origin-Resource-Policy", "same-origin"},
    {"Cross-Origin-Opener-Policy", "same-origin"},
};

static void put_headers(const desk_http *http, struct MHD_Response *r, const desk_reply *rp)
{
    for (size_t i = 0; i < sizeof always / sizeof always[0]; i++) {
        http->add_response_header(r, always[i].name, i == 0 && rp->policy ? rp->policy : always[i].value);
    }
    const struct {
        const char *name, *value;
    } some[] = {{"Cache-Control", rp->cache ? rp->cache : "no-store"},
                {"ETag", rp->tag},
                {"Content-Encoding", rp->coding},
                {"Vary", rp->vary},
                {"Content-Type", rp->type}};
    for (size_t i = 0; i < sizeof some / sizeof some[0]; i++) {
        if (some[i].value) {
            http->add_response_header(r, some[i].name, some[i].value);
        }
    }
}

struct MHD_Response *desk_ready_response(const desk_http *http, const desk_reply *rp)
{
    struct MHD_Response *r = http->create_response_from_buffer(rp->n, (void *)(uintptr_t)rp->body,
                                                               MHD_RESPMEM_MUST_COPY);
    if (r) {
        put_headers(http, r, rp);
    }
    return r;
}

enum MHD_Result desk_send_ready(desk_context *c, struct MHD_Response *r)
{
    desk_server *server = c->desk->server;
    pthread_mutex_lock(&server->lock);
    c->link->phase = DESK_SENDS;
    c->link->since_s = desk_seconds();
    pthread_mutex_unlock(&server->lock);
    return c->desk->http.queue_response(c->connection, (unsigned)c->rp.status, r);
}

enum MHD_Result desk_send(desk_context *c)
{
    const desk_http *http = &c->desk->http;
    desk_reply *rp = &c->rp;
    struct MHD_Response *r = NULL;
    bool head = strcmp(c->rq.method, "HEAD") == 0;
    if (rp->stream && !head) {
        r = desk_live_response(c->desk, c->connection, &c->rq.who, rp->after);
        if (!r) {
            desk_problem(&c->rq, rp, 503, NULL, "memory ran out; try again");
        }
    }
    bool streams = r != NULL;
    if (!r && rp->file > 0) { /* the response closes it */
        r = http->create_response_from_fd(rp->n, rp->file - 1);
        rp->file = r ? 0 : rp->file;
    }
    if (!r) {
        r = http->create_response_from_buffer(rp->n, (void *)(uintptr_t)(rp->body ? rp->body : ""),
                                              MHD_RESPMEM_PERSISTENT);
    }
    if (!r) {
        return MHD_NO;
    }
    put_headers(http, r, rp);
    if (rp->save_as) { /* a name of our own making: nothing in it to escape */
        const char *saves = po_arena_printf(c->rq.arena, "attachment; filename=\"%s\"", rp->save_as);
        http->add_response_header(r, "Content-Disposition", saves ? saves : "attachment");
    }
    char number[24];
    if (rp->allow) {
        http->add_response_header(r, "Allow", rp->allow);
    }
    if (rp->cookie[0]) {
        http->add_response_header(r, "Set-Cookie", rp->cookie);
    }
    if (rp->retry_seconds > 0) {
        snprintf(number, sizeof number, "%d", rp->retry_seconds);
        http->add_response_header(r, "Retry-After", number);
    }
    if (c->closes) {
        http->add_response_header(r, "Connection", "close");
    }
    desk_server *server = c->desk->server;
    pthread_mutex_lock(&server->lock);
    if (streams) { /* no longer waited for when the server stops: it ends them by itself */
        server->active--;
        pthread_cond_broadcast(&server->quiet);
    }
    c->link->phase = streams ? DESK_STREAMS : DESK_SENDS;
    c->link->since_s = desk_seconds();
    pthread_mutex_unlock(&server->lock);
    rp->stream = streams;
    enum MHD_Result done = http->queue_response(c->connection, (unsigned)rp->status, r);
    http->destroy_response(r);
    return done;
}
