/* proveout care chart, care compare, care life. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "care.h"
#include "proveout/wear.h"
#include "proveout/wear_picture.h"

enum { PAGE = 1000, RUNS_MOST = 1000000, KINDS_MOST = 400, MACHINES_MOST = 200 };

int care_each_run(desk *d, const json_t *parameters, void (*each)(void *user, const json_t *run), void *user)
{
    int64_t before = 0, seen = 0;
    for (bool more = true; more && seen < RUNS_MOST;) {
        json_t *answer = NULL, *p = json_deep_copy(parameters);
        json_object_set_new(p, "limit", json_integer(PAGE));
        if (before > 0) {
            json_object_set_new(p, "before_run", json_integer((json_int_t)before));
        }
        int status = desk_ask(d, "runs", p, &answer);
        if (status != EXIT_CLEAR) {
            return status;
        }
        const json_t *runs = json_object_get(answer, "runs"), *run;
        size_t i, n = json_array_size(runs);
        json_array_foreach(runs, i, run)
        {
            each(user, run);
        }
        more = json_is_true(json_object_get(answer, "more")) && n > 0;
        before = n > 0 ? work_int(json_array_get(runs, n - 1), "run", 0) : 0;
        seen += (int64_t)n;
        json_decref(answer);
    }
    return EXIT_CLEAR;
}

/* Good 0, failed 1; -1: neither, it counts not at all. */
static int came_out(const json_t *run)
{
    const char *outcome = work_text(run, "outcome");
    return strcmp(outcome, "failed") == 0 ? 1 : strcmp(outcome, "good") == 0 ? 0 : -1;
}

/* ---- chart ---- */

typedef struct dated { /* a run by the noon of its period's first day, which exists in every zone */
    int64_t period_ms;
    bool failed;
} dated;

typedef struct history {
    desk *d;
    bool months, lost; /* lost: no memory, or the zone is not known */
    dated *runs;
    size_t n, room;
} history;

static void date_run(void *user, const json_t *run)
{
    history *h = user;
    po_wall_time wall;
    int failed = came_out(run);
    if (failed < 0) {
        return;
    }
    if (h->n == h->room) {
        size_t more = h->room ? 2 * h->room : 4096;
        h->runs = po_arena_resize(h->d->arena, h->runs, h->room * sizeof *h->runs, more * sizeof *h->runs);
        h->room = h->runs ? more : 0;
        h->n = h->runs ? h->n : 0;
    }
    if (!h->runs || !desk_wall(h->d->shop, work_int(run, "out_ms", 0), &wall, NULL)) {
        h->lost = true;
        return;
    }
    wall.minute = 720;
    if (h->months) {
        wall.date.day = 1;
    } else {
        wall = po_wall_add(wall, -1440L * po_weekday(wall.date));
    }
    h->runs[h->n++] = (dated){desk_ms(h->d->shop, wall), failed == 1};
}

static int by_period(const void *a, const void *b)
{
    const dated *x = a, *y = b;
    return (x->period_ms > y->period_ms) - (x->period_ms < y->period_ms);
}

typedef struct chart_call {
    po_wear_period *periods;
    po_wear_point *points;
    const char **names; /* "12 May" */
    int64_t *from_ms;
    size_t n;
    po_wear_chart chart;
    const char *title, *says;
} chart_call;

static int make_chart(desk *d, const history *h, const char *machine, chart_call *c)
{
    static const char *const months[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                         "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    po_err err;
    c->periods = po_arena_zeros(d->arena, h->n, sizeof *c->periods);
    c->points = po_arena_zeros(d->arena, h->n, sizeof *c->points);
    c->names = po_arena_zeros(d->arena, h->n, sizeof *c->names);
    c->from_ms = po_arena_zeros(d->arena, h->n, sizeof *c->from_ms);
    if (!c->periods || !c->points || !c->names || !c->from_ms) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    for (size_t i = 0; i < h->n; i++) {
        if (c->n == 0 || c->from_ms[c->n - 1] != h->runs[i].period_ms) {
            po_wall_time wall = {{1970, 1, 1}, 0};
            (void)desk_wall(d->shop, h->runs[i].period_ms, &wall, NULL);
            c->names[c->n] = h->months ? po_arena_printf(d->arena, "%s %d", months[wall.date.month - 1], wall.date.year)
                                       : po_arena_printf(d->arena, "%d %s %d", wall.date.day,
                                                         months[wall.date.month - 1], wall.date.year);
            c->from_ms[c->n++] = h->runs[i].period_ms;
        }
        c->periods[c->n - 1].n++;
        c->periods[c->n - 1].failed += h->runs[i].failed;
    }
    if (po_wear_chart_of(c->periods, c->n, NULL, c->points, &c->chart, &err) != PO_OK) {
        return cli_fail_err(&err);
    }
    size_t worst = c->chart.worst;
    const char *when = worst == SIZE_MAX
                           ? NULL
                           : po_arena_printf(d->arena, h->months ? "%s" : "the week from %s", c->names[worst]);
    c->title = po_arena_printf(d->arena, "%s: failed runs by %s", machine ? machine : "All machines",
                               h->months ? "month" : "week");
    c->says = po_wear_chart_says(machine ? machine : "All machines", &c->chart, c->points, c->periods, when, d->arena);
    return c->title && c->says ? EXIT_CLEAR : cli_fail(EXIT_OWN, "memory ran out");
}

static const char *const signals[] = {"", "above", "below", "row above", "row below"};

static int tell_chart(const desk *d, const history *h, const chart_call *c)
{
    if (d->json) {
        json_t *rows = json_array();
        for (size_t i = 0; i < c->n; i++) {
            const po_wear_point *p = &c->points[i];
            json_array_append_new(rows,
                                  json_pack("{s:s, s:I, s:I, s:f, s:[f, f], s:f, s:s?}", "from", c->names[i], "failed",
                                            (json_int_t)c->periods[i].failed, "runs", (json_int_t)c->periods[i].n,
                                            "share", p->share, "limits", p->low, p->high, "chance", p->chance, "signal",
                                            p->signal == PO_WEAR_QUIET ? NULL : signals[p->signal]));
        }
        return desk_print_json(json_pack("{s:s, s:s, s:f, s:I, s:s, s:o}", "format", "proveout/care-chart/1", "each",
                                         h->months ? "month" : "week", "centre", c->chart.centre, "signals",
                                         (json_int_t)c->chart.signals, "says", c->says, "rows", rows));
    }
    cli_wrap(stdout, 0, c->says);
    for (size_t i = 0; i < c->n; i++) {
        const po_wear_point *p = &c->points[i];
        printf("  %-12s %4lld of %4lld   %3.0f of 100, limits %.0f to %.0f%s%s\n", c->names[i],
               (long long)c->periods[i].failed, (long long)c->periods[i].n, 100 * p->share, 100 * p->low, 100 * p->high,
               *signals[p->signal] ? "   signal: " : "", signals[p->signal]);
    }
    return EXIT_CLEAR;
}

static int draw_chart(const desk *d, const chart_call *c, const char *out)
{
    po_picture_kind kind;
    po_document document;
    po_err err;
    if (cli_picture_kind(out, &kind) != EXIT_CLEAR) {
        return EXIT_USAGE;
    }
    return po_wear_chart_picture(&c->chart, c->points, c->periods, c->names, c->n, c->title, c->says, kind, d->arena,
                                 &document, &err) == PO_OK
               ? cli_write_file(out, &document)
               : cli_fail_err(&err);
}

int care_run_chart(const cli_call *call)
{
    desk d;
    history h = {.d = &d};
    chart_call c = {0};
    json_t *parameters = NULL;
    const char *each = cli_value(call, "each"), *picture = cli_value(call, "picture");
    int status = desk_open(&d, call);
    if (status == EXIT_CLEAR && each && strcmp(each, "week") != 0 && strcmp(each, "month") != 0) {
        status = cli_fail(EXIT_USAGE, "--each %s: expected week or month", each);
    }
    h.months = each && strcmp(each, "month") == 0;
    status = status == EXIT_CLEAR ? desk_body(&d, &parameters) : status;
    status = status == EXIT_CLEAR ? care_each_run(&d, parameters, date_run, &h) : status;
    if (status == EXIT_CLEAR && h.lost) {
        status = cli_fail(EXIT_OWN, "memory ran out, or the shop's time zone is not known here");
    }
    if (status == EXIT_CLEAR && h.n == 0) {
        status = cli_fail(EXIT_STOP, "no run in the book came out good or failed, in that time");
    }
    if (status == EXIT_CLEAR) {
        qsort(h.runs, h.n, sizeof *h.runs, by_period);
        const char *machine = json_string_value(json_object_get(parameters, "machine"));
        status = make_chart(&d, &h, machine, &c);
    }
    status = status == EXIT_CLEAR && picture ? draw_chart(&d, &c, picture) : status;
    status = status == EXIT_CLEAR ? tell_chart(&d, &h, &c) : status;
    json_decref(parameters);
    desk_close(&d);
    return status;
}

/* ---- compare ---- */

typedef struct mix {
    desk *d;
    json_t *materials; /* spool -> material */
    const char *kinds[KINDS_MOST], *machines[MACHINES_MOST];
    size_t n_kinds, n_machines, left_out;
    po_wear_cell *cells; /* MACHINES_MOST * KINDS_MOST */
    bool any, full;
} mix;

/* Where the name stands, put there if it is new; `most` where there is no room. */
static size_t place_of(const char **names, size_t *n, size_t most, const char *name, po_arena *arena)
{
    for (size_t i = 0; i < *n; i++) {
        if (strcmp(names[i], name) == 0) {
            return i;
        }
    }
    const char *copy = *n < most ? po_arena_text(arena, name) : NULL;
    if (!copy) {
        return most;
    }
    names[*n] = copy;
    return (*n)++;
}

/* Failures that are not the machine's doing tell nothing of it: such a run counts neither way. */
static bool others_doing(const json_t *run)
{
    static const char *const causes[] = {"file", "power", "handling"};
    for (size_t i = 0; i < sizeof causes / sizeof causes[0]; i++) {
        if (strcmp(work_text(run, "cause"), causes[i]) == 0) {
            return true;
        }
    }
    return false;
}

static void mix_run(void *user, const json_t *run)
{
    mix *m = user;
    int failed = came_out(run);
    int64_t seconds = work_int(run, "reserved_seconds", 0);
    const char *material = json_string_value(json_object_get(m->materials, work_text(run, "spool")));
    const char *length = seconds < 3600 ? "below 1 h" : seconds < 4 * 3600 ? "1 to 4 h" : "4 h and more";
    char kind[200];
    if (failed < 0 || (failed == 1 && !m->any && others_doing(run))) {
        m->left_out += failed == 1;
        return;
    }
    snprintf(kind, sizeof kind, "%s, %s, %s", *work_text(run, "recipe") ? work_text(run, "recipe") : "no recipe",
             material ? material : "material unknown", length);
    size_t k = place_of(m->kinds, &m->n_kinds, KINDS_MOST, kind, m->d->arena);
    size_t i = place_of(m->machines, &m->n_machines, MACHINES_MOST, work_text(run, "machine"), m->d->arena);
    if (k == KINDS_MOST || i == MACHINES_MOST) {
        m->full = true;
        return;
    }
    m->cells[i * KINDS_MOST + k].n++;
    m->cells[i * KINDS_MOST + k].failed += failed;
}

static int read_materials(desk *d, json_t *to)
{
    static const char *const states[] = {"sealed", "open", "drying", "empty"};
    for (size_t s = 0; s < sizeof states / sizeof states[0]; s++) {
        char last[80] = "";
        for (bool more = true; more;) {
            json_t *answer = NULL, *p = json_pack("{s:s, s:i}", "state", states[s], "limit", PAGE);
            if (*last) {
                json_object_set_new(p, "after", json_string(last));
            }
            int status = desk_ask(d, "spools", p, &answer);
            if (status != EXIT_CLEAR) {
                return status;
            }
            const json_t *spools = json_object_get(answer, "spools"), *spool;
            size_t i;
            json_array_foreach(spools, i, spool)
            {
                json_object_set_new(to, work_text(spool, "spool"), json_string(work_text(spool, "material")));
                snprintf(last, sizeof last, "%s", work_text(spool, "spool"));
            }
            more = json_is_true(json_object_get(answer, "more")) && json_array_size(spools) > 0;
            json_decref(answer);
        }
    }
    return EXIT_CLEAR;
}

static int tell_compared(const desk *d, const mix *m, const po_wear_machine *found)
{
    static const char *const verdicts[] = {"few", "like", "worse", "better"};
    json_t *rows = json_array();
    for (size_t i = 0; i < m->n_machines; i++) {
        const po_wear_machine *w = &found[i];
        const char *says = po_wear_machine_says(m->machines[i], w, d->arena);
        if (!d->json) {
            cli_wrap(stdout, 2, says ? says : "");
            continue;
        }
        json_array_append_new(
            rows, json_pack("{s:s, s:s, s:I, s:I, s:f, s:o, s:[o, o], s:f, s:f, s:f, s:[f, f], s:s}", "machine",
                            m->machines[i], "verdict", verdicts[w->verdict], "failed", (json_int_t)w->failed, "runs",
                            (json_int_t)w->n, "expected", w->expected, "odds", care_real(w->odds), "odds_range",
                            care_real(w->low), care_real(w->high), "p", w->chance, "p_of_all", w->chance_of_all,
                            "ratio", w->ratio, "ratio_range", w->ratio_low, w->ratio_high, "says", says ? says : ""));
    }
    if (d->json) {
        return desk_print_json(json_pack("{s:s, s:I, s:I, s:o}", "format", "proveout/care-compare/1", "kinds_of_job",
                                         (json_int_t)m->n_kinds, "left_out", (json_int_t)m->left_out, "rows", rows));
    }
    json_decref(rows);
    printf("Jobs alike in recipe, material and length were held against each other (%zu kinds).", m->n_kinds);
    if (m->left_out > 0) {
        printf(" Left out: %zu failed by file, power or handling.", m->left_out);
    }
    printf("\n");
    return EXIT_CLEAR;
}

static int compare(desk *d, mix *m)
{
    po_err err;
    size_t n = 0;
    po_wear_machine *found = po_arena_zeros(d->arena, MACHINES_MOST, sizeof *found);
    if (!found) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    if (m->full) {
        return cli_fail(EXIT_STOP, "more than %d machines or %d kinds of job: choose a shorter time by --from",
                        MACHINES_MOST, KINDS_MOST);
    }
    if (m->n_machines == 0) {
        return cli_fail(EXIT_STOP, "no run in the book came out good or failed, in that time");
    }
    for (uint32_t i = 0; i < m->n_machines; i++) {
        for (uint32_t k = 0; k < m->n_kinds; k++) {
            po_wear_cell cell = m->cells[i * KINDS_MOST + k];
            if (cell.n > 0) {
                m->cells[n++] = (po_wear_cell){i, k, cell.failed, cell.n};
            }
        }
    }
    return po_wear_compare(m->cells, n, m->n_machines, m->n_kinds, d->arena, found, &err) == PO_OK
               ? tell_compared(d, m, found)
               : cli_fail_err(&err);
}

int care_run_compare(const cli_call *call)
{
    desk d;
    json_t *parameters = NULL;
    mix *m = calloc(1, sizeof *m);
    int status = desk_open(&d, call);
    if (status == EXIT_CLEAR && m) {
        m->d = &d;
        m->any = cli_value(call, "any-cause") != NULL;
        m->materials = json_object();
        m->cells = po_arena_zeros(d.arena, (size_t)MACHINES_MOST * KINDS_MOST, sizeof *m->cells);
    }
    status = status == EXIT_CLEAR && (!m || !m->cells || !m->materials) ? cli_fail(EXIT_OWN, "memory ran out") : status;
    status = status == EXIT_CLEAR ? desk_body(&d, &parameters) : status;
    status = status == EXIT_CLEAR ? read_materials(&d, m->materials) : status;
    status = status == EXIT_CLEAR ? care_each_run(&d, parameters, mix_run, m) : status;
    status = status == EXIT_CLEAR ? compare(&d, m) : status;
    json_decref(parameters);
    json_decref(m ? m->materials : NULL);
    free(m);
    desk_close(&d);
    return status;
}

/* ---- life ---- */

int care_run_life(const cli_call *call)
{
    po_arena *arena = po_arena_new(0);
    const char *name = cli_value(call, "part");
    double hours[CLI_MOST_LIST];
    bool running[CLI_MOST_LIST];
    const char *pieces[CLI_MOST_LIST];
    size_t n = 0;
    po_wear_life l;
    po_err err;
    int status = !arena ? cli_fail(EXIT_OWN, "memory ran out")
                 : !cli_split(call->args[0], arena, pieces, &n) || n == 0
                     ? cli_fail(EXIT_USAGE,
                                "%s: expected up to %d hours with commas between them, such as 120,340,500+",
                                call->args[0], CLI_MOST_LIST)
                     : EXIT_CLEAR;
    for (size_t i = 0; status == EXIT_CLEAR && i < n; i++) {
        char digits[32];
        size_t length = strlen(pieces[i]);
        running[i] = length > 1 && pieces[i][length - 1] == '+';
        snprintf(digits, sizeof digits, "%.*s", (int)(length - running[i]), pieces[i]);
        if (length >= sizeof digits || !cli_number(digits, 0, 1e6, &hours[i])) {
            status = cli_fail(EXIT_USAGE, "%s is no number of hours (a part that still runs has a + behind it)",
                              pieces[i]);
        }
    }
    if (status == EXIT_CLEAR && po_wear_life_of(hours, running, n, &l, &err) != PO_OK) {
        status = cli_fail(EXIT_USAGE, "%s", err.msg);
    }
    const char *says = status == EXIT_CLEAR ? po_wear_life_says(name ? name : "The part", &l, arena) : NULL;
    if (says && cli_value(call, "json")) {
        static const char *const verdicts[] = {"few", "no-wear", "wears", "early"};
        status = desk_print_json(json_pack(
            "{s:s, s:s, s:s, s:I, s:I, s:o, s:[o, o], s:o, s:[o, o], s:o, s:o, s:[o, o]}", "format",
            "proveout/care-life/1", "verdict", verdicts[l.verdict], "says", says, "failed", (json_int_t)l.failed,
            "running", (json_int_t)l.running, "shape", care_real(l.shape), "shape_range", care_real(l.shape_low),
            care_real(l.shape_high), "scale_h", care_real(l.scale), "scale_range_h", care_real(l.scale_low),
            care_real(l.scale_high), "mean_h", care_real(l.mean), "tenth_failed_h", care_real(l.tenth),
            "tenth_failed_range_h", care_real(l.tenth_low), care_real(l.tenth_high)));
    } else if (says) {
        cli_wrap(stdout, 0, says);
        if (!isnan(l.shape)) {
            printf("  Weibull: shape %.2f (%.2f to %.2f), scale %.0f h (%.0f to %.0f); %zu failed, %zu still run.\n",
                   l.shape, l.shape_low, l.shape_high, l.scale, l.scale_low, l.scale_high, l.failed, l.running);
        }
        cli_wrap(stdout, 0,
                 "Change parts cold and switched off, by the maker's instructions; hot ends burn and mains can kill.");
    }
    po_arena_free(arena);
    return status;
}
