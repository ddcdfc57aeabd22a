/* Lists of members, permits and waivers. SPDX-License-Identifier: Apache-2.0
 *
 * A list is walked along one index and cut off at its limit; each has a text of SQL for each way to walk it. */
#include <string.h>

#include "ledger/answers.h"

enum { SEARCH_MOST = 1000 };

/* The words as a pattern of LIKE: what LIKE itself reads is taken literally. before: "%" or "". */
static void pattern_of(char out[2 * SEARCH_MOST + 3], const char *before, const char *words)
{
    size_t n = strlen(before);
    memcpy(out, before, n);
    for (; *words && n < 2 * SEARCH_MOST; words++) {
        if (*words == '%' || *words == '_' || *words == '\\') {
            out[n++] = '\\';
        }
        out[n++] = *words;
    }
    memcpy(out + n, "%", 2);
}

po_status po_ask_members(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *search = po_field_text(p, "search");
    int64_t limit = po_limit_of(p);
    char starts[2 * SEARCH_MOST + 3], within[2 * SEARCH_MOST + 3];
    po_rows *rows = NULL;
    pattern_of(starts, "", search ? search : "");
    pattern_of(within, "%", search ? search : "");
    po_put_text(ret, "format", "proveout/members/1");
    po_status s = po_store_ask(store, &rows, err,
                               "SELECT m.member AS member, p.name AS name, p.contact AS contact, m.role AS role, "
                               "iif(m.state = 'suspended' AND "
                               "m.until_ms <= ?1, 'active', m.state) AS state, iif(m.until_ms <= ?1, NULL, m.reason) "
                               "AS reason, iif(m.until_ms <= "
                               "?1, NULL, m.until_ms) AS until_ms FROM members m LEFT JOIN persons p ON p.member = "
                               "m.member WHERE m.member > ?2 AND "
                               "(?3 IS NULL OR m.member LIKE ?4 ESCAPE '\\' OR p.name LIKE ?5 ESCAPE '\\' OR p.contact "
                               "LIKE ?5 ESCAPE '\\') AND (?6 "
                               "IS NULL OR m.role = ?6) AND iif(?7 IS NULL, m.state <> 'forgotten', iif(m.state = "
                               "'suspended' AND m.until_ms <= ?1, "
                               "'active', m.state) = ?7) ORDER BY m.member LIMIT ?8",
                               "itttttti", now, po_field_has(p, "after") ? po_field_text(p, "after") : "", search,
                               starts, within, po_field_text(p, "role"), po_field_text(p, "state"), limit + 1);
    return s == PO_OK ? po_put_rows(rows, ret, "members", limit, err) : s;
}

#define PERMIT                                                                                                         \
    "SELECT p.id AS permit, m.member AS member, o.name AS name, p.permission AS permission, p.given_by AS given_by, "  \
    "p.given_ms AS given_ms, p.until_ms AS until_ms FROM permits p JOIN members m ON m.id = p.member LEFT JOIN "       \
    "persons o ON o.member = m.member WHERE p.withdrawn_ms IS NULL AND "
#define HOLDS "(p.until_ms IS NULL OR p.until_ms > ?1) AND (?2 = 0 OR p.id < ?2) AND m.state <> 'forgotten'"

po_status po_ask_permits(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *permission = po_field_text(p, "permission");
    int64_t limit = po_limit_of(p), before = po_field_int(p, "before");
    po_member m = {0};
    po_rows *rows = NULL;
    po_put_text(ret, "format", "proveout/permits/1");
    po_status s = PO_OK;
    if (po_field_has(p, "member")) {
        s = po_member_find(store, po_field_text(p, "member"), now, &m, err);
    }
    if (s != PO_OK) {
        return s;
    }
    if (po_field_has(p, "lapse_before")) { /* the first to lapse first */
        s = po_store_ask(store, &rows, err,
                         PERMIT
                         "p.until_ms > ?1 AND p.until_ms < ?3 AND (?4 IS NULL OR p.permission = ?4) AND (?5 = 0 OR "
                         "p.member = ?5) AND m.state <> 'forgotten' AND (?2 = 0 OR (p.until_ms, p.id) > (SELECT "
                         "until_ms, id FROM permits WHERE id = ?2)) ORDER BY p.until_ms, p.id LIMIT ?6",
                         "iiitii", now, before, po_field_int(p, "lapse_before"), permission, m.id, limit + 1);
    } else if (m.id) {
        s = po_store_ask(store, &rows, err,
                         PERMIT HOLDS
                         " AND p.member = ?3 AND (?4 IS NULL OR p.permission = ?4) ORDER BY p.id DESC LIMIT ?5",
                         "iiiti", now, before, m.id, permission, limit + 1);
    } else if (permission) {
        s = po_store_ask(store, &rows, err, PERMIT HOLDS " AND p.permission = ?3 ORDER BY p.id DESC LIMIT ?4", "iiti",
                         now, before, permission, limit + 1);
    } else {
        s = po_store_ask(store, &rows, err, PERMIT HOLDS " ORDER BY p.id DESC LIMIT ?3", "iii", now, before, limit + 1);
    }
    return s == PO_OK ? po_put_rows(rows, ret, "permits", limit, err) : s;
}

/* what: of which of them; holding (?2) leaves out those from which nothing can be drawn at this time (?1) */
#define WAIVERS(what)                                                                                                  \
    "SELECT waiver, member, name, um, left_um, iif(withdrawn_ms IS NOT NULL, 'withdrawn', iif(until_ms <= ?1, "        \
    "'lapsed', iif(left_um = 0, 'used', 'holds'))) AS state, reason, asked_by, given_by, given_ms, until_ms, "         \
    "withdrawn_ms, sha256 FROM (SELECT w.id AS waiver, m.member AS member, o.name AS name, w.um - coalesce((SELECT "   \
    "sum(d.um) FROM draws d WHERE d.waiver = w.id), 0) AS left_um, w.um AS um, w.reason AS reason, w.asked_by AS "     \
    "asked_by, w.given_by AS given_by, w.given_ms AS given_ms, w.until_ms AS until_ms, w.withdrawn_ms AS "             \
    "withdrawn_ms, w.sha256 AS sha256 FROM waivers w JOIN members m ON m.id = w.member LEFT JOIN persons o ON "        \
    "o.member = m.member WHERE " what " AND (?2 = 0 OR (w.withdrawn_ms IS NULL AND (w.until_ms IS NULL OR w.until_ms " \
    "> ?1))) ORDER BY w.id DESC) WHERE ?2 = 0 OR left_um > 0 ORDER BY waiver DESC LIMIT ?3"

po_status po_ask_waivers(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p), holding = po_field_flag(p, "holding");
    po_member m = {0};
    po_rows *rows = NULL;
    po_put_text(ret, "format", "proveout/waivers/1");
    if (!po_field_has(p, "member")) {
        po_status s = po_store_ask(store, &rows, err, WAIVERS("1"), "iii", now, holding, limit + 1);
        return s == PO_OK ? po_put_rows(rows, ret, "waivers", limit, err) : s;
    }
    po_status s = po_member_find(store, po_field_text(p, "member"), now, &m, err);
    s = s == PO_OK ? po_store_ask(store, &rows, err, WAIVERS("w.member = ?4"), "iiii", now, holding, limit + 1, m.id)
                   : s;
    return s == PO_OK ? po_put_rows(rows, ret, "waivers", limit, err) : s;
}
