/* Attributes of the elements of a 3MF model, by small tables. SPDX-License-Identifier: Apache-2.0
 * Source: 3MF core specification 1.4.0, 2.3.2 and 2.3.3 and appendix B.1.1; production extension, chapter 4. */
#include "part/threemf_elements.h"

#include <string.h>

#include "part/threemf_values.h"

po_status po_3mf_no_memory(po_err *err)
{
    return po_fail(err, PO_E_NOMEM, "no memory to read the 3MF");
}

static bool fits(const wanted *w, const char *text)
{
    uint32_t index;
    double m[12];
    switch (w->value) {
    case V_TEXT:
        if (w->to) {
            *(const char **)w->to = text;
        }
        return true;
    case V_ID:
        return po_3mf_is_id(text, w->to ? w->to : &index);
    case V_INDEX:
        return po_3mf_is_index(text, w->to ? w->to : &index);
    case V_NUMBER:
        return po_3mf_is_number(text, w->to ? w->to : m);
    case V_MATRIX:
        return po_3mf_is_matrix(text, w->to ? w->to : m);
    case V_COLOUR:
        return po_3mf_is_colour(text, w->to ? w->to : &index);
    case V_UUID:
        if (w->to) {
            *(const char **)w->to = text;
        }
        return po_3mf_is_uuid(text);
    case V_BOOLEAN:
        return po_3mf_is_boolean(text);
    }
    return false;
}

static const char *const value_names[] = {
    "a text",
    "an id (1 to 2147483647)",
    "an index (0 to 2147483647)",
    "a number",
    "twelve numbers",
    "a colour #RRGGBB[AA]",
    "a UUID",
    "a boolean",
};

po_status po_3mf_attributes(po_3mf_model *m, po_xml *xml, const po_xml_tag *tag, wanted *list, size_t n, po_err *err)
{
    for (size_t a = 0; a < tag->n_attrs; a++) {
        const po_xml_attr *attr = &tag->attrs[a];
        wanted *w = NULL;
        for (size_t i = 0; i < n && !w; i++) {
            w = list[i].space == attr->space && strcmp(list[i].name, attr->name) == 0 ? &list[i] : NULL;
        }
        if (w) {
            w->seen = true;
            if (!fits(w, attr->value)) {
                return po_xml_fail(xml, err, PO_E_SYNTAX, "%.40s=\"%.60s\" of <%.40s> is not %s", attr->name,
                                   attr->value, tag->qualified, value_names[w->value]);
            }
        } else if ((attr->space == PO_XML_XML && strcmp(attr->name, "lang") != 0) || attr->space == PO_3MF_SPACE_XSI) {
            return po_xml_fail(xml, err, PO_E_SYNTAX,
                               "<%.40s> has an attribute %s:%.40s, which 3MF does not allow (2.3.2)", tag->qualified,
                               attr->space == PO_3MF_SPACE_XSI ? "xsi" : "xml", attr->name);
        } else if (attr->space == PO_XML_NO_SPACE) {
            po_3mf_note(m->r, "<%.40s> has an attribute \"%.40s\" that the specification does not know; ignored",
                        tag->name, attr->name);
        } else if (attr->space == PO_XML_UNDECLARED) {
            po_3mf_note(m->r, "an attribute \"%.40s\" has a prefix that is declared nowhere; ignored", attr->name);
        }
    }
    for (size_t i = 0; i < n; i++) {
        if (list[i].must && !list[i].seen) {
            return po_xml_fail(xml, err, PO_E_SYNTAX, "<%.40s> lacks its %s \"%s\"", tag->qualified,
                               list[i].space == PO_3MF_SPACE_PRODUCTION ? "production attribute" : "attribute",
                               list[i].name);
        }
    }
    return PO_OK;
}

/* Whether the text was not there before (kind keeps the sets apart); *ret_ok false: no memory. */
bool po_3mf_is_new(po_3mf_model *m, char set, const char *text, bool *ret_ok)
{
    size_t before = m->r->texts.n_wants;
    *ret_ok = po_3mf_want(&m->r->texts, set, text) != PO_3MF_NONE;
    return m->r->texts.n_wants > before;
}

/* UUIDs are unique in a package (production extension, chapter 4). */
po_status po_3mf_check_uuid(po_3mf_model *m, po_xml *xml, char set, const char *uuid, po_err *err)
{
    char lower[37] = {0};
    bool ok = true;
    for (int i = 0; uuid && i < 36; i++) {
        lower[i] = uuid[i] >= 'A' && uuid[i] <= 'F' ? (char)(uuid[i] + 32) : uuid[i];
    }
    if (!uuid || po_3mf_is_new(m, set, lower, &ok)) {
        return PO_OK;
    }
    if (!ok) {
        return po_3mf_no_memory(err);
    }
    if (m->production) {
        return po_xml_fail(xml, err, PO_E_SYNTAX, "the UUID %s stands twice (production extension, chapter 4)", lower);
    }
    po_3mf_note(m->r, "the UUID %s stands twice", lower);
    return PO_OK;
}
