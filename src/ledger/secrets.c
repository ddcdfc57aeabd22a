/* Secrets of members, and what a server looks at again and again. SPDX-License-Identifier: Apache-2.0
 *
 * The table stands outside the chain, as persons does. "changed" is a number by chance, so that whoever remembers an old one
 * finds out, even when the row was made anew. */
#include <stdio.h>

#include "ledger/ledger_inside.h"
#include "proveout/secrets.h"

/* A question through the connection that asks, in a view of its own. */
static po_status begin(po_ledger *ledger, po_err *err)
{
    pthread_mutex_lock(&ledger->asking_lock);
    return po_store_begin(ledger->asking, false, err);
}

static void end(po_ledger *ledger)
{
    po_store_rollback(ledger->asking);
    pthread_mutex_unlock(&ledger->asking_lock);
}

static po_status read_secrets(po_store *store, const char *member, po_identity *id, po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(store, &rows, err, "SELECT changed, password, pin FROM secrets WHERE member = ?1", "t",
                               member);
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        const char *password = po_rows_text(rows, 1), *pin = po_rows_text(rows, 2);
        id->changed = po_rows_int(rows, 0);
        snprintf(id->password, sizeof id->password, "%s", password ? password : "");
        snprintf(id->pin, sizeof id->pin, "%s", pin ? pin : "");
    }
    return po_rows_end(rows, err);
}

po_status po_ledger_identity(po_ledger *ledger, const char *member, po_identity *ret, po_err *err)
{
    po_identity id = {0};
    po_member m = {0};
    po_err why;
    po_status s = begin(ledger, err);
    if (s == PO_OK) {
        s = po_member_find(ledger->asking, member, ledger->now_ms(ledger->user), &m, &why);
        if (s == PO_OK) {
            static const po_standing standings[] = {
                [PO_ROLE_NONE] = PO_STANDS_AS_NOBODY,
                [PO_ROLE_MEMBER] = PO_STANDS_AS_MEMBER,
                [PO_ROLE_DESK] = PO_STANDS_AS_DESK,
                [PO_ROLE_KEEPER] = PO_STANDS_AS_KEEPER,
            };
            id.suspended = m.suspended;
            id.standing = m.suspended ? PO_STANDS_AS_NOBODY : standings[m.role];
            s = read_secrets(ledger->asking, member, &id, &why);
        } else if (s == PO_E_NOTFOUND) {
            s = PO_OK;
        }
        if (s != PO_OK && err) {
            *err = why;
        }
    }
    end(ledger);
    if (s == PO_OK) {
        *ret = id;
    }
    return s;
}

po_status po_ledger_secret_set(po_ledger *ledger, const char *member, po_secret_kind kind, const char *hash,
                               po_err *err)
{
    if (!ledger->store) {
        return po_fail(err, PO_E_IO, "the book was opened to be read only; no secret can be kept");
    }
    if (hash && (!*hash || strlen(hash) >= PO_SECRET_MOST)) {
        return po_fail(err, PO_E_RANGE, "a hash takes 1 to %d bytes", PO_SECRET_MOST - 1);
    }
    po_ledger_lead(ledger);
    po_member m = {0};
    po_status s = po_store_begin(ledger->store, true, err);
    s = s == PO_OK ? po_member_find(ledger->store, member, ledger->now_ms(ledger->user), &m, err) : s;
    if (s == PO_OK) {
        s = po_store_do(
            ledger->store, NULL, err,
            kind == PO_SECRET_PASSWORD
                ? "INSERT INTO secrets(member, changed, password) VALUES(?1, random(), ?2) ON CONFLICT(member) DO "
                  "UPDATE SET changed = random(), password = ?2, pin = NULL"
                : "INSERT INTO secrets(member, changed, pin) VALUES(?1, random(), ?2) ON CONFLICT(member) DO "
                  "UPDATE SET changed = random(), pin = ?2",
            "tt", member, hash);
    }
    s = s == PO_OK ? po_store_commit(ledger->store, err) : s;
    po_store_rollback(ledger->store);
    po_ledger_let_go(ledger);
    return s;
}

po_status po_ledger_keeper_can_sign_in(po_ledger *ledger, bool *ret, po_err *err)
{
    int64_t n = 0;
    po_status s = begin(ledger, err);
    s = s == PO_OK
            ? po_store_number(ledger->asking, &n, NULL, err,
                              "SELECT count(*) FROM secrets s JOIN members m ON m.member = s.member WHERE "
                              "m.role = 'keeper' AND s.password IS NOT NULL AND (m.state = 'active' OR (m.state = "
                              "'suspended' AND m.until_ms <= ?1))",
                              "i", ledger->now_ms(ledger->user))
            : s;
    end(ledger);
    *ret = n > 0;
    return s;
}

po_status po_ledger_news(po_ledger *ledger, uint64_t after, size_t most, po_news *ret, size_t *ret_n, po_err *err)
{
    size_t n = 0;
    po_rows *rows = NULL;
    po_status s = begin(ledger, err);
    s = s == PO_OK
            ? po_store_ask(ledger->asking, &rows, err,
                           "SELECT seq, act FROM events WHERE seq > ?1 ORDER BY seq LIMIT ?2", "ii",
                           after > INT64_MAX ? INT64_MAX : (int64_t)after, (int64_t)(most < 100000 ? most : 100000))
            : s;
    if (s == PO_OK) {
        while (n < most && po_rows_next(rows)) {
            const po_act_kind *kind = po_act_find(po_rows_word(rows, 1));
            ret[n++] = (po_news){(uint64_t)po_rows_int(rows, 0), kind ? kind->verb->name : ""};
        }
        s = po_rows_end(rows, err);
    }
    end(ledger);
    *ret_n = s == PO_OK ? n : 0;
    return s;
}

po_status po_ledger_last_event(po_ledger *ledger, uint64_t *ret, po_err *err)
{
    int64_t last = 0;
    po_status s = begin(ledger, err);
    s = s == PO_OK ? po_store_number(ledger->asking, &last, NULL, err, "SELECT max(seq) FROM events", "") : s;
    end(ledger);
    *ret = (uint64_t)last;
    return s;
}

po_standing po_ledger_act_takes(const char *act)
{
    const po_act_kind *kind = po_act_find(act);
    return !kind                         ? PO_STANDS_AS_NOBODY
           : kind->who == PO_ROLE_KEEPER ? PO_STANDS_AS_KEEPER
           : kind->who == PO_ROLE_DESK   ? PO_STANDS_AS_DESK
                                         : PO_STANDS_AS_MEMBER;
}
