/* Calendar files looked at while the server runs (opening.h). SPDX-License-Identifier: Apache-2.0
 *
 * Whoever asked before may still use the shop as it was, so nothing of it is freed until the desk closes; a file that is written anew
 * with the same events counts as unchanged, and the number of changes is bounded. */
#include "desk/opening.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "desk/proving.h"
#include "work/opening.h"

enum { LOOK_S = 1, CHANGES_MOST = 500, LAID_DAYS = 30 };

struct desk_opening {
    pthread_mutex_t lock;
    const po_shop *shop;
    po_shop plain; /* without exceptions */
    po_arena *arenas[CHANGES_MOST];
    int n_arenas;
    int64_t looked_s;
    uint64_t seen; /* of the files as they were */
    bool told_full;
};

static uint64_t mixed(uint64_t seen, uint64_t value)
{
    return (seen ^ value) * UINT64_C(1099511628211); /* FNV-1a, by words (G. Fowler, L. C. Noll, K.-P. Vo) */
}

/* Names, sizes and times of change of all files; and the month, for they are laid out for so many days only. */
static uint64_t look(const po_desk *desk)
{
    const po_shop *shop = desk->options.shop;
    const char *slash = strrchr(desk->options.shop_path, '/');
    int folder = slash ? (int)(slash - desk->options.shop_path) + 1 : 0;
    uint64_t seen = mixed(UINT64_C(14695981039346656037),
                          (uint64_t)(desk_now_ms_of(desk) / (INT64_C(86400000) * LAID_DAYS)));
    po_arena *arena = po_arena_new(0);
    for (size_t i = 0; arena && i < shop->n_calendars + shop->n_holidays; i++) {
        const char *path = i < shop->n_calendars ? shop->calendars[i] : shop->holidays[i - shop->n_calendars];
        const char *whole = path[0] == '/' ? path
                                           : po_arena_printf(arena, "%.*s%s", folder, desk->options.shop_path, path);
        struct stat st;
        bool there = whole && stat(whole, &st) == 0;
        seen = mixed(seen, there ? (uint64_t)st.st_size : UINT64_MAX);
        seen = mixed(seen, there ? (uint64_t)st.st_ino : 0);
        seen = mixed(seen, there ? (uint64_t)st.st_mtim.tv_sec * 1000000000 + (uint64_t)st.st_mtim.tv_nsec : 0);
    }
    po_arena_free(arena);
    return seen;
}

static bool alike(const po_shop *a, const po_shop *b)
{
    bool same = a->n_exceptions == b->n_exceptions;
    for (size_t i = 0; same && i < a->n_exceptions; i++) {
        const po_shop_exception *x = &a->exceptions[i], *y = &b->exceptions[i];
        same = x->from_ms == y->from_ms && x->until_ms == y->until_ms && x->effect == y->effect;
    }
    return same;
}

static void read_again(po_desk *desk, struct desk_opening *o)
{
    const po_shop *fresh = NULL;
    po_err err = {0};
    if (o->n_arenas == CHANGES_MOST) {
        if (!o->told_full) {
            desk_log(desk, json_pack("{s:s, s:i}", "what", "calendars changed too often; start the server anew",
                                     "changes", CHANGES_MOST));
        }
        o->told_full = true;
        return;
    }
    po_arena *arena = po_arena_new(0);
    po_status s = arena ? work_opening(&o->plain, desk->options.shop_path, desk_now_ms_of(desk), arena, &fresh, &err)
                        : po_fail(&err, PO_E_NOMEM, "memory ran out");
    if (s != PO_OK) {
        desk_log(desk, json_pack("{s:s, s:s, s:s}", "what", "a calendar can't be read; hours stay as they were",
                                 "where", err.where, "says", err.msg));
        po_arena_free(arena);
    } else if (alike(fresh, o->shop)) {
        po_arena_free(arena);
    } else {
        o->arenas[o->n_arenas++] = arena;
        o->shop = fresh;
        desk_log(desk, json_pack("{s:s, s:I}", "what", "calendars read again", "exceptions",
                                 (json_int_t)fresh->n_exceptions));
    }
}

const po_shop *desk_shop_now(po_desk *desk)
{
    struct desk_opening *o = desk->opening;
    if (!o) {
        return desk->options.shop;
    }
    pthread_mutex_lock(&o->lock);
    int64_t now = desk_seconds();
    if (now - o->looked_s >= LOOK_S) {
        uint64_t seen = look(desk);
        o->looked_s = now;
        if (seen != o->seen) {
            o->seen = seen;
            read_again(desk, o);
        }
    }
    const po_shop *shop = o->shop;
    pthread_mutex_unlock(&o->lock);
    return shop;
}

po_status desk_opening_open(po_desk *desk, po_err *err)
{
    const po_shop *shop = desk->options.shop;
    if (!desk->options.shop_path || shop->n_calendars + shop->n_holidays == 0) {
        return PO_OK;
    }
    struct desk_opening *o = calloc(1, sizeof *o);
    if (!o) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    pthread_mutex_init(&o->lock, NULL);
    o->shop = shop;
    o->plain = *shop;
    o->plain.exceptions = NULL;
    o->plain.n_exceptions = 0;
    memset(o->plain.excepted, 0, sizeof o->plain.excepted);
    memset(o->plain.n_excepted, 0, sizeof o->plain.n_excepted);
    desk->opening = o;
    o->looked_s = desk_seconds();
    return PO_OK;
}

void desk_opening_close(po_desk *desk)
{
    struct desk_opening *o = desk->opening;
    if (o) {
        for (int i = 0; i < o->n_arenas; i++) {
            po_arena_free(o->arenas[i]);
        }
        pthread_mutex_destroy(&o->lock);
        free(o);
        desk->opening = NULL;
    }
}
