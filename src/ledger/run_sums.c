/* Sums over runs, and what they really took against their proofs. SPDX-License-Identifier: Apache-2.0
 *
 * Months are the shop's, not those of UTC, and the book knows no zone: whoever asks gives their edges. */
#include <string.h>

#include "ledger/answers.h"
#include "ledger/run_sums.h"

/* clang-format off */
#define BETWEEN "r.out_ms >= ?1 AND r.out_ms < ?2"
#define BY \
    "CASE ?3 WHEN 'machine' THEN r.machine WHEN 'recipe' THEN r.recipe WHEN 'course' THEN r.course WHEN 'fund' THEN r.fund WHEN " \
    "'term' THEN t.term WHEN 'member' THEN m.member WHEN 'outcome' THEN r.outcome WHEN 'material' THEN (SELECT s.material FROM takes k " \
    "JOIN spools s ON s.id = k.spool WHERE k.run = r.id ORDER BY k.tool LIMIT 1) ELSE r.cause END"
/* clang-format on */

static po_status by_month(po_store *store, const json_t *edges, json_t *ret, po_err *err)
{
    json_t *all = json_array();
    po_status s = all ? PO_OK : po_fail(err, PO_E_NOMEM, "out of memory for an answer");
    for (size_t i = 0; s == PO_OK && i + 1 < json_array_size(edges); i++) {
        po_rows *rows = NULL;
        int64_t from = json_integer_value(json_array_get(edges, i)),
                until = json_integer_value(json_array_get(edges, i + 1));
        s = po_store_ask(store, &rows, err,
                         "SELECT ?1 AS from_ms, ?2 AS until_ms, " PO_RUN_SUMS PO_RUN_SUMS_OF("NULL", BETWEEN), "ii",
                         from, until);
        s = s == PO_OK ? po_put_rows(rows, ret, "sums", 1, err) : s;
        if (s == PO_OK) {
            s = json_array_extend(all, json_object_get(ret, "sums")) == 0
                    ? s
                    : po_fail(err, PO_E_NOMEM, "out of memory for an answer");
        }
    }
    po_put(ret, "sums", all);
    return s;
}

po_status po_ask_run_sums(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *by = po_field_text(p, "by");
    const json_t *edges = json_object_get(p, "edges_ms");
    int64_t limit = po_limit_of(p), until = po_field_has(p, "until") ? po_field_int(p, "until") : PO_TIME_MOST + 1;
    bool months = strcmp(by, "month") == 0;
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/run-sums/1");
    po_put_text(ret, "by", by);
    if (months ? json_array_size(edges) < 2 || po_field_has(p, "from") || po_field_has(p, "until") : edges != NULL) {
        return po_fail_at(
            err, PO_E_RANGE, "edges_ms", 0, 0,
            "sums by month take edges_ms, where each month begins and the last one ends, and no from or until; "
            "others take none");
    }
    if (months) {
        return by_month(store, edges, ret, err);
    }
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT key, " PO_RUN_SUMS PO_RUN_SUMS_OF(BY, BETWEEN) "GROUP BY key ORDER BY runs DESC, key LIMIT ?4", "iiti",
        po_field_int(p, "from"), until, by, limit + 1);
    return s == PO_OK ? po_put_rows(rows, ret, "sums", limit, err) : s;
}

/* Filament counts where somebody measured it; the time where a clock did. */
#define RATIOS(by)                                                                                                     \
    "SELECT id AS run, machine, recipe, out_ms, reserved_um, iif(figure IN ('scale', 'counter'), used_um, NULL) AS "   \
    "used_um, "                                                                                                        \
    "reserved_seconds, real_seconds FROM runs WHERE " by                                                               \
    "state IN ('ended', 'back') AND failed_um IS NULL AND (outcome IS "                                                \
    "NULL OR outcome = 'good') AND ((figure IN ('scale', 'counter') AND used_um > 0 AND reserved_um > 0) OR "          \
    "(real_seconds > 0 "                                                                                               \
    "AND reserved_seconds > 0)) ORDER BY id DESC LIMIT ?1"

po_status po_ask_ratios(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *machine = po_field_text(p, "machine");
    int64_t limit = po_limit_of(p);
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/ratios/1");
    po_status s = machine ? po_store_ask(store, &rows, err, RATIOS("machine = ?2 AND "), "it", limit + 1, machine)
                          : po_store_ask(store, &rows, err, RATIOS(""), "i", limit + 1);
    return s != PO_OK                    ? s
           : po_field_flag(p, "columns") ? po_put_columns(rows, ret, "columns", limit, err)
                                         : po_put_rows(rows, ret, "ratios", limit, err);
}
