/* Spools: weighed, opened, dried, emptied. SPDX-License-Identifier: Apache-2.0
 *
 * What is left on a spool is kept by the book (po_spool_take) until the scale says otherwise: then the scale's figure holds and
 * the difference is kept as the drift. Judging a drift is not for the book. Where neither the scale nor the maker said what a
 * spool holds, that is unknown, and stays so until it is weighed. */
#include <stdio.h>
#include <string.h>

#include "ledger/answers.h"

static void copy_text(char *out, size_t room, const char *text)
{
    snprintf(out, room, "%s", text ? text : "");
}

static int64_t or_unknown(po_rows *rows, int column)
{
    return po_rows_kind(rows, column) == 'i' ? po_rows_int(rows, column) : -1;
}

po_status po_spool_find(po_store *store, const char *spool, po_spool *ret, po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(store, &rows, err,
                               "SELECT id, diameter_um, density_mg_cm3, left_mg, tare_mg, price_minor_kg, weighed_ms, "
                               "state, material FROM spools WHERE spool = ?1",
                               "t", spool);
    if (s != PO_OK) {
        return s;
    }
    bool found = po_rows_next(rows);
    if (found) {
        *ret = (po_spool){.id = po_rows_int(rows, 0),
                          .diameter_um = po_rows_int(rows, 1),
                          .density_mg_cm3 = po_rows_int(rows, 2),
                          .left_mg = or_unknown(rows, 3),
                          .left_known = po_rows_kind(rows, 3) == 'i',
                          .tare_mg = or_unknown(rows, 4),
                          .price_minor_kg = or_unknown(rows, 5),
                          .weighed_ms = or_unknown(rows, 6)};
        copy_text(ret->state, sizeof ret->state, po_rows_text(rows, 7));
        copy_text(ret->material, sizeof ret->material, po_rows_text(rows, 8));
    }
    s = po_rows_end(rows, err);
    if (s == PO_OK && !found) {
        s = po_fail_at(err, PO_E_NOTFOUND, "spool", 0, 0, "there is no spool %s; add it to the book first", spool);
    }
    return s;
}

po_status po_mass_holds(const char *field, int64_t mg, po_err *err)
{
    return mg > INT64_C(100000000) ? po_fail_at(err, PO_E_RANGE, field, 0, 0,
                                                "more than 100 kg can not be right for what lies on a desk's scale")
                                   : PO_OK;
}

/* A count of a body or a question; -1 where it was not given. */
static int64_t given(const json_t *body, const char *field)
{
    return po_field_has(body, field) ? po_field_int(body, field) : -1;
}

static po_status answer_left(po_book *book, int64_t spool, po_err *err)
{
    int64_t left = 0;
    bool known = false;
    po_status s = po_store_number(book->store, &left, &known, err, "SELECT left_mg FROM spools WHERE id = ?1", "i",
                                  spool);
    if (s == PO_OK && known) {
        po_book_answer_int(book, "left_mg", left);
    }
    return s;
}

/* Where the book does not know what is left, or the spool is used up, there is nothing to take from. */
po_status po_spool_take(po_book *book, int64_t spool, int64_t mg, po_err *err)
{
    int64_t left = 0;
    bool known = false;
    po_status s = po_store_number(book->store, &left, &known, err,
                                  "SELECT left_mg FROM spools WHERE id = ?1 AND state <> 'empty'", "i", spool);
    if (s != PO_OK || !known || mg == 0) {
        return s;
    }
    s = po_book_touch(book, PO_T_SPOOLS, spool, err);
    return s == PO_OK ? po_store_do(book->store, NULL, err, "UPDATE spools SET last = ?1, left_mg = ?2 WHERE id = ?3",
                                    "iii", book->event, left - mg, spool)
                      : s;
}

/* Where a spool is loaded. *ret_tool 0: nowhere; else the row of the tool, and the machine's name. */
static po_status loaded_on(po_store *store, int64_t spool, int64_t *ret_tool, char ret_machine[72], po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(
        store, &rows, err, "SELECT t.id, m.machine FROM tools t JOIN machines m ON m.id = t.machine WHERE t.spool = ?1",
        "i", spool);
    if (s != PO_OK) {
        return s;
    }
    *ret_tool = po_rows_next(rows) ? po_rows_int(rows, 0) : 0;
    copy_text(ret_machine, 72, *ret_tool ? po_rows_text(rows, 1) : "");
    return po_rows_end(rows, err);
}

/* The spool of the body, which is not used up. */
static po_status in_use(po_book *book, po_spool *ret, po_err *err)
{
    const char *spool = po_field_text(book->body, "spool");
    po_status s = po_spool_find(book->store, spool, ret, err);
    return s == PO_OK && strcmp(ret->state, "empty") == 0
               ? po_fail_at(err, PO_E_CONFLICT, "spool", 0, 0,
                            "%s is used up; a new spool gets a new name, and one that is not used up is weighed", spool)
               : s;
}

/* What the scale says is left. */
static po_status on_scale(po_book *book, int64_t tare, int64_t *ret, po_err *err)
{
    char a[32], b[32];
    int64_t gross = po_field_int(book->body, "gross_mg");
    *ret = gross - tare;
    return *ret < 0 ? po_fail_at(err, PO_E_RANGE, "gross_mg", 0, 0,
                                 "%s with filament is less than the %s of the empty spool; weigh again, or give the "
                                 "right tare",
                                 po_grams(a, gross), po_grams(b, tare))
                    : PO_OK;
}

static po_status put_weighing(po_book *book, int64_t spool, int64_t scale, po_err *err)
{
    po_status s = po_store_do(
        book->store, NULL, err,
        "INSERT INTO weighings(id, last, spool, at_ms, gross_mg, book_mg, scale_mg, by) SELECT ?1, ?1, id, ?2, ?3, "
        "left_mg, ?4, ?5 FROM spools WHERE id = ?6",
        "iiiiti", book->event, book->at_ms, po_field_int(book->body, "gross_mg"), scale, book->by, spool);
    s = s == PO_OK ? po_book_made(book, PO_T_WEIGHINGS, book->event, err) : s;
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE spools SET last = ?1, weighed_ms = ?2, weighed_mg = ?3, drift_mg = ?3 - "
                                    "left_mg, left_mg = ?3 WHERE id = ?4",
                                    "iiii", book->event, book->at_ms, scale, spool)
                      : s;
}

static po_status masses_hold(po_book *book, po_err *err)
{
    static const char *const fields[] = {"gross_mg", "net_mg", "tare_mg", "left_mg"};
    po_status s = PO_OK;
    for (size_t i = 0; s == PO_OK && i < sizeof fields / sizeof fields[0]; i++) {
        s = po_mass_holds(fields[i], po_field_int(book->body, fields[i]), err);
    }
    return s;
}

po_status po_apply_spool_add(po_book *book, po_err *err)
{
    const json_t *body = book->body;
    const char *spool = po_field_text(body, "spool");
    int64_t diameter = po_field_int(body, "diameter_um"), density = po_field_int(body, "density_mg_cm3"), other = 0,
            scale = 0;
    bool found = false, weighed = po_field_has(body, "gross_mg") && po_field_has(body, "tare_mg");
    po_status s = po_store_number(book->store, &other, &found, err, "SELECT id FROM spools WHERE spool = ?1", "t",
                                  spool);
    if (s == PO_OK && found) {
        return po_fail_at(err, PO_E_CONFLICT, "spool", 0, 0,
                          "there is a spool %s already (event %lld); a new spool gets a new name", spool,
                          (long long)other);
    }
    if (s == PO_OK && po_ledger_um(1, diameter, density) < 0) {
        return po_fail_at(err, PO_E_RANGE, diameter > 0 && diameter <= 10000 ? "density_mg_cm3" : "diameter_um", 0, 0,
                          "filament has a diameter up to 10 mm and a density up to 30 g/cm3, both above 0");
    }
    s = s == PO_OK ? masses_hold(book, err) : s;
    s = s == PO_OK ? po_price_holds(po_field_int(body, "price_minor_kg"), err) : s;
    s = s == PO_OK && weighed ? on_scale(book, po_field_int(body, "tare_mg"), &scale, err) : s;
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "INSERT INTO spools(id, last, spool, material, colour, lot, diameter_um, "
                          "density_mg_cm3, tare_mg, price_minor_kg, state, added_ms, left_mg) VALUES(?1, ?1, "
                          "?2, ?3, ?4, ?5, ?6, ?7, nullif(?8, -1), nullif(?9, -1), 'sealed', ?10, nullif(?11, "
                          "-1))",
                          "ittttiiiiii", book->event, spool, po_field_text(body, "material"),
                          po_field_text(body, "colour"), po_field_text(body, "lot"), diameter, density,
                          given(body, "tare_mg"), given(body, "price_minor_kg"), book->at_ms, given(body, "net_mg"))
            : s;
    s = s == PO_OK ? po_book_made(book, PO_T_SPOOLS, book->event, err) : s;
    s = s == PO_OK && weighed ? put_weighing(book, book->event, scale, err) : s;
    return s == PO_OK ? answer_left(book, book->event, err) : s;
}

po_status po_apply_spool_open(po_book *book, po_err *err)
{
    po_spool spool = {0};
    po_status s = in_use(book, &spool, err);
    if (s == PO_OK && strcmp(spool.state, "sealed") != 0) {
        return po_fail_at(err, PO_E_CONFLICT, "spool", 0, 0, "%s was opened already",
                          po_field_text(book->body, "spool"));
    }
    s = s == PO_OK ? po_book_touch(book, PO_T_SPOOLS, spool.id, err) : s;
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE spools SET last = ?1, state = 'open', opened_ms = ?2 WHERE id = ?3", "iii",
                                    book->event, book->at_ms, spool.id)
                      : s;
}

/* One that was booked as used up and is not comes back by being weighed: the way out where that can't be taken back. */
po_status po_apply_spool_weigh(po_book *book, po_err *err)
{
    po_spool spool = {0};
    int64_t scale = 0;
    po_status s = po_spool_find(book->store, po_field_text(book->body, "spool"), &spool, err);
    s = s == PO_OK ? masses_hold(book, err) : s;
    if (s != PO_OK) {
        return s;
    }
    int64_t tare = po_field_has(book->body, "tare_mg") ? po_field_int(book->body, "tare_mg") : spool.tare_mg;
    if (tare < 0) {
        return po_fail_at(err, PO_E_CONFLICT, "tare_mg", 0, 0,
                          "the book does not know what %s weighs when it is empty; give its tare, from an empty one of "
                          "the same make",
                          po_field_text(book->body, "spool"));
    }
    s = on_scale(book, tare, &scale, err);
    s = s == PO_OK && scale == 0 ? in_use(book, &spool, err) : s;
    s = s == PO_OK ? po_book_touch(book, PO_T_SPOOLS, spool.id, err) : s;
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "UPDATE spools SET tare_mg = ?1, state = iif(state = 'empty', 'open', state) WHERE id = ?2",
                          "ii", tare, spool.id)
            : s;
    s = s == PO_OK ? put_weighing(book, spool.id, scale, err) : s;
    if (s == PO_OK && spool.left_known) {
        po_book_answer_int(book, "book_mg", spool.left_mg);
        po_book_answer_int(book, "drift_mg", scale - spool.left_mg);
    }
    return s == PO_OK ? answer_left(book, spool.id, err) : s;
}

po_status po_apply_spool_dry(po_book *book, po_err *err)
{
    enum { WARMEST_C = 200, LONGEST_MINUTES = 7 * 24 * 60 };
    const char *name = po_field_text(book->body, "spool");
    int64_t c = po_field_int(book->body, "c"), minutes = po_field_int(book->body, "minutes"), tool = 0;
    char machine[72];
    po_spool spool = {0};
    po_status s = in_use(book, &spool, err);
    if (s == PO_OK && strcmp(spool.state, "drying") == 0) {
        return po_fail_at(err, PO_E_CONFLICT, "spool", 0, 0, "%s is in the dryer already; book it as dried first",
                          name);
    }
    if (s == PO_OK && (c < 1 || c > WARMEST_C)) {
        return po_fail_at(err, PO_E_RANGE, "c", 0, 0, "a dryer is set to 1 to %d degrees Celsius", WARMEST_C);
    }
    if (s == PO_OK && (minutes < 1 || minutes > LONGEST_MINUTES)) {
        return po_fail_at(err, PO_E_RANGE, "minutes", 0, 0, "a spool is dried for 1 to %d minutes (7 days)",
                          LONGEST_MINUTES);
    }
    s = s == PO_OK ? loaded_on(book->store, spool.id, &tool, machine, err) : s;
    if (s == PO_OK && tool) {
        return po_fail_at(err, PO_E_CONFLICT, "spool", 0, 0, "%s is loaded on %s; unload it there first", name,
                          machine);
    }
    s = s == PO_OK ? po_book_touch(book, PO_T_SPOOLS, spool.id, err) : s;
    int64_t until = book->at_ms + (s == PO_OK ? minutes * 60000 : 0); /* else minutes may be any number */
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "UPDATE spools SET last = ?1, state = 'drying', opened_ms = coalesce(opened_ms, ?2), "
                                 "dry_until_ms = ?3, dry_c = ?4, dry_minutes = ?5 WHERE id = ?6",
                                 "iiiiii", book->event, book->at_ms, until, c, minutes, spool.id)
                   : s;
    po_book_answer_int(book, "dry_until_ms", until);
    po_book_answer_text(book, "material", spool.material);
    return s;
}

po_status po_apply_spool_dried(po_book *book, po_err *err)
{
    po_spool spool = {0};
    int64_t minutes = 0;
    po_status s = in_use(book, &spool, err);
    if (s == PO_OK && strcmp(spool.state, "drying") != 0) {
        return po_fail_at(err, PO_E_CONFLICT, "spool", 0, 0,
                          "%s is not in the dryer by the book; book it as put there first",
                          po_field_text(book->body, "spool"));
    }
    s = s == PO_OK ? po_store_number(book->store, &minutes, NULL, err,
                                     "SELECT (?1 - (dry_until_ms - dry_minutes * 60000)) / 60000 FROM spools WHERE id "
                                     "= ?2",
                                     "ii", book->at_ms, spool.id)
                   : s;
    minutes = po_field_has(book->body, "minutes") ? po_field_int(book->body, "minutes") : minutes;
    s = s == PO_OK ? po_book_touch(book, PO_T_SPOOLS, spool.id, err) : s;
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "UPDATE spools SET last = ?1, state = 'open', dried_ms = ?2, dry_until_ms = NULL, "
                                 "dry_minutes = ?3 WHERE id = ?4",
                                 "iiii", book->event, book->at_ms, minutes, spool.id)
                   : s;
    po_book_answer_int(book, "minutes", minutes);
    return s;
}

po_status po_apply_spool_empty(po_book *book, po_err *err)
{
    int64_t left = po_field_int(book->body, "left_mg"), tool = 0;
    char machine[72];
    po_spool spool = {0};
    po_status s = in_use(book, &spool, err);
    s = s == PO_OK ? masses_hold(book, err) : s;
    s = s == PO_OK ? loaded_on(book->store, spool.id, &tool, machine, err) : s;
    if (s == PO_OK && tool) {
        s = po_book_touch(book, PO_T_TOOLS, tool, err);
        s = s == PO_OK ? po_store_do(book->store, NULL, err, "UPDATE tools SET last = ?1, spool = NULL WHERE id = ?2",
                                     "ii", book->event, tool)
                       : s;
        po_book_answer_text(book, "machine", machine);
    }
    s = s == PO_OK ? po_book_touch(book, PO_T_SPOOLS, spool.id, err) : s;
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "UPDATE spools SET last = ?1, state = 'empty', left_mg = 0, dry_until_ms = NULL WHERE "
                                 "id = ?2",
                                 "ii", book->event, spool.id)
                   : s;
    s = s == PO_OK && left > 0
            ? po_waste_put(book, spool.material, left, "spool-end", po_field_text(book->body, "note"), 0, err)
            : s;
    if (spool.left_known) {
        po_book_answer_int(book, "book_mg", spool.left_mg);
    }
    po_book_answer_int(book, "waste_mg", left);
    return s;
}

/* Length of what is left, and below nothing of what is too much; beyond the reach of po_ledger_um it is unknown. */
static bool put_length(json_t *spool)
{
    const json_t *left = json_object_get(spool, "left_mg");
    int64_t mg = json_integer_value(left);
    int64_t um = json_is_integer(left) ? po_ledger_um(mg < 0 ? -mg : mg, po_field_int(spool, "diameter_um"),
                                                      po_field_int(spool, "density_mg_cm3"))
                                       : -1;
    return json_object_set_new(spool, "left_um", um < 0 ? json_null() : json_integer(mg < 0 ? -um : um)) == 0;
}

po_status po_ask_spools(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *spool = po_field_text(p, "spool"), *state = po_field_text(p, "state");
    int64_t limit = po_limit_of(p), below = given(p, "below_mg");
    po_spool one = {0};
    po_rows *rows = NULL;
    (void)now;
    if (po_field_flag(p, "low") && below < 0) {
        return po_fail_at(err, PO_E_RANGE, "below_mg", 0, 0, "to list spools that are low, say below what");
    }
    po_put_text(ret, "format", "proveout/spools/1");
    po_status s = spool ? po_spool_find(store, spool, &one, err) : PO_OK;
    s = s == PO_OK
            ? po_store_ask(
                  store, &rows, err,
                  "SELECT s.spool AS spool, s.material AS material, s.colour AS colour, s.lot AS lot, s.diameter_um AS "
                  "diameter_um, s.density_mg_cm3 AS density_mg_cm3, s.tare_mg AS tare_mg, s.price_minor_kg AS "
                  "price_minor_kg, s.state AS state, s.added_ms AS added_ms, s.opened_ms AS opened_ms, s.dried_ms AS "
                  "dried_ms, s.dry_until_ms AS dry_until_ms, s.dry_c AS dry_c, s.dry_minutes AS dry_minutes, s.left_mg "
                  "AS left_mg, s.weighed_ms AS weighed_ms, s.weighed_mg AS weighed_mg, s.drift_mg AS drift_mg, "
                  "m.machine AS machine, t.tool AS tool, iif(s.state = 'empty', 0, s.left_mg < ?4) AS low FROM spools "
                  "s "
                  "LEFT JOIN tools t ON t.spool = s.id LEFT JOIN machines m ON m.id = t.machine WHERE (?1 IS NULL OR "
                  "s.spool = ?1) AND (?2 IS NULL OR s.material = ?2) AND iif(?3 IS NULL, ?1 IS NOT NULL OR s.state <> "
                  "'empty', s.state = ?3) AND (NOT ?5 OR (s.state <> 'empty' AND s.left_mg < ?4)) AND s.spool > ?6 "
                  "ORDER BY s.spool LIMIT ?7",
                  "tttiiti", spool, po_field_text(p, "material"), state, below, (int64_t)po_field_flag(p, "low"),
                  po_field_has(p, "after") ? po_field_text(p, "after") : "", limit + 1)
            : s;
    s = s == PO_OK ? po_put_rows(rows, ret, "spools", limit, err) : s;
    json_t *list = json_object_get(ret, "spools");
    for (size_t i = 0; s == PO_OK && i < json_array_size(list); i++) {
        json_t *o = json_array_get(list, i), *low = json_object_get(o, "low");
        if (!put_length(o) ||
            json_object_set_new(o, "low",
                                below < 0 || !json_is_integer(low) ? json_null()
                                                                   : json_boolean(json_integer_value(low) != 0)) != 0) {
            json_object_clear(ret);
            break;
        }
    }
    return s;
}

po_status po_ask_weighings(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    po_spool spool = {0};
    int64_t limit = po_limit_of(p);
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/weighings/1");
    po_put_text(ret, "spool", po_field_text(p, "spool"));
    po_status s = po_spool_find(store, po_field_text(p, "spool"), &spool, err);
    s = s == PO_OK ? po_store_ask(store, &rows, err,
                                  "SELECT id AS event, at_ms, gross_mg, gross_mg - scale_mg AS tare_mg, book_mg, "
                                  "scale_mg, scale_mg - book_mg AS drift_mg, by FROM weighings WHERE spool = ?1 ORDER "
                                  "BY id DESC LIMIT ?2",
                                  "ii", spool.id, limit + 1)
                   : s;
    return s == PO_OK ? po_put_rows(rows, ret, "weighings", limit, err) : s;
}
