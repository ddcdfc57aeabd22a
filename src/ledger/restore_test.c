/* A backup becomes the book: whole or not at all, whatever happens between. SPDX-License-Identifier: Apache-2.0 */
#include <signal.h>
#include <sqlite3.h>
#include <sys/wait.h>

#include "ledger/ledger_kit.h"

int __real_link(const char *from, const char *to);
int __real_rename(const char *from, const char *to);
int __wrap_link(const char *from, const char *to);
int __wrap_rename(const char *from, const char *to);

static int kill_at, calls; /* 0: never */

static void instant(void)
{
    if (kill_at && ++calls == kill_at) {
        kill(getpid(), SIGKILL);
    }
}

int __wrap_link(const char *from, const char *to)
{
    instant();
    int r = __real_link(from, to);
    instant();
    return r;
}

int __wrap_rename(const char *from, const char *to)
{
    instant();
    int r = __real_rename(from, to);
    instant();
    return r;
}

/* A book with three members of which the backup has two. */
static void two_books(kit *k, char backup[128])
{
    kit_begin(k);
    kit_open(k);
    snprintf(backup, 128, "%.90s.copy", k->path);
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"1001\",\"name\":\"Ada Quill\"}"));
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"1002\"}"));
    OK(po_ledger_backup(k->ledger, backup, &k->err));
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"1003\"}"));
}

static void close_book(kit *k)
{
    po_ledger_close(k->ledger);
    k->ledger = NULL;
}

static size_t members(kit *k, const char *path)
{
    po_ledger *l = NULL;
    const char *json = NULL;
    size_t n = 0;
    OK(po_ledger_open(path, NULL, &l, &k->err));
    OK(po_ledger_ask(l, "members", "{}", k->arena, &json, &k->err));
    json_t *root = json_loads(json, 0, NULL);
    n = json_array_size(json_object_get(root, "members"));
    json_decref(root);
    const char *const *faults = NULL;
    size_t n_faults = 0;
    OK(po_ledger_verify(l, k->arena, &faults, &n_faults, &k->err));
    assert_int_equal(n_faults, 0);
    po_ledger_close(l);
    return n;
}

static int files_in(const kit *k)
{
    int n = 0;
    DIR *d = opendir(k->folder);
    assert_non_null(d);
    for (struct dirent *e; (e = readdir(d));) {
        n += e->d_name[0] != '.';
    }
    closedir(d);
    return n;
}

static void replaced(void **state)
{
    (void)state;
    kit one, *k = &one;
    char backup[128];
    const char *aside = NULL, *again = NULL;
    two_books(k, backup);
    close_book(k);
    po_ledger_options o = kit_options(k);
    OK(po_ledger_restore(backup, k->path, &o, k->arena, &aside, &k->err));
    assert_non_null(strstr(aside, "book.db.replaced-2026-10-05T12-00-00Z"));
    assert_int_equal(files_in(k), 3); /* book, backup, the old book: nothing else lies about */
    assert_int_equal(members(k, k->path), 2);
    assert_int_equal(members(k, aside), 3);
    OK(po_ledger_restore(aside, k->path, &o, k->arena, &again,
                         &k->err)); /* and back; the name is taken, another is found */
    assert_non_null(strstr(again, "-2"));
    assert_int_equal(members(k, k->path), 3);
    /* where no book was */
    char fresh[128];
    snprintf(fresh, sizeof fresh, "%.60s/fresh.db", k->folder);
    OK(po_ledger_restore(backup, fresh, &o, k->arena, &aside, &k->err));
    assert_null(aside);
    assert_int_equal(members(k, fresh), 2);
    kit_open(k); /* a restored book goes on */
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"1004\"}"));
    kit_clean(k);
    kit_end(k);
}

static void spoil(const char *path, long at, const char *bytes, size_t n)
{
    FILE *f = fopen(path, "r+b");
    assert_non_null(f);
    assert_int_equal(fseek(f, at, SEEK_SET), 0);
    assert_int_equal(fwrite(bytes, 1, n, f), n);
    fclose(f);
}

static void forge(const char *path, const char *sql)
{
    sqlite3 *db = NULL;
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(db);
}

static void not_these(void **state)
{
    (void)state;
    kit one, *k = &one;
    char backup[128];
    const char *aside = NULL;
    two_books(k, backup);
    po_ledger_options o = kit_options(k);
    assert_int_equal(po_ledger_restore(backup, k->path, &o, k->arena, &aside, &k->err), PO_E_CONFLICT); /* it is open */
    assert_non_null(strstr(k->err.msg, "another program has the book open"));
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"1009\"}")); /* and was not harmed */
    close_book(k);
    assert_int_equal(po_ledger_restore(k->path, k->path, &o, k->arena, &aside, &k->err), PO_E_CONFLICT);
    assert_int_equal(po_ledger_restore("/no/such/backup", k->path, &o, k->arena, &aside, &k->err), PO_E_NOTFOUND);
    forge(backup, "UPDATE members SET role = 'keeper' WHERE member = '1002'"); /* a wrong table */
    assert_int_equal(po_ledger_restore(backup, k->path, &o, k->arena, &aside, &k->err), PO_E_SYNTAX);
    assert_non_null(strstr(k->err.msg, "not in order: the table members"));
    assert_string_equal(k->err.where, backup);
    forge(backup, "PRAGMA user_version = 99");
    assert_int_equal(po_ledger_restore(backup, k->path, &o, k->arena, &aside, &k->err), PO_E_UNSUPPORTED);
    spoil(backup, 0, "something else", 14);
    assert_int_equal(po_ledger_restore(backup, k->path, &o, k->arena, &aside, &k->err), PO_E_SYNTAX);
    assert_int_equal(members(k, k->path), 4);
    assert_int_equal(files_in(k), 2);
    kit_end(k);
}

/* The book is damaged, which is why a backup is wanted; its log must not be read into the new one. */
static void damaged_book(void **state)
{
    (void)state;
    kit one, *k = &one;
    char backup[128], log[128], name[160];
    const char *aside = NULL;
    two_books(k, backup);
    close_book(k);
    snprintf(log, sizeof log, "%.90s-wal", k->path);
    spoil(k->path, 0, "no longer a book", 16);
    FILE *f = fopen(log, "wb");
    assert_non_null(f);
    fputs("a log of other days", f);
    fclose(f);
    po_ledger_options o = kit_options(k);
    OK(po_ledger_restore(backup, k->path, &o, k->arena, &aside, &k->err));
    assert_int_equal(members(k, k->path), 2);
    snprintf(name, sizeof name, "%.140s-wal", aside);
    assert_int_equal(access(name, F_OK), 0);
    kit_end(k);
}

static void copy_file(const char *from, const char *to)
{
    static char bytes[1 << 20];
    FILE *in = fopen(from, "rb"), *out = fopen(to, "wb");
    assert_non_null(in);
    assert_non_null(out);
    size_t n = fread(bytes, 1, sizeof bytes, in);
    assert_true(n > 0 && n < sizeof bytes);
    assert_int_equal(fwrite(bytes, 1, n, out), n);
    fclose(in);
    fclose(out);
}

/* Killed before or after each call that gives or takes a name (the linker's --wrap): the old book or the new one is there, whole,
 * and a second try does it. */
static void killed(void **state)
{
    (void)state;
    int old = 0, fresh = 0;
    kit one, *k = &one;
    char backup[128], three[128];
    two_books(k, backup);
    close_book(k);
    snprintf(three, sizeof three, "%.90s.three", k->path);
    copy_file(k->path, three);
    for (int at = 1;; at++) {
        const char *aside = NULL;
        copy_file(three, k->path);
        po_ledger_options o = kit_options(k);
        pid_t child = fork();
        if (child == 0) {
            po_err err;
            kill_at = at;
            _exit(po_ledger_restore(backup, k->path, &o, k->arena, &aside, &err) == PO_OK ? 0 : 1);
        }
        int status = 0;
        waitpid(child, &status, 0);
        size_t n = members(k, k->path);
        assert_true(n == 2 || n == 3);
        old += n == 3;
        fresh += n == 2;
        k->now += 1000;
        OK(po_ledger_restore(backup, k->path, &o, k->arena, &aside, &k->err));
        assert_int_equal(members(k, k->path), 2);
        assert_int_equal(members(k, aside), (int)n);
        if (WIFEXITED(status)) {
            assert_int_equal(WEXITSTATUS(status), 0);
            break;
        }
        assert_true(at < 60);
    }
    assert_true(old > 2 && fresh > 1); /* among them the steps of the swap itself */
    kit_end(k);
}

typedef struct told {
    uint64_t last, all;
    int times, stop_at; /* -1: never */
} told;

static bool take_step(uint64_t events, uint64_t all, void *user)
{
    told *t = user;
    assert_true(events > t->last && events <= all);
    t->last = events;
    t->all = all;
    return ++t->times != t->stop_at;
}

/* Long work tells how far it is, and can be stopped: then nothing has changed. */
static void watched(void **state)
{
    (void)state;
    enum { N = 5000 };
    static char bodies[N][40];
    static po_act acts[N];
    static po_act_done results[N];
    kit one, *k = &one;
    size_t failed = 0, n = 0;
    const char *const *faults = NULL;
    kit_begin(k);
    kit_open(k);
    for (int i = 0; i < N; i++) {
        snprintf(bodies[i], sizeof bodies[i], "{\"member\":\"m%d\"}", i);
        acts[i] = (po_act){"member-enrol", "desk", bodies[i]};
    }
    OK(po_ledger_act_all(k->ledger, acts, N, k->arena, results, &failed, &k->err));
    told t = {.stop_at = -1};
    po_ledger_watch(k->ledger, take_step, &t);
    OK(po_ledger_verify(k->ledger, k->arena, &faults, &n, &k->err));
    assert_int_equal(n, 0);
    assert_int_equal(t.all, 2 * N); /* the chain is walked, then all is made once more */
    assert_int_equal(t.times, 4);
    t = (told){.stop_at = 3};
    assert_int_equal(po_ledger_verify(k->ledger, k->arena, &faults, &n, &k->err), PO_E_CANCELLED);
    t = (told){.stop_at = 2};
    assert_int_equal(po_ledger_rebuild(k->ledger, &k->err), PO_E_CANCELLED);
    assert_int_equal(t.all, N);
    po_ledger_watch(k->ledger, NULL, NULL);
    kit_clean(k);
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"last\"}"));
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(replaced), cmocka_unit_test(not_these),
                                       cmocka_unit_test(damaged_book), cmocka_unit_test(killed),
                                       cmocka_unit_test(watched)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
