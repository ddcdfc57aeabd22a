/* The yardstick of `make bench`: strtod over every number of a file, and nothing else. SPDX-License-Identifier: Apache-2.0
 *
 * What a plain reader of job files can't be faster than. A number is what starts with a digit, a sign or a point.
 * Usage: yardstick FILE; prints how many numbers there were and their sum. */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

int main(int argc, char **argv)
{
    int fd = argc == 2 ? open(argv[1], O_RDONLY) : -1;
    struct stat st;
    if (fd < 0 || fstat(fd, &st) != 0 || st.st_size == 0) {
        fprintf(stderr, "usage: yardstick FILE\n");
        return 4;
    }
    size_t n = (size_t)st.st_size;
    /* One byte more than the file, so that strtod always finds an end: the last page is filled with zeros, and where the
     * file fills its last page the page behind it is ours too. */
    char *space = mmap(NULL, n + 4096, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    if (space == MAP_FAILED || mmap(space, n, PROT_READ, MAP_PRIVATE | MAP_FIXED, fd, 0) == MAP_FAILED) {
        perror(argv[1]);
        return 5;
    }
    double sum = 0;
    long count = 0;
    for (char *p = space, *end = space + n; p < end;) {
        if ((*p >= '0' && *p <= '9') || *p == '-' || *p == '+' || *p == '.') {
            char *after;
            sum += strtod(p, &after);
            count++;
            p = after > p ? after : p + 1;
        } else {
            p++;
        }
    }
    printf("%ld numbers, sum %.6g\n", count, sum);
    return 0;
}
