/* Vertices and triangles. SPDX-License-Identifier: Apache-2.0
 * Source: 3MF core specification 1.4.0, 4.1. Plain elements are scanned (threemf_scan.c), the others come from expat one
 * by one; both end in the same arrays. Whether the surface is closed is not asked here: topology.c measures that. */
#include "part/threemf_elements.h"

#include <string.h>
#include <sys/mman.h>

#include "part/threemf_values.h"

/* The property of a triangle: checked and counted. False: m->why says what is wrong; NULL: no memory. */
static bool on_property(void *user, unsigned have, uint32_t pid, const uint32_t p[3])
{
    po_3mf_model *m = user;
    po_3mf_materials *mat = &m->r->materials;
    uint32_t index = m->group;
    m->why = NULL;
    if (have & PO_3MF_HAVE_PID) {
        if (m->last_pid != pid) {
            const po_3mf_resource *g = po_3mf_find(mat, m->file, pid);
            if (!g || (g->kind > PO_3MF_MULTI && g->kind != PO_3MF_FOREIGN)) {
                m->why = "its pid names no group of properties before it (4.1.4.1)";
                return false;
            }
            m->last_pid = pid;
            m->last_group = (uint32_t)(g - mat->resources);
        }
        index = m->last_group;
    }
    if (index == PO_3MF_NONE) {
        m->why = "it has a property index, but neither it nor its object has a pid (4.1.4.1)";
        return false;
    }
    const po_3mf_resource *g = &mat->resources[index];
    if (!(have & PO_3MF_HAVE_P1)) {
        m->uses_default = true;
        return true;
    }
    m->seen_property = true;
    if (g->kind == PO_3MF_FOREIGN) {
        return true;
    }
    unsigned both = PO_3MF_HAVE_P2 | PO_3MF_HAVE_P3;
    if (g->kind == PO_3MF_BASE &&
        (((have & PO_3MF_HAVE_P2) && p[1] != p[0]) || ((have & PO_3MF_HAVE_P3) && p[2] != p[0]))) {
        m->why = "it blends base materials (4.1.4.1)";
        return false;
    }
    for (int i = 0; i < ((have & both) == both ? 3 : 1); i++) {
        po_3mf_slot *slot = po_3mf_slot_of(mat, g, p[i]);
        if (!slot) {
            m->why = "its property index is beyond its group (4.1.4.1)";
            return false;
        }
        if (!po_3mf_use(mat, slot, m->object.number)) {
            m->why = NULL;
            return false;
        }
    }
    return true;
}

/* How many of that byte there are; sums of bytes first, which compilers turn into vector code. */
static size_t count_byte(const char *text, size_t n, char what)
{
    enum { LANES = 64, ROWS = 255 };
    size_t sum = 0, i = 0;
    while (n - i >= LANES) {
        unsigned char lanes[LANES] = {0};
        for (int row = 0; row < ROWS && n - i >= LANES; row++, i += LANES) {
            for (int k = 0; k < LANES; k++) {
                lanes[k] = (unsigned char)(lanes[k] + (text[i + (size_t)k] == what));
            }
        }
        for (int k = 0; k < LANES; k++) {
            sum += lanes[k];
        }
    }
    for (; i < n; i++) {
        sum += text[i] == what;
    }
    return sum;
}

/* Large arrays come straight from the system: ask for huge pages where whole ones lie in them. */
static void wish_huge_pages(void *begin, size_t bytes)
{
    const uintptr_t page = (uintptr_t)2 << 20;
    uintptr_t from = ((uintptr_t)begin + page - 1) & ~(page - 1), to = ((uintptr_t)begin + bytes) & ~(page - 1);
    if (to > from) {
        (void)madvise((void *)from, to - from, MADV_HUGEPAGE);
    }
}

/* Make room for the children of <vertices> or <triangles>: as many as the text up to its end can hold, once; after that
 * (a comment held the closing tag, say) twice as many. */
static po_status make_room(po_3mf_model *m, size_t pos, bool vertices, po_err *err)
{
    enum {
        SHORTEST_VERTEX = 27,
        SHORTEST_TRIANGLE = 31
    }; /* <vertex x="0" y="0" z="0"/>, <triangle v1="0" v2="1" v3="2"/> */
    po_3mf_mesh_fill *f = &m->fill;
    size_t n = vertices ? f->n_vertices : f->n_triangles, cap = 2 * n + 16;
    if (n == 0) {
        const char *begin = m->text + pos;
        const char *end = memmem(begin, m->n_text - pos, m->closing, strlen(m->closing));
        size_t bytes = end ? (size_t)(end - begin) : m->n_text - pos, tags = count_byte(begin, bytes, '<');
        size_t most = bytes / (vertices ? SHORTEST_VERTEX : SHORTEST_TRIANGLE) + 1;
        cap = (tags < most ? tags : most) + 1;
    }
    if (cap >= UINT32_C(1) << 31) {
        cap = (UINT32_C(1) << 31) - 1; /* 4.1.3, 4.1.4 */
    }
    if (cap <= n) {
        return po_fail(err, PO_E_LIMIT, "a mesh with 2^31 or more vertices or triangles (4.1.3)");
    }
    size_t size = 3 * (vertices ? sizeof(double) : sizeof(uint32_t));
    void *more = po_arena_zeros(m->r->arena, cap, size);
    if (!more) {
        return po_3mf_no_memory(err);
    }
    wish_huge_pages(more, cap * size);
    if (vertices) {
        if (n) {
            memcpy(more, f->xyz, n * 3 * sizeof(double));
        }
        f->xyz = more;
        f->cap_vertices = cap;
    } else {
        if (n) {
            memcpy(more, f->corners, n * 3 * sizeof(uint32_t));
        }
        f->corners = more;
        f->cap_triangles = cap;
    }
    return PO_OK;
}

static po_status check_count(const po_3mf_model *m, po_xml *xml, size_t pos, po_err *err)
{
    if (m->r->n_triangles + m->fill.n_triangles > m->r->limits->most_triangles) {
        return po_xml_fail_at(xml, err, PO_E_LIMIT, pos, "more than %llu triangles",
                              (unsigned long long)m->r->limits->most_triangles);
    }
    return PO_OK;
}

/* xml.c found a place from where children may be scanned. */
po_status po_3mf_jump(void *user, po_xml *xml, size_t *pos, po_err *err)
{
    po_3mf_model *m = user;
    po_3mf_mesh_fill *f = &m->fill;
    bool vertices = !m->seen_triangles;
    for (;;) {
        if (vertices ? f->n_vertices == f->cap_vertices : f->n_triangles == f->cap_triangles) {
            po_status s = make_room(m, *pos, vertices, err);
            if (s != PO_OK) {
                return s;
            }
        }
        *pos = vertices ? po_3mf_scan_vertices(m->text, m->n_text, *pos, m->child, f)
                        : po_3mf_scan_triangles(m->text, m->n_text, *pos, m->child, f);
        if (vertices ? f->n_vertices < f->cap_vertices : f->n_triangles < f->cap_triangles) {
            return check_count(m, xml, *pos, err);
        }
    }
}

po_status po_3mf_open_list(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, bool vertices, po_err *err)
{
    if (vertices ? m->seen_vertices : m->seen_triangles || !m->seen_vertices) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "<%.40s> stands twice, or not in its order (B.1.1)", tag->qualified);
    }
    po_status s = po_3mf_attributes(m, xml, tag, NULL, 0, err);
    *(vertices ? &m->seen_vertices : &m->seen_triangles) = true;
    size_t prefix = (size_t)(tag->name - tag->qualified);
    if (s == PO_OK && strlen(tag->qualified) < MOST_QUALIFIED) {
        memcpy(m->child, tag->qualified, prefix);
        memcpy(m->child + prefix, vertices ? "vertex" : "triangle", vertices ? 7 : 9);
        memcpy(m->closing, "</", 2);
        memcpy(m->closing + 2, tag->qualified, strlen(tag->qualified) + 1);
        po_xml_jump(xml);
    } else if (s == PO_OK) {
        return po_xml_fail(xml, err, PO_E_LIMIT, "a prefix of more than %d bytes", MOST_QUALIFIED);
    }
    return s;
}

po_status po_3mf_open_vertex(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    po_3mf_mesh_fill *f = &m->fill;
    double v[3] = {0};
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "x", .value = V_NUMBER, .to = &v[0], .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "y", .value = V_NUMBER, .to = &v[1], .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "z", .value = V_NUMBER, .to = &v[2], .must = true}};
    po_status s = po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
    if (s == PO_OK && f->n_vertices == f->cap_vertices) {
        s = make_room(m, m->n_text, true, err);
    }
    for (int i = 0; s == PO_OK && i < 3; i++) {
        f->xyz[3 * f->n_vertices + (size_t)i] = v[i] * f->unit_mm;
    }
    f->n_vertices += s == PO_OK;
    return s;
}

po_status po_3mf_open_triangle(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, po_err *err)
{
    po_3mf_mesh_fill *f = &m->fill;
    uint32_t v[3] = {0}, p[3] = {0}, pid = 0;
    wanted list[] = {{.space = PO_XML_NO_SPACE, .name = "v1", .value = V_INDEX, .to = &v[0], .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "v2", .value = V_INDEX, .to = &v[1], .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "v3", .value = V_INDEX, .to = &v[2], .must = true},
                     {.space = PO_XML_NO_SPACE, .name = "p1", .value = V_INDEX, .to = &p[0]},
                     {.space = PO_XML_NO_SPACE, .name = "p2", .value = V_INDEX, .to = &p[1]},
                     {.space = PO_XML_NO_SPACE, .name = "p3", .value = V_INDEX, .to = &p[2]},
                     {.space = PO_XML_NO_SPACE, .name = "pid", .value = V_ID, .to = &pid}};
    po_status s = po_3mf_attributes(m, xml, tag, list, N_OF(list), err);
    if (s != PO_OK) {
        return s;
    }
    for (int i = 0; i < 3; i++) {
        if (v[i] >= f->n_vertices) {
            return po_xml_fail(xml, err, PO_E_RANGE, "v%d=\"%u\" of triangle %zu is beyond the %zu vertices", i + 1,
                               v[i], f->n_triangles + 1, f->n_vertices);
        }
    }
    if (v[0] == v[1] || v[1] == v[2] || v[0] == v[2]) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "triangle %zu names one vertex twice (4.1.4.1)", f->n_triangles + 1);
    }
    unsigned have = (list[3].seen ? PO_3MF_HAVE_P1 : 0u) | (list[4].seen ? PO_3MF_HAVE_P2 : 0u) |
                    (list[5].seen ? PO_3MF_HAVE_P3 : 0u) | (list[6].seen ? PO_3MF_HAVE_PID : 0u);
    if (have && !on_property(m, have, pid, p)) {
        if (!m->why) {
            return po_3mf_no_memory(err);
        }
        return po_xml_fail(xml, err, PO_E_SYNTAX, "triangle %zu: %s", f->n_triangles + 1, m->why);
    }
    f->n_plain += !have;
    if (f->n_triangles == f->cap_triangles) {
        s = make_room(m, m->n_text, false, err);
    }
    if (s == PO_OK) {
        memcpy(f->corners + 3 * f->n_triangles, v, sizeof v);
        f->n_triangles++;
        s = check_count(m, xml, 0, err);
    }
    return s;
}

po_status po_3mf_close_mesh(po_3mf_model *m, po_xml *xml, po_err *err)
{
    const po_3mf_mesh_fill *f = &m->fill;
    if (f->n_vertices < 3 || f->n_triangles < 1) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "the mesh of object %u has %zu vertices and %zu triangles (B.1.1)",
                           m->object.id, f->n_vertices, f->n_triangles);
    }
    if (m->object.type == PO_OBJECT_MODEL && f->n_triangles < 4) {
        return po_xml_fail(xml, err, PO_E_SYNTAX,
                           "the mesh of object %u has %zu triangles; a model has at least 4 (4.1.4)", m->object.id,
                           f->n_triangles);
    }
    m->object.is_mesh = true;
    m->object.mesh = (po_mesh){f->xyz, f->n_vertices, f->corners, f->n_triangles};
    m->r->n_triangles += f->n_triangles;
    m->uses_default = m->uses_default || f->n_plain > 0;
    return PO_OK;
}

void po_3mf_begin_mesh(po_3mf_model *m)
{
    m->fill = (po_3mf_mesh_fill){.unit_mm = m->unit_mm, .property = on_property, .user = m};
}
