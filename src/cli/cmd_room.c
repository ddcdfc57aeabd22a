/* proveout room ...: its air, its circuits, its heat, its cards. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "proveout/cards.h"
#include "room.h"
#include "verbs.h"
#include "work/room.h"

static int real_option(const cli_call *call, const char *name, double low, double high, double *ret)
{
    const char *text = cli_value(call, name);
    return !text || cli_number(text, low, high, ret)
               ? EXIT_CLEAR
               : cli_fail(EXIT_USAGE, "--%s %s: expected a number from %g to %g", name, text, low, high);
}

/* The shop, and the book where there is one: air is asked about before there is any. */
static int open_room(desk *d, const cli_call *call, bool book)
{
    if (book) {
        return desk_open(d, call);
    }
    *d = (desk){.call = call, .json = cli_value(call, "json") != NULL, .arena = po_arena_new(0)};
    return d->arena ? cli_shop_read(cli_value(call, "shop"), d->arena, &d->shop) : cli_fail(EXIT_OWN, "memory ran out");
}

static void close_room(desk *d, bool book)
{
    if (book) {
        desk_close(d);
    } else {
        po_arena_free(d->arena);
    }
}

/* A refusal of the room's own is a matter of what was typed, or of the shop file. */
static int said_no(const desk *d, const char *what, po_status s, const po_err *err)
{
    return s == PO_E_RANGE || s == PO_E_NOTFOUND ? cli_fail(EXIT_USAGE, "%s", err->msg) : desk_refused(d, what, err);
}

static int run_air(const cli_call *call)
{
    desk d = {0};
    bool book = cli_value(call, "day") != NULL;
    work_room_asked asked = WORK_ROOM_ASKED_INIT;
    double more = 0;
    json_t *air = NULL;
    po_err err;
    int status = open_room(&d, call, book);
    status = status == EXIT_CLEAR ? real_option(call, "area", 1, 100000, &asked.area_m2) : status;
    status = status == EXIT_CLEAR ? real_option(call, "height", 1, 50, &asked.height_m) : status;
    status = status == EXIT_CLEAR ? real_option(call, "outdoor", 0, 1e6, &asked.outdoor_m3_h) : status;
    status = status == EXIT_CLEAR ? real_option(call, "cleaner", 0, 1e6, &asked.cleaner_m3_h) : status;
    status = status == EXIT_CLEAR ? real_option(call, "more", 0, 1000, &more) : status;
    asked.running = cli_value(call, "running");
    asked.more_machines = (int)more;
    asked.day = book;
    if (status == EXIT_CLEAR) {
        work_context w = desk_work(&d);
        po_status s = work_room_air(&w, &asked, &air, &err);
        status = s == PO_OK ? EXIT_CLEAR : said_no(&d, "room air", s, &err);
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(air);
        air = NULL;
    } else if (status == EXIT_CLEAR) {
        room_tell_air(&d, air);
    }
    json_decref(air);
    close_room(&d, book);
    return status;
}

/* ---- power ---- */

static int run_power(const cli_call *call)
{
    desk d = {0};
    json_t *power = NULL;
    po_err err;
    int status = open_room(&d, call, false);
    if (status == EXIT_CLEAR) {
        work_context w = desk_work(&d);
        po_status s = work_room_power(&w, &power, &err);
        status = s == PO_OK ? EXIT_CLEAR : said_no(&d, "room power", s, &err);
    }
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(power);
        power = NULL;
    } else if (status == EXIT_CLEAR) {
        size_t i;
        const json_t *c;
        json_array_foreach(json_object_get(power, "circuits"), i, c)
        {
            room_tell_circuit(c);
        }
        room_tell_caution(power);
    }
    json_decref(power);
    close_room(&d, false);
    return status;
}

/* ---- cool ---- */

/* "0:100,5:80": minutes and degrees. */
static int read_readings(po_arena *arena, const char *text, po_cooling_reading *list, size_t *ret_n)
{
    const char *pieces[CLI_MOST_LIST];
    size_t n = 0;
    if (!cli_split(text, arena, pieces, &n)) {
        return cli_fail(EXIT_USAGE, "at most %d readings", CLI_MOST_LIST);
    }
    for (size_t i = 0; i < n; i++) {
        const char *colon = strchr(pieces[i], ':');
        const char *minutes = colon ? po_arena_printf(arena, "%.*s", (int)(colon - pieces[i]), pieces[i]) : NULL;
        if (!minutes || !cli_number(minutes, 0, 1e5, &list[i].minutes) || !cli_number(colon + 1, 0, 500, &list[i].c)) {
            return cli_fail(EXIT_USAGE, "reading %zu, %s: expected minutes:degrees such as 10:62.5", i + 1, pieces[i]);
        }
    }
    *ret_n = n;
    return EXIT_CLEAR;
}

/* The latest readings of that machine in the book. */
static int book_readings(desk *d, const char *machine, po_cooling_reading *list, size_t *ret_n)
{
    json_t *answer = NULL;
    int status = desk_ask(d, "care-measures",
                          json_pack("{s:s, s:s, s:i}", "machine", machine, "kind", "cooling", "limit", 1), &answer);
    const json_t *rows = json_object_get(json_array_get(json_object_get(answer, "measures"), 0), "readings");
    size_t n = json_array_size(rows);
    if (status == EXIT_CLEAR && n == 0) {
        status = cli_fail(
            EXIT_STOP,
            "the book has no cooling of %s; give readings: proveout room cool 0:60,5:52,10:46 --machine %s --keep",
            machine, machine);
    }
    for (size_t i = 0; i < n && i < CLI_MOST_LIST; i++) {
        const json_t *row = json_array_get(rows, i);
        list[i] = (po_cooling_reading){(double)json_integer_value(json_array_get(row, 0)) / 60,
                                       (double)json_integer_value(json_array_get(row, 1)) / 1000};
    }
    *ret_n = n < CLI_MOST_LIST ? n : CLI_MOST_LIST;
    json_decref(answer);
    return status;
}

static int keep_cooling(desk *d, const char *machine, const po_cooling_reading *list, size_t n, const json_t *c)
{
    json_t *rows = json_array();
    po_act_done done;
    for (size_t i = 0; i < n; i++) {
        json_array_append_new(rows, json_pack("[I, I]", (json_int_t)llround(list[i].minutes * 60),
                                              (json_int_t)llround(list[i].c * 1000)));
    }
    json_t *body = json_pack("{s:s, s:s, s:{s:I, s:I, s:I}, s:o}", "machine", machine, "kind", "cooling", "figures",
                             "tau_s", (json_int_t)llround(room_real(c, "tau_minutes") * 60), "room_mC",
                             (json_int_t)llround(room_real(c, "room_c") * 1000), "scatter_mC",
                             (json_int_t)llround(room_real(c, "scatter_c") * 1000), "readings", rows);
    int status = desk_act(d, "care-measure", body, &done, NULL);
    if (status == EXIT_CLEAR && !d->json) {
        printf("Kept in the book as event %llu.\n", (unsigned long long)done.event);
    }
    return status;
}

static int run_cool(const cli_call *call)
{
    desk d = {0};
    const char *name = cli_value(call, "machine");
    bool keep = cli_value(call, "keep") != NULL, book = keep || call->n_args == 0;
    const po_machine *machine = NULL;
    po_cooling_reading list[CLI_MOST_LIST];
    double room_c = NAN;
    size_t n = 0;
    json_t *c = NULL;
    po_err err;
    if (book && !name) {
        return cli_fail(EXIT_USAGE, "--machine is needed: whose bed it is");
    }
    int status = open_room(&d, call, book);
    status = status == EXIT_CLEAR && name ? cli_shop_machine(d.shop, name, d.arena, &machine) : status;
    status = status == EXIT_CLEAR ? real_option(call, "room", 0, 60, &room_c) : status;
    status = status != EXIT_CLEAR ? status
             : call->n_args       ? read_readings(d.arena, call->args[0], list, &n)
                                  : book_readings(&d, machine->name, list, &n);
    if (status == EXIT_CLEAR) {
        work_context w = desk_work(&d);
        po_status s = work_room_cool(&w, machine, list, n,
                                     isnan(room_c) && n < 5 && machine ? machine->heat.room_c : room_c, &c, &err);
        status = s == PO_OK ? EXIT_CLEAR : said_no(&d, "room cool", s, &err);
    }
    if (status == EXIT_CLEAR && !d.json) {
        room_tell_cool(c);
    }
    status = status == EXIT_CLEAR && keep ? keep_cooling(&d, machine->name, list, n, c) : status;
    if (status == EXIT_CLEAR && d.json) {
        status = desk_print_json(c);
        c = NULL;
    }
    json_decref(c);
    close_room(&d, book);
    return status;
}

/* ---- cards ---- */

static int run_cards(const cli_call *call)
{
    desk d = {0};
    const char *out = cli_value(call, "out"), *page = NULL;
    size_t n = 0;
    po_err err;
    int status = open_room(&d, call, false);
    const po_card *cards = po_cards(&n);
    if (status == EXIT_CLEAR && !out) {
        for (size_t i = 0; i < n; i++) {
            printf("  %-14s %s\n", cards[i].id, cards[i].title);
        }
        puts("proveout room cards --out cards.html writes them to print.");
    } else if (status == EXIT_CLEAR) {
        po_status s = po_cards_html(d.shop->name, call->n_args ? call->args[0] : NULL, d.arena, &page, &n, &err);
        status = s == PO_OK ? cli_write_file(out, &(po_document){.data = page, .n_bytes = n})
                            : said_no(&d, "room cards", s, &err);
        if (status == EXIT_CLEAR && strcmp(out, "-") != 0) {
            printf("Written to %s: print it, one card a sheet (A5).\n", out);
        }
    }
    close_room(&d, false);
    return status;
}

#define SHOP_OPTION                                                                                                    \
    {                                                                                                                  \
        .name = "shop", .value = "FILE", .says = "the shop file; else PROVEOUT_SHOP, else ./shop.yaml"                 \
    }
static const cli_option air_options[] = {
    DESK_OPTIONS,
    {.name = "running",
     .value = "MATERIAL=N,...",
     .says = "what runs; without it every machine with the house's material"},
    {.name = "more", .value = "N", .says = "so many machines more, of the house's material"},
    {.name = "area", .value = "M2", .says = "another floor than the shop file's"},
    {.name = "height", .value = "M", .says = "another height"},
    {.name = "outdoor", .value = "M3/H", .says = "another flow of outdoor air"},
    {.name = "cleaner", .value = "M3/H", .says = "another air cleaner, by its clean air"},
    {.name = "day", .says = "hour by hour, as the last four weeks of the book were"},
};
static const cli_option power_options[] = {SHOP_OPTION,
                                           {.name = "json", .says = "print one JSON object instead of words"}};
static const cli_option cool_options[] = {
    DESK_OPTIONS,
    {.name = "machine", .value = "NAME", .says = "whose bed; without readings the latest that the book has of it"},
    {.name = "room", .value = "C", .says = "how warm the room is; without it fitted too, from five readings on"},
    {.name = "keep", .says = "keep the readings and what they say in the machine's history"},
};
static const cli_option cards_options[] = {
    SHOP_OPTION, {.name = "out", .value = "FILE", .says = "where the page goes (HTML, to print)"}};
static const cli_example air_examples[] = {
    {"proveout room air", "every machine with the house's material"},
    {"proveout room air --running petg=3,asa=2 --outdoor 600", "is it fit for this, with more air?"},
};
static const cli_example power_examples[] = {
    {"proveout room power", "what each circuit bears, and who should not heat together"}};
static const cli_example cool_examples[] = {
    {"proveout room cool 0:75,5:62,10:52,15:45,20:40 --machine Alder", "when is it cool enough to collect?"}};
static const cli_example cards_examples[] = {{"proveout room cards --out cards.html", "all cards, one a sheet"}};

const cli_verb cli_room_verbs[] = {
    {.name = "room air",
     .operands = "",
     .options = air_options,
     .n_options = sizeof air_options / sizeof air_options[0],
     .line = "what running printers give off into the room's air",
     .help = "By published emission rates with their spread, and a well-mixed room: particles below 100 nm, vapours "
             "together, styrene; how long it takes to come "
             "and to go, and what one more machine, air change or cleaner does. Targets are the shop's own (room: in "
             "the shop file).",
     .examples = air_examples,
     .n_examples = 2,
     .run = run_air},
    {.name = "room power",
     .operands = "",
     .options = power_options,
     .n_options = 2,
     .line = "what each circuit bears, and which machines should not heat together",
     .help = "Adds up the machines' power (power_w) on each circuit of the shop file.",
     .examples = power_examples,
     .n_examples = 1,
     .run = run_power},
    {.name = "room cool",
     .operands = "[MINUTES:C,...]",
     .most = 1,
     .options = cool_options,
     .n_options = sizeof cool_options / sizeof cool_options[0],
     .line = "how a bed cools: when a part can be collected, when it can be touched",
     .help = "Fits Newton's law of cooling to readings of one bed, from when its heater is off. The figure is "
             "proposed: the keeper enters it by hand.",
     .examples = cool_examples,
     .n_examples = 1,
     .run = run_cool},
    {.name = "room cards",
     .operands = "[CARD]",
     .most = 1,
     .options = cards_options,
     .n_options = 2,
     .line = "cards for the wall: fire, first aid, waste by material",
     .help = "Lists the cards; with --out writes one or all as a page to print, A5, one a sheet.",
     .examples = cards_examples,
     .n_examples = 1,
     .run = run_cards},
    {.name = NULL}};
