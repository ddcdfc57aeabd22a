/* proveout check FILE...: prove jobs and parts on the shop's machines. SPDX-License-Identifier: Apache-2.0
 *
 * Parses, calls the library, prints. No rule and no geometry here. */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "check.h"
#include "when.h"

enum { ARENA_MOST = 2000000000 }; /* of one file's facts; the job itself is never in memory as a whole */
enum { PRINTS_TO_MATCH = 64 };    /* heights kept, when a job is held against a part */

/* "no machine "Adler"; the nearest is "Alder"" */
#define NEAREST(c, what, text, list, count)                                                                            \
    do {                                                                                                               \
        const char **names_ = po_arena_zeros((c)->arena, (count), sizeof *names_);                                     \
        for (size_t i_ = 0; names_ && i_ < (count); i_++) {                                                            \
            names_[i_] = (list)[i_].name;                                                                              \
        }                                                                                                              \
        const char *near_ = names_ ? po_nearest_name((text), names_, (count)) : NULL;                                  \
        return near_ ? cli_fail(EXIT_USAGE, "the shop has no %s \"%s\"; the nearest is \"%s\"", (what), (text), near_) \
                     : cli_fail(EXIT_USAGE, "the shop has no %s \"%s\"", (what), (text));                              \
    } while (0)

static int choose_machines(cli_check *c)
{
    const char *name = cli_value(c->call, "machine");
    const po_machine **machines = po_arena_zeros(c->arena, c->shop->n_machines, sizeof *machines);
    if (!machines) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    c->machines = machines;
    c->one_machine = name != NULL;
    if (name) {
        machines[0] = po_shop_machine(c->shop, name);
        c->n_machines = 1;
        if (!machines[0]) {
            NEAREST(c, "machine", name, c->shop->machines, c->shop->n_machines);
        }
        return EXIT_CLEAR;
    }
    for (size_t i = 0; i < c->shop->n_machines; i++) {
        machines[i] = &c->shop->machines[i];
    }
    c->n_machines = c->shop->n_machines;
    return EXIT_CLEAR;
}

static int choose_materials(cli_check *c)
{
    const char *text = cli_value(c->call, "material"), *names[CLI_MOST_LIST];
    size_t n = 0;
    if (!text) {
        return EXIT_CLEAR;
    }
    if (!cli_split(text, c->arena, names, &n) || n == 0 || n > PO_MAX_TOOLS) {
        return cli_fail(EXIT_USAGE, "--material needs 1 to %d names, with commas between them", PO_MAX_TOOLS);
    }
    for (size_t i = 0; i < n; i++) {
        c->materials[i] = po_shop_material(c->shop, names[i]);
        if (!c->materials[i]) {
            NEAREST(c, "material", names[i], c->shop->materials, c->shop->n_materials);
        }
    }
    if (c->one_machine && n > c->machines[0]->n_nozzles) {
        return cli_fail(EXIT_USAGE, "%s has %zu nozzle%s, and %zu materials were given", c->machines[0]->name,
                        c->machines[0]->n_nozzles, c->machines[0]->n_nozzles == 1 ? "" : "s", n);
    }
    c->n_materials = n;
    return EXIT_CLEAR;
}

static int choose_permissions(cli_check *c)
{
    const char *text = cli_value(c->call, "permission");
    size_t n = 0;
    if (!text) {
        return EXIT_CLEAR;
    }
    const char **names = po_arena_zeros(c->arena, CLI_MOST_LIST, sizeof *names);
    if (!names || !cli_split(text, c->arena, names, &n)) {
        return cli_fail(EXIT_USAGE, "--permission takes at most %d names, with commas between them", CLI_MOST_LIST);
    }
    for (size_t i = 0; i < n; i++) {
        const po_permission *permission = po_shop_permission(c->shop, names[i]);
        if (!permission) {
            NEAREST(c, "permission", names[i], c->shop->permissions, c->shop->n_permissions);
        }
        names[i] = permission->name;
    }
    c->context.permissions = names;
    c->context.n_permissions = n;
    return EXIT_CLEAR;
}

static int choose_context(cli_check *c)
{
    c->context = (po_proof_context){.shop = c->shop, .spool_g = NAN, .allowance_left_m = NAN};
    const char *recipe = cli_value(c->call, "recipe"), *spool = cli_value(c->call, "spool-g");
    const char *start = cli_value(c->call, "start"), *threads = cli_value(c->call, "threads");
    if (recipe) {
        c->context.recipe = po_shop_recipe(c->shop, recipe);
        if (!c->context.recipe) {
            NEAREST(c, "recipe", recipe, c->shop->recipes, c->shop->n_recipes);
        }
    }
    if (spool && !cli_number(spool, 0, 1e6, &c->context.spool_g)) {
        return cli_fail(EXIT_USAGE, "--spool-g %s: expected the grams of filament left, a number from 0 to 1000000",
                        spool);
    }
    double n = 0;
    if (threads && (!cli_number(threads, 1, 64, &n) || n != floor(n))) {
        return cli_fail(EXIT_USAGE, "--threads %s: expected a whole number from 1 to 64", threads);
    }
    c->threads = (int)n;
    if (start) {
        c->context.start_known = true;
        int status = cli_start_time(start, c->shop, &c->context.start);
        if (status != EXIT_CLEAR) {
            return status;
        }
    }
    return choose_permissions(c);
}

static int choose_outputs(cli_check *c)
{
    c->json = cli_value(c->call, "json") != NULL;
    c->html = cli_value(c->call, "html");
    c->pdf = cli_value(c->call, "pdf");
    c->picture = cli_value(c->call, "picture");
    bool text = cli_value(c->call, "text") != NULL;
    if (c->json && text) {
        return cli_fail(EXIT_USAGE, "--json and --text exclude each other");
    }
    c->mend = cli_value(c->call, "mend");
    c->against = cli_value(c->call, "against");
    static const char *const names[] = {"html", "pdf", "picture", "mend"};
    const char *outputs[] = {c->html, c->pdf, c->picture, c->mend};
    int to_stdout = c->json || text;
    for (size_t i = 0; i < 4; i++) {
        if (outputs[i] && c->call->n_args > 1) {
            return cli_fail(EXIT_USAGE, "--%s takes one file; %d were given", names[i], c->call->n_args);
        }
        if (outputs[i] && !*outputs[i]) {
            return cli_fail(EXIT_USAGE, "a file to write needs a name");
        }
        if (cli_spare_input(names[i], outputs[i], c->call->args[0]) != EXIT_CLEAR ||
            cli_spare_input(names[i], outputs[i], c->against) != EXIT_CLEAR) {
            return EXIT_USAGE;
        }
        to_stdout += outputs[i] && !strcmp(outputs[i], "-");
        for (size_t j = 0; j < i; j++) {
            if (outputs[i] && outputs[j] && !strcmp(outputs[i], outputs[j])) {
                return cli_fail(EXIT_USAGE, "two outputs can't both be written to %s", outputs[i]);
            }
        }
    }
    if (to_stdout > 1) {
        return cli_fail(EXIT_USAGE, "standard output can take one kind of output");
    }
    if (c->mend && !strcmp(c->mend, "-")) {
        return cli_fail(EXIT_USAGE, "--mend needs the name of a file to write");
    }
    const char *dot = c->picture ? strrchr(c->picture, '.') : NULL;
    if (c->picture && !(dot && (!strcmp(dot, ".svg") || !strcmp(dot, ".png")))) {
        return cli_fail(EXIT_USAGE, "--picture %s: expected a name that ends in .svg or .png", c->picture);
    }
    c->text = text || (!c->json && !c->html && !c->pdf && !c->picture);
    c->pictures = c->html || c->pdf || c->picture;
    po_wall_time now;
    if ((c->html || c->pdf) && cli_now(c->shop, &now)) { /* paper carries its day */
        c->today = po_arena_printf(c->arena, "%04d-%02d-%02d %02d:%02d", now.date.year, now.date.month, now.date.day,
                                   now.minute / 60, now.minute % 60);
    }
    return EXIT_CLEAR;
}

const po_material *cli_material_for(const cli_check *c, const po_machine *machine, size_t nozzle)
{
    if (c->n_materials) {
        return c->materials[nozzle < c->n_materials ? nozzle : c->n_materials - 1];
    }
    for (size_t i = 0; c->fitted && i < c->n_machines && nozzle < PO_MAX_TOOLS; i++) {
        if (c->machines[i] == machine && c->fitted[i].materials[nozzle]) {
            return c->fitted[i].materials[nozzle];
        }
    }
    const po_material *house = po_shop_house_material(c->shop);
    return po_machine_takes(c->shop, machine, house) ? house : &c->shop->materials[machine->materials[0]];
}

/* The machines as they are fitted now. */
static int ask_book(cli_check *c)
{
    int status = cli_book_open(&c->book, c->call, c->shop, c->arena);
    const po_machine **machines = po_arena_zeros(c->arena, c->n_machines, sizeof *machines);
    c->fitted = po_arena_zeros(c->arena, c->n_machines, sizeof *c->fitted);
    if (status == EXIT_CLEAR && (!machines || !c->fitted)) {
        status = cli_fail(EXIT_OWN, "memory ran out");
    }
    for (size_t i = 0; status == EXIT_CLEAR && i < c->n_machines; i++) {
        status = cli_book_fitted(&c->book, c->machines[i], &c->fitted[i]);
        machines[i] = c->fitted[i].machine;
    }
    c->machines = status == EXIT_CLEAR ? machines : c->machines;
    return status;
}

static po_job_setup setup_for(const cli_check *c, const po_machine *machine)
{
    po_job_setup setup = {.machine = machine, .rules = &c->shop->rules};
    for (size_t i = 0; i < machine->n_nozzles && i < PO_MAX_TOOLS; i++) {
        setup.materials[i] = cli_material_for(c, machine, i);
    }
    return setup;
}

bool cli_colour_wanted(void)
{
    const char *no = getenv("NO_COLOR"), *terminal = getenv("TERM"); /* no-color.org */
    return !(no && *no) && terminal && strcmp(terminal, "dumb") != 0 && isatty(STDOUT_FILENO);
}

int cli_print_document(po_status status, const char *path, const po_document *document, const po_err *err)
{
    if (status != PO_OK) {
        return status == PO_E_NOTFOUND ? cli_fail(EXIT_OWN, "%s", err->msg) : cli_fail_err(err);
    }
    return cli_write_file(path, document);
}

/* All outputs of one job; EXIT_CLEAR when all could be written. */
static int print_proofs(const cli_check *c, const po_proof *const *proofs, size_t n, size_t best, po_arena *arena)
{
    po_slip_options options = {.colour = c->text && cli_colour_wanted(), .today = c->today};
    po_document document = {0};
    po_err err;
    int worst = EXIT_CLEAR, result;
    if (c->html) {
        result = cli_print_document(po_slip_html(proofs, n, c->shop, &options, arena, &document, &err), c->html,
                                    &document, &err);
        worst = result > worst ? result : worst;
    }
    if ((c->pdf || c->picture) && !c->one_machine && n > 1) {
        cli_fail(EXIT_CLEAR, "one machine fits on the page: this is %s; --machine names another",
                 proofs[best]->report->machine->name);
    }
    if (c->pdf) {
        result = cli_print_document(po_slip_pdf(proofs[best], c->shop, &options, arena, &document, &err), c->pdf,
                                    &document, &err);
        worst = result > worst ? result : worst;
    }
    if (c->picture) {
        bool png = !strcmp(strrchr(c->picture, '.'), ".png");
        po_status status = png ? po_slip_png(proofs[best], c->shop, arena, &document, &err)
                               : po_slip_svg(proofs[best], c->shop, arena, &document, &err);
        result = cli_print_document(status, c->picture, &document, &err);
        worst = result > worst ? result : worst;
    }
    if (c->json) {
        result = cli_print_document(po_slip_json(proofs, n, !c->one_machine, arena, &document, &err), "-", &document,
                                    &err);
        worst = result > worst ? result : worst;
    }
    if (c->text) {
        po_status status = c->one_machine ? po_slip_text(proofs[0], c->shop, &options, arena, &document, &err)
                                          : po_slip_table(proofs, n, c->shop, &options, arena, &document, &err);
        result = cli_print_document(status, "-", &document, &err);
        worst = result > worst ? result : worst;
    }
    return worst;
}

static int prove_reports(cli_check *c, const char *path, const po_job_report *const *reports, po_arena *arena)
{
    const po_proof **proofs = po_arena_zeros(arena, c->n_machines, sizeof *proofs);
    if (!proofs) {
        return cli_fail(EXIT_OWN, "%s: memory ran out", path);
    }
    size_t best = 0;
    for (size_t i = 0; i < c->n_machines; i++) {
        po_proof_context *context = po_arena_zeros(arena, 1, sizeof *context); /* proofs may point into it */
        if (!context) {
            return cli_fail(EXIT_OWN, "%s: memory ran out", path);
        }
        *context = c->context;
        int status = cli_book_context(&c->book, &c->fitted[i], reports[i]->sha256, context);
        if (status != EXIT_CLEAR) {
            return status;
        }
        status = cli_book_judge(&c->book, reports[i], path, context, arena, &proofs[i]);
        if (status != EXIT_CLEAR) {
            return status;
        }
        status = when_judge(reports[i], path, context, arena, &proofs[i]);
        if (status != EXIT_CLEAR) {
            return status;
        }
        best = proofs[i]->verdict < proofs[best]->verdict ? i : best;
    }
    int written = print_proofs(c, proofs, c->n_machines, best, arena);
    return written > EXIT_CLEAR ? written : (int)proofs[best]->verdict;
}

int cli_no_proof(const cli_check *c, const char *path, int exit_status, const char *why, const po_err *at)
{
    if (c->json) {
        cli_json j = {.out = stdout};
        cli_json_open(&j, NULL, '{');
        cli_json_text(&j, "format", "proveout/no-proof/1");
        cli_json_text(&j, "file", path);
        cli_json_text(&j, "says", why);
        if (at) {
            cli_json_open(&j, "where", '{');
            cli_json_text(&j, "in", at->where[0] ? at->where : path);
            cli_json_number(&j, "line", at->line ? (double)at->line : NAN);
            cli_json_number(&j, "column", at->column ? (double)at->column : NAN);
            cli_json_number(&j, "byte", at->byte != PO_NO_BYTE ? (double)at->byte : NAN);
            cli_json_close(&j, '}');
        }
        cli_json_number(&j, "exit", exit_status);
        cli_json_close(&j, '}');
        fputc('\n', stdout);
    }
    return exit_status;
}

static int refuse_archive(const cli_check *c, const char *path)
{
    const char *what = "a zip archive, which is no job; unpack it and check the job inside";
    return cli_no_proof(c, path, cli_fail(EXIT_NO_JOB, "%s: is %s", path, what), what, NULL);
}

static int check_file(cli_check *c, const char *path)
{
    po_source source;
    cli_kind kind;
    po_arena *arena = po_arena_new(ARENA_MOST);
    if (!arena) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    int result = cli_open_source(path, arena, &source, &kind);
    if (result != EXIT_CLEAR) {
        cli_no_proof(c, path, result, "can't be opened or read", NULL);
        goto done;
    }
    if (kind == CLI_KIND_ZIP) {
        result = refuse_archive(c, path);
        goto done;
    }
    if (kind != CLI_KIND_JOB && c->against) {
        const char *why = "is a part; --against holds jobs against a part";
        result = cli_no_proof(c, path, cli_fail(EXIT_USAGE, "%s: %s", path, why), why, NULL);
        goto done;
    }
    if (kind != CLI_KIND_JOB) {
        result = cli_check_part(c, path, &source, arena);
        goto done;
    }
    if (c->mend) {
        const char *why = "is a job; --mend mends parts (STL or 3MF)";
        result = cli_no_proof(c, path, cli_fail(EXIT_USAGE, "%s: %s", path, why), why, NULL);
        goto done;
    }
    po_job_setup *setups = po_arena_zeros(arena, c->n_machines, sizeof *setups);
    const po_job_report **reports = po_arena_zeros(arena, c->n_machines, sizeof *reports);
    if (!setups || !reports) {
        result = cli_fail(EXIT_OWN, "memory ran out");
        goto done;
    }
    for (size_t i = 0; i < c->n_machines; i++) {
        setups[i] = setup_for(c, c->machines[i]);
    }
    cli_progress progress;
    cli_progress_begin(&progress, path);
    po_job_options options = PO_JOB_OPTIONS_INIT;
    options.images = c->pictures;
    options.threads = c->threads;
    options.most_bytes = c->shop->most_file_bytes;
    options.progress = cli_progress_step;
    options.user = &progress;
    options.prints = c->against ? PRINTS_TO_MATCH : 0;
    po_err err;
    po_status status = po_job_measure(&source, setups, c->n_machines, &options, arena, reports, &err);
    cli_progress_end(&progress);
    if (status == PO_OK) {
        cli_check held = *c;
        result = c->against ? cli_check_against(c, path, reports[0], arena, &held.context.against) : EXIT_CLEAR;
        result = result == EXIT_CLEAR
                     ? prove_reports(&held, path, reports, arena)
                     : cli_no_proof(c, path, result, "the part to hold it against can't be compared", NULL);
    } else {
        if (!err.where[0]) {
            snprintf(err.where, sizeof err.where, "%s", path);
        }
        result = cli_no_proof(c, path, cli_fail_err(&err), err.msg, &err);
    }
done:
    po_arena_free(arena);
    return result;
}

static int run(const cli_call *call)
{
    cli_check c = {.call = call, .arena = po_arena_new(0)};
    int result = c.arena ? cli_shop_read(cli_value(call, "shop"), c.arena, &c.shop)
                         : cli_fail(EXIT_OWN, "memory ran out");
    result = result == EXIT_CLEAR ? when_opening(call, c.arena, &c.shop) : result;
    if (result == EXIT_CLEAR && (result = choose_machines(&c)) == EXIT_CLEAR && (result = ask_book(&c)) == EXIT_CLEAR &&
        (result = choose_materials(&c)) == EXIT_CLEAR && (result = choose_context(&c)) == EXIT_CLEAR) {
        result = choose_outputs(&c);
    }
    if (result == EXIT_CLEAR) {
        int n_inputs = 0;
        for (int i = 0; i < call->n_args; i++) {
            n_inputs += !strcmp(call->args[i], "-");
        }
        result = n_inputs > 1 ? cli_fail(EXIT_USAGE, "standard input (-) can be read once only") : EXIT_CLEAR;
    }
    if (result == EXIT_CLEAR) {
        for (int i = 0; i < call->n_args; i++) {
            fputs(i && c.text ? "\n" : "", stdout);
            int file = check_file(&c, call->args[i]);
            result = file > result ? file : result; /* the worst */
            fflush(stdout);
        }
    }
    for (size_t i = 0; c.fitted && i < c.n_machines; i++) {
        json_decref(c.fitted[i].now);
    }
    cli_book_close(&c.book);
    po_arena_free(c.arena);
    return result;
}

static const cli_option options[] = {
    {.name = "shop", .value = "FILE", .says = "the shop file; else PROVEOUT_SHOP, else ./shop.yaml"},
    {.name = "machine",
     .value = "NAME",
     .says = "prove it on this machine and print the whole slip; without it: a line for "
             "every machine of the shop"},
    {.name = "material",
     .value = "NAME[,NAME]",
     .says = "what is loaded, one for each nozzle in order; without it: the "
             "house material where the machine takes it, else its first"},
    {.name = "recipe",
     .value = "NAME",
     .says = "the recipe that it should follow; without it: the nearest of the shop's"},
    {.name = "permission",
     .value = "NAME[,NAME]",
     .says = "what the member holds; an empty text: nothing. Without it "
             "permissions are not asked about"},
    {.name = "spool-g", .value = "GRAMS", .says = "filament left on the spool"},
    {.name = "start",
     .value = "TIME",
     .says = "when it would start, on the shop's clock: 15:10, 2026-11-26T15:10 or now"},
    WHEN_OPTIONS,
    {.name = "text", .value = NULL, .says = "the slip as text on standard output (as without any of these)"},
    {.name = "json", .value = NULL, .says = "one JSON object a line for each file, on standard output"},
    {.name = "html", .value = "OUT", .says = "the slip as one page with pictures; - is standard output"},
    {.name = "pdf", .value = "OUT", .says = "the slip as one sheet of A4, for one machine"},
    {.name = "picture", .value = "OUT.svg|.png", .says = "the pictures alone, for one machine"},
    {.name = "mend",
     .value = "OUT.3mf",
     .says = "of a part: write it mended (welded, holes filled, turned the right way round), and say what was done and "
             "what "
             "is left to a person"},
    {.name = "threads",
     .value = "N",
     .says = "1 to 64; without it: as many as there are cores. The answer is the same"},
    {.name = "member",
     .value = "ID",
     .says = "who brings it: permissions, suspension, what is left of allowance and waivers, from the book"},
    {.name = "spool",
     .value = "ID[,ID]",
     .says =
         "the spools that it would be printed from, one for each nozzle in order: material and what is left, from the "
         "book; without it: what is loaded"},
    {.name = "ledger",
     .value = "FILE",
     .says = "the book; else PROVEOUT_LEDGER, else the one that the shop file names, where there is one. It is only "
             "read: what "
             "is fitted and loaded, whether the machine is free, the gap, what runs have really taken"},
    {.name = "against",
     .value = "PART",
     .says = "hold the jobs against this part (STL or 3MF): is it this one, whole, as large, not mirrored"},
};

static const cli_example examples[] = {
    {"proveout check bracket.gcode", "which machines may print it, and what stands in the way on the others"},
    {"proveout check --machine Alder bracket.gcode", "the whole slip for one machine"},
    {"proveout check --machine Cedar --material tpu --start 15:10 bracket.gcode",
     "with another material, and when it would end"},
    {"proveout check --machine Alder --permission starter --spool-g 412 bracket.gcode",
     "for a member's permissions and what is left on the spool"},
    {"proveout check --member 10041 --machine Alder --spool S12 --ledger desk.db bracket.gcode",
     "for member 10041, in the light of the book"},
    {"proveout check --json bracket.gcode", "the same for a program"},
    {"proveout check bracket.stl", "a part: where it fits, and what it will take"},
    {"proveout check --machine Alder --recipe quick --mend mended.3mf bracket.stl",
     "the whole slip of a part, and the part mended"},
    {"proveout check --machine Alder --against bracket.stl bracket.gcode",
     "is this job that part: whole, at full size, not mirrored"},
    {"proveout check --machine Alder --html slip.html --picture layers.svg bracket.gcode",
     "a page with pictures, and the pictures alone"},
};

const cli_verb cli_check_verb[] = {
    {
        .name = "check",
        .operands = "FILE...",
        .least = 1,
        .most = -1,
        .options = options,
        .n_options = sizeof options / sizeof options[0],
        .line = "prove a job or a part before it is trusted with a machine and material",
        .help =
            "Reads a job (G-code; gzip and zstd are unpacked), measures it as the machine would run it, and says what "
            "stands "
            "in the way. Of a part (STL or 3MF) it says whether it is sound, where it fits, how it lies best and what "
            "it "
            "will "
            "take. The kind of a file is told from its bytes, never from its name; - reads standard input.\n\n"
            "Exit status: 0 clear; 1 ask, a desk person decides; 2 stop; 3 not a job or part at all; 4 wrong usage or "
            "a "
            "faulty shop file; 5 the program's own failure. Several files: the worst. Without --machine: that of the "
            "best "
            "machine.\n\n"
            "A clear slip says that the file suits the machine. It replaces neither the look at the bed nor the watch "
            "over "
            "the first layer; the maker's instructions and the room's rules come first.",
        .examples = examples,
        .n_examples = sizeof examples / sizeof examples[0],
        .run = run,
    },
    {.name = NULL}};
