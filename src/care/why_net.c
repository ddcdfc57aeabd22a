/* The net of causes read from its tables, with what the shop has confirmed. SPDX-License-Identifier: Apache-2.0
 *
 * Tables are texts that people read and mend; a slip in one is found here, and by the tests, never passed over. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "care/why_inside.h"

/* How much the tables weigh against the shop's own: as so many confirmed searches of a symptom; as so many answers of a check. */
static const double searches_worth = 20, answers_worth = 10;
/* Weight of what nobody thought of, and of causes that the symptom's row does not name, beside its 100. */
static const double else_weight = 4, unnamed_weight = 0.05;
/* No answer is impossible: people misread. */
static const double least_odds = 0.005;

/* clang-format off */
#define SYMPTOM(id, words, look, causes) {id, words, look},
static const po_why_symptom symptoms[] = {
#include "care/why_symptoms.inc"
};
#undef SYMPTOM
#define SYMPTOM(id, words, look, causes) causes,
static const char *const weights[] = {
#include "care/why_symptoms.inc"
};
#undef SYMPTOM
#define CAUSE(id, words, kind, remedy_id, remedy, cautions) {id, words, kind, remedy_id, remedy, cautions},
static const po_why_cause causes[] = {
#include "care/why_causes.inc"
};
#undef CAUSE
#define CHECK(id, asks, how, minutes, cautions, answers, odds) {id, asks, how, minutes, cautions, answers, odds},
static const struct { const char *id, *asks, *how; int minutes; const char *cautions, *answers, *odds; } checks[] = {
#include "care/why_checks.inc"
};
#undef CHECK
#define FACT(id, words, factors) {id, words},
static const po_why_fact facts[] = {
#include "care/why_facts.inc"
};
#undef FACT
#define FACT(id, words, factors) factors,
static const char *const factors[] = {
#include "care/why_facts.inc"
};
#undef FACT
/* clang-format on */

enum {
    N_SYMPTOMS = sizeof symptoms / sizeof symptoms[0],
    N_CAUSES = sizeof causes / sizeof causes[0],
    N_CHECKS = sizeof checks / sizeof checks[0],
    N_FACTS = sizeof facts / sizeof facts[0]
};

static po_status slip(po_err *err, const char *where, const char *at)
{
    return po_fail(err, PO_E_INTERNAL, "the net of causes has a slip in %s at \"%.40s\"", where, at);
}

static bool same(const char *id, const char *word, size_t n)
{
    return strlen(id) == n && memcmp(id, word, n) == 0;
}

static size_t cause_at(const char *word, size_t n)
{
    for (size_t i = 0; i < N_CAUSES; i++) {
        if (same(causes[i].id, word, n)) {
            return i;
        }
    }
    return SIZE_MAX;
}

/* "name 30, name 20": the next name and its number; NULL at the end. *ret_value < 0: a slip. */
static const char *pair(const char **p, size_t *ret_n, double *ret_value)
{
    const char *word = *p + strspn(*p, ", ");
    char *end = NULL;
    if (!*word) {
        return NULL;
    }
    *ret_n = strcspn(word, " ,");
    long value = word[*ret_n] == ' ' ? strtol(word + *ret_n, &end, 10) : -1;
    *ret_value = value < 0 || !end || (*end && *end != ',') ? -1 : (double)value;
    *p = end ? end : word + strlen(word);
    return word;
}

static po_status read_priors(po_why *w, po_err *err)
{
    for (size_t s = 0; s < N_SYMPTOMS; s++) {
        double *row = w->prior + s * (N_CAUSES + 1), sum = else_weight, value;
        size_t n;
        for (size_t c = 0; c < N_CAUSES; c++) {
            row[c] = unnamed_weight;
        }
        row[N_CAUSES] = else_weight;
        for (const char *p = weights[s], *word; (word = pair(&p, &n, &value));) {
            size_t c = cause_at(word, n);
            if (c == SIZE_MAX || value <= 0 || row[c] != unnamed_weight) {
                return slip(err, symptoms[s].id, word);
            }
            row[c] = value;
        }
        for (size_t c = 0; c < N_CAUSES; c++) {
            sum += row[c];
        }
        for (size_t c = 0; c <= N_CAUSES; c++) {
            row[c] /= sum;
        }
    }
    return PO_OK;
}

/* "id words | id words" into the check; texts in the arena. */
static po_status read_answers(po_why_check *to, const char *text, po_arena *arena, po_err *err)
{
    for (const char *p = text; *p;) {
        size_t n = strcspn(p, "|"), id = strcspn(p, " ");
        size_t end = n;
        while (end > 0 && p[end - 1] == ' ') {
            end--;
        }
        if (to->n_answers == PO_WHY_ANSWERS_MOST || id + 1 >= end) {
            return slip(err, to->id, p);
        }
        char *a = po_arena_printf(arena, "%.*s", (int)id, p),
             *b = po_arena_printf(arena, "%.*s", (int)(end - id - 1), p + id + 1);
        if (!a || !b) {
            return po_fail(err, PO_E_NOMEM, "out of memory for the net of causes");
        }
        to->answers[to->n_answers].id = a;
        to->answers[to->n_answers++].words = b;
        p += n + (p[n] == '|');
        p += strspn(p, " ");
    }
    return to->n_answers >= 2 ? PO_OK : slip(err, to->id, text);
}

/* So many numbers that sum to 100. */
static bool read_row(const char **p, size_t n, double *row)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        char *end = NULL;
        long v = strtol(*p, &end, 10);
        if (end == *p || v < 0) {
            return false;
        }
        row[i] = (double)v;
        sum += row[i];
        *p = end;
    }
    *p += strspn(*p, " ");
    if (sum != 100 || (**p && **p != ';')) {
        return false;
    }
    double all = 0;
    for (size_t i = 0; i < n; i++) {
        row[i] = row[i] / 100 < least_odds ? least_odds : row[i] / 100;
        all += row[i];
    }
    for (size_t i = 0; i < n; i++) {
        row[i] /= all;
    }
    return true;
}

static po_status read_odds(po_why *w, size_t k, po_err *err)
{
    bool given[N_CAUSES] = {false}, first = true;
    const size_t n = w->checks[k].n_answers;
    for (const char *p = checks[k].odds; *p; first = false) {
        double row[PO_WHY_ANSWERS_MOST] = {0};
        const char *word = p;
        size_t len = strcspn(p, " ");
        bool other = same("else", word, len);
        size_t c = other ? N_CAUSES : cause_at(word, len);
        p += len;
        if (c == SIZE_MAX || other != first || !read_row(&p, n, row) || (!other && given[c])) {
            return slip(err, checks[k].id, word);
        }
        for (size_t each = other ? 0 : c; each <= c; each++) { /* "else" comes first, for all */
            memcpy(po_why_odds_at(w, k, each), row, sizeof row);
        }
        if (!other) {
            given[c] = true;
        }
        p += strspn(p, "; ");
    }
    return first ? slip(err, checks[k].id, "odds") : PO_OK;
}

static po_status read_factors(po_why *w, size_t f, po_err *err)
{
    double *row = w->factor + f * (N_CAUSES + 1), value;
    size_t n;
    for (size_t c = 0; c <= N_CAUSES; c++) {
        row[c] = 1;
    }
    for (const char *p = factors[f], *word; (word = pair(&p, &n, &value));) {
        bool kind = n > 5 && memcmp(word, "kind:", 5) == 0, met = false;
        for (size_t c = 0; c < N_CAUSES; c++) {
            if (kind ? same(causes[c].kind, word + 5, n - 5) : same(causes[c].id, word, n)) {
                row[c] *= value / 100;
                met = true;
            }
        }
        if (!met || value <= 0) {
            return slip(err, facts[f].id, word);
        }
    }
    return PO_OK;
}

/* Counts of the shop on top of the tables' shares. */
static po_status learn(po_why *w, const po_why_count *learned, size_t n, po_arena *arena, po_err *err)
{
    double *searches = po_arena_zeros(arena, N_SYMPTOMS * (N_CAUSES + 1), sizeof *searches);
    double *answers = po_arena_zeros(arena, N_CHECKS * (N_CAUSES + 1) * PO_WHY_ANSWERS_MOST, sizeof *answers);
    if (!searches || !answers) {
        return po_fail(err, PO_E_NOMEM, "out of memory for the net of causes");
    }
    for (size_t i = 0; i < n; i++) {
        const po_why_count *l = &learned[i];
        size_t c = po_why_cause_of(w, l->cause);
        if (l->n < 0) {
            return po_fail_at(err, PO_E_RANGE, "n", (uint64_t)i, 0, "a count of confirmed searches is below nothing");
        }
        if (c == SIZE_MAX) {
            continue;
        }
        if (!l->check) {
            size_t s = po_why_symptom_of(w, l->symptom);
            if (s != SIZE_MAX) {
                searches[s * (N_CAUSES + 1) + c] += (double)l->n;
            }
            continue;
        }
        size_t k = po_why_check_of(w, l->check), a = k == SIZE_MAX ? k : po_why_answer_of(w, k, l->answer);
        if (a != SIZE_MAX) {
            answers[(k * (N_CAUSES + 1) + c) * PO_WHY_ANSWERS_MOST + a] += (double)l->n;
        }
    }
    for (size_t s = 0; s < N_SYMPTOMS; s++) {
        double *row = w->prior + s * (N_CAUSES + 1), *count = searches + s * (N_CAUSES + 1), all = 0;
        for (size_t c = 0; c <= N_CAUSES; c++) {
            all += count[c];
        }
        for (size_t c = 0; c <= N_CAUSES; c++) {
            row[c] = (searches_worth * row[c] + count[c]) / (searches_worth + all);
        }
    }
    for (size_t k = 0; k < N_CHECKS; k++) {
        for (size_t c = 0; c <= N_CAUSES; c++) {
            double *row = po_why_odds_at(w, k, c), *count = answers + (k * (N_CAUSES + 1) + c) * PO_WHY_ANSWERS_MOST,
                   all = 0;
            for (size_t a = 0; a < w->checks[k].n_answers; a++) {
                all += count[a];
            }
            for (size_t a = 0; a < w->checks[k].n_answers; a++) {
                row[a] = (answers_worth * row[a] + count[a]) / (answers_worth + all);
            }
        }
    }
    return PO_OK;
}

po_status po_why_new(const po_why_count *learned, size_t n, po_arena *arena, const po_why **ret, po_err *err)
{
    po_why *w = po_arena_zeros(arena, 1, sizeof *w);
    double *prior = po_arena_zeros(arena, N_SYMPTOMS * (N_CAUSES + 1), sizeof *prior);
    double *odds = po_arena_zeros(arena, N_CHECKS * (N_CAUSES + 1) * PO_WHY_ANSWERS_MOST, sizeof *odds);
    double *factor = po_arena_zeros(arena, N_FACTS * (N_CAUSES + 1), sizeof *factor);
    po_why_check *each = po_arena_zeros(arena, N_CHECKS, sizeof *each);
    if (!w || !prior || !odds || !factor || !each) {
        return po_fail(err, PO_E_NOMEM, "out of memory for the net of causes");
    }
    *w = (po_why){N_SYMPTOMS, N_CAUSES, N_CHECKS, N_FACTS, symptoms, causes, each, facts, prior, odds, factor};
    po_status s = read_priors(w, err);
    for (size_t k = 0; s == PO_OK && k < N_CHECKS; k++) {
        each[k].id = checks[k].id;
        each[k].asks = checks[k].asks;
        each[k].how = checks[k].how;
        each[k].minutes = checks[k].minutes;
        each[k].cautions = checks[k].cautions;
        s = read_answers(&each[k], checks[k].answers, arena, err);
        s = s == PO_OK ? read_odds(w, k, err) : s;
    }
    for (size_t f = 0; s == PO_OK && f < N_FACTS; f++) {
        s = read_factors(w, f, err);
    }
    s = s == PO_OK && n > 0 ? learn(w, learned, n, arena, err) : s;
    *ret = s == PO_OK ? w : NULL;
    return s;
}

#define LIST(type, name, field, count)                                                                                 \
    const type *name(const po_why *why, size_t *ret_n)                                                                 \
    {                                                                                                                  \
        *ret_n = why->count;                                                                                           \
        return why->field;                                                                                             \
    }
LIST(po_why_symptom, po_why_symptoms, symptoms, n_symptoms)
LIST(po_why_cause, po_why_causes, causes, n_causes)
LIST(po_why_check, po_why_checks, checks, n_checks)
LIST(po_why_fact, po_why_facts, facts, n_facts)

#define FIND(name, field, count)                                                                                       \
    size_t name(const po_why *why, const char *id)                                                                     \
    {                                                                                                                  \
        for (size_t i = 0; id && i < why->count; i++) {                                                                \
            if (strcmp(why->field[i].id, id) == 0) {                                                                   \
                return i;                                                                                              \
            }                                                                                                          \
        }                                                                                                              \
        return SIZE_MAX;                                                                                               \
    }
FIND(po_why_symptom_of, symptoms, n_symptoms)
FIND(po_why_cause_of, causes, n_causes)
FIND(po_why_check_of, checks, n_checks)
FIND(po_why_fact_of, facts, n_facts)

size_t po_why_answer_of(const po_why *why, size_t check, const char *id)
{
    for (size_t a = 0; id && check < why->n_checks && a < why->checks[check].n_answers; a++) {
        if (strcmp(why->checks[check].answers[a].id, id) == 0) {
            return a;
        }
    }
    return SIZE_MAX;
}
