/* What was in hand of each material at given times. SPDX-License-Identifier: Apache-2.0
 *
 * Nothing is kept for it. Of a spool, at a time: what the latest scale before it said, less what runs have taken since; without one, what
 * the book said at the next weighing, or says now, and what runs have taken from it in between. A run takes when it is back, or when it
 * stopped. What nobody knows is not guessed. */
#include "ledger/answers.h"

/* Booked of the spool s between two times. */
#define TAKEN(after, until)                                                                                            \
    "coalesce((SELECT sum(k.booked_mg) FROM takes k JOIN runs r ON r.id = k.run WHERE k.spool = s.id AND "             \
    "coalesce(r.back_ms, r.ended_ms) > " after " AND coalesce(r.back_ms, r.ended_ms) <= " until "), 0)"

/* clang-format off */
#define AT_TIME                                                                                                       \
    "SELECT material, sum(mg), count(*) - count(mg) FROM (SELECT s.material AS material, CASE "                       \
    "WHEN EXISTS (SELECT 1 FROM weighings w WHERE w.spool = s.id AND w.at_ms <= ?1) THEN "                            \
    "(SELECT w.scale_mg - " TAKEN("w.at_ms", "?1")                                                                    \
    " FROM weighings w WHERE w.spool = s.id AND w.at_ms <= ?1 ORDER BY w.id DESC LIMIT 1) "                           \
    "WHEN EXISTS (SELECT 1 FROM weighings w WHERE w.spool = s.id) THEN "                                              \
    "(SELECT w.book_mg + " TAKEN("?1", "w.at_ms") " FROM weighings w WHERE w.spool = s.id ORDER BY w.id LIMIT 1) "    \
    "ELSE s.left_mg + " TAKEN("?1", "?2") " END AS mg "                                                               \
    "FROM spools s LEFT JOIN events e ON s.state = 'empty' AND e.seq = s.last "                                       \
    "WHERE s.added_ms <= ?1 AND (s.state <> 'empty' OR e.at_ms > ?1)) GROUP BY material"
/* clang-format on */

/* The list of a material, zeros to begin with; NULL: no memory. */
static json_t *row_of(json_t *found, const char *material, size_t n)
{
    json_t *mg = json_object_get(found, material);
    if (mg) {
        return mg;
    }
    mg = json_array();
    for (size_t k = 0; mg && k < n; k++) {
        if (json_array_append_new(mg, json_integer(0)) != 0) {
            json_decref(mg);
            return NULL;
        }
    }
    return mg && json_object_set_new(found, material, mg) == 0 ? mg : NULL;
}

/* One time into the lists. */
static po_status at_time(po_store *store, int64_t at_ms, size_t i, size_t n, json_t *found, int64_t *ret_unknown,
                         po_err *err)
{
    po_rows *rows = NULL;
    bool memory = true;
    *ret_unknown = 0;
    po_status s = po_store_ask(store, &rows, err, AT_TIME, "ii", at_ms, PO_TIME_MOST);
    if (s != PO_OK) {
        return s;
    }
    while (memory && po_rows_next(rows)) {
        json_t *mg = row_of(found, po_rows_text(rows, 0), n);
        memory = mg && json_array_set_new(mg, i, json_integer(po_rows_int(rows, 1))) == 0;
        *ret_unknown += po_rows_int(rows, 2);
    }
    s = po_rows_end(rows, err);
    return s == PO_OK && !memory ? po_fail(err, PO_E_NOMEM, "memory ran out") : s;
}

po_status po_ask_stock(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    json_t *edges = json_object_get(p, "edges_ms"), *found = json_object(), *list = json_array();
    size_t n = json_array_size(edges);
    int64_t unknown = 0;
    po_status s = found && list ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    (void)now;
    po_put_text(ret, "format", "proveout/stock/1");
    for (size_t i = 0; s == PO_OK && i < n; i++) {
        s = at_time(store, json_integer_value(json_array_get(edges, i)), i, n, found, &unknown, err);
    }
    const char *material;
    json_t *mg;
    json_object_foreach(found, material, mg)
    {
        if (s == PO_OK && json_array_append_new(list, json_pack("{s:s, s:O}", "material", material, "mg", mg)) != 0) {
            s = po_fail(err, PO_E_NOMEM, "memory ran out");
        }
    }
    json_decref(found);
    po_put(ret, "edges_ms", json_incref(edges));
    po_put(ret, "materials", list);
    po_put_int(ret, "unknown", unknown);
    return s;
}
