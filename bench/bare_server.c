/* A bare handler of libmicrohttpd, set up as the desk's server is, that answers all with the same bytes: the yardstick for the server's
 * answers. SPDX-License-Identifier: Apache-2.0
 *
 * usage: bare_server BYTES     prints its port and answers until standard input ends */
#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "desk/libraries.h"

enum { BYTES_MOST = 16 << 20, HEADER_MEMORY = 64 << 10 };

typedef struct bare {
    desk_http http;
    char *body;
    size_t n;
} bare;

static enum MHD_Result answer(void *user, struct MHD_Connection *connection, const char *url, const char *method,
                              const char *version, const char *upload, size_t *n_upload, void **seen)
{
    (void)url;
    (void)method;
    (void)version;
    (void)upload;
    (void)n_upload;
    static int once;
    bare *b = user;
    if (!*seen) { /* the first call is for the head alone */
        *seen = &once;
        return MHD_YES;
    }
    struct MHD_Response *r = b->http.create_response_from_buffer(b->n, b->body, MHD_RESPMEM_PERSISTENT);
    if (!r) {
        return MHD_NO;
    }
    b->http.add_response_header(r, "Content-Type", "application/json");
    enum MHD_Result done = b->http.queue_response(connection, 200, r);
    b->http.destroy_response(r);
    return done;
}

int main(int argc, char **argv)
{
    bare b = {0};
    po_err err;
    long n = argc == 2 ? strtol(argv[1], NULL, 10) : 0;
    if (n < 1 || n > BYTES_MOST) {
        fprintf(stderr, "usage: bare_server BYTES (1 to %d)\n", BYTES_MOST);
        return 4;
    }
    if (desk_http_open(&b.http, &err) != PO_OK) {
        fprintf(stderr, "bare_server: %s\n", err.msg);
        return 5;
    }
    b.n = (size_t)n;
    b.body = malloc(b.n);
    if (!b.body) {
        return 5;
    }
    memset(b.body, ' ', b.n);
    struct sockaddr_in at = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t n_at = sizeof at;
    int listener = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK, 0);
    if (listener < 0 || bind(listener, (struct sockaddr *)&at, sizeof at) != 0 || listen(listener, 512) != 0 ||
        getsockname(listener, (struct sockaddr *)&at, &n_at) != 0) {
        perror("bare_server");
        return 5;
    }
    struct MHD_Daemon *d = b.http.start_daemon(MHD_USE_EPOLL_INTERNAL_THREAD, 0, NULL, NULL, answer, &b,
                                               MHD_OPTION_LISTEN_SOCKET, listener, MHD_OPTION_CONNECTION_MEMORY_LIMIT,
                                               (size_t)HEADER_MEMORY, MHD_OPTION_END);
    if (!d) {
        fprintf(stderr, "bare_server: it did not start\n");
        return 5;
    }
    printf("%d\n", ntohs(at.sin_port));
    fflush(stdout);
    char byte;
    while (read(0, &byte, 1) > 0) {
    }
    b.http.stop_daemon(d);
    free(b.body);
    return 0;
}
