/* The book verified and copied, from the page. SPDX-License-Identifier: Apache-2.0
 *
 * Copies go into a folder that the server was started with, under names of our own making: nobody on the network says where something is
 * written. They are not handed out over the network, for hashes of passwords stand in them. */
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "desk/at_desk.h"
#include "desk/proving.h"
#include "proveout/keepsakes.h"
#include "work/work.h"

enum { FAULTS_MOST = 100 };

static bool begin(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    if (pthread_mutex_trylock(&desk->long_work) == 0) {
        return true;
    }
    desk_problem(rq, rp, 503, NULL, "the book is being exported, verified or copied already; try again in a moment");
    rp->retry_seconds = 5;
    return false;
}

static void add_faults(json_t *list, const char *const *faults, size_t n)
{
    for (size_t i = 0; i < n && json_array_size(list) < FAULTS_MOST; i++) {
        json_array_append_new(list, json_string(faults[i]));
    }
}

void desk_do_verify(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const char *const *faults = NULL;
    size_t n = 0, n_files = 0;
    json_t *list = json_array();
    uint64_t last = 0;
    po_err err;
    if (!begin(desk, rq, rp)) {
        json_decref(list);
        return;
    }
    po_status s = po_ledger_last_event(desk->options.ledger, &last, &err);
    s = s == PO_OK ? po_ledger_verify(desk->options.ledger, rq->arena, &faults, &n, &err) : s;
    if (s == PO_OK) {
        add_faults(list, faults, n);
        s = po_keepsakes_verify(desk->options.ledger, rq->arena, &faults, &n_files, &err);
    }
    pthread_mutex_unlock(&desk->long_work);
    if (s != PO_OK) {
        json_decref(list);
        desk_said_no(desk, rq, rp, &err);
        return;
    }
    add_faults(list, faults, n_files);
    desk_reply_json(rq, rp,
                    json_pack("{s:s, s:I, s:I, s:o}", "format", "proveout/verified/1", "events", (json_int_t)last,
                              "n_faults", (json_int_t)(n + n_files), "faults", list));
}

/* ---- copies ---- */

/* book-2026-12-01-142005.db, by UTC: no two of one second, and they sort by time. */
static const char *name_now(po_desk *desk, po_arena *arena)
{
    time_t now = (time_t)(desk_now_ms_of(desk) / 1000);
    struct tm t;
    char text[32];
    return gmtime_r(&now, &t) && strftime(text, sizeof text, "%Y-%m-%d-%H%M%S", &t) > 0
               ? po_arena_printf(arena, "book-%s.db", text)
               : NULL;
}

static bool is_name(const char *name)
{
    static const char like[] = "book-dddd-dd-dd-dddddd.db";
    size_t n = strlen(name);
    if (n != sizeof like - 1) {
        return false;
    }
    for (size_t i = 0; i < n; i++) {
        if (like[i] == 'd' && i > 4 && i < 22 ? name[i] < '0' || name[i] > '9' : name[i] != like[i]) {
            return false;
        }
    }
    return true;
}

/* Files beside the book that it refers to come along; what can't be had is a fault. */
static po_status copy_files(po_desk *desk, const char *to, po_arena *arena, int64_t *ret_copied, json_t *faults,
                            po_err *err)
{
    po_ledger *copy = NULL;
    const char *const *list = NULL;
    size_t n = 0;
    po_status s = po_ledger_open(to, NULL, &copy, err);
    s = s == PO_OK ? po_keepsakes_copy(desk->options.ledger, copy, arena, ret_copied, &list, &n, err) : s;
    add_faults(faults, list, s == PO_OK ? n : 0);
    po_ledger_close(copy);
    return s;
}

void desk_do_backup(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const char *folder = desk->options.backups, *name = name_now(desk, rq->arena);
    const char *to = folder && name ? po_arena_printf(rq->arena, "%s/%s", folder, name) : NULL;
    if (!to) {
        desk_problem(rq, rp, 503, NULL, "no folder for copies of the book was named when the server was started");
        return;
    }
    if (!begin(desk, rq, rp)) {
        return;
    }
    json_t *faults = json_array();
    int64_t copied = 0;
    struct stat st = {0};
    po_err err;
    po_status s = mkdir(folder, 0700) == 0 || errno == EEXIST
                      ? PO_OK
                      : po_fail(&err, PO_E_IO, "%.150s can't be made: %s", folder, strerror(errno));
    s = s == PO_OK ? po_ledger_backup(desk->options.ledger, to, &err) : s;
    s = s == PO_OK ? copy_files(desk, to, rq->arena, &copied, faults, &err) : s;
    pthread_mutex_unlock(&desk->long_work);
    if (s != PO_OK) {
        json_decref(faults);
        desk_said_no(desk, rq, rp, &err);
        return;
    }
    (void)stat(to, &st);
    desk_reply_json(rq, rp,
                    json_pack("{s:s, s:s, s:I, s:I, s:o}", "format", "proveout/backup/1", "name", name, "bytes",
                              (json_int_t)st.st_size, "files", (json_int_t)copied, "faults", faults));
}

static int by_name(const void *p, const void *q)
{
    return -strcmp(*(const char *const *)p, *(const char *const *)q);
}

void desk_do_backups(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    enum { MOST = 1000 };
    const char **names = po_arena_zeros(rq->arena, MOST, sizeof *names);
    size_t n = 0;
    DIR *d = desk->options.backups ? opendir(desk->options.backups) : NULL;
    for (const struct dirent *e; d && names && n < MOST && (e = readdir(d));) {
        if (is_name(e->d_name) && (names[n] = po_arena_text(rq->arena, e->d_name))) {
            n++;
        }
    }
    if (names && n > 1) {
        qsort(names, n, sizeof *names, by_name);
    }
    json_t *list = json_array();
    for (size_t i = 0; i < n; i++) {
        struct stat st;
        if (fstatat(dirfd(d), names[i], &st, AT_SYMLINK_NOFOLLOW) == 0 && S_ISREG(st.st_mode)) {
            json_array_append_new(list, json_pack("{s:s, s:I, s:I}", "name", names[i], "bytes", (json_int_t)st.st_size,
                                                  "at_ms", (json_int_t)st.st_mtim.tv_sec * 1000));
        }
    }
    if (d) {
        closedir(d);
    }
    desk_reply_json(rq, rp, json_pack("{s:s, s:o}", "format", "proveout/backups/1", "backups", list));
}
