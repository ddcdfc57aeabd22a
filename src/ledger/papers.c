/* Papers of members: drawn, answered, handed in and marked, taught, void. SPDX-License-Identifier: Apache-2.0
 *
 * Questions and right answers are in the study's files, not here: whoever books a mark has worked it out from them. The book sees to
 * it that a member has one open paper of a study at most, that answers and marks are of its own questions, and that what must be
 * taught again is taught before the paper counts as passed. Lists are kept as lines of one text, which a hundred thousand papers
 * are read from quickly. */
#include <stdlib.h>
#include <string.h>

#include "ledger/answers.h"

enum { PERMILLE = 1000 };

typedef struct paper {
    int64_t id, met;
    char state[12], *questions, *teach; /* lines; of the caller of read_paper */
} paper;

static void free_paper(paper *p)
{
    free(p->questions);
    free(p->teach);
    p->questions = p->teach = NULL;
}

/* The ids as lines; NULL: out of memory. The caller's. */
static char *lines_of(const json_t *ids)
{
    size_t n = 1, at = 0;
    for (size_t i = 0; i < json_array_size(ids); i++) {
        n += strlen(json_string_value(json_array_get(ids, i))) + 1;
    }
    char *out = malloc(n);
    for (size_t i = 0; out && i < json_array_size(ids); i++) {
        const char *id = json_string_value(json_array_get(ids, i));
        size_t len = strlen(id);
        if (i > 0) {
            out[at++] = '\n';
        }
        memcpy(out + at, id, len);
        at += len;
    }
    if (out) {
        out[at] = 0;
    }
    return out;
}

/* Which line is this; -1: none. */
static int line_of(const char *lines, const char *word)
{
    size_t len = strlen(word);
    int n = 0;
    for (const char *p = lines; p && *p; n++) {
        size_t one = strcspn(p, "\n");
        if (one == len && memcmp(p, word, len) == 0) {
            return n;
        }
        p += one + (p[one] == '\n');
    }
    return -1;
}

static int count_lines(const char *lines)
{
    int n = lines && *lines ? 1 : 0;
    for (const char *p = lines; p && *p; p++) {
        n += *p == '\n';
    }
    return n;
}

/* The paper of the body in this state. On PO_OK its texts are the caller's. */
static po_status read_paper(po_book *book, const char *state, paper *ret, po_err *err)
{
    po_rows *rows = NULL;
    paper p = {.id = po_field_int(book->body, "paper")};
    bool there = false;
    po_status s = po_store_ask(book->store, &rows, err, "SELECT state, met, questions, teach FROM papers WHERE id = ?1",
                               "i", p.id);
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        const char *teach = po_rows_text(rows, 3);
        there = true;
        po_cut_text(p.state, sizeof p.state, po_rows_word(rows, 0));
        p.met = po_rows_int(rows, 1);
        p.questions = strdup(po_rows_word(rows, 2));
        p.teach = strdup(teach ? teach : "");
    }
    s = po_rows_end(rows, err);
    if (s == PO_OK && there && (!p.questions || !p.teach)) {
        s = po_fail(err, PO_E_NOMEM, "out of memory for a paper");
    } else if (s == PO_OK && !there) {
        s = po_fail_at(err, PO_E_NOTFOUND, "paper", 0, 0, "there is no paper %lld", (long long)p.id);
    } else if (s == PO_OK && strcmp(p.state, state) != 0) {
        s = po_fail_at(err, PO_E_CONFLICT, "paper", 0, 0, "paper %lld %s", (long long)p.id,
                       p.state[0] == 'o'   ? "is still open; it must be handed in first"
                       : p.state[0] == 'v' ? "is void"
                                           : "was handed in already");
    }
    if (s != PO_OK) {
        free_paper(&p);
    }
    *ret = p;
    po_book_answer_int(book, "paper", p.id);
    return s;
}

po_status po_apply_paper_draw(po_book *book, po_err *err)
{
    const json_t *b = book->body, *ids = json_object_get(b, "questions");
    const char *study = po_field_text(b, "study");
    po_member m = {0};
    int64_t open = 0;
    bool found = false;
    if (po_field_int(b, "pass_permille") > PERMILLE) {
        return po_fail_at(err, PO_E_RANGE, "pass_permille", 0, 0,
                          "the mark to reach is at most 1000, which is all of it");
    }
    po_status s = po_member_find(book->store, po_field_text(b, "member"), book->at_ms, &m, err);
    s = s == PO_OK ? po_store_number(book->store, &open, &found, err,
                                     "SELECT id FROM papers WHERE member = ?1 AND study = ?2 AND state = 'open'", "it",
                                     m.id, study)
                   : s;
    if (s == PO_OK && found) {
        return po_fail_at(err, PO_E_CONFLICT, "study", 0, 0,
                          "member %s has paper %lld of %s open: it is handed in or made void first",
                          po_field_text(b, "member"), (long long)open, study);
    }
    char *lines = s == PO_OK ? lines_of(ids) : NULL;
    if (s == PO_OK && !lines) {
        s = po_fail(err, PO_E_NOMEM, "out of memory for a paper");
    }
    for (size_t i = 0; s == PO_OK && i < json_array_size(ids); i++) {
        const char *id = json_string_value(json_array_get(ids, i));
        if (line_of(lines, id) != (int)i) {
            s = po_fail_at(err, PO_E_RANGE, "questions", 0, 0, "question %.64s is drawn twice", id);
        }
    }
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO papers(id, last, member, study, kind, seed, questions, study_sha256, "
                                 "pass_permille, until_ms, drawn_ms, state) VALUES(?1, ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, "
                                 "nullif(?9, -1), ?10, 'open')",
                                 "iittittiii", book->event, m.id, study, po_field_text(b, "kind"),
                                 po_field_int(b, "seed"), lines, po_field_text(b, "study_sha256"),
                                 po_field_int(b, "pass_permille"), po_field_or_none(b, "until"), book->at_ms)
                   : s;
    free(lines);
    po_book_answer_int(book, "paper", book->event);
    return s == PO_OK ? po_book_made(book, PO_T_PAPERS, book->event, err) : s;
}

po_status po_apply_paper_answer(po_book *book, po_err *err)
{
    const char *question = po_field_text(book->body, "question");
    paper p = {0};
    int64_t id = 0;
    bool found = false;
    po_status s = read_paper(book, "open", &p, err);
    if (s == PO_OK && line_of(p.questions, question) < 0) {
        s = po_fail_at(err, PO_E_NOTFOUND, "question", 0, 0, "paper %lld has no question %s", (long long)p.id,
                       question);
    }
    s = s == PO_OK ? po_store_number(book->store, &id, &found, err,
                                     "SELECT id FROM answers WHERE paper = ?1 AND question = ?2", "it", p.id, question)
                   : s;
    if (s == PO_OK && found) {
        s = po_book_touch(book, PO_T_ANSWERS, id, err);
        s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                     "UPDATE answers SET last = ?1, answer = ?2, at_ms = ?3 WHERE id = ?4", "itii",
                                     book->event, po_field_text(book->body, "answer"), book->at_ms, id)
                       : s;
    } else if (s == PO_OK) {
        s = po_book_next_id(book, PO_T_ANSWERS, &id, err);
        s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                     "INSERT INTO answers(id, last, paper, question, answer, at_ms) VALUES(?1, ?2, ?3, "
                                     "?4, ?5, ?6)",
                                     "iiitti", id, book->event, p.id, question, po_field_text(book->body, "answer"),
                                     book->at_ms)
                       : s;
        s = s == PO_OK ? po_book_made(book, PO_T_ANSWERS, id, err) : s;
    }
    free_paper(&p);
    return s;
}

/* Set the marks of the questions that the list names. */
static po_status mark(const json_t *body, const char *field, const char *questions, char letter, char *marks,
                      po_err *err)
{
    const json_t *ids = json_object_get(body, field);
    for (size_t i = 0; i < json_array_size(ids); i++) {
        const char *id = json_string_value(json_array_get(ids, i));
        int at = line_of(questions, id);
        if (at < 0 || marks[at] != '-') {
            return po_fail_at(err, PO_E_RANGE, field, 0, 0,
                              at < 0 ? "question %.64s is not of this paper" : "question %.64s is marked twice", id);
        }
        marks[at] = letter;
    }
    return PO_OK;
}

/* The answers of an open paper as lines in the order of its questions. The caller's. */
static po_status answers_of(po_book *book, const paper *p, char **ret, po_err *err)
{
    int n = count_lines(p->questions);
    char **each = calloc((size_t)n + 1, sizeof *each), *out = NULL;
    size_t room = 1, at = 0;
    po_rows *rows = NULL;
    po_status s = each ? po_store_ask(book->store, &rows, err, "SELECT question, answer FROM answers WHERE paper = ?1",
                                      "i", p->id)
                       : po_fail(err, PO_E_NOMEM, "out of memory for answers");
    bool whole = true;
    while (s == PO_OK && po_rows_next(rows)) {
        int line = line_of(p->questions, po_rows_word(rows, 0));
        if (line >= 0 && !each[line]) {
            each[line] = strdup(po_rows_word(rows, 1));
            whole = whole && each[line];
        }
    }
    if (rows) {
        s = po_rows_end(rows, err);
    }
    for (int i = 0; s == PO_OK && i < n; i++) {
        room += (each[i] ? strlen(each[i]) : 0) + 1;
    }
    out = s == PO_OK && whole ? malloc(room) : NULL;
    if (s == PO_OK && !out) {
        s = po_fail(err, PO_E_NOMEM, "out of memory for answers");
    }
    for (int i = 0; i < n; i++) {
        size_t len = each && each[i] ? strlen(each[i]) : 0;
        if (out) {
            if (i > 0) {
                out[at++] = '\n';
            }
            memcpy(out + at, len ? each[i] : "", len);
            at += len;
            out[at] = 0;
        }
        if (each) {
            free(each[i]);
        }
    }
    free(each);
    *ret = out;
    return s;
}

po_status po_apply_paper_hand_in(po_book *book, po_err *err)
{
    const json_t *b = book->body, *teach = json_object_get(b, "teach");
    bool met = po_field_flag(b, "passed");
    paper p = {0};
    char marks[257] = "", *answers = NULL, *left = NULL;
    int right = 0;
    po_status s = read_paper(book, "open", &p, err);
    int n = s == PO_OK ? count_lines(p.questions) : 0;
    if (s == PO_OK && n >= (int)sizeof marks) {
        s = po_fail(err, PO_E_INTERNAL, "a paper has more questions than it can have");
    }
    if (s == PO_OK) {
        memset(marks, '-', (size_t)n);
        s = mark(b, "right", p.questions, 'r', marks, err);
        s = s == PO_OK ? mark(b, "wrong", p.questions, 'w', marks, err) : s;
    }
    for (int i = 0; i < n; i++) {
        right += marks[i] == 'r';
    }
    for (size_t i = 0; s == PO_OK && i < json_array_size(teach); i++) {
        const char *id = json_string_value(json_array_get(teach, i));
        int at = line_of(p.questions, id);
        if (at < 0 || marks[at] == 'r') {
            s = po_fail_at(err, PO_E_RANGE, "teach", 0, 0, "question %.64s was not missed on this paper", id);
        }
    }
    s = s == PO_OK ? answers_of(book, &p, &answers, err) : s;
    left = s == PO_OK ? lines_of(teach) : NULL;
    if (s == PO_OK && !left) {
        s = po_fail(err, PO_E_NOMEM, "out of memory for a paper");
    }
    bool passed = met && s == PO_OK && !left[0];
    s = s == PO_OK ? po_book_touch(book, PO_T_PAPERS, p.id, err) : s;
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "UPDATE papers SET last = ?1, state = 'handed-in', handed_ms = ?2, marks = ?3, answers "
                          "= ?4, teach = ?5, met = ?6, passed = ?7, late = ?8, points = ?9, most = ?10 WHERE id "
                          "= ?11",
                          "iitttiiiiii", book->event, book->at_ms, marks, answers, left, (int64_t)met, (int64_t)passed,
                          (int64_t)po_field_flag(b, "late"), (int64_t)right, (int64_t)n, p.id)
            : s;
    free(answers);
    free(left);
    free_paper(&p);
    po_book_answer_int(book, "points", right);
    po_book_answer_int(book, "most", n);
    if (book->answer) {
        book->answer_failed |= json_object_set_new(book->answer, "passed", json_boolean(passed)) != 0;
    }
    return s;
}

po_status po_apply_paper_taught(po_book *book, po_err *err)
{
    const char *question = po_field_text(book->body, "question");
    paper p = {0};
    po_status s = read_paper(book, "handed-in", &p, err);
    int line = s == PO_OK ? line_of(p.teach, question) : -1;
    if (s == PO_OK && line < 0) {
        s = po_fail_at(err, PO_E_NOTFOUND, "question", 0, 0, "question %s is not to be taught for paper %lld", question,
                       (long long)p.id);
    }
    if (s == PO_OK) { /* cut its line out, with the break before it or behind it */
        char *at = p.teach;
        for (; line > 0; line--) {
            at = strchr(at, '\n') + 1;
        }
        size_t len = strlen(question);
        if (at[len] == '\n') {
            memmove(at, at + len + 1, strlen(at + len + 1) + 1);
        } else {
            at[at > p.teach ? -1 : 0] = 0;
        }
    }
    bool passed = s == PO_OK && p.met && !p.teach[0];
    s = s == PO_OK ? po_book_touch(book, PO_T_PAPERS, p.id, err) : s;
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err, "UPDATE papers SET last = ?1, teach = ?2, passed = ?3 WHERE id = ?4",
                          "itii", book->event, p.teach, (int64_t)passed, p.id)
            : s;
    free_paper(&p);
    if (book->answer) {
        book->answer_failed |= json_object_set_new(book->answer, "passed", json_boolean(passed)) != 0;
    }
    return s;
}

po_status po_apply_paper_void(po_book *book, po_err *err)
{
    int64_t id = po_field_int(book->body, "paper"), is_void = 0;
    bool found = false;
    po_status s = po_store_number(book->store, &is_void, &found, err, "SELECT state = 'void' FROM papers WHERE id = ?1",
                                  "i", id);
    if (s == PO_OK && (!found || is_void)) {
        return found ? po_fail_at(err, PO_E_CONFLICT, "paper", 0, 0, "paper %lld is void already", (long long)id)
                     : po_fail_at(err, PO_E_NOTFOUND, "paper", 0, 0, "there is no paper %lld", (long long)id);
    }
    s = s == PO_OK ? po_book_touch(book, PO_T_PAPERS, id, err) : s;
    po_book_answer_int(book, "paper", id);
    return s == PO_OK
               ? po_store_do(book->store, NULL, err,
                             "UPDATE papers SET last = ?1, state = 'void', passed = 0, reason = ?2 WHERE id = ?3",
                             "iti", book->event, po_field_text(book->body, "reason"), id)
               : s;
}

po_status po_apply_paper_import(po_book *book, po_err *err)
{
    const json_t *b = book->body;
    int64_t at = 0, points = po_field_or_none(b, "points"), most = po_field_or_none(b, "most");
    po_member m = {0};
    if (points > most && most >= 0) {
        return po_fail_at(err, PO_E_RANGE, "points", 0, 0, "%lld points are more than the most, %lld",
                          (long long)points, (long long)most);
    }
    po_status s = po_book_when(book, &at, err);
    s = s == PO_OK ? po_member_find(book->store, po_field_text(b, "member"), book->at_ms, &m, err) : s;
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "INSERT INTO papers(id, last, member, study, kind, seed, questions, pass_permille, "
                          "drawn_ms, state, handed_ms, met, passed, points, most, source) VALUES(?1, ?1, ?2, ?3, "
                          "'import', 0, '', 0, ?4, 'handed-in', ?4, ?5, ?5, nullif(?6, -1), nullif(?7, -1), ?8)",
                          "iitiiiit", book->event, m.id, po_field_text(b, "study"), at,
                          (int64_t)po_field_flag(b, "passed"), points, most, po_field_text(b, "source"))
            : s;
    po_book_answer_int(book, "paper", book->event);
    return s == PO_OK ? po_book_made(book, PO_T_PAPERS, book->event, err) : s;
}
