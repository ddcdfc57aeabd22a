/* Members from a file of comma-separated values: what it would change, and all of it booked or nothing. SPDX-License-Identifier: Apache-2.0
 *
 * RFC 4180, UTF-8; the first line names the columns: member, and in any order name, contact, role, permissions (several with | between
 * them), until (a date: the permissions of the line hold to its end). An empty cell leaves what is there as it is; nobody
 * loses a permission by an import. Names and contacts go into private fields of the acts and so into no event. */
#ifndef PROVEOUT_IMPORT_H
#define PROVEOUT_IMPORT_H

#include "proveout/ledger.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef struct po_import_permission {
    const char *name;
    int64_t until_ms; /* of one that is granted now without a date; -1 = without end */
} po_import_permission;

typedef struct po_import_options {
    const char *by;                          /* who books: as in po_act */
    const po_import_permission *permissions; /* those that there are; NULL = any, without end */
    size_t n_permissions;
    /* The end of a day of the shop, "2026-12-18", in ms of UTC; false where it is no day. Never NULL. */
    bool (*end_of_day)(void *user, const char *day, int64_t *ret_ms);
    void *user;
    bool book; /* false: only say what would change */
} po_import_options;

typedef struct po_import_fault {
    uint32_t line, column; /* from 1, as editors count; columns are characters */
    const char *says;
} po_import_fault;

/* What one line of the file changes. */
typedef struct po_import_line {
    uint32_t line;
    const char *member;
    bool is_new, name, contact; /* enrolled; the name or the contact is new or another one */
    const char *role;           /* the role that it gets; NULL = as it was, or the usual one */
    const po_import_permission *granted;
    size_t n_granted;
} po_import_line;

typedef struct po_import {
    const po_import_line *lines; /* those that change something, in order */
    size_t n_lines;
    const po_import_fault *faults; /* the first PO_IMPORT_FAULTS of them */
    size_t n_faults;               /* of all there are */
    size_t n_new, n_changed, n_granted,
        n_unchanged;                  /* new members; others whose name, contact or role changes; permissions;
                                                        lines that change nothing */
    uint64_t first_event, last_event; /* 0 = nothing was booked */
} po_import;

enum { PO_IMPORT_FAULTS = 500, PO_IMPORT_BYTES = 16 << 20 };

/* Read, check against the book, and book where asked to and where there is no fault.
 * data    n bytes and room for one more, the caller's; written to. Texts of *ret lie there or in the arena.
 * Errors  PO_E_LIMIT (more than PO_IMPORT_BYTES, or more than PO_ACTS_MOST acts), PO_E_NOMEM, PO_E_IO; from booking as
 *         po_ledger_act_all, with err->line. Faults of the file are no error: *ret holds them. */
PO_API po_status po_ledger_import_members(po_ledger *ledger, char *data, size_t n, const po_import_options *options,
                                          po_arena *arena, po_import *ret, po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
