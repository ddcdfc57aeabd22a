/* Acts a second, beside bare SQLite. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bench_ledger [FOLDER [ACTS [TURNS [BOOK]]]]
 * BOOK: one that is there and has members, a term and many events already (make_book); it is written to. Else a new one in
 * the folder, which should be on the same disk. Acts are permits that are granted; with a BOOK also all those of runs, from
 * hand-out to outcome.
 * The yardstick: one-row INSERTs, each a transaction of its own, WAL and synchronous=FULL, the same disk and run. Against it one
 * caller of po_ledger_act, and eight at once. Turns alternate; the medians are compared. Prints one line of JSON. */
#include <inttypes.h>
#include <pthread.h>
#include <sqlite3.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "proveout/ledger.h"

enum { CALLERS = 8, TURNS_MOST = 31, MEMBERS = 100, RUN_ACTS = 7 };

typedef struct caller {
    po_ledger *ledger;
    int number, acts, failed;
    bool runs;
    char (*members)[72];
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

/* The number of the event, or 0. */
static uint64_t act(po_ledger *ledger, const char *name, const char *body)
{
    po_err err;
    po_act_done done = {0};
    po_arena *arena = po_arena_new(0);
    po_act a = {name, "desk", body};
    if (po_ledger_act(ledger, &a, arena, &done, &err) != PO_OK) {
        fprintf(stderr, "bench_ledger: %s\n", err.msg);
        done.event = 0;
    }
    po_arena_free(arena);
    return done.event;
}

/* A run on a machine of the caller's own, from hand-out to outcome. */
static bool one_run(const caller *c, int i)
{
    static const struct {
        const char *act, *more;
    } then[RUN_ACTS - 1] = {
        {"run-start",
         "\"heated\":true,\"stream_steady\":true,\"bed_clean\":true,\"gap_good\":true,\"spool_right\":true"},
        {"run-watched", "\"first_layer\":\"good\""},
        {"run-ended", "\"seconds\":60"},
        {"run-off", "\"to\":\"member\""},
        {"run-take-back", "\"figure\":\"counter\",\"used_um\":900"},
        {"run-outcome", "\"outcome\":\"good\",\"counts\":true"},
    };
    char body[300];
    snprintf(body, sizeof body,
             "{\"member\":\"%.60s\",\"machine\":\"Bench-%ld-%d\",\"um\":1000,\"seconds\":60,\"sha256\":\"%064x\"}",
             c->members[(i * 7 + c->number) % MEMBERS], (long)getpid(), c->number, (unsigned)(i * 2654435761u));
    uint64_t run = act(c->ledger, "run-hand-out", body);
    bool ok = run != 0;
    for (int k = 0; ok && k < RUN_ACTS - 1; k++) {
        snprintf(body, sizeof body, "{\"run\":%" PRIu64 ",%s}", run, then[k].more);
        ok = act(c->ledger, then[k].act, body) != 0;
    }
    return ok;
}

static void *call(void *user)
{
    caller *c = user;
    for (int i = 0; !c->runs && i < c->acts; i++) {
        char body[200];
        snprintf(body, sizeof body, "{\"member\":\"%.60s\",\"permission\":\"p%ld-%d-%d\"}",
                 c->members[(i * 7 + c->number) % MEMBERS], (long)getpid(), c->number, i);
        c->failed += act(c->ledger, "permit-grant", body) == 0;
    }
    for (int i = 0; c->runs && i < c->acts / RUN_ACTS; i++) {
        c->failed += !one_run(c, i);
    }
    return NULL;
}

static double callers(const caller *like, int n_callers, int turn)
{
    caller c[CALLERS];
    pthread_t t[CALLERS];
    double begun = now();
    int failed = 0, acts = like->runs ? like->acts / RUN_ACTS * RUN_ACTS : like->acts;
    for (int i = 0; i < n_callers; i++) {
        c[i] = *like;
        c[i].number = turn * CALLERS + i;
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

/* The latest members of a book that is there. */
static bool find_members(const char *path, char members[MEMBERS][72])
{
    sqlite3 *db = NULL;
    sqlite3_stmt *ask = NULL;
    int n = 0;
    if (sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL) == SQLITE_OK &&
        sqlite3_prepare_v2(db, "SELECT member FROM members WHERE state = 'active' ORDER BY id DESC LIMIT 100", -1, &ask,
                           NULL) == SQLITE_OK) {
        while (n < MEMBERS && sqlite3_step(ask) == SQLITE_ROW) {
            snprintf(members[n++], sizeof members[0], "%s", (const char *)sqlite3_column_text(ask, 0));
        }
    }
    sqlite3_finalize(ask);
    sqlite3_close(db);
    return n == MEMBERS;
}

static bool enrol(po_ledger *ledger, char members[MEMBERS][72])
{
    bool ok = true;
    for (int i = 0; ok && i < MEMBERS; i++) {
        char body[128];
        snprintf(members[i], sizeof members[0], "m%d", i);
        snprintf(body, sizeof body, "{\"member\":\"%.60s\"}", members[i]);
        ok = act(ledger, "member-enrol", body) != 0;
    }
    return ok;
}

int main(int argc, char **argv)
{
    const char *folder = argc > 1 ? argv[1] : ".";
    int acts = argc > 2 ? atoi(argv[2]) : 500, turns = argc > 3 ? atoi(argv[3]) : 7;
    turns = turns < 1 ? 1 : turns > TURNS_MOST ? TURNS_MOST : turns;
    const char *there = argc > 4 ? argv[4] : NULL;
    static char members[MEMBERS][72];
    char book[4096], plain[4096], name[4200];
    snprintf(book, sizeof book, "%s/bench-ledger-%ld.db", folder, (long)getpid());
    snprintf(plain, sizeof plain, "%s/bench-plain-%ld.db", folder, (long)getpid());
    po_ledger_options o = {.create = !there};
    po_ledger *ledger = NULL;
    po_err err = {0};
    if (po_ledger_open(there ? there : book, &o, &ledger, &err) != PO_OK ||
        !(there ? find_members(there, members) : enrol(ledger, members))) {
        fprintf(stderr, "bench_ledger: %s\n", err.msg[0] ? err.msg : "there are not enough members");
        return 1;
    }
    double yard[TURNS_MOST], one[TURNS_MOST], eight[TURNS_MOST], one_runs[TURNS_MOST], eight_runs[TURNS_MOST];
    caller like = {.ledger = ledger, .acts = acts, .members = members};
    for (int i = 0; i < turns; i++) {
        yard[i] = bare(plain, acts);
        one[i] = callers(&like, 1, 2 * i);
        eight[i] = callers(&like, CALLERS, 2 * i + 1);
        like.runs = there != NULL;
        one_runs[i] = like.runs ? callers(&like, 1, 2 * i) : 0;
        eight_runs[i] = like.runs ? callers(&like, CALLERS, 2 * i + 1) : 0;
        like.runs = false;
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
           "\"eight_callers_per_s\": %.0f, \"one_to_bare\": %.3f, \"eight_to_bare\": %.3f, \"eight_to_one\": %.3f",
           acts, turns, y, a, b, a / y, b / y, b / a);
    if (there) {
        printf(", \"runs_one_to_bare\": %.3f, \"runs_eight_to_bare\": %.3f", median(one_runs, turns) / y,
               median(eight_runs, turns) / y);
    }
    printf("}\n");
    return 0;
}
