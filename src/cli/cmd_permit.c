/* proveout permit ...: permissions granted, withdrawn, listed, lapsed for all. SPDX-License-Identifier: Apache-2.0 */
#include "listing.h"
#include "permits.h"
#include "verbs.h"
#include "work/permits.h"

int64_t permit_until(const desk *d, const po_permission *permission)
{
    work_context w = desk_work(d);
    return work_permit_until(&w, permission);
}

static int run_grant(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR && !json_object_get(body, "until")) {
        const char *name = json_string_value(json_object_get(body, "permission"));
        int64_t until = permit_until(&d, po_shop_permission(d.shop, name));
        if (until >= 0) {
            json_object_set_new(body, "until", json_integer(until));
        }
    }
    status = status == EXIT_CLEAR ? desk_book_and_tell(&d, body) : status;
    desk_close(&d);
    return status;
}

static int run_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Member", "member", DESK_TEXT, 16, false},         {"Name", "name", DESK_TEXT, 24, false},
        {"Permission", "permission", DESK_TEXT, 20, false}, {"Until", "until_ms", DESK_UNTIL, 0, false},
        {"Granted", "given_ms", DESK_DAY, 0, false},        {"By", "given_by", DESK_TEXT, 16, false},
        {"Permit", "permit", DESK_COUNT, 0, true},
    };
    static const listing what = {
        .question = "permits",
        .list = "permits",
        LISTING_COLUMNS(columns),
        .none = "Nobody holds such a permission.",
        .next = "before",
        .next_key = "permit",
    };
    return listing_run(call, &what);
}

/* ---- the verbs ---- */

static const cli_option options_grant[] = {
    DESK_OPTIONS,
    {.name = "until",
     .value = "DAY",
     .says = "the last day on which it holds; else by the shop file (lapses), else without end",
     .field = "until",
     .unit = DESK_UNTIL},
};
static const cli_option options_withdraw[] = {
    DESK_OPTIONS,
    {.name = "reason", .value = "TEXT", .says = "why; no names, it stays in the book", .field = "reason"},
};
static const cli_option options_list[] = {
    DESK_OPTIONS,
    {.name = "member", .value = "ID", .says = "of one member", .field = "member", .unit = DESK_ID},
    {.name = "permission", .value = "NAME", .says = "one permission", .field = "permission", .unit = DESK_PERMISSION},
    {.name = "lapse-before",
     .value = "TIME",
     .says = "those that lapse before then, the first to lapse first: 2026-12-18, +14d",
     .field = "lapse_before",
     .unit = DESK_UNTIL},
    {.name = "before",
     .value = "PERMIT",
     .says = "go on behind this permit of the page before",
     .field = "before",
     .unit = DESK_COUNT},
    {.name = "limit", .value = "N", .says = "so many; else 100, at most 1000", .field = "limit", .unit = DESK_COUNT},
};
static const cli_example examples_grant[] = {
    {"proveout permit grant 10041 starter", "10041 has done the training"},
    {"proveout permit grant 10041 two-material --until 2027-03-26", "to the end of a day"},
};
static const cli_example examples_withdraw[] = {
    {"proveout permit withdraw 10041 starter --reason \"left a watch twice\"", "10041 may not take small machines"},
};
static const cli_example examples_list[] = {
    {"proveout permit list --lapse-before +14d", "who needs a refresher within two weeks"},
};
static const cli_example examples_lapse[] = {
    {"proveout permit lapse large-format --reason \"all are trained anew\" --by keeper", "for everybody"},
};

const cli_verb cli_permit_verbs[] = {
    {
        .name = "permit grant",
        .operands = "ID PERMISSION",
        .least = 2,
        .most = 2,
        OPTIONS_OF(grant),
        .line = "a member gets a permission",
        .help = "Books that a member has been trained and may use what the permission opens. Which permissions there "
                "are, what "
                "each brings along and when it lapses stands in the shop file. Granted anew, it holds to the new day.",
        EXAMPLES_OF(grant),
        .run = run_grant,
        .act = "permit-grant",
        .fills = {{"member", DESK_ID}, {"permission", DESK_PERMISSION}},
        .done = "Member {member} holds {permission}[ until {until:until}].",
    },
    {
        .name = "permit withdraw",
        .operands = "ID PERMISSION",
        .least = 2,
        .most = 2,
        OPTIONS_OF(withdraw),
        .line = "a member loses a permission",
        .help = "From now on no machine that needs it goes out to the member. What is out stays out until it is taken "
                "back.",
        EXAMPLES_OF(withdraw),
        .run = desk_run_act,
        .act = "permit-withdraw",
        .fills = {{"member", DESK_ID}, {"permission", DESK_ID}},
        .done = "Member {member} does not hold {permission} any more.",
    },
    {
        .name = "permit list",
        .operands = "",
        OPTIONS_OF(list),
        .line = "who holds what, and until when",
        .help = "Permissions that hold now, the latest granted first, or those that lapse soon.",
        EXAMPLES_OF(list),
        .run = run_list,
    },
    {
        .name = "permit lapse",
        .operands = "PERMISSION",
        .least = 1,
        .most = 1,
        OPTIONS_OF(withdraw),
        .line = "a permission lapses for all who hold it",
        .help = "Ends a permission for everybody at once, at the end of a term say. A keeper does that. It can't be "
                "taken back; "
                "it is granted anew, member by member.",
        EXAMPLES_OF(lapse),
        .run = desk_run_act,
        .act = "permits-lapse",
        .fills = {{"permission", DESK_ID}},
        .done = "{permission} has lapsed for {lapsed} who held it.",
    },
    {.name = NULL},
};
