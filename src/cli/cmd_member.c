/* proveout member ...: who may use the machines, what they have left, what they owe. SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "listing.h"
#include "verbs.h"
#include "work/permits.h"

/* ---- one member ---- */

/* An amount in its own currency: the shop may have changed its. */
static const char *money_words(const desk *d, const json_t *minor, const json_t *currency)
{
    const char *code = json_string_value(currency);
    return code && d->shop->currency && strcmp(code, d->shop->currency) != 0
               ? po_arena_printf(d->arena, "%lld minor units of %s", (long long)json_integer_value(minor), code)
               : desk_words(d, minor, DESK_MONEY);
}

static void tell_owed(const desk *d, const json_t *owed)
{
    bool any = false;
    for (size_t i = 0; i < json_array_size(owed); i++) {
        const json_t *row = json_array_get(owed, i), *currency = json_object_get(row, "currency");
        json_int_t minor = json_integer_value(json_object_get(row, "owed_minor"));
        json_t *size = json_integer(minor < 0 ? -minor : minor);
        if (minor != 0) {
            printf(minor > 0 ? "Owes %s.\n" : "Has %s with the shop.\n", money_words(d, size, currency));
            any = true;
        }
        json_decref(size);
    }
    if (!any) {
        printf("Owes nothing.\n");
    }
}

/* The book's three answers about a member, in one object. */
static int ask_member(desk *d, const char *member, json_t **ret)
{
    json_t *answer = NULL, *waivers = NULL, *money = NULL;
    int status = desk_ask(d, "member",
                          json_pack("{s:s, s:o, s:I}", "member", member, "implies", work_implied(d->shop),
                                    "run_limit_um", (json_int_t)(d->shop->rules.allowance_m_per_run * 1e6 + 0.5)),
                          &answer);
    status = status == EXIT_CLEAR
                 ? desk_ask(d, "waivers", json_pack("{s:s, s:b}", "member", member, "holding", 1), &waivers)
                 : status;
    status = status == EXIT_CLEAR ? desk_ask(d, "money", json_pack("{s:s, s:i}", "member", member, "limit", 20), &money)
                                  : status;
    if (status == EXIT_CLEAR) {
        json_object_set(answer, "waivers", json_object_get(waivers, "waivers"));
        json_object_set(answer, "owed", json_object_get(money, "owed"));
        json_object_set(answer, "money", json_object_get(money, "entries"));
        *ret = json_incref(answer);
    }
    json_decref(answer);
    json_decref(waivers);
    json_decref(money);
    return status;
}

static void print_member(const desk *d, const json_t *m)
{
    static const desk_column lines[] = {
        {"member", "member", DESK_TEXT, 0, false},
        {"name", "name", DESK_TEXT, 0, false},
        {"contact", "contact", DESK_TEXT, 0, false},
        {"role", "role", DESK_TEXT, 0, false},
        {"suspended", "suspended", DESK_TEXT, 0, false},
        {"until", "suspended_until_ms", DESK_UNTIL, 0, false},
        {"may use", "permissions", DESK_TEXT, 0, false},
        {"term", "balance/term", DESK_TEXT, 0, false},
        {"until", "balance/term_until_ms", DESK_UNTIL, 0, false},
        {"allowance", "balance/allowance_um", DESK_M, 0, false},
        {"used", "balance/charged_um", DESK_M, 0, false},
        {"left", "balance/left_um", DESK_M, 0, false},
        {"waivers left", "balance/waivers_left_um", DESK_M, 0, false},
        {"one run now", "balance/one_run_um", DESK_M, 0, false},
    };
    static const desk_column permits[] = {
        {"Permission", "permission", DESK_TEXT, 24, false},
        {"Until", "until_ms", DESK_UNTIL, 0, false},
        {"Granted", "given_ms", DESK_DAY, 0, false},
        {"By", "given_by", DESK_TEXT, 16, false},
    };
    static const desk_column waivers[] = {
        {"Waiver", "waiver", DESK_COUNT, 0, true},   {"Left", "left_um", DESK_M, 0, true},
        {"Until", "until_ms", DESK_UNTIL, 0, false}, {"Job", "sha256", DESK_TEXT, 9, false},
        {"Reason", "reason", DESK_TEXT, 60, false},
    };
    static const desk_column runs[] = {
        {"Run", "run", DESK_COUNT, 0, true},       {"Machine", "machine", DESK_TEXT, 16, false},
        {"State", "state", DESK_TEXT, 0, false},   {"Since", "out_ms", DESK_TIME, 0, false},
        {"Takes", "reserved_um", DESK_M, 0, true}, {"For", "reserved_seconds", DESK_SPAN, 0, true},
    };
    desk_card(d, m, lines, sizeof lines / sizeof lines[0]);
    desk_table(d, json_object_get(m, "permits"), permits, sizeof permits / sizeof permits[0],
               "No permission was granted: proveout permit grant, after training.");
    if (json_array_size(json_object_get(m, "waivers")) > 0) {
        desk_table(d, json_object_get(m, "waivers"), waivers, sizeof waivers / sizeof waivers[0], "");
    }
    desk_table(d, json_object_get(m, "runs_out"), runs, sizeof runs / sizeof runs[0], "No machine is out with them.");
    tell_owed(d, json_object_get(m, "owed"));
}

static int run_show(const cli_call *call)
{
    desk d;
    json_t *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? ask_member(&d, call->args[0], &answer) : status;
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        print_member(&d, answer);
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

static int run_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Member", "member", DESK_TEXT, 20, false},  {"Name", "name", DESK_TEXT, 28, false},
        {"Role", "role", DESK_TEXT, 0, false},       {"State", "state", DESK_TEXT, 0, false},
        {"Until", "until_ms", DESK_UNTIL, 0, false}, {"Contact", "contact", DESK_TEXT, 40, false},
    };
    static const listing what = {
        .question = "members",
        .list = "members",
        LISTING_COLUMNS(columns),
        .none = "There is no such member.",
        .next = "after",
        .next_key = "member",
    };
    return listing_run(call, &what);
}

/* ---- acts that need more than a row ---- */

/* For good, so it is asked for twice. */
static int run_forget(const cli_call *call)
{
    desk d;
    json_t *answer = NULL;
    const char *member = call->args[0];
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? ask_member(&d, member, &answer) : status;
    if (status == EXIT_CLEAR && cli_value(call, "yes")) {
        status = desk_book_and_tell(&d, json_pack("{s:s}", "member", member));
    } else if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(
            json_pack("{s:s, s:s, s:s}", "format", "proveout/needs-yes/1", "act", "member-forget", "member", member));
        status = status == EXIT_CLEAR ? EXIT_ASK : status;
    } else if (status == EXIT_CLEAR) {
        desk_tell(
            &d,
            "Name and contact of member {member}[ ({name})] would be removed for good; nothing can bring them back. "
            "The number stays with all that was used, so that the accounts add up; nobody else gets it. Copies of the "
            "book made before hold the name still: they are to be thrown away in their time.",
            answer, answer);
        tell_owed(&d, json_object_get(answer, "owed"));
        printf("The same with --yes does it.\n");
        status = EXIT_ASK;
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

/* Amounts are in the shop's currency. */
static int run_pay(const cli_call *call)
{
    desk d;
    json_t *body = NULL, *money = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR && !d.shop->currency) {
        status = cli_fail(EXIT_USAGE, "the shop file names no currency; say currency: under shop:");
        json_decref(body);
    } else if (status == EXIT_CLEAR) {
        json_object_set_new(body, "currency", json_string(d.shop->currency));
        if (!json_object_get(body, "kind")) {
            json_object_set_new(body, "kind", json_string("payment"));
        }
        status = desk_book_and_tell(&d, body);
        if (status == EXIT_CLEAR && !d.json) {
            status = desk_ask(&d, "money", json_pack("{s:s, s:i}", "member", call->args[0], "limit", 1), &money);
            if (status == EXIT_CLEAR) {
                tell_owed(&d, json_object_get(money, "owed"));
            }
        }
    }
    json_decref(money);
    desk_close(&d);
    return status;
}

/* ---- the verbs ---- */

#define REASON(words)                                                                                                  \
    {                                                                                                                  \
        .name = "reason", .value = "TEXT", .says = words, .field = "reason"                                            \
    }
#define NAME                                                                                                           \
    {                                                                                                                  \
        .name = "name", .value = "TEXT", .says = "what they are called; kept apart from the book's events",            \
        .field = "name"                                                                                                \
    }
#define CONTACT                                                                                                        \
    {                                                                                                                  \
        .name = "contact", .value = "TEXT", .says = "where they can be reached; kept apart too", .field = "contact"    \
    }
static const cli_option options_plain[] = {DESK_OPTIONS};
static const cli_option options_enrol[] = {
    DESK_OPTIONS,
    NAME,
    CONTACT,
    {.name = "role",
     .value = "ROLE",
     .says = "member (else), desk or keeper; a keeper gives the last two",
     .field = "role"},
};
static const cli_option options_name[] = {DESK_OPTIONS, NAME, CONTACT};
static const cli_option options_suspend[] = {
    DESK_OPTIONS,
    REASON("why (needed); no names, it stays in the book"),
    {.name = "until",
     .value = "DAY",
     .says = "the last day of it; else until member resume",
     .field = "until",
     .unit = DESK_UNTIL},
};
static const cli_option options_forget[] = {DESK_OPTIONS, {.name = "yes", .says = "do it"}};
static const cli_option options_pay[] = {
    DESK_OPTIONS,
    {.name = "kind", .value = "KIND", .says = "payment (else), gift, charge or refund", .field = "kind"},
    REASON("what for (needed); no names, it stays in the book"),
    {.name = "run", .value = "RUN", .says = "the run it is for", .field = "run", .unit = DESK_COUNT},
};
static const cli_option options_list[] = {
    DESK_OPTIONS,
    {.name = "role", .value = "ROLE", .says = "member, desk or keeper", .field = "role"},
    {.name = "state",
     .value = "STATE",
     .says = "active, suspended or forgotten; else all but the forgotten",
     .field = "state"},
    {.name = "after",
     .value = "ID",
     .says = "go on behind this member of the page before",
     .field = "after",
     .unit = DESK_ID},
    {.name = "limit", .value = "N", .says = "so many; else 100, at most 1000", .field = "limit", .unit = DESK_COUNT},
};
static const cli_example examples_enrol[] = {
    {"proveout member enrol 10041 --name \"Ada Quay\" --contact ada@quayside.example", "a new member"},
};
static const cli_example examples_show[] = {{"proveout member show 10041", "what they may use and what is left"}};
static const cli_example examples_list[] = {
    {"proveout member list quay", "numbers that begin so, names and contacts that hold it"},
    {"proveout member list --state suspended", "who may take no machine now"},
};
static const cli_example examples_name[] = {{"proveout member name 10041 --name \"Ada Key\"", "another name"}};
static const cli_example examples_role[] = {{"proveout member role 10041 desk --by keeper", "they may hand out now"}};
static const cli_example examples_suspend[] = {
    {"proveout member suspend 10041 --reason \"left the watch\" --until 2026-12-18", "no machine goes out to them"},
};
static const cli_example examples_resume[] = {{"proveout member resume 10041", "the suspension is over"}};
static const cli_example examples_forget[] = {
    {"proveout member forget 10041 --by keeper", "says what goes and what stays; --yes does it"},
};
static const cli_example examples_pay[] = {
    {"proveout member pay 10041 12.50 --reason \"at the desk\"", "a payment"},
    {"proveout member pay 10041 3.20 --kind gift --reason \"open day\" --by keeper", "a keeper lets them off"},
};

const cli_verb cli_member_verbs[] = {
    {
        .name = "member enrol",
        .operands = "ID",
        .least = 1,
        .most = 1,
        OPTIONS_OF(enrol),
        .line = "a new member",
        .help = "Enrols a member under a number or short name that nobody had before. Name and contact are kept apart "
                "from the "
                "book's events, so that they can be removed for good. Next, after training: proveout permit grant.",
        EXAMPLES_OF(enrol),
        .run = desk_run_act,
        .act = "member-enrol",
        .fills = {{"member", DESK_ID}},
        .done = "Member {member} is enrolled[ with the role {role}].",
    },
    {
        .name = "member show",
        .operands = "ID",
        .least = 1,
        .most = 1,
        OPTIONS_OF(plain),
        .line = "all about one member",
        .help =
            "Who a member is, what they may use (with what each permission brings along), what is left of the term's "
            "allowance and of waivers, what one run may take now, which machines are out with them, what they owe.",
        EXAMPLES_OF(show),
        .run = run_show,
    },
    {
        .name = "member list",
        .operands = "[SEARCH]",
        .most = 1,
        OPTIONS_OF(list),
        .line = "members, or those that match",
        .help =
            "Members in the order of their numbers. SEARCH: the beginning of a number, or a part of a name or contact.",
        EXAMPLES_OF(list),
        .run = run_list,
        .fills = {{"search", DESK_TEXT}},
    },
    {
        .name = "member name",
        .operands = "ID",
        .least = 1,
        .most = 1,
        OPTIONS_OF(name),
        .line = "another name or contact",
        .help = "Changes a member's name, contact or both. The book notes that it was done, not what it was or is.",
        EXAMPLES_OF(name),
        .run = desk_run_act,
        .act = "member-name",
        .fills = {{"member", DESK_ID}},
        .done = "Member {member}[ is called {name} now][; the contact is {contact}].",
    },
    {
        .name = "member role",
        .operands = "ID ROLE",
        .least = 2,
        .most = 2,
        OPTIONS_OF(plain),
        .line = "another role",
        .help = "Changes a member's role: member, desk (hands out and takes back) or keeper (sets the rules). A keeper "
                "does that.",
        EXAMPLES_OF(role),
        .run = desk_run_act,
        .act = "member-role",
        .fills = {{"member", DESK_ID}, {"role", DESK_TEXT}},
        .done = "Member {member} has the role {role}.",
    },
    {
        .name = "member suspend",
        .operands = "ID",
        .least = 1,
        .most = 1,
        OPTIONS_OF(suspend),
        .line = "no machine goes out to a member",
        .help =
            "Suspends a member to the end of a day, or until member resume. Who asks for a machine hears the reason. "
            "Permissions stay as they are.",
        EXAMPLES_OF(suspend),
        .run = desk_run_act,
        .act = "member-suspend",
        .fills = {{"member", DESK_ID}},
        .done = "Member {member} is suspended[ until {until:until}].",
    },
    {
        .name = "member resume",
        .operands = "ID",
        .least = 1,
        .most = 1,
        OPTIONS_OF(plain),
        .line = "a suspension ends",
        .help = "Ends a suspension before its time.",
        EXAMPLES_OF(resume),
        .run = desk_run_act,
        .act = "member-resume",
        .fills = {{"member", DESK_ID}},
        .done = "Member {member} may take machines again.",
    },
    {
        .name = "member forget",
        .operands = "ID",
        .least = 1,
        .most = 1,
        OPTIONS_OF(forget),
        .line = "remove a name and contact for good",
        .help = "Removes a member's name and contact for good. Without --yes nothing is done: it says what goes and "
                "what stays, "
                "and ends with exit status 1. A keeper does it; machines must be back and tickets given up first.",
        EXAMPLES_OF(forget),
        .run = run_forget,
        .act = "member-forget",
        .fills = {{"member", DESK_ID}},
        .done = "Name and contact of member {member} are gone; the number and what was used stay.",
    },
    {
        .name = "member pay",
        .operands = "ID AMOUNT",
        .least = 2,
        .most = 2,
        OPTIONS_OF(pay),
        .line = "a payment, gift, charge or refund",
        .help = "Books money of a member in the shop's currency. A payment or a gift lowers what is owed; a charge, or "
                "a refund (money "
                "handed back), raises it. Gifts are a keeper's. Runs beyond the allowance charge themselves, where the "
                "shop says so.",
        EXAMPLES_OF(pay),
        .run = run_pay,
        .act = "money-book",
        .fills = {{"member", DESK_ID}, {"minor", DESK_MONEY}},
        .done = "A {kind} of {minor:money} is booked for member {member}.",
    },
    {.name = NULL},
};
