/* A run that stopped before its end, in one go. SPDX-License-Identifier: Apache-2.0
 *
 * How far it came is the book's own answer (its question "stopped", the arithmetic of the act run-failed). When it stopped follows
 * from the start and the seconds until there, as runs of that machine have really gone. The cause is a proposal: what was seen
 * says most, except where the book knows better (a spool that had not enough, others that stopped in the same minutes). */
#include "work/failure.h"

#include <string.h>

#include "work/book.h"

enum {
    TOGETHER_MS = 10 * 60000, /* runs that stop within so long of each other stopped for one reason: the mains */
    SPOOL_END_MG = 5000, /* so little on a spool is its end: what is wound below the last turns does not come off */
    LOOKED_AT = 6        /* latest runs of a machine */
};

static const work_symptom symptoms[] = {
    {"loose", "the part came loose from the bed", PO_CAUSE_HANDLING},
    {"corner", "a corner came up from the bed", PO_CAUSE_MATERIAL},
    {"strings", "strings in the air instead of a part", PO_CAUSE_HANDLING},
    {"shifted", "the layers are shifted sideways", PO_CAUSE_MACHINE},
    {"nothing-came", "the nozzle moved on and nothing came out", PO_CAUSE_MATERIAL},
    {"blob", "a blob around the nozzle", PO_CAUSE_MACHINE},
    {"on-air", "it was laid on air", PO_CAUSE_FILE},
    {"dark", "the machine was dark, or showed that it had started anew", PO_CAUSE_POWER},
    {"error", "the machine showed an error", PO_CAUSE_MACHINE},
    {"by-hand", "somebody stopped it", PO_CAUSE_HANDLING},
};

const work_symptom *work_symptoms(size_t *ret_n)
{
    *ret_n = sizeof symptoms / sizeof symptoms[0];
    return symptoms;
}

static const work_symptom *symptom_of(const char *word)
{
    for (size_t i = 0; word && i < sizeof symptoms / sizeof symptoms[0]; i++) {
        if (!strcmp(symptoms[i].key, word)) {
            return &symptoms[i];
        }
    }
    return NULL;
}

/* Where it stopped, as fields of run-failed and of the question "stopped". */
static void put_where(json_t *to, const work_failure *said, bool with_time)
{
    const struct {
        const char *field;
        int64_t value;
    } fields[] = {{"z_um", said->z_um},
                  {"percent", said->percent},
                  {"seconds", said->seconds},
                  {"at", with_time ? said->at_ms : -1}};
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++) {
        if (fields[i].value >= 0) {
            json_object_set_new(to, fields[i].field, json_integer(fields[i].value));
        }
    }
}

static bool says_where(const work_failure *said)
{
    return said->z_um >= 0 || said->percent >= 0 || said->seconds >= 0;
}

/* ---- when ---- */

/* "at_ms", "at_low_ms", "at_high_ms", "at_from": said, ended (booked before), start (by the start check) or hand-out. */
static po_status put_time(work_context *w, const json_t *run, const work_failure *said, json_t *to, po_err *err)
{
    int64_t ended = work_int(run, "ended_ms", -1), started = work_int(run, "started_ms", -1);
    int64_t base = started >= 0 ? started : work_int(run, "out_ms", 0);
    int64_t seconds = work_int(to, "used_seconds", 0) - (started >= 0 ? work_int(to, "first_bead_seconds", 0) : 0);
    seconds = seconds < 0 ? 0 : seconds;
    work_run_end end = {said->at_ms, said->at_ms, said->at_ms, "said"};
    const char *from = "said";
    if (said->at_ms < 0 && ended >= 0) {
        end = (work_run_end){ended, ended, ended, "ended"};
        from = "ended";
    } else if (said->at_ms < 0) {
        work_book book = {.work = w};
        po_status s = work_book_end(&book, work_text(run, "machine"),
                                    work_has(run, "recipe") ? work_text(run, "recipe") : NULL, seconds,
                                    base + seconds * 1000, &end, err);
        if (s != PO_OK) {
            return s;
        }
        from = started >= 0 ? "start" : "hand-out";
    }
    int64_t *const times[] = {&end.ms, &end.low_ms, &end.high_ms};
    for (size_t i = 0; i < 3; i++) { /* it has stopped already, and not before it began */
        *times[i] = *times[i] > w->now_ms ? w->now_ms : *times[i] < base ? base : *times[i];
    }
    json_object_set_new(to, "at_ms", json_integer(end.ms));
    json_object_set_new(to, "at_low_ms", json_integer(end.low_ms));
    json_object_set_new(to, "at_high_ms", json_integer(end.high_ms));
    json_object_set_new(to, "at_from", json_string(from));
    return PO_OK;
}

/* ---- why ---- */

typedef struct reason {
    po_run_cause cause;
    const char *why; /* said, spool, power, symptom, file, first-layer, machine, none */
} reason;

/* Another run that stopped in the same minutes: its row, else NULL. The row is today's. */
static const json_t *stopped_together(const json_t *today, int64_t run, int64_t at_ms)
{
    size_t i;
    const json_t *r;
    json_array_foreach(json_object_get(today, "runs"), i, r)
    {
        int64_t ended = work_int(r, "ended_ms", -1);
        if (work_int(r, "run", 0) != run && !strcmp(work_text(r, "state"), "failed") && ended >= 0 &&
            ended - at_ms < TOGETHER_MS && at_ms - ended < TOGETHER_MS) {
            return r;
        }
    }
    return NULL;
}

static po_status ask_power(work_context *w, const json_t *run, json_t *to, reason *ret, po_err *err)
{
    json_t *today = NULL;
    po_status s = work_ask(w, "today", NULL, &today, err);
    const json_t *other = stopped_together(today, work_int(run, "run", 0), work_int(to, "at_ms", 0));
    if (other) {
        *ret = (reason){PO_CAUSE_POWER, "power"};
        json_object_set(to, "why_run", json_object_get(other, "run"));
        json_object_set(to, "why_machine", json_object_get(other, "machine"));
    }
    json_decref(today);
    return s;
}

/* A spool that had not enough for what the run had used by then; one that was weighed since says nothing of before. */
static po_status ask_spool(work_context *w, const json_t *run, json_t *to, reason *ret, po_err *err)
{
    const json_t *takes = json_object_get(run, "takes");
    int64_t whole = work_int(run, "reserved_um", 0), used = work_int(to, "used_um", 0);
    po_status s = PO_OK;
    for (size_t i = 0; s == PO_OK && i < json_array_size(takes); i++) {
        const json_t *take = json_array_get(takes, i);
        const char *name = work_text(take, "spool");
        json_t *answer = NULL;
        if (!*name || whole <= 0 || !work_has(take, "mg")) {
            continue;
        }
        s = work_ask(w, "spools", json_pack("{s:s}", "spool", name), &answer, err);
        const json_t *spool = json_array_get(json_object_get(answer, "spools"), 0);
        int64_t mg = (int64_t)((double)work_int(take, "mg", 0) * (double)used / (double)whole);
        bool after = work_int(spool, "weighed_ms", -1) > work_int(to, "at_ms", 0);
        int64_t left = work_int(spool, "left_mg", INT64_MAX);
        if (spool && !after && left < INT64_MAX && left - mg < SPOOL_END_MG) {
            *ret = (reason){PO_CAUSE_MATERIAL, "spool"};
            json_object_set_new(to, "why_spool", json_string(name));
            json_object_set_new(to, "why_mg", json_integer(left));
        }
        json_decref(answer);
    }
    return s;
}

/* Two or more of the machine's latest runs failed, and the machine was the cause. */
static po_status ask_machine(work_context *w, const json_t *run, json_t *to, reason *ret, po_err *err)
{
    json_t *answer = NULL;
    size_t i;
    const json_t *r;
    int n = 0;
    po_status s = work_ask(w, "runs",
                           json_pack("{s:s, s:i}", "machine", work_text(run, "machine"), "limit", (int)LOOKED_AT),
                           &answer, err);
    json_array_foreach(json_object_get(answer, "runs"), i, r)
    {
        n += !strcmp(work_text(r, "outcome"), "failed") && !strcmp(work_text(r, "cause"), "machine");
    }
    if (n >= 2) {
        *ret = (reason){PO_CAUSE_MACHINE, "machine"};
        json_object_set_new(to, "why_count", json_integer(n));
    }
    json_decref(answer);
    return s;
}

/* "cause", "why" and what the sentence of it needs. */
static po_status put_cause(work_context *w, const json_t *run, const work_failure *said, json_t *to, po_err *err)
{
    const work_symptom *seen = symptom_of(said->symptom);
    reason r = {PO_CAUSE_UNKNOWN, "none"};
    po_status s = PO_OK;
    bool any = !seen, dark = seen && seen->cause == PO_CAUSE_POWER,
         dry = seen && (!strcmp(seen->key, "nothing-came") || !strcmp(seen->key, "strings"));
    if (said->cause) {
        r.why = "said";
        (void)po_cause_from_name(said->cause, &r.cause);
    } else {
        s = any || dark ? ask_power(w, run, to, &r, err) : PO_OK;
        s = s == PO_OK && !strcmp(r.why, "none") && (any || dry) ? ask_spool(w, run, to, &r, err) : s;
        if (!strcmp(r.why, "none") && seen) {
            r = (reason){seen->cause, "symptom"};
        } else if (!strcmp(r.why, "none") && !strcmp(work_text(run, "first_layer"), "poor")) {
            r = (reason){PO_CAUSE_MACHINE, "first-layer"};
        } else if (!strcmp(r.why, "none") && !strcmp(work_text(run, "verdict"), "stop")) { /* went out by leave */
            r = (reason){PO_CAUSE_FILE, "file"};
        } else if (!strcmp(r.why, "none") && s == PO_OK) {
            s = ask_machine(w, run, to, &r, err);
        }
    }
    json_object_set_new(to, "cause", json_string(po_cause_name(r.cause)));
    json_object_set_new(to, "why", json_string(r.why));
    return s;
}

/* ---- what follows ---- */

static void put_flag(json_t *to, const char *key, int said)
{
    if (said >= 0) {
        json_object_set_new(to, key, json_boolean(said > 0));
    }
}

/* "counts" and "rerun_first" by the cause, and what holds for the other causes: {"file": {"counts", "rerun_first"}, ...}. */
static void put_rules(const work_context *w, const work_failure *said, json_t *to)
{
    json_t *rules = json_object();
    for (int c = 0; c < PO_CAUSE_COUNT; c++) {
        json_object_set_new(rules, po_cause_name((po_run_cause)c),
                            json_pack("{s:b, s:b}", "counts", w->shop->rules.counts_when_failed[c], "rerun_first",
                                      w->shop->rules.rerun_first[c]));
    }
    json_object_set_new(to, "rules", rules);
    put_flag(to, "counts", said->counts);
    put_flag(to, "rerun_first", said->rerun_first);
    json_object_set_new(to, "outcome", json_string("failed"));
    work_outcome_counts(w->shop, to);
}

/* Where the part goes: a failed part to the waste unless somebody says otherwise, and which place it would have on the shelf. */
static po_status put_part(work_context *w, const json_t *run, const work_failure *said, json_t *to, po_err *err)
{
    json_t *shelf = NULL;
    bool off = work_has(run, "off_ms");
    po_status s = work_ask(w, "shelf", json_pack("{s:i}", "limit", 1), &shelf, err);
    int64_t next = work_int(shelf, "next_place", 0), until = work_kept_until(w);
    json_decref(shelf);
    json_object_set_new(to, "off", json_boolean(off));
    json_object_set_new(to, "to", off ? json_null() : json_string(said->to ? said->to : "waste"));
    json_object_set_new(to, "place",
                        said->place > 0                                   ? json_integer(said->place)
                        : next > 0 && next <= w->shop->rules.shelf_places ? json_integer(next)
                                                                          : json_null());
    until = said->kept_until_ms > 0 ? said->kept_until_ms : until;
    json_object_set_new(to, "kept_until_ms", until > 0 ? json_integer(until) : json_null());
    return s;
}

po_status work_failure_propose(work_context *w, const json_t *run, const work_failure *said, json_t **ret, po_err *err)
{
    const work_symptom *seen = symptom_of(said->symptom);
    json_t *p = json_pack("{s:I}", "run", (json_int_t)work_int(run, "run", 0)), *to = NULL;
    /* a time alone says how far it came; beside a height it only says when */
    put_where(p, said, !says_where(said) || said->at_ms >= 0);
    po_status s = work_ask(w, "stopped", p, &to, err);
    if (s == PO_OK) {
        json_object_set_new(to, "format", json_string("proveout/failure/1"));
        for (const char *const *key = (const char *const[]){"machine", "member", "file", "stick", "state", NULL}; *key;
             key++) {
            json_object_set(to, *key, json_object_get(run, *key));
        }
        json_object_set(to, "whole_um", json_object_get(run, "reserved_um"));
        json_object_set(to, "whole_seconds", json_object_get(run, "reserved_seconds"));
        json_object_set_new(to, "symptom", seen ? json_string(seen->key) : json_null());
        s = put_time(w, run, said, to, err);
    }
    s = s == PO_OK ? put_cause(w, run, said, to, err) : s;
    if (s == PO_OK) {
        put_rules(w, said, to);
        const char *text = said->message ? said->message : work_run_message(w, PO_TEXT_FAILED, run, 0, 0);
        json_object_set_new(to, "message", text ? json_string(text) : json_null());
        json_object_set_new(to, "sends", json_boolean(w->shop->outbox.on));
        s = put_part(w, run, said, to, err);
    }
    if (s != PO_OK) {
        json_decref(to);
        return s;
    }
    *ret = to;
    return PO_OK;
}

/* ---- the acts ---- */

static po_status add_off(work_context *w, int64_t run, const work_failure *said, work_acts *acts, po_err *err)
{
    const struct {
        const char *field;
        int64_t value;
    } fields[] = {{"recycled_mg", said->recycled_mg}, {"place", said->place}, {"kept_until", said->kept_until_ms}};
    int64_t place = 0, until = 0;
    json_t *body = work_acts_add(acts, "run-off", run);
    json_object_set_new(body, "to", json_string(said->to));
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++) {
        if (fields[i].value > 0) {
            json_object_set_new(body, fields[i].field, json_integer(fields[i].value));
        }
    }
    return strcmp(said->to, "shelf") == 0 ? work_shelf_place(w, body, &place, &until, err) : PO_OK;
}

po_status work_failure_acts(work_context *w, const json_t *run, const work_failure *said, work_acts *ret, po_err *err)
{
    int64_t id = work_int(run, "run", 0);
    const work_symptom *seen = symptom_of(said->symptom);
    const char *text = said->message ? said->message : work_run_message(w, PO_TEXT_FAILED, run, 0, 0);
    *ret = (work_acts){0};
    json_t *body = work_acts_add(ret, "run-failed", id);
    put_where(body, said, true);
    if (said->symptom) {
        json_object_set_new(body, "symptom", json_string(seen ? seen->text : said->symptom));
    }
    if (text && *text) {
        json_object_set_new(body, "message", json_string(text));
    }
    if (said->cause) {
        body = work_acts_add(ret, "run-outcome", id);
        json_object_set_new(body, "outcome", json_string("failed"));
        json_object_set_new(body, "cause", json_string(said->cause));
        put_flag(body, "counts", said->counts);
        put_flag(body, "rerun_first", said->rerun_first);
        work_outcome_counts(w->shop, body);
    }
    po_status s = said->to ? add_off(w, id, said, ret, err) : PO_OK;
    if (s == PO_OK && said->back) {
        body = work_acts_add(ret, "run-take-back", id);
        json_object_set_new(body, "figure", json_string("proof"));
    }
    return s == PO_OK && !body ? po_fail(err, PO_E_NOMEM, "memory ran out") : s;
}
