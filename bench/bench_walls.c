/* How fast a million rays find the walls of a mesh. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bench_walls [TRIANGLES]
 * Makes a ring of about so many triangles, in the order in which it is made and with all triangles shuffled, and times,
 * taking turns, median of 5, on as many threads as there are cores:
 *   walls      po_mesh_walls with a million rays (tree, points, rays inwards and outwards, and all the rest)
 *   yardstick  Embree by itself: its own tree as it comes, and one rtcIntersect1 inwards from the middle of each of a
 *              million triangles in the order of the mesh
 * Prints one line of JSON: seconds, and how often the yardstick on the mesh in order goes into ours. */
#include <embree3/rtcore.h>
#include <pthread.h>
#include <sched.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>

#include "part/walls_shapes.h"
#include "part/weld.h"
#include "proveout/solid.h"

enum { ROUNDS = 5, RAYS = 1000000, MOST_THREADS = 64 };

typedef struct share { /* of the yardstick's rays */
    RTCScene scene;
    const po_mesh *mesh;
    const float *points;
    size_t from, to;
    double sum;
} share;

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void *follow(void *arg)
{
    share *s = arg;
    struct RTCIntersectContext context;
    rtcInitIntersectContext(&context);
    for (size_t i = s->from; i < s->to; i++) {
        const uint32_t *c = s->mesh->corners + 3 * (i % s->mesh->n_triangles);
        const float *p = s->points + 3 * c[0], *q = s->points + 3 * c[1], *r = s->points + 3 * c[2];
        float u[3], v[3], n[3];
        for (int k = 0; k < 3; k++) {
            u[k] = q[k] - p[k];
            v[k] = r[k] - p[k];
        }
        n[0] = u[1] * v[2] - u[2] * v[1];
        n[1] = u[2] * v[0] - u[0] * v[2];
        n[2] = u[0] * v[1] - u[1] * v[0];
        float length = sqrtf(n[0] * n[0] + n[1] * n[1] + n[2] * n[2]);
        struct RTCRayHit hit = {.ray = {.org_x = (p[0] + q[0] + r[0]) / 3,
                                        .org_y = (p[1] + q[1] + r[1]) / 3,
                                        .org_z = (p[2] + q[2] + r[2]) / 3,
                                        .dir_x = -n[0] / length,
                                        .dir_y = -n[1] / length,
                                        .dir_z = -n[2] / length,
                                        .tnear = 1e-3f,
                                        .tfar = INFINITY,
                                        .mask = UINT32_MAX},
                                .hit = {.geomID = RTC_INVALID_GEOMETRY_ID}};
        rtcIntersect1(s->scene, &context, &hit);
        s->sum += hit.hit.geomID != RTC_INVALID_GEOMETRY_ID ? (double)hit.ray.tfar : 0;
    }
    return NULL;
}

static double yardstick(const po_mesh *mesh, const float *points, int n_threads, double *ret_build)
{
    double begun = now();
    char config[32];
    snprintf(config, sizeof config, "threads=%d", n_threads);
    RTCDevice device = rtcNewDevice(config);
    RTCGeometry geometry = rtcNewGeometry(device, RTC_GEOMETRY_TYPE_TRIANGLE);
    rtcSetSharedGeometryBuffer(geometry, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3, points, 0, 12, mesh->n_vertices);
    rtcSetSharedGeometryBuffer(geometry, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, mesh->corners, 0, 12,
                               mesh->n_triangles);
    rtcCommitGeometry(geometry);
    RTCScene scene = rtcNewScene(device);
    rtcAttachGeometry(scene, geometry);
    rtcCommitScene(scene);
    *ret_build = now() - begun;
    share shares[MOST_THREADS];
    pthread_t threads[MOST_THREADS];
    for (int i = 0; i < n_threads; i++) {
        shares[i] = (share){scene,
                            mesh,
                            points,
                            RAYS / (size_t)n_threads * (size_t)i,
                            i + 1 < n_threads ? RAYS / (size_t)n_threads * (size_t)(i + 1) : RAYS,
                            0};
        if (pthread_create(threads + i, NULL, follow, shares + i) != 0) {
            exit(1);
        }
    }
    double sum = 0;
    for (int i = 0; i < n_threads; i++) {
        pthread_join(threads[i], NULL);
        sum += shares[i].sum;
    }
    rtcReleaseGeometry(geometry);
    rtcReleaseScene(scene);
    rtcReleaseDevice(device);
    return now() - begun + (sum < 1 ? 1e9 : 0); /* the sum is wanted, or it would be left out */
}

static double ours(const po_mesh *mesh, po_wall_facts *ret)
{
    po_arena *arena = po_arena_new(0);
    po_err err;
    char text[500];
    double begun = now();
    if (po_mesh_walls(mesh, 0.45, RAYS, 1, 0, arena, ret, &err) != PO_OK) {
        fprintf(stderr, "%s\n", po_err_text(&err, text, sizeof text));
        exit(1);
    }
    double took = now() - begun;
    po_arena_free(arena);
    return took;
}

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *values)
{
    qsort(values, ROUNDS, sizeof *values, rising);
    return values[ROUNDS / 2];
}

int main(int argc, char **argv)
{
    size_t triangles = argc > 1 ? (size_t)atol(argv[1]) : 1000000;
    size_t m = (size_t)sqrt((double)triangles / 4) + 2, n = triangles / 2 / m + 1;
    cpu_set_t set;
    int n_threads = sched_getaffinity(0, sizeof set, &set) == 0 ? CPU_COUNT(&set) : 1;
    n_threads = n_threads > MOST_THREADS ? MOST_THREADS : n_threads;
    soup s = {0};
    soup_torus(&s, 100, 100, 20, 30, 10, n, m);
    po_arena *arena = po_arena_new(0);
    po_mesh meshes[2];
    float *points[2];
    for (int shuffled = 0; shuffled < 2; shuffled++) {
        if (shuffled) {
            soup_shuffle(&s, 1);
        }
        po_weld weld;
        if (!po_weld_init(&weld, arena, s.n)) {
            return 1;
        }
        for (size_t t = 0; t < s.n; t += PO_WELD_BATCH) {
            if (!po_weld_add(&weld, s.nine + 9 * t, s.n - t < PO_WELD_BATCH ? s.n - t : PO_WELD_BATCH)) {
                return 1;
            }
        }
        po_weld_done(&weld);
        meshes[shuffled] = (po_mesh){weld.xyz, weld.n_vertices, weld.corners, weld.n_triangles};
        points[shuffled] = malloc((3 * weld.n_vertices + 4) * sizeof(float));
        if (!points[shuffled]) {
            return 1;
        }
        for (size_t i = 0; i < 3 * weld.n_vertices; i++) {
            points[shuffled][i] = (float)weld.xyz[i];
        }
    }
    free(s.nine);
    double our_s[2][ROUNDS], yard_s[2][ROUNDS], build_s[2][ROUNDS];
    po_wall_facts facts[2];
    for (int i = 0; i < ROUNDS; i++) {
        for (int k = 0; k < 2; k++) {
            yard_s[k][i] = yardstick(meshes + k, points[k], n_threads, &build_s[k][i]);
            our_s[k][i] = ours(meshes + k, facts + k);
        }
    }
    if (facts[0].thinnest_wall_mm != facts[1].thinnest_wall_mm) {
        fprintf(stderr, "bench_walls: the order of the triangles changed the answer\n");
        return 1;
    }
    double yard = median(yard_s[0]), in_order = median(our_s[0]), shuffled = median(our_s[1]);
    struct rusage use;
    getrusage(RUSAGE_SELF, &use);
    printf("{\"bench\": \"walls\", \"triangles\": %zu, \"rays\": %d, \"threads\": %d, \"walls_s\": %.4f, "
           "\"walls_shuffled_s\": %.4f, \"yardstick_s\": %.4f, \"yardstick_build_s\": %.4f, "
           "\"yardstick_shuffled_s\": %.4f, \"ratio\": %.3f, \"ratio_shuffled\": %.3f, \"peak_mb\": %.0f}\n",
           meshes[0].n_triangles, RAYS, n_threads, in_order, shuffled, yard, median(build_s[0]), median(yard_s[1]),
           in_order / yard, shuffled / yard, (double)use.ru_maxrss / 1024);
    free(points[0]);
    free(points[1]);
    po_arena_free(arena);
    return 0;
}
