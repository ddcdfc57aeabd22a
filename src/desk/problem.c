/* Replies: problems and JSON. SPDX-License-Identifier: Apache-2.0
 *
 * Errors are problem details (RFC 9457): type, title, status, detail, and as an extension "where". */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "desk/request.h"

static const struct {
    int status;
    const char *reason;
} reasons[] = {
    {200, "OK"},
    {204, "No Content"},
    {400, "Bad Request"},
    {401, "Unauthorized"},
    {403, "Forbidden"},
    {404, "Not Found"},
    {405, "Method Not Allowed"},
    {409, "Conflict"},
    {410, "Gone"},
    {411, "Length Required"},
    {413, "Content Too Large"},
    {414, "URI Too Long"},
    {415, "Unsupported Media Type"},
    {421, "Misdirected Request"},
    {422, "Unprocessable Content"},
    {429, "Too Many Requests"},
    {431, "Request Header Fields Too Large"},
    {500, "Internal Server Error"},
    {503, "Service Unavailable"},
    {507, "Insufficient Storage"},
};

const char *desk_reason(int status)
{
    for (size_t i = 0; i < sizeof reasons / sizeof reasons[0]; i++) {
        if (reasons[i].status == status) {
            return reasons[i].reason;
        }
    }
    return "Error";
}

const char *desk_role_word(po_standing role)
{
    static const char *const words[] = {"kiosk", "member", "desk", "keeper"};
    return words[role];
}

/* The object as the body; taken over. A reply without memory is a short one that needs none. */
static void put(desk_request *rq, desk_reply *rp, const char *type, json_t *object)
{
    char *text = object ? json_dumps(object, JSON_COMPACT) : NULL;
    char *kept = text ? po_arena_text(rq->arena, text) : NULL;
    json_decref(object);
    free(text);
    if (!kept) {
        rp->status = 503;
        rp->type = "application/problem+json";
        rp->body =
            "{\"type\":\"about:blank\",\"title\":\"Service Unavailable\",\"status\":503,\"detail\":\"memory ran out; "
            "try again\"}";
        rp->n = strlen(rp->body);
        return;
    }
    rp->type = type;
    rp->body = kept;
    rp->n = strlen(kept);
}

static json_t *problem(int status, const char *where, const char *detail)
{
    json_t *o = json_pack("{s:s, s:s, s:i}", "type", "about:blank", "title", desk_reason(status), "status", status);
    json_t *says = json_string(detail); /* NULL where it is not UTF-8: then left out */
    if (o && says) {
        json_object_set_new(o, "detail", says);
    }
    if (o && where && *where) {
        json_object_set_new(o, "where", json_string(where));
    }
    return o;
}

void desk_problem(desk_request *rq, desk_reply *rp, int status, const char *where, const char *format, ...)
{
    char detail[400];
    va_list values;
    va_start(values, format);
    vsnprintf(detail, sizeof detail, format, values);
    va_end(values);
    rp->status = status;
    put(rq, rp, "application/problem+json", problem(status, where, detail));
}

void desk_problem_of(desk_request *rq, desk_reply *rp, const po_err *err, int which)
{
    static const struct {
        po_status code;
        int status;
    } table[] = {
        {PO_E_CONFLICT, 409}, {PO_E_NOTFOUND, 404}, {PO_E_RANGE, 422}, {PO_E_SYNTAX, 422},
        {PO_E_LIMIT, 422},    {PO_E_NOMEM, 503},    {PO_E_IO, 500},
    };
    rp->status = 500;
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        if (table[i].code == err->code) {
            rp->status = table[i].status;
        }
    }
    /* Below 500 it is about what was asked; a failure of the system may name files, which are nobody's business. */
    bool own = rp->status >= 500;
    json_t *o = problem(rp->status, own ? NULL : err->where,
                        own ? "the book could not be read or written; the server's log may say more" : err->msg);
    if (o && which >= 0) {
        json_object_set_new(o, "act", json_integer(which));
    }
    put(rq, rp, "application/problem+json", o);
}

void desk_reply_json(desk_request *rq, desk_reply *rp, json_t *object)
{
    rp->status = 200;
    put(rq, rp, "application/json", object);
}
