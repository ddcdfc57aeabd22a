/* proveout orient FILE: the best ways to lay a part. SPDX-License-Identifier: Apache-2.0
 *
 * Parses, calls the library, prints. No geometry here but turning meshes by the library's matrices. */
#include <math.h>
#include <string.h>

#include "orient.h"

static int choose_item(orient *o)
{
    const char *item = cli_value(o->call, "item"), *most = cli_value(o->call, "most");
    const char *pose = cli_value(o->call, "pose"), *threads = cli_value(o->call, "threads");
    double n = 0;
    struct {
        const char *name, *text;
        double high;
        size_t *to;
    } counts[] = {{"item", item, 1e6, &o->item},
                  {"most", most, 64, &o->most},
                  {"pose", pose, 64, &o->pose},
                  {"threads", threads, 64, &o->threads}};
    for (size_t i = 0; i < sizeof counts / sizeof counts[0]; i++) {
        if (counts[i].text) {
            if (!cli_number(counts[i].text, 1, counts[i].high, &n) || n != floor(n)) {
                return cli_fail(EXIT_USAGE, "--%s %s: expected a whole number from 1 to %.0f", counts[i].name,
                                counts[i].text, counts[i].high);
            }
            *counts[i].to = (size_t)n;
        }
    }
    if (o->pose && !o->out) {
        return cli_fail(EXIT_USAGE, "--pose says which pose is written; it needs --out OUT.3mf");
    }
    return EXIT_CLEAR;
}

/* "x,y,z", each with or without a sign. */
static bool direction(const char *text, po_arena *arena, double ret[3])
{
    const char *pieces[CLI_MOST_LIST];
    size_t n = 0;
    if (!cli_split(text, arena, pieces, &n) || n != 3) {
        return false;
    }
    double sum = 0;
    for (int k = 0; k < 3; k++) {
        bool minus = pieces[k][0] == '-';
        if (!cli_number(pieces[k] + minus, 0, 1e6, &ret[k])) {
            return false;
        }
        ret[k] = minus ? -ret[k] : ret[k];
        sum += ret[k] * ret[k];
    }
    return sum > 0;
}

static int choose(orient *o)
{
    const char *material = cli_value(o->call, "material"), *recipe = cli_value(o->call, "recipe");
    const char *load = cli_value(o->call, "load"), *keep = cli_value(o->call, "keep-face");
    o->json = cli_value(o->call, "json") != NULL;
    o->out = cli_value(o->call, "out");
    o->material = material ? po_shop_material(o->shop, material) : po_shop_house_material(o->shop);
    o->recipe = recipe ? po_shop_recipe(o->shop, recipe) : NULL;
    if (!o->material) {
        return cli_fail(EXIT_USAGE, "the shop has no material \"%s\"", material);
    }
    if (recipe && !o->recipe) {
        return cli_fail(EXIT_USAGE, "the shop has no recipe \"%s\"", recipe);
    }
    po_pose_setup_for(o->shop, o->material, o->recipe, &o->setup);
    if (load) {
        o->setup.load_known = direction(load, o->arena, o->setup.load);
        if (!o->setup.load_known) {
            return cli_fail(EXIT_USAGE, "--load %s: expected a direction such as 0,0,1 in the part's coordinates",
                            load);
        }
    }
    if (keep) {
        o->keep = true;
        if (!strcmp(keep, "down")) {
            o->keep_face[2] = -1;
        } else if (!direction(keep, o->arena, o->keep_face)) {
            return cli_fail(EXIT_USAGE,
                            "--keep-face %s: expected down, or the direction in which the face looks, such as 0,0,-1",
                            keep);
        }
    }
    if (o->out && !*o->out) {
        return cli_fail(EXIT_USAGE, "a file to write needs a name");
    }
    if (o->out && o->json && !strcmp(o->out, "-")) {
        return cli_fail(EXIT_USAGE, "standard output can take one kind of output");
    }
    if (cli_spare_input("out", o->out, o->call->args[0]) != EXIT_CLEAR) {
        return EXIT_USAGE;
    }
    return choose_item(o);
}

/* Whether two items differ only by where they lie. */
static bool copies(const po_part_item *a, const po_part_item *b)
{
    return a->object == b->object && !memcmp(a->matrix, b->matrix, 9 * sizeof(double));
}

static po_status fit_pose(const orient *o, const po_mesh *mesh, const po_pose *pose, po_fit *fits, po_err *err)
{
    po_arena *arena = po_arena_new(0); /* a turned copy for each pose would add up */
    const po_mesh *turned;
    double matrix[12] = {0};
    memcpy(matrix, pose->turn, sizeof pose->turn);
    po_status s = arena ? po_mesh_placed(mesh, matrix, arena, &turned, err)
                        : po_fail(err, PO_E_NOMEM, "memory ran out");
    for (size_t m = 0; s == PO_OK && m < o->shop->n_machines; m++) {
        s = po_part_fit(turned, &o->shop->machines[m], 0, NULL, 0, arena, &fits[m], err);
    }
    po_arena_free(arena);
    return s;
}

static po_status pose_item(const orient *o, const po_part *part, const po_part_item *item, po_arena *arena,
                           orient_item *ret, cli_progress *progress, po_err *err)
{
    const po_mesh *placed;
    po_status s = po_mesh_placed(&part->objects[item->object].mesh, item->matrix, arena, &placed, err);
    if (s == PO_OK) {
        s = po_mesh_measure(placed, (int)o->threads, arena, &ret->facts, err);
    }
    if (s == PO_OK) {
        ret->mesh = ret->facts.judged;
        s = po_pose_find(ret->mesh, &o->setup, o->keep ? o->keep_face : NULL, o->most, (int)o->threads,
                         cli_progress_step, progress, arena, &ret->poses, &ret->n_poses, &ret->as_is, err);
    }
    if (s != PO_OK) {
        return s;
    }
    ret->fits = po_arena_zeros(arena, ret->n_poses * o->shop->n_machines + 1, sizeof *ret->fits);
    if (!ret->fits) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < ret->n_poses && s == PO_OK; i++) {
        s = fit_pose(o, ret->mesh, &ret->poses[i], ret->fits + i * o->shop->n_machines, err);
    }
    return s;
}

/* Every item that is a model, once; copies are counted. *ret_items in the arena. */
static po_status pose_all(const orient *o, const char *path, const po_part *part, po_arena *arena,
                          orient_item **ret_items, size_t *ret_n, po_err *err)
{
    orient_item *items = po_arena_zeros(arena, part->n_items + 1, sizeof *items);
    size_t n = 0;
    if (!items) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < part->n_items; i++) {
        const po_part_item *item = &part->items[i];
        const po_part_object *object = &part->objects[item->object];
        size_t k = 0;
        if (object->type != PO_OBJECT_MODEL || (o->item && item->build_item != o->item)) {
            continue;
        }
        while (k < n && !copies(&part->items[items[k].first], item)) {
            k++;
        }
        items[k].times++;
        if (k == n) {
            items[n++].first = i;
        }
    }
    if (n == 0) {
        return o->item ? po_fail(err, PO_E_NOTFOUND, "no build item %zu that is a model", o->item)
                       : po_fail(err, PO_E_EMPTY, "there is no model in it");
    }
    cli_progress progress;
    cli_progress_begin(&progress, path);
    po_status s = PO_OK;
    for (size_t k = 0; k < n && s == PO_OK; k++) {
        const po_part_item *item = &part->items[items[k].first];
        items[k].name = part->objects[item->object].name;
        items[k].build_item = item->build_item;
        s = pose_item(o, part, item, arena, &items[k], &progress, err);
    }
    cli_progress_end(&progress);
    *ret_items = items;
    *ret_n = n;
    return s;
}

/* All items in a row on z = 0, each in its best pose (or the one asked for). */
static po_status lay_out(const orient *o, const orient_item *items, size_t n, po_arena *arena, po_document *ret,
                         po_err *err)
{
    size_t total = 0, at = 0;
    for (size_t i = 0; i < n; i++) {
        total += items[i].times;
    }
    po_3mf_item *out = po_arena_zeros(arena, total + 1, sizeof *out);
    double(*matrices)[12] = po_arena_zeros(arena, total + 1, sizeof *matrices);
    if (!out || !matrices) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    double x = 0, gap = fmax(o->shop->rules.clearance_mm, 1);
    for (size_t i = 0; i < n; i++) {
        const po_pose *pose = &items[i].poses[o->pose ? o->pose - 1 : 0];
        double low[3] = {INFINITY, INFINITY, INFINITY}, high = -INFINITY;
        const po_mesh *mesh = items[i].mesh;
        for (size_t v = 0; v < 3 * mesh->n_triangles; v++) {
            const double *p = mesh->xyz + 3 * (size_t)mesh->corners[v], *t = pose->turn;
            for (int k = 0; k < 3; k++) {
                double q = p[0] * t[k] + p[1] * t[3 + k] + p[2] * t[6 + k];
                low[k] = fmin(low[k], q);
                high = k == 0 ? fmax(high, q) : high;
            }
        }
        for (size_t c = 0; c < items[i].times; c++, at++) {
            memcpy(matrices[at], pose->turn, sizeof pose->turn);
            matrices[at][9] = x - low[0];
            matrices[at][10] = -low[1];
            matrices[at][11] = -low[2];
            out[at] = (po_3mf_item){.mesh = mesh, .name = items[i].name, .matrix = matrices[at]};
            x += high - low[0] + gap;
        }
    }
    const unsigned char *bytes = NULL;
    po_status s = po_3mf_write(out, total, NULL, arena, &bytes, &ret->n_bytes, err);
    ret->data = (const char *)bytes;
    return s;
}

static int orient_part(const orient *o, const char *path, const po_source *source, po_arena *arena)
{
    const po_part_limits limits = PO_PART_LIMITS_INIT;
    const po_part *part;
    orient_item *items = NULL;
    size_t n = 0;
    po_err err;
    if (po_part_read(source, &limits, arena, &part, &err) != PO_OK ||
        po_part_assembled(part, arena, &part, &err) != PO_OK ||
        pose_all(o, path, part, arena, &items, &n, &err) != PO_OK) {
        return cli_fail_part(path, &err);
    }
    for (size_t i = 0; i < n && o->pose; i++) {
        if (o->pose > items[i].n_poses) {
            return cli_fail(EXIT_USAGE, "--pose %zu: there are %zu", o->pose, items[i].n_poses);
        }
        if (!orient_can_choose(o, &items[i], o->pose - 1)) {
            return cli_fail(EXIT_USAGE, "--pose %zu: is how it lies now, which does not keep the face down", o->pose);
        }
    }
    po_document document = {0};
    if (o->out) {
        if (lay_out(o, items, n, arena, &document, &err) != PO_OK) {
            return cli_fail_err(&err);
        }
        int written = cli_write_file(o->out, &document);
        if (written != EXIT_CLEAR) {
            return written;
        }
    }
    if (o->json) {
        orient_print_json(o, path, part, items, n);
    } else if (!o->out || strcmp(o->out, "-") != 0) {
        orient_print_text(o, path, part, items, n);
    }
    return EXIT_CLEAR;
}

static int run(const cli_call *call)
{
    orient o = {.call = call, .arena = po_arena_new(0)};
    po_source source;
    cli_kind kind;
    int result = o.arena ? cli_shop_read(cli_value(call, "shop"), o.arena, &o.shop)
                         : cli_fail(EXIT_OWN, "memory ran out");
    if (result == EXIT_CLEAR) {
        result = choose(&o);
    }
    if (result == EXIT_CLEAR) {
        result = cli_open_source(call->args[0], o.arena, &source, &kind);
    }
    if (result == EXIT_CLEAR && kind == CLI_KIND_ZIP) {
        result = cli_fail(EXIT_NO_JOB, "%s: is a zip archive, which is no part; unpack it and name the part inside",
                          call->args[0]);
    }
    if (result == EXIT_CLEAR) {
        result = orient_part(&o, call->args[0], &source, o.arena);
    }
    po_arena_free(o.arena);
    return cli_end(result);
}

static const cli_option options[] = {
    {.name = "shop", .value = "FILE", .says = "the shop file; else PROVEOUT_SHOP, else ./shop.yaml"},
    {.name = "material", .value = "NAME", .says = "what it is priced in; without it: the house material"},
    {.name = "recipe",
     .value = "NAME",
     .says = "whose layers and speeds count; without it: everyday, or the one in the middle of the list"},
    {.name = "load",
     .value = "X,Y,Z",
     .says =
         "the direction in which the part will be pulled, in its own coordinates: layers should not be pulled apart"},
    {.name = "keep-face",
     .value = "down|X,Y,Z",
     .says = "the face that looks in this direction has to lie on the bed; down: the one that does now"},
    {.name = "item", .value = "N", .says = "this build item of a 3MF alone; without it: all of them"},
    {.name = "most", .value = "N", .says = "so many ways up at most, 1 to 64; without it: 12"},
    {.name = "json", .value = NULL, .says = "one JSON object on standard output"},
    {.name = "out", .value = "OUT.3mf", .says = "write the part as it should lie; - is standard output"},
    {.name = "pose", .value = "N", .says = "write this one of the list, not the first"},
    {.name = "threads",
     .value = "N",
     .says = "1 to 64; without it: as many as there are cores. The answer is the same"},
};

static const cli_example examples[] = {
    {"proveout orient bracket.stl", "the best ways to lay it, the cheapest first, and why"},
    {"proveout orient --load 0,0,1 bracket.stl", "the same for a part that will be pulled upwards as it is drawn"},
    {"proveout orient --keep-face down bracket.stl", "what it takes as it lies: the face below has to stay below"},
    {"proveout orient --recipe quick --out laid.3mf bracket.stl", "and the part turned that way, as a new file"},
    {"proveout orient --json bracket.stl", "the same for a program"},
};

const cli_verb cli_orient_verb[] = {
    {
        .name = "orient",
        .operands = "FILE",
        .least = 1,
        .most = 1,
        .options = options,
        .n_options = sizeof options / sizeof options[0],
        .line = "find the best way to lay a part on the bed",
        .help =
            "Reads a part (STL or 3MF), tries some thousand ways up, measures the promising ones and prints them, the "
            "cheapest "
            "first: what has to be supported and cleaned off, the longest bridge, the tilt that would tip it, layers, "
            "and "
            "which machines it then fits. A star marks what no other way up beats in everything; the cost counts "
            "machine "
            "time "
            "for layers and supports, handwork and filament by the rates of the shop file, and leaves out what the "
            "part "
            "itself takes, which hardly depends on how it lies.\n\n"
            "Small holes that lie level, ledges of a millimetre and bridges within the shop's limit carry themselves "
            "and "
            "are "
            "not counted as support. Exit status: 0 a way up was found; 3 not a part; 4 wrong usage or a faulty shop "
            "file; "
            "5 "
            "the program's own failure.",
        .examples = examples,
        .n_examples = sizeof examples / sizeof examples[0],
        .run = run,
    },
    {.name = NULL}};
