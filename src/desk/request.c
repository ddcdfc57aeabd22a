/* What a request means, before anything is known of who asks. SPDX-License-Identifier: Apache-2.0
 *
 * A path is compared byte for byte with the table; it is never decoded, so dots, percent signs and doubled slashes lead
 * nowhere. Only a page that came from this very server may change anything: a POST has a JSON body (which a form of another site cannot
 * send unasked), an Origin that is the Host, and a Host that is an address or a name of this server, so that no other name that is
 * made to point here counts (DNS rebinding). Sources: RFC 9110 (HTTP semantics), RFC 6454 (origins), RFC 3986 (targets). */
#include <arpa/inet.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "desk/request.h"

enum { TARGET_MOST = 4096, PARAMETERS_MOST = 32, NAME_MOST = 64 };

bool desk_field_next(const char **at, desk_field *ret)
{
    const char *p = *at;
    if (!p || !*p) {
        return false;
    }
    size_t n_name = strcspn(p, "?:");
    ret->optional = p[n_name] == '?';
    const char *kind = p + n_name + (ret->optional ? 1 : 0);
    kind += strspn(kind, ": ");
    size_t n_kind = strcspn(kind, ";");
    n_name = n_name < sizeof ret->name ? n_name : sizeof ret->name - 1;
    memcpy(ret->name, p, n_name);
    ret->name[n_name] = 0;
    p = kind + n_kind;
    n_kind = n_kind < sizeof ret->kind ? n_kind : sizeof ret->kind - 1;
    memcpy(ret->kind, kind, n_kind);
    ret->kind[n_kind] = 0;
    p += strspn(p, "; ");
    *at = p;
    return true;
}

/* Does a path fit a pattern? What stands for the braces is one piece of small letters, digits and -; ret_length 0: no braces. */
static bool fits(const char *pattern, const char *path, const char **ret_name, size_t *ret_length)
{
    const char *brace = strchr(pattern, '{');
    *ret_name = NULL;
    *ret_length = 0;
    if (!brace) {
        return strcmp(pattern, path) == 0;
    }
    size_t n = (size_t)(brace - pattern);
    if (strncmp(pattern, path, n) != 0) {
        return false;
    }
    const char *name = path + n;
    size_t length = strspn(name, "abcdefghijklmnopqrstuvwxyz0123456789-");
    if (length == 0 || length > NAME_MOST || strcmp(name + length, strchr(brace, '}') + 1) != 0) {
        return false;
    }
    *ret_name = name;
    *ret_length = length;
    return true;
}

/* Methods of a path, for Allow; NULL: there is no such path. */
static const char *methods_of(const char *path)
{
    size_t n;
    const desk_route_row *rows = desk_routes(&n);
    bool get = false, post = false;
    const char *name;
    size_t length;
    for (size_t i = 0; i < n; i++) {
        if (fits(rows[i].pattern, path, &name, &length)) {
            get = get || strcmp(rows[i].method, "GET") == 0;
            post = post || strcmp(rows[i].method, "POST") == 0;
        }
    }
    return get && post ? "GET, HEAD, POST, OPTIONS" : get ? "GET, HEAD, OPTIONS" : post ? "POST, OPTIONS" : NULL;
}

/* Host without the port, brackets off; false where it is none. */
static bool bare_host(const char *host, char out[256])
{
    size_t n;
    const char *port;
    if (host[0] == '[') {
        const char *end = strchr(host, ']');
        if (!end) {
            return false;
        }
        n = (size_t)(end - host - 1);
        host++;
        port = end + 1;
    } else {
        n = strcspn(host, ":");
        port = host + n;
    }
    if (n == 0 || n > 255 || (*port && (*port != ':' || strspn(port + 1, "0123456789") != strlen(port + 1)))) {
        return false;
    }
    memcpy(out, host, n);
    out[n] = 0;
    return true;
}

static bool is_ours(const desk_names *names, const char *host)
{
    char bare[256];
    unsigned char address[16];
    if (!bare_host(host, bare)) {
        return false;
    }
    if (inet_pton(AF_INET, bare, address) == 1 || inet_pton(AF_INET6, bare, address) == 1 ||
        po_text_same(bare, "localhost") || (names->own && po_text_same(bare, names->own))) {
        return true;
    }
    for (size_t i = 0; i < names->n_hosts; i++) {
        if (po_text_same(bare, names->hosts[i])) {
            return true;
        }
    }
    return false;
}

/* A page that came from here: the origin's host is the host that was called. Behind a proxy that speaks TLS the scheme differs. */
static bool same_origin(const desk_request *rq)
{
    const char *o = rq->origin;
    if (!o) {
        return true; /* no browser, or one that sends it only across sites */
    }
    const char *host = strncmp(o, "https://", 8) == 0 ? o + 8 : strncmp(o, "http://", 7) == 0 ? o + 7 : NULL;
    return host && po_text_same(host, rq->host);
}

static bool is_bytes(const char *type)
{
    return type && po_text_same(type, "application/octet-stream");
}

static bool is_json(const char *type)
{
    static const char json[] = "application/json";
    size_t n = strlen(json);
    if (!type || strlen(type) < n) {
        return false;
    }
    char head[sizeof json];
    memcpy(head, type, n);
    head[n] = 0;
    type += n;
    type += strspn(type, " \t");
    return po_text_same(head, json) &&
           (!*type || (*type == ';' && (type++, type += strspn(type, " \t"), po_text_same(type, "charset=utf-8"))));
}

bool desk_route(const desk_names *names, desk_request *rq, desk_reply *rp)
{
    size_t n = strlen(rq->target), n_rows;
    if (n > TARGET_MOST) {
        desk_problem(rq, rp, 414, NULL, "the address is longer than %d bytes", TARGET_MOST);
        return false;
    }
    rq->path = po_arena_text(rq->arena, rq->target);
    if (!rq->path) {
        desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
        return false;
    }
    char *mark = strchr(rq->path, '?');
    rq->query = mark ? mark + 1 : rq->path + n;
    if (mark) {
        *mark = 0;
    }
    const desk_route_row *rows = desk_routes(&n_rows);
    const char *allow = methods_of(rq->path), *method = strcmp(rq->method, "HEAD") == 0 ? "GET" : rq->method;
    if ((!allow || strcmp(rq->path, "/") == 0) && strcmp(method, "POST") != 0 && (rq->route = desk_page_row(rq))) {
        allow = "GET, HEAD, OPTIONS";
        rq->route = strcmp(method, "GET") == 0 ? rq->route : NULL;
    }
    if (!allow) {
        desk_problem(rq, rp, 404, NULL, "there is nothing under this address; /api/1/openapi.json lists what there is");
        return false;
    }
    for (size_t i = 0; i < n_rows && !rq->route; i++) {
        const char *name;
        size_t length;
        if (strcmp(rows[i].method, method) == 0 && fits(rows[i].pattern, rq->path, &name, &length)) {
            rq->route = &rows[i];
            rq->name = name ? po_arena_text_n(rq->arena, name, length) : NULL;
            if (name && !rq->name) {
                desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
                return false;
            }
        }
    }
    if (!rq->host || !is_ours(names, rq->host)) {
        desk_problem(rq, rp, 421, "Host",
                     "this server is not called so; call it by its address, or name it when it is started (--host)");
        return false;
    }
    if (strcmp(rq->method, "OPTIONS") == 0) {
        rp->status = 204;
        rp->allow = allow;
        return false;
    }
    if (!rq->route) {
        desk_problem(rq, rp, 405, NULL, "this address takes %s", allow);
        rp->allow = allow;
        return false;
    }
    if (strcmp(method, "POST") != 0) {
        return true;
    }
    if (!same_origin(rq)) {
        desk_problem(rq, rp, 403, "Origin", "a page of another site may change nothing here");
        return false;
    }
    if (rq->fetch_site && strcmp(rq->fetch_site, "same-origin") != 0 && strcmp(rq->fetch_site, "none") != 0) {
        desk_problem(rq, rp, 403, "Sec-Fetch-Site", "a page of another site may change nothing here");
        return false;
    }
    bool bytes = rq->route->body_most == DESK_BYTES;
    if (!(bytes ? is_bytes : is_json)(rq->content_type)) {
        desk_problem(rq, rp, 415, "Content-Type", "the body must be %s",
                     bytes ? "application/octet-stream: the file's bytes as they are" : "application/json");
        return false;
    }
    return true;
}

static int hex_digit(char c)
{
    return c >= '0' && c <= '9'   ? c - '0'
           : c >= 'a' && c <= 'f' ? c - 'a' + 10
           : c >= 'A' && c <= 'F' ? c - 'A' + 10
                                  : -1;
}

bool desk_decode(char *s, bool plus)
{
    char *to = s;
    for (const char *p = s; *p; p++) {
        if (*p == '%') {
            int high = hex_digit(p[1]), low = high >= 0 ? hex_digit(p[2]) : -1;
            if (low < 0 || high * 16 + low == 0) {
                return false;
            }
            *to++ = (char)(high * 16 + low);
            p += 2;
        } else {
            *to++ = *p == '+' && plus ? ' ' : *p;
        }
    }
    *to = 0;
    for (const char *p = s; p < to;) {
        size_t one = po_utf8_length(p, (size_t)(to - p));
        if (one == 0) {
            return false;
        }
        p += one;
    }
    return true;
}

/* A whole number of at most 18 digits; NULL: none. */
static json_t *whole(const char *s, size_t n)
{
    if (n == 0 || n > 18 || strspn(s, "0123456789") < n) {
        return NULL;
    }
    json_int_t v = 0;
    for (size_t i = 0; i < n; i++) {
        v = v * 10 + (s[i] - '0');
    }
    return json_integer(v);
}

/* Pieces between commas. */
static json_t *list_of(const char *s, bool numbers)
{
    json_t *list = json_array();
    for (const char *p = s; list; p++) {
        size_t n = strcspn(p, ",");
        json_t *one = numbers ? whole(p, n) : json_stringn(p, n);
        if (!one || json_array_append_new(list, one) != 0) {
            json_decref(list);
            return NULL;
        }
        p += n;
        if (!*p) {
            break;
        }
    }
    return list;
}

/* A text of the query as its description wants it; NULL: it does not fit. The book looks at it once more. */
static json_t *typed(const char *kind, const char *value)
{
    if (!strcmp(kind, "count") || !strcmp(kind, "number") || !strcmp(kind, "time")) {
        return whole(value, strlen(value));
    }
    if (!strcmp(kind, "flag")) {
        return !strcmp(value, "true") ? json_true() : !strcmp(value, "false") ? json_false() : NULL;
    }
    if (!strcmp(kind, "ids") || !strcmp(kind, "counts")) {
        return list_of(value, kind[0] == 'c');
    }
    if (!strcmp(kind, "map") || !strcmp(kind, "table") || !strcmp(kind, "uses")) {
        return json_loads(value, JSON_REJECT_DUPLICATES, NULL);
    }
    return json_string(value);
}

static const char *fields_of_question(const char *name)
{
    size_t n;
    const po_ledger_verb *v = po_ledger_questions(&n);
    for (size_t i = 0; i < n; i++) {
        if (strcmp(v[i].name, name) == 0) {
            return v[i].fields;
        }
    }
    return NULL;
}

static bool read_parameters(desk_request *rq, desk_reply *rp)
{
    const char *fields = rq->route->fields ? rq->route->fields : fields_of_question(rq->name);
    if (!fields) {
        desk_problem(rq, rp, 404, "question", "there is no such question");
        return false;
    }
    rq->json = json_object();
    int count = 0;
    for (char *rest = rq->query, *pair; rest && *rest && rq->json;) {
        pair = strsep(&rest, "&");
        if (!*pair) {
            continue;
        }
        char *value = strchr(pair, '=');
        if (value) {
            *value++ = 0;
        }
        if (++count > PARAMETERS_MOST || !value || !desk_decode(pair, true) || !desk_decode(value, true)) {
            desk_problem(rq, rp, 400, "query", "the query is not name=value in UTF-8, percent-encoded, joined by &");
            return false;
        }
        desk_field field = {0};
        const char *at = fields;
        bool known = false;
        while (!known && desk_field_next(&at, &field)) {
            known = strcmp(field.name, pair) == 0;
        }
        if (!known) {
            desk_problem(rq, rp, 400, pair, "there is no such parameter here; there are: %.200s",
                         *fields ? fields : "none");
            return false;
        }
        json_t *v = json_object_get(rq->json, pair) ? NULL : typed(field.kind, value);
        if (!v) {
            desk_problem(rq, rp, 400, pair, "this parameter is given twice, or is no %s", field.kind);
            return false;
        }
        json_object_set_new(rq->json, pair, v);
    }
    return true;
}

bool desk_read(desk_request *rq, desk_reply *rp)
{
    if (strcmp(rq->method, "POST") != 0) {
        if (rq->n_body > 0) {
            desk_problem(rq, rp, 400, "body", "a %s has no body", rq->method);
            return false;
        }
        return (!rq->name && !rq->route->fields) || read_parameters(rq, rp);
    }
    if (*rq->query) {
        desk_problem(rq, rp, 400, "query", "a POST takes all it needs from its body");
        return false;
    }
    if (rq->route->body_most == DESK_BYTES) {
        return true; /* they are on the disk */
    }
    json_error_t e;
    rq->json = rq->n_body > 0 ? json_loadb(rq->body, rq->n_body, JSON_REJECT_DUPLICATES, &e) : NULL;
    if (!json_is_object(rq->json)) {
        if (rq->n_body > 0 && !rq->json) {
            desk_problem(rq, rp, 400, "body", "not JSON, line %d, column %d: %.150s", e.line, e.column, e.text);
        } else {
            desk_problem(rq, rp, 400, "body", "the body must be a JSON object");
        }
        return false;
    }
    return true;
}

void desk_request_end(desk_request *rq)
{
    json_decref(rq->json);
    rq->json = NULL;
}

bool desk_cookie(const char *header, bool tls, char ret[DESK_WORD])
{
    const char *name = tls ? "__Host-proveout=" : "proveout=";
    size_t head = strlen(name);
    bool found = false;
    for (const char *p = header; p && *p;) {
        p += strspn(p, "; ");
        size_t n = strcspn(p, ";");
        if (strncmp(p, name, head) == 0) {
            if (found || n != head + DESK_WORD - 1 || strspn(p + head, "0123456789abcdef") != DESK_WORD - 1) {
                return false; /* two of them: somebody tries to slip one in */
            }
            memcpy(ret, p + head, DESK_WORD - 1);
            ret[DESK_WORD - 1] = 0;
            found = true;
        }
        p += n;
    }
    return found;
}
