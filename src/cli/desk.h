/* The kit of the desk's verbs: the book opened, acts booked, questions asked, tables printed. SPDX-License-Identifier: Apache-2.0
 *
 * A verb that is an act needs no code: its row names the act, the fields that operands and options fill, with their units,
 * and the sentence that is printed when it is booked (.run = desk_run_act). A verb that asks opens a desk, asks, prints a
 * table, or the answer as JSON. Exit status: 0 done, 2 the book does not allow it, 4 wrong usage, 5 the program's own failure. */
#ifndef PO_CLI_DESK_H
#define PO_CLI_DESK_H

#include <jansson.h>

#include "cli.h"
#include "proveout/ledger.h"
#include "work/work.h"

/* How a word on the command line becomes a field, and a value of an answer becomes words. */
typedef enum desk_unit {
    DESK_TEXT,    /* as it is */
    DESK_ID,      /* a short name: letters, digits, . _ - */
    DESK_COUNT,   /* a whole number */
    DESK_M,       /* metres <-> um */
    DESK_MM,      /* mm <-> um */
    DESK_G,       /* grams <-> mg */
    DESK_TIME,    /* a time on the shop's clock <-> ms of UTC; a day alone: when it begins */
    DESK_UNTIL,   /* the same; a day alone: when it ends */
    DESK_SPAN,    /* "3:10" (h:mm), "45m", "90s" <-> seconds */
    DESK_MINUTES, /* the same <-> minutes */
    DESK_MONEY,   /* "12.50" <-> minor units of the shop's currency */
    DESK_FLAG,    /* an option without value: true */
    DESK_YES,     /* "yes" or "no" <-> true or false */
    DESK_IDS,     /* names with commas between them */
    DESK_MACHINE, /* a machine of the shop, in its own spelling */
    DESK_MATERIAL,
    DESK_RECIPE,
    DESK_PERMISSION,
    DESK_SHA, /* 64 hex digits, or the name of a file: its SHA-256 */
    DESK_DAY  /* printing only: the day without the time */
} desk_unit;

typedef struct desk {
    const cli_call *call;
    po_arena *arena;
    const po_shop *shop;
    const po_zone *zone; /* the shop's; NULL: not known here */
    po_ledger *ledger;
    const char *ledger_path, *by;
    int64_t now_ms;
    bool json;
} desk;

/* The options that every desk verb has; first in its list: {DESK_OPTIONS, {.name = "reason", ...}} */
#define DESK_OPTIONS                                                                                                   \
    {.name = "shop", .value = "FILE", .says = "the shop file; else PROVEOUT_SHOP, else ./shop.yaml"},                  \
        {.name = "ledger",                                                                                             \
         .value = "FILE",                                                                                              \
         .says = "the book; else PROVEOUT_LEDGER, else the one that the shop file names"},                             \
        {.name = "by",                                                                                                 \
         .value = "WHO",                                                                                               \
         .says = "who does it: a member's number, desk or keeper; else PROVEOUT_BY, else desk"},                       \
    {                                                                                                                  \
        .name = "json", .says = "print one JSON object instead of words"                                               \
    }

/* ---- desk.c ---- */

/* Shop file, book, who, clock, for a call of a verb with DESK_OPTIONS. EXIT_CLEAR, or a message printed; desk_close in any case. */
int desk_open(desk *d, const cli_call *call);
void desk_close(desk *d);
/* The same for the functions of src/work. */
work_context desk_work(const desk *d);
/* The path of the book by --ledger, PROVEOUT_LEDGER, the shop file; NULL with a message printed. shop may be NULL. */
const char *desk_ledger_path(const cli_call *call, const po_shop *shop, po_arena *arena);

/* Book one act; body is taken over (NULL: out of memory). ret_answer (may be NULL) is the caller's to json_decref.
 * Where the book refuses, says why (as JSON too with --json) and hands back EXIT_STOP. */
int desk_act(desk *d, const char *act, json_t *body, po_act_done *ret_done, json_t **ret_answer);
/* Several acts, all or none; bodies are taken over. answers (may be NULL): room for n. */
int desk_acts(desk *d, const char *const *acts, json_t *const *bodies, size_t n, po_act_done *ret_done,
              json_t **ret_answers);
/* Ask; parameters are taken over (NULL: none). The answer is the caller's to json_decref. */
int desk_ask(desk *d, const char *question, json_t *parameters, json_t **ret_answer);
/* Say why the book did not do `what`, as JSON too with --json; the exit status. */
int desk_refused(const desk *d, const char *what, const po_err *err);
/* For --json: one line on standard output; takes the object over. */
int desk_print_json(json_t *object);

/* ---- desk_act.c ---- */

enum { DESK_WORD_ROOM = 32 };
/* The word that stands for an operand in the verb's help ("METRES"); for messages. */
void desk_operand(const cli_verb *verb, int i, char word[DESK_WORD_ROOM]);

/* The whole of a verb that is an act: fields from operands and options, booked, the sentence of .done or JSON printed. */
int desk_run_act(const cli_call *call);
/* The body of such a verb from its operands and options. EXIT_CLEAR or a message printed. *ret is the caller's. */
int desk_body(desk *d, json_t **ret);
/* Book a body that was made that way and print; for verbs that add something of their own first. The body is taken over. */
int desk_book_and_tell(desk *d, json_t *body);
/* A field on the command line into a JSON value; name: for messages ("--until"). NULL with a message printed. */
json_t *desk_value(const desk *d, const char *name, const char *text, desk_unit unit);

/* Digits behind the point of the shop's currency (ISO 4217). */
int desk_minor_places(const desk *d);

/* ---- desk_clock.c ---- */

/* Now in ms of UTC; PROVEOUT_CLOCK (a time on the shop's clock) stands in for it in demos and tests. */
int64_t desk_now_ms(void *shop);
/* "15:10", "2026-11-26", "2026-11-26T15:10", "now", "+90m", "+2h", "+7d"; until: a day alone means its end. False where it is
 * none, or does not exist because the clocks go forward. Of a time that comes twice the first is meant. */
bool desk_time_from(const po_shop *shop, const char *text, bool until, int64_t now_ms, int64_t *ret_ms);
/* On the shop's wall; false where the zone is unknown here. */
bool desk_wall(const po_shop *shop, int64_t ms, po_wall_time *ret, int *ret_second);
/* The first moment of a wall time; -1: it does not exist. */
int64_t desk_ms(const po_shop *shop, po_wall_time wall);

/* ---- desk_print.c ---- */

/* A value as words: "12.5 m", "812 g", "Mon 30 Nov 15:10", "3:10 h"; null and missing: "". In the desk's arena. */
const char *desk_words(const desk *d, const json_t *value, desk_unit unit);

typedef struct desk_column {
    const char *head, *key; /* key: "member", or a path such as "tools/0/spool" */
    desk_unit unit;
    int most;   /* columns; 0: as wide as needed */
    bool right; /* numbers */
} desk_column;
/* A list of objects as a table: heads, rows; `none` is said where the list is empty. No wider than 100 columns where cells may be cut. */
void desk_table(const desk *d, const json_t *list, const desk_column *columns, size_t n, const char *none);
/* "label   value" lines for one object; those without value are left out. */
void desk_card(const desk *d, const json_t *object, const desk_column *lines, size_t n);
/* A sentence with {key} and {key:unit} (m mm g time day until span money) from one of two objects; a part in [ ] is left out where one of
 * its keys is missing, null or false. Printed with a line end. */
void desk_tell(const desk *d, const char *sentence, const json_t *first, const json_t *second);

#endif
