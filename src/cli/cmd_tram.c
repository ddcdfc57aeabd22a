/* proveout tram FILE: from a bed's readings to turns of its screws. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/tram.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "care.h"
#include "proveout/tram_picture.h"
#include "verbs.h"

enum { BYTES_MOST = 4 << 20, READINGS_KEPT = 400 };

typedef struct tram_call {
    const cli_call *call;
    po_arena *arena;
    const po_shop *shop;
    const po_machine *machine;
    po_tram_kind kind;
    po_tram_screw screws[PO_TRAM_SCREWS_MOST];
    po_tram_setup setup;
    const po_tram_reading *readings;
    const po_tram *tram, *before;
} tram_call;

static int number(const cli_call *call, const char *name, double low, double high, double *ret)
{
    const char *text = cli_value(call, name);
    return !text || cli_number(text, low, high, ret)
               ? EXIT_CLEAR
               : cli_fail(EXIT_USAGE, "--%s %s: expected a number from %g to %g", name, text, low, high);
}

/* "30,30,M3;190,30,0.5": places in mm and thread or pitch. */
static int choose_screws(tram_call *c)
{
    const char *text = cli_value(c->call, "screws");
    char *words = text ? po_arena_printf(c->arena, "%s", text) : NULL, *rest = NULL;
    if (!words) {
        return cli_fail(EXIT_USAGE, "--screws is needed: where the bed's screws are and their thread, such as "
                                    "\"30,30,M3;190,30,M3;190,190,M3;30,190,M3\"");
    }
    for (char *one = strtok_r(words, ";", &rest); one; one = strtok_r(NULL, ";", &rest)) {
        const char *pieces[CLI_MOST_LIST];
        size_t n = 0, at = c->setup.n_screws;
        double v[3];
        if (at == PO_TRAM_SCREWS_MOST) {
            return cli_fail(EXIT_USAGE, "--screws: at most %d", PO_TRAM_SCREWS_MOST);
        }
        bool good = cli_split(one, c->arena, pieces, &n) && n == 3;
        for (size_t i = 0; i < 2 && good; i++) {
            const char *digits = pieces[i] + (pieces[i][0] == '-');
            good = cli_number(digits, 0, 5000, &v[i]);
            v[i] *= pieces[i][0] == '-' ? -1 : 1;
        }
        v[2] = good ? po_tram_pitch(pieces[2]) : 0;
        if (!good || (v[2] <= 0 && !cli_number(pieces[2], 0.1, 10, &v[2]))) {
            return cli_fail(EXIT_USAGE,
                            "--screws: screw %zu: expected x,y,thread such as 30,30,M3 (or its pitch in mm)", at + 1);
        }
        c->screws[c->setup.n_screws++] = (po_tram_screw){v[0], v[1], v[2],
                                                         cli_value(c->call, "clockwise-raises") != NULL};
    }
    c->setup.screws = c->screws;
    return EXIT_CLEAR;
}

static int choose(tram_call *c)
{
    static const char *const kinds[] = {"probe", "feeler", "paper"};
    const char *name = cli_value(c->call, "machine"), *by = cli_value(c->call, "with"),
               *keep = cli_value(c->call, "keep");
    c->setup = (po_tram_setup)PO_TRAM_SETUP_INIT;
    if (!name) {
        return cli_fail(EXIT_USAGE, "--machine is needed: whose bed it is");
    }
    int status = cli_shop_machine(c->shop, name, c->arena, &c->machine);
    status = status == EXIT_CLEAR ? choose_screws(c) : status;
    status = status == EXIT_CLEAR ? number(c->call, "gap", 0.03, 2, &c->setup.gap_mm) : status;
    status = status == EXIT_CLEAR ? number(c->call, "tolerance", 0.005, 1, &c->setup.tolerance_mm) : status;
    if (status != EXIT_CLEAR) {
        return status;
    }
    po_range x, y;
    po_machine_bed_extent(c->machine, &x, &y);
    c->setup.bed_x[0] = x.low;
    c->setup.bed_x[1] = x.high;
    c->setup.bed_y[0] = y.low;
    c->setup.bed_y[1] = y.high;
    c->setup.round_bed = c->machine->round_bed;
    double kept = 1;
    if (keep && strcmp(keep, "mean") != 0 && !cli_number(keep, 1, (double)c->setup.n_screws, &kept)) {
        return cli_fail(EXIT_USAGE, "--keep %s: expected a screw from 1 to %zu, or mean", keep, c->setup.n_screws);
    }
    c->setup.keep = keep && !strcmp(keep, "mean") ? -1 : (int)kept - 1;
    int k = 0;
    while (by && k < 3 && strcmp(by, kinds[k]) != 0) {
        k++;
    }
    c->kind = (po_tram_kind)k;
    return k < 3 ? EXIT_CLEAR : cli_fail(EXIT_USAGE, "--with %s: expected probe, feeler or paper", by);
}

static int read_round(tram_call *c, const char *path, const po_tram_reading **ret_readings, const po_tram **ret)
{
    size_t n_bytes = 0, n = 0;
    char *bytes = cli_read_whole(path, BYTES_MOST, &n_bytes), line[512];
    po_err err;
    if (!bytes) {
        return EXIT_USAGE;
    }
    po_status s = po_tram_read(bytes, n_bytes, path, c->kind, c->arena, ret_readings, &n, &err);
    free(bytes);
    s = s == PO_OK ? po_tram_make(*ret_readings, n, &c->setup, c->arena, ret, &err) : s;
    return s == PO_OK ? EXIT_CLEAR
                      : cli_fail(s == PO_E_NOMEM ? EXIT_OWN : EXIT_USAGE, "%s", po_err_text(&err, line, sizeof line));
}

static const char *const verdicts[] = {"Level as it is: nothing to turn.", "Turn the screws as below, then read again.",
                                       "Turn the screws as below; what is then left no screw takes out: let the "
                                       "machine's own compensation have it, if it has one.",
                                       "More is left than screws take out: look beneath the plate for dirt, at the "
                                       "plate for a bend, at the rails; then read again."};
static const char *const verdict_names[] = {"level", "turn", "warped", "bent"};
static const char *const next_words[] = {"as meant", "not turned", "turned the wrong way", "turned too far",
                                         "not turned far enough"};

static void print_turn(const tram_call *c, size_t i, const po_tram_next *next)
{
    const po_tram_turn *t = &c->tram->turns[i];
    char error[32] = "", then[64] = "", beyond[80] = "";
    if (!isnan(t->error_mm)) {
        snprintf(error, sizeof error, " +- %.3f", t->error_mm);
    }
    if (next && (int)i != c->setup.keep) {
        snprintf(then, sizeof then, "; since the round before: %s", next_words[next[i]]);
    }
    if (t->outside_mm > 1) {
        snprintf(beyond, sizeof beyond, "; %.0f mm outside the readings, by the plane", t->outside_mm);
    }
    printf("  screw %zu at %g, %g: ", i + 1, c->setup.screws[i].x_mm, c->setup.screws[i].y_mm);
    if ((int)i == c->setup.keep) {
        printf("keep%s\n", beyond);
    } else if (t->within) {
        printf("leave (%+.3f%s mm)%s%s\n", t->move_mm, error, beyond, then);
    } else {
        printf("%s by %.2f turn (%.0f minutes of a clock face): bed %s %.3f%s mm%s%s\n",
               t->clockwise ? "clockwise" : "counter-clockwise", t->turns, 60 * t->turns,
               t->move_mm > 0 ? "up" : "down", fabs(t->move_mm), error, beyond, then);
    }
}

static void print_text(const tram_call *c, const po_tram_next *next)
{
    const po_tram *t = c->tram;
    printf("%s: %zu readings, %.2f mm from top to bottom, tilt %.3f degrees.\n", c->machine->name, t->n, t->before_mm,
           t->tilt_deg);
    for (size_t i = 0; i < t->n_blunders; i++) {
        const po_tram_blunder *b = &t->blunders[i];
        const po_tram_reading *r = &c->readings[b->reading];
        char turns[64] = "";
        if (b->turns != 0) {
            snprintf(turns, sizeof turns, ", about %.0f turn%s of a screw or a dial", fabs(b->turns),
                     fabs(b->turns) == 1 ? "" : "s");
        }
        printf("The reading at %g, %g (line %u) is %.2f mm %s what the others say%s. It is left out here: read it "
               "again; if it stands, the bed "
               "is bent there.\n",
               r->x_mm, r->y_mm, r->line, fabs(b->off_mm), b->off_mm > 0 ? "above" : "below", turns);
    }
    cli_wrap(stdout, 0, verdicts[t->verdict]);
    for (size_t i = 0; i < c->setup.n_screws && t->verdict != PO_TRAM_LEVEL; i++) {
        print_turn(c, i, next);
    }
    if (t->verdict != PO_TRAM_LEVEL) {
        printf("Turns are as seen from the knob's side; %s.\n",
               c->screws[0].clockwise_raises ? "clockwise raises the bed"
                                             : "clockwise pulls the bed down (--clockwise-raises where it does not)");
    }
    printf("After that: %.2f mm from top to bottom, %.0f %% of the bed within %.2f mm of level; a first layer of %.2f "
           "mm has gaps from %.2f to %.2f mm.\n",
           t->after_mm, 100 * t->share_within, c->setup.tolerance_mm, c->setup.gap_mm, t->gap_low_mm, t->gap_high_mm);
    if (t->twist_mm > c->setup.tolerance_mm) {
        printf("Twist between the diagonals: %.2f mm. Spread it over all screws; never chase it with one.\n",
               t->twist_mm);
    }
    if (t->n < 5) {
        printf("Five readings or more would tell how sure this is.\n");
    }
    cli_wrap(stdout, 0,
             "Read with the bed at print heat for some minutes and the nozzle clean, and turn with heat and motors "
             "off: bed and nozzle burn, and a "
             "machine that moves crushes. Follow the maker's instructions; nothing was sent to the machine.");
}

static void print_json(const tram_call *c, const char *file, const po_tram_next *next)
{
    static const char *const names[] = {"as-meant", "not-turned", "wrong-way", "too-far", "short"};
    const po_tram *t = c->tram;
    cli_json j = {.out = stdout};
    cli_json_open(&j, NULL, '{');
    cli_json_text(&j, "format", "proveout/tram/1");
    cli_json_text(&j, "file", file);
    cli_json_text(&j, "machine", c->machine->name);
    cli_json_text(&j, "verdict", verdict_names[t->verdict]);
    cli_json_number(&j, "readings", (double)t->n);
    cli_json_number(&j, "slope_x", t->a);
    cli_json_number(&j, "slope_y", t->b);
    cli_json_number(&j, "height_mm", t->c);
    cli_json_number(&j, "tilt_deg", t->tilt_deg);
    cli_json_number(&j, "rms_mm", t->rms_mm);
    cli_json_number(&j, "scatter_mm", t->scatter_mm);
    cli_json_number(&j, "before_mm", t->before_mm);
    cli_json_number(&j, "after_mm", t->after_mm);
    cli_json_number(&j, "twist_mm", t->twist_mm);
    cli_json_number(&j, "share_within", t->share_within);
    cli_json_range(&j, "gap_mm", t->gap_low_mm, t->gap_high_mm);
    cli_json_open(&j, "screws", '[');
    for (size_t i = 0; i < c->setup.n_screws; i++) {
        const po_tram_turn *u = &t->turns[i];
        cli_json_open(&j, NULL, '{');
        cli_json_number(&j, "x_mm", c->setup.screws[i].x_mm);
        cli_json_number(&j, "y_mm", c->setup.screws[i].y_mm);
        cli_json_bool(&j, "keep", (int)i == c->setup.keep);
        cli_json_number(&j, "move_mm", u->move_mm);
        cli_json_number(&j, "error_mm", u->error_mm);
        cli_json_number(&j, "turns", u->turns);
        cli_json_text(&j, "way", u->clockwise ? "clockwise" : "counter-clockwise");
        cli_json_bool(&j, "leave", u->within);
        cli_json_number(&j, "outside_mm", u->outside_mm);
        cli_json_text(&j, "since_before", next ? names[next[i]] : NULL);
        cli_json_close(&j, '}');
    }
    cli_json_close(&j, ']');
    cli_json_open(&j, "blunders", '[');
    for (size_t i = 0; i < t->n_blunders; i++) {
        const po_tram_reading *r = &c->readings[t->blunders[i].reading];
        cli_json_open(&j, NULL, '{');
        cli_json_number(&j, "x_mm", r->x_mm);
        cli_json_number(&j, "y_mm", r->y_mm);
        cli_json_number(&j, "line", r->line);
        cli_json_number(&j, "off_mm", t->blunders[i].off_mm);
        cli_json_number(&j, "turns", t->blunders[i].turns);
        cli_json_close(&j, '}');
    }
    cli_json_close(&j, ']');
    cli_json_close(&j, '}');
    fputc('\n', stdout);
}

static int draw_map(const tram_call *c, const char *out)
{
    po_picture_kind kind;
    po_document document;
    po_err err;
    if (cli_picture_kind(out, &kind) != EXIT_CLEAR) {
        return EXIT_USAGE;
    }
    const char *title = po_arena_printf(c->arena, "%s: tram", c->machine->name);
    return po_tram_picture(c->tram, c->readings, &c->setup, title ? title : "", kind, c->arena, &document, &err) ==
                   PO_OK
               ? cli_write_file(out, &document)
               : cli_fail_err(&err);
}

/* The round as it was read and what came of it, in um and thousandths of a degree. */
static int keep_round(const tram_call *c)
{
    const po_tram *t = c->tram;
    const care_figure figures[] = {{"before_um", 1e3 * t->before_mm}, {"after_um", 1e3 * t->after_mm},
                                   {"twist_um", 1e3 * t->twist_mm},   {"scatter_um", 1e3 * t->scatter_mm},
                                   {"tilt_mdeg", 1e3 * t->tilt_deg},  {"within_permille", 1e3 * t->share_within}};
    json_t *readings = json_array();
    for (size_t i = 0; i < t->n && i < READINGS_KEPT; i++) {
        const po_tram_reading *r = &c->readings[i];
        json_array_append_new(readings,
                              json_pack("[I, I, I]", (json_int_t)llround(1e3 * r->x_mm),
                                        (json_int_t)llround(1e3 * r->y_mm), (json_int_t)llround(1e3 * r->z_mm)));
    }
    return care_keep(c->call, "tram", figures, sizeof figures / sizeof figures[0], readings);
}

static int run(const cli_call *call)
{
    tram_call c = {.call = call, .arena = po_arena_new(0)};
    const po_tram_reading *earlier = NULL;
    const char *before = cli_value(call, "before"), *picture = cli_value(call, "picture");
    po_tram_next next[PO_TRAM_SCREWS_MOST];
    int status = c.arena ? cli_shop_read(cli_value(call, "shop"), c.arena, &c.shop)
                         : cli_fail(EXIT_OWN, "memory ran out");
    status = status == EXIT_CLEAR ? choose(&c) : status;
    status = status == EXIT_CLEAR && before ? read_round(&c, before, &earlier, &c.before) : status;
    status = status == EXIT_CLEAR ? read_round(&c, call->args[0], &c.readings, &c.tram) : status;
    status = status == EXIT_CLEAR ? cli_spare_input("picture", picture, call->args[0]) : status;
    if (status == EXIT_CLEAR) {
        if (c.before) {
            po_tram_compare(c.before, c.tram, &c.setup, next);
        }
        status = picture ? draw_map(&c, picture) : EXIT_CLEAR;
    }
    if (status == EXIT_CLEAR) {
        cli_value(call, "json") ? print_json(&c, call->args[0], c.before ? next : NULL)
                                : print_text(&c, c.before ? next : NULL);
        int kept = keep_round(&c);
        status = kept != EXIT_CLEAR                                            ? kept
                 : c.tram->verdict == PO_TRAM_LEVEL && c.tram->n_blunders == 0 ? EXIT_CLEAR
                                                                               : EXIT_ASK;
    }
    po_arena_free(c.arena);
    return cli_end(status);
}

static const cli_option options[] = {
    {.name = "shop", .value = "FILE", .says = "the shop file; else PROVEOUT_SHOP, else ./shop.yaml"},
    {.name = "machine", .value = "NAME", .says = "whose bed it is"},
    {.name = "screws",
     .value = "X,Y,M3;...",
     .says = "where the bed's screws are, mm, each with its thread (M3, M4, ...) or its pitch in mm"},
    {.name = "keep",
     .value = "N",
     .says = "the screw that is not turned, from 1; mean: the bed's mean height stays; without it 1"},
    {.name = "clockwise-raises",
     .value = NULL,
     .says = "clockwise, seen from the knob's side, raises the bed; usual is that it pulls it down"},
    {.name = "with",
     .value = "HOW",
     .says =
         "probe (heights; without it), feeler (gaps under the nozzle) or paper (free, loose, light, firm, blocked)"},
    {.name = "tolerance", .value = "MM", .says = "so far from level counts as level; without it 0.05"},
    {.name = "gap", .value = "MM", .says = "the first layer's height; without it 0.2"},
    {.name = "before", .value = "FILE", .says = "the round before the turns: was each screw turned as meant?"},
    {.name = "picture",
     .value = "OUT",
     .says = "the bed from above with what is left, the readings and the turns; .svg, .png or .pdf"},
    {.name = "json", .value = NULL, .says = "one JSON object on standard output (proveout/tram/1)"},
    CARE_KEEP_OPTIONS,
};

static const cli_example examples[] = {
    {"proveout tram --machine Alder --screws \"30,30,M3;190,30,M3;110,190,M4\" bed.txt",
     "turns from readings such as \"30 30 0.10\", one a line"},
    {"proveout tram --machine Elm --screws \"0,99,M3;85,0,M3;9,9,M3\" --before bed.txt again.txt",
     "the next round checks the last; --picture OUT.svg draws a map for the wall"},
};

const cli_verb cli_tram_verb[] = {{
                                      .name = "tram",
                                      .operands = "FILE",
                                      .least = 1,
                                      .most = 1,
                                      .options = options,
                                      .n_options = sizeof options / sizeof options[0],
                                      .line = "level a bed: turns of its screws from a few readings",
                                      .help = "Reads heights of a bed, one place a line: x y and what was read, in mm "
                                              "(or 120um), at five places or more, screws or not. "
                                              "Finds the plane that fits them best, says by how much to turn each "
                                              "screw and how sure that is, what no screw takes out, and "
                                              "what gaps a first layer then has. A reading that the others speak "
                                              "against is named and left out. \"-\" reads standard input.\n\n"
                                              "Nothing is sent to a machine. Read hot and turn with heat and motors "
                                              "off, by the maker's instructions. docs/tram-and-tune.md says how "
                                              "it is reckoned.\n\n"
                                              "Exit status: 0 level; 1 something is to be done; 4 wrong usage, or "
                                              "readings that say nothing; 5 the program's own failure.",
                                      .examples = examples,
                                      .n_examples = sizeof examples / sizeof examples[0],
                                      .run = run,
                                  },
                                  {.name = NULL}};
