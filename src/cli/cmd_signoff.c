/* proveout signoff ...: who waits for a step to be seen, and seeing it. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "training.h"
#include "verbs.h"

static int run_list(const cli_call *call)
{
    desk d;
    work_studies studies;
    json_t *waiting = NULL;
    po_err err;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? training_studies(&d, &studies) : status;
    if (status == EXIT_CLEAR) {
        work_context w = desk_work(&d);
        status = work_signoff_waiting(&w, &studies, &waiting, &err) == PO_OK ? EXIT_CLEAR : cli_fail_err(&err);
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(waiting);
        waiting = NULL;
    } else if (status == EXIT_CLEAR) {
        const json_t *list = json_object_get(waiting, "waiting"), *row, *step;
        size_t i, k;
        json_array_foreach(list, i, row)
        {
            printf("Member %s, %s, passed %s:\n", work_text(row, "member"), work_text(row, "study"),
                   desk_words(&d, json_object_get(row, "passed_ms"), DESK_DAY));
            json_array_foreach(json_object_get(row, "steps"), k, step)
            {
                printf("  %-14s %s\n", work_text(step, "step"), work_text(step, "says"));
                if (*work_text(step, "caution")) {
                    cli_wrap_after(stdout, 4, "Caution:", work_text(step, "caution"));
                }
            }
        }
        puts(json_array_size(list)
                 ? "proveout signoff step MEMBER STUDY STEP MACHINE --seen-by YOU books what was seen."
                 : "Nobody waits for a step to be seen.");
    }
    json_decref(waiting);
    desk_close(&d);
    return status;
}

static int run_step(const cli_call *call)
{
    desk d;
    work_studies studies;
    work_acts acts = {0};
    const po_study *study = NULL;
    const po_machine *machine = NULL;
    po_err err;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? training_studies(&d, &studies) : status;
    status = status == EXIT_CLEAR ? training_study(&studies, call->args[1], &study) : status;
    status = status == EXIT_CLEAR ? cli_shop_machine(d.shop, call->args[3], d.arena, &machine) : status;
    if (status == EXIT_CLEAR) {
        const char *seen_by = cli_value(call, "seen-by");
        work_context w = desk_work(&d);
        status = training_said(&d, "practice-sign",
                               work_practice_sign(&w, study, call->args[0], call->args[2], machine->name,
                                                  seen_by ? seen_by : d.by, cli_value(call, "note"), &acts, &err),
                               &err);
    }
    if (status == EXIT_CLEAR) {
        bool granted = acts.n > 1;
        status = training_book(&d, &acts);
        if (status == EXIT_CLEAR) {
            printf("Member %s was seen to do %s on %s.\n", call->args[0], call->args[2], machine->name);
            if (granted) {
                printf("Permission %s is granted.\n", study->grants);
            }
        }
    }
    work_acts_done(&acts);
    desk_close(&d);
    return status;
}

static const cli_option list_options[] = {DESK_OPTIONS};
static const cli_option step_options[] = {
    DESK_OPTIONS,
    {.name = "seen-by", .value = "WHO", .says = "who of the desk saw it, if another one than books it"},
    {.name = "note", .value = "TEXT", .says = "what else to know"},
};
static const cli_example step_examples[] = {
    {"proveout signoff step 10041 first-steps load-spool Alder", "seen, by whom, on which machine"}};

static const cli_example list_examples[] = {{"proveout signoff list", "who waits, and for which steps"}};
const cli_verb cli_signoff_verbs[] = {
    {.name = "signoff list",
     .operands = "",
     .options = list_options,
     .n_options = sizeof list_options / sizeof list_options[0],
     .line = "who has passed and waits for a step to be seen",
     .help = "Lists members whose paper counts as passed, with the practical steps that nobody has signed yet.",
     .examples = list_examples,
     .n_examples = 1,
     .run = run_list},
    {.name = "signoff step",
     .operands = "MEMBER STUDY STEP MACHINE",
     .least = 4,
     .most = 4,
     .options = step_options,
     .n_options = sizeof step_options / sizeof step_options[0],
     .line = "a member was seen to do a practical step",
     .help = "Signs it. With the last one the study's permission is granted, where its paper is passed. Nobody signs "
             "their own.",
     .examples = step_examples,
     .n_examples = 1,
     .run = run_step},
    {.name = NULL}};
