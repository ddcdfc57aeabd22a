/* Drawing lists as SVG text. SPDX-License-Identifier: Apache-2.0
 *
 * Written by ourselves and not through cairo: a page can then use its own inks (light, dark, print), titles reach
 * screen readers, text stays text, and no library has to be loaded. Numbers are whole hundredths of a mm, so the bytes
 * are the same everywhere. Images go in as PNG data. Reference: W3C SVG 1.1 (second edition). */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "slip/render.h"
#include "slip/say.h"

static const char *const NAMES[PO_INK_COUNT] = {
    [PO_INK_NONE] = "none",   [PO_INK_LINE] = "line", [PO_INK_SOFT] = "soft",
    [PO_INK_FAINT] = "faint", [PO_INK_WASH] = "wash", [PO_INK_PAPER] = "paper",
    [PO_INK_YES] = "yes",     [PO_INK_ASK] = "ask",   [PO_INK_STOP] = "stop",
};

/* The inks on dark paper: the same order of contrast, not the same colours turned round. */
static const uint32_t DARK[PO_INK_COUNT] = {
    [PO_INK_LINE] = 0xE6E4DE,  [PO_INK_SOFT] = 0xA4ABB3, [PO_INK_FAINT] = 0x555E68, [PO_INK_WASH] = 0x222930,
    [PO_INK_PAPER] = 0x171C21, [PO_INK_YES] = 0x7CC5AC,  [PO_INK_ASK] = 0xE0B25A,   [PO_INK_STOP] = 0xF0897C,
};

static void variables(po_text *out, const uint32_t *rgb)
{
    for (int i = PO_INK_LINE; i < PO_INK_COUNT; i++) {
        po_text_printf(out, "--%s:#%06x;", NAMES[i], (unsigned)(rgb ? rgb[i] : po_ink_rgb((po_ink)i)));
    }
}

/* plain: colours as such, for readers that know no CSS variables (a picture of its own has one theme). */
static void classes(po_text *out, bool plain)
{
    po_text_add(out, ".f0{fill:none}.s0{stroke:none}");
    for (int i = PO_INK_LINE; i < PO_INK_COUNT; i++) {
        if (plain) {
            unsigned rgb = (unsigned)po_ink_rgb((po_ink)i);
            po_text_printf(out, ".f%d{fill:#%06x}.s%d{stroke:#%06x}", i, rgb, i, rgb);
        } else {
            po_text_printf(out, ".f%d{fill:var(--%s)}.s%d{stroke:var(--%s)}", i, NAMES[i], i, NAMES[i]);
        }
    }
    po_text_add(out, "svg text{font-family:'DejaVu Sans',Verdana,sans-serif;stroke:none}"
                     "svg .b{font-weight:700}svg line,svg polyline{stroke-linecap:round;stroke-linejoin:round}"
                     "svg image{image-rendering:auto}\n");
}

void po_svg_style(po_text *out)
{
    po_text_add(out, ":root{color-scheme:light dark;");
    variables(out, NULL);
    po_text_add(out, "}\n@media screen and (prefers-color-scheme:dark){:root{");
    variables(out, DARK);
    /* Layer images are greys and ink on clear ground: turned round they read the same on dark paper. */
    po_text_add(out, "}svg image{filter:invert(.9) hue-rotate(180deg)}}\n");
    classes(out, false);
}

/* A length in mm, at most two decimals, no needless zeros. */
static void number(po_text *out, double v)
{
    long hundredths = lround(v * 100);
    long whole = labs(hundredths) / 100, rest = labs(hundredths) % 100;
    const char *sign = hundredths < 0 ? "-" : "";
    if (!rest) {
        po_text_printf(out, "%s%ld", sign, whole);
    } else if (rest % 10) {
        po_text_printf(out, "%s%ld.%02ld", sign, whole, rest);
    } else {
        po_text_printf(out, "%s%ld.%ld", sign, whole, rest / 10);
    }
}

static void attribute(po_text *out, const char *name, double v)
{
    po_text_printf(out, " %s=\"", name);
    number(out, v);
    po_text_add(out, "\"");
}

static void paint(po_text *out, const po_mark *mark)
{
    po_text_printf(out, " class=\"f%d s%d\"", (int)mark->fill, (int)mark->stroke);
    if (mark->stroke != PO_INK_NONE) {
        attribute(out, "stroke-width", (double)mark->width_mm);
        if (mark->dash_mm > 0) {
            attribute(out, "stroke-dasharray", (double)mark->dash_mm);
        }
    }
}

static void points(po_text *out, const po_mark *mark)
{
    po_text_add(out, " points=\"");
    for (size_t i = 0; i < mark->n_points; i++) {
        if (i) {
            po_text_add(out, " ");
        }
        number(out, mark->xy[2 * i]);
        po_text_add(out, ",");
        number(out, mark->xy[2 * i + 1]);
    }
    po_text_add(out, "\"");
}

static po_status write_image(po_text *out, const po_mark *mark, po_err *err)
{
    po_document png;
    po_status status = po_png_palette(mark->image, out->arena, &png, err);
    if (status) {
        return status;
    }
    const double *q = mark->xy;
    po_text_add(out, "<image preserveAspectRatio=\"none\"");
    attribute(out, "x", q[0]);
    attribute(out, "y", q[1]);
    attribute(out, "width", q[2] - q[0]);
    attribute(out, "height", q[3] - q[1]);
    po_text_add(out, " href=\"data:image/png;base64,");
    po_text_base64(out, png.data, png.n_bytes);
    po_text_add(out, "\"/>\n");
    return PO_OK;
}

static po_status write_mark(po_text *out, const po_mark *mark, po_err *err)
{
    static const char *const ANCHOR[] = {"start", "middle", "end"};
    const double *q = mark->xy;
    switch (mark->kind) {
    case PO_MARK_LINE:
        po_text_add(out, "<polyline");
        points(out, mark);
        paint(out, mark);
        po_text_add(out, "/>\n");
        break;
    case PO_MARK_POLYGON:
        po_text_add(out, "<polygon");
        points(out, mark);
        paint(out, mark);
        po_text_add(out, "/>\n");
        break;
    case PO_MARK_RECT:
        po_text_add(out, "<rect");
        attribute(out, "x", q[0]);
        attribute(out, "y", q[1]);
        attribute(out, "width", fmax(q[2] - q[0], 0));
        attribute(out, "height", fmax(q[3] - q[1], 0));
        paint(out, mark);
        po_text_add(out, "/>\n");
        break;
    case PO_MARK_CIRCLE:
        po_text_add(out, "<circle");
        attribute(out, "cx", q[0]);
        attribute(out, "cy", q[1]);
        attribute(out, "r", (double)mark->size_mm);
        paint(out, mark);
        po_text_add(out, "/>\n");
        break;
    case PO_MARK_TEXT:
        po_text_printf(out, "<text class=\"f%d%s\"", (int)mark->fill, mark->bold ? " b" : "");
        attribute(out, "x", q[0]);
        attribute(out, "y", q[1]);
        attribute(out, "font-size", (double)mark->size_mm);
        if (mark->anchor != PO_ANCHOR_START) {
            po_text_printf(out, " text-anchor=\"%s\"", ANCHOR[mark->anchor]);
        }
        if (mark->turn_deg != 0) {
            po_text_add(out, " transform=\"rotate(");
            number(out, (double)mark->turn_deg);
            po_text_add(out, " ");
            number(out, q[0]);
            po_text_add(out, " ");
            number(out, q[1]);
            po_text_add(out, ")\"");
        }
        po_text_add(out, ">");
        po_add_escaped(out, mark->text);
        po_text_add(out, "</text>\n");
        break;
    case PO_MARK_IMAGE:
        return write_image(out, mark, err);
    case PO_MARK_BEGIN:
        po_text_add(out, "<g>");
        if (mark->text) {
            po_text_add(out, "<title>");
            po_add_escaped(out, mark->text);
            po_text_add(out, "</title>");
        }
        po_text_add(out, "\n");
        break;
    case PO_MARK_END:
        po_text_add(out, "</g>\n");
        break;
    }
    return PO_OK;
}

po_status po_render_svg(const po_drawing *d, bool standalone, po_text *out, po_err *err)
{
    if (d->failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for a drawing");
    }
    po_text_add(out, "<svg role=\"img\"");
    if (standalone) {
        po_text_add(out, " xmlns=\"http://www.w3.org/2000/svg\" width=\"");
        number(out, d->width_mm);
        po_text_add(out, "mm\" height=\"");
        number(out, d->height_mm);
        po_text_add(out, "mm\"");
    }
    po_text_add(out, " viewBox=\"0 0 ");
    number(out, d->width_mm);
    po_text_add(out, " ");
    number(out, d->height_mm);
    po_text_add(out, "\"");
    if (d->title) { /* for programs that read pages aloud */
        po_text_add(out, " aria-label=\"");
        po_add_escaped(out, d->title);
        if (d->description) {
            po_text_add(out, ". ");
            po_add_escaped(out, d->description);
        }
        po_text_add(out, "\"");
    }
    po_text_add(out, ">\n");
    if (standalone) {
        if (d->title) {
            po_text_add(out, "<title>");
            po_add_escaped(out, d->title);
            po_text_add(out, "</title>\n");
        }
        if (d->description) {
            po_text_add(out, "<desc>");
            po_add_escaped(out, d->description);
            po_text_add(out, "</desc>\n");
        }
        po_text_add(out, "<style>");
        classes(out, true);
        po_text_add(out, "</style>\n<rect width=\"100%\" height=\"100%\" class=\"f5 s0\"/>\n");
    }
    for (size_t i = 0; i < d->n_marks; i++) {
        po_status status = write_mark(out, &d->marks[i], err);
        if (status) {
            return status;
        }
    }
    po_text_add(out, "</svg>\n");
    if (out->failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for a drawing");
    }
    return PO_OK;
}
