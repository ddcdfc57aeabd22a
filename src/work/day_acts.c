/* The acts that one press does for a row of what is due. SPDX-License-Identifier: Apache-2.0
 *
 * Each body is whole: what the shop file decides (how long a ticket holds, how long a part is kept, what the member hears) is in it
 * already. An act that says that something was seen at a machine is offered only where looking is all it takes; whoever clears a
 * machine that was tagged out, or weighs, goes to the form. */
#include <string.h>

#include "work/day.h"
#include "work/message.h"
#include "work/run_acts.h"

static void offer(json_t *row, const char *word, const char *act, json_t *body)
{
    json_t *acts = json_object_get(row, "acts");
    if (!acts) {
        acts = json_array();
        json_object_set_new(row, "acts", acts);
    }
    json_array_append_new(acts, json_pack("{s:s, s:s, s:o}", "word", word, "act", act, "body", body));
}

/* The row's "about" holds of the run what its messages name. until_ms, place: 0: none. */
static json_t *with_message(const work_context *w, json_t *body, po_text_kind kind, const json_t *about, int64_t place,
                            int64_t until_ms)
{
    const char *text = work_run_message(w, kind, about, place, until_ms);
    if (body && text) {
        json_object_set_new(body, "message", json_string(text));
    }
    return body;
}

static void offer_off(const work_context *w, json_t *row, const json_t *about, int64_t next_place)
{
    json_int_t run = work_int(about, "run", 0);
    int64_t until = work_kept_until(w);
    if (next_place > 0) {
        json_t *body = json_pack("{s:I, s:s, s:I}", "run", run, "to", "shelf", "place", (json_int_t)next_place);
        if (until > 0) {
            json_object_set_new(body, "kept_until", json_integer(until));
        }
        offer(row, "shelf", "run-off", with_message(w, body, PO_TEXT_COLLECT, about, next_place, until));
    }
    offer(row, "member", "run-off", json_pack("{s:I, s:s}", "run", run, "to", "member"));
    offer(row, "waste", "run-off", json_pack("{s:I, s:s}", "run", run, "to", "waste"));
}

static void offer_call(const work_context *w, json_t *row, const json_t *about, const char *word, const char *machine)
{
    int64_t until = w->now_ms + w->shop->rules.ticket_claim_minutes * INT64_C(60000);
    json_t *body = json_pack("{s:O, s:I}", "ticket", json_object_get(about, "ticket"), "until", (json_int_t)until);
    if (*machine) {
        json_object_set_new(body, "machine", json_string(machine));
    }
    work_message_words words = {
        .number = po_arena_printf(w->arena, "%lld", (long long)work_int(about, "ticket", 0)),
        .machine = *machine ? machine : NULL,
        .until = work_time_words(w, until),
    };
    const char *text = work_message(w, PO_TEXT_TICKET, &words);
    if (body && text) {
        json_object_set_new(body, "message", json_string(text));
    }
    offer(row, word, "ticket-call", body);
}

static json_t *pass(const json_t *about, bool no_show)
{
    return json_pack("{s:O, s:b}", "ticket", json_object_get(about, "ticket"), "no_show", no_show);
}

static void offer_shelf(const work_context *w, json_t *row, const json_t *about)
{
    json_int_t run = work_int(about, "run", 0);
    const char *text = work_run_message(w, PO_TEXT_COLLECT, about, work_int(about, "place", 0), 0);
    offer(row, "collected", "shelf-collect", json_pack("{s:I}", "run", run));
    if (text) {
        offer(row, "remind", "message-put",
              json_pack("{s:s, s:s, s:s, s:I}", "member", work_text(about, "member"), "kind", "collect", "text", text,
                        "run", run));
    }
}

static void offer_for(const work_context *w, json_t *row, int64_t next_place)
{
    const char *kind = work_text(row, "kind");
    const json_t *about = json_object_get(row, "about");
    json_int_t run = work_int(about, "run", 0);
    if (!strcmp(kind, "watch")) {
        offer(row, "good", "run-watched", json_pack("{s:I, s:s}", "run", run, "first_layer", "good"));
        offer(row, "poor", "run-watched", json_pack("{s:I, s:s}", "run", run, "first_layer", "poor"));
    } else if (!strcmp(kind, "start")) {
        offer(row, "start", "run-start",
              json_pack("{s:I, s:b, s:b, s:b, s:b, s:b}", "run", run, "heated", 1, "stream_steady", 1, "bed_clean", 1,
                        "gap_good", 1, "spool_right", 1));
    } else if (!strncmp(kind, "end", 3)) {
        offer(row, "ended", "run-ended", with_message(w, json_pack("{s:I}", "run", run), PO_TEXT_DONE, about, 0, 0));
    } else if (!strcmp(kind, "off") || !strcmp(kind, "part-left")) {
        offer_off(w, row, about, next_place);
    } else if (!strcmp(kind, "ticket-next")) {
        offer_call(w, row, about, "call", work_text(about, "machine"));
    } else if (!strcmp(kind, "ticket-lapsed")) {
        offer(row, "no-show", "ticket-pass", pass(about, true));
        offer_call(w, row, about, "call-again", work_text(about, "offered"));
    } else if (!strcmp(kind, "ticket-called")) {
        offer(row, "declined", "ticket-pass", pass(about, false));
    } else if (!strcmp(kind, "dry")) {
        offer(row, "dried", "spool-dried", json_pack("{s:O}", "spool", json_object_get(about, "spool")));
    } else if (!strcmp(kind, "overdue")) {
        offer_shelf(w, row, about);
    } else if (!strcmp(kind, "gap")) {
        offer(row, "gap", "machine-gap", json_pack("{s:O}", "machine", json_object_get(about, "machine")));
    }
}

void work_day_acts(const work_context *w, json_t *due, int64_t next_place)
{
    size_t i;
    json_t *row;
    json_array_foreach(due, i, row)
    {
        offer_for(w, row, next_place);
    }
}
