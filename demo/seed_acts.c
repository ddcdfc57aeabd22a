/* Acts of an invented shop, put in order of time and booked. SPDX-License-Identifier: Apache-2.0
 *
 * Whoever plans a day does not know which number an event will have: the plan holds handles, which become numbers when all acts
 * stand in order. A new book counts events, messages and tickets from one. */
#include "seed.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ACTS_MOST = 18000, HANDLES_MOST = 8000, BODY_MOST = 64 * 1024 };

typedef struct item {
    int64_t at_ms;
    int order;
    const char *by, *name, *body;
    seed_names names;
} item;

struct seed_acts {
    po_arena *arena;
    item items[ACTS_MOST];
    long long numbers[HANDLES_MOST];
    int n, n_handles;
    bool full;
};

seed_acts *seed_acts_new(po_arena *arena)
{
    seed_acts *a = calloc(1, sizeof *a);
    if (a) {
        a->arena = arena;
    }
    return a;
}

void seed_acts_free(seed_acts *acts)
{
    free(acts);
}

int seed_handle(seed_acts *acts)
{
    if (acts->n_handles + 1 >= HANDLES_MOST) {
        acts->full = true;
        return 0;
    }
    return ++acts->n_handles;
}

void seed_put(seed_acts *a, int64_t at_ms, const char *by, const char *name, seed_names names, const char *format, ...)
{
    static char text[BODY_MOST];
    va_list values;
    va_start(values, format);
    int n = vsnprintf(text, sizeof text, format, values);
    va_end(values);
    const char *body = n > 0 && n < BODY_MOST ? po_arena_text(a->arena, text) : NULL;
    if (!body || a->n == ACTS_MOST) {
        a->full = true;
        return;
    }
    a->items[a->n] = (item){at_ms, a->n, by, name, body, names};
    a->n++;
}

static int by_time(const void *x, const void *y)
{
    const item *a = x, *b = y;
    return a->at_ms != b->at_ms ? (a->at_ms < b->at_ms ? -1 : 1) : a->order - b->order;
}

/* Handles become numbers. NULL: one that nothing has named yet. */
static const char *resolve(const seed_acts *a, const char *body)
{
    static char text[BODY_MOST + 1024];
    size_t n = 0;
    while (*body && n < BODY_MOST) {
        char *end = NULL;
        long h = *body == '@' ? strtol(body + 1, &end, 10) : 0;
        if (h > 0 && end && *end == '@' && h < HANDLES_MOST) {
            if (a->numbers[h] == 0) {
                return NULL;
            }
            n += (size_t)snprintf(text + n, sizeof text - n, "%lld", a->numbers[h]);
            body = end + 1;
        } else {
            text[n++] = *body++;
        }
    }
    text[n] = 0;
    return po_arena_text(a->arena, text);
}

typedef struct clock_hand {
    const seed_acts *acts;
    int next;
    int64_t now_ms;
} clock_hand;

static int64_t now_of(void *user)
{
    clock_hand *c = user;
    return c->next < c->acts->n ? c->acts->items[c->next++].at_ms : c->now_ms;
}

bool seed_book(seed_acts *a, const char *path, int64_t now_ms, po_ledger **ret)
{
    static clock_hand clock; /* the book asks it as long as it is open */
    clock = (clock_hand){a, a->n, now_ms};
    po_ledger_options options = {.create = true, .now_ms = now_of, .user = &clock};
    po_act *acts = calloc((size_t)a->n + 1, sizeof *acts);
    po_act_done *done = calloc((size_t)a->n + 1, sizeof *done);
    po_err err = {0};
    bool well = acts && done && !a->full && po_ledger_open(path, &options, ret, &err) == PO_OK;
    if (!well) {
        fprintf(stderr, "seed: %s: %s\n", path, err.msg[0] ? err.msg : "more acts than there is room for");
    }
    qsort(a->items, (size_t)a->n, sizeof *a->items, by_time);
    long long messages = 0, tickets = 0;
    for (int i = 0; well && i < a->n; i++) {
        item *t = &a->items[i];
        bool speaks = strcmp(t->name, "message-put") == 0 || strstr(t->body, "\"message\":\"") != NULL;
        messages += speaks;
        tickets += strcmp(t->name, "ticket-take") == 0;
        a->numbers[t->names.event] = i + 1;
        a->numbers[t->names.message] = messages;
        a->numbers[t->names.ticket] = tickets;
        acts[i] = (po_act){t->name, t->by, resolve(a, t->body)};
        if (!acts[i].body) {
            fprintf(stderr, "seed: %s %s names what is not there yet\n", t->name, t->body);
            well = false;
        }
    }
    size_t failed = 0;
    clock.next = 0;
    if (well && po_ledger_act_all(*ret, acts, (size_t)a->n, a->arena, done, &failed, &err) != PO_OK) {
        fprintf(stderr, "seed: event %zu, %s %.300s: %s\n", failed + 1, acts[failed].name, acts[failed].body, err.msg);
        well = false;
    }
    clock.next = a->n;
    free(acts);
    free(done);
    return well;
}
