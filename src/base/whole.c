/* Reads and writes that go on until all is done. SPDX-License-Identifier: Apache-2.0 */
#include "base/whole.h"

#include <errno.h>
#include <unistd.h>

ssize_t po_read_whole(int file, void *bytes, size_t n)
{
    unsigned char *to = bytes;
    size_t done = 0;
    while (done < n) {
        ssize_t got = read(file, to + done, n - done);
        if (got < 0 && errno == EINTR) {
            continue;
        }
        if (got < 0) {
            return -1;
        }
        if (got == 0) {
            break;
        }
        done += (size_t)got;
    }
    return (ssize_t)done;
}

bool po_write_whole(int file, const void *bytes, size_t n)
{
    for (const unsigned char *from = bytes; n > 0;) {
        ssize_t put = write(file, from, n);
        if (put < 0 && errno == EINTR) {
            continue;
        }
        if (put == 0) {
            errno = ENOSPC;
        }
        if (put <= 0) {
            return false;
        }
        from += put;
        n -= (size_t)put;
    }
    return true;
}
