/* What the verbs of runs share: a run asked for, messages, a place of the shelf, several acts booked. SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdarg.h>
#include <string.h>

#include "due.h"
#include "run_verbs.h"
#include "work/run_acts.h"

int run_ask(desk *d, int64_t run, json_t **ret)
{
    return desk_ask(d, "run", json_pack("{s:I}", "run", (json_int_t)run), ret);
}

int run_of_body(desk *d, const json_t *body, json_t **ret)
{
    return run_ask(d, work_int(body, "run", 0), ret);
}

int run_refuse(const desk *d, const char *what, const char *field, const char *format, ...)
{
    char says[600];
    va_list list;
    va_start(list, format);
    vsnprintf(says, sizeof says, format, list);
    va_end(list);
    if (d->json) {
        cli_json j = {.out = stdout};
        cli_json_open(&j, NULL, '{');
        cli_json_text(&j, "format", "proveout/refusal/1");
        cli_json_text(&j, "what", what);
        cli_json_text(&j, "says", says);
        cli_json_text(&j, "field", field);
        cli_json_close(&j, '}');
        fputc('\n', stdout);
    }
    return cli_fail(EXIT_STOP, "%s", says);
}

void run_add_message(desk *d, json_t *body, po_text_kind kind, const json_t *run, int64_t place, int64_t until_ms)
{
    work_context w = desk_work(d);
    const char *text = cli_value(d->call, "quiet") ? NULL : work_run_message(&w, kind, run, place, until_ms);
    if (text) {
        json_object_set_new(body, "message", json_string(text));
    }
}

int run_refused_place(desk *d, const work_context *w, const po_err *err)
{
    bool place = !strcmp(err->where, "place");
    return place && err->code == PO_E_CONFLICT ? run_refuse(d, d->call->verb->act, "place", "%s", err->msg)
           : place && err->code == PO_E_RANGE  ? cli_fail(EXIT_USAGE, "%s", err->msg)
           : w->asked                          ? desk_refused(d, w->asked, err)
                                               : cli_fail_err(err);
}

int run_add_place(desk *d, json_t *body, int64_t *ret_place, int64_t *ret_until_ms)
{
    work_context w = desk_work(d);
    po_err err;
    return work_shelf_place(&w, body, ret_place, ret_until_ms, &err) == PO_OK ? EXIT_CLEAR
                                                                              : run_refused_place(d, &w, &err);
}

void run_add_counts(const desk *d, json_t *body)
{
    work_outcome_counts(d->shop, body);
}

int run_print_acts(const char *const *acts, const po_act_done *done, json_t *const *answers, size_t n,
                   const json_t *extra)
{
    json_t *list = json_array(), *object = json_pack("{s:s}", "format", "proveout/acts/1");
    for (size_t i = 0; i < n; i++) {
        json_array_append_new(list, json_pack("{s:s, s:I, s:s, s:O*}", "act", acts[i], "event",
                                              (json_int_t)done[i].event, "hash", done[i].hash, "answer", answers[i]));
    }
    json_object_set_new(object, "acts", list);
    if (extra) {
        json_object_update_missing(object, (json_t *)(uintptr_t)extra);
    }
    return desk_print_json(object);
}

void run_tell_events(const po_act_done *done, size_t n)
{
    if (n == 1) {
        printf("Booked as event %llu.\n", (unsigned long long)done[0].event);
    } else {
        printf("Booked as events %llu to %llu.\n", (unsigned long long)done[0].event,
               (unsigned long long)done[n - 1].event);
    }
}

void run_next_ticket(desk *d, const char *machine, json_t *to, bool tell)
{
    json_t *answer = NULL, *tickets;
    if (desk_ask(d, "tickets", NULL, &answer) != EXIT_CLEAR) {
        return; /* it is booked all the same */
    }
    tickets = json_object_get(answer, "tickets");
    for (size_t i = 0; i < json_array_size(tickets); i++) {
        json_t *t = json_array_get(tickets, i);
        const char *wants = work_text(t, "machine");
        if (strcmp(work_text(t, "state"), "waiting") != 0 || (*wants && strcmp(wants, machine) != 0)) {
            continue;
        }
        if (to) {
            json_object_set(to, "next_ticket", t);
        }
        json_t *here = json_pack("{s:s}", "here", machine);
        if (tell) {
            desk_tell(d,
                      "Next: ticket {ticket} of member {member}, waiting since {taken_ms:time}: proveout ticket call "
                      "{ticket} --machine {here}.",
                      t, here);
        }
        json_decref(here);
        break;
    }
    json_decref(answer);
}
