/* proveout paper ...: papers drawn, answered, handed in, listed, void, results from elsewhere. SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

#include "proveout/results.h"
#include "training.h"
#include "verbs.h"

enum { RESULTS_BYTES_MOST = 4 << 20 };

static int paper_number(const char *text, int64_t *ret)
{
    double v;
    if (!cli_number(text, 1, 9e15, &v) || v != (double)(int64_t)v) {
        return cli_fail(EXIT_USAGE, "%s is no paper's number; proveout paper list shows them", text);
    }
    *ret = (int64_t)v;
    return EXIT_CLEAR;
}

static int ask_paper(desk *d, int64_t number, json_t **ret)
{
    return desk_ask(d, "paper", json_pack("{s:I}", "paper", (json_int_t)number), ret);
}

/* ---- telling ---- */

static void tell_one(const desk *d, const json_t *q)
{
    const json_t *o;
    size_t i;
    const char *mark = work_text(q, "mark");
    printf("\n%s%s%s\n", work_text(q, "question"), *mark ? ": " : "",
           strcmp(mark, "none") == 0 ? "not answered" : mark);
    if (json_object_get(q, "gone")) {
        puts("  The study has this question no more.");
        return;
    }
    cli_wrap(stdout, 2, work_text(q, "ask"));
    if (json_is_object(json_object_get(q, "picture"))) {
        const char *shows = po_arena_printf(d->arena, "(%s) %s", work_text(json_object_get(q, "picture"), "file"),
                                            work_text(json_object_get(q, "picture"), "shows"));
        cli_wrap_after(stdout, 2, "Picture:", shows ? shows : "");
    }
    json_array_foreach(json_object_get(q, "options"), i, o)
    {
        printf("    %s  %s\n", work_text(o, "option"), work_text(o, "words"));
    }
    printf("  Answer: %s%s%s\n", *work_text(q, "answer") ? work_text(q, "answer") : "none yet",
           *work_text(q, "unit") ? " " : "", work_text(q, "unit"));
    if (work_has(q, "right")) {
        printf("  Right: %s %s\n", work_text(q, "right"), work_text(q, "unit"));
    }
    if (work_has(q, "why")) {
        cli_wrap_after(stdout, 2,
                       json_is_true(json_object_get(q, "teach")) ? "To be taught:" : "Because:", work_text(q, "why"));
    }
}

static void tell_paper(const desk *d, const json_t *p)
{
    const json_t *q;
    size_t i;
    bool in = strcmp(work_text(p, "state"), "handed-in") == 0;
    printf("Paper %lld of %s, member %s: %s", (long long)work_int(p, "paper", 0), work_text(p, "title"),
           work_text(p, "member"), work_text(p, "state"));
    if (in) {
        printf(", %lld of %lld, %s", (long long)work_int(p, "points", 0), (long long)work_int(p, "most", 0),
               json_is_true(json_object_get(p, "passed")) ? "passed"
               : json_is_true(json_object_get(p, "met"))  ? "the mark is reached, hazards are taught first"
                                                          : "not passed");
    } else if (work_has(p, "until_ms")) {
        printf(", until %s", desk_words(d, json_object_get(p, "until_ms"), DESK_TIME));
    }
    puts(".");
    json_array_foreach(json_object_get(p, "questions"), i, q)
    {
        tell_one(d, q);
    }
}

/* The paper as it stands now. */
static int show(desk *d, const work_studies *studies, int64_t number)
{
    json_t *paper = NULL, *view = NULL;
    const po_study *study = NULL;
    po_err err;
    int status = ask_paper(d, number, &paper);
    status = status == EXIT_CLEAR ? training_study(studies, work_text(paper, "study"), &study) : status;
    if (status == EXIT_CLEAR) {
        work_context w = desk_work(d);
        status = work_paper_show(&w, study, paper, &view, &err) == PO_OK ? EXIT_CLEAR : cli_fail_err(&err);
    }
    if (status == EXIT_CLEAR && d->json) {
        status = desk_print_json(view);
        view = NULL;
    } else if (status == EXIT_CLEAR) {
        tell_paper(d, view);
    }
    json_decref(paper);
    json_decref(view);
    return status;
}

/* ---- draw, show, answer, hand in ---- */

static int run_draw(const cli_call *call)
{
    desk d;
    work_studies studies;
    work_acts acts = {0};
    const po_study *study = NULL;
    uint64_t seed = 0;
    json_t *papers = NULL;
    po_err err;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? training_studies(&d, &studies) : status;
    status = status == EXIT_CLEAR ? training_study(&studies, call->args[1], &study) : status;
    if (status == EXIT_CLEAR && getrandom(&seed, sizeof seed, 0) != (ssize_t)sizeof seed) {
        status = cli_fail(EXIT_OWN, "this system gives no random numbers");
    }
    if (status == EXIT_CLEAR) {
        work_context w = desk_work(&d);
        status = training_said(
            &d, "paper-draw",
            work_paper_draw(&w, study, call->args[0], cli_value(call, "refresher") != NULL, seed, &acts, &err), &err);
    }
    status = status == EXIT_CLEAR ? training_book(&d, &acts) : status;
    status = status == EXIT_CLEAR
                 ? desk_ask(&d, "papers",
                            json_pack("{s:s, s:s, s:i}", "member", call->args[0], "state", "open", "limit", 1), &papers)
                 : status;
    status = status == EXIT_CLEAR
                 ? show(&d, &studies, work_int(json_array_get(json_object_get(papers, "papers"), 0), "paper", 0))
                 : status;
    json_decref(papers);
    work_acts_done(&acts);
    desk_close(&d);
    return status;
}

static int run_show(const cli_call *call)
{
    desk d;
    work_studies studies;
    int64_t number = 0;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? paper_number(call->args[0], &number) : status;
    status = status == EXIT_CLEAR ? training_studies(&d, &studies) : status;
    status = status == EXIT_CLEAR ? show(&d, &studies, number) : status;
    desk_close(&d);
    return status;
}

/* What answer, hand-in and teach share: the paper, its study, the acts of one of them. */
static int on_paper(const cli_call *call, const char *what)
{
    desk d;
    work_studies studies;
    work_acts acts = {0};
    const po_study *study = NULL;
    json_t *paper = NULL;
    int64_t number = 0;
    bool right = true;
    po_err err;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? paper_number(call->args[0], &number) : status;
    status = status == EXIT_CLEAR ? training_studies(&d, &studies) : status;
    status = status == EXIT_CLEAR ? ask_paper(&d, number, &paper) : status;
    status = status == EXIT_CLEAR ? training_study(&studies, work_text(paper, "study"), &study) : status;
    if (status == EXIT_CLEAR) {
        work_context w = desk_work(&d);
        po_status s = strcmp(what, "paper-answer") == 0
                          ? work_paper_answer(&w, study, paper, call->args[1], call->args[2], &acts, &err)
                      : strcmp(what, "paper-hand-in") == 0
                          ? work_paper_hand_in(&w, study, paper, &acts, &err)
                          : work_paper_teach(&w, study, paper, call->args[1], call->args[2], &right, &acts, &err);
        status = training_said(&d, what, s, &err);
    }
    if (status == EXIT_CLEAR && !right) {
        puts("That is not right yet: read the lesson again, and why.");
    } else if (status == EXIT_CLEAR) {
        bool granted = acts.n > 1;
        status = training_book(&d, &acts);
        if (status == EXIT_CLEAR && granted && !d.json) {
            printf("Permission %s is granted.\n", study->grants);
        }
    }
    if (status == EXIT_CLEAR && strcmp(what, "paper-answer") != 0) {
        status = show(&d, &studies, number);
    } else if (status == EXIT_CLEAR && !d.json) {
        puts("Kept.");
    }
    json_decref(paper);
    work_acts_done(&acts);
    desk_close(&d);
    return status;
}

static int run_answer(const cli_call *call)
{
    return on_paper(call, "paper-answer");
}

static int run_hand_in(const cli_call *call)
{
    return on_paper(call, "paper-hand-in");
}

static int run_teach(const cli_call *call)
{
    return on_paper(call, "paper-taught");
}

static int run_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"paper", "paper", DESK_COUNT, 0, true},   {"member", "member", DESK_TEXT, 16, false},
        {"study", "study", DESK_TEXT, 20, false},  {"kind", "kind", DESK_TEXT, 0, false},
        {"state", "state", DESK_TEXT, 0, false},   {"handed in", "handed_ms", DESK_TIME, 0, false},
        {"points", "points", DESK_COUNT, 0, true}, {"of", "most", DESK_COUNT, 0, true},
        {"passed", "passed", DESK_TEXT, 0, false}};
    desk d;
    json_t *p = NULL, *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &p) : status;
    if (status == EXIT_CLEAR) {
        status = desk_ask(&d, "papers", p, &answer);
        p = NULL;
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(answer);
        answer = NULL;
    } else if (status == EXIT_CLEAR) {
        size_t i;
        json_t *row;
        json_array_foreach(json_object_get(answer, "papers"), i, row)
        {
            bool in = strcmp(work_text(row, "state"), "handed-in") == 0;
            json_object_set_new(row, "passed",
                                json_string(!in                                            ? ""
                                            : json_is_true(json_object_get(row, "passed")) ? "yes"
                                            : json_is_true(json_object_get(row, "met"))    ? "once taught"
                                                                                           : "no"));
        }
        desk_table(&d, json_object_get(answer, "papers"), columns, sizeof columns / sizeof columns[0],
                   "No paper is in the book.");
    }
    json_decref(p);
    json_decref(answer);
    desk_close(&d);
    return status;
}

/* ---- results from elsewhere ---- */

/* The moment at noon of a day on the shop's wall: a result has a day alone. */
static int64_t noon_of(const desk *d, po_date date)
{
    return desk_ms(d->shop, (po_wall_time){date, 12 * 60});
}

static int book_results(desk *d, const po_result *list, size_t n, const char *source)
{
    const char **names = po_arena_zeros(d->arena, n + 1, sizeof *names);
    json_t **bodies = po_arena_zeros(d->arena, n + 1, sizeof(json_t *));
    po_act_done *done = po_arena_zeros(d->arena, n + 1, sizeof *done);
    int status = names && bodies && done ? EXIT_CLEAR : cli_fail(EXIT_OWN, "memory ran out");
    size_t passed = 0;
    for (size_t i = 0; status == EXIT_CLEAR && i < n; i++) {
        names[i] = "paper-import";
        bodies[i] = json_pack("{s:s, s:s, s:b, s:I, s:s}", "member", list[i].member, "study", list[i].study, "passed",
                              (int)list[i].passed, "at", (json_int_t)noon_of(d, list[i].date), "source", source);
        if (list[i].points >= 0) {
            json_object_set_new(bodies[i], "points", json_integer(list[i].points));
        }
        if (list[i].most >= 0) {
            json_object_set_new(bodies[i], "most", json_integer(list[i].most));
        }
        passed += list[i].passed;
    }
    status = status == EXIT_CLEAR ? desk_acts(d, names, bodies, n, done, NULL) : status;
    if (status == EXIT_CLEAR) {
        printf("%zu results are booked, %zu of them passed. Permissions follow when their steps are signed, or by "
               "permit grant.\n",
               n, passed);
    }
    return status;
}

static int run_import(const cli_call *call)
{
    desk d;
    char *data = NULL;
    size_t n = 0, n_results = 0, n_faults = 0;
    const po_result *list = NULL;
    const char *const *faults = NULL;
    po_err err;
    int status = desk_open(&d, call);
    if (status == EXIT_CLEAR && !(data = cli_read_whole(call->args[0], RESULTS_BYTES_MOST, &n))) {
        status = EXIT_USAGE;
    }
    if (status == EXIT_CLEAR &&
        po_results_read(data, n, d.arena, &list, &n_results, &faults, &n_faults, &err) != PO_OK) {
        for (size_t i = 0; i < n_faults; i++) {
            cli_fail(EXIT_USAGE, "%s:%s", call->args[0], faults[i]);
        }
        status = n_faults ? EXIT_USAGE : cli_fail_err(&err);
    }
    for (size_t i = 0; status == EXIT_CLEAR && i < n_results; i++) {
        if (noon_of(&d, list[i].date) > d.now_ms) {
            status = cli_fail(EXIT_USAGE, "%s:%u: that day is still to come", call->args[0], (unsigned)list[i].line);
        }
    }
    if (status == EXIT_CLEAR && cli_value(call, "try")) {
        printf("%zu results, no faults; nothing is booked.\n", n_results);
    } else if (status == EXIT_CLEAR) {
        status = book_results(&d, list, n_results, cli_value(call, "source") ? cli_value(call, "source") : "a file");
    }
    free(data);
    desk_close(&d);
    return status;
}

static const cli_option draw_options[] = {
    DESK_OPTIONS, {.name = "refresher", .says = "the shorter one, for who holds the permission"}};
static const cli_option plain_options[] = {DESK_OPTIONS};
static const cli_option list_options[] = {
    DESK_OPTIONS,
    {.name = "member", .value = "ID", .says = "one member's", .field = "member", .unit = DESK_ID},
    {.name = "study", .value = "STUDY", .says = "of one study", .field = "study", .unit = DESK_ID},
    {.name = "state", .value = "STATE", .says = "open, handed-in or void", .field = "state", .unit = DESK_TEXT},
    {.name = "latest", .says = "only the last of each member and study", .field = "latest", .unit = DESK_FLAG},
    {.name = "limit", .value = "N", .says = "at most so many", .field = "limit", .unit = DESK_COUNT},
};
static const cli_option void_options[] = {
    DESK_OPTIONS, {.name = "reason", .value = "TEXT", .says = "why (needed)", .field = "reason", .unit = DESK_TEXT}};
static const cli_option time_options[] = {DESK_OPTIONS,
                                          {.name = "until",
                                           .value = "TIME",
                                           .says = "until then; without it for good",
                                           .field = "until",
                                           .unit = DESK_UNTIL}};
static const cli_option import_options[] = {
    DESK_OPTIONS,
    {.name = "source", .value = "TEXT", .says = "where they come from"},
    {.name = "try", .says = "only look for faults"},
};
static const cli_example draw_examples[] = {
    {"proveout paper draw 10041 first-steps", "a paper for a newcomer at the desk"}};
static const cli_example answer_examples[] = {
    {"proveout paper answer 812 bed-burn b", "option b"},
    {"proveout paper answer 812 clear-space 30", "a number in the unit asked for"}};
static const cli_example time_examples[] = {
    {"proveout paper time 10041 150", "half as much time again; why is nowhere"}};
static const cli_example import_examples[] = {{"proveout paper import results.csv --try", "look for faults first"}};

static const cli_example show_examples[] = {{"proveout paper show 812", "a paper as its member may see it"}};
static const cli_example hand_in_examples[] = {{"proveout paper hand-in 812", "marks, reasons, what is to be taught"}};
static const cli_example teach_examples[] = {
    {"proveout paper teach 812 scraper c", "right now: it need not be taught any more"}};
static const cli_example list_examples[] = {{"proveout paper list --study first-steps --latest", "who stands where"}};
static const cli_example void_examples[] = {
    {"proveout paper void 812 --reason \"another sat it\"", "it counts for nothing"}};
const cli_verb cli_paper_verbs[] = {
    {.name = "paper draw",
     .operands = "MEMBER STUDY",
     .least = 2,
     .most = 2,
     .options = draw_options,
     .n_options = sizeof draw_options / sizeof draw_options[0],
     .line = "a member gets a paper of a study",
     .help = "Draws by the study's blueprint, other questions than the member's last papers had, options shuffled. "
             "After one that was not passed the study's pause is kept.",
     .examples = draw_examples,
     .n_examples = 1,
     .run = run_draw},
    {.name = "paper show",
     .operands = "PAPER",
     .least = 1,
     .most = 1,
     .options = plain_options,
     .n_options = sizeof plain_options / sizeof plain_options[0],
     .line = "a paper with its answers; once handed in, with marks and reasons",
     .help = "Shows what is asked; what is right and why only once the paper is handed in. Results are the member's "
             "and the desk's only.",
     .examples = show_examples,
     .n_examples = 1,
     .run = run_show},
    {.name = "paper answer",
     .operands = "PAPER QUESTION ANSWER",
     .least = 3,
     .most = 3,
     .options = plain_options,
     .n_options = sizeof plain_options / sizeof plain_options[0],
     .line = "an answer to a question; a later one takes its place",
     .help = "Letters of options with commas between (b; a,c; in order: c,a,b), a number, or a place in the picture as "
             "two thousandths (512,300).",
     .examples = answer_examples,
     .n_examples = 2,
     .run = run_answer},
    {.name = "paper hand-in",
     .operands = "PAPER",
     .least = 1,
     .most = 1,
     .options = plain_options,
     .n_options = sizeof plain_options / sizeof plain_options[0],
     .line = "a paper is handed in and marked, with reasons",
     .help = "Marks it at once. Missed questions on a hazard are taught again (paper teach) before it counts as "
             "passed. The permission follows where the steps are signed.",
     .examples = hand_in_examples,
     .n_examples = 1,
     .run = run_hand_in},
    {.name = "paper teach",
     .operands = "PAPER QUESTION ANSWER",
     .least = 3,
     .most = 3,
     .options = plain_options,
     .n_options = sizeof plain_options / sizeof plain_options[0],
     .line = "a missed question on a hazard, answered again after it was taught",
     .help = "Only a right answer is booked.",
     .examples = teach_examples,
     .n_examples = 1,
     .run = run_teach},
    {.name = "paper list",
     .operands = "",
     .options = list_options,
     .n_options = sizeof list_options / sizeof list_options[0],
     .line = "papers, the latest first, without answers",
     .help = "Lists papers by member, study or state.",
     .examples = list_examples,
     .n_examples = 1,
     .run = run_list},
    {.name = "paper void",
     .operands = "PAPER",
     .least = 1,
     .most = 1,
     .options = void_options,
     .n_options = sizeof void_options / sizeof void_options[0],
     .line = "a paper counts for nothing",
     .help = "Makes a paper void; a permission that was granted stays until it is withdrawn (permit withdraw).",
     .examples = void_examples,
     .n_examples = 1,
     .run = desk_run_act,
     .act = "paper-void",
     .fills = {{"paper", DESK_COUNT}},
     .done = "Paper {paper} is void."},
    {.name = "paper time",
     .operands = "MEMBER PERCENT",
     .least = 2,
     .most = 2,
     .options = time_options,
     .n_options = sizeof time_options / sizeof time_options[0],
     .line = "a member has another time for papers",
     .help = "In percent of the usual: 150 is half as much again, 0 no limit, 100 as usual. Why stands nowhere.",
     .examples = time_examples,
     .n_examples = 1,
     .run = desk_run_act,
     .act = "member-accommodate",
     .fills = {{"member", DESK_ID}, {"time_percent", DESK_COUNT}},
     .done = "Member {member} has {time_percent} percent of the usual time[ until {until:until}]."},
    {.name = "paper import",
     .operands = "FILE",
     .least = 1,
     .most = 1,
     .options = import_options,
     .n_options = sizeof import_options / sizeof import_options[0],
     .line = "results from another system, as comma-separated values",
     .help = "The first line names the columns: member, study, passed (yes or no), date, and points and most where "
             "they are known. All are booked, or none.",
     .examples = import_examples,
     .n_examples = 1,
     .run = run_import},
    {.name = NULL}};
