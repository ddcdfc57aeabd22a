/* Checks of reading STL. SPDX-License-Identifier: Apache-2.0
 * Layout and sizes: shared/handbook.md 6.1 (84 + 50 n bytes; 12 triangles are 684, 4 are 284). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "part/shapes.h"
#include "proveout/part.h"

typedef struct answer {
    po_arena *arena;
    po_status status;
    const po_part *part;
    po_err err;
} answer;

static answer read_bytes(const void *bytes, size_t n)
{
    /* In a block of exactly that size: a sanitizer sees what is read behind it. */
    unsigned char *exact = malloc(n ? n : 1);
    assert_non_null(exact);
    memcpy(exact, bytes, n);
    answer a = {.arena = po_arena_new(0)};
    po_source source = {.data = exact, .n_bytes = n};
    a.status = po_part_read(&source, NULL, a.arena, &a.part, &a.err);
    free(exact);
    return a;
}

static void done(answer *a)
{
    po_arena_free(a->arena);
}

static const char *notes_of(const answer *a)
{
    static char text[2000];
    text[0] = 0;
    for (size_t i = 0; i < a->part->n_notes; i++) {
        snprintf(text + strlen(text), sizeof text - strlen(text), "%s;", a->part->notes[i]);
    }
    return text;
}

static void expect_mesh(const answer *a, size_t object, size_t n_vertices, size_t n_triangles)
{
    assert_int_equal(a->status, PO_OK);
    assert_true(object < a->part->n_objects && a->part->n_items == a->part->n_objects);
    const po_mesh *mesh = &a->part->objects[object].mesh;
    assert_int_equal(mesh->n_vertices, n_vertices);
    assert_int_equal(mesh->n_triangles, n_triangles);
    for (size_t i = 0; i < 3 * n_triangles; i++) {
        assert_true(mesh->corners[i] < n_vertices);
    }
}

static void test_binary(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, -1, 0, 5, 10, 20, 30);
    size_t n;
    unsigned char *bytes = soup_binary(&s, 12, &n);
    assert_int_equal(n, 684);
    answer a = read_bytes(bytes, n);
    expect_mesh(&a, 0, 8, 12);
    assert_int_equal(a.part->format, PO_PART_STL_BINARY);
    assert_int_equal(a.part->bytes, 684);
    assert_int_equal(a.part->n_notes, 0);
    assert_int_equal(strlen(a.part->sha256), 64);
    assert_true(a.part->unit == NULL && a.part->unit_mm == 1);
    const po_mesh *mesh = &a.part->objects[0].mesh;
    for (size_t i = 0; i < 36; i++) { /* every corner where it was */
        for (int k = 0; k < 3; k++) {
            assert_true(mesh->xyz[3 * mesh->corners[i] + (size_t)k] == s.nine[3 * i + (size_t)k]);
        }
    }
    done(&a);
    memcpy(bytes, "solid made by a program\nfacet normal", 36); /* binary all the same */
    a = read_bytes(bytes, n);
    expect_mesh(&a, 0, 8, 12);
    assert_int_equal(a.part->format, PO_PART_STL_BINARY);
    done(&a);
    for (size_t i = 0; i < 684; i++) { /* -0 for 0 in every second triangle: still eight vertices */
        if (i >= 84 && (i - 84) % 100 < 50 && (i - 84) % 50 >= 12 && (i - 84) % 50 < 48 &&
            (i - 84 - 12) % 50 % 4 == 3 && !bytes[i] && !bytes[i - 1] && !bytes[i - 2] && !bytes[i - 3]) {
            bytes[i] = 0x80;
        }
    }
    a = read_bytes(bytes, n);
    expect_mesh(&a, 0, 8, 12);
    done(&a);
    free(bytes);
    free(s.nine);
}

static void set_count(unsigned char *bytes, uint32_t count)
{
    for (int i = 0; i < 4; i++) {
        bytes[80 + i] = (unsigned char)(count >> 8 * i);
    }
}

static void test_counts(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 1, 2, 5, 10, 20, 30);
    size_t n;
    unsigned char *bytes = soup_binary(&s, 12, &n), *longer = calloc(n + 1000, 1);
    assert_non_null(longer);
    static const struct {
        uint32_t count;
        size_t bytes, triangles; /* 0 triangles: an error */
        const char *note;
    } cases[] = {
        {12, 684, 12, ""},
        {11, 684, 12, "the count says 11 triangles and 12 are there: all are read;"},
        {0, 684, 12, "the count says 0 triangles and 12 are there: all are read;"},
        {13, 684, 12, "the count says 13 triangles and 12 are there: miscounted, or cut short;"},
        {0xffffffff, 684, 12, "the count says 4294967295 triangles and 12 are there: miscounted, or cut short;"},
        {0x80000000, 684, 12, "the count says 2147483648 triangles and 12 are there: miscounted, or cut short;"},
        {12, 685, 12, "1 bytes follow the last triangle and are not read;"},
        {12, 733, 12, "49 bytes follow the last triangle and are not read;"},
        {12, 784, 12, "100 bytes follow the last triangle and are not read;"}, /* zeros: no triangles */
        {12, 683, 0, NULL},
        {0xffffffff, 683, 0, NULL},
        {12, 84 + 51, 0, NULL},
    };
    memcpy(longer, bytes, n);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        set_count(longer, cases[i].count);
        answer a = read_bytes(longer, cases[i].bytes);
        if (cases[i].triangles) {
            expect_mesh(&a, 0, 8, 12);
            assert_string_equal(notes_of(&a), cases[i].note);
        } else {
            assert_int_equal(a.status, PO_E_SYNTAX);
            assert_int_equal(a.err.byte, cases[i].bytes);
        }
        done(&a);
    }
    set_count(longer, 0);
    answer a = read_bytes(longer, 84);
    assert_int_equal(a.status, PO_E_EMPTY);
    done(&a);
    free(longer);
    free(bytes);
    free(s.nine);
}

static void test_not_finite(void **state)
{
    (void)state;
    soup s = {0};
    soup_box(&s, 1, 2, 5, 10, 20, 30);
    static const uint32_t values[] = {0x7f800000, 0xff800000, 0x7fc00000, 0xff800001};
    for (size_t i = 0; i < 4 * 12; i++) { /* normal, corners of the fourth triangle */
        size_t n, at = 84 + 50 * 3 + 4 * (i / 4);
        unsigned char *bytes = soup_binary(&s, 12, &n);
        for (int k = 0; k < 4; k++) {
            bytes[at + (size_t)k] = (unsigned char)(values[i % 4] >> 8 * k);
        }
        answer a = read_bytes(bytes, n);
        if (i / 4 < 3) {
            expect_mesh(&a, 0, 8, 12);
            assert_string_equal(notes_of(&a),
                                "1 stored normals are infinite or not numbers; normals are taken from the corners;");
        } else {
            assert_int_equal(a.status, PO_E_SYNTAX);
            assert_int_equal(a.err.byte, 84 + 50 * 3);
        }
        done(&a);
        free(bytes);
    }
    free(s.nine);
}

static void test_text(void **state)
{
    (void)state;
    soup s = {0};
    soup_tetra(&s, 0.125, -3, 1e-7, 10);
    static const char *const ends[] = {"\n", "\r\n", " ", "\r", "\n\n\t \v\f"};
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
        size_t n;
        char *text = soup_text(&s, "a  bracket", ends[i], &n);
        answer a = read_bytes(text, n);
        expect_mesh(&a, 0, 4, 4);
        assert_int_equal(a.part->format, PO_PART_STL_ASCII);
        assert_string_equal(a.part->objects[0].name, "a  bracket");
        assert_int_equal(a.part->n_notes, 0);
        assert_true(a.part->objects[0].mesh.xyz[0] == 0.125 && a.part->objects[0].mesh.xyz[2] == 1e-7);
        done(&a);
        for (char *p = text; *p; p++) { /* case does not matter */
            *p = *p >= 'a' && *p <= 'z' ? (char)(*p - 32) : *p;
        }
        a = read_bytes(text, n);
        expect_mesh(&a, 0, 4, 4);
        done(&a);
        free(text);
    }
    free(s.nine);
}

#define FACET(x) "facet normal 0 0 1 outer loop vertex " x " vertex 1 0 0 vertex 0 1 0 endloop endfacet\n"

static void test_text_cases(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        po_status status;
        uint32_t line, column;
        size_t objects;
        const char *says; /* notes, or a part of the error */
    } cases[] = {
        {"solid\n" FACET("0 0 0") "endsolid\n", PO_OK, 0, 0, 1, ""},
        {"\xef\xbb\xbf  solid\n" FACET("0 0 0") "endsolid", PO_OK, 0, 0, 1, ""},
        {"solid a " FACET("0 0 0") "endsolid a", PO_OK, 0, 0, 1, ""},
        {"solid\n" FACET("0 0 0"), PO_OK, 0, 0, 1, "the last solid has no end: perhaps the file is cut short;"},
        {"solid a\n" FACET("0 0 0") "solid b\n" FACET("1 1 1") "endsolid b\n", PO_OK, 0, 0, 2,
         "solid 2 begins before the one before it has ended;"},
        {"solid a\n" FACET("0 0 0") "endsolid a\nsolid b\nendsolid b\nsolid c\n" FACET("0 0 0") "endsolid", PO_OK, 0, 0,
         2, "1 solids without a triangle;"},
        {"solid\n" FACET("0 0 0") "endsolid\n\x1a", PO_OK, 0, 0, 1, "1 bytes follow the last solid and are not read;"},
        {"solid\n" FACET("+.5e0 -5.E+1 0005") "endsolid\n", PO_OK, 0, 0, 1, ""},
        {"solid\nfacet normal nan -nan(ind) 1.#INF outer loop vertex 0 0 0 vertex 1 0 0 vertex 0 1 0 endloop endfacet "
         "endsolid",
         PO_OK, 0, 0, 1, ""},
        {"solid\nfacet normal outer loop vertex 0 0 0 vertex 1 0 0 vertex 0 1 0 endloop endfacet endsolid", PO_OK, 0, 0,
         1, ""},
        {"solid\nendsolid\n", PO_E_EMPTY, 0, 0, 0, "without a triangle"},
        {"solid", PO_E_EMPTY, 0, 0, 0, "without a triangle"},
        {"solid\n" FACET("0 nan 0") "endsolid", PO_E_SYNTAX, 2, 40, 0, "found 'nan' where a finite number"},
        {"solid\n" FACET("0 0 inf") "endsolid", PO_E_SYNTAX, 2, 42, 0, "found 'inf'"},
        {"solid\n" FACET("0 0 1e999") "endsolid", PO_E_SYNTAX, 2, 42, 0, "found '1e999'"},
        {"solid\n" FACET("0 0 1.2.3") "endsolid", PO_E_SYNTAX, 2, 42, 0, "found '1.2.3'"},
        {"solid\n" FACET("0 0 0x10") "endsolid", PO_E_SYNTAX, 2, 42, 0, "found '0x10'"},
        {"solid\n" FACET("0 0 1,5") "endsolid", PO_E_SYNTAX, 2, 42, 0, "found '1,5'"},
        {"solid\n" FACET("0 0") "endsolid", PO_E_SYNTAX, 2, 42, 0, "found 'vertex' where a finite number"},
        {"solid\n" FACET("0 0 0 0") "endsolid", PO_E_SYNTAX, 2, 44, 0, "found '0' where vertex"},
        {"solid\n" FACET("0 0 0 vertex 5 5 5") "endsolid", PO_E_SYNTAX, 2, 70, 0, "found 'vertex' where endloop"},
        {"solid\nfacets", PO_E_SYNTAX, 2, 1, 0, "found 'facets' where facet or endsolid"},
        {"solid\nfacet normal 0 0 1\n outer loop\n vertex 0 0", PO_E_SYNTAX, 4, 12, 0,
         "the file breaks off where a finite number"},
        {"solid\nfacet normal 0 0 1\n o", PO_E_SYNTAX, 3, 2, 0, "the file breaks off after 'o', where outer"},
        {"solid\nfacet normal 0 0 1\n x", PO_E_SYNTAX, 3, 2, 0, "found 'x' where outer"},
        {"solid\nfacet normal 0 0 1\n outer loop\n vertex 0 1.5e", PO_E_SYNTAX, 4, 11, 0, "breaks off after '1.5e'"},
        {"solid\n" FACET("0 0 0") "endso", PO_E_SYNTAX, 3, 1, 0, "the file breaks off after 'endso', where facet or"},
        {"solid\n" FACET("0 0 0") "G1 X5\n", PO_E_SYNTAX, 3, 1, 0, "found 'G1' where facet or endsolid"},
        {"solid\n" FACET("0 0 0") "endsolid\n" FACET("0 0 0"), PO_E_SYNTAX, 4, 1, 0, "found 'facet' where solid"},
        {"", PO_E_EMPTY, 0, 0, 0, "an empty file"},
        {"solidly", PO_E_EMPTY, 0, 0, 0, "neither STL nor 3MF"},
        {"G1 X10 Y10 E1 F1200\nG1 X20\n", PO_E_EMPTY, 0, 0, 0, "neither STL nor 3MF"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        answer a = read_bytes(cases[i].text, strlen(cases[i].text));
        assert_int_equal(a.status, cases[i].status);
        if (a.status == PO_OK) {
            assert_int_equal(a.part->n_objects, cases[i].objects);
            assert_string_equal(notes_of(&a), cases[i].says);
        } else {
            assert_int_equal(a.err.line, cases[i].line);
            assert_int_equal(a.err.column, cases[i].column);
            assert_non_null(strstr(a.err.msg, cases[i].says));
        }
        done(&a);
    }
}

/* Lines longer than the window, and files much longer than it. */
static void test_long(void **state)
{
    (void)state;
    size_t n = 3u << 20, at;
    char *text = malloc(n);
    assert_non_null(text);
    memset(text, ' ', n);
    at = (size_t)snprintf(text, n, "solid\n");
    text[at] = ' ';
    memcpy(text + n - 200, FACET("0 0 0") "endsolid\n", sizeof(FACET("0 0 0") "endsolid\n") - 1);
    answer a = read_bytes(text, n); /* blanks are free, megabytes of them, too */
    expect_mesh(&a, 0, 3, 1);
    done(&a);
    memset(text + 5, 'x', n - 5);
    text[5] = ' ';
    a = read_bytes(text, n); /* a name of megabytes */
    assert_int_equal(a.status, PO_E_SYNTAX);
    done(&a);
    free(text);
    soup s = {0};
    soup_torus(&s, 50, 50, 20, 30, 10, 200, 100);
    for (int kind = 0; kind < 2; kind++) {
        text = kind ? soup_text(&s, "ring", "\r\n", &n) : (char *)soup_binary(&s, 40000, &n);
        a = read_bytes(text, n);
        expect_mesh(&a, 0, 20000, 40000);
        done(&a);
        a = read_bytes(text, n - 1000);
        assert_int_equal(a.status, a.status == PO_OK ? PO_OK : PO_E_SYNTAX);
        assert_int_equal(a.status, kind ? PO_E_SYNTAX : PO_OK); /* 1000 is a whole number of records */
        done(&a);
        free(text);
    }
    free(s.nine);
}

static void test_prefixes(void **state)
{
    (void)state;
    soup s = {0};
    soup_tetra(&s, 1, 2, 3, 10);
    for (int kind = 0; kind < 2; kind++) {
        size_t n;
        char *bytes = kind ? soup_text(&s, "t", "\n", &n) : (char *)soup_binary(&s, 4, &n);
        for (size_t cut = 0; cut < n; cut++) {
            answer a = read_bytes(bytes, cut);
            assert_true(a.status == PO_OK || a.status == PO_E_SYNTAX || a.status == PO_E_EMPTY);
            if (a.status == PO_OK && cut < n - 3) { /* what could be read says that something is missing */
                assert_true(a.part->n_notes > 0);
            }
            assert_true(a.status == PO_OK || a.err.byte == PO_NO_BYTE || a.err.byte <= cut);
            done(&a);
        }
        free(bytes);
    }
    free(s.nine);
}

static void test_limits(void **state)
{
    (void)state;
    soup s = {0};
    soup_torus(&s, 0, 0, 0, 30, 10, 20, 20);
    for (int kind = 0; kind < 2; kind++) {
        size_t n;
        char *bytes = kind ? soup_text(&s, "t", "\n", &n) : (char *)soup_binary(&s, 800, &n);
        po_source source = {.data = bytes, .n_bytes = n};
        po_err err;
        const po_part *part;
        po_arena *arena = po_arena_new(0);
        po_part_limits limits = PO_PART_LIMITS_INIT;
        limits.most_triangles = 799;
        assert_int_equal(po_part_read(&source, &limits, arena, &part, &err), PO_E_LIMIT);
        limits.most_triangles = 800;
        assert_int_equal(po_part_read(&source, &limits, arena, &part, &err), PO_OK);
        limits.most_bytes = n - 1;
        assert_int_equal(po_part_read(&source, &limits, arena, &part, &err), PO_E_LIMIT);
        limits.most_bytes = n;
        assert_int_equal(po_part_read(&source, &limits, arena, &part, &err), PO_OK);
        po_arena_free(arena);
        for (size_t room = 0; room < 60000; room += 700) { /* memory runs out at any place */
            arena = po_arena_new(room + 1);
            po_status status = po_part_read(&source, NULL, arena, &part, &err);
            assert_true(status == PO_OK || status == PO_E_NOMEM);
            assert_true(status == PO_OK || err.code == PO_E_NOMEM);
            po_arena_free(arena);
        }
        free(bytes);
    }
    free(s.nine);
}

static void test_other_kinds(void **state)
{
    (void)state;
    static const struct {
        const char *bytes;
        size_t n;
        po_status status;
    } cases[] = {
        {"PK\5\6\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0", 22, PO_E_EMPTY},
        {"PK\7\10PK\3\4", 8, PO_E_UNSUPPORTED},
        {"PK", 2, PO_E_EMPTY},
        {"\x89PNG\r\n\x1a\n", 8, PO_E_EMPTY},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        answer a = read_bytes(cases[i].bytes, cases[i].n);
        assert_int_equal(a.status, cases[i].status);
        done(&a);
    }
    unsigned seed = 3; /* noise is no STL, whatever its length */
    for (int i = 0; i < 300; i++) {
        unsigned char noise[2000];
        for (size_t k = 0; k < sizeof noise; k++) {
            seed = seed * 1664525u + 1013904223u;
            noise[k] = (unsigned char)(seed >> 24);
        }
        answer a = read_bytes(noise, 1000 + (size_t)i);
        assert_int_equal(a.status, PO_E_EMPTY);
        done(&a);
    }
}

/* Many solids of one triangle: each its own, in time that grows with their number alone. */
static void test_many_solids(void **state)
{
    (void)state;
    enum { N = 100000 };
    static const char one[] = "solid\n" FACET("0 0 0") "endsolid\n";
    char *text = malloc(N * sizeof one);
    assert_non_null(text);
    for (size_t i = 0; i < N; i++) {
        memcpy(text + i * (sizeof one - 1), one, sizeof one - 1);
    }
    answer a = read_bytes(text, N * (sizeof one - 1));
    assert_int_equal(a.status, PO_OK);
    assert_int_equal(a.part->n_objects, N);
    expect_mesh(&a, N - 1, 3, 1);
    assert_int_equal(a.part->objects[N - 1].id, N);
    assert_true(a.part->items[N - 1].matrix[8] == 1 && a.part->items[N - 1].object == N - 1);
    done(&a);
    free(text);
}

/* A text of solids of so many triangles each. */
static char *text_of_solids(const soup *s, size_t each, size_t *ret_n)
{
    char *all = NULL;
    *ret_n = 0;
    for (size_t t = 0; t < s->n; t += each) {
        soup one = {s->nine + 9 * t, each, 0};
        char name[32];
        snprintf(name, sizeof name, "face %zu", t / each);
        size_t n;
        char *text = soup_text(&one, name, "\n", &n);
        all = realloc(all, *ret_n + n);
        assert_non_null(all);
        memcpy(all + *ret_n, text, n);
        *ret_n += n;
        free(text);
    }
    return all;
}

static void test_patches(void **state)
{
    (void)state;
    soup s = {0};
    size_t n;
    soup_box(&s, 0, 0, 0, 1, 2, 3);
    char *text = text_of_solids(&s, 2, &n); /* each face a solid: one body */
    answer a = read_bytes(text, n);
    assert_int_equal(a.part->n_objects, 1);
    expect_mesh(&a, 0, 8, 12);
    assert_string_equal(notes_of(&a), "the 6 solids of the file are pieces of one surface and are read as one;");
    assert_string_equal(a.part->objects[0].name, "face 0");
    done(&a);
    free(text);
    soup_box(&s, 1, 0, 0, 1, 2, 3); /* two bodies side by side stay two, though they share corners */
    text = text_of_solids(&s, 12, &n);
    a = read_bytes(text, n);
    assert_int_equal(a.part->n_objects, 2);
    expect_mesh(&a, 1, 8, 12);
    assert_int_equal(a.part->n_notes, 0);
    done(&a);
    free(text);
    s.n = 0;
    soup_box(&s, 0, 0, 0, 1, 2, 3);
    soup_box(&s, 5, 0, 0, 1, 2, 3);
    memmove(s.nine + 99, s.nine + 108, 99 * sizeof *s.nine); /* two bodies, a triangle missing from each */
    s.n = 22;
    text = text_of_solids(&s, 11, &n);
    a = read_bytes(text, n);
    assert_int_equal(a.part->n_objects, 2);
    done(&a);
    free(text);
    free(s.nine);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_binary),      cmocka_unit_test(test_counts),     cmocka_unit_test(test_not_finite),
        cmocka_unit_test(test_text),        cmocka_unit_test(test_text_cases), cmocka_unit_test(test_long),
        cmocka_unit_test(test_prefixes),    cmocka_unit_test(test_limits),     cmocka_unit_test(test_other_kinds),
        cmocka_unit_test(test_many_solids), cmocka_unit_test(test_patches),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
