/* A request to the desk, from its first bytes to the decision what is meant, without a socket. SPDX-License-Identifier: Apache-2.0
 * The input is lines "Name: value" (Method, Target, Host, Origin, Site, Type, Cookie), an empty line and the body. Promises: it comes to an
 * end; whatever is refused has a status and a problem that is JSON; what is let through fits a row of the table letter by letter,
 * changes something only by POST from our own pages, and has parameters that its description knows. */
#include <jansson.h>
#include <string.h>

#include "desk/request.h"
#include "fuzz.h"

/* A line's value where the line begins with the name; in the arena. */
static const char *value_of(po_arena *arena, const char *name, const char *line, size_t n)
{
    size_t head = strlen(name);
    return n >= head && memcmp(line, name, head) == 0 ? po_arena_text_n(arena, line + head, n - head) : NULL;
}

static void read_head(desk_request *rq, const char *text, size_t n)
{
    const struct {
        const char *name, **place;
    } known[] = {
        {"Method: ", &rq->method}, {"Target: ", &rq->target},   {"Host: ", &rq->host},
        {"Origin: ", &rq->origin}, {"Site: ", &rq->fetch_site}, {"Type: ", &rq->content_type},
        {"Cookie: ", &rq->cookie},
    };
    rq->method = "GET";
    rq->target = "/";
    while (n > 0) {
        const char *end = memchr(text, '\n', n);
        size_t one = end ? (size_t)(end - text) : n;
        for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
            const char *v = value_of(rq->arena, known[i].name, text, one);
            *known[i].place = v ? v : *known[i].place;
        }
        one += end != NULL;
        text += one;
        n -= one;
        if (end && n > 0 && *text == '\n') { /* an empty line: the body */
            rq->body = text + 1;
            rq->n_body = n - 1;
            return;
        }
    }
}

static void check_refusal(const desk_reply *rp)
{
    PROMISE(rp->status == 204 || (rp->status >= 400 && rp->status < 600));
    if (rp->status != 204) {
        json_t *problem = json_loadb(rp->body, rp->n, 0, NULL);
        PROMISE(problem && json_integer_value(json_object_get(problem, "status")) == rp->status);
        PROMISE(json_is_string(json_object_get(problem, "title")));
        json_decref(problem);
    }
    PROMISE(rp->status != 405 || rp->allow);
}

static void check_route(const desk_request *rq)
{
    const char *pattern = rq->route->pattern, *brace = strchr(pattern, '{');
    size_t n = brace ? (size_t)(brace - pattern) : strlen(pattern);
    PROMISE(strncmp(rq->target, pattern, n) == 0);
    PROMISE(brace ? rq->name && *rq->name && !strpbrk(rq->name, "./%{}?&") : !rq->name && strlen(rq->path) == n);
    PROMISE(!brace || (strncmp(rq->path + n, rq->name, strlen(rq->name)) == 0 &&
                       strcmp(rq->path + n + strlen(rq->name), strchr(brace, '}') + 1) == 0));
    bool post = strcmp(rq->route->method, "POST") == 0;
    PROMISE(post == (strcmp(rq->method, "POST") == 0));
    if (post) {
        PROMISE(!rq->origin || (strstr(rq->origin, "://") && strcasecmp(strstr(rq->origin, "://") + 3, rq->host) == 0));
        PROMISE(!rq->fetch_site || strcmp(rq->fetch_site, "cross-site") != 0);
        bool bytes = rq->route->body_most == DESK_BYTES;
        PROMISE(rq->content_type && (bytes ? strcasecmp(rq->content_type, "application/octet-stream") == 0
                                           : strncasecmp(rq->content_type, "application/json", 16) == 0));
    }
}

static void check_parameters(const desk_request *rq)
{
    size_t n;
    const po_ledger_verb *v = po_ledger_questions(&n);
    const char *key, *fields = rq->route->fields;
    json_t *value;
    for (size_t i = 0; !fields && i < n; i++) {
        fields = strcmp(v[i].name, rq->name) == 0 ? v[i].fields : NULL;
    }
    PROMISE(fields && json_is_object(rq->json));
    json_object_foreach(rq->json, key, value)
    {
        desk_field f;
        bool known = false;
        for (const char *at = fields; !known && desk_field_next(&at, &f);) {
            known = strcmp(f.name, key) == 0;
        }
        PROMISE(known && value);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    static const char *const hosts[] = {"desk.quayside.example"};
    const desk_names names = {.hosts = hosts, .n_hosts = 1, .own = "desk"};
    desk_request rq = {.arena = po_arena_new(1 << 22)};
    desk_reply rp = {0};
    PROMISE(rq.arena);
    read_head(&rq, (const char *)data, n);
    char word[DESK_WORD];
    if (rq.cookie && desk_cookie(rq.cookie, n % 2, word)) {
        PROMISE(strlen(word) == DESK_WORD - 1 && strspn(word, "0123456789abcdef") == DESK_WORD - 1);
        PROMISE(strstr(rq.cookie, word));
    }
    if (!desk_route(&names, &rq, &rp)) {
        check_refusal(&rp);
    } else {
        check_route(&rq);
        if (!desk_read(&rq, &rp)) {
            check_refusal(&rp);
        } else if (strcmp(rq.method, "POST") == 0) {
            PROMISE(rq.route->body_most == DESK_BYTES ? !rq.json : json_is_object(rq.json));
        } else if (rq.name || rq.route->fields) {
            check_parameters(&rq);
        }
    }
    desk_request_end(&rq);
    po_arena_free(rq.arena);
    return 0;
}
