/* Mending: shells the right way round. SPDX-License-Identifier: Apache-2.0
 *
 * A shell is what hangs together over edges. Outermost shells face outwards, what lies directly within one is its
 * cavity and faces inwards, what lies within that outwards, and so on: the solid that the surfaces bound (S. Loriot et
 * al., "Polygon mesh processing", CGAL manual, section "Orientation": orient_to_bound_a_volume). Whether one lies in
 * another is told by the winding number of its points along a ray straight up, with exact predicates and the half-open
 * rule at edges (a corner exactly beside the ray counts as right of it), so that no ray is degenerate. A shell that is
 * not closed is turned only where it clearly faces inwards, and holds nothing. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/exact.h"
#include "part/mend.h"

enum { MOST_SHELLS = 10000, PROBES = 24 };
static const double MOST_WORK = 4e9;    /* triangles looked at, all shells together: some seconds */
static const double OPEN_EDGES = 0.1;   /* of its triangles, up to which an open shell is nearly closed */
static const double OPEN_VOLUME = 0.05; /* of its box, from which on an open shell has an inside */

typedef struct shell {
    double low[3], high[3], volume;
    size_t begin, end; /* in the list of triangles */
    uint32_t open;     /* edges */
    bool closed;
    unsigned depth;
} shell;

/* Does the way from p to q pass the point's column at y, and on which side: +1 upwards left of the point... The sum over
 * a closed outline is its winding number around the point. */
static int pass(const double *p, const double *q, const double *at)
{
    bool below = p[1] < at[1];
    if (below == (q[1] < at[1])) {
        return 0;
    }
    /* seen from the lower end to the upper one, from both triangles of the edge alike */
    int side = below ? po_side2(p, q, at, 0, 1) : po_side2(q, p, at, 0, 1);
    return side > 0 ? (below ? 1 : -1) : 0; /* the point is left of it: the edge lies to its right */
}

int po_winding(const po_mending *m, const uint32_t *list, size_t n, const double *point)
{
    int winding = 0;
    for (size_t i = 0; i < n; i++) {
        const uint32_t *c = m->corners + 3 * (size_t)list[i];
        const double *p = m->xyz + 3 * (size_t)c[0], *q = m->xyz + 3 * (size_t)c[1], *r = m->xyz + 3 * (size_t)c[2];
        if ((p[0] < point[0] && q[0] < point[0] && r[0] < point[0]) ||
            (p[2] < point[2] && q[2] < point[2] && r[2] < point[2])) {
            continue;
        }
        int turn = pass(p, q, point) + pass(q, r, point) + pass(r, p, point);
        if (turn != 0) { /* counter-clockwise seen from above (turn > 0), the point has to lie behind it */
            int side = po_side3(p, q, r, point);
            winding += turn > 0 ? side < 0 : -(side > 0);
        }
    }
    return winding;
}

static uint32_t root_of(uint32_t *parents, uint32_t t)
{
    while (parents[t] != t) {
        parents[t] = parents[parents[t]];
        t = parents[t];
    }
    return t;
}

/* parents of triangles, joined over all edges; open: of each root, how many edges are not run as often each way. */
static void join(const po_mending *m, const po_edges *edges, uint32_t *parents, uint32_t *open)
{
    for (size_t t = 0; t < m->n_triangles; t++) {
        parents[t] = (uint32_t)t;
    }
    for (int pass_number = 0; pass_number < 2; pass_number++) {
        for (size_t v = 0; v < m->n_vertices; v++) {
            uint32_t begin = v ? edges->ends[v - 1] : 0, end = edges->ends[v];
            for (uint32_t i = begin, next; i < end; i = next) {
                int net = 0;
                for (next = i; next < end && edges->uses[next].high == edges->uses[i].high; next++) {
                    net += po_half_from(m, edges->uses[next].half) == v ? 1 : -1;
                    uint32_t a = root_of(parents, edges->uses[i].half / 3),
                             b = root_of(parents, edges->uses[next].half / 3);
                    if (pass_number == 0) {
                        parents[a > b ? a : b] = a > b ? b : a;
                    }
                }
                if (pass_number && net) {
                    open[root_of(parents, edges->uses[i].half / 3)]++;
                }
            }
        }
    }
}

static void measure(const po_mending *m, const uint32_t *list, shell *s)
{
    const double *o = m->xyz + 3 * (size_t)m->corners[3 * (size_t)list[s->begin]];
    for (int k = 0; k < 3; k++) {
        s->low[k] = INFINITY;
        s->high[k] = -INFINITY;
    }
    double middle[3] = {0}, sum = 0;
    for (int round = 0; round < 2; round++) {
        for (size_t i = s->begin; i < s->end; i++) {
            double p[3][3];
            for (int c = 0; c < 3; c++) {
                const double *v = m->xyz + 3 * (size_t)m->corners[3 * (size_t)list[i] + (size_t)c];
                for (int k = 0; k < 3; k++) {
                    p[c][k] = v[k] - (s->closed ? o[k] : middle[k]);
                    if (round == 0) {
                        s->low[k] = fmin(s->low[k], v[k]);
                        s->high[k] = fmax(s->high[k], v[k]);
                    }
                }
            }
            if (round) {
                sum += p[0][0] * (p[1][1] * p[2][2] - p[1][2] * p[2][1]) +
                       p[0][1] * (p[1][2] * p[2][0] - p[1][0] * p[2][2]) +
                       p[0][2] * (p[1][0] * p[2][1] - p[1][1] * p[2][0]);
            }
        }
        for (int k = 0; k < 3; k++) {
            middle[k] = s->low[k] / 2 + s->high[k] / 2;
        }
    }
    s->volume = sum / 6;
}

static bool box_in(const shell *a, const shell *b)
{
    for (int k = 0; k < 3; k++) {
        if (!(a->low[k] >= b->low[k] && a->high[k] <= b->high[k])) {
            return false;
        }
    }
    return true;
}

static bool lies_in(const po_mending *m, const uint32_t *list, const shell *a, const shell *b)
{
    size_t n = a->end - a->begin;
    for (size_t i = 0; i < PROBES; i++) {
        const double *p = m->xyz +
                          3 * (size_t)m->corners[3 * (size_t)list[a->begin + i * (n - 1) / (PROBES - 1)] + i % 3];
        if (po_winding(m, list + b->begin, b->end - b->begin, p) % 2 == 0) {
            return false;
        }
    }
    return true;
}

static bool find_depths(const po_mending *m, const uint32_t *list, shell *shells, size_t n)
{
    double work = 0;
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < n; k++) {
            if (i == k || !shells[k].closed || !box_in(&shells[i], &shells[k]) ||
                (box_in(&shells[k], &shells[i]) && fabs(shells[k].volume) <= fabs(shells[i].volume))) {
                continue;
            }
            work += PROBES * (double)(shells[k].end - shells[k].begin);
            if (work > MOST_WORK) {
                return false;
            }
            shells[i].depth += lies_in(m, list, &shells[i], &shells[k]);
        }
    }
    return true;
}

static bool faces_wrong(const shell *s)
{
    if (s->closed) {
        return s->depth % 2 ? s->volume > 0 : s->volume < 0;
    }
    double box = (s->high[0] - s->low[0]) * (s->high[1] - s->low[1]) * (s->high[2] - s->low[2]);
    return s->depth == 0 && s->open < OPEN_EDGES * (double)(s->end - s->begin) && s->volume < -OPEN_VOLUME * box;
}

po_status po_mend_shells(po_mending *m, po_shell_counts *ret, po_err *err)
{
    po_mesh mesh = po_mending_mesh(m);
    po_edges edges;
    *ret = (po_shell_counts){0};
    po_status s = po_edges_find(&mesh, &edges, err);
    if (s != PO_OK) {
        return s;
    }
    uint32_t *parents = malloc((m->n_triangles + 1) * sizeof *parents),
             *list = malloc((m->n_triangles + 1) * sizeof *list);
    uint32_t *open = calloc(m->n_triangles + 1, sizeof *open);
    uint32_t *numbers = malloc((m->n_triangles + 1) * sizeof *numbers);
    shell *shells = NULL;
    size_t n = 0;
    if (!parents || !list || !open || !numbers) {
        s = po_fail(err, PO_E_NOMEM, "no memory for the shells of %zu triangles", m->n_triangles);
        goto done;
    }
    join(m, &edges, parents, open);
    for (size_t t = 0; t < m->n_triangles; t++) { /* a root comes before what hangs on it */
        numbers[t] = po_is_flat(m->corners + 3 * t)       ? UINT32_MAX
                     : root_of(parents, (uint32_t)t) == t ? (uint32_t)n++
                                                          : numbers[root_of(parents, (uint32_t)t)];
    }
    if (n > MOST_SHELLS) {
        ret->too_many = true;
        goto done;
    }
    shells = calloc(n + 1, sizeof *shells);
    if (!shells) {
        s = po_fail(err, PO_E_NOMEM, "no memory for %zu shells", n);
        goto done;
    }
    for (size_t t = 0; t < m->n_triangles; t++) {
        if (numbers[t] != UINT32_MAX) {
            shells[numbers[t]].end++;
            shells[numbers[t]].open = open[root_of(parents, (uint32_t)t)];
            shells[numbers[t]].closed = shells[numbers[t]].open == 0;
        }
    }
    for (size_t i = 0, sum = 0; i < n; i++) {
        size_t count = shells[i].end;
        shells[i].begin = shells[i].end = sum;
        sum += count;
    }
    for (size_t t = 0; t < m->n_triangles; t++) {
        if (numbers[t] != UINT32_MAX) {
            list[shells[numbers[t]].end++] = (uint32_t)t;
        }
    }
    for (size_t i = 0; i < n; i++) {
        measure(m, list, &shells[i]);
    }
    if (!find_depths(m, list, shells, n)) {
        ret->too_many = true;
        goto done;
    }
    for (size_t i = 0; i < n; i++) {
        if (!faces_wrong(&shells[i])) {
            continue;
        }
        ret->turned++;
        ret->cavities += shells[i].depth % 2;
        for (size_t k = shells[i].begin; k < shells[i].end; k++) {
            uint32_t *c = m->corners + 3 * (size_t)list[k], swap = c[1];
            c[1] = c[2];
            c[2] = swap;
        }
    }
done:
    free(parents);
    free(list);
    free(open);
    free(numbers);
    free(shells);
    po_edges_done(&edges);
    return s;
}
