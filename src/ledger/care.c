/* Care of machines: what was measured, what was done, which parts were replaced, and what the runs took since. SPDX-License-Identifier: Apache-2.0
 *
 * The book keeps what a person measured or did, and when; which tasks there are and how often they come is the shop file's, and
 * what follows from the figures is worked out above. Times may lie in the past, for care is often booked after the work. */
#include <stdlib.h>

#include "ledger/answers.h"

po_status po_book_when(const po_book *book, int64_t *ret_ms, po_err *err)
{
    *ret_ms = po_field_has(book->body, "at") ? po_field_int(book->body, "at") : book->at_ms;
    return *ret_ms > book->at_ms
               ? po_fail_at(err, PO_E_CONFLICT, "at", 0, 0, "that is still to come: say when it was, now or earlier")
               : PO_OK;
}

/* The machine's row and the time of the body. */
static po_status begin(po_book *book, int64_t *ret_machine, int64_t *ret_at, po_err *err)
{
    const char *machine = po_field_text(book->body, "machine");
    po_status s = po_book_when(book, ret_at, err);
    s = s == PO_OK ? po_machine_row(book, machine, ret_machine, err) : s;
    po_book_answer_text(book, "machine", machine);
    po_book_answer_int(book, "at_ms", *ret_at);
    return s;
}

po_status po_apply_care_measure(po_book *book, po_err *err)
{
    const json_t *b = book->body, *rows = json_object_get(b, "readings");
    int64_t machine = 0, at = 0;
    po_status s = begin(book, &machine, &at, err);
    char *figures = s == PO_OK ? po_fields_canonical(json_object_get(b, "figures")) : NULL;
    char *readings = s == PO_OK && rows ? po_fields_canonical(rows) : NULL;
    if (s == PO_OK && (!figures || (rows && !readings))) {
        s = po_fail(err, PO_E_NOMEM, "out of memory for a measurement");
    }
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "INSERT INTO measures(id, last, machine, kind, tool, material, figures, readings, "
                          "note, by, at_ms) VALUES(?1, ?1, ?2, ?3, nullif(?4, -1), ?5, ?6, ?7, ?8, ?9, ?10)",
                          "iitittttti", book->event, machine, po_field_text(b, "kind"), po_field_or_none(b, "tool"),
                          po_field_text(b, "material"), figures, readings, po_field_text(b, "note"), book->by, at)
            : s;
    free(figures);
    free(readings);
    po_book_answer_int(book, "measure", book->event);
    return s == PO_OK ? po_book_made(book, PO_T_MEASURES, book->event, err) : s;
}

po_status po_apply_care_done(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    int64_t machine = 0, at = 0;
    po_status s = begin(book, &machine, &at, err);
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "INSERT INTO cares(id, last, machine, task, by, booked_by, minutes, parts, note, "
                          "at_ms) VALUES(?1, ?1, ?2, ?3, coalesce(?4, ?5), ?5, nullif(?6, -1), ?7, ?8, ?9)",
                          "iitttitti", book->event, machine, po_field_text(b, "task"), po_field_text(b, "by"), book->by,
                          po_field_or_none(b, "minutes"), po_field_text(b, "parts"), po_field_text(b, "note"), at)
            : s;
    po_book_answer_text(book, "task", po_field_text(b, "task"));
    return s == PO_OK ? po_book_made(book, PO_T_CARES, book->event, err) : s;
}

po_status po_apply_care_replace(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    int64_t machine = 0, at = 0;
    po_status s = begin(book, &machine, &at, err);
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "INSERT INTO replaced(id, last, machine, part, tool, why, note, by, at_ms) VALUES(?1, "
                          "?1, ?2, ?3, nullif(?4, -1), ?5, ?6, ?7, ?8)",
                          "iitittti", book->event, machine, po_field_text(b, "part"), po_field_or_none(b, "tool"),
                          po_field_text(b, "why"), po_field_text(b, "note"), book->by, at)
            : s;
    po_book_answer_text(book, "part", po_field_text(b, "part"));
    return s == PO_OK ? po_book_made(book, PO_T_REPLACED, book->event, err) : s;
}

po_status po_ask_care_measures(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p);
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/care-measures/1");
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT u.id AS measure, m.machine AS machine, u.kind AS kind, u.tool AS tool, u.material AS material, "
        "u.figures AS json_figures, u.readings AS json_readings, u.note AS note, u.by AS by, u.at_ms AS at_ms FROM "
        "measures u JOIN machines m ON m.id = u.machine WHERE (?1 IS NULL OR m.machine = ?1) AND (?2 IS NULL OR "
        "u.kind = ?2) AND (?3 < 0 OR u.tool = ?3) AND u.at_ms >= ?4 ORDER BY u.at_ms DESC, u.id DESC LIMIT ?5",
        "ttiii", po_field_text(p, "machine"), po_field_text(p, "kind"), po_field_or_none(p, "tool"),
        po_field_int(p, "from"), limit + 1);
    return s == PO_OK ? po_put_rows(rows, ret, "measures", limit, err) : s;
}

po_status po_ask_care_log(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *task = po_field_text(p, "task"), *part = po_field_text(p, "part");
    int64_t limit = po_limit_of(p);
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/care-log/1");
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT * FROM (SELECT u.id AS event, m.machine AS machine, u.task AS task, NULL AS part, NULL AS tool, NULL "
        "AS why, u.minutes AS minutes, u.parts AS parts, u.note AS note, u.by AS by, u.at_ms AS at_ms FROM cares u "
        "JOIN machines m ON m.id = u.machine WHERE ?3 IS NULL AND (?2 IS NULL OR u.task = ?2) UNION ALL SELECT u.id, "
        "m.machine, NULL, u.part, u.tool, u.why, NULL, NULL, u.note, u.by, u.at_ms FROM replaced u JOIN machines m ON "
        "m.id = u.machine WHERE ?2 IS NULL AND (?3 IS NULL OR u.part = ?3)) WHERE ?1 IS NULL OR machine = ?1 ORDER BY "
        "at_ms DESC, event DESC LIMIT ?4",
        "ttti", po_field_text(p, "machine"), task, part, limit + 1);
    return s == PO_OK ? po_put_rows(rows, ret, "log", limit, err) : s;
}

/* Runs that used a machine, and what they took as far as it is known. */
#define OVER "r.state IN ('ended', 'failed', 'back')"
#define TOOK "coalesce(r.real_seconds, r.failed_seconds, r.reserved_seconds, 0)"
/* What runs on machine m took since a time. The plus: few are so late, and they are found by their time. */
#define SINCE(m, at)                                                                                                   \
    "(SELECT count(*) FROM runs r WHERE +r.machine = " m " AND r.out_ms >= " at " AND " OVER ") AS starts, (SELECT "   \
    "coalesce(sum(" TOOK "), 0) FROM runs r WHERE +r.machine = " m " AND r.out_ms >= " at " AND " OVER                 \
    ") AS seconds, (SELECT json_group_array(json_object('tool', tool, 'material', material, 'um', um)) FROM (SELECT "  \
    "k.tool AS tool, s.material AS material, sum(k.um) AS um FROM runs r JOIN takes k ON k.run = r.id LEFT JOIN "      \
    "spools s ON s.id = k.spool WHERE +r.machine = " m " AND r.out_ms >= " at " AND " OVER                             \
    " GROUP BY k.tool, s.material ORDER BY k.tool, s.material)) AS json_takes"

po_status po_ask_care_last(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *machine = po_field_text(p, "machine");
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/care-last/1");
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT c.*, " SINCE("c.machine",
                             "c.at_ms") " FROM (SELECT u.id AS event, m.machine AS machine, u.task AS "
                                        "task, u.by AS by, max(u.at_ms) AS at_ms FROM cares u JOIN machines m ON m.id "
                                        "= u.machine WHERE ?1 IS NULL OR "
                                        "m.machine = ?1 GROUP BY m.machine, u.task) c ORDER BY c.machine, c.task",
        "t", machine);
    s = s == PO_OK ? po_put_rows(rows, ret, "done", -1, err) : s;
    s = s == PO_OK
            ? po_store_ask(
                  store, &rows, err,
                  "SELECT c.*, " SINCE(
                      "c.machine",
                      "c.at_ms") " FROM (SELECT u.id AS event, m.machine AS "
                                 "machine, u.part AS part, u.tool AS tool, u.why AS why, max(u.at_ms) AS at_ms FROM "
                                 "replaced u JOIN machines m ON m.id = u.machine WHERE ?1 IS NULL OR m.machine = ?1 "
                                 "GROUP "
                                 "BY m.machine, u.part, u.tool) c ORDER BY c.machine, c.part, c.tool",
                  "t", machine)
            : s;
    s = s == PO_OK ? po_put_rows(rows, ret, "replaced", -1, err) : s;
    json_object_del(ret, "more");
    return s;
}

po_status po_ask_care_counters(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/care-counters/1");
    po_put_int(ret, "since_ms", po_field_int(p, "since"));
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT m.machine AS machine, m.state AS state, " SINCE(
            "m.machine", "?2") ", (SELECT "
                               "min(r.out_ms) FROM runs r WHERE r.machine = m.machine AND r.out_ms >= ?2 AND " OVER
                               ") AS first_ms FROM machines m WHERE ?1 IS NULL OR m.machine = ?1 ORDER BY m.machine",
        "ti", po_field_text(p, "machine"), po_field_int(p, "since"));
    s = s == PO_OK ? po_put_rows(rows, ret, "machines", -1, err) : s;
    json_object_del(ret, "more");
    return s;
}
