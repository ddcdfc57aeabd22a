/* Classical statistics of questions on papers drawn from a bank. SPDX-License-Identifier: Apache-2.0
 *
 * One pass over the table makes two bitmaps a question (drawn, right); pairs of questions are then counted 64 papers at a time. */
#include "proveout/items.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "people/items_inside.h"

static const double usual = 1.959963985; /* 95 % */
static const double careful = 3.290527;  /* 99.9 %: before something is said against a question */

typedef struct standing {
    double surplus;
    uint32_t paper;
} standing;

po_status items_check(const po_items_table *t, po_err *err)
{
    if (t->questions == 0 || t->questions > PO_ITEMS_MOST || t->papers > UINT32_MAX) {
        return po_fail_at(err, PO_E_RANGE, "questions", 0, 0, "%zu questions, where 1 to %d were expected",
                          t->questions, PO_ITEMS_MOST);
    }
    for (size_t i = 0; i < t->papers * t->questions; i++) {
        if (t->mark[i] > PO_CELL_BLANK || (t->chosen && t->chosen[i] > PO_ITEMS_OPTIONS)) {
            return po_fail_at(err, PO_E_RANGE, "mark", 0, 0, "paper %zu, question %zu: no such mark or option",
                              i / t->questions + 1, i % t->questions + 1);
        }
    }
    return PO_OK;
}

static int by_surplus(const void *a, const void *b)
{
    const standing *x = a, *y = b;
    if (x->surplus != y->surplus) {
        return x->surplus > y->surplus ? -1 : 1;
    }
    return x->paper < y->paper ? -1 : x->paper > y->paper;
}

static void wilson(double x, double n, double z, double *low, double *high)
{
    double p = x / n, middle = (p + z * z / (2 * n)) / (1 + z * z / n);
    double half = z / (1 + z * z / n) * sqrt(p * (1 - p) / n + z * z / (4 * n * n));
    *low = x > 0 ? fmax(0, middle - half) : 0;
    *high = x < n ? fmin(1, middle + half) : 1;
}

/* Two shares' difference and its interval: the two Wilson intervals squared together (Newcombe's method 10). */
static void difference(double x, double n, double y, double m, double z, double *d, double *low, double *high)
{
    double xl, xh, yl, yh, p, q;
    *d = *low = *high = NAN;
    if (n == 0 || m == 0) {
        return;
    }
    p = x / n;
    q = y / m;
    wilson(x, n, z, &xl, &xh);
    wilson(y, m, z, &yl, &yh);
    *d = p - q;
    *low = *d - hypot(p - xl, yh - q);
    *high = *d + hypot(xh - p, q - yl);
}

typedef struct sums {
    double n, x, y, xx, yy, xy;
} sums;

static void add(sums *s, double x, double y)
{
    s->n++;
    s->x += x;
    s->y += y;
    s->xx += x * x;
    s->yy += y * y;
    s->xy += x * y;
}

static double correlation(const sums *s)
{
    double vx = s->xx - s->x * s->x / s->n, vy = s->yy - s->y * s->y / s->n;
    return s->n > 1 && vx > 1e-9 && vy > 1e-9 ? (s->xy - s->x * s->y / s->n) / sqrt(vx * vy) : (double)NAN;
}

static void fisher(double r, double n, double z, double *low, double *high)
{
    bool can = n >= PO_ITEMS_FEW && fabs(r) < 1;
    *low = can ? tanh(atanh(r) - z / sqrt(n - 3)) : (double)NAN;
    *high = can ? tanh(atanh(r) + z / sqrt(n - 3)) : (double)NAN;
}

static size_t ones(const uint64_t *a, const uint64_t *b, size_t words)
{
    size_t n = 0;
    for (size_t i = 0; i < words; i++) {
        n += (size_t)__builtin_popcountll(a[i] & b[i]);
    }
    return n;
}

/* KR-20 of a mean paper, from pairs. */
static void reliability(const po_items_table *t, const uint64_t *drawn, const uint64_t *right, size_t words,
                        po_items *ret)
{
    double k = ret->drawn, variance = 0, weight = 0, covariance = 0, pairs = 0;
    for (size_t j = 0; j < t->questions; j++) {
        const po_item *q = &ret->item[j];
        variance += q->drawn ? (double)q->drawn * q->p * (1 - q->p) : 0;
        weight += (double)q->drawn;
        for (size_t i = 0; i < j; i++) {
            const uint64_t *di = drawn + i * words, *dj = drawn + j * words;
            const uint64_t *ri = right + i * words, *rj = right + j * words;
            double n = (double)ones(di, dj, words);
            if (n > 0) {
                covariance += (double)ones(ri, rj, words) -
                              (double)ones(ri, dj, words) * (double)ones(di, rj, words) / n;
                pairs += n;
            }
        }
    }
    ret->kr20 = ret->kr20_low = ret->kr20_high = ret->spread = ret->error = NAN;
    if (pairs == 0 || k < 2) {
        return;
    }
    variance /= weight;
    covariance /= pairs;
    double score = k * variance + k * (k - 1) * covariance;
    if (score <= 1e-12) {
        return;
    }
    ret->kr20 = k * covariance / (variance + (k - 1) * covariance);
    ret->spread = sqrt(score);
    ret->error = ret->spread * sqrt(1 - ret->kr20);
    if (t->papers >= PO_ITEMS_FEW) {
        double half = usual * sqrt(2 * k / ((k - 1) * ((double)t->papers - 2)));
        ret->kr20_low = 1 - (1 - ret->kr20) * exp(half);
        ret->kr20_high = 1 - (1 - ret->kr20) * exp(-half);
    }
}

static void judge(const po_items_table *t, size_t j, po_item *q, po_arena *arena)
{
    double low, high, n = (double)q->drawn;
    int key = t->key ? t->key[j] : 0, pull = 0;
    q->flag = PO_ITEM_FINE;
    q->says = "";
    if (q->drawn < PO_ITEMS_FEW) {
        q->flag = PO_ITEM_FEW;
        q->says = po_arena_printf(arena, "Fewer than thirty papers (%zu) had it: too few to say how it works.",
                                  q->drawn);
        return;
    }
    /* A wrong option that the better papers choose more than the worse, beyond chance. */
    for (int o = 1; t->chosen && key && o <= PO_ITEMS_OPTIONS; o++) {
        double d, d_low, d_high;
        difference((double)q->chose_upper[o], (double)q->upper, (double)q->chose_lower[o], (double)q->lower, careful,
                   &d, &d_low, &d_high);
        if (o != key && d_low > 0 && (!pull || q->chose_upper[o] > q->chose_upper[pull])) {
            pull = o;
        }
    }
    fisher(q->r_rest, n, careful, &low, &high);
    wilson((double)q->right, n, careful, &q->p_low, &q->p_high);
    bool easy = q->p_low > 0.95;
    wilson((double)q->right, n, usual, &q->p_low, &q->p_high);
    if (pull && q->chose_upper[pull] * 2 > q->upper && q->chose_upper[pull] > q->chose_upper[key]) {
        q->flag = PO_ITEM_KEY;
        q->option = (uint8_t)pull;
        q->says = po_arena_printf(arena, "Look at the key: those who know most choose option %d, not option %d.", pull,
                                  key);
    } else if (pull) {
        q->flag = PO_ITEM_MISLEADS;
        q->option = (uint8_t)pull;
        q->says = po_arena_printf(
            arena, "It misleads: option %d draws those who know more (%zu of %zu) rather than less (%zu of %zu).", pull,
            q->chose_upper[pull], q->upper, q->chose_lower[pull], q->lower);
    } else if (high < 0) {
        q->flag = PO_ITEM_MISLEADS;
        q->says = "It misleads: those who know more get it wrong more often; look at its wording and its key.";
    } else if (easy) {
        q->flag = PO_ITEM_EASY;
        q->says = po_arena_printf(arena,
                                  "Nearly everybody knows it: %zu of %zu right. Keep it only if it must be asked.",
                                  q->right, q->drawn);
    } else if (high < 0.1) {
        q->flag = PO_ITEM_DULL;
        q->says = "It hardly tells who knows and who does not.";
    }
}

po_status po_items_of(const po_items_table *t, po_arena *arena, po_items *ret, po_err *err)
{
    po_status s = items_check(t, err);
    if (s != PO_OK) {
        return s;
    }
    size_t m = t->questions, words = t->papers / 64 + 1;
    po_items out = {.papers = t->papers, .item = po_arena_zeros(arena, m, sizeof *out.item), .whole = true};
    uint64_t *drawn = po_arena_zeros(arena, m * words, sizeof *drawn);
    uint64_t *right = po_arena_zeros(arena, m * words, sizeof *right);
    standing *order = po_arena_zeros(arena, t->papers + 1, sizeof *order);
    uint8_t *group = po_arena_zeros(arena, t->papers + 1, 1);
    sums *with = po_arena_zeros(arena, m, sizeof *with), *rest = po_arena_zeros(arena, m, sizeof *rest);
    if (!out.item || !drawn || !right || !order || !group || !with || !rest) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < t->papers; i++) {
        for (size_t j = 0; j < m; j++) {
            uint8_t mark = t->mark[i * m + j];
            uint64_t bit = (uint64_t)1 << (i % 64);
            drawn[j * words + i / 64] |= mark ? bit : 0;
            right[j * words + i / 64] |= mark == PO_CELL_RIGHT ? bit : 0;
            out.item[j].blank += mark == PO_CELL_BLANK;
            out.whole = out.whole && mark;
        }
    }
    for (size_t j = 0; j < m; j++) {
        po_item *q = &out.item[j];
        q->drawn = ones(drawn + j * words, drawn + j * words, words);
        q->right = ones(right + j * words, right + j * words, words);
        q->p = q->drawn ? (double)q->right / (double)q->drawn : (double)NAN;
        q->p_high = 1;
        if (q->drawn) {
            wilson((double)q->right, (double)q->drawn, usual, &q->p_low, &q->p_high);
        }
        out.drawn += (double)q->drawn;
    }
    out.drawn = t->papers ? out.drawn / (double)t->papers : 0;
    for (size_t i = 0; i < t->papers; i++) {
        const uint8_t *row = t->mark + i * m;
        double n = 0, got = 0, expected = 0;
        for (size_t j = 0; j < m; j++) {
            if (row[j]) {
                n++;
                got += row[j] == PO_CELL_RIGHT;
                expected += out.item[j].p;
            }
        }
        order[i] = (standing){n > 0 ? (got - expected) / n : 0, (uint32_t)i};
        for (size_t j = 0; j < m; j++) {
            if (row[j]) {
                double x = row[j] == PO_CELL_RIGHT;
                add(&with[j], x, order[i].surplus);
                if (n > 1) {
                    add(&rest[j], x, (got - expected - x + out.item[j].p) / (n - 1));
                }
            }
        }
    }
    qsort(order, t->papers, sizeof *order, by_surplus);
    out.group = (size_t)lround(0.27 * (double)t->papers);
    for (size_t i = 0; i < out.group; i++) {
        group[order[i].paper] = 1;
        group[order[t->papers - 1 - i].paper] = 2;
    }
    size_t *hits = po_arena_zeros(arena, 2 * m, sizeof *hits);
    if (!hits) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < t->papers; i++) {
        for (size_t j = 0; j < m; j++) {
            uint8_t mark = t->mark[i * m + j], o = t->chosen ? t->chosen[i * m + j] : 0;
            po_item *q = &out.item[j];
            if (mark) {
                q->chose[o]++;
                q->upper += group[i] == 1;
                q->lower += group[i] == 2;
                q->chose_upper[o] += group[i] == 1;
                q->chose_lower[o] += group[i] == 2;
                hits[2 * j] += group[i] == 1 && mark == PO_CELL_RIGHT;
                hits[2 * j + 1] += group[i] == 2 && mark == PO_CELL_RIGHT;
            }
        }
    }
    for (size_t j = 0; j < m; j++) {
        po_item *q = &out.item[j];
        difference((double)hits[2 * j], (double)q->upper, (double)hits[2 * j + 1], (double)q->lower, usual, &q->d,
                   &q->d_low, &q->d_high);
        q->r = correlation(&with[j]);
        q->r_rest = correlation(&rest[j]);
        fisher(q->r_rest, rest[j].n, usual, &q->r_rest_low, &q->r_rest_high);
        judge(t, j, q, arena);
        if (!q->says) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
    }
    reliability(t, drawn, right, words, &out);
    out.says = t->papers < PO_ITEMS_FEW
                   ? po_arena_printf(
                         arena,
                         "%zu of the thirty papers that it takes: too few to say how far a score can be trusted.",
                         t->papers)
               : isnan(out.kr20)
                   ? "Papers do not differ enough to say how far a score can be trusted."
                   : po_arena_printf(
                         arena, "KR-20 is %.2f (95 %%: %.2f to %.2f); a score is uncertain by about %.1f questions.",
                         out.kr20, out.kr20_low, out.kr20_high, out.error);
    if (!out.says) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    *ret = out;
    return PO_OK;
}

po_status po_items_angoff(const double *share, size_t judges, size_t questions, double *ret_cut, double *ret_error,
                          po_err *err)
{
    double sum = 0, squares = 0;
    if (judges == 0 || questions == 0) {
        return po_fail_at(err, PO_E_RANGE, "judges", 0, 0, "no judge or no question, where one at least was expected");
    }
    for (size_t i = 0; i < judges; i++) {
        double cut = 0;
        for (size_t j = 0; j < questions; j++) {
            double x = share[i * questions + j];
            if (!(x >= 0 && x <= 1)) {
                return po_fail_at(err, PO_E_RANGE, "share", 0, 0,
                                  "judge %zu, question %zu: a share from 0 to 1 was expected", i + 1, j + 1);
            }
            cut += x;
        }
        sum += cut;
        squares += cut * cut;
    }
    double n = (double)judges, mean = sum / n;
    *ret_cut = mean;
    *ret_error = judges > 1 ? sqrt(fmax(0, squares / n - mean * mean) / (n - 1)) : (double)NAN;
    return PO_OK;
}
