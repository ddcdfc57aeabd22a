/* JSON on a stream, one line (RFC 8259). SPDX-License-Identifier: Apache-2.0
 *
 * Small enough to write here: what the verbs print is flat, and a verb should start without loading a library for it. */
#include <math.h>

#include "cli.h"

static void put_text(FILE *out, const char *s)
{
    fputc('"', out);
    for (; *s; s++) {
        unsigned char c = (unsigned char)*s;
        if (c == '"' || c == '\\') {
            fputc('\\', out);
            fputc(c, out);
        } else if (c < 0x20 || c == 0x7f) {
            fprintf(out, "\\u%04x", c);
        } else {
            fputc(c, out);
        }
    }
    fputc('"', out);
}

static void begin(cli_json *j, const char *key)
{
    if (j->comma) {
        fputs(", ", j->out);
    }
    if (key) {
        put_text(j->out, key);
        fputs(": ", j->out);
    }
    j->comma = true;
}

void cli_json_open(cli_json *j, const char *key, char bracket)
{
    begin(j, key);
    fputc(bracket, j->out);
    j->comma = false;
}

void cli_json_close(cli_json *j, char bracket)
{
    fputc(bracket, j->out);
    j->comma = true;
}

void cli_json_text(cli_json *j, const char *key, const char *value)
{
    begin(j, key);
    if (value) {
        put_text(j->out, value);
    } else {
        fputs("null", j->out);
    }
}

void cli_json_number(cli_json *j, const char *key, double value)
{
    begin(j, key);
    if (isfinite(value)) {
        fprintf(j->out, "%.15g", value); /* what was written with up to 15 digits comes back as written */
    } else {
        fputs("null", j->out);
    }
}

void cli_json_bool(cli_json *j, const char *key, bool value)
{
    begin(j, key);
    fputs(value ? "true" : "false", j->out);
}

void cli_json_range(cli_json *j, const char *key, double low, double high)
{
    cli_json_open(j, key, '[');
    cli_json_number(j, NULL, low);
    cli_json_number(j, NULL, high);
    cli_json_close(j, ']');
}
