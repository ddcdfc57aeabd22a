/* The book for other programs, to be saved from the page. SPDX-License-Identifier: Apache-2.0
 *
 * It is written to a file without a name first, in the private folder: memory stays flat however large the book is, and whoever reads
 * slowly holds no view of the book. One is written at a time. */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "desk/at_desk.h"
#include "desk/opening.h"
#include "desk/proving.h"
#include "desk/zip_file.h"
#include "proveout/ledger_export.h"
#include "work/work.h"

enum { TABLES_MOST = 64 };

static bool json_bytes(void *user, const char *bytes, size_t n)
{
    return fwrite(bytes, 1, n, user) == n;
}

static bool zip_member(void *user, const char *name)
{
    return desk_zip_member(user, name);
}

static bool zip_bytes(void *user, const char *bytes, size_t n)
{
    return desk_zip_write(user, bytes, n);
}

static po_status write_json(po_desk *desk, const po_export_options *o, int fd, po_err *err)
{
    int own = dup(fd);
    FILE *f = own >= 0 ? fdopen(own, "w") : NULL;
    if (!f) {
        if (own >= 0) {
            close(own);
        }
        return po_fail(err, PO_E_IO, "the file could not be opened: %s", strerror(errno));
    }
    po_export_out out = {.user = f, .write = json_bytes};
    po_status s = po_ledger_export(desk->options.ledger, o, &out, err);
    bool failed = fclose(f) != 0;
    return s != PO_E_CANCELLED && !(s == PO_OK && failed)
               ? s
               : po_fail(err, PO_E_IO, "the disk refused: %s", strerror(errno));
}

static po_status write_zip(po_desk *desk, const po_export_options *o, int fd, po_err *err)
{
    desk_zip *zip = calloc(1, sizeof *zip);
    if (!zip) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    zip->fd = fd;
    po_export_out out = {.user = zip, .file = zip_member, .write = zip_bytes};
    po_status s = po_ledger_export(desk->options.ledger, o, &out, err);
    if (s == PO_E_CANCELLED || (s == PO_OK && !desk_zip_end(zip))) {
        s = zip->at > UINT32_MAX / 2 ? po_fail_at(err, PO_E_LIMIT, "from", 0, 0,
                                                  "it would be more than 4 GB; choose a shorter time or fewer tables")
                                     : po_fail(err, PO_E_IO, "the disk refused");
    }
    free(zip);
    return s;
}

/* The shop's day in a file's name: nothing of what anybody sent. */
static const char *name_of(po_desk *desk, desk_request *rq, const char *ending)
{
    work_context w;
    po_wall_time wall;
    po_err err;
    if (work_begin(&w, rq->arena, desk_shop_now(desk), NULL, desk->options.ledger, desk_now_ms_of(desk), &err) !=
            PO_OK ||
        !work_wall(&w, w.now_ms, &wall, NULL)) {
        return po_arena_printf(rq->arena, "book.%s", ending);
    }
    return po_arena_printf(rq->arena, "book-%04d-%02d-%02d.%s", wall.date.year, wall.date.month, wall.date.day, ending);
}

static void export_as(po_desk *desk, desk_request *rq, desk_reply *rp, po_export_format format)
{
    const char *tables[TABLES_MOST];
    const json_t *list = json_object_get(rq->json, "tables");
    po_export_options o = {.format = format,
                           .tables = tables,
                           .from_ms = work_int(rq->json, "from", 0),
                           .until_ms = work_int(rq->json, "until", 0),
                           .names = json_is_true(json_object_get(rq->json, "names"))};
    for (size_t i = 0; i < json_array_size(list) && o.n_tables < TABLES_MOST; i++) {
        tables[o.n_tables++] = json_string_value(json_array_get(list, i));
    }
    if (pthread_mutex_trylock(&desk->long_work) != 0) {
        desk_problem(rq, rp, 503, NULL,
                     "the book is being exported, verified or copied already; try again in a moment");
        rp->retry_seconds = 5;
        return;
    }
    po_err err;
    int fd = openat(desk->folder, ".", O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
    po_status s = fd < 0                    ? po_fail(&err, PO_E_IO, "no file could be made: %s", strerror(errno))
                  : format == PO_EXPORT_CSV ? write_zip(desk, &o, fd, &err)
                                            : write_json(desk, &o, fd, &err);
    pthread_mutex_unlock(&desk->long_work);
    off_t n = s == PO_OK ? lseek(fd, 0, SEEK_END) : -1;
    if (s == PO_OK && n < 0) {
        s = po_fail(&err, PO_E_IO, "the file can't be read: %s", strerror(errno));
    }
    if (s != PO_OK) {
        if (fd >= 0) {
            close(fd);
        }
        desk_said_no(desk, rq, rp, &err);
        return;
    }
    rp->status = 200;
    rp->type = format == PO_EXPORT_CSV ? "application/zip" : "application/json";
    rp->save_as = name_of(desk, rq, format == PO_EXPORT_CSV ? "zip" : "json");
    rp->file = fd + 1;
    rp->n = (size_t)n;
}

void desk_do_export_json(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    export_as(desk, rq, rp, PO_EXPORT_JSON);
}

void desk_do_export_zip(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    export_as(desk, rq, rp, PO_EXPORT_CSV);
}
