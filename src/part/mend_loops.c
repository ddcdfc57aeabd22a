/* Loops of open edges. SPDX-License-Identifier: Apache-2.0
 *
 * From each vertex leave as many open edges (run backwards) as it has; a walk takes any that is left and, where it comes
 * to a vertex that it has passed, what lies between is a loop of its own and is taken out: so no loop meets itself. A walk
 * that gets stuck drops its last edge. Normal and area: the sum of cross products (M. Newell; I. Sutherland et al., "A
 * characterization of ten hidden-surface algorithms", 1974). */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/mend_loops.h"

static void measure(const po_mending *m, const uint32_t *vertices, po_loop *l)
{
    const uint32_t *v = vertices + l->begin;
    const double *o = m->xyz + 3 * (size_t)v[0];
    double sum[3] = {0}, low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    for (size_t i = 0; i < l->n; i++) {
        const double *a = m->xyz + 3 * (size_t)v[i], *b = m->xyz + 3 * (size_t)v[(i + 1) % l->n];
        double p[3], q[3];
        for (int k = 0; k < 3; k++) {
            p[k] = a[k] - o[k];
            q[k] = b[k] - o[k];
            l->centre[k] += p[k] / (double)l->n;
            low[k] = fmin(low[k], a[k]);
            high[k] = fmax(high[k], a[k]);
        }
        for (int k = 0; k < 3; k++) {
            sum[k] += p[(k + 1) % 3] * q[(k + 2) % 3] - p[(k + 2) % 3] * q[(k + 1) % 3];
        }
    }
    double length = sqrt(sum[0] * sum[0] + sum[1] * sum[1] + sum[2] * sum[2]);
    l->area = length / 2;
    l->extent = sqrt((high[0] - low[0]) * (high[0] - low[0]) + (high[1] - low[1]) * (high[1] - low[1]) +
                     (high[2] - low[2]) * (high[2] - low[2]));
    for (int k = 0; k < 3; k++) {
        l->centre[k] += o[k];
        l->normal[k] = length > 0 ? sum[k] / length : k == 2;
    }
    for (size_t i = 0; i < l->n; i++) {
        double off = 0;
        for (int k = 0; k < 3; k++) {
            off += (m->xyz[3 * (size_t)v[i] + (size_t)k] - l->centre[k]) * l->normal[k];
        }
        l->off = fmax(l->off, fabs(off));
    }
}

typedef struct way {
    uint32_t from, to;
} way;

static int by_from(const void *a, const void *b)
{
    const way *x = a, *y = b;
    return x->from != y->from ? (x->from > y->from) - (x->from < y->from) : (x->to > y->to) - (x->to < y->to);
}

static size_t first_from(const way *ways, size_t n, uint32_t from)
{
    size_t low = 0, high = n;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (ways[mid].from < from) {
            low = mid + 1;
        } else {
            high = mid;
        }
    }
    return low;
}

po_status po_loops_of_holes(const po_mending *m, const po_edges *edges, po_loop_list *ret, uint64_t *ret_loose,
                            po_err *err)
{
    size_t n = 0, n_path = 0, n_kept = 0;
    *ret = (po_loop_list){0};
    *ret_loose = 0;
    way *ways = NULL;
    for (int round = 0; round < 2; round++) { /* count, then take */
        n = 0;
        for (size_t v = 0; v < m->n_vertices; v++) {
            uint32_t begin = v ? edges->ends[v - 1] : 0, end = edges->ends[v];
            for (uint32_t i = begin; i < end; i++) {
                const po_edge_use *use = &edges->uses[i];
                if ((i > begin && use[-1].high == use->high) || (i + 1 < end && use[1].high == use->high)) {
                    continue;
                }
                if (ways) {
                    ways[n] = (way){po_half_to(m, use->half), po_half_from(m, use->half)};
                }
                n++;
            }
        }
        ways = ways ? ways : malloc((n + 1) * sizeof *ways);
        if (!ways) {
            break;
        }
    }
    unsigned char *used = calloc(n + 1, 1);
    uint32_t *path = malloc((n + 2) * sizeof *path), *place = calloc(m->n_vertices + 1, sizeof *place);
    ret->vertices = malloc((n + 1) * sizeof *ret->vertices);
    ret->loops = calloc(n / 3 + 1, sizeof *ret->loops);
    po_status s = PO_OK;
    if (!ways || !used || !path || !place || !ret->vertices || !ret->loops) {
        po_loop_list_done(ret);
        s = po_fail(err, PO_E_NOMEM, "no memory for the holes of %zu triangles", m->n_triangles);
        goto done;
    }
    qsort(ways, n, sizeof *ways, by_from);
    for (size_t first = 0; first < n; first++) {
        if (used[first]) {
            continue;
        }
        path[n_path++] = ways[first].from;
        place[ways[first].from] = 1;
        while (n_path > 0) {
            uint32_t v = path[n_path - 1];
            size_t i = first_from(ways, n, v);
            while (i < n && ways[i].from == v && used[i]) {
                i++;
            }
            if (i == n || ways[i].from != v) { /* stuck: nothing, or the edge that led here closes no loop */
                place[v] = 0;
                n_path--;
                *ret_loose += n_path > 0;
                continue;
            }
            used[i] = 1;
            uint32_t next = ways[i].to;
            if (!place[next]) {
                path[n_path++] = next;
                place[next] = (uint32_t)n_path;
                continue;
            }
            size_t from = place[next] - 1;
            po_loop *loop = &ret->loops[ret->n];
            *loop = (po_loop){.begin = n_kept, .n = n_path - from};
            for (size_t k = from; k < n_path; k++) {
                ret->vertices[n_kept++] = path[k];
                if (k > from) {
                    place[path[k]] = 0;
                }
            }
            n_path = from + 1;
            if (loop->n < 3) { /* two edges back and forth: nothing to fill */
                n_kept -= loop->n;
                *ret_loose += loop->n;
                continue;
            }
            measure(m, ret->vertices, loop);
            ret->n++;
        }
    }
done:
    free(ways);
    free(used);
    free(path);
    free(place);
    return s;
}

void po_loop_list_done(po_loop_list *list)
{
    free(list->loops);
    free(list->vertices);
    *list = (po_loop_list){0};
}

typedef struct sized {
    double area;
    uint32_t number;
} sized;

static int by_area(const void *a, const void *b)
{
    const sized *x = a, *y = b;
    return x->area != y->area ? (x->area < y->area) - (x->area > y->area)
                              : (x->number > y->number) - (x->number < y->number);
}

void po_loops_by_area(const po_loop_list *list, uint32_t *ret)
{
    sized *all = malloc((list->n + 1) * sizeof *all);
    for (uint32_t i = 0; i < list->n; i++) {
        ret[i] = i;
        if (all) {
            all[i] = (sized){list->loops[i].area, i};
        }
    }
    if (all) { /* without memory: in their order, which only finds fewer bores */
        qsort(all, list->n, sizeof *all, by_area);
        for (size_t i = 0; i < list->n; i++) {
            ret[i] = all[i].number;
        }
    }
    free(all);
}

void po_loop_axes(const double normal[3], double u[3], double w[3])
{
    int least = fabs(normal[0]) < fabs(normal[1]) ? 0 : 1;
    least = fabs(normal[2]) < fabs(normal[least]) ? 2 : least;
    double axis[3] = {0}, length = 0;
    axis[least] = 1;
    for (int k = 0; k < 3; k++) { /* axis x normal */
        u[k] = axis[(k + 1) % 3] * normal[(k + 2) % 3] - axis[(k + 2) % 3] * normal[(k + 1) % 3];
        length += u[k] * u[k];
    }
    for (int k = 0; k < 3; k++) {
        u[k] /= sqrt(length);
    }
    for (int k = 0; k < 3; k++) {
        w[k] = normal[(k + 1) % 3] * u[(k + 2) % 3] - normal[(k + 2) % 3] * u[(k + 1) % 3];
    }
}

bool po_loop_holds(const po_loop_list *list, const po_loop *loop, const double *xyz, const double *point)
{
    double u[3], w[3];
    po_loop_axes(loop->normal, u, w);
    bool inside = false;
    double px = 0, py = 0, qx = 0, qy = 0;
    for (size_t i = 0; i <= loop->n; i++) {
        const double *v = xyz + 3 * (size_t)list->vertices[loop->begin + i % loop->n];
        px = qx;
        py = qy;
        qx = qy = 0;
        for (int k = 0; k < 3; k++) {
            qx += (v[k] - point[k]) * u[k];
            qy += (v[k] - point[k]) * w[k];
        }
        if (i > 0 && (py > 0) != (qy > 0) && px - py * (qx - px) / (qy - py) > 0) {
            inside = !inside;
        }
    }
    return inside;
}
