/* proveout care due, done, replaced, log: the desk's work at the machines, in the book. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "care.h"
#include "work/care.h"

static void tell_due(const desk *d, const json_t *due, bool all)
{
    size_t i, shown = 0;
    const json_t *t;
    json_array_foreach(json_object_get(due, "tasks"), i, t)
    {
        const char *state = work_text(t, "state"), *by = work_text(t, "by"),
                   *done = desk_words(d, json_object_get(t, "done_ms"), DESK_DAY);
        double share = json_number_value(json_object_get(t, "share"));
        if (!all && strcmp(state, "good") == 0) {
            continue;
        }
        shown++;
        printf("  %-10s %-14s %-4s %4.0f %% of its %s%s%s  (%s)\n", work_text(t, "machine"), work_text(t, "task"),
               state, 100 * share, by, *done ? ", last " : ", never booked", done, work_text(t, "says"));
        if (*work_text(t, "caution") && strcmp(state, "good") != 0) {
            cli_wrap_after(stdout, 4, "Caution:", work_text(t, "caution"));
        }
    }
    if (d->shop->n_tasks == 0) {
        puts("The shop file names no tasks (care: NAME: {says, hours, metres, starts, days}).");
    } else if (shown == 0) {
        puts("No care is due.");
    } else {
        puts("Hot, moving and live parts hurt: by the maker's instructions. proveout care done MACHINE TASK books it.");
    }
}

int care_run_due(const cli_call *call)
{
    desk d;
    json_t *due = NULL;
    const po_machine *machine = NULL;
    const char *name = cli_value(call, "machine");
    po_err err;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR && name ? cli_shop_machine(d.shop, name, d.arena, &machine) : status;
    if (status == EXIT_CLEAR) {
        work_context w = desk_work(&d);
        status = work_care_due(&w, machine ? machine->name : NULL, &due, &err) == PO_OK ? EXIT_CLEAR
                                                                                        : cli_fail_err(&err);
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(due);
        due = NULL;
    } else if (status == EXIT_CLEAR) {
        tell_due(&d, due, cli_value(call, "all") != NULL);
    }
    json_decref(due);
    desk_close(&d);
    return status;
}

/* The task must be one of the shop file: a slip of a name would never be due again. */
int care_run_done(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR) {
        const char *name = call->args[1];
        const po_task *task = po_shop_task(d.shop, name);
        const char *names[500];
        size_t n = d.shop->n_tasks < 500 ? d.shop->n_tasks : 500;
        for (size_t i = 0; i < n; i++) {
            names[i] = d.shop->tasks[i].name;
        }
        if (!task) {
            const char *near = po_nearest_name(name, names, n);
            status = near ? cli_fail(EXIT_USAGE, "the shop file has no task \"%s\"; the nearest is %s", name, near)
                          : cli_fail(EXIT_USAGE, "the shop file names no tasks of care");
        } else {
            json_object_set_new(body, "task", json_string(task->name));
            status = desk_book_and_tell(&d, body);
            body = NULL;
        }
    }
    json_decref(body);
    desk_close(&d);
    return status;
}

int care_run_log(const cli_call *call)
{
    static const desk_column columns[] = {
        {"when", "at_ms", DESK_TIME, 0, false}, {"machine", "machine", DESK_TEXT, 16, false},
        {"task", "task", DESK_TEXT, 20, false}, {"part", "part", DESK_TEXT, 20, false},
        {"why", "why", DESK_TEXT, 0, false},    {"by", "by", DESK_TEXT, 12, false},
        {"note", "note", DESK_TEXT, 40, false}};
    desk d;
    json_t *p = NULL, *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &p) : status;
    if (status == EXIT_CLEAR) {
        status = desk_ask(&d, "care-log", p, &answer);
        p = NULL;
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(answer);
        answer = NULL;
    } else if (status == EXIT_CLEAR) {
        desk_table(&d, json_object_get(answer, "log"), columns, sizeof columns / sizeof columns[0],
                   "No care is in the book.");
    }
    json_decref(p);
    json_decref(answer);
    desk_close(&d);
    return status;
}
