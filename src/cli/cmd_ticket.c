/* proveout ticket ...: members who wait for a machine. SPDX-License-Identifier: Apache-2.0
 *
 * The book counts and remembers; how long a called ticket can be claimed and how many may lapse stands in the shop file; when a
 * machine will be free follows from the runs' expected ends. */
#include <string.h>

#include "due.h"
#include "verbs.h"
#include "work/permits.h"

/* When a member's turn will come, of the machines that they may use; after those before them. */
static int expect(desk *d, const char *member, const char *machine, json_t *to)
{
    json_t *today = NULL, *who = NULL;
    int64_t ms = 0;
    const char *name = NULL;
    int status = due_ask(d, &today);
    status = status == EXIT_CLEAR
                 ? desk_ask(d, "member", json_pack("{s:s, s:o}", "member", member, "implies", work_implied(d->shop)),
                            &who)
                 : status;
    if (status == EXIT_CLEAR) {
        if (due_next_free(d, today, member, machine, json_object_get(who, "permissions"), &ms, &name)) {
            json_object_set_new(to, "next_free_ms", json_integer(ms));
            json_object_set_new(to, "next_machine", json_string(name));
            json_object_set_new(to, "free_now", json_boolean(ms <= d->now_ms));
        }
    }
    json_decref(today);
    json_decref(who);
    return status;
}

static int run_take(const cli_call *call)
{
    desk d;
    json_t *body = NULL, *given = NULL, *answer = NULL, *turn = json_object();
    const char *member = NULL, *machine = NULL;
    po_act_done done = {0};
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR) {
        given = json_deep_copy(body);
        member = work_text(given, "member");
        machine = *work_text(given, "machine") ? work_text(given, "machine") : NULL;
        json_object_set_new(body, "no_shows_most", json_integer(d.shop->rules.no_shows_most));
        json_object_set_new(body, "no_show_days", json_integer(d.shop->rules.no_show_days));
        status = desk_act(&d, "ticket-take", body, &done, &answer);
    }
    /* it is booked: what comes after must not make it look as if it were not */
    bool known = status == EXIT_CLEAR && expect(&d, member, machine, turn) == EXIT_CLEAR;
    if (status == EXIT_CLEAR && d.json) {
        json_object_update(answer, turn);
        status = desk_print_json(json_pack("{s:s, s:s, s:I, s:s, s:O}", "format", "proveout/act/1", "act",
                                           "ticket-take", "event", (json_int_t)done.event, "hash", done.hash, "answer",
                                           answer));
    } else if (status == EXIT_CLEAR) {
        desk_tell(&d, "Ticket {ticket} for member {member}; tickets before it: {ahead}.", answer, given);
        if (known && json_is_true(json_object_get(turn, "free_now"))) {
            desk_tell(&d, "{next_machine} is free now: proveout run hand-out takes the ticket with --ticket {ticket}.",
                      turn, answer);
        } else if (known && json_object_get(turn, "next_free_ms")) {
            desk_tell(&d, "Next free about {next_free_ms:time}: {next_machine}.", turn, NULL);
        } else if (known) {
            printf("Nobody knows yet when the next will be free.\n");
        }
        printf("Booked as event %llu.\n", (unsigned long long)done.event);
    }
    json_decref(given);
    json_decref(answer);
    json_decref(turn);
    desk_close(&d);
    return status;
}

/* A machine kept for somebody, and the shop's message to them. */
static int run_call(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR && !json_object_get(body, "until")) {
        json_object_set_new(body, "until",
                            json_integer(d.now_ms + d.shop->rules.ticket_claim_minutes * INT64_C(60000)));
    }
    if (status == EXIT_CLEAR) {
        const char *machine = work_text(body, "machine");
        work_message_words words = {.number = desk_words(&d, json_object_get(body, "ticket"), DESK_COUNT),
                                    .machine = *machine ? machine : NULL,
                                    .until = desk_words(&d, json_object_get(body, "until"), DESK_TIME)};
        const char *text = desk_message(&d, PO_TEXT_TICKET, &words);
        if (text) {
            json_object_set_new(body, "message", json_string(text));
        }
        status = desk_book_and_tell(&d, body);
    }
    desk_close(&d);
    return status;
}

/* Whether it was a no-show counts for the member: it is never taken for granted. */
static int run_pass(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    bool no_show = cli_value(call, "no-show") != NULL, declined = cli_value(call, "declined") != NULL;
    if (no_show == declined) {
        return cli_fail(EXIT_USAGE, "say one of --no-show (nobody came in time) and --declined (the member was there "
                                    "and did not want it)");
    }
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR) {
        json_object_set_new(body, "no_show", json_boolean(no_show));
        status = desk_book_and_tell(&d, body);
    }
    desk_close(&d);
    return status;
}

/* "waiting", "called", "lapsed", and for a screen in public no word of whom. */
static int run_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Ticket", "ticket", DESK_COUNT, 0, true},     {"State", "shown", DESK_TEXT, 0, false},
        {"Machine", "offered", DESK_TEXT, 20, false},  {"Until", "until_ms", DESK_TIME, 0, false},
        {"Member", "member", DESK_TEXT, 20, false},    {"Waits for", "machine", DESK_TEXT, 20, false},
        {"Takes", "seconds", DESK_SPAN, 0, false},     {"Since", "taken_ms", DESK_TIME, 0, false},
        {"No-shows", "no_shows", DESK_COUNT, 0, true}, {"Run", "run", DESK_COUNT, 0, true},
    };
    desk d;
    json_t *answer = NULL, *p = json_object();
    bool public = cli_value(call, "public") != NULL, all = cli_value(call, "all") != NULL;
    int status = public && all ? cli_fail(EXIT_USAGE, "--public is of those that wait or are called; leave --all away")
                               : EXIT_CLEAR;
    if (status != EXIT_CLEAR) {
        json_decref(p);
        return status;
    }
    status = desk_open(&d, call);
    if (status == EXIT_CLEAR) {
        json_object_set_new(p, public ? "public" : "all", json_boolean(public || all));
        if (!public) {
            int64_t since = d.now_ms - d.shop->rules.no_show_days * INT64_C(86400000);
            json_object_set_new(p, "no_shows_since", json_integer(since > 0 ? since : 0));
        }
        status = desk_ask(&d, "tickets", p, &answer);
    } else {
        json_decref(p);
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        json_t *list = json_object_get(answer, "tickets");
        for (size_t i = 0; i < json_array_size(list); i++) {
            json_t *t = json_array_get(list, i);
            json_object_set_new(t, "shown",
                                json_string(json_is_true(json_object_get(t, "lapsed"))    ? "lapsed"
                                            : json_is_true(json_object_get(t, "no_show")) ? "no-show"
                                                                                          : work_text(t, "state")));
            if (work_int(t, "no_shows", 0) == 0) {
                json_object_del(t, "no_shows");
            }
        }
        desk_table(&d, list, columns, sizeof columns / sizeof columns[0], "Nobody waits.");
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

static const cli_option options_take[] = {
    DESK_OPTIONS,
    {.name = "machine",
     .value = "NAME",
     .says = "waits for this one only; else for any",
     .field = "machine",
     .unit = DESK_MACHINE},
    {.name = "takes", .value = "H:MM", .says = "how long the run will take", .field = "seconds", .unit = DESK_SPAN},
};
static const cli_option options_call[] = {
    DESK_OPTIONS,
    {.name = "machine",
     .value = "NAME",
     .says = "the machine that is kept for the ticket",
     .field = "machine",
     .unit = DESK_MACHINE},
    {.name = "until",
     .value = "TIME",
     .says = "to be claimed until then; else the shop's ticket_claim_minutes from now",
     .field = "until",
     .unit = DESK_UNTIL},
};
static const cli_option options_pass[] = {
    DESK_OPTIONS,
    {.name = "no-show", .says = "its time is up and nobody came: it is counted"},
    {.name = "declined", .says = "the member did not want it: not counted"},
};
static const cli_option options_plain[] = {DESK_OPTIONS};
static const cli_option options_list[] = {
    DESK_OPTIONS,
    {.name = "public", .says = "for a screen that everybody sees: numbers, never who"},
    {.name = "all", .says = "those too that were claimed, passed on or left, the latest first"},
};
static const cli_example examples_take[] = {
    {"proveout ticket take 10041", "for whichever machine is free first"},
    {"proveout ticket take 10041 --machine Dogwood --takes 3:10", "for Dogwood only"},
};
static const cli_example examples_call[] = {
    {"proveout ticket call 1 --machine Cedar", "Cedar is kept for it, for the shop's minutes"},
};
static const cli_example examples_pass[] = {
    {"proveout ticket pass 1 --declined", "the member is there and lets it go"},
    {"proveout ticket pass 12 --no-show", "nobody came; the next can be called"},
};
static const cli_example examples_leave[] = {
    {"proveout ticket leave 12", "the member waits no more"},
};
static const cli_example examples_list[] = {
    {"proveout ticket list", "who waits, in turn"},
    {"proveout ticket list --public", "for the screen by the door"},
};

#define OPTIONS(list) .options = list, .n_options = sizeof list / sizeof list[0]
#define EXAMPLES(list) .examples = list, .n_examples = sizeof list / sizeof list[0]

const cli_verb cli_ticket_verbs[] = {
    {
        .name = "ticket take",
        .operands = "MEMBER",
        .least = 1,
        .most = 1,
        OPTIONS(options_take),
        .line = "a member waits for a machine",
        .help =
            "Takes a number for a member when all machines are out, and says when the next is likely to be free: by "
            "the expected ends of the runs, of the machines that the member may use, with those who wait already "
            "before them. A member has one ticket at a time. Who let more tickets lapse than the shop bears "
            "(no_shows_most within no_show_days) gets one from the keeper only.",
        EXAMPLES(examples_take),
        .run = run_take,
        .act = "ticket-take",
        .fills = {{"member", DESK_ID}},
    },
    {
        .name = "ticket call",
        .operands = "NUMBER",
        .least = 1,
        .most = 1,
        OPTIONS(options_call),
        .line = "a machine is free for a ticket",
        .help = "Calls a ticket: a machine can be claimed until a time. A machine is kept for one ticket at a time. "
                "Where the shop sends messages (outbox), one is put into the outbox. A hand-out to the member with "
                "--ticket claims it. When the time is up nothing happens by itself: the list shows that it lapsed, "
                "and ticket pass books it.",
        EXAMPLES(examples_call),
        .run = run_call,
        .act = "ticket-call",
        .fills = {{"ticket", DESK_COUNT}},
        .done = "Ticket {ticket} (member {member}) is called[ to {machine}], to be claimed until {until:time}.",
    },
    {
        .name = "ticket pass",
        .operands = "NUMBER",
        .least = 1,
        .most = 1,
        OPTIONS(options_pass),
        .line = "a called ticket was not claimed",
        .help = "Books that a called ticket was not claimed and passes on. Say whether it was a no-show, which counts "
                "for the member, or whether they declined.",
        EXAMPLES(examples_pass),
        .run = run_pass,
        .act = "ticket-pass",
        .fills = {{"ticket", DESK_COUNT}},
        .done = "Ticket {ticket} has passed on.",
    },
    {
        .name = "ticket leave",
        .operands = "NUMBER",
        .least = 1,
        .most = 1,
        OPTIONS(options_plain),
        .line = "a member waits no more",
        .help = "Takes a ticket off the list, called or not, because the member waits no more.",
        EXAMPLES(examples_leave),
        .run = desk_run_act,
        .act = "ticket-leave",
        .fills = {{"ticket", DESK_COUNT}},
        .done = "Ticket {ticket} is off the list.",
    },
    {
        .name = "ticket list",
        .operands = "",
        OPTIONS(options_list),
        .line = "who waits, in turn",
        .help =
            "Lists the tickets that wait or are called, in turn, with those whose time has lapsed and the no-shows of "
            "their members.",
        EXAMPLES(examples_list),
        .run = run_list,
    },
    {.name = NULL},
};
