/* The desk's server: the book over HTTP, with sign-in and live updates. SPDX-License-Identifier: Apache-2.0
 *
 * It listens, answers from threads of its own, and hands its log out line by line; it never opens a connection of its own.
 * docs/api.md says what can be asked of it. libmicrohttpd and libsodium are opened by name when it starts. */
#ifndef PROVEOUT_DESK_H
#define PROVEOUT_DESK_H

#include "proveout/ledger.h"
#include "proveout/shop.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef struct po_desk po_desk;

/* Who sees the public screen without signing in: who sits at this computer (where it listens on loopback alone), all, nobody. */
typedef enum po_screen { PO_SCREEN_HERE = 0, PO_SCREEN_ALL, PO_SCREEN_NONE } po_screen;

typedef struct po_desk_options {
    const po_shop *shop; /* borrowed until po_desk_close, as the book is */
    const char *
        shop_path; /* of its file, from whose folder its calendars are read again when they change; NULL: they are not */
    po_ledger *ledger;
    const char
        *listen; /* "127.0.0.1:8088", "[::1]:8088"; port 0: any free one; NULL: 127.0.0.1, 8088 or with TLS 8443 */
    const char *certificate, *key; /* files in PEM; both or none */
    const char *const *hosts;      /* names beside addresses and localhost under which it is called */
    size_t n_hosts;
    /* Addresses of the shop's own proxies, at most 8, with commas between them: their Forwarded field (RFC 7239) tells from where, and whether
     * by TLS, a request comes, and connections_each is not for them. NULL: nobody's is heeded. */
    const char *proxy;
    int connections, connections_each; /* most at once: in all, of one address; 0 = 1000, 600 */
    int request_seconds;               /* for a request to arrive whole, and for an answer to be fetched; 0 = 30 */
    int idle_seconds;   /* after which a desk person or keeper is signed out; 0 = 900; members four times that */
    int stop_seconds;   /* what is under way may take so long when it stops; 0 = 20 */
    const char *folder; /* private: files that were sent to be proved are kept there; made where it is not there */
    const char *
        backups; /* folder for copies of the book that a keeper makes; made where it is not there; NULL: none are made */
    int64_t (*now_ms)(void *user); /* the clock; NULL = the system's */
    void *now_user;
    const char *studies; /* folder of the studies, read when it opens; NULL: none */
    int provers;         /* proofs computed at once; 0 = as many as the process may use cores */
    po_screen screen;    /* who sees the public screen without signing in */
    const char *version; /* of the program: a proof is made anew by another one */
    void (*log)(void *user,
                const char *line); /* one JSON object without line end; from several threads, one at a time */
    void *user;
} po_desk_options;

/* Listen and answer. Signals are the caller's; threads are started with the caller's mask.
 * Errors: PO_E_RANGE (an option; err->where names it), PO_E_CONFLICT (the address is taken), PO_E_IO, PO_E_NOTFOUND (a
 * certificate), PO_E_UNSUPPORTED (a library is not there), PO_E_NOMEM. */
PO_API po_status po_desk_open(const po_desk_options *options, po_desk **ret, po_err *err) PO_MUST_USE;
/* "http://127.0.0.1:8088/"; the desk's own. */
PO_API const char *po_desk_url(const po_desk *desk);
/* Where no keeper can sign in: the word, good once and for 15 minutes, with which the first one sets a password. Else NULL. */
PO_API const char *po_desk_first_word(const po_desk *desk);
/* No new work; what is under way is finished, live streams are ended. Accepts NULL. */
PO_API void po_desk_close(po_desk *desk);

enum { PO_PASSWORD_LEAST = 10, PO_PASSWORD_MOST = 200 }; /* bytes */
/* Hash a password (argon2id) and keep it for a member.
 * Errors: PO_E_RANGE (length, control characters, not UTF-8), PO_E_NOTFOUND (no such member), PO_E_UNSUPPORTED, PO_E_IO, PO_E_NOMEM. */
PO_API po_status po_desk_password_set(po_ledger *ledger, const char *member, const char *password,
                                      po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
