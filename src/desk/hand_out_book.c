/* A hand-out booked: the stick, the book, the key of the request. SPDX-License-Identifier: Apache-2.0
 *
 * The order: the job goes to the stick and is read back, then the book, then the stick is let go. So what was booked is on the stick, and
 * where anything is cut off before, nothing is booked. The request's key stands in the act itself: sent again, it finds what it booked. */
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include "desk/at_desk.h"
#include "desk/handing.h"
#include "work/stick_look.h"
#include "work/stick_put.h"

enum { RUNS_LOOKED = 8, LOOKED_FILES = 60, TURN_WAIT_S = 60, TURN_OF_ANOTHER = -2 };

/* ---- what a key has booked ---- */

/* The run that this key handed out on this machine; 0: none. */
static po_status booked(desk_handing *h, const char *machine, const char *key, int64_t *ret_run, po_err *err)
{
    json_t *list = NULL;
    *ret_run = 0;
    po_status s = work_ask(&h->work, "runs", json_pack("{s:s, s:i}", "machine", machine, "limit", RUNS_LOOKED), &list,
                           err);
    size_t n = json_array_size(json_object_get(list, "runs"));
    for (size_t i = 0; s == PO_OK && !*ret_run && i < n; i++) {
        json_t *run = NULL;
        int64_t number = work_int(json_array_get(json_object_get(list, "runs"), i), "run", 0);
        s = work_ask(&h->work, "run", json_pack("{s:I}", "run", (json_int_t)number), &run, err);
        size_t k;
        const json_t *event;
        json_array_foreach(json_object_get(run, "events"), k, event)
        {
            bool ours = strcmp(work_text(event, "act"), "run-hand-out") == 0 && !work_has(event, "undone_by") &&
                        strcmp(work_text(json_object_get(event, "body"), "key"), key) == 0;
            *ret_run = ours ? number : *ret_run;
        }
        json_decref(run);
    }
    json_decref(list);
    return s;
}

/* The answer of a booking, the same however often it is asked for. stick: taken over, may be NULL. */
static void reply_booked(desk_handing *h, int64_t number, json_t *stick, bool again)
{
    json_t *run = NULL;
    po_err err;
    if (work_ask(&h->work, "run", json_pack("{s:I}", "run", (json_int_t)number), &run, &err) != PO_OK) {
        json_decref(stick);
        desk_said_no(h->desk, h->rq, h->rp, &err);
        return;
    }
    json_object_del(run, "events");
    json_t *o = json_pack("{s:s, s:b, s:b, s:o, s:f}", "format", "proveout/handed-out/1", "booked", 1, "again", again,
                          "run", run, "watch_minutes", h->work.shop->rules.watch_minutes);
    if (o && stick) {
        json_object_set(o, "stick", stick);
    }
    json_decref(stick);
    desk_reply_json(h->rq, h->rp, o);
}

void desk_do_hand_out_key(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_handing h;
    int64_t run = 0;
    po_err err;
    if (!desk_handing_begin(&h, desk, rq, rp)) {
        return;
    }
    if (booked(&h, desk_text(rq->json, "machine"), rq->name, &run, &err) != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
    } else if (run) {
        reply_booked(&h, run, NULL, true);
    } else {
        desk_reply_json(rq, rp, json_pack("{s:s, s:b}", "format", "proveout/handed-out/1", "booked", 0));
    }
}

/* ---- the stick ---- */

/* The file's bytes as they are kept; NULL with the reply written. */
static void *map_file(desk_handing *h, size_t *ret_n)
{
    const char *path = desk_file_path(h->desk, h->asked.file.sha256, h->rq->arena);
    int fd = path ? open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW) : -1;
    struct stat st;
    void *bytes = MAP_FAILED;
    if (fd >= 0 && fstat(fd, &st) == 0 && st.st_size > 0) {
        *ret_n = (size_t)st.st_size;
        bytes = mmap(NULL, *ret_n, PROT_READ, MAP_PRIVATE, fd, 0);
    }
    if (fd >= 0) {
        close(fd);
    }
    if (bytes == MAP_FAILED) {
        desk_problem(h->rq, h->rp, 404, "file", "the file is not kept here (any more); send it first");
        return NULL;
    }
    return bytes;
}

/* Put the job on the machine's stick; false with the reply written and nothing booked. *ret_stick: what is to be said, the caller's. */
static bool put_on_stick(desk_handing *h, const po_machine *machine, bool folder_too, json_t **ret_stick)
{
    const char *mount = machine->stick_mount;
    po_err err;
    size_t n = 0;
    bool mounted = work_stick_mounted(mount);
    if (!mounted && !folder_too) {
        struct stat st;
        desk_problem(h->rq, h->rp, 409, "stick",
                     stat(mount, &st) == 0 ? "no stick is mounted at %s, it is an ordinary folder: put the stick in, "
                                             "or hand out without writing it"
                                           : "no stick shows at %s: put it in, or hand out without writing it",
                     mount);
        return false;
    }
    const char *name = work_stick_name(mount, desk_handing_name(&h->asked.file), h->asked.file.sha256, h->rq->arena);
    void *bytes = name ? map_file(h, &n) : NULL;
    if (!bytes) {
        if (!name) {
            desk_problem(h->rq, h->rp, 409, "stick", "too many jobs of this name are on the stick; clear it first");
        }
        return false;
    }
    po_status s = work_stick_put(mount, name, bytes, n, h->asked.file.sha256, &err);
    munmap(bytes, n);
    if (s != PO_OK) {
        desk_problem(h->rq, h->rp, 409, "stick", "%s; nothing is booked", err.msg);
        return false;
    }
    *ret_stick = json_pack("{s:s, s:s, s:b, s:b}", "mount", mount, "name", name, "written", 1, "mounted", mounted);
    return *ret_stick != NULL;
}

static void let_go(const po_machine *machine, json_t *stick)
{
    static const char *const words[] = {"unmounted", "flushed", "busy"};
    work_released how = WORK_FLUSHED;
    po_err err;
    po_status s = stick ? work_stick_release(machine->stick_mount, &how, &err) : PO_OK;
    if (stick) {
        json_object_set_new(stick, "released", json_string(s == PO_OK ? words[how] : "failed"));
    }
}

/* ---- confirm ---- */

/* Whether all that must be decided was decided; false with the reply written. */
static bool decided(desk_handing *h, const work_offer *o)
{
    const json_t *asked = h->rq->json;
    bool reason = desk_text(asked, "reason") != NULL, yes = json_is_true(json_object_get(asked, "yes"));
    if (!o->may) {
        desk_problem(h->rq, h->rp, 409, o->why.where, "%s", o->why.msg);
        return false;
    }
    if (o->hand.worst == PO_GRADE_STOP && (h->rq->who.role < PO_STANDS_AS_KEEPER || !reason)) {
        desk_problem(
            h->rq, h->rp, 409, h->rq->who.role < PO_STANDS_AS_KEEPER ? "verdict" : "reason",
            "the verdict on this job is stop and it is not handed out: mend the job, or a keeper hands it out with a "
            "leave that says why");
        return false;
    }
    if (o->hand.worst == PO_GRADE_ASK && (!yes || !reason)) {
        desk_problem(
            h->rq, h->rp, 409, yes ? "reason" : "verdict",
            "the verdict on this job is ask and it is not handed out yet: a desk person decides, and says why");
        return false;
    }
    int64_t waived = work_int(asked, "waive_um", 0);
    if (o->need_um > waived && !desk_text(asked, "beyond") && !desk_text(asked, "fund")) {
        desk_problem(h->rq, h->rp, 409, "waive_um",
                     "the job needs %s more than the member has left: waive that, let a fund pay, or use less",
                     work_metres(&h->work, o->need_um - waived));
        return false;
    }
    return true;
}

/* What was decided goes into the act. */
static void put_decisions(desk_handing *h, work_offer *o)
{
    const json_t *asked = h->rq->json;
    json_t *body = o->hand.body;
    const char *stick = desk_text(asked, "stick"), *beyond = desk_text(asked, "beyond"),
               *reason = desk_text(asked, "reason");
    json_object_set(body, "key", json_object_get(asked, "key"));
    if (stick && strcmp(stick, "none") == 0) {
        json_object_del(body, "stick");
    } else if (stick) {
        json_object_set_new(body, "stick", json_string(stick));
    }
    if (beyond) {
        json_object_set_new(body, "beyond", json_string(beyond));
        if (h->work.shop->currency) {
            json_object_set_new(body, "currency", json_string(h->work.shop->currency));
        }
    } else {
        json_object_del(body, "beyond"); /* nobody said that it may cost */
    }
    if (reason && o->hand.worst >= PO_GRADE_ASK) {
        json_object_set_new(body, "leave", json_string(reason));
    }
}

static json_t *waiver(desk_handing *h, int64_t um)
{
    const char *why = desk_text(h->rq->json, "waive_reason");
    return json_pack("{s:s, s:I, s:s, s:s, s:s, s:I}", "member", h->book.member, "um", (json_int_t)um, "reason",
                     why ? why : "", "asked_by", h->book.member, "sha256", h->asked.file.sha256, "desk_limit_um",
                     (json_int_t)(h->work.shop->rules.desk_may_waive_m * 1e6 + 0.5));
}

/* All acts or none. */
static po_status book_it(desk_handing *h, work_offer *o, int64_t *ret_run, po_err *err)
{
    static const char *const names[] = {"waiver-give", "proof-keep", "run-hand-out"};
    int64_t waive = work_int(h->rq->json, "waive_um", 0);
    json_t *bodies[] = {waive > 0 ? waiver(h, waive) : NULL, work_hand_out_proof(&o->hand, h->rq->arena),
                        json_incref(o->hand.body)};
    char *texts[3] = {NULL};
    po_act acts[3];
    po_act_done done[3];
    size_t n = 0, failed = 0;
    po_status s = PO_OK;
    for (int i = waive > 0 ? 0 : 1; i < 3; i++) {
        texts[n] = bodies[i] ? json_dumps(bodies[i], JSON_COMPACT) : NULL;
        s = texts[n] ? s : po_fail(err, PO_E_NOMEM, "memory ran out");
        acts[n] = (po_act){names[i], h->rq->who.member, texts[n]};
        n++;
    }
    s = s == PO_OK ? po_ledger_act_all(h->desk->options.ledger, acts, n, h->rq->arena, done, &failed, err) : s;
    if (s == PO_OK) {
        json_t *answer = json_loads(done[n - 1].answer, 0, NULL);
        *ret_run = work_int(answer, "run", 0);
        json_decref(answer);
    }
    for (size_t i = 0; i < 3; i++) {
        json_decref(bodies[i]);
        free(texts[i]);
    }
    return s;
}

/* One at a time writes to what shows at a mount. -1: nothing shows there, and writing will say so; -2: it is another's turn, with the answer
 * put off: nobody who answers waits for a stick that is slow. Closing it ends the turn. */
static int take_turn(desk_handing *h, const char *mount)
{
    int fd = open(mount, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    while (fd >= 0 && flock(fd, LOCK_EX | LOCK_NB) != 0) {
        if (errno == EINTR) {
            continue;
        }
        if (errno != EWOULDBLOCK) {
            break; /* no turns are kept there */
        }
        close(fd);
        if (!h->rq->until_s) {
            h->rq->until_s = desk_seconds() + TURN_WAIT_S;
        }
        h->rp->retry_seconds = 5;
        desk_problem(h->rq, h->rp, 503, "stick",
                     "somebody is writing to the stick at %s; nothing is booked, try again when that is done", mount);
        h->rp->later = true;
        return TURN_OF_ANOTHER;
    }
    return fd;
}

static void end_turn(desk_handing *h, int fd)
{
    if (fd >= 0) {
        close(fd);
        desk_changed(h->desk); /* who waits for a turn */
    }
}

/* The same request came twice, and the other one was quicker: its run; 0: no. */
static int64_t others(desk_handing *h, const work_offer *o)
{
    po_err ignored;
    int64_t run = 0;
    return booked(h, o->machine->name, desk_text(h->rq->json, "key"), &run, &ignored) == PO_OK ? run : 0;
}

/* Stick, book, stick let go. */
static void carry_out(desk_handing *h, work_offer *o)
{
    const json_t *asked = h->rq->json;
    const char *mount = o->machine->stick_mount;
    bool write = mount && !json_is_false(json_object_get(asked, "write")) && json_object_get(o->hand.body, "stick");
    json_t *stick = NULL;
    int64_t run = 0;
    po_err err;
    int turn = write ? take_turn(h, mount) : -1;
    if (turn == TURN_OF_ANOTHER) {
        return;
    }
    int64_t quicker = write ? others(h, o) : 0;
    if (!quicker && write && !put_on_stick(h, o->machine, json_is_true(json_object_get(asked, "folder")), &stick)) {
        end_turn(h, turn);
        return;
    }
    po_status s = quicker ? PO_OK : book_it(h, o, &run, &err);
    end_turn(h, turn); /* before the stick is let go: an open folder keeps it busy */
    quicker = s == PO_E_CONFLICT ? others(h, o) : quicker;
    if (quicker) {
        json_decref(stick);
        reply_booked(h, quicker, NULL, true);
    } else if (s != PO_OK) {
        json_decref(stick);
        desk_said_no(h->desk, h->rq, h->rp, &err);
    } else {
        desk_live_poke(h->desk);
        let_go(o->machine, stick);
        reply_booked(h, run, stick, false);
    }
}

/* False: the proof does not hold any more. */
static bool try_confirm(desk_handing *h, const po_machine *machine)
{
    json_t *wishes = desk_handing_wishes(h->rq->json);
    const po_job_report **reports = desk_handing_reports(h);
    work_offer o;
    bool anew = false;
    po_err err;
    po_status s = wishes && reports ? PO_OK : po_fail(&err, PO_E_NOMEM, "memory ran out");
    size_t i = (size_t)(machine - h->work.shop->machines);
    s = s == PO_OK ? work_offer_one(&h->book, machine, reports[i], desk_handing_name(&h->asked.file), wishes,
                                    h->rq->arena, &o, &anew, &err)
                   : s;
    json_decref(wishes);
    if (s != PO_OK) {
        desk_said_no(h->desk, h->rq, h->rp, &err);
        return true;
    }
    if (!anew && decided(h, &o)) {
        put_decisions(h, &o);
        carry_out(h, &o);
    }
    work_hand_out_done(&o.hand);
    return !anew;
}

void desk_do_hand_out_confirm(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_handing h;
    int64_t run = 0;
    po_err err;
    if (!desk_handing_begin(&h, desk, rq, rp)) {
        return;
    }
    const po_machine *machine = po_shop_machine(desk->options.shop, desk_text(rq->json, "machine"));
    if (!machine) {
        desk_problem(rq, rp, 422, "machine", "the shop file has no such machine");
        return;
    }
    if (booked(&h, machine->name, desk_text(rq->json, "key"), &run, &err) != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
        return;
    }
    if (run) {
        reply_booked(&h, run, NULL, true);
        return;
    }
    if (!desk_handing_file(&h)) {
        return;
    }
    desk_handing_known(&h, desk_text(rq->json, "proof"));
    bool done = h.made && try_confirm(&h, machine);
    desk_handing_end(&h);
    for (int tries = 0; !done && tries < 2 && desk_handing_prove(&h); tries++) {
        done = try_confirm(&h, machine);
        desk_handing_end(&h);
        if (!done && tries == 1) {
            rp->retry_seconds = 1;
            desk_problem(rq, rp, 503, NULL,
                         "the machines are being changed just now; nothing is booked, confirm again");
        }
    }
}

/* ---- the stick by itself ---- */

/* What is on the stick that shows at a machine's mount. */
void desk_do_stick_look(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_handing h;
    stick_files files;
    json_t *sticks = NULL, *rows = NULL;
    po_err err;
    if (!desk_handing_begin(&h, desk, rq, rp)) {
        return;
    }
    const po_machine *machine = po_shop_machine(desk->options.shop, desk_text(rq->json, "machine"));
    if (!machine || !machine->stick_mount) {
        desk_problem(rq, rp, machine ? 409 : 422, "machine",
                     machine ? "the shop file does not say where the stick of %s shows (machines, stick, mount)"
                             : "the shop file has no such machine%s",
                     machine ? machine->name : "");
        return;
    }
    po_status s = work_stick_read(machine->stick_mount, desk->options.shop->most_file_bytes, rq->arena, &files, &err);
    if (s != PO_OK) {
        desk_problem(rq, rp, s == PO_E_NOMEM ? 503 : 409, "stick", "%s", err.msg);
        return;
    }
    s = work_ask(&h.work, "sticks", json_pack("{s:s}", "machine", machine->name), &sticks, &err);
    s = s == PO_OK ? work_stick_judge(&h.work, machine, json_array_get(json_object_get(sticks, "sticks"), 0), &files,
                                      &rows, &err)
                   : s;
    if (s != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
    } else {
        json_t *counts = work_stick_counts(rows);
        bool more = files.more || json_array_size(rows) > LOOKED_FILES;
        while (json_array_size(rows) > LOOKED_FILES) {
            json_array_remove(rows, json_array_size(rows) - 1);
        }
        desk_reply_json(rq, rp,
                        json_pack("{s:s, s:s, s:s, s:b, s:o, s:O, s:b}", "format", "proveout/stick-look/1", "mount",
                                  machine->stick_mount, "machine", machine->name, "mounted",
                                  work_stick_mounted(machine->stick_mount), "counts", counts, "files", rows, "more",
                                  more));
    }
    json_decref(rows);
    json_decref(sticks);
}

/* Write the job of a run that is out once more: to another stick, or where the first one came to grief. */
void desk_do_stick_write(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_handing h;
    json_t *run = NULL, *stick = NULL;
    po_err err;
    if (!desk_handing_begin(&h, desk, rq, rp)) {
        return;
    }
    po_status s = work_ask(&h.work, "run", json_pack("{s:O}", "run", json_object_get(rq->json, "run")), &run, &err);
    const po_machine *machine = s == PO_OK ? po_shop_machine(desk->options.shop, work_text(run, "machine")) : NULL;
    if (s != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
    } else if (strcmp(work_text(run, "state"), "out") != 0 || !machine || !machine->stick_mount) {
        desk_problem(rq, rp, 409, "run", "run %lld is not out with a stick that shows here",
                     (long long)work_int(run, "run", 0));
    } else {
        json_object_set(rq->json, "file", json_object_get(run, "sha256"));
        int turn = take_turn(&h, machine->stick_mount);
        bool put = turn != TURN_OF_ANOTHER && desk_handing_file(&h) &&
                   put_on_stick(&h, machine, json_is_true(json_object_get(rq->json, "folder")), &stick);
        end_turn(&h, turn);
        if (put) {
            let_go(machine, stick);
            desk_reply_json(rq, rp, json_pack("{s:s, s:O}", "format", "proveout/stick-written/1", "stick", stick));
        }
        json_object_del(rq->json, "file");
    }
    json_decref(stick);
    json_decref(run);
}
