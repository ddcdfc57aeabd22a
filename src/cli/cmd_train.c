/* proveout train ...: the studies: checked, listed, shown; permissions that nobody uses. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "training.h"
#include "verbs.h"

static const char **finding_names(po_arena *arena, size_t *ret_n)
{
    const po_rule_info *rules = po_rules_table(ret_n);
    const char **names = po_arena_zeros(arena, *ret_n + 1, sizeof *names);
    for (size_t i = 0; names && i < *ret_n; i++) {
        names[i] = rules[i].name;
    }
    return names;
}

int training_folder(const cli_call *call, const char *given, const po_shop *shop, po_arena *arena, const char **ret)
{
    *ret = given ? given : work_studies_folder(shop, cli_shop_path(cli_value(call, "shop")), arena);
    return *ret ? EXIT_CLEAR
                : cli_fail(EXIT_USAGE, "the shop file names no folder of studies (training: {studies: FOLDER})");
}

int training_studies(const desk *d, work_studies *ret)
{
    const char *folder = NULL;
    size_t n = 0;
    po_err err;
    const char **names = finding_names(d->arena, &n);
    int status = training_folder(d->call, NULL, d->shop, d->arena, &folder);
    if (status != EXIT_CLEAR) {
        return status;
    }
    if (work_studies_read(folder, d->shop, names, n, d->arena, ret, &err) != PO_OK) {
        return cli_fail_err(&err);
    }
    if (ret->n_faults > 0) {
        cli_fail(EXIT_CLEAR, "%s%s", ret->faults[0], ret->n_faults > 1 ? " (and more: proveout train check)" : "");
    }
    return EXIT_CLEAR;
}

int training_study(const work_studies *studies, const char *id, const po_study **ret)
{
    const char *names[WORK_STUDIES_MOST];
    for (size_t i = 0; i < studies->n; i++) {
        names[i] = studies->list[i]->id;
    }
    *ret = work_study(studies, id);
    if (*ret) {
        return EXIT_CLEAR;
    }
    const char *near = po_nearest_name(id, names, studies->n);
    return near ? cli_fail(EXIT_USAGE, "there is no study \"%s\"; the nearest is %s", id, near)
                : cli_fail(EXIT_USAGE, "there is no study in %s", studies->folder);
}

int training_book(desk *d, work_acts *acts)
{
    json_t *answers[WORK_ACTS_MOST] = {NULL};
    po_act_done done[WORK_ACTS_MOST];
    int status = desk_acts(d, acts->names, acts->bodies, acts->n, done, answers);
    for (size_t i = 0; i < acts->n; i++) {
        json_decref(answers[i]);
        acts->bodies[i] = NULL; /* desk_acts took them over */
    }
    acts->n = 0;
    return status;
}

int training_said(const desk *d, const char *what, po_status s, const po_err *err)
{
    return s == PO_OK        ? EXIT_CLEAR
           : s == PO_E_RANGE ? cli_fail(EXIT_USAGE, "%s: %s", what, err->msg)
                             : desk_refused(d, what, err);
}

/* ---- check ---- */

static int run_check(const cli_call *call)
{
    po_arena *arena = po_arena_new(0);
    const po_shop *shop = NULL;
    const char *folder = NULL;
    work_studies studies;
    size_t n = 0, questions = 0;
    po_err err;
    int status = arena ? EXIT_CLEAR : cli_fail(EXIT_OWN, "memory ran out");
    if (status == EXIT_CLEAR && (call->n_args == 0 || cli_value(call, "shop"))) {
        status = cli_shop_read(cli_value(call, "shop"), arena, &shop);
    }
    status = status == EXIT_CLEAR ? training_folder(call, call->n_args ? call->args[0] : NULL, shop, arena, &folder)
                                  : status;
    const char **names = arena ? finding_names(arena, &n) : NULL;
    if (status == EXIT_CLEAR && work_studies_read(folder, shop, names, n, arena, &studies, &err) != PO_OK) {
        status = cli_fail_err(&err);
    }
    if (status == EXIT_CLEAR) {
        for (size_t i = 0; i < studies.n_faults; i++) {
            printf("%s\n", studies.faults[i]);
        }
        for (size_t i = 0; i < studies.n; i++) {
            questions += studies.list[i]->n_questions;
        }
        printf("%s: %zu stud%s, %zu questions, %zu fault%s\n", folder, studies.n, studies.n == 1 ? "y" : "ies",
               questions, studies.n_faults, studies.n_faults == 1 ? "" : "s");
        status = studies.n_faults > 0 ? EXIT_USAGE : EXIT_CLEAR;
    }
    po_arena_free(arena);
    return status;
}

/* ---- list, show ---- */

static int run_list(const cli_call *call)
{
    desk d = {.call = call, .json = cli_value(call, "json") != NULL, .arena = po_arena_new(0)};
    work_studies studies;
    int status = d.arena ? cli_shop_read(cli_value(call, "shop"), d.arena, &d.shop)
                         : cli_fail(EXIT_OWN, "memory ran out");
    status = status == EXIT_CLEAR ? training_studies(&d, &studies) : status;
    json_t *list = json_array();
    for (size_t i = 0; status == EXIT_CLEAR && i < studies.n; i++) {
        const po_study *s = studies.list[i];
        int asked = 0;
        for (size_t t = 0; t < s->n_topics; t++) {
            asked += s->topics[t].questions;
        }
        json_array_append_new(list, json_pack("{s:s, s:s, s:s?, s:i, s:i, s:i, s:i, s:i, s:i}", "study", s->id, "title",
                                              s->title, "grants", s->grants, "lessons", (int)s->n_lessons, "questions",
                                              (int)s->n_questions, "asked", asked, "minutes", s->minutes,
                                              "pass_permille", s->pass_permille, "steps", (int)s->n_practice));
        if (!d.json) {
            printf("  %-16s %s: %zu lessons; a paper asks %d of %zu questions, %g %% pass", s->id, s->title,
                   s->n_lessons, asked, s->n_questions, s->pass_permille / 10.0);
            if (s->minutes) {
                printf(", %d minutes", s->minutes);
            }
            if (s->n_practice) {
                printf("; %zu steps to be seen", s->n_practice);
            }
            printf("%s%s\n", s->grants ? "; grants " : "", s->grants ? s->grants : "");
        }
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_pack("{s:s, s:O}", "format", "proveout/studies/1", "studies", list));
    }
    json_decref(list);
    po_arena_free(d.arena);
    return status;
}

static void show_question(const po_question *q, po_arena *arena)
{
    const char *right = po_answer_right(q, arena);
    printf("\n%s (%s%s)\n", q->id, po_question_kind_name(q->kind), q->hazard ? ", hazard" : "");
    cli_wrap(stdout, 2, q->ask);
    for (size_t i = 0; i < q->n_options; i++) {
        printf("    %zu  %s\n", i + 1, q->options[i]);
    }
    if (q->kind == PO_ASK_NUMBER) {
        printf("  Right: %g %s, within %g\n", q->is, q->unit, q->within);
    } else {
        printf("  Right: %s\n", right ? right : "");
    }
    cli_wrap_after(stdout, 2, "Because:", q->why);
}

static int run_show(const cli_call *call)
{
    desk d = {.call = call, .arena = po_arena_new(0)};
    work_studies studies;
    const po_study *s = NULL;
    int status = d.arena ? cli_shop_read(cli_value(call, "shop"), d.arena, &d.shop)
                         : cli_fail(EXIT_OWN, "memory ran out");
    status = status == EXIT_CLEAR ? training_studies(&d, &studies) : status;
    status = status == EXIT_CLEAR ? training_study(&studies, call->args[0], &s) : status;
    if (status == EXIT_CLEAR) {
        printf("%s\n", s->title);
        for (size_t i = 0; i < s->n_lessons; i++) {
            printf("\n%s\n", s->lessons[i].title);
            cli_wrap(stdout, 2, s->lessons[i].text);
            for (size_t k = 0; k < s->lessons[i].n_see; k++) {
                printf("  proveout explain %s\n", s->lessons[i].see[k]);
            }
        }
        for (size_t i = 0; cli_value(call, "questions") && i < s->n_questions; i++) {
            show_question(&s->questions[i], d.arena);
        }
        if (s->n_practice) {
            puts("\nSteps that a desk person must see:");
        }
        for (size_t i = 0; i < s->n_practice; i++) {
            printf("  %-14s ", s->practice[i].id);
            puts(s->practice[i].says);
        }
    }
    po_arena_free(d.arena);
    return status;
}

/* ---- unused ---- */

static int run_unused(const cli_call *call)
{
    static const desk_column columns[] = {{"member", "member", DESK_TEXT, 16, false},
                                          {"permission", "permission", DESK_TEXT, 20, false},
                                          {"given", "given_ms", DESK_DAY, 0, false},
                                          {"last used", "last_out_ms", DESK_DAY, 0, false}};
    desk d;
    json_t *unused = NULL;
    po_err err;
    int status = desk_open(&d, call);
    if (status == EXIT_CLEAR) {
        work_context w = desk_work(&d);
        status = work_permits_unused(&w, &unused, &err) == PO_OK ? EXIT_CLEAR : cli_fail_err(&err);
    }
    const json_t *list = json_object_get(unused, "unused"), *row;
    size_t i, withdrawn = 0;
    if (status == EXIT_CLEAR && cli_value(call, "withdraw")) {
        json_array_foreach(list, i, row)
        {
            po_act_done done;
            status = status == EXIT_CLEAR
                         ? desk_act(&d, "permit-withdraw",
                                    json_pack("{s:O, s:O, s:s}", "member", json_object_get(row, "member"), "permission",
                                              json_object_get(row, "permission"), "reason", "not used"),
                                    &done, NULL)
                         : status;
            withdrawn += status == EXIT_CLEAR;
        }
        if (status == EXIT_CLEAR) {
            printf("%zu withdrawn for disuse; a refresher's pass grants it anew.\n", withdrawn);
        }
    } else if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(unused));
    } else if (status == EXIT_CLEAR) {
        desk_table(
            &d, list, columns, sizeof columns / sizeof columns[0],
            "No permission has lain unused for as long as the shop file says (permissions: NAME: {disuse_months: N}).");
    }
    json_decref(unused);
    desk_close(&d);
    return status;
}

#define SHOP_OPTION                                                                                                    \
    {                                                                                                                  \
        .name = "shop", .value = "FILE", .says = "the shop file; else PROVEOUT_SHOP, else ./shop.yaml"                 \
    }
static const cli_option check_options[] = {SHOP_OPTION};
static const cli_option list_options[] = {SHOP_OPTION,
                                          {.name = "json", .says = "print one JSON object instead of words"}};
static const cli_option show_options[] = {
    SHOP_OPTION, {.name = "questions", .says = "the questions too, with what is right and why: for keepers"}};
static const cli_option unused_options[] = {DESK_OPTIONS, {.name = "withdraw", .says = "withdraw them all"}};
static const cli_example check_examples[] = {
    {"proveout train check", "every fault of the shop's studies, with its place"}};
static const cli_example show_examples[] = {
    {"proveout train show first-steps", "its lessons and the steps that must be seen"}};

static const cli_option items_options[] = {DESK_OPTIONS};
static const cli_example items_examples[] = {{"proveout train items first-steps", "which questions to look at again"}};
static const cli_example list_examples[] = {{"proveout train list", "what can be learned here"}};
static const cli_example unused_examples[] = {{"proveout train unused", "who has not used a permission for long"}};
const cli_verb cli_train_verbs[] = {
    {.name = "train check",
     .operands = "[FOLDER]",
     .most = 1,
     .options = check_options,
     .n_options = 1,
     .line = "every fault of the studies, with its place",
     .help = "Reads each subfolder's study.yaml and its pictures (docs/study-format.md): faults by file, line and "
             "column; pictures that are missing; permissions and findings that "
             "nobody knows; topics with fewer questions than a paper asks.",
     .examples = check_examples,
     .n_examples = 1,
     .run = run_check},
    {.name = "train list",
     .operands = "",
     .options = list_options,
     .n_options = 2,
     .line = "the studies that there are",
     .help = "Lists the shop's studies: what they ask and what they grant.",
     .examples = list_examples,
     .n_examples = 1,
     .run = run_list},
    {.name = "train show",
     .operands = "STUDY",
     .least = 1,
     .most = 1,
     .options = show_options,
     .n_options = 2,
     .line = "a study's lessons, steps and questions",
     .help = "Prints the lessons and what a desk person must see done; with --questions what is asked, what is right "
             "and why.",
     .examples = show_examples,
     .n_examples = 1,
     .run = run_show},
    {.name = "train items",
     .operands = "STUDY",
     .least = 1,
     .most = 1,
     .options = items_options,
     .n_options = sizeof items_options / sizeof items_options[0],
     .line = "how good a study's questions are, by the papers in the book",
     .help =
         "Of each question how many got it right, whether it tells who knows (the correlation with the rest of the "
         "paper; upper less lower 27 %), how hard it is by the two-parameter model, and which mislead or seem to have "
         "a wrong key. Below 30 papers with a question nothing is said of it. For keepers.",
     .examples = items_examples,
     .n_examples = 1,
     .run = train_items},
    {.name = "train unused",
     .operands = "",
     .options = unused_options,
     .n_options = sizeof unused_options / sizeof unused_options[0],
     .line = "permissions that their holders do not use any more",
     .help =
         "Who has taken out no machine that needs the permission for as long as the shop file says (disuse_months).",
     .examples = unused_examples,
     .n_examples = 1,
     .run = run_unused},
    {.name = NULL}};
