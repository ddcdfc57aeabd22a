/* Jobs and the parts they were made from, or were not. SPDX-License-Identifier: Apache-2.0
 *
 * Usage: against_jobs FOLDER. Writes parts as STL, and jobs by the demo's toolpath writer, which works on distances and
 * shares no code with the library. The part: a flag of three strokes with a hole, its post higher than its arms, so that
 * neither a mirror image nor a turn brings it onto itself. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "shapes.h"
#include "toolpath.h"

static const double LOW = 6, HIGH = 14;
static const double BOUND_X = 28, BOUND_Y = 34, ROOM = 4; /* of the flag and the box; room: for a skirt or a brim */

typedef struct placed { /* own coordinates = turned and scaled ones of the job */
    double scale, turn_deg, stretch;
    bool mirrored, box, filled; /* filled: without its hole */
} placed;

static double flag_at(const void *self, double x, double y, double z)
{
    const placed *p = self;
    double t = -p->turn_deg * (M_PI / 180), u = (cos(t) * x - sin(t) * y) / p->scale,
           v = (sin(t) * x + cos(t) * y) / p->scale;
    u = p->mirrored ? -u : u;
    v /= p->stretch;
    z /= p->scale;
    if (p->box) {
        return shape_box(u, v, 14, 17, 14, 17, 0) * p->scale;
    }
    double d = shape_box(u, v, 4, 17, 4, 17, 0);
    if (z < LOW) {
        d = fmin(d, fmin(shape_box(u, v, 10, 15, 10, 3, 0), shape_box(u, v, 14, 30, 14, 4, 0)));
    }
    return (p->filled ? d : fmax(d, -shape_disc(u, v, 4, 5, 2))) * p->scale;
}

static void write_job(const char *folder, const char *name, const placed *p, int copies, double height, int brim)
{
    char path[4096];
    dialect d = DIALECT_INIT;
    style st = STYLE_INIT;
    job j = JOB_INIT;
    body bodies[2];
    j.words = &d;
    j.bodies = bodies;
    j.n_bodies = copies;
    j.brim_loops = brim;
    /* its bounds as placed: the writer samples all that lies within them */
    double low[2] = {0, 0}, high[2] = {0, 0}, turn = p->turn_deg * (M_PI / 180);
    for (int i = 0; i < 4; i++) {
        double u = (i & 1 ? (p->mirrored ? -BOUND_X : BOUND_X) : 0), v = i & 2 ? BOUND_Y * p->stretch : 0,
               at[2] = {p->scale * (cos(turn) * u - sin(turn) * v), p->scale * (sin(turn) * u + cos(turn) * v)};
        for (int k = 0; k < 2; k++) {
            low[k] = fmin(low[k], at[k]);
            high[k] = fmax(high[k], at[k]);
        }
    }
    for (int i = 0; i < copies; i++) {
        bodies[i] = (body){.solid = flag_at,
                           .self = p,
                           .x = 80 + 80.0 * i,
                           .y = 100,
                           .x0 = low[0] - ROOM,
                           .y0 = low[1] - ROOM,
                           .x1 = high[0] + ROOM,
                           .y1 = high[1] + ROOM,
                           .height = height * p->scale,
                           .style = &st};
    }
    snprintf(path, sizeof path, "%s/%s.gcode", folder, name);
    if (!job_save(&j, path)) {
        exit(1);
    }
}

/* ---- the part as triangles ---- */

typedef struct mesh_file {
    FILE *file;
    unsigned long n;
    bool on_its_side;
} mesh_file;

static void corner(mesh_file *m, double x, double y, double z)
{
    float f[3] = {(float)x, (float)(m->on_its_side ? -z : y), (float)(m->on_its_side ? y : z)};
    fwrite(f, sizeof *f, 3, m->file);
}

static void triangle(mesh_file *m, const double *a, double az, const double *b, double bz, const double *c, double cz)
{
    static const unsigned char zeros[12];
    fwrite(zeros, 1, 12, m->file);
    corner(m, a[0], a[1], az);
    corner(m, b[0], b[1], bz);
    corner(m, c[0], c[1], cz);
    fwrite(zeros, 1, 2, m->file);
    m->n++;
}

/* A box with sharp corners, [x0, x1] x [y0, y1] x [z0, z1]. */
static void box(mesh_file *m, double x0, double x1, double y0, double y1, double z0, double z1)
{
    double p[4][2] = {{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}};
    for (int i = 0; i < 4; i++) {
        int k = (i + 1) % 4;
        triangle(m, p[i], z0, p[k], z0, p[k], z1);
        triangle(m, p[i], z0, p[k], z1, p[i], z1);
    }
    triangle(m, p[0], z1, p[1], z1, p[2], z1);
    triangle(m, p[0], z1, p[2], z1, p[3], z1);
    triangle(m, p[0], z0, p[2], z0, p[1], z0);
    triangle(m, p[0], z0, p[3], z0, p[2], z0);
}

/* The post's lower end with its hole: a ring of quads between the square's edge and the circle. */
static void holed(mesh_file *m, double z0, double z1)
{
    enum { N = 48 };
    double in[N][2], out[N][2];
    for (int i = 0; i < N; i++) {
        double a = 2 * M_PI * i / N, c = cos(a), s = sin(a), t = 4 / fmax(fabs(c), fabs(s));
        in[i][0] = 4 + 2 * c;
        in[i][1] = 5 + 2 * s;
        out[i][0] = 4 + t * c;
        out[i][1] = 4 + t * s + 1;
    }
    for (int i = 0; i < N; i++) {
        int k = (i + 1) % N;
        triangle(m, out[i], z0, out[k], z0, out[k], z1);
        triangle(m, out[i], z0, out[k], z1, out[i], z1);
        triangle(m, in[k], z0, in[i], z0, in[i], z1);
        triangle(m, in[k], z0, in[i], z1, in[k], z1);
        triangle(m, in[i], z1, out[i], z1, out[k], z1);
        triangle(m, in[i], z1, out[k], z1, in[k], z1);
        triangle(m, in[i], z0, out[k], z0, out[i], z0);
        triangle(m, in[i], z0, in[k], z0, out[k], z0);
    }
}

static void write_part(const char *folder, const char *name, bool on_its_side, double shift)
{
    char path[4096];
    unsigned char head[84] = {0};
    snprintf(path, sizeof path, "%s/%s.stl", folder, name);
    mesh_file m = {.file = fopen(path, "wb"), .on_its_side = on_its_side};
    if (!m.file) {
        perror(path);
        exit(1);
    }
    fwrite(head, 1, sizeof head, m.file);
    box(&m, 0, 8, 0, 1, shift, HIGH + shift); /* bodies that touch: as drawings often have them */
    holed(&m, shift, HIGH + shift);
    box(&m, 0, 8, 9, 34, shift, HIGH + shift);
    box(&m, 8, 20, 12, 18, shift, LOW + shift);
    box(&m, 8, 28, 26, 34, shift, LOW + shift);
    for (int i = 0; i < 4; i++) {
        head[80 + i] = (unsigned char)(m.n >> 8 * i);
    }
    if (fseek(m.file, 0, SEEK_SET) != 0 || fwrite(head, 1, sizeof head, m.file) != sizeof head || fclose(m.file) != 0) {
        perror(path);
        exit(1);
    }
}

int main(int argc, char **argv)
{
    if (argc != 2) {
        fprintf(stderr, "usage: against_jobs FOLDER\n");
        return 4;
    }
    const char *to = argv[1];
    write_part(to, "flag", false, 0);
    write_part(to, "flag-lying", true, 30);
    const placed plain = {1, 0, 1, false, false, false}, turned = {1, 33, 1, false, false, false},
                 mirror = {1, -20, 1, true, false, false}, small = {0.9, 90, 1, false, false, false},
                 little = {0.97, 10, 1, false, false, false}, wide = {1, 0, 1.15, false, false, false},
                 other = {1, 0, 1, false, true, false}, filled = {1, 0, 1, false, false, true};
    write_job(to, "plain", &plain, 1, HIGH, 0);
    write_job(to, "turned", &turned, 1, HIGH, 6);
    write_job(to, "twice", &turned, 2, HIGH, 0);
    write_job(to, "mirror", &mirror, 1, HIGH, 0);
    write_job(to, "small", &small, 1, HIGH, 0);
    write_job(to, "little", &little, 1, HIGH, 0);
    write_job(to, "wide", &wide, 1, HIGH, 0);
    write_job(to, "other", &other, 1, HIGH, 0);
    write_job(to, "filled", &filled, 1, HIGH, 0);
    write_job(to, "cut", &turned, 1, 9, 0);
    return 0;
}
