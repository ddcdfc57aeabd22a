/* proveout plan feed OUT.ics: runs, watches and take-offs from the book, as a calendar. SPDX-License-Identifier: Apache-2.0 */
#include "plan_feed.h"

#include <string.h>

#include "due.h"
#include "when.h"

enum { OFF_MINUTES = 15 }; /* that taking a part off is shown with; common practice, no published source */

typedef struct feed {
    const desk *d;
    const po_calendar *calendar;
    const char *at; /* behind the @ of UIDs */
    po_feed_event *events;
    size_t n, room;
    bool failed;
} feed;

static void put(feed *f, long long run, const char *what, int k, int64_t from, int64_t until, const char *category,
                const char *summary, const char *description)
{
    po_arena *a = f->d->arena;
    if (f->n == f->room) {
        size_t more = f->room ? 2 * f->room : 64;
        po_feed_event *larger = po_arena_resize(a, f->events, f->room * sizeof *larger, more * sizeof *larger);
        f->failed |= !larger;
        if (!larger) {
            return;
        }
        f->events = larger;
        f->room = more;
    }
    const char *uid = k > 0 ? po_arena_printf(a, "run-%lld-%s-%d@%s", run, what, k, f->at)
                            : po_arena_printf(a, "run-%lld-%s@%s", run, what, f->at);
    f->failed |= !uid || !summary;
    if (uid && summary && from >= 0) {
        f->events[f->n++] = (po_feed_event){uid, {from, until > from ? until : from}, summary, description, category};
    }
}

static void put_off(feed *f, const char *machine, long long run, int64_t end)
{
    int64_t off;
    if (po_calendar_next_staffed(f->calendar, end, &off)) {
        put(f, run, "take-off", 0, off, off + OFF_MINUTES * 60000, "TAKE-OFF",
            po_arena_printf(f->d->arena, "%s: take off run %lld", machine, run),
            "Once the bed is cool. Nozzle and bed may still be hot, and axes move without warning.");
    }
}

static void put_run(feed *f, const json_t *r)
{
    const po_rules *rules = &f->d->shop->rules;
    po_arena *a = f->d->arena;
    const char *machine = work_text(r, "machine"), *state = work_text(r, "state");
    long long run = work_int(r, "run", 0);
    int64_t now = f->d->now_ms, bead = 1000 * work_int(r, "first_bead_seconds", 0), out = work_int(r, "out_ms", now);
    bool started = work_has(r, "started_ms");
    int64_t first_bead = started ? work_int(r, "started_ms", 0) : out + bead, end = work_int(r, "end_ms", now);
    if (strcmp(state, "out") != 0) {
        if (!work_has(r, "off_ms")) {
            int64_t ended = work_int(r, "ended_ms", now);
            put_off(f, machine, run, ended > now ? ended : now);
        }
        return;
    }
    put(f, run, "run", 0, first_bead - bead, end, "RUN",
        po_arena_printf(a, "%s: run %lld%s", machine, run, started ? "" : " (not started yet)"),
        po_arena_printf(a, "Expected from %s to %s.", desk_words(f->d, json_object_get(r, "end_low_ms"), DESK_TIME),
                        desk_words(f->d, json_object_get(r, "end_high_ms"), DESK_TIME)));
    int64_t watch = (int64_t)(rules->watch_minutes * 60000 + 0.5);
    int64_t layer = 1000 * (work_int(r, "first_layer_seconds", 0) - work_int(r, "first_bead_seconds", 0));
    watch = rules->watch_first_layer && layer > watch ? layer : watch;
    if (!work_has(r, "watched_ms")) {
        put(f, run, "watch", 0, first_bead, first_bead + watch < end ? first_bead + watch : end, "WATCH",
            po_arena_printf(a, "%s: watch run %lld", machine, run), NULL);
    }
    size_t i;
    const json_t *h;
    json_array_foreach(json_object_get(r, "hands"), i, h)
    {
        int64_t at = first_bead - bead + 1000 * (int64_t)json_integer_value(h);
        put(f, run, "hands", (int)i + 1, at, at, "HANDS", po_arena_printf(a, "%s: run %lld needs hands", machine, run),
            "Nozzle and bed are hot: hands, hair and sleeves away while it moves.");
    }
    put_off(f, machine, run, end > now ? end : now);
}

static void put_promise(feed *f, const json_t *r)
{
    const char *machine = work_text(r, "machine");
    long long run = work_int(r, "run", 0);
    if (work_has(r, "promised_ms")) {
        int64_t start = work_int(r, "promised_ms", 0), end = start + 1000 * work_int(r, "seconds", 0);
        int64_t watch = start + (int64_t)(f->d->shop->rules.watch_minutes * 60000 + 0.5);
        put(f, run, "run", 0, start, end, "RUN", po_arena_printf(f->d->arena, "%s: run %lld (promised)", machine, run),
            NULL);
        put(f, run, "watch", 0, start, watch < end ? watch : end, "WATCH",
            po_arena_printf(f->d->arena, "%s: watch run %lld", machine, run), NULL);
        put_off(f, machine, run, end);
    }
}

/* "Quayside Workshop" -> "quayside-workshop.proveout" */
static const char *slug(const char *name, po_arena *arena)
{
    char *s = po_arena_printf(arena, "%s.proveout", name);
    for (char *p = s; p && *p; p++) {
        *p = *p >= 'A' && *p <= 'Z' ? (char)(*p + 32) : *p;
        *p = (*p >= 'a' && *p <= 'z') || (*p >= '0' && *p <= '9') || *p == '.' ? *p : '-';
    }
    return s;
}

int plan_feed(const cli_call *call)
{
    desk d;
    json_t *today = NULL;
    feed f = {.d = &d};
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? due_ask(&d, &today) : status;
    status = status == EXIT_CLEAR ? when_calendar(d.shop, d.now_ms, d.arena, &f.calendar) : status;
    if (status == EXIT_CLEAR) {
        size_t i;
        const json_t *o;
        f.at = slug(d.shop->name, d.arena);
        json_array_foreach(json_object_get(today, "runs"), i, o)
        {
            put_run(&f, o);
        }
        json_array_foreach(json_object_get(today, "reservations"), i, o)
        {
            put_promise(&f, o);
        }
        po_document document = {0};
        po_err err;
        if (f.failed || !f.at) {
            status = cli_fail(EXIT_OWN, "memory ran out");
        } else if (po_feed_write(d.shop->name, f.events, f.n, d.now_ms, d.arena, &document.data, &document.n_bytes,
                                 &err) != PO_OK) {
            status = cli_fail(EXIT_OWN, "%s", err.msg);
        } else {
            status = cli_write_file(call->args[0], &document);
        }
        if (status == EXIT_CLEAR && strcmp(call->args[0], "-") != 0) {
            if (d.json) {
                status = desk_print_json(json_pack("{s:s, s:s, s:I}", "format", "proveout/feed/1", "file",
                                                   call->args[0], "events", (json_int_t)f.n));
            } else {
                printf("%zu event%s written to %s.\n", f.n, f.n == 1 ? "" : "s", call->args[0]);
            }
        }
    }
    json_decref(today);
    desk_close(&d);
    return status;
}
