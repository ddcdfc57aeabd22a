/* Passwords and PINs of members, as hashes, and what a server needs to know of the book. SPDX-License-Identifier: Apache-2.0
 *
 * Secrets stand in a table of their own beside the names of persons: events are kept for ever, and no secret belongs there. Backups
 * hold them, exports do not, and forgetting a member removes them. What is kept is a hash made for passwords, with its own salt;
 * the book does not look into it. */
#ifndef PROVEOUT_SECRETS_H
#define PROVEOUT_SECRETS_H

#include "proveout/ledger.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef enum po_secret_kind { PO_SECRET_PASSWORD, PO_SECRET_PIN } po_secret_kind;
typedef enum po_standing {
    PO_STANDS_AS_NOBODY,
    PO_STANDS_AS_MEMBER,
    PO_STANDS_AS_DESK,
    PO_STANDS_AS_KEEPER
} po_standing;

enum { PO_SECRET_MOST = 256 }; /* bytes of a hash, its end included */

typedef struct po_identity {
    po_standing standing; /* by the book now; nobody: there is no such member, or forgotten, or suspended */
    bool suspended;
    int64_t changed;                                    /* another number whenever a secret changes; 0: there is none */
    char password[PO_SECRET_MOST], pin[PO_SECRET_MOST]; /* "": none */
} po_identity;

/* Who a member is now. A member that is not there is no error: standing says so. Errors: PO_E_IO, PO_E_NOMEM. */
PO_API po_status po_ledger_identity(po_ledger *ledger, const char *member, po_identity *ret, po_err *err) PO_MUST_USE;
/* Keep a hash, or with NULL remove what is kept. A new password removes the PIN.
 * Errors: PO_E_NOTFOUND (no such member), PO_E_RANGE (a hash that is too long), PO_E_IO, PO_E_NOMEM. */
PO_API po_status po_ledger_secret_set(po_ledger *ledger, const char *member, po_secret_kind kind, const char *hash,
                                      po_err *err) PO_MUST_USE;
/* Whether any keeper who is not suspended has a password. */
PO_API po_status po_ledger_keeper_can_sign_in(po_ledger *ledger, bool *ret, po_err *err) PO_MUST_USE;

typedef struct po_news {
    uint64_t event;
    const char *act; /* a name of po_ledger_acts; "" for one that this version does not know. Static. */
} po_news;
/* The events after a number, in order, at most `most` of them; also those that other programs booked. */
PO_API po_status po_ledger_news(po_ledger *ledger, uint64_t after, size_t most, po_news *ret, size_t *ret_n,
                                po_err *err) PO_MUST_USE;
/* The number of the last event; 0: none yet. */
PO_API po_status po_ledger_last_event(po_ledger *ledger, uint64_t *ret, po_err *err) PO_MUST_USE;
/* The least standing that may do an act; nobody: there is no such act. */
PO_API po_standing po_ledger_act_takes(const char *act);

#ifdef __cplusplus
}
#endif
#endif
