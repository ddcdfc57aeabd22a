/* What is on a stick: its files walked, told apart by what is in them, held against the book's proofs. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_STICK_LOOK_H
#define PO_WORK_STICK_LOOK_H

#include <sys/stat.h>

#include "work/work.h"

enum {
    STICK_MOST_FILES = 10000,
    STICK_MOST_FOLDERS = 4000,
    STICK_MOST_DEPTH = 32,
};

/* ---- stick_files.c: the files ---- */

typedef enum stick_kind {
    STICK_JOB,        /* G-code: a motion word in a line of its own */
    STICK_PART,       /* STL, 3MF */
    STICK_OTHER,      /* neither */
    STICK_TOO_LARGE,  /* larger than the shop reads; not looked into */
    STICK_UNREADABLE, /* `why` says why */
} stick_kind;

typedef struct stick_file {
    const char *path, *name;        /* within the mount; its last part. As on the stick: any bytes but 0 and / */
    const char *shown, *shown_name; /* the same as clean UTF-8 */
    uint64_t bytes;
    stick_kind kind;
    char sha256[65]; /* of jobs and parts; "" else */
    const char *why;
    struct stat seen; /* as it was when it was read */
} stick_file;

typedef struct stick_files {
    stick_file *files;           /* by path */
    size_t n, n_links, n_unread; /* links that were not followed; folders that could not be read */
    bool more;                   /* a bound was reached: not all is here */
} stick_files;

/* Every regular file below the mount, links not followed, other file systems not entered.
 * most_bytes  files larger than this are not looked into; 0: no bound
 * arena       owns what is handed back
 * Errors      PO_E_NOTFOUND (no folder that can be read), PO_E_NOMEM */
po_status work_stick_read(const char *mount, uint64_t most_bytes, po_arena *arena, stick_files *ret,
                          po_err *err) PO_MUST_USE;

/* Whether something is mounted there: the folder is a file system of its own. */
bool work_stick_mounted(const char *mount);

/* Whether a file may be removed there at all: the mount is a file system of its own, or the shop's file says that it is a
 * stick's (known; NULL: it does not say).
 * Errors  PO_E_NOTFOUND (no folder), PO_E_CONFLICT (not there) */
po_status work_stick_may_clear(const char *mount, const char *known, po_err *err) PO_MUST_USE;

/* Remove one file, if it is still the one that was read. NULL when it is gone, else why not. */
const char *work_stick_remove(const char *mount, const stick_file *file);

/* How many characters a text of clean UTF-8 has, and whether all are ASCII. */
size_t work_stick_characters(const char *text, bool *ret_ascii);

/* ---- stick_look.c: held against the book ---- */

enum { STICK_STATES = 8 };
/* "proved", "old", "changed", "unproved", "part", "no-job", "too-large", "unreadable", in this order. */
extern const char *const work_stick_states[STICK_STATES];

/* Each file of a stick as a row: path, name, bytes, sha256, state, verdict, proved_ms, proved_on (other machines), run (the one that
 * is out with it), name_says (what a small panel can't show), why. In the order of files->files.
 * stick  its row in the book, or NULL
 * ret    a list, the caller's
 * Errors work_ask's */
po_status work_stick_judge(work_context *w, const po_machine *machine, const json_t *stick, const stick_files *files,
                           json_t **ret, po_err *err) PO_MUST_USE;
/* Whether a row is a job, proved or not. */
bool work_stick_is_job(const json_t *row);
/* The machine whose stick shows there by the shop file; NULL: none. */
const po_machine *work_stick_machine_at(const po_shop *shop, const char *mount);
/* How many rows have each state, as an object; the caller's. */
json_t *work_stick_counts(const json_t *rows);

#endif
