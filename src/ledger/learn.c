/* Runs made ready to be asked: put in order, absurd entries set aside, summed up. SPDX-License-Identifier: Apache-2.0
 *
 * Works on y = ln(real / modelled). Runs are sorted by machine, recipe, y and weight, so that every sum is taken in one order
 * whatever the caller's. Then each run is held against medians that one entry cannot move: from three runs on that of its
 * machine and recipe and, the more loosely the more runs there are, of what is known elsewhere: its machine's median, or the
 * shop's, or the model itself. Beyond three spreads a run counts less and from five on not at all, as in Hampel, Ronchetti,
 * Rousseeuw, Stahel, "Robust Statistics", 1986, section 2.6 (redescending estimators; the corners at 3 and 5 are ours, around
 * the 3.5 of Iglewicz and Hoaglin in NIST/SEMATECH e-Handbook 1.3.5.17; both from memory). The spread is the median absolute
 * deviation times 1.4826 (P. Rousseeuw, C. Croux, J. Amer. Statist. Assoc. 88, 1993). What is left is summed up for each machine
 * and recipe. What follows from it: learn_ask.c.
 *
 * What is absurd is not what is merely new. A spread is taken as at least 5 % and at most 25 %; a machine or recipe with few
 * runs may differ by far more. Where more than a third of a recipe's runs (three at least) would go by their own median, that
 * median is not heeded: they are not entries gone wrong but how the machine is. The same for what is known elsewhere, where by
 * that more than half (three at least) would go although they agree among themselves. */
#include "ledger/learn_inside.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

static const size_t runs_most = 10000000;
/* Weights are multiples of 2^-16, so that they can be sorted by and their sums are exact. */
static const double weight_unit = 65536;

/* Where an entry begins to count less, and from where it does not count: in spreads. */
static const double full_to = 3, none_from = 5;
/* Spreads of ln ratio: the least that is held against a run; the most, whatever the runs look like; between machines or
 * recipes; of the model itself. Common practice, no published source. */
static const double spread_least = 0.05, spread_most = 0.25, spread_strange = 0.15, spread_model = 0.5;
static const double off_most = 14;       /* beyond a factor of a million it makes no difference by how much */
static const double normal_mad = 1.4826; /* 1 / 0.6745, the upper quartile of the normal distribution */
enum { RUNS_FOR_MEDIAN = 3, RUNS_FOR_SPREAD = 5 };

/* place, y, weight: numbers that sort as what they stand for. */
typedef struct entry {
    uint64_t key[3];
} entry;

static uint64_t key_of(double y)
{
    uint64_t bits;
    memcpy(&bits, &y, sizeof bits);
    return bits >> 63 ? ~bits : bits | UINT64_C(1) << 63;
}

static double of_key(uint64_t key)
{
    uint64_t bits = key >> 63 ? key ^ UINT64_C(1) << 63 : ~key;
    double y;
    memcpy(&y, &bits, sizeof y);
    return y;
}

/* Least byte first; bytes that are alike everywhere are passed over. Returns which of the two rooms holds the order.
 * D. Knuth, The Art of Computer Programming 3, 5.2.5. */
static entry *sorted(entry *from, entry *to, size_t n)
{
    for (int key = 2; key >= 0; key--) {
        uint64_t differ = 0;
        for (size_t i = 1; i < n; i++) {
            differ |= from[i].key[key] ^ from[0].key[key];
        }
        for (int shift = 0; shift < 64; shift += 8) {
            if ((differ >> shift & 255) == 0) {
                continue;
            }
            uint32_t count[256] = {0}, sum = 0;
            for (size_t i = 0; i < n; i++) {
                count[from[i].key[key] >> shift & 255]++;
            }
            for (int v = 0; v < 256; v++) {
                uint32_t c = count[v];
                count[v] = sum;
                sum += c;
            }
            for (size_t i = 0; i < n; i++) {
                to[count[from[i].key[key] >> shift & 255]++] = from[i];
            }
            entry *other = from;
            from = to;
            to = other;
        }
    }
    return from;
}

/* The k-th smallest of n, which are put in another order. C. Hoare, Algorithm 65 (Find), Commun. ACM 4, 1961. */
static double kth(double *v, size_t n, size_t k)
{
    size_t low = 0, high = n - 1;
    while (low < high) {
        double pivot = v[low + (high - low) / 2];
        size_t i = low, j = high;
        while (i <= j) {
            while (v[i] < pivot) {
                i++;
            }
            while (v[j] > pivot) {
                j--;
            }
            if (i <= j) {
                double t = v[i];
                v[i++] = v[j];
                v[j] = t;
                if (j == 0) {
                    break;
                }
                j--;
            }
        }
        if (k <= j && j < high) {
            high = j;
        } else if (k >= i) {
            low = i;
        } else {
            return v[k];
        }
    }
    return v[k];
}

static double median(double *v, size_t n)
{
    double upper = kth(v, n, n / 2);
    return n % 2 ? upper : (upper + kth(v, n, n / 2 - 1)) / 2;
}

/* The sorted runs and room to work in. Machine m has cells cell_of[m]..cell_of[m + 1], cell c runs start[c]..start[c + 1]. */
typedef struct work {
    double *y, *weight, *room, *middle; /* room: n; middle: a machine's median */
    uint64_t *place;                    /* of each cell: machine << 32 | recipe */
    size_t *start, *cell_of;
    size_t n, n_cells, n_machines;
} work;

static double of_sorted(const double *y, size_t n)
{
    return n % 2 ? y[n / 2] : (y[n / 2 - 1] + y[n / 2]) / 2;
}

/* Distances of a machine's runs from the medians of their cells, as far as they say something on scatter; the room gets
 * them, the count is returned. A cell's own median is drawn to its few runs, so distances are stretched to those from a true
 * middle; an odd cell's middle run lies on the median by making and is left out. */
static size_t distances(const work *w, size_t machine, double *room)
{
    size_t k = 0;
    for (size_t c = w->cell_of[machine]; c < w->cell_of[machine + 1]; c++) {
        size_t n = w->start[c + 1] - w->start[c];
        const double *y = w->y + w->start[c];
        double middle = of_sorted(y, n), stretch = sqrt((double)n / (double)(n > 1 ? n - 1 : 1));
        for (size_t i = 0; i < n; i++) {
            if (n % 2 == 0 || i != n / 2) {
                room[k++] = fabs(y[i] - middle) * stretch;
            }
        }
    }
    return k;
}

static double counts_for(double y, double middle, double spread)
{
    double z = fabs(y - middle) / spread;
    return z <= full_to ? 1 : z >= none_from ? 0 : (none_from - z) / (none_from - full_to);
}

/* Make the weights of absurd runs smaller. spread: n_machines of room. */
static void set_aside(work *w, double *spread)
{
    size_t k = 0;
    for (size_t m = 0; m < w->n_machines; m++) {
        size_t own = distances(w, m, w->room + k);
        spread[m] = own >= RUNS_FOR_SPREAD ? normal_mad * median(w->room + k, own) : 0;
        k += own;
    }
    double usual = fmax(spread_least, k >= RUNS_FOR_SPREAD ? normal_mad * median(w->room, k) : 0);
    for (size_t m = 0; m < w->n_machines; m++) {
        size_t from = w->start[w->cell_of[m]], n = w->start[w->cell_of[m + 1]] - from;
        memcpy(w->room, w->y + from, n * sizeof *w->room);
        w->middle[m] = median(w->room, n);
    }
    memcpy(w->room, w->middle, w->n_machines * sizeof *w->room);
    double shop = median(w->room, w->n_machines);
    for (size_t m = 0; m < w->n_machines; m++) {
        w->room[m] = fabs(w->middle[m] - shop);
    }
    double apart = w->n_machines >= RUNS_FOR_MEDIAN ? fmin(normal_mad * median(w->room, w->n_machines), spread_most)
                                                    : 0;

    for (size_t m = 0; m < w->n_machines; m++) {
        size_t in_machine = w->start[w->cell_of[m + 1]] - w->start[w->cell_of[m]];
        double scatter = fmin(fmax(usual, spread[m]), spread_most), strange = hypot(scatter, spread_strange);
        for (size_t c = w->cell_of[m]; c < w->cell_of[m + 1]; c++) {
            size_t first = w->start[c], end = w->start[c + 1], n = end - first, by_own = 0, by_others = 0;
            double middle, wide, own = of_sorted(w->y + first, n);
            if (in_machine - n >= RUNS_FOR_MEDIAN) {
                middle = w->middle[m], wide = strange;
            } else if (w->n - n >= RUNS_FOR_MEDIAN) {
                middle = shop, wide = hypot(strange, apart);
            } else {
                middle = 0, wide = hypot(scatter, spread_model);
            }
            wide *= fmax(1, (double)n / RUNS_FOR_MEDIAN);
            for (size_t i = first; i < end; i++) {
                by_own += counts_for(w->y[i], own, scatter) < 1;
                by_others += counts_for(w->y[i], middle, wide) < 1;
            }
            bool heed_own = n >= RUNS_FOR_MEDIAN && (by_own < RUNS_FOR_MEDIAN || by_own * 3 <= n);
            bool heed_others = !heed_own || by_others < RUNS_FOR_MEDIAN || by_others * 2 <= n;
            for (size_t i = first; i < end; i++) {
                double counts = heed_own ? counts_for(w->y[i], own, scatter) : 1;
                w->room[i] = heed_others ? fmin(counts, counts_for(w->y[i], middle, wide)) : counts;
                w->weight[i] *= w->room[i];
            }
        }
    }
}

/* Sums of each cell and machine; those that have nothing left to say are dropped. After set_aside, whose room tells how much
 * each run counts. Old runs count less, but they scatter no less: with W = sum w the mean of weighted runs is as good as that of
 * W^2 / sum w^2 runs, and sum w (y - mean)^2 / (W - sum w^2 / W) is the variance of one (L. Kish, "Survey Sampling", 1965, for
 * the first; both are the usual ones where all weights are alike). */
static void sum_up(const work *w, po_learned *learned)
{
    size_t n_cells = 0, n_machines = 0;
    for (size_t m = 0; m < w->n_machines; m++) {
        po_learn_machine machine = {.id = (uint32_t)(w->place[w->cell_of[m]] >> 32), .first_cell = n_cells};
        for (size_t c = w->cell_of[m]; c < w->cell_of[m + 1]; c++) {
            po_learn_cell cell = {.recipe = (uint32_t)w->place[c]};
            double sum = 0, sum2 = 0, squares = 0;
            for (size_t i = w->start[c]; i < w->start[c + 1]; i++) {
                bool speaks = w->room[i] >= 0.5;
                cell.n += speaks;
                learned->n_aside += !speaks;
                cell.weight += w->weight[i];
                sum2 += w->weight[i] * w->weight[i];
                sum += w->weight[i] * w->y[i];
            }
            if (cell.weight <= 0) {
                continue;
            }
            cell.mean = sum / cell.weight;
            for (size_t i = w->start[c]; i < w->start[c + 1]; i++) {
                double d = w->y[i] - cell.mean;
                squares += w->weight[i] * d * d;
            }
            cell.counts = cell.weight * cell.weight / sum2;
            if (cell.counts > 1 + 1e-9) { /* else one run, or rounding */
                machine.freedom += cell.counts - 1;
                machine.squares += squares * cell.weight / sum2;
            }
            machine.n += cell.n;
            learned->cells[n_cells++] = cell;
        }
        machine.ends = n_cells;
        learned->n_all += machine.n;
        if (machine.ends > machine.first_cell) {
            learned->machines[n_machines++] = machine;
        }
    }
    learned->n_cells = n_cells;
    learned->n_machines = n_machines;
}

static po_status options_good(const po_learn_options *o, po_err *err)
{
    const struct {
        const char *name;
        double value, least, most;
    } bounds[] = {
        {"level", o->level, 0.01, 0.999},
        {"half_life_days", o->half_life_days, 0, 1e9},
        {"between_machines", o->between_machines, 1e-9, 1000},
        {"between_recipes", o->between_recipes, 1e-9, 1000},
        {"doubt", o->doubt, 1e-9, 1000},
        {"trust", o->trust, 0, 1},
        {"range_runs", o->range_runs, 1e-9, 1e9},
    };
    for (size_t i = 0; i < sizeof bounds / sizeof bounds[0]; i++) {
        if (!(bounds[i].value >= bounds[i].least && bounds[i].value <= bounds[i].most)) {
            return po_fail_at(err, PO_E_RANGE, bounds[i].name, 0, 0, "it is %g: give a number from %g to %g",
                              bounds[i].value, bounds[i].least, bounds[i].most);
        }
    }
    return PO_OK;
}

static po_status fault_of(const po_learn_run *run, size_t index, po_err *err)
{
    bool ratio = !(run->ratio > 0 && isfinite(run->ratio));
    if (!ratio && run->age_days >= 0 && isfinite(run->age_days)) {
        return PO_OK;
    }
    po_fail(err, PO_E_RANGE, "run %zu has %s %g: give a finite number %s", index,
            ratio ? "the ratio" : "an age of days", ratio ? run->ratio : run->age_days,
            ratio ? "above 0" : "of 0 or more");
    if (err) {
        err->byte = index;
    }
    return PO_E_RANGE;
}

/* Cut the sorted entries into cells and machines. Room for n + 1 of each is there. */
static void cut(work *w, const entry *entries)
{
    for (size_t i = 0; i < w->n; i++) {
        uint64_t place = entries[i].key[0];
        w->y[i] = of_key(entries[i].key[1]);
        w->weight[i] = (double)entries[i].key[2] / weight_unit;
        if (i == 0 || place != entries[i - 1].key[0]) {
            if (i == 0 || place >> 32 != entries[i - 1].key[0] >> 32) {
                w->cell_of[w->n_machines++] = w->n_cells;
            }
            w->place[w->n_cells] = place;
            w->start[w->n_cells++] = i;
        }
    }
    w->start[w->n_cells] = w->n;
    w->cell_of[w->n_machines] = w->n_cells;
}

po_status po_learn_new(const po_learn_run *runs, size_t n, const po_learn_options *options, po_arena *arena,
                       po_learned **ret, po_err *err)
{
    static const po_learn_options usual = PO_LEARN_OPTIONS_INIT;
    const po_learn_options *o = options ? options : &usual;
    po_status s = options_good(o, err);
    if (s) {
        return s;
    }
    if (n > runs_most) {
        return po_fail(err, PO_E_LIMIT, "%zu runs to learn from: at most %zu can be read, so give the newest", n,
                       runs_most);
    }
    for (size_t i = 0; i < n; i++) {
        if ((s = fault_of(&runs[i], i, err))) {
            return s;
        }
    }
    po_learned *learned = po_arena_zeros(arena, 1, sizeof *learned);
    entry *entries = po_arena_zeros(arena, n + 1, sizeof *entries);
    entry *others = po_arena_zeros(arena, n + 1, sizeof *others);
    if (!learned || !entries || !others) {
        return po_fail(err, PO_E_NOMEM, "no memory to learn from %zu runs", n);
    }
    for (size_t i = 0; i < n; i++) {
        double weight = o->half_life_days > 0 ? exp2(-runs[i].age_days / o->half_life_days) : 1;
        entries[i].key[0] = (uint64_t)runs[i].machine << 32 | runs[i].recipe;
        double y = fmin(fmax(log(runs[i].ratio), -off_most), off_most);
        entries[i].key[1] = key_of(y + 0.0); /* + 0.0: no negative nought */
        entries[i].key[2] = (uint64_t)fmax(1, nearbyint(weight * weight_unit));
    }
    const entry *order = sorted(entries, others, n);
    size_t n_cells = 0, n_machines = 0;
    for (size_t i = 0; i < n; i++) {
        n_cells += i == 0 || order[i].key[0] != order[i - 1].key[0];
        n_machines += i == 0 || order[i].key[0] >> 32 != order[i - 1].key[0] >> 32;
    }
    work w = {.y = po_arena_zeros(arena, n + 1, sizeof *w.y),
              .weight = po_arena_zeros(arena, n + 1, sizeof *w.weight),
              .room = po_arena_zeros(arena, n + 1, sizeof *w.room),
              .middle = po_arena_zeros(arena, n_machines + 1, sizeof *w.middle),
              .place = po_arena_zeros(arena, n_cells + 1, sizeof *w.place),
              .start = po_arena_zeros(arena, n_cells + 1, sizeof *w.start),
              .cell_of = po_arena_zeros(arena, n_machines + 1, sizeof *w.cell_of),
              .n = n};
    double *spread = po_arena_zeros(arena, n_machines + 1, sizeof *spread);
    learned->options = *o;
    learned->machines = po_arena_zeros(arena, n_machines + 1, sizeof *learned->machines);
    learned->cells = po_arena_zeros(arena, n_cells + 1, sizeof *learned->cells);
    learned->parts = po_arena_zeros(arena, PO_LEARN_PARTS, sizeof *learned->parts);
    if (!w.y || !w.weight || !w.room || !w.middle || !w.place || !w.start || !w.cell_of || !spread ||
        !learned->machines || !learned->cells || !learned->parts) {
        return po_fail(err, PO_E_NOMEM, "no memory to learn from %zu runs", n);
    }
    if (n) {
        cut(&w, order);
        set_aside(&w, spread);
        sum_up(&w, learned);
    }
    *ret = learned;
    return PO_OK;
}
