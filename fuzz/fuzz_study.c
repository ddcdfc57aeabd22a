/* A study's text, and results of papers as comma-separated values. SPDX-License-Identifier: Apache-2.0
 * Promises: it comes to an end; a study that was read has what a paper needs: topics with questions enough, right answers that are marked right, papers
 * whose questions are its own; faults have places; of results each has a member and a day, and a fault has a line. */
#include <stdlib.h>
#include <string.h>

#include "fuzz.h"
#include "proveout/results.h"
#include "proveout/study.h"

static void sit(const po_study *s, po_arena *arena)
{
    size_t drawn[PO_PAPER_QUESTIONS_MOST], order[PO_STUDY_OPTIONS_MOST];
    size_t n = po_paper_draw(s, false, 7, NULL, 0, drawn), wanted = 0;
    for (size_t t = 0; t < s->n_topics; t++) {
        wanted += (size_t)s->topics[t].questions;
    }
    PROMISE(n == wanted && n <= PO_PAPER_QUESTIONS_MOST);
    for (size_t i = 0; i < n; i++) {
        PROMISE(drawn[i] < s->n_questions);
    }
    for (size_t q = 0; q < s->n_questions; q++) {
        const po_question *one = &s->questions[q];
        const char *right = po_answer_right(one, arena);
        PROMISE(right && po_answer_mark(one, right) == PO_MARK_RIGHT);
        PROMISE(po_study_question(s, one->id) == one && one->topic < s->n_topics);
        po_paper_options(one, q, order);
        for (size_t i = 0; i < one->n_options; i++) {
            PROMISE(order[i] < one->n_options);
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    po_arena *arena = po_arena_new(0);
    char *copy = malloc(n + 1);
    const po_study *s = NULL;
    po_shop_faults faults;
    po_err err = {0};
    PROMISE(arena && copy);
    if (po_study_read((const char *)data, n, "fuzz", arena, &s, &faults, &err) == PO_OK) {
        PROMISE(s && s->title && s->n_topics > 0 && s->n_questions > 0 && faults.n_faults == 0);
        sit(s, arena);
    } else {
        PROMISE(err.msg[0]);
        for (size_t i = 0; i < faults.n_faults; i++) {
            PROMISE(faults.faults[i].line > 0 && faults.faults[i].found && faults.faults[i].expected);
        }
    }
    memcpy(copy, data, n);
    const po_result *list = NULL;
    const char *const *says = NULL;
    size_t n_list = 0, n_says = 0;
    if (po_results_read(copy, n, arena, &list, &n_list, &says, &n_says, &err) == PO_OK) {
        for (size_t i = 0; i < n_list; i++) {
            PROMISE(list[i].member[0] && list[i].study[0] && list[i].date.year >= 2000 && list[i].line > 1);
        }
    } else {
        PROMISE(err.msg[0]);
    }
    free(copy);
    po_arena_free(arena);
    return 0;
}
