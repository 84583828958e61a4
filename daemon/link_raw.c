/* SPDX-License-Identifier: MIT
 * A raw line: a pty, a FIFO, or any tty whose settings are already right. Loop thread.
 * A FIFO is opened again under the same descriptor when its last writer is gone, so that the next
 * writer always finds a reader; a fresh opening does not report the old writers' end, so nothing
 * spins. */
#include "daemon/link_fd.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

/* Character majors of pty slaves (Documentation/admin-guide/devices.txt of the kernel). */
#define PTY_MAJOR_FIRST 136
#define PTY_MAJOR_LAST  143

#define OPEN_FLAGS (O_RDONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC)

static void let_go(struct uf_link_fd *f)
{
    close(f->fd);
}

static void release(struct uf_link_fd *f)
{
    free(f);
}

static void writers_gone(struct uf_link_fd *f)
{
    struct uf_error err = {0};
    int fd = open(f->path, OPEN_FLAGS);
    if (fd < 0) {
        uf_link_report_loss(f->l, "%s is gone", f->path);
        return;
    }
    struct stat now, before;
    if (fstat(fd, &now) != 0 || fstat(f->fd, &before) != 0 || now.st_ino != before.st_ino ||
        now.st_dev != before.st_dev) {
        close(fd);
        uf_link_report_loss(f->l, "%s was put in place of another one", f->path);
    } else if (uf_link_fd_replace(f, fd, &err) != UF_OK) {
        uf_link_report_loss(f->l, "%s", err.text);
    } else {
        uf_link_report_cut(f->l, "the writer closed the FIFO");
    }
}

/* A pty gets no TIOCEXCL: it would outlive a killed daemon while the other side keeps the pty
 * open. */
static int make_ours(int fd, const struct stat *st, const char *path, struct uf_error *err)
{
    unsigned kind = major(st->st_rdev);
    bool pty = kind >= PTY_MAJOR_FIRST && kind <= PTY_MAJOR_LAST;
    int rc = uf_tty_lock(fd, path, !pty, err);
    if (!rc)
        rc = uf_tty_raw(fd, path, err);
    if (!rc && !pty)
        uf_tty_low_latency(fd);
    return rc;
}

static int check_kind(int fd, const char *path, struct stat *st, struct uf_error *err)
{
    if (fstat(fd, st) != 0)
        return uf_fail(err, UF_EIO, "cannot look at %s: %s", path, strerror(errno));
    if (S_ISFIFO(st->st_mode) || (S_ISCHR(st->st_mode) && isatty(fd)))
        return UF_OK;
    if (S_ISREG(st->st_mode))
        return uf_fail(err, UF_EINVAL,
                       "%s is a plain file: to play a recording set link.type = replay", path);
    return uf_fail(err, UF_EINVAL, "%s is neither a tty nor a FIFO: set link.device", path);
}

static int open_raw(struct uf_link *l, struct uf_error *err)
{
    const char *path = uf_link_path(l);
    int fd = open(path, OPEN_FLAGS);
    if (fd < 0)
        return uf_tty_open_failed(path, errno, err);
    struct stat st;
    int rc = check_kind(fd, path, &st, err);
    bool fifo = !rc && S_ISFIFO(st.st_mode);
    if (!rc)
        rc = fifo ? uf_tty_lock(fd, path, false, err) : make_ours(fd, &st, path, err);
    struct uf_link_fd *f = rc ? NULL : calloc(1, sizeof *f);
    if (!rc && !f)
        rc = uf_fail(err, UF_ENOMEM, "no memory to listen to %s", path);
    if (!rc) {
        *f = (struct uf_link_fd){.l = l,
                                 .fd = fd,
                                 .path = path,
                                 .hung_up = fifo ? writers_gone : NULL,
                                 .let_go = let_go,
                                 .release = release};
        rc = uf_link_fd_watch(f, err);
    }
    if (rc) {
        free(f);
        close(fd);
        return rc;
    }
    uf_link_set_state(l, f);
    uf_link_report_open(l);
    return UF_OK;
}

static void close_raw(struct uf_link *l)
{
    uf_link_fd_close(uf_link_state(l));
}

const struct uf_link_driver uf_link_raw = {.name = "raw", .open = open_raw, .close = close_raw};
