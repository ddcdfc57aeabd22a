/* proveout run reserve, hand-out: a job proved for a machine and a member, and booked. SPDX-License-Identifier: Apache-2.0
 *
 * The job is measured and judged here and now, by what is fitted and loaded. What the book itself decides (permission,
 * allowance, whether the machine is free) is left to it; what remains of the verdict is about the job: ask takes a desk person's
 * yes, stop a keeper's leave. The proof is kept with the hand-out, both or neither. */
#include <inttypes.h>
#include <string.h>

#include "due.h"
#include "prove.h"
#include "run_verbs.h"
#include "work/hand_out.h"

enum { ARENA_MOST = 2000000000 };

typedef struct handing {
    desk d;
    cli_book book;
    po_arena *arena; /* of the proof */
    const char *path;
    work_hand_out out;
} handing;

static int64_t whole(double value)
{
    return value > 0 && value < 1e15 ? (int64_t)(value + 0.5) : 0;
}

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

/* ---- the job proved ---- */

static int open_handing(handing *h, const cli_call *call)
{
    json_t *body = NULL;
    *h = (handing){.arena = po_arena_new(ARENA_MOST), .path = call->args[1]};
    int status = desk_open(&h->d, call);
    if (status == EXIT_CLEAR && !h->arena) {
        status = cli_fail(EXIT_OWN, "memory ran out");
    }
    status = status == EXIT_CLEAR ? desk_body(&h->d, &body) : status;
    if (status == EXIT_CLEAR) {
        cli_book_of(&h->book, &h->d);
        work_hand_out_begin(&h->out, cli_book_light(&h->book), body);
        h->out.file = h->path;
        status = h->out.found ? status : cli_fail(EXIT_OWN, "memory ran out");
    }
    return status;
}

static void close_handing(handing *h)
{
    work_hand_out_done(&h->out);
    cli_book_close(&h->book);
    po_arena_free(h->arena);
    desk_close(&h->d);
}

/* What the core says no to, in the words of the command line. */
static int told(handing *h, po_status s, const po_err *err)
{
    return s == PO_OK                                  ? EXIT_CLEAR
           : s == PO_E_CONFLICT && !h->book.work.asked ? desk_refused(&h->d, "run-hand-out", err)
                                                       : cli_book_failed(&h->book, err);
}

/* The machine that the options or the reservation name, and which spools. */
static int choose(handing *h)
{
    const char *name = work_text(h->out.body, "machine"), *spools = cli_value(h->d.call, "spool");
    name = *name ? name : work_text(h->out.reservation, "machine");
    h->out.machine = *name ? po_shop_machine(h->d.shop, name) : NULL;
    if (!h->out.machine) {
        return *name ? cli_fail(EXIT_USAGE, "the shop file has no machine %s any more; --machine names another", name)
                     : cli_fail(EXIT_USAGE,
                                "--machine says which machine it is for; proveout check %s shows which may "
                                "print it",
                                h->path);
    }
    json_object_set_new(h->out.body, "machine", json_string(h->out.machine->name));
    h->book.light.member = work_text(h->out.body, "member");
    if (spools && (!cli_split(spools, h->d.arena, h->book.light.spools, &h->book.light.n_spools) ||
                   h->book.light.n_spools == 0 || h->book.light.n_spools > WORK_MOST_SPOOLS)) {
        return cli_fail(EXIT_USAGE, "--spool needs 1 to %d spools, with commas between them", WORK_MOST_SPOOLS);
    }
    return EXIT_CLEAR;
}

/* A machine that can't go out is refused before a long job is measured for it. */
static int free_now(handing *h, bool needed)
{
    po_err err;
    h->out.book = cli_book_light(&h->book);
    int status = told(h, work_hand_out_may(&h->out, needed, &err), &err);
    cli_book_tell_suspended(&h->book);
    return status;
}

static int prove(handing *h, bool begins_now)
{
    po_err err;
    const char *recipe = work_text(h->out.body, "recipe");
    int status = cli_prove_one(&h->book, h->out.machine, *recipe ? po_shop_recipe(h->d.shop, recipe) : NULL, h->path,
                               h->arena, &h->out.proved);
    return status == EXIT_CLEAR ? told(h, work_hand_out_take(&h->out, begins_now, h->arena, &err), &err) : status;
}

/* The stick of the machine, or the one that is named; none with --stick none. */
static int put_stick(handing *h)
{
    po_err err;
    const char *given = cli_value(h->d.call, "stick");
    if (given && strcmp(given, "none") != 0) {
        json_object_set_new(h->out.body, "stick", json_string(given));
    }
    return given ? EXIT_CLEAR : told(h, work_hand_out_stick(&h->out, &err), &err);
}

static int put_beyond(handing *h)
{
    po_err err;
    return told(h, work_hand_out_beyond(&h->out, &err), &err);
}

static int put_figures(handing *h, bool out)
{
    po_err err;
    return told(h, work_hand_out_figures(&h->out, out, &err), &err);
}

/* ---- the verdict ---- */

static void tell_findings(const handing *h, bool notes)
{
    for (size_t i = 0; i < json_array_size(h->out.found); i++) {
        const json_t *f = json_array_get(h->out.found, i);
        if (notes || strcmp(work_text(f, "grade"), "note") != 0) {
            char text[1200];
            snprintf(text, sizeof text, "%s (%s): %s %s", work_text(f, "grade"), work_text(f, "name"),
                     work_text(f, "says"), work_text(f, "do"));
            cli_wrap(stdout, 2, text);
        }
    }
}

/* Ask and stop hold the job back until somebody decides; nothing is booked then. */
static int decide(handing *h)
{
    bool leave = *work_text(h->out.body, "leave") != 0, yes = cli_value(h->d.call, "yes") != NULL;
    if (h->out.worst == PO_GRADE_STOP ? leave : h->out.worst != PO_GRADE_ASK || yes || leave) {
        return EXIT_CLEAR;
    }
    const char *says =
        h->out.worst == PO_GRADE_STOP
            ? "the verdict on this job is stop and it is not handed out: mend the job, or a keeper hands it "
              "out with --by KEEPER --leave TEXT"
            : "the verdict on this job is ask and it is not handed out yet: a desk person decides, and "
              "books it with --yes";
    int status = h->out.worst == PO_GRADE_STOP ? EXIT_STOP : EXIT_ASK;
    if (h->d.json) {
        int printed = desk_print_json(json_pack("{s:s, s:s, s:s, s:s, s:s, s:O}", "format", "proveout/refusal/1",
                                                "what", "run-hand-out", "says", says, "field", "verdict", "verdict",
                                                work_verdict_word(h->out.worst), "findings", h->out.found));
        status = printed == EXIT_CLEAR ? status : printed;
    } else {
        printf("%s on %s:\n", base_name(h->path), h->out.machine->name);
        tell_findings(h, false);
    }
    return cli_fail(status, "%s", says);
}

/* ---- hand-out ---- */

/* "model", "machine" and so on (docs/learned.md) for whoever reads it at the desk. */
static const char *whence(const char *from)
{
    return !from || !strcmp(from, "model") ? "by the proof alone" : "as runs have really gone";
}

/* What the book would know better if somebody told it first: no spool for a tool that prints, a part on the bed. */
static void tell_unknown(const handing *h)
{
    const json_t *uses = json_object_get(h->out.body, "uses");
    if (!json_object_get(h->out.body, "spool") && !uses) {
        printf("No spool is loaded by the book, so none gives what is used: proveout machine fit %s --spool ID.\n",
               h->out.machine->name);
    }
    long long part = (long long)work_int(h->out.now, "part_of", 0);
    if (part > 0) {
        char text[200];
        snprintf(text, sizeof text,
                 "By the book the part of run %lld is still on the bed: look before anything starts (it may be hot); "
                 "once it is off: proveout run off %lld.",
                 part, part);
        cli_wrap(stdout, 0, text);
    }
}

static void tell_hand_out(handing *h, const json_t *answer)
{
    desk *d = &h->d;
    const po_proof *p = h->out.proved.proof;
    json_t *more = json_object(), *balance = NULL;
    json_object_set_new(more, "low", json_integer(whole(p->seconds.low)));
    json_object_set_new(more, "high", json_integer(whole(p->seconds.high)));
    json_object_set_new(more, "from", json_string(whence(p->ranges_from)));
    json_object_set_new(more, "mg", json_integer(whole(p->report->facts.filament_g * 1000)));
    json_object_set_new(more, "verdict", json_string(work_verdict_word(h->out.worst)));
    json_object_set_new(more, "watch", json_integer((json_int_t)(d->shop->rules.watch_minutes + 0.5)));
    json_object_set(more, "run", json_object_get(answer, "run"));
    json_object_update_missing(more, h->out.body);
    desk_tell(d, "Run {run}: {machine} goes out to member {member}[ with stick {stick}], for {file}.", more, NULL);
    desk_tell(d, "It takes {um:m} ({mg:g})[ from spool {spool}] and {low:span} to {high:span}, {from}.", more, NULL);
    printf("The verdict is %s%s\n", work_verdict_word(h->out.worst), json_array_size(h->out.found) ? ":" : ".");
    tell_findings(h, true);
    bool asked = desk_ask(d, "balance", json_pack("{s:s}", "member", work_text(h->out.body, "member")), &balance) ==
                 EXIT_CLEAR;
    if (asked && json_is_integer(json_object_get(balance, "left_um"))) {
        desk_tell(d, "Of the term {left_um:m} are left.", balance, NULL);
    }
    if (work_int(answer, "waived_um", 0) > 0) {
        desk_tell(d, "{waived_um:m} are drawn from waivers.", answer, NULL);
    }
    if (work_int(answer, "beyond_um", 0) > 0) {
        desk_tell(d, "{beyond_um:m} go beyond the allowance: {beyond} of {beyond_minor:money}.", answer, NULL);
    }
    if (json_is_string(json_object_get(answer, "fund"))) {
        desk_tell(d, "The fund {fund} pays {fund_minor:money}.", answer, NULL);
    }
    const char *was = work_text(h->out.reservation, "sha256");
    if (*was && strcmp(was, work_text(h->out.body, "sha256")) != 0) {
        printf("The job is another one than was reserved.\n");
    }
    if (h->out.other) {
        printf("By the book %s is loaded: proveout machine fit %s --tool %d --spool %s.\n",
               h->out.loaded ? h->out.loaded : "no spool", h->out.machine->name, h->out.other_tool, h->out.other);
    }
    tell_unknown(h);
    desk_tell(d, "Next, at the machine: proveout run start {run}; then {watch} min of watch.", more, NULL);
    json_decref(balance);
    json_decref(more);
}

static int book_hand_out(handing *h)
{
    const char *acts[] = {"proof-keep", "run-hand-out"};
    json_t *bodies[2] = {work_hand_out_proof(&h->out, h->arena), json_deep_copy(h->out.body)}, *answers[2] = {NULL};
    po_act_done done[2];
    int status = desk_acts(&h->d, acts, bodies, 2, done, answers);
    if (status == EXIT_CLEAR && h->d.json) {
        json_t *extra = json_pack("{s:s, s:O, s:O, s:O, s:O}", "verdict", work_verdict_word(h->out.worst), "findings",
                                  h->out.found, "um", json_object_get(h->out.body, "um"), "seconds",
                                  json_object_get(h->out.body, "seconds"), "run", json_object_get(answers[1], "run"));
        if (extra && json_object_get(h->out.body, "stick")) {
            json_object_set(extra, "stick", json_object_get(h->out.body, "stick"));
        }
        status = run_print_acts(acts, done, answers, 2, extra);
        json_decref(extra);
    } else if (status == EXIT_CLEAR) {
        tell_hand_out(h, answers[1]);
        run_tell_events(done, 2);
    }
    json_decref(answers[0]);
    json_decref(answers[1]);
    return status;
}

int run_hand_out(const cli_call *call)
{
    handing h;
    int status = open_handing(&h, call);
    int64_t run = status == EXIT_CLEAR ? work_int(h.out.body, "run", 0) : 0;
    status = run ? run_ask(&h.d, run, &h.out.reservation) : status;
    status = status == EXIT_CLEAR ? choose(&h) : status;
    status = status == EXIT_CLEAR ? free_now(&h, true) : status;
    status = status == EXIT_CLEAR ? put_stick(&h) : status;
    status = status == EXIT_CLEAR ? put_beyond(&h) : status;
    status = status == EXIT_CLEAR ? prove(&h, true) : status;
    status = status == EXIT_CLEAR ? decide(&h) : status;
    status = status == EXIT_CLEAR ? put_figures(&h, true) : status;
    status = status == EXIT_CLEAR ? book_hand_out(&h) : status;
    close_handing(&h);
    return status;
}

/* ---- reserve ---- */

static int reserve_metres(handing *h, json_t **ret)
{
    json_t *um = desk_value(&h->d, "METRES", h->path, DESK_M);
    if (!um) {
        return EXIT_USAGE;
    }
    json_object_set_new(h->out.body, "um", um);
    *ret = json_deep_copy(h->out.body);
    return EXIT_CLEAR;
}

/* Of a file: proved for its machine, and the proof is kept. */
static int reserve_file(handing *h, json_t **ret)
{
    int status = choose(h);
    status = status == EXIT_CLEAR ? free_now(h, false) : status;
    status = status == EXIT_CLEAR ? prove(h, false) : status;
    status = status == EXIT_CLEAR ? put_figures(h, false) : status;
    if (status == EXIT_CLEAR) {
        *ret = json_deep_copy(h->out.body);
    }
    return status;
}

int run_reserve(const cli_call *call)
{
    handing h;
    double ignored;
    json_t *body = NULL, *answers[2] = {NULL};
    po_act_done done[2];
    int status = open_handing(&h, call);
    bool metres = cli_number(h.path, 0, 1e6, &ignored);
    status = status == EXIT_CLEAR ? (metres ? reserve_metres(&h, &body) : reserve_file(&h, &body)) : status;
    if (status == EXIT_CLEAR) {
        const char *acts[] = {"run-reserve", "proof-keep"};
        json_t *bodies[] = {body, metres ? NULL : work_hand_out_proof(&h.out, h.arena)};
        size_t n = metres ? 1 : 2;
        status = desk_acts(&h.d, acts, bodies, n, done, answers);
        if (status == EXIT_CLEAR && h.d.json) {
            json_t *extra = json_pack("{s:O, s:O, s:s?, s:O}", "run", json_object_get(answers[0], "run"), "um",
                                      json_object_get(h.out.body, "um"), "verdict",
                                      metres ? NULL : work_verdict_word(h.out.worst), "findings", h.out.found);
            status = run_print_acts(acts, done, answers, n, extra);
            json_decref(extra);
        } else if (status == EXIT_CLEAR) {
            desk_tell(
                &h.d,
                "Run {run} is reserved for member {member}[ on {machine}]: {um:m}[, start promised {promised:time}].",
                answers[0], h.out.body);
            if (!metres && h.out.worst != PO_GRADE_NOTE) {
                printf("It can't go out just so, the verdict is %s:\n", work_verdict_word(h.out.worst));
                tell_findings(&h, false);
            }
            run_tell_events(done, n);
        }
        json_decref(answers[0]);
        json_decref(answers[1]);
    }
    close_handing(&h);
    return status;
}
