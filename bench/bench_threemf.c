/* A large 3MF to a mesh: bytes of XML a second, beside a reading by way of a tree. SPDX-License-Identifier: Apache-2.0
 * Usage: bench_threemf [TRIANGLES [REPEATS]]. Makes a ring of about that many triangles in memory, packs it, and prints one
 * line of JSON: the best of the repeats for each. The yardstick does what a reader on top of a general XML tree does: expat,
 * each element a node with its attributes as texts, then a walk that turns texts into numbers. */
#include <expat.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>

#include "part/threemf.h"
#include "part/threemf_kit.h"
#include "part/zip.h"

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

typedef struct text {
    char *bytes;
    size_t n, cap;
} text;

#define ADD(t, ...)                                                                                                    \
    do {                                                                                                               \
        if ((t)->cap - (t)->n < 256) {                                                                                 \
            (t)->cap = 2 * (t)->cap + 1024;                                                                            \
            (t)->bytes = realloc((t)->bytes, (t)->cap);                                                                \
        }                                                                                                              \
        (t)->n += (size_t)snprintf((t)->bytes + (t)->n, (t)->cap - (t)->n, __VA_ARGS__);                               \
    } while (0)

/* A wavy torus of side * side quads. */
static text make_model(int side)
{
    text t = {0};
    ADD(&t, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<model unit=\"millimeter\" xmlns=\"%s\">\n <resources>\n",
        KIT_CORE);
    ADD(&t, "  <object id=\"1\" type=\"model\">\n   <mesh>\n    <vertices>\n");
    for (int i = 0; i < side; i++) {
        for (int j = 0; j < side; j++) {
            double a = 2 * M_PI * i / side, b = 2 * M_PI * j / side;
            double r = 40 + 12 * cos(b) + 0.3 * sin(17 * a) * cos(9 * b);
            ADD(&t, "     <vertex x=\"%.6f\" y=\"%.6f\" z=\"%.6f\" />\n", r * cos(a), r * sin(a), 12 * sin(b));
        }
    }
    ADD(&t, "    </vertices>\n    <triangles>\n");
    for (int i = 0; i < side; i++) {
        for (int j = 0; j < side; j++) {
            int in = (i + 1) % side, jn = (j + 1) % side;
            int p = i * side + j, q = in * side + j, r = in * side + jn, s = i * side + jn;
            ADD(&t, "     <triangle v1=\"%d\" v2=\"%d\" v3=\"%d\" />\n", p, q, r);
            ADD(&t, "     <triangle v1=\"%d\" v2=\"%d\" v3=\"%d\" />\n", p, r, s);
        }
    }
    ADD(&t, "    </triangles>\n   </mesh>\n  </object>\n </resources>\n <build>\n  <item objectid=\"1\"/>\n "
            "</build>\n</model>\n");
    return t;
}

/* ---- the yardstick ---- */

typedef struct node {
    struct node *next; /* in the order of the text */
    char *name;
    size_t n_attrs;
    char *attrs[]; /* name, value, name, value ... */
} node;

typedef struct tree {
    node *first, **last;
} tree;

static void XMLCALL on_start(void *user, const char *name, const char **atts)
{
    tree *t = user;
    size_t n = 0;
    while (atts[n]) {
        n++;
    }
    node *one = malloc(sizeof *one + n * sizeof(char *));
    one->next = NULL;
    one->name = strdup(name);
    one->n_attrs = n;
    for (size_t i = 0; i < n; i++) {
        one->attrs[i] = strdup(atts[i]);
    }
    *t->last = one;
    t->last = &one->next;
}

static double by_tree(const unsigned char *data, size_t n, size_t *ret_triangles)
{
    po_part_limits limits = PO_PART_LIMITS_INIT;
    po_arena *arena = po_arena_new(0);
    po_zip zip;
    double begin = now();
    if (po_zip_open(data, n, &limits, arena, &zip, NULL) != PO_OK) {
        exit(1);
    }
    const po_zip_member *m = po_zip_find(&zip, "3D/a.model", 10);
    char *xml = malloc((size_t)m->unpacked);
    if (po_zip_unpack(&zip, m, xml, NULL) != PO_OK) {
        exit(1);
    }
    tree t = {.first = NULL};
    t.last = &t.first;
    XML_Parser expat = XML_ParserCreateNS("UTF-8", ' ');
    XML_SetUserData(expat, &t);
    XML_SetStartElementHandler(expat, on_start);
    if (XML_Parse(expat, xml, (int)m->unpacked, 1) != XML_STATUS_OK) {
        exit(1);
    }
    XML_ParserFree(expat);
    double *xyz = malloc((size_t)m->unpacked);
    uint32_t *corners = malloc((size_t)m->unpacked);
    size_t n_v = 0, n_c = 0;
    for (const node *one = t.first; one; one = one->next) {
        const char *name = strrchr(one->name, ' ') + 1;
        if (strcmp(name, "vertex") == 0) {
            for (size_t i = 0; i < one->n_attrs; i += 2) {
                xyz[3 * n_v + (size_t)(one->attrs[i][0] - 'x')] = strtod(one->attrs[i + 1], NULL);
            }
            n_v++;
        } else if (strcmp(name, "triangle") == 0) {
            for (size_t i = 0; i < one->n_attrs; i += 2) {
                corners[n_c++] = (uint32_t)strtoul(one->attrs[i + 1], NULL, 10);
            }
        }
    }
    double seconds = now() - begin;
    *ret_triangles = n_c / 3;
    for (node *one = t.first, *next; one; one = next) {
        next = one->next;
        for (size_t i = 0; i < one->n_attrs; i++) {
            free(one->attrs[i]);
        }
        free(one->name);
        free(one);
    }
    free(xyz);
    free(corners);
    free(xml);
    po_arena_free(arena);
    return seconds;
}

int main(int argc, char **argv)
{
    long triangles = argc > 1 ? strtol(argv[1], NULL, 10) : 1000000, repeats = argc > 2 ? strtol(argv[2], NULL, 10) : 5;
    if (triangles < 100 || triangles > 10000000 || repeats < 1) {
        fprintf(stderr, "usage: bench_threemf [TRIANGLES (100 to 10000000) [REPEATS]]\n");
        return 2;
    }
    text model = make_model((int)sqrt((double)triangles / 2));
    kit_zip z = {0};
    kit_package(&z, model.bytes, model.n, NULL, NULL, NULL, KIT_DEFLATED);
    double best = 1e9, best_tree = 1e9;
    size_t n_read = 0, n_tree = 0;
    long peak_kib = 0;
    for (long i = 0; i < repeats; i++) {
        po_arena *arena = po_arena_new(0);
        po_part part;
        po_err err;
        double begin = now();
        if (po_threemf_read(z.data, z.n, NULL, arena, &part, &err) != PO_OK) {
            fprintf(stderr, "bench_threemf: %s\n", err.msg);
            return 1;
        }
        double seconds = now() - begin;
        best = seconds < best ? seconds : best;
        n_read = part.objects[0].mesh.n_triangles;
        po_arena_free(arena);
    }
    struct rusage use;
    getrusage(RUSAGE_SELF, &use);
    peak_kib = use.ru_maxrss;
    for (long i = 0; i < repeats; i++) {
        double seconds = by_tree(z.data, z.n, &n_tree);
        best_tree = seconds < best_tree ? seconds : best_tree;
    }
    printf("{\"bench\": \"threemf\", \"triangles\": %zu, \"xml_bytes\": %zu, \"packed_bytes\": %zu, \"seconds\": %.4f, "
           "\"xml_mb_s\": %.0f, \"peak_mib\": %.0f, \"tree_seconds\": %.4f, \"ratio\": %.2f}\n",
           n_read, model.n, z.n, best, (double)model.n / best / 1e6, (double)peak_kib / 1024, best_tree,
           best_tree / best);
    kit_done(&z);
    free(model.bytes);
    return n_read == n_tree ? 0 : 1;
}
