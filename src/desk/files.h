/* Files that were sent to be proved: kept for some days under their SHA-256. SPDX-License-Identifier: Apache-2.0
 *
 * The bytes go to the disk as they come and are hashed on the way; a file that is there already is kept once. The folder is
 * private (0700) and belongs to this computer alone. What stands there is found by looking there, so that several servers
 * may share it and nothing is lost by a restart:
 *   in-XXXXXX      being received; locked by whoever writes it, so that what a crash left can be told and removed
 *   SHA256         the bytes
 *   SHA256.json    their name as it was sent, and their kind; its time of change says when the file was last of use */
#ifndef PO_DESK_FILES_H
#define PO_DESK_FILES_H

#include "desk/desk_inside.h"

typedef enum desk_kind { DESK_JOB, DESK_PART, DESK_NEITHER } desk_kind;
const char *desk_kind_word(desk_kind kind); /* "job", "part", "neither" */

typedef struct desk_file {
    char sha256[65], name[DESK_NAME_MOST]; /* name: "" where none was sent */
    desk_kind kind;
    uint64_t bytes;
} desk_file;

/* The folder is made, looked at and cleared of what a crash left; fails where it can't be private. */
po_status desk_files_open(po_desk *desk, po_err *err) PO_MUST_USE;
void desk_files_close(po_desk *desk);

/* Room for so many bytes of a client; NULL with the reply written: 413, 429 (its limits), 507 (the disk). */
desk_upload *desk_upload_begin(po_desk *desk, desk_request *rq, desk_reply *rp, uint64_t bytes);
/* The next bytes; false: the disk refused them. */
bool desk_upload_take(desk_upload *upload, const void *bytes, size_t n);
/* Nothing is left of it. Accepts NULL. */
void desk_upload_abort(desk_upload *upload);
/* All is there: it is kept under its hash. The upload is over in any case. PO_E_IO, PO_E_SYNTAX (err->msg). */
po_status desk_upload_end(desk_upload *upload, desk_file *ret, po_err *err) PO_MUST_USE;

/* A file that is kept; it counts as used now. False: it is not there (any more). */
bool desk_file_get(po_desk *desk, const char *sha256, desk_file *ret);
/* The same without counting as use. */
bool desk_file_look(po_desk *desk, const char *sha256, desk_file *ret);
/* Its bytes: a path, in the arena; NULL: no memory. */
const char *desk_file_path(po_desk *desk, const char *sha256, po_arena *arena);
/* It turned out to be damaged. */
void desk_file_drop(po_desk *desk, const char *sha256);
/* What is too old, or beyond the room that the shop gives, goes, least recently used first; `room` bytes more are wanted.
 * False: there is not so much room. */
bool desk_files_tidy(po_desk *desk, uint64_t room);
/* Who counts as one client: a member, else an address. ret: at least DESK_CLIENT_MOST. */
void desk_client_of(const desk_request *rq, char *ret);

/* A small file of JSON in the folder, whole or not at all; the object stays the caller's. */
bool desk_note_write(po_desk *desk, const char *name, const json_t *object);
json_t *desk_note_read(po_desk *desk, const char *name); /* NULL: none, or none that is whole */

#endif
