/* The folder of studies. SPDX-License-Identifier: Apache-2.0 */
#include "work/studies.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/whole.h"

enum { FAULTS_MOST = 500, STUDY_BYTES_MOST = 4 * 1024 * 1024 };

typedef struct reading {
    po_arena *arena;
    const char *faults[FAULTS_MOST];
    size_t n;
} reading;

static void tell(reading *r, const char *text)
{
    if (text && r->n < FAULTS_MOST) {
        r->faults[r->n++] = text;
    }
}

const char *work_studies_folder(const po_shop *shop, const char *shop_path, po_arena *arena)
{
    const char *slash = shop_path ? strrchr(shop_path, '/') : NULL;
    if (!shop->studies) {
        return NULL;
    }
    return shop->studies[0] == '/' || !slash
               ? shop->studies
               : po_arena_printf(arena, "%.*s/%s", (int)(slash - shop_path), shop_path, shop->studies);
}

/* A file of at most so many bytes; malloc'd, ended by a zero byte. */
static po_status read_file(const char *path, size_t most, char **ret, size_t *ret_n, po_err *err)
{
    int file = open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
    struct stat st;
    *ret = NULL;
    if (file < 0 || fstat(file, &st) != 0 || !S_ISREG(st.st_mode)) {
        int why = file < 0 ? errno : EINVAL;
        if (file >= 0) {
            close(file);
        }
        return po_fail_at(err, why == ENOENT ? PO_E_NOTFOUND : PO_E_IO, path, 0, 0,
                          why == ENOENT ? "there is no such file" : "it can't be read as a file");
    }
    if ((uint64_t)st.st_size > most) {
        close(file);
        return po_fail_at(err, PO_E_LIMIT, path, 0, 0, "it is larger than %zu bytes", most);
    }
    char *text = malloc((size_t)st.st_size + 1);
    ssize_t got = text ? po_read_whole(file, text, (size_t)st.st_size) : 0;
    close(file);
    if (!text) {
        return po_fail_at(err, PO_E_NOMEM, path, 0, 0, "out of memory for it");
    }
    if (got < 0) {
        free(text);
        return po_fail_at(err, PO_E_IO, path, 0, 0, "it can't be read");
    }
    text[got] = 0;
    *ret = text;
    *ret_n = (size_t)got;
    return PO_OK;
}

static void look_at_picture(reading *r, const char *folder, const char *study, const char *where,
                            const po_study_picture *picture)
{
    const char *path = picture->file ? po_arena_printf(r->arena, "%s/%s/%s", folder, study, picture->file) : NULL;
    char *bytes = NULL;
    size_t n = 0;
    po_err err;
    if (!path) {
        return;
    }
    if (read_file(path, WORK_PICTURE_MOST, &bytes, &n, &err) != PO_OK) {
        tell(r, po_arena_printf(r->arena, "%s: %s names it: %s", path, where, err.msg));
        return;
    }
    size_t end = strlen(picture->file);
    bool svg = strcmp(picture->file + end - 4, ".svg") == 0;
    if (svg ? !strstr(bytes, "<svg") : n < 8 || memcmp(bytes, "\x89PNG\r\n\x1a\n", 8) != 0) {
        tell(r, po_arena_printf(r->arena, "%s: %s names it: it is no %s picture", path, where, svg ? "SVG" : "PNG"));
    } else if (svg &&
               (strstr(bytes, "<script") || strstr(bytes, "xlink:href=\"http") || strstr(bytes, "href=\"http"))) {
        tell(r,
             po_arena_printf(r->arena, "%s: it holds a script or leads elsewhere, which the page does not show", path));
    }
    free(bytes);
}

static bool is_among(const char *const *names, size_t n, const char *name)
{
    for (size_t i = 0; i < n; i++) {
        if (strcmp(names[i], name) == 0) {
            return true;
        }
    }
    return false;
}

/* What the study alone does not show. */
static void look_around(reading *r, const char *folder, const char *path, const po_study *s, const po_shop *shop,
                        const char *const *findings, size_t n_findings)
{
    if (s->grants && shop && !po_shop_permission(shop, s->grants)) {
        tell(r, po_arena_printf(r->arena, "%s: grants: found \"%s\", expected a permission of the shop file", path,
                                s->grants));
    }
    for (size_t i = 0; i < s->n_lessons; i++) {
        look_at_picture(r, folder, s->id, po_arena_printf(r->arena, "lesson %s", s->lessons[i].id),
                        &s->lessons[i].picture);
        for (size_t k = 0; findings && k < s->lessons[i].n_see; k++) {
            if (!is_among(findings, n_findings, s->lessons[i].see[k])) {
                const char *near = po_nearest_name(s->lessons[i].see[k], findings, n_findings);
                tell(r, po_arena_printf(r->arena,
                                        "%s: lessons.%s.see: found \"%s\", expected a finding; the nearest is %s", path,
                                        s->lessons[i].id, s->lessons[i].see[k], near));
            }
        }
    }
    for (size_t i = 0; i < s->n_questions; i++) {
        look_at_picture(r, folder, s->id, po_arena_printf(r->arena, "question %s", s->questions[i].id),
                        &s->questions[i].picture);
    }
}

static int by_name(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* Names of subfolders, sorted. */
static po_status subfolders(const char *folder, po_arena *arena, const char *names[WORK_STUDIES_MOST], size_t *ret_n,
                            po_err *err)
{
    DIR *d = opendir(folder);
    if (!d) {
        return po_fail_at(err, errno == ENOENT ? PO_E_NOTFOUND : PO_E_IO, folder, 0, 0,
                          "the folder of studies can't be opened: %s", strerror(errno));
    }
    po_status s = PO_OK;
    *ret_n = 0;
    for (struct dirent *e; s == PO_OK && (e = readdir(d));) {
        struct stat st;
        if (e->d_name[0] == '.' || fstatat(dirfd(d), e->d_name, &st, 0) != 0 || !S_ISDIR(st.st_mode)) {
            continue;
        }
        if (*ret_n == WORK_STUDIES_MOST) {
            s = po_fail_at(err, PO_E_LIMIT, folder, 0, 0, "there are more than %d studies", WORK_STUDIES_MOST);
        } else if (!(names[(*ret_n)++] = po_arena_text(arena, e->d_name))) {
            s = po_fail(err, PO_E_NOMEM, "out of memory for studies");
        }
    }
    closedir(d);
    qsort(names, *ret_n, sizeof names[0], by_name);
    return s;
}

po_status work_studies_read(const char *folder, const po_shop *shop, const char *const *findings, size_t n_findings,
                            po_arena *arena, work_studies *ret, po_err *err)
{
    const char *names[WORK_STUDIES_MOST];
    size_t n = 0;
    reading *r = po_arena_zeros(arena, 1, sizeof *r);
    *ret = (work_studies){.folder = po_arena_text(arena, folder)};
    if (!r || !ret->folder) {
        return po_fail(err, PO_E_NOMEM, "out of memory for studies");
    }
    r->arena = arena;
    po_status s = subfolders(folder, arena, names, &n, err);
    for (size_t i = 0; s == PO_OK && i < n; i++) {
        const char *path = po_arena_printf(arena, "%s/%s/study.yaml", folder, names[i]);
        char *text = NULL;
        size_t bytes = 0;
        po_shop_faults faults = {0};
        const po_study *study = NULL;
        po_err own;
        po_status one = path ? read_file(path, STUDY_BYTES_MOST, &text, &bytes, &own)
                             : po_fail(&own, PO_E_NOMEM, "out of memory");
        if (one != PO_OK) {
            s = one == PO_E_NOMEM ? po_fail(err, PO_E_NOMEM, "out of memory for studies") : PO_OK;
            tell(r, po_arena_printf(arena, "%s: %s", path, own.msg));
            continue;
        }
        one = po_study_read(text, bytes, names[i], arena, &study, &faults, &own);
        for (size_t f = 0; f < faults.n_faults; f++) {
            const po_shop_fault *x = &faults.faults[f];
            tell(r, po_arena_printf(arena, "%s:%u:%u: %s%sfound %s, expected %s", path, (unsigned)x->line,
                                    (unsigned)x->column, x->key, *x->key ? ": " : "", x->found, x->expected));
        }
        if (one == PO_OK) {
            look_around(r, folder, path, study, shop, findings, n_findings);
            ret->list[ret->n++] = study;
        } else if (one == PO_E_NOMEM) {
            s = po_fail(err, PO_E_NOMEM, "out of memory for studies");
        }
        free(text);
    }
    ret->faults = r->faults;
    ret->n_faults = r->n;
    return s;
}

const po_study *work_study(const work_studies *studies, const char *id)
{
    for (size_t i = 0; id && i < studies->n; i++) {
        if (strcmp(studies->list[i]->id, id) == 0) {
            return studies->list[i];
        }
    }
    return NULL;
}

po_status work_study_picture(const work_studies *studies, const po_study *study, const char *file, char **ret,
                             size_t *ret_n, po_err *err)
{
    bool named = false;
    char path[4096];
    for (size_t i = 0; i < study->n_lessons; i++) {
        named = named || (study->lessons[i].picture.file && strcmp(study->lessons[i].picture.file, file) == 0);
    }
    for (size_t i = 0; i < study->n_questions; i++) {
        named = named || (study->questions[i].picture.file && strcmp(study->questions[i].picture.file, file) == 0);
    }
    int n = snprintf(path, sizeof path, "%s/%s/%s", studies->folder, study->id, file);
    if (!named || n < 0 || (size_t)n >= sizeof path) {
        return po_fail_at(err, PO_E_NOTFOUND, "picture", 0, 0, "the study names no such picture");
    }
    return read_file(path, WORK_PICTURE_MOST, ret, ret_n, err);
}
