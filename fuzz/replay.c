/* Runs a fuzz target over kept inputs, as an ordinary test. SPDX-License-Identifier: Apache-2.0
 * Usage: fuzz_NAME [--cut-every N] FILE-OR-FOLDER... Each input lies in a block of exactly its size, so that
 * AddressSanitizer sees a read past it. Short ones are also cut at every byte, or every N-th where a run takes long: what is
 * fine as a whole must not hurt half-copied. */
#include <dirent.h>
#include <string.h>
#include <sys/stat.h>

#include "fuzz.h"

enum { MOST_BYTES = 16 << 20, CUT_BELOW = 600 };

static int n_run, n_cut;
static size_t cut_every = 1;

static void run(const uint8_t *bytes, size_t n)
{
    uint8_t *exact = malloc(n ? n : 1);
    if (!exact) {
        abort();
    }
    if (n) {
        memcpy(exact, bytes, n);
    }
    LLVMFuzzerTestOneInput(exact, n);
    free(exact);
}

static int run_file(const char *path)
{
    FILE *f = fopen(path, "rb");
    uint8_t *bytes = malloc(MOST_BYTES);
    size_t n = f && bytes ? fread(bytes, 1, MOST_BYTES, f) : 0;
    int bad = !f || !bytes || ferror(f) || n == MOST_BYTES;
    if (f) {
        fclose(f);
    }
    if (bad) {
        fprintf(stderr, "%s: can't be read, or is too large for a kept input\n", path);
    } else {
        fprintf(stderr, "%s: %zu bytes\n", path, n); /* if it crashes, this is the last line */
        run(bytes, n);
        n_run++;
        for (size_t cut = 0; n < CUT_BELOW && cut < n; cut += cut_every) {
            run(bytes, cut);
            n_cut++;
        }
    }
    free(bytes);
    return bad;
}

static int run_folder(const char *path)
{
    struct dirent **names;
    int n = scandir(path, &names, NULL, alphasort), bad = n < 0;
    for (int i = 0; i < n; i++) {
        if (names[i]->d_name[0] != '.') {
            char inner[4096];
            int fits = snprintf(inner, sizeof inner, "%s/%s", path, names[i]->d_name) < (int)sizeof inner;
            bad |= !fits || run_file(inner);
        }
        free(names[i]);
    }
    if (n >= 0) {
        free(names);
    }
    return bad;
}

int main(int argc, char **argv)
{
    int bad = 0, first = 1;
    if (argc > 2 && strcmp(argv[1], "--cut-every") == 0) {
        first = 3;
        cut_every = strtoul(argv[2], NULL, 10);
        if (cut_every == 0) {
            fprintf(stderr, "--cut-every %s: a whole number of at least 1 is needed\n", argv[2]);
            return 4;
        }
    }
    for (int i = first; i < argc; i++) {
        struct stat st;
        bad |= stat(argv[i], &st) == 0 && S_ISDIR(st.st_mode) ? run_folder(argv[i]) : run_file(argv[i]);
    }
    printf("%d inputs and %d cuts of them replayed\n", n_run, n_cut);
    return bad || n_run == 0;
}
