/* SPDX-License-Identifier: MIT
 * Inside the server: what server.c (connections, websocket) and server_http.c (requests for files)
 * share. */
#ifndef UF_DAEMON_SERVER_IN_H
#define UF_DAEMON_SERVER_IN_H

#include "daemon/server.h"

#include <libwebsockets.h>

/* Per connection, while it speaks HTTP; lws owns it. */
struct uf_http {
    const unsigned char *data; /* what is left to send */
    size_t left;
};

/* LWS_CALLBACK_HTTP, .._HTTP_WRITEABLE: as lws wants them answered. */
int uf_http_request(struct lws *wsi, struct uf_http *h, const struct uf_access *access,
                    const char *path, struct uf_server_counts *counts);
int uf_http_writable(struct lws *wsi, struct uf_http *h);
/* LWS_CALLBACK_HTTP_CONFIRM_UPGRADE: 0: go on; 1: refused with an answer; -1: hang up. */
int uf_http_upgrade(struct lws *wsi, const struct uf_access *access);

#define UF_SOCKET_PATH     "/live"
#define UF_SOCKET_PROTOCOL "underfoot"

#endif
