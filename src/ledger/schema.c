/* What the book's file holds, and how older books become new ones. SPDX-License-Identifier: Apache-2.0
 *
 * events, persons and secrets are what is kept; all other tables follow from the events (columns.h says what each column is). So an
 * older book is brought up by throwing its derived tables away and making the new ones, empty; "derived" then says that they
 * are due, and whoever opens the book makes them from the events before anything else (po_ledger_open).
 * "before" holds what the rows of an act were: an act can be taken back only while its rows are still its own. */
#include "ledger/book.h"
#include "ledger/columns.h"

#define DDL(column, kind) ", " #column " " kind
#define MAKE(name, COLUMNS) "CREATE TABLE " #name "(id INTEGER PRIMARY KEY" COLUMNS(DDL) ") STRICT;"

static const po_schema_step steps[] = {
    {1,
     {
         /* seq: from 1 without gaps. at_ms: never falls. behind_ms: by how much the clock stood behind the last event, else 0.
     * body: canonical JSON. prev, hash: SHA-256, events.c says over what. */
         "CREATE TABLE events(seq INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, behind_ms INTEGER NOT NULL, act TEXT "
         "NOT "
         "NULL,"
         " by TEXT NOT NULL, body TEXT NOT NULL, prev BLOB NOT NULL, hash BLOB NOT NULL) STRICT;",
         "CREATE TRIGGER events_stay BEFORE UPDATE ON events BEGIN SELECT RAISE(ABORT, 'events are never changed'); "
         "END;",
         "CREATE TRIGGER events_remain BEFORE DELETE ON events BEGIN SELECT RAISE(ABORT, 'events are never removed'); "
         "END;",
         /* Not in the chain, not made from events: removed when a person is forgotten. */
         "CREATE TABLE persons(member TEXT PRIMARY KEY, name TEXT, contact TEXT) STRICT, WITHOUT ROWID;",
     }},
    {2,
     {
         /* Hashes of passwords and PINs, beside persons: kept, and made from nothing. changed: another number by chance after
     * every change. */
         "CREATE TABLE IF NOT EXISTS secrets(member TEXT PRIMARY KEY, changed INTEGER NOT NULL, password TEXT, pin "
         "TEXT)"
         " STRICT, WITHOUT ROWID;",
     }},
    /* The derived tables of older versions, so far as the book has them: who refers before who is referred to. Then all of today. */
    {PO_SCHEMA_VERSION,
     {
         "DROP TABLE IF EXISTS before; DROP TABLE IF EXISTS undone; DROP TABLE IF EXISTS derived; DROP TABLE IF EXISTS "
         "notes;",
         "DROP TABLE IF EXISTS weighings; DROP TABLE IF EXISTS files; DROP TABLE IF EXISTS waste; DROP TABLE IF EXISTS "
         "money;",
         "DROP TABLE IF EXISTS funds; DROP TABLE IF EXISTS belongs; DROP TABLE IF EXISTS teams; DROP TABLE IF EXISTS "
         "assignments;",
         "DROP TABLE IF EXISTS courses; DROP TABLE IF EXISTS found; DROP TABLE IF EXISTS rounds; DROP TABLE IF EXISTS "
         "messages;",
         "DROP TABLE IF EXISTS tickets; DROP TABLE IF EXISTS parts; DROP TABLE IF EXISTS takes; DROP TABLE IF EXISTS "
         "proofs;",
         "DROP TABLE IF EXISTS tools; DROP TABLE IF EXISTS spools; DROP TABLE IF EXISTS sticks; DROP TABLE IF EXISTS "
         "machines;",
         "DROP TABLE IF EXISTS draws; DROP TABLE IF EXISTS runs; DROP TABLE IF EXISTS waivers; DROP TABLE IF EXISTS "
         "permits;",
         "DROP TABLE IF EXISTS terms; DROP TABLE IF EXISTS members;",
#define TABLE(id, name, COLUMNS) MAKE(name, COLUMNS),
#include "ledger/tables.inc"
#undef TABLE
         "CREATE INDEX permits_of ON permits(member, permission);",
         "CREATE INDEX permits_for ON permits(permission) WHERE withdrawn_ms IS NULL;",
         "CREATE INDEX permits_lapse ON permits(until_ms) WHERE until_ms IS NOT NULL AND withdrawn_ms IS NULL;",
         "CREATE INDEX waivers_of ON waivers(member);",
         "CREATE INDEX runs_of ON runs(member, term);",
         "CREATE INDEX runs_of_term ON runs(term);",
         "CREATE INDEX runs_of_fund ON runs(fund) WHERE fund IS NOT NULL;",
         "CREATE INDEX runs_of_course ON runs(course, assignment) WHERE course IS NOT NULL;",
         "CREATE INDEX runs_of_team ON runs(team) WHERE team IS NOT NULL;",
         "CREATE INDEX runs_on ON runs(machine, id);",
         "CREATE INDEX runs_at ON runs(out_ms);",
         "CREATE INDEX runs_came_out ON runs(outcome) WHERE outcome IS NOT NULL;",
         "CREATE INDEX runs_dropped ON runs(id) WHERE state = 'dropped';",
         "CREATE INDEX runs_not_back ON runs(state) WHERE state IN ('reserved', 'out', 'ended', 'failed');",
         "CREATE INDEX runs_by ON runs(permit) WHERE permit IS NOT NULL;",
         "CREATE INDEX runs_of_job ON runs(sha256);",
         "CREATE UNIQUE INDEX machine_taken ON runs(machine) WHERE state IN ('out', 'ended', 'failed');",
         "CREATE INDEX draws_of_run ON draws(run);",
         "CREATE INDEX draws_of_waiver ON draws(waiver);",
         "CREATE UNIQUE INDEX tools_of ON tools(machine, tool);",
         "CREATE UNIQUE INDEX tool_with ON tools(spool) WHERE spool IS NOT NULL;",
         "CREATE INDEX sticks_of ON sticks(machine);",
         "CREATE INDEX spools_in_use ON spools(material) WHERE state <> 'empty';",
         "CREATE UNIQUE INDEX proofs_of ON proofs(sha256, machine);",
         "CREATE INDEX proofs_named ON proofs(machine, file);",
         "CREATE INDEX proofs_on ON proofs(machine, proved_ms);",
         "CREATE INDEX proofs_at ON proofs(proved_ms);",
         "CREATE INDEX takes_of_run ON takes(run);",
         "CREATE INDEX takes_of_spool ON takes(spool);",
         "CREATE UNIQUE INDEX place_taken ON parts(place) WHERE state = 'shelf' AND place IS NOT NULL;",
         "CREATE INDEX parts_of ON parts(run);",
         "CREATE INDEX parts_on_shelf ON parts(kept_until_ms) WHERE state = 'shelf';",
         "CREATE INDEX tickets_waiting ON tickets(taken_ms) WHERE state IN ('waiting', 'called');",
         "CREATE INDEX tickets_of ON tickets(member); CREATE INDEX tickets_for ON tickets(run) WHERE run IS NOT NULL;",
         "CREATE INDEX messages_waiting ON messages(at_ms) WHERE state = 'waiting';",
         "CREATE INDEX messages_of ON messages(run); CREATE INDEX messages_to ON messages(member);",
         "CREATE INDEX messages_dropped ON messages(id) WHERE state = 'dropped';",
         "CREATE UNIQUE INDEX found_at ON found(round, machine); CREATE INDEX found_of ON found(machine);",
         "CREATE INDEX rounds_open ON rounds(id) WHERE done_ms IS NULL;",
         "CREATE UNIQUE INDEX assignments_of ON assignments(course, assignment);",
         "CREATE INDEX belongs_to ON belongs(team, member);",
         "CREATE INDEX belongs_of ON belongs(member);",
         "CREATE INDEX money_of ON money(member);",
         "CREATE INDEX money_at ON money(at_ms);",
         "CREATE INDEX waivers_at ON waivers(given_ms);",
         "CREATE INDEX money_for ON money(run) WHERE run IS NOT NULL;",
         "CREATE INDEX files_of_run ON files(run);",
         "CREATE INDEX files_with ON files(sha256);",
         "CREATE INDEX files_of_machine ON files(machine) WHERE machine IS NOT NULL;",
         "CREATE INDEX waste_of_run ON waste(run);",
         "CREATE INDEX weighings_of ON weighings(spool);",
         "CREATE INDEX waste_at ON waste(at_ms);",
         "CREATE INDEX measures_of ON measures(machine, kind, at_ms); CREATE INDEX measures_at ON measures(at_ms);",
         "CREATE INDEX cares_of ON cares(machine, task, at_ms); CREATE INDEX cares_at ON cares(at_ms);",
         "CREATE INDEX replaced_of ON replaced(machine, part, at_ms); CREATE INDEX replaced_at ON replaced(at_ms);",
         "CREATE INDEX troubles_open ON troubles(id) WHERE closed_ms IS NULL; CREATE INDEX troubles_of ON "
         "troubles(machine);",
         "CREATE INDEX troubles_about ON troubles(run) WHERE run IS NOT NULL; CREATE UNIQUE INDEX looks_of ON "
         "looks(trouble, looked);",
         "CREATE INDEX papers_of ON papers(member, study); CREATE INDEX papers_on ON papers(study);",
         "CREATE INDEX papers_open ON papers(id) WHERE state = 'open'; CREATE UNIQUE INDEX answers_of ON "
         "answers(paper, question);",
         "CREATE INDEX practices_of ON practices(member, study); CREATE INDEX practices_on ON practices(study);",
         "CREATE UNIQUE INDEX allowed_of ON allowed(member);",
         /* was: the row as a JSON object; null = the event made it. Kept for the last PO_BEFORE_KEPT events. */
         "CREATE TABLE before(event INTEGER NOT NULL, n INTEGER NOT NULL, tbl INTEGER NOT NULL, id INTEGER NOT NULL, "
         "was "
         "TEXT,"
         " PRIMARY KEY(event, n)) STRICT, WITHOUT ROWID;",
         "CREATE TABLE undone(event INTEGER PRIMARY KEY, undo INTEGER NOT NULL) STRICT;",
         /* version: for which the derived tables were made; less than that of the file: they are due */
         "CREATE TABLE derived(version INTEGER NOT NULL) STRICT;",
         "INSERT INTO derived SELECT iif(EXISTS(SELECT 1 FROM events), 0, 3);",
     }}};
const po_schema po_ledger_schema = {0x50724c67u /* "PrLg" */, steps, sizeof steps / sizeof steps[0]};

/* The formatter never comes to rest on these. */
/* clang-format off */
#define NAME(c, kind) ", " #c
#define PAIR(c, kind) ", '" #c "', " #c
#define PULL(c, kind) ", json_extract(?1, '$." #c "')"
#define NUMBER_(n) #n
#define NUMBER(n) NUMBER_(n)

/* A row is restored without its id, which it has: naming it would make SQLite look for all that refers to it. Of a column that
 * is named twice, as "last", the second counts.
 * The number of a table stands in "before" as text of SQL: ?4 would do, but the texts are constants. */
const po_table_sql po_tables[PO_T_COUNT] = {
#define TABLE(id, table, COLUMNS)                                                                                      \
    [PO_T_##id] = {#table,                                                                                             \
     "INSERT INTO before(event, n, tbl, id, was) SELECT ?1, ?2, ?4, id, json_object('id', id" COLUMNS(PAIR)            \
     ") FROM " #table " WHERE id = ?3",                                                                                \
     "SELECT last FROM " #table " WHERE id = ?1",                                                                      \
     "UPDATE " #table " SET (last" COLUMNS(NAME) ") = (SELECT 0" COLUMNS(PULL) ") WHERE id = ?2",                       \
     "DELETE FROM " #table " WHERE id = ?1", "DELETE FROM " #table, "SELECT * FROM " #table " ORDER BY id",                                \
     "SELECT coalesce(max(id), 0) + 1 FROM " #table},
#include "ledger/tables.inc"
#undef TABLE
};
/* clang-format on */
