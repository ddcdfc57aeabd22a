/* proveout run start, watched, ended, off, outcome: a run on its machine, and how it came out. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "due.h"
#include "run_verbs.h"

enum { HANDS_MOST = 8 }; /* so many messages for one run */

/* The five points of the start check: the option, the field of the act, what is looked at. */
static const struct {
    const char *option, *field, *says;
} points[] = {
    {"heated", "heated", "nozzle and bed are at their temperatures"},
    {"stream", "stream_steady", "the filament comes in a steady stream"},
    {"bed", "bed_clean", "the bed is clean"},
    {"gap", "gap_good", "the gap of the first layer is good"},
    {"spool", "spool_right", "it is the right spool"},
};
enum { POINTS = sizeof points / sizeof points[0] };

/* The five points, by --all-good or one by one; a point that nobody looked at is no yes. */
static int add_points(const desk *d, json_t *body)
{
    bool all = cli_value(d->call, "all-good") != NULL;
    const char *missing = "";
    size_t n = 0;
    for (size_t i = 0; i < POINTS; i++) {
        const char *value = cli_value(d->call, points[i].option);
        if (value && all) {
            return cli_fail(EXIT_USAGE, "--all-good says all five; leave --%s out", points[i].option);
        }
        if (all) {
            json_object_set_new(body, points[i].field, json_true());
        } else if (!value) {
            missing = po_arena_printf(d->arena, "%s%s--%s (%s)", missing ? missing : "", n ? ", " : "",
                                      points[i].option, points[i].says);
            n++;
        }
    }
    return n == 0 ? EXIT_CLEAR
                  : cli_fail(EXIT_USAGE,
                             "look before the first bead and say yes or no: %s; or --all-good when all five were seen "
                             "to be so",
                             missing ? missing : "");
}

/* What the proof that was kept says of hands: a message for each, with the time on the clock. Adds to acts and bodies. */
static size_t hands_messages(desk *d, const json_t *run, const char **acts, json_t **bodies, size_t n)
{
    const char *sha = work_text(run, "sha256"), *machine = work_text(run, "machine");
    json_t *answer = NULL;
    if (!*sha || !*machine || cli_value(d->call, "quiet") || !d->shop->outbox.on ||
        desk_ask(d, "proofs", json_pack("{s:s, s:s}", "sha256", sha, "machine", machine), &answer) != EXIT_CLEAR) {
        return n;
    }
    const json_t *hands = json_object_get(json_array_get(json_object_get(answer, "proofs"), 0), "hands");
    for (size_t i = 0; i < json_array_size(hands) && i < HANDS_MOST; i++) {
        json_t *at = json_integer(d->now_ms + json_integer_value(json_array_get(hands, i)) * 1000);
        work_message_words words = {.run = desk_words(d, json_object_get(run, "run"), DESK_COUNT),
                                    .machine = machine,
                                    .time = desk_words(d, at, DESK_TIME)};
        const char *text = desk_message(d, PO_TEXT_HANDS, &words);
        if (text) {
            acts[n] = "message-put";
            bodies[n++] = json_pack("{s:s, s:s, s:s, s:O}", "member", work_text(run, "member"), "kind", "hands", "text",
                                    text, "run", json_object_get(run, "run"));
        }
        json_decref(at);
    }
    json_decref(answer);
    return n;
}

static void tell_start(desk *d, const json_t *run)
{
    json_t *watch = json_pack("{s:I}", "minutes", (json_int_t)(d->shop->rules.watch_minutes + 0.5)), *today = NULL;
    if (work_int(run, "reserved_seconds", 0) > 0 && due_ask(d, &today) == EXIT_CLEAR) { /* as today says it */
        size_t i;
        const json_t *row;
        json_array_foreach(json_object_get(today, "runs"), i, row)
        {
            if (work_int(row, "run", 0) == work_int(run, "run", -1)) {
                json_object_set(watch, "ends_ms", json_object_get(row, "end_ms"));
            }
        }
        json_decref(today);
    }
    desk_tell(d, "Run {run} of member {member} has started on {machine}.", run, NULL);
    desk_tell(
        d, "Stay with it for {minutes} min and until the first layer is down, then: proveout run watched {run} good.",
        watch, run);
    if (work_has(watch, "ends_ms")) {
        desk_tell(d, "It ends about {ends_ms:time}.", watch, NULL);
    }
    cli_wrap(stdout, 0,
             "Careful: nozzle and bed are hot enough to burn and the axes move: keep hands, hair and sleeves out while "
             "it runs; the machine's own stop is the way to end it. The maker's instructions come first.");
    json_decref(watch);
}

int run_start(const cli_call *call)
{
    const char *acts[HANDS_MOST + 1] = {"run-start"};
    json_t *bodies[HANDS_MOST + 1] = {NULL}, *answers[HANDS_MOST + 1] = {NULL}, *run = NULL;
    po_act_done done[HANDS_MOST + 1];
    size_t n = 1;
    desk d;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &bodies[0]) : status;
    status = status == EXIT_CLEAR ? add_points(&d, bodies[0]) : status;
    status = status == EXIT_CLEAR ? run_of_body(&d, bodies[0], &run) : status;
    if (status != EXIT_CLEAR) {
        json_decref(bodies[0]);
        goto end;
    }
    n = hands_messages(&d, run, acts, bodies, n);
    status = desk_acts(&d, acts, bodies, n, done, answers);
    if (status == EXIT_CLEAR && d.json) {
        status = run_print_acts(acts, done, answers, n, NULL);
    } else if (status == EXIT_CLEAR) {
        tell_start(&d, run);
        run_tell_events(done, n);
    }
    for (size_t i = 0; i < n; i++) {
        json_decref(answers[i]);
    }
end:
    json_decref(run);
    desk_close(&d);
    return status;
}

int run_watched(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    bool poor = status == EXIT_CLEAR && !strcmp(work_text(body, "first_layer"), "poor");
    status = status == EXIT_CLEAR ? desk_book_and_tell(&d, body) : status;
    if (status == EXIT_CLEAR && poor && !d.json) {
        cli_wrap(
            stdout, 0,
            "A poor first layer seldom mends itself: the desk decides whether it goes on. Where it is stopped, stop "
            "it at the machine as its maker says (nozzle and bed stay hot), then: proveout run failed.");
    }
    desk_close(&d);
    return status;
}

int run_ended(const cli_call *call)
{
    desk d;
    json_t *body = NULL, *run = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    status = status == EXIT_CLEAR ? run_of_body(&d, body, &run) : status;
    if (status == EXIT_CLEAR) {
        run_add_message(&d, body, PO_TEXT_DONE, run, 0, 0);
        status = desk_book_and_tell(&d, body);
        body = NULL;
    }
    if (status == EXIT_CLEAR && !d.json) {
        char text[400];
        snprintf(
            text, sizeof text,
            "Careful: take the part off only when the bed is below %.0f C by its own display; nozzle and bed may "
            "burn, and a part can let go with a jerk. Go by the maker's instructions. Then: proveout run off %lld.",
            d.shop->rules.collect_below_bed_c, (long long)work_int(run, "run", 0));
        cli_wrap(stdout, 0, text);
    }
    json_decref(body);
    json_decref(run);
    desk_close(&d);
    return status;
}

int run_off(const cli_call *call)
{
    desk d;
    json_t *body = NULL, *run = NULL;
    int64_t place = 0, until = 0;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    status = status == EXIT_CLEAR ? run_of_body(&d, body, &run) : status;
    if (status == EXIT_CLEAR && !json_object_get(body, "to")) {
        json_object_set_new(body, "to", json_string("shelf"));
    }
    if (status == EXIT_CLEAR && !strcmp(work_text(body, "to"), "shelf")) {
        status = run_add_place(&d, body, &place, &until);
        if (status == EXIT_CLEAR) {
            run_add_message(&d, body, PO_TEXT_COLLECT, run, place, until);
        }
    }
    if (status == EXIT_CLEAR) {
        status = desk_book_and_tell(&d, body);
        body = NULL;
        if (status == EXIT_CLEAR && !d.json && place) {
            desk_tell(&d, "proveout shelf label {run} makes its label.", run, NULL);
        }
    }
    json_decref(body);
    json_decref(run);
    desk_close(&d);
    return status;
}

int run_outcome(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR) {
        run_add_counts(&d, body);
        bool counts = json_is_true(json_object_get(body, "counts"));
        bool first = json_is_true(json_object_get(body, "rerun_first"));
        status = desk_book_and_tell(&d, body);
        body = NULL;
        if (status == EXIT_CLEAR && !d.json) {
            printf("It %s against the allowance%s.\n", counts ? "counts" : "does not count",
                   first ? ", and its rerun goes first" : "");
        }
    }
    json_decref(body);
    desk_close(&d);
    return status;
}
