/* SPDX-License-Identifier: MIT
 * A serial port at the other end of a TCP connection (a bridge such as ser2net): host:port, every
 * address of the name in turn, each with a time limit; keepalive, so that a dead bridge is noticed.
 * Owns a resolver request, one socket, one timer. Loop thread. */
#include "daemon/link_driver.h"

#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

#define CONNECT_MS       5000
#define KEEPALIVE_S      5 /* silence before the first probe, and between probes */
#define KEEPALIVE_PROBES 3

#define HOST_MAX 256
#define PORT_MAX 6

struct tcp {
    struct uf_link *l;
    const char *name; /* as set */
    uv_getaddrinfo_t resolve;
    uv_tcp_t socket;
    uv_connect_t connect;
    uv_timer_t timer;
    struct addrinfo *addresses, *next; /* next to try */
    int last_error;
    bool resolving, has_socket, has_timer, closing;
};

/* "host:port" or "[v6 address]:port". */
static int split(const char *device, char *host, char *port, struct uf_error *err)
{
    const char *colon = strrchr(device, ':');
    size_t host_n = colon ? (size_t)(colon - device) : 0, port_n = colon ? strlen(colon + 1) : 0;
    const char *from = device;
    if (host_n >= 2 && from[0] == '[' && from[host_n - 1] == ']') {
        from++;
        host_n -= 2;
    } else if (host_n > 0 && memchr(from, ':', host_n)) {
        host_n = 0; /* a bare v6 address: which colon is it? */
    }
    long number = port_n > 0 && port_n < PORT_MAX && strspn(colon + 1, "0123456789") == port_n
                      ? strtol(colon + 1, NULL, 10)
                      : 0;
    if (host_n == 0 || host_n >= HOST_MAX || number < 1 || number > 65535)
        return uf_fail(err, UF_EINVAL,
                       "link.device is \"%.100s\": for link.type = tcp give host:port, as in "
                       "192.168.1.20:3001 or [fe80::1]:3001",
                       device);
    memcpy(host, from, host_n);
    host[host_n] = '\0';
    memcpy(port, colon + 1, port_n + 1);
    return UF_OK;
}

static int check(const struct uf_link_settings *s, struct uf_error *err)
{
    char host[HOST_MAX], port[PORT_MAX];
    return split(s->device, host, port, err);
}

/* ---- closing: whatever is under way must call back first ---- */

static void done_if_closed(struct tcp *t)
{
    if (t->resolving || t->has_socket || t->has_timer)
        return;
    struct uf_link *l = t->l;
    if (t->addresses)
        uv_freeaddrinfo(t->addresses);
    free(t);
    uf_link_report_closed(l);
}

static void timer_closed(uv_handle_t *timer)
{
    struct tcp *t = timer->data;
    t->has_timer = false;
    done_if_closed(t);
}

static void socket_closed(uv_handle_t *socket)
{
    struct tcp *t = socket->data;
    t->has_socket = false;
    done_if_closed(t);
}

static void close_tcp(struct uf_link *l)
{
    struct tcp *t = uf_link_state(l);
    t->closing = true;
    if (t->resolving)
        (void)uv_cancel((uv_req_t *)&t->resolve);
    if (t->has_socket && !uv_is_closing((uv_handle_t *)&t->socket))
        uv_close((uv_handle_t *)&t->socket, socket_closed);
    uv_close((uv_handle_t *)&t->timer, timer_closed);
}

/* ---- reading ---- */

static void allocate(uv_handle_t *socket, size_t wanted, uv_buf_t *buffer)
{
    (void)wanted;
    struct tcp *t = socket->data;
    *buffer = uv_buf_init((char *)uf_link_buffer(t->l), UF_LINK_READ_BYTES);
}

static void received(uv_stream_t *socket, ssize_t n, const uv_buf_t *buffer)
{
    struct tcp *t = socket->data;
    if (n > 0)
        (void)uf_link_report_bytes(t->l, (const uint8_t *)buffer->base, (size_t)n);
    else if (n == UV_EOF)
        uf_link_report_loss(t->l, "%s closed the connection", t->name);
    else if (n < 0)
        uf_link_report_loss(t->l, "lost the connection to %s: %s", t->name, uv_strerror((int)n));
}

static void keep_alive(struct tcp *t)
{
    uv_tcp_keepalive(&t->socket, 1, KEEPALIVE_S);
    uv_os_fd_t fd;
    if (uv_fileno((uv_handle_t *)&t->socket, &fd) != 0)
        return;
    int every_s = KEEPALIVE_S, probes = KEEPALIVE_PROBES;
    (void)setsockopt(fd, IPPROTO_TCP, TCP_KEEPINTVL, &every_s, sizeof every_s);
    (void)setsockopt(fd, IPPROTO_TCP, TCP_KEEPCNT, &probes, sizeof probes);
}

/* ---- connecting ---- */

static void try_next(struct tcp *t);

static void failed_socket_closed(uv_handle_t *socket)
{
    struct tcp *t = socket->data;
    t->has_socket = false;
    if (t->closing)
        done_if_closed(t);
    else
        try_next(t);
}

static void connected(uv_connect_t *connect, int status)
{
    struct tcp *t = connect->data;
    if (t->closing)
        return;
    uv_timer_stop(&t->timer);
    if (status < 0) {
        if (status != UV_ECANCELED) /* by the time limit: it has set last_error */
            t->last_error = status;
        if (!uv_is_closing((uv_handle_t *)&t->socket))
            uv_close((uv_handle_t *)&t->socket, failed_socket_closed);
        return;
    }
    keep_alive(t);
    uf_link_report_open(t->l);
    uv_read_start((uv_stream_t *)&t->socket, allocate, received);
}

static void too_slow(uv_timer_t *timer)
{
    struct tcp *t = timer->data;
    t->last_error = UV_ETIMEDOUT;
    if (!uv_is_closing((uv_handle_t *)&t->socket))
        uv_close((uv_handle_t *)&t->socket, failed_socket_closed);
}

static void try_next(struct tcp *t)
{
    struct addrinfo *a = t->next;
    if (!a) {
        uf_link_report_loss(t->l, "cannot connect to %s: %s; waiting for the bridge (link.device)",
                            t->name, uv_strerror(t->last_error));
        return;
    }
    t->next = a->ai_next;
    uv_tcp_init(uf_link_loop(t->l), &t->socket);
    t->socket.data = t;
    t->has_socket = true;
    t->connect.data = t;
    int rc = uv_tcp_connect(&t->connect, &t->socket, a->ai_addr, connected);
    if (rc < 0) {
        t->last_error = rc;
        uv_close((uv_handle_t *)&t->socket, failed_socket_closed);
        return;
    }
    uv_timer_start(&t->timer, too_slow, CONNECT_MS, 0);
}

static void resolved(uv_getaddrinfo_t *resolve, int status, struct addrinfo *addresses)
{
    struct tcp *t = resolve->data;
    t->resolving = false;
    t->addresses = addresses;
    t->next = addresses;
    if (t->closing) {
        done_if_closed(t);
    } else if (status < 0) {
        uf_link_report_loss(t->l, "cannot find the host of %s: %s (link.device)", t->name,
                            uv_strerror(status));
    } else {
        t->last_error = UV_EAI_NONAME;
        try_next(t);
    }
}

static int open_tcp(struct uf_link *l, struct uf_error *err)
{
    char host[HOST_MAX], port[PORT_MAX];
    const char *name = uf_link_settings(l)->device;
    int rc = split(name, host, port, err);
    if (rc)
        return rc;
    struct tcp *t = calloc(1, sizeof *t);
    if (!t)
        return uf_fail(err, UF_ENOMEM, "no memory to connect to %s", name);
    t->l = l;
    t->name = name;
    t->resolve.data = t;
    const struct addrinfo hints = {.ai_socktype = SOCK_STREAM, .ai_protocol = IPPROTO_TCP};
    rc = uv_getaddrinfo(uf_link_loop(l), &t->resolve, resolved, host, port, &hints);
    if (rc < 0) {
        free(t);
        return uf_fail(err, UF_EIO, "cannot look for the host of %s: %s", name, uv_strerror(rc));
    }
    t->resolving = true;
    uv_timer_init(uf_link_loop(l), &t->timer);
    t->timer.data = t;
    t->has_timer = true;
    uf_link_set_state(l, t);
    return UF_OK;
}

const struct uf_link_driver uf_link_tcp = {
    .name = "tcp", .check = check, .open = open_tcp, .close = close_tcp};
