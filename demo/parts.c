/* Writes the Quayside Workshop's parts for `make demo`. SPDX-License-Identifier: Apache-2.0
 *
 * Ten parts as members bring them: good ones, and one for each of the things that a drawing does wrong or a machine can't
 * take. Usage: parts FOLDER. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "solidmesh.h"

enum { CIRCLE = 48, CORNER = 8, TURNED = 96 };

static const frame from_above = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}};

static void points(polyline *line, const double (*xy)[2], size_t n)
{
    for (size_t i = 0; i < n; i++) {
        polyline_point(line, xy[i][0], xy[i][1]);
    }
}
#define POINTS(line, ...)                                                                                              \
    points((line), (const double[][2])__VA_ARGS__, sizeof((const double[][2])__VA_ARGS__) / sizeof(double[2]))

static void outline(polyline *line)
{
    line->n = 0; /* keeps its room */
}

/* A round hole through two faces that look at each other, along y: its wall. */
static void bore(solidmesh *m, const polyline *hole, double y0, double y1)
{
    for (size_t i = 0; i < hole->n; i++) {
        pt p = hole->p[i], q = hole->p[(i + 1) % hole->n];
        double a[] = {p.x, y0, p.y}, b[] = {q.x, y0, q.y}, c[] = {q.x, y1, q.y}, d[] = {p.x, y1, p.y};
        solidmesh_triangle(m, a, b, c);
        solidmesh_triangle(m, a, c, d);
    }
}

/* The solid of job 01: a base with two holes and round corners of 3 mm; an upright with corners of 1 mm and two holes
 * across; a gusset, 20 mm deep at its foot, that leans back at 45 degrees until it meets the upright. */
static void bracket(solidmesh *m)
{
    polyline base = {0}, upright = {0}, line = {0}, holes[2] = {{0}, {0}}, across[2] = {{0}, {0}};
    for (int i = 0; i < 2; i++) {
        outline_circle(&holes[i], i ? 38 : 12, 20, 2.2, CIRCLE);
        outline_circle(&across[i], i ? 38 : 12, 17, 2.5, CIRCLE);
    }
    /* base: floor, sides, bores. Corners of what stands on it lie on its sides at y = 4 and x = 3, so they are points. */
    outline_arc(&base, 47, 3, 3, -90, 0, CORNER);
    polyline_point(&base, 50, 4);
    outline_arc(&base, 47, 27, 3, 0, 90, CORNER);
    outline_arc(&base, 3, 27, 3, 90, 180, CORNER);
    polyline_point(&base, 0, 4);
    outline_arc(&base, 3, 3, 3, 180, 270, CORNER);
    solidmesh_wall(m, &base, 0, 4);
    polyline below = {0};
    for (size_t i = base.n; i-- > 0;) {
        polyline_point(&below, base.p[i].y, base.p[i].x);
    }
    const frame floor = {{0, 0, 0}, {0, 1, 0}, {1, 0, 0}};
    polyline floor_holes[2] = {{0}, {0}};
    for (int i = 0; i < 2; i++) {
        polyline inward = {0};
        for (size_t k = holes[i].n; k-- > 0;) {
            polyline_point(&inward, holes[i].p[k].x, holes[i].p[k].y);
            polyline_point(&floor_holes[i], holes[i].p[k].y, holes[i].p[k].x);
        }
        solidmesh_wall(m, &inward, 0, 4);
        free(inward.p);
    }
    solidmesh_face(m, &floor, &below, floor_holes, 2);
    /* the base's roof, around the foot of upright and gusset */
    polyline slope = {0}; /* the gusset's foot */
    POINTS(&slope, {{27.5, 5}});
    outline_arc(&slope, 27, 19.5, 0.5, 0, 90, CORNER);
    outline_arc(&slope, 23, 19.5, 0.5, 90, 180, CORNER);
    POINTS(&slope, {{22.5, 5}});
    outline_arc(&line, 47, 27, 3, 0, 90, CORNER);
    outline_arc(&line, 3, 27, 3, 90, 180, CORNER);
    outline_arc(&line, 1, 4, 1, 180, 90, CORNER);
    for (size_t i = slope.n; i-- > 0;) {
        polyline_point(&line, slope.p[i].x, slope.p[i].y);
    }
    outline_arc(&line, 49, 4, 1, 90, 0, CORNER);
    frame at = from_above;
    at.from[2] = 4;
    solidmesh_face(m, &at, &line, holes, 2);
    /* upright: walls at the corners and sides, with the base's points along their foot */
    for (int right = 0; right < 2; right++) {
        polyline arc = {0};
        outline_arc(&arc, right ? 49 : 1, 1, 1, right ? -90 : 180, right ? 0 : 270, CORNER);
        size_t n = arc.n;
        outline_arc(&arc, right ? 49 : 1, 4, 1, right ? 0 : 90, right ? 90 : 180, CORNER);
        for (size_t i = 0; i + 1 < arc.n; i++) {
            if (i + 1 != n) {
                pt p = arc.p[i], q = arc.p[i + 1];
                double a[] = {p.x, p.y, 4}, b[] = {q.x, q.y, 4}, c[] = {q.x, q.y, 30}, d[] = {p.x, p.y, 30};
                solidmesh_triangle(m, a, b, c);
                solidmesh_triangle(m, a, c, d);
            }
        }
        free(arc.p);
        const frame right_side = {{50, 0, 0}, {0, 1, 0}, {0, 0, 1}}, left_side = {{0, 0, 0}, {0, -1, 0}, {0, 0, 1}};
        outline(&line);
        if (right) {
            POINTS(&line, {{1, 4}, {3, 4}, {4, 4}, {4, 30}, {1, 30}});
        } else {
            POINTS(&line, {{-4, 4}, {-3, 4}, {-1, 4}, {-1, 30}, {-4, 30}});
        }
        solidmesh_face(m, right ? &right_side : &left_side, &line, NULL, 0);
        /* the corner hangs a little over the base's rounder one */
        outline(&line);
        const frame under = {{0, 0, 4}, {0, 1, 0}, {1, 0, 0}};
        polyline sliver = {0};
        if (right) {
            outline_arc(&sliver, 49, 1, 1, -90, 0, CORNER);
            outline_arc(&sliver, 47, 3, 3, 0, -90, CORNER);
        } else {
            outline_arc(&sliver, 1, 1, 1, 180, 270, CORNER);
            outline_arc(&sliver, 3, 3, 3, 270, 180, CORNER);
        }
        for (size_t i = sliver.n; i-- > 0;) {
            polyline_point(&line, sliver.p[i].y, sliver.p[i].x);
        }
        solidmesh_face(m, &under, &line, NULL, 0);
        free(sliver.p);
    }
    /* its back and front, as seen from there */
    const frame back = {{0, 0, 0}, {1, 0, 0}, {0, 0, 1}}, front = {{0, 5, 0}, {-1, 0, 0}, {0, 0, 1}};
    outline(&line);
    POINTS(&line, {{1, 4}, {3, 4}, {47, 4}, {49, 4}, {49, 30}, {1, 30}});
    solidmesh_face(m, &back, &line, across, 2);
    outline(&line);
    POINTS(&line, {{-49, 4}, {-27.5, 4}});
    for (size_t i = 1; i + 1 < slope.n; i++) {
        polyline_point(&line, -slope.p[i].x, slope.p[i].y - 1); /* the foot's points, moved along the slope to y = 5 */
    }
    POINTS(&line, {{-22.5, 4}, {-1, 4}, {-1, 30}, {-49, 30}});
    polyline front_holes[2] = {{0}, {0}};
    for (int i = 0; i < 2; i++) {
        for (size_t k = across[i].n; k-- > 0;) {
            polyline_point(&front_holes[i], -across[i].p[k].x, across[i].p[k].y);
        }
        bore(m, &across[i], 0, 5);
    }
    solidmesh_face(m, &front, &line, front_holes, 2);
    /* the gusset: two flat sides, and the slope */
    for (size_t i = 0; i + 1 < slope.n; i++) {
        pt p = slope.p[i], q = slope.p[i + 1];
        double a[] = {p.x, p.y, 4}, b[] = {q.x, q.y, 4}, c[] = {q.x, 5, q.y - 1}, d[] = {p.x, 5, p.y - 1};
        if (q.y > 5) {
            solidmesh_triangle(m, a, b, c);
        }
        if (p.y > 5) {
            solidmesh_triangle(m, a, q.y > 5 ? c : b, d);
        }
    }
    /* the roof */
    outline_rounded(&upright, 0, 0, 50, 5, 1, CORNER);
    at.from[2] = 30;
    solidmesh_face(m, &at, &upright, NULL, 0);
    polyline *used[] = {&base,           &below,          &line,          &slope,     &upright,
                        &holes[0],       &holes[1],       &across[0],     &across[1], &floor_holes[0],
                        &floor_holes[1], &front_holes[0], &front_holes[1]};
    for (size_t i = 0; i < sizeof used / sizeof *used; i++) {
        free(used[i]->p);
    }
}

/* The solid of job 13 before it was mirrored: a plate with a hole and a post, so placed that no turn makes the one hand
 * the other. */
static void shelf_catch(solidmesh *m)
{
    polyline plate = {0}, below = {0}, hole[2] = {{0}, {0}}, inward = {0}, hole_below = {0};
    outline_rounded(&plate, 0, 0, 40, 16, 3, CORNER);
    outline_circle(&hole[0], 33, 4.5, 2.2, CIRCLE);
    outline_circle(&hole[1], 8, 11, 4, CIRCLE); /* the post */
    solidmesh_wall(m, &plate, 0, 4);
    solidmesh_wall(m, &hole[1], 4, 16);
    for (size_t i = hole[0].n; i-- > 0;) {
        polyline_point(&inward, hole[0].p[i].x, hole[0].p[i].y);
        polyline_point(&hole_below, hole[0].p[i].y, hole[0].p[i].x);
    }
    for (size_t i = plate.n; i-- > 0;) {
        polyline_point(&below, plate.p[i].y, plate.p[i].x);
    }
    solidmesh_wall(m, &inward, 0, 4);
    const frame under = {{0, 0, 0}, {0, 1, 0}, {1, 0, 0}};
    frame at = from_above;
    solidmesh_face(m, &under, &below, &hole_below, 1);
    at.from[2] = 4;
    solidmesh_face(m, &at, &plate, hole, 2);
    at.from[2] = 16;
    solidmesh_face(m, &at, &hole[1], NULL, 0);
    polyline *used[] = {&plate, &below, &hole[0], &hole[1], &inward, &hole_below};
    for (size_t i = 0; i < sizeof used / sizeof *used; i++) {
        free(used[i]->p);
    }
}

/* Walls of 0.3 mm: less than one bead. */
static void tall_cup(solidmesh *m)
{
    polyline p = {0};
    POINTS(&p, {{0, 0}, {24, 0}, {30, 90}, {29.7, 90}, {23.78, 1.2}, {0, 1.2}});
    solidmesh_turned(m, &p, TURNED);
    free(p.p);
}

static void lamp_foot(solidmesh *m)
{
    polyline p = {0};
    POINTS(&p, {{5, 0}, {130, 0}, {130, 6}, {124, 10}, {40, 16}, {26, 28}, {5, 28}});
    solidmesh_turned(m, &p, TURNED);
    free(p.p);
}

/* Turn a body about an axis, so that what was x, y, z comes to lie along other axes. */
static void lay(solidmesh *m, int x_from, int y_from, int z_from, double y_sign)
{
    for (size_t i = 0; i < 3 * m->n; i++) {
        double *p = m->xyz + 3 * i, q[3] = {p[0], p[1], p[2]};
        p[0] = q[x_from];
        p[1] = y_sign * q[y_from] + 0.0;
        p[2] = q[z_from];
    }
}

/* A tool rail of 700 mm, longer than any machine's bed. */
static void rail(solidmesh *m)
{
    polyline p = {0};
    POINTS(&p, {{0, 0}, {36, 0}, {36, 8}, {20, 8}, {12, 16}, {12, 30}, {0, 30}});
    solidmesh_prism(m, &p, NULL, 0, 0, 700);
    lay(m, 2, 0, 1, 1);
    free(p.p);
}

/* An arm that sticks out from the top of a narrow leg: it could lie on its side. */
static void wall_hook(solidmesh *m)
{
    polyline p = {0};
    POINTS(&p, {{0, 0}, {6, 0}, {6, 44}, {54, 44}, {54, 36}, {60, 36}, {60, 50}, {0, 50}});
    solidmesh_prism(m, &p, NULL, 0, 0, 20);
    lay(m, 0, 2, 1, -1);
    free(p.p);
}

/* A door wedge without its slope: the last wall is left out. */
static void open_wedge(solidmesh *m)
{
    polyline p = {0};
    POINTS(&p, {{90, 0}, {90, 18}, {0, 3}, {0, 0}});
    solidmesh_prism(m, &p, NULL, 0, 0, 26);
    size_t slope = 2; /* walls come first, two triangles each: the second runs from (90, 18) to (0, 3) */
    memmove(m->xyz + 9 * slope, m->xyz + 9 * (slope + 2), (m->n - slope - 2) * 9 * sizeof *m->xyz);
    m->n -= 2;
    lay(m, 0, 2, 1, -1);
    free(p.p);
}

/* Two feet for a shelf, one of them inside out. */
static void two_feet(solidmesh *m)
{
    polyline p = {0};
    POINTS(&p, {{0, 0}, {14, 0}, {14, 4}, {9, 22}, {0, 22}});
    solidmesh_turned(m, &p, TURNED);
    size_t n = m->n;
    solidmesh_turned(m, &p, TURNED);
    solidmesh_shift(m, n, m->n, 36, 0, 0);
    solidmesh_flip(m, n, m->n);
    free(p.p);
}

/* A door plate drawn in inches: 3.2 by 1.9. */
static void plate_in_inches(solidmesh *m)
{
    polyline p = {0}, holes[2] = {{0}, {0}};
    outline_rounded(&p, 0, 0, 81.28, 48.26, 6, CORNER);
    outline_circle(&holes[0], 8, 24.13, 2.2, CIRCLE);
    outline_circle(&holes[1], 73.28, 24.13, 2.2, CIRCLE);
    solidmesh_prism(m, &p, holes, 2, 0, 4.8);
    m->unit = 25.4;
    free(p.p);
    free(holes[0].p);
    free(holes[1].p);
}

static void knob(solidmesh *m)
{
    polyline p = {0};
    POINTS(&p, {{0, 0}, {9, 0}, {9, 10}, {13, 14}, {13, 20}, {10, 23}, {0, 23}});
    solidmesh_turned(m, &p, TURNED);
    free(p.p);
}

/* A clip with a triangle missing. */
static void clip(solidmesh *m)
{
    polyline p = {0};
    POINTS(&p, {{0, 0}, {30, 0}, {30, 4}, {5, 4}, {5, 11}, {30, 11}, {30, 15}, {0, 15}});
    solidmesh_prism(m, &p, NULL, 0, 0, 18);
    m->n--;
    free(p.p);
}

typedef struct part {
    const char *name;
    void (*make)(solidmesh *m);
} part;

static bool name_file(char *to, size_t room, const char *folder, const char *name)
{
    int n = snprintf(to, room, "%s/%s", folder, name);
    return n > 0 && (size_t)n < room;
}

int main(int argc, char **argv)
{
    if (argc != 2) {
        fprintf(stderr, "usage: parts FOLDER\n");
        return 4;
    }
    static const part parts[] = {
        {"21-bracket.stl", bracket},
        {"22-catch.stl", shelf_catch},
        {"23-tall-cup.stl", tall_cup},
        {"24-lamp-foot.stl", lamp_foot},
        {"25-rail.stl", rail},
        {"26-wall-hook.stl", wall_hook},
        {"27-wedge-open.stl", open_wedge},
        {"28-feet-turned.stl", two_feet},
        {"29-plate-in-inches.stl", plate_in_inches},
    };
    bool ok = true;
    char file[4096];
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        solidmesh m = {.unit = 1};
        parts[i].make(&m);
        ok &= name_file(file, sizeof file, argv[1], parts[i].name) && solidmesh_save_stl(&m, file);
        solidmesh_free(&m);
    }
    solidmesh good = {.unit = 1}, faulty = {.unit = 1};
    knob(&good);
    clip(&faulty);
    const mesh_item items[] = {{&good, "knob", 20, 20}, {&faulty, "clip", 50, 12}};
    ok &= name_file(file, sizeof file, argv[1], "30-knob-and-clip.3mf") && solidmesh_save_3mf(items, 2, file);
    solidmesh_free(&good);
    solidmesh_free(&faulty);
    return ok ? 0 : 5;
}
