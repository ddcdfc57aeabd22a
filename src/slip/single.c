/* The pictures of a job one by one, and a slip's code. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/pictures.h"
#include "slip/render.h"
#include "slip/say.h"

enum { HEIGHTS_MOST = 12, PICTURES_MOST = HEIGHTS_MOST + 5 };
/* A picture of its own is looked at close: 200 dots an inch of twice the paper. */
#define PICTURE_DOTS_PER_MM (2 * 200 / 25.4)

/* The numbers of the findings whose flags a height carries. */
static void put_flags(const po_proof *proof, const po_layer_image *image, po_arena *arena, po_slip_picture *p)
{
    uint32_t *numbers = po_arena_zeros(arena, proof->n_findings + 1, sizeof *numbers);
    for (size_t i = 0; numbers && i < proof->n_findings; i++) {
        for (size_t k = 0; k < image->n_flags; k++) {
            if (proof->findings[i].sight != PO_SIGHT_COUNT && image->flags[k].sight == proof->findings[i].sight) {
                numbers[p->n_flags++] = (uint32_t)i + 1;
                break;
            }
        }
    }
    p->flags = numbers;
    const char *list = "";
    for (size_t i = 0; numbers && i < p->n_flags; i++) {
        list = po_arena_printf(arena, "%s%s%u (%s)", list ? list : "", i ? ", " : "", (unsigned)numbers[i],
                               proof->findings[numbers[i] - 1].name);
    }
    p->description = p->n_flags ? po_arena_printf(arena, "flags at the findings %s", list ? list : "")
                                : "no flag of a finding stands here";
}

static const char *time_says(const po_proof *proof, po_arena *a)
{
    const po_job_facts *f = &proof->report->facts;
    return po_arena_printf(a, "first bead after %s, watch of %s, end after %s", po_say_time(a, f->first_bead_seconds),
                           po_say_time(a, proof->watch_seconds), po_say_time(a, f->seconds));
}

po_status po_slip_pictures(const po_proof *proof, po_arena *a, const po_slip_picture **ret, size_t *ret_n, po_err *err)
{
    const po_job_images *images = &proof->report->images;
    const po_job_facts *f = &proof->report->facts;
    po_slip_picture *list = po_arena_zeros(a, PICTURES_MOST, sizeof *list);
    if (!list) {
        return po_fail(err, PO_E_NOMEM, "no memory for the pictures");
    }
    const char *stands = po_arena_printf(a, "%d footholds, %s mm2 in all", f->footholds,
                                         po_say_number(a, f->foothold_mm2, 0));
    size_t n = 0;
    list[n++] = (po_slip_picture){"time", "The run's time", time_says(proof, a), 180, 26, NAN, NULL, 0};
    for (size_t i = 0; i < images->n_worst && i < HEIGHTS_MOST; i++) {
        po_slip_picture *p = &list[n++];
        *p = (po_slip_picture){
            .name = po_arena_printf(a, "height-%zu", i + 1),
            .title = po_arena_printf(a, "The layer at %s mm", po_say_number(a, images->worst[i].z, 2)),
            .width_mm = 52,
            .height_mm = po_heights_height(50, 1) - 1,
            .z_mm = images->worst[i].z};
        put_flags(proof, &images->worst[i], a, p);
    }
    if (images->first_layer) {
        list[n++] = (po_slip_picture){"bed", "The bed from above with the first layer", stands, 74, 72, NAN, NULL, 0};
        list[n++] = (po_slip_picture){"first-layer", "The first layer close up", stands, 74, 72, NAN, NULL, 0};
    }
    if (images->side) {
        list[n++] = (po_slip_picture){"front",
                                      "From the front, with the heights of the findings",
                                      "what stands, and flags at the worst heights",
                                      150,
                                      po_side_height(proof, 146, 58) + 4,
                                      NAN,
                                      NULL,
                                      0};
    }
    po_drawing key;
    po_draw_init(&key, a, 180, 10, "Key to the areas", NULL);
    double h = po_picture_key(&key, 1, 2, 178, proof);
    if (h > 0) {
        list[n++] = (po_slip_picture){
            "key", "Key to the areas", "kinds of area are told apart by their hatching", 180, h + 2, NAN, NULL, 0};
    }
    for (size_t i = 0; i < n; i++) {
        if (!list[i].name || !list[i].title || !list[i].description) {
            return po_fail(err, PO_E_NOMEM, "no memory for the pictures");
        }
    }
    *ret = list;
    *ret_n = n;
    return PO_OK;
}

static void paint(po_drawing *d, const po_slip_picture *p, const po_proof *proof, const po_shop *shop)
{
    po_box2 box = {1, 1, p->width_mm - 2, p->height_mm - 2};
    po_draw_rect(d, (po_box2){0, 0, p->width_mm, p->height_mm}, PO_INK_PAPER, PO_INK_NONE, 0);
    if (strcmp(p->name, "time") == 0) {
        po_picture_time(d, (po_box2){2, 1, p->width_mm - 4, p->height_mm - 2}, proof, shop);
    } else if (strcmp(p->name, "bed") == 0) {
        po_picture_bed(d, box, proof);
    } else if (strcmp(p->name, "first-layer") == 0) {
        po_picture_close(d, box, proof);
    } else if (strcmp(p->name, "front") == 0) {
        po_picture_side(d, box, proof);
    } else if (strcmp(p->name, "key") == 0) {
        po_picture_key(d, 1, 2, p->width_mm - 2, proof);
    } else {
        size_t i = 0;
        for (const char *c = strchr(p->name, '-') + 1; *c; c++) { /* our own name of a height */
            i = i * 10 + (size_t)(*c - '0');
        }
        po_picture_heights(d, (po_box2){1, 0.5, p->width_mm - 2, p->height_mm}, proof, i - 1, 1);
    }
}

static po_status render(po_drawing *d, bool png, po_arena *arena, po_document *ret, po_err *err)
{
    if (png) {
        return po_render_png(d, PICTURE_DOTS_PER_MM, arena, ret, err);
    }
    po_text out;
    po_text_init(&out, arena);
    po_status s = po_render_svg(d, true, &out, err);
    if (s == PO_OK && out.failed) {
        return po_fail(err, PO_E_NOMEM, "no memory for the picture");
    }
    if (s == PO_OK) {
        *ret = (po_document){.data = out.data, .n_bytes = out.n};
    }
    return s;
}

po_status po_slip_picture_draw(const po_proof *proof, const po_shop *shop, const char *name, bool png, po_arena *arena,
                               po_document *ret, po_err *err)
{
    const po_slip_picture *list;
    size_t n;
    po_status s = po_slip_pictures(proof, arena, &list, &n, err);
    for (size_t i = 0; s == PO_OK && i < n; i++) {
        if (strcmp(list[i].name, name) == 0) {
            po_drawing d;
            po_draw_init(&d, arena, list[i].width_mm, list[i].height_mm, list[i].title, list[i].description);
            paint(&d, &list[i], proof, shop);
            return render(&d, png, arena, ret, err);
        }
    }
    return s == PO_OK ? po_fail(err, PO_E_NOTFOUND, "this proof has no picture of that name") : s;
}

po_status po_slip_code_svg(const char *code, po_arena *arena, po_document *ret, po_err *err)
{
    po_drawing d;
    po_status s = po_draw_code(&d, arena, code, err);
    return s == PO_OK ? render(&d, false, arena, ret, err) : s;
}
