/* Passwords and PINs: what they must be like, and their hashes. SPDX-License-Identifier: Apache-2.0
 *
 * argon2id (RFC 9106) with libsodium's "interactive" figures: 64 MB and two passes. At least ten characters and no other
 * rule: rules of composition do not help (NIST SP 800-63B, 5.1.1.2). */
#include "desk/desk_inside.h"

#include <string.h>

#include "base/text.h"

enum { PIN_LEAST = 4, PIN_MOST = 12 };

const char *desk_password_fault(const char *password)
{
    size_t n = password ? strlen(password) : 0;
    if (n < PO_PASSWORD_LEAST || n > PO_PASSWORD_MOST) {
        return "a password has 10 to 200 bytes";
    }
    for (size_t i = 0; i < n;) {
        size_t one = po_utf8_length(password + i, n - i);
        if (one == 0 || (unsigned char)password[i] < 0x20 || password[i] == 0x7f) {
            return "a password is UTF-8 on one line";
        }
        i += one;
    }
    return NULL;
}

const char *desk_pin_fault(const char *pin)
{
    size_t n = pin ? strlen(pin) : 0;
    return n < PIN_LEAST || n > PIN_MOST || strspn(pin, "0123456789") != n ? "a PIN has 4 to 12 digits" : NULL;
}

bool desk_hash(const desk_crypt *crypt, const char *secret, char ret[PO_SECRET_MOST])
{
    _Static_assert(crypto_pwhash_STRBYTES <= PO_SECRET_MOST, "a hash fits");
    memset(ret, 0, PO_SECRET_MOST);
    return crypt->crypto_pwhash_str_alg(ret, secret, strlen(secret), crypto_pwhash_OPSLIMIT_INTERACTIVE,
                                        crypto_pwhash_MEMLIMIT_INTERACTIVE, crypto_pwhash_ALG_ARGON2ID13) == 0;
}

bool desk_hash_fits(const desk_crypt *crypt, const char *hash, const char *secret)
{
    return hash[0] && crypt->crypto_pwhash_str_verify(hash, secret, strlen(secret)) == 0;
}

po_status po_desk_password_set(po_ledger *ledger, const char *member, const char *password, po_err *err)
{
    const char *fault = desk_password_fault(password);
    if (fault) {
        return po_fail_at(err, PO_E_RANGE, "password", 0, 0, "%s", fault);
    }
    desk_crypt crypt;
    po_status s = desk_crypt_open(&crypt, err);
    char hash[PO_SECRET_MOST];
    if (s == PO_OK && !desk_hash(&crypt, password, hash)) {
        s = po_fail(err, PO_E_NOMEM, "memory ran out for the hash of a password (it takes 64 MB)");
    }
    return s == PO_OK ? po_ledger_secret_set(ledger, member, PO_SECRET_PASSWORD, hash, err) : s;
}
