/* Killed at random instants under load; two programs at once. SPDX-License-Identifier: Apache-2.0
 *
 * usage: kill_test [KILLS]. A child with four callers tells each event it was given through a pipe once the act has returned;
 * the parent kills it (SIGKILL) at a random instant, opens the book and looks for every event it was told of. Counts kills. */
#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <sys/wait.h>
#include <time.h>

#include "ledger/ledger_kit.h"

enum { CALLERS = 4, KILLS_A_BOOK = 20 };

typedef struct told {
    uint64_t event;
    char hash[65];
} told; /* below PIPE_BUF: written whole or not at all */

typedef struct caller {
    po_ledger *ledger;
    int pipe, number;
    unsigned base;
} caller;

static int kills = 200;

static void one_act(caller *c, const char *name, const char *by, const char *body, po_act_done *done)
{
    po_err err;
    po_arena *arena = po_arena_new(0);
    po_act act = {name, by, body};
    if (po_ledger_act(c->ledger, &act, arena, done, &err) == PO_OK) {
        told t = {.event = done->event};
        memcpy(t.hash, done->hash, sizeof t.hash);
        if (write(c->pipe, &t, sizeof t) != (ssize_t)sizeof t) {
            _exit(2);
        }
    } else if (err.code != PO_E_CONFLICT) {
        fprintf(stderr, "kill_test: %s\n", err.msg);
        _exit(3);
    }
    po_arena_free(arena);
}

/* An act of a run, whose number is put first. */
static void of_run(caller *c, const char *name, uint64_t run, const char *more, po_act_done *done)
{
    char body[200];
    snprintf(body, sizeof body, "{\"run\":%llu,%.150s}", (unsigned long long)run, more);
    one_act(c, name, "desk", body, done);
}

/* Runs from beginning to end, each by a member of its own on a machine of its own, with spool, message and shelf; one act in
 * between is taken back and done again. */
static void *load(void *user)
{
    caller *c = user;
    for (unsigned i = 0;; i++) {
        char body[400], more[100];
        po_act_done done = {0};
        snprintf(body, sizeof body, "{\"member\":\"k%d-%u-%u\",\"name\":\"N\"}", c->number, c->base, i);
        one_act(c, "member-enrol", "desk", body, &done);
        snprintf(body, sizeof body,
                 "{\"spool\":\"S%d-%u-%u\",\"material\":\"pla\",\"diameter_um\":1750,\"density_mg_cm3\":1240,\"net_"
                 "mg\":900}",
                 c->number, c->base, i);
        one_act(c, "spool-add", "desk", body, &done);
        snprintf(body, sizeof body,
                 "{\"member\":\"k%d-%u-%u\",\"machine\":\"M%d-%u-%u\",\"um\":%u,\"sha256\":\"" KIT_SHA
                 "\",\"spool\":\"S%d-%u-%u\"}",
                 c->number, c->base, i, c->number, c->base, i, 1000 + i, c->number, c->base, i);
        one_act(c, "run-hand-out", "desk", body, &done);
        uint64_t run = done.event;
        of_run(c, "run-start", run,
               "\"heated\":true,\"stream_steady\":true,\"bed_clean\":true,\"gap_good\":true,\"spool_right\":true",
               &done);
        snprintf(more, sizeof more, "\"percent\":50,\"by_height\":[[1,500,5],[2,%u,9]],\"message\":\"failed\"",
                 1000 + i);
        of_run(c, i % 2 ? "run-ended" : "run-failed", run, i % 2 ? "\"message\":\"done\"" : more, &done);
        of_run(c, "run-off", run, "\"to\":\"shelf\",\"message\":\"collect it\"", &done);
        snprintf(more, sizeof more, "\"figure\":\"proof\",\"used_um\":%u", 999 + i);
        of_run(c, "run-take-back", run, more, &done);
        of_run(c, "shelf-collect", run, "\"collected_by\":\"a-friend\"", &done);
        snprintf(body, sizeof body, "{\"event\":%llu}", (unsigned long long)done.event);
        one_act(c, "undo", "desk", body, &done);
        of_run(c, "shelf-recycle", run, "\"mg\":3", &done);
    }
    return NULL;
}

static void child(const char *path, int out, unsigned base)
{
    po_ledger *ledger = NULL;
    po_err err;
    po_ledger_options o = {.create = true};
    if (po_ledger_open(path, &o, &ledger, &err) != PO_OK) {
        fprintf(stderr, "kill_test: %s\n", err.msg);
        _exit(1);
    }
    caller c[CALLERS];
    pthread_t t[CALLERS];
    for (int i = 0; i < CALLERS; i++) {
        c[i] = (caller){ledger, out, i, base};
        pthread_create(&t[i], NULL, load, &c[i]);
    }
    pause();
    _exit(0);
}

/* Every event told of is in the book with its hash. Returns how many were told. */
static size_t check(kit *k, int in)
{
    told t;
    size_t n = 0;
    while (read(in, &t, sizeof t) == (ssize_t)sizeof t) {
        const char *e = kit_ask(k, "events", "{\"after\":%llu,\"limit\":1}", (unsigned long long)(t.event - 1));
        assert_int_equal(kit_number(e, "events/0/event"), t.event);
        assert_non_null(strstr(e, t.hash));
        n++;
    }
    return n;
}

static void killed(void **state)
{
    (void)state;
    kit one, *k = &one;
    size_t told_of = 0;
    unsigned dice = 7;
    for (int i = 0; i < kills; i++) {
        if (i % KILLS_A_BOOK == 0) {
            kit_begin(k);
        }
        int ends[2];
        assert_int_equal(pipe(ends), 0);
        fcntl(ends[1], F_SETPIPE_SZ, 1 << 20);
        pid_t pid = fork();
        assert_true(pid >= 0);
        if (pid == 0) {
            close(ends[0]);
            child(k->path, ends[1], (unsigned)i);
        }
        close(ends[1]);
        dice = dice * 1664525u + 1013904223u;
        if (i % 3) { /* let it come to work first; else wherever it stands, be it making the book */
            struct pollfd p = {ends[0], POLLIN, 0};
            assert_int_equal(poll(&p, 1, 60000), 1);
        }
        struct timespec wait = {0, (long)(dice >> 8) % 30000000};
        nanosleep(&wait, NULL);
        kill(pid, SIGKILL);
        int status = 0;
        assert_int_equal(waitpid(pid, &status, 0), pid);
        assert_true(WIFSIGNALED(status));
        kit_open(k);
        told_of += check(k, ends[0]);
        close(ends[0]);
        kit_clean(k);
        po_ledger_close(k->ledger);
        k->ledger = NULL;
        if (i % KILLS_A_BOOK == KILLS_A_BOOK - 1 || i == kills - 1) {
            kit_end(k);
        }
    }
    assert_true(told_of > (size_t)kills);
    print_message("%d kills, %zu acknowledged acts found\n", kills, told_of);
}

/* Two desks want the same machine in the same second, again and again: one gets it, nothing is lost, nobody hears of locks. */
static void two_desks(void **state)
{
    (void)state;
    kit one, *k = &one;
    enum { ROUNDS = 40, DESKS = 3 };
    pid_t pids[DESKS];
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\"}"));
    po_ledger_close(k->ledger);
    k->ledger = NULL;
    for (int d = 0; d < DESKS; d++) {
        pids[d] = fork();
        assert_true(pids[d] >= 0);
        if (pids[d] == 0) {
            po_ledger *ledger = NULL;
            po_err err = {0};
            po_ledger_options o = {.wait_ms = 60000};
            int bad = po_ledger_open(k->path, &o, &ledger, &err) != PO_OK;
            for (int i = 0; i < ROUNDS && !bad; i++) {
                char body[300];
                po_arena *arena = po_arena_new(0);
                po_act_done done;
                snprintf(body, sizeof body,
                         "{\"member\":\"m1\",\"machine\":\"M%d\",\"um\":5,\"sha256\":\"" KIT_SHA "\"}", i);
                po_act act = {"run-hand-out", "desk", body};
                po_status s = po_ledger_act(ledger, &act, arena, &done, &err);
                bad = s != PO_OK && (s != PO_E_CONFLICT || !strstr(err.msg, "is out with member m1"));
                po_arena_free(arena);
            }
            if (bad) {
                fprintf(stderr, "kill_test: %s\n", err.msg);
            }
            po_ledger_close(ledger);
            _exit(bad);
        }
    }
    for (int d = 0; d < DESKS; d++) {
        int status = 0;
        assert_int_equal(waitpid(pids[d], &status, 0), pids[d]);
        assert_int_equal(status, 0);
    }
    kit_open(k);
    const char *runs = kit_ask(k, "runs", "{\"limit\":1000}");
    json_t *root = json_loads(runs, 0, NULL);
    assert_int_equal(json_array_size(json_object_get(root, "runs")), ROUNDS);
    json_decref(root);
    kit_clean(k);
    kit_end(k);
}

/* Another program that keeps the book to itself: a sentence after the time to wait, and no word of a lock. */
static void kept_by_another(void **state)
{
    (void)state;
    kit one, *k = &one;
    int ready[2], go[2];
    char c = 0;
    kit_begin(k);
    kit_open(k);
    po_ledger_close(k->ledger);
    assert_int_equal(pipe(ready), 0);
    assert_int_equal(pipe(go), 0);
    pid_t pid = fork();
    if (pid == 0) {
        char code[400];
        close(go[1]);
        snprintf(code, sizeof code,
                 "import sqlite3, os, sys\nd = sqlite3.connect(sys.argv[1], isolation_level=None)\nd.execute('BEGIN "
                 "IMMEDIATE')\n"
                 "os.write(%d, b'x')\nos.read(%d, 1)\n",
                 ready[1], go[0]);
        execlp("python3", "python3", "-c", code, k->path, (char *)NULL);
        _exit(1);
    }
    close(ready[1]);
    close(go[0]);
    assert_int_equal(read(ready[0], &c, 1), 1);
    po_ledger_options o = {.wait_ms = 200};
    OK(po_ledger_open(k->path, &o, &k->ledger, &k->err));
    assert_int_equal(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\"}"), PO_E_IO);
    assert_null(strstr(k->err.msg, "lock"));
    assert_non_null(strstr(k->err.msg, "another program"));
    close(go[1]);
    int status = 0;
    waitpid(pid, &status, 0);
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\"}"));
    close(ready[0]);
    kit_end(k);
}

int main(int argc, char **argv)
{
    kills = argc > 1 ? atoi(argv[1]) : kills;
    const struct CMUnitTest tests[] = {cmocka_unit_test(kept_by_another), cmocka_unit_test(two_desks),
                                       cmocka_unit_test(killed)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
