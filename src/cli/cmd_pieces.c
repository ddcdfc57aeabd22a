/* proveout pieces FILE: cut a part into pieces that fit a machine. SPDX-License-Identifier: Apache-2.0
 *
 * Parses, calls the library, prints. Outputs are made in memory and written whole, so that Ctrl-C at any time leaves
 * nothing half written. */
#include <math.h>
#include <string.h>

#include "pieces.h"

static int choose_machine(pieces_call *c)
{
    const char *name = cli_value(c->call, "machine");
    if (!name) {
        return cli_fail(EXIT_USAGE, "--machine NAME says which machine the pieces have to fit");
    }
    int found = cli_shop_machine(c->shop, name, c->arena, &c->machine);
    if (found != EXIT_CLEAR) {
        return found;
    }
    c->material = po_shop_house_material(c->shop);
    if (!po_machine_takes(c->shop, c->machine, c->material)) {
        c->material = &c->shop->materials[c->machine->materials[0]];
    }
    return EXIT_CLEAR;
}

static int choose_numbers(pieces_call *c)
{
    struct {
        const char *name, *what;
        double low, high;
        bool whole;
        double value;
    } numbers[] = {{"item", "a whole number from 1 to 1000000", 1, 1e6, true, 0},
                   {"threads", "a whole number from 1 to 64", 1, 64, true, 0},
                   {"most", "a whole number of pieces from 2 to 1000", 2, 1000, true, 0},
                   {"pin", "a diameter from 1 to 50 mm", 1, 50, false, NAN},
                   {"pin-slack", "how much wider the hole is, from 0 to 2 mm", 0, 2, false, NAN},
                   {"least-joint", "a thickness from 0.1 to 1000 mm", 0.1, 1000, false, NAN}};
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        const char *text = cli_value(c->call, numbers[i].name);
        double n = 0;
        if (text && (!cli_number(text, numbers[i].low, numbers[i].high, &n) || (numbers[i].whole && n != floor(n)))) {
            return cli_fail(EXIT_USAGE, "--%s %s: expected %s", numbers[i].name, text, numbers[i].what);
        }
        numbers[i].value = text ? n : numbers[i].value;
    }
    c->item = (size_t)numbers[0].value;
    c->threads = (size_t)numbers[1].value;
    c->setup = (po_pieces_setup){.machine = c->machine,
                                 .pins = cli_value(c->call, "pins") != NULL,
                                 .pin_mm = numbers[3].value,
                                 .pin_slack_mm = numbers[4].value,
                                 .least_joint_mm = numbers[5].value,
                                 .most_pieces = (size_t)numbers[2].value,
                                 .threads = (int)c->threads};
    if (!c->setup.pins && (!isnan(numbers[3].value) || !isnan(numbers[4].value))) {
        return cli_fail(EXIT_USAGE, "--pin and --pin-slack say how pins are made; add --pins");
    }
    po_pose_setup_for(c->shop, c->material, NULL, &c->setup.pose);
    return EXIT_CLEAR;
}

static int choose_outputs(pieces_call *c)
{
    c->json = cli_value(c->call, "json") != NULL;
    c->out = cli_value(c->call, "out");
    c->picture = cli_value(c->call, "picture");
    bool out_there = c->out && !strcmp(c->out, "-"), picture_there = c->picture && !strcmp(c->picture, "-");
    if ((c->out && !*c->out) || (c->picture && !*c->picture)) {
        return cli_fail(EXIT_USAGE, "a file to write needs a name");
    }
    if (c->json + out_there + picture_there > 1) {
        return cli_fail(EXIT_USAGE, "standard output can take one kind of output");
    }
    if (c->out && c->picture && !strcmp(c->out, c->picture)) {
        return cli_fail(EXIT_USAGE, "two outputs can't both be written to %s", c->out);
    }
    if (cli_spare_input("out", c->out, c->call->args[0]) != EXIT_CLEAR ||
        cli_spare_input("picture", c->picture, c->call->args[0]) != EXIT_CLEAR) {
        return EXIT_USAGE;
    }
    const char *dot = c->picture ? strrchr(c->picture, '.') : NULL;
    if (c->picture && !picture_there && !(dot && !strcmp(dot, ".svg"))) {
        return cli_fail(EXIT_USAGE, "--picture %s: expected a name that ends in .svg", c->picture);
    }
    return EXIT_CLEAR;
}

/* The one item asked for, or the only one. */
static int choose_item(const pieces_call *c, const char *path, const po_part *part, const po_part_item **ret)
{
    const po_part_item *found = NULL;
    size_t n = 0;
    for (size_t i = 0; i < part->n_items; i++) {
        const po_part_item *item = &part->items[i];
        if (part->objects[item->object].type == PO_OBJECT_MODEL && (!c->item || item->build_item == c->item)) {
            found = found ? found : item;
            n++;
        }
    }
    if (!found) {
        return c->item ? cli_fail(EXIT_USAGE, "%s: has no build item %zu that is a model", path, c->item)
                       : cli_fail(EXIT_NO_JOB, "%s: there is no model in it", path);
    }
    if (n > 1 && !c->item) {
        return cli_fail(EXIT_USAGE, "%s: holds %zu models; --item N says which one is to be cut", path, n);
    }
    if (n > 1) {
        cli_fail(EXIT_CLEAR, "%s: item %zu is made of %zu meshes; this is about the first", path, c->item, n);
    }
    *ret = found;
    return EXIT_CLEAR;
}

static po_status work(pieces_call *c, const po_part *part, const char *path, pieces_result *r, po_arena *arena,
                      po_err *err)
{
    const po_part_object *object = &part->objects[r->item->object];
    r->name = object->name;
    po_status status = po_mesh_placed(&object->mesh, r->item->matrix, arena, &r->mesh, err);
    if (status == PO_OK) {
        status = po_mesh_measure(r->mesh, (int)c->threads, arena, &r->facts, err);
    }
    if (status == PO_OK) {
        r->mesh = r->facts.judged;
        status = po_part_fit(r->mesh, c->machine, c->setup.clearance_mm, NULL, 0, arena, &r->fit, err);
    }
    if (status == PO_OK) {
        cli_progress progress;
        cli_progress_begin(&progress, path);
        c->setup.progress = cli_progress_step;
        c->setup.user = &progress;
        status = po_part_pieces(r->mesh, &c->setup, arena, &r->pieces, err);
        cli_progress_end(&progress);
    }
    return status;
}

/* All pieces in a row, then the pins. */
static po_status lay_out(const pieces_call *c, const po_pieces *pieces, po_arena *arena, po_document *ret, po_err *err)
{
    size_t n = pieces->n_pieces + pieces->n_pins;
    po_3mf_item *items = po_arena_zeros(arena, n, sizeof *items);
    double(*matrices)[12] = po_arena_zeros(arena, n, sizeof *matrices), x = 0;
    double gap = fmax(c->shop->rules.clearance_mm, 1);
    if (!items || !matrices) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < n; i++) {
        bool piece = i < pieces->n_pieces;
        const po_pin *pin = piece ? NULL : &pieces->pins[i - pieces->n_pieces];
        double width = piece ? pieces->pieces[i].pose.size_mm[0] : pin->diameter_mm;
        static const double straight[12] = {1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0};
        memcpy(matrices[i], piece ? pieces->pieces[i].matrix : straight, sizeof matrices[i]);
        matrices[i][9] += x + width / 2;
        x += width + gap;
        items[i] = (po_3mf_item){.mesh = piece ? pieces->pieces[i].mesh : pin->mesh, .matrix = matrices[i]};
        items[i].name = piece ? po_arena_printf(arena, "piece %u", pieces->pieces[i].number)
                              : po_arena_printf(arena, "pin %zu: %u-%u", i - pieces->n_pieces + 1, pin->pieces[0],
                                                pin->pieces[1]);
        if (!items[i].name) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
    }
    const unsigned char *bytes = NULL;
    po_status status = po_3mf_write(items, n, NULL, arena, &bytes, &ret->n_bytes, err);
    ret->data = (const char *)bytes;
    return status;
}

static int write_outputs(const pieces_call *c, const char *path, const pieces_result *r, po_arena *arena)
{
    po_document model = {0}, picture = {0};
    po_err err;
    if (c->out && lay_out(c, &r->pieces, arena, &model, &err) != PO_OK) {
        return cli_fail_err(&err);
    }
    const char *slash = strrchr(path, '/');
    if (c->picture &&
        po_pieces_svg(&r->pieces, slash ? slash + 1 : path, c->machine->name, arena, &picture, &err) != PO_OK) {
        return cli_fail_err(&err);
    }
    int result = c->out ? cli_write_file(c->out, &model) : EXIT_CLEAR;
    return result == EXIT_CLEAR && c->picture ? cli_write_file(c->picture, &picture) : result;
}

static int cut_part(pieces_call *c, const char *path, const po_source *source)
{
    const po_part_limits limits = PO_PART_LIMITS_INIT;
    const po_part *part;
    pieces_result r = {0};
    po_err err;
    if (po_part_read(source, &limits, c->arena, &part, &err) != PO_OK ||
        po_part_assembled(part, c->arena, &part, &err) != PO_OK) {
        return cli_fail_part(path, &err);
    }
    int result = choose_item(c, path, part, &r.item);
    if (result != EXIT_CLEAR) {
        return result;
    }
    po_status status = work(c, part, path, &r, c->arena, &err);
    if (status == PO_E_RANGE || status == PO_E_NOTFOUND || status == PO_E_LIMIT) {
        const char *how = status == PO_E_RANGE ? " (proveout check --mend OUT.3mf FILE)" : "";
        return cli_fail(EXIT_STOP, "%s: %s%s", path, err.msg, how);
    }
    if (status != PO_OK) {
        return cli_fail_part(path, &err);
    }
    result = write_outputs(c, path, &r, c->arena);
    if (result != EXIT_CLEAR) {
        return result;
    }
    if (c->json) {
        pieces_print_json(c, path, part, &r);
    } else if ((!c->out || strcmp(c->out, "-") != 0) && (!c->picture || strcmp(c->picture, "-") != 0)) {
        pieces_print_text(c, path, &r);
    }
    return EXIT_CLEAR;
}

static int run(const cli_call *call)
{
    pieces_call c = {.call = call, .arena = po_arena_new(0)};
    po_source source;
    cli_kind kind;
    int result = c.arena ? cli_shop_read(cli_value(call, "shop"), c.arena, &c.shop)
                         : cli_fail(EXIT_OWN, "memory ran out");
    if (result == EXIT_CLEAR && (result = choose_machine(&c)) == EXIT_CLEAR &&
        (result = choose_numbers(&c)) == EXIT_CLEAR && (result = choose_outputs(&c)) == EXIT_CLEAR) {
        result = cli_open_source(call->args[0], c.arena, &source, &kind);
        if (result == EXIT_CLEAR && (kind == CLI_KIND_ZIP || kind == CLI_KIND_JOB)) {
            result = cli_fail(EXIT_NO_JOB, "%s: is %s, no part; an STL or 3MF is needed", call->args[0],
                              kind == CLI_KIND_ZIP ? "a zip archive" : "a job or something else");
        } else if (result == EXIT_CLEAR) {
            result = cut_part(&c, call->args[0], &source);
        }
    }
    po_arena_free(c.arena);
    return result;
}

static const cli_option options[] = {
    {.name = "shop", .value = "FILE", .says = "the shop file; else PROVEOUT_SHOP, else ./shop.yaml"},
    {.name = "machine", .value = "NAME", .says = "the machine that every piece has to fit"},
    {.name = "item", .value = "N", .says = "which build item of a 3MF; needed where it holds several"},
    {.name = "pins", .value = NULL, .says = "round pins to line the joints up: holes in both halves, pins apart"},
    {.name = "pin", .value = "MM", .says = "their diameter; without it: 3 to 10 mm, by the joint"},
    {.name = "pin-slack", .value = "MM", .says = "how much wider the holes are; without it: 0.3"},
    {.name = "least-joint",
     .value = "MM",
     .says = "no joint may be thinner than this anywhere; without it: three beads"},
    {.name = "most", .value = "N", .says = "so many pieces at most; without it: 64"},
    {.name = "out", .value = "OUT.3mf", .says = "write the pieces as they should lie, in a row; - is standard output"},
    {.name = "picture", .value = "OUT.svg", .says = "draw the pieces apart, numbered, and the joints"},
    {.name = "json", .value = NULL, .says = "one JSON object on standard output"},
    {.name = "threads",
     .value = "N",
     .says = "1 to 64; without it: as many as there are cores. The answer is the same"},
};

static const cli_example examples[] = {
    {"proveout pieces --machine Alder bracket.stl", "where to cut it so that Alder can print it"},
    {"proveout pieces --machine Alder --pins --out pieces.3mf bracket.stl",
     "with pins, and the pieces as a file, each laid as it should be printed"},
    {"proveout pieces --machine Elm --item 1 --picture pieces.svg bracket.stl",
     "one item of a file, and a picture to glue by"},
    {"proveout pieces --machine Alder --json bracket.stl", "the same for a program"},
};

const cli_verb cli_pieces_verb[] = {
    {
        .name = "pieces",
        .operands = "FILE",
        .least = 1,
        .most = 1,
        .options = options,
        .n_options = sizeof options / sizeof options[0],
        .line = "cut a part that is too big into pieces that fit a machine",
        .help =
            "Reads a part (STL or 3MF). Where it fits the machine as it lies, turned or tipped over, it says so and "
            "cuts "
            "nothing. Else it looks for plane cuts that leave few pieces: through sturdy places only, in flat faces "
            "that "
            "can "
            "be glued, and so that every piece can be laid on the bed. A joint is as strong as its neck (its narrowest "
            "place) and its "
            "area; both are printed for each cut.\n\n"
            "Cutting loses nothing: the pieces are closed and their volumes add up. Pins keep a joint from sliding "
            "while "
            "the "
            "glue sets; they stand only where a wall is left around them. Look at where the cuts run before you print: "
            "a "
            "seam "
            "across a face that is seen, or a joint that is bent in use, may be better a little to the side. Glues and "
            "solvents have their own dangers: the maker's safety data sheet and the rules of the room come first.\n\n"
            "Exit status: 0 it fits or pieces were found; 2 it can't be cut so (no sturdy place, too many pieces, or "
            "its "
            "surface has to be mended first); 3 not a part; 4 wrong usage or a faulty shop file; 5 the program's own "
            "failure.",
        .examples = examples,
        .n_examples = sizeof examples / sizeof examples[0],
        .run = run,
    },
    {.name = NULL}};
