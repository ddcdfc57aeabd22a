/* Keeping the book: verify, rebuild, backup. SPDX-License-Identifier: Apache-2.0
 *
 * Verifying makes all derived tables once more, from the events, in a temporary store, and compares every row in order, kind
 * by kind and byte by byte; nobody is kept from writing meanwhile. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "ledger/ledger_inside.h"

/* Beside those of po_tables. */
static const char *const plain_tables[] = {"SELECT * FROM before ORDER BY event, n",
                                           "SELECT * FROM undone ORDER BY event"};
static const char *const plain_names[] = {"before", "undone"};

static bool same_cell(po_rows *a, po_rows *b, int c)
{
    size_t n = 0, m = 0;
    if (po_rows_kind(a, c) != po_rows_kind(b, c)) {
        return false;
    }
    if (po_rows_kind(a, c) == 'i') {
        return po_rows_int(a, c) == po_rows_int(b, c);
    }
    const void *p = po_rows_blob(a, c, &n), *q = po_rows_blob(b, c, &m);
    return n == m && (n == 0 || memcmp(p, q, n) == 0);
}

static po_status compare(po_store *kept, po_store *made, const char *sql, const char *name, po_store_say *say,
                         void *user, po_err *err)
{
    po_rows *a = NULL, *b = NULL;
    char sentence[200] = "";
    po_status s = po_store_ask(kept, &a, err, sql, "");
    if (s != PO_OK) {
        return s;
    }
    s = po_store_ask(made, &b, err, sql, "");
    while (s == PO_OK && !sentence[0]) {
        bool more_a = po_rows_next(a), more_b = po_rows_next(b);
        if (more_a != more_b) {
            snprintf(sentence, sizeof sentence, "the table %s has rows too %s for the events", name,
                     more_a ? "many" : "few");
        }
        if (!more_a || !more_b) {
            break;
        }
        for (int c = 0; c < po_rows_columns(a) && !sentence[0]; c++) {
            if (!same_cell(a, b, c)) {
                snprintf(sentence, sizeof sentence, "the table %s, row %lld: %s is not what follows from the events",
                         name, (long long)po_rows_int(a, 0), po_rows_name(a, c));
            }
        }
    }
    po_status end_b = s == PO_OK ? po_rows_end(b, err) : s;
    po_status end_a = po_rows_end(a, end_b == PO_OK ? err : NULL);
    s = end_b == PO_OK ? end_a : end_b;
    if (s == PO_OK && sentence[0]) {
        say(user, sentence);
    }
    return s;
}

static po_status compare_all(po_store *store, po_store_say *say, void *user, const po_watching *watching, po_err *err)
{
    po_store *made = NULL;
    po_store_options o = {.create = true, .wait_ms = 1000, .schema = &po_ledger_schema};
    po_err why;
    po_status s = po_store_open(NULL, &o, &made, err);
    s = s == PO_OK ? po_store_begin(made, true, err) : s;
    if (s == PO_OK) {
        po_status replay = po_events_replay(store, made, watching, &why);
        if (replay == PO_E_NOMEM || replay == PO_E_IO || replay == PO_E_CANCELLED) {
            s = replay;
            if (err) {
                *err = why;
            }
        } else if (replay != PO_OK) {
            say(user, why.msg);
        } else {
            for (int t = 0; s == PO_OK && t < PO_T_COUNT; t++) {
                s = compare(store, made, po_tables[t].all, po_tables[t].name, say, user, err);
            }
            for (int t = 0; s == PO_OK && t < 2; t++) {
                s = compare(store, made, plain_tables[t], plain_names[t], say, user, err);
            }
        }
    }
    po_store_close(made);
    return s;
}

/* What must hold whatever the acts: each a question that should have no answer, and what one means. */
static const struct {
    const char *sql, *says;
} sums[] = {
    {"SELECT max(id) FROM tickets WHERE state IN ('waiting', 'called') GROUP BY member HAVING count(*) > 1",
     "the ticket taken by event %lld is its member's second"},
    {"SELECT max(id) FROM tickets WHERE state IN ('waiting', 'called') GROUP BY number HAVING count(*) > 1",
     "the ticket taken by event %lld has a number that another has"},
    {"SELECT id FROM tickets WHERE number NOT BETWEEN 1 AND 999 OR (state = 'claimed') <> (run IS NOT NULL) OR "
     "(no_show "
     "AND state <> 'passed')",
     "the ticket taken by event %lld is not as any act leaves one"},
    {"SELECT t.id FROM tickets t JOIN runs r ON r.id = t.run WHERE r.member <> t.member",
     "the ticket taken by event %lld was claimed for a run of another member"},
    {"SELECT id FROM messages WHERE (state = 'sent') <> (sent_ms IS NOT NULL) OR (state = 'sent' AND tries = 0)",
     "message %lld is not as any act leaves one"},
    {"SELECT max(id) FROM rounds WHERE done_ms IS NULL HAVING count(*) > 1", "round %lld is open beside another"},
    {"SELECT f.id FROM found f JOIN rounds r ON r.id = f.round WHERE f.at_ms < r.begun_ms OR f.at_ms > r.done_ms",
     "what event %lld found was found outside its round"},
    {"SELECT id FROM runs WHERE charge_um + beyond_um + fund_um + (SELECT coalesce(sum(um), 0) FROM draws WHERE run = "
     "runs.id) <> iif(counts AND state NOT IN ('reserved', 'dropped'), coalesce(used_um, failed_um, reserved_um), 0)",
     "run %lld: what term, waivers, fund and money bear does not add up to what was used"},
    {"SELECT id FROM runs WHERE (fund IS NULL AND (fund_um <> 0 OR fund_minor <> 0)) OR (beyond IS NULL AND (beyond_um "
     "<> 0 "
     "OR beyond_minor <> 0)) OR (fund IS NOT NULL AND (charge_um <> 0 OR beyond_um <> 0)) OR beyond_um < 0 OR fund_um "
     "< 0",
     "run %lld: who pays for it is not as any act leaves it"},
    {"SELECT r.id FROM runs r WHERE EXISTS (SELECT 1 FROM takes WHERE run = r.id) AND (SELECT sum(um) FROM takes WHERE "
     "run "
     "= r.id) <> coalesce(r.used_um, r.failed_um, r.reserved_um)",
     "run %lld: what its tools take does not add up to what was used"},
    {"SELECT t.id FROM takes t JOIN runs r ON r.id = t.run WHERE t.booked_mg <> iif(t.spool IS NOT NULL AND r.state IN "
     "('failed', 'back'), t.mg, 0)",
     "what a run takes from a spool (take %lld) is not booked as it should be"},
    {"SELECT r.id FROM runs r LEFT JOIN parts p ON p.id = r.id WHERE (r.off_ms IS NULL) <> (p.id IS NULL)",
     "run %lld: whether its part is off the bed and where it is do not agree"},
    {"SELECT id FROM parts WHERE (state = 'shelf') <> (gone_ms IS NULL)",
     "the part of run %lld is neither on the shelf nor gone"},
    {"SELECT id FROM waivers WHERE um < (SELECT coalesce(sum(d.um), 0) FROM draws d WHERE d.waiver = waivers.id)",
     "waiver %lld: more is drawn than was given"},
    {"SELECT m.id FROM persons p LEFT JOIN members m ON m.member = p.member WHERE coalesce(m.state, 'forgotten') = "
     "'forgotten'",
     "a name is kept of somebody who is no member (row %lld)"},
    {"SELECT m.id FROM secrets s LEFT JOIN members m ON m.member = s.member WHERE coalesce(m.state, 'forgotten') = "
     "'forgotten'",
     "a secret is kept of somebody who is no member (row %lld)"},
    {"SELECT r.id FROM runs r JOIN machines m ON m.machine = r.machine WHERE r.state IN ('out', 'ended', 'failed') AND "
     "m.state IN ('resting', 'retired')",
     "run %lld is out with a machine that rests or has left the shop"},
    {"SELECT r.id FROM runs r JOIN sticks s ON s.stick = r.stick JOIN machines m ON m.id = s.machine WHERE r.state IN "
     "('out', 'ended', 'failed') AND m.machine <> r.machine",
     "run %lld is out with a stick of another machine"},
    {"SELECT t.id FROM tools t JOIN machines m ON m.id = t.machine WHERE m.state = 'retired' AND t.spool IS NOT NULL",
     "a spool is loaded on a machine that has left the shop (tool %lld)"},
    {"SELECT id FROM runs WHERE fund IS NOT NULL AND fund NOT IN (SELECT fund FROM funds)",
     "run %lld: the fund that it names is not in the book"},
    {"SELECT id FROM runs WHERE course IS NOT NULL AND course NOT IN (SELECT course FROM courses)",
     "run %lld: the course that it names is not in the book"},
    {"SELECT r.id FROM runs r JOIN courses c ON c.course = r.course WHERE r.assignment IS NOT NULL AND NOT EXISTS "
     "(SELECT 1 FROM assignments a WHERE a.course = c.id AND a.assignment = r.assignment)",
     "run %lld: the assignment that it names is not in the book"},
    {"SELECT id FROM runs WHERE team IS NOT NULL AND team NOT IN (SELECT team FROM teams)",
     "run %lld: the group that it names is not in the book"},
    {"SELECT max(id) FROM belongs WHERE left_ms IS NULL GROUP BY team, member HAVING count(*) > 1",
     "a member belongs to the same group twice (event %lld)"},
    {"SELECT id FROM money WHERE minor <= 0 OR length(currency) <> 3", "money booked by event %lld is no amount"},
    {"SELECT m.id FROM money m JOIN runs r ON r.id = m.run WHERE r.member <> m.member",
     "money booked by event %lld is for a run of another member"},
    {"SELECT s.id FROM spools s JOIN tools t ON t.spool = s.id WHERE s.state IN ('drying', 'empty')",
     "spool %lld: it is loaded on a machine, and in the dryer or used up"},
    {"SELECT id FROM spools WHERE state = 'empty' AND left_mg <> 0",
     "spool %lld: something is left on it, and it is used up"},
    {"SELECT s.id FROM spools s LEFT JOIN weighings w ON w.id = (SELECT max(id) FROM weighings WHERE spool = s.id) "
     "WHERE "
     "s.weighed_ms IS NOT w.at_ms OR s.weighed_mg IS NOT w.scale_mg OR s.drift_mg IS NOT w.scale_mg - w.book_mg",
     "spool %lld: its last weighing is not what is kept of it"},
    {"SELECT id FROM weighings WHERE scale_mg < 0 OR scale_mg > gross_mg",
     "weighing %lld: more is left than was on the scale"},
    {"SELECT min(id) FROM files GROUP BY sha256 HAVING min(bytes) <> max(bytes)",
     "file %lld: one content has two sizes"},
};

static po_status check_sums(po_store *store, po_store_say *say, void *user, po_err *err)
{
    po_status s = PO_OK;
    for (size_t i = 0; s == PO_OK && i < sizeof sums / sizeof sums[0]; i++) {
        po_rows *rows = NULL;
        s = po_store_ask(store, &rows, err, sums[i].sql, "");
        if (s != PO_OK) {
            return s;
        }
        while (po_rows_next(rows)) {
            char sentence[160], number[24];
            const char *gap = strstr(sums[i].says, "%lld");
            snprintf(number, sizeof number, "%lld", (long long)po_rows_int(rows, 0));
            snprintf(sentence, sizeof sentence, "%.*s%s%s", (int)(gap - sums[i].says), sums[i].says, number, gap + 4);
            say(user, sentence);
        }
        s = po_rows_end(rows, err);
    }
    return s;
}

po_status po_ledger_verify_store(po_store *store, po_store_say *say, void *user, const po_watching *watching,
                                 po_err *err)
{
    po_err why;
    po_watching walk = {0}, replay = {0};
    po_status s = po_store_begin(store, false, &why);
    s = s == PO_OK ? po_store_check(store, say, user, &why) : s;
    if (s == PO_OK && watching && watching->step) { /* every event twice */
        s = po_store_number(store, &walk.all, NULL, &why, "SELECT 2 * max(seq) FROM events", "");
        walk = (po_watching){watching->step, watching->user, 0, walk.all};
        replay = (po_watching){watching->step, watching->user, walk.all / 2, walk.all};
    }
    s = s == PO_OK ? po_events_walk(store, say, user, &walk, &why) : s;
    s = s == PO_OK ? check_sums(store, say, user, &why) : s;
    s = s == PO_OK ? compare_all(store, say, user, &replay, &why) : s;
    po_store_rollback(store);
    if (s == PO_E_SYNTAX) { /* a page so damaged that it cannot be read is a finding too */
        say(user, why.msg);
        return PO_OK;
    }
    if (s != PO_OK && err) {
        *err = why;
    }
    return s;
}

void po_faults_note(void *user, const char *sentence)
{
    po_faults *f = user;
    if (f->n < PO_FAULTS_MOST) {
        f->list[f->n] = po_arena_text(f->arena, sentence);
        f->failed = f->failed || !f->list[f->n];
        f->n++;
    }
}

po_faults *po_faults_new(po_arena *arena, po_err *err)
{
    po_faults *f = po_arena_zeros(arena, 1, sizeof *f);
    if (f) {
        f->arena = arena;
    } else {
        po_fail(err, PO_E_NOMEM, "out of memory for what is found");
    }
    return f;
}

po_status po_faults_hand_back(po_faults *f, const char *const **ret_faults, size_t *ret_n, po_err *err)
{
    if (f->failed) {
        return po_fail(err, PO_E_NOMEM, "out of memory for what is found");
    }
    *ret_faults = f->list;
    *ret_n = f->n;
    return PO_OK;
}

po_status po_ledger_verify(po_ledger *ledger, po_arena *arena, const char *const **ret_faults, size_t *ret_n,
                           po_err *err)
{
    po_faults *f = po_faults_new(arena, err);
    if (!f) {
        return PO_E_NOMEM;
    }
    pthread_mutex_lock(&ledger->asking_lock);
    po_watching w = {.step = ledger->step, .user = ledger->step_user};
    po_status s = po_ledger_verify_store(ledger->asking, po_faults_note, f, &w, err);
    pthread_mutex_unlock(&ledger->asking_lock);
    return s == PO_OK ? po_faults_hand_back(f, ret_faults, ret_n, err) : s;
}

void po_ledger_watch(po_ledger *ledger, po_ledger_step *step, void *user)
{
    ledger->step = step;
    ledger->step_user = user;
}

po_status po_ledger_rebuild(po_ledger *ledger, po_err *err)
{
    if (!ledger->store) {
        return po_fail(err, PO_E_IO, "the book was opened to be read only; nothing can be made anew");
    }
    po_ledger_lead(ledger);
    po_store *store = ledger->store;
    po_status s = po_store_begin(store, true, err);
    for (int t = 0; s == PO_OK && t < PO_T_COUNT; t++) { /* who refers before who is referred to: columns.h */
        int late = PO_T_COUNT - PO_T_MACHINES;
        s = po_store_do(store, NULL, err, po_tables[t < late ? PO_T_COUNT - 1 - t : t - late].empty, "");
    }
    s = s == PO_OK ? po_store_do(store, NULL, err, "DELETE FROM before", "") : s;
    s = s == PO_OK ? po_store_do(store, NULL, err, "DELETE FROM undone", "") : s;
    po_watching w = {.step = ledger->step, .user = ledger->step_user};
    s = s == PO_OK ? po_store_number(store, &w.all, NULL, err, "SELECT max(seq) FROM events", "") : s;
    s = s == PO_OK ? po_events_replay(store, store, &w, err) : s;
    s = s == PO_OK ? po_store_do(store, NULL, err, "UPDATE derived SET version = ?1", "i", (int64_t)PO_SCHEMA_VERSION)
                   : s;
    s = s == PO_OK ? po_store_commit(store, err) : s;
    po_store_rollback(store);
    po_ledger_let_go(ledger);
    return s;
}

po_status po_ledger_derive(po_ledger *ledger, po_err *err)
{
    int64_t version = 0;
    po_status s = po_store_number(ledger->asking, &version, NULL, err, "SELECT version FROM derived", "");
    if (s != PO_OK || version == PO_SCHEMA_VERSION) {
        return s;
    }
    return ledger->store ? po_ledger_rebuild(ledger, err)
                         : po_fail_at(err, PO_E_UNSUPPORTED, po_store_path(ledger->asking), 0, 0,
                                      "the book comes from an older version; open it once for writing");
}

static void first_fault(void *user, const char *sentence)
{
    char *first = user;
    if (!first[0]) {
        snprintf(first, 200, "%s", sentence);
    }
}

po_status po_ledger_backup(po_ledger *ledger, const char *to, po_err *err)
{
    if (access(to, F_OK) == 0) {
        return po_fail_at(err, PO_E_CONFLICT, to, 0, 0, "there is a file of this name already; name another");
    }
    size_t n = strlen(to) + 40;
    char *part = malloc(n), fault[200] = "";
    if (!part) {
        return po_fail(err, PO_E_NOMEM, "out of memory for a name");
    }
    snprintf(part, n, "%s.checking-%ld-%lx", to, (long)getpid(), (unsigned long)(uintptr_t)part);
    pthread_mutex_lock(&ledger->asking_lock);
    po_status s = po_store_copy(ledger->asking, part, err);
    pthread_mutex_unlock(&ledger->asking_lock);
    po_store *copy = NULL;
    po_store_options o = {.wait_ms = 1000, .schema = &po_ledger_schema};
    s = s == PO_OK ? po_store_open(part, &o, &copy, err) : s;
    po_watching w = {.step = ledger->step, .user = ledger->step_user};
    s = s == PO_OK ? po_ledger_verify_store(copy, first_fault, fault, &w, err) : s;
    po_store_close(copy);
    if (s == PO_OK && fault[0]) {
        s = po_fail_at(err, PO_E_SYNTAX, to, 0, 0, "no copy was kept, because the book is not in order: %.160s", fault);
    }
    s = s == PO_OK ? po_store_give_name(part, to, err) : s;
    unlink(part);
    free(part);
    return s;
}
