/* The two-parameter logistic model of questions, fitted by marginal maximum likelihood. SPDX-License-Identifier: Apache-2.0
 *
 * Bock and Aitkin's EM: each paper's ability is spread over nodes by what it got right; then each question's slope and place are fitted to
 * the expected counts at the nodes. Even nodes rather than Gauss-Hermite's: on a smooth bell both are exact far beyond need, and even ones
 * stay dense where long papers need them. */
#include <math.h>
#include <string.h>

#include "people/items_inside.h"

enum { NODES = 41, ROUNDS = 500 };
static const double reach = 5, settled = 1e-4;
static const double slope_least = 0.05, slope_most = 6;

typedef struct fit {
    double slope, shift; /* P = 1 / (1 + exp(-(slope theta + shift))) */
    double asked[NODES], right[NODES], log_right[NODES], log_wrong[NODES];
} fit;

static double node(int q)
{
    return -reach + 2 * reach * q / (NODES - 1);
}

static void tabulate(fit *f)
{
    for (int q = 0; q < NODES; q++) {
        double x = f->slope * node(q) + f->shift;
        f->log_right[q] = x > 0 ? -log1p(exp(-x)) : x - log1p(exp(x));
        f->log_wrong[q] = f->log_right[q] - x;
    }
}

/* Where this paper's ability lies: shares of the nodes. */
static void spread(const po_items_table *t, size_t paper, const fit *fits, const po_item_model *model,
                   const double *prior, double *ret)
{
    const uint8_t *row = t->mark + paper * t->questions;
    double most = -INFINITY, sum = 0;
    memcpy(ret, prior, NODES * sizeof *ret);
    for (size_t j = 0; j < t->questions; j++) {
        if (row[j] && model[j].fitted) {
            const double *gain = row[j] == PO_CELL_RIGHT ? fits[j].log_right : fits[j].log_wrong;
            for (int q = 0; q < NODES; q++) {
                ret[q] += gain[q];
            }
        }
    }
    for (int q = 0; q < NODES; q++) {
        most = fmax(most, ret[q]);
    }
    for (int q = 0; q < NODES; q++) {
        ret[q] = exp(ret[q] - most);
        sum += ret[q];
    }
    for (int q = 0; q < NODES; q++) {
        ret[q] /= sum;
    }
}

/* Newton's steps of a logistic regression on the nodes; halved never needed as the slope is held. Returns the greatest change. */
static double climb(fit *f)
{
    double slope = f->slope, shift = f->shift;
    for (int step = 0; step < 20; step++) {
        double g0 = 0, g1 = 0, h00 = 0, h01 = 0, h11 = 0;
        for (int q = 0; q < NODES; q++) {
            double x = node(q), p = 1 / (1 + exp(-(slope * x + shift))), w = f->asked[q] * p * (1 - p);
            double miss = f->right[q] - f->asked[q] * p;
            g0 += miss;
            g1 += miss * x;
            h00 += w;
            h01 += w * x;
            h11 += w * x * x;
        }
        double whole = h00 * h11 - h01 * h01;
        if (!(whole > 1e-9)) {
            break;
        }
        double by_shift = (h11 * g0 - h01 * g1) / whole, by_slope = (h00 * g1 - h01 * g0) / whole;
        shift += fmax(-1, fmin(1, by_shift));
        slope = fmax(slope_least, fmin(slope_most, slope + fmax(-1, fmin(1, by_slope))));
        if (fabs(by_shift) + fabs(by_slope) < 1e-8) {
            break;
        }
    }
    double change = fmax(fabs(slope - f->slope), fabs(shift - f->shift));
    f->slope = slope;
    f->shift = shift;
    return change;
}

/* Inverse of a symmetric positive matrix's diagonal and of the pairs (2 j, 2 j + 1), by Cholesky. false: not positive. */
static bool invert(double *a, size_t n, double *column, double *ret_pairs)
{
    for (size_t j = 0; j < n; j++) {
        for (size_t i = j; i < n; i++) {
            double s = a[i * n + j];
            for (size_t k = 0; k < j; k++) {
                s -= a[i * n + k] * a[j * n + k];
            }
            if (i == j && !(s > 1e-12)) {
                return false;
            }
            a[i * n + j] = i == j ? sqrt(s) : s / a[j * n + j];
        }
    }
    for (size_t c = 0; c < n; c++) {
        for (size_t i = 0; i < n; i++) {
            double s = i == c;
            for (size_t k = 0; k < i; k++) {
                s -= a[i * n + k] * column[k];
            }
            column[i] = s / a[i * n + i];
        }
        for (size_t i = n; i-- > 0;) {
            double s = column[i];
            for (size_t k = i + 1; k < n; k++) {
                s -= a[k * n + i] * column[k];
            }
            column[i] = s / a[i * n + i];
        }
        ret_pairs[2 * c] = column[c];
        ret_pairs[2 * c + 1] = column[c ^ 1];
    }
    return true;
}

static po_status errors_of(const po_items_table *t, const fit *fits, const double *prior, po_arena *arena,
                           po_item_model *model, po_err *err)
{
    size_t n = 0, m = t->questions;
    size_t *at = po_arena_zeros(arena, m, sizeof *at);
    for (size_t j = 0; at && j < m; j++) {
        at[j] = n;
        n += model[j].fitted ? 2 : 0;
    }
    double *cross = po_arena_zeros(arena, n * n + 1, sizeof *cross),
           *score = po_arena_zeros(arena, n + 1, sizeof *score);
    double *pairs = po_arena_zeros(arena, 2 * n + 1, sizeof *pairs);
    if (!at || !cross || !score || !pairs) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < t->papers; i++) {
        double share[NODES];
        spread(t, i, fits, model, prior, share);
        memset(score, 0, n * sizeof *score);
        for (size_t j = 0; j < m; j++) {
            uint8_t mark = t->mark[i * m + j];
            for (int q = 0; mark && model[j].fitted && q < NODES; q++) {
                double miss = (mark == PO_CELL_RIGHT) - exp(fits[j].log_right[q]);
                score[at[j]] += share[q] * miss * node(q);
                score[at[j] + 1] += share[q] * miss;
            }
        }
        for (size_t r = 0; r < n; r++) {
            for (size_t c = 0; score[r] != 0 && c <= r; c++) {
                cross[r * n + c] += score[r] * score[c];
            }
        }
    }
    bool can = invert(cross, n, score, pairs);
    for (size_t j = 0; j < m; j++) {
        po_item_model *q = &model[j];
        if (q->fitted && can) {
            /* b = -shift / slope: its error by the delta method. */
            const double *v = pairs + 2 * at[j];
            double by_slope = fits[j].shift / (fits[j].slope * fits[j].slope), by_shift = -1 / fits[j].slope;
            q->a_error = sqrt(v[0]);
            q->b_error = sqrt(by_slope * by_slope * v[0] + by_shift * by_shift * v[2] + 2 * by_slope * by_shift * v[1]);
        }
    }
    return PO_OK;
}

po_status po_items_model(const po_items_table *t, po_arena *arena, po_item_model *ret, size_t *ret_rounds, po_err *err)
{
    po_status s = items_check(t, err);
    if (s != PO_OK) {
        return s;
    }
    size_t m = t->questions, can = 0, round = 0;
    fit *fits = po_arena_zeros(arena, m, sizeof *fits);
    po_item_model *model = po_arena_zeros(arena, m, sizeof *model);
    if (!fits || !model) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    double prior[NODES];
    for (int q = 0; q < NODES; q++) {
        prior[q] = -node(q) * node(q) / 2;
    }
    for (size_t j = 0; j < m; j++) {
        size_t drawn = 0, right = 0;
        for (size_t i = 0; i < t->papers; i++) {
            drawn += t->mark[i * m + j] != PO_CELL_NOT_DRAWN;
            right += t->mark[i * m + j] == PO_CELL_RIGHT;
        }
        model[j] = (po_item_model){NAN, NAN, NAN, NAN, drawn >= PO_ITEMS_MODEL_FEW && right > 0 && right < drawn};
        if (model[j].fitted) {
            fits[j].slope = 1;
            fits[j].shift = log((double)right / (double)(drawn - right));
            tabulate(&fits[j]);
            can++;
        }
    }
    /* One or two questions cannot tell slopes from places. */
    for (size_t j = 0; can < 3 && j < m; j++) {
        model[j].fitted = false;
    }
    double change = can < 3 ? 0 : INFINITY;
    for (; change > settled && round < ROUNDS; round++) {
        for (size_t j = 0; j < m; j++) {
            memset(fits[j].asked, 0, sizeof fits[j].asked);
            memset(fits[j].right, 0, sizeof fits[j].right);
        }
        for (size_t i = 0; i < t->papers; i++) {
            double share[NODES];
            spread(t, i, fits, model, prior, share);
            for (size_t j = 0; j < m; j++) {
                uint8_t mark = t->mark[i * m + j];
                for (int q = 0; mark && model[j].fitted && q < NODES; q++) {
                    fits[j].asked[q] += share[q];
                    fits[j].right[q] += mark == PO_CELL_RIGHT ? share[q] : 0;
                }
            }
        }
        change = 0;
        for (size_t j = 0; j < m; j++) {
            if (model[j].fitted) {
                change = fmax(change, climb(&fits[j]));
                tabulate(&fits[j]);
            }
        }
    }
    if (change > settled) {
        return po_fail(err, PO_E_LIMIT, "the model of the questions did not settle in %d rounds", ROUNDS);
    }
    for (size_t j = 0; j < m; j++) {
        if (model[j].fitted) {
            model[j].a = fits[j].slope;
            model[j].b = -fits[j].shift / fits[j].slope;
        }
    }
    s = can < 3 ? PO_OK : errors_of(t, fits, prior, arena, model, err);
    if (s == PO_OK) {
        memcpy(ret, model, m * sizeof *ret);
        *ret_rounds = round;
    }
    return s;
}
