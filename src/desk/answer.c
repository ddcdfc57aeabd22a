/* Who may, and what the plain routes say. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "desk/desk_inside.h"
#include "ledger/fields.h"

bool desk_admit(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    char word[DESK_WORD];
    bool has = rq->cookie && desk_cookie(rq->cookie, rq->tls, word);
    rq->who = (desk_who){.role = PO_STANDS_AS_NOBODY};
    bool known = has && desk_session_who(desk, word, !rq->background, &rq->who);
    po_standing least = rq->route->least;
    if (rq->who.role < least) {
        if (!known) {
            desk_problem(rq, rp, 401, NULL,
                         "this takes somebody who is signed in; sign in first (POST /api/1/session)");
        } else {
            desk_problem(rq, rp, 403, NULL, "this takes the role %s, and you are signed in as %s",
                         desk_role_word(least), desk_role_word(rq->who.role));
        }
        return false;
    }
    if (least > PO_STANDS_AS_NOBODY && strcmp(rq->route->method, "POST") == 0 &&
        (!rq->token || strlen(rq->token) != DESK_WORD - 1 ||
         desk->crypt.sodium_memcmp(rq->token, rq->who.token, DESK_WORD - 1) != 0)) {
        desk_problem(rq, rp, 403, "X-Proveout-Token",
                     "the token of this session is missing or wrong (GET /api/1/session)");
        return false;
    }
    return true;
}

/* One of the words of "a|b|c". */
static bool is_word_of(const char *words, const char *value)
{
    size_t n = strlen(value);
    for (const char *p = words; n > 0 && *p;) {
        size_t one = strcspn(p, "|");
        if (one == n && memcmp(p, value, n) == 0) {
            return true;
        }
        p += one + (p[one] == '|');
    }
    return false;
}

static bool is_short_text(const json_t *v)
{
    return json_is_string(v) && strlen(json_string_value(v)) == json_string_length(v) &&
           po_field_is_text(json_string_value(v));
}

static bool is_whole(const json_t *v, int64_t least, int64_t most)
{
    return json_is_integer(v) && json_integer_value(v) >= least && json_integer_value(v) <= most;
}

/* The kinds of ledger/fields.h within the same limits; a list of counts here may come in any order. */
static bool value_fits(const char *kind, const json_t *v)
{
    enum { COUNTS_MOST = 64 };
    if (!strcmp(kind, "count")) {
        return is_whole(v, 0, PO_COUNT_MOST);
    }
    if (!strcmp(kind, "number")) {
        return is_whole(v, 1, INT64_MAX);
    }
    if (!strcmp(kind, "time")) {
        return is_whole(v, 0, PO_TIME_MOST);
    }
    if (!strcmp(kind, "flag")) {
        return json_is_boolean(v);
    }
    if (!strcmp(kind, "counts")) {
        bool fits = json_is_array(v) && json_array_size(v) > 0 && json_array_size(v) <= COUNTS_MOST;
        for (size_t i = 0; fits && i < json_array_size(v); i++) {
            fits = is_whole(json_array_get(v, i), 0, PO_COUNT_MOST);
        }
        return fits;
    }
    if (!strcmp(kind, "ids")) {
        bool fits = json_is_array(v) && json_array_size(v) > 0 && json_array_size(v) <= 256;
        for (size_t i = 0; fits && i < json_array_size(v); i++) {
            fits = is_short_text(json_array_get(v, i));
        }
        return fits;
    }
    if (!strcmp(kind, "document")) { /* a whole file; the body's own limit bounds it */
        return json_is_string(v) && strlen(json_string_value(v)) == json_string_length(v);
    }
    if (!is_short_text(v)) {
        return false;
    }
    const char *s = json_string_value(v);
    return !strcmp(kind, "id")       ? po_field_is_id(s)
           : !strcmp(kind, "sha256") ? strlen(s) == 64 && strspn(s, "0123456789abcdef") == 64
           : strchr(kind, '|')       ? is_word_of(kind, s)
                                     : true;
}

/* The body of a POST that is no act, or the query of a GET that is no question, held against the row's fields. */
static bool body_fits(desk_request *rq, desk_reply *rp)
{
    desk_field f;
    size_t known = 0;
    for (const char *at = rq->route->fields; desk_field_next(&at, &f);) {
        const json_t *v = json_object_get(rq->json, f.name);
        known += v != NULL;
        if ((!v || json_is_null(v)) && f.optional) {
            continue;
        }
        if (!value_fits(f.kind, v)) {
            desk_problem(rq, rp, 422, f.name, "%s is missing or no %s", f.name, f.kind);
            return false;
        }
    }
    if (known != json_object_size(rq->json)) {
        desk_problem(rq, rp, 422, "body", "there are other fields than: %.150s",
                     rq->route->fields[0] ? rq->route->fields : "none");
        return false;
    }
    return true;
}

void desk_answer(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    if (!rq->until_s && !desk_read(rq, rp)) { /* else it was read when it was put off */
        return;
    }
    bool plain = rq->route->fields && rq->json && !strstr(rq->route->fields, ": acts");
    if (plain && !body_fits(rq, rp)) {
        return;
    }
    rq->route->run(desk, rq, rp);
}

void desk_do_root(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    (void)desk;
    (void)rq;
    rp->status = 200;
    rp->type = "text/plain; charset=utf-8";
    rp->body = "Proveout's desk answers here under /api/1/.\n"
               "/api/1/openapi.json lists what can be asked and done; docs/api.md explains it.\n";
    rp->n = strlen(rp->body);
}

void desk_do_health(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    uint64_t last = 0;
    po_err err;
    po_status s = po_ledger_last_event(desk->options.ledger, &last, &err);
    if (s != PO_OK || desk_server_stops(desk)) {
        desk_problem(rq, rp, 503, NULL, s == PO_OK ? "the server is stopping" : "the book does not answer");
        return;
    }
    desk_reply_json(rq, rp, json_pack("{s:s, s:s}", "format", "proveout/health/1", "state", "ok"));
}

static void put_static(desk_request *rq, desk_reply *rp, const char *text)
{
    if (!text) {
        desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
        return;
    }
    rp->status = 200;
    rp->type = "application/json";
    rp->body = text;
    rp->n = strlen(text);
}

void desk_do_shop(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    put_static(rq, rp, desk->shop);
}

void desk_do_openapi(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    put_static(rq, rp, desk->openapi);
}

void desk_do_events(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    rp->after = UINT64_MAX;
    if (rq->last_event) {
        size_t n = strlen(rq->last_event);
        if (n == 0 || n > 18 || strspn(rq->last_event, "0123456789") != n) {
            desk_problem(rq, rp, 400, "Last-Event-ID", "the number of an event is wanted");
            return;
        }
        rp->after = 0;
        for (const char *p = rq->last_event; *p; p++) {
            rp->after = rp->after * 10 + (uint64_t)(*p - '0');
        }
    }
    rp->status = 200;
    rp->type = "text/event-stream";
    rp->stream = desk_live_streams(desk) >= 0;
}
