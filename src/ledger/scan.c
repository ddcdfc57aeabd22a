/* The book read through, row by row. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/scan.h"

#include "ledger/ledger_inside.h"

static int64_t int_or_none(po_rows *rows, int column)
{
    return po_rows_kind(rows, column) == 'i' ? po_rows_int(rows, column) : -1;
}

/* One view of the book for all rows. */
static po_status begin(po_ledger *ledger, po_err *err)
{
    pthread_mutex_lock(&ledger->asking_lock);
    return po_store_begin(ledger->asking, false, err);
}

static po_status end(po_ledger *ledger, po_rows *rows, bool stopped, po_status s, po_err *err)
{
    po_status ended = rows ? po_rows_end(rows, err) : PO_OK;
    po_store_rollback(ledger->asking);
    pthread_mutex_unlock(&ledger->asking_lock);
    return s != PO_OK                  ? s
           : ended == PO_OK && stopped ? po_fail(err, PO_E_CANCELLED, "the look through the book was stopped")
                                       : ended;
}

po_status po_ledger_scan_runs(po_ledger *ledger, int64_t from_ms, int64_t until_ms, po_run_look *look, void *user,
                              po_err *err)
{
    po_rows *rows = NULL;
    bool stopped = false;
    po_status s = begin(ledger, err);
    s = s == PO_OK ? po_store_ask(
                         ledger->asking, &rows, err,
                         "SELECT r.id, r.member, r.out_ms, coalesce(r.ended_ms, r.back_ms), coalesce(r.real_seconds, "
                         "r.failed_seconds, r.reserved_seconds), coalesce(r.used_um, r.failed_um, r.reserved_um), "
                         "r.machine, r.recipe, (SELECT s.material FROM takes k JOIN spools s ON s.id = k.spool WHERE "
                         "k.run = r.id ORDER BY k.tool LIMIT 1), r.outcome, r.cause, r.symptom, r.first_layer FROM "
                         "runs r WHERE r.out_ms >= ?1 AND r.out_ms < ?2 AND r.state IN ('ended', 'failed', 'back') AND "
                         "r.machine IS NOT NULL ORDER BY r.out_ms, r.id",
                         "ii", from_ms, until_ms)
                   : s;
    while (s == PO_OK && !stopped && po_rows_next(rows)) {
        po_run_seen seen = {.run = po_rows_int(rows, 0),
                            .member = po_rows_int(rows, 1),
                            .out_ms = po_rows_int(rows, 2),
                            .ended_ms = int_or_none(rows, 3),
                            .seconds = int_or_none(rows, 4),
                            .um = int_or_none(rows, 5),
                            .machine = po_rows_text(rows, 6),
                            .recipe = po_rows_text(rows, 7),
                            .material = po_rows_text(rows, 8),
                            .outcome = po_rows_text(rows, 9),
                            .cause = po_rows_text(rows, 10),
                            .symptom = po_rows_text(rows, 11),
                            .first_layer = po_rows_text(rows, 12)};
        stopped = !look(&seen, user);
    }
    return end(ledger, rows, stopped, s, err);
}

po_status po_ledger_scan_papers(po_ledger *ledger, const char *study, po_paper_look *look, void *user, po_err *err)
{
    po_rows *rows = NULL;
    bool stopped = false;
    po_status s = begin(ledger, err);
    s = s == PO_OK ? po_store_ask(ledger->asking, &rows, err,
                                  "SELECT id, member, drawn_ms, handed_ms, kind = 'refresher', met, passed, questions, "
                                  "marks, answers FROM papers WHERE study = ?1 AND state = 'handed-in' AND kind <> "
                                  "'import' AND marks IS NOT NULL AND answers IS NOT NULL ORDER BY id",
                                  "t", study)
                   : s;
    while (s == PO_OK && !stopped && po_rows_next(rows)) {
        po_paper_seen seen = {.paper = po_rows_int(rows, 0),
                              .member = po_rows_int(rows, 1),
                              .drawn_ms = po_rows_int(rows, 2),
                              .handed_ms = po_rows_int(rows, 3),
                              .refresher = po_rows_int(rows, 4) != 0,
                              .met = po_rows_int(rows, 5) != 0,
                              .passed = po_rows_int(rows, 6) != 0,
                              .questions = po_rows_word(rows, 7),
                              .marks = po_rows_word(rows, 8),
                              .answers = po_rows_word(rows, 9)};
        stopped = !look(&seen, user);
    }
    return end(ledger, rows, stopped, s, err);
}
