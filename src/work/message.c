/* What members hear, from the shop's texts. SPDX-License-Identifier: Apache-2.0
 *
 * A text holds a run, a machine, a place and times, never a name: it stands in the book for good. */
#include "work/message.h"

#include <string.h>

enum { TEXT_MOST = 1000 }; /* what the book takes */

const char *work_message(const work_context *w, po_text_kind kind, const work_message_words *words)
{
    const struct {
        const char *word, *value, *unknown;
    } fills[] = {
        {"{run}", words->run, "of yours"},         {"{machine}", words->machine, "a machine"},
        {"{metres}", words->metres, "some"},       {"{place}", words->place, "of the desk"},
        {"{until}", words->until, "closing time"}, {"{time}", words->time, "a time the desk knows"},
        {"{number}", words->number, "of yours"},
    };
    if (!w->shop->outbox.on) {
        return NULL;
    }
    const char *out = "";
    for (const char *p = w->shop->outbox.texts[kind]; *p && out;) {
        size_t n = strcspn(p, "{");
        const char *value = NULL;
        out = po_arena_printf(w->arena, "%s%.*s", out, (int)n, p);
        p += n;
        for (size_t i = 0; *p && !value && i < sizeof fills / sizeof fills[0]; i++) {
            if (!strncmp(p, fills[i].word, strlen(fills[i].word))) {
                value = fills[i].value ? fills[i].value : fills[i].unknown;
                p += strlen(fills[i].word);
            }
        }
        if (*p == '{' && !value) { /* the shop file allows no other brace */
            value = "{";
            p++;
        }
        out = out && value ? po_arena_printf(w->arena, "%s%s", out, value) : out;
    }
    if (out && strlen(out) > TEXT_MOST) { /* cut where a character begins */
        size_t n = TEXT_MOST;
        while (((unsigned char)out[n] & 0xc0) == 0x80) {
            n--;
        }
        out = po_arena_printf(w->arena, "%.*s", (int)n, out);
    }
    return out;
}
