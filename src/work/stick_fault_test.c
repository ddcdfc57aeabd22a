/* A stick that is full, locked, pulled out, or gives back other bytes: what stood there stays, and nothing is left beside it. SPDX-License-Identifier: Apache-2.0
 * The system's calls are wrapped by the linker, so no stick has to be broken for it. */
#include <errno.h>
#include <fcntl.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "work/stick_put.h"

/* FIPS 180-4, example for "abc" (NIST, SHA256.pdf) */
#define ABC "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

typedef enum fault { WELL, FULL, HALF_FULL, LOCKED, NOT_BROUGHT, OTHER_BYTES, SHORTER, NOT_READ, PULLED } fault;
static fault now = WELL;

ssize_t __real_write(int fd, const void *bytes, size_t n);
ssize_t __wrap_write(int fd, const void *bytes, size_t n);
int __real_fsync(int fd);
int __wrap_fsync(int fd);
ssize_t __real_read(int fd, void *bytes, size_t n);
ssize_t __wrap_read(int fd, void *bytes, size_t n);
int __real_renameat(int from, const char *name, int to, const char *as);
int __wrap_renameat(int from, const char *name, int to, const char *as);

static int fails(int why)
{
    errno = why;
    return -1;
}

ssize_t __wrap_write(int fd, const void *bytes, size_t n)
{
    static bool once;
    if (now == FULL || (now == HALF_FULL && once)) {
        once = false;
        return fails(ENOSPC);
    }
    once = now == HALF_FULL;
    return now == LOCKED ? fails(EROFS) : __real_write(fd, bytes, once ? 1 : n);
}

int __wrap_fsync(int fd)
{
    int done = now == NOT_BROUGHT ? fails(EIO) : __real_fsync(fd);
    if (now == OTHER_BYTES) { /* a worn stick: it said that all is there */
        assert_int_equal(pwrite(fd, "X", 1, 1), 1);
    } else if (now == SHORTER) {
        assert_int_equal(ftruncate(fd, 2), 0);
    }
    return done;
}

ssize_t __wrap_read(int fd, void *bytes, size_t n)
{
    return now == NOT_READ ? fails(EIO) : __real_read(fd, bytes, n);
}

int __wrap_renameat(int from, const char *name, int to, const char *as)
{
    return now == PULLED ? fails(ENODEV) : __real_renameat(from, name, to, as);
}

static void as_it_was(void **state)
{
    static const struct {
        fault fault;
        po_status status;
        const char *says;
    } cases[] = {
        {FULL, PO_E_IO, "No space left"},
        {HALF_FULL, PO_E_IO, "No space left"},
        {LOCKED, PO_E_IO, "Read-only"},
        {NOT_BROUGHT, PO_E_IO, "Input/output error"},
        {OTHER_BYTES, PO_E_CONFLICT, "other bytes"},
        {SHORTER, PO_E_CONFLICT, "other bytes"},
        {NOT_READ, PO_E_IO, "can't be read back"},
        {PULLED, PO_E_IO, "No such device"},
    };
    char mount[] = "/tmp/stick-XXXXXX", path[64], beside[64];
    (void)state;
    assert_non_null(mkdtemp(mount));
    snprintf(path, sizeof path, "%s/A.GCO", mount);
    snprintf(beside, sizeof beside, "%s/.proveout-new", mount);
    int fd = open(path, O_WRONLY | O_CREAT, 0600);
    assert_int_equal(__real_write(fd, "earlier", 7), 7);
    close(fd);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        po_err err;
        char bytes[16] = "";
        now = cases[i].fault;
        po_status s = work_stick_put(mount, "A.GCO", "abc", 3, ABC, &err);
        now = WELL;
        assert_int_equal(s, cases[i].status);
        assert_non_null(strstr(err.msg, cases[i].says));
        assert_int_not_equal(access(beside, F_OK), 0);
        fd = open(path, O_RDONLY);
        assert_int_equal(__real_read(fd, bytes, sizeof bytes - 1), 7);
        close(fd);
        assert_string_equal(bytes, "earlier");
    }
    po_err err;
    assert_int_equal(work_stick_put(mount, "A.GCO", "abc", 3, ABC, &err), PO_OK);
    unlink(path);
    assert_int_equal(rmdir(mount), 0);
}

static void names(void **state)
{
    char mount[] = "/tmp/stick-XXXXXX", path[64];
    po_arena *arena = po_arena_new(0);
    po_err err;
    work_released how = WORK_BUSY;
    (void)state;
    assert_non_null(mkdtemp(mount));
    assert_string_equal(work_stick_name(mount, "a.gcode", ABC, arena), "a.gcode");
    assert_int_equal(work_stick_put(mount, "a.gcode", "abc", 3, ABC, &err), PO_OK);
    assert_string_equal(work_stick_name(mount, "a.gcode", ABC, arena), "a.gcode"); /* the same job */
    snprintf(path, sizeof path, "%s/b.c.gcode", mount);
    fclose(fopen(path, "w"));
    assert_string_equal(work_stick_name(mount, "b.c.gcode", ABC, arena), "b.c-2.gcode"); /* somebody else's */
    assert_int_equal(work_stick_release(mount, &how, &err), PO_OK);
    assert_int_equal(how, WORK_FLUSHED); /* an ordinary folder */
    unlink(path);
    snprintf(path, sizeof path, "%s/a.gcode", mount);
    unlink(path);
    assert_int_equal(rmdir(mount), 0);
    assert_int_equal(work_stick_release(mount, &how, &err), PO_E_NOTFOUND);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(as_it_was), cmocka_unit_test(names)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
