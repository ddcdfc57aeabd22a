/* A job written to a stick, and read back. SPDX-License-Identifier: Apache-2.0
 *
 * The cache is told to forget the file before it is read back, so that the bytes come from the stick where the system heeds it. */
#include "work/stick_put.h"

#include <errno.h>
#include <fcntl.h>
#include <nettle/sha2.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>
#include <sys/mount.h>
#include <unistd.h>

#include "base/whole.h"
#include "work/stick_look.h"

#define BESIDE ".proveout-new" /* one writer at a time: a stick belongs to one machine */

static void hex(struct sha256_ctx *sha, char out[65])
{
    static const char digits[] = "0123456789abcdef";
    unsigned char sum[SHA256_DIGEST_SIZE];
    sha256_digest(sha, sizeof sum, sum);
    for (size_t i = 0; i < sizeof sum; i++) {
        out[2 * i] = digits[sum[i] >> 4];
        out[2 * i + 1] = digits[sum[i] & 15];
    }
    out[64] = 0;
}

static bool good_name(const char *name)
{
    size_t n = strlen(name);
    bool good = n > 0 && n <= 200 && name[0] != '.';
    for (size_t i = 0; good && i < n; i++) {
        good = (unsigned char)name[i] >= 0x20 && name[i] != 0x7f && name[i] != '/';
    }
    return good;
}

static bool read_sum(int folder, const char *name, char out[65])
{
    int file = openat(folder, name, O_RDONLY | O_NOFOLLOW | O_CLOEXEC | O_NONBLOCK);
    struct sha256_ctx sha;
    unsigned char bytes[16384];
    ssize_t got = -1;
    sha256_init(&sha);
    while (file >= 0 && ((got = read(file, bytes, sizeof bytes)) > 0 || (got < 0 && errno == EINTR))) {
        sha256_update(&sha, got > 0 ? (size_t)got : 0, bytes);
    }
    if (file >= 0) {
        close(file);
    }
    hex(&sha, out);
    return got == 0;
}

static po_status put(int folder, const char *mount, const char *name, const void *bytes, size_t n, const char *sha256,
                     po_err *err)
{
    char sum[65];
    if (unlinkat(folder, BESIDE, 0) != 0 && errno != ENOENT) {
        return po_fail(err, PO_E_IO, "%s: the stick can't be written to: %s", mount, strerror(errno));
    }
    int file = openat(folder, BESIDE, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);
    bool done = file >= 0 && po_write_whole(file, bytes, n) && fsync(file) == 0;
    int why = errno;
    if (done) {
        (void)posix_fadvise(file, 0, 0, POSIX_FADV_DONTNEED);
    }
    if (file >= 0 && close(file) != 0 && done) {
        done = false;
        why = errno;
    }
    if (!done) {
        return po_fail(err, PO_E_IO, "%s: %s can't be written to the stick: %s", mount, name, strerror(why));
    }
    if (!read_sum(folder, BESIDE, sum)) {
        return po_fail(err, PO_E_IO, "%s: what was written can't be read back; use another stick", mount);
    }
    if (strcasecmp(sum, sha256) != 0) {
        return po_fail(err, PO_E_CONFLICT, "%s: the stick gives back other bytes than were written; use another stick",
                       mount);
    }
    if (renameat(folder, BESIDE, folder, name) != 0 || fsync(folder) != 0) {
        return po_fail(err, PO_E_IO, "%s: %s can't be put in place on the stick: %s", mount, name, strerror(errno));
    }
    return PO_OK;
}

po_status work_stick_put(const char *mount, const char *name, const void *bytes, size_t n, const char sha256[65],
                         po_err *err)
{
    struct sha256_ctx sha;
    char sum[65];
    if (!good_name(name)) {
        return po_fail_at(err, PO_E_RANGE, "name", 0, 0, "that is no name for a file on a stick; give a plain one");
    }
    sha256_init(&sha);
    sha256_update(&sha, n, bytes);
    hex(&sha, sum);
    if (strcasecmp(sum, sha256) != 0) {
        return po_fail(err, PO_E_CONFLICT, "the bytes of %s are not those that were proved; prove it again", name);
    }
    int folder = open(mount, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (folder < 0) {
        return po_fail(err, PO_E_NOTFOUND, "%s: no folder that can be read: %s; put the stick in", mount,
                       strerror(errno));
    }
    po_status s = put(folder, mount, name, bytes, n, sha256, err);
    if (s != PO_OK) {
        unlinkat(folder, BESIDE, 0);
    }
    close(folder);
    return s;
}

/* A name that sticks take: without the characters that their file systems (FAT, exFAT) refuse, a dot at the beginning, a dot or blank at the end, and
 * not longer than a panel and good_name allow; its ending stays. Source: Microsoft, FAT32 File System Specification 1.03, long names. */
static char *plain_name(const char *name, po_arena *arena)
{
    enum { PLAIN_MOST = 120, ENDING_MOST = 16 };
    char *plain = po_arena_text(arena, name);
    size_t n = strlen(name);
    for (char *p = plain; p && *p; p++) {
        *p = (unsigned char)*p < 0x20 || *p == 0x7f || strchr("\"*/:<>?\\|", *p) ? '_' : *p;
    }
    if (plain && n > PLAIN_MOST) {
        const char *dot = strrchr(plain, '.');
        size_t ending = dot && strlen(dot) <= ENDING_MOST ? strlen(dot) : 0, stem = PLAIN_MOST - ending;
        while (((unsigned char)plain[stem] & 0xc0) == 0x80) { /* cut where a character begins */
            stem--;
        }
        memmove(plain + stem, plain + n - ending, ending + 1);
        n = stem + ending;
    }
    if (plain && plain[0] == '.') {
        plain[0] = '_';
    }
    for (; plain && n > 0 && (plain[n - 1] == '.' || plain[n - 1] == ' '); n--) {
        plain[n - 1] = '_';
    }
    return plain;
}

/* "lamp.gcode" and 2: "lamp-2.gcode". */
static const char *numbered(const char *name, int n, po_arena *arena)
{
    const char *dot = strrchr(name, '.');
    size_t stem = dot && dot > name ? (size_t)(dot - name) : strlen(name);
    return n == 1 ? po_arena_text(arena, name) : po_arena_printf(arena, "%.*s-%d%s", (int)stem, name, n, name + stem);
}

const char *work_stick_name(const char *mount, const char *wished, const char sha256[65], po_arena *arena)
{
    const char *name = plain_name(wished, arena);
    if (!name) {
        return NULL;
    }
    int folder = open(mount, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    const char *found = folder < 0 ? po_arena_text(arena, name) : NULL; /* putting it there will say what is wrong */
    for (int n = 1; folder >= 0 && !found && n <= 100; n++) {
        const char *one = numbered(name, n, arena);
        struct stat st;
        char sum[65];
        if (!one) {
            break;
        }
        bool there = fstatat(folder, one, &st, AT_SYMLINK_NOFOLLOW) == 0;
        bool same = there && S_ISREG(st.st_mode) && read_sum(folder, one, sum) && strcasecmp(sum, sha256) == 0;
        found = !there || same ? one : NULL;
    }
    if (folder >= 0) {
        close(folder);
    }
    return found;
}

po_status work_stick_release(const char *mount, work_released *ret, po_err *err)
{
    int folder = open(mount, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (folder < 0) {
        return po_fail(err, PO_E_NOTFOUND, "%s: no folder that can be read: %s", mount, strerror(errno));
    }
    bool brought = syncfs(folder) == 0;
    int why = errno;
    close(folder); /* else it is our own hand that keeps it busy */
    if (!brought) {
        return po_fail(err, PO_E_IO, "%s: what was written could not be brought to the stick: %s", mount,
                       strerror(why));
    }
    *ret = WORK_FLUSHED;
    if (work_stick_mounted(mount)) {
        *ret = umount2(mount, UMOUNT_NOFOLLOW) == 0 ? WORK_UNMOUNTED : errno == EBUSY ? WORK_BUSY : WORK_FLUSHED;
    }
    return PO_OK;
}
