/* A zone by its name, from the system's folder. SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "plan/zone.h"

enum { FILE_MOST = 1 << 20, NAME_MOST = 64 };

/* "UTC" in the file's form, for systems without a folder of zones: one clock, no change. */
static const unsigned char utc[] = "TZif2\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0" /* no counts, but one type */
                                   "\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\1\0\0\0\4"
                                   "\0\0\0\0\0\0UTC\0"
                                   "TZif2\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0"
                                   "\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\1\0\0\0\4"
                                   "\0\0\0\0\0\0UTC\0"
                                   "\nUTC0\n";

/* Words of letters, digits, _ + -, with / between: nothing that leads elsewhere. */
static bool plain(const char *name)
{
    size_t n = strlen(name);
    if (n == 0 || n > NAME_MOST || name[0] == '/' || name[n - 1] == '/') {
        return false;
    }
    for (const char *p = name; *p; p++) {
        bool fine = (*p >= 'a' && *p <= 'z') || (*p >= 'A' && *p <= 'Z') || (*p >= '0' && *p <= '9') ||
                    strchr("_+-/", *p) != NULL;
        if (!fine || (*p == '/' && p[1] == '/')) {
            return false;
        }
    }
    return true;
}

po_status po_zone_load(const char *name, po_arena *arena, const po_zone **ret_zone, po_err *err)
{
    if (strcmp(name, "UTC") == 0) {
        return po_zone_read(utc, sizeof utc - 1, name, arena, ret_zone, err);
    }
    const char *folder = getenv("TZDIR");
    char *path = plain(name) ? po_arena_printf(arena, "%s/%s", folder && *folder ? folder : "/usr/share/zoneinfo", name)
                             : NULL;
    FILE *f = path ? fopen(path, "rb") : NULL;
    if (!f) {
        return plain(name) && !path
                   ? po_fail(err, PO_E_NOMEM, "no memory for a zone")
                   : po_fail(err, PO_E_NOTFOUND,
                             "this system does not know the time zone %.64s; install the package tzdata, or "
                             "name one such as Europe/London",
                             name);
    }
    unsigned char *bytes = malloc(FILE_MOST);
    size_t n = bytes ? fread(bytes, 1, FILE_MOST, f) : 0;
    po_status s = !bytes      ? po_fail(err, PO_E_NOMEM, "no memory for a zone")
                  : ferror(f) ? po_fail(err, PO_E_IO, "%.100s can't be read: %.80s", path, strerror(errno))
                              : po_zone_read(bytes, n, name, arena, ret_zone, err);
    free(bytes);
    fclose(f);
    return s;
}
