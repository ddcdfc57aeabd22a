/* The queue in words. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plan_queue.h"

typedef struct turn {
    int64_t start_ms;
    size_t place;
} turn;

static int by_start(const void *a, const void *b)
{
    const turn *x = a, *y = b;
    return x->start_ms != y->start_ms ? (x->start_ms > y->start_ms) - (x->start_ms < y->start_ms)
                                      : (x->place > y->place) - (x->place < y->place);
}

const char *plan_place_words(const work_context *w, const work_queue *q, size_t j)
{
    const po_plan_row *r = &q->plan->rows[j];
    if (!r->placed) {
        return "no place in the plan";
    }
    const char *text = po_arena_printf(
        w->arena, "%s, %s, off about %s", q->problem.machines[r->machine].name, work_time_words(w, r->start_ms),
        r->when.off_known ? work_time_words(w, r->when.off.middle_ms) : "a time nobody knows");
    return text ? text : "";
}

void plan_bound_print(const work_queue *q)
{
    const po_plan *p = q->plan;
    double points = (double)p->cost / 1000;
    if (p->best) {
        printf("No plan is better by the shop's weights: %.1f points, proved.\n", points);
    } else {
        printf("%.1f points; the best plan has at least %.1f, so this one is within %.1f %% of it.\n", points,
               (double)p->bound / 1000, p->bound > 0 ? 100 * (double)(p->cost - p->bound) / (double)p->bound : 100.0);
    }
}

static const char *percent(const work_context *w, double share)
{
    return isnan(share) ? "" : po_arena_printf(w->arena, "%.0f %%", floor(100 * share));
}

static void print_lacks(const work_context *w, const work_queue *q)
{
    for (size_t i = 0; i < q->n_lacks; i++) {
        const po_plan_lack *l = &q->lacks[i];
        const work_queued *r = &q->queued[l->run];
        const po_plan_row *row = &q->plan->rows[l->run];
        int64_t due = q->problem.runs[l->run].due_ms;
        const char *name = r->run ? po_arena_printf(w->arena, "run %lld", (long long)r->run) : "one of the copies";
        printf("CAN'T BE MET: %s, %s%s", name, due < INT64_MAX ? "due " : "has no place",
               due < INT64_MAX ? work_until_words(w, due) : "");
        printf(row->placed ? ", is off about %s.\n" : ".\n", work_time_words(w, row->free_ms));
        if (!l->alone) {
            printf("  Even with the shop to itself it would be off %s%s: another due time, or longer hours.\n",
                   l->earliest_off_ms < INT64_MAX ? "about " : "at no time that is planned",
                   l->earliest_off_ms < INT64_MAX ? work_time_words(w, l->earliest_off_ms) : "");
            continue;
        }
        if (l->n_others > 0) {
            printf("  Room if it went first on %s; then these start later:", q->problem.machines[l->machine].name);
            for (size_t k = 0; k < l->n_others && k < 12; k++) {
                printf(" %lld", (long long)q->queued[l->others[k]].run);
            }
            printf("%s.\n", l->n_others > 12 ? " and more" : "");
        }
        if (l->another) {
            printf("  Another machine like %s would do.\n", q->problem.machines[l->machine].name);
        }
        if (l->n_others == 0 && !l->another) {
            printf("  Neither going first on %s nor another machine like it would do.\n",
                   q->problem.machines[l->machine].name);
        }
    }
}

void plan_queue_print(const desk *d, const work_queue *q)
{
    work_context w = desk_work(d);
    const po_plan *p = q->plan;
    turn *turns = po_arena_zeros(d->arena, p->n_rows + 1, sizeof *turns);
    json_t *list = json_array();
    static const desk_column columns[] = {
        {"Start", "start", DESK_TEXT, 0, false},   {"Machine", "machine", DESK_TEXT, 12, false},
        {"Run", "run", DESK_COUNT, 0, true},       {"Member", "member", DESK_TEXT, 12, false},
        {"Off about", "off", DESK_TEXT, 0, false}, {"Due", "due", DESK_TEXT, 0, false},
        {"Kept", "kept", DESK_TEXT, 0, true},      {"", "note", DESK_TEXT, 0, false},
    };
    for (size_t j = 0; turns && j < p->n_rows; j++) {
        turns[j] = (turn){p->rows[j].placed ? p->rows[j].start_ms : INT64_MAX, j};
    }
    if (turns) {
        qsort(turns, p->n_rows, sizeof *turns, by_start);
    }
    for (size_t i = 0; turns && i < p->n_rows; i++) {
        size_t j = turns[i].place;
        const po_plan_row *r = &p->rows[j];
        const work_queued *c = &q->queued[j];
        int64_t due = q->problem.runs[j].due_ms;
        const char *note = !r->placed                 ? "no place"
                           : work_queue_moved(q, j)   ? "MOVED"
                           : q->problem.runs[j].stays ? "promised"
                           : r->late_h > 0            ? "LATE"
                           : r->change                ? "change first"
                                                      : "";
        json_array_append_new(
            list, json_pack("{s:s, s:s, s:o, s:s, s:s, s:s, s:s, s:s}", "start",
                            r->placed ? work_time_words(&w, r->start_ms) : "", "machine",
                            r->placed ? q->problem.machines[r->machine].name : "", "run",
                            c->run ? json_integer(c->run) : json_null(), "member", c->member, "off",
                            r->placed && r->when.off_known ? work_time_words(&w, r->when.off.middle_ms) : "", "due",
                            due < INT64_MAX ? work_until_words(&w, due) : "", "kept",
                            percent(&w, r->placed ? q->kept[j].start : NAN), "note", note));
    }
    desk_table(d, list, columns, sizeof columns / sizeof columns[0], "Nobody waits.");
    json_decref(list);
    if (p->n_rows > 0) {
        printf("\nKept: how often it starts as planned, with run lengths as they scatter.\n");
        plan_bound_print(q);
    }
    size_t i;
    const json_t *o;
    json_array_foreach(q->left_out, i, o)
    {
        printf("Not planned: run %lld of member %s: %s.\n", (long long)work_int(o, "run", 0), work_text(o, "member"),
               work_text(o, "says"));
    }
    print_lacks(&w, q);
}
