/* Cards for the wall: fire, first aid, waste. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/cards.h"

#include <string.h>

#include "base/text.h"

/* clang-format off */
#define CARD(id, title, lines) {id, title, lines},
static const po_card cards[] = {
#include "care/room_cards.inc"
};
#undef CARD
/* clang-format on */

static const char standing[] =
    "Local codes, the site's safety office and the maker's instructions go before anything said here.";

const po_card *po_cards(size_t *ret_n)
{
    *ret_n = sizeof cards / sizeof cards[0];
    return cards;
}

static void add_html(po_text *t, const char *text, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        switch (text[i]) {
        case '<':
            po_text_add(t, "&lt;");
            break;
        case '>':
            po_text_add(t, "&gt;");
            break;
        case '&':
            po_text_add(t, "&amp;");
            break;
        case '"':
            po_text_add(t, "&quot;");
            break;
        default:
            po_text_add_n(t, text + i, 1);
        }
    }
}

po_status po_cards_html(const char *shop, const char *only, po_arena *arena, const char **ret, size_t *ret_n,
                        po_err *err)
{
    po_text t;
    bool any = false;
    po_text_init(&t, arena);
    po_text_add(&t, "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>Cards of ");
    add_html(&t, shop, strlen(shop));
    po_text_add(&t, "</title>\n<style>@page{size:A5;margin:14mm}body{font:14pt/1.4 "
                    "sans-serif;color:#000;background:#fff;margin:0 auto;max-width:40em}"
                    "section{break-after:page;padding:8mm;border:1.5pt solid #000;margin:0 0 "
                    "8mm}h1{font-size:22pt;margin:0 0 4mm}li{margin:0 0 2mm}"
                    "footer{font-size:10pt;border-top:.5pt solid #000;padding-top:2mm}</style></head><body>\n");
    for (size_t i = 0; i < sizeof cards / sizeof cards[0]; i++) {
        if (only && strcmp(only, cards[i].id) != 0) {
            continue;
        }
        any = true;
        po_text_add(&t, "<section><h1>");
        add_html(&t, cards[i].title, strlen(cards[i].title));
        po_text_add(&t, "</h1><ol>");
        for (const char *p = cards[i].lines; *p;) {
            size_t n = strcspn(p, "|");
            po_text_add(&t, "<li>");
            add_html(&t, p, n);
            po_text_add(&t, "</li>");
            p += n + (p[n] == '|');
        }
        po_text_add(&t, "</ol><footer>");
        add_html(&t, shop, strlen(shop));
        po_text_printf(&t, ". %s Emergency numbers: ______________</footer></section>\n", standing);
    }
    po_text_add(&t, "</body></html>\n");
    if (!any) {
        return po_fail_at(err, PO_E_NOTFOUND, "card", 0, 0,
                          "there is no card \"%.60s\"; proveout room cards lists them", only);
    }
    if (t.failed) {
        return po_fail(err, PO_E_NOMEM, "out of memory for cards");
    }
    *ret = t.data;
    *ret_n = t.n;
    return PO_OK;
}
