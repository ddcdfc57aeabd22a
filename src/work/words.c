/* Values of the book as words. SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "work/work.h"

static const char *or_empty(const char *text)
{
    return text ? text : "";
}

const char *work_decimal(const work_context *w, int64_t value, int places, int least, const char *unit)
{
    uint64_t size = value < 0 ? 0 - (uint64_t)value : (uint64_t)value, each = 1;
    for (int i = 0; i < places; i++) {
        each *= 10;
    }
    const char *gap = *unit ? " " : "";
    if (places == 0) {
        return or_empty(po_arena_printf(w->arena, "%lld%s%s", (long long)value, gap, unit));
    }
    char *text = po_arena_printf(w->arena, "%s%llu.%0*llu", value < 0 ? "-" : "", (unsigned long long)(size / each),
                                 places, (unsigned long long)(size % each));
    if (!text) {
        return "";
    }
    size_t n = strlen(text), point = n - (size_t)places - 1;
    while (n > point + 1 + (size_t)least && text[n - 1] == '0') {
        text[--n] = 0;
    }
    if (n == point + 1) {
        text[--n] = 0;
    }
    return or_empty(po_arena_printf(w->arena, "%s%s%s", text, gap, unit));
}

static int64_t rounded(int64_t value, int64_t to)
{
    return value >= 0 ? (value + to / 2) / to : -((-value + to / 2) / to);
}

const char *work_metres(const work_context *w, int64_t um)
{
    return work_decimal(w, rounded(um, 10000), 2, 0, "m");
}

const char *work_grams(const work_context *w, int64_t mg)
{
    return work_decimal(w, rounded(mg, 100), 1, 0, "g");
}

static const char *moment_words(const work_context *w, int64_t ms, bool day_alone)
{
    static const char *const days[] = {"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"};
    static const char *const months[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                         "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    po_wall_time t, now;
    if (!work_wall(w, ms, &t, NULL) || !work_wall(w, w->now_ms, &now, NULL)) {
        return "";
    }
    bool today = t.date.year == now.date.year && t.date.month == now.date.month && t.date.day == now.date.day;
    char year[16] = "";
    if (t.date.year != now.date.year) {
        snprintf(year, sizeof year, " %d", t.date.year);
    }
    if (today && !day_alone) {
        return or_empty(po_arena_printf(w->arena, "%02d:%02d", t.minute / 60, t.minute % 60));
    }
    const char *day = or_empty(po_arena_printf(w->arena, "%s %d %s%s", days[po_weekday(t.date)], t.date.day,
                                               months[(t.date.month + 11) % 12], year));
    return day_alone ? day : or_empty(po_arena_printf(w->arena, "%s %02d:%02d", day, t.minute / 60, t.minute % 60));
}

const char *work_time_words(const work_context *w, int64_t ms)
{
    return moment_words(w, ms, false);
}

const char *work_day_words(const work_context *w, int64_t ms)
{
    return moment_words(w, ms, true);
}

const char *work_until_words(const work_context *w, int64_t ms)
{
    po_wall_time t;
    bool midnight = work_wall(w, ms, &t, NULL) && t.minute == 0;
    return midnight ? moment_words(w, ms - 1, true) : moment_words(w, ms, false);
}

const char *work_span_words(const work_context *w, int64_t seconds)
{
    int64_t minutes = rounded(seconds, 60);
    return or_empty(seconds < 60 ? po_arena_printf(w->arena, "%lld s", (long long)seconds)
                                 : po_arena_printf(w->arena, "%lld:%02lld h", (long long)(minutes / 60),
                                                   (long long)(minutes % 60)));
}

const char *work_clean(const work_context *w, const char *text)
{
    char *clean = text ? po_arena_text(w->arena, text) : NULL;
    for (char *p = clean; p && *p; p++) { /* what others typed must not steer a terminal */
        *p = (unsigned char)*p < 0x20 || *p == 0x7f ? '?' : *p;
    }
    return or_empty(clean);
}

int work_minor_places(const po_shop *shop)
{
    const char *currency = shop->currency;
    /* ISO 4217: these have none, three; all others of common use have two */
    static const char *const none[] = {"JPY", "KRW", "CLP", "ISK", "VND", "XAF", "XOF", "XPF", "PYG", "UGX", "RWF"};
    static const char *const three[] = {"BHD", "KWD", "OMR", "TND", "JOD", "IQD", "LYD"};
    for (size_t i = 0; currency && i < sizeof none / sizeof none[0]; i++) {
        if (!strcmp(currency, none[i])) {
            return 0;
        }
    }
    for (size_t i = 0; currency && i < sizeof three / sizeof three[0]; i++) {
        if (!strcmp(currency, three[i])) {
            return 3;
        }
    }
    return 2;
}
