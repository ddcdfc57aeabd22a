/* The house by the clock: a step of triage, and the runs of ten years looked through. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bench_house BOOK      (BOOK: of make_book; it is only read)
 * Beside them, in the same run: the triage step without the net kept (built anew each time), and the same runs counted
 * by the book's own question, page by page. Prints one line of JSON, in milliseconds; medians of 5. */
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "proveout/care.h"
#include "proveout/scan.h"
#include "proveout/why.h"

enum { TURNS = 5, MACHINES_MOST = 64 };

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double v[TURNS])
{
    qsort(v, TURNS, sizeof *v, by_size);
    return v[TURNS / 2];
}

static void die(const char *what)
{
    fprintf(stderr, "bench_house: %s\n", what);
    exit(1);
}

/* ---- triage ---- */

static void triage(double *ret_ms, double *ret_anew_ms)
{
    double kept[TURNS], anew[TURNS];
    po_arena *arena = po_arena_new(0);
    const po_why *why = NULL;
    po_err err;
    if (!arena || po_why_new(NULL, 0, arena, &why, &err) != PO_OK) {
        die("no net");
    }
    po_why_said said[] = {{po_why_check_of(why, "hiss"), 1}, {po_why_check_of(why, "height"), 0}};
    po_why_case c = {.symptom = po_why_symptom_of(why, "hairs"), .said = said, .n_said = 2};
    for (int t = 0; t < TURNS; t++) {
        double begun = now();
        for (int i = 0; i < 100; i++) {
            po_why_view v;
            po_arena *own = po_arena_new(0);
            if (po_why_look(why, &c, own, &v, &err) != PO_OK) {
                die(err.msg);
            }
            po_arena_free(own);
        }
        kept[t] = (now() - begun) / 100;
        begun = now();
        po_why_view v;
        po_arena *own = po_arena_new(0);
        const po_why *fresh = NULL;
        if (po_why_new(NULL, 0, own, &fresh, &err) != PO_OK || po_why_look(fresh, &c, own, &v, &err) != PO_OK) {
            die(err.msg);
        }
        po_arena_free(own);
        anew[t] = now() - begun;
    }
    po_arena_free(arena);
    *ret_ms = median(kept);
    *ret_anew_ms = median(anew);
}

/* ---- ten years ---- */

typedef struct machine {
    char name[64];
    double *failures_h, total_h;
    size_t n, room, runs, failed;
} machine;
typedef struct all {
    machine list[MACHINES_MOST];
    size_t n, runs;
} all;

static bool look(const po_run_seen *run, void *user)
{
    all *a = user;
    size_t m = 0;
    while (m < a->n && strcmp(a->list[m].name, run->machine) != 0) {
        m++;
    }
    if (m == a->n) {
        if (m == MACHINES_MOST) {
            return false;
        }
        snprintf(a->list[m].name, sizeof a->list[m].name, "%s", run->machine);
        a->n++;
    }
    machine *of = &a->list[m];
    a->runs++;
    if (!run->outcome) {
        return true;
    }
    of->runs++;
    of->total_h += run->seconds > 0 ? (double)run->seconds / 3600 : 0.01;
    if (strcmp(run->outcome, "failed") == 0) {
        if (of->n == of->room) {
            of->room = of->room ? 2 * of->room : 256;
            of->failures_h = realloc(of->failures_h, of->room * sizeof *of->failures_h);
            if (!of->failures_h) {
                return false;
            }
        }
        of->failures_h[of->n++] = of->total_h;
        of->failed++;
    }
    return true;
}

/* Every run once, then for each machine its share with its interval, who differs, and its trend. */
static size_t statistics(po_ledger *ledger)
{
    all *a = calloc(1, sizeof *a);
    po_care_group groups[MACHINES_MOST] = {0};
    po_err err;
    if (!a || po_ledger_scan_runs(ledger, 0, INT64_MAX, look, a, &err) != PO_OK) {
        die("the book can't be looked through");
    }
    for (size_t m = 0; m < a->n; m++) {
        groups[m].failed = a->list[m].failed;
        groups[m].n = a->list[m].runs;
    }
    if (po_care_compare(groups, a->n, &err) != PO_OK) {
        die(err.msg);
    }
    for (size_t m = 0; m < a->n; m++) {
        po_care_trend t;
        if (a->list[m].total_h > 0 &&
            po_care_trend_of(a->list[m].failures_h, a->list[m].n, a->list[m].total_h, false, &t, &err) != PO_OK) {
            die(err.msg);
        }
        free(a->list[m].failures_h);
    }
    size_t runs = a->runs;
    free(a);
    return runs;
}

/* The same runs page by page as JSON, only counted. */
static size_t by_pages(po_ledger *ledger)
{
    size_t n = 0;
    long long before = 0;
    for (;;) {
        po_arena *arena = po_arena_new(0);
        char p[96];
        const char *text = NULL;
        po_err err;
        snprintf(p, sizeof p, before ? "{\"limit\":1000,\"before_run\":%lld}" : "{\"limit\":1000}", before);
        if (!arena || po_ledger_ask(ledger, "runs", p, arena, &text, &err) != PO_OK) {
            die("no runs");
        }
        json_t *answer = json_loads(text, 0, NULL);
        const json_t *rows = json_object_get(answer, "runs");
        size_t here = json_array_size(rows);
        n += here;
        before = json_integer_value(json_object_get(json_array_get(rows, here - 1), "run"));
        bool more = json_is_true(json_object_get(answer, "more"));
        json_decref(answer);
        po_arena_free(arena);
        if (!more || here == 0) {
            return n;
        }
    }
}

int main(int argc, char **argv)
{
    double scan[TURNS], why_ms, why_anew_ms;
    po_ledger_options o = {.read_only = true};
    po_ledger *ledger = NULL;
    po_err err;
    size_t runs = 0;
    if (argc != 2 || po_ledger_open(argv[1], &o, &ledger, &err) != PO_OK) {
        die(argc == 2 ? err.msg : "usage: bench_house BOOK");
    }
    triage(&why_ms, &why_anew_ms);
    for (int t = 0; t < TURNS; t++) {
        double begun = now();
        runs = statistics(ledger);
        scan[t] = now() - begun;
    }
    double begun = now();
    size_t paged = by_pages(ledger);
    double pages_ms = now() - begun;
    printf("{\"why_ms\": %.4f, \"why_anew_ms\": %.3f, \"runs\": %zu, "
           "\"statistics_ms\": %.1f, \"paged\": %zu, \"pages_ms\": %.1f}\n",
           why_ms, why_anew_ms, runs, median(scan), paged, pages_ms);
    po_ledger_close(ledger);
    return 0;
}
