/* Mending: edges, triangles that are too many, triangles the wrong way round. SPDX-License-Identifier: Apache-2.0
 *
 * Edges are brought together in buckets by their lower vertex. Doubled triangles likewise, by their lowest corner. Of
 * triangles over the same corners one stays, facing as the most of them do. As many each way cancel out, like the two
 * sides of a wall without thickness: they go, unless two of the three edges would be left with an odd number of
 * triangles; then one of them is the surface and the other too many. Turning: breadth-first over edges of exactly two
 * triangles, the smaller side of each piece is turned (as in flips.c, which only counts). */
#include <stdlib.h>
#include <string.h>

#include "part/mend.h"

static int by_edge(const void *a, const void *b)
{
    const po_edge_use *x = a, *y = b;
    return x->high != y->high ? (x->high > y->high) - (x->high < y->high) : (x->half > y->half) - (x->half < y->half);
}

static void sort_uses(po_edge_use *uses, size_t n)
{
    if (n > 32) {
        qsort(uses, n, sizeof *uses, by_edge);
        return;
    }
    for (size_t i = 1; i < n; i++) {
        po_edge_use one = uses[i];
        size_t k = i;
        for (; k > 0 && by_edge(&uses[k - 1], &one) > 0; k--) {
            uses[k] = uses[k - 1];
        }
        uses[k] = one;
    }
}

po_status po_edges_find(const po_mesh *mesh, po_edges *ret, po_err *err)
{
    po_edges e = {.ends = calloc(mesh->n_vertices + 1, sizeof *e.ends),
                  .uses = malloc((3 * mesh->n_triangles + 1) * sizeof *e.uses)};
    if (!e.ends || !e.uses) {
        po_edges_done(&e);
        return po_fail(err, PO_E_NOMEM, "no memory for the edges of %zu triangles", mesh->n_triangles);
    }
    for (int pass = 0; pass < 2; pass++) {
        for (size_t t = 0; t < mesh->n_triangles; t++) {
            const uint32_t *c = mesh->corners + 3 * t;
            for (uint32_t k = 0; !po_is_flat(c) && k < 3; k++) {
                uint32_t a = c[k], b = c[(k + 1) % 3], low = a < b ? a : b;
                if (pass == 0) {
                    e.ends[low]++;
                } else {
                    e.uses[e.ends[low]++] = (po_edge_use){a < b ? b : a, (uint32_t)(3 * t) + k};
                }
            }
        }
        uint32_t sum = 0;
        for (size_t v = 0; pass == 0 && v < mesh->n_vertices; v++) {
            uint32_t n = e.ends[v];
            e.ends[v] = sum;
            sum += n;
        }
    }
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        uint32_t begin = v ? e.ends[v - 1] : 0;
        sort_uses(e.uses + begin, e.ends[v] - begin);
    }
    *ret = e;
    return PO_OK;
}

void po_edges_done(po_edges *edges)
{
    free(edges->ends);
    free(edges->uses);
    *edges = (po_edges){0};
}

const po_edge_use *po_edges_of(const po_edges *edges, uint32_t a, uint32_t b, size_t *ret_n)
{
    uint32_t v = a < b ? a : b, high = a < b ? b : a, low = v ? edges->ends[v - 1] : 0, end = edges->ends[v], top = end;
    while (low < top) { /* the first that is not below */
        uint32_t mid = low + (top - low) / 2;
        if (edges->uses[mid].high < high) {
            low = mid + 1;
        } else {
            top = mid;
        }
    }
    for (top = low; top < end && edges->uses[top].high == high; top++) {
    }
    *ret_n = top - low;
    return edges->uses + low;
}

typedef struct by_corners { /* a triangle in the bucket of its lowest corner */
    uint32_t mid, high;
    uint32_t triangle; /* times two, plus 1 where its corners run low, high, mid */
} by_corners;

static int by_mid(const void *a, const void *b)
{
    const by_corners *x = a, *y = b;
    if (x->mid != y->mid) {
        return (x->mid > y->mid) - (x->mid < y->mid);
    }
    if (x->high != y->high) {
        return (x->high > y->high) - (x->high < y->high);
    }
    return (x->triangle > y->triangle) - (x->triangle < y->triangle);
}

static by_corners key_of(const uint32_t *c, size_t triangle, uint32_t *ret_low)
{
    int k = c[0] < c[1] ? (c[0] < c[2] ? 0 : 2) : (c[1] < c[2] ? 1 : 2);
    uint32_t p = c[(k + 1) % 3], q = c[(k + 2) % 3];
    *ret_low = c[k];
    return p < q ? (by_corners){p, q, (uint32_t)triangle << 1} : (by_corners){q, p, (uint32_t)triangle << 1 | 1};
}

/* Mark all of the set but what stays. */
static void judge_set(const po_edges *edges, uint32_t low, const by_corners *set, size_t n, bool keep_one,
                      unsigned char *gone)
{
    size_t odd = 0, keep = 0;
    for (size_t i = 0; i < n; i++) {
        odd += set[i].triangle & 1;
    }
    if (2 * odd == n && !keep_one) {
        const uint32_t ends[3][2] = {{low, set->mid}, {set->mid, set->high}, {low, set->high}};
        int open = 0;
        for (int k = 0; k < 3; k++) {
            size_t uses;
            po_edges_of(edges, ends[k][0], ends[k][1], &uses);
            open += (uses - n) % 2;
        }
        keep = open >= 2 ? 0 : n;
    } else {
        while (2 * odd != n && (set[keep].triangle & 1) != (2 * odd > n)) {
            keep++;
        }
    }
    for (size_t i = 0; i < n; i++) {
        gone[set[i].triangle >> 1] = i != keep;
    }
}

po_status po_mend_drop(po_mending *m, bool keep_one, uint64_t *ret_flat, uint64_t *ret_doubled, po_err *err)
{
    po_mesh mesh = po_mending_mesh(m);
    po_edges edges;
    po_status s = po_edges_find(&mesh, &edges, err);
    if (s != PO_OK) {
        return s;
    }
    uint32_t *ends = calloc(m->n_vertices + 1, sizeof *ends), sum = 0, low;
    by_corners *keys = malloc((m->n_triangles + 1) * sizeof *keys);
    unsigned char *gone = calloc(m->n_triangles + 1, 1);
    if (!ends || !keys || !gone) {
        s = po_fail(err, PO_E_NOMEM, "no memory to look for doubled triangles among %zu", m->n_triangles);
        goto done;
    }
    *ret_flat = *ret_doubled = 0;
    for (size_t t = 0; t < m->n_triangles; t++) {
        if (!po_is_flat(m->corners + 3 * t)) {
            key_of(m->corners + 3 * t, t, &low);
            ends[low]++;
        }
    }
    for (size_t v = 0; v < m->n_vertices; v++) {
        uint32_t n = ends[v];
        ends[v] = sum;
        sum += n;
    }
    for (size_t t = 0; t < m->n_triangles; t++) {
        if (po_is_flat(m->corners + 3 * t)) {
            gone[t] = 1;
            ++*ret_flat;
        } else {
            by_corners key = key_of(m->corners + 3 * t, t, &low);
            keys[ends[low]++] = key;
        }
    }
    for (size_t v = 0; v < m->n_vertices; v++) {
        size_t begin = v ? ends[v - 1] : 0, end = ends[v];
        qsort(keys + begin, end - begin, sizeof *keys, by_mid);
        for (size_t i = begin, next; i < end; i = next) {
            for (next = i + 1; next < end && keys[next].mid == keys[i].mid && keys[next].high == keys[i].high; next++) {
            }
            if (next - i > 1) {
                judge_set(&edges, (uint32_t)v, keys + i, next - i, keep_one, gone);
            }
        }
    }
    size_t n = 0;
    for (size_t t = 0; t < m->n_triangles; t++) {
        if (!gone[t]) {
            memmove(m->corners + 3 * n++, m->corners + 3 * t, 3 * sizeof *m->corners);
        }
    }
    *ret_doubled = m->n_triangles - n - *ret_flat;
    m->n_triangles = n;
done:
    free(ends);
    free(keys);
    free(gone);
    po_edges_done(&edges);
    return s;
}

po_status po_mend_turn(po_mending *m, uint64_t *ret_turned, uint64_t *ret_twisted, po_err *err)
{
    enum { NEW, SAME, AGAINST };
    po_mesh mesh = po_mending_mesh(m);
    po_edges edges;
    po_status s = po_edges_find(&mesh, &edges, err);
    if (s != PO_OK) {
        return s;
    }
    unsigned char *side = calloc(m->n_triangles + 1, 1);
    uint32_t *queue = malloc((m->n_triangles + 1) * sizeof *queue);
    if (!side || !queue) {
        s = po_fail(err, PO_E_NOMEM, "no memory to turn %zu triangles", m->n_triangles);
        goto done;
    }
    *ret_turned = *ret_twisted = 0;
    for (size_t first = 0; first < m->n_triangles; first++) {
        if (side[first] || po_is_flat(m->corners + 3 * first)) {
            continue;
        }
        size_t n = 0, against = 0;
        bool twisted = false;
        side[first] = SAME;
        queue[n++] = (uint32_t)first;
        for (size_t i = 0; i < n; i++) {
            uint32_t t = queue[i];
            against += side[t] == AGAINST;
            for (uint32_t k = 0; k < 3; k++) {
                uint32_t half = 3 * t + k, a = po_half_from(m, half), b = po_half_to(m, half);
                size_t uses;
                const po_edge_use *use = po_edges_of(&edges, a, b, &uses);
                if (uses != 2) {
                    continue;
                }
                uint32_t other = use[0].half == half ? use[1].half : use[0].half, u = other / 3;
                bool same_way = po_half_from(m, other) == a;
                unsigned char want = same_way ? (side[t] == SAME ? AGAINST : SAME) : side[t];
                if (side[u] == NEW) {
                    side[u] = want;
                    queue[n++] = u;
                } else {
                    twisted = twisted || side[u] != want;
                }
            }
        }
        *ret_twisted += twisted;
        unsigned char turn = 2 * against > n ? SAME : AGAINST;
        for (size_t i = 0; i < n; i++) {
            /* what lies beyond this piece is not looked at again: turning now changes no answer */
            uint32_t *c = m->corners + 3 * (size_t)queue[i];
            if (!twisted && side[queue[i]] == turn) {
                uint32_t swap = c[1];
                c[1] = c[2];
                c[2] = swap;
                ++*ret_turned;
            }
        }
    }
done:
    free(side);
    free(queue);
    po_edges_done(&edges);
    return s;
}
