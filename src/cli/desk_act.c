/* Verbs that are acts: words on the command line into the fields of a body. SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "desk.h"

void desk_operand(const cli_verb *verb, int i, char word[DESK_WORD_ROOM])
{
    const char *p = verb->operands + strspn(verb->operands, " [");
    for (; i > 0 && *p; i--) {
        p += strcspn(p, " ");
        p += strspn(p, " [");
    }
    snprintf(word, DESK_WORD_ROOM, "%.*s", (int)strcspn(p, " ]"), p);
}

static json_t *wrong(const char *name, const char *text, const char *wanted)
{
    cli_fail(EXIT_USAGE, "%s %s: expected %s", name, text, wanted);
    return NULL;
}

/* Digits before and behind the point into a whole number of 10^-places; exact. */
static bool fixed_point(const char *text, int places, int64_t *ret)
{
    int64_t value = 0;
    int behind = -1, digits = 0;
    for (const char *p = text; *p; p++) {
        if (*p == '.' && behind < 0) {
            behind = 0;
        } else if (*p >= '0' && *p <= '9' && digits < 15 && behind < places) {
            value = value * 10 + (*p - '0');
            digits++;
            behind += behind >= 0;
        } else {
            return false;
        }
    }
    for (int i = behind < 0 ? 0 : behind; i < places; i++) {
        if (value > INT64_MAX / 10) {
            return false;
        }
        value *= 10;
    }
    *ret = value;
    return digits > 0 && behind != 0;
}

static json_t *fixed(const char *name, const char *text, int places, const char *wanted)
{
    int64_t value;
    return fixed_point(text, places, &value) && value <= INT64_C(1000000000000000) ? json_integer(value)
                                                                                   : wrong(name, text, wanted);
}

/* "3:10", "45m", "90s", "2h" into seconds. */
static bool span(const char *text, int64_t *ret_seconds)
{
    const char *colon = strchr(text, ':');
    size_t n = strlen(text);
    int64_t a, b;
    char part[24];
    if (n < 2 || n >= sizeof part) {
        return false;
    }
    if (colon) {
        snprintf(part, sizeof part, "%.*s", (int)(colon - text), text);
        bool ok = fixed_point(part, 0, &a) && strlen(colon + 1) == 2 && fixed_point(colon + 1, 0, &b);
        *ret_seconds = ok ? a * 3600 + b * 60 : 0;
        return ok && b < 60 && a < 10000;
    }
    snprintf(part, sizeof part, "%.*s", (int)(n - 1), text);
    int64_t each = text[n - 1] == 's' ? 1 : text[n - 1] == 'm' ? 60 : text[n - 1] == 'h' ? 3600 : 0;
    bool ok = each && fixed_point(part, 0, &a) && a < 36000000;
    *ret_seconds = ok ? a * each : 0;
    return ok;
}

int desk_minor_places(const desk *d)
{
    return work_minor_places(d->shop);
}

/* A name of the shop's lists, in its own spelling. */
static json_t *of_shop(const char *name, const char *text, const char *what, const char *found, const char *near)
{
    if (found) {
        return json_string(found);
    }
    cli_fail(EXIT_USAGE, "%s %s: the shop has no %s of this name%s%s", name, text, what,
             near ? "; the nearest is " : "", near ? near : "");
    return NULL;
}

#define OF_SHOP(list, count, look, what)                                                                               \
    do {                                                                                                               \
        const char *names_[256];                                                                                       \
        size_t n_ = 0;                                                                                                 \
        for (; n_ < d->shop->count && n_ < 256; n_++) {                                                                \
            names_[n_] = d->shop->list[n_].name;                                                                       \
        }                                                                                                              \
        const char *found_ = look(d->shop, text) ? look(d->shop, text)->name : NULL;                                   \
        return of_shop(name, text, what, found_, po_nearest_name(text, names_, n_));                                   \
    } while (0)

static json_t *sha_of(const char *name, const char *text)
{
    if (strlen(text) == 64 && strspn(text, "0123456789abcdef") == 64) {
        return json_string(text);
    }
    char hex[65];
    return cli_sha256(text, hex) ? json_string(hex)
                                 : wrong(name, text, "64 hexadecimal digits, or a file that can be read");
}

static json_t *ids(const desk *d, const char *name, const char *text)
{
    const char *pieces[CLI_MOST_LIST];
    size_t n = 0;
    if (!cli_split(text, d->arena, pieces, &n) || n == 0) {
        return wrong(name, text, "names with commas between them");
    }
    json_t *list = json_array();
    for (size_t i = 0; i < n; i++) {
        json_array_append_new(list, json_string(pieces[i]));
    }
    return list;
}

json_t *desk_value(const desk *d, const char *name, const char *text, desk_unit unit)
{
    int64_t value;
    switch (unit) {
    case DESK_COUNT:
        return fixed(name, text, 0, "a whole number");
    case DESK_M:
        return fixed(name, text, 6, "metres such as 12.5");
    case DESK_MM:
        return fixed(name, text, 3, "millimetres such as 0.4");
    case DESK_G:
        return fixed(name, text, 3, "grams such as 812.5");
    case DESK_MONEY:
        return fixed(name, text, desk_minor_places(d), "an amount such as 12.50, in the shop's currency");
    case DESK_TIME:
    case DESK_UNTIL:
        return desk_time_from(d->shop, text, unit == DESK_UNTIL, d->now_ms, &value)
                   ? json_integer(value)
                   : wrong(name, text,
                           "a time on the shop's clock that exists, such as 15:10, 2026-11-26, 2026-11-26T15:10, "
                           "+2h or +7d");
    case DESK_SPAN:
    case DESK_MINUTES:
        return span(text, &value) ? json_integer(unit == DESK_SPAN ? value : value / 60)
                                  : wrong(name, text, "a length of time such as 3:10 (h:mm), 45m or 90s");
    case DESK_FLAG:
        return json_true();
    case DESK_YES:
        return !strcmp(text, "yes") ? json_true() : !strcmp(text, "no") ? json_false() : wrong(name, text, "yes or no");
    case DESK_IDS:
        return ids(d, name, text);
    case DESK_SHA:
        return sha_of(name, text);
    case DESK_MACHINE:
        OF_SHOP(machines, n_machines, po_shop_machine, "machine");
    case DESK_MATERIAL:
        OF_SHOP(materials, n_materials, po_shop_material, "material");
    case DESK_RECIPE:
        OF_SHOP(recipes, n_recipes, po_shop_recipe, "recipe");
    case DESK_PERMISSION:
        OF_SHOP(permissions, n_permissions, po_shop_permission, "permission");
    default:
        break;
    }
    json_t *words = json_string(text);
    return words ? words : wrong(name, text, "text in UTF-8");
}

/* A run by its number, or by the machine that is out with it. NULL with a message printed. */
static json_t *run_named(desk *d, const char *name, const char *text)
{
    const po_machine *machine = po_shop_machine(d->shop, text);
    json_t *answer = NULL, *run = NULL;
    if (!machine) {
        int64_t number;
        return fixed_point(text, 0, &number) ? json_integer(number)
                                             : wrong(name, text,
                                                     "a run's number, or the name of the machine that is "
                                                     "out with it");
    }
    if (desk_ask(d, "machines", json_pack("{s:s}", "machine", machine->name), &answer) != EXIT_CLEAR) {
        return NULL;
    }
    run = json_incref(json_object_get(json_array_get(json_object_get(answer, "machines"), 0), "run"));
    json_decref(answer);
    if (!json_is_integer(run)) {
        cli_fail(EXIT_USAGE, "%s is not out with a run by the book; proveout run list --machine %s shows its runs",
                 machine->name, machine->name);
        json_decref(run);
        return NULL;
    }
    return run;
}

int desk_body(desk *d, json_t **ret)
{
    const cli_verb *verb = d->call->verb;
    json_t *body = json_object();
    bool ok = body != NULL;
    for (int i = 0; ok && i < CLI_MOST_FILLS && i < d->call->n_args; i++) {
        if (verb->fills[i].field) {
            char name[DESK_WORD_ROOM];
            desk_operand(verb, i, name);
            bool run = !strcmp(verb->fills[i].field, "run");
            json_t *v = run ? run_named(d, name, d->call->args[i])
                            : desk_value(d, name, d->call->args[i], (desk_unit)verb->fills[i].unit);
            ok = v && json_object_set_new(body, verb->fills[i].field, v) == 0;
        }
    }
    for (size_t i = 0; ok && i < verb->n_options; i++) {
        const cli_option *o = &verb->options[i];
        if (o->field && d->call->values[i]) {
            char name[64];
            snprintf(name, sizeof name, "--%.50s", o->name);
            json_t *v = desk_value(d, name, d->call->values[i], (desk_unit)o->unit);
            ok = v && json_object_set_new(body, o->field, v) == 0;
        }
    }
    if (!ok) {
        json_decref(body);
        return EXIT_USAGE;
    }
    *ret = body;
    return EXIT_CLEAR;
}

int desk_book_and_tell(desk *d, json_t *body)
{
    const cli_verb *verb = d->call->verb;
    po_act_done done = {0};
    json_t *answer = NULL, *kept = json_deep_copy(body);
    int status = desk_act(d, verb->act, body, &done, &answer);
    if (status == EXIT_CLEAR && d->json) {
        status = desk_print_json(json_pack("{s:s, s:s, s:I, s:s, s:O*}", "format", "proveout/act/1", "act", verb->act,
                                           "event", (json_int_t)done.event, "hash", done.hash, "answer", answer));
    } else if (status == EXIT_CLEAR) {
        desk_tell(d, verb->done ? verb->done : "Booked.", answer, kept);
        printf("Booked as event %llu.\n", (unsigned long long)done.event);
    }
    json_decref(answer);
    json_decref(kept);
    return status;
}

int desk_run_act(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    status = status == EXIT_CLEAR ? desk_book_and_tell(&d, body) : status;
    desk_close(&d);
    return status;
}
