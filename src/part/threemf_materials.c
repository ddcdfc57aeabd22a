/* Which materials a 3MF wants. SPDX-License-Identifier: Apache-2.0
 *
 * Sources: 3MF core specification 1.4.0, chapter 5; materials and properties extension, chapters 2 to 6. A *want* is what
 * a print would need one more filament for: a base material (by its name), a colour (by its red, green, blue) or a
 * texture (by its picture, however many colours that has). A composite wants its constituents, a multiproperty what all
 * its layers want. Each object remembers its wants once, whatever the number of triangles. */
#include <stdlib.h>
#include <string.h>

#include "part/threemf_model.h"

void po_3mf_materials_done(po_3mf_materials *m)
{
    free(m->resources);
    free(m->by_id);
    free(m->slots);
    free(m->lists);
    free(m->keys);
    free(m->wants);
    free(m->want_seen);
    free(m->by_key);
    free(m->used);
}

static uint64_t mix(uint64_t x)
{
    x ^= x >> 31; /* D. Stafford's variant 13 of the finalizer of MurmurHash3 */
    x *= UINT64_C(0xbf58476d1ce4e5b9);
    x ^= x >> 27;
    x *= UINT64_C(0x94d049bb133111eb);
    return x ^ x >> 31;
}

static uint64_t id_hash(uint32_t file, uint32_t id)
{
    return mix((uint64_t)file << 32 | id);
}

/* A table at most half full; NULL: no memory. */
static uint32_t *empty_table(size_t n)
{
    uint32_t *table = malloc(n * sizeof *table);
    if (table) {
        memset(table, 0xff, n * sizeof *table);
    }
    return table;
}

po_3mf_resource *po_3mf_find(const po_3mf_materials *m, uint32_t file, uint32_t id)
{
    if (m->n_by_id == 0) {
        return NULL;
    }
    for (size_t i = id_hash(file, id) & (m->n_by_id - 1); m->by_id[i] != PO_3MF_NONE; i = (i + 1) & (m->n_by_id - 1)) {
        po_3mf_resource *r = &m->resources[m->by_id[i]];
        if (r->id == id && r->file == file) {
            return r;
        }
    }
    return NULL;
}

static void put_id(po_3mf_materials *m, uint32_t index)
{
    size_t i = id_hash(m->resources[index].file, m->resources[index].id) & (m->n_by_id - 1);
    while (m->by_id[i] != PO_3MF_NONE) {
        i = (i + 1) & (m->n_by_id - 1);
    }
    m->by_id[i] = index;
}

bool po_3mf_define(po_3mf_materials *m, po_3mf_kind kind, uint32_t file, uint32_t id, po_3mf_resource **ret)
{
    *ret = NULL;
    po_3mf_resource *old = po_3mf_find(m, file, id);
    if (old && old->kind != PO_3MF_FOREIGN) {
        return false;
    }
    if (old) { /* of an extension that is to be ignored: then its id is too */
        *old = (po_3mf_resource){
            .kind = kind, .file = file, .id = id, .first = (uint32_t)m->n_slots, .base = PO_3MF_NONE};
        *ret = old;
        return true;
    }
    if (!po_3mf_room(&m->resources, m->n_resources, &m->cap_resources, sizeof *m->resources) ||
        m->n_resources >= PO_3MF_NONE / 4) {
        return true;
    }
    if (2 * (m->n_resources + 1) > m->n_by_id) {
        size_t n = m->n_by_id ? 2 * m->n_by_id : 64;
        uint32_t *table = empty_table(n);
        if (!table) {
            return true;
        }
        free(m->by_id);
        m->by_id = table;
        m->n_by_id = n;
        for (size_t i = 0; i < m->n_resources; i++) {
            put_id(m, (uint32_t)i);
        }
    }
    m->resources[m->n_resources] = (po_3mf_resource){
        .kind = kind, .file = file, .id = id, .first = (uint32_t)m->n_slots, .base = PO_3MF_NONE};
    put_id(m, (uint32_t)m->n_resources);
    *ret = &m->resources[m->n_resources++];
    return true;
}

static uint64_t key_hash(const char *key)
{
    uint64_t h = UINT64_C(14695981039346656037); /* FNV-1a */
    for (; *key; key++) {
        h = (h ^ (unsigned char)*key) * UINT64_C(1099511628211);
    }
    return mix(h);
}

uint32_t po_3mf_want(po_3mf_materials *m, char kind, const char *text)
{
    size_t n = strlen(text) + 2;
    if (m->n_keys + n > m->cap_keys) {
        size_t cap = 2 * (m->n_keys + n);
        char *more = realloc(m->keys, cap);
        if (!more) {
            return PO_3MF_NONE;
        }
        m->keys = more;
        m->cap_keys = cap;
    }
    char *key = m->keys + m->n_keys;
    key[0] = kind;
    memcpy(key + 1, text, n - 1);
    if (2 * (m->n_wants + 1) > m->n_by_key) {
        size_t size = m->n_by_key ? 2 * m->n_by_key : 64;
        uint32_t *table = empty_table(size);
        if (!table) {
            return PO_3MF_NONE;
        }
        for (size_t w = 0; w < m->n_wants; w++) {
            size_t i = key_hash(m->keys + m->wants[w]) & (size - 1);
            while (table[i] != PO_3MF_NONE) {
                i = (i + 1) & (size - 1);
            }
            table[i] = (uint32_t)w;
        }
        free(m->by_key);
        m->by_key = table;
        m->n_by_key = size;
    }
    size_t i = key_hash(key) & (m->n_by_key - 1);
    for (; m->by_key[i] != PO_3MF_NONE; i = (i + 1) & (m->n_by_key - 1)) {
        if (strcmp(m->keys + m->wants[m->by_key[i]], key) == 0) {
            return m->by_key[i];
        }
    }
    if (!po_3mf_room(&m->wants, m->n_wants, &m->cap_wants, sizeof *m->wants) ||
        !po_3mf_room(&m->want_seen, m->n_wants, &m->cap_want_seen, sizeof *m->want_seen)) {
        return PO_3MF_NONE;
    }
    m->want_seen[m->n_wants] = 0;
    m->wants[m->n_wants] = m->n_keys;
    m->n_keys += n;
    m->by_key[i] = (uint32_t)m->n_wants;
    return (uint32_t)m->n_wants++;
}

bool po_3mf_add_slot(po_3mf_materials *m, const uint32_t *wants, size_t n)
{
    if (m->n_slots >= PO_3MF_NONE - 1 || m->n_lists >= PO_3MF_NONE - n ||
        !po_3mf_room(&m->slots, m->n_slots, &m->cap_slots, sizeof *m->slots)) {
        return false;
    }
    po_3mf_slot slot = {.first_want = (uint32_t)m->n_lists, .n_wants = (uint32_t)n};
    for (size_t i = 0; i < n; i++) {
        if (!po_3mf_room(&m->lists, m->n_lists, &m->cap_lists, sizeof *m->lists)) {
            return false;
        }
        m->lists[m->n_lists++] = wants[i];
    }
    m->slots[m->n_slots++] = slot;
    return true;
}

po_3mf_slot *po_3mf_slot_of(const po_3mf_materials *m, const po_3mf_resource *group, uint32_t index)
{
    if (group->kind > PO_3MF_MULTI || index >= group->n) {
        return NULL;
    }
    return &m->slots[group->first + (group->kind == PO_3MF_COORD ? 0 : index)];
}

bool po_3mf_use(po_3mf_materials *m, po_3mf_slot *slot, uint32_t number)
{
    if (slot->seen_by == number) {
        return true;
    }
    slot->seen_by = number;
    for (uint32_t i = 0; i < slot->n_wants; i++) {
        uint32_t want = m->lists[slot->first_want + i];
        if (m->want_seen[want] != number) {
            if (m->n_used >= PO_3MF_NONE - 1 || !po_3mf_room(&m->used, m->n_used, &m->cap_used, sizeof *m->used)) {
                return false;
            }
            m->want_seen[want] = number;
            m->used[m->n_used++] = want;
        }
    }
    return true;
}

uint32_t po_3mf_count_built(po_3mf_reader *r)
{
    po_3mf_materials *m = &r->materials;
    uint32_t n = 0;
    for (size_t i = 0; i < r->n_objects; i++) {
        const po_3mf_object *o = &r->objects[i];
        for (uint32_t u = 0; o->built && u < o->n_used; u++) {
            uint32_t want = m->used[o->first_used + u];
            if (m->want_seen[want] != PO_3MF_NONE) { /* no object has this number */
                m->want_seen[want] = PO_3MF_NONE;
                n++;
            }
        }
    }
    return n;
}
