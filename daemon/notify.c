/* SPDX-License-Identifier: MIT
 * sd_notify(3)'s protocol: see notify.h. Owns one datagram socket. */
#include "daemon/notify.h"

#include <errno.h>
#include <fcntl.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

struct uf_notify {
    int fd; /* -1: nobody asked */
    struct sockaddr_un to;
    socklen_t to_size;
    uint64_t watchdog_ms;
};

/* A whole number above 0 and nothing else, or 0. */
static uint64_t number_of(const char *text)
{
    if (!text || *text < '0' || *text > '9')
        return 0;
    char *end;
    errno = 0;
    unsigned long long v = strtoull(text, &end, 10);
    return errno || *end ? 0 : (uint64_t)v;
}

/* WATCHDOG_PID says whom systemd watches, when it is set. */
static uint64_t watchdog_ms(void)
{
    const char *pid = getenv("WATCHDOG_PID");
    if (pid && number_of(pid) != (uint64_t)getpid())
        return 0;
    uint64_t us = number_of(getenv("WATCHDOG_USEC"));
    if (us == 0)
        return 0;
    return us / 2000 ? us / 2000 : 1;
}

int uf_notify_new(struct uf_notify **out, struct uf_error *err)
{
    *out = calloc(1, sizeof **out);
    struct uf_notify *n = *out;
    if (!n)
        return uf_fail(err, UF_ENOMEM, "no memory to tell systemd");
    n->fd = -1;
    const char *name = getenv("NOTIFY_SOCKET");
    if (!name || !*name)
        return UF_OK;
    size_t length = strlen(name);
    int rc = UF_OK;
    if ((name[0] != '/' && name[0] != '@') || length < 2)
        rc = uf_fail(err, UF_EINVAL,
                     "NOTIFY_SOCKET is \"%.100s\": it must be an absolute path or @name", name);
    else if (length >= sizeof n->to.sun_path)
        rc = uf_fail(err, UF_EINVAL, "NOTIFY_SOCKET has %zu characters, %zu are the most", length,
                     sizeof n->to.sun_path - 1);
    if (!rc) {
        n->to.sun_family = AF_UNIX;
        memcpy(n->to.sun_path, name, length);
        if (name[0] == '@') /* abstract: a zero byte first, and no zero byte at the end */
            n->to.sun_path[0] = '\0';
        n->to_size =
            (socklen_t)(offsetof(struct sockaddr_un, sun_path) + length + (name[0] == '@' ? 0 : 1));
        n->fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
        if (n->fd < 0)
            rc = uf_fail(err, UF_EIO, "no socket to tell systemd: %s", strerror(errno));
    }
    if (rc) {
        uf_notify_free(n);
        *out = NULL;
        return rc;
    }
    n->watchdog_ms = watchdog_ms();
    return UF_OK;
}

void uf_notify_free(struct uf_notify *n)
{
    if (!n)
        return;
    if (n->fd >= 0)
        close(n->fd);
    free(n);
}

bool uf_notify_send(struct uf_notify *n, const char *message)
{
    if (n->fd < 0)
        return false;
    size_t length = strlen(message);
    ssize_t sent = sendto(n->fd, message, length, MSG_DONTWAIT | MSG_NOSIGNAL,
                          (const struct sockaddr *)&n->to, n->to_size);
    return sent == (ssize_t)length;
}

bool uf_notify_status(struct uf_notify *n, const char *text)
{
    char message[600];
    snprintf(message, sizeof message, "STATUS=%s", text);
    for (char *p = message; *p; p++)
        if (*p == '\n')
            *p = ' ';
    return uf_notify_send(n, message);
}

uint64_t uf_notify_watchdog_ms(const struct uf_notify *n)
{
    return n->watchdog_ms;
}
