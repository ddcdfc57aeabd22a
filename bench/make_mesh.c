/* A mesh file of a given size, for `make bench`. SPDX-License-Identifier: Apache-2.0
 * usage: make_mesh TRIANGLES binary|shuffled|text|model > FILE
 * A wavy ring, closed, of about so many triangles: as a binary STL (shuffled: its triangles in no order), as a text STL, or
 * as the XML of a 3MF's model. */
#include <stdbool.h>

#include "part/shapes.h"

static void shuffle(soup *s)
{
    uint64_t state = 1;
    for (size_t i = s->n - 1; i > 0; i--) {
        state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        size_t k = (size_t)((state >> 20) % (i + 1));
        double keep[9];
        memcpy(keep, s->nine + 9 * i, sizeof keep);
        memcpy(s->nine + 9 * i, s->nine + 9 * k, sizeof keep);
        memcpy(s->nine + 9 * k, keep, sizeof keep);
    }
}

/* Waves on the ring, the same for equal points. */
static void wave(soup *s)
{
    for (size_t i = 0; i < 3 * s->n; i++) {
        double *p = s->nine + 3 * i, a = atan2(p[1] - 100, p[0] - 100);
        p[2] = (double)(float)(p[2] + 2 * sin(9 * a));
    }
}

static void model(size_t n, size_t m)
{
    puts("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<model unit=\"millimeter\" "
         "xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\">\n <resources>\n  <object id=\"1\" "
         "type=\"model\">\n   <mesh>\n    <vertices>");
    const double turn = 6.28318530717958647692;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < m; j++) {
            double u = turn * (double)i / (double)n, v = turn * (double)j / (double)m, r = 30 + 10 * cos(v);
            printf("     <vertex x=\"%.6f\" y=\"%.6f\" z=\"%.6f\" />\n", 100 + r * cos(u), 100 + r * sin(u),
                   20 + 10 * sin(v) + 2 * sin(9 * u));
        }
    }
    puts("    </vertices>\n    <triangles>");
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < m; j++) {
            size_t i2 = (i + 1) % n, j2 = (j + 1) % m;
            printf("     <triangle v1=\"%zu\" v2=\"%zu\" v3=\"%zu\" />\n", i * m + j, i2 * m + j, i2 * m + j2);
            printf("     <triangle v1=\"%zu\" v2=\"%zu\" v3=\"%zu\" />\n", i * m + j, i2 * m + j2, i * m + j2);
        }
    }
    puts("    </triangles>\n   </mesh>\n  </object>\n </resources>\n <build><item objectid=\"1\" /></build>\n</model>");
}

int main(int argc, char **argv)
{
    size_t triangles = argc > 2 ? (size_t)atol(argv[1]) : 0, bytes = 0;
    if (triangles < 100) {
        fprintf(stderr, "usage: make_mesh TRIANGLES binary|shuffled|text|model > FILE\n");
        return 2;
    }
    size_t m = (size_t)sqrt((double)triangles / 4) + 2, n = triangles / 2 / m + 1;
    if (strcmp(argv[2], "model") == 0) {
        model(n, m);
        return ferror(stdout) != 0;
    }
    soup s = {0};
    soup_torus(&s, 100, 100, 20, 30, 10, n, m);
    wave(&s);
    if (strcmp(argv[2], "shuffled") == 0) {
        shuffle(&s);
    }
    void *data = strcmp(argv[2], "text") == 0 ? (void *)soup_text(&s, "ring", "\n", &bytes)
                                              : (void *)soup_binary(&s, (uint32_t)s.n, &bytes);
    bool good = fwrite(data, 1, bytes, stdout) == bytes && fflush(stdout) == 0;
    free(data);
    free(s.nine);
    return !good;
}
