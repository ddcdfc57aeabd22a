/* What was measured of a machine: kept in its history, and listed with what changed. SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <string.h>

#include "care.h"

enum { LIST_MOST = 1000 };

int care_keep_possible(const cli_call *call)
{
    return cli_value(call, "book") && !cli_value(call, "machine")
               ? cli_fail(EXIT_USAGE, "--book wants --machine: whose history it goes into")
               : EXIT_CLEAR;
}

int care_keep(const cli_call *call, const char *kind, const care_figure *figures, size_t n, json_t *readings)
{
    if (!cli_value(call, "book")) {
        json_decref(readings);
        return EXIT_CLEAR;
    }
    desk d;
    const po_machine *machine = NULL;
    po_act_done done;
    json_t *values = json_object();
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? cli_shop_machine(d.shop, cli_value(call, "machine"), d.arena, &machine) : status;
    for (size_t i = 0; i < n; i++) {
        if (isfinite(figures[i].value)) {
            json_object_set_new(values, figures[i].name, json_integer((json_int_t)llround(figures[i].value)));
        }
    }
    if (status == EXIT_CLEAR) {
        json_t *body = json_pack("{s:s, s:s, s:O}", "machine", machine->name, "kind", kind, "figures", values);
        if (readings) {
            json_object_set(body, "readings", readings);
        }
        if (cli_value(call, "note")) {
            json_object_set_new(body, "note", json_string(cli_value(call, "note")));
        }
        status = desk_act(&d, "care-measure", body, &done, NULL);
    }
    if (status == EXIT_CLEAR) {
        fprintf(d.json ? stderr : stdout, "Kept in the history of %s (event %" PRIu64 ").\n", machine->name,
                (uint64_t)done.event);
    }
    json_decref(values);
    json_decref(readings);
    desk_close(&d);
    return status;
}

/* "half_um" as "half" and "um"; a name without a unit that is known stays whole. */
static void tell_figure(const char *name, int64_t value, const json_t *before)
{
    static const char *const units[] = {"um", "mdeg", "permille", "ppm", "mC", "s"};
    const char *end = strrchr(name, '_'), *unit = NULL;
    for (size_t i = 0; end && i < sizeof units / sizeof units[0]; i++) {
        unit = strcmp(end + 1, units[i]) == 0 ? end : unit;
    }
    printf("    ");
    for (const char *p = name; *p && p != unit; p++) {
        putchar(*p == '_' ? ' ' : *p);
    }
    printf(" %" PRId64 "%s%s", value, unit ? " " : "", unit ? unit + 1 : "");
    if (json_is_integer(before)) {
        printf(" (%+" PRId64 ")", value - (int64_t)json_integer_value(before));
    }
    putchar('\n');
}

static void tell(const desk *d, const json_t *list, size_t shown)
{
    const work_context w = desk_work(d);
    const json_t *row;
    size_t i;
    json_array_foreach(list, i, row)
    {
        const json_t *earlier = NULL;
        if (i >= shown) {
            break;
        }
        for (size_t k = i + 1; k < json_array_size(list) && !earlier; k++) {
            const json_t *other = json_array_get(list, k);
            earlier = strcmp(work_text(other, "kind"), work_text(row, "kind")) == 0 ? other : NULL;
        }
        const char *note = work_text(row, "note"), *key;
        json_t *value;
        printf("  %s  %s%s%s\n", work_time_words(&w, work_int(row, "at_ms", 0)), work_text(row, "kind"),
               *note ? ": " : "", note);
        json_object_foreach(json_object_get(row, "figures"), key, value)
        {
            tell_figure(key, json_integer_value(value), json_object_get(json_object_get(earlier, "figures"), key));
        }
    }
}

int care_run_measured(const cli_call *call)
{
    desk d;
    json_t *parameters = NULL, *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &parameters) : status;
    if (status == EXIT_CLEAR) {
        int64_t limit = work_int(parameters, "limit", 20);
        json_object_set_new(parameters, "limit",
                            json_integer(LIST_MOST)); /* those before the last shown are compared with */
        status = desk_ask(&d, "care-measures", parameters, &answer);
        const json_t *list = json_object_get(answer, "measures");
        if (status == EXIT_CLEAR && d.json) {
            status = desk_print_json(json_incref(answer));
        } else if (status == EXIT_CLEAR && json_array_size(list) == 0) {
            puts("Nothing was measured of it yet: tram and tune keep what they find with --book.");
        } else if (status == EXIT_CLEAR) {
            tell(&d, list, (size_t)(limit > 0 ? limit : 0));
        }
    } else {
        json_decref(parameters);
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}
