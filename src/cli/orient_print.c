/* Ways up as a table and as JSON. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "orient.h"

/* "+z", "-x", or three numbers: where the part's own axes end up. */
static const char *up_words(const po_pose *pose, char *text, size_t room)
{
    static const char *const axes[3][2] = {{"+x", "-x"}, {"+y", "-y"}, {"+z", "-z"}};
    for (int k = 0; k < 3; k++) {
        double u = pose->turn[3 * k + 2];
        if (fabs(u) == 1) {
            return axes[k][u < 0];
        }
    }
    snprintf(text, room, "%.2f %.2f %.2f", pose->turn[2], pose->turn[5], pose->turn[8]);
    return text;
}

/* Bytes of text come from files: a control character must not steer the terminal. */
static void put_safe(const char *text)
{
    for (; *text; text++) {
        putchar((unsigned char)*text < 0x20 || *text == 0x7f ? '?' : *text);
    }
}

static void print_machines(const orient *o, const po_fit *fits)
{
    size_t n = 0, at = 0;
    for (size_t m = 0; m < o->shop->n_machines; m++) {
        n += fits[m].turned || fits[m].as_is;
    }
    if (n == o->shop->n_machines) {
        fputs(n == 1 ? o->shop->machines[0].name : "all", stdout);
        return;
    }
    if (n == 0) {
        fputs("none", stdout);
    }
    for (size_t m = 0; m < o->shop->n_machines; m++) {
        if (fits[m].turned || fits[m].as_is) {
            printf("%s%s", at++ ? ", " : "", fits[m].machine->name);
        }
    }
}

static void print_item(const orient *o, const orient_item *item)
{
    bool falls = false, beaten = false;
    const char *money = o->shop->currency && *o->shop->currency ? o->shop->currency : "cost";
    printf("  no  up (part's axes)    high  layers  support  clean  bridge  tips at  machine  hand  %6.6s  fits\n",
           money);
    printf("                            mm              cm3    cm2      mm      deg      min   min\n");
    for (size_t i = 0; i < item->n_poses; i++) {
        const po_pose *p = &item->poses[i];
        char text[48], tip[16];
        snprintf(tip, sizeof tip, p->stands ? "%.0f" : "falls", p->tip_deg);
        printf("%c %2zu  %-16s  %6.1f  %6d  %7.1f  %5.1f  %6.1f  %7s  %7.0f  %4.0f  %6.2f  ",
               p->best_in_something ? '*' : ' ', i + 1, up_words(p, text, sizeof text), p->size_mm[2], p->layers,
               p->support_open_mm3 / 1000, p->overhang_open_mm2 / 100, p->longest_bridge_mm, tip, p->minutes_machine,
               p->minutes_hand, p->cost);
        print_machines(o, item->fits + i * o->shop->n_machines);
        fputc('\n', stdout);
        bool shown = !orient_can_choose(o, item, i);
        printf("      %s%s\n",
               shown              ? "as it lies now, for comparison: it does not keep the face down: "
               : i == item->as_is ? "as it lies now: "
                                  : "",
               p->why);
        falls |= !p->stands;
        beaten |= !p->best_in_something && !shown;
    }
    if (beaten) {
        fputs("  * no other way up beats it in everything\n", stdout);
    }
    if (falls) {
        fputs("  falls: its centre of mass is not above its foothold; props are counted in the cost\n", stdout);
    }
    if (!item->facts.watertight) {
        fputs("  ! its surface is not closed: volumes and what lies inside are guesses; proveout check says more\n",
              stdout);
    }
}

void orient_print_text(const orient *o, const char *path, const po_part *part, const orient_item *items, size_t n)
{
    put_safe(path);
    printf(": ways up in %s, layers of %.4g mm", o->material->name, o->setup.layer_mm);
    if (o->setup.load_known) {
        printf(", pulled along %.4g %.4g %.4g", o->setup.load[0], o->setup.load[1], o->setup.load[2]);
    }
    fputs("\n", stdout);
    for (size_t i = 0; i < n; i++) {
        const double(*b)[3] = (const double(*)[3])items[i].facts.bounds_mm;
        if (n > 1 || items[i].times > 1) {
            printf("\nItem %u", items[i].build_item);
            if (items[i].name) {
                fputs(", ", stdout);
                put_safe(items[i].name);
            }
            if (items[i].times > 1) {
                printf(", %zu times", items[i].times);
            }
            fputc('\n', stdout);
        }
        double side = fmax(b[1][0] - b[0][0], fmax(b[1][1] - b[0][1], b[1][2] - b[0][2]));
        printf("As drawn: %.1f x %.1f x %.1f mm, %.1f cm3\n\n", b[1][0] - b[0][0], b[1][1] - b[0][1], b[1][2] - b[0][2],
               items[i].facts.volume_mm3 / 1000);
        print_item(o, &items[i]);
        if (side < (part->unit ? 1 : 5) || side > 2000) {
            printf("  ! its largest side is %.3g mm: was it drawn in another unit? proveout check says more\n", side);
        }
    }
    if (o->out) {
        fputs("\nWritten: ", stdout);
        put_safe(o->out);
        fputc('\n', stdout);
    }
}

static void json_numbers(cli_json *j, const char *key, const double *values, int n)
{
    cli_json_open(j, key, '[');
    for (int i = 0; i < n; i++) {
        cli_json_number(j, NULL, values[i]);
    }
    cli_json_close(j, ']');
}

static void json_pose(cli_json *j, const orient *o, const orient_item *item, size_t i)
{
    const po_pose *p = &item->poses[i];
    double up[3] = {p->turn[2], p->turn[5], p->turn[8]};
    cli_json_open(j, NULL, '{');
    cli_json_number(j, "number", (double)(i + 1));
    cli_json_bool(j, "as_it_lies", i == item->as_is);
    json_numbers(j, "up", up, 3);
    json_numbers(j, "turn", p->turn, 9);
    json_numbers(j, "size_mm", p->size_mm, 3);
    cli_json_number(j, "layers", p->layers);
    cli_json_number(j, "foothold_mm2", p->foothold_mm2);
    cli_json_number(j, "footholds", p->footholds);
    cli_json_number(j, "overhang_mm2", p->overhang_mm2);
    cli_json_number(j, "overhang_open_mm2", p->overhang_open_mm2);
    cli_json_number(j, "support_mm3", p->support_mm3);
    cli_json_number(j, "support_open_mm3", p->support_open_mm3);
    cli_json_number(j, "longest_bridge_mm", p->longest_bridge_mm);
    cli_json_bool(j, "stands", p->stands);
    cli_json_number(j, "tip_deg", p->tip_deg);
    cli_json_bool(j, "brim", p->brim);
    cli_json_number(j, "steps_mm2", p->steps_mm2);
    cli_json_number(j, "across_layers", p->across_layers);
    cli_json_number(j, "minutes_machine", p->minutes_machine);
    cli_json_number(j, "minutes_hand", p->minutes_hand);
    cli_json_number(j, "cost", p->cost);
    cli_json_bool(j, "best_in_something", p->best_in_something);
    if (o->keep) {
        cli_json_bool(j, "keeps_face", orient_can_choose(o, item, i));
    }
    cli_json_open(j, "fits", '[');
    for (size_t m = 0; m < o->shop->n_machines; m++) {
        const po_fit *fit = &item->fits[i * o->shop->n_machines + m];
        cli_json_open(j, NULL, '{');
        cli_json_text(j, "machine", fit->machine->name);
        cli_json_bool(j, "as_is", fit->as_is);
        cli_json_bool(j, "turned", fit->turned);
        cli_json_number(j, "turn_deg", fit->turn_deg);
        cli_json_close(j, '}');
    }
    cli_json_close(j, ']');
    cli_json_text(j, "why", p->why);
    cli_json_close(j, '}');
}

void orient_print_json(const orient *o, const char *path, const po_part *part, const orient_item *items, size_t n)
{
    cli_json stream = {.out = stdout}, *j = &stream;
    cli_json_open(j, NULL, '{');
    cli_json_text(j, "format", "proveout/poses/1");
    cli_json_text(j, "file", path);
    cli_json_text(j, "sha256", part->sha256);
    cli_json_number(j, "bytes", (double)part->bytes);
    cli_json_text(j, "material", o->material->name);
    cli_json_text(j, "recipe", o->recipe ? o->recipe->name : NULL);
    cli_json_number(j, "layer_mm", o->setup.layer_mm);
    cli_json_text(j, "currency", o->shop->currency && *o->shop->currency ? o->shop->currency : NULL);
    if (o->setup.load_known) {
        json_numbers(j, "load", o->setup.load, 3);
    }
    cli_json_open(j, "items", '[');
    for (size_t i = 0; i < n; i++) {
        cli_json_open(j, NULL, '{');
        cli_json_number(j, "build_item", items[i].build_item);
        cli_json_text(j, "name", items[i].name);
        cli_json_number(j, "times", (double)items[i].times);
        cli_json_bool(j, "watertight", items[i].facts.watertight);
        cli_json_number(j, "volume_mm3", items[i].facts.volume_mm3);
        cli_json_number(j, "as_it_lies", (double)(items[i].as_is + 1));
        cli_json_open(j, "poses", '[');
        for (size_t k = 0; k < items[i].n_poses; k++) {
            json_pose(j, o, &items[i], k);
        }
        cli_json_close(j, ']');
        cli_json_close(j, '}');
    }
    cli_json_close(j, ']');
    cli_json_text(j, "written", o->out);
    cli_json_close(j, '}');
    fputc('\n', stdout);
}
