/* A line of progress for long work, and Ctrl-C. SPDX-License-Identifier: Apache-2.0 */
#include <signal.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "cli.h"

static volatile sig_atomic_t interrupted; /* the signal, 0 = none */

static void note_signal(int number)
{
    interrupted = number;
}

void cli_catch_interrupt(void)
{
    struct sigaction action;
    memset(&action, 0, sizeof action);
    action.sa_handler = note_signal;
    action.sa_flags = (int)SA_RESETHAND; /* pressed again it ends at once */
    sigemptyset(&action.sa_mask);
    sigaction(SIGINT, &action, NULL);
    sigaction(SIGTERM, &action, NULL);
}

void cli_pass_interrupt_on(void)
{
    if (interrupted) {
        signal(interrupted, SIG_DFL);
        raise(interrupted);
    }
}

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
    if (interrupted) {
        return false;
    }
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
