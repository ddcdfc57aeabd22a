/* A reader of ZIP archives in memory. SPDX-License-Identifier: Apache-2.0
 *
 * Source: PKWARE, APPNOTE.TXT - .ZIP File Format Specification 6.3.x, sections 4.3 to 4.5; what of it a 3MF may use:
 * 3MF core specification 1.4.0, section 1.1 (stored or deflated, ZIP64 and streaming must be read).
 *
 *     [local header | name | extra | packed bytes | descriptor?] ...      <- each checked against its directory entry
 *     [directory entry | name | extra | comment] ...                      <- the directory
 *     [ZIP64 end record] [ZIP64 locator]                                  <- only when a field of the end record is full
 *     [end record | comment]                                              <- the last bytes of the file
 *
 * Two readers that believe different copies of a size or a name see two different parts; so the copies are compared
 * and a file in which they differ is refused. Nothing here is guessed or repaired. */
#include "part/zip.h"

#include <inttypes.h>
#include <libdeflate.h>
#include <stdlib.h>
#include <string.h>

enum {
    LOCAL_SIGN = 0x04034b50,
    ENTRY_SIGN = 0x02014b50,
    END_SIGN = 0x06054b50,
    END64_SIGN = 0x06064b50,
    LOCATOR_SIGN = 0x07064b50,
    DESCRIPTOR_SIGN = 0x08074b50,
    LOCAL_SIZE = 30,
    ENTRY_SIZE = 46,
    END_SIZE = 22,
    END64_SIZE = 56,
    LOCATOR_SIZE = 20,
    MOST_COMMENT = 65535,
    FLAG_ENCRYPTED = 1 << 0,
    FLAG_DESCRIPTOR = 1 << 3,
    FLAG_PATCH = 1 << 5,
    FLAG_STRONG = 1 << 6,
    FLAG_MASKED = 1 << 13,
    RATIO_FROM = 1 << 20, /* a small member may be as dense as it likes */
};

static uint16_t u16(const unsigned char *p)
{
    return (uint16_t)(p[0] | p[1] << 8);
}

static uint32_t u32(const unsigned char *p)
{
    return (uint32_t)u16(p) | (uint32_t)u16(p + 2) << 16;
}

static uint64_t u64(const unsigned char *p)
{
    return (uint64_t)u32(p) | (uint64_t)u32(p + 4) << 32;
}

static unsigned char lower(unsigned char c)
{
    return c >= 'A' && c <= 'Z' ? (unsigned char)(c + 32) : c;
}

static int compare_names(const char *a, size_t n_a, const char *b, size_t n_b)
{
    for (size_t i = 0; i < n_a && i < n_b; i++) {
        int d = lower((unsigned char)a[i]) - lower((unsigned char)b[i]);
        if (d) {
            return d;
        }
    }
    return (n_a > n_b) - (n_a < n_b);
}

static int by_name(const void *a, const void *b)
{
    const po_zip_member *x = a, *y = b;
    return compare_names(x->name, x->n_name - x->folder, y->name, y->n_name - y->folder);
}

static int by_place(const void *a, const void *b)
{
    const po_zip_member *x = a, *y = b;
    return (x->local > y->local) - (x->local < y->local);
}

static po_status fail_byte(po_err *err, po_status code, uint64_t byte, const char *what)
{
    (void)po_fail(err, code, "the archive is damaged or unsafe: %s", what);
    if (err) {
        err->byte = byte;
    }
    return code;
}

/* The same with the member's name, so far as it can be shown. */
static po_status fail_member(po_err *err, po_status code, uint64_t byte, const char *name, size_t n_name,
                             const char *what)
{
    char shown[80];
    size_t n = 0;
    for (size_t i = 0; i < n_name && n + 1 < sizeof shown; i++) {
        unsigned char c = (unsigned char)name[i];
        shown[n++] = c < 32 || c >= 127 ? '?' : (char)c;
    }
    shown[n] = 0;
    (void)po_fail(err, code, "the archive's member \"%s\" %s", shown, what);
    if (err) {
        err->byte = byte;
    }
    return code;
}

bool po_zip_looks_like(const unsigned char *data, size_t n)
{
    return n >= 4 && (u32(data) == LOCAL_SIGN || u32(data) == END_SIGN);
}

typedef struct directory {
    uint64_t at, size, entries;
    uint64_t end; /* where the end records begin: nothing of the directory lies behind */
} directory;

/* The end record is the last one whose comment ends with the file; ZIP64's stands right before. */
static po_status find_directory(const unsigned char *data, size_t n, directory *ret, po_err *err)
{
    if (n < END_SIZE) {
        return fail_byte(err, PO_E_SYNTAX, n, "it is too short for the end of its directory");
    }
    size_t lowest = n - END_SIZE > MOST_COMMENT ? n - END_SIZE - MOST_COMMENT : 0, at = n - END_SIZE;
    while (u32(data + at) != END_SIGN || at + END_SIZE + u16(data + at + 20) != n) {
        if (at == lowest) {
            return fail_byte(err, PO_E_SYNTAX, n,
                             "the end of its directory is missing (cut short, or bytes behind it)");
        }
        at--;
    }
    const unsigned char *e = data + at;
    uint64_t disk = u16(e + 4), first_disk = u16(e + 6), here = u16(e + 8);
    *ret = (directory){.entries = u16(e + 10), .size = u32(e + 12), .at = u32(e + 16), .end = at};
    if (at >= LOCATOR_SIZE && u32(e - LOCATOR_SIZE) == LOCATOR_SIGN) {
        const unsigned char *l = e - LOCATOR_SIZE;
        uint64_t at64 = u64(l + 8), locator = at - LOCATOR_SIZE;
        if (u32(l + 4) != 0 || u32(l + 16) > 1) {
            return fail_byte(err, PO_E_UNSUPPORTED, locator, "it is spread over several disks");
        }
        if (locator < END64_SIZE || at64 > locator - END64_SIZE || u32(data + at64) != END64_SIGN ||
            u64(data + at64 + 4) != locator - at64 - 12) {
            return fail_byte(err, PO_E_SYNTAX, locator, "its ZIP64 end record is not where the locator says");
        }
        const unsigned char *z = data + at64;
        directory d = {.entries = u64(z + 32), .size = u64(z + 40), .at = u64(z + 48), .end = at64};
        if ((disk != 0xffff && disk != u32(z + 16)) || (first_disk != 0xffff && first_disk != u32(z + 20)) ||
            (here != 0xffff && here != u64(z + 24)) || (ret->entries != 0xffff && ret->entries != d.entries) ||
            (ret->size != 0xffffffff && ret->size != d.size) || (ret->at != 0xffffffff && ret->at != d.at)) {
            return fail_byte(err, PO_E_SYNTAX, at64, "its two end records differ");
        }
        disk = u32(z + 16);
        first_disk = u32(z + 20);
        here = u64(z + 24);
        *ret = d;
    } else if (ret->size == 0xffffffff || ret->at == 0xffffffff) {
        return fail_byte(err, PO_E_SYNTAX, at, "its ZIP64 end record is missing");
    }
    if (disk != 0 || first_disk != 0 || here != ret->entries) {
        return fail_byte(err, PO_E_UNSUPPORTED, at, "it is spread over several disks");
    }
    if (ret->at > ret->end || ret->size > ret->end - ret->at) {
        return fail_byte(err, PO_E_SYNTAX, at, "its directory lies outside the file");
    }
    if (ret->entries > ret->size / ENTRY_SIZE) {
        return fail_byte(err, PO_E_SYNTAX, at, "it counts more members than its directory can hold");
    }
    return PO_OK;
}

/* Why a name may not be: NULL when it may. 3MF parts live in a tree of names; none may step out of it. */
static const char *bad_name(const char *name, size_t n)
{
    if (n == 0) {
        return "has an empty name";
    }
    if (name[0] == '/') {
        return "has an absolute name";
    }
    if (n >= 2 && name[1] == ':' && ((lower((unsigned char)name[0]) >= 'a' && lower((unsigned char)name[0]) <= 'z'))) {
        return "has a drive letter in its name";
    }
    size_t begin = 0;
    for (size_t i = 0; i <= n; i++) {
        if (i < n && name[i] != '/') {
            unsigned char c = (unsigned char)name[i];
            if (c == '\\') {
                return "has a backslash in its name";
            }
            if (c < 32 || c == 127) {
                return "has a control character in its name";
            }
            continue;
        }
        size_t len = i - begin;
        if (len == 0 && i < n) {
            return "has an empty step in its name";
        }
        if ((len == 1 && name[begin] == '.') || (len == 2 && name[begin] == '.' && name[begin + 1] == '.')) {
            return "has a name that climbs out of its folder";
        }
        begin = i + 1;
    }
    return NULL;
}

/* Fill those of the values that are full (all ones) from the ZIP64 field, in the order of APPNOTE 4.5.3. NULL: not in
 * this header. False: the extra fields don't add up or the ZIP64 field is too short. */
static bool fill_from_zip64(const unsigned char *extra, size_t n, uint64_t *unpacked, uint64_t *packed, uint64_t *local)
{
    bool seen = false;
    while (n >= 4) {
        size_t id = u16(extra), size = u16(extra + 2);
        if (size > n - 4) {
            return false;
        }
        if (id == 1) {
            if (seen) {
                return false;
            }
            seen = true;
            const unsigned char *p = extra + 4, *end = p + size;
            uint64_t *values[3] = {unpacked, packed, local};
            for (int i = 0; i < 3; i++) {
                if (values[i] && *values[i] == 0xffffffff) {
                    if (end - p < 8) {
                        return false;
                    }
                    *values[i] = u64(p);
                    p += 8;
                }
            }
        }
        extra += 4 + size;
        n -= 4 + size;
    }
    return true; /* up to 3 stray bytes: padding that aligners leave */
}

/* The descriptor behind a member's bytes, with or without its sign, sizes of 4 or 8 bytes. 0 = none that agrees. */
static size_t descriptor_size(const unsigned char *p, size_t left, const po_zip_member *m)
{
    for (int sign = 1; sign >= 0; sign--) {
        for (int wide = 0; wide <= 1; wide++) {
            size_t skip = sign ? 4 : 0, size = skip + 4 + (wide ? 16u : 8u);
            if (size > left || (sign && u32(p) != DESCRIPTOR_SIGN) || u32(p + skip) != m->crc) {
                continue;
            }
            const unsigned char *q = p + skip + 4;
            if (wide ? u64(q) == m->packed && u64(q + 8) == m->unpacked
                     : u32(q) == m->packed && u32(q + 4) == m->unpacked) {
                return size;
            }
        }
    }
    return 0;
}

/* The local header against the directory's entry. Finds where the bytes are. */
static po_status check_local(const unsigned char *data, const directory *dir, po_zip_member *m, unsigned flags,
                             unsigned method, po_err *err)
{
    if (dir->at < LOCAL_SIZE || m->local > dir->at - LOCAL_SIZE || u32(data + m->local) != LOCAL_SIGN) {
        return fail_member(err, PO_E_SYNTAX, m->local < dir->at ? m->local : dir->at, m->name, m->n_name,
                           "has no header where the directory says");
    }
    const unsigned char *h = data + m->local;
    uint64_t room = dir->at - m->local - LOCAL_SIZE;
    size_t n_name = u16(h + 26), n_extra = u16(h + 28);
    if (n_name + n_extra > room) {
        return fail_member(err, PO_E_SYNTAX, m->local, m->name, m->n_name, "has a header that runs into the directory");
    }
    if (n_name != m->n_name || memcmp(h + LOCAL_SIZE, m->name, n_name) != 0) {
        return fail_member(err, PO_E_SYNTAX, m->local, m->name, m->n_name, "has another name in its own header");
    }
    unsigned own_flags = u16(h + 6);
    unsigned told = FLAG_ENCRYPTED | FLAG_DESCRIPTOR | FLAG_PATCH | FLAG_STRONG | FLAG_MASKED;
    if ((own_flags & told) != (flags & told) || u16(h + 8) != method) {
        return fail_member(err, PO_E_SYNTAX, m->local, m->name, m->n_name,
                           "has flags or a method that differ from the directory's");
    }
    uint64_t packed = u32(h + 18), unpacked = u32(h + 22);
    uint32_t crc = u32(h + 14);
    if (!fill_from_zip64(h + LOCAL_SIZE + n_name, n_extra, &unpacked, &packed, NULL)) {
        return fail_member(err, PO_E_SYNTAX, m->local, m->name, m->n_name, "has extra fields that don't add up");
    }
    /* A streaming writer knows neither size nor sum when it writes the header and leaves zeros. */
    bool later = flags & FLAG_DESCRIPTOR;
    if (!(later && (packed == 0 || packed == 0xffffffff)) && packed != m->packed) {
        return fail_member(err, PO_E_SYNTAX, m->local, m->name, m->n_name,
                           "has a packed size that differs from the directory's");
    }
    if (!(later && (unpacked == 0 || unpacked == 0xffffffff)) && unpacked != m->unpacked) {
        return fail_member(err, PO_E_SYNTAX, m->local, m->name, m->n_name,
                           "has an unpacked size that differs from the directory's");
    }
    if (!(later && crc == 0) && crc != m->crc) {
        return fail_member(err, PO_E_SYNTAX, m->local, m->name, m->n_name,
                           "has a sum that differs from the directory's");
    }
    m->at = m->local + LOCAL_SIZE + n_name + n_extra;
    room -= n_name + n_extra;
    if (m->packed > room) {
        return fail_member(err, PO_E_SYNTAX, m->local, m->name, m->n_name, "runs into the directory");
    }
    m->end = m->at + m->packed;
    if (later) {
        size_t size = descriptor_size(data + m->end, room - m->packed, m);
        if (size == 0) {
            return fail_member(err, PO_E_SYNTAX, m->end, m->name, m->n_name,
                               "has no descriptor behind its bytes that agrees with the directory");
        }
        m->end += size;
    }
    return PO_OK;
}

static po_status read_entry(const unsigned char *data, const directory *dir, uint64_t *pos,
                            const po_part_limits *limits, po_zip_member *m, po_err *err)
{
    const unsigned char *e = data + *pos;
    uint64_t left = dir->at + dir->size - *pos;
    if (left < ENTRY_SIZE || u32(e) != ENTRY_SIGN) {
        return fail_byte(err, PO_E_SYNTAX, *pos, "an entry of its directory is missing");
    }
    size_t n_name = u16(e + 28), n_extra = u16(e + 30), n_comment = u16(e + 32);
    if (n_name + n_extra + n_comment > left - ENTRY_SIZE) {
        return fail_byte(err, PO_E_SYNTAX, *pos, "an entry runs out of its directory");
    }
    unsigned flags = u16(e + 8), method = u16(e + 10);
    *m = (po_zip_member){.name = (const char *)e + ENTRY_SIZE,
                         .n_name = n_name,
                         .crc = u32(e + 16),
                         .packed = u32(e + 20),
                         .unpacked = u32(e + 24),
                         .local = u32(e + 42),
                         .deflated = method == 8,
                         .folder = n_name > 0 && e[ENTRY_SIZE + n_name - 1] == '/'};
    const char *why = bad_name(m->name, n_name);
    if (why) {
        return fail_member(err, PO_E_SYNTAX, *pos, m->name, n_name, why);
    }
    if (flags & (FLAG_ENCRYPTED | FLAG_STRONG | FLAG_MASKED)) {
        return fail_member(err, PO_E_UNSUPPORTED, *pos, m->name, n_name, "is encrypted");
    }
    if (flags & FLAG_PATCH) {
        return fail_member(err, PO_E_UNSUPPORTED, *pos, m->name, n_name, "is a patch to another file");
    }
    if (method != 0 && method != 8) {
        return fail_member(err, PO_E_UNSUPPORTED, *pos, m->name, n_name,
                           "is packed by a method that 3MF does not allow (core specification 1.1)");
    }
    if (!fill_from_zip64(e + ENTRY_SIZE + n_name, n_extra, &m->unpacked, &m->packed, &m->local)) {
        return fail_member(err, PO_E_SYNTAX, *pos, m->name, n_name, "has extra fields that don't add up");
    }
    if (u16(e + 34) != 0 && u16(e + 34) != 0xffff) {
        return fail_member(err, PO_E_UNSUPPORTED, *pos, m->name, n_name, "lies on another disk");
    }
    if (!m->deflated && m->packed != m->unpacked) {
        return fail_member(err, PO_E_SYNTAX, *pos, m->name, n_name, "is stored, yet its two sizes differ");
    }
    if (m->folder && m->unpacked != 0) {
        return fail_member(err, PO_E_SYNTAX, *pos, m->name, n_name, "is a folder that holds bytes");
    }
    if (m->unpacked > RATIO_FROM && m->unpacked / (limits->most_ratio ? limits->most_ratio : 1) > m->packed) {
        return fail_member(err, PO_E_LIMIT, *pos, m->name, n_name, "unpacks to too many times its size (a bomb?)");
    }
    po_status s = check_local(data, dir, m, flags, method, err);
    *pos += ENTRY_SIZE + n_name + n_extra + n_comment;
    return s;
}

po_status po_zip_open(const unsigned char *data, size_t n, const po_part_limits *limits, po_arena *arena, po_zip *ret,
                      po_err *err)
{
    directory dir;
    if (n > limits->most_bytes) {
        return po_fail(err, PO_E_LIMIT, "the file has %zu bytes; the limit is %" PRIu64 "", n, limits->most_bytes);
    }
    po_status s = find_directory(data, n, &dir, err);
    if (s != PO_OK) {
        return s;
    }
    if (dir.entries > limits->most_members) {
        return po_fail(err, PO_E_LIMIT, "the archive has %" PRIu64 " members; the limit is %" PRIu32 "", dir.entries,
                       limits->most_members);
    }
    size_t n_members = (size_t)dir.entries;
    po_zip_member *members = po_arena_zeros(arena, n_members, sizeof *members);
    if (!members) {
        return po_fail(err, PO_E_NOMEM, "no memory for the archive's directory");
    }
    uint64_t pos = dir.at, total = 0;
    for (size_t i = 0; i < n_members; i++) {
        s = read_entry(data, &dir, &pos, limits, &members[i], err);
        if (s != PO_OK) {
            return s;
        }
        if (members[i].unpacked > limits->most_unpacked - total) {
            return fail_member(err, PO_E_LIMIT, pos, members[i].name, members[i].n_name,
                               "takes the archive above the limit of unpacked bytes");
        }
        total += members[i].unpacked;
    }
    if (n_members > 0) {
        qsort(members, n_members, sizeof *members, by_place);
    }
    for (size_t i = 1; i < n_members; i++) {
        if (members[i].local < members[i - 1].end) {
            return fail_member(err, PO_E_SYNTAX, members[i].local, members[i].name, members[i].n_name,
                               "overlaps another member");
        }
    }
    if (n_members > 0) {
        qsort(members, n_members, sizeof *members, by_name);
    }
    for (size_t i = 1; i < n_members; i++) {
        if (by_name(&members[i - 1], &members[i]) == 0) {
            return fail_member(err, PO_E_SYNTAX, members[i].local, members[i].name, members[i].n_name,
                               "is there twice (upper and lower case are the same)");
        }
    }
    *ret = (po_zip){.data = data, .n = n, .members = members, .n_members = n_members};
    return PO_OK;
}

const po_zip_member *po_zip_find(const po_zip *zip, const char *name, size_t n_name)
{
    size_t low = 0, high = zip->n_members;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        const po_zip_member *m = &zip->members[mid];
        int d = compare_names(m->name, m->n_name - m->folder, name, n_name);
        if (d == 0) {
            return m->folder ? NULL : m;
        }
        if (d < 0) {
            low = mid + 1;
        } else {
            high = mid;
        }
    }
    return NULL;
}

po_status po_zip_unpack(const po_zip *zip, const po_zip_member *m, void *out, po_err *err)
{
    const unsigned char *packed = zip->data + m->at;
    size_t n = (size_t)m->unpacked;
    if (!m->deflated) {
        if (n) {
            memcpy(out, packed, n);
        }
    } else {
        struct libdeflate_decompressor *d = libdeflate_alloc_decompressor();
        if (!d) {
            return po_fail(err, PO_E_NOMEM, "no memory to unpack the archive");
        }
        size_t used = 0, made = 0;
        enum libdeflate_result r = libdeflate_deflate_decompress_ex(d, packed, (size_t)m->packed, out, n, &used, &made);
        libdeflate_free_decompressor(d);
        if (r != LIBDEFLATE_SUCCESS || used != m->packed || made != n) {
            return fail_member(err, PO_E_SYNTAX, m->at, m->name, m->n_name,
                               "does not unpack to the size that the directory says");
        }
    }
    if (libdeflate_crc32(0, out, n) != m->crc) {
        return fail_member(err, PO_E_SYNTAX, m->at, m->name, m->n_name,
                           "is damaged: its bytes don't have the sum (CRC)");
    }
    return PO_OK;
}
