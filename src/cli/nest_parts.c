/* Parts to lay out, from operands. SPDX-License-Identifier: Apache-2.0
 *
 * FILE[,copies=N][,member=ID][,due=DATE][,turns=free|fixed|DEGREES][,material=NAME][,recipe=NAME][,pose=keep|find]: words
 * are taken from the end of the operand as long as they are of that form, so a file's name may hold commas. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "nest.h"

typedef struct wishes {
    const char *path, *member, *due_text;
    uint32_t copies;
    int64_t due;
    double turn_step;
    const po_material *material;
    const po_recipe *recipe;
    bool find_pose;
} wishes;

static bool turns_of(const char *text, double *ret)
{
    if (!strcmp(text, "free")) {
        *ret = 15;
    } else if (!strcmp(text, "fixed")) {
        *ret = 0;
    } else if (!cli_number(text, 5, 360, ret) || *ret != floor(*ret) || fmod(360, *ret) != 0) {
        return false;
    }
    return true;
}

static int take_word(nest_call *c, const char *key, const char *value, wishes *w)
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
        const char *full = po_arena_printf(c->arena, "%sT00:00", value);
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
        w->material = po_shop_material(c->shop, value);
        if (!w->material || !po_machine_takes(c->shop, c->machine, w->material)) {
            return cli_fail(EXIT_USAGE, "material=%s: %s", value,
                            w->material ? "the machine does not take it" : "the shop has no such material");
        }
    } else if (!strcmp(key, "recipe")) {
        w->recipe = po_shop_recipe(c->shop, value);
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

static int split_operand(nest_call *c, const char *operand, wishes *ret)
{
    static const char *const keys[] = {"copies", "member", "due", "turns", "material", "recipe", "pose"};
    char *text = po_arena_text(c->arena, operand);
    *ret = (wishes){.copies = 1,
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

/* Lowest point to 0, middle to the origin. */
static const po_mesh *settle(const po_mesh *mesh, po_arena *arena, double size[3], po_err *err)
{
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    for (size_t i = 0; i < 3 * mesh->n_triangles; i++) {
        for (size_t k = 0; k < 3; k++) {
            double x = mesh->xyz[3 * (size_t)mesh->corners[i] + k];
            low[k] = fmin(low[k], x);
            high[k] = fmax(high[k], x);
        }
    }
    const double matrix[12] = {1, 0, 0, 0, 1, 0, 0, 0, 1, -(low[0] + high[0]) / 2, -(low[1] + high[1]) / 2, -low[2]};
    for (int k = 0; k < 3; k++) {
        size[k] = high[k] - low[k];
    }
    const po_mesh *ret = NULL;
    return po_mesh_placed(mesh, matrix, arena, &ret, err) == PO_OK ? ret : NULL;
}

static po_status make_part(nest_call *c, const wishes *w, const po_mesh *mesh, nest_part *ret, po_err *err)
{
    po_mesh_facts facts;
    int threads = c->setup.effort.threads;
    po_status status = po_mesh_measure(mesh, threads, c->arena, &facts, err);
    if (status != PO_OK) {
        return status;
    }
    mesh = facts.judged;
    po_pose_setup pose_setup;
    po_pose_setup_for(c->shop, w->material, w->recipe, &pose_setup);
    if (w->find_pose) {
        const po_pose *poses;
        size_t n, as_is;
        status = po_pose_find(mesh, &pose_setup, NULL, 1, threads, NULL, NULL, c->arena, &poses, &n, &as_is, err);
        if (status == PO_OK) {
            double matrix[12] = {0};
            memcpy(matrix, poses[0].turn, sizeof poses[0].turn);
            status = po_mesh_placed(mesh, matrix, c->arena, &mesh, err);
        }
        if (status != PO_OK) {
            return status;
        }
    }
    ret->mesh = settle(mesh, c->arena, ret->size_mm, err);
    if (!ret->mesh) {
        return err->code;
    }
    po_err none; /* a part that can't be estimated can still be laid out */
    po_estimate_setup setup = {.recipe = w->recipe,
                               .machine = c->machine,
                               .material = w->material,
                               .scale = 1,
                               .fill_percent = NAN,
                               .threads = threads};
    ret->estimated = w->recipe && po_part_estimate(ret->mesh, &setup, c->arena, &ret->estimate, &none) == PO_OK;
    return PO_OK;
}

static uint32_t group_of(const nest_call *c, const wishes *w)
{
    uint32_t group = 0;
    for (size_t i = 0; i < c->n_parts; i++) {
        if (c->parts[i].material == w->material && c->parts[i].recipe == w->recipe) {
            return c->laid[i].group;
        }
        group = c->laid[i].group >= group ? c->laid[i].group + 1 : group;
    }
    return group;
}

static int add_items(nest_call *c, const wishes *w, const po_part *part)
{
    size_t models = 0;
    const char *slash = strrchr(w->path, '/');
    for (size_t i = 0; i < part->n_items; i++) {
        models += part->objects[part->items[i].object].type == PO_OBJECT_MODEL;
    }
    for (size_t i = 0; i < part->n_items; i++) {
        const po_part_item *item = &part->items[i];
        size_t same = 0;
        if (part->objects[item->object].type != PO_OBJECT_MODEL) {
            continue;
        }
        bool seen = false;
        for (size_t k = 0; k < part->n_items; k++) { /* items that differ only by where they lie are copies */
            const po_part_item *o = &part->items[k];
            bool alike = o->object == item->object && !memcmp(o->matrix, item->matrix, 9 * sizeof(double));
            seen = seen || (alike && k < i);
            same += alike;
        }
        if (seen) {
            continue;
        }
        if (c->n_parts == NEST_PARTS) {
            return cli_fail(EXIT_USAGE, "more than %d different parts; split the list", NEST_PARTS);
        }
        nest_part *p = &c->parts[c->n_parts];
        const char *name = slash ? slash + 1 : w->path;
        *p = (nest_part){.path = w->path,
                         .member = w->member,
                         .due_text = w->due_text,
                         .material = w->material,
                         .recipe = w->recipe};
        p->label = models > same ? po_arena_printf(c->arena, "%s, item %u", name, item->build_item) : name;
        const po_mesh *mesh;
        po_err err;
        if (po_mesh_placed(&part->objects[item->object].mesh, item->matrix, c->arena, &mesh, &err) != PO_OK ||
            make_part(c, w, mesh, p, &err) != PO_OK) {
            return cli_fail_part(w->path, &err);
        }
        c->laid[c->n_parts] = (po_nest_part){.height_mm = p->size_mm[2],
                                             .copies = w->copies * (uint32_t)same,
                                             .turn_step_deg = w->turn_step,
                                             .group = group_of(c, w),
                                             .due = w->due};
        c->n_parts++;
    }
    return models ? EXIT_CLEAR : cli_fail(EXIT_NO_JOB, "%s: there is no model in it", w->path);
}

int nest_read_operand(nest_call *c, const char *operand)
{
    const po_part_limits limits = PO_PART_LIMITS_INIT;
    const po_part *part;
    po_source source;
    cli_kind kind;
    wishes w;
    po_err err;
    int result = split_operand(c, operand, &w);
    if (result == EXIT_CLEAR) {
        result = cli_spare_input("out", c->out, w.path);
    }
    if (result == EXIT_CLEAR) {
        result = cli_spare_input("picture", c->picture, w.path);
    }
    if (result == EXIT_CLEAR) {
        result = cli_open_source(w.path, c->arena, &source, &kind);
    }
    if (result == EXIT_CLEAR && (kind == CLI_KIND_ZIP || kind == CLI_KIND_JOB)) {
        return cli_fail(EXIT_NO_JOB, "%s: is %s, no part; an STL or 3MF is needed", w.path,
                        kind == CLI_KIND_ZIP ? "a zip archive" : "a job or something else");
    }
    if (result != EXIT_CLEAR) {
        return result;
    }
    if (po_part_read(&source, &limits, c->arena, &part, &err) != PO_OK ||
        po_part_assembled(part, c->arena, &part, &err) != PO_OK) {
        return cli_fail_part(w.path, &err);
    }
    return add_items(c, &w, part);
}

int nest_outlines(nest_call *c)
{
    double most = 0;
    for (size_t i = 0; i < c->n_parts; i++) {
        most = fmax(most, c->laid[i].height_mm);
    }
    c->setup.n_bands = c->reach_over ? NEST_BANDS : 1;
    for (size_t b = 0; b < c->setup.n_bands; b++) {
        c->band_from[b] = most * (double)b / (double)c->setup.n_bands;
    }
    c->setup.band_from_mm = c->band_from;
    for (size_t i = 0; i < c->n_parts; i++) {
        po_loops *bands = po_arena_zeros(c->arena, c->setup.n_bands, sizeof *bands);
        po_err err;
        if (!bands) {
            return cli_fail(EXIT_OWN, "memory ran out");
        }
        for (size_t b = 0; b < c->setup.n_bands; b++) {
            double to = b + 1 < c->setup.n_bands ? c->band_from[b + 1] : most + 1;
            if (c->band_from[b] < c->laid[i].height_mm &&
                po_nest_outline(c->parts[i].mesh, c->band_from[b], to, c->arena, &bands[b], &err) != PO_OK) {
                return cli_fail_part(c->parts[i].path, &err);
            }
        }
        c->laid[i].bands = bands;
    }
    return EXIT_CLEAR;
}
