/* SPDX-License-Identifier: MIT
 * What serial and raw lines share: a file descriptor that the loop polls and reads, and how a tty
 * is made ours. Linux only (TIOCEXCL, ASYNC_LOW_LATENCY). Loop thread. */
#ifndef UF_DAEMON_LINK_FD_H
#define UF_DAEMON_LINK_FD_H

#include "daemon/link_driver.h"

struct uf_link_fd {
    struct uf_link *l;
    uv_poll_t poll;
    int fd;
    const char *path; /* for sentences */
    /* read() gave 0 or EIO: nobody is at the other end. NULL: the line is lost. */
    void (*hung_up)(struct uf_link_fd *f);
    /* Closes fd, by whatever opened it. */
    void (*let_go)(struct uf_link_fd *f);
    /* Frees the driver's struct; called last. */
    void (*release)(struct uf_link_fd *f);
};

/* Begins to poll f->fd (made non-blocking); the rest of *f is filled. On error nothing is left
 * behind but the fd. */
int uf_link_fd_watch(struct uf_link_fd *f, struct uf_error *err);
/* A driver's close: stops polling, lets go, releases, reports closed. */
void uf_link_fd_close(struct uf_link_fd *f);
/* Another descriptor of the same line in place of the one that hung up; from hung_up only. */
int uf_link_fd_replace(struct uf_link_fd *f, int fd, struct uf_error *err);

/* Sentence for an errno of open(2) on a device. */
int uf_tty_open_failed(const char *path, int error, struct uf_error *err);
/* flock, and where `exclusive` TIOCEXCL: no other program may have it. UF_EBUSY with a sentence
 * when one has. */
int uf_tty_lock(int fd, const char *path, bool exclusive, struct uf_error *err);
/* Raw bytes, no modem control, DTR left alone at the last close, VMIN 1 and VTIME 0 (so that with
 * O_NONBLOCK read() == 0 is a hang-up); speed and character size are left alone. */
int uf_tty_raw(int fd, const char *path, struct uf_error *err);
/* Asks a converter not to hold bytes back. Best effort: ptys and many drivers don't know it. */
void uf_tty_low_latency(int fd);

#endif
