/* proveout today: what is due at the desk, now and next. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "due.h"
#include "verbs.h"

enum { LINE_COLUMNS = 100 };

static const char *time_of(const desk *d, int64_t ms)
{
    json_t *v = json_integer(ms);
    const char *text = desk_words(d, v, DESK_TIME);
    json_decref(v);
    return text;
}

/* "Desk 10:00-13:00 and 14:00-20:00; last safe start 12:30 and 19:30." */
static void tell_hours(const desk *d)
{
    work_span spans[WORK_SPANS_MOST];
    size_t n = due_hours(d, d->now_ms, spans);
    int64_t opens = 0;
    const char *hours = "", *starts = "";
    for (size_t i = 0; i < n; i++) {
        const char *and = i ? " and " : "";
        hours = po_arena_printf(d->arena, "%s%s%s-%s", hours, and, time_of(d, spans[i].from_ms),
                                time_of(d, spans[i].until_ms));
        if (spans[i].last_start_ms >= spans[i].from_ms) {
            starts = po_arena_printf(d->arena, "%s%s%s", starts, *starts ? " and " : "",
                                     time_of(d, spans[i].last_start_ms));
        }
    }
    const char *text = "The desk is closed today";
    if (n > 0) {
        text = po_arena_printf(d->arena, "Desk %s%s%s", hours, *starts ? "; last safe start " : "", starts);
        if (*starts) {
            text = po_arena_printf(d->arena, "%s (a watch takes %g min%s)", text, d->shop->rules.watch_minutes,
                                   d->shop->rules.watch_first_layer ? ", longer where a first layer does" : "");
        }
    }
    if ((n == 0 || d->now_ms >= spans[n - 1].until_ms) && due_next_staffed(d, d->now_ms, &opens)) {
        text = po_arena_printf(d->arena, "%s; it opens again %s", text, time_of(d, opens));
    }
    text = po_arena_printf(d->arena, "%s.", text);
    cli_wrap(stdout, 0, text ? text : "");
    if (!d->shop->rules.may_end_unstaffed && n > 0) {
        printf("A run has to end while somebody is at the desk.\n");
    }
}

static int columns_of(const char *text)
{
    int n = 0;
    for (; *text; text++) {
        n += ((unsigned char)*text & 0xc0) != 0x80;
    }
    return n;
}

/* Words of one entry behind its time, on as many lines as it takes; how wide the last one is. */
static int print_wrapped(const char *text, int indent)
{
    int at = indent;
    for (bool first = true; *text; first = false) {
        char word[401];
        snprintf(word, sizeof word, "%.*s", (int)strcspn(text, " "), text);
        text += strlen(word);
        text += *text == ' ';
        int wide = columns_of(word);
        if (!first && at + 1 + wide > LINE_COLUMNS) {
            printf("\n%*s%s", indent, "", word);
            at = indent + wide;
        } else {
            printf("%s%s", first ? "" : " ", word);
            at += wide + !first;
        }
    }
    return at;
}

/* what: 0 that waits for somebody, 1 that comes, 2 at no certain time */
static void tell_part(const desk *d, const json_t *due, const char *head, int what)
{
    int wide = 0, n = 0;
    size_t i;
    const json_t *e;
    for (int pass = 0; pass < 2; pass++) {
        json_array_foreach(due, i, e)
        {
            const char *at = desk_words(d, json_object_get(e, "at_ms"), DESK_TIME), *says = work_text(e, "says"),
                       *does = work_text(e, "do");
            int kind = json_is_true(json_object_get(e, "now")) ? 0 : *at ? 1 : 2;
            if (kind != what) {
                continue;
            }
            if (pass == 0) {
                wide = columns_of(at) > wide ? columns_of(at) : wide;
                n++;
                continue;
            }
            json_t *clean = json_string(says);
            says = desk_words(d, clean, DESK_TEXT); /* what others typed must not steer the terminal */
            json_decref(clean);
            printf("  %s%*s%s", at, wide - columns_of(at), "", wide ? "  " : "");
            int used = print_wrapped(says, 2 + wide + (wide ? 2 : 0));
            bool below = used + 2 + columns_of(does) > LINE_COLUMNS;
            if (*does) {
                printf("%s%*s%s", below ? "\n" : "  ", below ? 4 + wide : 0, "", does);
            }
            printf("\n");
        }
        if (pass == 0 && n > 0) {
            printf("\n%s\n", head);
        }
    }
}

/* Machines that are free, and who waits for one. */
static void tell_machines(const desk *d, const json_t *today)
{
    const char *free = "";
    for (size_t m = 0; m < d->shop->n_machines; m++) {
        const char *name = d->shop->machines[m].name;
        bool is_free = true;
        size_t i;
        const json_t *row;
        json_array_foreach(json_object_get(today, "machines"), i, row)
        {
            is_free = is_free &&
                      (strcmp(work_text(row, "machine"), name) != 0 || json_is_true(json_object_get(row, "free")));
        }
        if (is_free) {
            free = po_arena_printf(d->arena, "%s%s%s", free, *free ? ", " : "", name);
        }
    }
    size_t waiting = json_array_size(json_object_get(today, "tickets"));
    printf("\n%s%s%s", *free ? "Free: " : "No machine is free", free, ".");
    if (waiting > 0) {
        int64_t ms = 0;
        const char *name = NULL;
        printf(" %zu wait%s", waiting, waiting == 1 ? "s" : "");
        if (due_next_free(d, today, NULL, NULL, NULL, &ms, &name) && ms > d->now_ms) {
            printf("; next free about %s: %s", time_of(d, ms), name);
        }
        printf(".");
    }
    printf("\n");
}

static json_t *hours_json(const desk *d)
{
    work_span spans[WORK_SPANS_MOST];
    size_t n = due_hours(d, d->now_ms, spans);
    json_t *list = json_array();
    for (size_t i = 0; i < n; i++) {
        json_array_append_new(
            list,
            json_pack("{s:I, s:I, s:o}", "from_ms", (json_int_t)spans[i].from_ms, "until_ms",
                      (json_int_t)spans[i].until_ms, "last_safe_start_ms",
                      spans[i].last_start_ms >= spans[i].from_ms ? json_integer(spans[i].last_start_ms) : json_null()));
    }
    return list;
}

static int run_today(const cli_call *call)
{
    desk d;
    json_t *today = NULL, *due = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? due_ask(&d, &today) : status;
    if (status == EXIT_CLEAR && !(due = due_list(&d, today))) {
        status = cli_fail(EXIT_OWN, "memory ran out");
    }
    if (status == EXIT_CLEAR && d.json) {
        json_object_set_new(today, "hours", hours_json(&d));
        json_object_set(today, "due", due);
        status = desk_print_json(json_incref(today));
    } else if (status == EXIT_CLEAR) {
        const json_t *note = json_object_get(today, "note");
        if (json_is_object(note)) {
            desk_tell(&d, "Note from {by}, {at_ms:time}: {text}", note, NULL);
            printf("\n");
        }
        json_t *now = json_pack("{s:s, s:I}", "shop", d.shop->name, "at_ms", (json_int_t)d.now_ms);
        desk_tell(&d, "{shop}, {at_ms:day}, {at_ms:time}.", now, NULL);
        json_decref(now);
        tell_hours(&d);
        tell_part(&d, due, "Now", 0);
        tell_part(&d, due, "Next", 1);
        tell_part(&d, due, "Besides", 2);
        if (json_array_size(due) == 0) {
            printf("\nNothing is due.\n");
        }
        tell_machines(&d, today);
        if (json_is_true(json_object_get(today, "more"))) {
            printf("There is more than fits here; the lists (run, shelf, permit, spool) have it all.\n");
        }
    }
    json_decref(due);
    json_decref(today);
    desk_close(&d);
    return status;
}

static const cli_option options[] = {DESK_OPTIONS};
static const cli_example examples[] = {
    {"proveout today", "what is due, in order of time, with the verb that books it"},
    {"proveout today --json", "the same for another program: lists, hours and what is due"},
};

const cli_verb cli_today_verb[] = {
    {
        .name = "today",
        .operands = "",
        .options = options,
        .n_options = sizeof options / sizeof options[0],
        .line = "what is due at the desk, now and next",
        .help =
            "Shows the hand-over note, the desk's hours with the last safe start, then what waits for somebody now and "
            "what comes next, in order of time, each with the verb that books it: start checks, watches, ends, parts "
            "to take off, machines to take back, tickets, promised starts, spools that dry or run out, parts that "
            "nobody collected, permissions that lapse within two weeks, gap checks, machines out of use, rounds, "
            "messages.\n"
            "Ends are expected ones: the proofs', as runs have really gone, with the range in brackets. A start is "
            "safe when its watch ends before the desk closes. "
            "Members stand there by their numbers. Careful with everything that is done at a machine: nozzle and bed "
            "may be hot, and axes move without warning.",
        .examples = examples,
        .n_examples = sizeof examples / sizeof examples[0],
        .run = run_today,
    },
    {.name = NULL},
};
