/* Who is signed in. SPDX-License-Identifier: Apache-2.0
 *
 * In memory: after a new start everybody signs in again. Of the word in the cookie only a hash is kept. The book is asked at
 * every request who the member is now, so nobody keeps a role, or a session opened by an old password, that was taken away. */
#include "desk/desk_inside.h"

#include <stdio.h>
#include <string.h>
#include <time.h>

enum { PIN_TRIES = 5, MEMBER_IDLE_TIMES = 4 };

int64_t desk_seconds(void)
{
    struct timespec t;
    clock_gettime(CLOCK_BOOTTIME, &t); /* a computer that slept was idle, too */
    return (int64_t)t.tv_sec;
}

void desk_word_new(po_desk *desk, char ret[DESK_WORD])
{
    static const char digits[] = "0123456789abcdef";
    unsigned char bytes[32];
    desk->crypt.randombytes_buf(bytes, sizeof bytes);
    for (int i = 0; i < 32; i++) {
        ret[2 * i] = digits[bytes[i] >> 4];
        ret[2 * i + 1] = digits[bytes[i] & 15];
    }
    ret[DESK_WORD - 1] = 0;
    desk->crypt.sodium_memzero(bytes, sizeof bytes);
}

void desk_word_key(po_desk *desk, const char *word, unsigned char ret[32])
{
    desk->crypt.crypto_generichash(ret, 32, (const unsigned char *)word, strlen(word), NULL, 0);
}

/* With the lock held. */
static desk_session *find(po_desk *desk, const unsigned char key[32])
{
    for (int i = 0; i < DESK_SESSIONS; i++) {
        if (desk->sessions[i].used && memcmp(desk->sessions[i].key, key, 32) == 0) {
            return &desk->sessions[i];
        }
    }
    return NULL;
}

static void drop(po_desk *desk, desk_session *s)
{
    desk->crypt.sodium_memzero(s, sizeof *s);
}

void desk_session_end(po_desk *desk, const unsigned char key[32])
{
    pthread_mutex_lock(&desk->door);
    desk_session *s = find(desk, key);
    if (s) {
        drop(desk, s);
    }
    pthread_mutex_unlock(&desk->door);
}

bool desk_session_get(po_desk *desk, const unsigned char key[32], desk_session *ret)
{
    pthread_mutex_lock(&desk->door);
    const desk_session *s = find(desk, key);
    if (s) {
        *ret = *s;
    }
    pthread_mutex_unlock(&desk->door);
    return s != NULL;
}

bool desk_session_pin_failed(po_desk *desk, const unsigned char key[32])
{
    pthread_mutex_lock(&desk->door);
    desk_session *s = find(desk, key);
    bool ends = s && ++s->pin_failures >= PIN_TRIES;
    if (ends) {
        drop(desk, s);
    }
    pthread_mutex_unlock(&desk->door);
    return ends;
}

/* The session as it stands by the book. A book that does not answer lets nobody in. */
static bool check(po_desk *desk, const unsigned char key[32], bool active, desk_who *ret)
{
    desk_session s;
    po_identity id;
    po_err err;
    uint64_t booked, event;
    desk_live_seen(desk, &booked, &event);
    if (!desk_session_get(desk, key, &s) || po_ledger_identity(desk->options.ledger, s.member, &id, &err) != PO_OK) {
        return false;
    }
    po_standing role = id.standing < s.most ? id.standing : s.most;
    int64_t now = desk_seconds(), idle = desk->options.idle_seconds;
    idle = role >= PO_STANDS_AS_DESK ? idle : idle * MEMBER_IDLE_TIMES;
    if (role == PO_STANDS_AS_NOBODY || id.changed != s.changed || now - s.seen_s >= idle ||
        now - s.begun_s >= DESK_SESSION_MOST_SECONDS) {
        desk_session_end(desk, key);
        return false;
    }
    pthread_mutex_lock(&desk->door);
    desk_session *own = find(desk, key);
    if (own) {
        own->seen_s = active ? now : own->seen_s;
        own->checked_s = own->changed == s.changed ? now : 0;
        own->checked_booked = booked;
        own->checked = role;
    }
    pthread_mutex_unlock(&desk->door);
    if (ret) {
        *ret = (desk_who){.role = role};
        snprintf(ret->member, sizeof ret->member, "%s", s.member);
        memcpy(ret->token, s.token, sizeof ret->token);
        memcpy(ret->key, key, 32);
    }
    return true;
}

bool desk_session_who(po_desk *desk, const char *word, bool active, desk_who *ret)
{
    unsigned char key[32];
    *ret = (desk_who){.role = PO_STANDS_AS_NOBODY};
    desk_word_key(desk, word, key);
    return check(desk, key, active, ret);
}

bool desk_session_holds(po_desk *desk, const unsigned char key[32])
{
    return check(desk, key, false, NULL);
}

po_standing desk_session_known(po_desk *desk, const char *word, bool active, uint64_t booked)
{
    unsigned char key[32];
    int64_t now = desk_seconds(), idle = desk->options.idle_seconds;
    po_standing role = PO_STANDS_AS_NOBODY;
    desk_word_key(desk, word, key);
    pthread_mutex_lock(&desk->door);
    desk_session *s = find(desk, key);
    if (s && s->checked_s == now && s->checked_booked == booked && now - s->seen_s < idle &&
        now - s->begun_s < DESK_SESSION_MOST_SECONDS) {
        role = s->checked;
        s->seen_s = active ? now : s->seen_s;
    }
    pthread_mutex_unlock(&desk->door);
    return role;
}

bool desk_session_begin(po_desk *desk, const char *member, po_standing most, bool by_code, char ret_word[DESK_WORD],
                        desk_who *ret)
{
    po_identity id;
    po_err err;
    if (po_ledger_identity(desk->options.ledger, member, &id, &err) != PO_OK || id.standing == PO_STANDS_AS_NOBODY) {
        return false;
    }
    desk_session s = {.used = true, .by_code = by_code, .most = most, .changed = id.changed, .begun_s = desk_seconds()};
    s.seen_s = s.begun_s;
    snprintf(s.member, sizeof s.member, "%s", member);
    desk_word_new(desk, ret_word);
    desk_word_new(desk, s.token);
    desk_word_key(desk, ret_word, s.key);
    pthread_mutex_lock(&desk->door);
    desk_session *place = &desk->sessions[0];
    for (int i = 1; i < DESK_SESSIONS && place->used; i++) {
        desk_session *other = &desk->sessions[i];
        place = !other->used || other->seen_s < place->seen_s ? other : place;
    }
    *place = s;
    pthread_mutex_unlock(&desk->door);
    *ret = (desk_who){.role = id.standing < most ? id.standing : most};
    snprintf(ret->member, sizeof ret->member, "%s", member);
    memcpy(ret->token, s.token, sizeof ret->token);
    memcpy(ret->key, s.key, sizeof ret->key);
    return true;
}

void desk_session_renew(po_desk *desk, const char *member, const unsigned char *but)
{
    po_identity id = {0};
    po_err err;
    bool known = po_ledger_identity(desk->options.ledger, member, &id, &err) == PO_OK;
    pthread_mutex_lock(&desk->door);
    for (int i = 0; i < DESK_SESSIONS; i++) {
        desk_session *s = &desk->sessions[i];
        if (!s->used || strcmp(s->member, member) != 0) {
            continue;
        }
        if (known && but && memcmp(s->key, but, 32) == 0) {
            s->changed = id.changed;
            s->checked_s = 0;
            s->by_code = false;
        } else {
            drop(desk, s);
        }
    }
    pthread_mutex_unlock(&desk->door);
}
