/* What the ledger's tests share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_LEDGER_KIT_H
#define PO_LEDGER_KIT_H

#include <dirent.h>
#include <fcntl.h>
#include <jansson.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "proveout/ledger.h"

/* 2026-10-05T12:00:00Z, in the autumn term of the invented shop */
#define KIT_NOON INT64_C(1791201600000)
#define KIT_DAY INT64_C(86400000)
#define KIT_SHA "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"
#define KIT_SHA2 "bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb"

typedef struct kit {
    char folder[64], path[96];
    int64_t now;
    po_ledger *ledger;
    po_arena *arena;
    po_err err;
    po_act_done done;
} kit;

static inline int64_t kit_now(void *user)
{
    return ((kit *)user)->now;
}

static inline po_ledger_options kit_options(kit *k)
{
    return (po_ledger_options){.create = true, .now_ms = kit_now, .user = k};
}

static inline void kit_open(kit *k)
{
    po_ledger_options o = kit_options(k);
    po_status s = po_ledger_open(k->path, &o, &k->ledger, &k->err);
    if (s != PO_OK) {
        fail_msg("%s", k->err.msg);
    }
}

/* For tests of what acts come to, not of the disk: their books lie in memory where the system has such a folder, for thousands
 * of syncs take their time. */
static inline void kit_in_memory(void)
{
    if (!getenv("TMPDIR") && access("/dev/shm", W_OK) == 0) {
        setenv("TMPDIR", "/dev/shm", 1);
    }
}

static inline void kit_begin(kit *k)
{
    const char *base = getenv("TMPDIR");
    memset(k, 0, sizeof *k);
    snprintf(k->folder, sizeof k->folder, "%.40s/ledger-XXXXXX", base ? base : "/tmp");
    assert_non_null(mkdtemp(k->folder));
    snprintf(k->path, sizeof k->path, "%s/book.db", k->folder);
    k->now = KIT_NOON;
    k->arena = po_arena_new(0);
    assert_non_null(k->arena);
}

static inline void kit_remove(const char *folder)
{
    DIR *d = opendir(folder);
    assert_non_null(d);
    for (struct dirent *e; (e = readdir(d));) {
        unlinkat(dirfd(d), e->d_name, 0); /* "." and ".." stay by themselves */
    }
    closedir(d);
    assert_int_equal(rmdir(folder), 0);
}

static inline void kit_end(kit *k)
{
    po_ledger_close(k->ledger);
    po_arena_free(k->arena);
    kit_remove(k->folder);
}

static inline po_status kit_act(kit *k, const char *name, const char *by, const char *format, ...) PO_PRINTF(4, 5);
static inline po_status kit_act(kit *k, const char *name, const char *by, const char *format, ...)
{
    char body[2048];
    va_list values;
    va_start(values, format);
    vsnprintf(body, sizeof body, format, values);
    va_end(values);
    po_act act = {name, by, body};
    memset(&k->err, 0, sizeof k->err);
    return po_ledger_act(k->ledger, &act, k->arena, &k->done, &k->err);
}

#define OK(call)                                                                                                       \
    do {                                                                                                               \
        if ((call) != PO_OK) {                                                                                         \
            fail_msg("%s: [%s] %s", #call, k->err.where, k->err.msg);                                                  \
        }                                                                                                              \
    } while (0)

/* A refusal with that status, in whose sentence the words stand. */
#define REFUSED_WITH(call, status, words)                                                                              \
    do {                                                                                                               \
        assert_int_equal(call, status);                                                                                \
        if (!strstr(k->err.msg, words)) {                                                                              \
            fail_msg("[%s] is not in: [%s] %s", words, k->err.where, k->err.msg);                                      \
        }                                                                                                              \
    } while (0)

/* A number in a JSON answer; -1 where it is not there. path: "balance/left_um" */
static inline int64_t kit_number(const char *json, const char *path)
{
    json_t *root = json_loads(json, 0, NULL), *at = root;
    char copy[128], *rest = copy;
    snprintf(copy, sizeof copy, "%s", path);
    for (char *key = strsep(&rest, "/"); key && at; key = strsep(&rest, "/")) {
        at = json_is_array(at) ? json_array_get(at, strtoul(key, NULL, 10)) : json_object_get(at, key);
    }
    int64_t v = json_is_integer(at) ? json_integer_value(at) : json_is_boolean(at) ? json_is_true(at) : -1;
    json_decref(root);
    return v;
}

static inline const char *kit_ask(kit *k, const char *question, const char *format, ...) PO_PRINTF(3, 4);
static inline const char *kit_ask(kit *k, const char *question, const char *format, ...)
{
    char body[512];
    const char *json = NULL;
    va_list values;
    va_start(values, format);
    vsnprintf(body, sizeof body, format, values);
    va_end(values);
    OK(po_ledger_ask(k->ledger, question, body, k->arena, &json, &k->err));
    return json;
}

static inline void kit_clean(kit *k)
{
    const char *const *faults = NULL;
    size_t n = 0;
    OK(po_ledger_verify(k->ledger, k->arena, &faults, &n, &k->err));
    if (n > 0) {
        fail_msg("%zu faults, the first: %s", n, faults[0]);
    }
}

#endif
