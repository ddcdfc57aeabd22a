/* What the verbs of runs share: a run asked for, messages, a place of the shelf, several acts booked. SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdarg.h>
#include <string.h>

#include "due.h"
#include "run_verbs.h"

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
    const char *metres = desk_words(d, json_object_get(run, "reserved_um"), DESK_M);
    json_t *until = json_integer(until_ms);
    work_message_words words = {
        .run = desk_words(d, json_object_get(run, "run"), DESK_COUNT),
        .machine = json_string_value(json_object_get(run, "machine")),
        .metres = po_arena_printf(d->arena, "%.*s", (int)strcspn(metres, " "), metres), /* the number alone */
        .place = place ? po_arena_printf(d->arena, "%" PRId64, place) : NULL,
        .until = until_ms ? desk_words(d, until, DESK_UNTIL) : NULL,
    };
    const char *text = cli_value(d->call, "quiet") ? NULL : desk_message(d, kind, &words);
    if (text) {
        json_object_set_new(body, "message", json_string(text));
    }
    json_decref(until);
}

/* The end of the day after so many. */
static int64_t kept_until(const desk *d)
{
    po_wall_time wall;
    if (!desk_wall(d->shop, d->now_ms, &wall, NULL)) {
        return 0;
    }
    wall.minute = 0;
    int64_t ms = desk_ms(d->shop, po_wall_add(wall, (long)(d->shop->rules.shelf_days + 1) * 1440));
    return ms > 0 ? ms : 0;
}

int run_add_place(desk *d, json_t *body, int64_t *ret_place, int64_t *ret_until_ms)
{
    json_t *shelf = NULL;
    int places = d->shop->rules.shelf_places;
    int64_t place = work_int(body, "place", 0);
    int status = EXIT_CLEAR;
    if (!place) {
        status = desk_ask(d, "shelf", json_pack("{s:i}", "limit", 1), &shelf);
        place = work_int(shelf, "next_place", 0);
        if (status == EXIT_CLEAR && place > places) {
            status = run_refuse(d, d->call->verb->act, "place",
                                "all %d places of the shelf are taken: proveout shelf list --overdue shows what can "
                                "go, or give the part to its member",
                                places);
        }
        json_object_set_new(body, "place", json_integer(place));
    } else if (place > places) {
        status = cli_fail(EXIT_USAGE, "there is no place %" PRId64 ": the shelf has %d (rules.shelf_places)", place,
                          places);
    }
    if (!json_object_get(body, "kept_until")) {
        json_object_set_new(body, "kept_until", json_integer(kept_until(d)));
    }
    *ret_place = place;
    *ret_until_ms = work_int(body, "kept_until", 0);
    json_decref(shelf);
    return status;
}

void run_add_counts(const desk *d, json_t *body)
{
    const char *outcome = work_text(body, "outcome"), *word = work_text(body, "cause");
    po_run_cause cause = PO_CAUSE_UNKNOWN;
    bool broke = !strcmp(outcome, "failed") || !strcmp(outcome, "stopped");
    (void)po_cause_from_name(word, &cause);
    if (broke && !*word) {
        json_object_set_new(body, "cause", json_string(po_cause_name(cause)));
    }
    if (!json_object_get(body, "counts")) {
        json_object_set_new(body, "counts", json_boolean(!broke || d->shop->rules.counts_when_failed[cause]));
    }
    if (!json_object_get(body, "rerun_first")) {
        json_object_set_new(body, "rerun_first", json_boolean(broke && d->shop->rules.rerun_first[cause]));
    }
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
