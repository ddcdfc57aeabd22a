/* The derived tables of the book, column by column: one list for making, keeping and restoring rows. SPDX-License-Identifier: Apache-2.0
 *
 * Every row has an id (the number of the event that made it, unless it is counted) and `last`, the event that wrote it last.
 * Lengths in um, masses in mg, money in minor units, times in ms of UTC; is_ and plain flags 0 or 1. null: none, unknown.
 * A table refers only to tables with lower numbers, but for the six first ones (see PO_T_EMPTY_ORDER). */
#ifndef PO_LEDGER_COLUMNS_H
#define PO_LEDGER_COLUMNS_H

/* clang-format off */
#define KEY_ "INTEGER NOT NULL"
#define ZERO_ "INTEGER NOT NULL DEFAULT 0"
#define TEXT_ "TEXT NOT NULL"
#define TO_(t) "INTEGER NOT NULL REFERENCES " #t "(id)"
#define MAY_TO_(t) "INTEGER REFERENCES " #t "(id)"

/* what a run takes from a waiver (counted) */
#define C_DRAWS(F) F(last, KEY_) F(run, TO_(runs)) F(waiver, TO_(waivers)) F(um, KEY_)
/* state: reserved, out, ended, failed, back, dropped. out_ms: hand-out (of a reservation: when it was made, until then).
 * term: whose allowance it takes from; fund: who pays instead. charge_um: what it takes from the term's allowance; with what
 * its draws take from waivers and beyond_um it is used_um, else failed_um, else reserved_um; or 0 where it does not count
 * or waits; a fund's run takes all from the fund (fund_um). counts: 1 until an outcome says 0. real_seconds: what the machine's clock or the
 * desk's said. off_to: shelf, member, waste. first_layer: good, poor. */
#define C_RUNS(F) F(last, KEY_) F(member, TO_(members)) F(term, MAY_TO_(terms)) F(permit, MAY_TO_(permits)) F(machine, "TEXT") \
    F(stick, "TEXT") F(spool, "TEXT") F(sha256, "TEXT") F(file, "TEXT") F(recipe, "TEXT") F(verdict, "TEXT") F(leave, "TEXT") \
    F(course, "TEXT") F(assignment, "TEXT") F(team, "TEXT") F(fund, "TEXT") F(purpose, "TEXT") F(by, TEXT_) F(state, TEXT_) \
    F(reserved_ms, "INTEGER") F(promised_ms, "INTEGER") F(due_ms, "INTEGER") F(out_ms, KEY_) F(reserved_um, KEY_) \
    F(reserved_seconds, "INTEGER") F(run_limit_um, "INTEGER") F(started_ms, "INTEGER") F(watched_ms, "INTEGER") \
    F(first_layer, "TEXT") F(seen_by, "TEXT") F(ended_ms, "INTEGER") F(real_seconds, "INTEGER") F(failed_um, "INTEGER") \
    F(failed_seconds, "INTEGER") F(symptom, "TEXT") F(off_ms, "INTEGER") F(off_to, "TEXT") F(back_ms, "INTEGER") \
    F(used_um, "INTEGER") F(used_mg, "INTEGER") F(figure, "TEXT") F(condition, "TEXT") F(stick_there, "INTEGER") \
    F(outcome, "TEXT") F(cause, "TEXT") F(counts, KEY_) F(rerun_first, KEY_) F(charge_um, KEY_) F(fund_um, ZERO_) \
    F(fund_minor, ZERO_) F(beyond, "TEXT") F(beyond_um, ZERO_) F(beyond_minor, ZERO_) F(price_minor_kg, "INTEGER") \
    F(currency, "TEXT") F(diameter_um, "INTEGER") F(density_mg_cm3, "INTEGER")
/* sha256: null = for any job */
#define C_WAIVERS(F) F(last, KEY_) F(member, TO_(members)) F(um, KEY_) F(reason, TEXT_) F(asked_by, TEXT_) F(given_by, TEXT_) \
    F(given_ms, KEY_) F(sha256, "TEXT") F(until_ms, "INTEGER") F(withdrawn_ms, "INTEGER")
#define C_PERMITS(F) F(last, KEY_) F(member, TO_(members)) F(permission, TEXT_) F(given_by, TEXT_) F(given_ms, KEY_) \
    F(until_ms, "INTEGER") F(withdrawn_ms, "INTEGER") F(reason, "TEXT")
/* from_ms <= t < until_ms; closed_ms: null = open */
#define C_TERMS(F) F(last, KEY_) F(term, "TEXT NOT NULL UNIQUE") F(from_ms, KEY_) F(until_ms, KEY_) F(allowance_um, KEY_) \
    F(closed_ms, "INTEGER")
/* state: active, suspended (until_ms: null = until resumed), forgotten */
#define C_MEMBERS(F) F(last, KEY_) F(member, "TEXT NOT NULL UNIQUE") F(role, TEXT_) F(state, TEXT_) F(reason, "TEXT") \
    F(until_ms, "INTEGER")
/* made by the first act that names it. state: in-use, tagged-out, resting, retired. fitted_ms: when a nozzle or the surface
 * last changed; gap_ms: when the gap was last seen to be good */
#define C_MACHINES(F) F(last, KEY_) F(machine, "TEXT NOT NULL UNIQUE") F(state, TEXT_) F(reason, "TEXT") F(photo, "TEXT") \
    F(since_ms, "INTEGER") F(surface, "TEXT") F(fitted_ms, "INTEGER") F(gap_ms, "INTEGER") F(gap_by, "TEXT") F(gap_um, "INTEGER")
/* state: there, lost, retired */
#define C_STICKS(F) F(last, KEY_) F(stick, "TEXT NOT NULL UNIQUE") F(machine, TO_(machines)) F(state, TEXT_) F(reason, "TEXT") \
    F(counted_ms, "INTEGER") F(cleared_ms, "INTEGER")
/* state: sealed, open, drying, empty. left_mg: by the book. tare_mg: of the empty spool. weighed_mg, drift_mg: what the scale
 * said was left, and by how much more than the book, the last time. dry_c, dry_minutes: of the last drying, as set, and once
 * it is over as long as it was. Where it is loaded: tools */
#define C_SPOOLS(F) F(last, KEY_) F(spool, "TEXT NOT NULL UNIQUE") F(material, TEXT_) F(colour, "TEXT") F(lot, "TEXT") \
    F(diameter_um, KEY_) F(density_mg_cm3, KEY_) F(tare_mg, "INTEGER") F(price_minor_kg, "INTEGER") F(state, TEXT_) \
    F(added_ms, KEY_) F(opened_ms, "INTEGER") F(dried_ms, "INTEGER") F(dry_until_ms, "INTEGER") F(dry_c, "INTEGER") \
    F(dry_minutes, "INTEGER") F(left_mg, "INTEGER") F(weighed_ms, "INTEGER") F(weighed_mg, "INTEGER") F(drift_mg, "INTEGER")
/* (counted) nozzle and spool of each tool of a machine, as they are now; unique by machine and tool */
#define C_TOOLS(F) F(last, KEY_) F(machine, TO_(machines)) F(tool, KEY_) F(nozzle_um, "INTEGER") F(spool, MAY_TO_(spools))
/* unique by sha256 and machine; hands, findings, materials: JSON lists; by_height: JSON rows of um, um, s */
#define C_PROOFS(F) F(last, KEY_) F(sha256, TEXT_) F(machine, TEXT_) F(proved_ms, KEY_) F(verdict, TEXT_) F(um, KEY_) \
    F(mg, "INTEGER") F(seconds, KEY_) F(file, "TEXT") F(recipe, "TEXT") F(materials, "TEXT") F(first_bead_seconds, "INTEGER") \
    F(first_layer_seconds, "INTEGER") F(height_um, "INTEGER") F(hands, "TEXT") F(by_height, "TEXT") F(findings, "TEXT")
/* (counted) what a run takes from a spool, tool by tool. promised_um: at hand-out; um, mg: by the last figure; booked_mg: what
 * has come off the spool's left_mg, which it does when the run fails or is back */
#define C_TAKES(F) F(last, KEY_) F(run, TO_(runs)) F(tool, KEY_) F(spool, MAY_TO_(spools)) F(promised_um, KEY_) F(um, KEY_) \
    F(mg, KEY_) F(booked_mg, ZERO_)
/* id: that of its run. state: shelf, collected, waste. place: null = none */
#define C_PARTS(F) F(last, KEY_) F(run, TO_(runs)) F(state, TEXT_) F(place, "INTEGER") F(kept_until_ms, "INTEGER") \
    F(shelved_ms, "INTEGER") F(gone_ms, "INTEGER") F(collected_by, "TEXT")
/* number: what the public screen shows, 1 to 999. state: waiting, called, claimed, passed, left */
#define C_TICKETS(F) F(last, KEY_) F(member, TO_(members)) F(number, KEY_) F(machine, "TEXT") F(seconds, "INTEGER") \
    F(state, TEXT_) F(taken_ms, KEY_) F(called_ms, "INTEGER") F(until_ms, "INTEGER") F(offered, "TEXT") F(no_show, ZERO_) \
    F(run, MAY_TO_(runs))
/* id counted. state: waiting, sent, dropped. kind: failed, done, collect, hands, ticket, other */
#define C_MESSAGES(F) F(last, KEY_) F(member, TO_(members)) F(kind, TEXT_) F(text, TEXT_) F(run, MAY_TO_(runs)) F(state, TEXT_) \
    F(at_ms, KEY_) F(sent_ms, "INTEGER") F(tries, ZERO_) F(why, "TEXT")
/* kind: opening, closing. unseen: why machines were left out */
#define C_ROUNDS(F) F(last, KEY_) F(kind, TEXT_) F(by, TEXT_) F(begun_ms, KEY_) F(done_ms, "INTEGER") F(note, "TEXT") \
    F(done_by, "TEXT") F(unseen, "TEXT")
/* unique by round and machine */
#define C_FOUND(F) F(last, KEY_) F(round, TO_(rounds)) F(machine, TO_(machines)) F(found, TEXT_) F(bed_clear, KEY_) \
    F(stick_there, KEY_) F(nozzle_clean, KEY_) F(spool_on, KEY_) F(heaters_off, KEY_) F(note, "TEXT") F(at_ms, KEY_)
#define C_COURSES(F) F(last, KEY_) F(course, "TEXT NOT NULL UNIQUE") F(title, TEXT_) F(fund, "TEXT") F(closed_ms, "INTEGER")
/* unique by course and assignment */
#define C_ASSIGNMENTS(F) F(last, KEY_) F(course, TO_(courses)) F(assignment, TEXT_) F(title, "TEXT") F(due_ms, "INTEGER")
#define C_TEAMS(F) F(last, KEY_) F(team, "TEXT NOT NULL UNIQUE") F(title, "TEXT") F(course, "TEXT") F(fund, "TEXT")
/* left_ms: null = belongs to it */
#define C_BELONGS(F) F(last, KEY_) F(team, TO_(teams)) F(member, TO_(members)) F(joined_ms, KEY_) F(left_ms, "INTEGER")
#define C_FUNDS(F) F(last, KEY_) F(fund, "TEXT NOT NULL UNIQUE") F(title, TEXT_) F(currency, TEXT_) F(budget_minor, "INTEGER") \
    F(closed_ms, "INTEGER")
/* kind: payment, gift (lower what is owed), charge, refund (raise it) */
#define C_MONEY(F) F(last, KEY_) F(member, TO_(members)) F(kind, TEXT_) F(minor, KEY_) F(currency, TEXT_) F(run, MAY_TO_(runs)) \
    F(reason, TEXT_) F(by, TEXT_) F(at_ms, KEY_)
/* id counted. kind: failed, aids, purge, spool-end, mixed, uncollected */
#define C_WASTE(F) F(last, KEY_) F(material, TEXT_) F(mg, KEY_) F(kind, TEXT_) F(note, "TEXT") F(run, MAY_TO_(runs)) F(at_ms, KEY_)
/* kind: job, photo, other. removed_ms: null = kept */
#define C_FILES(F) F(last, KEY_) F(sha256, TEXT_) F(bytes, KEY_) F(kind, TEXT_) F(run, MAY_TO_(runs)) F(machine, "TEXT") \
    F(name, "TEXT") F(at_ms, KEY_) F(removed_ms, "INTEGER")
/* a weighing: what the book said, what the scale said */
#define C_WEIGHINGS(F) F(last, KEY_) F(spool, TO_(spools)) F(at_ms, KEY_) F(gross_mg, KEY_) F(book_mg, "INTEGER") F(scale_mg, KEY_) \
    F(by, TEXT_)
#define C_NOTES(F) F(last, KEY_) F(text, TEXT_) F(by, TEXT_) F(at_ms, KEY_)
/* figures: a JSON object of whole numbers whose names end in their unit; readings: JSON rows. at_ms: when it was measured */
#define C_MEASURES(F) F(last, KEY_) F(machine, TO_(machines)) F(kind, TEXT_) F(tool, "INTEGER") F(material, "TEXT") F(figures, TEXT_) \
    F(readings, "TEXT") F(note, "TEXT") F(by, TEXT_) F(at_ms, KEY_)
/* a task of care that was done. by: who did it; booked_by: who said so */
#define C_CARES(F) F(last, KEY_) F(machine, TO_(machines)) F(task, TEXT_) F(by, TEXT_) F(booked_by, TEXT_) F(minutes, "INTEGER") F(parts, "TEXT") \
    F(note, "TEXT") F(at_ms, KEY_)
/* why: failed, worn, planned, unknown */
#define C_REPLACED(F) F(last, KEY_) F(machine, TO_(machines)) F(part, TEXT_) F(tool, "INTEGER") F(why, TEXT_) F(note, "TEXT") F(by, TEXT_) F(at_ms, KEY_)
/* closed_ms: null = open. confirmed: the remedy was seen to help */
#define C_TROUBLES(F) F(last, KEY_) F(machine, TO_(machines)) F(symptom, TEXT_) F(run, MAY_TO_(runs)) F(note, "TEXT") F(by, TEXT_) F(opened_ms, KEY_) \
    F(closed_ms, "INTEGER") F(closed_by, "TEXT") F(cause, "TEXT") F(confirmed, ZERO_) F(remedy, "TEXT") F(closing, "TEXT")
/* (counted) a check of a search and its answer; unique by trouble and looked, which names the check */
#define C_LOOKS(F) F(last, KEY_) F(trouble, TO_(troubles)) F(looked, TEXT_) F(answer, TEXT_) F(minutes, "INTEGER") F(by, TEXT_) F(at_ms, KEY_)
/* symptom: null = all. What was closed before counts no more */
#define C_RESETS(F) F(last, KEY_) F(symptom, "TEXT") F(reason, TEXT_) F(by, TEXT_) F(at_ms, KEY_)
/* kind: full, refresher, import. state: open, handed-in, void. questions: ids, one on a line; marks: of each r right, w wrong, - not
 * answered; answers: one on a line, when handed in; teach: ids, one on a line, that are still to be taught. met: the mark was
 * reached; passed: and nothing is left to teach. points, most: of an import, or counted from the marks */
#define C_PAPERS(F) F(last, KEY_) F(member, TO_(members)) F(study, TEXT_) F(kind, TEXT_) F(seed, KEY_) F(questions, TEXT_) F(study_sha256, "TEXT") \
    F(pass_permille, KEY_) F(until_ms, "INTEGER") F(drawn_ms, KEY_) F(state, TEXT_) F(handed_ms, "INTEGER") F(marks, "TEXT") F(answers, "TEXT") \
    F(teach, "TEXT") F(met, ZERO_) F(passed, ZERO_) F(late, ZERO_) F(points, "INTEGER") F(most, "INTEGER") F(source, "TEXT") F(reason, "TEXT")
/* (counted) of a paper that is open; unique by paper and question */
#define C_ANSWERS(F) F(last, KEY_) F(paper, TO_(papers)) F(question, TEXT_) F(answer, TEXT_) F(at_ms, KEY_)
#define C_PRACTICES(F) F(last, KEY_) F(member, TO_(members)) F(study, TEXT_) F(step, TEXT_) F(machine, TEXT_) F(seen_by, TEXT_) F(by, TEXT_) \
    F(note, "TEXT") F(at_ms, KEY_)
/* time for papers, in percent of the usual; 0: no limit. Unique by member */
#define C_ALLOWED(F) F(last, KEY_) F(member, TO_(members)) F(time_percent, KEY_) F(until_ms, "INTEGER") F(by, TEXT_) F(at_ms, KEY_)
/* clang-format on */

#endif
