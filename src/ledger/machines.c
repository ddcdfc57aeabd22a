/* Machines: in use, tagged out, resting, retired; what is fitted and loaded; gap checks. SPDX-License-Identifier: Apache-2.0
 *
 * The shop file says which machines there are; the book has a row for each that was ever named in an act. Whether a machine is
 * out stands with its run alone, so the two can't disagree. A tag is stronger than anything: it may be put on a machine that
 * is out or rests, and only machine-clear takes it off. */
#include <stdio.h>
#include <string.h>

#include "ledger/book.h"

enum { TOOLS_MOST = 8, NOZZLE_LEAST_UM = 50, NOZZLE_MOST_UM = 5000, GAP_MOST_UM = 2000 };

typedef enum machine_state { IN_USE, TAGGED_OUT, RESTING, RETIRED } machine_state;
static const char *const state_words[] = {"in-use", "tagged-out", "resting", "retired"};

typedef struct machine_row {
    int64_t id; /* 0: the book has none yet, and so it is in use */
    machine_state state;
    char since[24], reason[104];
} machine_row;

typedef struct out_run {
    int64_t run; /* 0: it is not out */
    bool printing, part_on;
    char member[72];
} out_run;

po_status po_machine_row(po_book *book, const char *machine, int64_t *ret_id, po_err *err)
{
    bool found = false;
    po_status s = po_store_number(book->store, ret_id, &found, err, "SELECT id FROM machines WHERE machine = ?1", "t",
                                  machine);
    if (s != PO_OK || found) {
        return s;
    }
    s = po_book_next_id(book, PO_T_MACHINES, ret_id, err);
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO machines(id, last, machine, state) VALUES(?1, ?2, ?3, 'in-use')", "iit",
                                 *ret_id, book->event, machine)
                   : s;
    return s == PO_OK ? po_book_made(book, PO_T_MACHINES, *ret_id, err) : s;
}

static po_status read_machine(po_store *store, const char *machine, machine_row *ret, po_err *err)
{
    po_rows *rows = NULL;
    machine_row m = {0};
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT id, state, strftime('%Y-%m-%d %H:%M', since_ms / 1000, 'unixepoch'), reason FROM "
        "machines WHERE machine = ?1",
        "t", machine);
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        m.id = po_rows_int(rows, 0);
        while (m.state < RETIRED && strcmp(state_words[m.state], po_rows_word(rows, 1)) != 0) {
            m.state++;
        }
        po_cut_text(m.since, sizeof m.since, po_rows_text(rows, 2));
        po_cut_text(m.reason, sizeof m.reason, po_rows_text(rows, 3));
    }
    *ret = m;
    return po_rows_end(rows, err);
}

/* The run with which a machine is out. */
static po_status read_out(po_store *store, const char *machine, out_run *ret, po_err *err)
{
    po_rows *rows = NULL;
    out_run o = {0};
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT r.id, r.state <> 'out' AND r.off_ms IS NULL, m.member, r.state = 'out' FROM runs r JOIN members m "
        "ON m.id = r.member WHERE r.machine = ?1 AND r.state IN ('out', 'ended', 'failed')",
        "t", machine);
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        o.run = po_rows_int(rows, 0);
        o.part_on = po_rows_int(rows, 1) != 0;
        po_cut_text(o.member, sizeof o.member, po_rows_text(rows, 2));
        o.printing = po_rows_int(rows, 3) != 0;
    }
    *ret = o;
    return po_rows_end(rows, err);
}

/* Why the state of a machine does not allow what is asked; IN_USE: it does. */
static po_status refuse_state(const char *machine, const machine_row *m, po_err *err)
{
    switch (m->state) {
    case TAGGED_OUT:
        return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0,
                          "%s is tagged out since %s UTC (%s): machine clear puts it in use", machine, m->since,
                          m->reason);
    case RESTING:
        return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0,
                          "%s rests since %s UTC (%s): machine clear puts it in use", machine, m->since, m->reason);
    case RETIRED:
        return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0, "%s left the shop on %.10s (%s); name another machine",
                          machine, m->since, m->reason);
    case IN_USE:
    default:
        return PO_OK;
    }
}

static po_status refuse_out(const char *machine, const out_run *o, const char *first, po_err *err)
{
    return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0, "%s is out with member %s (run %lld)%s; %s", machine,
                      o->member, (long long)o->run, o->part_on ? " and its part is still on it" : "", first);
}

po_status po_machine_may_go_out(po_store *store, const char *machine, po_err *err)
{
    machine_row m = {0};
    out_run o = {0};
    po_status s = read_machine(store, machine, &m, err);
    s = s == PO_OK ? refuse_state(machine, &m, err) : s;
    s = s == PO_OK ? read_out(store, machine, &o, err) : s;
    return s != PO_OK || !o.run
               ? s
               : refuse_out(machine, &o,
                            o.part_on ? "take off the part, then take the machine back" : "take it back first", err);
}

/* The machine of the body, whose row is about to change; a retired one is refused, for nothing happens to it any more. */
static po_status take_machine(po_book *book, machine_row *ret, out_run *ret_out, po_err *err)
{
    const char *machine = po_field_text(book->body, "machine");
    int64_t id = 0;
    po_status s = po_machine_row(book, machine, &id, err);
    s = s == PO_OK ? read_machine(book->store, machine, ret, err) : s;
    s = s == PO_OK && ret->state == RETIRED ? refuse_state(machine, ret, err) : s;
    s = s == PO_OK ? read_out(book->store, machine, ret_out, err) : s;
    s = s == PO_OK ? po_book_touch(book, PO_T_MACHINES, id, err) : s;
    po_book_answer_text(book, "machine", machine);
    if (s == PO_OK && ret_out->run) {
        po_book_answer_int(book, "run", ret_out->run);
    }
    return s;
}

static po_status set_state(po_book *book, int64_t id, machine_state state, po_err *err)
{
    return po_store_do(
        book->store, NULL, err,
        "UPDATE machines SET last = ?1, state = ?2, reason = ?3, photo = ?4, since_ms = ?5 WHERE id = ?6", "itttii",
        book->event, state_words[state], po_field_text(book->body, "reason"), po_field_text(book->body, "photo"),
        book->at_ms, id);
}

po_status po_apply_machine_tag(po_book *book, po_err *err)
{
    machine_row m = {0};
    out_run o = {0};
    po_status s = take_machine(book, &m, &o, err);
    s = s == PO_OK && m.state == TAGGED_OUT ? refuse_state(po_field_text(book->body, "machine"), &m, err) : s;
    return s == PO_OK ? set_state(book, m.id, TAGGED_OUT, err) : s;
}

po_status po_apply_machine_rest(po_book *book, po_err *err)
{
    const char *machine = po_field_text(book->body, "machine");
    machine_row m = {0};
    out_run o = {0};
    po_status s = take_machine(book, &m, &o, err);
    s = s == PO_OK ? refuse_state(machine, &m, err) : s;
    if (s == PO_OK && o.run) {
        return refuse_out(machine, &o, "take it back before its care", err);
    }
    return s == PO_OK ? set_state(book, m.id, RESTING, err) : s;
}

po_status po_apply_machine_clear(po_book *book, po_err *err)
{
    machine_row m = {0};
    out_run o = {0};
    po_status s = take_machine(book, &m, &o, err);
    if (s == PO_OK && m.state == IN_USE) {
        return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0, "%s is in use: it has no tag and does not rest",
                          po_field_text(book->body, "machine"));
    }
    return s == PO_OK ? set_state(book, m.id, IN_USE, err) : s;
}

/* Spools stay in the shop when their machine leaves it. */
static po_status unload_all(po_book *book, int64_t machine, po_err *err)
{
    int64_t tool = 0;
    po_status s = PO_OK;
    for (bool found = true; s == PO_OK && found;) {
        s = po_store_number(book->store, &tool, &found, err,
                            "SELECT id FROM tools WHERE machine = ?1 AND spool IS NOT NULL ORDER BY tool LIMIT 1", "i",
                            machine);
        if (s == PO_OK && found) {
            s = po_book_touch(book, PO_T_TOOLS, tool, err);
            s = s == PO_OK
                    ? po_store_do(book->store, NULL, err, "UPDATE tools SET last = ?1, spool = NULL WHERE id = ?2",
                                  "ii", book->event, tool)
                    : s;
        }
    }
    return s;
}

po_status po_apply_machine_retire(po_book *book, po_err *err)
{
    const char *machine = po_field_text(book->body, "machine");
    machine_row m = {0};
    out_run o = {0};
    int64_t reserved = 0, sticks = 0;
    bool found = false;
    po_status s = take_machine(book, &m, &o, err);
    if (s == PO_OK && o.run) {
        return refuse_out(machine, &o, "take it back before it leaves", err);
    }
    /* the plus keeps the machine's whole past from being searched for the few that wait */
    s = s == PO_OK ? po_store_number(book->store, &reserved, &found, err,
                                     "SELECT id FROM runs WHERE +machine = ?1 AND state IN ('reserved', 'out', "
                                     "'ended', 'failed') ORDER BY id LIMIT 1",
                                     "t", machine)
                   : s;
    if (s == PO_OK && found) {
        return po_fail_at(err, PO_E_CONFLICT, "machine", 0, 0,
                          "run %lld is reserved on %s; drop it, or hand it out on another machine", (long long)reserved,
                          machine);
    }
    s = s == PO_OK ? unload_all(book, m.id, err) : s;
    s = s == PO_OK ? set_state(book, m.id, RETIRED, err) : s;
    s = s == PO_OK ? po_store_number(book->store, &sticks, NULL, err,
                                     "SELECT count(*) FROM sticks WHERE machine = ?1 AND state <> 'retired'", "i", m.id)
                   : s;
    po_book_answer_int(book, "sticks", sticks);
    return s;
}

typedef struct fitting {
    int64_t machine, tool, spool; /* spool -1: stays as it is; 0: comes off; else goes on */
    int64_t nozzle_um;            /* 0: stays */
} fitting;

/* The row of a tool; *ret_spool 0: none is loaded. */
static po_status tool_row(po_book *book, const fitting *f, int64_t *ret_id, int64_t *ret_spool, po_err *err)
{
    po_rows *rows = NULL;
    *ret_id = *ret_spool = 0;
    po_status s = po_store_ask(book->store, &rows, err,
                               "SELECT id, coalesce(spool, 0) FROM tools WHERE machine = ?1 AND tool = ?2", "ii",
                               f->machine, f->tool);
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        *ret_id = po_rows_int(rows, 0);
        *ret_spool = po_rows_int(rows, 1);
    }
    return po_rows_end(rows, err);
}

/* Take a spool from the machine where it is loaded now, if any. */
static po_status leave_place(po_book *book, const char *name, const fitting *f, po_err *err)
{
    po_rows *rows = NULL;
    out_run o = {0};
    char machine[72] = "";
    int64_t row = 0, there = 0, tool = 0;
    po_status s = po_store_ask(book->store, &rows, err,
                               "SELECT t.id, m.id, t.tool, m.machine FROM tools t JOIN machines m ON m.id = t.machine "
                               "WHERE t.spool = ?1",
                               "i", f->spool);
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        row = po_rows_int(rows, 0);
        there = po_rows_int(rows, 1);
        tool = po_rows_int(rows, 2);
        po_cut_text(machine, sizeof machine, po_rows_text(rows, 3));
    }
    s = po_rows_end(rows, err);
    if (s != PO_OK || !row) {
        return s;
    }
    if (there == f->machine && tool == f->tool) {
        return po_fail_at(err, PO_E_CONFLICT, "spool", 0, 0, "spool %s is loaded there already, on tool %lld of %s",
                          name, (long long)tool, machine);
    }
    s = read_out(book->store, machine, &o, err);
    if (s == PO_OK && o.printing && there != f->machine) {
        return po_fail_at(err, PO_E_CONFLICT, "spool", 0, 0,
                          "spool %s is on %s, which is out with member %s (run %lld): load another one there first",
                          name, machine, o.member, (long long)o.run);
    }
    /* before the row that gets it: an undo goes backwards, and a spool is never in two places */
    s = s == PO_OK ? po_book_touch(book, PO_T_TOOLS, row, err) : s;
    po_book_answer_text(book, "came_from", machine);
    return s == PO_OK ? po_store_do(book->store, NULL, err, "UPDATE tools SET last = ?1, spool = NULL WHERE id = ?2",
                                    "ii", book->event, row)
                      : s;
}

/* The spool of the body, fit to be loaded; a sealed one is opened by it. */
static po_status take_spool(po_book *book, fitting *f, po_err *err)
{
    const char *name = po_field_text(book->body, "spool");
    po_spool spool = {0};
    po_status s = po_spool_find(book->store, name, &spool, err);
    if (s == PO_OK && (strcmp(spool.state, "empty") == 0 || strcmp(spool.state, "drying") == 0)) {
        return po_fail_at(err, PO_E_CONFLICT, "spool", 0, 0,
                          spool.state[0] == 'e' ? "spool %s was booked as empty; load another one"
                                                : "spool %s is in the dryer; spool dried books that it is out",
                          name);
    }
    f->spool = spool.id;
    s = s == PO_OK ? leave_place(book, name, f, err) : s;
    if (s == PO_OK && strcmp(spool.state, "sealed") == 0) {
        s = po_book_touch(book, PO_T_SPOOLS, spool.id, err);
        s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                     "UPDATE spools SET last = ?1, state = 'open', opened_ms = ?2 WHERE id = ?3", "iii",
                                     book->event, book->at_ms, spool.id)
                       : s;
    }
    return s;
}

static po_status fit_tool(po_book *book, fitting *f, po_err *err)
{
    po_rows *rows = NULL;
    int64_t row = 0, loaded = 0;
    po_status s = po_field_has(book->body, "spool") ? take_spool(book, f, err) : PO_OK;
    s = s == PO_OK ? tool_row(book, f, &row, &loaded, err) : s;
    if (s == PO_OK && f->spool == 0 && !loaded) {
        return po_fail_at(err, PO_E_CONFLICT, "unload", 0, 0, "no spool is loaded on tool %lld of %s",
                          (long long)f->tool, po_field_text(book->body, "machine"));
    }
    if (s == PO_OK && loaded && f->spool >= 0) {
        s = po_store_ask(book->store, &rows, err, "SELECT spool FROM spools WHERE id = ?1", "i", loaded);
        if (s == PO_OK) {
            po_book_answer_text(book, "came_off", po_rows_next(rows) ? po_rows_text(rows, 0) : NULL);
            s = po_rows_end(rows, err);
        }
    }
    if (s == PO_OK && !row) {
        s = po_book_next_id(book, PO_T_TOOLS, &row, err);
        s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                     "INSERT INTO tools(id, last, machine, tool) VALUES(?1, ?2, ?3, ?4)", "iiii", row,
                                     book->event, f->machine, f->tool)
                       : s;
        s = s == PO_OK ? po_book_made(book, PO_T_TOOLS, row, err) : s;
    }
    s = s == PO_OK ? po_book_touch(book, PO_T_TOOLS, row, err) : s;
    return s == PO_OK
               ? po_store_do(book->store, NULL, err,
                             "UPDATE tools SET last = ?1, nozzle_um = coalesce(nullif(?2, 0), nozzle_um), spool = "
                             "iif(?3 < 0, spool, nullif(?3, 0)) WHERE id = ?4",
                             "iiii", book->event, f->nozzle_um, f->spool, row)
               : s;
}

/* What the fields of a fitting say by themselves. */
static po_status read_fitting(const json_t *b, fitting *ret, po_err *err)
{
    bool nozzle = po_field_has(b, "nozzle_um"), spool = po_field_has(b, "spool"), unload = po_field_flag(b, "unload");
    fitting f = {.tool = po_field_int(b, "tool"), .nozzle_um = po_field_int(b, "nozzle_um"), .spool = unload ? 0 : -1};
    if (!nozzle && !spool && !unload && !po_field_has(b, "surface")) {
        return po_fail_at(err, PO_E_RANGE, "machine", 0, 0,
                          "say what is fitted: a nozzle, a spool, no spool any more (unload), or a surface");
    }
    if (spool && unload) {
        return po_fail_at(err, PO_E_RANGE, "unload", 0, 0,
                          "a spool is either loaded or unloaded; the one that was there leaves by itself");
    }
    if (f.tool >= TOOLS_MOST) {
        return po_fail_at(err, PO_E_RANGE, "tool", 0, 0, "a machine has at most %d tools, 0 to %d", TOOLS_MOST,
                          TOOLS_MOST - 1);
    }
    if (nozzle && (f.nozzle_um < NOZZLE_LEAST_UM || f.nozzle_um > NOZZLE_MOST_UM)) {
        return po_fail_at(err, PO_E_RANGE, "nozzle_um", 0, 0, "a nozzle is 0.05 mm to 5 mm wide, that is %d to %d um",
                          NOZZLE_LEAST_UM, NOZZLE_MOST_UM);
    }
    *ret = f;
    return PO_OK;
}

po_status po_apply_machine_fit(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    const char *surface = po_field_text(b, "surface");
    fitting f = {0};
    machine_row m = {0};
    out_run o = {0};
    po_status s = read_fitting(b, &f, err);
    s = s == PO_OK ? take_machine(book, &m, &o, err) : s;
    bool gap_due = surface || f.nozzle_um; /* the first layer's gap is another one from now on */
    if (s == PO_OK && gap_due && o.run) {  /* a spool may be changed in mid run */
        return refuse_out(po_field_text(b, "machine"), &o, "its nozzle and surface stay until it is back", err);
    }
    f.machine = m.id;
    s = s == PO_OK && (f.spool >= 0 || po_field_has(b, "spool") || f.nozzle_um) ? fit_tool(book, &f, err) : s;
    if (book->answer) {
        book->answer_failed |= json_object_set_new(book->answer, "gap_due", json_boolean(gap_due)) != 0;
    }
    /* A check at this very time was before the fitting: the book's time stands still while a clock that was set back
     * catches up, and such a check must not count as one after it. */
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE machines SET last = ?1, surface = coalesce(?2, surface), fitted_ms = "
                                    "iif(?3, ?4, fitted_ms), gap_by = iif(?3 AND gap_ms >= ?4, NULL, gap_by), gap_um = "
                                    "iif(?3 AND gap_ms >= ?4, NULL, gap_um), gap_ms = iif(?3 AND gap_ms >= ?4, NULL, "
                                    "gap_ms) WHERE id = ?5",
                                    "itiii", book->event, surface, (int64_t)gap_due, book->at_ms, m.id)
                      : s;
}

po_status po_apply_machine_gap(po_book *book, po_err *err)
{
    int64_t um = po_field_has(book->body, "um") ? po_field_int(book->body, "um") : -1;
    machine_row m = {0};
    out_run o = {0};
    if (um > GAP_MOST_UM) {
        return po_fail_at(err, PO_E_RANGE, "um", 0, 0, "a gap between nozzle and bed is at most 2 mm, that is %d um",
                          GAP_MOST_UM);
    }
    po_status s = take_machine(book, &m, &o, err);
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE machines SET last = ?1, gap_ms = ?2, gap_by = ?3, gap_um = nullif(?4, -1) "
                                    "WHERE id = ?5",
                                    "iitii", book->event, book->at_ms, book->by, um, m.id)
                      : s;
}
