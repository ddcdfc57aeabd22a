/* What is asked about machines: how they stand now, and what happened to one. SPDX-License-Identifier: Apache-2.0
 *
 * How a machine stands follows from its own row and the one run that it is out with. What happened to it is read from the
 * events, backwards, for so many events at a time: an index would make every act of ten years dearer for a question that is
 * asked now and then, and nearly always about the last weeks. The answer says how far back it looked. */
#include "ledger/answers.h"

enum { LOOK_BACK = 20000 }; /* events looked at for one answer: some hundredths of a second */

po_status po_ask_machines(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    po_rows *rows = NULL;
    int64_t days = po_field_int(p, "gap_days"), day_ms = INT64_C(86400000);
    int64_t holds_from = days > 0 && days <= now / day_ms ? now - days * day_ms : 0;
    po_put_text(ret, "format", "proveout/machines/1");
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT m.machine AS machine, CASE WHEN m.state <> 'in-use' THEN m.state WHEN r.id IS NULL THEN 'free' WHEN "
        "r.state = 'out' OR r.off_ms IS NOT NULL THEN 'out' ELSE 'waiting' END AS state, m.reason AS reason, m.photo "
        "AS "
        "photo, m.since_ms AS since_ms, m.surface AS surface, (SELECT json_group_array(json_object('tool', tool, "
        "'nozzle_um', nozzle_um, 'spool', spool, 'material', material, 'colour', colour, 'left_mg', left_mg)) FROM "
        "(SELECT t.tool, t.nozzle_um, s.spool, s.material, s.colour, s.left_mg FROM tools t LEFT JOIN spools s ON s.id "
        "= "
        "t.spool WHERE t.machine = m.id ORDER BY t.tool)) AS json_tools, m.fitted_ms AS fitted_ms, m.gap_ms AS gap_ms, "
        "m.gap_by AS gap_by, m.gap_um AS gap_um, m.gap_ms >= coalesce(m.fitted_ms, 0) AND m.gap_ms >= ?2 AS "
        "is_gap_good, "
        "r.id AS run, n.member AS member, r.state AS run_state, r.stick AS stick, r.out_ms AS out_ms, r.started_ms AS "
        "started_ms, r.recipe AS recipe, r.reserved_seconds AS reserved_seconds, " PO_RUN_ENDS
        " AS ends_ms, r.ended_ms "
        "AS ended_ms, r.off_ms AS off_ms, " PO_PART_ON_BED(
            "m") " FROM machines m LEFT JOIN runs r ON r.machine = "
                 "m.machine AND r.state IN ('out', 'ended', 'failed') LEFT JOIN members n ON n.id = r.member LEFT JOIN "
                 "proofs p "
                 "ON p.sha256 = r.sha256 AND p.machine = r.machine WHERE ?1 IS NULL OR "
                 "m.machine "
                 "= ?1 ORDER BY m.machine LIMIT ?3",
        "tii", po_field_text(p, "machine"), holds_from, (int64_t)PO_LIMIT_MOST + 1);
    return s == PO_OK ? po_put_rows(rows, ret, "machines", PO_LIMIT_MOST, err) : s;
}

po_status po_ask_machine_history(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *machine = po_field_text(p, "machine");
    int64_t limit = po_limit_of(p), before = po_field_int(p, "before"), end = 1, from = 0, from_ms = 0;
    po_rows *rows = NULL;
    po_status s = PO_OK;
    (void)now;
    po_put_text(ret, "format", "proveout/machine-history/1");
    po_put_text(ret, "machine", machine);
    s = po_store_number(store, &end, NULL, err, "SELECT coalesce(max(seq), 0) + 1 FROM events", "");
    before = before == 0 || before > end ? end : before;
    from = before > LOOK_BACK ? before - LOOK_BACK : 1;
    /* e is the event, a the act that it is about: the same, or the one that it takes back. An act that names its run alone
     * is found through the run; where that was taken back, through the event that made it. */
    s = s == PO_OK
            ? po_store_ask(
                  store, &rows, err,
                  "SELECT e.seq AS event, e.at_ms AS at_ms, e.act AS act, e.by AS by, e.body AS json_body, iif(a.seq = "
                  "e.seq, NULL, a.act) AS undone_act, u.undo AS undone_by FROM events e JOIN events a ON a.seq = "
                  "iif(e.act = 'undo', json_extract(e.body, '$.event'), e.seq) LEFT JOIN undone u ON u.event = e.seq "
                  "WHERE e.seq >= ?2 AND e.seq < ?3 AND CASE WHEN a.act IN ('machine-tag', 'machine-rest', "
                  "'machine-clear', 'machine-retire', 'machine-fit', 'machine-gap', 'stick-add', 'stick-assign', "
                  "'run-hand-out', 'run-reserve', 'round-machine', 'file-attach', 'care-measure', 'care-done', "
                  "'care-replace', 'trouble-open') THEN json_extract(a.body, "
                  "'$.machine') "
                  "= ?1 WHEN a.act IN ('run-drop', 'run-start', 'run-watched', 'run-ended', 'run-failed', 'run-off', "
                  "'run-take-back', 'run-outcome') THEN coalesce((SELECT machine FROM runs WHERE id = "
                  "json_extract(a.body, '$.run')), (SELECT json_extract(body, '$.machine') FROM events WHERE seq = "
                  "json_extract(a.body, '$.run'))) = ?1 WHEN a.act IN ('stick-lost', 'stick-count', 'stick-clear', "
                  "'stick-retire') THEN (SELECT m.machine FROM sticks s JOIN machines m ON m.id = s.machine WHERE "
                  "s.stick = json_extract(a.body, '$.stick')) = ?1 WHEN a.act IN ('trouble-check', 'trouble-close') "
                  "THEN (SELECT m.machine FROM troubles t JOIN machines m ON m.id = t.machine WHERE t.id = "
                  "json_extract(a.body, '$.trouble')) = ?1 ELSE 0 END ORDER BY e.seq DESC LIMIT ?4",
                  "tiii", machine, from, before, limit + 1)
            : s;
    s = s == PO_OK ? po_put_rows(rows, ret, "events", limit, err) : s;
    if (s != PO_OK) {
        return s;
    }
    const json_t *list = json_object_get(ret, "events");
    if (json_is_true(json_object_get(ret, "more"))) { /* it looked no further than the limit */
        from = po_field_int(json_array_get(list, json_array_size(list) - 1), "event");
    }
    s = po_store_number(store, &from_ms, NULL, err, "SELECT at_ms FROM events WHERE seq = ?1", "i", from);
    po_put(ret, "more", json_boolean(from > 1));
    po_put_int(ret, "looked_back_to", from);
    po_put_int(ret, "looked_back_to_ms", from_ms);
    return s;
}
