/* The room as words. SPDX-License-Identifier: Apache-2.0 */
#include "room.h"

#include <math.h>
#include <string.h>

double room_real(const json_t *o, const char *key)
{
    const json_t *v = json_object_get(o, key);
    return json_is_number(v) ? json_number_value(v) : NAN;
}

void room_tell_caution(const json_t *answer)
{
    cli_wrap_after(stdout, 0, "Caution.", work_text(answer, "caution"));
}

/* 14184 as "14 200": three digits tell enough of such figures. */
static const char *rough(const desk *d, double v)
{
    if (v < 0.05) {
        return "0";
    }
    double step = v > 0 ? pow(10, floor(log10(v)) - 2) : 1;
    const char *text = po_arena_printf(d->arena, "%.0f", v >= 100 ? round(v / step) * step : v);
    return v < 100 && v > 0 ? po_arena_printf(d->arena, "%.2g", v) : text ? text : "";
}

static void tell_kind(const desk *d, const json_t *k)
{
    const char *unit = work_text(k, "unit");
    if (!(room_real(k, "high") > 0)) {
        printf("\n%s: no study gives a rate for what runs\n", work_text(k, "kind"));
        return;
    }
    printf("\n%s: %s %s with all of it running for hours (%s to %s by the studies)\n", work_text(k, "kind"),
           rough(d, room_real(k, "typical")), unit, rough(d, room_real(k, "low")), rough(d, room_real(k, "high")));
    printf("  95 %% of that after %.0f min; a tenth is left %.0f min after the last one stops\n",
           room_real(k, "minutes_to_95"), room_real(k, "minutes_to_clear"));
    printf("  one more machine: %s; one more air change an hour: %s", rough(d, room_real(k, "one_more_machine")),
           rough(d, room_real(k, "one_more_change")));
    printf(isnan(room_real(k, "one_cleaner")) ? "\n" : "; a cleaner of 300 m3/h: %s\n",
           rough(d, room_real(k, "one_cleaner")));
    if (!isnan(room_real(k, "target"))) {
        double most = room_real(k, "machines_most"), changes = room_real(k, "changes_needed");
        bool over = room_real(k, "typical") > room_real(k, "target");
        printf("  the shop's target %s: %s", rough(d, room_real(k, "target")), over ? "passed" : "kept");
        if (!isnan(most)) {
            printf("; at most %.0f such machines", most);
        }
        if (over) {
            printf("; %.1f more air changes an hour would keep it", changes);
        }
        puts("");
    }
}

static void tell_day(const desk *d, const json_t *day)
{
    const json_t *hours = json_object_get(day, "hours"), *h;
    size_t i;
    double most = room_real(day, "peak");
    printf("\nThe day, as the last %lld days were (particles, mean of each hour):\n",
           (long long)work_int(day, "days", 0));
    json_array_foreach(hours, i, h)
    {
        int bar = most > 0 ? (int)lround(40 * room_real(h, "particles") / most) : 0;
        printf("  %02d h  %4.1f machines  %8s  %.*s\n", (int)i, room_real(h, "machines"),
               rough(d, room_real(h, "particles")), bar, "########################################");
    }
    printf("Most at %02lld:%02lld: %s 1/cm3; mean of the day %s.\n", (long long)work_int(day, "peak_minute", 0) / 60,
           (long long)work_int(day, "peak_minute", 0) % 60, rough(d, most), rough(d, room_real(day, "mean")));
}

/* Alike ones together: "3 x petg, 1 x asa in a closed enclosure". */
static void tell_running(const json_t *list)
{
    const json_t *row, *other;
    size_t i, k;
    bool any = false;
    printf("Running: ");
    json_array_foreach(list, i, row)
    {
        double n = 0;
        bool before = false;
        json_array_foreach(list, k, other)
        {
            bool alike = strcmp(work_text(row, "material"), work_text(other, "material")) == 0 &&
                         strcmp(work_text(row, "enclosure"), work_text(other, "enclosure")) == 0;
            before = before || (alike && k < i);
            n += alike ? room_real(other, "n") : 0;
        }
        if (!before) {
            printf("%s%.0f x %s", any ? ", " : "", n, work_text(row, "material"));
            if (strcmp(work_text(row, "enclosure"), "none") != 0) {
                printf(" (enclosure: %s)", work_text(row, "enclosure"));
            }
            any = true;
        }
    }
    puts(any ? "." : "nothing.");
}

void room_tell_air(const desk *d, const json_t *air)
{
    const json_t *room = json_object_get(air, "room"), *row;
    double out = room_real(room, "outdoor_m3_h"), least = room_real(room, "comfort_least_m3_h");
    size_t i;
    printf("Room of %.0f m3, ", room_real(room, "volume_m3"));
    if (isnan(out)) {
        printf("outdoor air not known");
    } else {
        printf("%.0f m3/h of outdoor air (%.1f changes an hour)", out, room_real(room, "changes_per_h"));
    }
    printf(room_real(room, "cleaner_m3_h") > 0 ? ", a cleaner of %.0f m3/h.\n" : ".\n",
           room_real(room, "cleaner_m3_h"));
    if (!isnan(out) && out < least * 0.995) {
        printf("That is less than the %.0f m3/h that ASHRAE 62.1-2016 asks of a workshop with %lld people, for comfort "
               "alone.\n",
               least, (long long)work_int(room, "people", 0));
    }
    tell_running(json_object_get(air, "running"));
    json_array_foreach(json_object_get(air, "kinds"), i, row)
    {
        tell_kind(d, row);
    }
    if (json_object_get(air, "day")) {
        tell_day(d, json_object_get(air, "day"));
    }
    puts("");
    json_array_foreach(json_object_get(air, "sources"), i, row)
    {
        const char *line = po_arena_printf(d->arena, "Rates of %s: %s.", work_text(row, "material"),
                                           work_text(row, "source"));
        cli_wrap(stdout, 0, line ? line : "");
    }
    room_tell_caution(air);
}

static void print_names(const json_t *names)
{
    size_t i;
    const json_t *name;
    json_array_foreach(names, i, name)
    {
        printf("%s%s", i ? ", " : "", json_string_value(name));
    }
}

void room_tell_circuit(const json_t *c)
{
    const json_t *groups = json_object_get(c, "groups"), *g;
    size_t i;
    long long together = work_int(c, "heat_together", 0),
              n = (long long)json_array_size(json_object_get(c, "machines"));
    printf("%s (", work_text(c, "circuit"));
    print_names(json_object_get(c, "machines"));
    printf("): %.1f A running, %.1f A if all heat at once; bears %.0f A, %.1f A for hours.\n",
           room_real(c, "running_a"), room_real(c, "heating_a"), room_real(c, "bears_a"), room_real(c, "lasting_a"));
    if (json_is_true(json_object_get(c, "unknown"))) {
        puts("  The power of one of its machines is not in the shop file (power_w): nothing more can be said.");
        return;
    }
    if (json_is_true(json_object_get(c, "lasting_over"))) {
        puts("  All running for hours is too much: one of them belongs on another circuit.");
    }
    if (json_is_true(json_object_get(c, "never"))) {
        puts("  One of them may not heat while the others run.");
    } else if (together >= n) {
        puts("  All may heat at once.");
    } else {
        printf("  While the others run, %lld may heat at once, whichever %s. One group after another:", together,
               together == 1 ? "it is" : "they are");
        json_array_foreach(groups, i, g)
        {
            printf("%s ", i ? ";" : "");
            print_names(g);
        }
        puts(".");
    }
}

void room_tell_cool(const json_t *c)
{
    const json_t *t;
    size_t i;
    printf("The bed cools with a time constant of %.1f min", room_real(c, "tau_minutes"));
    if (!isnan(room_real(c, "tau_low"))) {
        printf(" (%.1f to %.1f)", room_real(c, "tau_low"), room_real(c, "tau_high"));
    }
    printf(", room %.1f C%s, readings off by %.2f C.\n", room_real(c, "room_c"),
           json_is_true(json_object_get(c, "room_fitted")) ? " as fitted" : "", room_real(c, "scatter_c"));
    if (!isnan(room_real(c, "book_tau_minutes"))) {
        printf("The shop file says %.1f min for %s (machines: heat: bed_tau_minutes): the keeper enters another figure "
               "by hand.\n",
               room_real(c, "book_tau_minutes"), work_text(c, "machine"));
    }
    printf("From %.0f C: ", room_real(c, "start_c"));
    if (isnan(room_real(c, "minutes_to_collect"))) {
        printf("it never comes below %.0f C, which the shop collects at.\n", room_real(c, "collect_below_c"));
    } else {
        printf("below %.0f C, which the shop collects at, after %.0f min.\n", room_real(c, "collect_below_c"),
               room_real(c, "minutes_to_collect"));
    }
    json_array_foreach(json_object_get(c, "touch"), i, t)
    {
        double minutes = room_real(t, "minutes");
        printf("  %2.0f C  ", room_real(t, "c"));
        printf(isnan(minutes) ? "never     " : minutes > 0 ? "%4.0f min  " : "at once   ", minutes);
        printf("no burn within %s (%s)\n", work_text(t, "contact"), work_text(t, "source"));
    }
    room_tell_caution(c);
}
