/* A term in one report, and terms. SPDX-License-Identifier: Apache-2.0
 *
 * Runs belong to the term in which they were handed out. What no run belongs to (payments, weighings, waste) is of the term
 * whose time it falls into: from when it begins until it ends or is closed, whichever comes first. The lists are walked along
 * the index of the term's runs, or through indexes that hold only what is open. */
#include "ledger/answers.h"
#include "ledger/run_sums.h"

/* clang-format off */
#define OF_TERM "r.term = ?1"
/* ?1 the term, ?2 when it begins, ?3 its end so far, ?4 spools should have been weighed since, ?5 how many rows, ?6 now */
static const struct {
    const char *key, *sql;
    bool one; /* the only row, not a list */
} parts[] = {
    {"sums", "SELECT " PO_RUN_SUMS PO_RUN_SUMS_OF("NULL", OF_TERM) "LIMIT ?5", true},
    {"by_machine", "SELECT key AS machine, " PO_RUN_SUMS PO_RUN_SUMS_OF("r.machine", OF_TERM) "GROUP BY key ORDER BY runs DESC, key LIMIT ?5", false},
    {"by_recipe", "SELECT key AS recipe, " PO_RUN_SUMS PO_RUN_SUMS_OF("r.recipe", OF_TERM) "GROUP BY key ORDER BY runs DESC, key LIMIT ?5", false},
    {"by_course", "SELECT key AS course, " PO_RUN_SUMS PO_RUN_SUMS_OF("r.course", OF_TERM) "GROUP BY key ORDER BY runs DESC, key LIMIT ?5", false},
    {"by_fund", "SELECT key AS fund, " PO_RUN_SUMS PO_RUN_SUMS_OF("r.fund", OF_TERM " AND r.fund IS NOT NULL") "GROUP BY key ORDER BY runs DESC, key LIMIT ?5", false},
    {"by_member", "SELECT key AS member, " PO_RUN_SUMS PO_RUN_SUMS_OF("m.member", OF_TERM) "GROUP BY key ORDER BY um DESC, key LIMIT ?5", false},
    /* a run of several materials counts for each of them */
    {"by_material",
     "SELECT s.material AS material, count(DISTINCT r.id) AS runs, sum(coalesce(t.um, r.used_um, r.failed_um, r.reserved_um)) AS um, "
     "sum(iif(t.mg > 0, t.mg, 0)) AS mg FROM runs r LEFT JOIN takes t ON t.run = r.id LEFT JOIN spools s ON s.id = t.spool WHERE "
     "r.term = ?1 AND r.state NOT IN ('reserved', 'dropped') GROUP BY s.material ORDER BY um DESC, material LIMIT ?5", false},
    {"failures",
     "SELECT cause, count(*) AS runs, coalesce(sum(coalesce(used_um, failed_um, 0)), 0) AS um, sum(counts) AS counted FROM runs WHERE "
     "term = ?1 AND outcome = 'failed' GROUP BY cause ORDER BY runs DESC, cause LIMIT ?5", false},
    {"members",
     "SELECT (SELECT count(DISTINCT member) FROM runs WHERE term = ?1 AND state NOT IN ('reserved', 'dropped')) AS printed, (SELECT "
     "count(*) FROM members WHERE state <> 'forgotten') AS enrolled LIMIT ?5", true},
    {"waivers",
     "SELECT count(*) AS given, coalesce(sum(um), 0) AS um, coalesce(sum((SELECT sum(d.um) FROM draws d WHERE d.waiver = waivers.id)), 0) "
     "AS drawn_um FROM waivers WHERE given_ms >= ?2 AND given_ms < ?3 LIMIT ?5", true},
    {"money",
     "SELECT currency, sum(a) AS runs_charged_minor, sum(b) AS runs_given_minor, sum(c) AS funds_minor, sum(d) AS payments_minor, "
     "sum(e) AS gifts_minor, sum(f) AS charges_minor, sum(g) AS refunds_minor FROM (SELECT currency, iif(beyond IS 'charge', "
     "beyond_minor, 0) AS a, iif(beyond IS 'gift', beyond_minor, 0) AS b, fund_minor AS c, 0 AS d, 0 AS e, 0 AS f, 0 AS g FROM runs WHERE "
     "term = ?1 AND (beyond_minor <> 0 OR fund_minor <> 0) UNION ALL SELECT currency, 0, 0, 0, iif(kind = 'payment', minor, 0), "
     "iif(kind = 'gift', minor, 0), iif(kind = 'charge', minor, 0), iif(kind = 'refund', minor, 0) FROM money WHERE at_ms >= ?2 AND "
     "at_ms < ?3) GROUP BY currency ORDER BY currency LIMIT ?5", false},
    {"waste",
     "SELECT material, kind, count(*) AS times, sum(mg) AS mg FROM waste WHERE at_ms >= ?2 AND at_ms < ?3 GROUP BY material, kind ORDER "
     "BY material, kind LIMIT ?5", false},
    {"sticks",
     "SELECT coalesce(sum(state = 'there' AND counted_ms >= ?2), 0) AS counted, coalesce(sum(state = 'there' AND (counted_ms IS NULL OR "
     "counted_ms < ?2)), 0) AS not_counted, coalesce(sum(state = 'lost'), 0) AS lost FROM sticks LIMIT ?5", true},
    {"sticks_lost",
     "SELECT s.stick AS stick, m.machine AS machine, s.reason AS reason, s.counted_ms AS counted_ms FROM sticks s JOIN machines m ON "
     "m.id = s.machine WHERE s.state = 'lost' ORDER BY s.stick LIMIT ?5", false},
    {"spools",
     "SELECT s.spool AS spool, s.material AS material, s.state AS state, s.left_mg AS left_mg, s.weighed_ms AS weighed_ms, s.drift_mg AS "
     "drift_mg, m.machine AS machine, (SELECT sum(scale_mg - book_mg) FROM weighings WHERE spool = s.id AND at_ms >= ?2 AND at_ms < "
     "?3) AS term_drift_mg FROM spools s LEFT JOIN tools t ON t.spool = s.id LEFT JOIN machines m ON m.id = t.machine WHERE s.state <> "
     "'empty' ORDER BY s.material, s.spool LIMIT ?5", false},
    /* what is still to be done before the term is closed */
    {"runs_open",
     "SELECT r.id AS run, m.member AS member, r.machine AS machine, r.state AS state, r.out_ms AS out_ms, r.ended_ms AS ended_ms, "
     "r.off_ms AS off_ms FROM runs r JOIN members m ON m.id = r.member WHERE r.term = ?1 AND r.state IN ('reserved', 'out', 'ended', "
     "'failed') ORDER BY r.id LIMIT ?5", false},
    {"outcomes_open",
     "SELECT r.id AS run, m.member AS member, r.machine AS machine, r.back_ms AS back_ms FROM runs r JOIN members m ON m.id = r.member "
     "WHERE r.term = ?1 AND r.state = 'back' AND r.outcome IS NULL ORDER BY r.id LIMIT ?5", false},
    {"sticks_open",
     "SELECT s.stick AS stick, m.machine AS machine, s.counted_ms AS counted_ms FROM sticks s JOIN machines m ON m.id = s.machine WHERE "
     "s.state = 'there' AND (s.counted_ms IS NULL OR s.counted_ms < ?2) ORDER BY s.stick LIMIT ?5", false},
    {"parts_open",
     "SELECT p.run AS run, m.member AS member, p.place AS place, p.shelved_ms AS shelved_ms, p.kept_until_ms AS kept_until_ms, "
     "coalesce(p.kept_until_ms <= ?6, 0) AS is_overdue FROM parts p JOIN runs r ON r.id = p.run JOIN members m ON m.id = r.member WHERE "
     "p.state = 'shelf' ORDER BY p.place IS NULL, p.place, p.run LIMIT ?5", false},
    /* those in use: open, or loaded even where nobody booked that the bag was opened */
    {"spools_open",
     "SELECT s.spool AS spool, s.material AS material, m.machine AS machine, s.weighed_ms AS weighed_ms FROM spools s LEFT JOIN tools t "
     "ON t.spool = s.id LEFT JOIN machines m ON m.id = t.machine WHERE s.state <> 'empty' AND (s.state = 'open' OR t.id IS NOT NULL) "
     "AND (s.weighed_ms IS NULL OR s.weighed_ms < ?4) ORDER BY s.spool LIMIT ?5", false},
    {"rounds_open", "SELECT id AS round, kind, by, begun_ms FROM rounds WHERE done_ms IS NULL ORDER BY id LIMIT ?5", false},
};
/* clang-format on */
enum { N_PARTS = sizeof parts / sizeof parts[0] };

static po_status put_part(po_store *store, size_t i, const int64_t v[6], json_t *ret, bool *ret_more, po_err *err)
{
    po_rows *rows = NULL;
    json_t *holder = json_object();
    /* a text is given as many values as it has parameters; the highest is ?5 or, where it asks for the time, ?6 */
    po_status s = strstr(parts[i].sql, "?6")
                      ? po_store_ask(store, &rows, err, parts[i].sql, "iiiiii", v[0], v[1], v[2], v[3], v[4] + 1, v[5])
                      : po_store_ask(store, &rows, err, parts[i].sql, "iiiii", v[0], v[1], v[2], v[3], v[4] + 1);
    s = s == PO_OK ? po_put_rows(rows, holder, "rows", parts[i].one ? 1 : v[4], err) : s;
    if (s == PO_OK) {
        json_t *list = json_object_get(holder, "rows"), *value = parts[i].one ? json_array_get(list, 0) : list;
        if (value) {
            po_put(ret, parts[i].key, json_incref(value));
        }
        *ret_more = *ret_more || (!parts[i].one && json_is_true(json_object_get(holder, "more")));
    }
    json_decref(holder);
    return s;
}

/* Sums of no runs are nothing, not unknown. */
static void fill_sums(json_t *sums, json_t *ret)
{
    static const char *const counts[] = {
        "good", "failed", "stopped", "not_collected", "without_outcome", "runs_without_mg", "runs_without_seconds"};
    for (size_t i = 0; i < sizeof counts / sizeof counts[0]; i++) {
        if (!json_is_integer(json_object_get(sums, counts[i]))) {
            if (json_object_set_new(sums, counts[i], json_integer(0)) != 0) {
                json_object_clear(ret);
                return;
            }
        }
    }
}

/* Who holds each permission that would lapse. */
static po_status put_permits(po_store *store, const json_t *lapse, int64_t now, json_t *ret, po_err *err)
{
    json_t *list = json_array();
    po_status s = list ? PO_OK : po_fail(err, PO_E_NOMEM, "out of memory for an answer");
    for (size_t i = 0; s == PO_OK && i < json_array_size(lapse); i++) {
        const char *permission = json_string_value(json_array_get(lapse, i));
        int64_t holders = 0;
        s = po_store_number(store, &holders, NULL, err,
                            "SELECT count(*) FROM permits WHERE permission = ?1 AND withdrawn_ms IS NULL AND (until_ms "
                            "IS NULL OR until_ms > ?2)",
                            "ti", permission, now);
        if (s == PO_OK && json_array_append_new(list, json_pack("{s:s, s:I}", "permission", permission, "held",
                                                                (json_int_t)holders)) != 0) {
            s = po_fail(err, PO_E_NOMEM, "out of memory for an answer");
        }
    }
    po_put(ret, "permits", list);
    return s;
}

#define TERM "SELECT id, term, from_ms, until_ms, allowance_um, closed_ms FROM terms "
/* Without a name: the open one of now, else the last that began. */
#define NOW_FIRST                                                                                                      \
    "ORDER BY from_ms <= ?1 AND until_ms > ?1 AND closed_ms IS NULL DESC, from_ms <= ?1 DESC, from_ms DESC LIMIT 1"

static po_status put_term(po_store *store, const char *term, int64_t now, int64_t v[6], json_t *ret, po_err *err)
{
    po_rows *rows = NULL;
    po_status s = term ? po_store_ask(store, &rows, err, TERM "WHERE term = ?1", "t", term)
                       : po_store_ask(store, &rows, err, TERM NOW_FIRST, "i", now);
    if (s != PO_OK) {
        return s;
    }
    bool found = po_rows_next(rows);
    if (found) {
        bool closed = po_rows_kind(rows, 5) == 'i';
        v[0] = po_rows_int(rows, 0);
        v[1] = po_rows_int(rows, 2);
        v[2] = po_rows_int(rows, 3);
        v[2] = closed && po_rows_int(rows, 5) < v[2] ? po_rows_int(rows, 5) : v[2];
        po_put_text(ret, "term", po_rows_text(rows, 1));
        po_put_int(ret, "from_ms", po_rows_int(rows, 2));
        po_put_int(ret, "until_ms", po_rows_int(rows, 3));
        po_put_int(ret, "allowance_um", po_rows_int(rows, 4));
        po_put(ret, "closed_ms", closed ? json_integer(po_rows_int(rows, 5)) : json_null());
    }
    s = po_rows_end(rows, err);
    if (s == PO_OK && !found) {
        return term ? po_fail_at(err, PO_E_NOTFOUND, "term", 0, 0, "there is no term %s", term)
                    : po_fail_at(err, PO_E_NOTFOUND, "term", 0, 0, "there is no term yet; term open begins one");
    }
    return s;
}

po_status po_ask_term(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t v[6] = {0};
    bool more = false;
    v[3] = po_field_int(p, "weighed_since");
    v[4] = po_limit_of(p);
    v[5] = now;
    po_put_text(ret, "format", "proveout/term/1");
    po_status s = put_term(store, po_field_text(p, "term"), now, v, ret, err);
    for (size_t i = 0; s == PO_OK && i < N_PARTS; i++) {
        s = put_part(store, i, v, ret, &more, err);
    }
    fill_sums(json_object_get(ret, "sums"), ret);
    po_put(ret, "more", json_boolean(more));
    return s == PO_OK ? put_permits(store, json_object_get(p, "lapse"), now, ret, err) : s;
}

po_status po_ask_terms(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p);
    po_rows *rows = NULL;
    po_put_text(ret, "format", "proveout/terms/1");
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT term, from_ms, until_ms, allowance_um, closed_ms, iif(closed_ms IS NOT NULL, 'closed', iif(from_ms > "
        "?1, 'to come', iif(until_ms <= ?1, 'over', 'open'))) AS state, (SELECT count(*) FROM runs r WHERE r.term = "
        "terms.id) AS runs, (SELECT coalesce(sum(charge_um), 0) FROM runs r WHERE r.term = terms.id) AS charged_um "
        "FROM terms ORDER BY from_ms DESC, id DESC LIMIT ?2",
        "ii", now, limit + 1);
    return s == PO_OK ? po_put_rows(rows, ret, "terms", limit, err) : s;
}
