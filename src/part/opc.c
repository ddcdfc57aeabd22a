/* Packages by the Open Packaging Conventions, as far as a 3MF needs them. SPDX-License-Identifier: Apache-2.0
 *
 * Sources: 3MF core specification 1.4.0, sections 2.1, 2.2.3, 6.1 and appendix C; ECMA-376 part 2 (part names, content
 * types, relationships; from memory). Signatures and core properties are not looked at. */
#include "part/opc.h"

#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>

#include "base/text.h"
#include "part/xml.h"

#define TYPES_SPACE "http://schemas.openxmlformats.org/package/2006/content-types"
#define RELS_SPACE "http://schemas.openxmlformats.org/package/2006/relationships"

enum { MOST_RECORDS = 100000, MOST_NAME = 2048, MOST_THUMBNAIL = 64 << 20 };
#define HUGE_PAGE ((size_t)2 << 20)

static int hex_digit(char c)
{
    return c >= '0' && c <= '9' ? c - '0' : (c | 32) >= 'a' && (c | 32) <= 'f' ? (c | 32) - 'a' + 10 : -1;
}

/* A part name as the archive may spell it: escaped characters plain. */
static size_t unescape(const char *part, char *out)
{
    size_t n = 0;
    for (const char *p = part; *p; p++) {
        int a = p[0] == '%' ? hex_digit(p[1]) : -1, b = a >= 0 ? hex_digit(p[2]) : -1;
        int c = b >= 0 ? a * 16 + b : -1;
        if (c > 31 && c != '/' && c != '\\') {
            out[n++] = (char)c;
            p += 2;
        } else {
            out[n++] = *p;
        }
    }
    return n;
}

const po_zip_member *po_opc_find(const po_opc *opc, const char *part)
{
    size_t n = strlen(part);
    if (n < 2 || part[0] != '/' || n > MOST_NAME) {
        return NULL;
    }
    const po_zip_member *m = po_zip_find(&opc->zip, part + 1, n - 1);
    if (!m && strchr(part, '%')) {
        char plain[MOST_NAME + 1];
        m = po_zip_find(&opc->zip, plain, unescape(part + 1, plain));
    }
    return m;
}

const char *po_opc_type_of(const po_opc *opc, const char *part)
{
    for (size_t i = 0; i < opc->n_names; i++) {
        if (po_text_same(opc->names[i].key, part)) {
            return opc->names[i].type;
        }
    }
    const char *slash = strrchr(part, '/'), *dot = strrchr(slash ? slash : part, '.');
    for (size_t i = 0; dot && i < opc->n_endings; i++) {
        if (po_text_same(opc->endings[i].key, dot + 1)) {
            return opc->endings[i].type;
        }
    }
    return NULL;
}

/* Memory that is written and read once, front to back. Most of the time to unpack a large model would go into its page
 * faults; with huge pages there are 512 times fewer. Freed with free. */
static char *room_for(size_t n)
{
    if (n < 2 * HUGE_PAGE) {
        return malloc(n);
    }
    size_t whole = (n + HUGE_PAGE - 1) / HUGE_PAGE * HUGE_PAGE;
    char *bytes = aligned_alloc(HUGE_PAGE, whole);
    if (bytes) {
        (void)madvise(bytes, whole, MADV_HUGEPAGE); /* a wish; without it only slower */
    }
    return bytes;
}

po_status po_opc_load(const po_opc *opc, const char *part, char **ret_bytes, size_t *ret_n, po_err *err)
{
    const po_zip_member *m = po_opc_find(opc, part);
    if (!m) {
        return po_fail(err, PO_E_NOTFOUND, "the package has no part \"%.120s\"", part);
    }
    char *bytes = m->unpacked < SIZE_MAX - HUGE_PAGE ? room_for((size_t)m->unpacked + 1) : NULL;
    if (!bytes) {
        return po_fail(err, PO_E_NOMEM, "no memory to unpack \"%.120s\"", part);
    }
    po_status s = po_zip_unpack(&opc->zip, m, bytes, err);
    if (s != PO_OK) {
        free(bytes);
        return s;
    }
    *ret_bytes = bytes;
    *ret_n = (size_t)m->unpacked;
    return PO_OK;
}

/* Records of one XML part, as they come. */
typedef struct records {
    po_opc *opc;
    const char *source; /* of relationships: "/" for the package */
    po_opc_rels *rels;
    size_t cap_endings, cap_names, cap_rels;
} records;

/* Room for one more in an array of the arena that doubles. */
static void *room(po_arena *arena, void *list, size_t n, size_t *cap, size_t size)
{
    if (n < *cap) {
        return list;
    }
    size_t more = *cap ? 2 * *cap : 16;
    void *copy = po_arena_zeros(arena, more, size);
    if (copy) {
        if (n) {
            memcpy(copy, list, n * size);
        }
        *cap = more;
    }
    return copy;
}

static const char *attr(const po_xml_tag *tag, const char *name)
{
    for (size_t i = 0; i < tag->n_attrs; i++) {
        if (tag->attrs[i].space == PO_XML_NO_SPACE && strcmp(tag->attrs[i].name, name) == 0) {
            return tag->attrs[i].value;
        }
    }
    return NULL;
}

static po_status open_type(void *user, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    records *r = user;
    po_opc *opc = r->opc;
    if (tag->depth == 1) {
        return tag->space == 0 && strcmp(tag->name, "Types") == 0
                   ? PO_OK
                   : po_xml_fail(xml, err, PO_E_SYNTAX, "expected <Types>, found <%.60s>", tag->qualified);
    }
    bool ending = strcmp(tag->name, "Default") == 0, name = strcmp(tag->name, "Override") == 0;
    if (tag->space != 0 || tag->depth != 2 || !(ending || name)) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "expected <Default> or <Override>, found <%.60s>", tag->qualified);
    }
    const char *key = attr(tag, ending ? "Extension" : "PartName"), *type = attr(tag, "ContentType");
    if (!key || !key[0] || !type || !type[0] || (name && key[0] != '/')) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "<%.60s> lacks its %s or its content type", tag->qualified,
                           ending ? "ending" : "part name (it begins with '/')");
    }
    size_t *n = ending ? &opc->n_endings : &opc->n_names;
    po_opc_kind **list = ending ? &opc->endings : &opc->names;
    if (*n >= (ending ? 1000u : opc->limits->most_members)) {
        return po_xml_fail(xml, err, PO_E_LIMIT, "too many content types");
    }
    for (size_t i = 0; ending && i < *n; i++) {
        if (po_text_same((*list)[i].key, key)) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "the ending \"%.60s\" has two content types", key);
        }
    }
    po_opc_kind *more = room(opc->arena, *list, *n, ending ? &r->cap_endings : &r->cap_names, sizeof **list);
    po_opc_kind one = {po_arena_text(opc->arena, key), po_arena_text(opc->arena, type)};
    if (!more || !one.key || !one.type) {
        return po_fail(err, PO_E_NOMEM, "no memory for content types");
    }
    more[*n] = one;
    *list = more;
    ++*n;
    return PO_OK;
}

/* An absolute part name from a target that may be relative to its source's folder. NULL: climbs out, too long, empty. */
static const char *absolute(po_arena *arena, const char *source, const char *target, bool *ret_bad)
{
    char name[MOST_NAME + 1];
    size_t n = 0;
    *ret_bad = true;
    if (target[0] != '/') {
        const char *slash = strrchr(source, '/');
        n = slash ? (size_t)(slash - source) : 0; /* the folder without its last '/' */
    }
    if (n > MOST_NAME || !target[0]) {
        return NULL;
    }
    memcpy(name, source, n);
    for (const char *p = target; *p;) {
        p += *p == '/';
        size_t step = strcspn(p, "/");
        if (step == 2 && p[0] == '.' && p[1] == '.') {
            if (n == 0) {
                return NULL;
            }
            while (name[--n] != '/') {
            }
        } else if (step == 1 && p[0] == '.') {
            /* stays */
        } else if (step == 0 || p[0] == '.' || n + 1 + step > MOST_NAME) {
            return NULL; /* core specification 2.2.3: not empty, not led by a period */
        } else {
            name[n++] = '/';
            memcpy(name + n, p, step);
            n += step;
        }
        p += step;
    }
    *ret_bad = n == 0;
    return n == 0 ? NULL : po_arena_text_n(arena, name, n);
}

static po_status open_rel(void *user, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    records *r = user;
    po_arena *arena = r->opc->arena;
    if (tag->depth == 1) {
        return tag->space == 0 && strcmp(tag->name, "Relationships") == 0
                   ? PO_OK
                   : po_xml_fail(xml, err, PO_E_SYNTAX, "expected <Relationships>, found <%.60s>", tag->qualified);
    }
    if (tag->space != 0 || tag->depth != 2 || strcmp(tag->name, "Relationship") != 0) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "expected <Relationship>, found <%.60s>", tag->qualified);
    }
    const char *id = attr(tag, "Id"), *type = attr(tag, "Type"), *target = attr(tag, "Target");
    const char *mode = attr(tag, "TargetMode");
    if (!id || !id[0] || !type || !type[0] || !target) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "a relationship lacks its Id, Type or Target");
    }
    if (mode && strcmp(mode, "Internal") != 0) {
        return po_xml_fail(xml, err, PO_E_UNSUPPORTED,
                           "a relationship points out of the package, to \"%.80s\" (core specification 2.1.1)", target);
    }
    if (r->rels->n == MOST_RECORDS) {
        return po_xml_fail(xml, err, PO_E_LIMIT, "more than %d relationships", MOST_RECORDS);
    }
    bool bad;
    po_opc_rel rel = {.id = po_arena_text(arena, id), .type = po_arena_text(arena, type)};
    rel.target = absolute(arena, r->source, target, &bad);
    if (!rel.target && bad) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "\"%.80s\" is no name of a part (core specification 2.2.3)", target);
    }
    po_opc_rel *more = room(arena, r->rels->list, r->rels->n, &r->cap_rels, sizeof *more);
    if (!more || !rel.id || !rel.type || !rel.target) {
        return po_fail(err, PO_E_NOMEM, "no memory for relationships");
    }
    more[r->rels->n++] = rel;
    r->rels->list = more;
    return PO_OK;
}

static po_status read_records(po_opc *opc, const char *part, const char *space, const char *source, po_opc_rels *rels,
                              po_status (*open)(void *, po_xml *, const po_xml_tag *, po_err *), po_err *err)
{
    char *text = NULL;
    size_t n = 0;
    po_status s = po_opc_load(opc, part, &text, &n, err);
    if (s != PO_OK) {
        return s;
    }
    records r = {.opc = opc, .source = source, .rels = rels};
    po_xml_job job = {.text = text,
                      .n = n,
                      .where = part,
                      .spaces = &space,
                      .n_spaces = 1,
                      .most_depth = opc->limits->most_depth,
                      .user = &r,
                      .open = open};
    s = po_xml_read(&job, err);
    free(text);
    return s;
}

/* Four colour components in the frame header: CMYK, which a thumbnail may not be (core specification 6.1.1).
 * Markers: ITU-T T.81, table B.1 and B.2.2. */
static bool jpeg_is_cmyk(const unsigned char *p, size_t n)
{
    size_t i = 2;
    while (n >= 4 && i < n - 3) {
        if (p[i] != 0xff) {
            return false;
        }
        unsigned marker = p[i + 1];
        if (marker == 0xff || marker == 0x01 || (marker >= 0xd0 && marker <= 0xd8)) {
            i += marker == 0xff ? 1 : 2;
            continue;
        }
        if (marker >= 0xc0 && marker <= 0xcf && marker != 0xc4 && marker != 0xc8 && marker != 0xcc) {
            return i + 9 < n && p[i + 9] == 4;
        }
        if (marker == 0xda || marker == 0xd9) {
            return false;
        }
        i += 2 + ((size_t)p[i + 2] << 8 | p[i + 3]);
    }
    return false;
}

static po_status check_thumbnail(const po_opc *opc, const char *where, const char *part, po_err *err)
{
    const char *type = po_opc_type_of(opc, part);
    bool jpeg = type && po_text_same(type, "image/jpeg");
    if (!jpeg && !(type && po_text_same(type, "image/png"))) {
        return po_fail_at(err, PO_E_SYNTAX, where, 0, 0,
                          "the thumbnail %.80s is of type \"%.60s\", not JPEG or PNG (core specification 2.1.3)", part,
                          type ? type : "none");
    }
    const po_zip_member *m = po_opc_find(opc, part);
    if (!jpeg || m->unpacked > MOST_THUMBNAIL) {
        return PO_OK;
    }
    char *bytes = NULL;
    size_t n = 0;
    po_status s = po_opc_load(opc, part, &bytes, &n, err);
    if (s != PO_OK) {
        return s;
    }
    bool cmyk = jpeg_is_cmyk((const unsigned char *)bytes, n);
    free(bytes);
    return cmyk ? po_fail_at(err, PO_E_SYNTAX, where, 0, 0,
                             "the thumbnail %.80s is a CMYK picture (core specification 6.1.1)", part)
                : PO_OK;
}

static int by_id(const void *a, const void *b)
{
    return strcmp(((const po_opc_rel *)a)->id, ((const po_opc_rel *)b)->id);
}

static int by_target(const void *a, const void *b)
{
    const po_opc_rel *x = a, *y = b;
    int d = strcmp(x->type, y->type);
    const unsigned char *p = (const unsigned char *)x->target, *q = (const unsigned char *)y->target;
    while (d == 0 && (*p || *q)) {
        int one = *p >= 'A' && *p <= 'Z' ? *p + 32 : *p, other = *q >= 'A' && *q <= 'Z' ? *q + 32 : *q;
        d = one - other;
        p += *p != 0;
        q += *q != 0;
    }
    return d;
}

const po_opc_rel *po_opc_find_rel(const po_opc_rels *rels, const char *type, const char *target)
{
    po_opc_rel key = {.type = type, .target = target};
    return rels->n ? bsearch(&key, rels->list, rels->n, sizeof key, by_target) : NULL;
}

/* What holds for every list of relationships. model: of a 3D model part, otherwise of the package. */
static po_status check_rels(const po_opc *opc, const char *where, po_opc_rels *rels, bool model, po_err *err)
{
    size_t tickets = 0;
    if (rels->n == 0) {
        return PO_OK;
    }
    qsort(rels->list, rels->n, sizeof *rels->list, by_id);
    for (size_t i = 1; i < rels->n; i++) {
        if (by_id(&rels->list[i - 1], &rels->list[i]) == 0) {
            return po_fail_at(err, PO_E_SYNTAX, where, 0, 0, "two relationships have the Id \"%.60s\"",
                              rels->list[i].id);
        }
    }
    qsort(rels->list, rels->n, sizeof *rels->list, by_target);
    for (size_t i = 0; i < rels->n; i++) {
        const po_opc_rel *r = &rels->list[i];
        if (i > 0 && by_target(r - 1, r) == 0) {
            return po_fail_at(err, PO_E_SYNTAX, where, 0, 0,
                              "two relationships of one type lead to %.80s (core specification 2.1.1)", r->target);
        }
        bool thumbnail = strcmp(r->type, PO_OPC_THUMBNAIL_REL) == 0, ticket = strcmp(r->type, PO_OPC_TICKET_REL) == 0;
        bool start = strcmp(r->type, PO_OPC_MODEL_REL) == 0;
        if ((thumbnail || ticket || start) && !po_opc_find(opc, r->target)) {
            return po_fail_at(err, PO_E_NOTFOUND, where, 0, 0,
                              "the part %.80s is not in the package (core specification 2.1.1)", r->target);
        }
        if (ticket && (!model || ++tickets > 1)) {
            return po_fail_at(err, PO_E_SYNTAX, where, 0, 0, "%s (core specification 2.1.4)",
                              model ? "a model has more than one print ticket"
                                    : "a print ticket is attached to the package; it belongs to a model");
        }
        po_status s = thumbnail ? check_thumbnail(opc, where, r->target, err) : PO_OK;
        if (s != PO_OK) {
            return s;
        }
    }
    return PO_OK;
}

po_status po_opc_rels_of(const po_opc *opc, const char *part, po_opc_rels *ret, po_err *err)
{
    *ret = (po_opc_rels){0};
    char name[MOST_NAME + 16];
    const char *slash = strrchr(part, '/');
    size_t n = slash ? (size_t)(slash - part) : 0, rest = strlen(part) - n;
    if (!slash || n + rest > MOST_NAME) {
        return PO_OK;
    }
    memcpy(name, part, n);
    memcpy(name + n, "/_rels", 6);
    memcpy(name + n + 6, slash, rest);
    memcpy(name + n + 6 + rest, ".rels", 6);
    if (!po_opc_find(opc, name)) {
        return PO_OK;
    }
    po_status s = read_records((po_opc *)opc, name, RELS_SPACE, part, ret, open_rel, err);
    return s == PO_OK ? check_rels(opc, name, ret, true, err) : s;
}

po_status po_opc_open(const unsigned char *data, size_t n, const po_part_limits *limits, po_arena *arena, po_opc *ret,
                      po_err *err)
{
    static const char types[] = "/[Content_Types].xml", package_rels[] = "/_rels/.rels";
    po_opc opc = {.limits = limits, .arena = arena};
    po_status s = po_zip_open(data, n, limits, arena, &opc.zip, err);
    if (s != PO_OK) {
        return s;
    }
    if (!po_opc_find(&opc, types) || !po_opc_find(&opc, package_rels)) {
        return po_fail(err, PO_E_EMPTY, "an archive, but no 3MF: it has no %s",
                       po_opc_find(&opc, types) ? "_rels/.rels" : "[Content_Types].xml");
    }
    s = read_records(&opc, types, TYPES_SPACE, "/", NULL, open_type, err);
    s = s == PO_OK ? read_records(&opc, package_rels, RELS_SPACE, "/", &opc.rels, open_rel, err) : s;
    s = s == PO_OK ? check_rels(&opc, package_rels, &opc.rels, false, err) : s;
    if (s != PO_OK) {
        return s;
    }
    for (size_t i = 0; i < opc.rels.n; i++) {
        if (strcmp(opc.rels.list[i].type, PO_OPC_MODEL_REL) == 0) {
            if (opc.start_part) {
                return po_fail_at(err, PO_E_SYNTAX, package_rels, 0, 0,
                                  "the package starts at two models, %.60s and %.60s (core specification 2.1)",
                                  opc.start_part, opc.rels.list[i].target);
            }
            opc.start_part = opc.rels.list[i].target;
        }
    }
    if (!opc.start_part) {
        return po_fail_at(err, PO_E_SYNTAX, package_rels, 0, 0,
                          "the package points to no 3D model to start from (core specification 2.1.1)");
    }
    const char *type = po_opc_type_of(&opc, opc.start_part);
    if (!type || !po_text_same(type, PO_OPC_MODEL_TYPE)) {
        return po_fail_at(err, PO_E_SYNTAX, types + 1, 0, 0,
                          "the start part %.80s has the content type \"%.60s\", not that of a 3D model", opc.start_part,
                          type ? type : "none");
    }
    *ret = opc;
    return PO_OK;
}
