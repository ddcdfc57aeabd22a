/* The desk's verbs and the book: opened, booked, asked. SPDX-License-Identifier: Apache-2.0 */
#include "desk.h"

#include <stdlib.h>
#include <string.h>

#include "when.h"

const char *desk_ledger_path(const cli_call *call, const po_shop *shop, po_arena *arena)
{
    const char *given = cli_value(call, "ledger"), *variable = getenv("PROVEOUT_LEDGER");
    if (given || (variable && *variable)) {
        return given ? given : variable;
    }
    if (shop && shop->ledger) {
        const char *file = cli_shop_path(cli_value(call, "shop")), *slash = file ? strrchr(file, '/') : NULL;
        const char *path = shop->ledger[0] == '/' || !slash
                               ? shop->ledger
                               : po_arena_printf(arena, "%.*s/%s", (int)(slash - file), file, shop->ledger);
        if (!path) {
            cli_fail(EXIT_OWN, "memory ran out");
        }
        return path;
    }
    cli_fail(EXIT_USAGE, "no book: name one with --ledger FILE, set PROVEOUT_LEDGER, or say ledger: under shop: in the "
                         "shop file");
    return NULL;
}

/* What the book's refusals mean to whoever called the program. */
static int exit_of(po_status s)
{
    return s == PO_E_CONFLICT || s == PO_E_NOTFOUND                 ? EXIT_STOP
           : s == PO_E_RANGE || s == PO_E_SYNTAX || s == PO_E_LIMIT ? EXIT_USAGE
                                                                    : EXIT_OWN;
}

int desk_open(desk *d, const cli_call *call)
{
    *d = (desk){.call = call, .arena = po_arena_new(0), .json = cli_value(call, "json") != NULL};
    if (!d->arena) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    int status = cli_shop_read(cli_value(call, "shop"), d->arena, &d->shop);
    status = status == EXIT_CLEAR ? when_opening(call, d->arena, &d->shop) : status;
    if (status != EXIT_CLEAR) {
        return status;
    }
    const char *by = cli_value(call, "by"), *variable = getenv("PROVEOUT_BY");
    d->by = by ? by : variable && *variable ? variable : "desk";
    po_wall_time ignored;
    if (!desk_wall(d->shop, 0, &ignored, NULL)) {
        return cli_fail(EXIT_USAGE, "this system does not know the shop's time zone %s (package tzdata)",
                        d->shop->time_zone);
    }
    po_err err;
    if (po_zone_load(d->shop->time_zone, d->arena, &d->zone, &err) != PO_OK) {
        return cli_fail_err(&err);
    }
    d->now_ms = desk_now_ms((void *)(uintptr_t)d->shop);
    if (d->now_ms < 0) {
        return cli_fail(EXIT_USAGE, "PROVEOUT_CLOCK %s: expected a day and time such as 2026-11-26T15:10",
                        getenv("PROVEOUT_CLOCK"));
    }
    d->ledger_path = desk_ledger_path(call, d->shop, d->arena);
    if (!d->ledger_path) {
        return EXIT_USAGE;
    }
    po_ledger_options o = {.now_ms = desk_now_ms, .user = (void *)(uintptr_t)d->shop};
    po_status s = po_ledger_open(d->ledger_path, &o, &d->ledger, &err);
    if (s == PO_E_NOTFOUND) {
        return cli_fail(EXIT_USAGE, "there is no book at %s; proveout ledger new makes one", d->ledger_path);
    }
    return s == PO_OK ? EXIT_CLEAR
                      : cli_fail(s == PO_E_NOMEM ? EXIT_OWN : EXIT_USAGE, "%s: %s", d->ledger_path, err.msg);
}

void desk_close(desk *d)
{
    po_ledger_close(d->ledger);
    po_arena_free(d->arena);
    d->ledger = NULL;
    d->arena = NULL;
}

work_context desk_work(const desk *d)
{
    return (work_context){
        .arena = d->arena, .shop = d->shop, .zone = d->zone, .ledger = d->ledger, .now_ms = d->now_ms};
}

int desk_print_json(json_t *object)
{
    int status = EXIT_CLEAR;
    if (!object || json_dumpf(object, stdout, JSON_COMPACT | JSON_PRESERVE_ORDER) != 0) {
        status = cli_fail(EXIT_OWN, "the answer could not be written");
    } else {
        fputc('\n', stdout);
    }
    json_decref(object);
    return status;
}

/* The option that fills a field; NULL: an operand does, or none. */
static const cli_option *option_of(const cli_verb *verb, const char *field)
{
    for (size_t i = 0; i < verb->n_options; i++) {
        const cli_option *o = &verb->options[i];
        if ((o->field && !strcmp(o->field, field)) || (!o->field && o->value && !strcmp(o->name, field))) {
            return o;
        }
    }
    return NULL;
}

/* A fault of form in the words of the command line: which word it is, and what was expected there. */
static int tell_form(const cli_call *call, const po_err *err)
{
    const cli_option *o = option_of(call->verb, err->where);
    size_t n = strlen(err->where);
    const char *says = !strncmp(err->msg, err->where, n) ? err->msg + n
                                                         : ""; /* "role: expected ...", "reason is missing" */
    bool missing = !strcmp(says, " is missing"), expected = !strncmp(says, ": ", 2);
    says = expected ? says + 2 : err->msg;
    if (o && missing) {
        return cli_fail(EXIT_USAGE, "%s needs --%s %s: %s", call->verb->name, o->name, o->value ? o->value : "",
                        o->says);
    }
    if (o) {
        const char *value = expected ? cli_value(call, o->name) : NULL;
        return cli_fail(EXIT_USAGE, "--%s%s%s: %s", o->name, value ? " " : "", value ? value : "", says);
    }
    for (int i = 0; expected && i < CLI_MOST_FILLS && i < call->n_args; i++) {
        const char *field = call->verb->fills[i].field;
        if (field && !strcmp(field, err->where)) {
            char word[DESK_WORD_ROOM];
            desk_operand(call->verb, i, word);
            return cli_fail(EXIT_USAGE, "%s %s: %s", strchr(word, '|') ? call->verb->name : word, call->args[i], says);
        }
    }
    return cli_fail(EXIT_USAGE, "%s", err->msg);
}

int desk_refused(const desk *d, const char *what, const po_err *err)
{
    if (d->json) {
        cli_json j = {.out = stdout};
        cli_json_open(&j, NULL, '{');
        cli_json_text(&j, "format", "proveout/refusal/1");
        cli_json_text(&j, "what", what);
        cli_json_text(&j, "says", err->msg);
        cli_json_text(&j, "field", err->where[0] ? err->where : NULL);
        cli_json_close(&j, '}');
        fputc('\n', stdout);
    }
    if (err->where[0] && (err->code == PO_E_RANGE || err->code == PO_E_SYNTAX)) {
        return tell_form(d->call, err);
    }
    bool role = err->code == PO_E_CONFLICT && !strcmp(err->where, "by");
    return cli_fail(exit_of(err->code), "%s%s", err->msg,
                    role ? "; --by says who does it: keeper, or the number of a member with that role" : "");
}

/* A clock that was set back, or never set: the book's own time does not go back (docs/ledger.md), and the desk should know. */
static void tell_behind(const po_act_done *done)
{
    json_t *answer = json_loads(done->answer, 0, NULL);
    long long minutes = (long long)json_integer_value(json_object_get(answer, "clock_behind_ms")) / 60000;
    json_decref(answer);
    if (minutes > 0) { /* less is two computers that are not quite of one mind */
        cli_fail(EXIT_CLEAR,
                 "the clock stands %lld minute%s behind the book's last entry, so this was booked at the time of that "
                 "entry; set the computer's clock right",
                 minutes, minutes == 1 ? "" : "s");
    }
}

int desk_acts(desk *d, const char *const *names, json_t *const *bodies, size_t n, po_act_done *ret_done,
              json_t **ret_answers)
{
    po_act *acts = po_arena_zeros(d->arena, n, sizeof *acts);
    char **texts = po_arena_zeros(d->arena, n, sizeof *texts);
    int status = acts && texts ? EXIT_CLEAR : cli_fail(EXIT_OWN, "memory ran out");
    for (size_t i = 0; i < n; i++) {
        if (status == EXIT_CLEAR) {
            texts[i] = bodies[i] ? json_dumps(bodies[i], JSON_COMPACT) : NULL;
            acts[i] = (po_act){names[i], d->by, texts[i]};
            status = texts[i] ? status : cli_fail(EXIT_OWN, "memory ran out");
        }
        json_decref(bodies[i]);
    }
    size_t failed = 0;
    po_err err;
    if (status == EXIT_CLEAR && po_ledger_act_all(d->ledger, acts, n, d->arena, ret_done, &failed, &err) != PO_OK) {
        status = desk_refused(d, names[failed], &err);
    } else if (status == EXIT_CLEAR && n > 0) {
        tell_behind(&ret_done[n - 1]);
    }
    for (size_t i = 0; i < n; i++) {
        if (texts) {
            free(texts[i]);
        }
        if (status == EXIT_CLEAR && ret_answers) {
            ret_answers[i] = json_loads(ret_done[i].answer, 0, NULL);
        }
    }
    return status;
}

int desk_act(desk *d, const char *act, json_t *body, po_act_done *ret_done, json_t **ret_answer)
{
    po_act_done done;
    return desk_acts(d, &act, &body, 1, ret_done ? ret_done : &done, ret_answer);
}

int desk_ask(desk *d, const char *question, json_t *parameters, json_t **ret_answer)
{
    work_context w = desk_work(d);
    po_err err;
    po_status s = work_ask(&w, question, parameters, ret_answer, &err);
    return s == PO_OK ? EXIT_CLEAR : w.asked ? desk_refused(d, question, &err) : cli_fail_err(&err);
}
