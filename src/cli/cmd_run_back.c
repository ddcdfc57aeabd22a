/* proveout run take-back, failed: a machine back, a run that broke off. SPDX-License-Identifier: Apache-2.0
 *
 * A take-back books itself where it can: the stick or the machine names the run, the proof offers the metres. */
#include <inttypes.h>
#include <string.h>
#include <unistd.h>

#include "due.h"
#include "run_verbs.h"
#include "stick_look.h"
#include "work/take_back.h"
#include "work/failure.h"

/* ---- which run ---- */

typedef struct returned {
    json_t *run;
    const char *stick; /* that was named or is mounted; NULL: not said */
    const char *mount;
} returned;

/* What the core says no to, in the words of the command line. */
static int told(desk *d, const work_context *w, po_status s, const po_err *err)
{
    return s == PO_OK           ? EXIT_CLEAR
           : w->asked           ? desk_refused(d, w->asked, err)
           : s == PO_E_CONFLICT ? desk_refused(d, "run-take-back", err)
                                : cli_fail_err(err);
}

/* The run by its number, its machine or its stick; what else is named has to agree. */
static int find_run(desk *d, const json_t *named, returned *ret)
{
    const char *stick = cli_value(d->call, "stick"), *mount = cli_value(d->call, "stick-mount");
    const char *machine = *work_text(named, "machine") ? work_text(named, "machine") : NULL;
    const po_machine *shown = NULL;
    int64_t run = work_int(named, "run", 0);
    *ret = (returned){.stick = stick, .mount = mount};
    if (mount) {
        shown = work_stick_machine_at(d->shop, mount);
        if (!shown && !stick && !machine && !run) {
            return cli_fail(EXIT_USAGE,
                            "%s: no machine's stick shows there by the shop file; say which it is with --stick", mount);
        }
        machine = machine || run || stick || !shown ? machine : shown->name;
    }
    if (!run && !machine && !ret->stick) {
        return cli_fail(EXIT_USAGE, "say which run is back: its number, --machine NAME or --stick ID");
    }
    work_context w = desk_work(d);
    po_err err;
    int status = told(d, &w, work_back_run(&w, run, machine, stick, &ret->run, &err), &err);
    if (status == EXIT_CLEAR && shown && !stick && *work_text(ret->run, "stick")) {
        ret->stick = shown->stick_label; /* what shows there is that stick */
        status = told(d, &w, work_back_same_stick(ret->run, ret->stick, &err), &err);
    }
    return status;
}

/* ---- which job was run ---- */

/* The SHA-256 of --file: 64 digits, a file, or a file by its name on the mounted stick. NULL with a message printed. */
static const char *sha_of_file(desk *d, const returned *r, const char *file)
{
    const char *on_stick = r->mount ? po_arena_printf(d->arena, "%s/%s", r->mount, file) : NULL;
    json_t *sha = desk_value(d, "--file", on_stick && access(on_stick, R_OK) == 0 ? on_stick : file, DESK_SHA);
    const char *text = sha ? po_arena_text(d->arena, json_string_value(sha)) : NULL;
    json_decref(sha);
    return text;
}

/* Jobs on the mounted stick beside the one that went out: which was run can't be known then. *ret_there: the run's job is on it. */
static int look_at_stick(desk *d, const returned *r, bool asked, bool *ret_there)
{
    const po_machine *machine = po_shop_machine(d->shop, work_text(r->run, "machine"));
    const char *sha = work_text(r->run, "sha256"), *others = "";
    stick_files files;
    json_t *rows = NULL;
    size_t n = 0;
    if (!machine) {
        return cli_fail(EXIT_USAGE, "the shop file has no machine %s any more", work_text(r->run, "machine"));
    }
    int status = stick_files_read(r->mount, d->shop->most_file_bytes, d->arena, &files);
    status = status == EXIT_CLEAR ? stick_judge(d, machine, NULL, &files, &rows) : status;
    *ret_there = false;
    for (size_t i = 0; i < json_array_size(rows); i++) {
        const json_t *row = json_array_get(rows, i);
        const char *state = work_text(row, "state");
        bool ours = *sha && !strcmp(work_text(row, "sha256"), sha);
        *ret_there = *ret_there || ours;
        if (!ours && (!strcmp(state, "proved") || !strcmp(state, "changed") || !strcmp(state, "unproved"))) {
            others = n < 5 ? po_arena_printf(d->arena, "%s%s%s", others, n ? ", " : "", work_text(row, "path"))
                           : others;
            n++;
        }
    }
    json_decref(rows);
    if (status == EXIT_CLEAR && n > 0 && !asked) {
        status = run_refuse(d, "run-take-back", "file",
                            "beside %s there %s on the stick (%s%s): say with --file which job was run",
                            work_text(r->run, "file"), n == 1 ? "is another job" : "are other jobs",
                            others ? others : "", n > 5 ? " and more" : "");
    }
    return status;
}

/* Another job than was handed out: its own proof on the machine offers the metres, where nothing else does. */
static int other_job(desk *d, const json_t *run, const char *sha, json_t *body)
{
    json_t *answer = NULL;
    const char *machine = work_text(run, "machine");
    bool figured = json_object_get(body, "used_um") || json_object_get(body, "used_mg");
    int status = desk_ask(d, "proofs", json_pack("{s:s, s:s}", "sha256", sha, "machine", machine), &answer);
    const json_t *proof = json_array_get(json_object_get(answer, "proofs"), 0);
    if (status == EXIT_CLEAR && !figured && !proof) {
        status = run_refuse(
            d, "run-take-back", "file",
            "the job that was run is another than was handed out (%s), and no proof of it on %s is kept: "
            "say what was used with --counter, --used-g or --used",
            work_text(run, "file"), machine);
    } else if (status == EXIT_CLEAR) {
        const char *name = proof ? work_text(proof, "file") : "", *was = work_text(body, "condition");
        const char *text = po_arena_printf(
            d->arena, "%s%sthe job that was run is %s%.12s, not %s", was, *was ? "; " : "",
            *name ? po_arena_printf(d->arena, "%s, SHA-256 ", name) : "SHA-256 ", sha, work_text(run, "file"));
        json_object_set_new(body, "condition", json_string(text ? text : ""));
        if (!figured) {
            json_object_set(body, "used_um", json_object_get(proof, "um"));
        }
    }
    json_decref(answer);
    return status;
}

/* ---- take-back ---- */

/* Whence the figure: --counter, --used-g, --used, else the proof. */
static int put_figure(const desk *d, json_t *body)
{
    static const struct {
        const char *option, *field, *figure;
        desk_unit unit;
    } figures[] = {{"counter", "used_um", "counter", DESK_M},
                   {"used-g", "used_mg", "scale", DESK_G},
                   {"used", "used_um", "proof", DESK_M}};
    const char *figure = "proof";
    size_t n = 0;
    for (size_t i = 0; i < sizeof figures / sizeof figures[0]; i++) {
        const char *text = cli_value(d->call, figures[i].option);
        if (!text) {
            continue;
        }
        char name[16];
        snprintf(name, sizeof name, "--%s", figures[i].option);
        json_t *v = n++ ? NULL : desk_value(d, name, text, figures[i].unit);
        if (!v) {
            return n > 1 ? cli_fail(EXIT_USAGE, "--counter, --used-g and --used: one of them says what was used")
                         : EXIT_USAGE;
        }
        json_object_set_new(body, figures[i].field, v);
        figure = figures[i].figure;
    }
    json_object_set_new(body, "figure", json_string(figure));
    return EXIT_CLEAR;
}

static const char *whence(const desk *d, const char *figure)
{
    return !strcmp(figure, "counter")   ? "by the machine's counter"
           : !strcmp(figure, "scale")   ? "by the scale"
           : cli_value(d->call, "used") ? "as reckoned at the desk"
                                        : "by the proof";
}

static void tell_back(desk *d, const json_t *run, const json_t *answer, const char *figure, bool outcome)
{
    json_t *words = json_pack("{s:s}", "whence", whence(d, figure));
    json_object_update_missing(words, (json_t *)(uintptr_t)run);
    desk_tell(d, "Run {run}: {machine} is back from member {member}[ with stick {stick}].", words, NULL);
    desk_tell(d, "Used: {used_um:m}[ ({used_mg:g})], {whence}.", answer, words);
    if (work_int(answer, "waived_um", 0) > 0) {
        desk_tell(d, "Of it {waived_um:m} are of waivers.", answer, NULL);
    }
    if (!json_is_integer(json_object_get(run, "off_ms"))) {
        desk_tell(d, "By the book its part is still on the bed: proveout run off {run}.", run, NULL);
    }
    if (!outcome) {
        desk_tell(
            d,
            strcmp(work_text(run, "state"), "failed") != 0
                ? "How it came out is open: proveout run outcome {run} good."
                : "Why it failed is open: proveout run outcome {run} failed --cause WORD (file, machine, material, "
                  "power, handling or unknown).",
            run, NULL);
    }
    json_decref(words);
}

/* Fills the body; EXIT_CLEAR, or a message printed. */
static int back_body(desk *d, const returned *r, json_t *body, bool *ret_there)
{
    const char *file = cli_value(d->call, "file"), *sha = NULL;
    json_object_set(body, "run", json_object_get(r->run, "run"));
    json_object_del(body, "machine");
    int status = put_figure(d, body);
    if (status == EXIT_CLEAR && file) {
        sha = sha_of_file(d, r, file);
        status = sha ? EXIT_CLEAR : EXIT_USAGE;
    }
    *ret_there = true;
    status = status == EXIT_CLEAR && r->mount ? look_at_stick(d, r, file != NULL, ret_there) : status;
    if (status == EXIT_CLEAR && sha && *work_text(r->run, "sha256") && strcmp(sha, work_text(r->run, "sha256")) != 0) {
        status = other_job(d, r->run, sha, body);
    }
    if (status == EXIT_CLEAR && r->stick && !json_object_get(body, "stick_there")) {
        json_object_set_new(body, "stick_there", json_true());
    }
    return status;
}

int run_take_back(const cli_call *call)
{
    desk d;
    returned r = {0};
    json_t *body = NULL, *answers[2] = {NULL}, *extra = json_object();
    po_act_done done[2];
    bool there = true, good = cli_value(call, "good") != NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    status = status == EXIT_CLEAR ? find_run(&d, body, &r) : status;
    status = status == EXIT_CLEAR ? back_body(&d, &r, body, &there) : status;
    if (status == EXIT_CLEAR) {
        const char *acts[] = {"run-take-back", "run-outcome"};
        const char *figure = po_arena_text(d.arena, work_text(body, "figure"));
        size_t n = good ? 2 : 1;
        json_t *bodies[] = {json_incref(body),
                            good ? json_pack("{s:O, s:s}", "run", json_object_get(r.run, "run"), "outcome", "good")
                                 : NULL};
        if (good) {
            run_add_counts(&d, bodies[1]);
        }
        status = desk_acts(&d, acts, bodies, n, done, answers);
        if (status == EXIT_CLEAR && !d.json) {
            tell_back(&d, r.run, answers[0], figure ? figure : "", good || *work_text(r.run, "outcome"));
            if (!there) {
                printf("The job that was handed out is not on the stick (any more).\n");
            }
            if (json_is_false(json_object_get(body, "stick_there")) && *work_text(r.run, "stick")) {
                desk_tell(&d, "The stick is not there: proveout stick lost {stick} where it can't be found.", r.run,
                          NULL);
            }
        }
        if (status == EXIT_CLEAR) {
            run_next_ticket(&d, work_text(r.run, "machine"), extra, !d.json);
        }
        if (status == EXIT_CLEAR && d.json) {
            json_object_set(extra, "run", json_object_get(r.run, "run"));
            status = run_print_acts(acts, done, answers, n, extra);
        } else if (status == EXIT_CLEAR) {
            run_tell_events(done, n);
        }
    }
    json_decref(answers[0]);
    json_decref(answers[1]);
    json_decref(extra);
    json_decref(body);
    json_decref(r.run);
    desk_close(&d);
    return status;
}

/* ---- failed ---- */

typedef struct failing {
    work_acts acts;
    json_t *answers[WORK_ACTS_MOST];
    po_act_done done[WORK_ACTS_MOST];
} failing;

/* An option as a whole number into *ret, which stays as it is without it. */
static int read_option(const desk *d, const char *option, desk_unit unit, int64_t *ret)
{
    const char *text = cli_value(d->call, option);
    char name[24];
    snprintf(name, sizeof name, "--%.20s", option);
    json_t *v = text ? desk_value(d, name, text, unit) : NULL;
    if (v) {
        *ret = json_is_boolean(v) ? json_is_true(v) : json_integer_value(v);
    }
    json_decref(v);
    return text && !v ? EXIT_USAGE : EXIT_CLEAR;
}

/* What was said of it on the command line. */
static int read_failure(const desk *d, const json_t *body, work_failure *ret)
{
    work_failure said = WORK_FAILURE_INIT;
    int64_t counts = -1;
    said.z_um = work_int(body, "z_um", -1);
    said.percent = work_int(body, "percent", -1);
    said.seconds = work_int(body, "seconds", -1);
    said.at_ms = work_int(body, "at", -1);
    said.symptom = *work_text(body, "symptom") ? work_text(body, "symptom") : NULL;
    said.cause = cli_value(d->call, "cause");
    said.to = cli_value(d->call, "to");
    said.back = cli_value(d->call, "back") != NULL;
    said.message = cli_value(d->call, "quiet") ? "" : NULL;
    int status = said.cause ? read_option(d, "counts", DESK_YES, &counts) : EXIT_CLEAR;
    said.counts = (int)counts;
    if (status == EXIT_CLEAR && !said.to && (cli_value(d->call, "recycled-g") || cli_value(d->call, "place"))) {
        return cli_fail(EXIT_USAGE, "--recycled-g and --place go with --to, which says where the part went");
    }
    if (said.to) {
        status = status == EXIT_CLEAR ? read_option(d, "recycled-g", DESK_G, &said.recycled_mg) : status;
        status = status == EXIT_CLEAR ? read_option(d, "place", DESK_COUNT, &said.place) : status;
        status = status == EXIT_CLEAR ? read_option(d, "kept-until", DESK_UNTIL, &said.kept_until_ms) : status;
    }
    *ret = said;
    return status;
}

/* Run failed, and what else was said of it, in the order in which it happens. */
static int make_failing(desk *d, failing *f, const json_t *body, const json_t *run)
{
    work_context w = desk_work(d);
    work_failure said;
    po_err err;
    int status = read_failure(d, body, &said);
    return status != EXIT_CLEAR                                         ? status
           : work_failure_acts(&w, run, &said, &f->acts, &err) == PO_OK ? EXIT_CLEAR
                                                                        : run_refused_place(d, &w, &err);
}

static void tell_failed(desk *d, const failing *f, const json_t *run)
{
    desk_tell(d, "Run {run} of member {member} failed on {machine}.", run, NULL);
    desk_tell(d, "Until then it used {used_um:m}[ ({used_mg:g})] and {used_seconds:span} by the proof.", f->answers[0],
              NULL);
    bool back = false, off = json_is_integer(json_object_get(run, "off_ms"));
    for (size_t i = 1; i < f->acts.n; i++) {
        const json_t *body = f->acts.bodies[i];
        if (!strcmp(f->acts.names[i], "run-outcome")) {
            bool counts = json_is_true(json_object_get(body, "counts"));
            bool first = json_is_true(json_object_get(body, "rerun_first"));
            printf("Cause: %s. It %s against the allowance%s.\n", work_text(body, "cause"),
                   counts ? "counts" : "does not count", first ? ", and its rerun goes first" : "");
        } else if (!strcmp(f->acts.names[i], "run-off")) {
            off = true;
            desk_tell(
                d,
                "The part is off the bed: {to}[, place {place}][, kept until {kept_until:until}][, {recycled_mg:g} "
                "for recycling].",
                body, NULL);
        } else {
            back = true;
            desk_tell(d, "{machine} is back.", run, NULL);
        }
    }
    if (json_object_get(f->acts.bodies[0], "message")) {
        printf("A message to the member waits in the outbox.\n");
    }
    if (!off || !back) {
        cli_wrap(stdout, 0,
                 "Careful: nozzle, bed and a part that broke loose may be hot and the axes can start: stop the machine "
                 "as its "
                 "maker says and let it cool before anybody reaches in.");
    }
    if (!off) {
        desk_tell(d, "Next: proveout run off {run} --to waste.", run, NULL);
    } else if (!back) {
        desk_tell(d, "Next: proveout run take-back --machine {machine}.", run, NULL);
    }
}

int run_failed(const cli_call *call)
{
    desk d;
    failing f = {0};
    json_t *body = NULL, *run = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    status = status == EXIT_CLEAR ? run_of_body(&d, body, &run) : status;
    status = status == EXIT_CLEAR ? make_failing(&d, &f, body, run) : status;
    if (status == EXIT_CLEAR) {
        json_t *bodies[WORK_ACTS_MOST] = {0};
        for (size_t i = 0; i < f.acts.n; i++) {
            bodies[i] = json_incref(f.acts.bodies[i]);
        }
        status = desk_acts(&d, f.acts.names, bodies, f.acts.n, f.done, f.answers);
    }
    if (status == EXIT_CLEAR && d.json) {
        json_t *extra = json_pack("{s:O}", "run", json_object_get(run, "run"));
        if (cli_value(call, "back")) {
            run_next_ticket(&d, work_text(run, "machine"), extra, false);
        }
        status = run_print_acts(f.acts.names, f.done, f.answers, f.acts.n, extra);
        json_decref(extra);
    } else if (status == EXIT_CLEAR) {
        tell_failed(&d, &f, run);
        if (cli_value(call, "back")) {
            run_next_ticket(&d, work_text(run, "machine"), NULL, true);
        }
        run_tell_events(f.done, f.acts.n);
    }
    for (size_t i = 0; i < f.acts.n; i++) {
        json_decref(f.answers[i]);
    }
    work_acts_done(&f.acts);
    json_decref(body);
    json_decref(run);
    desk_close(&d);
    return status;
}
