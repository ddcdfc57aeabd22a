/* What the tests of runs share: a shop with all that runs need, and every row of the book as text. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_LEDGER_RUN_KIT_H
#define PO_LEDGER_RUN_KIT_H

#include "ledger/book.h"
#include "ledger/ledger_kit.h"

/* All derived rows, so that an undo can be held against what was before. The caller frees it. */
static inline char *run_rows(kit *k)
{
    char *text = NULL;
    size_t n = 0;
    po_store *store = NULL;
    po_store_options o = {.read_only = true, .wait_ms = 1000, .schema = &po_ledger_schema};
    FILE *f = open_memstream(&text, &n);
    assert_non_null(f);
    OK(po_store_open(k->path, &o, &store, &k->err));
    for (int t = 0; t < PO_T_COUNT; t++) {
        po_rows *rows = NULL;
        OK(po_store_ask(store, &rows, &k->err, po_tables[t].all, ""));
        while (po_rows_next(rows)) {
            fprintf(f, "%s", po_tables[t].name);
            for (int c = 0; c < po_rows_columns(rows); c++) {
                const char *v = po_rows_kind(rows, c) == 'n' ? "-" : po_rows_text(rows, c);
                fprintf(f, " %s=%s", po_rows_name(rows, c), v);
            }
            fputc('\n', f);
        }
        OK(po_rows_end(rows, &k->err));
    }
    po_store_close(store);
    fclose(f);
    return text;
}

/* Carry out the act, take it back, find every row as it was, and carry it out again. */
#define TWICE(call)                                                                                                    \
    do {                                                                                                               \
        char *was_ = run_rows(k);                                                                                      \
        OK(call);                                                                                                      \
        char *then_ = run_rows(k);                                                                                     \
        assert_string_not_equal(was_, then_);                                                                          \
        OK(kit_act(k, "undo", "keeper", "{\"event\":%llu}", (unsigned long long)k->done.event));                       \
        char *now_ = run_rows(k);                                                                                      \
        assert_string_equal(was_, now_);                                                                               \
        free(was_);                                                                                                    \
        free(then_);                                                                                                   \
        free(now_);                                                                                                    \
        OK(call);                                                                                                      \
    } while (0)

#define REFUSED(call, status, field, words)                                                                            \
    do {                                                                                                               \
        po_status s_ = (call);                                                                                         \
        if (s_ != (status) || strcmp(k->err.where, field) != 0 || !strstr(k->err.msg, words)) {                        \
            fail_msg("%s: %d [%s] %s", #call, s_, k->err.where, s_ == PO_OK ? "" : k->err.msg);                        \
        }                                                                                                              \
    } while (0)

#define UNDO(event) kit_act(k, "undo", "keeper", "{\"event\":%lld}", (long long)(event))

/* A term of 150 m; members m1, m2, d1 (desk); stick A1 of Alder; spools P1 (1 kg of PLA, 1.75 mm, 1.24 g/cm3) and P2 (PETG,
 * 1.27 g/cm3); the fund robots with 10.00 EUR; the course make-1 with its assignment hook. */
static inline void run_shop(kit *k)
{
    kit_in_memory();
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "term-open", "keeper", "{\"term\":\"t1\",\"from\":%lld,\"until\":%lld,\"allowance_um\":150000000}",
               (long long)(KIT_NOON - KIT_DAY), (long long)(KIT_NOON + 90 * KIT_DAY)));
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m1\"}"));
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"m2\"}"));
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"d1\",\"role\":\"desk\"}"));
    OK(kit_act(k, "stick-add", "keeper", "{\"stick\":\"A1\",\"machine\":\"Alder\"}"));
    OK(kit_act(k, "spool-add", "desk",
               "{\"spool\":\"P1\",\"material\":\"pla\",\"diameter_um\":1750,\"density_mg_cm3\":1240,\"net_mg\":1000000,"
               "\"price_minor_kg\":2000}"));
    OK(kit_act(
        k, "spool-add", "desk",
        "{\"spool\":\"P2\",\"material\":\"petg\",\"diameter_um\":1750,\"density_mg_cm3\":1270,\"net_mg\":500000}"));
    OK(kit_act(k, "fund-open", "keeper",
               "{\"fund\":\"robots\",\"title\":\"R\",\"currency\":\"EUR\",\"budget_minor\":1000}"));
    OK(kit_act(k, "course-open", "keeper", "{\"course\":\"make-1\",\"title\":\"M\"}"));
    OK(kit_act(k, "assignment-set", "desk", "{\"course\":\"make-1\",\"assignment\":\"hook\"}"));
}

/* more: further fields, each with a comma before it */
static inline po_status run_out(kit *k, const char *by, const char *machine, int64_t um, const char *more)
{
    return kit_act(k, "run-hand-out", by,
                   "{\"member\":\"m1\",\"machine\":\"%s\",\"um\":%lld,\"sha256\":\"" KIT_SHA "\"%s}", machine,
                   (long long)um, more);
}

static inline int64_t run_number(kit *k, int64_t run, const char *path)
{
    return kit_number(kit_ask(k, "run", "{\"run\":%lld}", (long long)run), path);
}

/* A text in the answer about a run; borrowed from the arena. "": not there. */
static inline const char *run_text(kit *k, int64_t run, const char *key)
{
    json_t *root = json_loads(kit_ask(k, "run", "{\"run\":%lld}", (long long)run), 0, NULL);
    const char *v = json_string_value(json_object_get(root, key));
    char *copy = po_arena_zeros(k->arena, 256, 1);
    assert_non_null(copy);
    snprintf(copy, 256, "%s", v ? v : "");
    json_decref(root);
    return copy;
}

static inline int64_t spool_left(kit *k, const char *spool)
{
    return kit_number(kit_ask(k, "spools", "{\"spool\":\"%s\"}", spool), "spools/0/left_mg");
}

/* Verify, rebuild, verify again, and every row is as it was. */
static inline void run_sound(kit *k)
{
    kit_clean(k);
    char *was = run_rows(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    char *now = run_rows(k);
    assert_string_equal(was, now);
    free(was);
    free(now);
    kit_clean(k);
}

#endif
