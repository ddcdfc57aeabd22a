/* Pieces as text and as JSON. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "pieces.h"

/* "x = 245.0", or the plane's equation. */
static const char *plane_words(const po_plane *plane, char *text, size_t room)
{
    for (int k = 0; k < 3; k++) {
        if (fabs(plane->n[k]) == 1) {
            snprintf(text, room, "%c = %.2f", "xyz"[k], plane -> d * plane -> n[k]);
            return text;
        }
    }
    snprintf(text, room, "%.3f x %+.3f y %+.3f z = %.2f", plane->n[0], plane->n[1], plane->n[2], plane->d);
    return text;
}

/* How a piece is laid, in words. */
static const char *pose_words(const po_piece *piece, char *text, size_t room)
{
    static const char *const axes[3][2] = {{"+x", "-x"}, {"+y", "-y"}, {"+z", "-z"}};
    const double *m = piece->matrix;
    int n = 0;
    if (fabs(m[8] - 1) < 1e-9) {
        double turned = atan2(m[1], m[0]) * 57.295779513082321;
        if (fabs(turned) < 1e-6) {
            return "as it lies in the part";
        }
        snprintf(text, room, "upright, turned by %.0f degrees", turned);
        return text;
    }
    for (int k = 0; k < 3; k++) {
        if (fabs(fabs(m[3 * k + 2]) - 1) < 1e-9) {
            n = snprintf(text, room, "the part's %s up", axes[k][m[3 * k + 2] < 0]);
        }
    }
    if (!n) {
        snprintf(text, room, "tilted: %.2f %.2f %.2f of the part up", m[2], m[5], m[8]);
    }
    return text;
}

static void put_safe(const char *text)
{
    for (; *text; text++) {
        putchar((unsigned char)*text < 0x20 || *text == 0x7f ? '?' : *text);
    }
}

static double grams(const pieces_call *c, double mm3)
{
    return mm3 * c->material->density_g_cm3 * 1e-3;
}

static void print_head(const char *path, const pieces_result *r)
{
    double size[3];
    for (int k = 0; k < 3; k++) {
        size[k] = r->facts.bounds_mm[1][k] - r->facts.bounds_mm[0][k];
    }
    put_safe(path);
    if (r->name) {
        fputs(", ", stdout);
        put_safe(r->name);
    }
    printf(": %.1f x %.1f x %.1f mm, %.1f cm3\n", size[0], size[1], size[2], r->facts.volume_mm3 * 1e-3);
    if (!isnan(r->facts.seams_closed_at_mm)) {
        printf("Its seams were closed at %.2g mm first.\n", r->facts.seams_closed_at_mm);
    }
}

static void print_fits(const pieces_call *c, const pieces_result *r)
{
    char text[96];
    if (r->pieces.n_cuts == 0 && r->pieces.n_pieces == 1) {
        const po_piece *piece = &r->pieces.pieces[0];
        if (r->fit.as_is) {
            printf("It fits %s as it lies; nothing has to be cut.\n", c->machine->name);
        } else if (r->fit.turned) {
            printf("It fits %s turned by %.0f degrees about the vertical; nothing has to be cut.\n", c->machine->name,
                   r->fit.turn_deg);
        } else {
            printf("It fits %s when it is tipped over: %s; nothing has to be cut.\n", c->machine->name,
                   pose_words(piece, text, sizeof text));
        }
        if (c->out) {
            printf("Written: %s\n", pose_words(piece, text, sizeof text));
        }
        return;
    }
    if (c->machine->round_bed) {
        printf("%s holds %.0f mm across and %.0f mm high, so it becomes ", c->machine->name, c->machine->bed_mm[0],
               c->machine->height_mm);
    } else {
        printf("%s holds %.0f x %.0f x %.0f mm, so it becomes ", c->machine->name, c->machine->bed_mm[0],
               c->machine->bed_mm[1], c->machine->height_mm);
    }
    printf("%zu pieces by %zu cut%s", r->pieces.n_pieces, r->pieces.n_cuts, r->pieces.n_cuts == 1 ? "" : "s");
    if (r->pieces.n_pins) {
        printf(", and %zu loose pin%s", r->pieces.n_pins, r->pieces.n_pins == 1 ? "" : "s");
    }
    puts(r->pieces.n_cuts ? "." : ": it hangs together nowhere.");
}

static void print_cuts(const pieces_result *r)
{
    puts("\n  cut  parts      plane (the part's own axes)          joint     neck      loops  pins");
    puts("       pieces                                          mm2       mm");
    for (size_t i = 0; i < r->pieces.n_cuts; i++) {
        const po_cut *cut = &r->pieces.cuts[i];
        char text[96], parts[32];
        snprintf(parts, sizeof parts, "%u | %u", cut->pieces[0], cut->pieces[1]);
        printf("  %3zu  %-9s  %-34s  %9.0f  %8.1f  %5zu  %4zu\n", i + 1, parts,
               plane_words(&cut->plane, text, sizeof text), cut->area_mm2, cut->least_mm, cut->loops, cut->pins);
    }
}

static void print_pieces(const pieces_call *c, const pieces_result *r)
{
    printf("\n  piece  size as laid, mm         volume  if solid  how it lies\n");
    printf("                                  cm3     g %s\n", c->material->name);
    for (size_t i = 0; i < r->pieces.n_pieces; i++) {
        const po_piece *p = &r->pieces.pieces[i];
        char text[96], size[48];
        snprintf(size, sizeof size, "%.1f x %.1f x %.1f", p->pose.size_mm[0], p->pose.size_mm[1], p->pose.size_mm[2]);
        printf("  %5u  %-23s  %7.1f  %8.0f  %s", p->number, size, p->volume_mm3 * 1e-3, grams(c, p->volume_mm3),
               pose_words(p, text, sizeof text));
        if (p->pose.support_open_mm3 > 0) {
            printf("; %.1f cm3 to support", p->pose.support_open_mm3 * 1e-3);
        }
        fputs(p->pose.stands ? "\n" : "; tips over: needs a prop\n", stdout);
    }
    for (size_t i = 0, last; i < r->pieces.n_pins; i = last) { /* pins of one joint and pair in one line */
        const po_pin *pin = &r->pieces.pins[i];
        for (last = i + 1; last < r->pieces.n_pins && r->pieces.pins[last].cut == pin->cut &&
                           !memcmp(r->pieces.pins[last].pieces, pin->pieces, sizeof pin->pieces);
             last++) {
        }
        printf("  %2zu %s %.1f across, %.1f long, between pieces %u and %u; holes %.1f across, %.1f deep\n", last - i,
               last - i == 1 ? "pin, " : "pins,", pin->diameter_mm, pin->length_mm, pin->pieces[0], pin->pieces[1],
               pin->hole_mm, pin->hole_depth_mm);
    }
}

static void print_glue(const pieces_result *r)
{
    if (!r->pieces.n_cuts) {
        return;
    }
    fputs("\nTo glue, last cut first:", stdout);
    for (size_t i = r->pieces.n_cuts; i-- > 0;) {
        printf(" %zu%s", i + 1, i ? "," : ".\n");
    }
    for (size_t i = 0; i < r->pieces.n_says; i++) {
        cli_wrap(stdout, 0, r->pieces.says[i]);
    }
    if (r->pieces.n_pins) {
        cli_wrap(
            stdout, 0,
            "Pins go in dry, or with a drop of glue; try one first, and drill the holes after if they are tight. A "
            "rod of the same diameter does as well.");
    }
    cli_wrap(
        stdout, 0,
        "Joints are printed faces: scuff both with fine paper, wipe off the dust, press them together until the glue "
        "has set. Glues and solvents give off fumes that can hurt, and some burn: follow the maker's safety data "
        "sheet and the rules of the room, with fresh air and gloves where they say so.");
}

void pieces_print_text(const pieces_call *c, const char *path, const pieces_result *r)
{
    print_head(path, r);
    print_fits(c, r);
    if (r->pieces.n_pieces > 1) {
        if (r->pieces.n_cuts) {
            print_cuts(r);
        }
        print_pieces(c, r);
        print_glue(r);
    }
}

/* ---- JSON ---- */

static void json_vector(cli_json *j, const char *key, const double *values, size_t n)
{
    cli_json_open(j, key, '[');
    for (size_t i = 0; i < n; i++) {
        cli_json_number(j, NULL, values[i]);
    }
    cli_json_close(j, ']');
}

static void json_pair(cli_json *j, const char *key, const uint32_t *values)
{
    double both[2] = {values[0], values[1]};
    json_vector(j, key, both, 2);
}

static void json_cut(cli_json *j, const po_cut *cut, size_t number)
{
    cli_json_open(j, NULL, '{');
    cli_json_number(j, "number", (double)number);
    cli_json_open(j, "plane", '{');
    json_vector(j, "normal", cut->plane.n, 3);
    cli_json_number(j, "distance_mm", cut->plane.d);
    cli_json_close(j, '}');
    json_pair(j, "pieces", cut->pieces);
    cli_json_number(j, "area_mm2", cut->area_mm2);
    cli_json_number(j, "thinnest_mm", cut->least_mm);
    cli_json_number(j, "loops", (double)cut->loops);
    cli_json_number(j, "pins", (double)cut->pins);
    cli_json_close(j, '}');
}

static void json_piece(const pieces_call *c, cli_json *j, const po_piece *p)
{
    char text[96];
    cli_json_open(j, NULL, '{');
    cli_json_number(j, "number", p->number);
    json_vector(j, "size_mm", p->pose.size_mm, 3);
    cli_json_number(j, "volume_mm3", p->volume_mm3);
    cli_json_number(j, "solid_g", grams(c, p->volume_mm3));
    cli_json_number(j, "triangles", (double)p->mesh->n_triangles);
    cli_json_text(j, "lies", pose_words(p, text, sizeof text));
    json_vector(j, "matrix", p->matrix, 12);
    cli_json_number(j, "support_mm3", p->pose.support_open_mm3);
    cli_json_number(j, "foothold_mm2", p->pose.foothold_mm2);
    cli_json_bool(j, "stands", p->pose.stands);
    cli_json_close(j, '}');
}

void pieces_print_json(const pieces_call *c, const char *path, const po_part *part, const pieces_result *r)
{
    cli_json j = {.out = stdout};
    cli_json_open(&j, NULL, '{');
    cli_json_text(&j, "format", "proveout/pieces/1");
    cli_json_text(&j, "file", path);
    cli_json_text(&j, "sha256", part->sha256);
    cli_json_number(&j, "item", r->item->build_item);
    cli_json_text(&j, "name", r->name);
    cli_json_text(&j, "machine", c->machine->name);
    cli_json_text(&j, "material", c->material->name);
    cli_json_bool(&j, "fits_as_is", r->fit.as_is);
    cli_json_bool(&j, "fits_turned", r->fit.turned);
    cli_json_bool(&j, "fits", r->pieces.n_pieces == 1);
    cli_json_number(&j, "volume_mm3", r->pieces.volume_mm3);
    cli_json_number(&j, "volume_error", r->pieces.volume_error);
    cli_json_open(&j, "cuts", '[');
    for (size_t i = 0; i < r->pieces.n_cuts; i++) {
        json_cut(&j, &r->pieces.cuts[i], i + 1);
    }
    cli_json_close(&j, ']');
    cli_json_open(&j, "pieces", '[');
    for (size_t i = 0; i < r->pieces.n_pieces; i++) {
        json_piece(c, &j, &r->pieces.pieces[i]);
    }
    cli_json_close(&j, ']');
    cli_json_open(&j, "pins", '[');
    for (size_t i = 0; i < r->pieces.n_pins; i++) {
        const po_pin *pin = &r->pieces.pins[i];
        cli_json_open(&j, NULL, '{');
        cli_json_number(&j, "cut", pin->cut + 1.0);
        json_pair(&j, "pieces", pin->pieces);
        cli_json_number(&j, "diameter_mm", pin->diameter_mm);
        cli_json_number(&j, "length_mm", pin->length_mm);
        cli_json_number(&j, "hole_mm", pin->hole_mm);
        cli_json_number(&j, "hole_depth_mm", pin->hole_depth_mm);
        json_vector(&j, "at_mm", pin->at, 3);
        cli_json_close(&j, '}');
    }
    cli_json_close(&j, ']');
    cli_json_open(&j, "says", '[');
    for (size_t i = 0; i < r->pieces.n_says; i++) {
        cli_json_text(&j, NULL, r->pieces.says[i]);
    }
    cli_json_close(&j, ']');
    cli_json_close(&j, '}');
    fputc('\n', stdout);
}
