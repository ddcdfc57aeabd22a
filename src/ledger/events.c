/* Events: made, chained, walked, replayed. SPDX-License-Identifier: Apache-2.0
 *
 * The hash of an event is SHA-256 (FIPS 180-4) over these lines, each ended by one LF but the last:
 *   proveout/event/1
 *   seq                 decimal
 *   at_ms               decimal
 *   behind_ms           decimal
 *   act
 *   by
 *   prev                64 small hex digits: the hash of the event before, zeros for the first
 *   body                canonical JSON: no blanks, keys sorted by bytes; an LF in a text stands as \n
 * No field can hold an LF, so no two events share a serialisation. */
#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "ledger/book.h"

void po_hex(char out[2 * PO_HASH + 1], const unsigned char bytes[PO_HASH])
{
    static const char digits[] = "0123456789abcdef";
    for (int i = 0; i < PO_HASH; i++) {
        out[2 * i] = digits[bytes[i] >> 4];
        out[2 * i + 1] = digits[bytes[i] & 15];
    }
    out[2 * PO_HASH] = 0;
}

static void hash_event(unsigned char out[PO_HASH], int64_t seq, int64_t at_ms, int64_t behind_ms, const char *act,
                       const char *by, const unsigned char prev[PO_HASH], const char *body)
{
    char numbers[96], hex[2 * PO_HASH + 1];
    int n = snprintf(numbers, sizeof numbers, "proveout/event/1\n%lld\n%lld\n%lld\n", (long long)seq, (long long)at_ms,
                     (long long)behind_ms);
    po_hex(hex, prev);
    struct sha256_ctx sha;
    sha256_init(&sha);
    sha256_update(&sha, (size_t)n, (const uint8_t *)numbers);
    const char *const texts[] = {act, by, hex};
    for (int i = 0; i < 3; i++) {
        sha256_update(&sha, strlen(texts[i]), (const uint8_t *)texts[i]);
        sha256_update(&sha, 1, (const uint8_t *)"\n");
    }
    sha256_update(&sha, strlen(body), (const uint8_t *)body);
    sha256_digest(&sha, PO_HASH, out);
}

po_status po_event_tail(po_store *store, po_tail *ret, po_err *err)
{
    po_rows *rows = NULL;
    po_tail tail = {0};
    po_status s = po_store_ask(store, &rows, err, "SELECT seq, at_ms, hash FROM events ORDER BY seq DESC LIMIT 1", "");
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        size_t n = 0;
        const void *hash = po_rows_blob(rows, 2, &n);
        tail.seq = po_rows_int(rows, 0);
        tail.at_ms = po_rows_int(rows, 1);
        if (n == PO_HASH) {
            memcpy(tail.hash, hash, PO_HASH);
        } else {
            s = po_fail_at(err, PO_E_SYNTAX, po_store_path(store), 0, 0, "the hash of event %lld is damaged",
                           (long long)tail.seq);
        }
    }
    po_status end = po_rows_end(rows, s == PO_OK ? err : NULL);
    s = s == PO_OK ? end : s;
    if (s == PO_OK) {
        *ret = tail;
    }
    return s;
}

/* Apply, as the book says it may be. */
static po_status apply(po_book *book, const po_act_kind *kind, po_err *err)
{
    po_status s = po_role_of(book->store, book->by, book->at_ms, &book->role, err);
    if (s != PO_OK) {
        return s;
    }
    po_member m = {0};
    if (book->role == PO_ROLE_NONE && po_member_find(book->store, book->by, book->at_ms, &m, NULL) == PO_OK &&
        m.suspended) {
        return po_fail(err, PO_E_CONFLICT, "%s may not do %s while suspended (%s); member resume ends it", book->by,
                       kind->verb->name, m.reason);
    }
    if (book->role < kind->who) {
        return po_fail_at(err, PO_E_CONFLICT, "by", 0, 0, "%s may not do %s: it takes the role %s", book->by,
                          kind->verb->name, po_role_word(kind->who));
    }
    s = kind->apply(book, err);
    if (s == PO_OK && book->answer_failed) {
        s = po_fail(err, PO_E_NOMEM, "out of memory for an answer");
    }
    if (s == PO_OK && book->event > PO_BEFORE_KEPT) {
        s = po_store_do(book->store, NULL, err, "DELETE FROM before WHERE event = ?1", "i",
                        book->event - PO_BEFORE_KEPT);
    }
    return s;
}

po_status po_event_append(po_store *store, po_tail *tail, const po_act_kind *kind, const char *by, const json_t *body,
                          const json_t *private, int64_t clock_ms, json_t *answer, po_err *err)
{
    po_tail next = {.seq = tail->seq + 1, .at_ms = clock_ms > tail->at_ms ? clock_ms : tail->at_ms};
    int64_t behind = next.at_ms -
                     clock_ms; /* a clock that was set back: time in the book stands still until it has caught up */
    po_book book = {.store = store,
                    .event = next.seq,
                    .at_ms = next.at_ms,
                    .by = by,
                    .body = body,
                    .private = private,
                    .answer = answer};
    po_status s = apply(&book, kind, err);
    char *text = s == PO_OK ? po_fields_canonical(body) : NULL;
    if (s == PO_OK && !text) {
        s = po_fail(err, PO_E_NOMEM, "out of memory for an event");
    }
    if (s == PO_OK) {
        hash_event(next.hash, next.seq, next.at_ms, behind, kind->verb->name, by, tail->hash, text);
        s = po_store_do(store, NULL, err,
                        "INSERT INTO events(seq, at_ms, behind_ms, act, by, body, prev, hash) VALUES(?1, ?2, ?3, ?4, "
                        "?5, ?6, ?7, ?8)",
                        "iiitttbb", next.seq, next.at_ms, behind, kind->verb->name, by, text, (const void *)tail->hash,
                        (size_t)PO_HASH, (const void *)next.hash, (size_t)PO_HASH);
    }
    free(text);
    if (s == PO_OK) {
        if (behind > 0) {
            po_book_answer_int(&book, "clock_behind_ms", behind);
        }
        *tail = next;
    }
    return s;
}

enum { STEP_EVENTS = 2048 };

/* PO_E_CANCELLED where whoever watches wants no more. */
static po_status tell(const po_watching *w, int64_t seq, po_err *err)
{
    if (!w || !w->step || seq % STEP_EVENTS != 0 ||
        w->step((uint64_t)(w->before + seq), (uint64_t)(w->all > 0 ? w->all : 0), w->user)) {
        return PO_OK;
    }
    return po_fail(err, PO_E_CANCELLED, "stopped at event %lld", (long long)seq);
}

po_status po_events_replay(po_store *from, po_store *to, const po_watching *watching, po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(from, &rows, err, "SELECT seq, at_ms, act, by, body FROM events ORDER BY seq", "");
    if (s != PO_OK) {
        return s;
    }
    while (s == PO_OK && po_rows_next(rows)) {
        long long seq = po_rows_int(rows, 0);
        const char *act = po_rows_word(rows, 2), *by = po_rows_word(rows, 3), *body = po_rows_word(rows, 4);
        const po_act_kind *kind = po_act_find(act);
        json_t *object = kind ? json_loads(body, 0, NULL) : NULL;
        if (!object) {
            s = po_fail(err, PO_E_SYNTAX, "event %lld (%s) cannot be read", seq, act);
            break;
        }
        po_book book = {.store = to, .event = seq, .at_ms = po_rows_int(rows, 1), .by = by, .body = object};
        po_err why;
        s = apply(&book, kind, &why);
        if (s != PO_OK) {
            po_fail(err, s, "event %lld (%s) does not follow from those before it: %.150s", seq, act, why.msg);
        }
        json_decref(object);
        s = s == PO_OK ? tell(watching, seq, err) : s;
    }
    po_status end = po_rows_end(rows, s == PO_OK ? err : NULL);
    return s == PO_OK ? end : s;
}

po_status po_events_walk(po_store *store, po_store_say *say, void *user, const po_watching *watching, po_err *err)
{
    po_rows *rows = NULL;
    po_status s = po_store_ask(store, &rows, err,
                               "SELECT seq, at_ms, behind_ms, act, by, body, prev, hash FROM events ORDER BY seq", "");
    if (s != PO_OK) {
        return s;
    }
    po_tail last = {0};
    char sentence[200];
    while (s == PO_OK && po_rows_next(rows)) {
        long long seq = po_rows_int(rows, 0);
        int64_t at = po_rows_int(rows, 1);
        size_t n_prev = 0, n_hash = 0;
        const void *prev = po_rows_blob(rows, 6, &n_prev), *hash = po_rows_blob(rows, 7, &n_hash);
        unsigned char made[PO_HASH];
        hash_event(made, seq, at, po_rows_int(rows, 2), po_rows_word(rows, 3), po_rows_word(rows, 4), last.hash,
                   po_rows_word(rows, 5));
        if (seq != last.seq + 1) {
            snprintf(sentence, sizeof sentence, "event %lld follows on event %lld: events are missing", seq,
                     (long long)last.seq);
            say(user, sentence);
        }
        if (at < last.at_ms) {
            snprintf(sentence, sizeof sentence, "event %lld is earlier than the one before it", seq);
            say(user, sentence);
        }
        if (n_prev != PO_HASH || n_hash != PO_HASH || memcmp(prev, last.hash, PO_HASH) != 0 ||
            memcmp(hash, made, PO_HASH) != 0) {
            snprintf(sentence, sizeof sentence,
                     "event %lld does not have the hash it should have: it, or one before it, was changed", seq);
            say(user, sentence);
        }
        last.seq = seq;
        last.at_ms = at;
        if (n_hash == PO_HASH) {
            memcpy(last.hash, hash, PO_HASH);
        }
        s = tell(watching, seq, err);
    }
    po_status end = po_rows_end(rows, s == PO_OK ? err : NULL);
    return s == PO_OK ? end : s;
}
