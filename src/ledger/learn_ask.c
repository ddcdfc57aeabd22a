/* From what runs have taken to what the next will take. SPDX-License-Identifier: Apache-2.0
 *
 * The hierarchical normal model: ln(real / modelled) = level of the shop + machine + recipe on that machine + scatter of one
 * run, each of the last three normal with a spread of its own (A. Gelman et al., "Bayesian Data Analysis", 3rd ed., 2013, 5.4).
 * Given the spreads everything is normal and in closed form; over the spreads, which few machines say little about, the answer
 * is averaged by their posterior on a grid (equation 5.21 there), so that the range is as wide as not knowing them makes it.
 * - Machines' and recipes' spread: half-Cauchy priors with the scales of the options (A. Gelman, "Prior distributions for
 *   variance parameters in hierarchical models", Bayesian Analysis 1, 2006).
 * - Scatter: scaled inverse chi-square with the degrees of freedom there are within machines and recipes, the model's own range
 *   standing in for `range_runs` of them; averaging over it makes the normal a Student t (the same book, 3.2 and 3.3).
 *   Machines that really scatter unlike one another keep their own variances, drawn towards all machines' by as much as the data
 *   say (G. Smyth, Statist. Appl. Genet. Molec. Biol. 3(1), 2004, article 3, section 6, here with the moment estimator of
 *   R. DerSimonian, N. Laird, Controlled Clinical Trials 7, 1986, for unequal counts).
 * - Level of the shop: where the model's range has it, or off by as much as `doubt`; one of the two, the first
 *   with the probability `trust` before the data.
 * The answer is a mixture of normals; low and high are its quantiles with half of what is left out on each side.
 * It does not look for trends, nor for what times and filament have in common. */
#include "ledger/learn_inside.h"

#include <math.h>
#include <stdbool.h>

/* 0.95 quantile of the normal distribution: the model's range holds nine runs of ten. */
static const double normal_95 = 1.6448536269514722;
/* Least standard deviation of ln ratio that is believed: a clock of whole seconds, a scale of grams, books by hand. */
static const double scatter_least = 1e-3;
/* Spreads between machines or recipes are looked for within these; below, machines are alike for any purpose. */
static const double spread_low = 1e-3, spread_high = 3;
/* A machine's variance is compared with others' from so many degrees of freedom on. */
static const double freedom_to_compare = 4;
/* Logarithm of how much less probable than the best a piece may be to be kept. */
static const double worth_keeping = -12;

/* First and second derivative of ln Gamma: recurrence, then the asymptotic series. M. Abramowitz, I. Stegun, "Handbook of
 * Mathematical Functions", 6.3.18 and 6.4.12. */
static double digamma(double x)
{
    double sum = 0;
    for (; x < 10; x++) {
        sum -= 1 / x;
    }
    double r = 1 / (x * x);
    return sum + log(x) - 0.5 / x - r * (1.0 / 12 - r * (1.0 / 120 - r * (1.0 / 252 - r / 240)));
}

static double trigamma(double x)
{
    double sum = 0;
    for (; x < 10; x++) {
        sum += 1 / (x * x);
    }
    double r = 1 / (x * x);
    return sum + 1 / x + 0.5 * r + r / x * (1.0 / 6 - r * (1.0 / 30 - r * (1.0 / 42 - r / 30)));
}

/* The x > 0 where trigamma(x) is v; it falls, so by halving on ln x. */
static double trigamma_is(double v)
{
    double low = log(1e-3), high = log(1e8);
    for (int i = 0; i < 60; i++) {
        double x = 0.5 * (low + high);
        if (trigamma(exp(x)) > v) {
            low = x;
        } else {
            high = x;
        }
    }
    return exp(0.5 * (low + high));
}

/* Values that are asked about lie within these, so that nothing made of them runs over. */
static const double value_least = 1e-12, value_most = 1e12, log_most = 30;
/* Quantiles of ln ratio are found to this; the last step of Newton's is far closer. */
static const double close_enough = 1e-6;

/* The question on the scale of logarithms. */
typedef struct asked {
    const po_learn_machine *machine; /* NULL: no run of it */
    const po_learn_cell *cell;       /* NULL: no run of that recipe on it */
    double variance;                 /* of one run of it, before the common factor */
    double freedom;                  /* of that factor */
    double level_variance[PO_LEARN_TRUSTS],
        log_trust[PO_LEARN_TRUSTS]; /* of the shop's level: within the range, or off */
} asked;

static void find(const po_learned *learned, const po_learn_question *q, asked *a)
{
    for (size_t m = 0; m < learned->n_machines; m++) {
        const po_learn_machine *machine = &learned->machines[m];
        if (machine->id == q->machine) {
            a->machine = machine;
            for (size_t c = machine->first_cell; c < machine->ends; c++) {
                if (learned->cells[c].recipe == q->recipe) {
                    a->cell = &learned->cells[c];
                }
            }
        }
    }
}

/* Every machine's variance of one run, and how well they are known. model_variance: what the model's range makes of it. */
static void variances(po_learned *learned, double model_variance, asked *a)
{
    double least = scatter_least * scatter_least, freedom = learned->options.range_runs;
    double squares = freedom * model_variance;
    /* x: ln of each machine's variance, freed of its bias, with the variance v that its degrees of freedom give it. */
    double w = 0, w2 = 0, wx = 0, wxx = 0;
    int n = 0;
    for (size_t m = 0; m < learned->n_machines; m++) {
        const po_learn_machine *p = &learned->machines[m];
        freedom += p->freedom;
        squares += p->squares;
        if (p->freedom >= freedom_to_compare) {
            double x = log(fmax(p->squares / p->freedom, least)) - digamma(p->freedom / 2) + log(p->freedom / 2);
            double v = trigamma(p->freedom / 2);
            n++, w += 1 / v, w2 += 1 / (v * v), wx += x / v, wxx += x * x / v;
        }
    }
    double common = fmax(squares / freedom, least),
           drawn = INFINITY; /* drawn: degrees of freedom of what all have in common */
    if (n >= 3) {
        double between = (wxx - wx * wx / w - (n - 1)) / (w - w2 / w);
        if (between > 1e-4) { /* else standard deviations within a half percent of each other */
            drawn = 2 * trigamma_is(between);
            common = fmax(exp(wx / w + digamma(drawn / 2) - log(drawn / 2)), least);
        }
    }
    a->variance = common;
    a->freedom = freedom;
    double own_freedom = 0;
    for (size_t m = 0; m < learned->n_machines; m++) {
        po_learn_machine *p = &learned->machines[m];
        p->variance = isinf(drawn) ? common : (drawn * common + p->squares) / (drawn + p->freedom);
        if (p == a->machine) {
            a->variance = p->variance;
            own_freedom = p->freedom;
        }
    }
    a->freedom = fmin(freedom, drawn + own_freedom);
}

/* A grid: points of a logarithm, and the logarithm of their prior weight. */
typedef struct grid {
    double value[PO_LEARN_SPREADS], log_prior[PO_LEARN_SPREADS], best[PO_LEARN_SPREADS];
    int n;
} grid;

static void spreads(grid *g, double low, double high, double scale)
{
    g->n = PO_LEARN_SPREADS;
    for (int i = 0; i < g->n; i++) {
        double u = low + (high - low) * i / (g->n - 1), tau = exp(u), t = tau / scale;
        g->value[i] = tau * tau;
        g->log_prior[i] = u - log1p(t * t);
        g->best[i] = -INFINITY;
    }
}

/* Closer points where the posterior is, one step further on each side. */
static void closer(grid *g, double scale)
{
    double best = -INFINITY;
    int first = g->n, last = 0;
    for (int i = 0; i < g->n; i++) {
        best = fmax(best, g->best[i]);
    }
    for (int i = 0; i < g->n; i++) {
        if (g->best[i] > best - 10) {
            first = first < i ? first : i;
            last = i;
        }
    }
    first -= first > 0;
    last += last < g->n - 1;
    spreads(g, 0.5 * log(g->value[first]), 0.5 * log(g->value[last]), scale);
}

/* The common factor of all variances of one run: inverse chi-square over its degrees of freedom, on its logarithm. A step of
 * one standard deviation integrates a normal to 1e-8 (trapezoids on a smooth function); few degrees of freedom are skew. */
static void factors(grid *g, double freedom)
{
    double half = freedom / 2, deviation = sqrt(trigamma(half)), middle = log(half) - digamma(half);
    _Static_assert(PO_LEARN_SCATTERS <= PO_LEARN_SPREADS, "factors lie in a grid of spreads");
    g->n = freedom < 100 ? PO_LEARN_SCATTERS : freedom < 2000 ? 9 : 1;
    for (int i = 0; i < g->n; i++) {
        double low = freedom < 20 ? -3 : -4, high = freedom < 20 ? 6 : 4;
        double u = g->n == 1 ? 0 : middle + deviation * (low + (high - low) * i / (g->n - 1));
        g->value[i] = exp(u);
        g->log_prior[i] = -half * (u + exp(-u));
    }
}

/* ln of a product of positive numbers with one logarithm for many of them. */
typedef struct product {
    double log, value;
} product;

static inline void times(product *p, double x)
{
    p->value *= x;
    if (!(p->value > 1e-150 && p->value < 1e150)) {
        p->log += log(p->value);
        p->value = 1;
    }
}

static inline double log_of(const product *p)
{
    return p->log + log(p->value);
}

/* What the runs within machines say, given a factor and the recipes' variance: each machine's knowledge and mean; returns the
 * logarithm of the likelihood of what recipes of one machine differ by. */
static double within_machines(po_learned *learned, double factor, double recipes)
{
    product u_all = {0, 1}, u_machines = {0, 1};
    double apart = 0;
    for (size_t m = 0; m < learned->n_machines; m++) {
        po_learn_machine *p = &learned->machines[m];
        double one = factor * p->variance, sum = 0, sum_y = 0, at = learned->cells[p->first_cell].mean, squares = 0;
        for (size_t c = p->first_cell; c < p->ends; c++) {
            const po_learn_cell *cell = &learned->cells[c];
            double u = cell->counts / (recipes * cell->counts + one), d = cell->mean - at;
            times(&u_all, u);
            sum += u, sum_y += u * d, squares += u * d * d;
        }
        times(&u_machines, sum);
        apart += squares - sum_y * sum_y / sum;
        p->knowledge = sum;
        p->mean = at + sum_y / sum;
    }
    return 0.5 * (log_of(&u_all) - log_of(&u_machines) - apart);
}

/* The same for the asked machine's level as it is today, 0 without runs of it. Machines change: where all its runs are old it
 * is known less well than the runs' scatter has it. */
static double own_level(const po_learned *learned, const asked *a, double factor, double recipes, double *mean)
{
    double one = factor * a->variance, sum = 0, sum_y = 0;
    for (size_t c = a->machine ? a->machine->first_cell : 0; a->machine && c < a->machine->ends; c++) {
        const po_learn_cell *cell = &learned->cells[c];
        double u = cell->weight / (recipes * cell->weight + one);
        sum += u, sum_y += u * cell->mean;
    }
    *mean = sum > 0 ? sum_y / sum : 0;
    return sum;
}

/* All pieces of the answer for the three grids; n_parts are written. best of each spread's point: its most probable piece. */
static size_t pieces(po_learned *learned, const asked *a, const grid *f, grid *b, grid *m)
{
    size_t k = 0;
    for (int i = 0; i < f->n; i++) {
        double factor = f->value[i];
        for (int j = 0; j < b->n; j++) {
            double recipes = b->value[j],
                   within = within_machines(learned, factor, recipes) + f->log_prior[i] + b->log_prior[j];
            double own_mean = 0, own_knowledge = own_level(learned, a, factor, recipes, &own_mean);
            double c = a->cell ? recipes / (recipes + factor * a->variance / a->cell->weight) : 0;
            for (int l = 0; l < m->n; l++) {
                double machines = m->value[l], sum = 0, sum_y = 0, squares = 0;
                product t_all = {0, 1};
                for (size_t x = 0; x < learned->n_machines; x++) {
                    const po_learn_machine *p = &learned->machines[x];
                    double t = p->knowledge / (1 + machines * p->knowledge);
                    times(&t_all, t);
                    sum += t, sum_y += t * p->mean, squares += t * p->mean * p->mean;
                }
                double shared = within + m->log_prior[l] + 0.5 * log_of(&t_all);
                double d = machines * own_knowledge / (1 + machines * own_knowledge);
                for (int v = 0; v < PO_LEARN_TRUSTS; v++) {
                    double prior = 1 / a->level_variance[v], total = sum + prior, level = sum_y / total;
                    double log_weight = shared + a->log_trust[v] +
                                        0.5 * (log(prior / total) - squares + total * level * level);
                    double alpha = level + d * (own_mean - level);
                    double alpha_variance = machines * (1 - d) + (1 - d) * (1 - d) / total;
                    po_learn_part *part = &learned->parts[k++];
                    part->weight = log_weight;
                    part->mean = alpha + (a->cell ? c * (a->cell->mean - alpha) : 0);
                    double level_variance = recipes * (1 - c) + (1 - c) * (1 - c) * alpha_variance;
                    part->deviation = sqrt(factor * a->variance + level_variance);
                    part->own_share = c + (1 - c) * d;
                    b->best[j] = fmax(b->best[j], log_weight);
                    m->best[l] = fmax(m->best[l], log_weight);
                }
            }
        }
    }
    return k;
}

/* Logarithms to weights that sum to 1; what is next to nothing is dropped. */
static size_t weighed(po_learn_part *parts, size_t n)
{
    double best = -INFINITY, sum = 0;
    size_t k = 0;
    for (size_t i = 0; i < n; i++) {
        best = fmax(best, parts[i].weight);
    }
    for (size_t i = 0; i < n; i++) {
        if (parts[i].weight - best > worth_keeping) {
            parts[k] = parts[i];
            parts[k].weight = exp(parts[k].weight - best);
            sum += parts[k++].weight;
        }
    }
    for (size_t i = 0; i < k; i++) {
        parts[i].weight /= sum;
    }
    return k;
}

/* Where a share of the mixture lies below: Newton's steps, kept within a bracket that shrinks. */
static double quantile(const po_learn_part *parts, size_t n, double share)
{
    double low = INFINITY, high = -INFINITY, x = 0, square = 0;
    for (size_t i = 0; i < n; i++) {
        low = fmin(low, parts[i].mean - 9 * parts[i].deviation);
        high = fmax(high, parts[i].mean + 9 * parts[i].deviation);
        x += parts[i].weight * parts[i].mean;
    }
    for (size_t i = 0; i < n; i++) {
        double d = parts[i].mean - x;
        square += parts[i].weight * (parts[i].deviation * parts[i].deviation + d * d);
    }
    /* A first guess that is near: the logistic curve through a normal's 5 and 95 %. */
    x += sqrt(square) * 0.5586 * log(share / (1 - share));
    for (int step = 0; step < 100 && high - low > close_enough; step++) {
        double below = 0, density = 0;
        for (size_t i = 0; i < n; i++) {
            double z = (x - parts[i].mean) / parts[i].deviation;
            below += parts[i].weight * 0.5 * erfc(-z * M_SQRT1_2);
            density += parts[i].weight * exp(-0.5 * z * z) / parts[i].deviation;
        }
        if (below < share) {
            low = x;
        } else {
            high = x;
        }
        double next = x - (below - share) / (density * 0.3989422804014327); /* 1 / sqrt(2 pi) */
        if (fabs(next - x) < close_enough) {
            return next;
        }
        x = next > low && next < high ? next : 0.5 * (low + high);
    }
    return x;
}

/* The ratio that a share of runs stays below. */
static double ratio(const po_learn_part *parts, size_t n, double share)
{
    return exp(fmin(fmax(quantile(parts, n, share), -log_most), log_most));
}

static po_status question_good(const po_learn_question *q, po_err *err)
{
    if (!(q->modelled >= value_least && q->modelled <= value_most)) {
        return po_fail(err, PO_E_RANGE, "the modelled value is %g: give a number from %g to %g", q->modelled,
                       value_least, value_most);
    }
    if (!(q->low >= value_least && q->low <= q->modelled && q->high >= q->modelled && q->high <= value_most)) {
        return po_fail(err, PO_E_RANGE,
                       "the model's range is %g to %g: give one that holds the modelled value %g, from %g to %g",
                       q->low, q->high, q->modelled, value_least, value_most);
    }
    return PO_OK;
}

po_status po_learn_ask(po_learned *learned, const po_learn_question *q, po_learn_estimate *ret, po_err *err)
{
    po_status s = question_good(q, err);
    if (s) {
        return s;
    }
    const po_learn_options *o = &learned->options;
    po_learn_estimate e = {q->modelled, q->low, q->high, 0, 0, 0, learned->n_all, learned->n_aside, "model"};
    if (learned->n_all == 0) {
        *ret = e;
        return PO_OK;
    }
    asked a = {0};
    find(learned, q, &a);
    /* The model's range is part scatter, part not knowing the level: half each. */
    double deviation = fmax(0.5 * log(q->high / q->low) / normal_95, scatter_least);
    a.level_variance[0] = 0.5 * deviation * deviation;
    a.level_variance[1] = o->doubt * o->doubt;
    a.log_trust[0] = log(o->trust);
    a.log_trust[1] = log1p(-o->trust);
    variances(learned, 0.5 * deviation * deviation, &a);
    grid scatter, recipes, machines;
    factors(&scatter, a.freedom);
    spreads(&recipes, log(spread_low), log(spread_high), o->between_recipes);
    spreads(&machines, log(spread_low), log(spread_high), o->between_machines);
    for (int look = 0; look < 2; look++) {
        pieces(learned, &a, &scatter, &recipes, &machines);
        closer(&recipes, o->between_recipes);
        closer(&machines, o->between_machines);
    }
    size_t n = weighed(learned->parts, pieces(learned, &a, &scatter, &recipes, &machines));
    learned->n_parts = n;
    for (size_t i = 0; i < n; i++) {
        e.own_share += learned->parts[i].weight * learned->parts[i].own_share;
    }
    e.own_share = fmin(e.own_share, 1);
    e.n_own = a.machine ? a.machine->n : 0;
    e.n_recipe = a.cell ? a.cell->n : 0;
    e.centre = q->modelled * ratio(learned->parts, n, 0.5);
    e.low = fmin(e.centre, q->modelled * ratio(learned->parts, n, 0.5 - 0.5 * o->level));
    e.high = fmax(e.centre, q->modelled * ratio(learned->parts, n, 0.5 + 0.5 * o->level));
    e.from = e.own_share >= 0.5 || e.n_own == e.n_all ? "this machine's runs" : "all machines' runs";
    *ret = e;
    return PO_OK;
}
