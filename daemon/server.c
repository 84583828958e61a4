/* SPDX-License-Identifier: MIT
 * Connections, websockets, limits and queues: see server.h. Owns the libwebsockets context, which
 * runs on the daemon's loop. Loop thread. */
#include "daemon/server.h"

#include "base/log.h"
#include "daemon/server_in.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#define PING_S      7  /* nothing heard for so long: ask whether it is still there, */
#define HANG_UP_S   15 /* .. and give up after so long */
#define KEEPALIVE_S 5
#define FDS_MAX     1024

struct uf_message {
    int users;
    size_t n;
    unsigned char text[]; /* LWS_PRE bytes for lws, then n */
};

struct client {
    struct client *next;
    struct lws *wsi;
    uf_client number;
    enum uf_right right;
    struct uf_message *queue[UF_SERVER_QUEUE_MAX]; /* a ring */
    int first, waiting;
    size_t waiting_bytes;
    struct uf_message *live;
    double allowance; /* questions that it may ask now */
    uint64_t allowance_ms;
    bool cut;
    size_t n; /* bytes of a question so far */
    char question[UF_SERVER_QUESTION_MAX];
};

struct uf_server {
    struct uf_server_config c;
    struct lws_context *context; /* lws makes it NULL when it is gone */
    struct client *clients;
    uf_client last_number;
    int client_count, connection_count;
    struct uf_server_counts counts;
};

/* ---- messages ---- */

struct uf_message *uf_message_text(const char *text, size_t n)
{
    struct uf_message *m = malloc(sizeof *m + LWS_PRE + n);
    if (!m)
        return NULL;
    m->users = 1;
    m->n = n;
    memcpy(m->text + LWS_PRE, text, n);
    return m;
}

struct uf_message *uf_message_new(json_t *json)
{
    char *text = json ? json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(6)) : NULL;
    struct uf_message *m = text ? uf_message_text(text, strlen(text)) : NULL;
    free(text);
    json_decref(json);
    return m;
}

void uf_message_free(struct uf_message *m)
{
    if (m && --m->users == 0)
        free(m);
}

static struct uf_message *share(struct uf_message *m)
{
    m->users++;
    return m;
}

/* ---- clients ---- */

static void cut_off(struct uf_server *s, struct client *c)
{
    if (c->cut)
        return;
    c->cut = true;
    s->counts.cut_off++;
    lws_set_timeout(c->wsi, PENDING_TIMEOUT_CLOSE_SEND, LWS_TO_KILL_ASYNC);
}

static void queue(struct uf_server *s, struct client *c, struct uf_message *m)
{
    if (c->cut)
        return;
    if (c->waiting == UF_SERVER_QUEUE_MAX || c->waiting_bytes + m->n > UF_SERVER_UNREAD_MAX) {
        cut_off(s, c);
        return;
    }
    c->queue[(c->first + c->waiting++) % UF_SERVER_QUEUE_MAX] = share(m);
    c->waiting_bytes += m->n;
    lws_callback_on_writable(c->wsi);
}

void uf_server_send(struct uf_server *s, uf_client client, struct uf_message *m)
{
    for (struct client *c = s->clients; m && c; c = c->next)
        if (c->right != UF_RIGHT_NONE && (client == 0 || client == c->number))
            queue(s, c, m);
}

void uf_server_send_live(struct uf_server *s, struct uf_message *m)
{
    for (struct client *c = s->clients; m && c; c = c->next) {
        if (c->right == UF_RIGHT_NONE || c->cut)
            continue;
        if (c->live) {
            s->counts.live_skipped++;
            uf_message_free(c->live);
        }
        c->live = share(m);
        lws_callback_on_writable(c->wsi);
    }
}

static int write_next(struct client *c)
{
    struct uf_message *m = c->live;
    if (c->waiting > 0) {
        m = c->queue[c->first];
        c->first = (c->first + 1) % UF_SERVER_QUEUE_MAX;
        c->waiting--;
        c->waiting_bytes -= m->n;
    } else {
        c->live = NULL;
    }
    if (!m)
        return 0;
    int written = lws_write(c->wsi, m->text + LWS_PRE, m->n, LWS_WRITE_TEXT);
    bool whole =
        written >= 0 && (size_t)written >= m->n; /* lws keeps what the kernel did not take */
    uf_message_free(m);
    if (c->waiting > 0 || c->live)
        lws_callback_on_writable(c->wsi);
    return whole ? 0 : -1;
}

static int hang_up(struct uf_server *s, struct client *c, enum lws_close_status status,
                   const char *why)
{
    unsigned char text[100];
    size_t n = strlen(why);
    assert(n < sizeof text);
    memcpy(text, why, n);
    lws_close_reason(c->wsi, status, text, n);
    if (!c->cut)
        s->counts.cut_off++;
    c->cut = true;
    return -1;
}

static void let_in(struct uf_server *s, struct client *c, enum uf_right right)
{
    c->right = right;
    s->c.entered(s->c.who, c->number, right);
}

static bool may_ask(struct uf_server *s, struct client *c)
{
    uint64_t now_ms = uv_now(s->c.loop);
    c->allowance += 1e-3 * (double)(now_ms - c->allowance_ms) * UF_SERVER_QUESTIONS_S;
    c->allowance_ms = now_ms;
    if (c->allowance > UF_SERVER_QUESTIONS_BURST)
        c->allowance = UF_SERVER_QUESTIONS_BURST;
    c->allowance -= 1;
    return c->allowance >= 0;
}

static int take_question(struct uf_server *s, struct client *c)
{
    json_error_t why;
    json_t *question = json_loadb(c->question, c->n, 0, &why);
    int rc = 0;
    c->n = 0;
    if (!json_is_object(question)) {
        s->counts.bad_questions++;
        rc = hang_up(s, c, LWS_CLOSE_STATUS_POLICY_VIOLATION, "not a JSON object");
    } else if (c->right != UF_RIGHT_NONE) {
        s->c.asked(s->c.who, c->number, c->right, question);
    } else {
        enum uf_right right =
            uf_access_right(s->c.access, json_string_value(json_object_get(question, "token")));
        if (right != UF_RIGHT_NONE)
            let_in(s, c, right);
        else
            rc = hang_up(s, c, LWS_CLOSE_STATUS_POLICY_VIOLATION, "no such token");
    }
    json_decref(question);
    return rc;
}

static int received(struct uf_server *s, struct client *c, const void *bytes, size_t n)
{
    if (c->cut)
        return -1;
    if (lws_frame_is_binary(c->wsi) || n > sizeof c->question - c->n) {
        s->counts.bad_questions++;
        return hang_up(s, c, LWS_CLOSE_STATUS_MESSAGE_TOO_LARGE, "too long, or not text");
    }
    memcpy(c->question + c->n, bytes, n);
    c->n += n;
    if (!lws_is_final_fragment(c->wsi) || lws_remaining_packet_payload(c->wsi) > 0)
        return 0;
    if (!may_ask(s, c))
        return hang_up(s, c, LWS_CLOSE_STATUS_POLICY_VIOLATION, "too many questions");
    return take_question(s, c);
}

static int established(struct uf_server *s, struct client *c, struct lws *wsi)
{
    memset(c, 0, sizeof *c);
    c->wsi = wsi;
    c->number = ++s->last_number;
    c->allowance = UF_SERVER_QUESTIONS_BURST;
    c->allowance_ms = uv_now(s->c.loop);
    c->next = s->clients;
    s->clients = c;
    if (++s->client_count > UF_SERVER_CLIENTS_MAX) {
        s->counts.turned_away++;
        return hang_up(s, c, LWS_CLOSE_STATUS_POLICY_VIOLATION, "too many browsers");
    }
    if (s->c.access->loopback)
        let_in(s, c, UF_RIGHT_WRITE);
    else
        lws_set_timer_usecs(wsi, UF_SERVER_ENTER_S * LWS_USEC_PER_SEC);
    return 0;
}

static void closed(struct uf_server *s, struct client *c)
{
    for (struct client **p = &s->clients; *p; p = &(*p)->next)
        if (*p == c) {
            *p = c->next;
            s->client_count--;
            break;
        }
    while (c->waiting > 0) {
        uf_message_free(c->queue[c->first]);
        c->first = (c->first + 1) % UF_SERVER_QUEUE_MAX;
        c->waiting--;
    }
    uf_message_free(c->live);
    c->live = NULL;
}

/* ---- what libwebsockets calls ---- */

static int on_socket(struct lws *wsi, enum lws_callback_reasons reason, void *user, void *in,
                     size_t n)
{
    struct uf_server *s = lws_context_user(lws_get_context(wsi));
    struct client *c = user;
    switch (reason) {
    case LWS_CALLBACK_ESTABLISHED:
        return established(s, c, wsi);
    case LWS_CALLBACK_RECEIVE:
        return received(s, c, in, n);
    case LWS_CALLBACK_SERVER_WRITEABLE:
        return c->cut ? -1 : write_next(c);
    case LWS_CALLBACK_TIMER:
        return c->right != UF_RIGHT_NONE
                   ? 0
                   : hang_up(s, c, LWS_CLOSE_STATUS_POLICY_VIOLATION, "no token came");
    case LWS_CALLBACK_CLOSED:
        closed(s, c);
        return 0;
    default:
        return 0;
    }
}

static int on_http(struct lws *wsi, enum lws_callback_reasons reason, void *user, void *in,
                   size_t n)
{
    struct uf_server *s = lws_context_user(lws_get_context(wsi));
    int rc;
    switch (reason) {
    case LWS_CALLBACK_FILTER_NETWORK_CONNECTION:
        if (s->connection_count < UF_SERVER_CONNECTIONS_MAX)
            return 0;
        s->counts.turned_away++;
        return -1;
    case LWS_CALLBACK_SERVER_NEW_CLIENT_INSTANTIATED:
        s->counts.connections++;
        s->connection_count++;
        lws_set_opaque_user_data(wsi, s); /* counted */
        return 0;
    case LWS_CALLBACK_WSI_DESTROY:
        if (lws_get_opaque_user_data(wsi) == s)
            s->connection_count--;
        return 0;
    case LWS_CALLBACK_HTTP:
        return uf_http_request(wsi, user, s->c.access, in, &s->counts);
    case LWS_CALLBACK_HTTP_WRITEABLE:
        return uf_http_writable(wsi, user);
    case LWS_CALLBACK_HTTP_CONFIRM_UPGRADE:
        rc = uf_http_upgrade(wsi, s->c.access);
        s->counts.refused_upgrades += rc != 0;
        return rc;
    case LWS_CALLBACK_HTTP_BODY:
        return -1; /* nobody was asked for one */
    default:
        return lws_callback_http_dummy(wsi, reason, user, in, n);
    }
}

static const struct lws_protocols protocols[] = {
    {.name = "http", .callback = on_http, .per_session_data_size = sizeof(struct uf_http)},
    {.name = UF_SOCKET_PROTOCOL,
     .callback = on_socket,
     .per_session_data_size = sizeof(struct client),
     .rx_buffer_size = UF_SERVER_QUESTION_MAX},
    {.name = NULL},
};

static const lws_retry_bo_t patience = {.secs_since_valid_ping = PING_S,
                                        .secs_since_valid_hangup = HANG_UP_S};

/* ---- life ---- */

static int make_context(struct uf_server *s, struct uf_error *err)
{
    void *loops[1] = {s->c.loop};
    struct lws_context_creation_info info = {
        .options = LWS_SERVER_OPTION_LIBUV | LWS_SERVER_OPTION_EXPLICIT_VHOSTS |
                   LWS_SERVER_OPTION_DISABLE_IPV6,
        .foreign_loops = loops,
        .pcontext = &s->context,
        .user = s,
        .server_string = "underfoot",
        .max_http_header_data = UF_SERVER_HEADERS_MAX,
        .max_http_header_pool = UF_SERVER_CONNECTIONS_MAX,
        .fd_limit_per_thread = FDS_MAX,
        .timeout_secs = UF_SERVER_HEAD_S,
    };
    lws_set_log_level(0, NULL);
    s->context = lws_create_context(&info);
    if (!s->context)
        return uf_fail(err, UF_EIO,
                       "libwebsockets does not start; is its part for libuv installed (Debian: "
                       "libwebsockets-evlib-uv)? page.serve = off does without the page");
    return UF_OK;
}

static int listen_at(struct uf_server *s, struct uf_error *err)
{
    const struct uf_page_settings *p = s->c.settings;
    bool everywhere = strcmp(p->listen, "0.0.0.0") == 0;
    struct lws_context_creation_info info = {
        .port = p->port,
        .iface = everywhere ? NULL : p->listen,
        .protocols = protocols,
        .vhost_name = "underfoot",
        .options = LWS_SERVER_OPTION_DISABLE_IPV6,
        .keepalive_timeout = KEEPALIVE_S,
        .timeout_secs_ah_idle = UF_SERVER_HEAD_S,
        .retry_and_idle_policy = &patience,
        .server_string = "underfoot",
    };
    struct lws_vhost *vhost = lws_create_vhost(s->context, &info);
    int port = vhost ? lws_get_vhost_listen_port(vhost) : 0;
    if (port <= 0)
        return uf_fail(err, UF_EBUSY,
                       "cannot listen at %s:%d for the page: another program (or another "
                       "underfootd) has that port, or no network card has that address; set "
                       "page.port or page.listen, or page.serve = off",
                       p->listen, p->port);
    s->c.access->port = port;
    return UF_OK;
}

int uf_server_new(struct uf_server **out, const struct uf_server_config *config,
                  struct uf_error *err)
{
    *out = NULL;
    struct uf_server *s = calloc(1, sizeof *s);
    if (!s)
        return uf_fail(err, UF_ENOMEM, "no memory for the page's server");
    s->c = *config;
    *out = s; /* what lws has made must be stopped, too */
    int rc = make_context(s, err);
    return rc ? rc : listen_at(s, err);
}

void uf_server_stop(struct uf_server *s)
{
    if (s && s->context)
        lws_context_destroy(s->context);
}

void uf_server_free(struct uf_server *s)
{
    if (!s)
        return;
    if (s->context)
        lws_context_destroy(s->context); /* the second time: the loop has run, it is let go of */
    free(s);
}

int uf_server_clients(const struct uf_server *s)
{
    int n = 0;
    for (const struct client *c = s->clients; c; c = c->next)
        n += c->right != UF_RIGHT_NONE;
    return n;
}

void uf_server_counts(const struct uf_server *s, struct uf_server_counts *out)
{
    *out = s->counts;
}
