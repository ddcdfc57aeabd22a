/* 3MF out: what is written reads back, here and elsewhere. SPDX-License-Identifier: Apache-2.0
 * Outside checks: Python's zipfile and ElementTree, and lib3mf (the consortium's reference library) where they are
 * installed. Rules: 3MF core specification 1.4.0, the section stands beside. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <dlfcn.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "part/shapes.h"
#include "part/weld.h"
#include "proveout/pieces.h"

/* A soup as a mesh over shared vertices, in the arena. */
static po_mesh mesh_of(const soup *s, po_arena *arena)
{
    po_weld weld;
    assert_true(po_weld_init(&weld, arena, s->n));
    for (size_t t = 0; t < s->n; t++) {
        assert_true(po_weld_add(&weld, s->nine + 9 * t, 1));
    }
    po_mesh mesh = {weld.xyz, weld.n_vertices, weld.corners, weld.n_triangles};
    po_weld_done(&weld);
    return mesh;
}

static const po_part *read_back(const unsigned char *bytes, size_t n, po_arena *arena)
{
    po_source source = {.data = bytes, .n_bytes = n};
    const po_part *part = NULL;
    po_err err = {0};
    if (po_part_read(&source, NULL, arena, &part, &err) != PO_OK) {
        fail_msg("%s: %s", err.where, err.msg);
    }
    return part;
}

static void write_it(const po_3mf_item *items, size_t n, const char *title, po_arena *arena,
                     const unsigned char **ret_bytes, size_t *ret_n)
{
    po_err err = {0};
    if (po_3mf_write(items, n, title, arena, ret_bytes, ret_n, &err) != PO_OK) {
        fail_msg("%s", err.msg);
    }
}

static void assert_same_mesh(const po_mesh *a, const po_mesh *b)
{
    assert_int_equal(a->n_vertices, b->n_vertices);
    assert_int_equal(a->n_triangles, b->n_triangles);
    assert_memory_equal(a->xyz, b->xyz, 24 * a->n_vertices);
    assert_memory_equal(a->corners, b->corners, 12 * a->n_triangles);
}

static uint64_t next(uint64_t *s)
{
    *s ^= *s << 13;
    *s ^= *s >> 7;
    *s ^= *s << 17;
    return *s;
}

/* Doubles of every kind as coordinates; the bits must come back. */
static void bits_come_back(void **state)
{
    (void)state;
    enum { N = 3000 };
    static double xyz[3 * N];
    static uint32_t corners[3 * (N - 2)];
    uint64_t seed = 0x9e3779b97f4a7c15;
    static const double odd[] = {0, -0.0, 5e-324, -1e-300, 1.0 / 3, 1e22, 123456.789, -7e55, 0.1, (double)0.1f};
    for (size_t i = 0; i < 3 * (size_t)N; i++) {
        double u = (double)(next(&seed) >> 11) / 9007199254740992.0 - 0.5;
        xyz[i] = i < 10 ? odd[i] : i % 3 == 0 ? u * 300 : i % 3 == 1 ? (double)(float)(u * 300) : u * pow(10, u * 90);
    }
    for (uint32_t t = 0; t < N - 2; t++) {
        for (uint32_t k = 0; k < 3; k++) {
            corners[3 * t + k] = t + k;
        }
    }
    po_mesh mesh = {xyz, N, corners, N - 2};
    double matrix[12] = {0.1, 1, 0, -1, 0.1, 0, 0, 0, 1 / 3.0, 1e-9, -2.5, 7};
    po_3mf_item items[] = {{.mesh = &mesh}, {.mesh = &mesh, .matrix = matrix, .name = "second"}};
    po_arena *arena = po_arena_new(0);
    const unsigned char *bytes, *again;
    size_t n, n_again;
    write_it(items, 2, "Test", arena, &bytes, &n);
    write_it(items, 2, "Test", arena, &again, &n_again);
    assert_int_equal(n, n_again);
    assert_memory_equal(bytes, again, n); /* deterministic */
    const po_part *part = read_back(bytes, n, arena);
    assert_int_equal(part->format, PO_PART_3MF);
    assert_int_equal(part->n_notes, 0);
    assert_int_equal(part->n_objects, 2);
    assert_int_equal(part->n_items, 2);
    assert_string_equal(part->unit, "millimeter");
    assert_same_mesh(&part->objects[0].mesh, &mesh);
    assert_same_mesh(&part->objects[1].mesh, &mesh);
    assert_null(part->objects[0].name);
    assert_string_equal(part->objects[1].name, "second");
    assert_memory_equal(part->items[1].matrix, matrix, sizeof matrix);
    assert_int_equal(part->items[1].build_item, 2);
    po_arena_free(arena);
}

static void triangles_that_name_a_vertex_twice(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    static const double xyz[] = {0, 0, 0, 10, 0, 0, 0, 10, 0, 0, 0, 10};
    static const uint32_t corners[] = {0, 2, 1, 0, 0, 1, 0, 1, 3, 1, 2, 3, 3, 2, 3, 0, 3, 2},
                          kept[] = {0, 2, 1, 0, 1, 3, 1, 2, 3, 0, 3, 2};
    po_mesh mesh = {xyz, 4, corners, 6}, want = {xyz, 4, kept, 4};
    po_3mf_item item = {.mesh = &mesh};
    const unsigned char *bytes;
    size_t n;
    write_it(&item, 1, NULL, arena, &bytes, &n);
    assert_same_mesh(&read_back(bytes, n, arena)->objects[0].mesh, &want); /* core 4.1.4.1 */
    po_arena_free(arena);
}

static void names(void **state)
{
    (void)state;
    static const struct {
        const char *name, *back;
    } all[] = {{"Bracket <left> & \"right\"", "Bracket <left> & \"right\""},
               {"Kr\xc3\xbcmmer \xf0\x9f\x94\xa9 \xe2\x82\xac", "Kr\xc3\xbcmmer \xf0\x9f\x94\xa9 \xe2\x82\xac"},
               {"a\xff"
                "b\xc0\xaf"
                "c\xed\xa0\x80",
                "a\xef\xbf\xbd"
                "b\xef\xbf\xbd\xef\xbf\xbd"
                "c\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd"},
               {"cut \xe2\x82", "cut \xef\xbf\xbd\xef\xbf\xbd"},
               {"tab\there\x01\n", "tab here  "},
               {"\xef\xbf\xbf", "\xef\xbf\xbd"}};
    po_arena *arena = po_arena_new(0);
    soup s = {0};
    soup_box(&s, 0, 0, 0, 1, 2, 3);
    po_mesh mesh = mesh_of(&s, arena);
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        po_3mf_item item = {.mesh = &mesh, .name = all[i].name};
        const unsigned char *bytes;
        size_t n;
        write_it(&item, 1, all[i].name, arena, &bytes, &n);
        assert_string_equal(read_back(bytes, n, arena)->objects[0].name, all[i].back);
    }
    free(s.nine);
    po_arena_free(arena);
}

static void refused(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    static const double xyz[] = {0, 0, 0, 10, 0, 0, 0, 10, 0, 0, 0, 10},
                        bad[] = {0, 0, 0, 10, 0, 0, 0, NAN, 0, 0, 0, 1};
    static const uint32_t corners[] = {0, 2, 1, 0, 1, 3, 1, 2, 3, 0, 3, 2},
                          beyond[] = {0, 2, 1, 0, 1, 3, 1, 2, 4, 0, 3, 2};
    static const double flat[12] = {1, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0};
    po_mesh good = {xyz, 4, corners, 4}, nan = {bad, 4, corners, 4}, index = {xyz, 4, beyond, 4},
            few = {xyz, 4, corners, 3};
    po_3mf_item all[] = {{.mesh = &nan}, {.mesh = &index}, {.mesh = &few}, {.mesh = &good, .matrix = flat}};
    for (size_t i = 0; i < 4; i++) {
        const unsigned char *bytes = NULL;
        size_t n;
        po_err err = {0};
        assert_int_equal(po_3mf_write(&all[i], 1, NULL, arena, &bytes, &n, &err), PO_E_RANGE);
        assert_true(err.msg[0] && !bytes);
        assert_int_equal(po_3mf_write(&all[i], 0, NULL, arena, &bytes, &n, NULL), PO_E_RANGE);
    }
    po_arena *small = po_arena_new(100);
    po_3mf_item item = {.mesh = &good};
    const unsigned char *bytes = NULL;
    size_t n;
    assert_int_equal(po_3mf_write(&item, 1, NULL, small, &bytes, &n, NULL), PO_E_NOMEM);
    po_arena_free(small);
    po_arena_free(arena);
}

/* A million equal triangles deflate to less than the two-hundredth that the reader's limits allow. */
static void monotonous(void **state)
{
    (void)state;
    enum { N = 300000 };
    static const double xyz[] = {0, 0, 0, 10, 0, 0, 0, 10, 0, 0, 0, 10};
    uint32_t *corners = malloc(12 * (size_t)N);
    assert_non_null(corners);
    for (uint32_t i = 0; i < 3 * N; i++) {
        corners[i] = i % 3;
    }
    po_arena *arena = po_arena_new(0);
    po_mesh mesh = {xyz, 4, corners, N};
    po_3mf_item item = {.mesh = &mesh};
    const unsigned char *bytes;
    size_t n;
    write_it(&item, 1, NULL, arena, &bytes, &n);
    assert_same_mesh(&read_back(bytes, n, arena)->objects[0].mesh, &mesh);
    free(corners);
    po_arena_free(arena);
}

/* Two boxes and a torus in a file; the caller removes it. */
static void write_sample(char *path)
{
    po_arena *arena = po_arena_new(0);
    soup s = {0}, t = {0};
    soup_box(&s, 0.1, 0, 0, 10, 20, 30);
    soup_torus(&t, 0, 0, 5, 20, 5, 60, 30);
    po_mesh box = mesh_of(&s, arena), torus = mesh_of(&t, arena);
    double matrix[12] = {0, 1, 0, -1, 0, 0, 0, 0, 1, 50, 60.25, 0};
    po_3mf_item items[] = {{.mesh = &box, .name = "A & B"}, {.mesh = &torus, .matrix = matrix}, {.mesh = &box}};
    const unsigned char *bytes;
    size_t n;
    write_it(items, 3, "Sample <1>", arena, &bytes, &n);
    int fd = mkstemps(path, 4);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, bytes, n), n);
    close(fd);
    free(s.nine);
    free(t.nine);
    po_arena_free(arena);
}

/* ZIP and XML by Python's own libraries; the rules of core 2.1, 3.4 and 4.1 by a few lines over them. */
static void python_reads_it(void **state)
{
    (void)state;
    if (access("/usr/bin/python3", X_OK) != 0) {
        print_message("no python3: left out\n");
        skip();
    }
    char path[] = "/tmp/proveout-write-XXXXXX.3mf", command[1800];
    write_sample(path);
    snprintf(command, sizeof command,
             "/usr/bin/python3 -c '\n"
             "import sys, zipfile, xml.etree.ElementTree as E\n"
             "z = zipfile.ZipFile(sys.argv[1])\n"
             "assert z.testzip() is None\n"
             "assert z.namelist() == [\"[Content_Types].xml\", \"_rels/.rels\", \"3D/3dmodel.model\"]\n"
             "assert all(i.date_time == (1980, 1, 1, 0, 0, 0) for i in z.infolist())\n"
             "C = \"{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}\"\n"
             "E.fromstring(z.read(\"[Content_Types].xml\"))\n"
             "rels = E.fromstring(z.read(\"_rels/.rels\"))\n"
             "assert rels[0].get(\"Target\") == \"/3D/3dmodel.model\"\n"
             "m = E.fromstring(z.read(\"3D/3dmodel.model\"))\n"
             "assert m.tag == C + \"model\" and m.get(\"unit\") == \"millimeter\"\n"
             "meta = {e.get(\"name\"): e.text for e in m.findall(C + \"metadata\")}\n"
             "assert meta == {\"Title\": \"Sample <1>\", \"Application\": \"Proveout\"}, meta\n"
             "objects = m.find(C + \"resources\").findall(C + \"object\")\n"
             "assert [o.get(\"id\") for o in objects] == [\"1\", \"2\", \"3\"]\n"
             "assert objects[0].get(\"name\") == \"A & B\"\n"
             "for o in objects:\n"
             "    v, t = (o.find(C + \"mesh\").find(C + k) for k in (\"vertices\", \"triangles\"))\n"
             "    assert len(t) >= 4\n"
             "    for e in t:\n"
             "        c = {int(e.get(k)) for k in (\"v1\", \"v2\", \"v3\")}\n"
             "        assert len(c) == 3 and max(c) < len(v)\n"
             "items = m.find(C + \"build\").findall(C + \"item\")\n"
             "assert items[1].get(\"transform\") == \"0 1 0 -1 0 0 0 0 1 50 60.25 0\"\n"
             "print(\"ok\", len(objects[1].find(C + \"mesh\").find(C + \"triangles\")))\n"
             "' %s",
             path);
    char line[100] = "";
    FILE *f = popen(command, "r");
    assert_non_null(f);
    assert_non_null(fgets(line, sizeof line, f));
    assert_int_equal(pclose(f), 0);
    unlink(path);
    assert_string_equal(line, "ok 3600\n");
}

/* Triangles of all objects as lib3mf counts them; -1: it did not read the file, or warned. */
static int lib3mf_triangles(void *lib, const char *path)
{
    int32_t (*create)(void **), (*reader_of)(void *, const char *, void **), (*read_file)(void *, const char *),
        (*warnings)(void *, uint32_t *), (*objects)(void *, void **), (*move)(void *, int *),
        (*current)(void *, void **), (*triangles)(void *, uint32_t *);
    *(void **)&create = dlsym(lib, "lib3mf_createmodel");
    *(void **)&reader_of = dlsym(lib, "lib3mf_model_queryreader");
    *(void **)&read_file = dlsym(lib, "lib3mf_reader_readfromfileutf8");
    *(void **)&warnings = dlsym(lib, "lib3mf_reader_getwarningcount");
    *(void **)&objects = dlsym(lib, "lib3mf_model_getmeshobjects");
    *(void **)&move = dlsym(lib, "lib3mf_resourceiterator_movenext");
    *(void **)&current = dlsym(lib, "lib3mf_resourceiterator_getcurrent");
    *(void **)&triangles = dlsym(lib, "lib3mf_meshobject_gettrianglecount");
    void *model, *reader, *list, *object;
    uint32_t n = 1;
    int more, sum = 0;
    if (!(create && reader_of && read_file && warnings && objects && move && current && triangles) || create(&model) ||
        reader_of(model, "3mf", &reader) || read_file(reader, path) || warnings(reader, &n) || n ||
        objects(model, &list)) {
        return -1;
    }
    while (move(list, &more) == 0 && more && current(list, &object) == 0 && triangles(object, &n) == 0) {
        sum += (int)n;
    }
    return sum;
}

static void lib3mf_reads_it(void **state)
{
    (void)state;
    char path[] = "/tmp/proveout-write-XXXXXX.3mf";
    int pipes[2], sum = 0;
    write_sample(path);
    assert_int_equal(pipe(pipes), 0);
    pid_t child = fork(); /* what the library keeps and never frees is none of ours */
    assert_true(child >= 0);
    if (child == 0) {
        void *lib = dlopen("lib3MF.so.1", RTLD_NOW);
        sum = lib ? lib3mf_triangles(lib, path) : -2;
        _exit(write(pipes[1], &sum, sizeof sum) == (ssize_t)sizeof sum ? 0 : 1);
    }
    close(pipes[1]);
    assert_int_equal(read(pipes[0], &sum, sizeof sum), sizeof sum);
    close(pipes[0]);
    waitpid(child, NULL, 0);
    unlink(path);
    if (sum == -2) {
        print_message("no lib3mf: left out\n");
        skip();
    }
    assert_int_equal(sum, 12 + 3600 + 12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bits_come_back), cmocka_unit_test(triangles_that_name_a_vertex_twice),
        cmocka_unit_test(names),          cmocka_unit_test(refused),
        cmocka_unit_test(monotonous),     cmocka_unit_test(python_reads_it),
        cmocka_unit_test(lib3mf_reads_it)};
    return cmocka_run_group_tests_name("threemf_write", tests, NULL, NULL);
}
