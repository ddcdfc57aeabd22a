/* The screen on the wall: numbers, machines and times, never a person. SPDX-License-Identifier: Apache-2.0
 *
 * It needs no sign-in, so it holds nothing that could tell who is there: numbers of tickets and runs, which their own members know.
 * Who may see it without sign-in is an option of the desk; as it comes: whoever sits at this computer. */
#include <string.h>

#include "desk/at_desk.h"
#include "work/due.h"

static bool begins(const char *text, const char *with)
{
    return text && strncmp(text, with, strlen(with)) == 0;
}

/* This computer, by the address it listens on and by the name it was called: a proxy on it is called by another name. */
static bool own_computer(const po_desk *desk, const desk_request *rq)
{
    const char *listen = desk->options.listen;
    bool here = !listen || begins(listen, "127.") || begins(listen, "localhost:") || begins(listen, "[::1]");
    bool called = begins(rq->host, "127.") || begins(rq->host, "localhost") || begins(rq->host, "[::1]");
    return here && called && desk->proxies.n == 0;
}

static bool may_see(const po_desk *desk, const desk_request *rq)
{
    return rq->who.role >= PO_STANDS_AS_MEMBER || desk->options.screen == PO_SCREEN_ALL ||
           (desk->options.screen == PO_SCREEN_HERE && own_computer(desk, rq));
}

/* Tickets that are called, with their machine and until when; numbers of those that wait, in turn. */
static void put_tickets(const json_t *today, json_t *to)
{
    json_t *called = json_array(), *waiting = json_array();
    size_t i;
    const json_t *t;
    json_array_foreach(json_object_get(today, "tickets"), i, t)
    {
        if (!strcmp(work_text(t, "state"), "waiting")) {
            json_array_append(waiting, json_object_get(t, "ticket"));
        } else if (!json_is_true(json_object_get(t, "lapsed"))) {
            json_array_append_new(called,
                                  json_pack("{s:O, s:O?, s:O}", "ticket", json_object_get(t, "ticket"), "machine",
                                            json_object_get(t, "offered"), "until_ms", json_object_get(t, "until_ms")));
        }
    }
    json_object_set_new(to, "called", called);
    json_object_set_new(to, "waiting", waiting);
}

static const json_t *row_of(const json_t *list, const char *machine)
{
    size_t i;
    const json_t *row;
    json_array_foreach(list, i, row)
    {
        if (!strcmp(work_text(row, "machine"), machine)) {
            return row;
        }
    }
    return NULL;
}

/* One machine: free, kept (for a called ticket), prints (with its expected end), ends (past it), cools (its part is to come off), taken (off,
 * not back yet), out-of-use. */
static json_t *machine_of(const work_context *w, const json_t *today, const json_t *called, const char *name)
{
    const json_t *row = row_of(json_object_get(today, "machines"), name);
    const json_t *run = row_of(json_object_get(today, "runs"), name);
    const char *state = work_text(run, "state");
    bool out = !strcmp(state, "out"), use = !*work_text(row, "state") || !strcmp(work_text(row, "state"), "in-use");
    int64_t end = work_int(run, "end_ms", 0);
    const char *word = !use                                   ? "out-of-use"
                       : !run                                 ? row_of(called, name) ? "kept" : "free"
                       : out && (end == 0 || end > w->now_ms) ? "prints"
                       : out                                  ? "ends"
                       : work_has(run, "off_ms")              ? "taken"
                                                              : "cools";
    json_t *one = json_pack("{s:s, s:s}", "machine", name, "state", word);
    if (run) {
        json_object_set(one, "run", json_object_get(run, "run"));
    }
    for (const char *const *key = (const char *const[]){"end_ms", "end_low_ms", "end_high_ms", NULL}; out && *key;
         key++) {
        if (work_has(run, *key)) {
            json_object_set(one, *key, json_object_get(run, *key));
        }
    }
    return one;
}

static void put_next(const work_context *w, const json_t *today, json_t *to)
{
    int64_t ms = 0;
    const char *name = NULL;
    if (work_next_free(w, today, NULL, NULL, NULL, &ms, &name)) {
        json_object_set_new(to, "next_free_ms", json_integer(ms));
        json_object_set_new(to, "next_machine", json_string(name));
    }
    json_object_set_new(to, "staffed", json_boolean(work_staffed(w, w->now_ms)));
    if (!work_staffed(w, w->now_ms) && work_next_staffed(w, w->now_ms, &ms)) {
        json_object_set_new(to, "opens_ms", json_integer(ms));
    }
}

void desk_do_screen(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    json_t *today = NULL;
    po_err err;
    if (!may_see(desk, rq)) {
        desk_problem(rq, rp, 403, NULL,
                     "this desk does not show the screen without sign-in from here; proveout desk --screen yes does");
        return;
    }
    if (!desk_context_begin(desk, rq, rp, &w)) {
        return;
    }
    if (work_today(&w, &today, &err) != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
        return;
    }
    json_t *to = json_pack("{s:s, s:I}", "format", "proveout/screen/1", "now_ms", (json_int_t)w.now_ms);
    json_t *machines = json_array();
    put_tickets(today, to);
    for (size_t m = 0; m < w.shop->n_machines; m++) {
        json_array_append_new(machines, machine_of(&w, today, json_object_get(to, "called"), w.shop->machines[m].name));
    }
    json_object_set_new(to, "machines", machines);
    put_next(&w, today, to);
    json_decref(today);
    desk_reply_json(rq, rp, to);
}
