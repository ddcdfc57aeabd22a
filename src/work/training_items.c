/* Statistics of a study's questions from the papers in the book. SPDX-License-Identifier: Apache-2.0 */
#include "work/training_items.h"

#include <stdlib.h>
#include <string.h>

#include "proveout/scan.h"

enum { FIT_MOST = 5000 };

typedef struct table {
    const po_study *study;
    uint8_t *mark, *chosen;
    size_t papers, room, lost;
    bool failed;
} table;

/* The next line of *text without its end; NULL: there is none. */
static const char *line_of(const char **text, size_t *ret_n)
{
    const char *line = *text;
    if (!line) {
        return NULL;
    }
    const char *end = strchr(line, '\n');
    *ret_n = end ? (size_t)(end - line) : strlen(line);
    *text = end ? end + 1 : NULL;
    return line;
}

static bool grow(table *t)
{
    size_t n = t->study->n_questions, room = t->room ? 2 * t->room : 256;
    uint8_t *mark = realloc(t->mark, room * n);
    t->mark = mark ? mark : t->mark;
    uint8_t *chosen = mark ? realloc(t->chosen, room * n) : NULL;
    t->chosen = chosen ? chosen : t->chosen;
    t->failed = !chosen;
    t->room = chosen ? room : t->room;
    return !t->failed;
}

static bool look(const po_paper_seen *paper, void *user)
{
    table *t = user;
    const size_t n = t->study->n_questions;
    if (paper->refresher) {
        return true;
    }
    if (t->papers == t->room && !grow(t)) {
        return false;
    }
    uint8_t *mark = t->mark + t->papers * n, *chosen = t->chosen + t->papers * n;
    memset(mark, PO_CELL_NOT_DRAWN, n);
    memset(chosen, 0, n);
    const char *ids = paper->questions, *answers = paper->answers, *letter = paper->marks;
    const char *id;
    size_t n_id = 0, n_answer = 0, q = 0, known = 0;
    while (*letter && (id = line_of(&ids, &n_id)) != NULL) {
        const char *answer = line_of(&answers, &n_answer);
        /* Papers ask in an order of their own, so a question is looked for from where the last one was. */
        size_t tried = 0;
        while (tried < n && (strncmp(t->study->questions[q].id, id, n_id) != 0 || t->study->questions[q].id[n_id])) {
            q = (q + 1) % n;
            tried++;
        }
        if (tried == n) {
            t->lost++;
        } else {
            mark[q] = *letter == 'r' ? PO_CELL_RIGHT : *letter == 'w' ? PO_CELL_WRONG : PO_CELL_BLANK;
            if (t->study->questions[q].kind == PO_ASK_ONE && answer && n_answer > 0 && n_answer <= 2) {
                long option = strtol(answer, NULL, 10);
                chosen[q] = option >= 1 && option <= PO_STUDY_OPTIONS_MOST ? (uint8_t)option : 0;
            }
            known++;
        }
        letter++;
    }
    t->papers += known > 0;
    return true;
}

static void keys_of(const po_study *study, uint8_t *key)
{
    for (size_t q = 0; q < study->n_questions; q++) {
        for (size_t o = 0; study->questions[q].kind == PO_ASK_ONE && o < study->questions[q].n_options; o++) {
            key[q] = study->questions[q].right & (1u << o) ? (uint8_t)(o + 1) : key[q];
        }
    }
}

po_status work_training_items(work_context *w, const po_study *study, po_arena *arena, work_items *ret, po_err *err)
{
    table t = {.study = study};
    uint8_t *key = po_arena_zeros(arena, study->n_questions, 1);
    size_t rounds = 0;
    *ret = (work_items){.model = po_arena_zeros(arena, study->n_questions, sizeof *ret->model)};
    po_status s = key && ret->model ? po_ledger_scan_papers(w->ledger, study->id, look, &t, err)
                                    : po_fail(err, PO_E_NOMEM, "out of memory for statistics");
    if (t.failed) {
        s = po_fail(err, PO_E_NOMEM, "out of memory for statistics");
    } else if (s == PO_OK && t.papers == 0) {
        s = po_fail(err, PO_E_NOTFOUND, "nobody has handed in a full paper of %s yet", study->id);
    }
    if (s == PO_OK) {
        keys_of(study, key);
        po_items_table given = {t.mark, t.chosen, key, t.papers, study->n_questions};
        s = po_items_of(&given, arena, &ret->all, err);
        if (t.papers > FIT_MOST) { /* each round of the fit reads all cells forty-one times; the latest tell as much */
            given.mark += (t.papers - FIT_MOST) * study->n_questions;
            given.chosen += (t.papers - FIT_MOST) * study->n_questions;
            given.papers = FIT_MOST;
        }
        po_status fit = s == PO_OK ? po_items_model(&given, arena, ret->model, &rounds, err) : s;
        ret->fitted = fit == PO_OK && rounds > 0;
        s = fit == PO_E_LIMIT ? PO_OK : fit; /* one that does not settle leaves the plain figures as they are */
    }
    ret->lost = t.lost;
    free(t.mark);
    free(t.chosen);
    return s;
}
