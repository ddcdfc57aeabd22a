/* proveout care ...: failures in figures, from the book. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/care.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "care.h"
#include "proveout/wear.h"
#include "verbs.h"

enum { FAILURES_MOST = 20000, RATES_MOST = 500 };

/* ---- rates ---- */

static const char *percent(const desk *d, const po_care_share *s)
{
    const char *text = po_arena_printf(d->arena, "%.0f %% (%.0f to %.0f)", 100 * s->share, 100 * s->low, 100 * s->high);
    return text ? text : "";
}

static void tell_rates(const desk *d, const char *by, const json_t *sums, const po_care_group *g, size_t n)
{
    size_t failed = 0, all = 0, some = 0;
    printf("Failures by %s, with what 95 of 100 such intervals hold:\n", by);
    for (size_t i = 0; i < n; i++) {
        const char *key = work_text(json_array_get(sums, i), "key");
        failed += g[i].failed;
        all += g[i].n;
        if (g[i].n > 0) {
            printf("  %-20s %4zu of %4zu   %s%s\n", *key ? key : "(none)", g[i].failed, g[i].n, percent(d, &g[i].share),
                   g[i].few ? "   too few to tell" : "");
        }
    }
    for (size_t i = 0; i < n; i++) {
        if (g[i].differs) {
            const char *key = work_text(json_array_get(sums, i), "key");
            double others = (double)(failed - g[i].failed) / (double)(all - g[i].n);
            printf("%s fails %s: %zu of %zu, all others %.0f %% (chance alone: %.2g). %s\n", *key ? key : "(none)",
                   g[i].share.share > others ? "more often" : "less often", g[i].failed, g[i].n, 100 * others, g[i].p,
                   g[i].share.share > others ? "Look at what was printed there before you blame it, then at it." : "");
            some++;
        }
    }
    if (all == 0) {
        printf("No run has come out good or failed in that time.\n");
    } else if (some == 0) {
        printf("None differs from the others by more than chance does.\n");
    }
    cli_wrap(stdout, 0,
             "Runs that came out good or failed; stopped ones and parts that were not collected are left out. Which "
             "jobs were printed where is not taken "
             "into account: who prints what is harder fails more.");
}

static int print_rates(const char *by, const json_t *sums, const po_care_group *g, size_t n)
{
    json_t *rows = json_array(),
           *all = json_pack("{s:s, s:s, s:o}", "format", "proveout/care-rates/1", "by", by, "rows", rows);
    for (size_t i = 0; i < n; i++) {
        const char *key = work_text(json_array_get(sums, i), "key");
        json_t *share = g[i].n ? json_pack("[f, f]", g[i].share.low, g[i].share.high) : json_null();
        json_array_append_new(rows, json_pack("{s:s?, s:I, s:I, s:o, s:o, s:f, s:b, s:b}", "key", *key ? key : NULL,
                                              "failed", (json_int_t)g[i].failed, "runs", (json_int_t)g[i].n, "share",
                                              g[i].n ? json_real(g[i].share.share) : json_null(), "range", share, "p",
                                              g[i].p, "differs", (int)g[i].differs, "few", (int)g[i].few));
    }
    return desk_print_json(all);
}

static int known_kind(const cli_call *call)
{
    static const char *const kinds[] = {"machine", "material", "recipe", "course", "fund", "term", "member"};
    const char *of = cli_value(call, "of");
    for (size_t i = 0; of && i < sizeof kinds / sizeof kinds[0]; i++) {
        if (strcmp(of, kinds[i]) == 0) {
            return EXIT_CLEAR;
        }
    }
    return of ? cli_fail(EXIT_USAGE, "--of %s: expected machine, material, recipe, course, fund, term or member", of)
              : EXIT_CLEAR;
}

static int run_rates(const cli_call *call)
{
    desk d;
    json_t *parameters = NULL, *answer = NULL;
    po_care_group groups[RATES_MOST] = {0};
    po_err err;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? known_kind(call) : status;
    status = status == EXIT_CLEAR ? desk_body(&d, &parameters) : status;
    if (status == EXIT_CLEAR && !json_object_get(parameters, "by")) {
        json_object_set_new(parameters, "by", json_string("machine"));
    }
    if (status == EXIT_CLEAR) {
        json_object_set_new(parameters, "limit", json_integer(RATES_MOST));
        status = desk_ask(&d, "run-sums", parameters, &answer);
        parameters = NULL;
    }
    const json_t *sums = json_object_get(answer, "sums");
    size_t n = json_array_size(sums);
    for (size_t i = 0; status == EXIT_CLEAR && i < n; i++) {
        const json_t *row = json_array_get(sums, i);
        groups[i].failed = (size_t)work_int(row, "failed", 0);
        groups[i].n = groups[i].failed + (size_t)work_int(row, "good", 0);
    }
    if (status == EXIT_CLEAR) {
        status = po_care_compare(groups, n, &err) == PO_OK ? EXIT_CLEAR : cli_fail_err(&err);
    }
    if (status == EXIT_CLEAR) {
        const char *by = work_text(answer, "by");
        if (d.json) {
            status = print_rates(by, sums, groups, n);
        } else {
            tell_rates(&d, by, sums, groups, n);
        }
    }
    json_decref(parameters);
    json_decref(answer);
    desk_close(&d);
    return status;
}

/* ---- trend ---- */

typedef struct life { /* of a machine, from the latest run back */
    double *back_h;   /* hours that it ran from each failure to the end */
    size_t n;
    double total_h;
    bool any; /* every cause counts, not the machine's alone */
} life;

static void add_run(void *user, const json_t *run)
{
    life *l = user;
    int64_t seconds = work_int(run, "real_seconds", -1);
    seconds = seconds >= 0 ? seconds : work_int(run, "failed_seconds", -1);
    seconds = seconds >= 0 ? seconds : work_int(run, "reserved_seconds", 0);
    bool failed = strcmp(work_text(run, "outcome"), "failed") == 0 &&
                  (l->any || strcmp(work_text(run, "cause"), "machine") == 0);
    if (!work_has(run, "outcome")) {
        return; /* not over, or nobody has said how it came out */
    }
    if (failed && l->n < FAILURES_MOST) { /* at the end of that run */
        l->back_h[l->n++] = l->total_h;
    }
    l->total_h += (double)seconds / 3600;
}

static int read_life(desk *d, const char *machine, life *l)
{
    const char *from = cli_value(d->call, "from");
    int64_t from_ms = 0;
    json_t *p = json_pack("{s:s}", "machine", machine);
    if (from && !desk_time_from(d->shop, from, false, d->now_ms, &from_ms)) {
        json_decref(p);
        return cli_fail(EXIT_USAGE, "--from %s: expected a day or a time such as 2026-09-21", from);
    }
    if (from) {
        json_object_set_new(p, "from", json_integer((json_int_t)from_ms));
    }
    int status = p ? care_each_run(d, p, add_run, l) : cli_fail(EXIT_OWN, "memory ran out");
    json_decref(p);
    return status;
}

static const char *sentence(const desk *d, const char *machine, const po_care_trend *t, double total_h, bool any)
{
    const char *what = any                ? (t->failures == 1 ? "failure" : "failures")
                       : t->failures == 1 ? "failure by its own fault"
                                          : "failures by its own fault";
    switch (t->way) {
    case PO_CARE_FEW:
        return po_arena_printf(d->arena, "%s: %zu %s in %.0f hours of running: too few to tell a trend (%d at least).",
                               machine, t->failures, what, total_h, PO_CARE_FAILURES_LEAST);
    case PO_CARE_WORSE:
        return po_arena_printf(d->arena,
                               "%s is getting worse: %zu %s in %.0f hours of running, now one in about %.0f hours. "
                               "Find the cause before it fails a deadline.",
                               machine, t->failures, what, total_h, t->between_h);
    case PO_CARE_BETTER:
        return po_arena_printf(d->arena,
                               "%s is getting better: %zu %s in %.0f hours of running, now one in about %.0f hours.",
                               machine, t->failures, what, total_h, t->between_h);
    case PO_CARE_UNSURE:
        return po_arena_printf(d->arena,
                               "%s: %zu %s in %.0f hours of running. One test sees a trend to the %s, the other none: "
                               "watch it, and ask again after some more failures.",
                               machine, t->failures, what, total_h, t->beta > 1 ? "worse" : "better");
    default:
        return po_arena_printf(
            d->arena,
            "%s: %zu %s in %.0f hours of running and no sign of a trend: one in about %.0f hours (%.0f to %.0f).",
            machine, t->failures, what, total_h, total_h / (double)t->failures, t->between_low_h, t->between_high_h);
    }
}

static int print_trend(const char *machine, const po_care_trend *t, double total_h, const char *says,
                       const po_wear_next *next)
{
    static const char *const ways[] = {"few", "none", "worse", "better", "unsure"};
    return desk_print_json(json_pack(
        "{s:s, s:s, s:s, s:s, s:I, s:f, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:[o, o], s:[I, I], s:[o, o, o]}",
        "format", "proveout/care-trend/1", "machine", machine, "way", ways[t->way], "says", says, "failures",
        (json_int_t)t->failures, "hours", total_h, "laplace", care_real(t->laplace), "laplace_p",
        care_real(t->laplace_p), "chi2", care_real(t->chi2), "freedom", care_real(t->freedom), "chi2_p",
        care_real(t->chi2_p), "beta", care_real(t->beta), "beta_without_bias", care_real(t->beta_fair),
        "hours_between_now", care_real(t->between_h), "hours_between_range", care_real(t->between_low_h),
        care_real(t->between_high_h), "growing_gaps", (json_int_t)t->arrangements, (json_int_t)t->arrangements_most,
        "next_h", care_real(next->low_h), care_real(next->middle_h), care_real(next->high_h)));
}

/* At a steady rate unless the tests agree that it is none. False: too little is known. */
static bool next_of(const double *hours, const life *l, const po_care_trend *t, po_wear_next *ret)
{
    bool by_law = t->way == PO_CARE_WORSE || t->way == PO_CARE_BETTER;
    return po_wear_next_of(hours, l->n, l->total_h, false, by_law, ret, NULL) == PO_OK;
}

static void tell_next(const double *hours, const life *l, const po_care_trend *t)
{
    po_wear_next e;
    if (next_of(hours, l, t, &e)) {
        printf(
            "The next comes after %.1f to %.0f hours of running, nine times of ten (half of the time within %.0f).\n",
            e.low_h, e.high_h, e.middle_h);
    }
}

static int tell_trend(desk *d, const char *name, life *l)
{
    const po_machine *machine = NULL;
    po_care_trend t;
    po_err err;
    int status = cli_shop_machine(d->shop, name, d->arena, &machine);
    status = status == EXIT_CLEAR ? read_life(d, machine->name, l) : status;
    if (status != EXIT_CLEAR) {
        return status;
    }
    double *hours = po_arena_zeros(d->arena, l->n + 1, sizeof *hours);
    if (!hours) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    for (size_t i = 0; i < l->n; i++) {
        hours[i] = l->total_h - l->back_h[l->n - 1 - i];
    }
    if (!(l->total_h > 0)) {
        return cli_fail(EXIT_STOP, "%s has no run in the book that is over, in that time", machine->name);
    }
    if (po_care_trend_of(hours, l->n, l->total_h, false, &t, &err) != PO_OK) {
        return cli_fail_err(&err);
    }
    const char *says = sentence(d, machine->name, &t, l->total_h, l->any);
    if (d->json) {
        po_wear_next next = {NAN, NAN, NAN};
        (void)next_of(hours, l, &t, &next);
        return print_trend(machine->name, &t, l->total_h, says ? says : "", &next);
    }
    cli_wrap(stdout, 0, says ? says : "");
    if (t.way != PO_CARE_FEW && !isnan(t.beta)) {
        tell_next(hours, l, &t);
        printf("  Laplace %+.2f (chance alone: %.2g), military handbook test chi-squared %.1f of %.0f (%.2g), power "
               "law %.2f (without bias %.2f).\n",
               t.laplace, t.laplace_p, t.chi2, t.freedom, t.chi2_p, t.beta, t.beta_fair);
        printf("  Of %zu pairs of gaps %zu grow. Above 1 the power law says worse, below 1 better; hours are those of "
               "runs, not of the calendar.\n",
               t.arrangements_most, t.arrangements);
    }
    return EXIT_CLEAR;
}

static int run_trend(const cli_call *call)
{
    desk d;
    life l = {.any = cli_value(call, "any-cause") != NULL, .back_h = calloc(FAILURES_MOST, sizeof *l.back_h)};
    int status = desk_open(&d, call);
    if (status == EXIT_CLEAR) {
        status = l.back_h ? tell_trend(&d, call->args[0], &l) : cli_fail(EXIT_OWN, "memory ran out");
    }
    free(l.back_h);
    desk_close(&d);
    return status;
}

static const cli_option rates_options[] = {
    DESK_OPTIONS,
    {.name = "of",
     .value = "WHAT",
     .says = "machine (without it), material, recipe, course, fund, term or member",
     .field = "by",
     .unit = DESK_TEXT},
    {.name = "from", .value = "TIME", .says = "runs handed out from then on", .field = "from", .unit = DESK_TIME},
    {.name = "until", .value = "TIME", .says = "and before then", .field = "until", .unit = DESK_UNTIL},
};
static const cli_option trend_options[] = {
    DESK_OPTIONS,
    {.name = "from", .value = "TIME", .says = "runs handed out from then on: after a repair say"},
    {.name = "any-cause", .value = NULL, .says = "count every failed run, not only those whose cause is the machine"},
};

static const cli_option chart_options[] = {
    DESK_OPTIONS,
    {.name = "machine",
     .value = "NAME",
     .says = "one machine; without it all",
     .field = "machine",
     .unit = DESK_MACHINE},
    {.name = "each", .value = "PERIOD", .says = "week (without it) or month"},
    {.name = "from", .value = "TIME", .says = "runs handed out from then on", .field = "from", .unit = DESK_TIME},
    {.name = "until", .value = "TIME", .says = "and before then", .field = "until", .unit = DESK_UNTIL},
    {.name = "picture", .value = "OUT", .says = "the chart as .svg, .png or .pdf"},
};
static const cli_option compare_options[] = {
    DESK_OPTIONS,
    {.name = "from", .value = "TIME", .says = "runs handed out from then on", .field = "from", .unit = DESK_TIME},
    {.name = "until", .value = "TIME", .says = "and before then", .field = "until", .unit = DESK_UNTIL},
    {.name = "any-cause", .value = NULL, .says = "count runs that failed by file, power or handling too"},
};
static const cli_option life_options[] = {
    {.name = "part", .value = "NAME", .says = "what it is, for the sentence"},
    {.name = "json", .value = NULL, .says = "print one JSON object instead of words"},
};

static const cli_option due_options[] = {
    DESK_OPTIONS,
    {.name = "machine", .value = "NAME", .says = "one machine; without it all"},
    {.name = "all", .says = "those that are not due too"},
};
static const cli_option done_options[] = {
    DESK_OPTIONS,
    {.name = "minutes", .value = "N", .says = "how long it took", .field = "minutes", .unit = DESK_COUNT},
    {.name = "parts", .value = "TEXT", .says = "what was used", .field = "parts", .unit = DESK_TEXT},
    {.name = "done-by",
     .value = "WHO",
     .says = "who did it, if another one than books it",
     .field = "by",
     .unit = DESK_ID},
    {.name = "note", .value = "TEXT", .says = "what else to know", .field = "note", .unit = DESK_TEXT},
    {.name = "at", .value = "TIME", .says = "when, if earlier than now", .field = "at", .unit = DESK_TIME},
};
static const cli_option replaced_options[] = {
    DESK_OPTIONS,
    {.name = "tool", .value = "N", .says = "of which tool, from 0", .field = "tool", .unit = DESK_COUNT},
    {.name = "why",
     .value = "WHY",
     .says = "failed, worn, planned or unknown (needed): only failed and worn ones tell how long such parts last",
     .field = "why",
     .unit = DESK_TEXT},
    {.name = "note", .value = "TEXT", .says = "what else to know", .field = "note", .unit = DESK_TEXT},
    {.name = "at", .value = "TIME", .says = "when, if earlier than now", .field = "at", .unit = DESK_TIME},
};
static const cli_option log_options[] = {
    DESK_OPTIONS,
    {.name = "machine", .value = "NAME", .says = "one machine", .field = "machine", .unit = DESK_MACHINE},
    {.name = "task", .value = "TASK", .says = "one task", .field = "task", .unit = DESK_ID},
    {.name = "part", .value = "PART", .says = "one part", .field = "part", .unit = DESK_ID},
    {.name = "limit", .value = "N", .says = "at most so many", .field = "limit", .unit = DESK_COUNT},
};
static const cli_example due_examples[] = {{"proveout care due", "what is due at which machine"}};
static const cli_example done_examples[] = {{"proveout care done Alder oil-rods --minutes 15", "it is done now"}};
static const cli_example replaced_examples[] = {
    {"proveout care replaced Alder nozzle --why worn", "a new nozzle, the old one was worn"}};
static const cli_example rates_examples[] = {
    {"proveout care rates", "how often each machine's runs fail, and who differs"},
    {"proveout care rates --of material --from 2026-09-21", "the same by material, of this term"},
};
static const cli_example trend_examples[] = {
    {"proveout care trend Alder", "is it getting worse?"},
};
static const cli_example chart_examples[] = {
    {"proveout care chart", "did something change in some week?"},
    {"proveout care chart --machine Cedar --each month --picture cedar.svg", "one machine by month, for the wall"},
};
static const cli_example compare_examples[] = {
    {"proveout care compare", "which machine fails more with the same jobs"},
};
static const cli_example life_examples[] = {
    {"proveout care life --part \"A brass nozzle\" 410,520,555,610,640,300+,480+", "five failed, two still run"},
};

static const cli_option measured_options[] = {
    DESK_OPTIONS,
    {.name = "kind",
     .value = "KIND",
     .says = "tram, feed, flow, size, skew, gap or cooling; without it all",
     .field = "kind",
     .unit = DESK_TEXT},
    {.name = "limit", .value = "N", .says = "at most so many", .field = "limit", .unit = DESK_COUNT},
};
static const cli_example measured_examples[] = {
    {"proveout care measured Alder --kind gap", "how the gap of Alder went, check after check"}};
static const cli_example log_examples[] = {{"proveout care log --machine Alder", "what was done to it"}};
const cli_verb cli_care_verbs[] = {
    {.name = "care due",
     .operands = "",
     .options = due_options,
     .n_options = sizeof due_options / sizeof due_options[0],
     .line = "tasks of care that are due, by what machines ran",
     .help = "Each task of the shop file by what the machine ran since it was last booked as done: hours, metres times "
             "the material's wear, runs, days, whichever "
             "comes first. One that was never booked counts from the machine's first run in the book.",
     .examples = due_examples,
     .n_examples = 1,
     .run = care_run_due},
    {.name = "care done",
     .operands = "MACHINE TASK",
     .least = 2,
     .most = 2,
     .options = done_options,
     .n_options = sizeof done_options / sizeof done_options[0],
     .line = "a task of care is done",
     .help = "Books it; its interval begins anew.",
     .examples = done_examples,
     .n_examples = 1,
     .run = care_run_done,
     .act = "care-done",
     .fills = {{"machine", DESK_MACHINE}, {"task", DESK_ID}},
     .done = "{machine}: {task} is booked as done."},
    {.name = "care replaced",
     .operands = "MACHINE PART",
     .least = 2,
     .most = 2,
     .options = replaced_options,
     .n_options = sizeof replaced_options / sizeof replaced_options[0],
     .line = "a part of a machine was replaced, and why",
     .help = "Books it with why; the hours that parts lasted are what care life asks for.",
     .examples = replaced_examples,
     .n_examples = 1,
     .run = desk_run_act,
     .act = "care-replace",
     .fills = {{"machine", DESK_MACHINE}, {"part", DESK_ID}},
     .done = "{machine}: {part} is booked as replaced."},
    {.name = "care log",
     .operands = "",
     .options = log_options,
     .n_options = sizeof log_options / sizeof log_options[0],
     .line = "what was done and replaced, the latest first",
     .help = "Lists care that the book has.",
     .examples = log_examples,
     .n_examples = 1,
     .run = care_run_log},
    {.name = "care measured",
     .operands = "MACHINE",
     .least = 1,
     .most = 1,
     .options = measured_options,
     .n_options = sizeof measured_options / sizeof measured_options[0],
     .line = "what was measured of a machine, and what changed since the time before",
     .help = "Lists what tram, tune and room cool kept (--book, --keep), the latest first, each figure with its change "
             "since the measurement of its kind before.",
     .examples = measured_examples,
     .n_examples = 1,
     .run = care_run_measured,
     .fills = {{"machine", DESK_MACHINE}}},
    {.name = "care rates",
     .operands = "",
     .options = rates_options,
     .n_options = sizeof rates_options / sizeof rates_options[0],
     .line = "how often runs fail, and who differs by more than chance",
     .help = "Shares of failed runs with Wilson's intervals. One that differs from all others together by more than "
             "chance (Fisher's exact test, Holm's correction, 5 %) is "
             "named; below ten runs nothing is said.",
     .examples = rates_examples,
     .n_examples = 2,
     .run = run_rates},
    {.name = "care trend",
     .operands = "MACHINE",
     .least = 1,
     .most = 1,
     .options = trend_options,
     .n_options = sizeof trend_options / sizeof trend_options[0],
     .line = "whether a machine is getting worse",
     .help = "Failures against the hours that the machine ran: Laplace's test, that of MIL-HDBK-189 and the power law. "
             "Only where both tests agree it says worse or better; "
             "below five failures it says that they are too few.",
     .examples = trend_examples,
     .n_examples = 1,
     .run = run_trend},
    {.name = "care chart",
     .operands = "",
     .options = chart_options,
     .n_options = sizeof chart_options / sizeof chart_options[0],
     .line = "failed runs week by week, and which week was out of the ordinary",
     .help =
         "A chart of shares with limits by each week's own number of runs. A week is named only where it is rarer than "
         "chance over the whole chart (5 %), or ends a row of nine that is.",
     .examples = chart_examples,
     .n_examples = 2,
     .run = care_run_chart},
    {.name = "care compare",
     .operands = "",
     .options = compare_options,
     .n_options = sizeof compare_options / sizeof compare_options[0],
     .line = "machines compared by what they print",
     .help =
         "Holds jobs alike in recipe, material and length against each other, so that a machine with the hard jobs is "
         "not blamed (Mantel and Haenszel; exact, Holm's correction, 5 %). Few runs: it says so.",
     .examples = compare_examples,
     .n_examples = 1,
     .run = care_run_compare},
    {.name = "care life",
     .operands = "HOURS,...",
     .least = 1,
     .most = 1,
     .options = life_options,
     .n_options = sizeof life_options / sizeof life_options[0],
     .line = "how long a part lasts, and whether to change it before it fails",
     .help =
         "Hours at which parts of one kind failed, with commas between them; behind those that still run, or came out "
         "before they failed, stands a +. Weibull's distribution by maximum likelihood; below five failures it says "
         "that they are too few.",
     .examples = life_examples,
     .n_examples = 1,
     .run = care_run_life},
    {.name = NULL}};
