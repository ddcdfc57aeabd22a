/* proveout waive ...: leave to exceed the allowance. SPDX-License-Identifier: Apache-2.0 */
#include "listing.h"
#include "verbs.h"

/* The desk's limit is the shop's; whoever does not say who asked was asked by the member. */
static int run_give(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR) {
        json_object_set_new(body, "desk_limit_um",
                            json_integer((json_int_t)(d.shop->rules.desk_may_waive_m * 1e6 + 0.5)));
        if (!json_object_get(body, "asked_by")) {
            json_object_set(body, "asked_by", json_object_get(body, "member"));
        }
        status = desk_book_and_tell(&d, body);
    }
    desk_close(&d);
    return status;
}

static int run_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Waiver", "waiver", DESK_COUNT, 0, true},
        {"Member", "member", DESK_TEXT, 16, false},
        {"Given", "um", DESK_M, 0, true},
        {"Left", "left_um", DESK_M, 0, true},
        {"State", "state", DESK_TEXT, 0, false},
        {"Until", "until_ms", DESK_UNTIL, 0, false},
        {"Job", "sha256", DESK_TEXT, 9, false},
        {"Asked by", "asked_by", DESK_TEXT, 12, false},
        {"Given by", "given_by", DESK_TEXT, 12, false},
        {"Reason", "reason", DESK_TEXT, 60, false},
    };
    static const listing what = {
        .question = "waivers",
        .list = "waivers",
        LISTING_COLUMNS(columns),
        .none = "No such waiver was given.",
    };
    return listing_run(call, &what);
}

/* ---- the verbs ---- */

#define REASON                                                                                                         \
    {                                                                                                                  \
        .name = "reason", .value = "TEXT", .says = "why; no names, it stays in the book", .field = "reason"            \
    }
static const cli_option options_give[] = {
    DESK_OPTIONS,
    REASON,
    {.name = "asked-by",
     .value = "ID",
     .says = "who asked for it; else the member",
     .field = "asked_by",
     .unit = DESK_ID},
    {.name = "job",
     .value = "FILE|SHA256",
     .says = "for this job alone, by its file or its SHA-256; else for any",
     .field = "sha256",
     .unit = DESK_SHA},
    {.name = "until",
     .value = "DAY",
     .says = "the last day on which it holds; else to the end of the term",
     .field = "until",
     .unit = DESK_UNTIL},
};
static const cli_option options_withdraw[] = {DESK_OPTIONS, REASON};
static const cli_option options_list[] = {
    DESK_OPTIONS,
    {.name = "holding", .says = "only those from which something is left", .field = "holding", .unit = DESK_FLAG},
    {.name = "limit",
     .value = "N",
     .says = "so many, the latest; else 100, at most 1000",
     .field = "limit",
     .unit = DESK_COUNT},
};
static const cli_example examples_give[] = {
    {"proveout waive give 10041 5 --reason \"course work\"", "5 m more for 10041, for any job"},
    {"proveout waive give 10041 25 --reason \"a show\" --until 2026-12-18 --by keeper",
     "beyond the desk's own limit: a keeper"},
};
static const cli_example examples_withdraw[] = {
    {"proveout waive withdraw 214 --reason \"the exhibition is off\"", "what is left of waiver 214 lapses"},
};
static const cli_example examples_list[] = {
    {"proveout waive list 10041 --holding", "what 10041 still has"},
};

const cli_verb cli_waive_verbs[] = {
    {
        .name = "waive give",
        .operands = "ID METRES",
        .least = 2,
        .most = 2,
        OPTIONS_OF(give),
        .line = "give leave to exceed the allowance",
        .help =
            "Gives a member so many metres of filament beyond the allowance for a run or the term. The desk may give "
            "up to "
            "the shop's limit (rules: desk_may_waive_m), a keeper beyond. A run draws on what was given for its own "
            "job first, then on what lapses first.",
        EXAMPLES_OF(give),
        .run = run_give,
        .act = "waiver-give",
        .fills = {{"member", DESK_ID}, {"um", DESK_M}},
        .done = "Waiver {waiver}: member {member} may use {um:m} beyond the allowance[ until {until:until}].",
    },
    {
        .name = "waive withdraw",
        .operands = "WAIVER",
        .least = 1,
        .most = 1,
        OPTIONS_OF(withdraw),
        .line = "what is left of a waiver lapses",
        .help = "Ends a waiver. What runs have drawn from it stays drawn.",
        EXAMPLES_OF(withdraw),
        .run = desk_run_act,
        .act = "waiver-withdraw",
        .fills = {{"waiver", DESK_COUNT}},
        .done = "What was left of waiver {waiver} has lapsed.",
    },
    {
        .name = "waive list",
        .operands = "[ID]",
        .most = 1,
        OPTIONS_OF(list),
        .line = "waivers, with what is left of each",
        .help =
            "Waivers, the latest first: of one member, or of all. Each holds, is used, has lapsed or was withdrawn.",
        EXAMPLES_OF(list),
        .run = run_list,
        .fills = {{"member", DESK_ID}},
    },
    {.name = NULL},
};
