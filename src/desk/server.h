/* Inside of the network's side: connections, requests on their way, workers. SPDX-License-Identifier: Apache-2.0
 *
 * One thread of libmicrohttpd reads and writes for all connections and never waits: a request that has arrived whole is set
 * aside (its connection suspended) and goes to a worker, who asks or writes the book. Passwords are hashed by one worker of
 * their own, so many tries at once cost time and not memory, and keep nobody else waiting. */
#ifndef PO_DESK_SERVER_H
#define PO_DESK_SERVER_H

#include "desk/desk_inside.h"

typedef enum desk_phase { DESK_WAITS, DESK_WORKS, DESK_SENDS, DESK_STREAMS } desk_phase;

typedef struct desk_link { /* a connection */
    struct desk_link *next, *before;
    int fd;
    desk_phase phase;
    int64_t since_s; /* of the phase; of DESK_WAITS: since it may send a request */
    char address[DESK_ADDRESS_MOST];
    bool proxy; /* one of the shop's own is at the other end */
} desk_link;

typedef struct desk_context { /* a request on its way */
    struct desk_context *next;
    po_desk *desk;
    struct MHD_Connection *connection;
    desk_link *link;
    desk_request rq;
    desk_reply rp;
    char *buffer;                     /* the body */
    size_t declared, received, fresh; /* fresh: received since the clock was told */
    bool seen, refused, done;         /* headers looked at; a reply is there before the body; a worker has answered */
    bool closes;                      /* the connection ends with the reply */
    int64_t begun_us;
    uint64_t changes; /* as it was when a worker began */
} desk_context;

typedef struct desk_line { /* of those who wait for a worker */
    desk_context *first, **end;
    int n, most;
    pthread_cond_t more;
} desk_line;

enum { DESK_WORKERS = 4, DESK_LINE_MOST = 512, DESK_SLOW_MOST = 32 };

struct desk_server {
    po_desk *desk;
    struct MHD_Daemon *daemon;
    int listener;
    char *certificate, *key;
    pthread_mutex_t lock, log_lock;
    pthread_cond_t quiet; /* active fell to none */
    desk_link *links;
    int active; /* requests between their first line and the end of their reply; streams do not count */
    bool stopping, workers_end;
    desk_line quick, slow;
    desk_context *later; /* whose answer was put off */
    uint64_t changes;    /* how often something changed that they wait for */
    pthread_t workers[DESK_WORKERS + 1], clock;
    int n_workers;
    bool clock_runs;
};

int64_t desk_microseconds(void);

/* ---- workers.c ---- */
bool desk_workers_begin(desk_server *server);
/* All that waits is answered; then they end. */
void desk_workers_end(desk_server *server);
/* False: the line is full. The connection must be suspended before. */
bool desk_workers_take(desk_server *server, desk_context *context);
/* Answers that were put off are asked for again: all, or only those whose time is over. */
void desk_workers_again(desk_server *server, bool all);

/* ---- reply.c ---- */
enum MHD_Result desk_send(desk_context *context);
/* A response that stands ready, which stays the caller's; the reply holds status and length for the log. */
enum MHD_Result desk_send_ready(desk_context *context, struct MHD_Response *response);
/* A response of its own with the header fields that all replies have and those of this one; the body is copied. NULL: no memory. */
struct MHD_Response *desk_ready_response(const desk_http *http, const desk_reply *rp);

/* ---- today.c ---- */
/* Answers a request for the day where it stands ready and who asks is known, so that no worker is needed; false: one is. Called by the
 * network's thread: it never waits for the book. */
bool desk_day_send(desk_context *context, enum MHD_Result *ret);
void desk_log_request(desk_context *context);

/* ---- receive.c: what libmicrohttpd calls ---- */
enum MHD_Result desk_on_accept(void *desk, const struct sockaddr *address, socklen_t n);
void *desk_on_target(void *desk, const char *target, struct MHD_Connection *connection);
enum MHD_Result desk_on_request(void *desk, struct MHD_Connection *connection, const char *url, const char *method,
                                const char *version, const char *data, size_t *n, void **context);
void desk_on_completed(void *desk, struct MHD_Connection *connection, void **context,
                       enum MHD_RequestTerminationCode why);
void desk_on_connection(void *desk, struct MHD_Connection *connection, void **socket_context,
                        enum MHD_ConnectionNotificationCode code);

#endif
