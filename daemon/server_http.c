/* SPDX-License-Identifier: MIT
 * Requests for the page's files, and which upgrade to a websocket is let through. Every answer
 * carries the same strict headers. Loop thread. */
#include "daemon/assets.h"
#include "daemon/server_in.h"

#include <string.h>
#include <strings.h>

#define CHUNK 8192

/* Nothing from elsewhere, nothing inline, no frame around us, no form to anywhere. */
static const struct {
    const char *name, *value;
} headers[] = {
    {"content-security-policy:",
     "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
     "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"},
    {"x-content-type-options:", "nosniff"},
    {"x-frame-options:", "DENY"},
    {"referrer-policy:", "no-referrer"},
    {"cross-origin-resource-policy:", "same-origin"},
    {"cross-origin-opener-policy:", "same-origin"},
    {"cache-control:", "no-cache"},
};

static const struct refusal {
    unsigned code;
    const char *text;
} not_found = {404, "There is no such page here. The page is at /\n"},
  bad_method = {405, "Only GET and HEAD are answered here.\n"},
  bad_host = {403, "This name is not one of ours: use the address that underfootd printed, or "
                   "set page.name.\n"},
  bad_origin = {403, "Another site's page may not ask here.\n"},
  bad_upgrade = {400, "The only socket here is " UF_SOCKET_PATH
                      ", with protocol " UF_SOCKET_PROTOCOL ".\n"};

static int add(struct lws *wsi, const char *name, const char *value, unsigned char **p,
               unsigned char *end)
{
    return lws_add_http_header_by_name(wsi, (const unsigned char *)name,
                                       (const unsigned char *)value, (int)strlen(value), p, end);
}

/* Sends the head, and remembers the body. */
static int begin(struct lws *wsi, struct uf_http *h, unsigned code, const char *type,
                 const unsigned char *data, size_t size, bool head_only)
{
    unsigned char buffer[LWS_PRE + 2048], *start = buffer + LWS_PRE, *p = start,
                                          *end = buffer + sizeof buffer - 1;
    int bad = lws_add_http_header_status(wsi, code, &p, end);
    bad = bad || add(wsi, "content-type:", type, &p, end);
    for (size_t i = 0; !bad && i < sizeof headers / sizeof headers[0]; i++)
        bad = add(wsi, headers[i].name, headers[i].value, &p, end);
    if (!bad && code == 405)
        bad = add(wsi, "allow:", "GET, HEAD", &p, end);
    if (bad || lws_add_http_header_content_length(wsi, size, &p, end) ||
        lws_finalize_write_http_header(wsi, start, &p, end))
        return -1;
    h->data = data;
    h->left = head_only ? 0 : size;
    lws_callback_on_writable(wsi);
    return 0;
}

static int refuse(struct lws *wsi, struct uf_http *h, const struct refusal *why)
{
    return begin(wsi, h, why->code, "text/plain; charset=utf-8", (const unsigned char *)why->text,
                 strlen(why->text), false);
}

/* Host, and Origin where there is one (or where there must be one). */
static const struct refusal *check_names(struct lws *wsi, const struct uf_access *access,
                                         bool origin_needed)
{
    char host[128] = "", origin[160] = "";
    if (lws_hdr_copy(wsi, host, sizeof host, WSI_TOKEN_HOST) <= 0 || !uf_access_host(access, host))
        return &bad_host;
    int n = lws_hdr_total_length(wsi, WSI_TOKEN_ORIGIN);
    if (n == 0)
        return origin_needed ? &bad_origin : NULL;
    if (lws_hdr_copy(wsi, origin, sizeof origin, WSI_TOKEN_ORIGIN) <= 0 ||
        !uf_access_origin(origin, host))
        return &bad_origin;
    return NULL;
}

int uf_http_request(struct lws *wsi, struct uf_http *h, const struct uf_access *access,
                    const char *path, struct uf_server_counts *counts)
{
    bool head = lws_hdr_total_length(wsi, WSI_TOKEN_HEAD_URI) > 0;
    const struct refusal *why = check_names(wsi, access, false);
    counts->requests++;
    if (!why && !head && lws_hdr_total_length(wsi, WSI_TOKEN_GET_URI) == 0)
        why = &bad_method;
    for (size_t i = 0; !why && i < uf_asset_count; i++)
        if (strcmp(path, uf_assets[i].path) == 0)
            return begin(wsi, h, 200, uf_assets[i].type, uf_assets[i].data, uf_assets[i].size,
                         head);
    counts->refused_requests++;
    return refuse(wsi, h, why ? why : &not_found);
}

int uf_http_writable(struct lws *wsi, struct uf_http *h)
{
    unsigned char buffer[LWS_PRE + CHUNK];
    if (h->left > 0) {
        size_t n = h->left < CHUNK ? h->left : CHUNK;
        memcpy(buffer + LWS_PRE, h->data, n);
        h->data += n;
        h->left -= n;
        if (lws_write(wsi, buffer + LWS_PRE, n, h->left ? LWS_WRITE_HTTP : LWS_WRITE_HTTP_FINAL) <
            (int)n)
            return -1;
        if (h->left > 0) {
            lws_callback_on_writable(wsi);
            return 0;
        }
    }
    return lws_http_transaction_completed(wsi) ? -1 : 0;
}

int uf_http_upgrade(struct lws *wsi, const struct uf_access *access)
{
    char path[64] = "", protocol[64] = "", to[32] = "";
    /* libwebsockets has answered an upgrade that it does not know, given the head back, and asks us
     * all the same: what it says the upgrade is to is freed memory then. */
    if (lws_hdr_total_length(wsi, WSI_TOKEN_UPGRADE) <= 0)
        return -1;
    const struct refusal *why = check_names(wsi, access, true);
    bool good = lws_hdr_copy(wsi, to, sizeof to, WSI_TOKEN_UPGRADE) > 0 &&
                strcasecmp(to, "websocket") == 0 &&
                lws_hdr_copy(wsi, path, sizeof path, WSI_TOKEN_GET_URI) > 0 &&
                strcmp(path, UF_SOCKET_PATH) == 0 &&
                lws_hdr_copy(wsi, protocol, sizeof protocol, WSI_TOKEN_PROTOCOL) > 0 &&
                strcmp(protocol, UF_SOCKET_PROTOCOL) == 0;
    if (!why && !good)
        why = &bad_upgrade;
    if (!why)
        return 0;
    return lws_return_http_status(wsi, why->code, why->text) < 0 ? -1 : 1;
}
