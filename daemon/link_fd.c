/* SPDX-License-Identifier: MIT
 * Polling and reading a descriptor, and making a tty ours: see link_fd.h. One poll handle a
 * descriptor: after a hang-up libuv has stopped it, and arming it again would spin. Loop thread. */
#include "daemon/link_fd.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/serial.h>
#include <string.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

/* A tty gives 4 KB at a time. So many reads, then the loop may do other things, too. */
#define READS_AT_ONCE 32

static void hang_up(struct uf_link_fd *f)
{
    if (f->hung_up)
        f->hung_up(f);
    else
        uf_link_report_loss(f->l, "%s hung up: unplugged, or its other end is gone", f->path);
}

static void readable(uv_poll_t *poll, int status, int events)
{
    (void)events;
    struct uf_link_fd *f = poll->data;
    bool over = status < 0; /* UV_EBADF: hung up, and libuv has stopped the handle */
    uint8_t *buffer = uf_link_buffer(f->l);
    for (int i = 0; over || i < READS_AT_ONCE; i++) { /* the last bytes are read all the same */
        ssize_t n = read(f->fd, buffer, UF_LINK_READ_BYTES);
        if (n > 0) {
            if (!uf_link_report_bytes(f->l, buffer, (size_t)n))
                return;
            continue;
        }
        if (!over && n < 0 && (errno == EAGAIN || errno == EWOULDBLOCK || errno == EINTR))
            return;
        if (over || n == 0 || errno == EIO || errno == ENXIO || errno == ENODEV)
            hang_up(f);
        else
            uf_link_report_loss(f->l, "cannot read %s: %s", f->path, strerror(errno));
        return;
    }
}

int uf_link_fd_watch(struct uf_link_fd *f, struct uf_error *err)
{
    int rc = uv_poll_init(uf_link_loop(f->l), &f->poll, f->fd);
    if (rc < 0)
        return uf_fail(err, UF_EIO, "cannot listen to %s: %s", f->path, uv_strerror(rc));
    f->poll.data = f;
    uv_poll_start(&f->poll, UV_READABLE, readable);
    return UF_OK;
}

static void polled_out(uv_handle_t *poll)
{
    struct uf_link_fd *f = poll->data;
    struct uf_link *l = f->l;
    f->release(f);
    uf_link_report_closed(l);
}

void uf_link_fd_close(struct uf_link_fd *f)
{
    uv_close((uv_handle_t *)&f->poll, polled_out);
    f->let_go(f); /* allowed once uv_close has been called */
}

int uf_link_fd_replace(struct uf_link_fd *f, int fd, struct uf_error *err)
{
    /* The handle is bound to its descriptor. dup2 puts the new pipe end under the old number; epoll
     * forgot the old end when libuv stopped the handle. */
    uv_poll_stop(&f->poll);
    int rc = dup2(fd, f->fd) < 0 || fcntl(f->fd, F_SETFD, FD_CLOEXEC) != 0 ? errno : 0;
    close(fd);
    if (rc)
        return uf_fail(err, UF_EIO, "cannot open %s again: %s", f->path, strerror(rc));
    uv_poll_start(&f->poll, UV_READABLE, readable);
    return uf_tty_lock(f->fd, f->path, false, err); /* the old end's lock went with it */
}

/* ---- ttys ---- */

int uf_tty_open_failed(const char *path, int error, struct uf_error *err)
{
    switch (error) {
    case ENOENT:
    case ENXIO:
    case ENODEV:
    case EIO:
        return uf_fail(err, UF_ENOTFOUND,
                       "there is no board at %s: waiting for it (plug it in, or set link.device)",
                       path);
    case EACCES:
    case EPERM:
        return uf_fail(err, UF_EPERM,
                       "not allowed to open %s: put the user that runs underfootd into the group "
                       "dialout (usermod -aG dialout USER), then start it again",
                       path);
    case EBUSY:
        return uf_fail(err, UF_EBUSY,
                       "%s is in use by another program: close that one (fuser -v %s names it)",
                       path, path);
    default:
        return uf_fail(err, UF_EIO, "cannot open %s: %s", path, strerror(error));
    }
}

int uf_tty_lock(int fd, const char *path, bool exclusive, struct uf_error *err)
{
    if (flock(fd, LOCK_EX | LOCK_NB) != 0)
        return uf_tty_open_failed(path, errno == EWOULDBLOCK ? EBUSY : errno, err);
    if (exclusive && ioctl(fd, TIOCEXCL) != 0)
        return uf_fail(err, UF_EIO, "cannot keep other programs away from %s: %s", path,
                       strerror(errno));
    return UF_OK;
}

int uf_tty_raw(int fd, const char *path, struct uf_error *err)
{
    struct termios t;
    if (tcgetattr(fd, &t) != 0)
        return uf_tty_open_failed(path, errno, err);
    tcflag_t size = t.c_cflag & CSIZE; /* libserialport has set it on a real port */
    cfmakeraw(&t);
    t.c_cflag &= ~(tcflag_t)(HUPCL | CSIZE);
    t.c_cflag |= (tcflag_t)CLOCAL | CREAD | (size ? size : CS8);
    t.c_cc[VMIN] = 1;
    t.c_cc[VTIME] = 0;
    if (tcsetattr(fd, TCSANOW, &t) != 0)
        return uf_fail(err, UF_EIO, "cannot make %s raw: %s", path, strerror(errno));
    return UF_OK;
}

void uf_tty_low_latency(int fd)
{
    struct serial_struct s;
    memset(&s, 0, sizeof s);
    if (ioctl(fd, TIOCGSERIAL, &s) != 0)
        return;
    s.flags = (int)((unsigned)s.flags | ASYNC_LOW_LATENCY);
    (void)ioctl(fd, TIOCSSERIAL, &s);
}
