/* Attached files: the acts, the folder beside the book, and what may happen to it. SPDX-License-Identifier: Apache-2.0
 *
 * The calls that change the folder are wrapped (meson.build), so that each of them can fail or be the last of the process. */
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <sys/file.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include "ledger/ledger_kit.h"
#include "proveout/keepsakes.h"

/* ---- calls that fail, or end the process ---- */

static struct {
    int at, calls; /* 0: never; else at the so-manieth call from now */
    int error;     /* errno; 0: the process is killed, before the call or (after) once it was made */
    bool after;
} fault;

static bool due(void)
{
    return fault.at && ++fault.calls == fault.at;
}

static void die_if(bool now)
{
    if (now && !fault.error) {
        kill(getpid(), SIGKILL);
    }
}

#define WRAP(type, name, parameters, arguments)                                                                        \
    type __real_##name parameters;                                                                                     \
    type __wrap_##name parameters;                                                                                     \
    type __wrap_##name parameters                                                                                      \
    {                                                                                                                  \
        bool now = due();                                                                                              \
        die_if(now && !fault.after);                                                                                   \
        if (now && fault.error) {                                                                                      \
            errno = fault.error;                                                                                       \
            return -1;                                                                                                 \
        }                                                                                                              \
        type result = __real_##name arguments;                                                                         \
        die_if(now);                                                                                                   \
        return result;                                                                                                 \
    }
WRAP(ssize_t, write, (int file, const void *bytes, size_t n), (file, bytes, n))
WRAP(int, fsync, (int file), (file))
WRAP(int, mkdir, (const char *path, mode_t mode), (path, mode))
WRAP(int, mkdirat, (int folder, const char *path, mode_t mode), (folder, path, mode))
WRAP(int, renameat, (int a, const char *from, int b, const char *to), (a, from, b, to))
WRAP(int, link, (const char *from, const char *to), (from, to))

/* ---- a shop with a run, and files ---- */

enum { LONG = 300000 };
#define ALL_X "29927e273accc68286005017f7fa6e4f27bddb4db3083ff8b8d4c3667905b7fa" /* of LONG times x */
#define ABC "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"   /* FIPS 180-2, B.1: of "abc" */

static int64_t open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"d1\",\"role\":\"desk\"}"));
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"m1\"}"));
    OK(kit_act(k, "run-hand-out", "d1",
               "{\"member\":\"m1\",\"machine\":\"Alder\",\"um\":1000,\"sha256\":\"" ABC "\"}"));
    return (int64_t)k->done.event;
}

static void empty_folder(const char *path)
{
    DIR *d = opendir(path);
    for (struct dirent *e; d && (e = readdir(d));) {
        if (e->d_name[0] != '.') {
            char inside[400];
            snprintf(inside, sizeof inside, "%.120s/%s", path, e->d_name);
            if (unlink(inside) != 0) {
                empty_folder(inside);
                rmdir(inside);
            }
        }
    }
    if (d) {
        closedir(d);
    }
}

static char *beside(char out[300], kit *k, const char *rest)
{
    snprintf(out, 300, "%.90s.files%.120s", k->path, rest);
    return out;
}

static void close_shop(kit *k)
{
    char folder[300];
    empty_folder(beside(folder, k, ""));
    rmdir(folder);
    kit_end(k);
}

static char *path_of(char out[300], kit *k, const char *sha256)
{
    char rest[80];
    snprintf(rest, sizeof rest, "/%.2s/%s", sha256, sha256);
    return beside(out, k, rest);
}

static void make_file(const char *path, const char *bytes, size_t n)
{
    int f = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    assert_true(f >= 0);
    assert_int_equal(write(f, bytes, n), n);
    close(f);
}

static void put(kit *k, const char *text, po_keepsake *ret)
{
    OK(po_keepsake_put_bytes(k->ledger, text, strlen(text), NULL, ret, &k->err));
}

static int64_t attach(kit *k, const po_keepsake *s, const char *more)
{
    OK(kit_act(k, "file-attach", "d1", "{\"sha256\":\"%s\",\"bytes\":%lld,%s}", s->sha256, (long long)s->bytes, more));
    return (int64_t)k->done.event;
}

static void refused(kit *k, po_status status, po_status want, const char *says)
{
    if (status != want || !strstr(k->err.msg, says)) {
        fail_msg("%d, not %d: \"%s\" instead of \"%s\"", status, want, k->err.msg, says);
    }
}

/* How many entries begin with a word, in the folder itself and in its drawers. */
static int count(const char *folder, const char *word)
{
    int n = 0;
    DIR *d = opendir(folder);
    for (struct dirent *e; d && (e = readdir(d));) {
        char inside[400];
        snprintf(inside, sizeof inside, "%.120s/%.250s", folder, e->d_name);
        n += strncmp(e->d_name, word, strlen(word)) == 0;
        n += strlen(e->d_name) == 2 && e->d_name[0] != '.' ? count(inside, word) : 0;
    }
    if (d) {
        closedir(d);
    }
    return n;
}

static void make_old(const char *path)
{
    struct timespec t[2] = {{.tv_sec = time(NULL) - 3601}, {.tv_sec = time(NULL) - 3601}};
    assert_int_equal(utimensat(AT_FDCWD, path, t, AT_SYMLINK_NOFOLLOW), 0);
}

static size_t faults_of(kit *k, const char *says)
{
    const char *const *faults = NULL;
    size_t n = 0;
    OK(po_keepsakes_verify(k->ledger, k->arena, &faults, &n, &k->err));
    if (says && (n == 0 || !strstr(faults[0], says))) {
        fail_msg("%zu faults, \"%s\" instead of \"%s\"", n, n ? faults[0] : "", says);
    }
    return n;
}

static po_keepsakes_tidied tidy(kit *k, bool only_look)
{
    po_keepsakes_tidied t = {0};
    OK(po_keepsakes_tidy(k->ledger, only_look, &t, &k->err));
    return t;
}

/* ---- the acts ---- */

static void attached(void **state)
{
    (void)state;
    kit one, *k = &one;
    int64_t run = open_shop(k);
    char more[100];
    po_keepsake job, photo;
    put(k, "abc", &job);
    assert_string_equal(job.sha256, ABC);
    assert_int_equal(job.bytes, 3);
    put(k, "a photo of Alder", &photo);
    snprintf(more, sizeof more, "\"kind\":\"job\",\"run\":%lld,\"name\":\"bracket v2.gcode\"", (long long)run);
    int64_t file = attach(k, &job, more);
    refused(k, kit_act(k, "file-attach", "d1", "{\"sha256\":\"" ABC "\",\"bytes\":3,%s}", more), PO_E_CONFLICT,
            "attached there already, as file");
    refused(k, kit_act(k, "file-attach", "d1", "{\"sha256\":\"%s\",\"bytes\":16,%s}", photo.sha256, more),
            PO_E_CONFLICT, "not the file that run");
    refused(
        k,
        kit_act(k, "file-attach", "d1", "{\"sha256\":\"" ABC "\",\"bytes\":4,\"kind\":\"other\",\"machine\":\"Elm\"}"),
        PO_E_CONFLICT, "has 3 bytes");
    refused(k, kit_act(k, "file-attach", "d1", "{\"sha256\":\"" ABC "\",\"bytes\":3,\"kind\":\"other\"}"), PO_E_RANGE,
            "to a run or to a machine");
    refused(k, kit_act(k, "file-attach", "d1", "{\"sha256\":\"" ABC "\",\"bytes\":3,\"kind\":\"other\",\"run\":99}"),
            PO_E_NOTFOUND, "there is no run 99");
    refused(
        k,
        kit_act(k, "file-attach", "d1", "{\"sha256\":\"../../etc/passwd\",\"bytes\":3,\"kind\":\"other\",\"run\":1}"),
        PO_E_RANGE, "64 hexadecimal digits");
    attach(k, &job, "\"kind\":\"other\",\"machine\":\"Elm\"");
    attach(k, &photo, "\"kind\":\"photo\",\"machine\":\"Alder\"");
    int64_t last = (int64_t)k->done.event;
    const char *all = kit_ask(k, "files", "{\"run\":%lld}", (long long)run);
    assert_int_equal(kit_number(all, "files/0/file"), file);
    assert_int_equal(kit_number(all, "files/1/file"), -1);
    assert_non_null(strstr(all, "bracket v2.gcode"));
    assert_int_equal(kit_number(kit_ask(k, "files", "{\"machine\":\"Alder\"}"), "files/0/file"), last);
    assert_int_equal(kit_number(kit_ask(k, "files", "{\"sha256\":\"" ABC "\"}"), "files/1/bytes"), 3);
    assert_int_equal(
        kit_number(kit_ask(k, "files", "{\"run\":%lld,\"machine\":\"Elm\"}", (long long)run), "files/0/file"), -1);
    assert_int_equal(kit_number(kit_ask(k, "files", "{\"file\":%lld}", (long long)last), "files/0/bytes"), 16);
    all = kit_ask(k, "files", "{\"limit\":2}");
    assert_int_equal(kit_number(all, "more"), true);
    all = kit_ask(k, "files", "{\"limit\":2,\"after\":%lld}", (long long)kit_number(all, "files/1/file"));
    assert_int_equal(kit_number(all, "files/0/file"), last);
    /* the run's hand-out rests on nothing while the file names it */
    refused(k, kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)run), PO_E_CONFLICT,
            "rests on it: undo that first");
    char *before = strdup(kit_ask(k, "files", "{}"));
    attach(k, &photo, "\"kind\":\"photo\",\"machine\":\"Birch\"");
    OK(kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)k->done.event));
    assert_string_equal(before, kit_ask(k, "files", "{}"));
    free(before);
    /* detaching stands: the bytes may be gone afterwards */
    OK(kit_act(k, "file-detach", "d1", "{\"file\":%lld}", (long long)file));
    refused(k, kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)k->done.event), PO_E_CONFLICT,
            "can not be taken back");
    refused(k, kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)file), PO_E_CONFLICT, "changed the same file");
    refused(k, kit_act(k, "file-detach", "d1", "{\"file\":%lld}", (long long)file), PO_E_CONFLICT, "detached already");
    refused(k, kit_act(k, "file-detach", "d1", "{\"file\":999}"), PO_E_NOTFOUND, "there is no file 999");
    const char *json = NULL;
    refused(k, po_ledger_ask(k->ledger, "files", "{\"file\":999}", k->arena, &json, &k->err), PO_E_NOTFOUND,
            "no file 999");
    assert_int_equal(kit_number(kit_ask(k, "files", "{\"run\":%lld}", (long long)run), "files/0/file"), -1);
    attach(k, &job, more); /* and anew */
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    assert_int_equal(faults_of(k, NULL), 0);
    close_shop(k);
}

/* ---- putting and reading ---- */

static void put_and_read(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    static char bytes[LONG];
    char path[300], out[300], kept[300];
    po_keepsake s, again;
    for (size_t i = 0; i < LONG; i++) {
        bytes[i] = (char)(i * 31 + i / 251);
    }
    snprintf(path, sizeof path, "%.60s/in", k->folder);
    snprintf(out, sizeof out, "%.60s/out", k->folder);
    make_file(path, bytes, LONG);
    OK(po_keepsake_put(k->ledger, path, &(po_keepsake_limits){LONG, LONG}, &s, &k->err));
    assert_int_equal(s.bytes, LONG);
    OK(po_keepsake_put_bytes(k->ledger, bytes, LONG, &(po_keepsake_limits){LONG, LONG}, &again, &k->err));
    assert_string_equal(s.sha256, again.sha256); /* kept once: it fits in the limit of one */
    refused(k, po_keepsake_put(k->ledger, path, &(po_keepsake_limits){LONG - 1, 0}, &again, &k->err), PO_E_LIMIT,
            "has 300000 bytes, and at most 299999");
    refused(k, po_keepsake_put_bytes(k->ledger, bytes, LONG, &(po_keepsake_limits){LONG - 1, 0}, &again, &k->err),
            PO_E_LIMIT, "at most 299999");
    refused(k, po_keepsake_put_bytes(k->ledger, "x", 1, &(po_keepsake_limits){0, LONG}, &again, &k->err), PO_E_LIMIT,
            "would hold 300001, more than its limit of 300000");
    refused(k, po_keepsake_put_bytes(k->ledger, "", 0, NULL, &again, &k->err), PO_E_EMPTY, "is empty");
    refused(k, po_keepsake_put(k->ledger, k->folder, NULL, &again, &k->err), PO_E_RANGE, "not a plain file");
    refused(k, po_keepsake_put(k->ledger, out, NULL, &again, &k->err), PO_E_NOTFOUND, "can't be opened");
    char fifo[300];
    snprintf(fifo, sizeof fifo, "%.60s/fifo", k->folder);
    assert_int_equal(mkfifo(fifo, 0600), 0);
    refused(k, po_keepsake_put(k->ledger, fifo, NULL, &again, &k->err), PO_E_RANGE, "not a plain file");
    assert_int_equal(count(beside(kept, k, ""), "part-"), 0);
    /* out again */
    OK(po_keepsake_copy_out(k->ledger, s.sha256, out, &k->err));
    OK(po_keepsake_put(k->ledger, out, NULL, &again, &k->err));
    assert_string_equal(s.sha256, again.sha256);
    refused(k, po_keepsake_copy_out(k->ledger, s.sha256, out, &k->err), PO_E_CONFLICT, "name another");
    const void *read = NULL;
    size_t n = 0;
    OK(po_keepsake_read(k->ledger, s.sha256, LONG, k->arena, &read, &n, &k->err));
    assert_int_equal(n, LONG);
    assert_memory_equal(read, bytes, LONG);
    refused(k, po_keepsake_read(k->ledger, s.sha256, LONG - 1, k->arena, &read, &n, &k->err), PO_E_LIMIT, "299999");
    refused(k, po_keepsake_read(k->ledger, KIT_SHA, LONG, k->arena, &read, &n, &k->err), PO_E_NOTFOUND, "is not there");
    /* a byte that changed on the disk */
    int f = open(path_of(kept, k, s.sha256), O_WRONLY);
    assert_int_equal(pwrite(f, "?", 1, LONG - 7), 1);
    close(f);
    unlink(out);
    refused(k, po_keepsake_copy_out(k->ledger, s.sha256, out, &k->err), PO_E_SYNTAX, "is damaged");
    assert_int_equal(access(out, F_OK), -1);
    assert_int_equal(count(k->folder, "out"), 0); /* nor anything beside it */
    refused(k, po_keepsake_read(k->ledger, s.sha256, LONG, k->arena, &read, &n, &k->err), PO_E_SYNTAX, "is damaged");
    OK(po_keepsake_put(k->ledger, path, NULL, &again, &k->err)); /* put anew: mended */
    OK(po_keepsake_copy_out(k->ledger, s.sha256, out, &k->err));
    close_shop(k);
}

static void names_and_links(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    char path[300], out[300], target[300];
    po_keepsake s, again;
    const void *read = NULL;
    size_t n = 0;
    put(k, "abc", &s);
    snprintf(out, sizeof out, "%.60s/out", k->folder);
    static const char *const names[] = {
        "",
        "..",
        "../book.db",
        ("ba/" ABC),
        "BA7816BF8F01CFEA414140DE5DAE2223B00361A396177A9CB410FF61F20015AD",
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015a",
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad0",
        "../../../../../../../../../../../../../../../../../../etc/passwd",
    };
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        refused(k, po_keepsake_copy_out(k->ledger, names[i], out, &k->err), PO_E_RANGE, "64 hex digits");
        refused(k, po_keepsake_read(k->ledger, names[i], 100, k->arena, &read, &n, &k->err), PO_E_RANGE,
                "64 hex digits");
    }
    /* a kept file that is a link, to the very same bytes */
    snprintf(target, sizeof target, "%.60s/target", k->folder);
    make_file(target, "abc", 3);
    unlink(path_of(path, k, ABC));
    assert_int_equal(symlink(target, path), 0);
    refused(k, po_keepsake_copy_out(k->ledger, ABC, out, &k->err), PO_E_SYNTAX, "not a plain file");
    make_old(path);
    assert_int_equal(tidy(k, false).n_strange, 1);
    assert_int_equal(access(path, F_OK), 0); /* left alone */
    put(k, "abc", &again);                   /* takes its place; what it pointed at stays */
    struct stat st;
    assert_int_equal(lstat(path, &st), 0);
    assert_true(S_ISREG(st.st_mode));
    assert_int_equal(access(target, F_OK), 0);
    /* a drawer that is a link out of the folder */
    char drawer[300], outside[300], inside[400];
    beside(drawer, k, "/ba");
    snprintf(outside, sizeof outside, "%.60s/outside", k->folder);
    assert_int_equal(rename(drawer, outside), 0);
    assert_int_equal(symlink(outside, drawer), 0);
    refused(k, po_keepsake_copy_out(k->ledger, ABC, out, &k->err), PO_E_SYNTAX, "not a plain file");
    assert_int_not_equal(po_keepsake_put_bytes(k->ledger, "abc", 3, NULL, &again, &k->err), PO_OK);
    snprintf(inside, sizeof inside, "%.280s/" ABC, outside);
    make_old(inside);
    assert_int_equal(tidy(k, false).n_strange, 1);
    assert_int_equal(access(inside, F_OK), 0);
    unlink(drawer);
    assert_int_equal(rename(outside, drawer), 0);
    /* things of others in the folder, and a part that is a link */
    char other[300];
    make_file(beside(other, k, "/README"), "x", 1);
    make_old(other);
    assert_int_equal(symlink(target, beside(other, k, "/part-1-1")), 0);
    make_old(other);
    make_file(beside(other, k, "/ba/notes"), "x", 1);
    make_old(other);
    put(k, "young", &again);
    po_keepsakes_tidied t = tidy(k, false);
    assert_int_equal(t.n_strange, 3);
    assert_int_equal(t.n_removed, 1); /* abc, old and of no use */
    assert_int_equal(t.n_young, 1);
    assert_int_equal(access(target, F_OK), 0);
    empty_folder(outside);
    close_shop(k);
}

/* ---- verified and tidied ---- */

static void verified(void **state)
{
    (void)state;
    kit one, *k = &one;
    int64_t run = open_shop(k);
    char path[300], more[80];
    po_keepsake a, b;
    assert_int_equal(faults_of(k, NULL), 0); /* no folder, and none is wanted */
    assert_int_equal(tidy(k, false).n_kept, 0);
    put(k, "first", &a);
    put(k, "second", &b);
    snprintf(more, sizeof more, "\"kind\":\"photo\",\"run\":%lld", (long long)run);
    int64_t file = attach(k, &a, more);
    OK(kit_act(k, "machine-tag", "d1", "{\"machine\":\"Elm\",\"reason\":\"belt\",\"photo\":\"%s\"}", b.sha256));
    assert_int_equal(faults_of(k, NULL), 0);
    make_file(path_of(path, k, a.sha256), "First", 5);
    snprintf(more, sizeof more, "file %lld (photo) of run %lld: %.12s... is damaged: its bytes", (long long)file,
             (long long)run, a.sha256);
    assert_int_equal(faults_of(k, more), 1);
    make_file(path, "fir", 3);
    assert_int_equal(faults_of(k, "it has 3 bytes instead of 5"), 1);
    unlink(path);
    assert_int_equal(faults_of(k, "is not there"), 1);
    make_file(path_of(path, k, b.sha256), "Second", 6);
    assert_int_equal(faults_of(k, NULL), 2);
    /* what is detached is no fault */
    OK(kit_act(k, "file-detach", "d1", "{\"file\":%lld}", (long long)file));
    assert_int_equal(faults_of(k, "the photo of a machine"), 1);
    empty_folder(beside(path, k, ""));
    rmdir(path);
    assert_int_equal(faults_of(k, "is not there"), 1);
    close_shop(k);
}

static void tidied(void **state)
{
    (void)state;
    kit one, *k = &one;
    int64_t run = open_shop(k);
    char path[300], more[80];
    po_keepsake job, photo, loose, young;
    put(k, "abc", &job); /* the run's own job, but not attached: its hash in runs keeps nothing */
    put(k, "photo", &photo);
    put(k, "loose file", &loose);
    put(k, "young", &young);
    snprintf(more, sizeof more, "\"kind\":\"photo\",\"run\":%lld", (long long)run);
    int64_t file = attach(k, &photo, more);
    int64_t twice = attach(k, &photo, "\"kind\":\"photo\",\"machine\":\"Elm\"");
    make_old(path_of(path, k, job.sha256));
    make_old(path_of(path, k, photo.sha256));
    make_old(path_of(path, k, loose.sha256));
    make_file(beside(path, k, "/part-1-0"), "half a f", 8); /* left by somebody who was ended */
    po_keepsakes_tidied t = tidy(k, true);
    assert_int_equal(t.n_removed, 2);
    t = tidy(k, false); /* looking removed nothing */
    assert_int_equal(t.n_removed, 2);
    assert_int_equal(t.bytes_removed, 13);
    assert_int_equal(t.n_kept, 1);
    assert_int_equal(t.bytes_kept, 5);
    assert_int_equal(t.n_young, 2);
    assert_int_equal(t.n_strange, 0);
    assert_int_equal(access(path_of(path, k, loose.sha256), F_OK), -1);
    make_old(beside(path, k, "/part-1-0"));
    assert_int_equal(tidy(k, false).n_removed, 1);
    /* attached twice, detached once: stays */
    OK(kit_act(k, "file-detach", "d1", "{\"file\":%lld}", (long long)file));
    assert_int_equal(tidy(k, false).n_kept, 1);
    OK(kit_act(k, "file-detach", "d1", "{\"file\":%lld}", (long long)twice));
    /* the photo of a machine, and one that taking back an act would bring back */
    OK(kit_act(k, "machine-tag", "d1", "{\"machine\":\"Elm\",\"reason\":\"belt\",\"photo\":\"%s\"}", photo.sha256));
    assert_int_equal(tidy(k, false).n_kept, 1);
    OK(kit_act(k, "machine-clear", "d1", "{\"machine\":\"Elm\"}"));
    int64_t cleared = (int64_t)k->done.event;
    assert_int_equal(tidy(k, false).n_kept, 1);
    OK(kit_act(k, "undo", "d1", "{\"event\":%lld}", (long long)cleared));
    assert_int_equal(faults_of(k, NULL), 0);
    close_shop(k);
}

/* ---- failing calls, killed processes, others at work ---- */

static int put_long(kit *k)
{
    static char bytes[LONG];
    po_keepsake s;
    memset(bytes, 'x', LONG);
    return po_keepsake_put_bytes(k->ledger, bytes, LONG, NULL, &s, &k->err);
}

static void calls_fail(void **state)
{
    (void)state;
    static const int errors[] = {ENOSPC, EIO, EDQUOT};
    kit one, *k = &one;
    for (int e = 0; e < 3; e++) {
        open_shop(k);
        char folder[300];
        int n = 0;
        po_status s = PO_E_IO;
        for (n = 1; s != PO_OK && n < 50; n++) {
            fault.at = n, fault.calls = 0, fault.error = errors[e], fault.after = false;
            s = (po_status)put_long(k);
            bool reached = fault.calls >= n;
            fault.at = 0;
            assert_true(reached == (s != PO_OK));
            if (s != PO_OK) {
                refused(k, s, PO_E_IO, errors[e] == EIO ? "Input/output error" : "no room left on the disk");
            }
            assert_int_equal(count(beside(folder, k, ""), "part-"), 0);
        }
        assert_in_range(n, 7, 49); /* mkdir, sync, write, sync, mkdir, sync, rename, sync */
        close_shop(k);
    }
    /* of copies out nothing half is left */
    open_shop(k);
    char out[300];
    po_keepsake a;
    put(k, "abc", &a);
    snprintf(out, sizeof out, "%.60s/out", k->folder);
    for (int n = 1; n < 4; n++) { /* write, sync, link */
        fault.at = n, fault.calls = 0, fault.error = ENOSPC;
        po_status s = po_keepsake_copy_out(k->ledger, ABC, out, &k->err);
        fault.at = 0;
        assert_int_equal(s, PO_E_IO);
        assert_int_equal(count(k->folder, "out"), 0);
    }
    fault.at = 3, fault.calls = 0, fault.error = EPERM; /* no second names, as on a stick's file system */
    OK(po_keepsake_copy_out(k->ledger, ABC, out, &k->err));
    assert_int_equal(fault.calls, 4);
    fault.at = 0;
    assert_int_equal(count(k->folder, "out"), 1);
    close_shop(k);
}

/* A file that grows beyond what the system lets a process write: the error of a full disk. */
static void disk_full(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    po_ledger_close(k->ledger);
    k->ledger = NULL;
    pid_t child = fork();
    if (child == 0) {
        struct rlimit limit = {100000, 100000};
        kit_open(k);
        signal(SIGXFSZ, SIG_IGN);
        setrlimit(RLIMIT_FSIZE, &limit);
        bool full = put_long(k) == PO_E_IO && strstr(k->err.msg, "no room left on the disk");
        _exit(full ? 7 : 1);
    }
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status));
    assert_int_equal(WEXITSTATUS(status), 7);
    char folder[300];
    assert_int_equal(count(beside(folder, k, ""), "part-"), 0);
    kit_open(k);
    assert_int_equal(put_long(k), PO_OK);
    close_shop(k);
}

static void killed(void **state)
{
    (void)state;
    static char bytes[LONG];
    kit one, *k = &one;
    char folder[300];
    bool done = false;
    int n = 0, parts = 0;
    memset(bytes, 'x', LONG);
    open_shop(k);
    beside(folder, k, "");
    for (n = 1; !done && n < 100; n++) {
        po_ledger_close(k->ledger); /* no open book goes over to another process */
        k->ledger = NULL;
        pid_t child = fork();
        if (child == 0) {
            kit_open(k);
            fault.at = (n + 1) / 2, fault.calls = 0, fault.error = 0, fault.after = n % 2 == 0;
            _exit(put_long(k) == PO_OK ? 7 : 1);
        }
        int status = 0;
        assert_int_equal(waitpid(child, &status, 0), child);
        done = WIFEXITED(status);
        assert_true(done ? WEXITSTATUS(status) == 7 : WTERMSIG(status) == SIGKILL);
        kit_open(k);
        int left = count(folder, "part-"), kept = count(folder, ALL_X);
        const void *read = NULL;
        size_t size = 0;
        po_status s = po_keepsake_read(k->ledger, ALL_X, LONG, k->arena, &read, &size, &k->err);
        assert_int_equal(s, kept ? PO_OK : PO_E_NOTFOUND); /* under its hash all or nothing */
        assert_int_equal(left + kept <= 1, true);
        assert_int_equal(put_long(k), PO_OK); /* and it can be done again */
        OK(po_keepsake_read(k->ledger, ALL_X, LONG, k->arena, &read, &size, &k->err));
        assert_int_equal(tidy(k, false).n_young, 1 + left);
        empty_folder(folder);
        rmdir(folder);
        parts += left;
    }
    assert_true(done);
    assert_in_range(n, 14, 60);
    assert_in_range(parts, 3, 20);
    close_shop(k);
}

/* One file, old and of no use, is put and attached again and again while others tidy. */
typedef struct race {
    kit *k;
    int stop;
} race;

static void *tidy_on(void *user)
{
    race *r = user;
    po_keepsakes_tidied t;
    po_err err;
    while (!__atomic_load_n(&r->stop, __ATOMIC_ACQUIRE)) {
        if (po_keepsakes_tidy(r->k->ledger, false, &t, &err) != PO_OK) {
            return r;
        }
    }
    return NULL;
}

static void while_others_attach(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    race r = {k, 0};
    pthread_t thread[2];
    char path[300];
    po_keepsake s;
    put(k, "a file that comes and goes", &s);
    path_of(path, k, s.sha256);
    assert_int_equal(pthread_create(&thread[0], NULL, tidy_on, &r), 0);
    assert_int_equal(pthread_create(&thread[1], NULL, tidy_on, &r), 0);
    int gone = 0;
    for (int i = 0; i < 30; i++) {
        put(k, "a file that comes and goes", &s);
        int64_t file = attach(k, &s, "\"kind\":\"other\",\"machine\":\"Elm\"");
        assert_int_equal(faults_of(k, NULL), 0);
        OK(kit_act(k, "file-detach", "d1", "{\"file\":%lld}", (long long)file));
        make_old(path);
        for (int wait = 0; i % 3 == 0 && wait < 1000 && access(path, F_OK) == 0; wait++) {
            usleep(1000);
        }
        gone += access(path, F_OK) != 0;
    }
    __atomic_store_n(&r.stop, 1, __ATOMIC_RELEASE);
    void *failed[2];
    pthread_join(thread[0], &failed[0]);
    pthread_join(thread[1], &failed[1]);
    assert_null(failed[0]);
    assert_null(failed[1]);
    assert_true(gone >= 10); /* it was really removed, each third time at least */
    close_shop(k);
}

/* Whoever gives a file its name or removes one waits for others who do. */
typedef struct turn {
    kit *k;
    bool tidies;
    int done;
    po_status status;
} turn;

static void *take_turn(void *user)
{
    turn *t = user;
    po_keepsake s;
    po_keepsakes_tidied sums;
    po_err err;
    t->status = t->tidies ? po_keepsakes_tidy(t->k->ledger, false, &sums, &err)
                          : po_keepsake_put_bytes(t->k->ledger, "new", 3, NULL, &s, &err);
    __atomic_store_n(&t->done, 1, __ATOMIC_RELEASE);
    return NULL;
}

static void one_at_a_time(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    char path[300];
    po_keepsake old;
    put(k, "old", &old);
    make_old(path_of(path, k, old.sha256));
    int lock = open(beside(path, k, "/lock"), O_RDWR);
    assert_true(lock >= 0);
    assert_int_equal(flock(lock, LOCK_EX), 0);
    turn turns[2] = {{k, false, 0, PO_E_INTERNAL}, {k, true, 0, PO_E_INTERNAL}};
    pthread_t threads[2];
    for (int i = 0; i < 2; i++) {
        assert_int_equal(pthread_create(&threads[i], NULL, take_turn, &turns[i]), 0);
    }
    usleep(60000);
    assert_int_equal(__atomic_load_n(&turns[0].done, __ATOMIC_ACQUIRE), 0);
    assert_int_equal(__atomic_load_n(&turns[1].done, __ATOMIC_ACQUIRE), 0);
    assert_int_equal(access(path_of(path, k, old.sha256), F_OK), 0);
    close(lock);
    for (int i = 0; i < 2; i++) {
        assert_int_equal(pthread_join(threads[i], NULL), 0);
        assert_int_equal(turns[i].status, PO_OK);
    }
    assert_int_equal(access(path, F_OK), -1);
    close_shop(k);
}

/* Beside a backup, and back. */
static void copied(void **state)
{
    (void)state;
    kit one, *k = &one, two, *c = &two;
    open_shop(k);
    kit_begin(c);
    po_keepsake a, b;
    const char *const *faults = NULL;
    size_t n = 0;
    int64_t wrote = -1;
    char path[300];
    put(k, "first", &a);
    put(k, "second", &b);
    attach(k, &a, "\"kind\":\"other\",\"machine\":\"Elm\"");
    attach(k, &b, "\"kind\":\"other\",\"machine\":\"Elm\"");
    OK(po_ledger_backup(k->ledger, c->path, &k->err));
    kit_open(c);
    assert_int_equal(faults_of(c, NULL), 2);
    OK(po_keepsakes_copy(k->ledger, c->ledger, k->arena, &wrote, &faults, &n, &k->err));
    assert_int_equal(wrote, 2);
    assert_int_equal(n, 0);
    assert_int_equal(faults_of(c, NULL), 0);
    /* only what is missing or damaged; and the way back */
    make_file(path_of(path, c, b.sha256), "Second", 6);
    OK(po_keepsakes_copy(k->ledger, c->ledger, k->arena, &wrote, &faults, &n, &k->err));
    assert_int_equal(wrote, 1);
    unlink(path_of(path, k, a.sha256));
    OK(po_keepsakes_copy(c->ledger, k->ledger, k->arena, &wrote, &faults, &n, &k->err));
    assert_int_equal(wrote, 1);
    assert_int_equal(faults_of(k, NULL), 0);
    /* damaged here and missing there */
    make_file(path_of(path, k, a.sha256), "First", 5);
    unlink(path_of(path, c, a.sha256));
    OK(po_keepsakes_copy(k->ledger, c->ledger, k->arena, &wrote, &faults, &n, &k->err));
    assert_int_equal(wrote, 0);
    assert_int_equal(n, 1);
    assert_non_null(strstr(faults[0], "is damaged"));
    assert_int_equal(count(beside(path, c, ""), a.sha256), 0);
    close_shop(c);
    close_shop(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(attached),  cmocka_unit_test(put_and_read),  cmocka_unit_test(names_and_links),
        cmocka_unit_test(verified),  cmocka_unit_test(tidied),        cmocka_unit_test(calls_fail),
        cmocka_unit_test(disk_full), cmocka_unit_test(killed),        cmocka_unit_test(while_others_attach),
        cmocka_unit_test(copied),    cmocka_unit_test(one_at_a_time),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
