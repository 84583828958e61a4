/* SPDX-License-Identifier: MIT
 * Pseudo-terminal, file and loopback socket of underfoot-sim: see sink.h. */
#define _XOPEN_SOURCE 700 /* posix_openpt and its kind */
#include "sink.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#define SLICE_MS      100
#define PTY_HOLDS_MAX 65536 /* more than fits into one: somebody reads */

static int failed(struct uf_error *err, const char *what, const char *path)
{
    return uf_fail(err, UF_EIO, "%s: %s: %s", path, what, strerror(errno));
}

static void close_fd(int *fd)
{
    if (*fd >= 0)
        close(*fd);
    *fd = -1;
}

static void set_nonblocking(int fd)
{
    fcntl(fd, F_SETFL, fcntl(fd, F_GETFL) | O_NONBLOCK);
    fcntl(fd, F_SETFD, FD_CLOEXEC);
}

/* Puts the name in place at once, over an older link but over nothing else. */
static int link_name(const struct sink *s, struct uf_error *err)
{
    struct stat st;
    char beside[512];
    if (lstat(s->path, &st) == 0 && !S_ISLNK(st.st_mode))
        return uf_fail(err, UF_EBUSY, "%s exists and is not a symbolic link: give another name",
                       s->path);
    if (snprintf(beside, sizeof beside, "%s.%ld", s->path, (long)getpid()) >= (int)sizeof beside)
        return uf_fail(err, UF_EINVAL, "%s: the name is too long", s->path);
    unlink(beside);
    if (symlink(s->slave_name, beside) || rename(beside, s->path)) {
        int rc = failed(err, "no symbolic link can be made there", s->path);
        unlink(beside);
        return rc;
    }
    return UF_OK;
}

static void unlink_name(const struct sink *s)
{
    char target[sizeof s->slave_name];
    ssize_t n = readlink(s->path, target, sizeof target - 1);
    if (n > 0 && (size_t)n == strlen(s->slave_name) && !memcmp(target, s->slave_name, (size_t)n))
        unlink(s->path);
}

int sink_plug(struct sink *s, struct uf_error *err)
{
    if (s->kind != SINK_PTY)
        return UF_OK;
    struct termios tio;
    s->taken_bytes = 0;
    s->fd = posix_openpt(O_RDWR | O_NOCTTY);
    if (s->fd < 0 || grantpt(s->fd) || unlockpt(s->fd))
        return failed(err, "no pseudo-terminal can be made", s->path);
    const char *name = ptsname(s->fd);
    if (!name || strlen(name) >= sizeof s->slave_name)
        return uf_fail(err, UF_EIO, "the pseudo-terminal has no name");
    strcpy(s->slave_name, name);
    s->slave = open(name, O_RDWR | O_NOCTTY);
    /* a fresh pty echoes and eats bytes: raw before the first one */
    if (s->slave < 0 || tcgetattr(s->slave, &tio))
        return failed(err, "the pseudo-terminal cannot be set", name);
    cfmakeraw(&tio);
    if (tcsetattr(s->slave, TCSANOW, &tio))
        return failed(err, "the pseudo-terminal cannot be made raw", name);
    set_nonblocking(s->fd);
    fcntl(s->slave, F_SETFD, FD_CLOEXEC);
    return link_name(s, err);
}

void sink_unplug(struct sink *s)
{
    if (s->kind == SINK_PTY && s->path)
        unlink_name(s);
    if (s->kind == SINK_FILE)
        return;
    close_fd(&s->slave);
    close_fd(&s->fd);
}

int sink_open_pty(struct sink *s, const char *link, struct uf_error *err)
{
    *s = (struct sink){.kind = SINK_PTY, .path = link, .fd = -1, .slave = -1, .listener = -1};
    return sink_plug(s, err);
}

int sink_open_file(struct sink *s, const char *path, struct uf_error *err)
{
    *s = (struct sink){.kind = SINK_FILE, .path = path, .fd = -1, .slave = -1, .listener = -1};
    s->fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
    return s->fd < 0 ? failed(err, "cannot be written", path) : UF_OK;
}

int sink_open_tcp(struct sink *s, int port, struct uf_error *err)
{
    *s = (struct sink){.kind = SINK_TCP, .path = "tcp", .fd = -1, .slave = -1, .listener = -1};
    struct sockaddr_in a = {.sin_family = AF_INET, .sin_port = htons((uint16_t)port)};
    socklen_t size = sizeof a;
    int one = 1;
    a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    s->listener = socket(AF_INET, SOCK_STREAM, 0);
    if (s->listener < 0)
        return failed(err, "no socket", "tcp");
    setsockopt(s->listener, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one);
    if (bind(s->listener, (struct sockaddr *)&a, sizeof a) || listen(s->listener, 1) ||
        getsockname(s->listener, (struct sockaddr *)&a, &size))
        return failed(err, "the port on 127.0.0.1 cannot be served", "tcp");
    set_nonblocking(s->listener);
    fprintf(stderr, "underfoot-sim: serving on 127.0.0.1:%u\n", (unsigned)ntohs(a.sin_port));
    return UF_OK;
}

void sink_accept(struct sink *s, bool wait)
{
    if (s->kind != SINK_TCP || s->fd >= 0)
        return;
    struct pollfd p = {.fd = s->listener, .events = POLLIN};
    if (poll(&p, 1, wait ? 200 : 0) <= 0)
        return;
    s->fd = accept(s->listener, NULL, NULL);
    if (s->fd < 0)
        return;
    int one = 1;
    setsockopt(s->fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
    set_nonblocking(s->fd);
}

int sink_write(struct sink *s, const uint8_t *bytes, size_t n, struct uf_error *err)
{
    int waited_ms = 0;
    while (n > 0) {
        if (s->fd < 0) {
            s->dropped_bytes += n;
            return UF_OK;
        }
        ssize_t done =
            s->kind == SINK_TCP ? send(s->fd, bytes, n, MSG_NOSIGNAL) : write(s->fd, bytes, n);
        if (done > 0) {
            bytes += done;
            n -= (size_t)done;
            s->sent_bytes += (uint64_t)done;
            s->taken_bytes += (uint64_t)done;
            continue;
        }
        if (errno == EINTR)
            continue;
        if (errno == EAGAIN || errno == EWOULDBLOCK) {
            bool waits = s->patience_ms < 0 || waited_ms < s->patience_ms;
            if (!waits || (s->ended && *s->ended)) {
                s->dropped_bytes += n;
                if (s->kind == SINK_PTY && s->taken_bytes < PTY_HOLDS_MAX) {
                    tcflush(s->slave, TCIFLUSH);
                    s->dropped_bytes += s->taken_bytes;
                    s->taken_bytes = 0;
                }
                return UF_OK;
            }
            struct pollfd p = {.fd = s->fd, .events = POLLOUT};
            if (poll(&p, 1, SLICE_MS) == 0)
                waited_ms += SLICE_MS;
            continue;
        }
        if (s->kind == SINK_FILE)
            return failed(err, "cannot be written", s->path);
        if (s->kind == SINK_TCP)
            close_fd(&s->fd); /* the client is gone; another may come */
        else {
            s->dropped_bytes += n;
            return UF_OK;
        }
    }
    return UF_OK;
}

int sink_close(struct sink *s, double most_s, struct uf_error *err)
{
    int rc = UF_OK;
    if (s->kind == SINK_PTY && s->slave >= 0) {
        /* what the reader has not taken is lost at the hang-up; bytes on their way through the
         * kernel are not counted, so empty must be seen several times */
        int waiting = 0, empty = 0;
        const struct timespec tick = {0, 10000000};
        for (int i = 0; i < (int)(most_s * 100) && empty < 30; i++) {
            nanosleep(&tick, NULL);
            empty = ioctl(s->slave, FIONREAD, &waiting) || waiting == 0 ? empty + 1 : 0;
        }
    }
    if (s->kind == SINK_FILE && s->fd >= 0) {
        if (close(s->fd))
            rc = failed(err, "cannot be written", s->path);
        s->fd = -1;
    }
    sink_unplug(s);
    close_fd(&s->listener);
    return rc;
}
