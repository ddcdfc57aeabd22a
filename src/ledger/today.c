/* What is due today. SPDX-License-Identifier: Apache-2.0
 *
 * The desk asks this all day, of a book of ten years: each list below is found through an index that holds only rows that
 * still matter (runs not back, parts on the shelf ...), so that it takes as long as there is to do, not as long as the book.
 * The conditions are written as in those indexes, else they would not be used (SQLite, "Partial Indexes", 2).
 *
 * Times of a run: the start check is made before the first bead, so the end is as long after it as the proof says for all
 * that comes after the first bead; before the start check nothing but the hand-out is known, and the end is the earliest. */
#include "ledger/today_inside.h"

#include <string.h>

#include "ledger/answers.h"

const po_today_list po_today_lists[] = {
    {"runs",
     "SELECT r.id AS run, m.member AS member, r.machine AS machine, r.state AS state, r.out_ms AS out_ms, r.started_ms "
     "AS started_ms, r.watched_ms AS watched_ms, r.first_layer AS first_layer, r.reserved_seconds AS "
     "reserved_seconds, r.reserved_um AS reserved_um, r.ended_ms AS ended_ms, r.off_ms AS off_ms, r.symptom AS "
     "symptom, r.sha256 AS sha256, r.recipe "
     "AS recipe, r.file AS file, r.stick AS stick, p.first_bead_seconds AS first_bead_seconds, p.first_layer_seconds "
     "AS first_layer_seconds, p.hands AS json_hands, p.materials AS json_materials, " PO_RUN_ENDS
     " AS end_ms FROM runs r JOIN members m ON m.id = r.member LEFT JOIN proofs p ON "
     "p.sha256 = r.sha256 AND p.machine = r.machine WHERE r.state IN ('out', 'ended', 'failed') ORDER BY r.machine, "
     "r.id LIMIT ?4"},
    {"reservations",
     "SELECT r.id AS run, m.member AS member, r.machine AS machine, r.promised_ms AS promised_ms, r.due_ms AS due_ms, "
     "r.reserved_um AS um, r.reserved_seconds AS seconds, r.recipe AS recipe FROM runs r JOIN members m ON m.id = "
     "r.member WHERE r.state IN ('reserved', 'out', 'ended', 'failed') AND r.state = 'reserved' ORDER BY "
     "r.promised_ms IS NULL, r.promised_ms, r.id LIMIT ?4"},
    /* a machine is free where it is in use and no run is on it; a part may be on its bed all the same */
    {"machines",
     "SELECT k.machine AS machine, k.state AS state, k.reason AS reason, k.since_ms AS since_ms, k.state = 'in-use' "
     "AND NOT EXISTS (SELECT 1 FROM runs r WHERE r.machine = k.machine AND r.state IN ('out', 'ended', 'failed')) AS "
     "is_free, k.fitted_ms AS fitted_ms, k.gap_ms AS gap_ms, " PO_PART_ON_BED(
         "k") " FROM machines k WHERE k.state <> 'retired' ORDER BY "
              "k.machine LIMIT ?4"},
    {"tickets",
     "SELECT t.number AS ticket, m.member AS member, t.machine AS machine, t.seconds AS seconds, t.state AS state, "
     "t.taken_ms AS taken_ms, t.called_ms AS called_ms, t.until_ms AS until_ms, t.offered AS offered, t.state = "
     "'called' AND t.until_ms <= ?1 AS is_lapsed FROM tickets t JOIN members m ON m.id = t.member WHERE t.state IN "
     "('waiting', 'called') ORDER BY t.taken_ms, t.id LIMIT ?4"},
    /* those in hand: open, or loaded even where nobody booked that the bag was opened */
    {"spools",
     "SELECT s.spool AS spool, s.material AS material, s.colour AS colour, s.left_mg AS left_mg, m.machine AS machine, "
     "t.tool AS tool FROM spools s LEFT JOIN tools t ON t.spool = s.id LEFT JOIN machines m ON m.id = t.machine WHERE "
     "s.state <> 'empty' AND (s.state = 'open' OR t.id IS NOT NULL) AND s.left_mg < ?2 ORDER BY s.left_mg, s.spool "
     "LIMIT ?4"},
    {"drying",
     "SELECT s.spool AS spool, s.material AS material, s.dry_until_ms AS dry_until_ms FROM spools s WHERE s.state <> "
     "'empty' AND s.state = 'drying' ORDER BY s.dry_until_ms, s.spool LIMIT ?4"},
    {"permits",
     "SELECT p.id AS permit, m.member AS member, p.permission AS permission, p.until_ms AS until_ms FROM permits p "
     "JOIN "
     "members m ON m.id = p.member WHERE p.until_ms IS NOT NULL AND p.withdrawn_ms IS NULL AND p.until_ms > ?1 AND "
     "p.until_ms < ?3 AND m.state <> 'forgotten' ORDER BY p.until_ms, p.id LIMIT ?4"},
    {"overdue",
     "SELECT q.run AS run, m.member AS member, q.place AS place, q.shelved_ms AS shelved_ms, q.kept_until_ms AS "
     "kept_until_ms FROM parts q JOIN runs r ON r.id = q.run JOIN members m ON m.id = r.member WHERE q.state = 'shelf' "
     "AND q.kept_until_ms <= ?1 ORDER BY q.kept_until_ms, q.id LIMIT ?4"},
    /* one row, or none where no note was left */
    {"note",
     "SELECT text, by, at_ms, round FROM (SELECT * FROM (SELECT note AS text, coalesce(done_by, by) AS by, done_ms AS "
     "at_ms, id AS round, last AS event FROM rounds WHERE done_ms IS NOT NULL AND note IS NOT NULL ORDER BY id DESC "
     "LIMIT 1) UNION ALL SELECT * FROM (SELECT text, by, at_ms, NULL, id FROM notes ORDER BY id DESC LIMIT 1)) ORDER "
     "BY "
     "event DESC LIMIT min(1, ?4)"},
    {"open_round",
     "SELECT r.id AS round, r.kind AS kind, r.by AS by, r.begun_ms AS begun_ms, (SELECT count(*) FROM found f WHERE "
     "f.round = r.id) AS machines FROM rounds r WHERE r.done_ms IS NULL ORDER BY r.id LIMIT min(1, ?4)"},
    /* what the latest round found wrong at machines that were free, until they are handed out again: the start check sees it then */
    {"wrong",
     "SELECT k.machine AS machine, d.kind AS kind, f.at_ms AS at_ms, f.bed_clear AS is_bed_clear, f.stick_there AS "
     "is_stick_there, f.nozzle_clean AS is_nozzle_clean, f.spool_on AS is_spool_on, f.heaters_off AS is_heaters_off, "
     "f.note AS note FROM found f JOIN rounds d ON d.id = f.round JOIN machines k ON k.id = f.machine WHERE f.round = "
     "(SELECT max(id) FROM rounds) AND f.found = 'free' AND f.bed_clear + f.stick_there + f.nozzle_clean + f.spool_on "
     "+ "
     "f.heaters_off < 5 AND NOT EXISTS (SELECT 1 FROM runs r WHERE r.machine = k.machine AND r.id > f.last) ORDER BY "
     "f.machine LIMIT ?4"},
    {"troubles", "SELECT t.id AS trouble, m.machine AS machine, t.symptom AS symptom, t.run AS run, t.by AS by, "
                 "t.opened_ms AS opened_ms, (SELECT count(*) FROM "
                 "looks WHERE trouble = t.id) AS checks FROM troubles t JOIN machines m ON m.id = t.machine WHERE "
                 "t.closed_ms IS NULL ORDER BY t.id LIMIT ?4"},
    {"last_opening", "SELECT id AS round, done_by AS by, done_ms FROM rounds WHERE kind = 'opening' AND done_ms IS NOT "
                     "NULL ORDER BY id "
                     "DESC LIMIT min(1, ?4)"},
    {"last_closing", "SELECT id AS round, done_by AS by, done_ms FROM rounds WHERE kind = 'closing' AND done_ms IS NOT "
                     "NULL ORDER BY id "
                     "DESC LIMIT min(1, ?4)"},
    {NULL, NULL},
};

/* Those that are one thing or none. */
static bool is_single(size_t i)
{
    return strcmp(po_today_lists[i].key, "note") == 0 || strcmp(po_today_lists[i].key, "open_round") == 0 ||
           strncmp(po_today_lists[i].key, "last_", 5) == 0;
}

po_status po_ask_today(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    enum { ROWS_MOST = 200 };
    int64_t below = po_field_has(p, "below_mg") ? po_field_int(p, "below_mg") : INT64_MIN, waiting = 0;
    int64_t before = po_field_has(p, "lapse_before") ? po_field_int(p, "lapse_before") : -1;
    bool more = false;
    po_status s = PO_OK;
    po_put_text(ret, "format", "proveout/today/1");
    po_put_int(ret, "at_ms", now);
    for (size_t i = 0; s == PO_OK && po_today_lists[i].key; i++) {
        po_rows *rows = NULL;
        const char *key = po_today_lists[i].key;
        s = po_store_ask(store, &rows, err, po_today_lists[i].sql, "iiii", now, below, before, (int64_t)ROWS_MOST + 1);
        s = s == PO_OK ? po_put_rows(rows, ret, key, ROWS_MOST, err) : s;
        more = more || json_is_true(json_object_get(ret, "more"));
        if (s == PO_OK && is_single(i)) {
            json_t *list = json_incref(json_object_get(ret, key)), *first = json_array_get(list, 0);
            po_put(ret, key, first ? json_incref(first) : json_null());
            json_decref(list);
        }
    }
    po_put(ret, "more", json_boolean(more)); /* of one list or another there are more than 200 */
    s = s == PO_OK
            ? po_store_number(store, &waiting, NULL, err, "SELECT count(*) FROM messages WHERE state = 'waiting'", "")
            : s;
    po_put_int(ret, "messages_waiting", waiting);
    return s;
}
