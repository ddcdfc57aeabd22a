/* Machines compared with the mix of their jobs taken into account. SPDX-License-Identifier: Apache-2.0
 *
 * Each kind of job is a table of its own: this machine against the others, failed against not. Odds over all tables: N. Mantel, W. Haenszel, J. Natl.
 * Cancer Inst. 22, 1959; their interval: J. Robins, N. Breslow, S. Greenland, Biometrics 42, 1986. The chance is exact: with its margins given each table
 * is hypergeometric, and their sum's distribution is worked out (A. Agresti, Categorical Data Analysis, 1990, 7.4.2); it needs no large counts. Several
 * machines: S. Holm, Scand. J. Statistics 6, 1979. Drawn towards the shop: gamma prior by moments, D. Clayton, J. Kaldor, Biometrics 43, 1987. All from
 * memory; the figures that they are held against stand in wear_test.c. */
#include "proveout/wear.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

typedef struct table {
    int64_t failed, n;         /* here */
    int64_t all_failed, all_n; /* in the whole shop */
} table;

static double log_choose(double n, double k)
{
    int sign;
    return lgamma_r(n + 1, &sign) - lgamma_r(k + 1, &sign) - lgamma_r(n - k + 1, &sign);
}

/* What cannot be told apart from nothing: terms below it are dropped at both ends. */
static const double NOTHING = 1e-17;

typedef struct spread { /* chances of from .. from + n - 1 */
    double *chance;
    int64_t from;
    size_t n;
} spread;

static void trim(spread *s)
{
    size_t first = 0;
    while (s->n > 1 && s->chance[s->n - 1] < NOTHING) {
        s->n--;
    }
    while (first + 1 < s->n && s->chance[first] < NOTHING) {
        first++;
    }
    memmove(s->chance, s->chance + first, (s->n - first) * sizeof *s->chance);
    s->from += (int64_t)first;
    s->n -= first;
}

/* Failures that fall to this machine's runs of one kind, were they spread by chance. */
static void hypergeometric(const table *t, spread *ret)
{
    int64_t good = t->all_n - t->all_failed, from = t->n - good > 0 ? t->n - good : 0;
    int64_t to = t->n < t->all_failed ? t->n : t->all_failed;
    double whole = log_choose((double)t->all_n, (double)t->n);
    ret->from = from;
    ret->n = (size_t)(to - from + 1);
    for (int64_t x = from; x <= to; x++) {
        ret->chance[x - from] = exp(log_choose((double)t->all_failed, (double)x) +
                                    log_choose((double)good, (double)(t->n - x)) - whole);
    }
    trim(ret);
}

/* Chance of a sum no likelier than the one seen. room: three pieces of most + 1 doubles, most the sum of all failures. */
static double exact_chance(const table *tables, size_t kinds, int64_t seen, size_t most, double *room)
{
    spread all = {room, 0, 1}, one = {room + most + 1, 0, 0}, next = {room + 2 * (most + 1), 0, 0};
    all.chance[0] = 1;
    for (size_t k = 0; k < kinds; k++) {
        const table *t = &tables[k];
        if (t->n == 0) {
            continue;
        }
        hypergeometric(t, &one);
        next.from = all.from + one.from;
        next.n = all.n + one.n - 1;
        memset(next.chance, 0, next.n * sizeof *next.chance);
        for (size_t i = 0; i < all.n; i++) {
            for (size_t j = 0; j < one.n; j++) {
                next.chance[i + j] += all.chance[i] * one.chance[j];
            }
        }
        trim(&next);
        spread swap = all;
        all = next;
        next = swap;
    }
    if (seen < all.from || seen >= all.from + (int64_t)all.n) {
        return NOTHING;
    }
    double at = all.chance[seen - all.from] * (1 + 1e-7), sum = 0; /* equal but for rounding is equal */
    for (size_t i = 0; i < all.n; i++) {
        sum += all.chance[i] <= at ? all.chance[i] : 0;
    }
    return fmin(1, fmax(sum, NOTHING));
}

static void odds_of(const table *tables, size_t kinds, po_wear_machine *m)
{
    double r = 0, s = 0, pr = 0, ps_qr = 0, qs = 0, off = 0, variance = 0;
    for (size_t k = 0; k < kinds; k++) {
        const table *t = &tables[k];
        double n = (double)t->all_n, here = (double)t->n, elsewhere = n - here;
        if (here <= 0) {
            continue;
        }
        double a = (double)t->failed, b = here - a, c = (double)(t->all_failed - t->failed), d = elsewhere - c;
        m->failed += t->failed;
        m->n += t->n;
        m->expected += here * (double)t->all_failed / n;
        if (elsewhere <= 0) {
            continue; /* nobody to compare with */
        }
        r += a * d / n;
        s += b * c / n;
        pr += (a + d) / n * (a * d / n);
        ps_qr += (a + d) / n * (b * c / n) + (b + c) / n * (a * d / n);
        qs += (b + c) / n * (b * c / n);
        off += a - here * (a + c) / n;
        variance += n > 1 ? here * elsewhere * (a + c) * (b + d) / (n * n * (n - 1)) : 0;
    }
    double correction = fmin(0.5, fabs(off));
    m->chi = variance > 0 ? (fabs(off) - correction) * (fabs(off) - correction) / variance : NAN;
    m->odds = s > 0 ? r / s : r > 0 ? INFINITY : NAN;
    m->low = m->high = NAN;
    if (r > 0 && s > 0) {
        double half = gsl_cdf_ugaussian_Pinv(0.975) * sqrt(pr / (2 * r * r) + ps_qr / (2 * r * s) + qs / (2 * s * s));
        m->low = m->odds * exp(-half);
        m->high = m->odds * exp(half);
    }
}

/* Holm's step-down. ret: chance_of_all. order: room for n. */
static void holm(po_wear_machine *ret, size_t n, size_t *order)
{
    for (size_t i = 0; i < n; i++) { /* machines are few: insertion */
        size_t at = i;
        while (at > 0 && ret[order[at - 1]].chance > ret[i].chance) {
            order[at] = order[at - 1];
            at--;
        }
        order[at] = i;
    }
    double last = 0;
    for (size_t i = 0; i < n; i++) {
        last = fmin(1, fmax(last, ret[order[i]].chance * (double)(n - i)));
        ret[order[i]].chance_of_all = last;
    }
}

static void drawn(po_wear_machine *ret, size_t machines)
{
    double expected = 0, failed = 0, spread_sum = 0;
    for (size_t i = 0; i < machines; i++) {
        expected += ret[i].expected;
        failed += (double)ret[i].failed;
    }
    double mean = expected > 0 ? failed / expected : 1;
    for (size_t i = 0; expected > 0 && i < machines; i++) {
        double e = ret[i].expected, off = e > 0 ? (double)ret[i].failed / e - mean : 0;
        spread_sum += e * off * off;
    }
    double between = expected > 0 ? spread_sum / expected - mean * (double)machines / expected : 0;
    between = fmax(between, 1e-4); /* a hundredth: machines are never wholly alike */
    double shape = mean * mean / between, rate = mean / between;
    for (size_t i = 0; i < machines; i++) {
        double a = shape + (double)ret[i].failed, b = rate + ret[i].expected;
        ret[i].ratio = a / b;
        ret[i].ratio_low = gsl_cdf_gamma_Pinv(0.025, a, 1 / b);
        ret[i].ratio_high = gsl_cdf_gamma_Qinv(0.025, a, 1 / b);
    }
}

po_status po_wear_compare(const po_wear_cell *cells, size_t n, size_t machines, size_t kinds, po_arena *arena,
                          po_wear_machine *ret, po_err *err)
{
    if (machines == 0 || kinds == 0 || n == 0) {
        return po_fail(err, PO_E_EMPTY, "no runs to compare");
    }
    if (n > PO_WEAR_MOST || machines > 10000 || kinds > (size_t)PO_WEAR_MOST / machines) {
        return po_fail(err, PO_E_LIMIT, "%zu machines with %zu kinds of job: at most %d together", machines, kinds,
                       PO_WEAR_MOST);
    }
    table *tables = po_arena_zeros(arena, machines * kinds, sizeof *tables);
    table *shop = po_arena_zeros(arena, kinds, sizeof *shop);
    size_t *order = po_arena_zeros(arena, machines, sizeof *order);
    if (!tables || !shop || !order) {
        return po_fail(err, PO_E_NOMEM, "no memory for %zu machines with %zu kinds of job", machines, kinds);
    }
    int64_t failed = 0, runs = 0;
    for (size_t i = 0; i < n; i++) {
        const po_wear_cell *c = &cells[i];
        if (c->machine >= machines || c->kind >= kinds || c->failed < 0 || c->n < c->failed ||
            c->n > INT64_C(1000000000) - runs) {
            return po_fail(err, PO_E_RANGE, "row %zu: %lld failed of %lld runs of machine %u with kind %u", i + 1,
                           (long long)c->failed, (long long)c->n, c->machine, c->kind);
        }
        table *t = &tables[c->machine * kinds + c->kind];
        t->failed += c->failed;
        t->n += c->n;
        shop[c->kind].failed += c->failed;
        shop[c->kind].n += c->n;
        failed += c->failed;
        runs += c->n;
    }
    if (runs == 0) {
        return po_fail(err, PO_E_EMPTY, "no runs to compare");
    }
    if (failed > PO_WEAR_MOST) {
        return po_fail(err, PO_E_LIMIT, "%lld failures: at most %d", (long long)failed, PO_WEAR_MOST);
    }
    double *room = po_arena_zeros(arena, (size_t)failed + 1, 3 * sizeof *room);
    if (!room) {
        return po_fail(err, PO_E_NOMEM, "no memory for %lld failures", (long long)failed);
    }
    for (size_t i = 0; i < machines; i++) {
        ret[i] = (po_wear_machine){0};
        for (size_t k = 0; k < kinds; k++) {
            tables[i * kinds + k].all_failed = shop[k].failed;
            tables[i * kinds + k].all_n = shop[k].n;
        }
        odds_of(&tables[i * kinds], kinds, &ret[i]);
        ret[i].chance = ret[i].n ? exact_chance(&tables[i * kinds], kinds, ret[i].failed, (size_t)failed, room) : 1;
    }
    holm(ret, machines, order);
    drawn(ret, machines);
    for (size_t i = 0; i < machines; i++) {
        bool sure = ret[i].chance_of_all <= 0.05;
        ret[i].verdict = sure && (double)ret[i].failed > ret[i].expected ? PO_WEAR_WORSE
                         : sure                                          ? PO_WEAR_BETTER
                         : isnan(ret[i].high) || ret[i].high > 2         ? PO_WEAR_TOO_FEW
                                                                         : PO_WEAR_STEADY;
    }
    return PO_OK;
}
