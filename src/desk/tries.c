/* Failed tries: who has to wait. SPDX-License-Identifier: Apache-2.0
 *
 * Kept per member and per address, in a table that does not grow: what was quiet longest gives way. After three misses of a
 * member the wait doubles from a second to a minute, no longer: else anybody could lock a desk person out. An address has twenty
 * misses (a whole shop may stand behind one) and then waits up to five minutes. An hour without a miss forgets all. */
#include "desk/desk_inside.h"

#include <stdio.h>
#include <string.h>

enum { FORGET_SECONDS = 3600, MEMBER_FREE = 3, MEMBER_MOST_S = 60, ADDRESS_FREE = 20, ADDRESS_MOST_S = 300 };

static void key_of(char out[DESK_ID_MOST + 8], const char *kind, const char *what)
{
    snprintf(out, DESK_ID_MOST + 8, "%s:%.64s", kind, what);
}

/* With the lock held. make: where it is not there the oldest gives way. */
static desk_try *find(po_desk *desk, const char *key, bool make, int64_t now)
{
    desk_try *oldest = &desk->tries[0];
    for (int i = 0; i < DESK_TRIES; i++) {
        desk_try *t = &desk->tries[i];
        if (strcmp(t->key, key) == 0) {
            if (now - t->last_s > FORGET_SECONDS) {
                t->failures = 0;
                t->until_s = 0;
            }
            return t;
        }
        oldest = !t->key[0] ? (oldest->key[0] ? t : oldest) : oldest->key[0] && t->last_s < oldest->last_s ? t : oldest;
    }
    if (make) {
        *oldest = (desk_try){0};
        snprintf(oldest->key, sizeof oldest->key, "%s", key);
        return oldest;
    }
    return NULL;
}

static int wait_of(po_desk *desk, const char *kind, const char *what, int64_t now)
{
    char key[DESK_ID_MOST + 8];
    key_of(key, kind, what);
    const desk_try *t = find(desk, key, false, now);
    /* The clock gives whole seconds: without the one more, a wait of a second could be over in no time. */
    return t && t->until_s >= now ? (int)(t->until_s - now) + 1 : 0;
}

int desk_tries_wait(po_desk *desk, const char *member, const char *address)
{
    int64_t now = desk_seconds();
    pthread_mutex_lock(&desk->door);
    int a = member ? wait_of(desk, "m", member, now) : 0, b = wait_of(desk, "a", address, now);
    pthread_mutex_unlock(&desk->door);
    return a > b ? a : b;
}

static void miss(po_desk *desk, const char *kind, const char *what, int free_ones, int most_s, int64_t now)
{
    char key[DESK_ID_MOST + 8];
    key_of(key, kind, what);
    desk_try *t = find(desk, key, true, now);
    t->failures++;
    t->last_s = now;
    int over = t->failures - free_ones;
    if (over >= 0) {
        int wait = over < 10 ? 1 << over : most_s;
        t->until_s = now + (wait < most_s ? wait : most_s);
    }
}

void desk_tries_failed(po_desk *desk, const char *member, const char *address)
{
    int64_t now = desk_seconds();
    pthread_mutex_lock(&desk->door);
    if (member) {
        miss(desk, "m", member, MEMBER_FREE, MEMBER_MOST_S, now);
    }
    miss(desk, "a", address, ADDRESS_FREE, ADDRESS_MOST_S, now);
    pthread_mutex_unlock(&desk->door);
}

void desk_tries_well(po_desk *desk, const char *member, const char *address)
{
    (void)address; /* whoever knows one password must not be free to guess all others from the same place */
    char key[DESK_ID_MOST + 8];
    key_of(key, "m", member);
    pthread_mutex_lock(&desk->door);
    desk_try *t = find(desk, key, false, desk_seconds());
    if (t) {
        *t = (desk_try){0};
    }
    pthread_mutex_unlock(&desk->door);
}
