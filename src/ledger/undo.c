/* An act is taken back by a later event that names it. SPDX-License-Identifier: Apache-2.0
 *
 * Every act leaves what its rows were before ("before"). It can be taken back while those rows are still its own (`last`), no
 * row made by it is referred to by others, and no member would be overdrawn by it who was not before. Otherwise the sentence
 * names the later event, which can be taken back first. An undo can not be undone: do the act again. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "ledger/book.h"

typedef struct old_row {
    po_table table;
    int64_t id;
    char *was; /* NULL: the act made the row */
} old_row;

/* Rows elsewhere that refer to a row; each a text of SQL with the id, giving the id of the first. */
static const struct {
    po_table table;
    const char *sql, *says;
} children[] = {
    {PO_T_MEMBERS, "SELECT min(id) FROM runs WHERE member = ?1", "run"},
    {PO_T_MEMBERS, "SELECT min(id) FROM permits WHERE member = ?1", "permit"},
    {PO_T_MEMBERS, "SELECT min(id) FROM waivers WHERE member = ?1", "waiver"},
    {PO_T_TERMS, "SELECT min(id) FROM runs WHERE term = ?1", "run"},
    {PO_T_PERMITS, "SELECT min(id) FROM runs WHERE permit = ?1", "run"},
    {PO_T_WAIVERS, "SELECT min(run) FROM draws WHERE waiver = ?1", "run"},
    {PO_T_MEMBERS, "SELECT min(last) FROM tickets WHERE member = ?1", "event"},
    {PO_T_MEMBERS, "SELECT min(last) FROM messages WHERE member = ?1", "event"},
    {PO_T_RUNS, "SELECT min(last) FROM messages WHERE run = ?1 AND last <> ?1", "event"},
    {PO_T_ROUNDS, "SELECT max(last) FROM found WHERE round = ?1", "event"},
    {PO_T_STICKS, "SELECT min(r.id) FROM sticks s JOIN runs r ON r.id > s.id AND r.stick = s.stick WHERE s.id = ?1",
     "run"},
    {PO_T_MEMBERS, "SELECT min(id) FROM belongs WHERE member = ?1", "event"},
    {PO_T_MEMBERS, "SELECT min(id) FROM money WHERE member = ?1", "event"},
    {PO_T_RUNS, "SELECT min(id) FROM money WHERE run = ?1", "event"},
    {PO_T_COURSES, "SELECT min(r.id) FROM courses c JOIN runs r ON r.course = c.course WHERE c.id = ?1", "run"},
    {PO_T_COURSES, "SELECT min(id) FROM assignments WHERE course = ?1", "event"},
    {PO_T_COURSES, "SELECT min(t.id) FROM courses c JOIN teams t ON t.course = c.course WHERE c.id = ?1", "event"},
    {PO_T_ASSIGNMENTS,
     "SELECT min(r.id) FROM assignments a JOIN courses c ON c.id = a.course JOIN runs r ON r.course = c.course AND "
     "r.assignment = a.assignment WHERE a.id = ?1",
     "run"},
    {PO_T_TEAMS, "SELECT min(r.id) FROM teams t JOIN runs r ON r.team = t.team WHERE t.id = ?1", "run"},
    {PO_T_TEAMS, "SELECT min(id) FROM belongs WHERE team = ?1", "event"},
    {PO_T_BELONGS,
     "SELECT min(r.id) FROM belongs b JOIN teams t ON t.id = b.team JOIN runs r ON r.team = t.team AND r.member = "
     "b.member AND r.id > b.id WHERE b.id = ?1",
     "run"},
    {PO_T_FUNDS, "SELECT min(r.id) FROM funds f JOIN runs r ON r.fund = f.fund WHERE f.id = ?1", "run"},
    {PO_T_FUNDS, "SELECT min(c.id) FROM funds f JOIN courses c ON c.fund = f.fund WHERE f.id = ?1", "event"},
    {PO_T_FUNDS, "SELECT min(t.id) FROM funds f JOIN teams t ON t.fund = f.fund WHERE f.id = ?1", "event"},
    {PO_T_SPOOLS, "SELECT min(id) FROM weighings WHERE spool = ?1 AND id <> ?1", "weighing"},
    {PO_T_SPOOLS, "SELECT min(last) FROM tools WHERE spool = ?1", "event"},
    {PO_T_SPOOLS, "SELECT min(run) FROM takes WHERE spool = ?1", "run"},
    {PO_T_SPOOLS, "SELECT min(r.id) FROM spools s JOIN runs r ON r.id > s.id AND r.spool = s.spool WHERE s.id = ?1",
     "run"},
    {PO_T_RUNS, "SELECT min(id) FROM files WHERE run = ?1", "file"},
    {PO_T_RUNS, "SELECT max(last) FROM waste WHERE run = ?1", "event"},
    {PO_T_RUNS, "SELECT max(last) FROM troubles WHERE run = ?1", "event"},
    {PO_T_TROUBLES, "SELECT max(last) FROM looks WHERE trouble = ?1", "event"},
    {PO_T_MEMBERS, "SELECT min(id) FROM papers WHERE member = ?1", "paper"},
    {PO_T_MEMBERS, "SELECT min(id) FROM practices WHERE member = ?1", "event"},
    {PO_T_MEMBERS, "SELECT min(last) FROM allowed WHERE member = ?1", "event"},
    /* what came back after a weighing took nothing from the spool, for the scale had seen it */
    {PO_T_WEIGHINGS,
     "SELECT min(t.last) FROM weighings w JOIN takes t ON t.spool = w.spool JOIN runs r ON r.id = t.run WHERE w.id = "
     "?1 "
     "AND t.last > w.id AND r.state IN ('failed', 'back')",
     "event"},
};

static void free_rows(old_row *rows, int n)
{
    for (int i = 0; i < n; i++) {
        free(rows[i].was);
    }
}

static po_status load(po_book *book, int64_t event, old_row rows[PO_TOUCHED_MOST], int *ret_n, po_err *err)
{
    po_rows *r = NULL;
    int n = 0;
    po_status s = po_store_ask(book->store, &r, err, "SELECT tbl, id, was FROM before WHERE event = ?1 ORDER BY n DESC",
                               "i", event);
    if (s != PO_OK) {
        return s;
    }
    while (s == PO_OK && n < PO_TOUCHED_MOST && po_rows_next(r)) {
        const char *was = po_rows_text(r, 2);
        rows[n] = (old_row){(po_table)po_rows_int(r, 0), po_rows_int(r, 1), was ? strdup(was) : NULL};
        if (was && !rows[n].was) {
            s = po_fail(err, PO_E_NOMEM, "out of memory for an undo");
        }
        n++;
    }
    po_status end = po_rows_end(r, s == PO_OK ? err : NULL);
    *ret_n = n;
    return s == PO_OK ? end : s;
}

/* What a row of a table is called. */
static const char *row_word(po_table table)
{
    static const char *const words[PO_T_COUNT] = {
        [PO_T_DRAWS] = "draw on a waiver",
        [PO_T_RUNS] = "run",
        [PO_T_WAIVERS] = "waiver",
        [PO_T_PERMITS] = "permit",
        [PO_T_TERMS] = "term",
        [PO_T_MEMBERS] = "member",
        [PO_T_MACHINES] = "machine",
        [PO_T_STICKS] = "stick",
        [PO_T_SPOOLS] = "spool",
        [PO_T_TOOLS] = "tool of the machine",
        [PO_T_PROOFS] = "proof",
        [PO_T_TAKES] = "use of a spool",
        [PO_T_PARTS] = "part",
        [PO_T_TICKETS] = "ticket",
        [PO_T_MESSAGES] = "message",
        [PO_T_ROUNDS] = "round",
        [PO_T_FOUND] = "machine of a round",
        [PO_T_COURSES] = "course",
        [PO_T_ASSIGNMENTS] = "assignment",
        [PO_T_TEAMS] = "group",
        [PO_T_BELONGS] = "membership of a group",
        [PO_T_FUNDS] = "fund",
        [PO_T_FILES] = "file",
        [PO_T_MEASURES] = "measurement",
        [PO_T_CARES] = "task",
        [PO_T_REPLACED] = "replacement",
        [PO_T_TROUBLES] = "search",
        [PO_T_LOOKS] = "check",
        [PO_T_RESETS] = "reset",
        [PO_T_PAPERS] = "paper",
        [PO_T_ANSWERS] = "answer",
        [PO_T_PRACTICES] = "practical step",
        [PO_T_ALLOWED] = "accommodation",
    };
    return words[table] ? words[table] : "entry";
}

/* Does anything later rest on this row? */
static po_status rests(po_book *book, int64_t event, const old_row *row, po_err *err)
{
    int64_t last = 0, child = 0;
    bool found = false;
    po_status s = po_store_number(book->store, &last, &found, err, po_tables[row->table].last, "i", row->id);
    if (s == PO_OK && (!found || last != event)) {
        return po_fail_at(err, PO_E_CONFLICT, "event", 0, 0,
                          "event %lld came later and changed the same %s: undo that first", (long long)last,
                          row_word(row->table));
    }
    for (size_t i = 0; s == PO_OK && !row->was && i < sizeof children / sizeof children[0]; i++) {
        if (children[i].table == row->table) {
            s = po_store_number(book->store, &child, &found, err, children[i].sql, "i", row->id);
            if (s == PO_OK && found) {
                s = po_fail_at(err, PO_E_CONFLICT, "event", 0, 0, "%s %lld came later and rests on it: undo that first",
                               children[i].says, (long long)child);
            }
        }
    }
    return s;
}

/* The member and term whose account a row belongs to; 0: none. */
static po_status account_of(po_book *book, const old_row *row, int64_t *ret_member, int64_t *ret_term, po_err *err)
{
    *ret_member = *ret_term = 0;
    if (row->table != PO_T_RUNS) {
        return PO_OK;
    }
    po_status s = po_store_number(book->store, ret_member, NULL, err, "SELECT member FROM runs WHERE id = ?1", "i",
                                  row->id);
    return s == PO_OK
               ? po_store_number(book->store, ret_term, NULL, err, "SELECT term FROM runs WHERE id = ?1", "i", row->id)
               : s;
}

static po_status left_of(po_book *book, int64_t member, int64_t term, int64_t *ret, po_err *err)
{
    int64_t allowance = 0, charged = 0;
    po_status s = po_store_number(book->store, &allowance, NULL, err, "SELECT allowance_um FROM terms WHERE id = ?1",
                                  "i", term);
    s = s == PO_OK ? po_term_charged(book->store, member, term, 0, &charged, err) : s;
    *ret = allowance - charged;
    return s;
}

/* What the restored row would clash with, other than the act's own rows: SQL with the id, the row as it was, and the event. */
static const struct {
    po_table table;
    const char *sql, *says;
} clashes[] = {
    {PO_T_TICKETS,
     "SELECT o.id FROM tickets r JOIN tickets o ON o.member = r.member AND o.id <> r.id AND o.state IN ('waiting', "
     "'called') WHERE r.id = ?1 AND json_extract(?2, '$.state') IN ('waiting', 'called') AND o.last <> ?3",
     "the member has another ticket since event"},
    {PO_T_TICKETS,
     "SELECT o.id FROM tickets r JOIN tickets o ON o.number = r.number AND o.id <> r.id AND o.state IN ('waiting', "
     "'called') WHERE r.id = ?1 AND json_extract(?2, '$.state') IN ('waiting', 'called') AND o.last <> ?3",
     "the ticket's number was given again by event"},
    {PO_T_TICKETS,
     "SELECT o.last FROM tickets r JOIN tickets o ON o.id <> r.id AND o.state IN ('waiting', 'called') AND o.state = "
     "'called' AND o.offered = json_extract(?2, '$.offered') AND o.called_ms < json_extract(?2, '$.until_ms') WHERE "
     "r.id = ?1 AND json_extract(?2, '$.state') = 'called' AND o.last <> ?3",
     "the machine is kept for another ticket since event"},
    {PO_T_TICKETS,
     "SELECT m.last FROM tickets t JOIN members m ON m.id = t.member WHERE t.id = ?1 AND m.state = 'forgotten' AND "
     "json_extract(?2, '$.state') IN ('waiting', 'called') AND m.last <> ?3",
     "its member was forgotten by event"},
    {PO_T_ROUNDS,
     "SELECT o.id FROM rounds r JOIN rounds o ON o.id <> r.id AND o.done_ms IS NULL WHERE r.id = ?1 AND "
     "json_extract(?2, '$.done_ms') IS NULL AND o.last <> ?3",
     "another round was begun by event"},
    {PO_T_RUNS,
     "SELECT o.id FROM runs o WHERE o.machine = json_extract(?2, '$.machine') AND o.id <> ?1 AND o.state IN ('out', "
     "'ended', 'failed') AND json_extract(?2, '$.state') IN ('out', 'ended', 'failed') AND o.last <> ?3",
     "the machine is out again with run"},
    {PO_T_RUNS,
     "SELECT m.last FROM machines m WHERE m.machine = json_extract(?2, '$.machine') AND ?1 > 0 AND m.state IN "
     "('resting', 'retired') AND json_extract(?2, '$.state') IN ('out', 'ended', 'failed') AND m.last <> ?3",
     "the machine rests or has left the shop since event"},
    {PO_T_RUNS,
     "SELECT s.last FROM sticks s JOIN machines m ON m.id = s.machine WHERE s.stick = json_extract(?2, '$.stick') AND "
     "m.machine <> json_extract(?2, '$.machine') AND json_extract(?2, '$.state') IN ('out', 'ended', 'failed') AND ?1 "
     "> 0 "
     "AND s.last <> ?3",
     "its stick went over to another machine by event"},
    {PO_T_RUNS,
     "SELECT t.last FROM terms t WHERE t.id = json_extract(?2, '$.term') AND t.closed_ms IS NOT NULL AND "
     "json_extract(?2, "
     "'$.state') IN ('out', 'ended', 'failed') AND ?1 > 0 AND t.last <> ?3",
     "its term was closed by event"},
    {PO_T_RUNS,
     "SELECT m.last FROM members m WHERE m.id = json_extract(?2, '$.member') AND m.state = 'forgotten' AND "
     "json_extract(?2, "
     "'$.state') NOT IN ('back', 'dropped') AND ?1 > 0 AND m.last <> ?3",
     "its member was forgotten by event"},
    {PO_T_PARTS,
     "SELECT o.last FROM parts o WHERE o.state = 'shelf' AND o.place IS NOT NULL AND o.place = json_extract(?2, "
     "'$.place') "
     "AND o.id <> ?1 AND json_extract(?2, '$.state') = 'shelf' AND o.last <> ?3",
     "its place on the shelf was taken by event"},
    {PO_T_TERMS,
     "SELECT o.id FROM terms r JOIN terms o ON o.id <> r.id AND o.closed_ms IS NULL AND o.from_ms < r.until_ms AND "
     "o.until_ms > "
     "r.from_ms WHERE r.id = ?1 AND json_extract(?2, '$.closed_ms') IS NULL AND o.last <> ?3",
     "another term is open at that time, by event"},
    {PO_T_PERMITS,
     "SELECT o.id FROM permits r JOIN permits o ON o.member = r.member AND o.permission = r.permission AND o.id <> "
     "r.id AND "
     "o.withdrawn_ms IS NULL WHERE r.id = ?1 AND json_extract(?2, '$.withdrawn_ms') IS NULL AND o.last <> ?3",
     "the permission was granted anew by event"},
    {PO_T_BELONGS,
     "SELECT o.id FROM belongs r JOIN belongs o ON o.team = r.team AND o.member = r.member AND o.id <> r.id AND "
     "o.left_ms IS NULL WHERE r.id = ?1 AND json_extract(?2, '$.left_ms') IS NULL AND o.last <> ?3",
     "the member joined the group again by event"},
    {PO_T_TOOLS, "SELECT last FROM tools WHERE id <> ?1 AND spool = json_extract(?2, '$.spool') AND last <> ?3",
     "the spool that was there is loaded elsewhere by event"},
    {PO_T_TOOLS,
     "SELECT s.last FROM tools t JOIN spools s ON s.id = json_extract(?2, '$.spool') AND s.state IN ('drying', "
     "'empty') "
     "WHERE t.id = ?1 AND t.spool IS NOT s.id AND s.last <> ?3",
     "the spool that was there is in the dryer or empty by event"},
    {PO_T_TOOLS,
     "SELECT m.last FROM tools t JOIN machines m ON m.id = t.machine WHERE t.id = ?1 AND json_extract(?2, '$.spool') "
     "IS "
     "NOT NULL AND m.state = 'retired' AND m.last <> ?3",
     "its machine has left the shop by event"},
    {PO_T_MACHINES,
     "SELECT r.last FROM machines m JOIN runs r ON r.machine = m.machine AND r.state IN ('out', 'ended', 'failed') "
     "WHERE m.id = ?1 AND json_extract(?2, '$.state') = 'resting' AND r.last <> ?3",
     "the machine is out by event"},
    {PO_T_STICKS,
     "SELECT r.last FROM sticks s JOIN machines m ON m.id = s.machine JOIN runs r ON r.machine = m.machine AND r.state "
     "IN ('out', 'ended', 'failed') AND r.stick = s.stick WHERE s.id = ?1 AND (json_extract(?2, '$.machine') <> "
     "s.machine OR json_extract(?2, '$.state') <> s.state) AND r.last > ?3",
     "the stick is out by event"},
    {PO_T_SPOOLS,
     "SELECT last FROM tools WHERE spool = ?1 AND json_extract(?2, '$.state') IN ('drying', 'empty') AND last <> ?3",
     "the spool was loaded by event"},
    /* a run that came back meanwhile took nothing from it, for it was used up */
    {PO_T_SPOOLS,
     "SELECT min(t.last) FROM spools s JOIN takes t ON t.spool = s.id JOIN runs r ON r.id = t.run WHERE s.id = ?1 AND "
     "s.state = 'empty' AND json_extract(?2, '$.state') <> 'empty' AND r.state IN ('failed', 'back') AND t.last > ?3",
     "a run that it was used for was booked by event"},
};

static po_status clash_of(po_book *book, const old_row *row, int64_t event, po_err *err)
{
    int64_t other = 0;
    bool found = false;
    po_status s = PO_OK;
    for (size_t i = 0; s == PO_OK && row->was && i < sizeof clashes / sizeof clashes[0]; i++) {
        if (clashes[i].table == row->table) {
            s = po_store_number(book->store, &other, &found, err, clashes[i].sql, "iti", row->id, row->was, event);
            if (s == PO_OK && found) {
                s = po_fail_at(err, PO_E_CONFLICT, "event", 0, 0, "%s %lld, which came later: undo that first",
                               clashes[i].says, (long long)other);
            }
        }
    }
    return s;
}

/* Waivers from which more would be taken than they give: a later run has what was given back. */
static po_status waivers_hold(po_book *book, po_err *err, const old_row *row)
{
    int64_t waiver = 0;
    bool found = false;
    if (row->table != PO_T_DRAWS || !row->was) {
        return PO_OK;
    }
    po_status s = po_store_number(
        book->store, &waiver, &found, err,
        "SELECT w.id FROM draws d JOIN waivers w ON w.id = d.waiver WHERE d.id = ?1 AND w.um < (SELECT sum(um) "
        "FROM draws WHERE waiver = w.id)",
        "i", row->id);
    if (s == PO_OK && found) {
        return po_fail_at(err, PO_E_CONFLICT, "event", 0, 0,
                          "what it gave back to waiver %lld was drawn by a later run: undo that hand-out first",
                          (long long)waiver);
    }
    return s;
}

/* A machine's row that the act made: it goes, but where others name the machine since, they would have made it. */
static po_status unmake_machine(po_book *book, int64_t id, po_err *err)
{
    int64_t named = 0;
    po_status s = po_store_number(
        book->store, &named, NULL, err,
        "SELECT EXISTS(SELECT 1 FROM sticks WHERE machine = ?1) OR EXISTS(SELECT 1 FROM tools WHERE machine = ?1) OR "
        "EXISTS(SELECT 1 FROM found WHERE machine = ?1) OR EXISTS(SELECT 1 FROM machines m JOIN runs r ON r.machine = "
        "m.machine WHERE m.id = ?1 AND r.state NOT IN ('reserved', 'dropped'))",
        "i", id);
    if (s != PO_OK) {
        return s;
    }
    return named ? po_store_do(book->store, NULL, err,
                               "UPDATE machines SET last = ?1, state = 'in-use', reason = NULL, photo = NULL, since_ms "
                               "= NULL, surface = NULL, fitted_ms = NULL, gap_ms = NULL, gap_by = NULL, gap_um = NULL "
                               "WHERE id = ?2",
                               "ii", book->event, id)
                 : po_store_do(book->store, NULL, err, po_tables[PO_T_MACHINES].drop, "i", id);
}

static po_status put_back(po_book *book, const old_row *row, po_err *err)
{
    const po_table_sql *t = &po_tables[row->table];
    return row->was                      ? po_store_do(book->store, NULL, err, t->restore, "ti", row->was, row->id)
           : row->table == PO_T_MACHINES ? unmake_machine(book, row->id, err)
                                         : po_store_do(book->store, NULL, err, t->drop, "i", row->id);
}

static po_status restore(po_book *book, const old_row *rows, int n, int64_t event, po_err *err)
{
    int64_t member = 0, term = 0, before = 0, after = 0;
    po_status s = PO_OK;
    for (int i = 0; s == PO_OK && i < n; i++) {
        s = rests(book, event, &rows[i], err);
        s = s == PO_OK ? clash_of(book, &rows[i], event, err) : s;
        if (s == PO_OK && !member) {
            s = account_of(book, &rows[i], &member, &term, err);
        }
    }
    if (s == PO_OK && term) {
        s = left_of(book, member, term, &before, err);
    }
    for (int i = 0; s == PO_OK && i < n; i++) {
        if (rows[i].table == PO_T_MEMBERS && !rows[i].was &&
            book->answer) { /* not in a replay: the number may be another's by now */
            po_book_answer_int(book, "enrolment_of", rows[i].id);
            s = po_store_do(book->store, NULL, err,
                            "DELETE FROM persons WHERE member = (SELECT member FROM members WHERE id = ?1)", "i",
                            rows[i].id);
            s = s == PO_OK
                    ? po_store_do(book->store, NULL, err,
                                  "DELETE FROM secrets WHERE member = (SELECT member FROM members WHERE id = ?1)", "i",
                                  rows[i].id)
                    : s;
        }
        s = s == PO_OK ? put_back(book, &rows[i], err) : s;
    }
    for (int i = 0; s == PO_OK && i < n; i++) {
        s = waivers_hold(book, err, &rows[i]);
    }
    if (s == PO_OK && term) {
        s = left_of(book, member, term, &after, err);
    }
    if (s == PO_OK && after < 0 && after < before) {
        char m[32];
        return po_fail_at(err, PO_E_CONFLICT, "event", 0, 0,
                          "the member's term would be overdrawn by %s, because later runs used what it gave back: undo "
                          "one of those first",
                          po_metres(m, -after));
    }
    return s;
}

/* Whoever takes an act back may do it, and what is final stays so: of staff, and of what was given away, a keeper decides.
 * Older programs were less strict: a replay takes what they booked. */
static po_status may_take_back(po_book *book, int64_t event, po_err *err)
{
    po_rows *rows = NULL;
    if (!book->answer) {
        return PO_OK;
    }
    po_status s = po_store_ask(book->store, &rows, err,
                               "SELECT act, act = 'money-book' AND json_extract(body, '$.kind') = 'gift' OR "
                               "EXISTS(SELECT 1 FROM before b JOIN "
                               "members m ON m.id = b.id WHERE b.event = seq AND b.tbl = ?2 AND m.role <> 'member') "
                               "FROM events WHERE seq = ?1",
                               "ii", event, (int64_t)PO_T_MEMBERS);
    if (s != PO_OK) {
        return s;
    }
    const po_act_kind *kind = po_rows_next(rows) ? po_act_find(po_rows_word(rows, 0)) : NULL;
    bool keeper = kind && (kind->who == PO_ROLE_KEEPER || po_rows_int(rows, 1) != 0);
    s = po_rows_end(rows, err);
    if (s == PO_OK && kind && !kind->undoable) {
        return po_fail_at(err, PO_E_CONFLICT, "event", 0, 0,
                          "event %lld: a %s can not be taken back; book what sets it right", (long long)event,
                          kind->verb->name);
    }
    if (s == PO_OK && kind) {
        po_book_answer_text(book, "undone_act", kind->verb->name);
    }
    return s == PO_OK && keeper && book->role < PO_ROLE_KEEPER
               ? po_fail_at(err, PO_E_CONFLICT, "by", 0, 0, "%.60s may not take back this %s: it takes the role keeper",
                            book->by, kind->verb->name)
               : s;
}

po_status po_apply_undo(po_book *book, po_err *err)
{
    int64_t event = po_field_int(book->body, "event"), other = 0;
    bool found = false;
    po_status s = po_store_number(book->store, &other, &found, err, "SELECT undo FROM undone WHERE event = ?1", "i",
                                  event);
    if (s == PO_OK && found) {
        return po_fail_at(err, PO_E_CONFLICT, "event", 0, 0, "event %lld was taken back already, by event %lld",
                          (long long)event, (long long)other);
    }
    if (s == PO_OK && event >= book->event) {
        return po_fail_at(err, PO_E_NOTFOUND, "event", 0, 0, "there is no event %lld", (long long)event);
    }
    if (s == PO_OK && event <= book->event - PO_BEFORE_KEPT) {
        return po_fail_at(err, PO_E_CONFLICT, "event", 0, 0,
                          "event %lld is more than %d events ago, too long to be taken back; book what sets it right",
                          (long long)event, PO_BEFORE_KEPT);
    }
    old_row rows[PO_TOUCHED_MOST];
    int n = 0;
    s = s == PO_OK ? may_take_back(book, event, err) : s;
    s = s == PO_OK ? load(book, event, rows, &n, err) : s;
    if (s == PO_OK && n == 0) {
        s = po_fail_at(err, PO_E_CONFLICT, "event", 0, 0, "event %lld is of a kind that can not be taken back",
                       (long long)event);
    }
    s = s == PO_OK ? restore(book, rows, n, event, err) : s;
    free_rows(rows, n);
    s = s == PO_OK ? po_store_do(book->store, NULL, err, "INSERT INTO undone(event, undo) VALUES(?1, ?2)", "ii", event,
                                 book->event)
                   : s;
    po_book_answer_int(book, "event", event);
    return s;
}
