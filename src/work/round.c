/* Walking the machines. SPDX-License-Identifier: Apache-2.0
 *
 * The round changes no run: it says what was found, and beside it what the book says otherwise; what is missing is booked by its
 * own act. */
#include "work/round.h"

#include <string.h>

#include "work/run_acts.h"

const work_round_point work_round_points[WORK_ROUND_POINTS] = {{"bed", "bed_clear"},
                                                               {"stick", "stick_there"},
                                                               {"nozzle", "nozzle_clean"},
                                                               {"spool", "spool_on"},
                                                               {"heaters", "heaters_off"}};

bool work_round_of_course(const char *found, size_t point)
{
    bool running = !strcmp(found, "running"), part = running || !strcmp(found, "finished") || !strcmp(found, "failed");
    return (point == 0 && part) || (point == 4 && running);
}

work_against work_round_against(const char *found, const char *run_state)
{
    bool out = !strcmp(run_state, "out"), waits = *run_state && !out, running = !strcmp(found, "running");
    if (!*run_state) {
        return running                                                  ? WORK_WHOSE_JOB
               : !strcmp(found, "finished") || !strcmp(found, "failed") ? WORK_WHOSE_PART
                                                                        : WORK_AGREES;
    }
    return out && !strcmp(found, "finished") ? WORK_BOOK_ENDED
           : out && !strcmp(found, "failed") ? WORK_BOOK_FAILED
           : out && !strcmp(found, "free")   ? WORK_STILL_GOING
           : waits && !strcmp(found, "free") ? WORK_STILL_THERE
           : waits && running                ? WORK_RUNS_ON
                                             : WORK_AGREES;
}

const char *work_against_word(work_against against)
{
    static const char *const words[] = {
        "", "whose-job", "whose-part", "book-ended", "book-failed", "still-going", "still-there", "runs-on"};
    return words[against];
}

/* The row of a list that names the machine. */
static json_t *row_of(const json_t *list, const char *machine)
{
    size_t i;
    json_t *row;
    json_array_foreach(list, i, row)
    {
        if (!strcmp(work_text(row, "machine"), machine)) {
            return row;
        }
    }
    return NULL;
}

json_t *work_round_left(const work_context *w, const json_t *answer, const json_t *today)
{
    json_t *list = json_array();
    size_t i;
    const json_t *name;
    for (size_t m = 0; m < w->shop->n_machines; m++) {
        const char *machine = w->shop->machines[m].name;
        const json_t *row = row_of(json_object_get(today, "machines"), machine);
        bool in_use = !row || !strcmp(work_text(row, "state"), "in-use");
        if (in_use && !row_of(json_object_get(answer, "found"), machine)) {
            json_array_append_new(list, json_string(machine));
        }
    }
    json_array_foreach(json_object_get(answer, "left"), i, name)
    {
        if (!po_shop_machine(w->shop, json_string_value(name))) { /* the book knows it, the shop file no more */
            json_array_append(list, (json_t *)(uintptr_t)name);
        }
    }
    return list;
}

json_t *work_round_overnight(const work_context *w, const json_t *today)
{
    json_t *list = json_array(), *ret = json_object();
    int64_t opens = 0;
    size_t i;
    const json_t *r;
    json_array_foreach(json_object_get(today, "runs"), i, r)
    {
        if (!strcmp(work_text(r, "state"), "out")) {
            json_array_append_new(list,
                                  json_pack("{s:I, s:s, s:s, s:O?, s:b}", "run", (json_int_t)work_int(r, "run", 0),
                                            "machine", work_text(r, "machine"), "member", work_text(r, "member"),
                                            "end_ms", json_object_get(r, "end_ms"), "watched",
                                            json_is_integer(json_object_get(r, "watched_ms"))));
        }
    }
    json_object_set_new(ret, "running", list);
    work_span spans[WORK_SPANS_MOST];
    size_t n = work_hours(w, w->now_ms, spans);
    if (n > 0 && spans[n - 1].last_start_ms >= spans[n - 1].from_ms) {
        json_object_set_new(ret, "last_safe_start_ms", json_integer(spans[n - 1].last_start_ms));
    }
    if (work_next_staffed(w, n > 0 && w->now_ms < spans[n - 1].until_ms ? spans[n - 1].until_ms : w->now_ms, &opens)) {
        json_object_set_new(ret, "opens_ms", json_integer(opens));
    }
    return ret;
}

/* ---- all of it ---- */

/* How the machine is most likely to be found, by the book. */
static const char *expected(const work_context *w, const json_t *machine, const json_t *run)
{
    const char *state = work_text(run, "state");
    if (*work_text(machine, "state") && strcmp(work_text(machine, "state"), "in-use") != 0) {
        return "out-of-use";
    }
    return !*state                                                                        ? "free"
           : !strcmp(state, "out") && work_int(run, "end_high_ms", INT64_MAX) > w->now_ms ? "running"
           : !strcmp(state, "out") || !strcmp(state, "ended")                             ? "finished"
                                                                                          : "failed";
}

/* Spools that are loaded, with what stands on the scale when they are weighed. */
static po_status put_spools(work_context *w, const json_t *fitted, json_t *to, po_err *err)
{
    const json_t *tools = json_object_get(fitted, "tools");
    json_t *list = json_array();
    po_status s = PO_OK;
    for (size_t i = 0; s == PO_OK && i < json_array_size(tools); i++) {
        const json_t *tool = json_array_get(tools, i);
        json_t *answer = NULL, *one = json_object();
        if (*work_text(tool, "spool")) {
            s = work_ask(w, "spools", json_pack("{s:s}", "spool", work_text(tool, "spool")), &answer, err);
            const json_t *spool = json_array_get(json_object_get(answer, "spools"), 0);
            for (const char *const *key = (const char *const[]){"spool", "material", "colour", "left_mg", "tare_mg",
                                                                "weighed_ms", "weighed_mg", NULL};
                 *key; key++) {
                json_object_set(one, *key, json_object_get(spool, *key));
            }
            json_object_set(one, "tool", json_object_get(tool, "tool"));
            json_array_append(list, one);
        }
        json_decref(answer);
        json_decref(one);
    }
    json_object_set_new(to, "spools", list);
    return s;
}

/* What was found against the book, where nothing happened to the machine since: what was handed out, ended or taken back after the look is no
 * contradiction. */
static po_status put_against(work_context *w, const json_t *found, const json_t *run, const char *machine, json_t *to,
                             po_err *err)
{
    int64_t at = work_int(found, "at_ms", 0);
    work_against against = found ? work_round_against(work_text(found, "found"), work_text(run, "state")) : WORK_AGREES;
    json_t *answer = NULL;
    po_status s = PO_OK;
    if (run && (work_int(run, "out_ms", 0) >= at || (against == WORK_RUNS_ON && work_int(run, "ended_ms", 0) >= at))) {
        against = WORK_AGREES;
    } else if (!run && against) {
        s = work_ask(w, "runs", json_pack("{s:s, s:i}", "machine", machine, "limit", 1), &answer, err);
        const json_t *last = json_array_get(json_object_get(answer, "runs"), 0);
        against = work_int(last, "back_ms", -1) >= at ? WORK_AGREES : against;
    }
    json_decref(answer);
    json_object_set_new(to, "against", against ? json_string(work_against_word(against)) : json_null());
    return s;
}

typedef struct seen {
    json_t *today, *round, *fitted; /* questions: today, rounds of the open one (NULL: none is), machines */
} seen;

static po_status put_machine(work_context *w, const seen *book, const char *name, json_t *list, po_err *err)
{
    const json_t *row = row_of(json_object_get(book->today, "machines"), name);
    const json_t *fitted = row_of(json_object_get(book->fitted, "machines"), name);
    const json_t *run = row_of(json_object_get(book->today, "runs"), name);
    const json_t *found = row_of(json_object_get(book->round, "found"), name);
    const po_machine *m = po_shop_machine(w->shop, name);
    json_t *one = json_pack("{s:s, s:s, s:s?, s:s?, s:O?, s:O?, s:O?, s:O?}", "machine", name, "state",
                            *work_text(row, "state") ? work_text(row, "state") : "in-use", "reason",
                            *work_text(row, "reason") ? work_text(row, "reason") : NULL, "stick",
                            m ? m->stick_label : NULL, "part_of", json_object_get(row, "part_of"), "run", run, "found",
                            found, "wrong", row_of(json_object_get(book->today, "wrong"), name));
    if (!one) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    json_array_append_new(list, one);
    json_object_set_new(one, "expected", json_string(expected(w, row, run)));
    if (run && !strcmp(work_text(run, "state"), "out") && work_has(run, "started_ms") && !work_has(run, "watched_ms")) {
        json_object_set_new(one, "watch_until_ms", json_integer(work_watch_until(w, run)));
    }
    if (run && !strcmp(work_text(run, "state"), "out")) { /* the act that books its end, as run ended books it */
        const char *text = work_run_message(w, PO_TEXT_DONE, run, 0, 0);
        json_object_set_new(one, "ended",
                            json_pack("{s:s, s:{s:I, s:s*}}", "act", "run-ended", "body", "run",
                                      (json_int_t)work_int(run, "run", 0), "message", text));
    }
    po_status s = put_against(w, found, run, name, one, err);
    return s == PO_OK ? put_spools(w, fitted, one, err) : s;
}

/* For each way to be found the five points as they are where nothing is wrong. */
static json_t *good_points(void)
{
    static const char *const found[] = {"free", "running", "finished", "failed", "out-of-use"};
    json_t *all = json_object();
    for (size_t f = 0; f < sizeof found / sizeof found[0]; f++) {
        json_t *points = json_object();
        for (size_t i = 0; i < WORK_ROUND_POINTS; i++) {
            json_object_set_new(points, work_round_points[i].field, json_boolean(!work_round_of_course(found[f], i)));
        }
        json_object_set_new(all, found[f], points);
    }
    return all;
}

/* Which round is due: opening, until one was done today. */
static const char *due_round(const work_context *w, const json_t *today)
{
    int64_t done = work_int(json_object_get(today, "last_opening"), "done_ms", -1);
    po_wall_time then, now;
    bool same = done >= 0 && work_wall(w, done, &then, NULL) && work_wall(w, w->now_ms, &now, NULL) &&
                then.date.year == now.date.year && then.date.month == now.date.month && then.date.day == now.date.day;
    return same ? "closing" : "opening";
}

static po_status ask_book(work_context *w, seen *book, po_err *err)
{
    po_status s = work_today(w, &book->today, err);
    const json_t *open = json_object_get(book->today, "open_round");
    s = s == PO_OK ? work_ask(w, "machines", NULL, &book->fitted, err) : s;
    if (s == PO_OK && json_is_object(open)) {
        s = work_ask(w, "rounds", json_pack("{s:I}", "round", (json_int_t)work_int(open, "round", 0)), &book->round,
                     err);
    }
    return s;
}

po_status work_round_now(work_context *w, json_t **ret, po_err *err)
{
    seen book = {0};
    json_t *machines = json_array(), *to = NULL;
    size_t i;
    const json_t *row;
    po_status s = ask_book(w, &book, err);
    for (size_t m = 0; s == PO_OK && m < w->shop->n_machines; m++) {
        s = put_machine(w, &book, w->shop->machines[m].name, machines, err);
    }
    json_array_foreach(json_object_get(book.today, "machines"), i, row)
    {
        if (s == PO_OK && !po_shop_machine(w->shop, work_text(row, "machine"))) {
            s = put_machine(w, &book, work_text(row, "machine"), machines, err);
        }
    }
    if (s == PO_OK) {
        to = json_pack("{s:s, s:I, s:O?, s:s, s:O?, s:O?, s:O?, s:O, s:o, s:o}", "format", "proveout/round-now/1",
                       "now_ms", (json_int_t)w->now_ms, "round", json_object_get(book.today, "open_round"), "due",
                       due_round(w, book.today), "last_opening", json_object_get(book.today, "last_opening"),
                       "last_closing", json_object_get(book.today, "last_closing"), "note",
                       json_object_get(book.today, "note"), "machines", machines, "left",
                       work_round_left(w, book.round, book.today), "overnight", work_round_overnight(w, book.today));
        json_object_set_new(to, "good", good_points());
        s = to ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    json_decref(book.today);
    json_decref(book.round);
    json_decref(book.fitted);
    json_decref(machines);
    if (s == PO_OK) {
        *ret = to;
    }
    return s;
}
