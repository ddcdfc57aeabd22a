/* proveout outbox ...: what members should hear, and sending it. SPDX-License-Identifier: Apache-2.0
 *
 * A message is handed to the command that the shop file names, once, with a time limit; what could not be sent stays. Between
 * the command's end and the book's word for it the power may go: then it is sent once more, never lost. Who sends holds a lock
 * beside the book, so that two who send at once do not both write to the same member. */
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

#include "due.h"
#include "outbox_run.h"
#include "verbs.h"

enum { SENT_AT_ONCE = 1000 };

static int run_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Message", "message", DESK_COUNT, 0, true}, {"State", "state", DESK_TEXT, 0, false},
        {"Member", "member", DESK_TEXT, 20, false},  {"Kind", "kind", DESK_TEXT, 0, false},
        {"Run", "run", DESK_COUNT, 0, true},         {"Since", "at_ms", DESK_TIME, 0, false},
        {"Tries", "tries", DESK_COUNT, 0, true},     {"Why", "why", DESK_TEXT, 44, false},
        {"Text", "text", DESK_TEXT, 0, false},
    };
    desk d;
    json_t *answer = NULL;
    const char *state = cli_value(call, "state");
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR
                 ? desk_ask(&d, "outbox",
                            state && !strcmp(state, "all") ? NULL
                                                           : json_pack("{s:s}", "state", state ? state : "waiting"),
                            &answer)
                 : status;
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        desk_table(&d, json_object_get(answer, "messages"), columns, sizeof columns / sizeof columns[0],
                   state ? "There is no such message." : "No message waits.");
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

/* Whoever sends holds this until the program ends. */
static int lock(desk *d, int *ret_fd)
{
    const char *path = po_arena_printf(d->arena, "%s.sending", d->ledger_path);
    int fd = path ? open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600) : -1;
    if (fd < 0) {
        return cli_fail(EXIT_USAGE, "%s: %s", path ? path : "the lock", strerror(errno));
    }
    if (flock(fd, LOCK_EX | LOCK_NB) != 0) {
        close(fd);
        return cli_fail(EXIT_STOP, "somebody else is sending the outbox's messages just now; look with proveout outbox "
                                   "list");
    }
    *ret_fd = fd;
    return EXIT_CLEAR;
}

/* Where a member is written to. NULL: nowhere, and why. gone: nobody of that number will be. */
static const char *contact_of(desk *d, const char *member, bool *ret_gone, char *why, size_t n_why)
{
    json_t *p = json_pack("{s:s}", "member", member), *answer = NULL;
    char *body = p ? json_dumps(p, JSON_COMPACT) : NULL;
    const char *json = NULL, *contact = NULL;
    po_err err;
    po_status s = body ? po_ledger_ask(d->ledger, "member", body, d->arena, &json, &err) : PO_E_NOMEM;
    *ret_gone = s == PO_E_NOTFOUND;
    if (s != PO_OK) {
        snprintf(why, n_why, "%s", body ? err.msg : "memory ran out");
    } else if ((answer = json_loads(json, 0, NULL))) {
        contact = json_is_string(json_object_get(answer, "contact"))
                      ? po_arena_text(d->arena, work_text(answer, "contact"))
                      : NULL;
        snprintf(why, n_why, "the book has no contact of member %s; proveout member name gives one", member);
    }
    if (contact && !outbox_contact_fits(contact)) {
        contact = NULL;
        snprintf(why, n_why, "the contact of member %s begins with - or holds signs that no contact has", member);
    }
    json_decref(answer);
    json_decref(p);
    free(body);
    return contact;
}

static int book(desk *d, int64_t message, const char *act, const char *key, const char *why)
{
    json_t *body = json_pack("{s:I}", "message", (json_int_t)message);
    if (body && key) {
        json_object_set_new(body, key, json_string(why));
    }
    return desk_act(d, act, body, NULL, NULL);
}

typedef struct tally {
    int n_sent, n_failed, n_dropped;
    json_t *list;
} tally;

/* One message: sent, failed or dropped, and booked as such. */
static int send_one(desk *d, const json_t *m, int limit, bool dry, tally *t)
{
    char why[400] = "", said[240] = "";
    char *argv[OUTBOX_WORDS_MOST + 2];
    bool gone = false, sent = false;
    long long id = work_int(m, "message", 0);
    const char *member = work_text(m, "member"), *contact = contact_of(d, member, &gone, why, sizeof why);
    int status = EXIT_CLEAR;
    if (contact && !outbox_words(d->shop->outbox.command, contact, d->arena, argv)) {
        return cli_fail(EXIT_USAGE, "outbox.command of the shop file has more than %d words", OUTBOX_WORDS_MOST);
    }
    if (contact && !dry) {
        sent = outbox_run(argv, work_text(m, "text"), limit, why, sizeof why, said, sizeof said);
    }
    const char *state = gone ? "dropped" : sent ? "sent" : contact && dry ? "would be sent" : "failed";
    if (!dry) {
        status = gone   ? book(d, id, "message-drop", "reason", why)
                 : sent ? book(d, id, "message-sent", NULL, NULL)
                        : book(d, id, "message-failed", "why", why);
    }
    if (said[0] && !sent) { /* after the booking: the book keeps it for ever, and the line may hold the contact */
        size_t n = strlen(why);
        snprintf(why + n, sizeof why - n, ": %s", said);
    }
    t->n_sent += !strcmp(state, "sent") || !strcmp(state, "would be sent");
    t->n_dropped += gone;
    t->n_failed += !strcmp(state, "failed");
    json_array_append_new(t->list,
                          json_pack("{s:I, s:s, s:s, s:s?}", "message", (json_int_t)id, "member", member, "state",
                                    state, "why", *why && !sent && strcmp(state, "would be sent") ? why : NULL));
    return status;
}

static void tell(const desk *d, const tally *t, bool dry, bool more)
{
    static const desk_column columns[] = {
        {"Message", "message", DESK_COUNT, 0, true},
        {"Member", "member", DESK_TEXT, 20, false},
        {"State", "state", DESK_TEXT, 0, false},
        {"Why", "why", DESK_TEXT, 60, false},
    };
    desk_table(d, t->list, columns, sizeof columns / sizeof columns[0], "No message waits.");
    if (json_array_size(t->list) > 0) {
        printf("%d %s, %d failed%s", t->n_sent, dry ? "would be sent" : "sent", t->n_failed,
               t->n_failed && !dry ? " and stay in the outbox" : "");
        if (t->n_dropped) {
            printf(", %d %s", t->n_dropped, dry ? "would be dropped" : "dropped");
        }
        printf(".%s\n", more ? " More wait: send again." : "");
    }
}

static int run_send(const cli_call *call)
{
    desk d;
    json_t *answer = NULL;
    tally t = {.list = json_array()};
    double limit = OUTBOX_LIMIT_SECONDS;
    int fd = -1;
    bool dry = cli_value(call, "dry-run") != NULL;
    int status = desk_open(&d, call);
    if (status == EXIT_CLEAR && cli_value(call, "limit") && !cli_number(cli_value(call, "limit"), 1, 600, &limit)) {
        status = cli_fail(EXIT_USAGE, "--limit %s: expected seconds from 1 to 600", cli_value(call, "limit"));
    }
    if (status == EXIT_CLEAR && (!d.shop->outbox.command || (!d.shop->outbox.on && !dry))) {
        status = cli_fail(EXIT_USAGE,
                          d.shop->outbox.command
                              ? "the shop sends no messages: set on: true under outbox in the shop file, or "
                                "look with --dry-run"
                              : "the shop file names no command that sends messages; name one under outbox, "
                                "with on: true");
    }
    status = status == EXIT_CLEAR && !dry ? lock(&d, &fd) : status;
    json_t *p = json_pack("{s:s, s:i}", "state", "waiting", "limit", SENT_AT_ONCE);
    if (status == EXIT_CLEAR && call->n_args > 0) {
        json_t *number = desk_value(&d, "message", call->args[0], DESK_COUNT);
        json_object_del(p, "limit");
        status = number && json_object_set_new(p, "message", number) == 0 ? status : EXIT_USAGE;
    }
    if (status == EXIT_CLEAR) {
        status = desk_ask(&d, "outbox", json_incref(p), &answer);
    }
    json_decref(p);
    const json_t *list = json_object_get(answer, "messages");
    bool more = json_is_true(json_object_get(answer, "more"));
    for (size_t i = 0; status == EXIT_CLEAR && i < json_array_size(list); i++) {
        status = send_one(&d, json_array_get(list, i), (int)limit, dry, &t);
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_pack("{s:s, s:b, s:i, s:i, s:i, s:b, s:O}", "format", "proveout/outbox-send/1",
                                           "dry_run", dry, "sent", t.n_sent, "failed", t.n_failed, "dropped",
                                           t.n_dropped, "more", more, "messages", t.list));
    } else if (status == EXIT_CLEAR) {
        tell(&d, &t, dry, more);
    }
    if (fd >= 0) {
        close(fd);
    }
    json_decref(answer);
    json_decref(t.list);
    desk_close(&d);
    return status == EXIT_CLEAR && t.n_failed > 0 ? EXIT_ASK : status;
}

static int run_put(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR && !json_object_get(body, "kind")) {
        json_object_set_new(body, "kind", json_string("other"));
    }
    status = status == EXIT_CLEAR ? desk_book_and_tell(&d, body) : status;
    desk_close(&d);
    return status;
}

static const cli_option options_list[] = {
    DESK_OPTIONS,
    {.name = "state", .value = "WORD", .says = "waiting (the usual), sent, dropped or all"},
};
static const cli_option options_send[] = {
    DESK_OPTIONS,
    {.name = "dry-run", .says = "say what would be sent; send and book nothing"},
    {.name = "limit", .value = "SECONDS", .says = "how long one message may take; else 30"},
};
static const cli_option options_drop[] = {
    DESK_OPTIONS,
    {.name = "reason", .value = "TEXT", .says = "why it is not sent", .field = "reason"},
};
static const cli_option options_put[] = {
    DESK_OPTIONS,
    {.name = "kind",
     .value = "WORD",
     .says = "failed, done, collect, hands, ticket or other (the usual)",
     .field = "kind"},
    {.name = "run", .value = "RUN", .says = "the run that it is about", .field = "run", .unit = DESK_COUNT},
};
static const cli_example examples_list[] = {
    {"proveout outbox list", "what waits to be sent"},
    {"proveout outbox list --state sent", "what went out lately"},
};
static const cli_example examples_send[] = {
    {"proveout outbox send --dry-run", "what would be sent, to whom"},
    {"proveout outbox send", "every few minutes, by the system's timer say"},
};
static const cli_example examples_drop[] = {
    {"proveout outbox drop 1 --reason \"said in person\"", "it is not sent"},
};
static const cli_example examples_put[] = {
    {"proveout outbox put 10041 \"Your bottle was found; it is at the desk.\"", "something else a member should hear"},
};

#define OPTIONS(list) .options = list, .n_options = sizeof list / sizeof list[0]
#define EXAMPLES(list) .examples = list, .n_examples = sizeof list / sizeof list[0]

const cli_verb cli_outbox_verbs[] = {
    {
        .name = "outbox list",
        .operands = "",
        OPTIONS(options_list),
        .line = "messages that wait, or went out",
        .help = "Lists messages: those that wait in the order in which they will be sent, others the latest first. A "
                "message names a member's number; the contact is looked up when it is sent.",
        EXAMPLES(examples_list),
        .run = run_list,
    },
    {
        .name = "outbox put",
        .operands = "MEMBER TEXT",
        .least = 2,
        .most = 2,
        OPTIONS(options_put),
        .line = "something a member should hear",
        .help =
            "Puts a message for a member into the outbox. The text stays in the book for good: leave names and private "
            "matters out of it.",
        EXAMPLES(examples_put),
        .run = run_put,
        .act = "message-put",
        .fills = {{"member", DESK_ID}, {"text", DESK_TEXT}},
        .done = "Message {message} to member {member} waits in the outbox.",
    },
    {
        .name = "outbox drop",
        .operands = "MESSAGE",
        .least = 1,
        .most = 1,
        OPTIONS(options_drop),
        .line = "a message is not sent",
        .help = "Takes a message out of the outbox without sending it.",
        EXAMPLES(examples_drop),
        .run = desk_run_act,
        .act = "message-drop",
        .fills = {{"message", DESK_COUNT}},
        .done = "Message {message} will not be sent.",
    },
    {
        .name = "outbox send",
        .operands = "[MESSAGE]",
        .most = 1,
        OPTIONS(options_send),
        .line = "send what waits by the shop's command",
        .help =
            "Runs the command that the shop file names (outbox.command), once for each message that waits, or for one. "
            "The command is parted into words at its blanks and run without a shell; {contact} in it becomes the "
            "member's contact, which else is its last word; the text is its standard input. When it ends with 0, the "
            "message is booked as sent; else it stays in the outbox with how it ended, and is tried again next time; "
            "what the command "
            "said of it is shown and not kept, for it may hold whom it wrote to. "
            "Nothing is sent unless the shop file says on: true. Exit status 1: some could not be sent.",
        EXAMPLES(examples_send),
        .run = run_send,
    },
    {.name = NULL},
};
