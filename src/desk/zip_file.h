/* A ZIP archive written to a file piece by piece, however long the pieces are. SPDX-License-Identifier: Apache-2.0
 *
 * PKWARE APPNOTE.TXT 6.3.4, sections 4.3 and 4.4: members stored as they are, their sizes and checks written into the local header when
 * they are known (the file is one that can be gone back in), so that every reader takes it. No ZIP64: 4 GiB in all. */
#ifndef PO_DESK_ZIP_FILE_H
#define PO_DESK_ZIP_FILE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { DESK_ZIP_MEMBERS = 64, DESK_ZIP_NAME = 64 };

typedef struct desk_zip {
    int fd; /* borrowed; empty to begin with */
    uint64_t at;
    bool failed; /* the disk refused, or it grew too large */
    struct {
        char name[DESK_ZIP_NAME];
        uint64_t local, n;
        uint32_t crc;
    } members[DESK_ZIP_MEMBERS];
    int n_members;
    char room[1 << 16]; /* what was not yet written */
    size_t n_room;
} desk_zip;

/* A member begins; the one before is ended. name: ASCII. False: see failed. */
bool desk_zip_member(desk_zip *zip, const char *name);
bool desk_zip_write(desk_zip *zip, const char *bytes, size_t n);
/* The directory at the end; then the archive is whole, zip->at bytes of it. */
bool desk_zip_end(desk_zip *zip);

#endif
