/* A file or a folder that is there whole or not at all. SPDX-License-Identifier: Apache-2.0
 *
 * It is written under a name beside its own, brought to the disk, and then given its name in a way that never replaces
 * anything (renameat2 with RENAME_NOREPLACE; where the file system knows that not, a second name for a file). */
#include "whole.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { ROOM = 96 };

static int not_made(const char *target, int why)
{
    return cli_fail(why == EEXIST ? EXIT_USAGE : EXIT_OWN, "%s: %s", target,
                    why == EEXIST ? "there is something of this name already; name another" : strerror(why));
}

static bool open_file(whole *w, const char *path)
{
    int file = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, w->secret ? 0600 : 0666);
    w->file = file >= 0 ? fdopen(file, "wb") : NULL;
    if (!w->file) {
        w->failed = errno;
        if (file >= 0) {
            close(file);
        }
    }
    return w->file != NULL;
}

/* What was written to the open file is on the disk. */
static bool close_file(whole *w)
{
    if (!w->file) {
        return true;
    }
    bool ok = fflush(w->file) == 0 && fsync(fileno(w->file)) == 0;
    int why = errno;
    if (fclose(w->file) != 0 && ok) {
        ok = false;
        why = errno;
    }
    w->file = NULL;
    w->failed = ok ? w->failed : why;
    return ok;
}

int whole_begin(whole *w, const char *target, bool folder, bool secret)
{
    size_t n = strlen(target);
    struct stat st;
    *w = (whole){.target = target, .folder = folder, .secret = secret};
    cli_progress_begin(&w->progress, target);
    if (!strcmp(target, "-")) {
        return folder ? cli_fail(EXIT_USAGE, "a folder of files can't go to standard output; name a folder")
                      : EXIT_CLEAR;
    }
    while (n > 1 && target[n - 1] == '/') {
        n--;
    }
    if (lstat(target, &st) == 0) {
        return not_made(target, EEXIST);
    }
    w->part = malloc(n + ROOM);
    if (!w->part) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    snprintf(w->part, n + ROOM, "%.*s.part-%ld", (int)n, target, (long)getpid());
    if (folder ? mkdir(w->part, secret ? 0700 : 0777) == 0 : open_file(w, w->part)) {
        return EXIT_CLEAR;
    }
    int why = errno;
    free(w->part);
    w->part = NULL;
    return cli_fail(EXIT_USAGE, "%s: %s", target, strerror(why));
}

bool whole_file(void *user, const char *name)
{
    whole *w = user;
    size_t room = (w->part ? strlen(w->part) : 0) + strlen(name) + 2;
    char *path = w->part && close_file(w) ? malloc(room) : NULL;
    if (!path) {
        return false;
    }
    snprintf(path, room, "%s/%s", w->part, name);
    bool ok = open_file(w, path);
    free(path);
    return ok;
}

bool whole_write(void *user, const char *bytes, size_t n)
{
    whole *w = user;
    FILE *to = w->part ? w->file : stdout;
    if (!to || fwrite(bytes, 1, n, to) != n) {
        w->failed = errno ? errno : EIO;
        return false;
    }
    w->bytes += n;
    return cli_progress_step(w->bytes, 0, &w->progress);
}

static void remove_all(const whole *w)
{
    DIR *d = w->folder ? opendir(w->part) : NULL;
    for (struct dirent *e; d && (e = readdir(d));) { /* files only: "." and ".." stay by themselves */
        unlinkat(dirfd(d), e->d_name, 0);
    }
    if (d) {
        closedir(d);
    }
    if (w->folder) {
        rmdir(w->part);
    } else {
        unlink(w->part);
    }
}

static bool sync_folder(const char *path)
{
    int folder = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    bool ok = folder >= 0 && fsync(folder) == 0;
    if (folder >= 0) {
        close(folder);
    }
    return ok;
}

static bool give_name(whole *w)
{
    size_t n = strlen(w->target);
    while (n > 1 && w->target[n - 1] == '/') {
        n--;
    }
    char *name = strndup(w->target, n), *slash = name ? strrchr(name, '/') : NULL;
    bool ok = name && (!w->folder || sync_folder(w->part));
    ok = ok && (renameat2(AT_FDCWD, w->part, AT_FDCWD, name, RENAME_NOREPLACE) == 0 ||
                (errno == EINVAL && !w->folder && link(w->part, name) == 0 && unlink(w->part) == 0));
    w->failed = ok ? 0 : errno;
    if (ok && slash) {
        slash[slash == name] = 0;
    }
    ok = ok && sync_folder(slash ? name : ".");
    free(name);
    return ok;
}

int whole_end(whole *w, bool done)
{
    int status = EXIT_CLEAR;
    cli_progress_end(&w->progress);
    if (!w->part) {
        return done ? cli_end(EXIT_CLEAR) : EXIT_CLEAR;
    }
    done = close_file(w) && done;
    if (done && !give_name(w)) {
        status = not_made(w->target, w->failed);
        remove_all(w);
    } else if (!done) {
        remove_all(w);
    }
    if (!done && w->failed) {
        status = not_made(w->target, w->failed);
    }
    free(w->part);
    w->part = NULL;
    return status;
}

int whole_export(po_ledger *ledger, const po_export_options *options, const char *target)
{
    whole w;
    po_err err = {0};
    int status = whole_begin(&w, target, options->format == PO_EXPORT_CSV, options->names);
    if (status != EXIT_CLEAR) {
        return status;
    }
    po_status s = po_ledger_export(ledger, options, &(po_export_out){&w, whole_file, whole_write}, &err);
    status = whole_end(&w, s == PO_OK);
    return status == EXIT_CLEAR && s != PO_OK ? cli_fail(s == PO_E_RANGE ? EXIT_USAGE : EXIT_OWN, "%s", err.msg)
                                              : status;
}
