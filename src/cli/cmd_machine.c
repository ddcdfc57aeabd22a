/* proveout machine ...: how machines stand, what is fitted, tags, rests, gap checks, what happened. SPDX-License-Identifier: Apache-2.0
 *
 * The shop file says which machines there are and what they came with; the book says what was fitted since and how they stand.
 * Answers put the two together: a machine that no act ever named is free. */
#include <stdlib.h>
#include <string.h>

#include "desk.h"
#include "proveout/keepsakes.h"
#include "book.h"
#include "verbs.h"

enum { WINDOWS_MOST = 20 }; /* of the book's events, for one history: some tenths of a second */

#define CAREFUL                                                                                                        \
    "Careful: nozzle, block and bed may be hot enough to burn, and axes can start without warning. Let it cool as "    \
    "far as "                                                                                                          \
    "the work allows, stop the motors, keep hands, hair and sleeves out, wear what protects from heat, and go by the " \
    "maker's instructions and local codes; mains parts are for those licensed to open them."

static const json_t *row_of(const json_t *list, const char *machine)
{
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *row = json_array_get(list, i);
        const char *name = json_string_value(json_object_get(row, "machine"));
        if (name && !strcmp(name, machine)) {
            return row;
        }
    }
    return NULL;
}

/* Nozzles that the book does not know are those of the shop file. */
static void add_nozzles(json_t *row, const po_machine *machine)
{
    const json_t *known = json_object_get(row, "tools");
    json_t *tools = json_array();
    for (size_t t = 0; t < machine->n_nozzles || t < PO_MAX_TOOLS; t++) {
        json_t *tool = NULL;
        for (size_t i = 0; i < json_array_size(known); i++) {
            json_t *one = json_array_get(known, i);
            tool = json_integer_value(json_object_get(one, "tool")) == (json_int_t)t ? json_incref(one) : tool;
        }
        if (!tool && t < machine->n_nozzles) {
            tool = json_pack("{s:I, s:n, s:n, s:n, s:n, s:n}", "tool", (json_int_t)t, "nozzle_um", "spool", "material",
                             "colour", "left_mg");
        }
        bool by_book = json_is_integer(json_object_get(tool, "nozzle_um"));
        if (tool && !by_book && t < machine->n_nozzles) {
            json_object_set_new(tool, "nozzle_um",
                                json_integer((json_int_t)(machine->nozzles[t].diameter_mm * 1000 + 0.5)));
        }
        if (tool) {
            json_object_set_new(tool, "nozzle_from", json_string(by_book ? "book" : "shop"));
            json_array_append_new(tools, tool);
        }
    }
    json_object_set_new(row, "tools", tools);
}

/* The shop's machines in its order, then those that only the book knows; name NULL: all. */
static int ask_machines(desk *d, const char *name, bool retired, json_t **ret)
{
    json_t *answer = NULL, *list = json_array();
    int status = desk_ask(d, "machines", json_pack("{s:I}", "gap_days", (json_int_t)d->shop->rules.gap_check_days),
                          &answer);
    json_t *known = json_object_get(answer, "machines");
    cli_book book = {0};
    cli_book_of(&book, d);
    for (size_t i = 0; status == EXIT_CLEAR && i < json_array_size(known); i++) {
        status = cli_book_machine_ends(&book, json_array_get(known, i));
    }
    cli_book_close(&book);
    for (size_t m = 0; status == EXIT_CLEAR && m < d->shop->n_machines; m++) {
        const po_machine *machine = &d->shop->machines[m];
        const json_t *row = row_of(known, machine->name);
        json_t *mine = row ? json_deep_copy(row)
                           : json_pack("{s:s, s:s, s:[], s:b}", "machine", machine->name, "state", "free", "tools",
                                       "gap_good", 0);
        bool gone = row && !strcmp(json_string_value(json_object_get(row, "state")), "retired");
        if ((!name || !strcmp(name, machine->name)) && (!gone || retired || name)) {
            add_nozzles(mine, machine);
            json_object_set_new(mine, "in_shop", json_true());
            json_array_append(list, mine);
        }
        json_decref(mine);
    }
    for (size_t i = 0; status == EXIT_CLEAR && i < json_array_size(known); i++) {
        json_t *row = json_array_get(known, i);
        const char *machine = json_string_value(json_object_get(row, "machine"));
        bool gone = !strcmp(json_string_value(json_object_get(row, "state")), "retired");
        if (!row_of(list, machine) && !po_shop_machine(d->shop, machine) &&
            (name ? !strcmp(name, machine) : !gone || retired)) {
            json_object_set_new(row, "in_shop", json_false());
            json_array_append(list, row);
        }
    }
    if (status == EXIT_CLEAR) {
        json_object_set(answer, "machines", list);
        *ret = json_incref(answer);
    }
    json_decref(list);
    json_decref(answer);
    return status;
}

/* "s1 petg 812 g, s2 ..." and "0.4 mm, 0.6 mm", for the table. */
static void add_words(const desk *d, json_t *row)
{
    const char *loaded = "", *nozzles = "";
    const json_t *tools = json_object_get(row, "tools");
    for (size_t i = 0; i < json_array_size(tools); i++) {
        const json_t *tool = json_array_get(tools, i), *spool = json_object_get(tool, "spool");
        nozzles = po_arena_printf(d->arena, "%s%s%s", nozzles, *nozzles ? ", " : "",
                                  desk_words(d, json_object_get(tool, "nozzle_um"), DESK_MM));
        if (json_is_string(spool)) {
            loaded = po_arena_printf(d->arena, "%s%s%s %s%s%s", loaded, *loaded ? ", " : "",
                                     desk_words(d, spool, DESK_TEXT),
                                     desk_words(d, json_object_get(tool, "material"), DESK_TEXT),
                                     json_is_integer(json_object_get(tool, "left_mg")) ? " " : "",
                                     desk_words(d, json_object_get(tool, "left_mg"), DESK_G));
        }
    }
    json_object_set_new(row, "loaded", json_string(loaded ? loaded : ""));
    json_object_set_new(row, "nozzles", json_string(nozzles ? nozzles : ""));
    bool good = json_is_true(json_object_get(row, "gap_good")), ever = json_is_integer(json_object_get(row, "gap_ms"));
    json_object_set_new(row, "gap", json_string(good ? "good" : ever ? "check again" : "not checked"));
}

/* What the table has no room for: why a machine is out of use, and whose part is on its bed. */
static void tell_state(const desk *d, const json_t *row)
{
    if (json_is_string(json_object_get(row, "reason"))) {
        desk_tell(d, "{machine}, {state}[ since {since_ms:time}]: {reason}", row, NULL);
    }
    if (json_is_integer(json_object_get(row, "part_of"))) {
        desk_tell(d,
                  "{machine}: by the book the part of run {part_of} is still on its bed; once it is off: proveout run "
                  "off {part_of}",
                  row, NULL);
    }
}

static int run_list(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Machine", "machine", DESK_TEXT, 20, false}, {"State", "state", DESK_TEXT, 0, false},
        {"Member", "member", DESK_TEXT, 12, false},   {"Run", "run", DESK_COUNT, 0, true},
        {"Ends", "ends_ms", DESK_TIME, 0, false},     {"Loaded", "loaded", DESK_TEXT, 40, false},
        {"Nozzle", "nozzles", DESK_TEXT, 20, false},  {"Gap", "gap", DESK_TEXT, 0, false},
    };
    desk d;
    json_t *answer = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? ask_machines(&d, NULL, cli_value(call, "all") != NULL, &answer) : status;
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        json_t *list = json_object_get(answer, "machines");
        for (size_t i = 0; i < json_array_size(list); i++) {
            add_words(&d, json_array_get(list, i));
        }
        desk_table(&d, list, columns, sizeof columns / sizeof columns[0], "The shop file names no machine.");
        for (size_t i = 0; i < json_array_size(list); i++) {
            tell_state(&d, json_array_get(list, i));
        }
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

/* The name of a machine in the shop's spelling, or as the book has it; NULL with a message printed. */
static const char *machine_named(const desk *d, const char *text)
{
    const po_machine *machine = po_shop_machine(d->shop, text);
    return machine ? machine->name : text;
}

static int run_show(const cli_call *call)
{
    static const desk_column lines[] = {
        {"machine", "machine", DESK_TEXT, 0, false},      {"state", "state", DESK_TEXT, 0, false},
        {"since", "since_ms", DESK_TIME, 0, false},       {"why", "reason", DESK_TEXT, 0, false},
        {"photo", "photo", DESK_TEXT, 0, false},          {"run", "run", DESK_COUNT, 0, false},
        {"member", "member", DESK_TEXT, 0, false},        {"stick", "stick", DESK_TEXT, 0, false},
        {"the run is", "run_state", DESK_TEXT, 0, false}, {"out since", "out_ms", DESK_TIME, 0, false},
        {"started", "started_ms", DESK_TIME, 0, false},   {"ends about", "ends_ms", DESK_TIME, 0, false},
        {"ended", "ended_ms", DESK_TIME, 0, false},       {"surface", "surface", DESK_TEXT, 0, false},
        {"fitted", "fitted_ms", DESK_TIME, 0, false},     {"gap", "gap", DESK_TEXT, 0, false},
        {"gap checked", "gap_ms", DESK_TIME, 0, false},   {"by", "gap_by", DESK_TEXT, 0, false},
        {"gap measured", "gap_um", DESK_MM, 0, false},    {"part of run on its bed", "part_of", DESK_COUNT, 0, false},
    };
    static const desk_column tools[] = {
        {"Tool", "tool", DESK_COUNT, 0, true},         {"Nozzle", "nozzle_um", DESK_MM, 0, true},
        {"From", "nozzle_from", DESK_TEXT, 0, false},  {"Spool", "spool", DESK_TEXT, 0, false},
        {"Material", "material", DESK_TEXT, 0, false}, {"Colour", "colour", DESK_TEXT, 20, false},
        {"Left", "left_mg", DESK_G, 0, true},
    };
    desk d;
    json_t *answer = NULL;
    int status = desk_open(&d, call);
    const char *name = status == EXIT_CLEAR ? machine_named(&d, call->args[0]) : NULL;
    status = status == EXIT_CLEAR ? ask_machines(&d, name, true, &answer) : status;
    json_t *row = json_array_get(json_object_get(answer, "machines"), 0);
    if (status == EXIT_CLEAR && !row) {
        status = cli_fail(EXIT_USAGE,
                          "%s: neither the shop file nor the book knows such a machine; proveout machine list "
                          "shows them all",
                          name);
    } else if (status == EXIT_CLEAR && d.json) {
        json_object_set_new(row, "format", json_string("proveout/machine/1"));
        status = desk_print_json(json_incref(row));
    } else if (status == EXIT_CLEAR) {
        add_words(&d, row);
        desk_card(&d, row, lines, sizeof lines / sizeof lines[0]);
        desk_table(&d, json_object_get(row, "tools"), tools, sizeof tools / sizeof tools[0],
                   "Nothing is known to be fitted.");
    }
    json_decref(answer);
    desk_close(&d);
    return status;
}

/* What the shop file says against a fitting: a tool that isn't there, a material that the machine doesn't take. */
static int fits_shop(desk *d, const json_t *body)
{
    const char *name = json_string_value(json_object_get(body, "machine"));
    const char *spool = json_string_value(json_object_get(body, "spool"));
    const po_machine *machine = po_shop_machine(d->shop, name);
    json_int_t tool = json_integer_value(json_object_get(body, "tool"));
    if (tool >= (json_int_t)machine->n_nozzles) {
        return cli_fail(EXIT_USAGE, "--tool %lld: %s has %zu by the shop file, counted from 0", (long long)tool, name,
                        machine->n_nozzles);
    }
    json_t *answer = NULL;
    int status = spool ? desk_ask(d, "spools", json_pack("{s:s}", "spool", spool), &answer) : EXIT_CLEAR;
    const json_t *row = json_array_get(json_object_get(answer, "spools"), 0);
    const char *of = json_string_value(json_object_get(row, "material"));
    const po_material *material = of ? po_shop_material(d->shop, of) : NULL;
    if (status == EXIT_CLEAR && material && !po_machine_takes(d->shop, machine, material)) {
        status = cli_fail(EXIT_STOP, "spool %s is %s, which %s does not take by the shop file; load another one", spool,
                          material->name, name);
    }
    json_decref(answer);
    return status;
}

static int run_fit(const cli_call *call)
{
    desk d;
    json_t *body = NULL;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    status = status == EXIT_CLEAR ? fits_shop(&d, body) : status;
    bool gap_due = json_object_get(body, "nozzle_um") || json_object_get(body, "surface");
    const char *name = status == EXIT_CLEAR
                           ? po_arena_text(d.arena, json_string_value(json_object_get(body, "machine")))
                           : NULL;
    if (status == EXIT_CLEAR) {
        status = desk_book_and_tell(&d, body);
        body = NULL;
    }
    if (status == EXIT_CLEAR && !d.json) {
        if (gap_due && name) {
            printf("The gap of the first layer is due for a check: proveout machine gap %s books it.\n", name);
        }
        cli_wrap(stdout, 0, CAREFUL);
    }
    json_decref(body);
    desk_close(&d);
    return status;
}

/* The photo is kept beside the book as long as it is attached to the machine: beyond the tag's end. */
static int attach_photo(desk *d, const char *machine, const po_keepsake *kept, const char *path)
{
    json_t *answer = NULL, *name = json_string(strrchr(path, '/') ? strrchr(path, '/') + 1 : path);
    int status = desk_ask(d, "files", json_pack("{s:s, s:s}", "machine", machine, "sha256", kept->sha256), &answer);
    bool there = false;
    for (size_t i = 0; i < json_array_size(json_object_get(answer, "files")); i++) {
        const json_t *file = json_array_get(json_object_get(answer, "files"), i);
        there = there || !json_is_integer(json_object_get(file, "run")); /* else it is a run's */
    }
    if (status == EXIT_CLEAR && !there) {
        status = desk_act(d, "file-attach",
                          json_pack("{s:s, s:I, s:s, s:s, s:O*}", "sha256", kept->sha256, "bytes",
                                    (json_int_t)kept->bytes, "kind", "photo", "machine", machine, "name", name),
                          NULL, NULL);
    }
    json_decref(name);
    json_decref(answer);
    return status;
}

static int run_tag(const cli_call *call)
{
    const char *photo = cli_value(call, "photo"), *machine = NULL;
    desk d;
    json_t *body = NULL;
    po_keepsake kept = {0};
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? desk_body(&d, &body) : status;
    if (status == EXIT_CLEAR && photo) {
        const po_rules *rules = &d.shop->rules;
        po_keepsake_limits limits = {(int64_t)(rules->photo_most_mb * 1e6),
                                     (int64_t)(rules->attachments_most_gb * 1e9)};
        po_err err;
        po_status s = po_keepsake_put(d.ledger, photo, &limits, &kept, &err);
        status = s == PO_OK ? EXIT_CLEAR
                            : cli_fail(s == PO_E_NOMEM ? EXIT_OWN : EXIT_USAGE, "--photo %s: %s", photo, err.msg);
        json_object_set_new(body, "photo", json_string(kept.sha256));
    }
    if (status == EXIT_CLEAR) {
        machine = po_arena_text(d.arena, json_string_value(json_object_get(body, "machine")));
        status = desk_book_and_tell(&d, body);
        body = NULL;
    }
    status = status == EXIT_CLEAR && photo && machine ? attach_photo(&d, machine, &kept, photo) : status;
    json_decref(body);
    desk_close(&d);
    return status;
}

/* ---- history ---- */

/* What stands in the body of an event, in words, without what the table shows anyway. */
static const char *body_words(const desk *d, const json_t *event)
{
    static const struct {
        const char *key, *words;
        desk_unit unit;
    } known[] = {
        {"event", "event", DESK_COUNT},    {"run", "run", DESK_COUNT},
        {"member", "member", DESK_TEXT},   {"stick", "stick", DESK_TEXT},
        {"tool", "tool", DESK_COUNT},      {"nozzle_um", "nozzle", DESK_MM},
        {"spool", "spool", DESK_TEXT},     {"unload", "unloaded", DESK_FLAG},
        {"surface", "surface", DESK_TEXT}, {"um", "", DESK_TEXT},
        {"file", "file", DESK_TEXT},       {"used_um", "used", DESK_M},
        {"z_um", "at", DESK_MM},           {"percent", "percent", DESK_COUNT},
        {"symptom", "", DESK_TEXT},        {"outcome", "", DESK_TEXT},
        {"cause", "cause", DESK_TEXT},     {"first_layer", "first layer", DESK_TEXT},
        {"found", "found", DESK_TEXT},     {"condition", "", DESK_TEXT},
        {"files", "files", DESK_COUNT},    {"leave", "leave by", DESK_TEXT},
        {"to", "to", DESK_TEXT},           {"place", "place", DESK_COUNT},
        {"kind", "", DESK_TEXT},           {"name", "", DESK_TEXT},
        {"reason", "", DESK_TEXT},         {"note", "", DESK_TEXT},
    };
    const json_t *body = json_object_get(event, "body");
    const char *text = desk_words(d, json_object_get(event, "undone_act"), DESK_TEXT);
    bool gap = !strcmp(json_string_value(json_object_get(event, "act")), "machine-gap");
    for (size_t i = 0; text && i < sizeof known / sizeof known[0]; i++) {
        const json_t *value = json_object_get(body, known[i].key);
        const char *words = known[i].unit == DESK_FLAG   ? (json_is_true(value) ? known[i].words : "")
                            : strcmp(known[i].key, "um") ? desk_words(d, value, known[i].unit)
                                                         : desk_words(d, value, gap ? DESK_MM : DESK_M);
        bool named = *words && known[i].unit != DESK_FLAG && *known[i].words;
        if (*words) {
            text = po_arena_printf(d->arena, "%s%s%s%s%s", text, *text ? ", " : "", named ? known[i].words : "",
                                   named ? " " : "", words);
        }
    }
    return text ? text : "";
}

/* Goes back through the book, window by window, until there are enough or its beginning is reached. */
static int ask_history(desk *d, const char *machine, json_int_t limit, json_int_t before, json_t **ret)
{
    json_t *all = json_array(), *answer = NULL;
    int status = EXIT_CLEAR;
    for (int i = 0; status == EXIT_CLEAR && i < WINDOWS_MOST; i++) {
        json_decref(answer);
        answer = NULL;
        json_t *p = json_pack("{s:s, s:I}", "machine", machine, "limit", limit - (json_int_t)json_array_size(all));
        if (p && before > 0) {
            json_object_set_new(p, "before", json_integer(before));
        }
        status = desk_ask(d, "machine-history", p, &answer);
        json_array_extend(all, json_object_get(answer, "events"));
        before = json_integer_value(json_object_get(answer, "looked_back_to"));
        if (!json_is_true(json_object_get(answer, "more")) || (json_int_t)json_array_size(all) >= limit) {
            break;
        }
    }
    json_object_set(answer, "events", all);
    json_decref(all);
    *ret = answer;
    return status;
}

static int run_history(const cli_call *call)
{
    static const desk_column columns[] = {
        {"Event", "event", DESK_COUNT, 0, true},      {"When", "at_ms", DESK_TIME, 0, false},
        {"Act", "act", DESK_TEXT, 0, false},          {"By", "by", DESK_TEXT, 12, false},
        {"Undone", "undone_by", DESK_COUNT, 0, true}, {"What", "what", DESK_TEXT, 120, false},
    };
    desk d;
    json_t *answer = NULL, *limit = NULL, *before = NULL;
    int status = desk_open(&d, call);
    if (status == EXIT_CLEAR) {
        limit = desk_value(&d, "--limit", cli_value(call, "limit") ? cli_value(call, "limit") : "30", DESK_COUNT);
        before = desk_value(&d, "--before", cli_value(call, "before") ? cli_value(call, "before") : "0", DESK_COUNT);
        status = limit && before ? EXIT_CLEAR : EXIT_USAGE;
    }
    if (status == EXIT_CLEAR && (json_integer_value(limit) < 1 || json_integer_value(limit) > 1000)) {
        status = cli_fail(EXIT_USAGE, "--limit %lld: expected 1 to 1000 events", (long long)json_integer_value(limit));
    }
    status = status == EXIT_CLEAR ? ask_history(&d, machine_named(&d, call->args[0]), json_integer_value(limit),
                                                json_integer_value(before), &answer)
                                  : status;
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(json_incref(answer));
    } else if (status == EXIT_CLEAR) {
        json_t *events = json_object_get(answer, "events");
        for (size_t i = 0; i < json_array_size(events); i++) {
            json_t *event = json_array_get(events, i);
            json_object_set_new(event, "what", json_string(body_words(&d, event)));
        }
        desk_table(&d, events, columns, sizeof columns / sizeof columns[0], "The book has nothing of it there.");
        if (json_is_true(json_object_get(answer, "more"))) {
            desk_tell(&d,
                      "Looked back to event {looked_back_to} of {looked_back_to_ms:time}; --before {looked_back_to} "
                      "goes on from there.",
                      answer, answer);
        }
    }
    json_decref(limit);
    json_decref(before);
    json_decref(answer);
    desk_close(&d);
    return status;
}

/* ---- the verbs ---- */

#define OPTIONS(name, ...) static const cli_option options_##name[] = {DESK_OPTIONS, __VA_ARGS__}
#define REASON(words)                                                                                                  \
    {                                                                                                                  \
        .name = "reason", .value = "TEXT", .says = words, .field = "reason"                                            \
    }
static const cli_option options_plain[] = {DESK_OPTIONS};
OPTIONS(list, {.name = "all", .says = "those that have left the shop, too"});
OPTIONS(tag, REASON("what is wrong with it; anybody who would use it reads this"),
        {.name = "photo", .value = "FILE", .says = "a picture of it, kept beside the book"});
OPTIONS(rest, REASON("what is done to it"));
OPTIONS(clear, {.name = "note", .value = "TEXT", .says = "what was put right", .field = "note"});
OPTIONS(retire, REASON("why it leaves"));
OPTIONS(
    fit,
    {.name = "tool", .value = "N", .says = "which tool, counted from 0; else 0", .field = "tool", .unit = DESK_COUNT},
    {.name = "nozzle", .value = "MM", .says = "its new nozzle's width in mm", .field = "nozzle_um", .unit = DESK_MM},
    {.name = "spool", .value = "ID", .says = "the spool that feeds it from now on", .field = "spool", .unit = DESK_ID},
    {.name = "unload", .says = "no spool feeds it any more", .field = "unload", .unit = DESK_FLAG},
    {.name = "surface",
     .value = "NAME",
     .says = "the bed's new surface, such as glass",
     .field = "surface",
     .unit = DESK_ID});
OPTIONS(gap, {.name = "gap", .value = "MM", .says = "what was measured, in mm", .field = "um", .unit = DESK_MM});
OPTIONS(history, {.name = "limit", .value = "N", .says = "so many events; else 30, at most 1000"},
        {.name = "before", .value = "EVENT", .says = "go on before this event"});

#define EXAMPLES(name, ...) static const cli_example examples_##name[] = {__VA_ARGS__}
EXAMPLES(list, {"proveout machine list", "how all machines stand now"});
EXAMPLES(show, {"proveout machine show Birch", "one machine with its tools"});
EXAMPLES(tag, {"proveout machine tag Birch --reason \"the nozzle leaks\"", "nobody may use Birch until it is cleared"});
EXAMPLES(rest, {"proveout machine rest Cedar --reason \"rods oiled\"", "Cedar rests for care"});
EXAMPLES(clear, {"proveout machine clear Birch --note \"new nozzle, tested\"", "Birch is in use again"});
EXAMPLES(retire, {"proveout machine retire Elm --reason \"worn out\" --by keeper", "Elm leaves the shop"});
EXAMPLES(fit, {"proveout machine fit Alder --spool S12", "spool S12 feeds Alder, wherever it was before"},
         {"proveout machine fit Dogwood --tool 1 --nozzle 0.6", "a nozzle of 0.6 mm on the second tool"});
EXAMPLES(gap, {"proveout machine gap Alder --gap 0.1", "the gap was measured and is good"});
EXAMPLES(history, {"proveout machine history Birch --limit 10", "the last ten events of Birch"});

#define LIST(name) .options = options_##name, .n_options = sizeof options_##name / sizeof options_##name[0]
#define SHOWN(name) .examples = examples_##name, .n_examples = sizeof examples_##name / sizeof examples_##name[0]
#define NAMED .operands = "NAME", .least = 1, .most = 1
#define ACT_OF(name) .run = desk_run_act, .act = name, .fills = {{"machine", DESK_MACHINE}}

const cli_verb cli_machine_verbs[] = {
    {
        .name = "machine list",
        .operands = "",
        LIST(list),
        SHOWN(list),
        .line = "how all machines stand",
        .help =
            "Each machine of the shop: free, out with a member, waiting for its part to be taken off, tagged out, or "
            "resting; when it should end, what is loaded and fitted, whether the gap of the first layer was checked "
            "since something was fitted (and within the shop's days for it).",
        .run = run_list,
    },
    {
        .name = "machine show",
        NAMED,
        LIST(plain),
        SHOWN(show),
        .line = "one machine with its tools",
        .help =
            "All that is known of how a machine stands now, tool by tool. A nozzle is the one of the shop file until "
            "another one was fitted by the book.",
        .run = run_show,
    },
    {
        .name = "machine tag",
        NAMED,
        LIST(tag),
        SHOWN(tag),
        .line = "tag a machine out: nobody may use it",
        .help =
            "A machine that is not safe or not sound is tagged out, with the reason and since when; it is not handed "
            "out until proveout machine clear. One that is out stays out with its run. A tag in the book does not "
            "stop the machine: where somebody could be hurt, switch it off and unplug it, and hang a tag on the plug; "
            "local codes may ask for more.",
        .run = run_tag,
        .act = "machine-tag",
        .fills = {{"machine", DESK_MACHINE}},
        .done =
            "{machine} is tagged out: {reason}. It is not handed out until proveout machine clear {machine}.[ It is "
            "out with run {run}, which goes on until it is taken back.]",
    },
    {
        .name = "machine rest",
        NAMED,
        LIST(rest),
        SHOWN(rest),
        .line = "let a machine rest for care",
        .help = "A machine rests while it is cared for, and is not handed out until proveout machine clear. " CAREFUL,
        ACT_OF("machine-rest"),
        .done = "{machine} rests: {reason}. proveout machine clear {machine} puts it in use.",
    },
    {
        .name = "machine clear",
        NAMED,
        LIST(clear),
        SHOWN(clear),
        .line = "a machine is in use again",
        .help = "Takes off the tag, or ends the rest. Whoever does it answers for it that the fault is gone.",
        ACT_OF("machine-clear"),
        .done = "{machine} is in use again.[ {note}]",
    },
    {
        .name = "machine retire",
        NAMED,
        LIST(retire),
        SHOWN(retire),
        .line = "a machine leaves the shop",
        .help =
            "For a keeper. What it did stays in the book; its spools are free for other machines, and its sticks wait "
            "for proveout stick assign. One that is out is taken back first.",
        ACT_OF("machine-retire"),
        .done = "{machine} has left the shop: {reason}. Sticks that still belong to it: {sticks}.",
    },
    {
        .name = "machine fit",
        NAMED,
        LIST(fit),
        SHOWN(fit),
        .line = "a nozzle, a spool or a surface was changed",
        .help =
            "Books what is fitted and loaded now; proveout check takes it before what the shop file says. A spool "
            "leaves the machine where it was, and one that was sealed is open from then on. After a nozzle or a "
            "surface the gap of the first layer is due for a check. While a machine is out its spool may be changed, "
            "its nozzle and surface may not. " CAREFUL,
        .run = run_fit,
        .act = "machine-fit",
        .fills = {{"machine", DESK_MACHINE}},
        .done = "{machine}:[ nozzle {nozzle_um:mm};][ spool {spool} is loaded;][ it came from {came_from};][ spool "
                "{came_off} came off;][ surface {surface};] that is what is fitted now.",
    },
    {
        .name = "machine gap",
        NAMED,
        LIST(gap),
        SHOWN(gap),
        .line = "the gap of the first layer was checked",
        .help =
            "The gap between nozzle and bed was checked and is good; who and when stay with it, until a nozzle or a "
            "surface is changed. " CAREFUL,
        ACT_OF("machine-gap"),
        .done = "{machine}: the gap is good[, {um:mm}].",
    },
    {
        .name = "machine history",
        NAMED,
        LIST(history),
        SHOWN(history),
        .line = "what happened to a machine",
        .help =
            "Tags, rests, fittings, gap checks, rounds, sticks and runs of a machine, the latest first, and what was "
            "taken back of them. In a long book it says how far back it looked.",
        .run = run_history,
    },
    {.name = NULL},
};
