/* Waste by material, weighed before it goes to recycling. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_waste_put(po_book *book, const char *material, int64_t mg, const char *kind, const char *note, int64_t run,
                       po_err *err)
{
    int64_t id = 0;
    po_status s = po_book_next_id(book, PO_T_WASTE, &id, err);
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO waste(id, last, material, mg, kind, note, run, at_ms) VALUES(?1, ?2, ?3, "
                                 "?4, ?5, ?6, nullif(?7, 0), ?8)",
                                 "iitittii", id, book->event, material, mg, kind, note, run, book->at_ms)
                   : s;
    return s == PO_OK ? po_book_made(book, PO_T_WASTE, id, err) : s;
}

po_status po_apply_waste_weigh(po_book *book, po_err *err)
{
    int64_t mg = po_field_int(book->body, "mg");
    po_status s = po_mass_holds("mg", mg, err);
    return s == PO_OK ? po_waste_put(book, po_field_text(book->body, "material"), mg, po_field_text(book->body, "kind"),
                                     po_field_text(book->body, "note"), 0, err)
                      : s;
}

po_status po_ask_waste(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t from = po_field_int(p, "from"),
            until = po_field_has(p, "until") ? po_field_int(p, "until") : PO_TIME_MOST + 1, all = 0;
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/waste/1");
    po_status s = po_store_ask(store, &rows, err,
                               "SELECT material, kind, count(*) AS times, sum(mg) AS mg FROM waste WHERE at_ms >= ?1 "
                               "AND at_ms < ?2 GROUP BY material, kind ORDER BY material, kind",
                               "ii", from, until);
    s = s == PO_OK ? po_put_rows(rows, ret, "waste", -1, err) : s;
    json_object_del(ret, "more");
    json_t *materials = json_object(), *list = json_object_get(ret, "waste");
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *row = json_array_get(list, i);
        int64_t mg = po_field_int(row, "mg");
        const char *material = po_field_text(row, "material");
        if (json_object_set_new(materials, material,
                                json_integer(json_integer_value(json_object_get(materials, material)) + mg)) != 0) {
            json_object_clear(ret);
        }
        all += mg;
    }
    po_put(ret, "materials_mg", materials);
    po_put_int(ret, "mg", all);
    return s;
}
