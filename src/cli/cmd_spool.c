/* proveout spool ...: what is on the shelf, what is left on it, what was thrown away. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "listing.h"
#include "verbs.h"

#define WARM                                                                                                           \
    "Careful: a dryer is hot inside and runs on mains, and warm plastic gives off fumes. Go by the maker's "           \
    "instructions and local codes, let air change, do not cover it, and let what comes out cool before it is touched."

/* ---- how they stand ---- */

/* Words that are made of several fields: where it is, whether it runs low, density, the last drying. */
static void add_words(const desk *d, json_t *spool)
{
    const char *machine = json_string_value(json_object_get(spool, "machine")),
               *state = json_string_value(json_object_get(spool, "state"));
    const json_t *c = json_object_get(spool, "dry_c"), *minutes = json_object_get(spool, "dry_minutes");
    long long tool = json_integer_value(json_object_get(spool, "tool")),
              density = json_integer_value(json_object_get(spool, "density_mg_cm3"));
    const char *where = machine && tool > 0 ? po_arena_printf(d->arena, "%s, tool %lld", machine, tool)
                        : machine           ? machine
                        : state && !strcmp(state, "drying")
                            ? po_arena_printf(d->arena, "dryer until %s",
                                              desk_words(d, json_object_get(spool, "dry_until_ms"), DESK_TIME))
                            : "";
    json_object_set_new(spool, "where", json_string(where ? where : ""));
    json_object_set_new(spool, "runs_low", json_string(json_is_true(json_object_get(spool, "low")) ? "low" : ""));
    json_object_set_new(spool, "density", json_sprintf("%lld.%02lld g/cm3", density / 1000, (density % 1000 + 5) / 10));
    if (json_is_integer(c)) {
        json_object_set_new(
            spool, "dryer",
            json_sprintf("%lld degrees C, %s", (long long)json_integer_value(c), desk_words(d, minutes, DESK_MINUTES)));
    }
}

static json_int_t low_mg(const desk *d)
{
    return (json_int_t)llround(d->shop->rules.spool_low_g * 1000);
}

static int run_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Spool", "spool", DESK_TEXT, 16, false},      {"Material", "material", DESK_TEXT, 12, false},
        {"Colour", "colour", DESK_TEXT, 12, false},    {"State", "state", DESK_TEXT, 0, false},
        {"Left", "left_mg", DESK_G, 0, true},          {"that is", "left_um", DESK_M, 0, true},
        {"", "runs_low", DESK_TEXT, 0, false},         {"Drift", "drift_mg", DESK_G, 0, true},
        {"Weighed", "weighed_ms", DESK_DAY, 0, false}, {"Where", "where", DESK_TEXT, 24, false},
    };
    static const listing what = {.list = "spools",
                                 LISTING_COLUMNS(columns),
                                 .none = "The book has no such spool; proveout spool add puts one there.",
                                 .next = "after",
                                 .next_key = "spool"};
    desk d;
    json_t *p = NULL, *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &p) : status;
    if (status == EXIT_CLEAR) {
        json_object_set_new(p, "below_mg", json_integer(low_mg(&d)));
        status = desk_ask(&d, "spools", p, &answer);
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        json_t *list = json_object_get(answer, "spools");
        for (size_t i = 0; i < json_array_size(list); i++) {
            add_words(&d, json_array_get(list, i));
        }
        listing_print(&d, answer, &what);
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

static void print_spool(const desk *d, json_t *spool, const json_t *weighings)
{
    static const desk_column lines[] = {
        {"Spool", "spool", DESK_TEXT, 0, false},           {"Material", "material", DESK_TEXT, 0, false},
        {"Colour", "colour", DESK_TEXT, 0, false},         {"Lot", "lot", DESK_TEXT, 0, false},
        {"State", "state", DESK_TEXT, 0, false},           {"Where", "where", DESK_TEXT, 0, false},
        {"Left by the book", "left_mg", DESK_G, 0, false}, {"that is", "left_um", DESK_M, 0, false},
        {"Running", "runs_low", DESK_TEXT, 0, false},      {"Last drift", "drift_mg", DESK_G, 0, false},
        {"Empty spool", "tare_mg", DESK_G, 0, false},      {"Diameter", "diameter_um", DESK_MM, 0, false},
        {"Density", "density", DESK_TEXT, 0, false},       {"Price per kg", "price_minor_kg", DESK_MONEY, 0, false},
        {"Added", "added_ms", DESK_DAY, 0, false},         {"Opened", "opened_ms", DESK_DAY, 0, false},
        {"Last dried", "dried_ms", DESK_TIME, 0, false},   {"Dryer", "dryer", DESK_TEXT, 0, false},
    };
    static const desk_column columns[] = {
        {"Weighed", "at_ms", DESK_TIME, 0, false},
        {"On the scale", "gross_mg", DESK_G, 0, true},
        {"less the spool", "tare_mg", DESK_G, 0, true},
        {"is left", "scale_mg", DESK_G, 0, true},
        {"by the book", "book_mg", DESK_G, 0, true},
        {"Drift", "drift_mg", DESK_G, 0, true},
        {"By", "by", DESK_TEXT, 0, false},
    };
    static const listing what = {
        .list = "weighings", LISTING_COLUMNS(columns), .none = "It was never weighed: proveout spool weigh books it."};
    add_words(d, spool);
    desk_card(d, spool, lines, sizeof lines / sizeof lines[0]);
    if (json_is_null(json_object_get(spool, "left_mg"))) {
        printf("What is left on it is not known.\n");
    }
    printf("\n");
    listing_print(d, weighings, &what);
    if (json_array_size(json_object_get(weighings, "weighings")) > 0) {
        cli_wrap(stdout, 0,
                 "Drift: by how much the scale said more (-: less) than the book; from then on the scale's figure "
                 "holds.");
    }
}

static int run_show(const cli_call *call)
{
    desk d;
    json_t *p = NULL, *spools = NULL, *weighings = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &p) : status;
    json_t *more = json_copy(p);
    if (status == EXIT_CLEAR) {
        json_object_del(p, "limit");
        json_object_set_new(p, "below_mg", json_integer(low_mg(&d)));
        status = desk_ask(&d, "spools", p, &spools);
    }
    status = status == EXIT_CLEAR ? desk_ask(&d, "weighings", json_incref(more), &weighings) : status;
    json_t *spool = json_array_get(json_object_get(spools, "spools"), 0);
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_pack("{s:s, s:O, s:O, s:O}", "format", "proveout/spool/1", "spool", spool,
                                           "weighings", json_object_get(weighings, "weighings"), "more",
                                           json_object_get(weighings, "more")));
    } else if (status == EXIT_CLEAR) {
        print_spool(&d, spool, weighings);
    }
    json_decref(more);
    json_decref(spools);
    json_decref(weighings);
    desk_close(&d);
    return status;
}

/* ---- added and dried: what the shop file knows of the material ---- */

static int run_add(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    const char *name = json_string_value(json_object_get(body, "material"));
    const po_material *m = name ? po_shop_material(d.shop, name) : NULL;
    if (status == EXIT_CLEAR && !m) {
        status = cli_fail(EXIT_USAGE, "--material NAME is missing: diameter and density come from the shop's material");
    }
    if (status == EXIT_CLEAR) {
        if (!json_object_get(body, "diameter_um")) {
            json_object_set_new(body, "diameter_um", json_integer(llround(m->diameter_mm * 1000)));
        }
        if (!json_object_get(body, "density_mg_cm3")) {
            json_object_set_new(body, "density_mg_cm3", json_integer(llround(m->density_g_cm3 * 1000)));
        }
        status = desk_book_and_tell(&d, body);
        body = NULL;
    }
    json_decref(body);
    desk_close(&d);
    return status;
}

/* The material's own spools may bear more or less; the shop file says what softens it. NULL: nothing to say. */
static const char *softens(const desk *d, const char *material, json_int_t c)
{
    const po_material *m = material ? po_shop_material(d->shop, material) : NULL;
    return m && (double)c >= m->glass_c
               ? po_arena_printf(
                     d->arena,
                     "%lld degrees C is not below the %.0f at which %s softens by the shop file: the "
                     "filament may stick together and the spool lose its shape, unless its maker allows it.",
                     (long long)c, m->glass_c, m->name)
               : NULL;
}

static int run_dry(const cli_call *call)
{
    desk d;
    json_t *body = NULL, *spools = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    json_int_t c = json_integer_value(json_object_get(body, "c"));
    if (status == EXIT_CLEAR) {
        status = desk_ask(&d, "spools", json_pack("{s:O}", "spool", json_object_get(body, "spool")), &spools);
    }
    const json_t *spool = json_array_get(json_object_get(spools, "spools"), 0);
    const char *warning = softens(&d, json_string_value(json_object_get(spool, "material")), c);
    if (status == EXIT_CLEAR) {
        status = desk_book_and_tell(&d, body);
        body = NULL;
    }
    if (status == EXIT_CLEAR && warning) {
        fflush(stdout);
        fprintf(stderr, "proveout: %s\n", warning);
    }
    if (status == EXIT_CLEAR && !d.json) {
        cli_wrap(stdout, 0, WARM);
    }
    json_decref(body);
    json_decref(spools);
    desk_close(&d);
    return status;
}

/* ---- waste ---- */

static int ask_waste(desk *d, json_t *p)
{
    static const desk_column columns[] = {
        {"Material", "material", DESK_TEXT, 0, false},
        {"Kind", "kind", DESK_TEXT, 0, false},
        {"Times", "times", DESK_COUNT, 0, true},
        {"Weight", "mg", DESK_G, 0, true},
    };
    json_t *answer = NULL;
    int status = desk_ask(d, "waste", p, &answer);
    if (status == EXIT_CLEAR && d->json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        const json_t *list = json_object_get(answer, "waste");
        desk_table(d, list, columns, sizeof columns / sizeof columns[0], "No waste was weighed in that time.");
        const char *material;
        json_t *mg;
        json_object_foreach(json_object_get(answer, "materials_mg"), material, mg)
        {
            printf("All of %s: %s\n", material, desk_words(d, mg, DESK_G));
        }
    }
    json_decref(answer);
    return status;
}

static int run_waste(const cli_call *call)
{
    bool books = call->n_args == 2, asks = call->n_args == 0;
    if ((!books && !asks) || (books && !cli_value(call, "kind"))) {
        return cli_fail(EXIT_USAGE, "to book waste say MATERIAL, GRAMS and --kind; with neither, sums are shown");
    }
    if (asks && (cli_value(call, "kind") || cli_value(call, "note"))) {
        return cli_fail(EXIT_USAGE, "--kind and --note belong to waste that is booked: say MATERIAL and GRAMS too");
    }
    if (books && (cli_value(call, "from") || cli_value(call, "until"))) {
        return cli_fail(EXIT_USAGE, "--from and --until belong to sums: leave MATERIAL and GRAMS out");
    }
    desk d;
    json_t *body = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR) {
        status = books ? desk_book_and_tell(&d, body) : ask_waste(&d, body);
    }
    desk_close(&d);
    return status;
}

/* ---- the verbs ---- */

#define OPTIONS(name, ...) static const cli_option options_##name[] = {DESK_OPTIONS, __VA_ARGS__}
static const cli_option options_plain[] = {DESK_OPTIONS};
OPTIONS(
    list,
    {.name = "material", .value = "NAME", .says = "only of this material", .field = "material", .unit = DESK_MATERIAL},
    {.name = "state", .value = "STATE", .says = "only sealed, open, drying or empty ones", .field = "state"},
    {.name = "low", .says = "only those that run out (the shop's spool_low_g)", .field = "low", .unit = DESK_FLAG},
    {.name = "after", .value = "SPOOL", .says = "go on behind this one", .field = "after", .unit = DESK_ID},
    {.name = "limit", .value = "N", .says = "at most so many; else 100", .field = "limit", .unit = DESK_COUNT});
OPTIONS(show, {.name = "limit",
               .value = "N",
               .says = "at most so many weighings; else 100",
               .field = "limit",
               .unit = DESK_COUNT});
OPTIONS(
    add,
    {.name = "material",
     .value = "NAME",
     .says = "of the shop's materials",
     .field = "material",
     .unit = DESK_MATERIAL},
    {.name = "colour", .value = "TEXT", .says = "its colour", .field = "colour"},
    {.name = "lot", .value = "TEXT", .says = "the maker's lot, from the label", .field = "lot"},
    {.name = "tare", .value = "G", .says = "what the empty spool weighs, in grams", .field = "tare_mg", .unit = DESK_G},
    {.name = "gross",
     .value = "G",
     .says = "what spool and filament weigh, in grams",
     .field = "gross_mg",
     .unit = DESK_G},
    {.name = "net",
     .value = "G",
     .says = "what filament it holds by its maker, in grams; with --gross and --tare the scale's figure holds, and the "
             "difference is shown",
     .field = "net_mg",
     .unit = DESK_G},
    {.name = "price", .value = "MONEY", .says = "price of a kilogram", .field = "price_minor_kg", .unit = DESK_MONEY},
    {.name = "diameter",
     .value = "MM",
     .says = "of the filament, where it is not the shop's for the material",
     .field = "diameter_um",
     .unit = DESK_MM},
    {.name = "density",
     .value = "G",
     .says = "in g/cm3, where it is not the shop's for the material",
     .field = "density_mg_cm3",
     .unit = DESK_G});
OPTIONS(weigh, {.name = "tare",
                .value = "G",
                .says = "what the empty spool weighs, in grams; kept for the next time",
                .field = "tare_mg",
                .unit = DESK_G});
OPTIONS(dried, {.name = "time",
                .value = "SPAN",
                .says = "how long it really was warm, such as 4:30 or 45m; else since it went in",
                .field = "minutes",
                .unit = DESK_MINUTES});
OPTIONS(empty,
        {.name = "left",
         .value = "G",
         .says = "what was still on it and is thrown away, in grams: booked as waste",
         .field = "left_mg",
         .unit = DESK_G},
        {.name = "note", .value = "TEXT", .says = "goes with the waste", .field = "note"});
OPTIONS(waste,
        {.name = "kind",
         .value = "KIND",
         .says = "failed, aids (what held a part up), purge, spool-end or mixed",
         .field = "kind"},
        {.name = "note", .value = "TEXT", .says = "what should be known of it", .field = "note"},
        {.name = "from", .value = "TIME", .says = "sums from then on", .field = "from", .unit = DESK_TIME},
        {.name = "until", .value = "TIME", .says = "and until then", .field = "until", .unit = DESK_UNTIL});

#define EXAMPLES(name, ...) static const cli_example examples_##name[] = {__VA_ARGS__}
EXAMPLES(list, {"proveout spool list", "all that are not used up"},
         {"proveout spool list --material petg --low", "what has to be ordered of one material"});
EXAMPLES(show, {"proveout spool show S12", "one spool with its weighings"});
EXAMPLES(add, {"proveout spool add S12 --material petg --colour blue --tare 230 --gross 1228 --net 1000",
               "a new spool, weighed; its label says 1000 g"});
EXAMPLES(open, {"proveout spool open S12", "its bag is open from now on"});
EXAMPLES(weigh, {"proveout spool weigh S12 742", "spool and filament are 742 g on the scale"},
         {"proveout spool weigh S12 742 --tare 230", "the first time, where the book does not know the empty spool"});
EXAMPLES(dry, {"proveout spool dry S12 60 5h", "it goes into the dryer at 60 degrees C for 5 hours"});
EXAMPLES(dried, {"proveout spool dried S12", "it is out again"});
EXAMPLES(empty, {"proveout spool empty S12 --left 14", "used up; its last 14 g are thrown away"});
EXAMPLES(waste, {"proveout spool waste petg 412 --kind failed --note \"for recycling\"", "412 g of failed parts"},
         {"proveout spool waste --from 2026-10-01", "sums since the first of October"});

#define LIST(name) .options = options_##name, .n_options = sizeof options_##name / sizeof options_##name[0]
#define SHOWN(name) .examples = examples_##name, .n_examples = sizeof examples_##name / sizeof examples_##name[0]
#define ONE .least = 1, .most = 1

const cli_verb cli_spool_verbs[] = {
    {
        .name = "spool list",
        .operands = "",
        LIST(list),
        SHOWN(list),
        .line = "what is left, and where the spools are",
        .help = "Each spool that is not used up: what is left by the book, in grams and metres, the drift at its last "
                "weighing, and the machine that it is on. \"low\": less than the shop's spool_low_g is left. An empty "
                "field: not known.",
        .run = run_list,
    },
    {
        .name = "spool show",
        .operands = "SPOOL",
        ONE,
        LIST(show),
        SHOWN(show),
        .line = "one spool with its weighings and the drift",
        .help =
            "All that the book knows of a spool, and every weighing: what the scale said, what the book said, and "
            "the difference. The drift is a fact, no judgement; a spool that drifts far may be another one than its "
            "label says, have a wrong tare, or have been used without the book.",
        .run = run_show,
        .fills = {{"spool", DESK_ID}},
    },
    {
        .name = "spool add",
        .operands = "SPOOL",
        ONE,
        LIST(add),
        SHOWN(add),
        .line = "a new spool",
        .help = "Give it a short name and write that on it. With --gross and --tare what it holds is their difference; "
                "with --net what its maker says; else nobody knows until it is weighed. Diameter and density are those "
                "of the shop's material unless they are given.",
        .run = run_add,
        .act = "spool-add",
        .fills = {{"spool", DESK_ID}},
        .done = "Spool {spool} of {material} is in the book[ and holds {left_mg:g}].",
    },
    {
        .name = "spool open",
        .operands = "SPOOL",
        ONE,
        LIST(plain),
        SHOWN(open),
        .line = "its bag was opened",
        .help = "From now on it takes up water from the air. Loading it on a machine books that too.",
        .run = desk_run_act,
        .act = "spool-open",
        .fills = {{"spool", DESK_ID}},
        .done = "Spool {spool} is open.",
    },
    {
        .name = "spool weigh",
        .operands = "SPOOL GRAMS",
        .least = 2,
        .most = 2,
        LIST(weigh),
        SHOWN(weigh),
        .line = "on the scale: what is left, and the drift",
        .help = "GRAMS is what spool and filament weigh together. Less the empty spool, that is what is left from now "
                "on, whatever the book said; the difference is kept as the drift. A spool that was booked as used up "
                "and is not comes "
                "back by it.",
        .run = desk_run_act,
        .act = "spool-weigh",
        .fills = {{"spool", DESK_ID}, {"gross_mg", DESK_G}},
        .done = "Spool {spool} holds {left_mg:g}[. The book said {book_mg:g}: drift {drift_mg:g}].",
    },
    {
        .name = "spool dry",
        .operands = "SPOOL DEGREES TIME",
        .least = 3,
        .most = 3,
        LIST(plain),
        SHOWN(dry),
        .line = "into the dryer",
        .help = "DEGREES Celsius and a TIME such as 5h or 4:30. Stay below what softens the material (its glass "
                "transition, glass_c in the shop file) unless its maker allows more; you are told where it is not. A "
                "spool that is loaded is unloaded first. " WARM,
        .run = run_dry,
        .act = "spool-dry",
        .fills = {{"spool", DESK_ID}, {"c", DESK_COUNT}, {"minutes", DESK_MINUTES}},
        .done = "Spool {spool} is in the dryer at {c} degrees C until {dry_until_ms:time}.",
    },
    {
        .name = "spool dried",
        .operands = "SPOOL",
        ONE,
        LIST(dried),
        SHOWN(dried),
        .line = "out of the dryer",
        .help = "It is out of the dryer and can be loaded. Let it cool first.",
        .run = desk_run_act,
        .act = "spool-dried",
        .fills = {{"spool", DESK_ID}},
        .done = "Spool {spool} is out of the dryer after {minutes:minutes}.",
    },
    {
        .name = "spool empty",
        .operands = "SPOOL",
        ONE,
        LIST(empty),
        SHOWN(empty),
        .line = "used up; what was left is waste",
        .help = "It leaves the machine that it is on. With --left what was still on it goes to the waste.",
        .run = desk_run_act,
        .act = "spool-empty",
        .fills = {{"spool", DESK_ID}},
        .done = "Spool {spool} is used up[ and off {machine}][; its last {left_mg:g} are waste].[ By the book "
                "{book_mg:g} were left.]",
    },
    {
        .name = "spool waste",
        .operands = "[MATERIAL GRAMS]",
        .least = 0,
        .most = 2,
        LIST(waste),
        SHOWN(waste),
        .line = "waste by material: weighed, or its sums",
        .help =
            "With MATERIAL and GRAMS: waste was weighed before it goes to recycling. Without: what was thrown away, "
            "by material and kind, parts that nobody collected and the ends of spools with it.",
        .run = run_waste,
        .act = "waste-weigh",
        .fills = {{"material", DESK_MATERIAL}, {"mg", DESK_G}},
        .done = "{mg:g} of {material} are waste ({kind}).",
    },
    {.name = NULL},
};
