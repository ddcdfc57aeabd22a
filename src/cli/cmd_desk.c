/* proveout desk ...: the server of the desk, and passwords. SPDX-License-Identifier: Apache-2.0 */
#include <signal.h>
#include <string.h>
#include <sys/resource.h>
#include <termios.h>
#include <unistd.h>

#include "desk.h"
#include "proveout/desk.h"
#include "verbs.h"
#include "work/studies.h"

/* Lines of the log, one JSON object each. */
static void log_line(void *user, const char *line)
{
    (void)user;
    fprintf(stderr, "%s\n", line);
}

/* A whole number of an option; missing: 0. */
static int whole(const cli_call *call, const char *name, double least, double most, int *ret)
{
    double v = 0;
    const char *text = cli_value(call, name);
    if (text && (!cli_number(text, least, most, &v) || v != (int)v)) {
        return cli_fail(EXIT_USAGE, "--%s %s: expected a whole number from %.0f to %.0f", name, text, least, most);
    }
    *ret = (int)v;
    return EXIT_CLEAR;
}

/* As many connections as asked for need as many open files. */
static void allow_files(int connections)
{
    struct rlimit limit;
    rlim_t wanted = (rlim_t)(connections > 0 ? connections : 1000) + 200;
    if (getrlimit(RLIMIT_NOFILE, &limit) == 0 && limit.rlim_cur < wanted) {
        limit.rlim_cur = wanted < limit.rlim_max ? wanted : limit.rlim_max;
        setrlimit(RLIMIT_NOFILE, &limit);
    }
}

static int options_of(const desk *d, const cli_call *call, po_desk_options *o, const char **hosts)
{
    *o = (po_desk_options){.shop = d->shop,
                           .shop_path = cli_shop_path(cli_value(call, "shop")),
                           .ledger = d->ledger,
                           .listen = cli_value(call, "listen"),
                           .certificate = cli_value(call, "cert"),
                           .key = cli_value(call, "key"),
                           .hosts = hosts,
                           .proxy = cli_value(call, "proxy"),
                           .log = log_line};
    const char *names = cli_value(call, "host");
    if (names && !cli_split(names, d->arena, hosts, &o->n_hosts)) {
        return cli_fail(EXIT_USAGE, "--host %s: at most %d names, with commas between them", names, CLI_MOST_LIST);
    }
    int status = whole(call, "connections", 10, 20000, &o->connections);
    status = status == EXIT_CLEAR ? whole(call, "each", 1, 20000, &o->connections_each) : status;
    status = status == EXIT_CLEAR ? whole(call, "request-seconds", 1, 3600, &o->request_seconds) : status;
    status = status == EXIT_CLEAR ? whole(call, "provers", 1, 64, &o->provers) : status;
    const char *screen = cli_value(call, "screen");
    if (screen && strcmp(screen, "yes") != 0 && strcmp(screen, "no") != 0) {
        return cli_fail(EXIT_USAGE, "--screen %s: expected yes or no", screen);
    }
    o->screen = !screen ? PO_SCREEN_HERE : screen[0] == 'y' ? PO_SCREEN_ALL : PO_SCREEN_NONE;
    o->version = PO_VERSION;
    o->now_ms = desk_now_ms;
    o->now_user = (void *)(uintptr_t)d->shop;
    o->backups = cli_value(call, "backup-folder");
    if (!o->backups && !(o->backups = po_arena_printf(d->arena, "%s.backups", d->ledger_path))) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    o->folder = cli_value(call, "spool-folder");
    if (!o->folder && !(o->folder = po_arena_printf(d->arena, "%s.files", d->ledger_path))) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    o->studies = work_studies_folder(d->shop, cli_shop_path(cli_value(call, "shop")), d->arena);
    return status == EXIT_CLEAR ? whole(call, "idle", 1, 86400, &o->idle_seconds) : status;
}

static int run_desk(const cli_call *call)
{
    desk d;
    po_desk_options o;
    po_desk *server = NULL;
    const char *hosts[CLI_MOST_LIST];
    po_err err;
    int status = desk_open(&d, call);
    status = status == EXIT_CLEAR ? options_of(&d, call, &o, hosts) : status;
    if (status == EXIT_CLEAR) {
        sigset_t ends;
        sigemptyset(&ends);
        sigaddset(&ends, SIGTERM);
        sigaddset(&ends, SIGINT);
        pthread_sigmask(SIG_BLOCK, &ends, NULL); /* before there are threads: this one waits for them alone */
        signal(SIGPIPE, SIG_IGN);
        allow_files(o.connections);
        if (po_desk_open(&o, &server, &err) != PO_OK) {
            status = err.where[0] ? cli_fail(EXIT_USAGE, "--%s: %s", err.where, err.msg)
                                  : cli_fail(EXIT_OWN, "%s", err.msg);
        } else {
            printf("The desk answers at %s\n", po_desk_url(server));
            if (po_desk_first_word(server)) {
                printf("No keeper has a password yet. This link sets the first one, once and within 15 "
                       "minutes:\n%s#first=%s\n",
                       po_desk_url(server), po_desk_first_word(server));
            }
            fflush(stdout);
            int which;
            while (sigwait(&ends, &which) != 0) {
            }
            po_desk_close(server);
        }
    }
    desk_close(&d);
    return status;
}

/* A line from standard input, unseen where that is a terminal. False: none, or too long. */
static bool read_hidden(const char *asks, char *line, size_t size)
{
    struct termios as_it_was, hidden;
    bool terminal = isatty(STDIN_FILENO) && tcgetattr(STDIN_FILENO, &as_it_was) == 0;
    if (terminal) {
        fprintf(stderr, "%s", asks);
        hidden = as_it_was;
        hidden.c_lflag &= ~(tcflag_t)ECHO;
        tcsetattr(STDIN_FILENO, TCSAFLUSH, &hidden);
    }
    bool read = fgets(line, (int)size, stdin) != NULL;
    if (terminal) {
        tcsetattr(STDIN_FILENO, TCSAFLUSH, &as_it_was);
        fputc('\n', stderr);
    }
    size_t n = read ? strcspn(line, "\r\n") : 0;
    bool whole_line = read && (line[n] || feof(stdin));
    if (read) {
        line[n] = 0;
    }
    return whole_line;
}

static int run_password(const cli_call *call)
{
    desk d;
    po_err err;
    char password[512], again[512];
    int status = desk_open(&d, call);
    if (status == EXIT_CLEAR && !read_hidden("New password: ", password, sizeof password)) {
        status = cli_fail(EXIT_USAGE, "no password on standard input, or one that is too long");
    }
    if (status == EXIT_CLEAR && isatty(STDIN_FILENO) &&
        (!read_hidden("Once more: ", again, sizeof again) || strcmp(password, again) != 0)) {
        status = cli_fail(EXIT_USAGE, "the two are not the same; nothing was changed");
    }
    if (status == EXIT_CLEAR) {
        po_status s = po_desk_password_set(d.ledger, call->args[0], password, &err);
        if (s != PO_OK) {
            status = s == PO_E_IO || s == PO_E_NOMEM || s == PO_E_UNSUPPORTED ? cli_fail(EXIT_OWN, "%s", err.msg)
                                                                              : desk_refused(&d, "desk-password", &err);
        } else if (d.json) {
            status = desk_print_json(
                json_pack("{s:s, s:s}", "format", "proveout/desk-password/1", "member", call->args[0]));
        } else {
            printf("Member %s has a new password; who was signed in with the old one is signed out.\n", call->args[0]);
        }
    }
    explicit_bzero(password, sizeof password);
    explicit_bzero(again, sizeof again);
    desk_close(&d);
    return status;
}

static const cli_option options_desk[] = {
    DESK_OPTIONS,
    {.name = "listen",
     .value = "ADDR:PORT",
     .says = "where to listen; else 127.0.0.1:8088, with TLS 127.0.0.1:8443; 0.0.0.0:8443 for all networks"},
    {.name = "cert", .value = "FILE", .says = "certificate (PEM, the whole chain) for TLS"},
    {.name = "key", .value = "FILE", .says = "its key (PEM)"},
    {.name = "host",
     .value = "NAME[,NAME]",
     .says = "names under which it is called, beside addresses, localhost and this computer's name"},
    {.name = "idle",
     .value = "SECONDS",
     .says = "a desk person is signed out after so long; else 900, members four times that"},
    {.name = "connections", .value = "N", .says = "most at once; else 1000"},
    {.name = "proxy",
     .value = "ADDRESS[,ADDRESS]",
     .says = "of the shop's own proxies: their Forwarded field (RFC 7239) tells from where a request comes; else "
             "nobody's is heeded"},
    {.name = "each", .value = "N", .says = "most at once of one address; else 600"},
    {.name = "request-seconds", .value = "SECONDS", .says = "for a request to arrive whole; else 30"},
    {.name = "provers", .value = "N", .says = "files proved at once; else as many as the process may use cores"},
    {.name = "screen",
     .value = "yes|no",
     .says =
         "whether the screen with numbers of tickets and runs is shown without sign-in; else to this computer alone"},
    {.name = "backup-folder",
     .value = "FOLDER",
     .says =
         "where copies of the book go that a keeper makes on the page; else the book's name with .backups behind it"},
    {.name = "spool-folder",
     .value = "FOLDER",
     .says = "a private folder for files that are sent to be proved; else the book's name with .files behind it"},
};
static const cli_option options_password[] = {DESK_OPTIONS};
static const cli_example examples_desk[] = {
    {"proveout desk", "for this computer alone"},
    {"proveout desk --listen 0.0.0.0:8443 --cert desk.pem --key key.pem --host quay.example",
     "for the workshop's network, with TLS"},
};
static const cli_example examples_password[] = {
    {"proveout desk password 10041", "asks for it twice, unseen"},
    {"proveout desk password 10041 < secret.txt", "the first line of a file"},
};

#define OPTIONS(list) .options = list, .n_options = sizeof list / sizeof list[0]
#define EXAMPLES(list) .examples = list, .n_examples = sizeof list / sizeof list[0]

const cli_verb cli_desk_verbs[] = {
    {
        .name = "desk",
        .operands = "",
        OPTIONS(options_desk),
        .line = "the desk's server: the book over HTTP, until it is told to stop",
        .help =
            "Answers on one address until SIGTERM or SIGINT; then it finishes what is under way. Prints its address, "
            "then "
            "one line of JSON on standard error for each request, without numbers or names of persons. docs/api.md "
            "says what can be asked and done.\n"
            "Without TLS passwords can be read on the way: beyond this computer use --cert and --key, or a proxy that "
            "speaks TLS. There is no password to begin with: where no keeper has one, a link is printed that sets the "
            "first, once and within 15 minutes.",
        EXAMPLES(examples_desk),
        .run = run_desk,
    },
    {
        .name = "desk password",
        .operands = "MEMBER",
        .least = 1,
        .most = 1,
        OPTIONS(options_password),
        .line = "set a member's password",
        .help =
            "Reads a password of 10 to 200 bytes from the terminal, unseen, or the first line of standard input; never "
            "from the command line, where others could see it. Only its hash (argon2id) is kept. A PIN that was set "
            "before is void, and whoever is signed in as this member is signed out.",
        EXAMPLES(examples_password),
        .run = run_password,
    },
    {.name = NULL},
};
