/* Studies: lessons, questions and practical steps from a text file; papers drawn and marked. SPDX-License-Identifier: Apache-2.0
 *
 * Format: docs/study-format.md. Everything here is plain values: who sat what, and when, is the book's.
 * An answer is a text: of one and several the numbers of the options in the order of the file ("2", "1,3"); of order all of them in the order given
 * ("3,1,2"); of number a decimal number ("40", "0.05"); of place two whole numbers, thousandths of the picture's width and height ("512,300"). */
#ifndef PROVEOUT_STUDY_H
#define PROVEOUT_STUDY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/shop.h"
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum {
    PO_STUDY_OPTIONS_MOST = 10,
    PO_STUDY_AREAS_MOST = 8,
    PO_STUDY_QUESTIONS_MOST = 400,
    PO_PAPER_QUESTIONS_MOST = 200,
    PO_STUDY_LISTED_MOST = 100
};

typedef enum po_question_kind {
    PO_ASK_ONE = 0,
    PO_ASK_SEVERAL,
    PO_ASK_ORDER,
    PO_ASK_NUMBER,
    PO_ASK_PLACE
} po_question_kind;

typedef struct po_study_picture {
    const char *file, *shows; /* NULL: none; shows: for who can't see it */
} po_study_picture;

typedef struct po_lesson {
    const char *id, *title, *text; /* text: paragraphs parted by an empty line */
    po_study_picture picture;
    const char *const *see; /* names of findings, for proveout explain */
    size_t n_see;
} po_lesson;

typedef struct po_topic {
    const char *id, *title;
    int questions, refresher; /* so many of each paper */
} po_topic;

typedef struct po_question {
    const char *id, *ask, *why;
    po_question_kind kind;
    size_t topic;
    bool hazard; /* missed, it is taught again before the paper counts as passed */
    po_study_picture picture;
    const char *const *options; /* of one, several, order: in the file's order, which of order is the right one */
    size_t n_options;
    uint32_t right; /* of one and several: a bit for each right option */
    double is, within;
    const char *unit;                  /* of number; "": none */
    int areas[PO_STUDY_AREAS_MOST][4]; /* of place: from x, from y, to x, to y in thousandths */
    size_t n_areas;
    const char *lesson; /* where it is taught; NULL: nowhere */
} po_question;

typedef struct po_practice_step {
    const char *id, *says, *caution; /* caution NULL: the usual one alone */
} po_practice_step;

typedef struct po_study {
    const char *id, *title, *grants;                            /* grants: a permission of the shop file; NULL: none */
    int pass_permille, minutes, refresher_minutes, pause_hours; /* minutes 0: no limit */
    const po_lesson *lessons;
    size_t n_lessons;
    const po_topic *topics;
    size_t n_topics;
    const po_question *questions;
    size_t n_questions;
    const po_practice_step *practice;
    size_t n_practice;
    char sha256[65]; /* of the file's bytes */
} po_study;

/* Read one study from its text; every fault is told, as of a shop file. id: its folder's name. arena owns all.
 * Errors: PO_E_SYNTAX with the first fault, PO_E_LIMIT, PO_E_NOMEM. */
PO_API po_status po_study_read(const char *text, size_t n_bytes, const char *id, po_arena *arena, const po_study **ret,
                               po_shop_faults *ret_faults, po_err *err) PO_MUST_USE;
/* By id; NULL: none. */
PO_API const po_question *po_study_question(const po_study *study, const char *id);
PO_API const po_lesson *po_study_lesson(const po_study *study, const char *id);
PO_API const char *po_question_kind_name(po_question_kind kind);

/* Draw a paper: of each topic as many as its blueprint says, hazard questions of the topic first; those not asked before go before those that were
 * (before: n_before ids of earlier papers), at random within; then all shuffled. The same seed, the same paper. ret: indices of questions, room for
 * PO_PAPER_QUESTIONS_MOST. */
PO_API size_t po_paper_draw(const po_study *study, bool refresher, uint64_t seed, const char *const *before,
                            size_t n_before, size_t *ret);
/* The order in which a paper shows a question's options: order[i] is the file's option, from 0, that stands at place i. The same seed and question,
 * the same order. */
PO_API void po_paper_options(const po_question *question, uint64_t seed, size_t order[PO_STUDY_OPTIONS_MOST]);

typedef enum po_mark { PO_MARK_NONE = 0, PO_MARK_RIGHT, PO_MARK_WRONG } po_mark;
/* Is this an answer to that kind of question at all? PO_E_RANGE with a sentence that says what would be. */
PO_API po_status po_answer_holds(const po_question *question, const char *answer, po_err *err) PO_MUST_USE;
/* Mark an answer; NULL or "": none. One that is no answer is wrong. */
PO_API po_mark po_answer_mark(const po_question *question, const char *answer);
/* The right answer as a text of the same kind, in the arena ("512,300": the middle of the first area). */
PO_API const char *po_answer_right(const po_question *question, po_arena *arena);

#ifdef __cplusplus
}
#endif

#endif
