/* The modal interpreter. SPDX-License-Identifier: Apache-2.0
 *
 * Method: docs/measures.md, "Interpreter": the words of RS274/NGC (Kramer, Proctor, Messina, NISTIR 6556, 2000) in the
 * sense that filament printers give them. Straight moves, which are nearly all of a job, take the first few lines of
 * po_state_line; everything else goes by a switch over the code. Nothing here judges. */
#include "job/state_inside.h"

#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#if defined(__GNUC__) && !defined(__clang__)
/* Positions are written by axis for each line and read by axis at the next: pairs would wait for each other's stores. */
#pragma GCC optimize("no-tree-slp-vectorize")
#endif

#define ABSURD_MM 1e9           /* a coordinate, feed or E beyond this is damage: no machine is a million metres long */
#define ARC_MISMATCH_MM 0.05    /* docs/measures.md: start and end radii must agree within this ... */
#define ARC_MISMATCH_SHARE 1e-3 /* ... or this share of the radius, whichever is larger */

void po_state_init(po_state *s, const po_reading *reading, const po_limits *limits)
{
    memset(s, 0, sizeof *s);
    s->reading = *reading;
    s->machine_limits = *limits;
    s->limits = *limits;
    s->unit = 1;
    s->absolute = true;
    s->e_absolute = s->e_absolute_if_follows = s->e_absolute_if_not = true;
    s->feed = -1;
    s->speed_factor = s->flow_factor = s->mm_per_e = 1;
    s->motion = -1;
    s->highest_tool_heated = -1;
}

void po_moves_reset(po_moves *m, const po_state *s)
{
    m->n = 0;
    m->n_arcs = 0;
    m->n_events = 0;
    m->closed = false;
    m->x0 = s->pos[0];
    m->y0 = s->pos[1];
    m->z0 = s->pos[2];
}

void po_word_note(po_word_list *list, const char *word, uint64_t line, const double at[3])
{
    for (size_t i = 0; i < list->n; i++) {
        if (strcmp(list->at[i].word, word) == 0) {
            list->at[i].count++;
            return;
        }
    }
    size_t i = list->n < PO_WORD_SLOTS ? list->n++ : PO_WORD_SLOTS - 1;
    if (list->at[i].count == 0) {
        snprintf(list->at[i].word, sizeof list->at[i].word, "%s", word);
        list->at[i].first_line = line;
        list->at[i].x = at[0];
        list->at[i].y = at[1];
        list->at[i].z = at[2];
    }
    list->at[i].count++;
}

static void note_odd(po_state *s, po_odd odd, uint64_t line, double worst, const char *text)
{
    po_oddity *o = &s->odd[odd];
    if (o->count++ == 0) {
        o->first_line = line;
        memcpy(o->first_at, s->pos, sizeof o->first_at);
        o->first_move = s->n_moves;
        o->worst = -INFINITY;
        snprintf(o->text, sizeof o->text, "%s", text);
    }
    if (worst > o->worst) {
        o->worst = worst;
        o->worst_line = line;
        memcpy(o->worst_at, s->pos, sizeof o->worst_at);
        o->worst_move = s->n_moves;
    }
}

po_event *po_state_event(const po_state *s, po_moves *out, po_event_kind kind, uint64_t line)
{
    po_event *ev = &out->events[out->n_events < PO_BLOCK_EVENTS ? out->n_events++ : PO_BLOCK_EVENTS - 1];
    memset(ev, 0, sizeof *ev);
    ev->before = (uint32_t)out->n;
    ev->kind = kind;
    ev->line = line;
    ev->tool = (int16_t)s->tool;
    ev->z = s->pos[2];
    return ev;
}

/* E advance of this line in mm of filament, and the logical position after it. Keeps both readings of
 * e_follows_g90 once they differ. */
static double advance(po_state *s, double value)
{
    double v = value * s->unit, raw;
    if (s->tool < 0) { /* no tool: nothing is fed, the file's count goes on */
        s->e = s->e_absolute ? v : s->e + v;
        s->e_if_follows = s->e_absolute_if_follows ? v : s->e_if_follows + v;
        s->e_if_not = s->e_absolute_if_not ? v : s->e_if_not + v;
        return 0;
    }
    if (s->e_absolute_if_follows != s->e_absolute_if_not && !s->mode_matters) {
        s->mode_matters = true;
        s->e_if_follows = s->e_if_not = s->e;
    }
    if (s->mode_matters) {
        double factor = s->mm_per_e * s->flow_factor;
        double a = s->e_absolute_if_follows ? v - s->e_if_follows : v;
        double b = s->e_absolute_if_not ? v - s->e_if_not : v;
        s->e_if_follows += a;
        s->e_if_not += b;
        s->net_if_follows += a * factor;
        s->net_if_not += b * factor;
        s->fed_if_follows = fmax(s->fed_if_follows, s->net_if_follows);
        s->fed_if_not = fmax(s->fed_if_not, s->net_if_not);
    }
    if (s->e_absolute) {
        raw = v - s->e;
        s->e = v;
    } else {
        raw = v;
        s->e += v;
    }
    return raw * s->mm_per_e * s->flow_factor;
}

static void emit(po_state *s, po_moves *out, uint64_t line, const double to[3], double de, double length, double feed,
                 unsigned kind)
{
    size_t i = out->n++;
    out->dx[i] = to[0] - s->pos[0];
    out->dy[i] = to[1] - s->pos[1];
    out->dz[i] = to[2] - s->pos[2];
    out->x[i] = s->pos[0] = to[0];
    out->y[i] = s->pos[1] = to[1];
    out->z[i] = s->pos[2] = to[2];
    out->de[i] = de;
    out->length[i] = length;
    out->feed[i] = feed;
    out->line[i] = line;
    out->kind[i] = (uint8_t)kind;
    s->n_moves++;
}

/* What the file asks of axes that were not homed: a Z lift and E alone are ordinary. */
static void check_homed(po_state *s, const double to[3], uint64_t line)
{
    bool x = to[0] != s->pos[0] && !s->homed[0], y = to[1] != s->pos[1] && !s->homed[1];
    bool z = to[2] < s->pos[2] && !s->homed[2];
    if (x || y || z) {
        char text[24];
        snprintf(text, sizeof text, "%s%s%s", x ? "X" : "", y ? "Y" : "", z ? "Z" : "");
        note_odd(s, PO_ODD_NOT_HOMED, line, 0, text);
    }
}

static bool target(const po_state *s, const po_line *line, const double shift[3], double to[3])
{
    bool any = false;
    for (int a = 0; a < 3; a++) {
        char c = (char)('X' + a);
        to[a] = s->pos[a];
        if (HAS(line, c) && !(line->bare & PO_LETTER(c))) {
            double v = VALUE(line, c) * s->unit;
            to[a] = s->absolute ? v + shift[a] : s->pos[a] + v;
            any = true;
        }
    }
    return any;
}

static void finish_move(po_state *s, const po_line *line, po_moves *out, const double to[3], double de, double length,
                        bool arc)
{
    bool xy = arc || to[0] != s->pos[0] || to[1] != s->pos[1];
    bool z = to[2] != s->pos[2];
    if (!xy && !z && de == 0) {
        return; /* changes nothing: no move */
    }
    unsigned kind = PO_MOVE_COUNTED | (arc ? PO_MOVE_ARC : 0u);
    if (xy || z) {
        kind |= xy && de > 0 ? PO_MOVE_BEAD : PO_MOVE_TRAVEL;
        if (s->first_out || !s->homed[0] || !s->homed[1]) {
            kind |= PO_MOVE_BLIND;
            s->first_out = s->first_out && !xy; /* a lift alone is still on the way out */
        }
        if (!(s->homed[0] && s->homed[1] && s->homed[2])) {
            check_homed(s, to, line->number);
        }
    } else {
        kind |= PO_MOVE_FEED;
        length = 0;
    }
    if (de < 0) {
        kind |= PO_MOVE_RETRACT;
    }
    double feed = s->feed > 0 ? s->feed * s->speed_factor : -1;
    if (feed <= 0) {
        note_odd(s, PO_ODD_NO_FEED, line->number, 0, "");
    }
    emit(s, out, line->number, to, de, length, feed, kind);
}

static bool absurd(const po_line *line)
{
    for (uint32_t bits = line->has & ~line->bare; bits; bits &= bits - 1) {
        double v = line->value[__builtin_ctz(bits)];
        if (!(fabs(v) <= ABSURD_MM)) {
            return true;
        }
    }
    return false;
}

/* An arc in the XY plane: centre form (I J from the start) or radius form (R). */
static void arc(po_state *s, const po_line *line, po_moves *out, bool clockwise, const double shift[3])
{
    double to[3];
    target(s, line, shift, to);
    double sx = s->pos[0], sy = s->pos[1];
    double chord_x = to[0] - sx, chord_y = to[1] - sy, chord = hypot(chord_x, chord_y);
    double cx, cy, r;
    double de = HAS(line, 'E') && !(line->bare & PO_LETTER('E')) ? advance(s, VALUE(line, 'E')) : 0;
    bool centre = HAS(line, 'I') || HAS(line, 'J');
    if (s->bad_plane) {
        note_odd(s, PO_ODD_BAD_ARC, line->number, 0,
                 s->bad_plane == 18 ? "an arc in the plane of G18 (XZ)" : "an arc in the plane of G19 (YZ)");
        finish_move(s, line, out, to, de, hypot(chord, to[2] - s->pos[2]), false);
        return;
    }
    if (centre) {
        double i = HAS(line, 'I') ? VALUE(line, 'I') * s->unit : 0, j = HAS(line, 'J') ? VALUE(line, 'J') * s->unit : 0;
        cx = sx + i;
        cy = sy + j;
        r = hypot(i, j);
        double r_end = hypot(to[0] - cx, to[1] - cy), off = fabs(r_end - r);
        if (r == 0 || off > fmax(ARC_MISMATCH_MM, ARC_MISMATCH_SHARE * r)) {
            char text[96];
            snprintf(text, sizeof text,
                     r == 0 ? "an arc whose centre is its start"
                            : "an arc with radius %.3f mm at its start and %.3f mm at its end",
                     r, r_end);
            note_odd(s, PO_ODD_BAD_ARC, line->number, off, text);
            if (r == 0) {
                finish_move(s, line, out, to, de, hypot(chord, to[2] - s->pos[2]), false);
                return;
            }
        }
    } else {
        double given = HAS(line, 'R') ? VALUE(line, 'R') * s->unit : 0;
        r = fabs(given);
        if (r == 0 || chord == 0 || chord > 2 * (r + ARC_MISMATCH_MM)) {
            note_odd(s, PO_ODD_BAD_ARC, line->number, fmax(0, chord / 2 - r),
                     r == 0       ? "an arc with neither I and J nor R"
                     : chord == 0 ? "an arc by radius that ends where it starts"
                                  : "an arc whose radius is too small for its end point");
            finish_move(s, line, out, to, de, hypot(chord, to[2] - s->pos[2]), false);
            return;
        }
        r = fmax(r, chord / 2);
        /* the centre lies on the bisector: to the left of the chord for the short counter-clockwise arc */
        double h = sqrt(fmax(0, r * r - chord * chord / 4));
        if (clockwise != (given < 0)) {
            h = -h;
        }
        cx = sx + chord_x / 2 - h * chord_y / chord;
        cy = sy + chord_y / 2 + h * chord_x / chord;
    }
    double a0 = atan2(sy - cy, sx - cx), a1 = atan2(to[1] - cy, to[0] - cx), turn = a1 - a0;
    bool full = chord == 0 && centre;
    if (full) {
        turn = clockwise ? -2 * M_PI : 2 * M_PI;
    } else if (clockwise && turn >= 0) {
        turn -= 2 * M_PI;
    } else if (!clockwise && turn <= 0) {
        turn += 2 * M_PI;
    }
    double flat = r * fabs(turn), dz = to[2] - s->pos[2], length = hypot(flat, dz);
    if (!(length > 0)) {
        finish_move(s, line, out, to, de, 0, false);
        return;
    }
    size_t k = out->n_arcs, before = out->n;
    double sign = turn < 0 ? -1 : 1, share = flat / length;
    finish_move(s, line, out, to, de, length, true);
    if (out->n > before) {
        po_arc_ends *ends = &out->arcs[k];
        ends->radius = r;
        ends->start[0] = -sign * sin(a0) * share;
        ends->start[1] = sign * cos(a0) * share;
        ends->end[0] = -sign * sin(a0 + turn) * share;
        ends->end[1] = sign * cos(a0 + turn) * share;
        ends->start[2] = ends->end[2] = dz / length;
        out->shapes[k].cx = cx;
        out->shapes[k].cy = cy;
        out->shapes[k].turn = turn;
        out->n_arcs++;
    }
}

static void straight(po_state *s, const po_line *line, po_moves *out, const double shift[3])
{
    double to[3];
    target(s, line, shift, to);
    double de = HAS(line, 'E') && !(line->bare & PO_LETTER('E')) ? advance(s, VALUE(line, 'E')) : 0;
    double dx = to[0] - s->pos[0], dy = to[1] - s->pos[1], dz = to[2] - s->pos[2];
    finish_move(s, line, out, to, de, sqrt(dx * dx + dy * dy + dz * dz), false);
}

static void move(po_state *s, const po_line *line, po_moves *out, bool machine_coordinates)
{
    static const double none[3] = {0, 0, 0};
    const double *shift = machine_coordinates ? none : s->shift;
    s->n_motion_words++;
    if (s->motion >= 2 && (HAS(line, 'X') || HAS(line, 'Y') || HAS(line, 'I') || HAS(line, 'J') || HAS(line, 'R'))) {
        arc(s, line, out, s->motion == 2, shift);
    } else {
        straight(s, line, out, shift);
    }
}

static void home(po_state *s, const po_line *line, po_moves *out)
{
    unsigned axes = 0;
    for (int a = 0; a < 3; a++) {
        axes |= HAS(line, 'X' + a) ? 1u << a : 0u;
    }
    axes = axes ? axes : 7;
    po_event *ev = po_state_event(s, out, PO_EV_HOME, line->number);
    ev->bits = (uint8_t)axes;
    ev->value = s->reading.home_seconds * (double)__builtin_popcount(axes) / 3;
    for (int a = 0; a < 3; a++) {
        if (axes & 1u << a) {
            s->pos[a] = s->reading.home[a];
            s->shift[a] = 0;
            s->homed[a] = true;
        }
    }
    s->first_out = true;
    s->homed_said = true;
    s->n_motion_words++;
    out->closed = true; /* the next block begins at home: displacement between blocks is not a move */
}

static void firmware_retract(po_state *s, const po_line *line, po_moves *out, bool back)
{
    s->n_motion_words++;
    if (back == s->retracted) {
        return; /* a second G10 in a row does nothing; nor does G11 without one */
    }
    s->retracted = back;
    if (s->tool < 0) {
        return;
    }
    const po_reading *r = &s->reading;
    double de = back ? -r->retract_mm : r->retract_mm + r->retract_extra_mm;
    if (de != 0) {
        emit(s, out, line->number, s->pos, de, 0, r->retract_mm_s, PO_MOVE_FEED | (back ? PO_MOVE_RETRACT : 0u));
        s->net_if_follows += de;
        s->net_if_not += de;
    }
}

static void set_position(po_state *s, const po_line *line)
{
    bool all = !(line->has & (PO_LETTER('X') | PO_LETTER('Y') | PO_LETTER('Z') | PO_LETTER('E')));
    for (int a = 0; a < 3; a++) {
        if (all || HAS(line, 'X' + a)) {
            double v = HAS(line, 'X' + a) && !(line->bare & PO_LETTER('X' + a)) ? VALUE(line, 'X' + a) * s->unit : 0;
            s->shift[a] = s->pos[a] - v;
        }
    }
    if (all || HAS(line, 'E')) {
        double v = HAS(line, 'E') && !(line->bare & PO_LETTER('E')) ? VALUE(line, 'E') * s->unit : 0;
        s->e = s->e_if_follows = s->e_if_not = v;
    }
}

static void dwell(po_state *s, const po_line *line, po_moves *out)
{
    const uint32_t there = line->has & ~line->bare;
    double seconds = there & PO_LETTER('S') ? VALUE(line, 'S') : there & PO_LETTER('P') ? VALUE(line, 'P') / 1000 : 0;
    po_state_event(s, out, PO_EV_DWELL, line->number)->value = seconds > 0 ? seconds : 0;
}

static void g_word(po_state *s, const po_line *line, const po_code *code, po_moves *out, bool *machine_coordinates)
{
    int g = code->number;
    switch (g * 10 + code->tenth) {
    case 0:
    case 10:
    case 20:
    case 30:
        s->motion = g;
        break;
    case 40:
        dwell(s, line, out);
        break;
    case 100:
        if (line->has &
            (PO_LETTER('P') | PO_LETTER('L') | PO_LETTER('X') | PO_LETTER('Y') | PO_LETTER('Z') | PO_LETTER('R'))) {
            if (HAS(line, 'S') && HAS(line, 'P')) {
                po_state_nozzle(s, line, out, false, 'P');
            }
        } else {
            firmware_retract(s, line, out, true);
        }
        break;
    case 110:
        firmware_retract(s, line, out, false);
        break;
    case 170:
        s->bad_plane = 0;
        break;
    case 180:
    case 190:
        s->bad_plane = g;
        break;
    case 200:
    case 210:
        s->unit = g == 20 ? 25.4 : 1;
        s->units_said = true;
        break;
    case 280: /* last on its line: other_line */
        break;
    case 290:
        po_state_event(s, out, PO_EV_PROBE, line->number)->value = s->reading.probe_seconds;
        s->probed = true;
        break;
    case 530:
        *machine_coordinates = true;
        break;
    case 900:
    case 910:
        s->absolute = g == 90;
        s->e_absolute_if_follows = s->absolute;
        s->e_absolute = s->reading.e_follows_g90 ? s->absolute : s->e_absolute_if_not;
        s->mode_said = true;
        break;
    case 920:
        set_position(s, line);
        break;
    case 921:
    case 922:
        s->shift[0] = s->shift[1] = s->shift[2] = 0;
        break;
    default:
        if (!po_word_is_harmless('G', g)) {
            char word[12];
            snprintf(word, sizeof word, code->tenth ? "G%d.%d" : "G%d", g, code->tenth);
            po_word_note(&s->unknown, word, line->number, s->pos);
        }
    }
}

static const char *damage_text(po_damage damage)
{
    switch (damage) {
    case PO_DAMAGE_NUMBER:
        return "a number that is not one";
    case PO_DAMAGE_TWICE:
        return "the same letter twice in one line";
    case PO_DAMAGE_NUL:
        return "a NUL byte";
    case PO_DAMAGE_CHECKSUM:
        return "a checksum that does not agree";
    case PO_DAMAGE_BYTE:
        return "a character that does not belong there";
    case PO_DAMAGE_COMMENT:
        return "a comment that does not close";
    case PO_DAMAGE_CODE:
        return "a G, M or T word without a usable number";
    case PO_DAMAGE_LONG:
        return "a line without end";
    case PO_DAMAGE_NONE:
        break;
    }
    return "damage";
}

static void other_line(po_state *s, const po_line *line, po_moves *out)
{
    if (line->damage) {
        note_odd(s, PO_ODD_DAMAGED, line->number, 0, damage_text(line->damage));
        return;
    }
    if (s->ended) {
        return;
    }
    if (absurd(line)) {
        note_odd(s, PO_ODD_DAMAGED, line->number, 0, "a number beyond all measure");
        return;
    }
    if (HAS(line, 'F') && !(line->bare & PO_LETTER('F'))) {
        s->feed = VALUE(line, 'F') * s->unit / 60;
    }
    bool machine_coordinates = false, motion_word = false, other = false, homes = false;
    /* units, distance mode and the like come before motion whatever their place on the line (NISTIR 6556, Table 8) */
    for (int i = 0; i < line->n_codes; i++) {
        const po_code *code = &line->codes[i];
        if (code->letter == 'G') {
            g_word(s, line, code, out, &machine_coordinates);
            bool moves = code->number <= 3 && code->tenth == 0;
            motion_word |= moves;
            homes |= code->number == 28 && code->tenth == 0;
            other |= !moves && !(code->number == 53 || code->number == 90 || code->number == 91 || code->number == 20 ||
                                 code->number == 21 || code->number == 17 || code->number == 94);
        } else if (code->letter == 'M') {
            po_state_m_word(s, line, code, out);
            other = true;
        } else if (code->number != INT32_MIN) {
            int tool = code->number < 0 ? -1 : code->number > 99 ? 99 : code->number;
            if (tool != s->tool) {
                s->tool = tool;
                po_state_event(s, out, PO_EV_TOOL, line->number);
            }
        }
    }
    const uint32_t axes = PO_LETTER('X') | PO_LETTER('Y') | PO_LETTER('Z') | PO_LETTER('E') | PO_LETTER('I') |
                          PO_LETTER('J');
    /* G28 comes last, and the axes named are its own: motion waits for the next line (NISTIR 6556, 3.5, from memory) */
    if (homes) {
        home(s, line, out);
    } else if (motion_word || (!other && s->motion >= 0 && (line->has & axes))) {
        move(s, line, out, machine_coordinates);
    }
}

/* A straight move as nearly all lines of a job are: nothing but X Y Z E F, all axes homed, a feed known. The same as the
 * long way by other_line; false: left to it, nothing was changed. Kept in single variables: arrays that are written by
 * elements and read as a whole would wait for their stores. */
static bool plain_move(po_state *s, const po_line *line, po_moves *out)
{
    const uint32_t has = line->has;
    const double unit = s->unit;
    const double px = s->pos[0], py = s->pos[1], pz = s->pos[2];
    double x = px, y = py, z = pz, de = 0, feed = s->feed;
    bool fine = true;
    if (has & PO_LETTER('X')) {
        const double v = VALUE(line, 'X') * unit;
        fine = fabs(v) <= ABSURD_MM;
        x = s->absolute ? v + s->shift[0] : px + v;
    }
    if (has & PO_LETTER('Y')) {
        const double v = VALUE(line, 'Y') * unit;
        fine &= fabs(v) <= ABSURD_MM;
        y = s->absolute ? v + s->shift[1] : py + v;
    }
    if (has & PO_LETTER('Z')) {
        const double v = VALUE(line, 'Z') * unit;
        fine &= fabs(v) <= ABSURD_MM;
        z = s->absolute ? v + s->shift[2] : pz + v;
    }
    if (has & PO_LETTER('F')) {
        fine &= fabs(VALUE(line, 'F')) <= ABSURD_MM;
        feed = VALUE(line, 'F') * unit / 60;
    }
    if (has & PO_LETTER('E')) {
        fine &= fabs(VALUE(line, 'E')) <= ABSURD_MM;
    }
    if (!fine || !(feed > 0)) {
        return false;
    }
    s->motion = line->codes[0].number;
    s->n_motion_words++;
    s->feed = feed;
    s->last_line = line->number;
    if (has & PO_LETTER('E')) {
        de = advance(s, VALUE(line, 'E'));
    }
    const double dx = x - px, dy = y - py, dz = z - pz;
    const bool xy = x != px || y != py, xyz = xy || z != pz;
    if (!xyz && de == 0) {
        return true; /* changes nothing: no move */
    }
    const size_t i = out->n++;
    out->dx[i] = dx;
    out->dy[i] = dy;
    out->dz[i] = dz;
    out->de[i] = de;
    out->x[i] = x;
    out->y[i] = y;
    out->z[i] = z;
    out->length[i] = sqrt(dx * dx + dy * dy + dz * dz);
    out->feed[i] = feed * s->speed_factor;
    out->line[i] = line->number;
    out->kind[i] = (uint8_t)(PO_MOVE_COUNTED | (de < 0 ? PO_MOVE_RETRACT : 0) |
                             (!xyz           ? PO_MOVE_FEED
                              : xy && de > 0 ? PO_MOVE_BEAD
                                             : PO_MOVE_TRAVEL));
    s->pos[0] = x;
    s->pos[1] = y;
    s->pos[2] = z;
    s->n_moves++;
    return true;
}

void po_state_line(po_state *s, const po_line *line, po_moves *out)
{
    if (line->n_codes == 1 && line->codes[0].letter == 'G' && (uint32_t)line->codes[0].number <= 1 && !line->damage &&
        !line->codes[0].tenth && !line->bare && !s->ended && !out->closed && !s->first_out && s->homed[0] &&
        s->homed[1] && s->homed[2] && plain_move(s, line, out)) {
        return;
    }
    s->last_line = line->number;
    other_line(s, line, out);
}
