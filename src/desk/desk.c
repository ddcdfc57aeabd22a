/* The server opened and closed. SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "desk/desk_inside.h"
#include "desk/bench.h"
#include "desk/nest_line.h"
#include "desk/opening.h"

static void or_usual(int *value, int usual)
{
    *value = *value > 0 ? *value : usual;
}

static po_status settle_options(po_desk *d, po_err *err)
{
    po_desk_options *o = &d->options;
    or_usual(&o->connections, 1000);
    or_usual(&o->connections_each, 600);
    or_usual(&o->request_seconds, 30);
    or_usual(&o->idle_seconds, 900);
    or_usual(&o->stop_seconds, 20);
    if (!o->certificate != !o->key) {
        return po_fail_at(err, PO_E_RANGE, o->key ? "cert" : "key", 0, 0,
                          "a certificate and its key go together; name both");
    }
    if (o->proxy && !desk_proxies_read(o->proxy, &d->proxies)) {
        return po_fail_at(err, PO_E_RANGE, "proxy", 0, 0,
                          "%.60s: wanted at most %d addresses in numbers, such as 127.0.0.1, with commas between them",
                          o->proxy, DESK_PROXIES_MOST);
    }
    d->names = (desk_names){
        .hosts = o->hosts, .n_hosts = o->n_hosts, .own = d->own_host, .tls = o->certificate != NULL};
    if (!o->listen) {
        o->listen = d->names.tls ? "127.0.0.1:8443" : "127.0.0.1:8088";
    }
    if (gethostname(d->own_host, sizeof d->own_host - 1) != 0) {
        memcpy(d->own_host, "localhost", 10);
    }
    return PO_OK;
}

static po_status make_texts(po_desk *d, po_err *err)
{
    json_t *openapi = desk_openapi(), *shop = desk_shop_doc(d->options.shop);
    d->openapi = openapi ? json_dumps(openapi, JSON_COMPACT) : NULL;
    d->shop = shop ? json_dumps(shop, JSON_COMPACT) : NULL;
    json_decref(openapi);
    json_decref(shop);
    char word[DESK_WORD];
    desk_word_new(d, word);
    bool hashed = desk_hash(&d->crypt, word, d->decoy);
    return d->openapi && d->shop && hashed ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
}

po_status po_desk_open(const po_desk_options *options, po_desk **ret, po_err *err)
{
    po_desk *d = calloc(1, sizeof *d);
    if (!d) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    d->options = *options;
    d->folder = -1;
    pthread_mutex_init(&d->door, NULL);
    pthread_mutex_init(&d->long_work, NULL);
    d->sessions = calloc(DESK_SESSIONS, sizeof *d->sessions);
    d->tries = calloc(DESK_TRIES, sizeof *d->tries);
    d->codes = calloc(DESK_CODES, sizeof *d->codes);
    bool can = true;
    po_status s = d->sessions && d->tries && d->codes ? settle_options(d, err)
                                                      : po_fail(err, PO_E_NOMEM, "memory ran out");
    s = s == PO_OK ? desk_http_open(&d->http, err) : s;
    s = s == PO_OK ? desk_crypt_open(&d->crypt, err) : s;
    s = s == PO_OK ? make_texts(d, err) : s;
    s = s == PO_OK ? po_ledger_keeper_can_sign_in(d->options.ledger, &can, err) : s;
    if (s == PO_OK && !can) {
        desk_word_new(d, d->first_word);
        d->first_until_s = desk_seconds() + DESK_FIRST_SECONDS;
    }
    s = s == PO_OK ? desk_studies_open(d, err) : s;
    s = s == PO_OK ? desk_opening_open(d, err) : s;
    s = s == PO_OK ? desk_live_open(d, err) : s;
    s = s == PO_OK ? desk_day_open(d, err) : s;
    s = s == PO_OK ? desk_files_open(d, err) : s;
    s = s == PO_OK ? desk_uploads_open(d, err) : s;
    s = s == PO_OK ? desk_proofs_open(d, err) : s;
    s = s == PO_OK ? desk_bench_open(d, err) : s;
    s = s == PO_OK ? desk_nests_open(d, err) : s;
    s = s == PO_OK ? desk_plans_open(d, err) : s;
    s = s == PO_OK ? desk_server_open(d, err) : s;
    s = s == PO_OK ? desk_proofs_begin(d, err) : s;
    if (s != PO_OK) {
        po_desk_close(d);
        return s;
    }
    desk_log(d, json_pack("{s:s}", "what", "started"));
    *ret = d;
    return PO_OK;
}

const char *po_desk_url(const po_desk *desk)
{
    return desk->url;
}

const char *po_desk_first_word(const po_desk *desk)
{
    return desk->first_word[0] ? desk->first_word : NULL;
}

void po_desk_close(po_desk *d)
{
    if (!d) {
        return;
    }
    bool ran = d->server != NULL;
    desk_plans_stop(d);
    desk_server_close(d);
    desk_live_stop(d);
    desk_live_close(d);
    desk_day_close(d);
    po_arena_free(d->studies_arena);
    desk_bench_close(d);
    desk_nests_close(d);
    desk_plans_close(d);
    desk_proofs_close(d);
    desk_uploads_close(d);
    desk_files_close(d);
    desk_opening_close(d);
    if (ran) {
        desk_log(d, json_pack("{s:s}", "what", "stopped"));
    }
    if (d->crypt.library && d->sessions) {
        d->crypt.sodium_memzero(d->sessions, DESK_SESSIONS * sizeof *d->sessions);
    }
    free(d->sessions);
    free(d->tries);
    free(d->codes);
    free(d->openapi);
    free(d->shop);
    pthread_mutex_destroy(&d->door);
    pthread_mutex_destroy(&d->long_work);
    free(d);
}
