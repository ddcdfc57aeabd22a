/* The tables of the book, column by column, and how they come about. SPDX-License-Identifier: Apache-2.0
 *
 * events and persons are what is kept; all others follow from the events. A row of a derived table has an id (the number of
 * the event that made it; draws are counted) and `last`, the event that wrote it last: an act can be taken back only while
 * its rows are still its own. "before" holds what those rows were. */
#include "ledger/book.h"

static const char version_1[] =
    /* seq: from 1 without gaps. at_ms: never falls. behind_ms: by how much the clock stood behind the last event, else 0.
     * body: canonical JSON. prev, hash: SHA-256, events.c says over what. */
    "CREATE TABLE events(seq INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, behind_ms INTEGER NOT NULL, act TEXT NOT "
    "NULL,"
    " by TEXT NOT NULL, body TEXT NOT NULL, prev BLOB NOT NULL, hash BLOB NOT NULL) STRICT;"
    "CREATE TRIGGER events_stay BEFORE UPDATE ON events BEGIN SELECT RAISE(ABORT, 'events are never changed'); END;"
    "CREATE TRIGGER events_remain BEFORE DELETE ON events BEGIN SELECT RAISE(ABORT, 'events are never removed'); END;"
    /* Not in the chain, not made from events: removed when a person is forgotten. */
    "CREATE TABLE persons(member TEXT PRIMARY KEY, name TEXT, contact TEXT) STRICT, WITHOUT ROWID;"
    /* state: active, suspended (until_ms: null = until resumed), forgotten */
    "CREATE TABLE members(id INTEGER PRIMARY KEY, last INTEGER NOT NULL, member TEXT NOT NULL UNIQUE, role TEXT NOT "
    "NULL,"
    " state TEXT NOT NULL, reason TEXT, until_ms INTEGER) STRICT;"
    /* until_ms: null = without end */
    "CREATE TABLE permits(id INTEGER PRIMARY KEY, last INTEGER NOT NULL, member INTEGER NOT NULL REFERENCES "
    "members(id),"
    " permission TEXT NOT NULL, given_by TEXT NOT NULL, given_ms INTEGER NOT NULL, until_ms INTEGER, withdrawn_ms "
    "INTEGER,"
    " reason TEXT) STRICT;"
    "CREATE INDEX permits_of ON permits(member, permission);"
    /* from_ms <= t < until_ms; closed_ms: null = open */
    "CREATE TABLE terms(id INTEGER PRIMARY KEY, last INTEGER NOT NULL, term TEXT NOT NULL UNIQUE, from_ms INTEGER NOT "
    "NULL,"
    " until_ms INTEGER NOT NULL, allowance_um INTEGER NOT NULL, closed_ms INTEGER) STRICT;"
    /* sha256: null = for any job */
    "CREATE TABLE waivers(id INTEGER PRIMARY KEY, last INTEGER NOT NULL, member INTEGER NOT NULL REFERENCES "
    "members(id),"
    " um INTEGER NOT NULL, reason TEXT NOT NULL, asked_by TEXT NOT NULL, given_by TEXT NOT NULL, given_ms INTEGER NOT "
    "NULL,"
    " sha256 TEXT, until_ms INTEGER, withdrawn_ms INTEGER) STRICT;"
    "CREATE INDEX waivers_of ON waivers(member);"
    /* state: out, ended, failed, back. term, permit: null = none. counts: 1 until an outcome says 0.
     * charge_um: what the run takes from the term's allowance; with what its draws take from waivers it is
     * used_um, else failed_um, else reserved_um, or 0 where it does not count. */
    "CREATE TABLE runs(id INTEGER PRIMARY KEY, last INTEGER NOT NULL, member INTEGER NOT NULL REFERENCES members(id),"
    " term INTEGER REFERENCES terms(id), permit INTEGER REFERENCES permits(id), machine TEXT NOT NULL, stick TEXT, "
    "spool TEXT,"
    " sha256 TEXT NOT NULL, purpose TEXT, by TEXT NOT NULL, state TEXT NOT NULL, out_ms INTEGER NOT NULL,"
    " reserved_um INTEGER NOT NULL, reserved_seconds INTEGER, run_limit_um INTEGER, ended_ms INTEGER, failed_um "
    "INTEGER,"
    " failed_seconds INTEGER, symptom TEXT, back_ms INTEGER, used_um INTEGER, used_mg INTEGER, figure TEXT, condition "
    "TEXT,"
    " outcome TEXT, cause TEXT, counts INTEGER NOT NULL, rerun_first INTEGER NOT NULL, charge_um INTEGER NOT NULL) "
    "STRICT;"
    "CREATE INDEX runs_of ON runs(member, term);"
    "CREATE UNIQUE INDEX machine_taken ON runs(machine) WHERE state <> 'back';"
    /* what a run takes from a waiver */
    "CREATE TABLE draws(id INTEGER PRIMARY KEY, last INTEGER NOT NULL, run INTEGER NOT NULL REFERENCES runs(id),"
    " waiver INTEGER NOT NULL REFERENCES waivers(id), um INTEGER NOT NULL) STRICT;"
    "CREATE INDEX draws_of_run ON draws(run);"
    "CREATE INDEX draws_of_waiver ON draws(waiver);"
    /* was: the row as a JSON object; null = the event made it. Kept for the last PO_BEFORE_KEPT events. */
    "CREATE TABLE before(event INTEGER NOT NULL, n INTEGER NOT NULL, tbl INTEGER NOT NULL, id INTEGER NOT NULL, was "
    "TEXT,"
    " PRIMARY KEY(event, n)) STRICT, WITHOUT ROWID;"
    "CREATE TABLE undone(event INTEGER PRIMARY KEY, undo INTEGER NOT NULL) STRICT;";

static const po_schema_step steps[] = {{1, version_1}};
const po_schema po_ledger_schema = {0x50724c67u /* "PrLg" */, steps, sizeof steps / sizeof steps[0]};

/* The formatter never comes to rest on these. */
/* clang-format off */
#define NAME(c) ", " #c
#define PAIR(c) ", '" #c "', " #c
#define PULL(c) ", json_extract(?1, '$." #c "')"
#define MEMBERS(F) F(last) F(member) F(role) F(state) F(reason) F(until_ms)
#define PERMITS(F) F(last) F(member) F(permission) F(given_by) F(given_ms) F(until_ms) F(withdrawn_ms) F(reason)
#define TERMS(F) F(last) F(term) F(from_ms) F(until_ms) F(allowance_um) F(closed_ms)
#define WAIVERS(F)                                                                                                     \
    F(last) F(member) F(um) F(reason) F(asked_by) F(given_by) F(given_ms) F(sha256) F(until_ms) F(withdrawn_ms)
#define RUNS(F)                                                                                                        \
    F(last)                                                                                                            \
    F(member)                                                                                                          \
    F(term)                                                                                                            \
    F(permit) F(machine) F(stick) F(spool) F(sha256) F(purpose) F(by) F(state) F(out_ms) F(reserved_um)                \
        F(reserved_seconds) F(run_limit_um) F(ended_ms) F(failed_um) F(failed_seconds) F(symptom) F(back_ms)           \
            F(used_um) F(used_mg) F(figure) F(condition) F(outcome) F(cause) F(counts) F(rerun_first) F(charge_um)
#define DRAWS(F) F(last) F(run) F(waiver) F(um)

#define TABLE(number, table, COLUMNS)                                                                                  \
    {                                                                                                                  \
#table,                                                                                                        \
            "INSERT INTO before(event, n, tbl, id, was) SELECT ?1, ?2, " number                                        \
            ", id, json_object('id', id" COLUMNS(PAIR) ") FROM " #table " WHERE id = ?3",                              \
            "INSERT INTO before(event, n, tbl, id, was) VALUES(?1, ?2, " number ", ?3, NULL)",                         \
            "SELECT last FROM " #table " WHERE id = ?1",                                                               \
            "UPDATE " #table " SET (id" COLUMNS(NAME) ") = (SELECT ?2" COLUMNS(PULL) ") WHERE id = ?2",                \
            "DELETE FROM " #table " WHERE id = ?1", "DELETE FROM " #table, "SELECT * FROM " #table " ORDER BY id"      \
    }

/* in the order of po_table; the numbers stand in the table "before" */
const po_table_sql po_tables[PO_T_COUNT] = {TABLE("0", draws, DRAWS),     TABLE("1", runs, RUNS),
                                            TABLE("2", waivers, WAIVERS), TABLE("3", permits, PERMITS),
                                            TABLE("4", terms, TERMS),     TABLE("5", members, MEMBERS)};
/* clang-format on */
