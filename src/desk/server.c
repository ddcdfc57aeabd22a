/* The listening socket, libmicrohttpd, the clock that closes slow connections. SPDX-License-Identifier: Apache-2.0 */
#include "desk/bench.h"
#include "desk/nest_line.h"
#include "desk/server.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { HEADER_MEMORY = 32768, KEY_MOST = 1 << 20, SEND_TIMES = 4 };

/* "ADDRESS:PORT" or "[ADDRESS]:PORT". */
static po_status parse_address(const char *text, struct sockaddr_storage *ret, socklen_t *ret_n, char host[64],
                               po_err *err)
{
    const char *colon = strrchr(text, ':');
    bool six = text[0] == '[';
    size_t n = colon ? (size_t)(colon - text) : 0;
    if (!colon || n == 0 || n > 60 || (six && (n < 4 || colon[-1] != ']'))) {
        return po_fail_at(err, PO_E_RANGE, "listen", 0, 0,
                          "%.80s: wanted ADDRESS:PORT, such as 127.0.0.1:8088 or [::1]:8088", text);
    }
    memcpy(host, text + six, n - 2 * six);
    host[n - 2 * six] = 0;
    if (strcmp(host, "localhost") == 0) {
        memcpy(host, "127.0.0.1", 10);
    }
    long port = 0;
    size_t digits = strlen(colon + 1);
    for (const char *p = colon + 1; *p; p++) {
        port = *p >= '0' && *p <= '9' && port <= 65535 ? port * 10 + (*p - '0') : 65536;
    }
    struct sockaddr_in a4 = {.sin_family = AF_INET, .sin_port = htons((uint16_t)port)};
    struct sockaddr_in6 a6 = {.sin6_family = AF_INET6, .sin6_port = htons((uint16_t)port)};
    memset(ret, 0, sizeof *ret);
    if (digits == 0 || port > 65535) {
        return po_fail_at(err, PO_E_RANGE, "listen", 0, 0, "%.80s: a port is 0 to 65535", text);
    }
    if (!six && inet_pton(AF_INET, host, &a4.sin_addr) == 1) {
        memcpy(ret, &a4, sizeof a4);
        *ret_n = sizeof a4;
        return PO_OK;
    }
    if (six && inet_pton(AF_INET6, host, &a6.sin6_addr) == 1) {
        memcpy(ret, &a6, sizeof a6);
        *ret_n = sizeof a6;
        return PO_OK;
    }
    return po_fail_at(err, PO_E_RANGE, "listen", 0, 0, "%.80s: wanted an address in numbers, not a name", text);
}

static po_status listen_at(po_desk *desk, const char *text, int *ret_fd, po_err *err)
{
    struct sockaddr_storage a;
    socklen_t n = 0;
    char host[64];
    po_status s = parse_address(text, &a, &n, host, err);
    if (s != PO_OK) {
        return s;
    }
    int fd = socket(a.ss_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0), on = 1;
    if (fd >= 0) {
        setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
        if (a.ss_family == AF_INET6) {
            setsockopt(fd, IPPROTO_IPV6, IPV6_V6ONLY, &on, sizeof on);
        }
    }
    if (fd < 0 || bind(fd, (struct sockaddr *)&a, n) != 0 || listen(fd, 512) != 0) {
        int why = errno;
        if (fd >= 0) {
            close(fd);
        }
        return po_fail_at(err, why == EADDRINUSE ? PO_E_CONFLICT : PO_E_IO, "listen", 0, 0, "%.80s: %s", text,
                          why == EADDRINUSE ? "another program listens there; take another port with --listen"
                                            : strerror(why));
    }
    getsockname(fd, (struct sockaddr *)&a, &n);
    in_port_t port = a.ss_family == AF_INET ? ((struct sockaddr_in *)(void *)&a)->sin_port
                                            : ((struct sockaddr_in6 *)(void *)&a)->sin6_port;
    bool six = a.ss_family == AF_INET6;
    const char *shown = strcmp(host, "0.0.0.0") == 0 || strcmp(host, "::") == 0 ? desk->own_host : host;
    snprintf(desk->url, sizeof desk->url, "http%s://%s%s%s:%u/", desk->names.tls ? "s" : "",
             six && shown == host ? "[" : "", shown, six && shown == host ? "]" : "", (unsigned)ntohs(port));
    *ret_fd = fd;
    return PO_OK;
}

static po_status read_pem(const char *path, const char *option, char **ret, po_err *err)
{
    struct stat st;
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0 || fstat(fd, &st) != 0 || !S_ISREG(st.st_mode) || st.st_size <= 0 || st.st_size > KEY_MOST) {
        int why = errno;
        po_status code = fd < 0 && why == ENOENT ? PO_E_NOTFOUND : PO_E_IO;
        const char *says = fd < 0 ? strerror(why) : "no plain file of at most 1 MB";
        if (fd >= 0) {
            close(fd);
        }
        return po_fail_at(err, code, option, 0, 0, "%.150s: %s", path, says);
    }
    size_t size = (size_t)st.st_size, n = 0;
    char *text = calloc(1, size + 1);
    for (ssize_t one; text && n < size && (one = read(fd, text + n, size - n)) > 0; n += (size_t)one) {
    }
    close(fd);
    if (!text || n < size) {
        free(text);
        return po_fail_at(err, PO_E_IO, option, 0, 0, "%.150s: it could not be read whole", path);
    }
    *ret = text;
    return PO_OK;
}

/* Whoever sends a request, or fetches an answer, drop by drop: the connection ends. */
static void *watch_clock(void *user)
{
    desk_server *server = user;
    const po_desk_options *o = &server->desk->options;
    pthread_mutex_lock(&server->lock);
    while (server->clock_runs) {
        int64_t now = desk_seconds();
        for (desk_link *l = server->links; l; l = l->next) {
            int most = l->phase == DESK_WAITS   ? o->request_seconds
                       : l->phase == DESK_SENDS ? o->request_seconds * SEND_TIMES
                                                : 0;
            if (most > 0 && l->fd >= 0 && now - l->since_s > most) {
                shutdown(l->fd, SHUT_RDWR);
            }
        }
        pthread_mutex_unlock(&server->lock);
        desk_workers_again(server, false);
        pthread_mutex_lock(&server->lock);
        struct timespec until;
        clock_gettime(CLOCK_MONOTONIC, &until);
        until.tv_sec++;
        pthread_cond_timedwait(&server->quiet, &server->lock, &until);
    }
    pthread_mutex_unlock(&server->lock);
    return NULL;
}

static po_status start_daemon(po_desk *desk, po_err *err)
{
    desk_server *s = desk->server;
    const po_desk_options *o = &desk->options;
    unsigned flags = MHD_USE_EPOLL_INTERNAL_THREAD | MHD_ALLOW_SUSPEND_RESUME | (desk->names.tls ? MHD_USE_TLS : 0);
    struct MHD_OptionItem options[16];
    int n = 0;
#define OPTION(name, number, pointer) options[n++] = (struct MHD_OptionItem){name, (intptr_t)(number), pointer}
    OPTION(MHD_OPTION_LISTEN_SOCKET, s->listener, NULL);
    OPTION(MHD_OPTION_CONNECTION_MEMORY_LIMIT, HEADER_MEMORY, NULL);
    OPTION(MHD_OPTION_CONNECTION_LIMIT, o->connections, NULL);
    OPTION(MHD_OPTION_PER_IP_CONNECTION_LIMIT, desk->proxies.n > 0 ? 0 : o->connections_each,
           NULL); /* or by desk_on_accept */
    OPTION(MHD_OPTION_CONNECTION_TIMEOUT, o->request_seconds, NULL);
    OPTION(MHD_OPTION_STRICT_FOR_CLIENT, 1, NULL);
    OPTION(MHD_OPTION_SIGPIPE_HANDLED_BY_APP, 1, NULL);
    OPTION(MHD_OPTION_URI_LOG_CALLBACK, (uintptr_t)desk_on_target, desk);
    OPTION(MHD_OPTION_NOTIFY_COMPLETED, (uintptr_t)desk_on_completed, desk);
    OPTION(MHD_OPTION_NOTIFY_CONNECTION, (uintptr_t)desk_on_connection, desk);
    if (desk->names.tls) {
        OPTION(MHD_OPTION_HTTPS_MEM_CERT, 0, s->certificate);
        OPTION(MHD_OPTION_HTTPS_MEM_KEY, 0, s->key);
        OPTION(MHD_OPTION_HTTPS_PRIORITIES, 0, (void *)(uintptr_t) "NORMAL:-VERS-ALL:+VERS-TLS1.3:+VERS-TLS1.2");
    }
    OPTION(MHD_OPTION_END, 0, NULL);
#undef OPTION
    s->daemon = desk->http.start_daemon(flags, 0, desk_on_accept, desk, desk_on_request, desk, MHD_OPTION_ARRAY,
                                        options, MHD_OPTION_END);
    if (!s->daemon) {
        return desk->names.tls ? po_fail_at(err, PO_E_RANGE, "cert", 0, 0,
                                            "the server did not start; are these a certificate and its key, in PEM?")
                               : po_fail(err, PO_E_IO, "the server did not start");
    }
    return PO_OK;
}

po_status desk_server_open(po_desk *desk, po_err *err)
{
    desk_server *s = calloc(1, sizeof *s);
    const po_desk_options *o = &desk->options;
    if (!s) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    s->desk = desk;
    s->listener = -1;
    s->quick.end = &s->quick.first;
    s->slow.end = &s->slow.first;
    s->quick.most = DESK_LINE_MOST;
    s->slow.most = DESK_SLOW_MOST;
    pthread_mutex_init(&s->lock, NULL);
    pthread_mutex_init(&s->log_lock, NULL);
    pthread_condattr_t attr;
    pthread_condattr_init(&attr);
    pthread_condattr_setclock(&attr, CLOCK_MONOTONIC);
    pthread_cond_init(&s->quiet, &attr);
    pthread_condattr_destroy(&attr);
    pthread_cond_init(&s->quick.more, NULL);
    pthread_cond_init(&s->slow.more, NULL);
    desk->server = s;
    po_status status = PO_OK;
    if (desk->names.tls) {
        if (desk->http.is_feature_supported(MHD_FEATURE_TLS) != MHD_YES) {
            return po_fail(err, PO_E_UNSUPPORTED,
                           "the installed libmicrohttpd was made without TLS; put a proxy before it");
        }
        status = read_pem(o->certificate, "cert", &s->certificate, err);
        status = status == PO_OK ? read_pem(o->key, "key", &s->key, err) : status;
    }
    status = status == PO_OK ? listen_at(desk, o->listen, &s->listener, err) : status;
    if (status == PO_OK && !desk_workers_begin(s)) {
        status = po_fail(err, PO_E_IO, "no threads could be started");
    }
    if (status == PO_OK) {
        s->clock_runs = true; /* before its thread can look */
        if (pthread_create(&s->clock, NULL, watch_clock, s) != 0) {
            s->clock_runs = false;
            status = po_fail(err, PO_E_IO, "no threads could be started");
        } else {
            status = start_daemon(desk, err);
        }
    }
    return status;
}

bool desk_server_stops(const po_desk *desk)
{
    pthread_mutex_lock(&desk->server->lock);
    bool stops = desk->server->stopping;
    pthread_mutex_unlock(&desk->server->lock);
    return stops;
}

/* The network's thread sends last answers and the ends of streams; whoever does not fetch them is not waited for long. */
static void wait_for_sending(po_desk *desk)
{
    enum { TURNS = 200, TURN_NS = 10000000 };
    desk_server *s = desk->server;
    for (int i = 0; i < TURNS; i++) {
        pthread_mutex_lock(&s->lock);
        int active = s->active;
        pthread_mutex_unlock(&s->lock);
        if (active == 0 && desk_live_streams(desk) == 0) {
            return;
        }
        nanosleep(&(struct timespec){.tv_nsec = TURN_NS}, NULL);
    }
}

void desk_server_close(po_desk *desk)
{
    desk_server *s = desk->server;
    if (!s) {
        return;
    }
    if (s->daemon) {
        int fd = desk->http.quiesce_daemon(s->daemon); /* nobody new */
        if (fd >= 0) {
            close(fd);
            s->listener = -1;
        }
        struct timespec until;
        clock_gettime(CLOCK_MONOTONIC, &until);
        until.tv_sec += desk->options.stop_seconds;
        pthread_mutex_lock(&s->lock);
        s->stopping = true;
        pthread_mutex_unlock(&s->lock);
        desk_workers_again(s, true); /* whoever waits hears how it stands */
        pthread_mutex_lock(&s->lock);
        while (s->active > 0 && pthread_cond_timedwait(&s->quiet, &s->lock, &until) != ETIMEDOUT) {
        }
        pthread_mutex_unlock(&s->lock);
    }
    desk_live_stop(desk);
    desk_workers_end(s); /* what is in line is answered and resumed */
    if (s->daemon) {
        wait_for_sending(desk);
        desk->http.stop_daemon(s->daemon); /* closes the rest */
    }
    if (s->clock_runs) {
        pthread_mutex_lock(&s->lock);
        s->clock_runs = false;
        pthread_cond_broadcast(&s->quiet);
        pthread_mutex_unlock(&s->lock);
        pthread_join(s->clock, NULL);
    }
    desk_nests_stop(desk);
    desk_bench_stop(desk); /* they tell the server what has changed */
    desk_proofs_stop(desk);
    if (s->listener >= 0) {
        close(s->listener);
    }
    if (s->key) {
        desk->crypt.sodium_memzero(s->key, strlen(s->key));
    }
    free(s->key);
    free(s->certificate);
    pthread_cond_destroy(&s->quiet);
    pthread_cond_destroy(&s->quick.more);
    pthread_cond_destroy(&s->slow.more);
    pthread_mutex_destroy(&s->log_lock);
    pthread_mutex_destroy(&s->lock);
    free(s);
    desk->server = NULL;
}
