/* What libmicrohttpd calls: connections and requests as they come in. SPDX-License-Identifier: Apache-2.0 */
#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "desk/files.h"
#include "desk/server.h"

enum { HEADERS_MOST = 64, UNKNOWN_MOST = 16384, ARENA_MOST = 256 << 20 };
enum {
    STEP = 256 << 10
}; /* a file on its way has to come on by so much in the time that a request has (--request-seconds) */
enum { REFUSED_MOST = 16 << 20 }; /* so much of a file that is refused is still fetched, so that the answer is read */

/* Where a connection comes from, and whether that is a proxy of the shop's own. */
static void note_address(const po_desk *desk, desk_link *link, const struct sockaddr *a)
{
    char text[INET6_ADDRSTRLEN];
    const void *bytes = !a ? NULL
                        : a->sa_family == AF_INET
                            ? (const void *)&((const struct sockaddr_in *)(const void *)a)->sin_addr
                        : a->sa_family == AF_INET6
                            ? (const void *)&((const struct sockaddr_in6 *)(const void *)a)->sin6_addr
                            : NULL;
    if (!bytes || !inet_ntop(a->sa_family, bytes, text, sizeof text) || !desk_address(text, link->address)) {
        memcpy(link->address, "?", 2);
        return;
    }
    link->proxy = desk_is_proxy(&desk->proxies, text);
}

/* The library counts connections of an address by itself, but makes no exception; with proxies they are counted here. */
enum MHD_Result desk_on_accept(void *user, const struct sockaddr *address, socklen_t n)
{
    (void)n;
    po_desk *desk = user;
    desk_link at = {0};
    int same = 0;
    if (desk->proxies.n == 0) {
        return MHD_YES;
    }
    note_address(desk, &at, address);
    pthread_mutex_lock(&desk->server->lock);
    for (const desk_link *l = desk->server->links; l && !at.proxy; l = l->next) {
        same += strcmp(l->address, at.address) == 0;
    }
    pthread_mutex_unlock(&desk->server->lock);
    return same < desk->options.connections_each ? MHD_YES : MHD_NO;
}

void desk_on_connection(void *user, struct MHD_Connection *connection, void **socket_context,
                        enum MHD_ConnectionNotificationCode code)
{
    po_desk *desk = user;
    desk_server *server = desk->server;
    if (code == MHD_CONNECTION_NOTIFY_STARTED) {
        desk_link *l = calloc(1, sizeof *l);
        *socket_context = l;
        if (!l) {
            return; /* its requests are refused */
        }
        const union MHD_ConnectionInfo *fd = desk->http.get_connection_info(connection,
                                                                            MHD_CONNECTION_INFO_CONNECTION_FD);
        const union MHD_ConnectionInfo *a = desk->http.get_connection_info(connection,
                                                                           MHD_CONNECTION_INFO_CLIENT_ADDRESS);
        l->fd = fd ? fd->connect_fd : -1;
        l->since_s = desk_seconds();
        note_address(desk, l, a ? a->client_addr : NULL);
        pthread_mutex_lock(&server->lock);
        l->next = server->links;
        if (l->next) {
            l->next->before = l;
        }
        server->links = l;
        pthread_mutex_unlock(&server->lock);
        return;
    }
    desk_link *l = *socket_context;
    if (l) {
        pthread_mutex_lock(&server->lock);
        if (l->before) {
            l->before->next = l->next;
        } else {
            server->links = l->next;
        }
        if (l->next) {
            l->next->before = l->before;
        }
        pthread_mutex_unlock(&server->lock);
        free(l);
        *socket_context = NULL;
    }
}

void *desk_on_target(void *user, const char *target, struct MHD_Connection *connection)
{
    po_desk *desk = user;
    const union MHD_ConnectionInfo *info = desk->http.get_connection_info(connection,
                                                                          MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    po_arena *arena = po_arena_new(ARENA_MOST);
    desk_context *c = arena ? po_arena_zeros(arena, 1, sizeof *c) : NULL;
    if (!c || !info || !info->socket_context) {
        po_arena_free(arena);
        return NULL;
    }
    c->desk = desk;
    c->connection = connection;
    c->link = info->socket_context;
    c->begun_us = desk_microseconds();
    c->rq.arena = arena;
    c->rq.method = "other";
    c->rq.address = c->link->address;
    c->rq.tls = desk->names.tls;
    c->rq.target = po_arena_text(arena, target);
    pthread_mutex_lock(&desk->server->lock);
    desk->server->active++;
    pthread_mutex_unlock(&desk->server->lock);
    return c;
}

void desk_on_completed(void *user, struct MHD_Connection *connection, void **context,
                       enum MHD_RequestTerminationCode why)
{
    (void)connection;
    (void)why;
    po_desk *desk = user;
    desk_context *c = *context;
    if (!c) {
        return;
    }
    desk_server *server = desk->server;
    desk_log_request(c);
    pthread_mutex_lock(&server->lock);
    c->link->phase = DESK_WAITS;
    c->link->since_s = desk_seconds();
    if (!c->rp.stream) {
        server->active--;
        pthread_cond_broadcast(&server->quiet);
    }
    pthread_mutex_unlock(&server->lock);
    desk_upload_abort(c->rq.upload); /* the line was cut, or the answer was none of its own */
    c->rq.upload = NULL;
    if (c->rp.file > 0) { /* nobody fetched it */
        close(c->rp.file - 1);
    }
    desk_request_end(&c->rq);
    *context = NULL;
    po_arena_free(c->rq.arena);
}

typedef struct headers {
    desk_request *rq;
    int n;
    const char *twice, *length, *coding, *background, *forwarded;
} headers;

static enum MHD_Result one_header(void *user, enum MHD_ValueKind kind, const char *name, const char *value)
{
    (void)kind;
    headers *h = user;
    desk_request *rq = h->rq;
    const struct {
        const char *name, **place;
    } known[] = {
        {"Host", &rq->host},
        {"Origin", &rq->origin},
        {"Sec-Fetch-Site", &rq->fetch_site},
        {"Content-Type", &rq->content_type},
        {"Cookie", &rq->cookie},
        {"X-Proveout-Token", &rq->token},
        {"X-Proveout-Background", &h->background},
        {"Last-Event-ID", &rq->last_event},
        {"Accept", &rq->accept},
        {"Accept-Encoding", &rq->accept_encoding},
        {"If-None-Match", &rq->if_none_match},
        {"X-Proveout-Name", &rq->file_name},
        {"Content-Length", &h->length},
        {"Transfer-Encoding", &h->coding},
    };
    h->n++;
    if (h->n <= HEADERS_MOST && po_text_same("Forwarded", name)) { /* several are one list: RFC 7239, section 4 */
        h->forwarded = h->forwarded ? po_arena_printf(rq->arena, "%s, %s", h->forwarded, value ? value : "")
                                    : po_arena_text(rq->arena, value ? value : "");
    }
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        if (po_text_same(known[i].name, name)) {
            if (*known[i].place) {
                h->twice = known[i].name;
            }
            *known[i].place = po_arena_text(rq->arena, value ? value : "");
        }
    }
    return MHD_YES;
}

/* False: none that counts. */
static bool length_of(const char *text, size_t *ret)
{
    size_t n = strlen(text);
    *ret = 0;
    if (n == 0 || n > 15 || strspn(text, "0123456789") != n) {
        return false;
    }
    for (; *text; text++) {
        *ret = *ret * 10 + (size_t)(*text - '0');
    }
    return true;
}

/* A reply that does not wait for the body: the connection ends with it. */
static enum MHD_Result at_once(desk_context *c)
{
    c->refused = true;
    c->closes = true;
    return desk_send(c);
}

/* A refusal waits for a body that is short, so that whoever still sends it reads the answer. */
static enum MHD_Result refuse_bytes(desk_context *c)
{
    c->refused = true;
    c->closes = true;
    return c->declared > REFUSED_MOST ? desk_send(c) : MHD_YES;
}

static enum MHD_Result begin_bytes(desk_context *c, bool with_length)
{
    if (!with_length) {
        desk_problem(&c->rq, &c->rp, 411, "Content-Length", "a file comes with its length");
        return at_once(c);
    }
    if (!desk_admit(c->desk, &c->rq, &c->rp)) {
        return refuse_bytes(c);
    }
    c->rq.upload = desk_upload_begin(c->desk, &c->rq, &c->rp, c->declared);
    return c->rq.upload ? MHD_YES : refuse_bytes(c);
}

/* Bytes that come on keep the clock from closing the connection. */
static void note_progress(desk_context *c, size_t n)
{
    c->fresh += n;
    if (c->fresh >= STEP) {
        c->fresh = 0;
        pthread_mutex_lock(&c->desk->server->lock);
        c->link->since_s = desk_seconds();
        pthread_mutex_unlock(&c->desk->server->lock);
    }
}

/* Whose request it is, and how they came: of whom the shop's own proxy sends, by what it says; nobody else is believed. */
static void put_address(desk_context *c, const char *forwarded)
{
    desk_told told;
    if (forwarded && c->link->proxy && desk_forwarded(forwarded, &c->desk->proxies, &told)) {
        const char *own = told.address[0] ? po_arena_text(c->rq.arena, told.address) : NULL;
        c->rq.address = own ? own : c->rq.address;
        c->rq.tls = c->rq.tls || told.https;
    }
}

static enum MHD_Result look_at_headers(desk_context *c, const char *method)
{
    desk_request *rq = &c->rq;
    desk_reply *rp = &c->rp;
    headers h = {.rq = rq};
    c->seen = true;
    rq->method = po_arena_text(rq->arena, method);
    c->desk->http.get_connection_values(c->connection, MHD_HEADER_KIND, one_header, &h);
    rq->background = h.background != NULL;
    put_address(c, h.forwarded);
    pthread_mutex_lock(&c->desk->server->lock);
    bool stopping = c->desk->server->stopping;
    pthread_mutex_unlock(&c->desk->server->lock);
    if (!rq->method || !rq->target) {
        return MHD_NO;
    }
    if (stopping) {
        desk_problem(rq, rp, 503, NULL, "the server is stopping; try again in a moment");
        rp->retry_seconds = 5;
        return at_once(c);
    }
    if (h.n > HEADERS_MOST) {
        desk_problem(rq, rp, 431, NULL, "more than %d header fields", HEADERS_MOST);
        return at_once(c);
    }
    if (h.twice) {
        desk_problem(rq, rp, 400, h.twice, "%s stands there twice", h.twice);
        return at_once(c);
    }
    if (h.coding) {
        desk_problem(rq, rp, 411, "Transfer-Encoding", "a body comes with its Content-Length");
        return at_once(c);
    }
    if (h.length && !length_of(h.length, &c->declared)) {
        desk_problem(rq, rp, 400, "Content-Length", "a number of bytes is wanted");
        return at_once(c);
    }
    c->refused = !desk_route(&c->desk->names, rq, rp);
    if (!c->refused && rq->route->body_most == DESK_BYTES) {
        return begin_bytes(c, h.length != NULL);
    }
    size_t most = rq->route ? rq->route->body_most : UNKNOWN_MOST;
    most = most == DESK_BYTES ? REFUSED_MOST : most;
    if (c->declared > most) {
        desk_problem(rq, rp, 413, "body", "a body here has at most %zu bytes", most);
        return at_once(c);
    }
    if (!c->refused && c->declared > UNKNOWN_MOST) { /* a large one is kept for those only who may */
        c->refused = !desk_admit(c->desk, rq, rp);
    }
    if (!c->refused && c->declared > 0) {
        c->buffer = po_arena_zeros(rq->arena, c->declared, 1);
        if (!c->buffer) {
            desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
            return at_once(c);
        }
    }
    return MHD_YES;
}

enum MHD_Result desk_on_request(void *user, struct MHD_Connection *connection, const char *url, const char *method,
                                const char *version, const char *data, size_t *n, void **context)
{
    (void)user;
    (void)connection;
    (void)url;
    (void)version;
    desk_context *c = *context;
    if (!c) {
        return MHD_NO;
    }
    if (!c->seen) {
        return look_at_headers(c, method);
    }
    if (*n > 0) {
        if (c->buffer && *n <= c->declared - c->received) {
            memcpy(c->buffer + c->received, data, *n);
        }
        if (c->rq.upload && !desk_upload_take(c->rq.upload, data, *n)) {
            desk_upload_abort(c->rq.upload);
            c->rq.upload = NULL;
            desk_problem(&c->rq, &c->rp, 507, "body", "the desk's computer could not keep the file; tell the desk");
            c->refused = true;
            c->closes = true;
        }
        note_progress(c, *n);
        c->received += *n;
        *n = 0;
        return MHD_YES;
    }
    if (c->done || c->refused) {
        return desk_send(c);
    }
    enum MHD_Result sent;
    if (desk_day_send(c, &sent)) {
        return sent;
    }
    c->rq.body = c->buffer;
    c->rq.n_body = !c->buffer ? 0 : c->received < c->declared ? c->received : c->declared;
    if (!desk_workers_take(c->desk->server, c)) {
        desk_problem(&c->rq, &c->rp, 503, NULL, "too many wait already; try again in a moment");
        c->rp.retry_seconds = 2;
        return desk_send(c);
    }
    return MHD_YES;
}
