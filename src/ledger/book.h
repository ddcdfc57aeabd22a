/* Inside of the ledger: acts, what they see, the tables they write. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_LEDGER_BOOK_H
#define PO_LEDGER_BOOK_H

#include <jansson.h>
#include <string.h>

#include "ledger/fields.h"
#include "ledger/store.h"
#include "proveout/ledger.h"

enum {
    PO_HASH = 32,
    PO_BEFORE_KEPT = 20000, /* how many events back an act can be taken back */
    PO_TOUCHED_MOST = 128   /* rows that one act may change */
};

typedef enum po_role { PO_ROLE_NONE, PO_ROLE_MEMBER, PO_ROLE_DESK, PO_ROLE_KEEPER } po_role;

enum { PO_SCHEMA_VERSION = 3 };

/* Derived tables whose rows have an id and the number of the event that wrote them last (columns.h). */
typedef enum po_table {
#define TABLE(id, name, columns) PO_T_##id,
#include "ledger/tables.inc"
#undef TABLE
    PO_T_COUNT
} po_table;

typedef struct po_table_sql {
    const char *name;
    const char *keep;        /* event, n, id, table: what the row is now, into the table "before" */
    const char *last;        /* id: the event that wrote the row last */
    const char *restore;     /* JSON, id */
    const char *drop;        /* id */
    const char *empty, *all; /* delete all; select all in order */
    const char *next;        /* the id after the last */
} po_table_sql;
extern const po_table_sql po_tables[PO_T_COUNT];
extern const po_schema po_ledger_schema;

/* The last event, and what a new one is made of. */
typedef struct po_tail {
    int64_t seq, at_ms;
    unsigned char hash[PO_HASH];
} po_tail;

/* What an act sees while it is applied. In a replay the private fields and the answer are not there. */
typedef struct po_book {
    po_store *store;
    int64_t event, at_ms;
    const char *by;
    po_role role;
    const json_t *body, *private; /* private may be NULL */
    json_t *answer;               /* NULL in a replay */
    bool answer_failed;           /* memory ended for it: then the act is not booked */
    int n_before;
    struct {
        po_table table;
        int64_t id;
    } touched[PO_TOUCHED_MOST];
} po_book;

/* Check the act against the book and write what follows from it. */
typedef po_status (*po_apply)(po_book *book, po_err *err);

typedef struct po_act_kind {
    const po_ledger_verb *verb;
    po_apply apply;
    po_role who; /* the least role that may */
    bool undoable;
} po_act_kind;
const po_act_kind *po_act_find(const char *name);

/* Remember what a row was before this act, so that the act can be taken back; call before changing it. */
po_status po_book_touch(po_book *book, po_table table, int64_t id, po_err *err) PO_MUST_USE;
/* Remember that this act made the row. */
po_status po_book_made(po_book *book, po_table table, int64_t id, po_err *err) PO_MUST_USE;
/* The id for a new row of a table whose ids are counted. */
po_status po_book_next_id(po_book *book, po_table table, int64_t *ret, po_err *err) PO_MUST_USE;
void po_book_answer_int(po_book *book, const char *key, int64_t value);
void po_book_answer_text(po_book *book, const char *key, const char *value);

/* Apply one act as the next event and append it. tail goes on; on failure it stands, and the caller takes the rest back. */
po_status po_event_append(po_store *store, po_tail *tail, const po_act_kind *kind, const char *by, const json_t *body,
                          const json_t *private, int64_t clock_ms, json_t *answer, po_err *err) PO_MUST_USE;
po_status po_event_tail(po_store *store, po_tail *ret, po_err *err) PO_MUST_USE;
/* Who is told how far long work has come. before: events done by earlier parts of it; all: of all parts. */
typedef struct po_watching {
    po_ledger_step *step;
    void *user;
    int64_t before, all;
} po_watching;
/* Apply all events of one store to another (or the same), whose derived tables are empty. watching may be NULL. */
po_status po_events_replay(po_store *from, po_store *to, const po_watching *watching, po_err *err) PO_MUST_USE;
/* Walk the chain. */
po_status po_events_walk(po_store *store, po_store_say *say, void *user, const po_watching *watching,
                         po_err *err) PO_MUST_USE;
void po_hex(char out[2 * PO_HASH + 1], const unsigned char bytes[PO_HASH]);

/* A member by number: PO_E_NOTFOUND where there is none, or a forgotten one. */
typedef struct po_member {
    int64_t id;
    po_role role;
    bool suspended;   /* at this time */
    int64_t until_ms; /* of the suspension; 0: until resumed */
    char reason[128];
} po_member;
po_status po_member_find(po_store *store, const char *number, int64_t at_ms, po_member *ret, po_err *err) PO_MUST_USE;
/* The role of who acts: a word or a member's number. PO_ROLE_NONE: nobody who may act. */
po_status po_role_of(po_store *store, const char *by, int64_t at_ms, po_role *ret, po_err *err) PO_MUST_USE;
const char *po_role_word(po_role role);
/* Names and secrets of all who are not forgotten on pages of their own, so that nothing of others is left in the file. */
po_status po_persons_write_anew(po_store *store, po_err *err) PO_MUST_USE;

/* The open term at a time; *ret_id 0: none. */
po_status po_term_at(po_store *store, int64_t at_ms, int64_t *ret_id, int64_t *ret_allowance_um, int64_t *ret_until_ms,
                     po_err *err) PO_MUST_USE;
/* What a member's runs have charged to a term, one run left out (0: none). */
po_status po_term_charged(po_store *store, int64_t member, int64_t term, int64_t but_run, int64_t *ret_um,
                          po_err *err) PO_MUST_USE;
/* What is left of the waivers that hold for a job at a time. sha256 NULL: those for any job. */
po_status po_waivers_left(po_store *store, int64_t member, const char *sha256, int64_t at_ms, int64_t *ret_um,
                          po_err *err) PO_MUST_USE;
/* Draw um from waivers for a run, those for its job first, then the first to lapse. There must be enough. */
po_status po_waivers_draw(po_book *book, int64_t member, int64_t run, const char *sha256, int64_t um,
                          po_err *err) PO_MUST_USE;
/* A permit that is held now; *ret 0: none. */
po_status po_permit_held(po_store *store, int64_t member, const char *permission, int64_t at_ms, int64_t *ret,
                         po_err *err) PO_MUST_USE;
/* What the subjects need of each other. */

/* The row of a machine, made where the book has none yet. Not touched. */
po_status po_machine_row(po_book *book, const char *machine, int64_t *ret_id, po_err *err) PO_MUST_USE;
/* PO_E_CONFLICT where it is tagged out, resting or retired (with the reason), or out, or its part is still on it. */
po_status po_machine_may_go_out(po_store *store, const char *machine, po_err *err) PO_MUST_USE;
/* PO_E_NOTFOUND: no such stick; PO_E_CONFLICT: it belongs to another machine (both names), is lost or retired. */
po_status po_stick_goes_with(po_store *store, const char *stick, const char *machine, po_err *err) PO_MUST_USE;
typedef struct po_spool {
    int64_t id, diameter_um, density_mg_cm3, tare_mg, price_minor_kg, weighed_ms; /* -1: unknown, never */
    bool left_known; /* what is left by the book may be below nothing */
    int64_t left_mg;
    char state[8], material[72];
} po_spool;
/* PO_E_NOTFOUND: no such spool. */
po_status po_spool_find(po_store *store, const char *spool, po_spool *ret, po_err *err) PO_MUST_USE;
/* Take mg off what a spool holds by the book (negative: give back); it may fall below nothing, which the next weighing shows.
 * Where that is unknown, or the spool is used up, nothing changes. */
po_status po_spool_take(po_book *book, int64_t spool, int64_t mg, po_err *err) PO_MUST_USE;
/* The part of a run is off the bed: to "shelf" (place 0: none named; kept_until_ms 0: without end), "member" or "waste".
 * PO_E_CONFLICT where the place is taken, naming whose run lies there. */
po_status po_part_off(po_book *book, int64_t run, const char *to, int64_t place, int64_t kept_until_ms,
                      po_err *err) PO_MUST_USE;
/* PO_E_CONFLICT where the machine is kept for another member's ticket, which was called and can be claimed yet. */
po_status po_ticket_leaves_free(const po_book *book, const char *machine, int64_t member, po_err *err) PO_MUST_USE;
/* A ticket becomes a run. PO_E_CONFLICT where it is another member's, not waiting, or its time has passed. */
po_status po_ticket_claim(po_book *book, int64_t ticket, int64_t member, int64_t run, po_err *err) PO_MUST_USE;
po_status po_message_put(po_book *book, int64_t member, const char *kind, const char *text, int64_t run,
                         po_err *err) PO_MUST_USE; /* run 0: none */
po_status po_waste_put(po_book *book, const char *material, int64_t mg, const char *kind, const char *note, int64_t run,
                       po_err *err) PO_MUST_USE; /* run 0: none */
/* The course, assignment, group and fund of a body: known, open, and the member in the group; else a sentence. */
po_status po_purpose_holds(po_store *store, const json_t *body, int64_t member, po_err *err) PO_MUST_USE;
/* The code of a currency: three capital letters (ISO 4217:2015), else PO_E_RANGE. */
po_status po_currency_holds(const char *currency, po_err *err) PO_MUST_USE;
/* A price of a kilogram: PO_E_RANGE where it is so high that what a run costs would not be a number any more. */
po_status po_price_holds(int64_t price_minor_kg, po_err *err) PO_MUST_USE;

/* When it was, by the field `at` (missing: now): PO_E_CONFLICT where that is still to come. */
po_status po_book_when(const po_book *book, int64_t *ret_ms, po_err *err) PO_MUST_USE;
/* A number of the body, -1 where missing: for nullif(?, -1). */
static inline int64_t po_field_or_none(const json_t *body, const char *name)
{
    return po_field_has(body, name) ? po_field_int(body, name) : -1;
}

/* Version 1 kept no sticks and spools, and its runs name them freely: a replay meets such names, and takes them as they
 * stand. Whoever books an act today is refused. */
static inline po_status po_unless_old(const po_book *book, po_status s)
{
    return s == PO_E_NOTFOUND && !book->answer ? PO_OK : s;
}

/* A copy of a text (NULL: empty) that fits its room, for a sentence; cut where it must be, never within a character. */
static inline void po_cut_text(char *to, size_t room, const char *from)
{
    size_t n = from ? strnlen(from, room - 1) : 0;
    while (n > 0 && ((unsigned char)from[n] & 0xc0) == 0x80) {
        n--;
    }
    if (n > 0) {
        memcpy(to, from, n);
    }
    to[n] = 0;
}

/* "12.5 m" for a person: exact. */
const char *po_metres(char out[32], int64_t um);
/* "12.5 g", exact. */
const char *po_grams(char out[32], int64_t mg);
/* A mass that somebody gave: PO_E_RANGE, naming the field, above 100 kg. A slip of a key must not spoil sums. */
po_status po_mass_holds(const char *field, int64_t mg, po_err *err) PO_MUST_USE;

#define ACT(id, name, who, undoable, says, fields) po_status po_apply_##id(po_book *book, po_err *err);
#include "ledger/acts.inc"
#undef ACT

#endif
