/* Triangles that lie the wrong way round among their neighbours. SPDX-License-Identifier: Apache-2.0
 *
 * Edges are brought together by sorting; across each edge of exactly two triangles, the two are joined, with a bit
 * that says whether they run it the same way (then one of them must be turned): union-find with parity (as in Z. Galil
 * and G. Italiano, "Data structures and algorithms for disjoint set union problems", 1991). In each piece the smaller
 * side is what has to be turned. A piece with a contradiction (one-sided, like a Moebius strip) has no such side: at
 * least one triangle is then counted. Called only for meshes that are out of order: speed is not the aim. */
#include <stdlib.h>
#include <string.h>

#include "part/topology.h"

typedef struct use { /* one triangle's use of an edge */
    uint32_t high;
    uint32_t triangle; /* times two, plus 1 if it runs from the higher vertex to the lower: below 2^31 triangles */
} use;

typedef struct node {
    uint32_t parent;
    uint32_t size_odd; /* root: members of its piece that lie against it (odd parity) */
    uint32_t size;
    unsigned char odd; /* against its parent */
    unsigned char twisted;
} node;

static uint32_t find_root(node *nodes, uint32_t t, unsigned *ret_odd)
{
    unsigned odd = 0;
    uint32_t root = t;
    while (nodes[root].parent != root) {
        odd ^= nodes[root].odd;
        root = nodes[root].parent;
    }
    *ret_odd = odd;
    while (nodes[t].parent != root && t != root) { /* hang all on the root */
        uint32_t next = nodes[t].parent;
        unsigned own = nodes[t].odd;
        nodes[t].parent = root;
        nodes[t].odd = (unsigned char)odd;
        odd ^= own;
        t = next;
    }
    return root;
}

static void join(node *nodes, uint32_t a, uint32_t b, unsigned same_way)
{
    unsigned odd_a, odd_b;
    uint32_t x = find_root(nodes, a, &odd_a), y = find_root(nodes, b, &odd_b);
    unsigned odd = odd_a ^ odd_b ^ same_way;
    if (x == y) {
        nodes[x].twisted |= (unsigned char)odd;
        return;
    }
    if (nodes[x].size < nodes[y].size || (nodes[x].size == nodes[y].size && y < x)) {
        uint32_t swap = x;
        x = y;
        y = swap;
    }
    nodes[y].parent = x;
    nodes[y].odd = (unsigned char)odd;
    nodes[x].size_odd += odd ? nodes[y].size - nodes[y].size_odd : nodes[y].size_odd;
    nodes[x].size += nodes[y].size;
    nodes[x].twisted |= nodes[y].twisted;
}

static int by_edge(const void *a, const void *b)
{
    const use *x = a, *y = b;
    if (x->high != y->high) {
        return x->high < y->high ? -1 : 1;
    }
    return (x->triangle > y->triangle) - (x->triangle < y->triangle);
}

static bool flat(const uint32_t *c)
{
    return c[0] == c[1] || c[1] == c[2] || c[2] == c[0];
}

static void sort_uses(use *uses, size_t n)
{
    if (n > 32) {
        qsort(uses, n, sizeof *uses, by_edge);
        return;
    }
    for (size_t i = 1; i < n; i++) {
        use one = uses[i];
        size_t k = i;
        for (; k > 0 && by_edge(&uses[k - 1], &one) > 0; k--) {
            uses[k] = uses[k - 1];
        }
        uses[k] = one;
    }
}

static void find(const po_mesh *mesh, uint32_t *ends, use *uses, node *nodes)
{
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *c = mesh->corners + 3 * t;
        nodes[t] = (node){.parent = (uint32_t)t, .size = 1};
        for (int k = 0; !flat(c) && k < 3; k++) {
            uint32_t a = c[k], b = c[(k + 1) % 3];
            ends[a < b ? a : b]++;
        }
    }
    uint32_t sum = 0;
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        uint32_t n = ends[v];
        ends[v] = sum;
        sum += n;
    }
    for (size_t t = 0; t < mesh->n_triangles; t++) {
        const uint32_t *c = mesh->corners + 3 * t;
        for (int k = 0; !flat(c) && k < 3; k++) {
            uint32_t a = c[k], b = c[(k + 1) % 3];
            uses[ends[a < b ? a : b]++] = (use){a < b ? b : a, (uint32_t)t << 1 | (a > b)};
        }
    }
    uint32_t begin = 0;
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        size_t n = ends[v] - begin;
        use *at = uses + begin;
        begin = ends[v];
        sort_uses(at, n);
        for (size_t i = 0, end; i < n; i = end) {
            for (end = i + 1; end < n && at[end].high == at[i].high; end++) {
            }
            if (end - i == 2) {
                unsigned same_way = ((at[i].triangle ^ at[i + 1].triangle) & 1) == 0;
                join(nodes, at[i].triangle >> 1, at[i + 1].triangle >> 1, same_way);
            }
        }
    }
}

po_status po_flips_find(const po_mesh *mesh, uint64_t *ret_pieces, uint64_t *ret_flipped, po_err *err)
{
    uint32_t *ends = calloc(mesh->n_vertices + 1, sizeof *ends);
    use *uses = malloc((3 * mesh->n_triangles + 1) * sizeof *uses);
    node *nodes = malloc((mesh->n_triangles + 1) * sizeof *nodes);
    po_status s = PO_OK;
    if (!ends || !uses || !nodes) {
        s = po_fail(err, PO_E_NOMEM, "no memory for the neighbours of %zu triangles", mesh->n_triangles);
    } else {
        find(mesh, ends, uses, nodes);
        uint64_t pieces = 0, flipped = 0;
        for (size_t t = 0; t < mesh->n_triangles; t++) {
            const node *n = &nodes[t];
            if (n->parent == t && !flat(mesh->corners + 3 * t)) {
                uint32_t other = n->size - n->size_odd, least = n->size_odd < other ? n->size_odd : other;
                pieces++;
                flipped += least == 0 && n->twisted ? 1 : least;
            }
        }
        *ret_pieces = pieces;
        *ret_flipped = flipped;
    }
    free(ends);
    free(uses);
    free(nodes);
    return s;
}
