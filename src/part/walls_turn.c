/* Which shells of a mesh are inside out. SPDX-License-Identifier: Apache-2.0
 *
 * Shells are found by joining the corners of every triangle (union-find with path halving: R. Tarjan, J. van Leeuwen,
 * Journal of the ACM 31, 1984). Volumes are sums of signed tetrahedra. Whether a shell lies inside others is asked of one
 * ray from its outermost corner in an odd direction, which cannot meet the shell itself: an odd number of triangles of
 * other shells means inside (M. Shimrat, "Algorithm 112: position of point relative to polygon", Communications of the
 * ACM 5, 1962, in space). */
#include "base/sets.h"
#include "part/walls_inside.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_HITS = 4096, BLOCKS = 64, MOST_APART = 16 };

/* No edge of a part runs like this. */
static const double ODD_WAY[3] = {0.3713906763541037, 0.5570860145311556, 0.7427813527082074};
/* A volume is negative only beyond this share of area^1.5: open sheets and flat patches have a volume by rounding. */
static const double LEAST_VOLUME = 1e-9;

typedef struct shell {
    double volume6, area;
    double outermost; /* along ODD_WAY */
    uint32_t vertex;  /* that lies there */
    bool turn;
} shell;

/* Numbers the shells in place of the roots: parent[v] becomes the shell of v. Returns their number. */
static uint32_t number_shells(uint32_t *parent, size_t n_vertices)
{
    uint32_t n = 0;
    for (size_t v = 0; v < n_vertices; v++) { /* the root has the least number of its shell, so it comes first */
        parent[v] = parent[v] == v ? n++ : parent[parent[v]];
    }
    return n;
}

typedef struct summing {
    const po_mesh *mesh;
    const uint32_t *shell_of;
    shell *shells;
    uint32_t n_shells;
    double (*sums)[MOST_APART][2]; /* of each block: six volumes and area of each shell; NULL: there are too many */
} summing;

static void find_outermost(const po_mesh *mesh, const uint32_t *shell_of, shell *shells)
{
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        const double *p = mesh->xyz + 3 * v;
        shell *s = shells + shell_of[v];
        double along = p[0] * ODD_WAY[0] + p[1] * ODD_WAY[1] + p[2] * ODD_WAY[2];
        if (along > s->outermost) {
            s->outermost = along;
            s->vertex = (uint32_t)v;
        }
    }
}

static void sum_block(size_t block, void *user)
{
    summing *sum = user;
    const po_mesh *mesh = sum->mesh;
    size_t n = mesh->n_triangles, from = n / BLOCKS * block, to = block + 1 < BLOCKS ? from + n / BLOCKS : n;
    for (size_t t = from; t < to; t++) {
        const uint32_t *c = mesh->corners + 3 * t, i = sum->shell_of[c[0]];
        const double *o = mesh->xyz + 3 * (size_t)sum->shells[i].vertex;
        double e[3][3];
        for (size_t k = 0; k < 3; k++) {
            for (size_t j = 0; j < 3; j++) {
                e[k][j] = mesh->xyz[3 * (size_t)c[k] + j] - o[j];
            }
        }
        double volume6 = e[0][0] * (e[1][1] * e[2][2] - e[1][2] * e[2][1]) +
                         e[0][1] * (e[1][2] * e[2][0] - e[1][0] * e[2][2]) +
                         e[0][2] * (e[1][0] * e[2][1] - e[1][1] * e[2][0]);
        double corners[3][3], normal[3];
        po_triangle_corners(mesh, (uint32_t)t, corners);
        double area = po_triangle_normal((const double(*)[3])corners, normal);
        double *volume_sum = sum->sums ? &sum->sums[block][i][0] : &sum->shells[i].volume6;
        double *area_sum = sum->sums ? &sum->sums[block][i][1] : &sum->shells[i].area;
        *volume_sum += volume6;
        *area_sum += area;
    }
}

/* Few shells are summed side by side, blocks added up in their order; many one after the other. */
static void measure_shells(summing *sum, po_pool *pool)
{
    find_outermost(sum->mesh, sum->shell_of, sum->shells);
    sum->sums = sum->n_shells <= MOST_APART ? calloc(BLOCKS, sizeof *sum->sums) : NULL;
    if (!sum->sums) {
        for (size_t b = 0; b < BLOCKS; b++) {
            sum_block(b, sum);
        }
        return;
    }
    po_pool_each(pool, BLOCKS, sum_block, sum);
    for (size_t b = 0; b < BLOCKS; b++) {
        for (uint32_t i = 0; i < sum->n_shells; i++) {
            sum->shells[i].volume6 += sum->sums[b][i][0];
            sum->shells[i].area += sum->sums[b][i][1];
        }
    }
    free(sum->sums);
}

static bool is_inside_others(const po_mesh *mesh, const po_rays *rays, const uint32_t *shell_of, const shell *s,
                             uint32_t *hits)
{
    size_t n = po_rays_all(rays, mesh->xyz + 3 * (size_t)s->vertex, ODD_WAY, 0, INFINITY, hits, MOST_HITS), others = 0;
    for (size_t i = 0; i < n && i < MOST_HITS; i++) {
        others += shell_of[mesh->corners[3 * (size_t)hits[i]]] != shell_of[s->vertex];
    }
    return others % 2 == 1;
}

po_status po_walls_find_turned(const po_mesh *mesh, const po_rays *rays, po_pool *pool, uint8_t *ret_turned,
                               bool *ret_any, po_err *err)
{
    uint32_t *shell_of = malloc((mesh->n_vertices + 1) * sizeof *shell_of);
    uint32_t *hits = malloc(MOST_HITS * sizeof *hits);
    shell *shells = NULL;
    uint32_t n = 0;
    if (shell_of) {
        for (size_t v = 0; v < mesh->n_vertices; v++) {
            shell_of[v] = (uint32_t)v;
        }
        for (size_t t = 0; t < mesh->n_triangles; t++) {
            const uint32_t *c = mesh->corners + 3 * t;
            po_set_join(shell_of, c[0], c[1]);
            po_set_join(shell_of, c[0], c[2]);
        }
        n = number_shells(shell_of, mesh->n_vertices);
        shells = calloc((size_t)n + 1, sizeof *shells);
    }
    if (!shells || !hits) {
        free(shell_of);
        free(hits);
        free(shells);
        return po_fail(err, PO_E_NOMEM, "no memory for the shells of %zu triangles", mesh->n_triangles);
    }
    double whole = 0;
    for (uint32_t i = 0; i < n; i++) {
        shells[i].outermost = -INFINITY;
    }
    measure_shells(&(summing){.mesh = mesh, .shell_of = shell_of, .shells = shells, .n_shells = n}, pool);
    for (uint32_t i = 0; i < n; i++) {
        whole += shells[i].volume6;
    }
    bool any = false, all = whole < 0;
    for (uint32_t i = 0; i < n; i++) {
        shell *s = shells + i;
        double volume = (all ? -s->volume6 : s->volume6) / 6;
        bool lone = volume < -LEAST_VOLUME * s->area * sqrt(s->area) &&
                    !is_inside_others(mesh, rays, shell_of, s, hits);
        s->turn = lone != all;
        any |= s->turn;
    }
    if (any) {
        for (size_t t = 0; t < mesh->n_triangles; t++) {
            ret_turned[t] = shells[shell_of[mesh->corners[3 * t]]].turn;
        }
    }
    *ret_any = any;
    free(shell_of);
    free(hits);
    free(shells);
    return PO_OK;
}
