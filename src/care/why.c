/* Belief by Bayes' rule, and the check that tells most for its minutes. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "care/why_inside.h"

/* Enough is known: the first is this likely, or no check that is left tells as much as this. */
static const double likely_enough = 0.9, bits_worth_asking = 0.03;
/* Walking up to a machine takes a while whatever the check. */
static const double minutes_each = 2;

double po_why_odds(const po_why *why, size_t check, size_t answer, size_t cause)
{
    return po_why_odds_at(why, check, cause == SIZE_MAX ? why->n_causes : cause)[answer];
}

double po_why_prior(const po_why *why, size_t symptom, size_t cause)
{
    return why->prior[symptom * (why->n_causes + 1) + (cause == SIZE_MAX ? why->n_causes : cause)];
}

static double entropy_of(const double *p, size_t n)
{
    double h = 0;
    for (size_t i = 0; i < n; i++) {
        h -= p[i] > 0 ? p[i] * log2(p[i]) : 0;
    }
    return h;
}

/* By how much the beliefs' entropy falls on average: the information that the answer and the cause have in common. */
static double expected_bits(const po_why *w, size_t check, const double *p)
{
    const size_t n = w->n_causes + 1, answers = w->checks[check].n_answers;
    double all[PO_WHY_ANSWERS_MOST] = {0}, under = 0;
    for (size_t c = 0; c < n; c++) {
        const double *row = po_why_odds_at(w, check, c);
        if (p[c] < 1e-6) {
            continue;
        }
        for (size_t a = 0; a < answers; a++) {
            all[a] += p[c] * row[a];
            under -= p[c] * row[a] * log2(row[a]);
        }
    }
    return entropy_of(all, answers) - under;
}

/* Multiply and normalise; the factor by which the odds of `of` changed. */
static double take_in(double *p, size_t n, const double *by, size_t step, size_t of)
{
    double sum = 0, others = 0, rest = 0;
    for (size_t c = 0; c < n; c++) {
        others += c == of ? 0 : p[c] * by[c * step];
        rest += c == of ? 0 : p[c];
        p[c] *= by[c * step];
        sum += p[c];
    }
    for (size_t c = 0; c < n; c++) {
        p[c] /= sum;
    }
    return of < n && others > 0 ? by[of * step] / (others / rest) : 1;
}

static po_status holds(const po_why *w, const po_why_case *s, po_err *err)
{
    if (s->symptom >= w->n_symptoms) {
        return po_fail_at(err, PO_E_RANGE, "symptom", 0, 0, "there is no such symptom");
    }
    for (size_t i = 0; i < s->n_facts; i++) {
        if (s->facts[i] >= w->n_facts) {
            return po_fail_at(err, PO_E_RANGE, "fact", (uint64_t)i, 0, "there is no such fact");
        }
    }
    for (size_t i = 0; i < s->n_said; i++) {
        size_t check = s->said[i].check;
        if (check >= w->n_checks || s->said[i].answer >= w->checks[check].n_answers) {
            return po_fail_at(err, PO_E_RANGE, "check", (uint64_t)i, 0, "there is no such check or answer");
        }
        for (size_t j = 0; j < i; j++) {
            if (s->said[j].check == check) {
                return po_fail_at(err, PO_E_RANGE, "check", (uint64_t)i, 0, "%s is answered twice",
                                  w->checks[check].id);
            }
        }
    }
    return PO_OK;
}

static int by_belief(const void *a, const void *b)
{
    const po_why_belief *x = a, *y = b;
    return x->p != y->p ? (x->p < y->p) - (x->p > y->p) : (x->cause > y->cause) - (x->cause < y->cause);
}

typedef struct ranked {
    po_why_next next;
    double worth;
} ranked;

static int by_worth(const void *a, const void *b)
{
    const ranked *x = a, *y = b;
    return x->worth != y->worth ? (x->worth < y->worth) - (x->worth > y->worth)
                                : (x->next.check > y->next.check) - (x->next.check < y->next.check);
}

static int by_force(const void *a, const void *b)
{
    double x = fabs(log(((const po_why_reason *)a)->factor)), y = fabs(log(((const po_why_reason *)b)->factor));
    return (x < y) - (x > y);
}

/* Facts and answers one after another; reasons (may be NULL): what each did to the odds of cause `of`. */
static void believe(const po_why *w, const po_why_case *s, double *p, size_t of, po_why_reason *reasons)
{
    const size_t n = w->n_causes + 1;
    memcpy(p, w->prior + s->symptom * n, n * sizeof *p);
    for (size_t i = 0; i < s->n_facts + s->n_said; i++) {
        bool fact = i < s->n_facts;
        size_t which = fact ? i : i - s->n_facts;
        double factor = fact ? take_in(p, n, w->factor + s->facts[which] * n, 1, of)
                             : take_in(p, n, po_why_odds_at(w, s->said[which].check, 0) + s->said[which].answer,
                                       PO_WHY_ANSWERS_MOST, of);
        if (reasons) {
            reasons[i] = (po_why_reason){fact, which, factor};
        }
    }
}

po_status po_why_look(const po_why *w, const po_why_case *s, po_arena *arena, po_why_view *ret, po_err *err)
{
    const size_t n = w->n_causes + 1;
    po_status status = holds(w, s, err);
    if (status != PO_OK) {
        return status;
    }
    double *p = po_arena_zeros(arena, n, sizeof *p), *again = po_arena_zeros(arena, n, sizeof *again);
    po_why_belief *beliefs = po_arena_zeros(arena, n, sizeof *beliefs);
    ranked *rank = po_arena_zeros(arena, w->n_checks, sizeof *rank);
    po_why_next *next = po_arena_zeros(arena, w->n_checks, sizeof *next);
    po_why_reason *reasons = po_arena_zeros(arena, s->n_facts + s->n_said + 1, sizeof *reasons);
    if (!p || !again || !beliefs || !rank || !next || !reasons) {
        return po_fail(err, PO_E_NOMEM, "out of memory for a search");
    }
    believe(w, s, p, n, NULL);
    for (size_t c = 0; c < n; c++) {
        beliefs[c] = (po_why_belief){c == w->n_causes ? SIZE_MAX : c, p[c], w->prior[s->symptom * n + c]};
    }
    qsort(beliefs, n, sizeof *beliefs, by_belief);
    size_t first = beliefs[0].cause == SIZE_MAX ? w->n_causes : beliefs[0].cause, n_next = 0;
    believe(w, s, again, first, reasons);
    qsort(reasons, s->n_facts + s->n_said, sizeof *reasons, by_force);
    for (size_t k = 0; k < w->n_checks; k++) {
        bool said = false;
        for (size_t i = 0; i < s->n_said; i++) {
            said = said || s->said[i].check == k;
        }
        double bits = said ? 0 : expected_bits(w, k, p);
        if (bits > 0.002) {
            rank[n_next++] = (ranked){{k, bits}, bits / (w->checks[k].minutes + minutes_each)};
        }
    }
    qsort(rank, n_next, sizeof *rank, by_worth);
    double most = 0;
    for (size_t i = 0; i < n_next; i++) {
        next[i] = rank[i].next;
        most = next[i].bits > most ? next[i].bits : most;
    }
    *ret = (po_why_view){beliefs,
                         n,
                         next,
                         n_next,
                         reasons,
                         s->n_facts + s->n_said,
                         entropy_of(p, n),
                         beliefs[0].p >= likely_enough || most < bits_worth_asking};
    return PO_OK;
}
