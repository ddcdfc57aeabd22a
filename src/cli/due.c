/* The day at the desk for the verbs (due.h). SPDX-License-Identifier: Apache-2.0 */
#include "due.h"

#include "work/care.h"
#include "work/training.h"

size_t due_hours(const desk *d, int64_t ms, work_span spans[WORK_SPANS_MOST])
{
    work_context w = desk_work(d);
    return work_hours(&w, ms, spans);
}

bool due_next_staffed(const desk *d, int64_t ms, int64_t *ret_ms)
{
    work_context w = desk_work(d);
    return work_next_staffed(&w, ms, ret_ms);
}

int due_ask(desk *d, json_t **ret_today)
{
    work_context w = desk_work(d);
    po_err err;
    po_status s = work_today(&w, ret_today, &err);
    work_studies studies;
    const char *folder = work_studies_folder(d->shop, cli_shop_path(cli_value(d->call, "shop")), d->arena);
    if (s == PO_OK && folder &&
        work_studies_read(folder, d->shop, NULL, 0, d->arena, &studies, &err) ==
            PO_OK) { /* train check tells what is wrong with them */
        s = work_training_today(&w, &studies, *ret_today, &err);
    }
    if (s == PO_OK && (s = work_care_today(&w, *ret_today, &err)) != PO_OK) {
        json_decref(*ret_today);
        *ret_today = NULL;
    }
    return s == PO_OK ? EXIT_CLEAR : w.asked ? desk_refused(d, w.asked, &err) : cli_fail_err(&err);
}

json_t *due_list(const desk *d, const json_t *today)
{
    work_context w = desk_work(d);
    return work_due_list(&w, today);
}

bool due_next_free(const desk *d, const json_t *today, const char *member, const char *machine,
                   const json_t *permissions, int64_t *ret_ms, const char **ret_machine)
{
    work_context w = desk_work(d);
    return work_next_free(&w, today, member, machine, permissions, ret_ms, ret_machine);
}

const char *desk_message(const desk *d, po_text_kind kind, const work_message_words *words)
{
    work_context w = desk_work(d);
    return work_message(&w, kind, words);
}
