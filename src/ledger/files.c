/* Job files and photos in the folder beside the book. SPDX-License-Identifier: Apache-2.0
 *
 * The book knows which content is kept for what; the bytes lie in the folder (proveout/keepsakes.h), put there before the act
 * is booked. Detaching can't be taken back, because the bytes may be cleaned up afterwards. */
#include <string.h>

#include "ledger/answers.h"

/* A job that is attached to a run is the one that was run. */
static po_status goes_with_run(po_book *book, int64_t run, po_err *err)
{
    const char *sha256 = po_field_text(book->body, "sha256");
    po_rows *rows = NULL;
    po_status s = po_store_ask(book->store, &rows, err, "SELECT sha256 FROM runs WHERE id = ?1", "i", run);
    if (s != PO_OK) {
        return s;
    }
    bool found = po_rows_next(rows);
    const char *job = found ? po_rows_text(rows, 0) : NULL;
    bool other = strcmp(po_field_text(book->body, "kind"), "job") == 0 && job && strcmp(job, sha256) != 0;
    s = po_rows_end(rows, err);
    if (s == PO_OK && !found) {
        s = po_fail_at(err, PO_E_NOTFOUND, "run", 0, 0, "there is no run %lld", (long long)run);
    }
    if (s == PO_OK && other) {
        s = po_fail_at(err, PO_E_CONFLICT, "sha256", 0, 0,
                       "this is not the file that run %lld printed; attach it as other, or find the right one",
                       (long long)run);
    }
    return s;
}

po_status po_apply_file_attach(po_book *book, po_err *err)
{
    const json_t *body = book->body;
    const char *sha256 = po_field_text(body, "sha256"), *machine = po_field_text(body, "machine");
    int64_t run = po_field_int(body, "run"), bytes = po_field_int(body, "bytes"), other = 0;
    bool found = false;
    if (!run && !machine) {
        return po_fail_at(err, PO_E_RANGE, "run", 0, 0, "a file is attached to a run or to a machine; name one");
    }
    po_status s = run ? goes_with_run(book, run, err) : PO_OK;
    s = s == PO_OK
            ? po_store_number(book->store, &other, &found, err,
                              "SELECT bytes FROM files WHERE sha256 = ?1 AND bytes <> ?2 LIMIT 1", "ti", sha256, bytes)
            : s;
    if (s == PO_OK && found) {
        return po_fail_at(err, PO_E_CONFLICT, "bytes", 0, 0,
                          "by the book a file of this content has %lld bytes; measure it anew", (long long)other);
    }
    s = s == PO_OK ? po_store_number(book->store, &other, &found, err,
                                     "SELECT id FROM files WHERE sha256 = ?1 AND removed_ms IS NULL AND coalesce(run, "
                                     "0) = ?2 AND coalesce(machine, '') = ?3",
                                     "tit", sha256, run, machine ? machine : "")
                   : s;
    if (s == PO_OK && found) {
        return po_fail_at(err, PO_E_CONFLICT, "sha256", 0, 0, "it is attached there already, as file %lld",
                          (long long)other);
    }
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO files(id, last, sha256, bytes, kind, run, machine, name, at_ms) "
                                 "VALUES(?1, ?1, ?2, ?3, ?4, nullif(?5, 0), ?6, ?7, ?8)",
                                 "itititti", book->event, sha256, bytes, po_field_text(body, "kind"), run, machine,
                                 po_field_text(body, "name"), book->at_ms)
                   : s;
    po_book_answer_int(book, "file", book->event);
    return s == PO_OK ? po_book_made(book, PO_T_FILES, book->event, err) : s;
}

/* Kept by the book, or a sentence. */
static po_status is_kept(po_store *store, int64_t file, po_err *err)
{
    int64_t removed = 0;
    bool found = false;
    po_status s = po_store_number(store, &removed, &found, err,
                                  "SELECT coalesce(removed_ms, -1) FROM files WHERE id = ?1", "i", file);
    if (s == PO_OK && !found) {
        return po_fail_at(err, PO_E_NOTFOUND, "file", 0, 0, "there is no file %lld", (long long)file);
    }
    return s == PO_OK && removed >= 0
               ? po_fail_at(err, PO_E_CONFLICT, "file", 0, 0,
                            "file %lld was detached already; attach it anew to keep it", (long long)file)
               : s;
}

po_status po_apply_file_detach(po_book *book, po_err *err)
{
    int64_t file = po_field_int(book->body, "file");
    po_status s = is_kept(book->store, file, err);
    return s == PO_OK ? po_store_do(book->store, NULL, err, "UPDATE files SET last = ?1, removed_ms = ?2 WHERE id = ?3",
                                    "iii", book->event, book->at_ms, file)
                      : s;
}

#define KEPT                                                                                                           \
    "SELECT id AS file, sha256, bytes, kind, run, machine, name, at_ms FROM files WHERE removed_ms IS NULL AND id > "  \
    "?1 "
#define ORDER " ORDER BY id LIMIT ?2"

/* A text for each index that serves: one text with all conditions would walk the whole table. */
po_status po_ask_files(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *machine = po_field_text(p, "machine"), *sha256 = po_field_text(p, "sha256");
    int64_t limit = po_limit_of(p), after = po_field_int(p, "after"), run = po_field_int(p, "run"),
            file = po_field_int(p, "file");
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/files/1");
    po_status s = file ? is_kept(store, file, err) : PO_OK;
    if (s != PO_OK) {
        return s;
    }
    if (file) {
        s = po_store_ask(store, &rows, err, KEPT "AND id = ?3" ORDER, "iii", after, limit + 1, file);
    } else if (run) {
        s = po_store_ask(store, &rows, err,
                         KEPT "AND run = ?3 AND (?4 IS NULL OR machine = ?4) AND (?5 IS NULL OR sha256 = ?5)" ORDER,
                         "iiitt", after, limit + 1, run, machine, sha256);
    } else if (sha256) {
        s = po_store_ask(store, &rows, err, KEPT "AND sha256 = ?3 AND (?4 IS NULL OR machine = ?4)" ORDER, "iitt",
                         after, limit + 1, sha256, machine);
    } else if (machine) {
        s = po_store_ask(store, &rows, err, KEPT "AND machine = ?3" ORDER, "iit", after, limit + 1, machine);
    } else {
        s = po_store_ask(store, &rows, err, KEPT ORDER, "ii", after, limit + 1);
    }
    return s == PO_OK ? po_put_rows(rows, ret, "files", limit, err) : s;
}
