/* What check said of a job on a machine, kept for the day of its run. SPDX-License-Identifier: Apache-2.0
 *
 * One proof for a job on a machine: a later one takes its place. Lists are kept as JSON texts, as they came. */
#include <stdlib.h>

#include "ledger/answers.h"

/* A list of the body as text; NULL where missing. The caller frees it. */
static po_status text_of(const json_t *body, const char *name, char **ret, po_err *err)
{
    const json_t *list = json_object_get(body, name);
    *ret = list ? po_fields_canonical(list) : NULL;
    return list && !*ret ? po_fail(err, PO_E_NOMEM, "out of memory for a proof") : PO_OK;
}

static po_status keep(po_book *book, int64_t id, char *const lists[4], po_err *err)
{
    const json_t *b = book->body;
    return po_store_do(book->store, NULL, err,
                       "UPDATE proofs SET last = ?1, proved_ms = ?2, verdict = ?3, um = ?4, mg = nullif(?5, -1), "
                       "seconds = ?6, file = ?7, "
                       "recipe = ?8, first_bead_seconds = nullif(?9, -1), first_layer_seconds = nullif(?10, -1), "
                       "height_um = nullif(?11, "
                       "-1), materials = ?12, hands = ?13, by_height = ?14, findings = ?15 WHERE id = ?16",
                       "iitiiittiiitttti", book->event, book->at_ms, po_field_text(b, "verdict"), po_field_int(b, "um"),
                       po_field_or_none(b, "mg"), po_field_int(b, "seconds"), po_field_text(b, "file"),
                       po_field_text(b, "recipe"), po_field_or_none(b, "first_bead_seconds"),
                       po_field_or_none(b, "first_layer_seconds"), po_field_or_none(b, "height_um"), lists[0], lists[1],
                       lists[2], lists[3], id);
}

po_status po_apply_proof_keep(po_book *book, po_err *err)
{
    static const char *const names[] = {"materials", "hands", "by_height", "findings"};
    const char *sha256 = po_field_text(book->body, "sha256"), *machine = po_field_text(book->body, "machine");
    char *lists[4] = {NULL};
    int64_t id = book->event;
    bool found = false;
    po_status s = po_store_number(book->store, &id, &found, err,
                                  "SELECT id FROM proofs WHERE sha256 = ?1 AND machine = ?2", "tt", sha256, machine);
    if (s == PO_OK && found) {
        s = po_book_touch(book, PO_T_PROOFS, id, err);
    } else if (s == PO_OK) {
        s = po_store_do(
            book->store, NULL, err,
            "INSERT INTO proofs(id, last, sha256, machine, proved_ms, verdict, um, seconds) VALUES(?1, ?1, ?2, "
            "?3, 0, '', 0, 0)",
            "itt", id, sha256, machine);
        s = s == PO_OK ? po_book_made(book, PO_T_PROOFS, id, err) : s;
    }
    for (int i = 0; s == PO_OK && i < 4; i++) {
        s = text_of(book->body, names[i], &lists[i], err);
    }
    s = s == PO_OK ? keep(book, id, lists, err) : s;
    for (int i = 0; i < 4; i++) {
        free(lists[i]);
    }
    po_book_answer_int(book, "proof", id);
    return s;
}

#define PROOFS                                                                                                         \
    "SELECT id AS proof, sha256, machine, proved_ms, verdict, um, mg, seconds, file, recipe, materials AS "            \
    "json_materials, "                                                                                                 \
    "first_bead_seconds, first_layer_seconds, height_um, hands AS json_hands, by_height AS json_by_height, findings "  \
    "AS "                                                                                                              \
    "json_findings FROM proofs "

po_status po_ask_proofs(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *sha256 = po_field_text(p, "sha256"), *machine = po_field_text(p, "machine");
    const char *file = po_field_text(p, "file");
    int64_t limit = po_limit_of(p);
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/proofs/1");
    if (file && (sha256 || !machine)) {
        return po_fail_at(err, PO_E_RANGE, "file", 0, 0,
                          "a file's name is asked for with a machine, and without sha256");
    }
    po_status s =
        sha256 ? po_store_ask(store, &rows, err,
                              PROOFS "WHERE sha256 = ?1 AND (?2 IS NULL OR machine = ?2) ORDER BY machine LIMIT ?3",
                              "tti", sha256, machine, limit + 1)
        : file ? po_store_ask(store, &rows, err,
                              PROOFS "WHERE machine = ?1 AND file = ?2 ORDER BY proved_ms DESC, id DESC LIMIT ?3",
                              "tti", machine, file, limit + 1)
        : machine
            ? po_store_ask(store, &rows, err, PROOFS "WHERE machine = ?1 ORDER BY proved_ms DESC, id DESC LIMIT ?2",
                           "ti", machine, limit + 1)
            : po_store_ask(store, &rows, err, PROOFS "ORDER BY proved_ms DESC, id DESC LIMIT ?1", "i", limit + 1);
    return s == PO_OK ? po_put_rows(rows, ret, "proofs", limit, err) : s;
}
