/* expat, with prefixes, bounds and a way to run over simple children. SPDX-License-Identifier: Apache-2.0
 *
 * Sources: W3C, Extensible Markup Language 1.0 (5th ed.); Namespaces in XML 1.0 (3rd ed.); 3MF core specification 1.4.0,
 * 2.3.2 (UTF-8 only, no DTD).
 *
 * The jump: expat is fed up to the '>' of the next tag whose name is one of the job's words. If its last event ends
 * exactly there and was the start of an element that may jump, the caller's own scanner takes over at that byte; expat
 * goes on wherever the scanner stopped, as if the children were not in the text. Only whole children and blanks may be
 * jumped, so what expat sees stays well formed exactly when the whole text is. Where the word stood in a comment or the
 * '>' in an attribute, expat's last event does not end there, and it just gets the next piece. Pieces without an event
 * double in size, so that no text is looked at more than a few times. */
#include "part/xml.h"

#include <assert.h>
#include <expat.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    MOST_PIECE = 1 << 24,      /* expat counts in int */
    MOST_MARKUP = 16 << 20,    /* of one tag or comment: expat starts it over with each piece */
    MOST_ATTR_BYTES = 1 << 16, /* of one value; docs/part-limits.md */
    MOST_ATTRS = 256,
    MOST_BINDINGS = 1024,
    MOST_WORDS = 4,
};

typedef struct binding {
    unsigned depth;
    char *prefix; /* "" = the default */
    char *uri;    /* "" = none */
    int space;
} binding;

typedef struct word_search {
    const char *hit; /* where the word stands; NULL = nowhere before `to` */
    const char *to;
} word_search;

struct po_xml {
    const po_xml_job *job;
    XML_Parser expat;
    po_err *err;
    po_status status;
    size_t skipped;   /* bytes jumped over so far: offset in the text = expat's offset + skipped */
    size_t event_end; /* offset in the text where the last event ended */
    unsigned depth;
    unsigned skip_depth; /* 0 = none; depth of the element being left out */
    unsigned jump_depth; /* 0 = none; depth of the element whose children may be jumped */
    bool in_cdata;
    word_search words[MOST_WORDS];
    binding *bindings;
    size_t n_bindings, cap_bindings;
    po_xml_attr attrs[MOST_ATTRS];
};

static size_t event_at(const po_xml *xml)
{
    XML_Index at = XML_GetCurrentByteIndex(xml->expat);
    size_t offset = xml->skipped + (at > 0 ? (size_t)at : 0);
    return offset > xml->job->n ? xml->job->n : offset;
}

static void seen(po_xml *xml)
{
    int count = XML_GetCurrentByteCount(xml->expat);
    xml->event_end = event_at(xml) + (count > 0 ? (size_t)count : 0);
}

static po_status PO_PRINTF(5, 0)
    fail_place(const po_xml *xml, po_err *err, po_status code, size_t at, const char *format, va_list args)
{
    char text[sizeof err->msg];
    vsnprintf(text, sizeof text, format, args);
    uint32_t line = 1;
    size_t begin = 0;
    for (size_t i = 0; i < at && i < xml->job->n; i++) {
        if (xml->job->text[i] == '\n') {
            line++;
            begin = i + 1;
        }
    }
    size_t column = at - begin + 1;
    return po_fail_at(err, code, xml->job->where, line, column < UINT32_MAX ? (uint32_t)column : 0, "%s", text);
}

po_status po_xml_fail(const po_xml *xml, po_err *err, po_status code, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    po_status s = fail_place(xml, err, code, event_at(xml), format, args);
    va_end(args);
    return s;
}

po_status po_xml_fail_at(const po_xml *xml, po_err *err, po_status code, size_t at, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    po_status s = fail_place(xml, err, code, at, format, args);
    va_end(args);
    return s;
}

unsigned po_xml_line(const po_xml *xml)
{
    unsigned line = 1;
    size_t at = event_at(xml);
    for (size_t i = 0; i < at; i++) {
        line += xml->job->text[i] == '\n';
    }
    return line;
}

void po_xml_skip(po_xml *xml)
{
    xml->skip_depth = xml->depth;
}

void po_xml_jump(po_xml *xml)
{
    xml->jump_depth = xml->depth;
}

static void stop(po_xml *xml, po_status status)
{
    if (xml->status == PO_OK) {
        xml->status = status;
    }
    (void)XML_StopParser(xml->expat, XML_FALSE);
}

static const binding *find_binding(const po_xml *xml, const char *prefix, size_t n)
{
    for (size_t i = xml->n_bindings; i-- > 0;) {
        const char *p = xml->bindings[i].prefix;
        if (strncmp(p, prefix, n) == 0 && p[n] == 0) {
            return &xml->bindings[i];
        }
    }
    return NULL;
}

const char *po_xml_space_of(const po_xml *xml, const char *prefix, size_t n_prefix)
{
    const binding *b = find_binding(xml, prefix, n_prefix);
    return b && b->uri[0] ? b->uri : NULL;
}

static int space_index(const po_xml *xml, const char *uri)
{
    if (!uri[0]) {
        return PO_XML_NO_SPACE;
    }
    for (int i = 0; i < xml->job->n_spaces; i++) {
        if (strcmp(uri, xml->job->spaces[i]) == 0) {
            return i;
        }
    }
    return PO_XML_OTHER;
}

static bool bind(po_xml *xml, const char *prefix, const char *uri)
{
    if (xml->n_bindings == MOST_BINDINGS) {
        stop(xml,
             po_xml_fail(xml, xml->err, PO_E_LIMIT, "more than %d namespaces are declared at once", MOST_BINDINGS));
        return false;
    }
    if (xml->n_bindings == xml->cap_bindings) {
        size_t cap = xml->cap_bindings ? 2 * xml->cap_bindings : 16;
        binding *more = realloc(xml->bindings, cap * sizeof *more);
        if (!more) {
            stop(xml, po_fail(xml->err, PO_E_NOMEM, "no memory for namespaces"));
            return false;
        }
        xml->bindings = more;
        xml->cap_bindings = cap;
    }
    binding b = {xml->depth, strdup(prefix), strdup(uri), space_index(xml, uri)};
    if (!b.prefix || !b.uri) {
        free(b.prefix);
        free(b.uri);
        stop(xml, po_fail(xml->err, PO_E_NOMEM, "no memory for namespaces"));
        return false;
    }
    xml->bindings[xml->n_bindings++] = b;
    return true;
}

static void unbind(po_xml *xml, unsigned depth)
{
    while (xml->n_bindings > 0 && xml->bindings[xml->n_bindings - 1].depth >= depth) {
        binding *b = &xml->bindings[--xml->n_bindings];
        free(b->prefix);
        free(b->uri);
    }
}

/* The namespace of a name and where the local part begins. */
static int resolve(const po_xml *xml, const char *qualified, bool is_attr, const char **ret_local)
{
    const char *colon = strchr(qualified, ':');
    *ret_local = colon ? colon + 1 : qualified;
    if (!colon && is_attr) {
        return PO_XML_NO_SPACE;
    }
    size_t n = colon ? (size_t)(colon - qualified) : 0;
    if (n == 3 && memcmp(qualified, "xml", 3) == 0) {
        return PO_XML_XML;
    }
    const binding *b = find_binding(xml, qualified, n);
    if (!b) {
        return colon ? PO_XML_UNDECLARED : PO_XML_NO_SPACE;
    }
    return b->space;
}

static void XMLCALL on_start(void *user, const XML_Char *name, const XML_Char **atts)
{
    po_xml *xml = user;
    if (xml->status != PO_OK) {
        return;
    }
    seen(xml);
    xml->depth++;
    if (xml->depth > xml->job->most_depth) {
        stop(xml,
             po_xml_fail(xml, xml->err, PO_E_LIMIT, "elements are nested more than %u deep", xml->job->most_depth));
        return;
    }
    size_t n = 0;
    for (const XML_Char **a = atts; *a; a += 2) {
        if (strlen(a[1]) > MOST_ATTR_BYTES) {
            stop(xml, po_xml_fail(xml, xml->err, PO_E_LIMIT, "an attribute has more than %d bytes", MOST_ATTR_BYTES));
            return;
        }
        if (strcmp(a[0], "xmlns") == 0 || strncmp(a[0], "xmlns:", 6) == 0) {
            if (!bind(xml, a[0][5] ? a[0] + 6 : "", a[1])) {
                return;
            }
        } else if (n == MOST_ATTRS) {
            stop(xml, po_xml_fail(xml, xml->err, PO_E_LIMIT, "an element has more than %d attributes", MOST_ATTRS));
            return;
        } else {
            n++;
        }
    }
    if (xml->skip_depth) {
        return;
    }
    n = 0;
    for (const XML_Char **a = atts; *a; a += 2) {
        if (strcmp(a[0], "xmlns") != 0 && strncmp(a[0], "xmlns:", 6) != 0) {
            po_xml_attr *attr = &xml->attrs[n++];
            attr->space = resolve(xml, a[0], true, &attr->name);
            attr->value = a[1];
        }
    }
    po_xml_tag tag = {.qualified = name, .attrs = xml->attrs, .n_attrs = n, .depth = xml->depth};
    tag.space = resolve(xml, name, false, &tag.name);
    po_status s = xml->job->open(xml->job->user, xml, &tag, xml->err);
    if (s != PO_OK) {
        stop(xml, s);
    }
}

static void XMLCALL on_end(void *user, const XML_Char *name)
{
    (void)name;
    po_xml *xml = user;
    if (xml->status != PO_OK) {
        return;
    }
    seen(xml);
    if (xml->jump_depth == xml->depth) {
        xml->jump_depth = 0;
    }
    if (xml->skip_depth == xml->depth) {
        xml->skip_depth = 0;
    } else if (!xml->skip_depth && xml->job->close) {
        po_status s = xml->job->close(xml->job->user, xml, xml->depth, xml->err);
        if (s != PO_OK) {
            stop(xml, s);
        }
    }
    unbind(xml, xml->depth);
    xml->depth--;
}

static void XMLCALL on_text(void *user, const XML_Char *s, int n)
{
    (void)s;
    (void)n;
    seen(user);
}

static void XMLCALL on_cdata(void *user)
{
    ((po_xml *)user)->in_cdata = true;
    seen(user);
}

static void XMLCALL on_cdata_end(void *user)
{
    ((po_xml *)user)->in_cdata = false;
    seen(user);
}

static void XMLCALL on_comment(void *user, const XML_Char *data)
{
    (void)data;
    seen(user);
}

static void XMLCALL on_instruction(void *user, const XML_Char *target, const XML_Char *data)
{
    (void)target;
    (void)data;
    seen(user);
}

static void XMLCALL on_doctype(void *user, const XML_Char *name, const XML_Char *sysid, const XML_Char *pubid,
                               int subset)
{
    (void)name;
    (void)sysid;
    (void)pubid;
    (void)subset;
    po_xml *xml = user;
    stop(xml, po_xml_fail(xml, xml->err, PO_E_SYNTAX,
                          "a document type stands here; 3MF does not allow it (core specification 2.3.2)"));
}

static void XMLCALL on_declaration(void *user, const XML_Char *version, const XML_Char *encoding, int standalone)
{
    (void)version;
    (void)standalone;
    po_xml *xml = user;
    seen(xml);
    static const char utf8[] = "utf-8";
    bool is_utf8 = true;
    if (encoding) {
        is_utf8 = strlen(encoding) == 5;
        for (int i = 0; is_utf8 && i < 5; i++) {
            is_utf8 = (encoding[i] | 32) == utf8[i] || encoding[i] == utf8[i];
        }
    }
    if (!is_utf8) {
        stop(xml,
             po_xml_fail(xml, xml->err, PO_E_UNSUPPORTED,
                         "the encoding is \"%.40s\"; 3MF allows UTF-8 alone (core specification 2.3.2)", encoding));
    }
}

static po_status feed(po_xml *xml, size_t pos, size_t n, bool last)
{
    enum XML_Status s = XML_Parse(xml->expat, xml->job->text + pos, (int)n, last);
    if (xml->status != PO_OK) {
        return xml->status;
    }
    if (s != XML_STATUS_OK) {
        enum XML_Error code = XML_GetErrorCode(xml->expat);
        if (code == XML_ERROR_NO_MEMORY) {
            return po_fail(xml->err, PO_E_NOMEM, "no memory to read %.80s", xml->job->where);
        }
        return po_xml_fail(xml, xml->err, PO_E_SYNTAX, "not well-formed XML: %s", XML_ErrorString(code));
    }
    return PO_OK;
}

/* The first jump word from `from` on, or end. Each byte is searched once for each word: a word that was not found is
 * remembered as far as it was looked for, and no word is looked for much further than the nearest of the others. */
static const char *next_word(po_xml *xml, const char *from, const char *end)
{
    const po_xml_job *job = xml->job;
    const char *best = NULL;
    for (size_t window = 1 << 12; !best; window *= 2) {
        const char *stop = (size_t)(end - from) > window ? from + window : end;
        for (int i = 0; i < job->n_jump_words; i++) {
            size_t n = strlen(job->jump_words[i]);
            word_search *w = &xml->words[i];
            const char *begin = w->to > from ? w->to : from;
            if (!(w->hit && w->hit >= from)) {
                w->hit = begin < stop ? memmem(begin, (size_t)(stop - begin), job->jump_words[i], n) : NULL;
                /* a word may lie across the stop */
                w->to = w->hit ? w->hit + 1 : stop - begin >= (ptrdiff_t)n ? stop - n + 1 : begin;
            }
            best = w->hit && w->hit < stop && (!best || w->hit < best) ? w->hit : best;
        }
        if (stop == end) {
            return best ? best : end;
        }
    }
    return best;
}

/* Where the next piece ends: behind the '>' that may close the next tag worth jumping in, or the end of the text. */
static size_t piece_end(po_xml *xml, size_t pos, size_t at_least)
{
    const po_xml_job *job = xml->job;
    size_t most = job->n - pos < MOST_PIECE ? job->n : pos + MOST_PIECE;
    if (at_least >= most - pos || !job->jump) {
        return most;
    }
    const char *from = job->text + pos + at_least - 1, *end = job->text + most;
    if (xml->jump_depth == 0) {
        from = next_word(xml, from, end);
    }
    const char *close = from < end ? memchr(from, '>', (size_t)(end - from)) : NULL;
    return close ? (size_t)(close - job->text) + 1 : most;
}

static po_status read_all(po_xml *xml)
{
    const po_xml_job *job = xml->job;
    size_t pos = 0, at_least = 1;
    while (pos < job->n) {
        size_t end = piece_end(xml, pos, at_least);
        po_status s = feed(xml, pos, end - pos, false);
        if (s != PO_OK) {
            return s;
        }
        pos = end;
        bool at_event = xml->event_end == pos;
        at_least = at_event ? 1 : at_least < MOST_PIECE ? 2 * at_least : MOST_PIECE;
        if (pos - xml->event_end > MOST_MARKUP) {
            return po_xml_fail_at(xml, xml->err, PO_E_LIMIT, xml->event_end, "a tag or comment has more than %d bytes",
                                  MOST_MARKUP);
        }
        if (at_event && !xml->in_cdata && xml->jump_depth && xml->jump_depth == xml->depth) {
            size_t before = pos;
            s = job->jump(job->user, xml, &pos, xml->err);
            if (s != PO_OK) {
                return s;
            }
            xml->skipped += pos - before;
            xml->event_end = pos;
        }
    }
    return feed(xml, pos, 0, true);
}

po_status po_xml_read(const po_xml_job *job, po_err *err)
{
    po_xml *xml = calloc(1, sizeof *xml);
    XML_Parser expat = XML_ParserCreate("UTF-8");
    po_status s;
    if (!xml || !expat) {
        s = po_fail(err, PO_E_NOMEM, "no memory to read %.80s", job->where);
    } else {
        assert(job->n_jump_words <= MOST_WORDS);
        xml->job = job;
        xml->expat = expat;
        xml->err = err;
        XML_SetUserData(expat, xml);
        XML_SetElementHandler(expat, on_start, on_end);
        XML_SetCharacterDataHandler(expat, on_text);
        XML_SetCdataSectionHandler(expat, on_cdata, on_cdata_end);
        XML_SetCommentHandler(expat, on_comment);
        XML_SetProcessingInstructionHandler(expat, on_instruction);
        XML_SetStartDoctypeDeclHandler(expat, on_doctype);
        XML_SetXmlDeclHandler(expat, on_declaration);
        s = read_all(xml);
        unbind(xml, 0);
        free(xml->bindings);
    }
    if (expat) {
        XML_ParserFree(expat);
    }
    free(xml);
    return s;
}
