/* What is asked about papers: lists without answers, and one with all that belongs to it. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "ledger/answers.h"

/* Lines as a JSON list; an empty text is an empty list. NULL: out of memory. */
static json_t *list_of(const char *lines)
{
    json_t *list = json_array();
    for (const char *p = lines; list && p && *p;) {
        size_t one = strcspn(p, "\n");
        if (json_array_append_new(list, json_stringn(p, one)) != 0) {
            json_decref(list);
            return NULL;
        }
        p += one + (p[one] == '\n');
    }
    return list;
}

/* In place of a text of lines: a list. */
static bool as_list(json_t *row, const char *key)
{
    const char *text = json_string_value(json_object_get(row, key));
    return json_object_set_new(row, key, list_of(text ? text : "")) == 0;
}

#define PAPER                                                                                                          \
    "SELECT p.id AS paper, m.member AS member, o.name AS name, p.study AS study, p.kind AS kind, p.state AS state, "   \
    "p.drawn_ms AS drawn_ms, p.until_ms AS until_ms, p.handed_ms AS handed_ms, p.met AS is_met, p.passed AS "          \
    "is_passed, p.late AS is_late, p.points AS points, p.most AS most, p.pass_permille AS pass_permille, p.source AS " \
    "source, p.reason AS reason, coalesce(p.teach, '') AS teach"
#define FROM_PAPERS " FROM papers p JOIN members m ON m.id = p.member LEFT JOIN persons o ON o.member = m.member WHERE "

po_status po_ask_papers(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p), passed = po_field_has(p, "passed") ? po_field_flag(p, "passed") : -1;
    po_member m = {0};
    po_rows *rows = NULL;
    po_put_text(ret, "format", "proveout/papers/1");
    po_status s = po_field_has(p, "member") ? po_member_find(store, po_field_text(p, "member"), now, &m, err) : PO_OK;
    s = s == PO_OK ? po_store_ask(store, &rows, err,
                                  PAPER FROM_PAPERS
                                  "(?1 = 0 OR p.member = ?1) AND (?2 IS NULL OR p.study = ?2) AND (?3 IS NULL OR "
                                  "p.state = ?3) AND (?4 < 0 OR p.passed = ?4) AND (?5 = 0 OR p.id < ?5) AND (?6 = 0 "
                                  "OR (p.state <> 'void' AND NOT EXISTS (SELECT 1 FROM papers q WHERE q.member = "
                                  "p.member AND q.study = p.study AND q.state <> 'void' AND q.id > p.id))) ORDER BY "
                                  "p.id DESC LIMIT ?7",
                                  "ittiiii", m.id, po_field_text(p, "study"), po_field_text(p, "state"), passed,
                                  po_field_int(p, "before"), (int64_t)po_field_flag(p, "latest"), limit + 1)
                   : s;
    s = s == PO_OK ? po_put_rows(rows, ret, "papers", limit, err) : s;
    bool whole = true;
    size_t i;
    json_t *row;
    json_array_foreach(json_object_get(ret, "papers"), i, row)
    {
        whole = as_list(row, "teach") && whole;
    }
    return s == PO_OK && !whole ? po_fail(err, PO_E_NOMEM, "out of memory for an answer") : s;
}

/* Question by question: id, answer (null: none), mark (null: not marked). */
static json_t *each_question(const json_t *row, const json_t *open_answers)
{
    json_t *ids = list_of(json_string_value(json_object_get(row, "questions"))), *out = json_array();
    const char *marks = json_string_value(json_object_get(row, "marks"));
    const char *answers = json_string_value(json_object_get(row, "answers"));
    bool whole = ids && out;
    for (size_t i = 0; whole && i < json_array_size(ids); i++) {
        const char *id = json_string_value(json_array_get(ids, i));
        size_t one = answers ? strcspn(answers, "\n") : 0;
        json_t *q = json_object(), *answer = json_object_get(open_answers, id);
        answer = answers && one ? json_stringn(answers, one) : answer && !answers ? json_incref(answer) : json_null();
        answers = answers ? answers + one + (answers[one] == '\n') : NULL;
        whole = q && json_object_set_new(q, "question", json_string(id)) == 0;
        whole = json_object_set_new(q, "answer", answer) == 0 && whole;
        whole = json_object_set_new(q, "mark",
                                    !marks            ? json_null()
                                    : marks[i] == 'r' ? json_string("right")
                                    : marks[i] == 'w' ? json_string("wrong")
                                                      : json_string("none")) == 0 &&
                whole;
        whole = json_array_append_new(out, q) == 0 && whole;
    }
    json_decref(ids);
    if (!whole) {
        json_decref(out);
        return NULL;
    }
    return out;
}

po_status po_ask_paper(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t id = po_field_int(p, "paper");
    po_rows *rows = NULL;
    json_t *open = json_object();
    (void)now;
    po_put_text(ret, "format", "proveout/paper/1");
    po_status s = open ? po_store_ask(store, &rows, err,
                                      PAPER ", p.seed AS seed, p.questions AS questions, p.study_sha256 AS "
                                            "study_sha256, p.marks AS marks, p.answers AS answers" FROM_PAPERS
                                            "p.id = ?1",
                                      "i", id)
                       : po_fail(err, PO_E_NOMEM, "out of memory for an answer");
    s = s == PO_OK ? po_put_rows(rows, ret, "papers", 1, err) : s;
    json_t *row = json_incref(json_array_get(json_object_get(ret, "papers"), 0));
    json_object_del(ret, "papers");
    json_object_del(ret, "more");
    if (s == PO_OK && !row) {
        s = po_fail_at(err, PO_E_NOTFOUND, "paper", 0, 0, "there is no paper %lld", (long long)id);
    }
    s = s == PO_OK ? po_store_ask(store, &rows, err, "SELECT question, answer FROM answers WHERE paper = ?1", "i", id)
                   : s;
    if (s == PO_OK) {
        bool whole = true;
        while (po_rows_next(rows)) {
            whole = json_object_set_new(open, po_rows_word(rows, 0), json_string(po_rows_word(rows, 1))) == 0 && whole;
        }
        s = po_rows_end(rows, err);
        json_t *questions = each_question(row, open);
        whole = whole && questions && as_list(row, "teach");
        json_object_del(row, "marks");
        json_object_del(row, "answers");
        whole = json_object_set_new(row, "questions", questions) == 0 && whole;
        whole = json_object_update(ret, row) == 0 && whole;
        s = s == PO_OK && !whole ? po_fail(err, PO_E_NOMEM, "out of memory for an answer") : s;
    }
    json_decref(row);
    json_decref(open);
    return s;
}
