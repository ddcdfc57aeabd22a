/* One-time codes that the desk gives to members. SPDX-License-Identifier: Apache-2.0
 *
 * Eleven of 31 letters and digits that are not taken for one another: 54 bits. In memory, as hashes: after a new start they are
 * void, and the desk gives another. */
#include "desk/desk_inside.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

static const char letters[] = "23456789ABCDEFGHJKMNPQRSTUVWXYZ";
enum { LETTERS = sizeof letters - 1, CODE = 11 };

void desk_code_new(po_desk *desk, const char *member, po_standing most, char ret[16])
{
    char plain[CODE + 1] = "";
    for (int i = 0; i < CODE;) {
        unsigned char b;
        desk->crypt.randombytes_buf(&b, 1);
        if (b < 256 / LETTERS * LETTERS) { /* else some letters would come more often */
            plain[i++] = letters[b % LETTERS];
        }
    }
    int64_t now = desk_seconds();
    pthread_mutex_lock(&desk->door);
    desk_code *place = &desk->codes[0];
    for (int i = 0; i < DESK_CODES; i++) {
        desk_code *c = &desk->codes[i];
        if (c->used && strcmp(c->member, member) == 0) {
            c->used = false;
        }
        if (!c->used || (place->used && c->until_s < place->until_s)) {
            place = place->used ? c : place;
        }
    }
    *place = (desk_code){.used = true, .most = most, .until_s = now + DESK_CODE_SECONDS};
    desk_word_key(desk, plain, place->key);
    snprintf(place->member, sizeof place->member, "%s", member);
    pthread_mutex_unlock(&desk->door);
    snprintf(ret, 16, "%.4s-%.4s-%.3s", plain, plain + 4, plain + 8);
}

bool desk_code_take(po_desk *desk, const char *code, char ret_member[DESK_ID_MOST], po_standing *ret_most)
{
    char plain[CODE + 1];
    int n = 0;
    for (const char *p = code; *p; p++) {
        if (*p == '-' || *p == ' ') {
            continue;
        }
        if (n == CODE) {
            return false;
        }
        plain[n++] = (char)toupper((unsigned char)*p);
    }
    plain[n] = 0;
    unsigned char key[32];
    desk_word_key(desk, plain, key);
    bool found = false;
    pthread_mutex_lock(&desk->door);
    for (int i = 0; i < DESK_CODES && !found; i++) {
        desk_code *c = &desk->codes[i];
        if (c->used && memcmp(c->key, key, sizeof key) == 0) {
            found = c->until_s > desk_seconds();
            c->used = false;
            *ret_most = c->most;
            snprintf(ret_member, DESK_ID_MOST, "%s", c->member);
        }
    }
    pthread_mutex_unlock(&desk->door);
    return found;
}
