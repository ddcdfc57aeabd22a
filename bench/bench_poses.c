/* How fast ways up are compared. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bench_poses [TRIANGLES] [curved | flat] [OUT.f64]
 * curved: a ring of about so many triangles, all normals different; flat: boxes, as an ordinary part is drawn. Times
 * po_pose_score over 2,000 poses, one call from mesh to scores, median of 5, and the area that overhangs the bed over
 * 1,000 directions done plainly (a loop in C). OUT.f64: unit normals and areas, four doubles a triangle, for
 * outside/poses.py, which holds it against numpy. Prints one line of JSON. */
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "part/pose_bulk.h"
#include "part/pose_shapes.h"

enum { ROUNDS = 5, POSES = 2000, PLAIN = 1000 };

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return x < y ? -1 : x > y;
}

int main(int argc, char **argv)
{
    size_t triangles = argc > 1 ? (size_t)strtoull(argv[1], NULL, 10) : 1000000;
    bool flat = argc > 2 && strcmp(argv[2], "flat") == 0;
    soup s = {0};
    if (flat) {
        for (size_t i = 0; i < triangles / 12; i++) {
            soup_box(&s, (double)(i % 100) * 3, (double)(i / 100 % 100) * 3, (double)(i / 10000) * 3, 2, 2, 2);
        }
    } else {
        size_t m = (size_t)sqrt((double)triangles / 4) + 2, n = triangles / 2 / m + 1;
        soup_torus(&s, 100, 100, 20, 30, 10, n, m);
    }
    pose_mesh mesh = mesh_of(&s);
    size_t n = mesh.mesh.n_triangles;
    double *four = malloc(n * 4 * sizeof *four);
    double(*up)[3] = malloc(POSES * sizeof *up);
    po_pose *poses = malloc(POSES * sizeof *poses);
    if (!four || !up || !poses) {
        return 1;
    }
    for (size_t t = 0; t < n; t++) {
        const double *p[3];
        double e[3], f[3], *to = four + 4 * t;
        for (size_t k = 0; k < 3; k++) {
            p[k] = mesh.xyz + 3 * (size_t)mesh.corners[3 * t + k];
        }
        for (int k = 0; k < 3; k++) {
            e[k] = p[1][k] - p[0][k];
            f[k] = p[2][k] - p[0][k];
        }
        to[0] = e[1] * f[2] - e[2] * f[1];
        to[1] = e[2] * f[0] - e[0] * f[2];
        to[2] = e[0] * f[1] - e[1] * f[0];
        double length = sqrt(to[0] * to[0] + to[1] * to[1] + to[2] * to[2]);
        for (int k = 0; k < 3; k++) {
            to[k] = length > 0 ? to[k] / length : 0;
        }
        to[3] = length / 2;
    }
    if (argc > 3) {
        FILE *file = fopen(argv[3], "wb");
        if (!file || fwrite(four, 4 * sizeof *four, n, file) != n || fclose(file) != 0) {
            perror(argv[3]);
            return 1;
        }
    }
    po_pose_spread(POSES, up);
    double seconds[ROUNDS];
    for (int r = 0; r < ROUNDS; r++) {
        po_err err;
        double begun = now();
        if (po_pose_score(&mesh.mesh, (const double(*)[3])up, POSES, &POSE_SETUP, 0, NULL, poses, &err) != PO_OK) {
            fprintf(stderr, "%s\n", err.msg);
            return 1;
        }
        seconds[r] = now() - begun;
    }
    qsort(seconds, ROUNDS, sizeof *seconds, by_value);
    double begun = now(), bound = -sin((45 + PO_POSE_SLACK_DEG) / 57.295779513082321), worst = 0;
    for (int i = 0; i < PLAIN; i += 20) { /* a twentieth of them, which takes long enough */
        const double *u = up[2 * i];
        double area = 0;
        for (size_t t = 0; t < n; t++) {
            const double *q = four + 4 * t;
            area += q[0] * u[0] + q[1] * u[1] + q[2] * u[2] < bound ? q[3] : 0;
        }
        /* ours leaves out what stands on the bed */
        double ours = poses[2 * i].overhang_mm2;
        worst = fmax(worst, ours > area ? (ours - area) / area : 0);
    }
    double plain = (now() - begun) * 20;
    printf("{\"bench\": \"poses\", \"kind\": \"%s\", \"triangles\": %zu, \"poses\": %d, \"seconds\": %.4f, \"best_s\": "
           "%.4f, "
           "\"plain_directions\": %d, \"plain_s\": %.4f, \"area_error\": %.2g}\n",
           flat ? "flat" : "curved", n, POSES, seconds[ROUNDS / 2], seconds[0], PLAIN, plain, worst);
    free(four);
    free(up);
    free(poses);
    mesh_done(&mesh);
    return 0;
}
