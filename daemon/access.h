/* SPDX-License-Identifier: MIT
 * Who may see the live page, and who may change something from it: names by which a browser may
 * call us, the origin of a page that may open our socket, and the two tokens that are needed as
 * soon as other machines can reach us. Only uf_access_open touches files. Any thread. */
#ifndef UF_DAEMON_ACCESS_H
#define UF_DAEMON_ACCESS_H

#include "config/config.h"

#include <stdbool.h>
#include <stddef.h>

#define UF_TOKEN_DIGITS 64 /* 256 bits as hex digits */

/* Each includes those before it. */
enum uf_right { UF_RIGHT_NONE, UF_RIGHT_READ, UF_RIGHT_WRITE };

struct uf_access {
    bool loopback; /* no other machine can connect: no token is asked for */
    char name[64]; /* besides addresses and localhost; empty: none */
    int port;      /* that is listened at; 0: not known yet */
    char token[UF_RIGHT_WRITE + 1][UF_TOKEN_DIGITS + 1]; /* by right; NONE is not used */
};

/* From the settings; beyond loopback reads the token files in the database's folder
 * (page-read.token, page-write.token, mode 0600), and makes those that are missing: made[right]
 * says which. Errors: a listen address that is none, a token file that others may read or that
 * holds no token. */
int uf_access_open(struct uf_access *a, const struct uf_page_settings *settings,
                   const char *database, bool made[UF_RIGHT_WRITE + 1], struct uf_error *err);
/* Path of the token's file. */
void uf_access_token_path(const char *database, enum uf_right right, char *path, size_t size);

/* Is this value of a Host header one of ours? localhost and 127.0.0.1 with our port; beyond
 * loopback also any IPv4 address (a name that another site makes point to us is no address) and
 * the name of the settings. */
bool uf_access_host(const struct uf_access *a, const char *host);
/* Does this Origin header belong to a page that came from that host? */
bool uf_access_origin(const char *origin, const char *host);
/* What somebody with this token may do; NULL: without one. Takes the same time for each token. */
enum uf_right uf_access_right(const struct uf_access *a, const char *token);

#endif
