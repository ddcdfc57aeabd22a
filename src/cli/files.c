/* Inputs told apart by their bytes, outputs written whole or not at all. SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <fcntl.h>
#include <nettle/sha2.h>
#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/input.h"
#include "base/whole.h"
#include "cli.h"
#include "job/kind.h"

enum { HEAD = 64 * 1024 };

cli_kind cli_kind_of(const unsigned char *head, size_t n, unsigned long long size)
{
    return (cli_kind)po_file_kind(head, n, size);
}

static cli_kind kind_within(const unsigned char *head, size_t n, const char **ret_packer)
{
    return (cli_kind)po_file_kind_within(head, n, ret_packer);
}

static int refuse_packed(const char *path, cli_kind kind, const char *packer)
{
    return cli_fail(EXIT_NO_JOB, "%s: is a part (%s) packed by %s: unpack it first (%s -d)", path,
                    kind == CLI_KIND_STL   ? "STL"
                    : kind == CLI_KIND_3MF ? "3MF"
                                           : "a zip archive",
                    packer, packer);
}

static size_t read_full(int file, unsigned char *to, size_t most, bool *ret_failed)
{
    size_t n = 0;
    while (n < most) {
        ssize_t got = read(file, to + n, most - n);
        if (got < 0 && errno == EINTR) {
            continue;
        }
        *ret_failed |= got < 0;
        if (got <= 0) {
            break;
        }
        n += (size_t)got;
    }
    return n;
}

/* Feeds a pipe with the bytes that were looked at and all that follow. */
typedef struct pump {
    int from, to;
    size_t n;
    unsigned char head[HEAD];
} pump;

static void *run_pump(void *user)
{
    pump *p = user;
    bool failed = false;
    while (p->n && po_write_whole(p->to, p->head, p->n)) {
        p->n = read_full(p->from, p->head, sizeof p->head, &failed);
    }
    close(p->to);
    close(p->from);
    free(p);
    return NULL;
}

/* Standard input that can't be read twice: what is short is kept in memory, what is long goes on through a pipe, so that
 * its bytes could be looked at without being lost. */
static int peek_input(po_arena *arena, po_source *ret_source, cli_kind *ret_kind)
{
    pump *p = malloc(sizeof *p);
    bool failed = false;
    if (!p) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    p->n = read_full(STDIN_FILENO, p->head, sizeof p->head, &failed);
    if (failed) {
        free(p);
        return cli_fail(EXIT_USAGE, "-: standard input can't be read: %s", strerror(errno));
    }
    *ret_kind = cli_kind_of(p->head, p->n, p->n < HEAD ? p->n : 0);
    const char *packer;
    cli_kind within = kind_within(p->head, p->n, &packer);
    if (within != CLI_KIND_JOB) {
        free(p);
        return refuse_packed("-", within, packer);
    }
    if (p->n < HEAD) {
        const char *copy = po_arena_text_n(arena, (const char *)p->head, p->n);
        *ret_source = (po_source){.path = NULL, .data = copy, .n_bytes = p->n};
        free(p);
        return copy ? EXIT_CLEAR : cli_fail(EXIT_OWN, "memory ran out");
    }
    int ends[2];
    pthread_t thread;
    signal(SIGPIPE, SIG_IGN); /* the reader may stop early: then the pump ends */
    p->from = dup(STDIN_FILENO);
    if (p->from < 0 || pipe(ends) != 0) {
        free(p);
        return cli_fail(EXIT_OWN, "no pipe could be had: %s", strerror(errno));
    }
    p->to = ends[1];
    bool moved = dup2(ends[0], STDIN_FILENO) >= 0;
    close(ends[0]);
    if (!moved || pthread_create(&thread, NULL, run_pump, p) != 0) {
        free(p);
        return cli_fail(EXIT_OWN, "no thread could be had");
    }
    pthread_detach(thread);
    return EXIT_CLEAR;
}

/* A packed part is refused; of what is packed more bytes are looked at, for blocks unpack as a whole. */
static int refuse_if_packed(int file, off_t at, const char *path, const unsigned char *head, size_t n)
{
    enum { BLOCKS = 512 * 1024 };
    if (n < 4 || (memcmp(head, "\x1f\x8b", 2) && memcmp(head, "\x28\xb5\x2f\xfd", 4))) {
        return EXIT_CLEAR;
    }
    unsigned char *more = malloc(BLOCKS);
    ssize_t got = more ? pread(file, more, BLOCKS, at) : -1;
    const char *packer;
    cli_kind within = got > 0 ? kind_within(more, (size_t)got, &packer) : CLI_KIND_JOB;
    free(more);
    return within == CLI_KIND_JOB ? EXIT_CLEAR : refuse_packed(path, within, packer);
}

int cli_open_source(const char *path, po_arena *arena, po_source *ret_source, cli_kind *ret_kind)
{
    bool input = !strcmp(path, "-");
    *ret_source = (po_source){.path = path};
    *ret_kind = CLI_KIND_JOB;
    int file = input ? STDIN_FILENO : open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
    if (file < 0) {
        return cli_fail(EXIT_USAGE, "%s: can't be opened: %s", path, strerror(errno));
    }
    struct stat status;
    bool regular = fstat(file, &status) == 0 && S_ISREG(status.st_mode);
    int result = EXIT_CLEAR;
    if (!input && S_ISDIR(status.st_mode)) {
        result = cli_fail(EXIT_USAGE, "%s: is a folder; name a file", path);
    } else if (regular) {
        unsigned char head[4096];
        ssize_t n = pread(file, head, sizeof head, input ? lseek(file, 0, SEEK_CUR) : 0);
        if (n < 0) {
            result = cli_fail(EXIT_USAGE, "%s: can't be read: %s", path, strerror(errno));
        } else {
            *ret_kind = cli_kind_of(head, (size_t)n, (unsigned long long)status.st_size);
            result = refuse_if_packed(file, input ? lseek(file, 0, SEEK_CUR) : 0, path, head, (size_t)n);
        }
    } else if (input) {
        result = peek_input(arena, ret_source, ret_kind);
    }
    if (!input) {
        close(file);
    }
    return result;
}

static int write_failed(const char *path)
{
    return cli_fail(EXIT_OWN, "%s: can't be written: %s", path, strerror(errno));
}

int cli_spare_input(const char *option, const char *out, const char *input)
{
    struct stat one, two;
    if (!out || !input || !strcmp(out, "-") || !strcmp(input, "-") || stat(out, &one) != 0 || stat(input, &two) != 0 ||
        one.st_dev != two.st_dev || one.st_ino != two.st_ino || !S_ISREG(one.st_mode)) {
        return EXIT_CLEAR;
    }
    return cli_fail(EXIT_USAGE, "--%s %s: that is the file to be read, which stays as it is; name another file", option,
                    out);
}

int cli_write_file(const char *path, const po_document *document)
{
    if (!strcmp(path, "-")) {
        fwrite(document->data, 1, document->n_bytes, stdout);
        return EXIT_CLEAR; /* cli_end looks at the stream */
    }
    struct stat status;
    const unsigned char *bytes = (const unsigned char *)document->data;
    if (stat(path, &status) == 0 && !S_ISREG(status.st_mode)) { /* /dev/stdout, a pipe: nothing to rename over */
        int device = open(path, O_WRONLY | O_CLOEXEC);
        bool done = device >= 0 && po_write_whole(device, bytes, document->n_bytes);
        done = device >= 0 && close(device) == 0 && done;
        return done ? EXIT_CLEAR : write_failed(path);
    }
    char *real = realpath(path, NULL); /* a link stays a link: what it points at is replaced */
    const char *target = real ? real : path;
    size_t room = strlen(target) + 16;
    char *beside = malloc(room);
    if (!beside) {
        free(real);
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    snprintf(beside, room, "%s.XXXXXX", target);
    sigset_t ending, before; /* none of these may come between the file beside and its new name */
    sigemptyset(&ending);
    sigaddset(&ending, SIGINT);
    sigaddset(&ending, SIGTERM);
    sigaddset(&ending, SIGHUP);
    pthread_sigmask(SIG_BLOCK, &ending, &before);
    int file = mkstemp(beside);
    int result = EXIT_CLEAR;
    if (file < 0) {
        result = write_failed(path);
    } else {
        mode_t mask = umask(0);
        umask(mask);
        bool done = po_write_whole(file, bytes, document->n_bytes) && fchmod(file, 0666 & ~mask) == 0 &&
                    fsync(file) == 0;
        done = close(file) == 0 && done && rename(beside, target) == 0;
        if (!done) {
            result = write_failed(path);
            unlink(beside);
        }
    }
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    free(beside);
    free(real);
    return result;
}

bool cli_sha256(const char *path, char ret_hex[65])
{
    static const char digits[] = "0123456789abcdef";
    FILE *f = fopen(path, "rb");
    struct stat st;
    bool ok = f && fstat(fileno(f), &st) == 0 && S_ISREG(st.st_mode);
    struct sha256_ctx sha;
    unsigned char bytes[65536], sum[SHA256_DIGEST_SIZE];
    sha256_init(&sha);
    for (size_t n; ok && (n = fread(bytes, 1, sizeof bytes, f)) > 0;) {
        sha256_update(&sha, n, bytes);
    }
    ok = ok && !ferror(f);
    sha256_digest(&sha, sizeof sum, sum);
    for (size_t i = 0; i < sizeof sum; i++) {
        ret_hex[2 * i] = digits[sum[i] >> 4];
        ret_hex[2 * i + 1] = digits[sum[i] & 15];
    }
    ret_hex[64] = 0;
    if (f) {
        fclose(f);
    }
    return ok;
}

char *cli_read_whole(const char *path, size_t most, size_t *ret_n)
{
    FILE *f = !strcmp(path, "-") ? stdin : fopen(path, "rb");
    if (!f) {
        cli_fail(EXIT_USAGE, "%s: %s", path, strerror(errno));
        return NULL;
    }
    char *bytes = malloc(most + 2);
    size_t n = bytes ? fread(bytes, 1, most + 1, f) : 0;
    bool failed = ferror(f) != 0;
    if (f != stdin) {
        fclose(f);
    }
    if (bytes && !failed && n <= most) {
        *ret_n = n;
        return bytes;
    }
    free(bytes);
    if (!bytes) {
        cli_fail(EXIT_OWN, "memory ran out");
    } else if (failed) {
        cli_fail(EXIT_USAGE, "%s: it can't be read as a file", path);
    } else {
        cli_fail(EXIT_USAGE, "%s: more than %zu MB; split it", path, most >> 20);
    }
    return NULL;
}

int cli_picture_kind(const char *path, po_picture_kind *ret)
{
    static const char *const ends[] = {[PO_PICTURE_SVG] = ".svg", [PO_PICTURE_PNG] = ".png", [PO_PICTURE_PDF] = ".pdf"};
    const char *dot = strrchr(path, '.');
    for (size_t i = 0; dot && i < sizeof ends / sizeof ends[0]; i++) {
        if (strcmp(dot, ends[i]) == 0) {
            *ret = (po_picture_kind)i;
            return EXIT_CLEAR;
        }
    }
    return cli_fail(EXIT_USAGE, "--picture %s: expected a name that ends in .svg, .png or .pdf", path);
}
