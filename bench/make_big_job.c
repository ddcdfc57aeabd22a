/* Writes a large, honest job file of about a given size. SPDX-License-Identifier: Apache-2.0
 *
 * What it is for: `make bench` and tests that need 50, 200 or 1000 MB. Several curved, twisted bodies stand on the bed of
 * the shop's small machine (245 x 205 mm): three walls of short straight moves, 20 % line fill that turns by 90 degrees
 * from layer to layer, four solid floors and roofs, a travel with retraction between the pieces of work. The same size and
 * seed give the same bytes.
 *
 * Method: a body is r(t, z) = R (1 + sum a_k cos(k t + p_k + q_k z)); a wall is that outline moved along its inward normal.
 * Fill lines are cut by the scan-line rule: every edge of the outline puts its crossings into the lines that it spans.
 * Bead area by the stadium formula, A = w h - h^2 (1 - pi/4). Layer height and step along the outline are chosen by
 * writing one layer to nowhere and counting its bytes. */
#include <errno.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    MOST_POINTS = 1 << 14,
    MOST_LINES = 512,
    MOST_CROSSINGS = 64,
    N_WAVES = 4,
    MOST_BODIES = 20,
    OUT_BYTES = 1 << 22
};

static const double BEAD_WIDTH = 0.44, FILAMENT_MM2 = 2.405281875, TALLEST_MM = 226.0, FIRST_HEIGHT = 0.25;

typedef struct xy {
    double x, y;
} xy;

typedef struct body {
    double x, y, radius, step_share;
    int wave[N_WAVES];
    double size[N_WAVES], phase[N_WAVES], turn[N_WAVES];
    double belly, belly_phase; /* the radius swells and shrinks with height */
} body;

typedef struct writer {
    FILE *file; /* NULL: count only */
    char *buf;
    size_t n;
    uint64_t n_bytes;
    long x, y; /* micrometres, last written position */
    long feed; /* mm/min, last written */
    bool failed;
} writer;

typedef struct plan {
    body bodies[MOST_BODIES];
    int n_bodies;
    double layer, step;
    int n_layers;
} plan;

/* Small fast generator: splitmix64 (Steele, Lea, Flood, "Fast splittable pseudorandom number generators", 2014). */
static double random_unit(uint64_t *state)
{
    uint64_t z = (*state += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}

static void flush(writer *w)
{
    if (w->file && w->n && fwrite(w->buf, 1, w->n, w->file) != w->n) {
        w->failed = true;
    }
    w->n_bytes += w->n;
    w->n = 0;
}

static inline void room(writer *w)
{
    if (w->n > OUT_BYTES - 256) {
        flush(w);
    }
}

static void say(writer *w, const char *text)
{
    size_t n = strlen(text);
    room(w);
    memcpy(w->buf + w->n, text, n);
    w->n += n;
}

/* value / 10^decimals in decimal, exact; decimals 3 or 5. */
static inline char *put_fixed(char *p, long value, int decimals)
{
    unsigned long v = value < 0 ? (unsigned long)-value : (unsigned long)value;
    char digits[24];
    int n = 0;
    if (value < 0) {
        *p++ = '-';
    }
    while (v || n <= decimals) {
        digits[n++] = (char)('0' + v % 10);
        v /= 10;
        if (n == decimals) {
            digits[n++] = '.';
        }
    }
    while (n > 0) {
        *p++ = digits[--n];
    }
    return p;
}

static inline long micro(double mm)
{
    return (long)(mm * 1000.0 + (mm < 0 ? -0.5 : 0.5));
}

static inline char *put_feed(writer *w, char *p, long feed)
{
    if (feed != w->feed) {
        w->feed = feed;
        memcpy(p, " F", 2);
        p += 2;
        p += sprintf(p, "%ld", feed);
    }
    return p;
}

static inline void bead_to(writer *w, xy to, double e_per_mm, long feed)
{
    long x = micro(to.x), y = micro(to.y);
    double dx = (double)(x - w->x), dy = (double)(y - w->y);
    long e = (long)(sqrt(dx * dx + dy * dy) * 1e-3 * e_per_mm * 1e5 + 0.5);
    if (e <= 0) {
        return;
    }
    room(w);
    char *p = w->buf + w->n;
    memcpy(p, "G1 X", 4);
    p = put_fixed(p + 4, x, 3);
    memcpy(p, " Y", 2);
    p = put_fixed(p + 2, y, 3);
    memcpy(p, " E", 2);
    p = put_fixed(p + 2, e, 5);
    p = put_feed(w, p, feed);
    *p++ = '\n';
    w->n = (size_t)(p - w->buf);
    w->x = x;
    w->y = y;
}

static void travel_to(writer *w, xy to, long feed)
{
    long x = micro(to.x), y = micro(to.y);
    double d = hypot((double)(x - w->x), (double)(y - w->y)) * 1e-3;
    bool retract = d > 2.5;
    if (d < 0.001) {
        return;
    }
    room(w);
    if (retract) {
        w->n += (size_t)sprintf(w->buf + w->n, "G1 E-0.9 F2100\n");
        w->feed = 2100;
    }
    char *p = w->buf + w->n;
    memcpy(p, "G0 X", 4);
    p = put_fixed(p + 4, x, 3);
    memcpy(p, " Y", 2);
    p = put_fixed(p + 2, y, 3);
    p = put_feed(w, p, feed);
    *p++ = '\n';
    w->n = (size_t)(p - w->buf);
    if (retract) {
        w->n += (size_t)sprintf(w->buf + w->n, "G1 E0.9 F2100\n");
        w->feed = 2100;
    }
    w->x = x;
    w->y = y;
}

static double e_per_mm(double width, double height)
{
    return (width * height - height * height * (1 - M_PI / 4)) / FILAMENT_MM2;
}

static void make_bodies(plan *pl, uint64_t seed)
{
    static const int columns = 4, rows = 3;
    pl->n_bodies = columns * rows;
    for (int i = 0; i < pl->n_bodies; i++) {
        body *b = &pl->bodies[i];
        memset(b, 0, sizeof *b);
        b->x = 36 + 57.5 * (i % columns);
        b->y = 36 + 64 * (i / columns);
        b->radius = 15 + 3 * random_unit(&seed);
        b->step_share = 0.5 + random_unit(&seed); /* some bodies come in fine steps, some in coarse ones */
        for (int k = 0; k < N_WAVES; k++) {
            b->wave[k] = 2 + k + (int)(3 * random_unit(&seed));
            b->size[k] = (0.02 + 0.04 * random_unit(&seed)) * 3.0 / b->wave[k];
            b->phase[k] = 2 * M_PI * random_unit(&seed);
            b->turn[k] = (random_unit(&seed) - 0.5) * 0.06; /* rad per mm: leans stay below 30 degrees */
        }
        b->belly = 0.05 + 0.07 * random_unit(&seed);
        b->belly_phase = 2 * M_PI * random_unit(&seed);
    }
}

/* Outline points and their inward normals at height z; returns the number. */
static int outline(const body *b, double z, double step, xy *at, xy *inward)
{
    double step_here = step * b->step_share;
    int n = (int)(2 * M_PI * b->radius * 1.15 / step_here);
    double c[N_WAVES], s[N_WAVES], dc[N_WAVES], ds[N_WAVES];
    double radius = b->radius * (1 + b->belly * sin(z * 0.05 + b->belly_phase));
    n = n < 24 ? 24 : n > MOST_POINTS - 1 ? MOST_POINTS - 1 : n;
    double dt = 2 * M_PI / n, ct = 1, st = 0, cdt = cos(dt), sdt = sin(dt);
    for (int k = 0; k < N_WAVES; k++) {
        double a = b->phase[k] + b->turn[k] * z;
        c[k] = cos(a);
        s[k] = sin(a);
        dc[k] = cos(b->wave[k] * dt);
        ds[k] = sin(b->wave[k] * dt);
    }
    for (int i = 0; i < n; i++) {
        double r = 1, r1 = 0; /* r and dr/dt, turned on from point to point by the angle sum formulas */
        for (int k = 0; k < N_WAVES; k++) {
            r += b->size[k] * c[k];
            r1 -= b->size[k] * b->wave[k] * s[k];
            double next = c[k] * dc[k] - s[k] * ds[k];
            s[k] = s[k] * dc[k] + c[k] * ds[k];
            c[k] = next;
        }
        r *= radius;
        r1 *= radius;
        at[i] = (xy){b->x + r * ct, b->y + r * st};
        double tx = r1 * ct - r * st, ty = r1 * st + r * ct, l = 1 / sqrt(tx * tx + ty * ty);
        inward[i] = (xy){-ty * l, tx * l};
        double next = ct * cdt - st * sdt;
        st = st * cdt + ct * sdt;
        ct = next;
    }
    return n;
}

typedef struct scan {
    int n[MOST_LINES];
    float u[MOST_LINES][MOST_CROSSINGS];
} scan;

/* Lines at +45 or -45 degrees, `spacing` apart, inside the closed loop. */
static void fill(writer *w, scan *sc, const xy *loop, int n, bool other_way, double spacing, double e, long feed)
{
    static const double h = M_SQRT1_2;
    double sign = other_way ? -1 : 1;
    double v0 = INFINITY, v1 = -INFINITY;
    for (int i = 0; i < n; i++) {
        double v = (loop[i].y - sign * loop[i].x) * h;
        v0 = v < v0 ? v : v0;
        v1 = v > v1 ? v : v1;
    }
    long k0 = (long)ceil(v0 / spacing), k1 = (long)floor(v1 / spacing);
    if (k1 - k0 >= MOST_LINES) {
        k1 = k0 + MOST_LINES - 1;
    }
    memset(sc->n, 0, sizeof sc->n);
    double pv = (loop[n - 1].y - sign * loop[n - 1].x) * h, pu = (loop[n - 1].x + sign * loop[n - 1].y) * h;
    for (int i = 0; i < n; i++) {
        double v = (loop[i].y - sign * loop[i].x) * h, u = (loop[i].x + sign * loop[i].y) * h;
        double lo = v < pv ? v : pv, hi = v < pv ? pv : v;
        for (long k = (long)ceil(lo / spacing); k * spacing < hi && k <= k1; k++) {
            long at = k - k0;
            if (at >= 0 && k * spacing >= lo && sc->n[at] < MOST_CROSSINGS) {
                sc->u[at][sc->n[at]++] = (float)(pu + (u - pu) * (k * spacing - pv) / (v - pv));
            }
        }
        pv = v;
        pu = u;
    }
    bool back = false;
    for (long k = k0; k <= k1; k++) {
        int m = sc->n[k - k0];
        float *us = sc->u[k - k0];
        for (int i = 1; i < m; i++) {
            float key = us[i];
            int j = i;
            for (; j > 0 && us[j - 1] > key; j--) {
                us[j] = us[j - 1];
            }
            us[j] = key;
        }
        for (int i = 0; i + 1 < m; i += 2) {
            int a = back ? m - 1 - i : i, z = back ? m - 2 - i : i + 1;
            double ua = us[a], uz = us[z], v = k * spacing;
            if (fabs(uz - ua) < 0.4) {
                continue;
            }
            travel_to(w, (xy){(ua - sign * v) * h, (v + sign * ua) * h}, 9000);
            bead_to(w, (xy){(uz - sign * v) * h, (v + sign * uz) * h}, e, feed);
        }
        back = !back;
    }
}

static void write_layer(writer *w, const plan *pl, int layer, scan *sc, xy *at, xy *inward, xy *loop)
{
    double h = layer == 0 ? FIRST_HEIGHT : pl->layer, z = FIRST_HEIGHT + layer * pl->layer;
    double e = e_per_mm(BEAD_WIDTH, h), pitch = BEAD_WIDTH - h * (1 - M_PI / 4);
    bool solid = layer < 4 || layer >= pl->n_layers - 4;
    long inner = layer == 0 ? 1200 : 2700, outer = layer == 0 ? 1200 : 2100, fill_feed = layer == 0 ? 1200 : 3900;
    char text[96];
    snprintf(text, sizeof text, "G1 Z%.3f F600\n", z);
    say(w, text);
    w->feed = 600;
    if (layer == 3) {
        say(w, "M106 S102\n");
    }
    for (int i = 0; i < pl->n_bodies; i++) {
        const body *b = &pl->bodies[layer & 1 ? pl->n_bodies - 1 - i : i];
        int n = outline(b, z, pl->step, at, inward), seam = (int)((unsigned)layer * 7919u % (unsigned)n);
        for (int wall = 2; wall >= 0; wall--) {
            double d = BEAD_WIDTH / 2 + wall * pitch;
            for (int k = 0; k < n; k++) {
                loop[k] = (xy){at[k].x + d * inward[k].x, at[k].y + d * inward[k].y};
            }
            travel_to(w, loop[seam], 9000);
            for (int k = 1; k <= n; k++) {
                int j = seam + k;
                bead_to(w, loop[j >= n ? j - n : j], e, wall ? inner : outer);
            }
        }
        double d = BEAD_WIDTH / 2 + 3 * pitch - 0.06;
        for (int k = 0; k < n; k++) {
            loop[k] = (xy){at[k].x + d * inward[k].x, at[k].y + d * inward[k].y};
        }
        fill(w, sc, loop, n, layer & 1, solid ? pitch : BEAD_WIDTH / 0.2, e, fill_feed);
    }
}

/* Layer height, step and number of layers that come near the wanted size. */
static void choose(plan *pl, double bytes, scan *sc, xy *at, xy *inward, xy *loop, char *buf)
{
    pl->layer = 0.2;
    pl->step = 0.9;
    for (int attempt = 0; attempt < 6; attempt++) {
        double solid = 0, sparse = 0;
        pl->n_layers = 1000;
        for (int probe = 0; probe < 6; probe++) {
            writer w = {.buf = buf};
            write_layer(&w, pl, probe < 2 ? 1 + probe : 100 + 190 * (probe - 2) + probe % 2, sc, at, inward, loop);
            flush(&w);
            *(probe < 2 ? &solid : &sparse) += (double)w.n_bytes / (probe < 2 ? 2 : 4);
        }
        pl->n_layers = (int)(8 + fmax(0, bytes - 8 * solid) / sparse + 0.5);
        double most = floor((TALLEST_MM - FIRST_HEIGHT) / pl->layer);
        if (pl->n_layers <= most) {
            return;
        }
        double want = pl->n_layers / most;
        if (pl->layer > 0.15) { /* half of what is missing from thinner layers, the rest from shorter steps */
            pl->layer = fmax(0.1, pl->layer / sqrt(want));
        }
        pl->step = fmax(0.25, pl->step / want * (attempt < 1 ? sqrt(want) : 0.98));
    }
    pl->n_layers = (int)((TALLEST_MM - FIRST_HEIGHT) / pl->layer);
}

int main(int argc, char **argv)
{
    char *end = NULL;
    double mb = argc > 1 ? strtod(argv[1], &end) : 0;
    unsigned long seed = argc > 2 ? strtoul(argv[2], NULL, 10) : 1;
    if (argc < 2 || argc > 3 || *end || !(mb >= 1 && mb <= 1500)) {
        fprintf(stderr, "usage: make_big_job MEGABYTES [SEED] > job.gcode   (1 to 1500 MB of 1000000 bytes)\n");
        return 4;
    }
    plan pl = {0};
    char *buf = malloc(OUT_BYTES);
    scan *sc = malloc(sizeof *sc);
    xy *points = malloc(3 * sizeof *points * MOST_POINTS);
    if (!buf || !sc || !points) {
        fprintf(stderr, "make_big_job: out of memory\n");
        return 5;
    }
    xy *at = points, *inward = at + MOST_POINTS, *loop = inward + MOST_POINTS;
    make_bodies(&pl, seed);
    choose(&pl, mb * 1e6, sc, at, inward, loop, buf);
    writer w = {.file = stdout, .buf = buf, .feed = -1};
    say(&w,
        "; a large job for timing\nG21\nG90\nM83\nM140 S80\nM104 S180\nG28\nM190 S80\nM109 S240\nG29\nG92 E0\nM107\n"
        "G1 Z0.25 F600\nG0 X20 Y6 F7200\nG1 X120 Y6 E9 F1200\n");
    w.x = 120000;
    w.y = 6000;
    for (int layer = 0; layer < pl.n_layers && !w.failed; layer++) {
        write_layer(&w, &pl, layer, sc, at, inward, loop);
    }
    say(&w, "G1 E-0.9 F2100\nM107\nM104 S0\nM140 S0\n");
    double top = FIRST_HEIGHT + pl.n_layers * pl.layer + 2;
    char text[64];
    snprintf(text, sizeof text, "G1 Z%.2f F600\nG0 X5 Y200 F7200\nM84\n", top);
    say(&w, text);
    flush(&w);
    if (fflush(stdout) || w.failed) {
        fprintf(stderr, "make_big_job: cannot write: %s\n", strerror(errno));
        return 5;
    }
    fprintf(stderr, "%.1f MB: %d bodies, %d layers of %.3f mm, steps of about %.2f mm\n", (double)w.n_bytes * 1e-6,
            pl.n_bodies, pl.n_layers, pl.layer, pl.step);
    free(points);
    free(sc);
    free(buf);
    return 0;
}
