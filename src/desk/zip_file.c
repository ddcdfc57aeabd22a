/* A ZIP archive written to a file piece by piece. SPDX-License-Identifier: Apache-2.0 */
#include "desk/zip_file.h"

#include <errno.h>
#include <libdeflate.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { LOCAL_BYTES = 30, ENTRY_BYTES = 46, END_BYTES = 22, CRC_AT = 14, VERSION = 10, FIRST_DAY = 1 << 5 | 1 };

static unsigned char *put(unsigned char *at, uint64_t value, int bytes)
{
    for (int i = 0; i < bytes; i++, value >>= 8) { /* also for more bytes than a value has */
        *at++ = (unsigned char)value;
    }
    return at;
}

static bool write_all(desk_zip *zip, const void *bytes, size_t n, uint64_t at)
{
    const char *p = bytes;
    while (n > 0 && !zip->failed) {
        ssize_t done = pwrite(zip->fd, p, n, (off_t)at);
        if (done < 0 && errno == EINTR) {
            continue;
        }
        if (done <= 0) {
            zip->failed = true;
            break;
        }
        p += done;
        n -= (size_t)done;
        at += (uint64_t)done;
    }
    return !zip->failed;
}

static bool flush(desk_zip *zip)
{
    bool well = write_all(zip, zip->room, zip->n_room, zip->at - zip->n_room);
    zip->n_room = 0;
    return well;
}

static bool append(desk_zip *zip, const void *bytes, size_t n)
{
    const char *p = bytes;
    if (zip->at + n > UINT32_MAX) {
        zip->failed = true;
    }
    while (n > 0 && !zip->failed) {
        size_t some = sizeof zip->room - zip->n_room < n ? sizeof zip->room - zip->n_room : n;
        memcpy(zip->room + zip->n_room, p, some);
        zip->n_room += some;
        zip->at += some;
        p += some;
        n -= some;
        if (zip->n_room == sizeof zip->room) {
            flush(zip);
        }
    }
    return !zip->failed;
}

/* The fields that local header and directory entry share (4.3.7, 4.3.12). */
static unsigned char *put_shared(unsigned char *at, const desk_zip *zip, int i)
{
    at = put(at, VERSION, 2);
    at = put(at, 0, 2); /* flags */
    at = put(at, 0, 2); /* stored */
    at = put(at, 0, 2); /* time */
    at = put(at, FIRST_DAY, 2);
    at = put(at, zip->members[i].crc, 4);
    at = put(at, zip->members[i].n, 4);
    at = put(at, zip->members[i].n, 4);
    at = put(at, strlen(zip->members[i].name), 2);
    return put(at, 0, 2); /* extra */
}

/* Check and sizes into the local header of the last member. */
static bool close_member(desk_zip *zip)
{
    if (zip->n_members == 0) {
        return !zip->failed;
    }
    int i = zip->n_members - 1;
    unsigned char words[12], *at = put(words, zip->members[i].crc, 4);
    at = put(at, zip->members[i].n, 4);
    put(at, zip->members[i].n, 4);
    return flush(zip) && write_all(zip, words, sizeof words, zip->members[i].local + CRC_AT);
}

bool desk_zip_member(desk_zip *zip, const char *name)
{
    if (!close_member(zip) || zip->n_members == DESK_ZIP_MEMBERS || strlen(name) >= DESK_ZIP_NAME) {
        zip->failed = true;
        return false;
    }
    int i = zip->n_members++;
    snprintf(zip->members[i].name, sizeof zip->members[i].name, "%s", name);
    zip->members[i].local = zip->at;
    zip->members[i].n = 0;
    zip->members[i].crc = libdeflate_crc32(0, NULL, 0);
    unsigned char head[LOCAL_BYTES], *at = put(head, 0x04034b50, 4);
    put_shared(at, zip, i);
    return append(zip, head, sizeof head) && append(zip, name, strlen(name));
}

bool desk_zip_write(desk_zip *zip, const char *bytes, size_t n)
{
    if (zip->n_members == 0) {
        zip->failed = true;
        return false;
    }
    int i = zip->n_members - 1;
    zip->members[i].crc = libdeflate_crc32(zip->members[i].crc, bytes, n);
    zip->members[i].n += n;
    return append(zip, bytes, n);
}

bool desk_zip_end(desk_zip *zip)
{
    bool well = close_member(zip);
    uint64_t directory = zip->at;
    for (int i = 0; well && i < zip->n_members; i++) {
        unsigned char entry[ENTRY_BYTES], *at = put(entry, 0x02014b50, 4);
        at = put(at, VERSION, 2);
        at = put_shared(at, zip, i);
        at = put(at, 0, 2 + 2 + 2 + 4); /* comment, disk, attributes */
        put(at, zip->members[i].local, 4);
        well = append(zip, entry, sizeof entry) && append(zip, zip->members[i].name, strlen(zip->members[i].name));
    }
    unsigned char end[END_BYTES], *at = put(end, 0x06054b50, 4);
    at = put(at, 0, 4); /* disks */
    at = put(at, (uint64_t)zip->n_members, 2);
    at = put(at, (uint64_t)zip->n_members, 2);
    at = put(at, zip->at - directory, 4);
    at = put(at, directory, 4);
    put(at, 0, 2);
    return well && append(zip, end, sizeof end) && flush(zip);
}
