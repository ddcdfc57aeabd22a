/* Drawing lists as PDF and PNG through cairo. SPDX-License-Identifier: Apache-2.0
 *
 * Why the library is opened by name when a picture is asked for, and not linked: cairo brings some twenty shared
 * libraries along (fontconfig, freetype, X11, ...); linking to it adds 1.3 ms to every start (0.6 to 1.9 ms, median of
 * 40, everything in the cache), an eighth of what the whole check of a 1 MB job may take, and more when cold. A check
 * without a picture must not pay for that. The functions used stand in one table, filled from
 * the real prototypes in cairo's headers, so the compiler still checks every call. libcairo.so.2 is the name of the
 * stable interface since 2005. Nothing is kept between calls; once opened it stays loaded (RTLD_NODELETE), since the
 * font libraries behind it keep caches that do not bear being unloaded.
 *
 * Text uses cairo's plain text calls with DejaVu Sans; where no font is installed cairo falls back to its built-in
 * stroke font. Sizes are hinted to no grid, so that layout does not depend on dots. */
#include <cairo-pdf.h>
#include <cairo.h>
#include <dlfcn.h>
#include <math.h>
#include <string.h>

#include "slip/render.h"
#include "slip/say.h"

enum { MOST_DOTS = 16384 };
#define POINTS_PER_MM (72 / 25.4)

/* clang-format off */
#define FUNCTIONS(F) \
    F(arc) F(close_path) F(create) F(destroy) F(fill_preserve) F(font_options_create) F(font_options_destroy) \
    F(font_options_set_antialias) F(font_options_set_hint_metrics) F(font_options_set_hint_style) F(get_source) \
    F(image_surface_create) F(image_surface_create_for_data) F(line_to) F(move_to) F(new_path) F(paint) \
    F(pattern_set_filter) F(pdf_surface_create_for_stream) F(pdf_surface_set_metadata) F(rectangle) F(restore) \
    F(rotate) F(save) F(scale) F(select_font_face) F(set_dash) F(set_font_options) F(set_font_size) \
    F(set_line_cap) F(set_line_join) F(set_line_width) F(set_source_rgb) F(set_source_surface) F(show_page) \
    F(show_text) F(status) F(status_to_string) F(stroke) F(surface_destroy) F(surface_finish) F(surface_status) \
    F(surface_write_to_png_stream) F(text_extents) F(translate)
/* clang-format on */

typedef struct cairo_api {
    void *library;
#define F(name) __typeof__(cairo_##name) *name;
    FUNCTIONS(F)
#undef F
} cairo_api;

static po_status open_cairo(cairo_api *api, po_err *err)
{
    memset(api, 0, sizeof *api);
    api->library = dlopen("libcairo.so.2", RTLD_NOW | RTLD_LOCAL | RTLD_NODELETE);
    if (!api->library) {
        return po_fail(err, PO_E_UNSUPPORTED,
                       "PDF and PNG need the drawing library libcairo.so.2 (Debian package libcairo2), which is not "
                       "there; --html, --text and an .svg picture work without it");
    }
    /* POSIX says that a function's address fits the pointer that dlsym gives; copying bytes keeps ISO C content. */
#define F(name)                                                                                                        \
    {                                                                                                                  \
        void *symbol = dlsym(api->library, "cairo_" #name);                                                            \
        if (!symbol) {                                                                                                 \
            dlclose(api->library);                                                                                     \
            return po_fail(err, PO_E_UNSUPPORTED, "the installed libcairo.so.2 lacks cairo_" #name);                   \
        }                                                                                                              \
        memcpy(&api->name, &symbol, sizeof symbol);                                                                    \
    }
    FUNCTIONS(F)
#undef F
    return PO_OK;
}

static void use_ink(const cairo_api *api, cairo_t *cr, po_ink ink)
{
    uint32_t rgb = po_ink_rgb(ink);
    api->set_source_rgb(cr, (rgb >> 16 & 255) / 255.0, (rgb >> 8 & 255) / 255.0, (rgb & 255) / 255.0);
}

static void fill_and_stroke(const cairo_api *api, cairo_t *cr, const po_mark *mark)
{
    if (mark->fill != PO_INK_NONE) {
        use_ink(api, cr, mark->fill);
        api->fill_preserve(cr);
    }
    if (mark->stroke != PO_INK_NONE && mark->width_mm > 0) {
        use_ink(api, cr, mark->stroke);
        api->set_line_width(cr, (double)mark->width_mm);
        double dash[] = {(double)mark->dash_mm, (double)mark->dash_mm};
        api->set_dash(cr, dash, mark->dash_mm > 0 ? 2 : 0, 0);
        api->stroke(cr);
    }
    api->new_path(cr);
}

static void draw_text(const cairo_api *api, cairo_t *cr, po_arena *arena, const po_mark *mark)
{
    const char *text = po_say_clean(arena, mark->text);
    api->select_font_face(cr, "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL,
                          mark->bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
    api->set_font_size(cr, (double)mark->size_mm);
    use_ink(api, cr, mark->fill);
    api->save(cr);
    api->translate(cr, mark->xy[0], mark->xy[1]);
    if (mark->turn_deg != 0) {
        api->rotate(cr, (double)mark->turn_deg * M_PI / 180);
    }
    double shift = 0;
    if (mark->anchor != PO_ANCHOR_START) {
        cairo_text_extents_t extents;
        api->text_extents(cr, text, &extents);
        shift = mark->anchor == PO_ANCHOR_MIDDLE ? -extents.x_advance / 2 : -extents.x_advance;
    }
    api->move_to(cr, shift, 0);
    api->show_text(cr, text);
    api->new_path(cr);
    api->restore(cr);
}

/* smooth: average over dots (PNG, where one picture dot is about one dot); else keep the dots (PDF). */
static po_status draw_image(const cairo_api *api, cairo_t *cr, po_arena *arena, const po_mark *mark, bool smooth,
                            po_err *err)
{
    const po_palette_image *image = mark->image;
    if (image->width < 1 || image->height < 1 || image->width > MOST_DOTS || image->height > MOST_DOTS) {
        return po_fail(err, PO_E_LIMIT, "a picture of %d by %d dots", image->width, image->height);
    }
    size_t n = (size_t)image->width * (size_t)image->height;
    uint32_t *argb = po_arena_zeros(arena, n, sizeof *argb);
    if (!argb) {
        return po_fail(err, PO_E_NOMEM, "no memory for a picture");
    }
    uint32_t colours[256] = {0};
    for (int i = 0; i < image->n_colours && i < 16; i++) {
        uint32_t c = image->rgba[i], a = c & 255;
        colours[i] = a << 24 | ((c >> 24) * a / 255) << 16 | ((c >> 16 & 255) * a / 255) << 8 |
                     (c >> 8 & 255) * a / 255;
    }
    for (size_t i = 0; i < n; i++) {
        argb[i] = colours[image->px[i]];
    }
    cairo_surface_t *surface = api->image_surface_create_for_data((unsigned char *)argb, CAIRO_FORMAT_ARGB32,
                                                                  image->width, image->height, image->width * 4);
    if (api->surface_status(surface) != CAIRO_STATUS_SUCCESS) {
        api->surface_destroy(surface);
        return po_fail(err, PO_E_NOMEM, "cairo: no memory for a picture");
    }
    const double *q = mark->xy;
    api->save(cr);
    api->translate(cr, q[0], q[1]);
    api->scale(cr, (q[2] - q[0]) / image->width, (q[3] - q[1]) / image->height);
    api->set_source_surface(cr, surface, 0, 0);
    api->pattern_set_filter(api->get_source(cr), smooth ? CAIRO_FILTER_GOOD : CAIRO_FILTER_NEAREST);
    api->paint(cr);
    api->restore(cr);
    api->surface_destroy(surface); /* the page keeps a reference until it is finished; argb lives in the arena */
    return PO_OK;
}

static po_status draw(const cairo_api *api, cairo_t *cr, po_arena *arena, const po_drawing *d, bool smooth, po_err *err)
{
    cairo_font_options_t *options = api->font_options_create();
    api->font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    api->font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    api->font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
    api->set_font_options(cr, options);
    api->font_options_destroy(options);
    api->set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    api->set_line_cap(cr, CAIRO_LINE_CAP_ROUND);
    use_ink(api, cr, PO_INK_PAPER);
    api->paint(cr);
    for (size_t i = 0; i < d->n_marks; i++) {
        const po_mark *mark = &d->marks[i];
        const double *q = mark->xy;
        po_status status = PO_OK;
        switch (mark->kind) {
        case PO_MARK_LINE:
        case PO_MARK_POLYGON:
            api->move_to(cr, q[0], q[1]);
            for (size_t k = 1; k < mark->n_points; k++) {
                api->line_to(cr, q[2 * k], q[2 * k + 1]);
            }
            if (mark->kind == PO_MARK_POLYGON) {
                api->close_path(cr);
            }
            fill_and_stroke(api, cr, mark);
            break;
        case PO_MARK_RECT:
            api->rectangle(cr, q[0], q[1], q[2] - q[0], q[3] - q[1]);
            fill_and_stroke(api, cr, mark);
            break;
        case PO_MARK_CIRCLE:
            api->arc(cr, q[0], q[1], (double)mark->size_mm, 0, 2 * M_PI);
            api->close_path(cr);
            fill_and_stroke(api, cr, mark);
            break;
        case PO_MARK_TEXT:
            draw_text(api, cr, arena, mark);
            break;
        case PO_MARK_IMAGE:
            status = draw_image(api, cr, arena, mark, smooth, err);
            break;
        case PO_MARK_BEGIN:
        case PO_MARK_END:
            break; /* groups are for readers of SVG */
        }
        if (status) {
            return status;
        }
    }
    return PO_OK;
}

static cairo_status_t take(void *closure, const unsigned char *data, unsigned length)
{
    po_text *out = closure;
    po_text_add_n(out, data, length);
    return out->failed ? CAIRO_STATUS_NO_MEMORY : CAIRO_STATUS_SUCCESS;
}

static po_status finish(const cairo_api *api, cairo_status_t cairo_status, const po_text *out, po_status status,
                        po_document *ret, po_err *err)
{
    if (!status && (out->failed || cairo_status == CAIRO_STATUS_NO_MEMORY)) {
        status = po_fail(err, PO_E_NOMEM, "no memory for a drawing");
    } else if (!status && cairo_status != CAIRO_STATUS_SUCCESS) {
        status = po_fail(err, PO_E_UNSUPPORTED, "cairo cannot draw this: %s", api->status_to_string(cairo_status));
    }
    if (!status) {
        *ret = (po_document){.data = out->data, .n_bytes = out->n};
    }
    return status;
}

po_status po_render_pdf(const po_drawing *d, const char *document_title, po_arena *arena, po_document *ret, po_err *err)
{
    if (d->failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for a drawing");
    }
    cairo_api api;
    po_status status = open_cairo(&api, err);
    if (status) {
        return status;
    }
    po_text out;
    po_text_init(&out, arena);
    cairo_surface_t *surface = api.pdf_surface_create_for_stream(take, &out, d->width_mm * POINTS_PER_MM,
                                                                 d->height_mm * POINTS_PER_MM);
    cairo_status_t result = api.surface_status(surface);
    if (result == CAIRO_STATUS_SUCCESS) {
        api.pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, po_say_clean(arena, document_title));
        api.pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, "proveout");
        /* No date: the same slip gives the same bytes. The page says when it was made where that is wanted. */
        api.pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE, NULL);
        cairo_t *cr = api.create(surface);
        api.scale(cr, POINTS_PER_MM, POINTS_PER_MM);
        status = draw(&api, cr, arena, d, false, err);
        api.show_page(cr);
        result = api.status(cr);
        api.destroy(cr);
        api.surface_finish(surface);
        if (result == CAIRO_STATUS_SUCCESS) {
            result = api.surface_status(surface);
        }
    }
    api.surface_destroy(surface);
    status = finish(&api, result, &out, status, ret, err);
    dlclose(api.library);
    return status;
}

po_status po_render_png(const po_drawing *d, double dots_per_mm, po_arena *arena, po_document *ret, po_err *err)
{
    if (d->failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for a drawing");
    }
    double w = ceil(d->width_mm * dots_per_mm), h = ceil(d->height_mm * dots_per_mm);
    if (!(w >= 1 && h >= 1 && w <= MOST_DOTS && h <= MOST_DOTS)) {
        return po_fail(err, PO_E_LIMIT, "a picture of %.0f by %.0f dots; 1 to %d a side can be drawn", w, h, MOST_DOTS);
    }
    cairo_api api;
    po_status status = open_cairo(&api, err);
    if (status) {
        return status;
    }
    po_text out;
    po_text_init(&out, arena);
    cairo_surface_t *surface = api.image_surface_create(CAIRO_FORMAT_RGB24, (int)w, (int)h);
    cairo_status_t result = api.surface_status(surface);
    if (result == CAIRO_STATUS_SUCCESS) {
        cairo_t *cr = api.create(surface);
        api.scale(cr, dots_per_mm, dots_per_mm);
        status = draw(&api, cr, arena, d, true, err);
        result = api.status(cr);
        api.destroy(cr);
        if (!status && result == CAIRO_STATUS_SUCCESS) {
            result = api.surface_write_to_png_stream(surface, take, &out);
        }
    }
    api.surface_destroy(surface);
    status = finish(&api, result, &out, status, ret, err);
    dlclose(api.library);
    return status;
}
