/* proveout shelf ...: parts that wait for their member. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "due.h"
#include "listing.h"
#include "run_verbs.h"
#include "verbs.h"

static int run_shelf_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Place", "place", DESK_COUNT, 0, true},      {"Run", "run", DESK_COUNT, 0, true},
        {"Member", "member", DESK_TEXT, 12, false},   {"Machine", "machine", DESK_TEXT, 14, false},
        {"Since", "shelved_ms", DESK_TIME, 0, false}, {"Kept until", "kept_until_ms", DESK_UNTIL, 0, false},
        {"Overdue", "overdue", DESK_TEXT, 0, false},  {"File", "file", DESK_TEXT, 40, false},
    };
    static const listing what = {
        .question = "shelf", .list = "parts", LISTING_COLUMNS(columns), .none = "No part waits there."};
    return listing_run(call, &what);
}

/* Moved, or kept longer; its member hears where it is now. */
static int run_put(const cli_call *call)
{
    desk d;
    json_t *body = NULL, *run = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    status = status == EXIT_CLEAR ? run_of_body(&d, body, &run) : status;
    if (status == EXIT_CLEAR && work_int(body, "place", 0) > d.shop->rules.shelf_places) {
        status = cli_fail(EXIT_USAGE, "there is no place %lld: the shelf has %d (rules.shelf_places)",
                          (long long)work_int(body, "place", 0), d.shop->rules.shelf_places);
    }
    if (status == EXIT_CLEAR) {
        int64_t until = work_int(body, "kept_until", work_int(json_object_get(run, "part"), "kept_until_ms", 0));
        run_add_message(&d, body, PO_TEXT_COLLECT, run, work_int(body, "place", 0), until);
        status = desk_book_and_tell(&d, body);
        body = NULL;
    }
    json_decref(body);
    json_decref(run);
    desk_close(&d);
    return status;
}

/* ---- the label ---- */

enum { DIGIT_ROWS = 7, DIGIT_COLUMNS = 6 };

/* A digit drawn of two columns for each of its dots, to be read across a room. */
static const char *const digits[10][DIGIT_ROWS] = {
    {" #### ", "##  ##", "##  ##", "##  ##", "##  ##", "##  ##", " #### "},
    {"  ##  ", " ###  ", "  ##  ", "  ##  ", "  ##  ", "  ##  ", " #### "},
    {" #### ", "##  ##", "    ##", "   ## ", "  ##  ", " ##   ", "######"},
    {" #### ", "##  ##", "    ##", "  ### ", "    ##", "##  ##", " #### "},
    {"   ## ", "  ### ", " # ## ", "#  ## ", "######", "   ## ", "   ## "},
    {"######", "##    ", "##    ", "##### ", "    ##", "##  ##", " #### "},
    {" #### ", "##    ", "##    ", "##### ", "##  ##", "##  ##", " #### "},
    {"######", "    ##", "   ## ", "   ## ", "  ##  ", "  ##  ", "  ##  "},
    {" #### ", "##  ##", "##  ##", " #### ", "##  ##", "##  ##", " #### "},
    {" #### ", "##  ##", "##  ##", " #####", "    ##", "   ## ", " ###  "},
};

static void print_large(long long number)
{
    char text[24];
    snprintf(text, sizeof text, "%lld", number);
    for (int row = 0; row < DIGIT_ROWS; row++) {
        for (const char *p = text; *p; p++) {
            printf("%s%s", p > text ? "  " : "", digits[(*p - '0') % 10][row]);
        }
        fputc('\n', stdout);
    }
}

static int run_label(const cli_call *call)
{
    static const desk_column lines[] = {
        {"run", "run", DESK_COUNT, 0, false},
        {"member", "member", DESK_TEXT, 0, false},
        {"machine", "machine", DESK_TEXT, 0, false},
        {"place", "part/place", DESK_COUNT, 0, false},
        {"kept until", "part/kept_until_ms", DESK_UNTIL, 0, false},
    };
    desk d;
    json_t *body = NULL, *run = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    status = status == EXIT_CLEAR ? run_of_body(&d, body, &run) : status;
    const json_t *part = json_object_get(run, "part");
    long long number = (long long)work_int(run, "run", 0);
    if (status == EXIT_CLEAR && strcmp(work_text(part, "state"), "shelf") != 0) {
        const char *state = work_text(part, "state");
        status = run_refuse(&d, "shelf-label", "run", "the part of run %lld is not on the shelf: %s", number,
                            !*state                   ? "proveout run off puts it there"
                            : !strcmp(state, "waste") ? "it went to the waste"
                                                      : "it was collected");
    } else if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_pack("{s:s, s:I, s:O, s:O, s:O, s:O}", "format", "proveout/shelf-label/1", "run",
                                           (json_int_t)number, "member", json_object_get(run, "member"), "machine",
                                           json_object_get(run, "machine"), "place", json_object_get(part, "place"),
                                           "kept_until_ms", json_object_get(part, "kept_until_ms")));
    } else if (status == EXIT_CLEAR) {
        print_large(number);
        fputc('\n', stdout);
        desk_card(&d, run, lines, sizeof lines / sizeof lines[0]);
    }
    json_decref(body);
    json_decref(run);
    desk_close(&d);
    return status;
}

static const cli_option options_label[] = {DESK_OPTIONS};
static const cli_option options_list[] = {
    DESK_OPTIONS,
    {.name = "overdue", .says = "only those that are kept longer than promised", .field = "overdue", .unit = DESK_FLAG},
    {.name = "limit", .value = "N", .says = "at most so many, 1 to 1000", .field = "limit", .unit = DESK_COUNT},
};
static const cli_option options_put[] = {
    DESK_OPTIONS,
    {.name = "kept-until",
     .value = "DAY",
     .says = "until when it is kept; without it: as before",
     .field = "kept_until",
     .unit = DESK_UNTIL},
    {.name = "quiet", .says = "no message to the member"},
};
static const cli_option options_collect[] = {
    DESK_OPTIONS,
    {.name = "collected-by",
     .value = "ID",
     .says = "who took it; without it: its member",
     .field = "collected_by",
     .unit = DESK_ID},
};
static const cli_option options_recycle[] = {
    DESK_OPTIONS,
    {.name = "g", .value = "G", .says = "its weight in grams", .field = "mg", .unit = DESK_G},
    {.name = "reason", .value = "TEXT", .says = "why", .field = "reason"},
};

static const cli_example examples_list[] = {{"proveout shelf list", "what waits, place by place"},
                                            {"proveout shelf list --overdue", "what is kept longer than promised"}};
static const cli_example examples_put[] = {{"proveout shelf put 12 7", "the part of run 12 lies on place 7 now"}};
static const cli_example examples_collect[] = {{"proveout shelf collect 12", "its member took it along"}};
static const cli_example examples_recycle[] = {{"proveout shelf recycle 12 --g 34", "nobody came for it"}};
static const cli_example examples_label[] = {{"proveout shelf label 12", "to be printed and laid beside the part"}};

const cli_verb cli_shelf_verbs[] = {
    {
        .name = "shelf list",
        .operands = "",
        OPTIONS_OF(list),
        EXAMPLES_OF(list),
        .line = "parts that wait, place by place",
        .help = "Lists the parts on the shelf with their run and member, and until when each is kept.",
        .run = run_shelf_list,
    },
    {
        .name = "shelf put",
        .operands = "RUN PLACE",
        .least = 2,
        .most = 2,
        OPTIONS_OF(put),
        EXAMPLES_OF(put),
        .line = "a part moves to another place",
        .help =
            "Books that a part on the shelf lies on another place, or is kept until another day. run off puts it there "
            "at first.",
        .run = run_put,
        .act = "shelf-put",
        .fills = {{"run", DESK_COUNT}, {"place", DESK_COUNT}},
        .done = "The part of run {run} (member {member}) lies on place {place}[, until {kept_until:until}].",
    },
    {
        .name = "shelf collect",
        .operands = "RUN",
        .least = 1,
        .most = 1,
        OPTIONS_OF(collect),
        EXAMPLES_OF(collect),
        .line = "a part was collected",
        .help = "Books that a part left the shelf with somebody.",
        .run = desk_run_act,
        .act = "shelf-collect",
        .fills = {{"run", DESK_COUNT}},
        .done = "The part of run {run} was collected by {collected_by}.",
    },
    {
        .name = "shelf recycle",
        .operands = "RUN",
        .least = 1,
        .most = 1,
        OPTIONS_OF(recycle),
        EXAMPLES_OF(recycle),
        .line = "a part that nobody collected goes to the waste",
        .help = "Books that a part left the shelf for recycling, weighed where a scale is at hand. run outcome RUN "
                "not-collected says so of its run.",
        .run = desk_run_act,
        .act = "shelf-recycle",
        .fills = {{"run", DESK_COUNT}},
        .done = "The part of run {run} (member {member}) goes to recycling[: {mg:g}].",
    },
    {
        .name = "shelf label",
        .operands = "RUN",
        .least = 1,
        .most = 1,
        OPTIONS_OF(label),
        EXAMPLES_OF(label),
        .line = "a label for a part",
        .help = "Prints a label as text: the run's number, large, the member's number, the machine, the place, and "
                "until when "
                "it is kept. No name stands on it.",
        .run = run_label,
        .fills = {{"run", DESK_COUNT}},
    },
    {.name = NULL},
};
