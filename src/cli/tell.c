/* Messages and help. SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <stdarg.h>
#include <string.h>

#include "cli.h"

int cli_fail(int exit_status, const char *format, ...)
{
    char text[1024];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    for (char *p = text; *p; p++) { /* names of files and words of shop files must not steer the terminal */
        *p = (unsigned char)*p < 0x20 || *p == 0x7f ? '?' : *p;
    }
    fprintf(stderr, "proveout: %s\n", text);
    return exit_status;
}

int cli_fail_err(const po_err *err)
{
    static const int exits[] = {
        [PO_OK] = EXIT_OWN,
        [PO_E_NOMEM] = EXIT_OWN,
        [PO_E_IO] = EXIT_USAGE, /* a file that may not be read or written: the caller named it */
        [PO_E_SYNTAX] = EXIT_NO_JOB,
        [PO_E_LIMIT] = EXIT_NO_JOB,
        [PO_E_RANGE] = EXIT_USAGE,
        [PO_E_UNSUPPORTED] = EXIT_OWN, /* a part of the system that is missing, such as a drawing library */
        [PO_E_NOTFOUND] = EXIT_USAGE,
        [PO_E_CONFLICT] = EXIT_USAGE,
        [PO_E_EMPTY] = EXIT_NO_JOB,
        [PO_E_CANCELLED] = EXIT_OWN,
        [PO_E_INTERNAL] = EXIT_OWN,
    };
    char text[512];
    int status = (size_t)err->code < sizeof exits / sizeof exits[0] ? exits[err->code] : EXIT_OWN;
    return cli_fail(status, "%s", po_err_text(err, text, sizeof text));
}

int cli_fail_part(const char *path, po_err *err)
{
    if (!err->where[0]) {
        snprintf(err->where, sizeof err->where, "%s", path);
    } else if (strcmp(err->where, path) != 0) { /* a member of the archive: of several files it must be told whose */
        size_t whole = sizeof err->where, n = strlen(path) + 1;
        if (n < whole) {
            memmove(err->where + n, err->where, whole - n);
            err->where[whole - 1] = '\0';
            memcpy(err->where, path, n - 1);
            err->where[n - 1] = ':';
        }
    }
    char text[512];
    return err->code == PO_E_UNSUPPORTED || err->code == PO_E_RANGE
               ? cli_fail(EXIT_NO_JOB, "%s", po_err_text(err, text, sizeof text))
               : cli_fail_err(err);
}

void cli_wrap(FILE *out, int indent, const char *text)
{
    cli_wrap_after(out, indent, "", text);
}

void cli_wrap_after(FILE *out, int indent, const char *lead, const char *text)
{
    enum { COLUMNS = 79 };
    int at = *lead ? fprintf(out, "%*s%s", indent, "", lead) : 0;
    while (*text) {
        if (*text == '\n') { /* the text's own line ends stand */
            fputc('\n', out);
            at = 0;
            text++;
            continue;
        }
        size_t word = strcspn(text, " \n");
        int columns = 0;
        for (size_t i = 0; i < word; i++) {
            columns += ((unsigned char)text[i] & 0xc0) != 0x80;
        }
        if (at && at + 1 + columns > COLUMNS) {
            fputc('\n', out);
            at = 0;
        }
        at += at ? fprintf(out, " ") : fprintf(out, "%*s", indent, "");
        fprintf(out, "%.*s", (int)word, text);
        at += columns;
        text += word;
        text += *text == ' ';
    }
    fputc('\n', out);
}

/* Options that all verbs of the desk have (desk.h): of a family they are told once. */
static bool is_common(const cli_option *o)
{
    static const char *const common[] = {"shop", "ledger", "json"};
    bool found = !strcmp(o->name, "by") && !strncmp(o->says, "who does it", 11);
    for (size_t i = 0; i < sizeof common / sizeof common[0]; i++) {
        found = found || !strcmp(o->name, common[i]);
    }
    return found;
}

static void print_option(FILE *out, const cli_option *o)
{
    fprintf(out, "  --%s%s%s\n", o->name, o->value ? " " : "", o->value ? o->value : "");
    cli_wrap(out, 6, o->says);
}

/* common: the options that all verbs of its family have, as well */
static void print_help(FILE *out, const cli_verb *verb, bool common)
{
    fprintf(out, "proveout %s%s%s%s\n\n", verb->name, *verb->operands ? " " : "", verb->operands,
            verb->n_options ? " [OPTIONS]" : "");
    cli_wrap(out, 0, verb->help);
    bool head = false;
    for (size_t i = 0; i < verb->n_options; i++) {
        if (common || !is_common(&verb->options[i])) {
            fputs(head ? "" : "\nOptions\n", out);
            print_option(out, &verb->options[i]);
            head = true;
        }
    }
    if (verb->n_examples) {
        fputs("\nExamples\n", out);
    }
    for (size_t i = 0; i < verb->n_examples; i++) {
        fprintf(out, "  %s\n", verb->examples[i].command);
        cli_wrap(out, 6, verb->examples[i].says);
    }
}

void cli_print_help(FILE *out, const cli_verb *verb)
{
    print_help(out, verb, true);
}

/* The nth verb of a family; NULL beyond the last. */
static const cli_verb *of_family(const char *family, size_t n)
{
    size_t length = strlen(family);
    const cli_verb *v;
    for (size_t i = 0; (v = cli_verb_at(i)); i++) {
        if (!strncmp(v->name, family, length) && v->name[length] == ' ' && n-- == 0) {
            return v;
        }
    }
    return NULL;
}

bool cli_print_family(FILE *out, const char *family)
{
    const cli_verb *v, *told = NULL;
    for (size_t i = 0; (v = of_family(family, i)); i++) {
        fprintf(out, "  %-18s  %s\n", v->name, v->line);
        for (size_t k = 0; !told && k < v->n_options; k++) {
            told = is_common(&v->options[k]) ? v : NULL;
        }
    }
    for (size_t i = 0; (v = of_family(family, i)); i++) {
        fputc('\n', out);
        print_help(out, v, false);
    }
    for (size_t k = 0; told && k < told->n_options; k++) {
        if (is_common(&told->options[k])) {
            fputs(k == 0 ? "\nOptions of all of them\n" : "", out);
            print_option(out, &told->options[k]);
        }
    }
    return of_family(family, 0) != NULL;
}

void cli_print_overview(FILE *out)
{
    size_t n;
    const cli_family *families = cli_families(&n);
    fputs(
        "Proveout checks a print job, or a part, before it is trusted with a machine, and keeps the\nbook of the desk."
        "\n\n",
        out);
    for (size_t i = 0; i < n; i++) {
        const char *name = families[i].verbs->name, *before = i ? families[i - 1].verbs->name : "";
        size_t first = strcspn(name, " ");
        if (families[i].line && !strncmp(name, before, first) && before[first] == ' ') {
            continue; /* a family in two files: the first line stands for both */
        }
        if (families[i].line) {
            fprintf(out, "  proveout %-11.*s  %s\n", (int)strcspn(name, " "), name, families[i].line);
        } else {
            for (const cli_verb *v = families[i].verbs; v->name; v++) {
                fprintf(out, "  proveout %-11s  %s\n", v->name, v->line);
            }
        }
    }
    fputs("  proveout --version    the version\n\n", out);
    fputs("Start with: proveout shop check shop.yaml, then: proveout check FILE\n"
          "Every verb explains itself with --help; proveout spool --help tells all about spools.\n\n"
          "Exit status: 0 clear, 1 ask at the desk, 2 stop, 3 not a job or part at all,\n"
          "4 wrong usage or a faulty shop file, 5 the program's own failure.\n",
          out);
}

int cli_end(int exit_status)
{
    if (fflush(stdout) == 0 && !ferror(stdout)) {
        return exit_status;
    }
    return cli_fail(EXIT_OWN, "standard output could not be written: %s", strerror(errno));
}
