/* Questions to a large book, and whole programs that ask it. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bench_ledger_big BOOK PROVEOUT SHOP [TURNS]      (BOOK: of make_book; it is only read)
 *        bench_ledger_big --bare BOOK
 * Each question TURNS times through po_ledger_ask, the caches warm, as a desk asks all day: medians. Then as processes, from
 * start to end, taking turns: `proveout today --json`; `proveout check` of a job of few lines with the book and without, whose
 * difference is what the book costs; and the yardstick, --bare: a process that opens the same file and asks SELECT 1. Prints
 * one line of JSON, in milliseconds. */
#include <fcntl.h>
#include <sqlite3.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "proveout/ledger.h"

enum { TURNS_MOST = 101 };
static int64_t clock_ms;

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

static int64_t end_of_book(void *user)
{
    (void)user;
    return clock_ms;
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

static void die(const char *what)
{
    fprintf(stderr, "bench_ledger_big: %s\n", what);
    exit(1);
}

static int bare(const char *path)
{
    sqlite3 *db = NULL;
    return sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, NULL) == SQLITE_OK &&
                   sqlite3_exec(db, "SELECT 1 FROM events LIMIT 1", NULL, NULL, NULL) == SQLITE_OK &&
                   sqlite3_close(db) == SQLITE_OK
               ? 0
               : 1;
}

/* One word from the book. */
static void look(sqlite3 *db, const char *sql, char *to, size_t room)
{
    sqlite3_stmt *ask = NULL;
    if (sqlite3_prepare_v2(db, sql, -1, &ask, NULL) != SQLITE_OK || sqlite3_step(ask) != SQLITE_ROW) {
        die(sqlite3_errmsg(db));
    }
    snprintf(to, room, "%s", (const char *)sqlite3_column_text(ask, 0));
    sqlite3_finalize(ask);
}

/* A program from its start to its end; its words go nowhere. Statuses up to 2 are answers. */
static double process(const char *const *words)
{
    double begun = now();
    pid_t pid = fork();
    if (pid == 0) {
        int nowhere = open("/dev/null", O_RDWR);
        dup2(nowhere, 1);
        dup2(nowhere, 2);
        execv(words[0], (char *const *)(uintptr_t)words);
        _exit(127);
    }
    int status = 0;
    if (pid < 0 || waitpid(pid, &status, 0) != pid || !WIFEXITED(status) || WEXITSTATUS(status) > 2) {
        fprintf(stderr, "bench_ledger_big: status %d\n", status);
        die(words[1]);
    }
    return now() - begun;
}

/* A job of a few lines: what is measured is what stands around it. */
static void write_job(const char *path)
{
    static const char job[] =
        "M140 S60\nM104 S205\nG28\nM190 S60\nM109 S205\nG92 E0\nG1 Z0.25 F600\nG1 X60 Y60 F6000\n"
        "G1 X90 Y60 E1.2 F1200\nG1 X90 Y90 E2.4\nG1 X60 Y90 E3.6\nG1 X60 Y60 E4.8\nG1 E3.9 F2100\n"
        "G1 Z60 F600\nM104 S0\nM140 S0\nG0 X5 Y200 F7200\nM84\n";
    FILE *f = fopen(path, "wb");
    if (!f || fwrite(job, 1, sizeof job - 1, f) != sizeof job - 1 || fclose(f) != 0) {
        die("the job could not be written");
    }
}

static void ask_all(const char *path, int turns, const char *member, const char *run, const char *machine,
                    const char *term)
{
    char one[100], balance[100], of[100], on[100], of_term[100];
    snprintf(one, sizeof one, "{\"run\":%s}", run);
    snprintf(balance, sizeof balance, "{\"member\":\"%s\"}", member);
    snprintf(of, sizeof of, "{\"member\":\"%s\",\"limit\":50}", member);
    snprintf(on, sizeof on, "{\"machine\":\"%s\",\"limit\":300}", machine);
    snprintf(of_term, sizeof of_term, "{\"term\":\"%s\"}", term);
    const char *const questions[][3] = {
        {"today", "today", "{\"below_mg\":150000}"},
        {"member", "member", balance},
        {"machines", "machines", "{}"},
        {"spools", "spools", "{}"},
        {"run", "run", one},
        {"runs", "runs", "{\"limit\":50}"},
        {"runs of a member", "runs", of},
        {"runs of a machine", "runs", "{\"machine\":\"Alder\",\"limit\":50}"},
        {"ratios", "ratios", "{\"limit\":300}"},
        {"ratios of a machine", "ratios", on},
        {"shelf", "shelf", "{}"},
        {"tickets", "tickets", "{}"},
        {"outbox", "outbox", "{}"},
        {"rounds", "rounds", "{\"limit\":10}"},
        {"sticks", "sticks", "{}"},
        {"members by a part of a name", "members", "{\"search\":\"m123\",\"limit\":50}"},
        {"machine history", "machine-history", "{\"machine\":\"Alder\",\"limit\":50}"},
        {"term", "term", of_term}};
    po_ledger_options o = {.now_ms = end_of_book};
    po_ledger *ledger = NULL;
    po_err err;
    if (po_ledger_open(path, &o, &ledger, &err) != PO_OK) {
        die(err.msg);
    }
    for (size_t q = 0; q < sizeof questions / sizeof questions[0]; q++) {
        double ms[TURNS_MOST];
        for (int i = 0; i < turns; i++) {
            const char *json = NULL;
            po_arena *arena = po_arena_new(0);
            ms[i] = now();
            if (po_ledger_ask(ledger, questions[q][1], questions[q][2], arena, &json, &err) != PO_OK) {
                die(err.msg);
            }
            ms[i] = now() - ms[i];
            po_arena_free(arena);
        }
        printf("%s\"%s\": %.2f", q ? ", " : "", questions[q][0], median(ms, turns));
    }
    po_ledger_close(ledger);
}

int main(int argc, char **argv)
{
    if (argc == 3 && strcmp(argv[1], "--bare") == 0) {
        return bare(argv[2]);
    }
    if (argc < 4) {
        die("usage: bench_ledger_big BOOK PROVEOUT SHOP [TURNS]");
    }
    int turns = argc > 4 ? (int)strtol(argv[4], NULL, 10) : 21;
    turns = turns < 1 ? 1 : turns > TURNS_MOST ? TURNS_MOST : turns;
    char end[24], events[24], runs[24], member[72], run[24], term[72], spool[72], clock[32],
        job[] = "/tmp/bench-job-XXXXXX";
    sqlite3 *db = NULL;
    if (sqlite3_open_v2(argv[1], &db, SQLITE_OPEN_READONLY, NULL) != SQLITE_OK) {
        die(sqlite3_errmsg(db));
    }
    look(db, "SELECT at_ms FROM events ORDER BY seq DESC LIMIT 1", end, sizeof end);
    look(db, "SELECT max(seq) FROM events", events, sizeof events);
    look(db, "SELECT count(*) FROM runs", runs, sizeof runs);
    look(db,
         "SELECT m.member FROM (SELECT member FROM runs ORDER BY id DESC LIMIT 5000) r JOIN members m ON m.id = "
         "r.member "
         "WHERE m.state = 'active' GROUP BY m.id ORDER BY count(*) DESC LIMIT 1",
         member, sizeof member);
    look(db, "SELECT id FROM runs WHERE state = 'back' ORDER BY id DESC LIMIT 1", run, sizeof run);
    look(db,
         "SELECT t.term FROM terms t JOIN runs r ON r.term = t.id GROUP BY t.id ORDER BY t.id DESC LIMIT 1 OFFSET 1",
         term, sizeof term);
    look(db,
         "SELECT s.spool FROM spools s JOIN tools t ON t.spool = s.id JOIN machines m ON m.id = t.machine WHERE "
         "m.machine = 'Alder'",
         spool, sizeof spool);
    sqlite3_close(db);
    clock_ms = strtoll(end, NULL, 10) + 60000;
    time_t seconds = (time_t)(clock_ms / 1000);
    struct tm tm;
    gmtime_r(&seconds, &tm);
    tm.tm_hour = tm.tm_hour < 22 ? tm.tm_hour + 1 : tm.tm_hour; /* the shop's summer is an hour ahead */
    strftime(clock, sizeof clock, "%Y-%m-%dT%H:%M", &tm);
    int fd = mkstemp(job);
    close(fd);
    write_job(job);
    setenv("PROVEOUT_CLOCK", clock, 1);
    setenv("PROVEOUT_SHOP", argv[3], 1);
    unsetenv("PROVEOUT_LEDGER");

    printf("{\"bench\": \"ledger_big\", \"events\": %s, \"runs\": %s, \"turns\": %d, \"questions_ms\": {", events, runs,
           turns);
    ask_all(argv[1], turns, member, run, "Alder", term);
    const char *const yard[] = {argv[0], "--bare", argv[1], NULL};
    const char *const today[] = {argv[2], "today", "--json", "--ledger", argv[1], NULL};
    const char *const help[] = {argv[2], "--version", NULL};
    const char *const with[] = {argv[2],   "check", "--json",   "--machine", "Alder", "--member", member,
                                "--spool", spool,   "--ledger", argv[1],     job,     NULL};
    const char *const without[] = {argv[2], "check", "--json", "--machine", "Alder", job, NULL};
    const char *const *const all[] = {yard, today, with, without, help};
    double ms[5][TURNS_MOST], mid[5];
    for (int i = 0; i < turns; i++) {
        for (int k = 0; k < 5; k++) {
            ms[k][i] = process(all[k]);
        }
    }
    for (int k = 0; k < 5; k++) {
        mid[k] = median(ms[k], turns);
    }
    unlink(job);
    printf("}, \"bare_ms\": %.2f, \"start_ms\": %.2f, \"today_ms\": %.2f, \"today_to_bare\": %.2f, \"check_ms\": %.2f, "
           "\"check_without_ms\": %.2f, \"look_ups_ms\": %.2f, \"look_ups_to_bare\": %.2f}\n",
           mid[0], mid[4], mid[1], mid[1] / mid[0], mid[2], mid[3], mid[2] - mid[3], (mid[2] - mid[3]) / mid[0]);
    return 0;
}
