/* Plans as pictures: what the strips show. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "plan_picture.h"
#include "plan_queue.h"
#include "proveout/strips.h"
#include "when.h"

enum { DAY_MS = 86400000, SHOWN_DAYS_MOST = 14 };

int plan_draw(const desk *d, const po_strips *s, const char *path)
{
    po_document document = {0};
    po_err err;
    const char *dot = strrchr(path, '.');
    po_status status = PO_OK;
    if (strcmp(path, "-") == 0 || (dot && strcmp(dot, ".svg") == 0)) {
        status = po_strips_svg(s, d->arena, &document, &err);
    } else if (dot && strcmp(dot, ".png") == 0) {
        status = po_strips_png(s, d->arena, &document, &err);
    } else if (dot && strcmp(dot, ".pdf") == 0) {
        status = po_strips_pdf(s, d->arena, &document, &err);
    } else {
        return cli_fail(EXIT_USAGE, "--picture %s: expected a name that ends in .svg, .png or .pdf", path);
    }
    return status == PO_OK ? cli_write_file(path, &document) : cli_fail_err(&err);
}

po_strip_run plan_strip_of(po_arena *arena, const po_job_when *w, size_t row, const char *label, po_strip_kind kind)
{
    int64_t *hands = po_arena_zeros(arena, w->n_hands + 1, sizeof *hands);
    for (size_t i = 0; hands && i < w->n_hands; i++) {
        hands[i] = w->hands[i].middle_ms;
    }
    return (po_strip_run){.row = row,
                          .label = label ? label : "",
                          .kind = kind,
                          .start_ms = w->start_ms,
                          .watch_ms = w->watch_ms,
                          .end_ms = w->end.middle_ms,
                          .off_ms = w->off_known ? w->off.middle_ms : w->cool.middle_ms,
                          .end_low_ms = w->end.low_ms,
                          .end_high_ms = w->end.high_ms,
                          .hands_ms = hands,
                          .n_hands = hands ? w->n_hands : 0};
}

int plan_picture(const desk *d, const work_queue *q, const char *path)
{
    const po_plan_problem *p = &q->problem;
    size_t n = 0, most = p->n_runs + 3 * p->n_machines;
    po_strip_run *runs = po_arena_zeros(d->arena, most + 1, sizeof *runs);
    const char **rows = po_arena_zeros(d->arena, p->n_machines + 1, sizeof *rows);
    int64_t until = p->from_ms + DAY_MS;
    if (!runs || !rows) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    for (size_t m = 0; m < p->n_machines; m++) {
        const po_plan_machine *x = &p->machines[m];
        rows[m] = x->name;
        if (x->free_ms > p->from_ms) {
            runs[n++] = (po_strip_run){
                .row = m, .label = "", .kind = PO_STRIP_TAKEN, .start_ms = p->from_ms, .off_ms = x->free_ms};
        }
        for (size_t k = 0; k < x->n_closed && k < 2; k++) {
            runs[n++] = (po_strip_run){.row = m,
                                       .label = "",
                                       .kind = PO_STRIP_CLOSED,
                                       .start_ms = x->closed[k].from_ms,
                                       .off_ms = x->closed[k].until_ms};
        }
    }
    for (size_t j = 0; j < p->n_runs; j++) {
        const po_plan_row *r = &q->plan->rows[j];
        const char *label = q->queued[j].run ? po_arena_printf(d->arena, "%lld", (long long)q->queued[j].run) : "+";
        if (r->placed) {
            runs[n] = plan_strip_of(d->arena, &r->when, r->machine, label,
                                    r->late_h > 0      ? PO_STRIP_LATE
                                    : p->runs[j].stays ? PO_STRIP_PROMISED
                                                       : PO_STRIP_PLANNED);
            until = runs[n].off_ms > until ? runs[n].off_ms : until;
            n++;
        }
    }
    int64_t most_ms = p->from_ms + SHOWN_DAYS_MOST * INT64_C(86400000);
    po_strips s = {.title = po_arena_printf(d->arena, "%s: the queue", d->shop->name),
                   .calendar = p->calendar,
                   .from_ms = p->from_ms - p->from_ms % 3600000,
                   .until_ms = until + 3600000 < most_ms ? until + 3600000 : most_ms,
                   .rows = rows,
                   .n_rows = p->n_machines,
                   .runs = runs,
                   .n_runs = n};
    return plan_draw(d, &s, path);
}

int when_picture(const when_plan *p, const char *path)
{
    const desk *d = p->desk;
    size_t n = 0, most = p->n_rows;
    for (size_t i = 0; i < p->n_rows; i++) {
        most += p->rows[i].n_taken;
    }
    po_strip_run *runs = po_arena_zeros(d->arena, most + 1, sizeof *runs);
    const char **rows = po_arena_zeros(d->arena, p->n_rows + 1, sizeof *rows);
    int64_t until = p->from_ms + DAY_MS / 2, most_ms = p->from_ms + SHOWN_DAYS_MOST * INT64_C(86400000);
    if (!runs || !rows) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    for (size_t i = 0; i < p->n_rows; i++) {
        const when_row *r = &p->rows[i];
        const po_job_when *w = !r->may ? NULL : r->asked ? &r->then : r->good != PO_GOOD_NEVER ? &r->best : NULL;
        rows[i] = r->machine->name;
        for (size_t k = 0; k < r->n_taken; k++) {
            runs[n++] = (po_strip_run){.row = i,
                                       .label = po_arena_printf(d->arena, "%lld", r->taken[k].run),
                                       .kind = PO_STRIP_TAKEN,
                                       .start_ms = r->taken[k].span.from_ms,
                                       .off_ms = r->taken[k].span.until_ms};
        }
        if (w) {
            runs[n] = plan_strip_of(d->arena, w, i, "", PO_STRIP_PLANNED);
            until = runs[n].off_ms > until ? runs[n].off_ms : until;
            n++;
        }
    }
    po_strips s = {.title = po_arena_printf(d->arena, "%s: when %s can start", d->shop->name, p->file),
                   .calendar = p->calendar,
                   .from_ms = p->from_ms - p->from_ms % 3600000,
                   .until_ms = until + 3600000 < most_ms ? until + 3600000 : most_ms,
                   .rows = rows,
                   .n_rows = p->n_rows,
                   .runs = runs,
                   .n_runs = n};
    return plan_draw(d, &s, path);
}
