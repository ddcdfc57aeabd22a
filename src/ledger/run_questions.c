/* Questions about runs. SPDX-License-Identifier: Apache-2.0
 *
 * Lists of runs are looked for by the one index that narrows them most, for the book may hold 200,000. */
#include <string.h>

#include "ledger/answers.h"
#include "ledger/run_row.h"

/* clang-format off */
#define RUN_COLUMNS \
    "r.id AS run, m.member AS member, t.term AS term, r.machine AS machine, r.stick AS stick, r.spool AS spool, r.sha256 AS " \
    "sha256, r.file AS file, r.recipe AS recipe, r.verdict AS verdict, r.leave AS leave, r.course AS course, r.assignment AS " \
    "assignment, r.team AS \"group\", r.fund AS fund, r.purpose AS purpose, r.by AS by, r.state AS state, r.reserved_ms AS " \
    "reserved_ms, r.promised_ms AS promised_ms, r.due_ms AS due_ms, iif(r.state IN ('reserved', 'dropped'), NULL, r.out_ms) AS " \
    "out_ms, r.started_ms AS started_ms, r.watched_ms AS watched_ms, r.first_layer AS first_layer, r.seen_by AS seen_by, " \
    "r.ended_ms AS ended_ms, r.off_ms AS off_ms, r.off_to AS off_to, r.back_ms AS back_ms, r.reserved_um AS reserved_um, " \
    "r.reserved_seconds AS reserved_seconds, r.run_limit_um AS run_limit_um, r.real_seconds AS real_seconds, r.failed_um AS " \
    "failed_um, r.failed_seconds AS failed_seconds, r.used_um AS used_um, r.used_mg AS used_mg, r.figure AS figure, " \
    "r.condition AS condition, iif(r.stick_there IS NULL, NULL, json(iif(r.stick_there, 'true', 'false'))) AS json_stick_there, " \
    "r.outcome AS outcome, r.cause AS cause, r.symptom AS symptom, r.counts AS is_counts, r.rerun_first AS is_rerun_first, " \
    "r.charge_um AS charged_um, (SELECT coalesce(sum(um), 0) FROM draws WHERE run = r.id) AS waived_um, r.fund_um AS fund_um, " \
    "r.fund_minor AS fund_minor, r.beyond AS beyond, r.beyond_um AS beyond_um, r.beyond_minor AS beyond_minor, r.currency AS " \
    "currency, r.price_minor_kg AS price_minor_kg "
#define RUN_TABLES "JOIN members m ON m.id = r.member LEFT JOIN terms t ON t.id = r.term "
#define FILTERS \
    "(?1 IS NULL OR member = (SELECT id FROM members WHERE member = ?1)) AND (?2 IS NULL OR machine = ?2) AND (?3 IS NULL OR " \
    "state = ?3) AND (?4 IS NULL OR outcome = ?4) AND (?5 IS NULL OR term = (SELECT id FROM terms WHERE term = ?5)) AND (?6 IS " \
    "NULL OR course = ?6) AND (?7 IS NULL OR fund = ?7) AND (?8 IS NULL OR sha256 = ?8) AND out_ms >= ?9 AND out_ms < ?10 AND " \
    "(?11 = 0 OR id < ?11) AND (?12 = 0 OR id = ?12) ORDER BY id DESC LIMIT ?13"
#define RUNS(index, by) \
    "SELECT " RUN_COLUMNS "FROM (SELECT id AS k FROM runs " index " WHERE " by FILTERS ") JOIN runs r ON r.id = k " RUN_TABLES \
    "ORDER BY r.id DESC"
/* clang-format on */

/* The field that narrows, best first, and how to look by it. */
static const struct {
    const char *field, *sql;
} ways[] = {
    {"run", RUNS("NOT INDEXED", "id = ?12 AND ")},
    {"sha256", RUNS("INDEXED BY runs_of_job", "sha256 = ?8 AND ")},
    {"member", RUNS("INDEXED BY runs_of", "member = (SELECT id FROM members WHERE member = ?1) AND ")},
    {"course", RUNS("INDEXED BY runs_of_course", "course IS NOT NULL AND course = ?6 AND ")},
    {"fund", RUNS("INDEXED BY runs_of_fund", "fund IS NOT NULL AND fund = ?7 AND ")},
    {"machine", RUNS("INDEXED BY runs_on", "machine = ?2 AND ")},
    {"outcome", RUNS("INDEXED BY runs_came_out", "outcome IS NOT NULL AND outcome = ?4 AND ")},
    {"term", RUNS("INDEXED BY runs_of_term", "term = (SELECT id FROM terms WHERE term = ?5) AND ")},
    {"from", RUNS("INDEXED BY runs_at", "")},
    {"until", RUNS("INDEXED BY runs_at", "")},
};
static const char waiting[] = RUNS("INDEXED BY runs_not_back", "state IN ('reserved', 'out', 'ended', 'failed') AND "
                                                               "state = ?3 AND ");
static const char dropped[] = RUNS("INDEXED BY runs_dropped", "state = 'dropped' AND ");
static const char any[] = RUNS("NOT INDEXED", "");

static const char *way_of(const json_t *p)
{
    const char *state = po_field_text(p, "state");
    if (!po_field_has(p, "run") && state && strcmp(state, "back") != 0) {
        return strcmp(state, "dropped") == 0 ? dropped : waiting;
    }
    for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++) {
        if (po_field_has(p, ways[i].field)) {
            return ways[i].sql;
        }
    }
    return any;
}

po_status po_ask_runs(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p), until = po_field_has(p, "until") ? po_field_int(p, "until") : PO_TIME_MOST + 1;
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/runs/1");
    po_status s = po_store_ask(store, &rows, err, way_of(p), "ttttttttiiiii", po_field_text(p, "member"),
                               po_field_text(p, "machine"), po_field_text(p, "state"), po_field_text(p, "outcome"),
                               po_field_text(p, "term"), po_field_text(p, "course"), po_field_text(p, "fund"),
                               po_field_text(p, "sha256"), po_field_int(p, "from"), until,
                               po_field_int(p, "before_run"), po_field_int(p, "run"), limit + 1);
    return s == PO_OK ? po_put_rows(rows, ret, "runs", limit, err) : s;
}

/* What belongs to one run: each a list, found by the run's number. */
static const struct {
    const char *key, *sql;
} belongings[] = {
    {"takes",
     "SELECT t.tool AS tool, s.spool AS spool, s.material AS material, t.promised_um AS promised_um, t.um AS um, "
     "iif(t.mg = 0 AND t.um > 0, NULL, t.mg) AS mg, t.booked_mg AS booked_mg FROM takes t LEFT JOIN spools s ON "
     "s.id = t.spool WHERE t.run = ?1 ORDER BY t.tool"},
    {"draws", "SELECT waiver, um FROM draws WHERE run = ?1 ORDER BY id"},
    {"part", "SELECT state, place, shelved_ms, kept_until_ms, gone_ms, collected_by FROM parts WHERE id = ?1"},
    {"messages", "SELECT id AS message, kind, text, state, at_ms, sent_ms FROM messages WHERE run = ?1 ORDER BY id"},
    {"files", "SELECT id AS file, kind, name, sha256, bytes, at_ms, removed_ms FROM files WHERE run = ?1 ORDER BY id"},
    {"money",
     "SELECT id AS entry, kind, minor, currency, reason, by, at_ms FROM money WHERE run IS NOT NULL AND run = ?1 "
     "ORDER BY id"},
    {"waste", "SELECT material, mg, kind, note, at_ms FROM waste WHERE run = ?1 ORDER BY id"},
};

/* Events about a run: its own first one, and those that name it. They end with the last that wrote anything of it; further
 * than SEARCHED events on nobody looks. */
enum { SEARCHED = 20000 };

static po_status put_events(po_store *store, int64_t run, json_t *to, po_err *err)
{
    po_rows *rows = NULL;
    int64_t last = run;
    po_status s = po_store_number(
        store, &last, NULL, err,
        "SELECT max(r.last, coalesce((SELECT last FROM parts WHERE id = r.id), 0), "
        "coalesce((SELECT max(last) FROM messages WHERE run = r.id), 0), coalesce((SELECT "
        "max(last) FROM files WHERE run = r.id), 0), coalesce((SELECT max(last) FROM money WHERE "
        "run IS NOT NULL AND run = r.id), 0)) FROM runs r WHERE r.id = ?1",
        "i", run);
    int64_t until = last - run > SEARCHED ? run + SEARCHED : last;
    s = s == PO_OK
            ? po_store_ask(store, &rows, err,
                           "SELECT e.seq AS event, e.at_ms AS at_ms, e.act AS act, e.by AS by, e.body AS json_body, "
                           "u.undo AS undone_by FROM events e LEFT JOIN undone u ON u.event = e.seq WHERE e.seq >= "
                           "?1 AND e.seq <= ?2 AND (e.seq = ?1 OR (instr(e.body, '\"run\":') > 0 AND "
                           "json_extract(e.body, '$.run') = ?1)) ORDER BY e.seq LIMIT ?3",
                           "iii", run, until, (int64_t)PO_LIMIT_MOST + 1)
            : s;
    s = s == PO_OK ? po_put_rows(rows, to, "events", PO_LIMIT_MOST, err) : s;
    if (s == PO_OK && until < last) {
        po_put(to, "more", json_true());
    }
    return s;
}

po_status po_ask_run(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t run = po_field_int(p, "run");
    json_t *list = json_object();
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/run/1");
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT " RUN_COLUMNS ", r.diameter_um AS diameter_um, r.density_mg_cm3 AS density_mg_cm3, "
        "(SELECT permission FROM permits WHERE id = r.permit) AS permission FROM runs r " RUN_TABLES "WHERE r.id = ?1",
        "i", run);
    s = s == PO_OK ? po_put_rows(rows, list, "runs", 1, err) : s;
    json_t *one = json_array_get(json_object_get(list, "runs"), 0);
    if (s == PO_OK && !one) {
        s = po_fail_at(err, PO_E_NOTFOUND, "run", 0, 0, "there is no run %lld", (long long)run);
    }
    if (s == PO_OK) {
        s = json_object_update(ret, one) == 0 ? s : po_fail(err, PO_E_NOMEM, "out of memory for an answer");
    }
    json_decref(list);
    for (size_t i = 0; s == PO_OK && i < sizeof belongings / sizeof belongings[0]; i++) {
        s = po_store_ask(store, &rows, err, belongings[i].sql, "i", run);
        s = s == PO_OK ? po_put_rows(rows, ret, belongings[i].key, PO_LIMIT_MOST, err) : s;
    }
    if (s == PO_OK) { /* of parts there is one, or none */
        json_t *part = json_array_get(json_object_get(ret, "part"), 0);
        po_put(ret, "part", part ? json_incref(part) : json_null());
    }
    return s == PO_OK ? put_events(store, run, ret, err) : s;
}
