/* The folder beside the book held against the book: verified, tidied, copied. SPDX-License-Identifier: Apache-2.0
 *
 * A file that somebody has put there and not booked yet must not be removed: so nothing younger than an hour is, and the last
 * look at its age and at the book happens under the lock under which files get their names. Ages are by the system's clock,
 * as the folder's times are. A book whose tables are not made yet refers to nothing, so it removes nothing. */
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "ledger/keepsakes_inside.h"

enum { YOUNG_S = 3600, PAGE = 200 };

static po_status is_referred_to(po_ledger *ledger, const char *sha256, bool *ret, po_err *err)
{
    int64_t refers = -1;
    pthread_mutex_lock(&ledger->asking_lock);
    po_status s = po_store_begin(ledger->asking, false, err);
    s = s == PO_OK
            ? po_store_number(ledger->asking, &refers, NULL, err,
                              "SELECT CASE WHEN (SELECT version FROM derived) <> ?2 THEN -1 WHEN EXISTS(SELECT 1 FROM "
                              "files WHERE sha256 = ?1 AND removed_ms IS NULL) OR EXISTS(SELECT 1 FROM machines WHERE "
                              "photo = ?1) THEN 1 ELSE EXISTS(SELECT 1 FROM before WHERE tbl = ?3 AND was IS NOT NULL "
                              "AND json_extract(was, '$.photo') = ?1) END",
                              "tii", sha256, (int64_t)PO_SCHEMA_VERSION, (int64_t)PO_T_MACHINES)
            : s;
    po_store_rollback(ledger->asking);
    pthread_mutex_unlock(&ledger->asking_lock);
    *ret = refers != 0;
    return s == PO_OK && refers < 0
               ? po_fail_at(err, PO_E_CONFLICT, po_store_path(ledger->asking), 0, 0,
                            "the book is being brought to another version; try again when that is done")
               : s;
}

typedef struct tidying {
    po_ledger *ledger;
    po_vault *vault;
    po_keepsakes_tidied *sums;
    bool only_look;
} tidying;

static bool is_young(const struct stat *st)
{
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    return st->st_mtim.tv_sec > now.tv_sec - YOUNG_S; /* and what is of a time to come */
}

/* Under the lock: is it still so that nothing needs it? Then remove it. */
static po_status remove_one(tidying *t, const char *sha256, int folder, const char *name, po_err *err)
{
    struct stat st;
    bool refers = false;
    po_status s = po_vault_lock(t->vault, err);
    s = s == PO_OK && sha256 ? is_referred_to(t->ledger, sha256, &refers, err) : s;
    if (s == PO_OK && fstatat(folder, name, &st, AT_SYMLINK_NOFOLLOW) != 0) {
        s = errno == ENOENT
                ? PO_OK
                : po_fail_at(err, PO_E_IO, t->vault->path, 0, 0, "a file can't be looked at: %s", strerror(errno));
    } else if (s == PO_OK && refers) {
        t->sums->n_kept++;
        t->sums->bytes_kept += st.st_size;
    } else if (s == PO_OK && is_young(&st)) {
        t->sums->n_young++;
    } else if (s == PO_OK && !t->only_look && unlinkat(folder, name, 0) != 0 && errno != ENOENT) {
        s = po_fail_at(err, PO_E_IO, t->vault->path, 0, 0, "a file can't be removed: %s", strerror(errno));
    } else if (s == PO_OK) {
        t->sums->n_removed++;
        t->sums->bytes_removed += st.st_size;
    }
    po_vault_unlock(t->vault);
    return s;
}

static po_status tidy_one(void *user, const char *sha256, int folder, const char *name, const struct stat *st,
                          po_err *err)
{
    tidying *t = user;
    bool refers = false;
    bool cut_off = !sha256 && folder == t->vault->folder && !strncmp(name, "part-", 5) && S_ISREG(st->st_mode);
    if (!sha256 && !cut_off) {
        t->sums->n_strange++;
        return PO_OK;
    }
    po_status s = sha256 ? is_referred_to(t->ledger, sha256, &refers, err) : PO_OK;
    if (s == PO_OK && refers) {
        t->sums->n_kept++;
        t->sums->bytes_kept += st->st_size;
        return PO_OK;
    }
    if (s == PO_OK && is_young(st)) {
        t->sums->n_young++;
        return PO_OK;
    }
    return s == PO_OK ? remove_one(t, sha256, folder, name, err) : s;
}

po_status po_keepsakes_tidy(po_ledger *ledger, bool only_look, po_keepsakes_tidied *ret, po_err *err)
{
    po_vault vault;
    po_err why = {0};
    po_keepsakes_tidied sums = {0};
    po_status s = po_vault_open(ledger, false, &vault, &why);
    tidying t = {ledger, &vault, &sums, only_look};
    s = s == PO_OK ? po_vault_walk(&vault, tidy_one, &t, &why) : s == PO_E_NOTFOUND ? PO_OK : s;
    po_vault_close(&vault);
    if (s == PO_OK) {
        *ret = sums;
    } else if (err) {
        *err = why;
    }
    return s;
}

/* One content that the book refers to. */
typedef struct wanted {
    char sha256[65];
    int64_t bytes; /* -1: the book does not say */
} wanted;

/* The next ones by hash, after a hash. A page at a time: hashing takes long, and the book must not wait for it. */
static po_status next_page(po_ledger *ledger, const char *after, wanted page[PAGE], int *ret_n, po_err *err)
{
    po_rows *rows = NULL;
    pthread_mutex_lock(&ledger->asking_lock);
    po_status s = po_store_begin(ledger->asking, false, err);
    s = s == PO_OK
            ? po_store_ask(ledger->asking, &rows, err,
                           "SELECT sha256, max(bytes) FROM (SELECT * FROM (SELECT sha256, bytes FROM files WHERE "
                           "removed_ms IS NULL AND sha256 > ?1 GROUP BY sha256 ORDER BY sha256 LIMIT ?2) UNION ALL "
                           "SELECT photo, -1 FROM machines WHERE photo > ?1) GROUP BY sha256 ORDER BY sha256 "
                           "LIMIT ?2",
                           "ti", after, (int64_t)PAGE)
            : s;
    *ret_n = 0;
    if (s == PO_OK) {
        while (*ret_n < PAGE && po_rows_next(rows)) {
            wanted *w = &page[(*ret_n)++];
            snprintf(w->sha256, sizeof w->sha256, "%s", po_rows_word(rows, 0));
            w->bytes = po_rows_int(rows, 1);
        }
        s = po_rows_end(rows, err);
    }
    po_store_rollback(ledger->asking);
    pthread_mutex_unlock(&ledger->asking_lock);
    return s;
}

/* Do for each content that the book refers to; stops where it fails. */
typedef po_status for_each(void *user, const wanted *w, po_err *err);

static po_status each_wanted(po_ledger *ledger, for_each *visit, void *user, po_err *err)
{
    wanted page[PAGE];
    char after[65] = "";
    int n = PAGE;
    po_status s = PO_OK;
    while (s == PO_OK && n == PAGE) {
        s = next_page(ledger, after, page, &n, err);
        for (int i = 0; s == PO_OK && i < n; i++) {
            s = visit(user, &page[i], err);
        }
        if (n > 0) {
            memcpy(after, page[n - 1].sha256, sizeof after);
        }
    }
    return s;
}

/* Whole, or what is wrong with it (PO_E_NOTFOUND, PO_E_SYNTAX) or with reading it. */
static po_status is_whole(const po_vault *vault, const wanted *w, po_err *err)
{
    int file = -1;
    int64_t bytes = 0;
    po_status s = po_vault_find(vault, w->sha256, &file, &bytes, err);
    if (s == PO_OK && w->bytes >= 0 && bytes != w->bytes) {
        s = po_fail_at(err, PO_E_SYNTAX, "kept file", 0, 0,
                       "%.12s... is damaged: it has %lld bytes instead of %lld; bring it back from a backup", w->sha256,
                       (long long)bytes, (long long)w->bytes);
    }
    s = s == PO_OK ? po_vault_pour(file, w->sha256, NULL, NULL, err) : s;
    if (file >= 0) {
        close(file);
    }
    return s;
}

/* What they are for, so that somebody can look for another copy. */
static po_status note(po_ledger *ledger, po_faults *faults, const wanted *w, const po_err *why, po_err *err)
{
    char sentence[400], whose[120] = "the photo of a machine";
    po_rows *rows = NULL;
    pthread_mutex_lock(&ledger->asking_lock);
    po_status s = po_store_begin(ledger->asking, false, err);
    s = s == PO_OK ? po_store_ask(ledger->asking, &rows, err,
                                  "SELECT id, run, machine, kind FROM files WHERE sha256 = ?1 AND removed_ms IS NULL "
                                  "ORDER BY id LIMIT 1",
                                  "t", w->sha256)
                   : s;
    if (s == PO_OK) {
        if (po_rows_next(rows)) {
            long long id = po_rows_int(rows, 0), run = po_rows_int(rows, 1);
            const char *machine = po_rows_text(rows, 2), *kind = po_rows_text(rows, 3);
            if (run) {
                snprintf(whose, sizeof whose, "file %lld (%s) of run %lld", id, kind, run);
            } else {
                snprintf(whose, sizeof whose, "file %lld (%s) of %s", id, kind, machine ? machine : "a machine");
            }
        }
        s = po_rows_end(rows, err);
    }
    po_store_rollback(ledger->asking);
    pthread_mutex_unlock(&ledger->asking_lock);
    if (s == PO_OK) {
        snprintf(sentence, sizeof sentence, "%s: %s", whose, why->msg);
        po_faults_note(faults, sentence);
    }
    return s;
}

typedef struct holding {
    po_ledger *from, *to;
    po_vault *source, *vault; /* source: of po_keepsakes_copy; folder -1: there is none */
    po_faults *faults;
    int64_t copied;
} holding;

/* A fault of the file, unless it was detached while we looked; anything else ends it all. */
static po_status judge(holding *h, const wanted *w, po_status found, const po_err *why, po_err *err)
{
    bool refers = false;
    if (found == PO_OK) {
        return PO_OK;
    }
    if (found == PO_E_NOMEM || found == PO_E_CONFLICT || found == PO_E_LIMIT) {
        if (err) {
            *err = *why;
        }
        return found;
    }
    po_status s = is_referred_to(h->to, w->sha256, &refers, err);
    return s == PO_OK && refers ? note(h->to, h->faults, w, why, err) : s;
}

static po_status verify_one(void *user, const wanted *w, po_err *err)
{
    holding *h = user;
    po_err why = {0};
    return judge(h, w, is_whole(h->vault, w, &why), &why, err);
}

po_status po_keepsakes_verify(po_ledger *ledger, po_arena *arena, const char *const **ret_faults, size_t *ret_n,
                              po_err *err)
{
    po_vault vault;
    po_faults *faults = po_faults_new(arena, err);
    if (!faults) {
        return PO_E_NOMEM;
    }
    holding h = {.to = ledger, .vault = &vault, .faults = faults};
    po_status s = po_vault_open(ledger, false, &vault, err);
    if (s == PO_OK || s == PO_E_NOTFOUND) { /* without a folder each is missing, and none may be wanted */
        s = each_wanted(ledger, verify_one, &h, err);
    }
    po_vault_close(&vault);
    return s == PO_OK ? po_faults_hand_back(faults, ret_faults, ret_n, err) : s;
}

static po_status copy_one(void *user, const wanted *w, po_err *err)
{
    holding *h = user;
    po_err why = {0};
    int file = -1;
    int64_t bytes = 0;
    if (is_whole(h->vault, w, NULL) == PO_OK) {
        return PO_OK;
    }
    po_keepsake kept;
    po_status s = po_vault_find(h->source, w->sha256, &file, &bytes, &why);
    if (s == PO_OK) {
        s = po_vault_put(h->vault, file, "kept file", w->sha256, NULL, &kept, &why);
        h->copied += s == PO_OK;
        close(file);
        if (s == PO_E_IO) { /* a full disk: the next would not fare better */
            if (err) {
                *err = why;
            }
            return s;
        }
    }
    return judge(h, w, s, &why, err);
}

po_status po_keepsakes_copy(po_ledger *from, po_ledger *to, po_arena *arena, int64_t *ret_copied,
                            const char *const **ret_faults, size_t *ret_n, po_err *err)
{
    po_vault source, vault = {.folder = -1, .lock = -1};
    po_faults *faults = po_faults_new(arena, err);
    if (!faults) {
        return PO_E_NOMEM;
    }
    holding h = {from, to, &source, &vault, faults, 0};
    wanted one[PAGE];
    int n = 0;
    po_status s = next_page(to, "", one, &n, err);
    po_status found = s == PO_OK ? po_vault_open(from, false, &source, err) : s;
    s = found == PO_E_NOTFOUND ? PO_OK : found;
    s = s == PO_OK && n > 0 ? po_vault_open(to, true, &vault, err) : s; /* no folder where nothing is to be kept */
    s = s == PO_OK && n > 0 ? each_wanted(to, copy_one, &h, err) : s;
    po_vault_close(&source);
    po_vault_close(&vault);
    s = s == PO_OK ? po_faults_hand_back(faults, ret_faults, ret_n, err) : s;
    if (s == PO_OK) {
        *ret_copied = h.copied;
    }
    return s;
}
