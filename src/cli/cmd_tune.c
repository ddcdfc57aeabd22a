/* proveout tune ...: settings from test pieces. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/tune.h"

#include <math.h>
#include <string.h>

#include "care.h"
#include "verbs.h"

static const char *const acts[] = {"leave", "change", "look"};
static const char caution[] = "Enter it by hand, by the maker's instructions; nothing is sent to a machine. Hot end "
                              "and bed burn; keep fingers out of what moves.";

/* A list of numbers such as 97.0,97.2,96.8; a sign is allowed so that the library can say what is wrong with it. */
static int numbers(const char *what, const char *text, po_arena *arena, double *ret, size_t *ret_n)
{
    const char *pieces[CLI_MOST_LIST];
    size_t n = 0;
    if (!text || !cli_split(text, arena, pieces, &n) || n == 0) {
        return cli_fail(EXIT_USAGE,
                        "%s: expected up to %d numbers with commas between them, in mm, such as 97.0,97.2,96.8", what,
                        CLI_MOST_LIST);
    }
    for (size_t i = 0; i < n; i++) {
        const char *digits = pieces[i] + (pieces[i][0] == '-');
        if (!cli_number(digits, 0, 1e6, &ret[i])) {
            return cli_fail(EXIT_USAGE, "%s: %s is no number", what, pieces[i]);
        }
        ret[i] *= pieces[i][0] == '-' ? -1 : 1;
    }
    *ret_n = n;
    return EXIT_CLEAR;
}

static int option(const cli_call *call, const char *name, bool needed, double *ret)
{
    const char *text = cli_value(call, name);
    return !text && needed
               ? cli_fail(EXIT_USAGE, "--%s is needed; proveout %s --help says what it is", name, call->verb->name)
           : !text || cli_number(text, 0, 1e6, ret) ? EXIT_CLEAR
                                                    : cli_fail(EXIT_USAGE, "--%s %s: expected a number", name, text);
}

static int refused(const po_err *err)
{
    return cli_fail(err->code == PO_E_NOMEM ? EXIT_OWN : EXIT_USAGE, "%s", err->msg);
}

/* The frame of each: json or sentences, the caution, the exit status. */
static cli_json begin(const cli_call *call, const char *kind, po_tune_act act)
{
    cli_json j = {.out = stdout};
    if (cli_value(call, "json")) {
        cli_json_open(&j, NULL, '{');
        cli_json_text(&j, "format", kind);
        cli_json_text(&j, "act", acts[act]);
    }
    return j;
}

static int end(const cli_call *call, cli_json *j, po_tune_act act, const char *kind, const care_figure *figures,
               size_t n)
{
    if (cli_value(call, "json")) {
        cli_json_close(j, '}');
        fputc('\n', stdout);
    } else {
        cli_wrap(stdout, 0, caution);
    }
    int kept = care_keep(call, kind, figures, n, NULL);
    return kept != EXIT_CLEAR ? kept : act == PO_TUNE_LEAVE ? EXIT_CLEAR : EXIT_ASK;
}

static void say_mean(const char *what, const po_tune_mean *m)
{
    printf("%s: mean %.3f mm of %zu, from %.3f to %.3f", what, m->mean, m->n, m->low, m->high);
    isnan(m->half) ? printf("; one reading says nothing of its error: take three\n")
                   : printf(", +- %.3f (95 %%)\n", m->half);
}

static void json_mean(cli_json *j, const po_tune_mean *m)
{
    cli_json_number(j, "readings", (double)m->n);
    cli_json_number(j, "mean_mm", m->mean);
    cli_json_number(j, "half_mm", m->half);
    cli_json_range(j, "from_to_mm", m->low, m->high);
}

static int run_feed(const cli_call *call, po_arena *arena)
{
    double steps = 0, asked = 100, moved[CLI_MOST_LIST];
    size_t n = 0;
    po_tune_feed f;
    po_err err;
    int status = option(call, "steps", true, &steps);
    status = status == EXIT_CLEAR ? option(call, "asked", false, &asked) : status;
    status = status == EXIT_CLEAR ? numbers("what came", call->args[0], arena, moved, &n) : status;
    if (status != EXIT_CLEAR) {
        return status;
    }
    if (po_tune_feed_of(steps, asked, moved, n, &f, &err) != PO_OK) {
        return refused(&err);
    }
    cli_json j = begin(call, "proveout/tune-feed/1", f.act);
    if (cli_value(call, "json")) {
        json_mean(&j, &f.moved);
        cli_json_number(&j, "steps", f.steps);
        cli_json_range(&j, "steps_range", f.low, f.high);
        cli_json_number(&j, "error", f.error);
    } else {
        say_mean("Filament that came", &f.moved);
        if (f.act == PO_TUNE_LOOK) {
            printf("The readings differ by more than 1 %%: look for slip first (gear, tension, a nozzle in the way), "
                   "then measure again.\n");
        } else if (f.act == PO_TUNE_CHANGE) {
            printf("%.1f %% too %s came: new steps %.3f a mm instead of %.3f", 100 * fabs(f.error),
                   f.error > 0 ? "little" : "much", f.steps, steps);
            isnan(f.low) ? printf(".\n") : printf(" (%.2f to %.2f).\n", f.low, f.high);
        } else {
            printf("Within 1 %%: leave it (it would be %.3f).\n", f.steps);
        }
    }
    const care_figure kept[] = {{"moved_um", 1e3 * f.moved.mean},
                                {"moved_half_um", 1e3 * f.moved.half},
                                {"error_ppm", 1e6 * f.error},
                                {"steps_per_m", 1e3 * f.steps}};
    return end(call, &j, f.act, "feed", kept, sizeof kept / sizeof kept[0]);
}

static int run_flow(const cli_call *call, po_arena *arena)
{
    double flow = 1, width = 0, layer = 0.2, walls[CLI_MOST_LIST];
    size_t n = 0;
    po_tune_flow f;
    po_err err;
    int status = option(call, "width", true, &width);
    status = status == EXIT_CLEAR ? option(call, "layer", false, &layer) : status;
    status = status == EXIT_CLEAR ? option(call, "flow", false, &flow) : status;
    status = status == EXIT_CLEAR ? numbers("walls", call->args[0], arena, walls, &n) : status;
    if (status != EXIT_CLEAR) {
        return status;
    }
    if (po_tune_flow_of(flow, width, layer, walls, n, &f, &err) != PO_OK) {
        return refused(&err);
    }
    cli_json j = begin(call, "proveout/tune-flow/1", f.act);
    if (cli_value(call, "json")) {
        json_mean(&j, &f.wall);
        cli_json_number(&j, "flow", f.by_area);
        cli_json_range(&j, "flow_range", f.low, f.high);
        cli_json_number(&j, "flow_by_width", f.by_width);
    } else {
        say_mean("Walls", &f.wall);
        if (f.act == PO_TUNE_LOOK) {
            printf("They differ by more than a fifth: measure away from corners and the first 2 mm, and look for slip "
                   "or a wet spool first.\n");
        } else {
            printf("%s flow %.3f instead of %.3f by the bead with round ends (%.3f by the rectangle).\n",
                   f.act == PO_TUNE_CHANGE ? "New" : "Within 3 %, or not sure: leave it. It would be", f.by_area, flow,
                   f.by_width);
        }
    }
    const care_figure kept[] = {
        {"wall_um", 1e3 * f.wall.mean}, {"wall_half_um", 1e3 * f.wall.half}, {"flow_ppm", 1e6 * f.by_area}};
    return end(call, &j, f.act, "flow", kept, sizeof kept / sizeof kept[0]);
}

static int run_size(const cli_call *call, po_arena *arena)
{
    double steps = 0, nominal[CLI_MOST_LIST], measured[CLI_MOST_LIST];
    size_t n = 0, k = 0;
    po_tune_size z;
    po_err err;
    int status = option(call, "steps", false, &steps);
    status = status == EXIT_CLEAR ? numbers("lengths of the part", call->args[0], arena, nominal, &n) : status;
    status = status == EXIT_CLEAR ? numbers("lengths measured", call->args[1], arena, measured, &k) : status;
    if (status != EXIT_CLEAR) {
        return status;
    }
    if (n != k) {
        return cli_fail(EXIT_USAGE, "%zu lengths and %zu measured: give as many, in the same order", n, k);
    }
    if (po_tune_size_of(steps, nominal, measured, n, &z, &err) != PO_OK) {
        return refused(&err);
    }
    cli_json j = begin(call, "proveout/tune-size/1", z.act);
    if (cli_value(call, "json")) {
        cli_json_number(&j, "scale", z.line.scale);
        cli_json_number(&j, "scale_half", z.line.scale_half);
        cli_json_number(&j, "offset_mm", z.line.offset_mm);
        cli_json_number(&j, "offset_half_mm", z.line.offset_half_mm);
        cli_json_number(&j, "rms_mm", z.line.rms_mm);
        cli_json_number(&j, "shrinkage", z.shrinkage);
        cli_json_number(&j, "steps", z.steps);
    } else {
        printf("Scale %+.2f %%", 100 * z.line.scale);
        isnan(z.line.scale_half) ? printf(" (two lengths: no error known)")
                                 : printf(" +- %.2f", 100 * z.line.scale_half);
        printf(", offset %+.3f mm", z.line.offset_mm);
        isnan(z.line.offset_half_mm) ? printf(".\n") : printf(" +- %.3f (95 %%).\n", z.line.offset_half_mm);
        printf("The scale is of the axis and of shrinkage; the offset is of the bead's width, the same at every "
               "length.\n");
        if (z.act == PO_TUNE_LEAVE) {
            printf("The scale is within 0.1 %%, or not sure: leave it.\n");
        } else if (!isnan(z.steps)) {
            printf(
                "New steps %.5g a mm instead of %.5g; or, where the material is what shrinks, enlarge parts by %.4f.\n",
                z.steps, steps, 1 / (1 - z.shrinkage));
        } else {
            printf("Enlarge parts by %.4f, or give --steps for the axis.\n", 1 / (1 - z.shrinkage));
        }
    }
    const care_figure kept[] = {{"scale_ppm", 1e6 * z.line.scale},
                                {"scale_half_ppm", 1e6 * z.line.scale_half},
                                {"offset_um", 1e3 * z.line.offset_mm}};
    return end(call, &j, z.act, "size", kept, sizeof kept / sizeof kept[0]);
}

static int run_skew(const cli_call *call, po_arena *arena)
{
    double v[CLI_MOST_LIST];
    size_t n = 0;
    po_tune_skew k;
    po_err err;
    int status = numbers("AC,BD,AD", call->args[0], arena, v, &n);
    if (status != EXIT_CLEAR || n != 3) {
        return status != EXIT_CLEAR
                   ? status
                   : cli_fail(EXIT_USAGE, "three lengths are needed: diagonal AC, diagonal BD, side AD");
    }
    if (po_tune_skew_of(v[0], v[1], v[2], &k, &err) != PO_OK) {
        return refused(&err);
    }
    cli_json j = begin(call, "proveout/tune-skew/1", k.act);
    if (cli_value(call, "json")) {
        cli_json_number(&j, "tangent", k.tangent);
        cli_json_number(&j, "deg", k.deg);
        cli_json_number(&j, "mm_per_100", k.mm_per_100);
        cli_json_number(&j, "ab_mm", k.ab_mm);
    } else {
        printf("Skew %+.3f degrees: %+.2f mm in 100 mm (tangent %.6f); the side AB comes out as %.3f mm.\n", k.deg,
               k.mm_per_100, k.tangent, k.ab_mm);
        printf("%s\n", k.act == PO_TUNE_LEAVE
                           ? "Within 0.1 mm in 100 mm: leave it."
                           : "Square the frame first; what stays is corrected by x - y times the tangent.");
    }
    const care_figure kept[] = {{"skew_mdeg", 1e3 * k.deg}, {"skew_ppm", 1e6 * k.tangent}};
    return end(call, &j, k.act, "skew", kept, sizeof kept / sizeof kept[0]);
}

static int run_gap(const cli_call *call, po_arena *arena)
{
    double wanted = 0.2, layer[CLI_MOST_LIST];
    size_t n = 0;
    po_tune_gap g;
    po_err err;
    int status = option(call, "wanted", false, &wanted);
    status = status == EXIT_CLEAR ? numbers("thicknesses", call->args[0], arena, layer, &n) : status;
    if (status != EXIT_CLEAR) {
        return status;
    }
    if (po_tune_gap_of(wanted, layer, n, &g, &err) != PO_OK) {
        return refused(&err);
    }
    cli_json j = begin(call, "proveout/tune-gap/1", g.act);
    if (cli_value(call, "json")) {
        json_mean(&j, &g.layer);
        cli_json_number(&j, "correction_mm", g.correction_mm);
        cli_json_number(&j, "range_mm", g.range_mm);
    } else {
        say_mean("First layer", &g.layer);
        if (g.act == PO_TUNE_LOOK) {
            printf("The places differ by %.2f mm: tram the bed first (proveout tram), then print the squares again.\n",
                   g.range_mm);
        } else if (g.act == PO_TUNE_CHANGE) {
            printf("Nozzle %.2f mm %s.\n", fabs(g.correction_mm),
                   g.correction_mm < 0 ? "nearer to the bed" : "farther from the bed");
        } else {
            printf("Within 0.02 mm: leave it.\n");
        }
    }
    const care_figure kept[] = {
        {"layer_um", 1e3 * g.layer.mean}, {"correction_um", 1e3 * g.correction_mm}, {"range_um", 1e3 * g.range_mm}};
    return end(call, &j, g.act, "gap", kept, sizeof kept / sizeof kept[0]);
}

static int in_arena(const cli_call *call, int (*run)(const cli_call *call, po_arena *arena))
{
    po_arena *arena = po_arena_new(0);
    int status = arena ? care_keep_possible(call) : cli_fail(EXIT_OWN, "memory ran out");
    status = status == EXIT_CLEAR ? run(call, arena) : status;
    po_arena_free(arena);
    return cli_end(status);
}

static int feed(const cli_call *call)
{
    return in_arena(call, run_feed);
}

static int flow(const cli_call *call)
{
    return in_arena(call, run_flow);
}

static int size(const cli_call *call)
{
    return in_arena(call, run_size);
}

static int skew(const cli_call *call)
{
    return in_arena(call, run_skew);
}

static int gap(const cli_call *call)
{
    return in_arena(call, run_gap);
}

#define JSON_OPTION                                                                                                    \
    {.name = "json", .value = NULL, .says = "one JSON object on standard output"},                                     \
        {.name = "machine", .value = "NAME", .says = "whose it is, for --book"},                                       \
        {.name = "shop", .value = "FILE", .says = "the shop file; else PROVEOUT_SHOP, else ./shop.yaml"},              \
        CARE_KEEP_OPTIONS
#define STATUS                                                                                                         \
    "\n\nExit status: 0 leave it; 1 there is something to change or to look at; 4 wrong usage, or measures that "      \
    "can't be; 5 the program's own failure."

static const cli_option feed_options[] = {
    {.name = "steps", .value = "N", .says = "steps a mm that are set now"},
    {.name = "asked", .value = "MM", .says = "what was asked for; without it 100"},
    JSON_OPTION,
};
static const cli_option flow_options[] = {
    {.name = "width", .value = "MM", .says = "the bead's width as asked for"},
    {.name = "layer", .value = "MM", .says = "the layer's height; without it 0.2"},
    {.name = "flow", .value = "FACTOR", .says = "the flow that was printed with; without it 1 (100 %)"},
    JSON_OPTION,
};
static const cli_option size_options[] = {
    {.name = "steps", .value = "N", .says = "steps a mm of that axis that are set now"},
    JSON_OPTION,
};
static const cli_option skew_options[] = {JSON_OPTION};
static const cli_option gap_options[] = {
    {.name = "wanted", .value = "MM", .says = "the first layer's height; without it 0.2"},
    JSON_OPTION,
};

static const cli_example feed_examples[] = {
    {"proveout tune feed --steps 415 97.0,97.2,96.8", "100 mm asked for three times: new steps and how sure they are"}};
static const cli_example flow_examples[] = {
    {"proveout tune flow --width 0.45 --layer 0.2 0.47,0.46,0.48,0.47", "a box of one wall, measured at four places"}};
static const cli_example size_examples[] = {
    {"proveout tune size --steps 80 20,60,100 20.05,59.93,99.81", "scale and offset apart, of one axis"}};
static const cli_example skew_examples[] = {
    {"proveout tune skew 142.0,140.8,100", "both diagonals and one side of a printed square"}};
static const cli_example gap_examples[] = {
    {"proveout tune gap --wanted 0.2 0.26,0.27,0.25,0.26,0.26", "five squares of one layer"}};

#define ONE(n) (sizeof(n) / sizeof((n)[0]))

const cli_verb cli_tune_verbs[] = {
    {.name = "tune feed",
     .operands = "MM,...",
     .least = 1,
     .most = 1,
     .options = feed_options,
     .n_options = ONE(feed_options),
     .line = "steps of the feed from filament that came",
     .help = "Mark the filament, ask for a length hot and slow (1 to 2 mm/s), three times; give how much came each "
             "time. New steps are old times asked by came." STATUS,
     .examples = feed_examples,
     .n_examples = 1,
     .run = feed},
    {.name = "tune flow",
     .operands = "MM,...",
     .least = 1,
     .most = 1,
     .options = flow_options,
     .n_options = ONE(flow_options),
     .line = "flow from a piece of one wall",
     .help = "Print a box of one wall and measure it at four sides and three heights, away from corners and the first "
             "2 mm. Both models are shown: the rectangle "
             "and the bead with round ends." STATUS,
     .examples = flow_examples,
     .n_examples = 1,
     .run = flow},
    {.name = "tune size",
     .operands = "NOMINAL,... MEASURED,...",
     .least = 2,
     .most = 2,
     .options = size_options,
     .n_options = ONE(size_options),
     .line = "scale and offset of an axis, and shrinkage",
     .help = "Measure one axis of a piece at several lengths, short and long. A line through them tells the scale (of "
             "the axis and of shrinkage) from the offset "
             "(of the bead's width), which a single cube can't." STATUS,
     .examples = size_examples,
     .n_examples = 1,
     .run = size},
    {.name = "tune skew",
     .operands = "AC,BD,AD",
     .least = 1,
     .most = 1,
     .options = skew_options,
     .n_options = ONE(skew_options),
     .line = "how far from square two axes are",
     .help = "Print a square ABCD and measure both diagonals and the side AD; A is the front left corner. "
             "Parallelogram law and law of cosines." STATUS,
     .examples = skew_examples,
     .n_examples = 1,
     .run = skew},
    {.name = "tune gap",
     .operands = "MM,...",
     .least = 1,
     .most = 1,
     .options = gap_options,
     .n_options = ONE(gap_options),
     .line = "the nozzle's height from squares of one layer",
     .help = "Print squares of one layer in the middle and near the corners, peel them off when the bed is cool, and "
             "measure their thickness." STATUS,
     .examples = gap_examples,
     .n_examples = 1,
     .run = gap},
    {.name = NULL}};
