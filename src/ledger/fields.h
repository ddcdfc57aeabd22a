/* Bodies of acts and parameters of questions, read by their description. SPDX-License-Identifier: Apache-2.0
 *
 * A description is a text such as "member: id; reason: text; until?: time; how: good|poor; name?: private". Kinds:
 *   id       1 to 64 bytes, letters, digits and . _ - and what is not ASCII, not starting with . or -
 *   name     1 to 64 bytes, no control characters, no blank at either end: machines, sticks and so on of the shop file
 *   text     1 to 1000 bytes, no control characters
 *   private  as text; taken out of the body before it becomes an event
 *   count    a whole number from 0 to 10^15
 *   number   a whole number from 1 on: of an event, a run, a permit
 *   time     milliseconds of UTC since 1970, 0 to the year 9999
 *   sha256   64 hex digits, small letters
 *   flag     true or false
 *   ids      1 to 256 ids
 *   table    1 to 400 rows of three counts, the first column rising and the others not falling
 *   counts   1 to 64 counts, not falling
 *   figures  1 to 16 ids, each with a whole number of either sign, at most 10^15
 *   readings 1 to 400 rows of 1 to 5 such numbers, all rows of one length
 *   uses     1 to 8 objects {"tool": n, "spool": id or null, "um": count}, the tools rising from 0 to 7
 *   map      words to lists of ids
 *   a|b|c    one of these words
 * A question mark behind the name: may be missing. What is null counts as missing. */
#ifndef PO_LEDGER_FIELDS_H
#define PO_LEDGER_FIELDS_H

#include <jansson.h>

#include "proveout/ledger.h"

#define PO_COUNT_MOST INT64_C(1000000000000000)
#define PO_TIME_MOST INT64_C(253402300799999) /* 9999-12-31T23:59:59.999Z */

/* Read a JSON object and hold it against the description. The caller owns *ret (json_decref). *ret_private: what is
 * private of it, NULL when nothing is; may be NULL itself where there is no private field.
 * Errors: PO_E_SYNTAX, PO_E_RANGE (err->where names the field), PO_E_NOMEM. */
po_status po_fields_read(const char *fields, const char *text, json_t **ret, json_t **ret_private,
                         po_err *err) PO_MUST_USE;
/* JSON of any kind, doubled keys refused. NULL: not JSON, or memory ended (then ret_fault->text is empty). Read twice and
 * compared: where memory ends within a long text, jansson 2.14 leaves out a byte of it and says nothing. */
json_t *po_json_read(const char *text, json_error_t *ret_fault) PO_MUST_USE;
/* One line, keys sorted by their bytes, no blanks: what is hashed. malloc'd; NULL: out of memory. */
char *po_fields_canonical(const json_t *object);

bool po_field_is_id(const char *s);
bool po_field_is_text(const char *s);
/* Of a body that was read: NULL, 0 or false where missing. */
const char *po_field_text(const json_t *body, const char *name);
int64_t po_field_int(const json_t *body, const char *name);
bool po_field_has(const json_t *body, const char *name);
bool po_field_flag(const json_t *body, const char *name);

#endif
