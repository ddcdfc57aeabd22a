/* proveout course, group, fund ...: what runs are for, and what pays for them. SPDX-License-Identifier: Apache-2.0 */
#include "listing.h"
#include "verbs.h"

/* Amounts are in the shop's currency. */
static int run_fund_open(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR && !d.shop->currency) {
        status = cli_fail(EXIT_USAGE, "the shop file names no currency; say currency: under shop:");
        json_decref(body);
    } else if (status == EXIT_CLEAR) {
        json_object_set_new(body, "currency", json_string(d.shop->currency));
        status = desk_book_and_tell(&d, body);
    }
    desk_close(&d);
    return status;
}

static int run_course_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Course", "course", DESK_TEXT, 24, false},
        {"Runs", "runs", DESK_COUNT, 0, true},
        {"Used", "um", DESK_M, 0, true},
        {"Fund", "fund", DESK_TEXT, 16, false},
        {"Over", "closed_ms", DESK_DAY, 0, false},
        {"Title", "title", DESK_TEXT, 60, false},
    };
    static const listing what = {
        .question = "courses", .list = "courses", LISTING_COLUMNS(columns), .none = "No course was opened yet."};
    return listing_run(call, &what);
}

static int run_course_show(const cli_call *call)
{
    static const desk_column lines[] = {
        {"course", "course", DESK_TEXT, 0, false}, {"title", "title", DESK_TEXT, 0, false},
        {"fund", "fund", DESK_TEXT, 0, false},     {"over since", "closed_ms", DESK_DAY, 0, false},
        {"runs", "runs", DESK_COUNT, 0, false},    {"used", "um", DESK_M, 0, false},
    };
    static const desk_column columns[] = {
        {"Assignment", "assignment", DESK_TEXT, 24, false},
        {"Due", "due_ms", DESK_UNTIL, 0, false},
        {"Runs", "runs", DESK_COUNT, 0, true},
        {"Used", "um", DESK_M, 0, true},
        {"Title", "title", DESK_TEXT, 60, false},
    };
    desk d;
    json_t *parameters = NULL, *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &parameters) : status;
    status = status == EXIT_CLEAR ? desk_ask(&d, "courses", parameters, &answer) : status;
    json_t *course = json_array_get(json_object_get(answer, "courses"), 0);
    if (status == EXIT_CLEAR && d.json) {
        json_object_set_new(course, "format", json_string("proveout/course/1"));
        status = desk_print_json(json_incref(course));
    } else if (status == EXIT_CLEAR) {
        desk_card(&d, course, lines, sizeof lines / sizeof lines[0]);
        desk_table(&d, json_object_get(course, "assignments"), columns, sizeof columns / sizeof columns[0],
                   "It has no assignments.");
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

/* Members of a group in one cell. */
static int run_group_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Group", "group", DESK_TEXT, 20, false},
        {"Course", "course", DESK_TEXT, 16, false},
        {"Fund", "fund", DESK_TEXT, 16, false},
        {"Runs", "runs", DESK_COUNT, 0, true},
        {"Used", "um", DESK_M, 0, true},
        {"Title", "title", DESK_TEXT, 24, false},
        {"Members", "numbers", DESK_TEXT, 60, false},
    };
    static const listing what = {
        .question = "groups", .list = "groups", LISTING_COLUMNS(columns), .none = "No group was opened yet."};
    desk d;
    json_t *parameters = NULL, *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &parameters) : status;
    status = status == EXIT_CLEAR ? desk_ask(&d, "groups", parameters, &answer) : status;
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        json_t *groups = json_object_get(answer, "groups");
        for (size_t i = 0; i < json_array_size(groups); i++) {
            json_t *group = json_array_get(groups, i), *numbers = json_array();
            const json_t *members = json_object_get(group, "members");
            for (size_t k = 0; k < json_array_size(members); k++) {
                json_array_append(numbers, json_object_get(json_array_get(members, k), "member"));
            }
            json_object_set_new(group, "numbers", numbers);
        }
        listing_print(&d, answer, &what);
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

static int run_fund_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Fund", "fund", DESK_TEXT, 20, false},      {"Budget", "budget_minor", DESK_MONEY, 0, true},
        {"Used", "used_minor", DESK_MONEY, 0, true}, {"Left", "left_minor", DESK_MONEY, 0, true},
        {"Runs", "runs", DESK_COUNT, 0, true},       {"Filament", "um", DESK_M, 0, true},
        {"Closed", "closed_ms", DESK_DAY, 0, false}, {"Title", "title", DESK_TEXT, 60, false},
    };
    static const listing what = {
        .question = "funds", .list = "funds", LISTING_COLUMNS(columns), .none = "No fund was opened yet."};
    return listing_run(call, &what);
}

/* ---- the verbs ---- */

static const cli_option options_plain[] = {DESK_OPTIONS};
static const cli_option options_course_open[] = {
    DESK_OPTIONS,
    {.name = "title", .value = "TEXT", .says = "what it is called (needed)", .field = "title"},
    {.name = "fund",
     .value = "FUND",
     .says = "the fund that its runs may name; a run names it itself",
     .field = "fund",
     .unit = DESK_ID},
};
static const cli_option options_assignment[] = {
    DESK_OPTIONS,
    {.name = "title", .value = "TEXT", .says = "what it is called", .field = "title"},
    {.name = "due", .value = "DAY", .says = "the last day for it", .field = "due", .unit = DESK_UNTIL},
};
static const cli_option options_group_open[] = {
    DESK_OPTIONS,
    {.name = "title", .value = "TEXT", .says = "what it is called", .field = "title"},
    {.name = "course", .value = "COURSE", .says = "the course it belongs to", .field = "course", .unit = DESK_ID},
    {.name = "fund",
     .value = "FUND",
     .says = "the fund that its runs may name; a run names it itself",
     .field = "fund",
     .unit = DESK_ID},
};
static const cli_option options_fund_open[] = {
    DESK_OPTIONS,
    {.name = "title", .value = "TEXT", .says = "what it is called (needed)", .field = "title"},
    {.name = "budget",
     .value = "AMOUNT",
     .says = "how much it pays in all, in the shop's currency; else without end",
     .field = "budget_minor",
     .unit = DESK_MONEY},
};
static const cli_example examples_course_open[] = {
    {"proveout course open lamps-1 --title \"Lamps from the workshop\" --by keeper", "runs can be for lamps-1"},
};
static const cli_example examples_course_close[] = {
    {"proveout course close lamps-1 --by keeper", "no further run is for it"},
};
static const cli_example examples_course_list[] = {{"proveout course list", "all of them, those that are over last"}};
static const cli_example examples_course_show[] = {{"proveout course show lamps-1", "with its assignments"}};
static const cli_example examples_assignment[] = {
    {"proveout course assignment lamps-1 shade --title \"A shade\" --due 2026-12-11", "new, or its day changed"},
};
static const cli_example examples_group_open[] = {
    {"proveout group open quay-cats --title \"The cats\" --course lamps-1", "a group that prints together"},
};
static const cli_example examples_group_join[] = {{"proveout group join quay-cats 10041", "10041 belongs to it"}};
static const cli_example examples_group_leave[] = {{"proveout group leave quay-cats 10041", "10041 leaves it"}};
static const cli_example examples_group_list[] = {{"proveout group list", "groups and who belongs to them"}};
static const cli_example examples_fund_open[] = {
    {"proveout fund open outreach --title \"Open days\" --budget 250 --by keeper", "it pays up to 250.00"},
};
static const cli_example examples_fund_close[] = {{"proveout fund close outreach --by keeper", "it pays no more"}};
static const cli_example examples_fund_list[] = {{"proveout fund list", "budget, used, left"}};

#define ACT_OF(name) .run = desk_run_act, .act = name

const cli_verb cli_course_verbs[] = {
    {
        .name = "course open",
        .operands = "COURSE",
        .least = 1,
        .most = 1,
        OPTIONS_OF(course_open),
        .line = "a course whose members' runs are named after it",
        .help = "Opens a course, so that runs can say that they are for it. A keeper does that. That it has a fund "
                "does not make "
                "the fund pay: only the fund that a run names pays for that run.",
        EXAMPLES_OF(course_open),
        ACT_OF("course-open"),
        .fills = {{"course", DESK_ID}},
        .done = "The course {course} is open.",
    },
    {
        .name = "course close",
        .operands = "COURSE",
        .least = 1,
        .most = 1,
        OPTIONS_OF(plain),
        .line = "a course is over",
        .help = "No further run is for it. What was printed for it stays in the book.",
        EXAMPLES_OF(course_close),
        ACT_OF("course-close"),
        .fills = {{"course", DESK_ID}},
        .done = "The course {course} is over.",
    },
    {
        .name = "course list",
        .operands = "",
        OPTIONS_OF(plain),
        .line = "courses and what was used for them",
        .help = "Every course with its runs and metres of filament.",
        EXAMPLES_OF(course_list),
        .run = run_course_list,
    },
    {
        .name = "course show",
        .operands = "COURSE",
        .least = 1,
        .most = 1,
        OPTIONS_OF(plain),
        .line = "one course with its assignments",
        .help = "A course, its assignments with the day each is due, and the runs and metres of each.",
        EXAMPLES_OF(course_show),
        .run = run_course_show,
        .fills = {{"course", DESK_ID}},
    },
    {
        .name = "course assignment",
        .operands = "COURSE ASSIGNMENT",
        .least = 2,
        .most = 2,
        OPTIONS_OF(assignment),
        .line = "an assignment of a course, new or changed",
        .help = "Adds an assignment to a course, or changes its title or day: what is left out stays as it was.",
        EXAMPLES_OF(assignment),
        ACT_OF("assignment-set"),
        .fills = {{"course", DESK_ID}, {"assignment", DESK_ID}},
        .done = "The course {course} has the assignment {assignment}[, due by {due:until}].",
    },
    {.name = NULL},
};

const cli_verb cli_group_verbs[] = {
    {
        .name = "group open",
        .operands = "GROUP",
        .least = 1,
        .most = 1,
        OPTIONS_OF(group_open),
        .line = "a group whose members print together",
        .help = "Opens a group. Members join it, and can then name it when a machine goes out to them.",
        EXAMPLES_OF(group_open),
        ACT_OF("group-open"),
        .fills = {{"group", DESK_ID}},
        .done = "The group {group} is open; members can join it.",
    },
    {
        .name = "group join",
        .operands = "GROUP ID",
        .least = 2,
        .most = 2,
        OPTIONS_OF(plain),
        .line = "a member joins a group",
        .help = "From now on the member's runs may be for the group.",
        EXAMPLES_OF(group_join),
        ACT_OF("group-join"),
        .fills = {{"group", DESK_ID}, {"member", DESK_ID}},
        .done = "Member {member} belongs to the group {group}.",
    },
    {
        .name = "group leave",
        .operands = "GROUP ID",
        .least = 2,
        .most = 2,
        OPTIONS_OF(plain),
        .line = "a member leaves a group",
        .help = "The member's runs for the group stay its runs; further ones are not.",
        EXAMPLES_OF(group_leave),
        ACT_OF("group-leave"),
        .fills = {{"group", DESK_ID}, {"member", DESK_ID}},
        .done = "Member {member} does not belong to the group {group} any more.",
    },
    {
        .name = "group list",
        .operands = "[GROUP]",
        .most = 1,
        OPTIONS_OF(plain),
        .line = "groups and who belongs to them",
        .help = "All groups, or one: its members, runs and metres.",
        EXAMPLES_OF(group_list),
        .run = run_group_list,
        .fills = {{"group", DESK_ID}},
    },
    {.name = NULL},
};

const cli_verb cli_fund_verbs[] = {
    {
        .name = "fund open",
        .operands = "FUND",
        .least = 1,
        .most = 1,
        OPTIONS_OF(fund_open),
        .line = "a fund that pays for runs",
        .help = "Opens a fund. A run that names it takes nothing from its member's allowance; the fund pays for it at "
                "the price "
                "of the material. A keeper does that.",
        EXAMPLES_OF(fund_open),
        .run = run_fund_open,
        .act = "fund-open",
        .fills = {{"fund", DESK_ID}},
        .done = "The fund {fund} is open[ and pays up to {budget_minor:money}].",
    },
    {
        .name = "fund close",
        .operands = "FUND",
        .least = 1,
        .most = 1,
        OPTIONS_OF(plain),
        .line = "a fund pays no more",
        .help = "No further run can name it. Runs that did are paid for as they come back.",
        EXAMPLES_OF(fund_close),
        ACT_OF("fund-close"),
        .fills = {{"fund", DESK_ID}},
        .done = "The fund {fund} is closed.",
    },
    {
        .name = "fund list",
        .operands = "[FUND]",
        .most = 1,
        OPTIONS_OF(plain),
        .line = "funds: budget, used, left",
        .help = "All funds, or one: its budget, what runs took of it, what is left, and how much filament that was.",
        EXAMPLES_OF(fund_list),
        .run = run_fund_list,
        .fills = {{"fund", DESK_ID}},
    },
    {.name = NULL},
};
