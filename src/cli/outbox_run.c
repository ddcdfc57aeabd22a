/* One message through the shop's command. SPDX-License-Identifier: Apache-2.0
 *
 * The keeper names the command in the shop file; contact and text come from people, so neither is ever read by a shell, and a
 * contact that looks like an option is refused. The command runs in a process group of its own, so that a time limit ends it
 * with whatever it started. What it writes to standard output is dropped. */
#include "outbox_run.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

extern char **environ;

bool outbox_contact_fits(const char *contact)
{
    if (!contact[0] || contact[0] == '-') {
        return false;
    }
    for (const unsigned char *p = (const unsigned char *)contact; *p; p++) {
        if (*p < 0x20 || *p == 0x7f) {
            return false;
        }
    }
    return true;
}

static char *with_contact(const char *word, size_t n, const char *contact, po_arena *arena, bool *ret_used)
{
    static const char mark[] = "{contact}";
    char *out = po_arena_printf(arena, "%.*s", (int)n, word);
    for (char *at; out && (at = strstr(out, mark)) && !*ret_used;) {
        *ret_used = true;
        out = po_arena_printf(arena, "%.*s%s%s", (int)(at - out), out, contact, at + sizeof mark - 1);
    }
    return out;
}

bool outbox_words(const char *command, const char *contact, po_arena *arena, char *argv[OUTBOX_WORDS_MOST + 2])
{
    size_t n = 0;
    bool used = false;
    for (const char *p = command + strspn(command, " \t"); *p; p += strspn(p, " \t")) {
        size_t length = strcspn(p, " \t");
        if (n == OUTBOX_WORDS_MOST || !(argv[n] = with_contact(p, length, contact, arena, &used))) {
            return false;
        }
        n++;
        p += length;
    }
    if (n > 0 && !used && !(argv[n++] = po_arena_text(arena, contact))) {
        return false;
    }
    argv[n] = NULL;
    return n > 0;
}

static int64_t now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* Pipes that no other child inherits. */
static bool pipes(int in[2], int err[2])
{
    if (pipe2(in, O_CLOEXEC) != 0) {
        return false;
    }
    if (pipe2(err, O_CLOEXEC) != 0) {
        close(in[0]);
        close(in[1]);
        return false;
    }
    return true;
}

static int start(char *const argv[], int in, int err, pid_t *ret)
{
    posix_spawn_file_actions_t files;
    posix_spawnattr_t how;
    sigset_t normal;
    if (posix_spawn_file_actions_init(&files) != 0) {
        return ENOMEM;
    }
    if (posix_spawnattr_init(&how) != 0) {
        posix_spawn_file_actions_destroy(&files);
        return ENOMEM;
    }
    sigemptyset(&normal);
    sigaddset(&normal, SIGPIPE);
    int failed = posix_spawn_file_actions_adddup2(&files, in, 0);
    failed = failed ? failed : posix_spawn_file_actions_addopen(&files, 1, "/dev/null", O_WRONLY, 0);
    failed = failed ? failed : posix_spawn_file_actions_adddup2(&files, err, 2);
    failed = failed ? failed : posix_spawnattr_setsigdefault(&how, &normal);
    failed = failed ? failed : posix_spawnattr_setpgroup(&how, 0);
    failed = failed ? failed : posix_spawnattr_setflags(&how, POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGDEF);
    failed = failed ? failed : posix_spawnp(ret, argv[0], &files, &how, argv, environ);
    posix_spawn_file_actions_destroy(&files);
    posix_spawnattr_destroy(&how);
    return failed;
}

/* The text in, what it says to standard error out, until it ends or its time is up. false: its time was up. */
static bool attend(pid_t child, int in, int err, const char *text, int limit_seconds, char *said, size_t n_said,
                   int *ret_state)
{
    size_t left = strlen(text), got = 0;
    int64_t until = now_ms() + (int64_t)limit_seconds * 1000;
    bool open = true;
    fcntl(in, F_SETFL, O_NONBLOCK);
    for (;;) {
        struct pollfd fds[2] = {{open ? err : -1, POLLIN, 0}, {in, POLLOUT, 0}};
        bool ended = waitpid(child, ret_state, WNOHANG) == child;
        poll(fds, 2, ended ? 0 : 20);
        if (open && (fds[0].revents & (POLLIN | POLLHUP | POLLERR))) {
            char dropped[256];
            bool room = got + 1 < n_said;
            ssize_t n = read(err, room ? said + got : dropped, room ? n_said - 1 - got : sizeof dropped);
            open = n > 0 || (n < 0 && errno == EINTR);
            got += room && n > 0 ? (size_t)n : 0;
        }
        if (in >= 0 && fds[1].revents) {
            ssize_t n = left ? write(in, text, left) : 0;
            bool later = n < 0 && (errno == EAGAIN || errno == EINTR);
            text += n > 0 ? n : 0;
            left -= n > 0 ? (size_t)n : 0;
            if (!later && (left == 0 || n < 0)) { /* it need not read all: what it ends with says whether it was sent */
                close(in);
                in = -1;
            }
        }
        if (ended || now_ms() >= until) {
            said[got] = 0;
            if (in >= 0) {
                close(in);
            }
            return ended;
        }
    }
}

/* Only the first line, of signs that the book and a terminal can show. */
static void first_line(char *said)
{
    char *p = said;
    for (; *p && *p != '\n' && *p != '\r'; p++) {
        *p = (unsigned char)*p < 0x20 ? ' ' : (unsigned char)*p >= 0x7f ? '?' : *p;
    }
    *p = 0;
}

bool outbox_run(char *const argv[], const char *text, int limit_seconds, char *why, size_t n_why, char *said,
                size_t n_said)
{
    int in[2], err[2], state = 0;
    pid_t child = 0;
    said[0] = 0;
    if (!pipes(in, err)) {
        snprintf(why, n_why, "no pipe to the command: %s", strerror(errno));
        return false;
    }
    struct sigaction ignore = {.sa_handler = SIG_IGN},
                     before; /* a command that does not read its input is no reason to end */
    sigaction(SIGPIPE, &ignore, &before);
    int failed = start(argv, in[0], err[1], &child);
    close(in[0]);
    close(err[1]);
    bool ended = false;
    if (failed) {
        close(in[1]);
        snprintf(why, n_why, "%.100s can't be run: %s", argv[0], strerror(failed));
    } else {
        ended = attend(child, in[1], err[0], text, limit_seconds, said, n_said, &state);
        if (!ended) {
            kill(-child, SIGKILL);
            waitpid(child, &state, 0);
            said[0] = 0;
            snprintf(why, n_why, "the command took longer than %d s and was ended", limit_seconds);
        }
    }
    close(err[0]);
    sigaction(SIGPIPE, &before, NULL);
    if (!ended) {
        return false;
    }
    first_line(said);
    if (WIFEXITED(state) && WEXITSTATUS(state) == 0) {
        return true;
    }
    snprintf(why, n_why, "the command ended with %s %d", WIFEXITED(state) ? "status" : "signal",
             WIFEXITED(state) ? WEXITSTATUS(state) : WTERMSIG(state));
    return false;
}
