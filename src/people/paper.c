/* Papers drawn from a study's questions, and answers marked. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "base/random.h"
#include "base/text.h"
#include "proveout/study.h"

/* Below n, without the bias of a remainder (rejection). */
static size_t below(uint64_t *seed, size_t n)
{
    uint64_t least = (0 - (uint64_t)n) % (uint64_t)n, v;
    do {
        v = po_random_next(seed);
    } while (v < least);
    return (size_t)(v % n);
}

/* Fisher and Yates. */
static void shuffle(uint64_t *seed, size_t *list, size_t n)
{
    for (size_t i = n; i > 1; i--) {
        size_t k = below(seed, i), x = list[i - 1];
        list[i - 1] = list[k];
        list[k] = x;
    }
}

static bool was_asked(const char *id, const char *const *before, size_t n_before)
{
    for (size_t i = 0; i < n_before; i++) {
        if (strcmp(before[i], id) == 0) {
            return true;
        }
    }
    return false;
}

size_t po_paper_draw(const po_study *study, bool refresher, uint64_t seed, const char *const *before, size_t n_before,
                     size_t *ret)
{
    size_t n = 0, of_topic[PO_STUDY_QUESTIONS_MOST];
    for (size_t t = 0; t < study->n_topics; t++) {
        size_t wanted = (size_t)(refresher ? study->topics[t].refresher : study->topics[t].questions), here = 0;
        for (size_t q = 0; q < study->n_questions; q++) {
            if (study->questions[q].topic == t) {
                of_topic[here++] = q;
            }
        }
        shuffle(&seed, of_topic, here);
        bool has_hazard = false;
        for (size_t k = 0; k < here; k++) {
            has_hazard = has_hazard || study->questions[of_topic[k]].hazard;
        }
        /* one on the hazard first (a new one if there is), then those that are new, then those that were asked before */
        for (int rank = 0; rank < 4; rank++) {
            for (size_t k = 0; k < here && wanted > 0 && n < PO_PAPER_QUESTIONS_MOST; k++) {
                const po_question *q = of_topic[k] == SIZE_MAX ? NULL : &study->questions[of_topic[k]];
                bool asked = q && was_asked(q->id, before, n_before);
                if (!q || (rank < 2 && (!has_hazard || !q->hazard)) || asked != (rank % 2 == 1)) {
                    continue;
                }
                ret[n++] = of_topic[k];
                of_topic[k] = SIZE_MAX;
                wanted--;
                if (rank < 2) { /* the topic's hazard is in; the rest is by chance */
                    has_hazard = false;
                }
            }
        }
    }
    shuffle(&seed, ret, n);
    return n;
}

void po_paper_options(const po_question *question, uint64_t seed, size_t order[PO_STUDY_OPTIONS_MOST])
{
    for (const char *p = question->id; *p; p++) {
        seed = (seed ^ (unsigned char)*p) * UINT64_C(0x100000001b3);
    }
    for (size_t i = 0; i < question->n_options; i++) {
        order[i] = i;
    }
    shuffle(&seed, order, question->n_options);
    bool as_in_file = question->kind == PO_ASK_ORDER;
    for (size_t i = 0; i < question->n_options; i++) {
        as_in_file = as_in_file && order[i] == i;
    }
    if (as_in_file) { /* else the order asked for would stand there already */
        size_t x = order[0];
        order[0] = order[1];
        order[1] = x;
    }
}

/* Whole numbers between commas; -1: they are not, or too many. */
static int read_list(const char *text, int high, int *list, int most)
{
    int n = 0;
    for (const char *p = text;;) {
        int v = 0, digits = 0;
        for (; *p >= '0' && *p <= '9' && digits < 6; p++, digits++) {
            v = 10 * v + (*p - '0');
        }
        if (digits == 0 || v > high || n == most) {
            return -1;
        }
        list[n++] = v;
        if (*p == 0) {
            return n;
        }
        if (*p++ != ',') {
            return -1;
        }
    }
}

/* Each of 1 to n at most once; the bits of them; 0: not so. */
static uint32_t bits_of(const char *answer, size_t n_options, int *ret_n, int list[PO_STUDY_OPTIONS_MOST])
{
    uint32_t bits = 0;
    int n = read_list(answer, (int)n_options, list, PO_STUDY_OPTIONS_MOST);
    for (int i = 0; i < n; i++) {
        uint32_t bit = list[i] > 0 ? 1u << (list[i] - 1) : 0;
        if (!bit || (bits & bit)) {
            return 0;
        }
        bits |= bit;
    }
    *ret_n = n;
    return n > 0 ? bits : 0;
}

/* A decimal number with a point or a comma, a sign before it. */
static bool read_number(const char *text, double *ret)
{
    char plain[40];
    size_t n = strlen(text);
    if (n == 0 || n >= sizeof plain) {
        return false;
    }
    memcpy(plain, text, n + 1);
    char *comma = strchr(plain, ',');
    if (comma) {
        *comma = '.';
    }
    return po_number_read(plain, plain + n, ret) == plain + n && isfinite(*ret);
}

po_status po_answer_holds(const po_question *q, const char *answer, po_err *err)
{
    int list[PO_STUDY_OPTIONS_MOST], n = 0;
    double v;
    switch (q->kind) {
    case PO_ASK_ONE:
        return bits_of(answer, q->n_options, &n, list) && n == 1
                   ? PO_OK
                   : po_fail_at(err, PO_E_RANGE, "answer", 0, 0, "one option's number, 1 to %zu", q->n_options);
    case PO_ASK_SEVERAL:
        return bits_of(answer, q->n_options, &n, list)
                   ? PO_OK
                   : po_fail_at(err, PO_E_RANGE, "answer", 0, 0, "the options' numbers with commas between, 1 to %zu",
                                q->n_options);
    case PO_ASK_ORDER:
        return bits_of(answer, q->n_options, &n, list) && n == (int)q->n_options
                   ? PO_OK
                   : po_fail_at(err, PO_E_RANGE, "answer", 0, 0,
                                "all %zu options' numbers in order, with commas between", q->n_options);
    case PO_ASK_NUMBER:
        return read_number(answer, &v)
                   ? PO_OK
                   : po_fail_at(err, PO_E_RANGE, "answer", 0, 0, "a number%s%s", *q->unit ? " in " : "", q->unit);
    case PO_ASK_PLACE:
    default:
        return read_list(answer, 1000, list, 2) == 2
                   ? PO_OK
                   : po_fail_at(err, PO_E_RANGE, "answer", 0, 0,
                                "a place in the picture: two whole numbers from 0 to 1000");
    }
}

po_mark po_answer_mark(const po_question *q, const char *answer)
{
    int list[PO_STUDY_OPTIONS_MOST], n = 0;
    double v = 0;
    bool right = false;
    if (!answer || !*answer) {
        return PO_MARK_NONE;
    }
    switch (q->kind) {
    case PO_ASK_ONE:
    case PO_ASK_SEVERAL:
        right = bits_of(answer, q->n_options, &n, list) == q->right;
        break;
    case PO_ASK_ORDER:
        right = bits_of(answer, q->n_options, &n, list) && n == (int)q->n_options;
        for (int i = 0; right && i < n; i++) {
            right = list[i] == i + 1;
        }
        break;
    case PO_ASK_NUMBER: /* the bound itself is within, whatever the last binary digit says */
        right = read_number(answer, &v) && fabs(v - q->is) <= q->within + 1e-9 * (fabs(q->is) + q->within);
        break;
    case PO_ASK_PLACE:
    default:
        if (read_list(answer, 1000, list, 2) == 2) {
            for (size_t i = 0; i < q->n_areas; i++) {
                const int *a = q->areas[i];
                right = right || (list[0] >= a[0] && list[0] <= a[2] && list[1] >= a[1] && list[1] <= a[3]);
            }
        }
    }
    return right ? PO_MARK_RIGHT : PO_MARK_WRONG;
}

const char *po_answer_right(const po_question *q, po_arena *arena)
{
    po_text t;
    po_text_init(&t, arena);
    if (q->kind == PO_ASK_NUMBER) {
        po_text_printf(&t, "%.10g", q->is);
    } else if (q->kind == PO_ASK_PLACE) {
        po_text_printf(&t, "%d,%d", (q->areas[0][0] + q->areas[0][2]) / 2, (q->areas[0][1] + q->areas[0][3]) / 2);
    } else {
        bool any = false;
        for (size_t i = 0; i < q->n_options; i++) {
            if (q->kind == PO_ASK_ORDER || (q->right & (1u << i))) {
                po_text_printf(&t, "%s%zu", any ? "," : "", i + 1);
                any = true;
            }
        }
    }
    return t.failed ? NULL : t.data;
}
