/* proveout nest FILE...: parts laid out on beds. SPDX-License-Identifier: Apache-2.0
 *
 * Parses, calls the library, writes files. Ctrl-C ends the search and keeps the best so far; a second one ends the
 * program. */
#include <math.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "desk.h"
#include "nest.h"

static volatile sig_atomic_t asked_to_end;

static void on_interrupt(int number)
{
    asked_to_end = 1;
    signal(number, SIG_DFL);
}

typedef struct watch {
    double told;
    bool shown;
} watch;

/* A line each second where somebody looks. */
static bool go_on(double value, double seconds, void *user)
{
    watch *w = user;
    if (isatty(STDERR_FILENO) && seconds - w->told >= 1) {
        w->told = seconds;
        w->shown = true;
        fprintf(stderr, "\r%.0f s: %.0f bedfuls full (Ctrl-C keeps what there is) ", seconds, value);
    }
    return !asked_to_end;
}

static int choose_machine(nest_call *c)
{
    const char *name = cli_value(c->call, "machine"), *material = cli_value(c->call, "material");
    const char *recipe = cli_value(c->call, "recipe");
    if (!name) {
        return cli_fail(EXIT_USAGE, "--machine NAME says whose bed the parts are laid on");
    }
    int found = cli_shop_machine(c->b.shop, name, c->b.arena, &c->b.machine);
    if (found != EXIT_CLEAR) {
        return found;
    }
    work_bedful_usual(c->b.shop, c->b.machine, &c->material, &c->recipe);
    if (material) {
        c->material = po_shop_material(c->b.shop, material);
        if (!c->material || !po_machine_takes(c->b.shop, c->b.machine, c->material)) {
            return cli_fail(EXIT_USAGE, "--material %s: %s", material,
                            c->material ? "the machine does not take it" : "the shop has no such material");
        }
    }
    if (recipe && !(c->recipe = po_shop_recipe(c->b.shop, recipe))) {
        return cli_fail(EXIT_USAGE, "the shop has no recipe \"%s\"", recipe);
    }
    return EXIT_CLEAR;
}

static int choose_numbers(nest_call *c)
{
    enum { CLEARANCE, MARGIN, SEED, STEPS, SECONDS, THREADS, COUNT };
    struct {
        const char *name, *what;
        double low, high, value;
        bool whole;
    } n[COUNT] = {[CLEARANCE] = {"clearance", "0 to 100 mm", 0, 100, c->b.shop->rules.clearance_mm, false},
                  [MARGIN] = {"margin", "0 to 100 mm", 0, 100, 2, false},
                  [SEED] = {"seed", "a whole number from 0 to 1000000000", 0, 1e9, 1, true},
                  [STEPS] = {"steps", "a whole number from 1 to 1000000000", 1, 1e9, 0, true},
                  [SECONDS] = {"seconds", "0.1 to 86400 seconds", 0.1, 86400, 0, false},
                  [THREADS] = {"threads", "a whole number from 1 to 64", 1, 64, 0, true}};
    for (size_t i = 0; i < COUNT; i++) {
        const char *text = cli_value(c->call, n[i].name);
        if (text &&
            (!cli_number(text, n[i].low, n[i].high, &n[i].value) || (n[i].whole && n[i].value != floor(n[i].value)))) {
            return cli_fail(EXIT_USAGE, "--%s %s: expected %s", n[i].name, text, n[i].what);
        }
    }
    const char *turns = cli_value(c->call, "turns");
    c->turn_step = PO_NEST_FREE;
    if (turns && !strcmp(turns, "fixed")) {
        c->turn_step = 0;
    } else if (turns && strcmp(turns, "free") != 0 &&
               (!cli_number(turns, 5, 360, &c->turn_step) || c->turn_step != floor(c->turn_step) ||
                fmod(360, c->turn_step) != 0)) {
        return cli_fail(EXIT_USAGE, "--turns %s: expected free, fixed, or a step such as 90 that divides 360", turns);
    }
    const char *order = cli_value(c->call, "order");
    if (order && strcmp(order, "due") != 0 && strcmp(order, "material") != 0) {
        return cli_fail(EXIT_USAGE, "--order %s: expected due or material", order);
    }
    c->find_pose = cli_value(c->call, "find-pose") != NULL;
    c->b.reach_over = cli_value(c->call, "reach-over") != NULL;
    c->b.setup = (po_nest_setup){.machine = c->b.machine,
                                 .clearance_mm = n[CLEARANCE].value,
                                 .margin_mm = n[MARGIN].value,
                                 .finish_each = cli_value(c->call, "finish-each") != NULL,
                                 .by_group = order && strcmp(order, "material") == 0,
                                 .keep_holes_free = cli_value(c->call, "keep-holes-free") != NULL,
                                 .effort = {.seed = (uint64_t)n[SEED].value,
                                            .steps = (uint64_t)n[STEPS].value,
                                            .seconds = n[SECONDS].value,
                                            .threads = (int)n[THREADS].value}};
    if (c->b.reach_over && c->b.setup.finish_each) {
        return cli_fail(EXIT_USAGE, "--reach-over and --finish-each exclude each other: what is finished can't be "
                                    "reached over by what is still to come");
    }
    return EXIT_CLEAR;
}

static const char *ending(const char *path)
{
    const char *dot = strrchr(path, '.');
    return dot ? dot : "";
}

static int choose_outputs(nest_call *c)
{
    c->json = cli_value(c->call, "json") != NULL;
    c->out = cli_value(c->call, "out");
    c->picture = cli_value(c->call, "picture");
    if (c->out && strcmp(ending(c->out), ".3mf") != 0) {
        return cli_fail(EXIT_USAGE, "--out %s: expected a name that ends in .3mf", c->out);
    }
    return c->picture ? cli_picture_kind(c->picture, &c->picture_kind) : EXIT_CLEAR;
}

/* One bedful as a 3MF with an item for each part, where it lies on the machine. */
static int write_bedful(nest_call *c, size_t at)
{
    int length = (int)(ending(c->out) - c->out);
    const char *path = c->b.nest.n_bedfuls == 1 ? c->out
                                                : po_arena_printf(c->b.arena, "%.*s-%zu.3mf", length, c->out, at + 1);
    po_arena *scratch = path ? po_arena_new(0) : NULL;
    po_document document = {0};
    po_err err;
    int result = !scratch                                                        ? cli_fail(EXIT_OWN, "memory ran out")
                 : work_bedful_3mf(&c->b, at, scratch, &document, &err) == PO_OK ? cli_write_file(path, &document)
                                                                                 : cli_fail_err(&err);
    po_arena_free(scratch);
    if (result == EXIT_CLEAR && c->n_written < sizeof c->written / sizeof c->written[0]) {
        c->written[c->n_written++] = path;
    }
    return result;
}

static int write_picture(nest_call *c)
{
    po_nest_sheet sheet;
    po_document document;
    po_err err;
    return work_bedful_sheet(&c->b, &sheet, &err) == PO_OK &&
                   po_nest_picture(&sheet, c->picture_kind, c->b.arena, &document, &err) == PO_OK
               ? cli_write_file(c->picture, &document)
               : cli_fail_err(&err);
}

static int lay_out(nest_call *c)
{
    watch w = {0};
    po_err err;
    struct sigaction act = {.sa_handler = on_interrupt}, before;
    sigemptyset(&act.sa_mask);
    c->b.setup.effort.progress = go_on;
    c->b.setup.effort.user = &w;
    sigaction(SIGINT, &act, &before);
    po_status status = po_nest_find(c->b.laid, c->b.n_parts, &c->b.setup, c->b.arena, &c->b.nest, &err);
    sigaction(SIGINT, &before, NULL);
    if (w.shown) {
        fprintf(stderr, "\r%*s\r", 70, "");
    }
    if (status != PO_OK) {
        return status == PO_E_LIMIT ? cli_fail(EXIT_USAGE, "%s", err.msg) : cli_fail_err(&err);
    }
    work_bedful_judge(&c->b);
    int result = EXIT_CLEAR;
    for (size_t i = 0; c->out && i < c->b.nest.n_bedfuls && result == EXIT_CLEAR; i++) {
        result = write_bedful(c, i);
    }
    if (c->picture && result == EXIT_CLEAR) {
        result = write_picture(c);
    }
    if (result != EXIT_CLEAR) {
        return result;
    }
    if (!c->json) {
        nest_print_text(c);
    } else if (desk_print_json(work_bedful_json(&c->b)) != EXIT_CLEAR) {
        return EXIT_OWN;
    }
    po_grade worst = c->b.n_findings ? c->b.findings[0].grade : PO_GRADE_OFF;
    return worst == PO_GRADE_STOP ? EXIT_STOP : worst == PO_GRADE_ASK ? EXIT_ASK : EXIT_CLEAR;
}

static int run(const cli_call *call)
{
    nest_call *c = calloc(1, sizeof *c);
    if (c) {
        c->call = call;
        c->b.arena = po_arena_new(0);
    }
    int result = c && c->b.arena ? cli_shop_read(cli_value(call, "shop"), c->b.arena, &c->b.shop)
                                 : cli_fail(EXIT_OWN, "memory ran out");
    if (result == EXIT_CLEAR && (result = choose_machine(c)) == EXIT_CLEAR &&
        (result = choose_numbers(c)) == EXIT_CLEAR && (result = choose_outputs(c)) == EXIT_CLEAR) {
        for (int i = 0; i < call->n_args && result == EXIT_CLEAR; i++) {
            result = nest_read_operand(c, call->args[i]);
        }
        size_t at = 0;
        po_err err;
        if (result == EXIT_CLEAR && work_bedful_outlines(&c->b, &at, &err) != PO_OK) {
            result = cli_fail_part(c->b.parts[at].path, &err);
        }
        result = result == EXIT_CLEAR ? lay_out(c) : result;
    }
    if (c) {
        po_arena_free(c->b.arena);
    }
    free(c);
    return result;
}

static const cli_option options[] = {
    {.name = "shop", .value = "FILE", .says = "the shop file; else PROVEOUT_SHOP, else ./shop.yaml"},
    {.name = "machine", .value = "NAME", .says = "the machine whose bed they are laid on"},
    {.name = "material", .value = "NAME", .says = "for parts that name none; without it the house's"},
    {.name = "recipe", .value = "NAME", .says = "for parts that name none; without it everyday, where there is one"},
    {.name = "clearance", .value = "MM", .says = "between parts; without it rules.clearance_mm of the shop file"},
    {.name = "margin", .value = "MM", .says = "to the bed's edge and to keep-outs; without it 2"},
    {.name = "turns", .value = "WHICH", .says = "free, fixed, or a step such as 90; without it free"},
    {.name = "find-pose", .value = NULL, .says = "lay every part the best way up (as orient finds it), not as it lies"},
    {.name = "reach-over",
     .value = NULL,
     .says = "parts may reach over others where these are low: outlines by height"},
    {.name = "keep-holes-free", .value = NULL, .says = "no part in a hole of another"},
    {.name = "finish-each", .value = NULL, .says = "one part after another: with room for the head, and the order"},
    {.name = "order",
     .value = "WHICH",
     .says = "of the bedfuls: due (the earliest first), or material (and recipe: each one's together); without it due"},
    {.name = "out", .value = "OUT.3mf", .says = "write each bedful with its parts placed; several: OUT-1.3mf, ..."},
    {.name = "picture", .value = "OUT", .says = "draw the beds; the name ends in .svg, .png or .pdf"},
    {.name = "json", .value = NULL, .says = "one JSON object on standard output (proveout/nest/1)"},
    {.name = "seconds", .value = "N", .says = "search so long; the best so far is kept"},
    {.name = "steps", .value = "N", .says = "search so many moves: the same answer every time; without both: 60000"},
    {.name = "seed", .value = "N", .says = "another seed, another layout; without it 1"},
    {.name = "threads", .value = "N", .says = "1 to 64; without it as many as there are cores. The answer is the same"},
};

static const cli_example examples[] = {
    {"proveout nest --machine Alder bracket.stl,copies=12", "twelve brackets on as few bedfuls as can be"},
    {"proveout nest --machine Alder --out beds.3mf --picture beds.svg bracket.stl,copies=20",
     "the same as files to print from, and a picture for the desk"},
    {"proveout nest --machine Elm bracket.stl,member=M0012 bracket.stl,copies=4,member=M0031",
     "two members on one bed: each one's share of the filament is told"},
    {"proveout nest --machine Dogwood --finish-each --json bracket.stl,copies=3",
     "one after another, with room for the head, for a program"},
};

const cli_verb cli_nest_verb[] = {
    {
        .name = "nest",
        .operands = "FILE[,copies=N][,...]...",
        .least = 1,
        .most = -1,
        .options = options,
        .n_options = sizeof options / sizeof options[0],
        .line = "lay parts out on as few bedfuls as can be",
        .help =
            "Reads parts (STL or 3MF) and lays them on the machine's bed by their true outlines, not by boxes: turned, "
            "into each other's notches and, where there is room, into holes. After a file's name may stand, in any "
            "order: ,copies=N ,member=ID ,due=DATE ,turns=free|fixed|STEP ,material=NAME ,recipe=NAME "
            ",pose=keep|find.\n\n"
            "Fewest bedfuls come first; among as few, what is due first lies on the first. Parts of different material "
            "or recipe never share a bed. Where parts of several members do, the filament is split by part, and what "
            "comes once a run (skirt, purge line) in proportion. \"No fewer than\" is a bound by areas: where it is "
            "reached, no other layout takes fewer.\n\n"
            "Every layout has passed a second, independent test with exact arithmetic before it is given out: no two "
            "outlines nearer than the clearance, none off the bed or on a keep-out. --finish-each keeps the head's "
            "outline (head: in the shop file) off everything higher than it clears; it knows nothing of rails, cables "
            "or fans that the shop file does not describe, so watch the first change from one part to the next, with "
            "a hand near the switch and fingers out of the machine.\n\n"
            "Exit status: 0 everything is laid out; 1 a person has to decide (a member's share beyond the allowance, a "
            "run too long); 2 something did not fit; 3 not a part; 4 wrong usage or a faulty shop file; 5 the "
            "program's own failure.",
        .examples = examples,
        .n_examples = sizeof examples / sizeof examples[0],
        .run = run,
    },
    {.name = NULL}};
