/* Words of a job file: see dialect.h. Checksums are the XOR of all bytes before the star, as handbook section 4.3 of the
 * trade has it. SPDX-License-Identifier: Apache-2.0 */
#include "dialect.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "section.h"

void words_done(words *w)
{
    free(w->text);
    w->text = NULL;
    w->n = w->room = 0;
}

static void put(words *w, const char *bytes, size_t n)
{
    if (w->n + n + 1 > w->room) {
        w->room = 2 * (w->n + n + 1) + 4096;
        w->text = demo_more(w->text, w->room, 1);
    }
    memcpy(w->text + w->n, bytes, n);
    w->n += n;
    w->text[w->n] = 0;
}

static void end_line(words *w)
{
    put(w, w->d->crlf ? "\r\n" : "\n", w->d->crlf ? 2 : 1);
}

void words_say(words *w, const char *format, ...)
{
    char raw[512], line[600];
    va_list args;
    va_start(args, format);
    vsnprintf(raw, sizeof raw, format, args);
    va_end(args);
    size_t n = 0;
    bool text = strncmp(raw, "M117", 4) == 0; /* free text stays as it is */
    for (const char *p = raw; *p; p++) {
        if (text || *p == ';' || *p == '(') {
            text = true;
        } else if (w->d->packed && *p == ' ') {
            continue;
        }
        line[n++] = w->d->lower_case && !text ? (char)tolower((unsigned char)*p) : *p;
    }
    line[n] = 0;
    if (w->d->numbered && raw[0] != ';' && raw[0] != '(' && !strchr(raw, ';')) {
        char sum_line[700];
        int m = snprintf(sum_line, sizeof sum_line, "N%ld %s", ++w->line_number, line);
        unsigned char sum = 0;
        for (int i = 0; i < m; i++) {
            sum ^= (unsigned char)sum_line[i];
        }
        m += snprintf(sum_line + m, sizeof sum_line - (size_t)m, "*%u", sum);
        put(w, sum_line, (size_t)m);
    } else {
        put(w, line, n);
    }
    end_line(w);
}

void words_note(words *w, const char *text)
{
    if (w->d->comments == 2) {
        words_say(w, "(%s)", text);
    } else if (w->d->comments) {
        words_say(w, "; %s", text);
    }
    if (w->d->blank_lines) {
        end_line(w);
    }
}

void words_feed(words *w, double feed_mm_s)
{
    w->feed = feed_mm_s;
}

static double length_out(const words *w, double mm)
{
    return w->d->inch ? mm / 25.4 : mm;
}

static int put_axis(const words *w, char *p, size_t room, char letter, double mm)
{
    double v = length_out(w, mm);
    int decimals = w->d->inch ? 5 : 3;
    double rounded = round(v * pow(10, decimals)) / pow(10, decimals);
    return snprintf(p, room, " %c%.*f", letter, decimals, rounded == 0 ? 0.0 : rounded);
}

/* The E word for an advance of e, rounding carried on so that the sum never drifts. */
static int put_e(words *w, char *p, size_t room, double e)
{
    int decimals = w->d->inch ? 7 : 5;
    double scale = pow(10, decimals), unit = w->d->inch ? 25.4 : 1;
    w->e_asked += e;
    w->pushed += e;
    double said = round(w->e_asked / unit * scale) / scale * unit;
    double value = w->d->e_absolute ? said : said - w->e_said;
    w->e_said = said;
    value = round(value / unit * scale) / scale;
    return snprintf(p, room, " E%.*f", decimals, value == 0 ? 0.0 : value);
}

static int put_feed(words *w, char *p, size_t room, double mm_s)
{
    double f = round(mm_s * 60);
    if (fabs(f - w->feed * 60) < 0.5) {
        return 0;
    }
    w->feed = f / 60;
    return w->d->inch ? snprintf(p, room, " F%.3f", f / 25.4) : snprintf(p, room, " F%.0f", f);
}

static void move(words *w, const char *word, double x, double y, double z, const double *centre, bool push, double e,
                 double mm_s)
{
    char line[200];
    int n = snprintf(line, sizeof line, "%s", word);
    if (fabs(x - w->x) > 1e-6 || fabs(y - w->y) > 1e-6 || centre) {
        n += put_axis(w, line + n, sizeof line - (size_t)n, 'X', x);
        n += put_axis(w, line + n, sizeof line - (size_t)n, 'Y', y);
    }
    if (fabs(z - w->z) > 1e-6) {
        n += put_axis(w, line + n, sizeof line - (size_t)n, 'Z', z);
    }
    if (centre) {
        n += put_axis(w, line + n, sizeof line - (size_t)n, 'I', centre[0]);
        n += put_axis(w, line + n, sizeof line - (size_t)n, 'J', centre[1]);
    }
    if (push) {
        n += put_e(w, line + n, sizeof line - (size_t)n, e);
    }
    put_feed(w, line + n, sizeof line - (size_t)n, mm_s);
    words_say(w, "%s", line);
    w->x = x;
    w->y = y;
    w->z = z;
}

static double to_grid(double mm)
{
    return round(mm * 1000) / 1000;
}

void words_travel(words *w, double x, double y, double z)
{
    x = to_grid(x);
    y = to_grid(y);
    z = to_grid(z);
    bool flat = fabs(x - w->x) > 1e-6 || fabs(y - w->y) > 1e-6;
    if (flat || fabs(z - w->z) > 1e-6) {
        move(w, "G0", x, y, z, NULL, false, 0, flat ? w->d->travel_mm_s : 10);
    }
}

void words_bead(words *w, double x, double y, double z, double e, double mm_s)
{
    x = to_grid(x);
    y = to_grid(y);
    if (fabs(x - w->x) > 1e-6 || fabs(y - w->y) > 1e-6) {
        move(w, "G1", x, y, to_grid(z), NULL, true, e, mm_s);
    }
}

void words_arc(words *w, bool clockwise, double x, double y, double cx, double cy, double e, double mm_s)
{
    double centre[2] = {cx - w->x, cy - w->y};
    move(w, clockwise ? "G2" : "G3", to_grid(x), to_grid(y), w->z, centre, true, e, mm_s);
}

void words_push(words *w, double e, double mm_s)
{
    move(w, "G1", w->x, w->y, w->z, NULL, true, e, mm_s);
}

void words_retract(words *w)
{
    if (w->retracted) {
        return;
    }
    w->retracted = true;
    if (w->d->firmware_retract) {
        words_say(w, "G10");
    } else {
        words_push(w, -w->d->retract_mm, w->d->retract_mm_s);
    }
    if (w->d->hop_mm > 0) {
        words_travel(w, w->x, w->y, w->z + w->d->hop_mm);
    }
}

void words_unretract(words *w)
{
    if (!w->retracted) {
        return;
    }
    w->retracted = false;
    if (w->d->firmware_retract) {
        words_say(w, "G11");
    } else {
        words_push(w, w->d->retract_mm, w->d->retract_mm_s);
    }
    w->pushed = 0;
}

void words_reset_e(words *w)
{
    words_say(w, "G92 E0");
    w->e_asked = w->e_asked - w->e_said; /* what rounding still owes */
    w->e_said = 0;
}
