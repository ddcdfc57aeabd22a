/* Statistics of questions: how hard, how well they tell who knows, what misleads, how far a score can be trusted. SPDX-License-Identifier: Apache-2.0
 *
 * Plain values in, plain values out. Not everybody was asked every question: papers are drawn from a bank. A paper's standing is therefore
 * its mean surplus over what everybody got right on the questions that it drew; where all had all questions that is the score moved by a
 * constant. It takes for granted that questions are drawn by chance, not by who sits. */
#ifndef PROVEOUT_ITEMS_H
#define PROVEOUT_ITEMS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum {
    PO_ITEMS_FEW = 30,        /* fewer papers with a question: no sentence on it, no interval of its r */
    PO_ITEMS_MODEL_FEW = 200, /* fewer papers with a question: no item response model */
    PO_ITEMS_MOST = 500,      /* questions */
    PO_ITEMS_OPTIONS = 12     /* options that are told apart */
};

/* One cell of the table. Blank counts as wrong in every figure. */
enum { PO_CELL_NOT_DRAWN = 0, PO_CELL_WRONG = 1, PO_CELL_RIGHT = 2, PO_CELL_BLANK = 3 };

/* papers rows of questions cells each, row by row. chosen: NULL, or as many cells: 1 to PO_ITEMS_OPTIONS, 0 none. key: NULL, or the right
 * option of each question, 0 where it has no single one. All borrowed for the call. */
typedef struct po_items_table {
    const uint8_t *mark, *chosen, *key;
    size_t papers, questions;
} po_items_table;

typedef enum po_item_flag {
    PO_ITEM_FINE,
    PO_ITEM_FEW,      /* too few papers to say anything */
    PO_ITEM_KEY,      /* the key seems wrong */
    PO_ITEM_MISLEADS, /* those who know more get it wrong more often */
    PO_ITEM_EASY,     /* nearly everybody knows it */
    PO_ITEM_DULL      /* does not tell who knows */
} po_item_flag;

typedef struct po_item {
    size_t drawn, right, blank;
    double p, p_low, p_high; /* share right; Wilson, 95 % */
    double d, d_low, d_high; /* upper less lower 27 %; Newcombe's interval. NAN: one of the groups never drew it */
    double r;                /* point-biserial with the standing, the question itself in it */
    double r_rest, r_rest_low,
        r_rest_high;     /* without the question; Fisher's z. NAN: no spread, or too few papers (interval) */
    size_t upper, lower; /* papers of each group that drew it */
    size_t chose[PO_ITEMS_OPTIONS + 1], chose_upper[PO_ITEMS_OPTIONS + 1],
        chose_lower[PO_ITEMS_OPTIONS + 1]; /* 0: none */
    po_item_flag flag;
    uint8_t option; /* that misleads or seems right; 0: none */
    const char *says;
} po_item;

typedef struct po_items {
    po_item *item; /* questions of them, in the arena */
    size_t papers, group;
    double drawn;                     /* questions on a paper, the mean k */
    double kr20, kr20_low, kr20_high; /* NAN: too few papers or no spread */
    double spread, error;             /* standard deviation of scores and standard error of measurement, in questions */
    bool whole;                       /* all papers had all questions: KR-20 is the textbook's */
    const char *says;
} po_items;

/* Sources: G. F. Kuder and M. W. Richardson, Psychometrika 2 (1937), with variances over n; T. L. Kelley, J. Educ. Psychol. 30 (1939): 27 %;
 * R. G. Newcombe, Stat. Med. 17 (1998), method 10; D. G. Bonett, J. Educ. Behav. Stat. 27 (2002): interval of alpha (all from memory).
 * Drawn papers: KR-20 = k c / (v + (k - 1) c), where v is the questions' mean variance and c the mean covariance of two questions over those
 * papers that had both, each pair weighted by these papers. Equal to the textbook's form where all had all questions.
 * A sentence is said at three times the usual care (z = 3.29), so that good questions are left in peace.
 * Errors: PO_E_RANGE (a mark above 3, a chosen option too great, no questions or too many), PO_E_NOMEM. */
PO_API po_status po_items_of(const po_items_table *table, po_arena *arena, po_items *ret, po_err *err) PO_MUST_USE;

typedef struct po_item_model {
    double a, b;             /* slope (logistic, no 1.7) and place: P = 1 / (1 + exp(-a (theta - b))) */
    double a_error, b_error; /* standard errors; NAN: not to be had */
    bool fitted;             /* false: too few papers, or everybody or nobody right: a and b are NAN */
} po_item_model;

/* Two-parameter logistic model by marginal maximum likelihood, abilities standard normal, 41 even nodes from -5 to 5. A slope is held
 * between 0.05 and 6. Errors from the cross-products of each paper's score.
 * ret  room for table->questions. ret_rounds: rounds of the fit, 0 where no question could be fitted.
 * Source: R. D. Bock and M. Aitkin, Psychometrika 46 (1981), 443-459 (from memory). Errors: as above; PO_E_LIMIT: did not settle in 500 rounds. */
PO_API po_status po_items_model(const po_items_table *table, po_arena *arena, po_item_model *ret, size_t *ret_rounds,
                                po_err *err) PO_MUST_USE;

/* Cut score by W. H. Angoff's method (in Thorndike, Educational Measurement, 1971; from memory): each judge says of each question what share of people
 * who just know enough would get it right.
 * share   judges rows of questions, 0 to 1
 * ret_cut, ret_error   mean of the judges' sums and its standard error, in questions; the error NAN with one judge. Errors: PO_E_RANGE. */
PO_API po_status po_items_angoff(const double *share, size_t judges, size_t questions, double *ret_cut,
                                 double *ret_error, po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif

#endif
