/* Job files and photos in a folder beside the book, named by the hash of their content. SPDX-License-Identifier: Apache-2.0
 *
 * BOOK.files/ab/abcdef...: a file's name is the SHA-256 (FIPS 180-4) of its bytes, in a folder of the first two digits, so the
 * same content lies there once and every reading can be verified. A file is put there first; then the act that names it
 * (file-attach, machine-tag) is booked. Within an hour: what nothing refers to and is older may be cleaned up.
 *
 * Referred to is what a file that is attached (and not detached) names, and the photo of a machine, also one that taking
 * back an act may bring back. A run's hash alone keeps nothing: it says which job was run, not that its bytes are here.
 *
 * All functions may be called from several threads and processes at once. Within the folder no link is followed; the
 * folder itself may be a link to where there is room. */
#ifndef PROVEOUT_KEEPSAKES_H
#define PROVEOUT_KEEPSAKES_H

#include "proveout/ledger.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef struct po_keepsake {
    char sha256[65];
    int64_t bytes;
} po_keepsake;

typedef struct po_keepsake_limits {
    int64_t one_most_bytes, all_most_bytes; /* of a file, of the whole folder; 0: none */
} po_keepsake_limits;

/* Copy a file into the folder. When it returns PO_OK its bytes are on the disk under their hash. Content that is there
 * already is written anew, which mends it where it was damaged.
 * path    a plain file; limits may be NULL
 * Errors  PO_E_NOTFOUND, PO_E_EMPTY (no bytes), PO_E_LIMIT (names the limit and what there is), PO_E_IO (full disk,
 *         rights), PO_E_CONFLICT (others work in the folder all the time), PO_E_NOMEM. Then nothing is left behind. */
PO_API po_status po_keepsake_put(po_ledger *ledger, const char *path, const po_keepsake_limits *limits,
                                 po_keepsake *ret, po_err *err) PO_MUST_USE;
/* The same for bytes in memory, borrowed for the call. */
PO_API po_status po_keepsake_put_bytes(po_ledger *ledger, const void *bytes, size_t n, const po_keepsake_limits *limits,
                                       po_keepsake *ret, po_err *err) PO_MUST_USE;
/* Copy a kept file to a new one, which is given its name only when its bytes have the right hash and are on the disk.
 * Errors  PO_E_CONFLICT (there is a file of that name), PO_E_RANGE (no hash), PO_E_NOTFOUND, PO_E_SYNTAX (damaged), PO_E_IO */
PO_API po_status po_keepsake_copy_out(po_ledger *ledger, const char *sha256, const char *to, po_err *err) PO_MUST_USE;
/* A kept file as bytes in the arena, verified. PO_E_LIMIT where it has more than most_bytes; else as above. */
PO_API po_status po_keepsake_read(po_ledger *ledger, const char *sha256, int64_t most_bytes, po_arena *arena,
                                  const void **ret, size_t *ret_n, po_err *err) PO_MUST_USE;

/* Every file that is referred to is there, with the right size and hash. Faults are sentences in the arena; none: n 0. */
PO_API po_status po_keepsakes_verify(po_ledger *ledger, po_arena *arena, const char *const **ret_faults, size_t *ret_n,
                                     po_err *err) PO_MUST_USE;

typedef struct po_keepsakes_tidied {
    int64_t n_removed, bytes_removed; /* nothing refers to them, or an attempt to put them there was cut off */
    int64_t n_kept, bytes_kept;
    int64_t n_young;   /* nothing refers to them yet, but they are younger than an hour */
    int64_t n_strange; /* of no name of ours, or no plain files: left alone */
} po_keepsakes_tidied;
/* Remove what nothing refers to. only_look: say what it would do. No folder: nothing to do. */
PO_API po_status po_keepsakes_tidy(po_ledger *ledger, bool only_look, po_keepsakes_tidied *ret,
                                   po_err *err) PO_MUST_USE;

/* Bring all that the book `to` refers to into its folder, from that of `from`: after a backup, with the copy as `to`, or
 * back. What is there and whole is left as it is. What can not be had is a fault, as above; the rest is copied.
 * ret_copied  files that were written */
PO_API po_status po_keepsakes_copy(po_ledger *from, po_ledger *to, po_arena *arena, int64_t *ret_copied,
                                   const char *const **ret_faults, size_t *ret_n, po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
