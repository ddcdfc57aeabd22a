/* Faults of the disk and of the file, one by one. SPDX-License-Identifier: Apache-2.0 */
#include <fcntl.h>
#include <sqlite3.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include "base/rounds.h"
#include "ledger/fault_vfs.h"
#include "ledger/ledger_kit.h"

enum { ACTS = 12, CALLS_MOST = 4000 };

/* One and the same little day; returns how many acts were acknowledged. After a failure it goes on: nothing may be in the way. */
static int day(kit *k, int number)
{
    int n = 0;
    unsigned long long run = 1; /* that is none */
    for (int i = 0; i < ACTS; i++) {
        po_status s = PO_OK;
        switch (i) {
        case 0:
        case 3:
            s = kit_act(k, "member-enrol", "desk", "{\"member\":\"m%d-%d\",\"name\":\"N\"}", number, i);
            break;
        case 1:
        case 4:
            s = kit_act(k, "permit-grant", "desk", "{\"member\":\"m%d-%d\",\"permission\":\"p\"}", number, i - 1);
            break;
        case 2:
        case 5:
            s = kit_act(k, "waiver-give", "keeper",
                        "{\"member\":\"m%d-%d\",\"um\":7,\"reason\":\"r\",\"asked_by\":\"x\",\"desk_limit_um\":0}",
                        number, i - 2);
            break;
        case 6:
            s = kit_act(
                k, "spool-add", "desk",
                "{\"spool\":\"S%d\",\"material\":\"pla\",\"diameter_um\":1750,\"density_mg_cm3\":1240,\"net_mg\":"
                "9000}",
                number);
            break;
        case 7:
            s = kit_act(k, "run-hand-out", "desk",
                        "{\"member\":\"m%d-0\",\"machine\":\"M%d\",\"um\":1000,\"spool\":\"S%d\",\"sha256\":\"" KIT_SHA
                        "\"}",
                        number, number, number);
            run = s == PO_OK ? (unsigned long long)k->done.event : run;
            break;
        case 8:
            s = kit_act(k, "run-failed", "desk",
                        "{\"run\":%llu,\"percent\":50,\"by_height\":[[1,500,5],[2,1000,9]],\"message\":\"failed\"}",
                        run);
            break;
        case 9:
            s = kit_act(k, "run-off", "desk", "{\"run\":%llu,\"to\":\"shelf\",\"message\":\"collect it\"}", run);
            break;
        case 10:
            s = kit_act(k, "run-take-back", "desk", "{\"run\":%llu,\"figure\":\"proof\"}", run);
            break;
        default:
            s = kit_act(k, "shelf-recycle", "desk", "{\"run\":%llu,\"mg\":3}", run);
        }
        if (s == PO_OK) {
            n++;
        } else {
            assert_non_null(k->err.msg[0] ? k->err.msg : NULL);
            assert_null(strstr(k->err.msg, "database is locked"));
        }
    }
    return n;
}

static int events(kit *k)
{
    json_t *root = json_loads(kit_ask(k, "events", "{\"limit\":1000}"), 0, NULL);
    int n = (int)json_array_size(json_object_get(root, "events"));
    json_decref(root);
    return n;
}

static void open_with_faults(kit *k)
{
    po_ledger_options o = kit_options(k);
    o.vfs = PO_FAULT_VFS;
    OK(po_ledger_open(k->path, &o, &k->ledger, &k->err));
}

/* Each call that writes fails once (an error, half a write, a full disk), alone or from there on: what was acknowledged is there,
 * nothing else but perhaps acts whose commit was written and not confirmed, whole; and the book goes on. The release build meets every
 * call in every way; under sanitizers each way takes every ninth, from another first one. */
static void every_call_fails(po_fault_kind kind, bool lasting, int first)
{
    for (int64_t at = PO_ROUNDS(1, first); at < CALLS_MOST; at += PO_ROUNDS(1, 9)) {
        kit one, *k = &one;
        kit_begin(k);
        open_with_faults(k);
        day(k, 0);
        po_fault_arm(kind, at, lasting);
        int told = ACTS + day(k, 1);
        bool met = po_fault_count() >= at;
        po_fault_arm(PO_FAULT_NONE, 0, false);
        if (!lasting || kind == PO_FAULT_FULL) { /* when the disk is well again, so is the open book */
            told += kit_act(k, "member-enrol", "desk", "{\"member\":\"after\"}") == PO_OK;
        }
        po_ledger_close(k->ledger);
        k->ledger = NULL;
        open_with_faults(k); /* the faults are over; only quicker, as nothing is really synced */
        assert_in_range(events(k), told, told);
        kit_clean(k);
        kit_end(k);
        po_fault_forget();
        if (!met) {
            print_message("the calls before the %lldth failed one by one\n", (long long)at);
            (void)first; /* all begin at the first where there is no sanitizer */
            assert_true(at > ACTS);
            return;
        }
    }
    fail_msg("no end of calls");
}

static void errors(void **state)
{
    (void)state;
    every_call_fails(PO_FAULT_ERROR, false, 1);
    every_call_fails(PO_FAULT_ERROR, true, 2);
}

static void short_writes(void **state)
{
    (void)state;
    every_call_fails(PO_FAULT_SHORT, false, 3);
}

static void disk_full(void **state)
{
    (void)state;
    every_call_fails(PO_FAULT_FULL, true, 1);
}

/* The power goes at each call that writes, the making of the book included; several choices of what the disk kept. */
static void power_cuts(void **state)
{
    (void)state;
    int64_t last = 0;
    for (int64_t at = 1; at < CALLS_MOST && !last; at += PO_ROUNDS(1, 9)) {
        for (uint64_t seed = 0; seed < (at % 4 ? 1 : 3); seed++) { /* three of every fourth: it takes its time */
            kit one, *k = &one;
            kit_begin(k);
            po_fault_arm(PO_FAULT_POWER, at, true);
            po_ledger_options o = kit_options(k);
            o.vfs = PO_FAULT_VFS;
            int told = 0;
            if (po_ledger_open(k->path, &o, &k->ledger, &k->err) == PO_OK) {
                told = day(k, 0);
                po_ledger_close(k->ledger);
                k->ledger = NULL;
            }
            last = po_fault_count() < at ? at : 0;
            char shm[128];
            snprintf(shm, sizeof shm, "%.90s-shm", k->path);
            unlink(shm); /* memory is gone with the power */
            po_fault_power_cut(seed + (uint64_t)at * 3);
            po_fault_arm(PO_FAULT_NONE, 0, false);
            open_with_faults(k);
            int found = events(k);
            assert_in_range(found, told, told + 1); /* one may have been on its way */
            kit_clean(k);
            kit_end(k);
            po_fault_forget();
        }
    }
    assert_true(last > ACTS);
    print_message("power cut at calls up to the %lldth\n", (long long)last - 1);
}

static void write_file(const char *path, const void *bytes, size_t n)
{
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(bytes, 1, n, f), n);
    fclose(f);
}

static void refused(kit *k, po_status want, const char *words)
{
    struct stat before, after;
    po_ledger_options o = kit_options(k);
    assert_int_equal(stat(k->path, &before), 0);
    assert_int_equal(po_ledger_open(k->path, &o, &k->ledger, &k->err), want);
    assert_null(k->ledger);
    if (!strstr(k->err.msg, words)) {
        fail_msg("%s", k->err.msg);
    }
    assert_int_equal(stat(k->path, &after), 0);
    assert_true(before.st_size == after.st_size && before.st_mtim.tv_nsec == after.st_mtim.tv_nsec);
}

static void sql(const char *path, const char *text)
{
    sqlite3 *db = NULL;
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    if (sqlite3_exec(db, text, NULL, NULL, NULL) != SQLITE_OK) {
        fail_msg("%s", sqlite3_errmsg(db));
    }
    sqlite3_close(db);
}

static void no_books(void **state)
{
    (void)state;
    kit one, *k = &one;
    kit_begin(k);
    po_ledger_options o = {0};
    assert_int_equal(po_ledger_open(k->path, &o, &k->ledger, &k->err), PO_E_NOTFOUND);
    write_file(k->path, "", 0);
    refused(k, PO_E_SYNTAX, "empty");
    write_file(k->path, "G1 X10 Y10\n", 11);
    refused(k, PO_E_SYNTAX, "not a ledger");
    unlink(k->path);
    sql(k->path, "CREATE TABLE t(a); INSERT INTO t VALUES(1)");
    refused(k, PO_E_SYNTAX, "another program");
    unlink(k->path);
    kit_open(k);
    po_ledger_close(k->ledger);
    k->ledger = NULL;
    sql(k->path, "PRAGMA user_version=99");
    refused(k, PO_E_UNSUPPORTED, "newer");
    po_ledger_options here = {.create = true};
    assert_int_equal(po_ledger_open(k->folder, &here, &k->ledger, &k->err), PO_E_SYNTAX);
    kit_end(k);
}

static int faults(kit *k)
{
    const char *const *list = NULL;
    size_t n = 0;
    OK(po_ledger_verify(k->ledger, k->arena, &list, &n, &k->err));
    return (int)n;
}

/* Whatever is changed past the program is found. */
static void changed_by_hand(void **state)
{
    (void)state;
    static const char *const changes[] = {
        "DROP TRIGGER events_stay; UPDATE events SET body = replace(body, '7', '8') WHERE seq = 3",
        "DROP TRIGGER events_stay; UPDATE events SET at_ms = at_ms - 1 WHERE seq = 5",
        "DROP TRIGGER events_stay; UPDATE events SET by = 'x' WHERE seq = 1",
        "DROP TRIGGER events_remain; DELETE FROM events WHERE seq = 4",
        "UPDATE members SET role = 'keeper' WHERE id = 1",
        "UPDATE waivers SET um = um + 1",
        "DELETE FROM permits WHERE id = 2",
        "INSERT INTO persons VALUES('nobody', 'N', NULL)",
        "PRAGMA foreign_keys=OFF; UPDATE permits SET member = 999",
        "UPDATE before SET was = '{}' WHERE event = 1",
    };
    for (size_t i = 0; i < sizeof changes / sizeof changes[0]; i++) {
        kit one, *k = &one;
        kit_begin(k);
        kit_open(k);
        assert_int_equal(day(k, 0), ACTS);
        kit_clean(k);
        po_ledger_close(k->ledger);
        sql(k->path, changes[i]);
        kit_open(k);
        if (faults(k) == 0) {
            fail_msg("not found: %s", changes[i]);
        }
        char to[128];
        snprintf(to, sizeof to, "%.90s-copy", k->path);
        assert_int_equal(po_ledger_backup(k->ledger, to, &k->err), PO_E_SYNTAX);
        assert_int_equal(access(to, F_OK), -1);
        kit_end(k);
    }
}

/* events can't be changed or removed by an ordinary statement */
static void events_stay(void **state)
{
    (void)state;
    kit one, *k = &one;
    sqlite3 *db = NULL;
    kit_begin(k);
    kit_open(k);
    day(k, 0);
    assert_int_equal(sqlite3_open(k->path, &db), SQLITE_OK);
    assert_int_not_equal(sqlite3_exec(db, "UPDATE events SET by = 'x'", NULL, NULL, NULL), SQLITE_OK);
    assert_int_not_equal(sqlite3_exec(db, "DELETE FROM events", NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(db);
    kit_end(k);
}

/* A page overwritten, anywhere: either found, or refused when the book is opened; never a crash. */
static void corrupt_pages(void **state)
{
    (void)state;
    for (int page = 0; page < 14; page++) {
        kit one, *k = &one;
        kit_begin(k);
        kit_open(k);
        day(k, 0);
        po_ledger_close(k->ledger);
        k->ledger = NULL;
        int fd = open(k->path, O_RDWR);
        unsigned char junk[4096];
        for (size_t i = 0; i < sizeof junk; i++) {
            junk[i] = (unsigned char)(i * 37 + (unsigned)page * 11 + (i >> 5));
        }
        struct stat st;
        assert_int_equal(fstat(fd, &st), 0);
        if ((page + 1) * 4096L <= st.st_size) {
            assert_int_equal(pwrite(fd, junk, page ? 4096 : 3900, page * 4096L + (page ? 0 : 100)), page ? 4096 : 3900);
            po_ledger_options o = kit_options(k);
            po_status s = po_ledger_open(k->path, &o, &k->ledger, &k->err);
            if (s == PO_OK) {
                if (faults(k) == 0) {
                    fail_msg("page %d: not found", page);
                }
                day(k, 1); /* whatever comes of it, it ends in a sentence */
            } else {
                assert_int_equal(s, PO_E_SYNTAX);
            }
        }
        close(fd);
        kit_end(k);
    }
}

/* The write-ahead log cut anywhere, as after a crash that lost its end: a shorter but whole book. */
static void truncated_wal(void **state)
{
    (void)state;
    kit one, *k = &one;
    char wal[128], copy[128], copy_wal[140], line[600];
    kit_begin(k);
    kit_open(k);
    day(k, 0);
    snprintf(wal, sizeof wal, "%.90s-wal", k->path);
    snprintf(copy, sizeof copy, "%.50s/copy.db", k->folder);
    snprintf(copy_wal, sizeof copy_wal, "%.100s-wal", copy);
    struct stat st;
    assert_int_equal(stat(wal, &st), 0);
    int longest = 0;
    for (long size = 0; size <= st.st_size; size += 1777) {
        kit other = *k, *c = &other;
        snprintf(line, sizeof line, "cp '%.100s' '%.100s' && head -c %ld '%.100s' > '%.120s'", k->path, copy, size, wal,
                 copy_wal);
        assert_int_equal(system(line), 0);
        snprintf(c->path, sizeof c->path, "%.90s", copy);
        c->ledger = NULL;
        kit_open(c);
        int n = events(c);
        assert_true(n >= longest);
        longest = n;
        kit_clean(c);
        po_ledger_close(c->ledger);
    }
    assert_true(longest > 0);
    kit_end(k);
}

/* No right to write: said so, nothing lost. Root may write whatever the rights say: there the folder's are not tried. */
static void read_only(void **state)
{
    (void)state;
    kit one, *k = &one;
    kit_begin(k);
    kit_open(k);
    day(k, 0);
    po_ledger_close(k->ledger);
    k->ledger = NULL;
    po_ledger_options o = {.read_only = true};
    OK(po_ledger_open(k->path, &o, &k->ledger, &k->err));
    assert_int_equal(events(k), ACTS);
    kit_clean(k);
    assert_int_equal(kit_act(k, "member-enrol", "desk", "{\"member\":\"x\"}"), PO_E_IO);
    assert_int_equal(po_ledger_rebuild(k->ledger, &k->err), PO_E_IO);
    po_ledger_close(k->ledger);
    k->ledger = NULL;
    if (geteuid() != 0) {
        assert_int_equal(chmod(k->path, 0400), 0);
        po_ledger_options w = kit_options(k);
        po_status s = po_ledger_open(k->path, &w, &k->ledger, &k->err);
        if (s == PO_OK) {
            s = kit_act(k, "member-enrol", "desk", "{\"member\":\"x\"}");
        }
        assert_int_equal(s, PO_E_IO);
    }
    kit_end(k);
}

int main(void)
{
    if (access("/dev/shm", W_OK) == 0) { /* what the disk keeps is the file layer's to say here, so memory will do */
        setenv("TMPDIR", "/dev/shm", 1);
    }
    po_fault_register();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_books),      cmocka_unit_test(events_stay),   cmocka_unit_test(changed_by_hand),
        cmocka_unit_test(corrupt_pages), cmocka_unit_test(truncated_wal), cmocka_unit_test(read_only),
        cmocka_unit_test(errors),        cmocka_unit_test(short_writes),  cmocka_unit_test(disk_full),
        cmocka_unit_test(power_cuts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
