/* Triage: from what is seen to the likely cause, by the checks that tell most for their minutes. SPDX-License-Identifier: Apache-2.0
 *
 * One cause is behind a symptom, or something else that nobody thought of. Prior odds by symptom, and how often each answer comes
 * under each cause, are common practice, no published source; confirmed searches of the shop are added to them as counts
 * (Dirichlet priors). Belief is by Bayes' rule, exactly, answers taken as independent given the cause; the next check is the one with
 * the highest expected information (C. E. Shannon, "A Mathematical Theory of Communication", 1948) for each minute that it takes.
 * Method: docs/why.md. */
#ifndef PROVEOUT_WHY_H
#define PROVEOUT_WHY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { PO_WHY_ANSWERS_MOST = 4 };

typedef struct po_why_symptom {
    const char *id, *words, *look; /* what is seen; where to look closer */
} po_why_symptom;
typedef struct po_why_cause {
    const char *id, *words, *kind; /* kind: file, machine, material, power, handling */
    const char *remedy_id, *remedy;
    const char *cautions; /* letters: h hot, m moving, f fumes, e mains, t trained persons only */
} po_why_cause;
typedef struct po_why_check {
    const char *id, *asks, *how;
    int minutes;
    const char *cautions;
    size_t n_answers;
    struct {
        const char *id, *words;
    } answers[PO_WHY_ANSWERS_MOST];
} po_why_check;
typedef struct po_why_fact {
    const char *id, *words; /* "finding:NAME": the proof has that finding */
} po_why_fact;

/* What the shop has confirmed: how often a symptom had a cause (check NULL), or a check an answer under a cause (symptom unused).
 * Names that the net does not know are passed over: it may have been another version's. */
typedef struct po_why_count {
    const char *symptom, *cause, *check, *answer;
    int64_t n;
} po_why_count;

/* The net with what was learned, in the arena; not changed by questions, so threads may share it. */
typedef struct po_why po_why;
/* Errors: PO_E_NOMEM, PO_E_RANGE (a negative count), PO_E_INTERNAL (a table of the net is not as it should be, which tests hold). */
PO_API po_status po_why_new(const po_why_count *learned, size_t n, po_arena *arena, const po_why **ret,
                            po_err *err) PO_MUST_USE;

PO_API const po_why_symptom *po_why_symptoms(const po_why *why, size_t *ret_n);
PO_API const po_why_cause *po_why_causes(const po_why *why, size_t *ret_n);
PO_API const po_why_check *po_why_checks(const po_why *why, size_t *ret_n);
PO_API const po_why_fact *po_why_facts(const po_why *why, size_t *ret_n);
/* By id; SIZE_MAX: there is none. */
PO_API size_t po_why_symptom_of(const po_why *why, const char *id);
PO_API size_t po_why_cause_of(const po_why *why, const char *id);
PO_API size_t po_why_check_of(const po_why *why, const char *id);
PO_API size_t po_why_answer_of(const po_why *why, size_t check, const char *id);
PO_API size_t po_why_fact_of(const po_why *why, const char *id);

typedef struct po_why_said {
    size_t check, answer;
} po_why_said;
/* A search: its symptom, what is known, what was answered. Each check at most once. */
typedef struct po_why_case {
    size_t symptom;
    const size_t *facts;
    size_t n_facts;
    const po_why_said *said;
    size_t n_said;
} po_why_case;

typedef struct po_why_belief {
    size_t cause;       /* SIZE_MAX: something else */
    double p, at_first; /* now; by the symptom alone */
} po_why_belief;
typedef struct po_why_next {
    size_t check;
    double bits; /* expected; by this many bits less is unknown after it */
} po_why_next;
/* Why the first belief is believed: by what factor its odds changed. */
typedef struct po_why_reason {
    bool is_fact;
    size_t which;  /* of facts, or of said, of the case */
    double factor; /* above 1: speaks for it */
} po_why_reason;

typedef struct po_why_view {
    const po_why_belief *beliefs; /* all causes and something else, the likeliest first */
    size_t n_beliefs;
    const po_why_next
        *next; /* checks that are left, the best for its minutes first; those that tell nothing are left out */
    size_t n_next;
    const po_why_reason *reasons; /* of the first belief, the strongest first */
    size_t n_reasons;
    double bits; /* what is unknown still: the entropy of the beliefs */
    bool enough; /* the first is likely enough to act, or no check tells much more */
} po_why_view;

/* What to believe and what to look at next; in the arena.
 * Errors: PO_E_RANGE (no such symptom, check, answer or fact; a check said twice), PO_E_NOMEM. */
PO_API po_status po_why_look(const po_why *why, const po_why_case *search, po_arena *arena, po_why_view *ret,
                             po_err *err) PO_MUST_USE;

/* How often an answer comes under a cause (SIZE_MAX: something else), with what was learned: 0 to 1. */
PO_API double po_why_odds(const po_why *why, size_t check, size_t answer, size_t cause);
/* How likely a cause is by the symptom alone: 0 to 1. */
PO_API double po_why_prior(const po_why *why, size_t symptom, size_t cause);

#ifdef __cplusplus
}
#endif

#endif
