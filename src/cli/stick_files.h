/* The files on a stick: walked, read, told apart by what is in them, removed. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_STICK_FILES_H
#define PO_CLI_STICK_FILES_H

#include <sys/stat.h>

#include "cli.h"

enum {
    STICK_MOST_FILES = 10000,
    STICK_MOST_FOLDERS = 4000,
    STICK_MOST_DEPTH = 32,
};

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
 * EXIT_CLEAR, or a message printed. */
int stick_files_read(const char *mount, uint64_t most_bytes, po_arena *arena, stick_files *ret);

/* Whether a file may be removed there at all: the mount is a file system of its own, or the shop's file says that it is a
 * stick's (known). EXIT_CLEAR, or a message printed. */
int stick_may_clear(const char *mount, const char *known);

/* Remove one file, if it is still the one that was read. NULL when it is gone, else why not. */
const char *stick_file_remove(const char *mount, const stick_file *file);

/* How many characters a text of clean UTF-8 has, and whether all are ASCII. */
size_t stick_characters(const char *text, bool *ret_ascii);

#endif
