/* A request and its reply, apart from any socket. SPDX-License-Identifier: Apache-2.0
 *
 * What the network hands over is copied here as it came; the path and the query are never decoded by anybody else. First
 * desk_route finds what is meant and refuses what no state is needed to refuse, then desk_read reads query and body. */
#ifndef PO_DESK_REQUEST_H
#define PO_DESK_REQUEST_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/secrets.h"

typedef struct po_desk po_desk;
typedef struct desk_route_row desk_route_row;
typedef struct desk_upload desk_upload; /* files.h */

enum { DESK_ID_MOST = 65, DESK_WORD = 65 }; /* an id and its end; 32 random bytes in hex and their end */
/* As the most bytes of a body: raw bytes, as many as the shop lets in, streamed to disk. */
#define DESK_BYTES SIZE_MAX

/* Who asks, by the session; nobody stands for the kiosk. */
typedef struct desk_who {
    po_standing role;
    char member[DESK_ID_MOST], token[DESK_WORD];
    unsigned char key[32]; /* of the session */
} desk_who;

typedef struct desk_request {
    po_arena *arena;
    const char *method, *target; /* target: path and query as they came */
    const char *host, *origin, *fetch_site, *content_type, *cookie, *token, *last_event; /* NULL: not there */
    const char *accept, *accept_encoding, *if_none_match;                                /* the same */
    const char *address;                                                                 /* of the other end, as text */
    const char *file_name; /* of bytes that are sent, percent-encoded; NULL: not there */
    desk_upload *upload;   /* the bytes of a route with DESK_BYTES; whoever ends it takes it out of here */
    int64_t until_s;       /* of an answer that was put off: no later; 0: it was not yet */
    bool tls;              /* it came by TLS, to here or to a proxy of the shop's own */
    bool background;       /* says itself that nobody sits there */
    const char *body;      /* n_body bytes; NULL: none */
    size_t n_body;
    /* from here on by desk_route and desk_read */
    char *path, *query; /* query: "" where there is none */
    const desk_route_row *route;
    const char *name; /* what stands for {act}, {question} ... */
    json_t *json;     /* the body of a POST, or the query as parameters; desk_request_end frees it */
    desk_who who;
} desk_request;

typedef struct desk_reply {
    int status;
    const char *type; /* of the content; NULL: none */
    const char *body; /* in the arena of the request, or static */
    size_t n;
    const char *allow;                       /* methods, with 405 and OPTIONS */
    const char *cache, *tag, *coding, *vary; /* headers of the page's files; cache NULL: nobody may keep it */
    int retry_seconds;                       /* with 429 and 503; 0: none */
    char cookie[200];                        /* "": none */
    bool stream;                             /* live events, from `after` on */
    bool later;          /* nothing to say yet: the route is asked again when something has changed, or at until_s */
    const char *save_as; /* a file name to save the content under; NULL: to be shown */
    int file; /* a descriptor + 1: n bytes of that file are the content, and it is closed afterwards; 0: none */
    const char *policy; /* Content-Security-Policy of a document with a style of its own; NULL: the usual */
    uint64_t after;     /* UINT64_MAX: from now on */
    char act[48];       /* for the log: the act or question, where known */
} desk_reply;

typedef void desk_function(po_desk *desk, desk_request *rq, desk_reply *rp);

struct desk_route_row {
    const char *method, *pattern;
    po_standing least; /* nobody: for all */
    bool slow;         /* hashes passwords: in a line of its own */
    size_t body_most;  /* bytes, or DESK_BYTES */
    desk_function *run;
    const char *says,
        *fields; /* of the body of a POST or the query of a GET, as in ledger/fields.h; NULL: the act's or question's own */
};
const desk_route_row *desk_routes(size_t *ret_n);

/* page.c: the row of an address that is a page or a file of it, for a GET; NULL: neither. */
const desk_route_row *desk_page_row(const desk_request *rq);

/* The names under which the server is called, for desk_route. */
typedef struct desk_names {
    const char *const *hosts;
    size_t n_hosts;
    const char *own; /* the computer's name; may be NULL */
    bool tls;
} desk_names;

/* What is meant; false with the reply written. */
bool desk_route(const desk_names *names, desk_request *rq, desk_reply *rp);
/* The body as JSON, and the query of a question as parameters (in rq->json too); false with the reply written. */
bool desk_read(desk_request *rq, desk_reply *rp);
void desk_request_end(desk_request *rq);
/* Percent-encoded text, in place; false: cut short, no hex, a NUL, or no UTF-8. plus: a plus is a blank. */
bool desk_decode(char *text, bool plus);
/* The value of the session's cookie; false: none, or not one alone. */
bool desk_cookie(const char *header, bool tls, char ret[DESK_WORD]);

/* ---- problem.c ---- */

/* A problem (RFC 9457). where: field, header, parameter or NULL. */
void desk_problem(desk_request *rq, desk_reply *rp, int status, const char *where, const char *format, ...)
    PO_PRINTF(5, 6);
/* What the book said, as a problem. which: of several acts, -1: there was one. */
void desk_problem_of(desk_request *rq, desk_reply *rp, const po_err *err, int which);
/* 200 with a JSON object, which is taken over. */
void desk_reply_json(desk_request *rq, desk_reply *rp, json_t *object);
const char *desk_reason(int status);
/* "nobody" is called kiosk here. */
const char *desk_role_word(po_standing role);

/* ---- roles.c: who may do what, in one place ---- */

typedef struct desk_rule {
    po_standing least;
    bool own; /* a member sees only what is theirs */
} desk_rule;
/* keeper where nothing is said of the question. */
desk_rule desk_rule_of_question(const char *question);
po_standing desk_rule_of_act(const char *act);

/* A text of "name: kind; name?: kind", walked: false at the end. */
typedef struct desk_field {
    char name[64], kind[96];
    bool optional;
} desk_field;
bool desk_field_next(const char **at, desk_field *ret);

#endif
