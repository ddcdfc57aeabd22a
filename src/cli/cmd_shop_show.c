/* proveout shop show: what was understood of a shop file. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "cli.h"

static const char *const days[] = {"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"};
static const char *const axes[] = {"x", "y", "z", "e"};

/* ---- tables ---- */

/* Display width, one column a character; then blanks up to n. */
static void pad(const char *text, int n)
{
    int columns = 0;
    for (const char *p = text; *p; p++) {
        columns += ((unsigned char)*p & 0xc0) != 0x80;
    }
    printf("%s%*s", text, columns < n ? n - columns : 0, "");
}

static int widest(const char *(*name)(const po_shop *, size_t), const po_shop *shop, size_t n, int least)
{
    for (size_t i = 0; i < n; i++) {
        int columns = 0;
        for (const char *p = name(shop, i); *p; p++) {
            columns += ((unsigned char)*p & 0xc0) != 0x80;
        }
        least = columns > least ? columns : least;
    }
    return least;
}

static const char *machine_name(const po_shop *shop, size_t i)
{
    return shop->machines[i].name;
}

static const char *material_name(const po_shop *shop, size_t i)
{
    return shop->materials[i].name;
}

static const char *permission_name(const po_shop *shop, size_t i)
{
    return shop->permissions[i].name;
}

static const char *recipe_name(const po_shop *shop, size_t i)
{
    return shop->recipes[i].name;
}

static void show_machines(const po_shop *shop)
{
    int width = widest(machine_name, shop, shop->n_machines, 7);
    printf("\nMachines\n  ");
    pad("machine", width);
    puts("  bed mm      high  nozzles mm  to C  bed to C  mm3/s  materials, permission");
    for (size_t i = 0; i < shop->n_machines; i++) {
        const po_machine *m = &shop->machines[i];
        char bed[40], nozzles[96] = "", melts[96] = "";
        snprintf(bed, sizeof bed, m->round_bed ? "round %.5g" : "%.5g x %.5g", m->bed_mm[0], m->bed_mm[1]);
        double hottest = 0;
        for (size_t k = 0; k < m->n_nozzles; k++) {
            size_t at = strlen(nozzles), from = strlen(melts);
            snprintf(nozzles + at, sizeof nozzles - at, "%s%.4g", k ? " " : "", m->nozzles[k].diameter_mm);
            snprintf(melts + from, sizeof melts - from, "%s%.4g", k ? " " : "", m->nozzles[k].melt_mm3_s);
            hottest = m->nozzles[k].hottest_c > hottest ? m->nozzles[k].hottest_c : hottest;
        }
        fputs("  ", stdout);
        pad(m->name, width);
        printf("  %-10s  %4.5g  %-10s  %4.4g  %8.4g  %-5s  ", bed, m->height_mm, nozzles, hottest, m->bed_hottest_c,
               melts);
        for (size_t k = 0; k < m->n_materials; k++) {
            printf("%s%s", k ? " " : "", shop->materials[m->materials[k]].name);
        }
        printf(", %s\n", m->permission ? m->permission : "anybody");
    }
}

static void show_materials(const po_shop *shop)
{
    int width = widest(material_name, shop, shop->n_materials, 8);
    printf("\nMaterials\n  ");
    pad("material", width);
    puts("  g/cm3  mm    nozzle C  cold below  bed C    fan %    glass C  price/kg");
    for (size_t i = 0; i < shop->n_materials; i++) {
        const po_material *m = &shop->materials[i];
        char nozzle[32], bed[32], fan[32], price[32] = "-";
        snprintf(nozzle, sizeof nozzle, "%.4g-%.4g", m->nozzle_c.low, m->nozzle_c.high);
        snprintf(bed, sizeof bed, "%.4g-%.4g", m->bed_c.low, m->bed_c.high);
        snprintf(fan, sizeof fan, "%.4g-%.4g", m->fan_percent.low, m->fan_percent.high);
        if (m->price_per_kg > 0) {
            snprintf(price, sizeof price, "%.2f%s%s", m->price_per_kg, *shop->currency ? " " : "", shop->currency);
        }
        fputs("  ", stdout);
        pad(m->name, width);
        printf("  %5.4g  %-4.4g  %-8s  %10.4g  %-7s  %-7s  %7.4g  %s%s\n", m->density_g_cm3, m->diameter_mm, nozzle,
               m->cold_below_c, bed, fan, m->glass_c, price, m->house ? ", house material" : "");
    }
}

static void show_recipes(const po_shop *shop)
{
    if (!shop->n_recipes) {
        return;
    }
    int width = widest(recipe_name, shop, shop->n_recipes, 6);
    printf("\nRecipes\n  ");
    pad("recipe", width);
    puts("  layer mm  bead mm  walls  floors  roofs  fill %  walls mm/s  fill mm/s  first layer");
    for (size_t i = 0; i < shop->n_recipes; i++) {
        const po_recipe *r = &shop->recipes[i];
        fputs("  ", stdout);
        pad(r->name, width);
        printf("  %8.4g  %7.4g  %5d  %6d  %5d  %6.4g  %10.4g  %9.4g  %.4g mm at %.4g mm/s\n", r->layer_mm,
               r->bead_width_mm, r->walls, r->floors, r->roofs, r->fill_percent, r->wall_mm_s, r->fill_mm_s,
               r->first_layer_mm, r->first_layer_mm_s);
    }
}

static void show_dates(const po_dates *d)
{
    printf("%04d-%02d-%02d", d->from.year, d->from.month, d->from.day);
    if (memcmp(&d->from, &d->to, sizeof d->from) != 0) {
        printf(" to %04d-%02d-%02d", d->to.year, d->to.month, d->to.day);
    }
}

static void show_hours(const po_shop *shop)
{
    printf("\nDesk hours (%s)\n", shop->time_zone);
    for (int day = 0; day < 7; day++) {
        printf("  %-10s ", days[day]);
        for (size_t i = 0; i < shop->hours[day].n_spans; i++) {
            const po_span_minutes *s = &shop->hours[day].spans[i];
            printf(" %2d:%02d-%2d:%02d", s->from / 60, s->from % 60, s->to / 60, s->to % 60);
        }
        puts(shop->hours[day].n_spans ? "" : " nobody");
    }
    for (size_t i = 0; i < shop->n_closed; i++) {
        fputs("  closed      ", stdout);
        show_dates(&shop->closed[i]);
        puts("");
    }
    for (size_t i = 0; i < shop->n_terms; i++) {
        fputs("  term        ", stdout);
        show_dates(&shop->terms[i]);
        printf("  %s\n", shop->terms[i].name);
    }
}

static void show_causes(const char *before, const bool *causes)
{
    fputs(before, stdout);
    bool any = false;
    for (int i = 0; i < PO_CAUSE_COUNT; i++) {
        if (causes[i]) {
            printf("%s%s", any ? ", " : "", po_cause_name((po_run_cause)i));
            any = true;
        }
    }
    fputs(any ? "" : "no cause", stdout);
}

/* What the desk goes by around a run: failures, spools, shelf, tickets, files. */
static void show_desk_rules(const po_rules *r)
{
    show_causes("  a failed run counts after: ", r->counts_when_failed);
    show_causes("; its rerun goes first after: ", r->rerun_first);
    if (r->gap_check_days) {
        printf("\n  a gap check holds %d day%s", r->gap_check_days, r->gap_check_days == 1 ? "" : "s");
    } else {
        fputs("\n  a gap check holds until something changes on the machine", stdout);
    }
    printf("; %.4g g stay on a spool, below %.5g g it is running out\n", r->spool_reserve_g, r->spool_low_g);
    printf(
        "  %d place%s on the shelf, a part is kept %d day%s; a ticket waits %d min for its member, who may let %d pass "
        "within %d day%s\n",
        r->shelf_places, r->shelf_places == 1 ? "" : "s", r->shelf_days, r->shelf_days == 1 ? "" : "s",
        r->ticket_claim_minutes, r->no_shows_most, r->no_show_days, r->no_show_days == 1 ? "" : "s");
    printf("  a proof is old after %d day%s; photos to %.4g MB, files and photos to %.6g GB in all\n", r->old_job_days,
           r->old_job_days == 1 ? "" : "s", r->photo_most_mb, r->attachments_most_gb);
}

static void show_permissions(const po_shop *shop)
{
    if (!shop->n_permissions) {
        return;
    }
    int width = widest(permission_name, shop, shop->n_permissions, 4);
    puts("\nPermissions");
    for (size_t i = 0; i < shop->n_permissions; i++) {
        const po_permission *p = &shop->permissions[i];
        fputs("  ", stdout);
        pad(p->name, width);
        if (p->lapses_months) {
            printf("  lapses after %d month%s", p->lapses_months, p->lapses_months == 1 ? "" : "s");
        } else {
            fputs(p->lapses_with_term ? "  lapses with the term" : "  never lapses", stdout);
        }
        for (size_t k = 0; k < p->n_implies; k++) {
            printf("%s%s", k ? ", " : "; implies ", p->implies[k]);
        }
        puts("");
    }
}

static void show_sticks(const po_shop *shop)
{
    int width = widest(machine_name, shop, shop->n_machines, 7);
    puts("\nSticks and panels");
    for (size_t i = 0; i < shop->n_machines; i++) {
        const po_machine *m = &shop->machines[i];
        fputs("  ", stdout);
        pad(m->name, width);
        if (m->stick_label || m->stick_mount) {
            printf("  stick %s%s%s", m->stick_label ? m->stick_label : "without a label", m->stick_mount ? " at " : "",
                   m->stick_mount ? m->stick_mount : "");
        } else {
            fputs("  no stick named", stdout);
        }
        printf("; its panel shows %d characters%s\n", m->panel_columns, m->panel_ascii ? ", ASCII only" : "");
    }
}

static void show_outbox(const po_shop *shop)
{
    static const char *const beyonds[] = {"no hand-out", "the member pays", "the shop gives it"};
    const po_outbox *o = &shop->outbox;
    printf("\nBook and outbox\n  book: %s\n  beyond allowance and waivers: %s\n  outbox: %s; command: %s\n",
           shop->ledger ? shop->ledger : "none named", beyonds[shop->beyond], o->on ? "on" : "off",
           o->command ? o->command : "none");
    for (int i = 0; i < PO_TEXT_COUNT; i++) {
        printf("  %-9s", po_text_kind_name((po_text_kind)i));
        size_t n = strlen(o->texts[i]);
        while (n && o->texts[i][n - 1] == '\n') {
            n--;
        }
        for (size_t k = 0; k < n; k++) { /* a text of several lines stays in its column */
            putchar(o->texts[i][k]);
            if (o->texts[i][k] == '\n') {
                printf("%11s", "");
            }
        }
        puts("");
    }
}

static void show_rules(const po_shop *shop)
{
    const po_rules *r = &shop->rules;
    printf("\nRules\n  watch at least %.4g min%s; collect below %.4g C of the bed\n", r->watch_minutes,
           r->watch_first_layer ? " and the first layer" : "", r->collect_below_bed_c);
    printf("  allowance %.6g m a run, %.6g m a term; the desk may waive %.6g m\n", r->allowance_m_per_run,
           r->allowance_m_per_term, r->desk_may_waive_m);
    printf("  longest run %.4g h; %s\n", r->longest_run_hours,
           r->may_end_unstaffed ? "a run may end when nobody is there" : "a run must end when somebody is there");
    printf("  overhang to %.4g degrees, bridges to %.4g mm, support gap %.4g mm, foothold from %.4g mm2, clearance "
           "%.4g mm\n",
           r->overhang_limit_deg, r->bridge_limit_mm, r->support_gap_mm, r->smallest_foothold_mm2, r->clearance_mm);
    printf("  ways up are priced at %.6g an hour of machine, %.6g a minute of hand, %.4g and %.4g min a cm2 of "
           "overhang and "
           "steps,\n  %.4g s a layer, supports %.4g %% full, %.6g for weak layers\n",
           r->machine_cost_h, r->hand_cost_min, r->clean_min_cm2, r->smooth_min_cm2, r->layer_change_s,
           r->support_fill_percent, r->weak_layers_cost);
    show_desk_rules(r);
    for (size_t i = 0; i < r->n_harmless_words; i++) {
        printf("%s%s%s", i ? ", " : "  harmless words: ", r->harmless_words[i],
               i + 1 == r->n_harmless_words ? "\n" : "");
    }
    for (size_t i = 0; i < r->n_grades; i++) {
        printf("  %s: %s\n", r->grades[i].finding, po_grade_name(r->grades[i].grade));
    }
}

/* ---- JSON: every value, under the names of the shop file ---- */

static void json_date(cli_json *j, const char *key, po_date d)
{
    char text[40];
    snprintf(text, sizeof text, "%04d-%02d-%02d", d.year, d.month, d.day);
    cli_json_text(j, key, text);
}

static void json_dates(cli_json *j, const char *key, const po_dates *list, size_t n)
{
    cli_json_open(j, key, '[');
    for (size_t i = 0; i < n; i++) {
        cli_json_open(j, NULL, '{');
        if (list[i].name) {
            cli_json_text(j, "name", list[i].name);
        }
        json_date(j, "from", list[i].from);
        json_date(j, "to", list[i].to);
        cli_json_close(j, '}');
    }
    cli_json_close(j, ']');
}

static void json_axes(cli_json *j, const char *key, const double *values, int n)
{
    cli_json_open(j, key, '{');
    for (int i = 0; i < n; i++) {
        cli_json_number(j, axes[i], values[i]);
    }
    cli_json_close(j, '}');
}

static void json_hours(cli_json *j, const po_shop *shop)
{
    cli_json_open(j, "hours", '{');
    for (int day = 0; day < 7; day++) {
        cli_json_open(j, days[day], '[');
        for (size_t i = 0; i < shop->hours[day].n_spans; i++) {
            const po_span_minutes *s = &shop->hours[day].spans[i];
            char text[48];
            snprintf(text, sizeof text, "%02d:%02d-%02d:%02d", s->from / 60, s->from % 60, s->to / 60, s->to % 60);
            cli_json_text(j, NULL, text);
        }
        cli_json_close(j, ']');
    }
    json_dates(j, "closed", shop->closed, shop->n_closed);
    cli_json_close(j, '}');
}

static void json_causes(cli_json *j, const char *key, const bool *causes)
{
    cli_json_open(j, key, '[');
    for (int i = 0; i < PO_CAUSE_COUNT; i++) {
        if (causes[i]) {
            cli_json_text(j, NULL, po_cause_name((po_run_cause)i));
        }
    }
    cli_json_close(j, ']');
}

static void json_desk_rules(cli_json *j, const po_rules *r)
{
    json_causes(j, "counts_when_failed", r->counts_when_failed);
    json_causes(j, "rerun_first", r->rerun_first);
    cli_json_number(j, "gap_check_days", r->gap_check_days);
    cli_json_number(j, "spool_reserve_g", r->spool_reserve_g);
    cli_json_number(j, "spool_low_g", r->spool_low_g);
    cli_json_number(j, "shelf_days", r->shelf_days);
    cli_json_number(j, "shelf_places", r->shelf_places);
    cli_json_number(j, "ticket_claim_minutes", r->ticket_claim_minutes);
    cli_json_number(j, "no_shows_most", r->no_shows_most);
    cli_json_number(j, "no_show_days", r->no_show_days);
    cli_json_number(j, "old_job_days", r->old_job_days);
    cli_json_number(j, "photo_most_mb", r->photo_most_mb);
    cli_json_number(j, "attachments_most_gb", r->attachments_most_gb);
}

static void json_outbox(cli_json *j, const po_outbox *outbox)
{
    cli_json_open(j, "outbox", '{');
    cli_json_text(j, "command", outbox->command);
    cli_json_bool(j, "on", outbox->on);
    cli_json_open(j, "texts", '{');
    for (int i = 0; i < PO_TEXT_COUNT; i++) {
        cli_json_text(j, po_text_kind_name((po_text_kind)i), outbox->texts[i]);
    }
    cli_json_close(j, '}');
    cli_json_close(j, '}');
}

static void json_permissions(cli_json *j, const po_shop *shop)
{
    cli_json_open(j, "permissions", '[');
    for (size_t i = 0; i < shop->n_permissions; i++) {
        const po_permission *p = &shop->permissions[i];
        cli_json_open(j, NULL, '{');
        cli_json_text(j, "name", p->name);
        cli_json_open(j, "implies", '[');
        for (size_t k = 0; k < p->n_implies; k++) {
            cli_json_text(j, NULL, p->implies[k]);
        }
        cli_json_close(j, ']');
        if (p->lapses_months) {
            cli_json_open(j, "lapses", '{');
            cli_json_number(j, "months", p->lapses_months);
            cli_json_close(j, '}');
        } else {
            cli_json_text(j, "lapses", p->lapses_with_term ? "term" : "never");
        }
        cli_json_close(j, '}');
    }
    cli_json_close(j, ']');
}

static void json_rules(cli_json *j, const po_shop *shop)
{
    const po_rules *r = &shop->rules;
    cli_json_open(j, "rules", '{');
    cli_json_number(j, "watch_minutes", r->watch_minutes);
    cli_json_bool(j, "watch_first_layer", r->watch_first_layer);
    cli_json_number(j, "collect_below_bed_c", r->collect_below_bed_c);
    cli_json_number(j, "allowance_m_per_run", r->allowance_m_per_run);
    cli_json_number(j, "allowance_m_per_term", r->allowance_m_per_term);
    cli_json_number(j, "desk_may_waive_m", r->desk_may_waive_m);
    cli_json_number(j, "longest_run_hours", r->longest_run_hours);
    cli_json_bool(j, "may_end_unstaffed", r->may_end_unstaffed);
    cli_json_number(j, "overhang_limit_deg", r->overhang_limit_deg);
    cli_json_number(j, "bridge_limit_mm", r->bridge_limit_mm);
    cli_json_number(j, "support_gap_mm", r->support_gap_mm);
    cli_json_number(j, "smallest_foothold_mm2", r->smallest_foothold_mm2);
    cli_json_number(j, "clearance_mm", r->clearance_mm);
    cli_json_number(j, "machine_cost_per_hour", r->machine_cost_h);
    cli_json_number(j, "hand_cost_per_minute", r->hand_cost_min);
    cli_json_number(j, "clean_min_per_cm2", r->clean_min_cm2);
    cli_json_number(j, "smooth_min_per_cm2", r->smooth_min_cm2);
    cli_json_number(j, "layer_change_s", r->layer_change_s);
    cli_json_number(j, "support_fill_percent", r->support_fill_percent);
    cli_json_number(j, "weak_layers_cost", r->weak_layers_cost);
    cli_json_number(j, "most_file_gb", (double)shop->most_file_bytes / 1e9);
    json_desk_rules(j, r);
    cli_json_open(j, "harmless_words", '[');
    for (size_t i = 0; i < r->n_harmless_words; i++) {
        cli_json_text(j, NULL, r->harmless_words[i]);
    }
    cli_json_close(j, ']');
    cli_json_open(j, "grades", '{');
    for (size_t i = 0; i < r->n_grades; i++) {
        cli_json_text(j, r->grades[i].finding, po_grade_name(r->grades[i].grade));
    }
    cli_json_close(j, '}');
    cli_json_close(j, '}');
}

static void json_materials(cli_json *j, const po_shop *shop)
{
    cli_json_open(j, "materials", '[');
    for (size_t i = 0; i < shop->n_materials; i++) {
        const po_material *m = &shop->materials[i];
        cli_json_open(j, NULL, '{');
        cli_json_text(j, "name", m->name);
        cli_json_number(j, "density_g_cm3", m->density_g_cm3);
        cli_json_number(j, "diameter", m->diameter_mm);
        cli_json_range(j, "nozzle_c", m->nozzle_c.low, m->nozzle_c.high);
        cli_json_number(j, "cold_below_c", m->cold_below_c);
        cli_json_range(j, "bed_c", m->bed_c.low, m->bed_c.high);
        cli_json_range(j, "fan_percent", m->fan_percent.low, m->fan_percent.high);
        cli_json_number(j, "glass_c", m->glass_c);
        cli_json_number(j, "shrink_percent", m->shrink_percent);
        cli_json_number(j, "price_per_kg", m->price_per_kg);
        cli_json_bool(j, "house", m->house);
        cli_json_close(j, '}');
    }
    cli_json_close(j, ']');
}

static void json_bed(cli_json *j, const po_machine *m)
{
    cli_json_open(j, "bed", '{');
    cli_json_text(j, "shape", m->round_bed ? "circle" : "rectangle");
    if (m->round_bed) {
        cli_json_number(j, "diameter", m->bed_mm[0]);
    } else {
        cli_json_number(j, "x", m->bed_mm[0]);
        cli_json_number(j, "y", m->bed_mm[1]);
    }
    cli_json_open(j, "keep_out", '[');
    for (size_t i = 0; i < m->n_keep_outs; i++) {
        cli_json_open(j, NULL, '{');
        cli_json_range(j, "x", m->keep_outs[i].x.low, m->keep_outs[i].x.high);
        cli_json_range(j, "y", m->keep_outs[i].y.low, m->keep_outs[i].y.high);
        cli_json_number(j, "below_z", m->keep_outs[i].below_z_mm);
        cli_json_close(j, '}');
    }
    cli_json_close(j, ']');
    cli_json_close(j, '}');
    cli_json_text(j, "origin", m->origin_centre ? "centre" : "corner");
    cli_json_number(j, "height", m->height_mm);
    cli_json_open(j, "reach", '{');
    for (int i = 0; i < 3; i++) {
        cli_json_range(j, axes[i], m->reach[i].low, m->reach[i].high);
    }
    cli_json_close(j, '}');
    json_axes(j, "home", m->home_mm, 3);
}

static void json_motion(cli_json *j, const po_limits *l)
{
    cli_json_open(j, "motion", '{');
    json_axes(j, "feed_mm_s", l->feed_mm_s, 4);
    json_axes(j, "accel_mm_s2", l->accel_mm_s2, 4);
    cli_json_number(j, "print_mm_s2", l->print_mm_s2);
    cli_json_number(j, "travel_mm_s2", l->travel_mm_s2);
    cli_json_number(j, "retract_mm_s2", l->retract_mm_s2);
    cli_json_open(j, "corner", '{');
    cli_json_text(j, "rule", l->corner == PO_CORNER_STEP ? "step" : "deviation");
    for (int i = 0; i < 4 && l->corner == PO_CORNER_STEP; i++) {
        cli_json_number(j, axes[i], l->step_mm_s[i]);
    }
    if (l->corner == PO_CORNER_DEVIATION) {
        cli_json_number(j, "mm", l->deviation_mm);
    }
    cli_json_close(j, '}');
    cli_json_close(j, '}');
}

static void json_machine(cli_json *j, const po_shop *shop, const po_machine *m)
{
    cli_json_open(j, NULL, '{');
    cli_json_text(j, "name", m->name);
    cli_json_text(j, "permission", m->permission);
    json_bed(j, m);
    cli_json_open(j, "nozzles", '[');
    for (size_t i = 0; i < m->n_nozzles; i++) {
        cli_json_open(j, NULL, '{');
        cli_json_number(j, "diameter", m->nozzles[i].diameter_mm);
        cli_json_number(j, "hottest_c", m->nozzles[i].hottest_c);
        cli_json_number(j, "melt_mm3_s", m->nozzles[i].melt_mm3_s);
        cli_json_close(j, '}');
    }
    cli_json_close(j, ']');
    cli_json_number(j, "bed_hottest_c", m->bed_hottest_c);
    cli_json_open(j, "materials", '[');
    for (size_t i = 0; i < m->n_materials; i++) {
        cli_json_text(j, NULL, shop->materials[m->materials[i]].name);
    }
    cli_json_close(j, ']');
    cli_json_bool(j, "e_follows_g90", m->e_follows_g90);
    cli_json_bool(j, "switches_itself_off", m->switches_itself_off);
    cli_json_open(j, "retract", '{');
    cli_json_number(j, "mm", m->retract_mm);
    cli_json_number(j, "mm_s", m->retract_mm_s);
    cli_json_number(j, "extra_mm", m->retract_extra_mm);
    cli_json_number(j, "most_mm", m->retract_most_mm);
    cli_json_close(j, '}');
    if (m->head.given) {
        cli_json_open(j, "head", '{');
        cli_json_number(j, "ahead", m->head.ahead_mm);
        cli_json_number(j, "behind", m->head.behind_mm);
        cli_json_number(j, "left", m->head.left_mm);
        cli_json_number(j, "right", m->head.right_mm);
        cli_json_number(j, "clears_mm", m->head.clears_mm);
        cli_json_close(j, '}');
    } else {
        cli_json_text(j, "head", NULL);
    }
    json_motion(j, &m->limits);
    cli_json_open(j, "heat", '{');
    cli_json_number(j, "nozzle_c_per_s", m->heat.nozzle_c_per_s);
    cli_json_number(j, "bed_c_per_s", m->heat.bed_c_per_s);
    cli_json_number(j, "room_c", m->heat.room_c);
    cli_json_number(j, "bed_tau_minutes", m->heat.bed_tau_minutes);
    cli_json_number(j, "home_seconds", m->heat.home_seconds);
    cli_json_number(j, "probe_seconds", m->heat.probe_seconds);
    cli_json_close(j, '}');
    cli_json_open(j, "power_w", '{');
    cli_json_number(j, "heating", m->heating_w);
    cli_json_number(j, "running", m->running_w);
    cli_json_close(j, '}');
    cli_json_open(j, "stick", '{');
    cli_json_text(j, "label", m->stick_label);
    cli_json_text(j, "mount", m->stick_mount);
    cli_json_close(j, '}');
    cli_json_open(j, "panel", '{');
    cli_json_number(j, "columns", m->panel_columns);
    cli_json_bool(j, "ascii", m->panel_ascii);
    cli_json_close(j, '}');
    cli_json_close(j, '}');
}

static void json_recipes(cli_json *j, const po_shop *shop)
{
    cli_json_open(j, "recipes", '[');
    for (size_t i = 0; i < shop->n_recipes; i++) {
        const po_recipe *r = &shop->recipes[i];
        cli_json_open(j, NULL, '{');
        cli_json_text(j, "name", r->name);
        cli_json_number(j, "layer", r->layer_mm);
        cli_json_number(j, "bead_width", r->bead_width_mm);
        cli_json_number(j, "walls", r->walls);
        cli_json_number(j, "floors", r->floors);
        cli_json_number(j, "roofs", r->roofs);
        cli_json_number(j, "fill_percent", r->fill_percent);
        cli_json_number(j, "wall_mm_s", r->wall_mm_s);
        cli_json_number(j, "fill_mm_s", r->fill_mm_s);
        cli_json_open(j, "first_layer", '{');
        cli_json_number(j, "height", r->first_layer_mm);
        cli_json_number(j, "mm_s", r->first_layer_mm_s);
        cli_json_close(j, '}');
        cli_json_close(j, '}');
    }
    cli_json_close(j, ']');
}

static void show_json(const char *path, const po_shop *shop)
{
    cli_json stream = {.out = stdout}, *j = &stream;
    cli_json_open(j, NULL, '{');
    cli_json_text(j, "format", "proveout/shop/1");
    cli_json_text(j, "file", path);
    cli_json_open(j, "shop", '{');
    cli_json_text(j, "name", shop->name);
    cli_json_text(j, "time_zone", shop->time_zone);
    cli_json_text(j, "currency", *shop->currency ? shop->currency : NULL);
    json_dates(j, "terms", shop->terms, shop->n_terms);
    cli_json_number(j, "people_at_desk", shop->people_at_desk);
    cli_json_text(j, "ledger", shop->ledger);
    cli_json_text(j, "beyond", po_beyond_name(shop->beyond));
    cli_json_close(j, '}');
    json_hours(j, shop);
    json_rules(j, shop);
    json_outbox(j, &shop->outbox);
    json_permissions(j, shop);
    json_materials(j, shop);
    cli_json_open(j, "machines", '[');
    for (size_t i = 0; i < shop->n_machines; i++) {
        json_machine(j, shop, &shop->machines[i]);
    }
    cli_json_close(j, ']');
    json_recipes(j, shop);
    cli_json_close(j, '}');
    fputc('\n', stdout);
}

static int run(const cli_call *call)
{
    const char *path = cli_shop_path(cli_value(call, "shop"));
    if (!path) {
        return EXIT_USAGE;
    }
    po_arena *arena = po_arena_new(0);
    if (!arena) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    const po_shop *shop = NULL;
    int result = cli_shop_read(path, arena, &shop);
    if (result == EXIT_CLEAR && cli_value(call, "json")) {
        show_json(path, shop);
    } else if (result == EXIT_CLEAR) {
        printf("%s (%s)\n", shop->name, path);
        show_machines(shop);
        show_materials(shop);
        show_recipes(shop);
        show_hours(shop);
        show_rules(shop);
        show_permissions(shop);
        show_sticks(shop);
        show_outbox(shop);
    }
    po_arena_free(arena);
    return result;
}

static const cli_option options[] = {
    {.name = "shop", .value = "FILE", .says = "the shop file; else PROVEOUT_SHOP, else ./shop.yaml"},
    {.name = "json", .value = NULL, .says = "one JSON object on standard output, with every value and default"},
};

static const cli_example examples[] = {
    {"proveout shop show", "machines, materials, recipes, hours, rules, permissions, sticks and messages"},
    {"proveout shop show --json", "the same for a program, defaults filled in"},
};

const cli_verb cli_shop_show_verb[] = {{
                                           .name = "shop show",
                                           .operands = "",
                                           .least = 0,
                                           .most = 0,
                                           .options = options,
                                           .n_options = sizeof options / sizeof options[0],
                                           .line = "machines, materials, recipes, hours as understood",
                                           .help = "Prints what was understood of the shop file, defaults included.",
                                           .examples = examples,
                                           .n_examples = sizeof examples / sizeof examples[0],
                                           .run = run,
                                       },
                                       {.name = NULL}};
