/* Parts to lay out, from operands. SPDX-License-Identifier: Apache-2.0
 *
 * FILE[,copies=N][,member=ID][,due=DATE][,turns=free|fixed|DEGREES][,material=NAME][,recipe=NAME][,pose=keep|find]: words
 * are taken from the end of the operand as long as they are of that form, so a file's name may hold commas. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "nest.h"

static bool turns_of(const char *text, double *ret)
{
    if (!strcmp(text, "free")) {
        *ret = PO_NEST_FREE;
    } else if (!strcmp(text, "fixed")) {
        *ret = 0;
    } else if (!cli_number(text, 5, 360, ret) || *ret != floor(*ret) || fmod(360, *ret) != 0) {
        return false;
    }
    return true;
}

static int take_word(nest_call *c, const char *key, const char *value, work_bedful_wish *w)
{
    double n = 0;
    po_wall_time day;
    if (!strcmp(key, "copies")) {
        if (!cli_number(value, 1, 10000, &n) || n != floor(n)) {
            return cli_fail(EXIT_USAGE, "copies=%s: expected a whole number from 1 to 10000", value);
        }
        w->copies = (uint32_t)n;
    } else if (!strcmp(key, "member")) {
        w->member = value;
    } else if (!strcmp(key, "due")) {
        const char *full = po_arena_printf(c->b.arena, "%sT00:00", value);
        if (!full || strlen(value) != 10 || !cli_wall_time(full, &day)) {
            return cli_fail(EXIT_USAGE, "due=%s: expected a day such as 2026-12-04", value);
        }
        w->due = day.date.year * 10000 + day.date.month * 100 + day.date.day;
        w->due_text = value;
    } else if (!strcmp(key, "turns")) {
        if (!turns_of(value, &w->turn_step)) {
            return cli_fail(EXIT_USAGE, "turns=%s: expected free, fixed, or a step such as 90 that divides 360", value);
        }
    } else if (!strcmp(key, "material")) {
        w->material = po_shop_material(c->b.shop, value);
        if (!w->material || !po_machine_takes(c->b.shop, c->b.machine, w->material)) {
            return cli_fail(EXIT_USAGE, "material=%s: %s", value,
                            w->material ? "the machine does not take it" : "the shop has no such material");
        }
    } else if (!strcmp(key, "recipe")) {
        w->recipe = po_shop_recipe(c->b.shop, value);
        if (!w->recipe) {
            return cli_fail(EXIT_USAGE, "recipe=%s: the shop has no such recipe", value);
        }
    } else if (!strcmp(value, "keep") || !strcmp(value, "find")) {
        w->find_pose = !strcmp(value, "find");
    } else {
        return cli_fail(EXIT_USAGE, "pose=%s: expected keep or find", value);
    }
    return EXIT_CLEAR;
}

static int split_operand(nest_call *c, const char *operand, work_bedful_wish *ret)
{
    static const char *const keys[] = {"copies", "member", "due", "turns", "material", "recipe", "pose"};
    char *text = po_arena_text(c->b.arena, operand);
    *ret = (work_bedful_wish){.copies = 1,
                              .due = INT64_MAX,
                              .turn_step = c->turn_step,
                              .material = c->material,
                              .recipe = c->recipe,
                              .find_pose = c->find_pose};
    if (!text) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    for (;;) {
        char *comma = strrchr(text, ','), *equals = comma ? strchr(comma, '=') : NULL;
        bool known = false;
        for (size_t k = 0; equals && k < sizeof keys / sizeof keys[0] && !known; k++) {
            known = strlen(keys[k]) == (size_t)(equals - comma - 1) && !memcmp(keys[k], comma + 1, strlen(keys[k]));
        }
        if (!known) {
            break;
        }
        *comma = *equals = 0;
        int result = take_word(c, comma + 1, equals + 1, ret);
        if (result != EXIT_CLEAR) {
            return result;
        }
    }
    ret->path = text;
    return EXIT_CLEAR;
}

int nest_read_operand(nest_call *c, const char *operand)
{
    const po_part_limits limits = PO_PART_LIMITS_INIT;
    const po_part *part;
    po_source source;
    cli_kind kind;
    work_bedful_wish w;
    po_err err;
    int result = split_operand(c, operand, &w);
    if (result == EXIT_CLEAR) {
        result = cli_spare_input("out", c->out, w.path);
    }
    if (result == EXIT_CLEAR) {
        result = cli_spare_input("picture", c->picture, w.path);
    }
    if (result == EXIT_CLEAR) {
        result = cli_open_source(w.path, c->b.arena, &source, &kind);
    }
    if (result == EXIT_CLEAR && (kind == CLI_KIND_ZIP || kind == CLI_KIND_JOB)) {
        return cli_fail(EXIT_NO_JOB, "%s: is %s, no part; an STL or 3MF is needed", w.path,
                        kind == CLI_KIND_ZIP ? "a zip archive" : "a job or something else");
    }
    if (result != EXIT_CLEAR) {
        return result;
    }
    if (po_part_read(&source, &limits, c->b.arena, &part, &err) != PO_OK ||
        po_part_assembled(part, c->b.arena, &part, &err) != PO_OK) {
        return cli_fail_part(w.path, &err);
    }
    if (work_bedful_add(&c->b, &w, part, &err) != PO_OK) {
        return err.code == PO_E_EMPTY ? cli_fail(EXIT_NO_JOB, "%s: %s", w.path, err.msg)
               : err.code == PO_E_LIMIT && c->b.n_parts == WORK_BEDFUL_PARTS ? cli_fail(EXIT_USAGE, "%s", err.msg)
                                                                             : cli_fail_part(w.path, &err);
    }
    return EXIT_CLEAR;
}
