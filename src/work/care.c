/* Care that is due, by what machines ran since it was last done. SPDX-License-Identifier: Apache-2.0 */
#include "work/care.h"

#include <stdlib.h>
#include <string.h>

static const double soon_share = 0.9, day_ms = 86400000.0;

/* Metres, each times its material's wear. */
static double metres_of(const po_shop *shop, const json_t *takes)
{
    double m = 0;
    size_t i;
    const json_t *take;
    json_array_foreach(takes, i, take)
    {
        const po_material *material = po_shop_material(shop, work_text(take, "material"));
        m += (double)work_int(take, "um", 0) / 1e6 * (material ? material->wear : 1);
    }
    return m;
}

typedef struct used {
    double share;
    const char *by;
} used;

static void take_more(used *u, double is, double interval, const char *by)
{
    if (interval > 0 && is / interval > u->share) {
        *u = (used){is / interval, by};
    }
}

/* counters: of the time since; since_ms -1: never ran. */
static used use_of(const work_context *w, const po_task *task, const json_t *counters, int64_t since_ms)
{
    used u = {0, task->hours > 0 ? "hours" : task->metres > 0 ? "metres" : task->starts ? "starts" : "days"};
    if (since_ms >= 0) {
        take_more(&u, (double)work_int(counters, "seconds", 0) / 3600, task->hours, "hours");
        take_more(&u, metres_of(w->shop, json_object_get(counters, "takes")), task->metres, "metres");
        take_more(&u, (double)work_int(counters, "starts", 0), task->starts, "starts");
        take_more(&u, (double)(w->now_ms - since_ms) / day_ms, task->days, "days");
    }
    return u;
}

static const json_t *row_of(const json_t *list, const char *machine, const char *task)
{
    size_t i;
    const json_t *row;
    json_array_foreach(list, i, row)
    {
        if (strcmp(work_text(row, "machine"), machine) == 0 && (!task || strcmp(work_text(row, "task"), task) == 0)) {
            return row;
        }
    }
    return NULL;
}

static int more_pressing(const void *p, const void *q)
{
    const json_t *a = *(const json_t *const *)p, *b = *(const json_t *const *)q;
    double x = json_number_value(json_object_get(a, "share")), y = json_number_value(json_object_get(b, "share"));
    int machines = strcmp(work_text(a, "machine"), work_text(b, "machine"));
    return x != y ? (x < y ? 1 : -1) : machines ? machines : strcmp(work_text(a, "task"), work_text(b, "task"));
}

static json_t *sorted(work_context *w, json_t *list)
{
    size_t n = json_array_size(list);
    json_t **rows = po_arena_zeros(w->arena, n + 1, sizeof(json_t *)), *out = json_array();
    for (size_t i = 0; rows && i < n; i++) {
        rows[i] = json_array_get(list, i);
    }
    if (rows) {
        qsort(rows, n, sizeof(json_t *), more_pressing);
    }
    for (size_t i = 0; rows && i < n; i++) {
        json_array_append(out, rows[i]);
    }
    json_decref(list);
    return out;
}

/* Does a machine owe a task that the book never saw done? Then what it ran from the beginning is asked for. */
static bool any_never(const work_context *w, const char *only, const json_t *done)
{
    for (size_t m = 0; m < w->shop->n_machines; m++) {
        const char *name = w->shop->machines[m].name;
        for (size_t t = 0; (!only || strcmp(only, name) == 0) && t < w->shop->n_tasks; t++) {
            if (po_indices_hold(&w->shop->tasks[t].machines, m) && !row_of(done, name, w->shop->tasks[t].name)) {
                return true;
            }
        }
    }
    return false;
}

po_status work_care_due(work_context *w, const char *machine, json_t **ret, po_err *err)
{
    json_t *last = NULL, *counters = NULL, *list = json_array();
    const json_t *of = NULL;
    po_status s = PO_OK;
    if (w->shop->n_tasks > 0 && w->ledger) {
        s = work_ask(w, "care-last", machine ? json_pack("{s:s}", "machine", machine) : NULL, &last, err);
        of = json_object_get(last, "done");
        s = s == PO_OK && any_never(w, machine, of)
                ? work_ask(w, "care-counters", machine ? json_pack("{s:s}", "machine", machine) : NULL, &counters, err)
                : s;
    }
    for (size_t m = 0; s == PO_OK && w->ledger && m < w->shop->n_machines; m++) {
        const char *name = w->shop->machines[m].name;
        const json_t *whole = row_of(json_object_get(counters, "machines"), name, NULL);
        if ((machine && strcmp(machine, name) != 0) || strcmp(work_text(whole, "state"), "retired") == 0) {
            continue;
        }
        for (size_t t = 0; t < w->shop->n_tasks; t++) {
            const po_task *task = &w->shop->tasks[t];
            if (!po_indices_hold(&task->machines, m)) {
                continue;
            }
            const json_t *done = row_of(of, name, task->name), *since = done ? done : whole;
            int64_t since_ms = done ? work_int(done, "at_ms", -1) : work_int(whole, "first_ms", -1);
            used u = use_of(w, task, since, since_ms);
            json_array_append_new(
                list,
                json_pack("{s:s, s:s, s:s, s:s, s:f, s:s, s:o, s:o, s:s?, s:f, s:i, s:f, s:i, s:s?, s:s?, s:b}",
                          "machine", name, "task", task->name, "says", task->says, "state",
                          u.share >= 1            ? "due"
                          : u.share >= soon_share ? "soon"
                                                  : "good",
                          "share", u.share, "by", u.by, "done_ms", done ? json_integer(since_ms) : json_null(),
                          "minutes", task->minutes ? json_integer(task->minutes) : json_null(), "done_by",
                          done ? work_text(done, "by") : NULL, "hours", (double)work_int(since, "seconds", 0) / 3600,
                          "starts", (int)work_int(since, "starts", 0), "metres",
                          metres_of(w->shop, json_object_get(since, "takes")), "days",
                          since_ms >= 0 ? (int)((double)(w->now_ms - since_ms) / day_ms) : 0, "parts", task->parts,
                          "caution", task->caution, "stands", (int)task->stands));
        }
    }
    json_decref(last);
    json_decref(counters);
    if (s != PO_OK) {
        json_decref(list);
        return s;
    }
    *ret = json_pack("{s:s, s:o}", "format", "proveout/care-due/1", "tasks", sorted(w, list));
    return *ret ? PO_OK : po_fail(err, PO_E_NOMEM, "out of memory for care");
}

po_status work_care_today(work_context *w, json_t *today, po_err *err)
{
    json_t *due = NULL, *rows = json_array();
    po_status s = work_care_due(w, NULL, &due, err);
    size_t i;
    const json_t *t;
    json_array_foreach(json_object_get(due, "tasks"), i, t)
    {
        if (strcmp(work_text(t, "state"), "due") != 0) {
            continue;
        }
        json_t *row = (json_t *)(uintptr_t)row_of(rows, work_text(t, "machine"), NULL);
        if (!row) {
            row = json_pack("{s:s, s:s, s:[], s:f}", "machine", work_text(t, "machine"), "says", work_text(t, "says"),
                            "tasks", "share", json_number_value(json_object_get(t, "share")));
            json_array_append_new(rows, row);
        }
        json_array_append_new(json_object_get(row, "tasks"), json_string(work_text(t, "task")));
    }
    json_object_set_new(today, "care", rows);
    json_decref(due);
    return s;
}
