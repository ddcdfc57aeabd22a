/* What M words do: heat, fans, limits, tuning, and what a member's job should not hold. SPDX-License-Identifier: Apache-2.0
 *
 * The words are those that filament printers share (common practice, no published source); docs/measures.md,
 * "Interpreter", says which of them change what is measured. Nothing here judges: words are noted. */
#include <math.h>
#include <stdio.h>

#include "job/state_inside.h"

/* M201, M203, M204, M205: the machine's own limits are never exceeded; asking for more is noted. */
static void limit(po_state *s, double *now, double machine, double asked, const char *word, uint64_t line)
{
    if (!(asked > 0)) {
        return;
    }
    if (asked > machine * (1 + 1e-9)) {
        po_word_note(&s->loosens, word, line, s->pos);
        s->loosens_worst = fmax(s->loosens_worst, asked / machine);
    }
    *now = fmin(machine, asked);
}

static void limits_word(po_state *s, const po_line *line, int m, po_moves *out)
{
    static const char axes[] = "XYZE";
    char word[8];
    snprintf(word, sizeof word, "M%d", m);
    po_limits *l = &s->limits;
    const po_limits *machine = &s->machine_limits;
    const uint32_t there = line->has & ~line->bare;
    for (int a = 0; a < 4; a++) {
        if (!(there & PO_LETTER(axes[a]))) {
            continue;
        }
        double v = VALUE(line, axes[a]);
        if (m == 201) {
            limit(s, &l->accel_mm_s2[a], machine->accel_mm_s2[a], v, word, line->number);
        } else if (m == 203) {
            limit(s, &l->feed_mm_s[a], machine->feed_mm_s[a], v, word, line->number);
        } else if (m == 205 && machine->corner == PO_CORNER_STEP) {
            limit(s, &l->step_mm_s[a], machine->step_mm_s[a], v, word, line->number);
        }
    }
    if (m == 205 && (there & PO_LETTER('J')) && machine->corner == PO_CORNER_DEVIATION) {
        limit(s, &l->deviation_mm, machine->deviation_mm, VALUE(line, 'J'), word, line->number);
    }
    if (m == 204) {
        if (there & PO_LETTER('S')) {
            limit(s, &l->print_mm_s2, machine->print_mm_s2, VALUE(line, 'S'), word, line->number);
        }
        if (there & PO_LETTER('P')) {
            limit(s, &l->print_mm_s2, machine->print_mm_s2, VALUE(line, 'P'), word, line->number);
        }
        if (there & PO_LETTER('T')) {
            limit(s, &l->travel_mm_s2, machine->travel_mm_s2, VALUE(line, 'T'), word, line->number);
        }
        if (there & PO_LETTER('R')) {
            limit(s, &l->retract_mm_s2, machine->retract_mm_s2, VALUE(line, 'R'), word, line->number);
        }
    }
    po_state_event(s, out, PO_EV_LIMITS, line->number)->value = 0;
    out->closed = true; /* the lane gives the planner the new limits before the next block */
}

void po_state_nozzle(po_state *s, const po_line *line, po_moves *out, bool wait, char tool_letter)
{
    const uint32_t there = line->has & ~line->bare;
    int tool = s->tool;
    if (there & PO_LETTER(tool_letter)) {
        double t = VALUE(line, tool_letter);
        tool = t >= 0 && t < 100 ? (int)t : s->tool;
    }
    po_event *ev = po_state_event(s, out, PO_EV_NOZZLE, line->number);
    ev->tool = (int16_t)tool;
    ev->wait = wait;
    ev->value = there & PO_LETTER('S')                           ? VALUE(line, 'S')
                : (there & PO_LETTER('R')) && tool_letter == 'T' ? VALUE(line, 'R')
                                                                 : NAN;
    if (ev->value > 0 && tool > s->highest_tool_heated) {
        s->highest_tool_heated = tool;
    }
}

static void bed(po_state *s, const po_line *line, po_moves *out, bool wait)
{
    const uint32_t there = line->has & ~line->bare;
    po_event *ev = po_state_event(s, out, PO_EV_BED, line->number);
    ev->wait = wait;
    ev->value = there & PO_LETTER('S') ? VALUE(line, 'S') : there & PO_LETTER('R') ? VALUE(line, 'R') : NAN;
    s->bed_commanded = true;
}

static void fan(po_state *s, const po_line *line, po_moves *out, bool on)
{
    const uint32_t there = line->has & ~line->bare;
    if ((there & PO_LETTER('P')) && VALUE(line, 'P') != 0) {
        return; /* another fan than the one that cools the part */
    }
    double percent = on ? 100 : 0;
    if (on && (there & PO_LETTER('S'))) {
        double v = VALUE(line, 'S');
        percent = v > 0 && v < 1 ? v * 100 : v / 2.55; /* a few files count 0 to 1 (handbook 4.4) */
    }
    po_state_event(s, out, PO_EV_FAN, line->number)->value = fmin(fmax(percent, 0), 100);
}

static void hands(po_state *s, const po_line *line, po_moves *out, const char *word)
{
    po_event *ev = po_state_event(s, out, PO_EV_HANDS, line->number);
    snprintf(ev->word, sizeof ev->word, "%.7s", word);
    po_word_note(&s->hands, word, line->number, s->pos);
}

/* Words that every shop may meet and that change nothing which is measured here (common practice, no published source). */
bool po_word_is_harmless(char letter, int n)
{
    static const short g[] = {12, 27, 30, 31, 32, 33, 34, 35, 40, 49, 53, 54, 64, 80, 94, 98};
    static const short m[] = {6,   16,  17,  18,  20,  21,  22,  23,  24,  26,  27,  31,  36,  42,  73,
                              74,  75,  76,  77,  78,  80,  81,  84,  85,  105, 108, 110, 111, 113, 114,
                              115, 117, 118, 119, 120, 121, 122, 123, 125, 141, 145, 149, 150, 154, 155,
                              191, 211, 240, 260, 261, 280, 282, 290, 300, 355, 401, 402, 403, 407, 408,
                              412, 413, 414, 420, 423, 486, 503, 550, 555, 575, 602, 603, 862, 876, 928};
    const short *list = letter == 'G' ? g : m;
    size_t count = letter == 'G' ? sizeof g / sizeof *g : sizeof m / sizeof *m;
    for (size_t i = 0; i < count; i++) {
        if (list[i] == n) {
            return true;
        }
    }
    return false;
}

/* Words that store or reset settings, change steps or heater constants, update firmware, write or delete files. */
static bool stores(const po_line *line, int n)
{
    const uint32_t there = line->has & ~line->bare;
    switch (n) {
    case 28:
    case 29:
    case 32:
    case 38:
    case 471:
    case 500:
    case 501:
    case 502:
    case 504:
    case 928:
    case 997:
    case 303:
    case 428:
        return true;
    case 30: /* with a name it deletes that file; alone it is the end of the program (RS274/NGC) */
        return line->text && line->n_text > 0;
    case 92:
    case 206:
    case 301:
    case 304:
    case 305:
    case 307:
    case 350:
    case 569:
    case 665:
    case 666:
    case 669:
    case 851:
        return there != 0; /* without a value they only report */
    case 302:
        return ((there & PO_LETTER('P')) && VALUE(line, 'P') != 0) ||
               ((there & PO_LETTER('S')) && VALUE(line, 'S') < 150);
    default:
        return false;
    }
}

static void tune(po_state *s, const po_line *line, int m)
{
    const uint32_t there = line->has & ~line->bare;
    char word[12];
    snprintf(word, sizeof word, "M%d", m);
    if (m == 220 || m == 221) {
        double *factor = m == 220 ? &s->speed_factor : &s->flow_factor;
        if ((there & PO_LETTER('S')) && VALUE(line, 'S') > 0) {
            *factor = fmin(VALUE(line, 'S') / 100, 1e4);
        }
        return; /* whether it is left in force is seen at the end */
    }
    if (there) {
        po_word_note(&s->tunes, word, line->number, s->pos);
    }
}

void po_state_m_word(po_state *s, const po_line *line, const po_code *code, po_moves *out)
{
    int m = code->number;
    char word[12];
    snprintf(word, sizeof word, code->tenth ? "M%d.%d" : "M%d", m, code->tenth);
    if (stores(line, m)) {
        po_word_note(&s->stores, word, line->number, s->pos);
        return;
    }
    switch (m) {
    case 0:
    case 1:
    case 25:
    case 112:
    case 226:
    case 600:
    case 601:
        hands(s, line, out, word);
        break;
    case 2:
    case 30:
        s->ended = true;
        po_state_event(s, out, PO_EV_REST, line->number);
        break;
    case 18:
    case 84:
        if (!HAS(line, 'S')) { /* S sets the idle time only */
            po_state_event(s, out, PO_EV_MOTORS_OFF, line->number);
        }
        break;
    case 82:
    case 83:
        s->e_absolute = s->e_absolute_if_follows = s->e_absolute_if_not = m == 82;
        s->mode_said = true;
        break;
    case 104:
    case 109:
        po_state_nozzle(s, line, out, m == 109, 'T');
        break;
    case 568:
        po_state_nozzle(s, line, out, false, 'P');
        break;
    case 116: /* wait for all heaters */
        po_state_nozzle(s, line, out, true, 'T');
        bed(s, line, out, true);
        break;
    case 140:
    case 190:
        bed(s, line, out, m == 190);
        break;
    case 106:
    case 107:
        fan(s, line, out, m == 106);
        break;
    case 200: {
        double d = HAS(line, 'D') && !(line->bare & PO_LETTER('D')) ? VALUE(line, 'D') : s->reading.filament_mm;
        s->mm_per_e = d > 0 && d < 100 ? 1 / (M_PI / 4 * d * d) : 1;
        break;
    }
    case 201:
    case 203:
    case 204:
    case 205:
        limits_word(s, line, m, out);
        break;
    case 220:
    case 221:
    case 207:
    case 208:
    case 209:
    case 572:
    case 592:
    case 593:
    case 900:
    case 906:
    case 907:
    case 913:
    case 915:
        tune(s, line, m);
        break;
    case 400:
        po_state_event(s, out, PO_EV_REST, line->number);
        break;
    default:
        if (!po_word_is_harmless('M', m)) {
            po_word_note(&s->unknown, word, line->number, s->pos);
        }
    }
}
