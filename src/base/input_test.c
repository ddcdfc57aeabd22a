/* Checks of input.c, input_raw.c, input_unpack.c. SPDX-License-Identifier: Apache-2.0
 *
 * Packed samples are made here with zlib and libzstd themselves; the hashes are the examples of FIPS 180-4 (NIST,
 * "Secure Hash Standard"; the values stand in its example paper SHA256.pdf, from memory). */
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>
#include <zstd.h>

#include <cmocka.h>

#include "base/input.h"

typedef struct bytes {
    unsigned char *p;
    size_t n;
} bytes;

static bytes gzip_of(const void *p, size_t n)
{
    z_stream z = {0};
    assert_int_equal(deflateInit2(&z, 6, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY), Z_OK);
    size_t cap = deflateBound(&z, n) + 64;
    bytes b = {malloc(cap), 0};
    z.next_in = (unsigned char *)p;
    z.avail_in = (uInt)n;
    z.next_out = b.p;
    z.avail_out = (uInt)cap;
    assert_int_equal(deflate(&z, Z_FINISH), Z_STREAM_END);
    b.n = cap - z.avail_out;
    deflateEnd(&z);
    return b;
}

static bytes zstd_of(const void *p, size_t n, int window_log)
{
    size_t cap = ZSTD_compressBound(n);
    bytes b = {malloc(cap), 0};
    ZSTD_CCtx *c = ZSTD_createCCtx();
    ZSTD_CCtx_setParameter(c, ZSTD_c_checksumFlag, 1); /* so that every changed byte is noticed */
    if (window_log) {
        ZSTD_CCtx_setParameter(c, ZSTD_c_windowLog, window_log);
        ZSTD_CCtx_setParameter(c, ZSTD_c_contentSizeFlag, 0);
    }
    ZSTD_inBuffer in = {p, n, 0};
    ZSTD_outBuffer out = {b.p, cap, 0};
    size_t r = 1;
    if (window_log) { /* without the size known beforehand the window is as asked */
        r = ZSTD_compressStream2(c, &out, &in, ZSTD_e_continue);
        assert_false(ZSTD_isError(r));
    }
    r = ZSTD_compressStream2(c, &out, &in, ZSTD_e_end);
    assert_int_equal(r, 0);
    b.n = out.pos;
    ZSTD_freeCCtx(c);
    return b;
}

static bytes joined(bytes a, bytes b)
{
    bytes r = {malloc(a.n + b.n + 1), a.n + b.n};
    memcpy(r.p, a.p, a.n);
    memcpy(r.p + a.n, b.p, b.n);
    return r;
}

/* Lines that pack well but not to nothing. */
static bytes lines_of(size_t n)
{
    bytes b = {malloc(n + 64), 0};
    unsigned seed = 1;
    while (b.n < n) {
        seed = seed * 1664525u + 1013904223u;
        b.n += (size_t)sprintf((char *)b.p + b.n, "G1 X%u.%03u E0.%05u\n", seed >> 25, seed % 1000,
                               (seed >> 8) % 100000);
    }
    b.n = n;
    return b;
}

/* Everything an input gives, read in pieces of `piece`; *ret is filled also before an error. */
static po_status read_all(po_input *input, size_t piece, bytes *ret, po_err *err)
{
    size_t cap = 1 << 16;
    *ret = (bytes){malloc(cap), 0};
    for (;;) {
        if (ret->n + piece > cap) {
            cap = (ret->n + piece) * 2;
            ret->p = realloc(ret->p, cap);
        }
        size_t n;
        po_status s = po_input_read(input, ret->p + ret->n, piece, &n, err);
        if (s != PO_OK || n == 0) {
            return s;
        }
        ret->n += n;
    }
}

static po_status unpack(bytes packed, uint64_t most, size_t piece, bytes *ret, po_err *err)
{
    /* A copy of exactly that size, so that AddressSanitizer sees a read past it. */
    unsigned char *exact = malloc(packed.n ? packed.n : 1);
    memcpy(exact, packed.p, packed.n);
    po_source source = {.data = exact, .n_bytes = packed.n};
    po_input *input;
    assert_int_equal(po_input_open(&source, most, false, &input, err), PO_OK);
    po_status s = read_all(input, piece, ret, err);
    po_input_close(input);
    free(exact);
    return s;
}

static void expect_same(bytes packed, bytes plain)
{
    static const size_t pieces[] = {1000, 65536, 262144, 1u << 20};
    for (size_t i = 0; i < sizeof pieces / sizeof *pieces; i++) {
        bytes got;
        po_err err;
        assert_int_equal(unpack(packed, 0, pieces[i], &got, &err), PO_OK);
        assert_int_equal(got.n, plain.n);
        assert_memory_equal(got.p, plain.p, plain.n);
        free(got.p);
    }
}

static void test_round_trip(void **state)
{
    (void)state;
    /* Around the block of 256 KB, the packed block of 128 KB, and well beyond the ring. */
    static const size_t sizes[] = {0, 1, 2, 3, 4, 5, 1000, 131071, 131072, 262143, 262144, 262145, 524288, 5000001};
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        bytes plain = lines_of(sizes[i]);
        bytes gz = gzip_of(plain.p, plain.n), zst = zstd_of(plain.p, plain.n, 0);
        expect_same(plain, plain);
        expect_same(gz, plain);
        expect_same(zst, plain);
        free(plain.p);
        free(gz.p);
        free(zst.p);
    }
}

static void test_many_members(void **state)
{
    (void)state;
    bytes a = lines_of(300000), b = lines_of(77), none = {(unsigned char *)"", 0};
    bytes both = joined(a, b);
    bytes gz[3] = {gzip_of(a.p, a.n), gzip_of(none.p, 0), gzip_of(b.p, b.n)};
    bytes zst[3] = {zstd_of(a.p, a.n, 0), zstd_of(none.p, 0, 0), zstd_of(b.p, b.n, 0)};
    bytes skip = {(unsigned char *)"\x5a\x2a\x4d\x18\x05\0\0\0hello", 13}; /* RFC 8878, 3.1.2 */
    bytes zeros = {(unsigned char *)"\0\0\0\0\0\0\0", 7};
    bytes g1 = joined(gz[0], gz[1]), g2 = joined(g1, gz[2]), g3 = joined(g2, zeros);
    bytes z0 = joined(skip, zst[0]), z1 = joined(z0, zst[1]), z2 = joined(z1, skip), z3 = joined(z2, zst[2]);
    bytes z4 = joined(z3, skip);
    expect_same(g2, both);
    expect_same(g3, both);
    expect_same(z3, both);
    expect_same(z4, both);
    bytes all[] = {a, b, both, gz[0], gz[1], gz[2], zst[0], zst[1], zst[2], g1, g2, g3, z0, z1, z2, z3, z4};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++) {
        free(all[i].p);
    }
}

static void expect_syntax_at(bytes packed, uint64_t byte)
{
    bytes got;
    po_err err;
    assert_int_equal(unpack(packed, 0, 65536, &got, &err), PO_E_SYNTAX);
    assert_int_equal(err.code, PO_E_SYNTAX);
    assert_true(err.byte == byte);
    free(got.p);
}

static void test_every_truncation(void **state)
{
    (void)state;
    bytes plain = lines_of(700);
    bytes packed[4] = {gzip_of(plain.p, plain.n), zstd_of(plain.p, plain.n, 0), {0}, {0}};
    packed[2] = joined(packed[0], packed[0]);
    packed[3] = joined(packed[1], packed[1]);
    for (int k = 0; k < 4; k++) {
        size_t told = k % 2 ? 4 : 2; /* fewer bytes are not yet known as packed: they are plain */
        for (size_t n = told; n < packed[k].n; n++) {
            if (k >= 2 && n == packed[k].n / 2) {
                continue; /* whole again */
            }
            bytes cut = {packed[k].p, n}, got;
            po_err err;
            assert_int_equal(unpack(cut, 0, 4096, &got, &err), PO_E_SYNTAX);
            assert_true(err.byte <= n);
            assert_true(got.n <= plain.n * 2);
            assert_memory_equal(got.p, plain.p, got.n < plain.n ? got.n : plain.n);
            free(got.p);
        }
        free(packed[k].p);
    }
    free(plain.p);
}

static void test_every_changed_byte(void **state)
{
    (void)state;
    bytes plain = lines_of(700);
    bytes packed[2] = {gzip_of(plain.p, plain.n), zstd_of(plain.p, plain.n, 0)};
    for (int k = 0; k < 2; k++) {
        for (size_t i = k ? 4 : 2; i < packed[k].n; i++) {
            for (int bit = 0; bit < 8; bit++) {
                packed[k].p[i] ^= (unsigned char)(1 << bit);
                bytes got;
                po_err err;
                po_status s = unpack(packed[k], 1 << 20, 4096, &got, &err);
                if (s == PO_OK) { /* name, time and system bytes of a gzip head mean nothing; the rest must show */
                    assert_int_equal(got.n, plain.n);
                    assert_memory_equal(got.p, plain.p, plain.n);
                } else {
                    assert_true(s == PO_E_SYNTAX || s == PO_E_LIMIT);
                    assert_true(err.byte == PO_NO_BYTE || err.byte <= packed[k].n);
                }
                free(got.p);
                packed[k].p[i] ^= (unsigned char)(1 << bit);
            }
        }
        free(packed[k].p);
    }
    free(plain.p);
}

static void test_trailing_bytes(void **state)
{
    (void)state;
    bytes plain = lines_of(500000), tail = {(unsigned char *)"G28\n", 4}, mixed = {(unsigned char *)"\0\0\x1f\x8b", 4};
    bytes gz = gzip_of(plain.p, plain.n), zst = zstd_of(plain.p, plain.n, 0);
    bytes a = joined(gz, tail), b = joined(zst, tail), c = joined(gz, mixed), d = {a.p, gz.n + 1}, e = {b.p, zst.n + 1};
    expect_syntax_at(a, gz.n);
    expect_syntax_at(b, zst.n);
    expect_syntax_at(c, gz.n + 2);
    expect_syntax_at(d, gz.n);
    expect_syntax_at(e, zst.n);
    free(plain.p);
    free(gz.p);
    free(zst.p);
    free(a.p);
    free(b.p);
    free(c.p);
}

static void test_caps(void **state)
{
    (void)state;
    size_t n = 64u << 20;
    unsigned char *zeros = calloc(n, 1);
    bytes gz = gzip_of(zeros, n), zst = zstd_of(zeros, n, 0);
    assert_true(gz.n < 100000 && zst.n < 100000); /* a thousandfold: bombs */
    static const uint64_t caps[] = {1, 1000, 262143, 262144, 262145, 1u << 20, 3000000};
    for (size_t i = 0; i < sizeof caps / sizeof *caps; i++) {
        for (int k = 0; k < 3; k++) {
            bytes got, from = k == 0 ? gz : k == 1 ? zst : (bytes){zeros, 4000000};
            po_err err;
            assert_int_equal(unpack(from, caps[i], 100000, &got, &err), PO_E_LIMIT);
            assert_true(got.n == caps[i]);
            assert_non_null(strstr(err.msg, "cap"));
            free(got.p);
            bytes fits = {zeros, (size_t)caps[i]}, packed = k == 0   ? gzip_of(fits.p, fits.n)
                                                            : k == 1 ? zstd_of(fits.p, fits.n, 0)
                                                                     : joined(fits, (bytes){zeros, 0});
            assert_int_equal(unpack(packed, caps[i], 100000, &got, &err), PO_OK); /* exactly the cap is no more */
            assert_true(got.n == caps[i]);
            free(got.p);
            free(packed.p);
        }
    }
    free(gz.p);
    free(zst.p);

    bytes wide = zstd_of(zeros, 1000, 28), got; /* a window of 256 MB in a file of a few bytes */
    po_err err;
    assert_int_equal(unpack(wide, 0, 1000, &got, &err), PO_E_LIMIT);
    free(got.p);
    free(wide.p);
    wide = zstd_of(zeros, 1000, 27);
    assert_int_equal(unpack(wide, 0, 1000, &got, &err), PO_OK);
    assert_int_equal(got.n, 1000);
    free(got.p);
    free(wide.p);

    /* Packed bytes that unpack to nothing, without end: empty gzip members. */
    bytes empty = gzip_of("", 0), many = {malloc(empty.n * 10000), empty.n * 10000};
    for (size_t i = 0; i < 10000; i++) {
        memcpy(many.p + i * empty.n, empty.p, empty.n);
    }
    assert_int_equal(unpack(many, 1000, 1000, &got, &err), PO_E_LIMIT);
    free(got.p);
    assert_int_equal(unpack(many, 0, 1000, &got, &err), PO_OK);
    assert_int_equal(got.n, 0);
    free(got.p);
    free(many.p);
    free(empty.p);
    free(zeros);
}

static void expect_hash(const void *p, size_t n, const char *want)
{
    po_source source = {.data = p, .n_bytes = n};
    po_input *input;
    po_err err;
    assert_int_equal(po_input_open(&source, 0, true, &input, &err), PO_OK);
    bytes got;
    assert_int_equal(read_all(input, 70000, &got, &err), PO_OK);
    free(got.p);
    char hex[65];
    assert_int_equal(po_input_sha256(input, hex, &err), PO_OK);
    assert_string_equal(hex, want);
    /* A second reading leaves it alone; asking in the middle reads to the end first. */
    assert_int_equal(po_input_again(input, &err), PO_OK);
    assert_int_equal(po_input_sha256(input, hex, &err), PO_OK);
    assert_string_equal(hex, want);
    po_input_close(input);
    assert_int_equal(po_input_open(&source, 0, true, &input, &err), PO_OK);
    char few[10];
    size_t n_few;
    assert_int_equal(po_input_read(input, few, sizeof few, &n_few, &err), PO_OK);
    assert_int_equal(po_input_again(input, &err), PO_OK);
    assert_int_equal(po_input_read(input, few, sizeof few, &n_few, &err), PO_OK);
    assert_int_equal(po_input_sha256(input, hex, &err), PO_OK);
    assert_string_equal(hex, want);
    po_input_close(input);
}

static void test_hash(void **state)
{
    (void)state;
    expect_hash("abc", 3, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    expect_hash("", 0, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    const char *two_blocks = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    expect_hash(two_blocks, 56, "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    char *a = malloc(1000000);
    memset(a, 'a', 1000000);
    expect_hash(a, 1000000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    free(a);
}

/* The hash is of the bytes as given, packed, also where they do not unpack. */
static void test_hash_of_packed(void **state)
{
    (void)state;
    bytes plain = lines_of(3000000), gz = gzip_of(plain.p, plain.n), cut = {gz.p, gz.n - 1};
    po_source as_plain = {.data = gz.p + 1, .n_bytes = gz.n - 2}; /* without its first byte it is no gzip */
    po_source source[2] = {{.data = gz.p, .n_bytes = gz.n}, {.data = cut.p, .n_bytes = cut.n}};
    char hex[3][65];
    for (int i = 0; i < 2; i++) {
        po_input *input;
        po_err err;
        bytes got;
        assert_int_equal(po_input_open(&source[i], 0, true, &input, &err), PO_OK);
        assert_int_equal(read_all(input, 70000, &got, &err), i ? PO_E_SYNTAX : PO_OK);
        free(got.p);
        assert_int_equal(po_input_sha256(input, hex[i], &err), PO_OK);
        assert_true(po_input_raw_done(input) == source[i].n_bytes);
        assert_true(po_input_raw_total(input) == source[i].n_bytes);
        po_input_close(input);
    }
    po_input *input;
    po_err err;
    assert_int_equal(po_input_open(&as_plain, 0, true, &input, &err), PO_OK);
    assert_int_equal(po_input_sha256(input, hex[2], &err), PO_OK);
    po_input_close(input);
    assert_string_not_equal(hex[0], hex[1]);
    assert_string_not_equal(hex[1], hex[2]);
    free(plain.p);
    free(gz.p);
}

typedef struct feed {
    int fd;
    bytes from;
} feed;

static void *feed_pipe(void *user)
{
    feed *f = user;
    for (size_t at = 0; at < f->from.n;) {
        ssize_t n = write(f->fd, f->from.p + at, f->from.n - at < 7777 ? f->from.n - at : 7777);
        if (n <= 0) {
            break;
        }
        at += (size_t)n;
    }
    close(f->fd);
    return NULL;
}

/* Standard input as a pipe: once, and again when it is kept. */
static void test_pipe(void **state)
{
    (void)state;
    int old = dup(STDIN_FILENO);
    bytes plain = lines_of(3000000), gz = gzip_of(plain.p, plain.n);
    for (int k = 0; k < 4; k++) {
        int ends[2];
        assert_int_equal(pipe(ends), 0);
        dup2(ends[0], STDIN_FILENO);
        close(ends[0]);
        feed f = {ends[1], k % 2 ? gz : plain};
        pthread_t thread;
        pthread_create(&thread, NULL, feed_pipe, &f);
        po_source source = {.path = "-"};
        po_input *input;
        po_err err;
        bytes got;
        assert_int_equal(po_input_open(&source, 0, true, &input, &err), PO_OK);
        assert_true(po_input_raw_total(input) == 0);
        if (k >= 2) {
            po_input_keep(input);
            char few[20]; /* part of it, then from the start: the rest still comes from the pipe */
            size_t n;
            assert_int_equal(po_input_read(input, few, sizeof few, &n, &err), PO_OK);
            assert_int_equal(n, sizeof few);
            assert_int_equal(po_input_again(input, &err), PO_OK);
        }
        for (int pass = 0; pass < (k >= 2 ? 3 : 1); pass++) {
            assert_int_equal(read_all(input, 100000, &got, &err), PO_OK);
            assert_int_equal(got.n, plain.n);
            assert_memory_equal(got.p, plain.p, plain.n);
            free(got.p);
            if (k >= 2) {
                assert_int_equal(po_input_again(input, &err), PO_OK);
            }
        }
        if (k < 2) {
            assert_int_equal(po_input_again(input, &err), PO_E_UNSUPPORTED);
        }
        char hex[65], want[65];
        assert_int_equal(po_input_sha256(input, hex, &err), PO_OK);
        po_input_close(input);
        pthread_join(thread, NULL);
        source = (po_source){.data = f.from.p, .n_bytes = f.from.n};
        assert_int_equal(po_input_open(&source, 0, true, &input, &err), PO_OK);
        assert_int_equal(po_input_sha256(input, want, &err), PO_OK);
        po_input_close(input);
        assert_string_equal(hex, want);
    }
    dup2(old, STDIN_FILENO);
    close(old);
    free(plain.p);
    free(gz.p);
}

/* Closing does not wait for a pipe that is silent. (A failure here is a test that hangs until its time is up.) */
static void test_close_while_waiting(void **state)
{
    (void)state;
    char path[] = "/tmp/proveout-test-XXXXXX";
    assert_non_null(mkdtemp(path));
    char fifo[64];
    snprintf(fifo, sizeof fifo, "%s/fifo", path);
    assert_int_equal(mkfifo(fifo, 0600), 0);
    int both = open(fifo, O_RDWR); /* keeps it open */
    po_source source = {.path = fifo};
    for (int k = 0; k < 2; k++) {
        po_input *input;
        po_err err;
        assert_int_equal(po_input_open(&source, 0, true, &input, &err), PO_OK);
        bytes plain = lines_of(262144 + 1000);
        feed f = {dup(both), plain};
        pthread_t thread;
        pthread_create(&thread, NULL, feed_pipe, &f);
        char *buf = malloc(plain.n);
        size_t n;
        assert_int_equal(po_input_read(input, buf, 262144, &n, &err), PO_OK); /* one block: no thread so far */
        assert_int_equal(n, 262144);
        pthread_join(thread, NULL);
        if (k) {
            f = (feed){dup(both), {plain.p, 262144}};
            pthread_create(&thread, NULL, feed_pipe, &f);
            assert_int_equal(po_input_read(input, buf, 262144, &n, &err), PO_OK); /* the thread reads, then waits */
            pthread_join(thread, NULL);
        }
        po_input_close(input);
        free(buf);
        free(plain.p);
        int flags = fcntl(both, F_GETFL);
        fcntl(both, F_SETFL, flags | O_NONBLOCK);
        char rest[4096];
        while (read(both, rest, sizeof rest) > 0) {
        }
        fcntl(both, F_SETFL, flags);
    }
    close(both);
    unlink(fifo);
    rmdir(path);
}

static void test_files(void **state)
{
    (void)state;
    char path[] = "/tmp/proveout-test-XXXXXX";
    int fd = mkstemp(path);
    bytes plain = lines_of(2000000), gz = gzip_of(plain.p, plain.n);
    assert_int_equal(write(fd, gz.p, gz.n), (ssize_t)gz.n);
    po_source source = {.path = path};
    po_input *input;
    po_err err;
    bytes got;
    assert_int_equal(po_input_open(&source, 0, true, &input, &err), PO_OK);
    assert_true(po_input_raw_total(input) == gz.n);
    for (int pass = 0; pass < 2; pass++) { /* files need no keeping */
        assert_int_equal(read_all(input, 100000, &got, &err), PO_OK);
        assert_int_equal(got.n, plain.n);
        free(got.p);
        assert_true(po_input_raw_done(input) == gz.n);
        assert_int_equal(po_input_again(input, &err), PO_OK);
    }
    assert_int_equal(ftruncate(fd, 100), 0);
    assert_int_equal(po_input_again(input, &err), PO_E_IO);
    assert_non_null(strstr(err.msg, "changed"));
    po_input_close(input);
    /* Errors name the file as given, and the place. */
    assert_int_equal(po_input_open(&source, 0, true, &input, &err), PO_OK);
    assert_int_equal(read_all(input, 100000, &got, &err), PO_E_SYNTAX);
    free(got.p);
    assert_true(err.byte == 100);
    assert_string_equal(err.where, path);
    po_input_close(input);
    close(fd);
    unlink(path);
    assert_int_equal(po_input_open(&source, 0, true, &input, &err), PO_E_NOTFOUND);
    assert_string_equal(err.where, path);
    source.path = "/tmp";
    assert_int_equal(po_input_open(&source, 0, true, &input, &err), PO_E_IO);
    source.path = "/dev/null/x";
    assert_int_equal(po_input_open(&source, 0, true, &input, NULL), PO_E_NOTFOUND);
    source = (po_source){0}; /* memory of no bytes */
    assert_int_equal(po_input_open(&source, 0, false, &input, &err), PO_OK);
    assert_int_equal(read_all(input, 10, &got, &err), PO_OK);
    assert_int_equal(got.n, 0);
    free(got.p);
    char hex[65];
    assert_int_equal(po_input_sha256(input, hex, &err), PO_E_INTERNAL);
    po_input_close(input);
    po_input_close(NULL);
    free(plain.p);
    free(gz.p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_round_trip),
        cmocka_unit_test(test_many_members),
        cmocka_unit_test(test_every_truncation),
        cmocka_unit_test(test_every_changed_byte),
        cmocka_unit_test(test_trailing_bytes),
        cmocka_unit_test(test_caps),
        cmocka_unit_test(test_hash),
        cmocka_unit_test(test_hash_of_packed),
        cmocka_unit_test(test_pipe),
        cmocka_unit_test(test_close_while_waiting),
        cmocka_unit_test(test_files),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
