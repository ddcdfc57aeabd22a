/* Acts a second, beside bare SQLite. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bench_ledger [FOLDER [ACTS [TURNS]]]
 * The yardstick: one-row INSERTs, each a transaction of its own, WAL and synchronous=FULL, the same disk and run. Against it one
 * caller of po_ledger_act, and eight at once. Turns alternate; the medians are compared. Prints one line of JSON. */
#include <inttypes.h>
#include <pthread.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "proveout/ledger.h"

enum { CALLERS = 8, TURNS_MOST = 31 };

typedef struct caller {
    po_ledger *ledger;
    int number, acts, failed;
} caller;

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *v, int n)
{
    qsort(v, (size_t)n, sizeof *v, by_size);
    return v[n / 2];
}

static double bare(const char *path, int n)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *insert = NULL;
    if (sqlite3_open(path, &db) != SQLITE_OK ||
        sqlite3_exec(db,
                     "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; CREATE TABLE IF NOT EXISTS t(id INTEGER "
                     "PRIMARY KEY, body TEXT) STRICT;",
                     NULL, NULL, NULL) != SQLITE_OK ||
        sqlite3_prepare_v2(db, "INSERT INTO t(body) VALUES(?1)", -1, &insert, NULL) != SQLITE_OK) {
        fprintf(stderr, "bench_ledger: %s\n", sqlite3_errmsg(db));
        exit(1);
    }
    double t = now();
    for (int i = 0; i < n; i++) {
        char body[64];
        snprintf(body, sizeof body, "{\"member\":\"m%d\",\"permission\":\"p%d\"}", i % 100, i);
        sqlite3_bind_text(insert, 1, body, -1, SQLITE_TRANSIENT);
        if (sqlite3_step(insert) != SQLITE_DONE) {
            fprintf(stderr, "bench_ledger: %s\n", sqlite3_errmsg(db));
            exit(1);
        }
        sqlite3_reset(insert);
    }
    t = now() - t;
    sqlite3_finalize(insert);
    sqlite3_close(db);
    return n / t;
}

static int act(po_ledger *ledger, const char *name, const char *body)
{
    po_err err;
    po_act_done done;
    po_arena *arena = po_arena_new(0);
    po_act a = {name, "desk", body};
    int failed = po_ledger_act(ledger, &a, arena, &done, &err) != PO_OK;
    if (failed) {
        fprintf(stderr, "bench_ledger: %s\n", err.msg);
    }
    po_arena_free(arena);
    return failed;
}

static void *call(void *user)
{
    caller *c = user;
    for (int i = 0; i < c->acts; i++) {
        char body[96];
        snprintf(body, sizeof body, "{\"member\":\"m%d\",\"permission\":\"p%d-%d\"}", (i * 7 + c->number) % 100,
                 c->number, i);
        c->failed += act(c->ledger, "permit-grant", body);
    }
    return NULL;
}

static double callers(po_ledger *ledger, int n_callers, int acts, int turn)
{
    caller c[CALLERS];
    pthread_t t[CALLERS];
    double begun = now();
    int failed = 0;
    for (int i = 0; i < n_callers; i++) {
        c[i] = (caller){ledger, turn * CALLERS + i, acts, 0};
        pthread_create(&t[i], NULL, call, &c[i]);
    }
    for (int i = 0; i < n_callers; i++) {
        pthread_join(t[i], NULL);
        failed += c[i].failed;
    }
    if (failed) {
        exit(1);
    }
    return n_callers * acts / (now() - begun);
}

int main(int argc, char **argv)
{
    const char *folder = argc > 1 ? argv[1] : ".";
    int acts = argc > 2 ? atoi(argv[2]) : 500, turns = argc > 3 ? atoi(argv[3]) : 7;
    turns = turns < 1 ? 1 : turns > TURNS_MOST ? TURNS_MOST : turns;
    char book[4096], plain[4096], name[4200];
    snprintf(book, sizeof book, "%s/bench-ledger-%ld.db", folder, (long)getpid());
    snprintf(plain, sizeof plain, "%s/bench-plain-%ld.db", folder, (long)getpid());
    po_ledger_options o = {.create = true};
    po_ledger *ledger = NULL;
    po_err err;
    if (po_ledger_open(book, &o, &ledger, &err) != PO_OK) {
        fprintf(stderr, "bench_ledger: %s\n", err.msg);
        return 1;
    }
    for (int i = 0; i < 100; i++) {
        char body[64];
        snprintf(body, sizeof body, "{\"member\":\"m%d\"}", i);
        if (act(ledger, "member-enrol", body)) {
            return 1;
        }
    }
    double yard[TURNS_MOST], one[TURNS_MOST], eight[TURNS_MOST];
    for (int i = 0; i < turns; i++) {
        yard[i] = bare(plain, acts);
        one[i] = callers(ledger, 1, acts, 2 * i);
        eight[i] = callers(ledger, CALLERS, acts, 2 * i + 1);
    }
    po_ledger_close(ledger);
    for (int i = 0; i < 2; i++) {
        static const char *const ends[] = {"", "-wal", "-shm"};
        for (int k = 0; k < 3; k++) {
            snprintf(name, sizeof name, "%s%s", i ? plain : book, ends[k]);
            unlink(name);
        }
    }
    double y = median(yard, turns), a = median(one, turns), b = median(eight, turns);
    printf("{\"bench\": \"ledger\", \"acts\": %d, \"turns\": %d, \"bare_per_s\": %.0f, \"one_caller_per_s\": %.0f, "
           "\"eight_callers_per_s\": %.0f, "
           "\"one_to_bare\": %.3f, \"eight_to_bare\": %.3f, \"eight_to_one\": %.3f}\n",
           acts, turns, y, a, b, a / y, b / y, b / a);
    return 0;
}
