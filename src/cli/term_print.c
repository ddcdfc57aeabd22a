/* A term's report for people. SPDX-License-Identifier: Apache-2.0 */
#include "term_print.h"

#include <string.h>

enum { LINES_MOST = 12 };

static const struct {
    const char *key, *sentence;
} open_things[] = {
    {"runs_open", "Run {run} of member {member} on {machine} is not back ({state}): proveout run take-back {run}."},
    {"outcomes_open",
     "Run {run} of member {member} on {machine} has no outcome: proveout run outcome {run} good (or failed, "
     "stopped, not-collected)."},
    {"sticks_open",
     "Stick {stick} of {machine} was not counted since the term began[ (last {counted_ms:time})]: proveout stick "
     "count {stick}, or stick lost {stick}."},
    {"parts_open", "The part of run {run} of member {member} is on the shelf[, place {place}][, kept until "
                   "{kept_until_ms:until}]: proveout shelf collect {run}, or shelf recycle {run}."},
    {"spools_open", "Spool {spool} ({material}[, on {machine}]) was not weighed in the last {days} days[ (last "
                    "{weighed_ms:time})]: proveout "
                    "spool weigh {spool} GRAMS."},
    {"rounds_open", "The {kind} round {round} is open since {begun_ms:time}: proveout round done."},
};
enum { N_OPEN = sizeof open_things / sizeof open_things[0] };

size_t term_count_open(const json_t *report)
{
    size_t n = 0;
    for (size_t i = 0; i < N_OPEN; i++) {
        n += json_array_size(json_object_get(report, open_things[i].key));
    }
    return n;
}

size_t term_print_open(const desk *d, const json_t *report, int weighed_days)
{
    size_t n = term_count_open(report);
    json_t *asked = json_pack("{s:i}", "days", weighed_days);
    if (n) {
        printf("\nStill open:\n");
    }
    for (size_t i = 0; i < N_OPEN; i++) {
        const json_t *list = json_object_get(report, open_things[i].key), *row;
        size_t k;
        json_array_foreach(list, k, row)
        {
            if (k == LINES_MOST) {
                printf("and %zu more such.\n", json_array_size(list) - k);
                break;
            }
            desk_tell(d, open_things[i].sentence, row, asked);
        }
    }
    json_decref(asked);
    return n;
}

static bool any(const json_t *report, const char *key)
{
    return json_array_size(json_object_get(report, key)) > 0;
}

/* "Machine  Runs  Good ..." */
static void by(const desk *d, const json_t *report, const char *key, const char *head, const char *row_key)
{
    const desk_column columns[] = {
        {head, row_key, DESK_TEXT, 24, false},    {"Runs", "runs", DESK_COUNT, 0, true},
        {"Good", "good", DESK_COUNT, 0, true},    {"Failed", "failed", DESK_COUNT, 0, true},
        {"Filament", "um", DESK_M, 0, true},      {"Mass", "mg", DESK_G, 0, true},
        {"Time", "seconds", DESK_SPAN, 0, true},  {"Charged", "charged_um", DESK_M, 0, true},
        {"Waived", "waived_um", DESK_M, 0, true},
    };
    const json_t *list = json_object_get(report, key);
    bool named = json_array_size(list) > 1 ||
                 (json_array_size(list) == 1 && json_is_string(json_object_get(json_array_get(list, 0), row_key)));
    if (named) {
        printf("\n");
        desk_table(d, list, columns, sizeof columns / sizeof columns[0], "");
    }
}

/* An amount in the currency of its row, which may not be the shop's. */
static const char *amount(const desk *d, const json_t *row, const char *key)
{
    const char *currency = json_string_value(json_object_get(row, "currency"));
    const json_t *v = json_object_get(row, key);
    return currency && d->shop->currency && !strcmp(currency, d->shop->currency)
               ? desk_words(d, v, DESK_MONEY)
               : po_arena_printf(d->arena, "%lld minor units of %s", (long long)json_integer_value(v),
                                 currency ? currency : "?");
}

static void money(const desk *d, const json_t *report)
{
    static const struct {
        const char *key, *says;
    } kinds[] = {{"runs_charged_minor", "charged for runs beyond the allowance"},
                 {"runs_given_minor", "given away for runs beyond the allowance"},
                 {"funds_minor", "paid by funds"},
                 {"charges_minor", "charged otherwise"},
                 {"payments_minor", "paid by members"},
                 {"gifts_minor", "let off as gifts"},
                 {"refunds_minor", "refunded"}};
    const json_t *row;
    size_t i;
    json_array_foreach(json_object_get(report, "money"), i, row)
    {
        for (size_t k = 0; k < sizeof kinds / sizeof kinds[0]; k++) {
            if (json_integer_value(json_object_get(row, kinds[k].key)) != 0) {
                printf("%s%s: %s\n", i + k ? "" : "\n", kinds[k].says, amount(d, row, kinds[k].key));
            }
        }
    }
}

void term_print(const desk *d, const json_t *report)
{
    static const desk_column sums[] = {
        {"Runs", "sums/runs", DESK_COUNT, 0, false},
        {"  good", "sums/good", DESK_COUNT, 0, false},
        {"  failed", "sums/failed", DESK_COUNT, 0, false},
        {"  stopped", "sums/stopped", DESK_COUNT, 0, false},
        {"  not collected", "sums/not_collected", DESK_COUNT, 0, false},
        {"  without outcome", "sums/without_outcome", DESK_COUNT, 0, false},
        {"Members who printed", "members/printed", DESK_COUNT, 0, false},
        {"Filament", "sums/um", DESK_M, 0, false},
        {"Mass, where known", "sums/mg", DESK_G, 0, false},
        {"Time of machines", "sums/seconds", DESK_SPAN, 0, false},
        {"Charged to allowances", "sums/charged_um", DESK_M, 0, false},
        {"From waivers", "sums/waived_um", DESK_M, 0, false},
        {"From funds", "sums/fund_um", DESK_M, 0, false},
        {"Beyond", "sums/beyond_um", DESK_M, 0, false},
        {"Waivers given", "waivers/given", DESK_COUNT, 0, false},
        {"Sticks counted", "sticks/counted", DESK_COUNT, 0, false},
        {"Sticks not counted", "sticks/not_counted", DESK_COUNT, 0, false},
        {"Sticks lost", "sticks/lost", DESK_COUNT, 0, false},
    };
    static const desk_column materials[] = {
        {"Material", "material", DESK_TEXT, 24, false},
        {"Runs", "runs", DESK_COUNT, 0, true},
        {"Filament", "um", DESK_M, 0, true},
        {"Mass", "mg", DESK_G, 0, true},
    };
    static const desk_column failures[] = {
        {"Failed because of", "cause", DESK_TEXT, 24, false},
        {"Runs", "runs", DESK_COUNT, 0, true},
        {"Filament", "um", DESK_M, 0, true},
    };
    static const desk_column waste[] = {
        {"Waste", "material", DESK_TEXT, 24, false},
        {"Kind", "kind", DESK_TEXT, 0, false},
        {"Mass", "mg", DESK_G, 0, true},
    };
    static const desk_column spools[] = {
        {"Spool", "spool", DESK_TEXT, 24, false},    {"Material", "material", DESK_TEXT, 16, false},
        {"State", "state", DESK_TEXT, 0, false},     {"On", "machine", DESK_TEXT, 16, false},
        {"Left", "left_mg", DESK_G, 0, true},        {"Weighed", "weighed_ms", DESK_TIME, 0, false},
        {"Drift", "term_drift_mg", DESK_G, 0, true},
    };
    const json_t *row;
    size_t i;
    desk_tell(
        d,
        "Term {term}, {from_ms:day} to {until_ms:until}, {allowance_um:m} for every member[, closed {closed_ms:time}]",
        report, NULL);
    printf("\n");
    desk_card(d, report, sums, sizeof sums / sizeof sums[0]);
    by(d, report, "by_machine", "Machine", "machine");
    if (any(report, "by_material")) {
        printf("\n");
        desk_table(d, json_object_get(report, "by_material"), materials, 4, "");
    }
    by(d, report, "by_recipe", "Recipe", "recipe");
    by(d, report, "by_course", "Course", "course");
    by(d, report, "by_fund", "Fund", "fund");
    if (any(report, "failures")) {
        printf("\n");
        desk_table(d, json_object_get(report, "failures"), failures, 3, "");
    }
    money(d, report);
    if (any(report, "waste")) {
        printf("\n");
        desk_table(d, json_object_get(report, "waste"), waste, 3, "");
    }
    if (any(report, "spools")) {
        printf("\n");
        desk_table(d, json_object_get(report, "spools"), spools, 7, "");
    }
    json_array_foreach(json_object_get(report, "sticks_lost"), i, row)
    {
        desk_tell(d, "Lost: stick {stick} of {machine}[ ({reason})].", row, NULL);
    }
    if (json_is_null(json_object_get(report, "closed_ms"))) {
        json_array_foreach(json_object_get(report, "permits"), i, row)
        {
            desk_tell(d, "The permission {permission} lapses when the term is closed (held by {held}).", row, NULL);
        }
    }
    if (json_is_true(json_object_get(report, "more"))) {
        printf("Some lists are longer than is shown here; --json, or proveout run list --term, has more.\n");
    }
}
