/* A search for a cause as words. SPDX-License-Identifier: Apache-2.0 */
#include "why.h"

static void tell_next(const json_t *view)
{
    const json_t *check = json_array_get(json_object_get(view, "next"), 0), *a;
    size_t i;
    if (!check) {
        puts("No check that is left tells any more.");
        return;
    }
    printf("Look next (%lld min), %s:\n", (long long)work_int(check, "minutes", 0), work_text(check, "check"));
    cli_wrap(stdout, 2, work_text(check, "asks"));
    cli_wrap(stdout, 2, work_text(check, "how"));
    if (*work_text(check, "caution")) {
        cli_wrap_after(stdout, 2, "Caution.", work_text(check, "caution"));
    }
    json_array_foreach(json_object_get(check, "answers"), i, a)
    {
        printf("    %zu  %-10s %s\n", i + 1, work_text(a, "answer"), work_text(a, "words"));
    }
}

static void tell_beliefs(const json_t *view)
{
    const json_t *beliefs = json_object_get(view, "beliefs"), *b;
    size_t i;
    puts("Likely:");
    json_array_foreach(beliefs, i, b)
    {
        double p = json_number_value(json_object_get(b, "p"));
        if (p >= 0.02 || i < 3) {
            printf("  %3.0f %%  %-14s %s\n", 100 * p, work_text(b, "cause"), work_text(b, "words"));
        }
    }
}

static void tell_reasons(const json_t *view)
{
    const json_t *reasons = json_object_get(view, "reasons"), *r;
    size_t i;
    if (json_array_size(reasons) > 0) {
        printf("Why %s:\n", work_text(json_array_get(json_object_get(view, "beliefs"), 0), "words"));
    }
    json_array_foreach(reasons, i, r)
    {
        double factor = json_number_value(json_object_get(r, "factor"));
        printf("  %s %.1f times: %s%s%s\n", factor > 1 ? "likelier" : "less likely", factor > 1 ? factor : 1 / factor,
               work_text(r, "check"), *work_text(r, "check") ? ": " : "", work_text(r, "words"));
    }
}

static void tell_remedy(const json_t *view)
{
    const json_t *first = json_array_get(json_object_get(view, "beliefs"), 0);
    if (!*work_text(first, "remedy")) {
        cli_wrap(
            stdout, 0,
            "Most likely it is something that is not in the list: ask the keeper, and close the search with a note.");
        return;
    }
    printf("What helps, %s:\n", work_text(first, "remedy"));
    cli_wrap(stdout, 2, work_text(first, "remedy_words"));
    if (*work_text(first, "caution")) {
        cli_wrap_after(stdout, 2, "Caution.", work_text(first, "caution"));
    }
}

void why_tell_view(const json_t *view)
{
    const json_t *symptom = json_object_get(view, "symptom"), *row;
    int64_t trouble = work_int(view, "trouble", 0);
    size_t i;
    if (trouble) {
        printf("Search %lld", (long long)trouble);
        printf(*work_text(view, "machine") ? " on %s: " : ": ", work_text(view, "machine"));
    }
    printf("%s%s.\n", trouble ? "" : "Seen: ", work_text(symptom, "words"));
    cli_wrap(stdout, 2, work_text(symptom, "look"));
    json_array_foreach(json_object_get(view, "facts"), i, row)
    {
        printf("  Known: %s.\n", work_text(row, "words"));
    }
    json_array_foreach(json_object_get(view, "said"), i, row)
    {
        printf("  %s: %s.\n", work_text(row, "check"), work_text(row, "words"));
    }
    tell_beliefs(view);
    tell_reasons(view);
    if (work_has(view, "closed_ms")) {
        printf("It is closed: %s%s.\n", *work_text(view, "cause") ? work_text(view, "cause") : "no cause was found",
               json_is_true(json_object_get(view, "confirmed")) ? ", confirmed" : "");
        return;
    }
    if (json_is_true(json_object_get(view, "enough"))) {
        tell_remedy(view);
        if (trouble) {
            printf("Did it help? proveout why close %lld --cause %s --confirmed\n", (long long)trouble,
                   work_text(json_array_get(json_object_get(view, "beliefs"), 0), "cause"));
        }
    } else {
        tell_next(view);
        if (trouble) {
            printf("proveout why said %lld CHECK ANSWER books what it shows.\n", (long long)trouble);
        }
    }
}
