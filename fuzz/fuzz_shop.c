/* The shop file. SPDX-License-Identifier: Apache-2.0
 * Promises: a shop that is taken is whole; one that is not has at least one fault, each with a place in the text and what
 * was expected. */
#include <math.h>
#include <string.h>

#include "fuzz.h"
#include "proveout/shop.h"

/* Every brace of a message opens, holds a word and closes, so that whoever fills it in never runs past its end. */
static void check_message(const char *text)
{
    PROMISE(text && *text);
    for (const char *p = text + strcspn(text, "{}"); *p; p += strcspn(p, "{}")) {
        size_t n = *p == '{' ? strspn(p + 1, "abcdefghijklmnopqrstuvwxyz") : 0;
        PROMISE(n && p[1 + n] == '}');
        p += n + 2;
    }
}

/* What the desk relies on: texts, limits, and a stick that belongs to one machine. */
static void check_desk(const po_shop *shop)
{
    for (int i = 0; i < PO_TEXT_COUNT; i++) {
        check_message(shop->outbox.texts[i]);
    }
    PROMISE(!shop->outbox.on || shop->outbox.command);
    PROMISE(!shop->ledger || *shop->ledger);
    PROMISE(shop->beyond >= PO_BEYOND_REFUSE && shop->beyond <= PO_BEYOND_GIFT);
    PROMISE(shop->rules.gap_check_days >= 0 && shop->rules.shelf_days > 0 && shop->rules.shelf_places > 0);
    PROMISE(shop->rules.ticket_claim_minutes > 0 && shop->rules.spool_reserve_g >= 0 && shop->rules.spool_low_g >= 0);
    for (size_t i = 0; i < shop->n_permissions; i++) {
        PROMISE(shop->permissions[i].lapses_months >= 0);
        PROMISE(!shop->permissions[i].lapses_with_term || !shop->permissions[i].lapses_months);
    }
    for (size_t i = 0; i < shop->n_machines; i++) {
        const po_machine *m = &shop->machines[i];
        PROMISE(m->panel_columns > 0 && (!m->stick_mount || m->stick_mount[0] == '/'));
        for (size_t k = 0; k < i && m->stick_label; k++) {
            PROMISE(!shop->machines[k].stick_label || strcmp(m->stick_label, shop->machines[k].stick_label) != 0);
        }
    }
}

static void check_shop(const po_shop *shop)
{
    PROMISE(shop->name && shop->n_materials >= 1 && shop->n_machines >= 1);
    PROMISE(po_shop_house_material(shop) != NULL);
    for (size_t i = 0; i < shop->n_machines; i++) {
        const po_machine *m = &shop->machines[i];
        PROMISE(m->name && po_shop_machine(shop, m->name) != NULL);
        PROMISE(m->n_nozzles >= 1 && m->n_nozzles <= PO_MAX_TOOLS);
        PROMISE(m->bed_mm[0] > 0 && m->bed_mm[1] > 0 && isfinite(m->bed_mm[0]) && isfinite(m->bed_mm[1]));
        PROMISE(m->height_mm > 0 && isfinite(m->height_mm));
        for (size_t k = 0; k < m->n_nozzles; k++) {
            PROMISE(m->nozzles[k].diameter_mm > 0 && isfinite(m->nozzles[k].diameter_mm));
        }
        for (size_t k = 0; k < m->n_materials; k++) {
            PROMISE(m->materials[k] < shop->n_materials);
            PROMISE(po_machine_takes(shop, m, &shop->materials[m->materials[k]]));
        }
        for (int a = 0; a < 4; a++) {
            PROMISE(m->limits.feed_mm_s[a] > 0 && m->limits.accel_mm_s2[a] > 0);
        }
        PROMISE(!m->permission || po_shop_permission(shop, m->permission));
    }
    for (size_t i = 0; i < shop->n_materials; i++) {
        PROMISE(shop->materials[i].density_g_cm3 > 0 && shop->materials[i].diameter_mm > 0);
    }
    for (int d = 0; d < 7; d++) {
        int before = -1;
        for (size_t k = 0; k < shop->hours[d].n_spans; k++) {
            po_span_minutes s = shop->hours[d].spans[k];
            PROMISE(s.from > before && s.from < s.to && s.to <= 1440);
            before = s.from;
        }
    }
    po_wall_time t = {{2026, 11, 2}, 0}, next;
    if (po_shop_next_staffed(shop, t, &next)) {
        PROMISE(po_shop_staffed(shop, next));
    }
    for (size_t i = 0; i < shop->n_permissions && shop->n_permissions < 50; i++) { /* ends, whatever implies what */
        PROMISE(po_shop_grants(shop, shop->permissions[i].name, shop->permissions[i].name));
        PROMISE(!po_shop_grants(shop, shop->permissions[i].name, "no such permission"));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    uint32_t n_lines = 1;
    for (size_t i = 0; i < n; i++) {
        n_lines += data[i] == '\n' || data[i] == '\r' || data[i] >= 0x80; /* YAML knows other line ends beyond ASCII */
    }
    po_arena *arena = po_arena_new(8 << 20);
    PROMISE(arena);
    const po_shop *shop = NULL;
    po_shop_faults faults;
    po_err err = {.code = PO_OK};
    po_status s = po_shop_read((const char *)data, n, "shop.yaml", arena, &shop, &faults, &err);
    if (s == PO_OK) {
        PROMISE(shop && faults.n_faults == 0);
        check_shop(shop);
        check_desk(shop);
    } else {
        PROMISE(!shop && s == err.code && err.msg[0]);
        PROMISE(s == PO_E_SYNTAX || s == PO_E_LIMIT || s == PO_E_NOMEM);
        PROMISE(s != PO_E_SYNTAX || faults.n_faults >= 1);
        for (size_t i = 0; i < faults.n_faults; i++) {
            const po_shop_fault *f = &faults.faults[i];
            PROMISE(f->line >= 1 && f->line <= n_lines + 1 && f->column >= 1 && f->column <= n + 2);
            PROMISE(f->key && f->found && f->expected && f->expected[0]);
            PROMISE(i == 0 || f->line >= f[-1].line);
        }
    }
    po_arena_free(arena);
    return 0;
}
