/* Archives. SPDX-License-Identifier: Apache-2.0
 * Promises: status and error agree; the place lies in the input; members lie in the input, apart from each other, and
 * below the limits; what unpacks does so to the size that was said; each member is found by its name. */
#include <string.h>

#include "fuzz.h"
#include "part/zip.h"

enum { MOST = 1 << 22 };

static void check_member(const po_zip *zip, const po_zip_member *m, const po_part_limits *limits)
{
    PROMISE((const unsigned char *)m->name >= zip->data && m->n_name > 0);
    PROMISE((const unsigned char *)m->name + m->n_name <= zip->data + zip->n);
    PROMISE(m->local < m->at && m->at + m->packed <= m->end && m->end <= zip->n);
    PROMISE(m->unpacked <= limits->most_unpacked);
    PROMISE(!memchr(m->name, 0, m->n_name) && !memchr(m->name, '\\', m->n_name) && m->name[0] != '/');
    PROMISE(po_zip_find(zip, m->name, m->n_name) == (m->folder ? NULL : m));
    if (!m->folder) {
        unsigned char *out = malloc(m->unpacked ? (size_t)m->unpacked : 1);
        PROMISE(out);
        po_err err = {.code = PO_OK};
        po_status s = po_zip_unpack(zip, m, out, &err);
        PROMISE(s == err.code && (s == PO_OK || (s == PO_E_SYNTAX && err.msg[0])));
        free(out);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    po_part_limits limits = PO_PART_LIMITS_INIT;
    limits.most_unpacked = MOST;
    limits.most_members = 100;
    po_arena *arena = po_arena_new(MOST);
    PROMISE(arena);
    po_zip zip;
    po_err err = {.code = PO_OK};
    po_status s = po_zip_open(data, n, &limits, arena, &zip, &err);
    PROMISE(s == err.code);
    PROMISE(s == PO_OK || s == PO_E_SYNTAX || s == PO_E_LIMIT || s == PO_E_UNSUPPORTED);
    PROMISE(s == PO_OK || err.msg[0]);
    PROMISE(s == PO_OK || err.byte == PO_NO_BYTE || err.byte <= n);
    uint64_t total = 0;
    for (size_t i = 0; s == PO_OK && i < zip.n_members; i++) {
        check_member(&zip, &zip.members[i], &limits);
        total += zip.members[i].unpacked;
        PROMISE(total <= MOST);
        for (size_t k = 0; k < i; k++) {
            PROMISE(zip.members[i].end <= zip.members[k].local || zip.members[k].end <= zip.members[i].local);
        }
    }
    po_arena_free(arena);
    return 0;
}
