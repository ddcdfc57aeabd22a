/* A line of progress for long work. SPDX-License-Identifier: Apache-2.0
 *
 * Ctrl-C needs no care here: nothing is written before all is known, and then it is held off until a file is whole
 * (files.c), so the program can end at any time, at once, and leave nothing behind. */
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "cli.h"

static double seconds_now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

void cli_progress_begin(cli_progress *progress, const char *file)
{
    *progress = (cli_progress){.file = file, .begun = seconds_now()};
}

bool cli_progress_step(uint64_t done, uint64_t total, void *user)
{
    cli_progress *progress = user;
    if (!progress->shown && (seconds_now() - progress->begun < 1 || !isatty(STDERR_FILENO))) {
        return true;
    }
    progress->shown = true;
    char name[41];
    size_t length = strlen(progress->file);
    snprintf(name, sizeof name, "%s", progress->file + (length > 40 ? length - 40 : 0));
    for (char *p = name; *p; p++) {
        *p = (unsigned char)*p < 0x20 || *p == 0x7f ? '?' : *p;
    }
    if (total) {
        fprintf(stderr, "\r%s: %3.0f %% ", name, 100 * (double)done / (double)total);
    } else {
        fprintf(stderr, "\r%s: %.1f MB ", name, (double)done * 1e-6);
    }
    return true;
}

void cli_progress_end(cli_progress *progress)
{
    if (progress->shown) {
        fprintf(stderr, "\r%*s\r", 60, "");
        progress->shown = false;
    }
}
