/* SPDX-License-Identifier: MIT
 * A recording in place of a board: at the board's own pace, by device time against the host's
 * monotonic clock, or as fast as it goes. The file is read by libuv's threads; the loop is never
 * kept longer than for one block. Owns the file, one read request, one timer. Loop thread. */
#include "daemon/link_driver.h"

#include "base/clock.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define TICK_MS     5
#define PIECE_BYTES 512                /* real pace: about 6 ms of 24 channels at 1 kHz */
#define UNPACED     (PIECE_BYTES * 16) /* a tick, while there is no time to go by */
#define JUMP_US     5000000            /* a longer gap in device time is not waited for */

struct replay {
    struct uf_link *l;
    const char *path;
    int fd;
    uv_fs_t read;
    uv_timer_t timer;
    bool reading, timer_open, closing, paused, at_end;
    size_t at, n; /* of the block in the link's buffer: handed on, read */
    int64_t offset;
    bool anchored; /* device time runs against the host's clock */
    int64_t anchor_dev_us, anchor_mono_us, last_dev_us;
};

static void close_if_done(struct replay *r)
{
    if (r->reading || r->timer_open)
        return;
    struct uf_link *l = r->l;
    close(r->fd);
    free(r);
    uf_link_report_closed(l);
}

static void timer_closed(uv_handle_t *timer)
{
    struct replay *r = timer->data;
    r->timer_open = false;
    close_if_done(r);
}

static void close_replay(struct uf_link *l)
{
    struct replay *r = uf_link_state(l);
    r->closing = true;
    uv_close((uv_handle_t *)&r->timer, timer_closed);
}

/* ---- handing on ---- */

static bool fast(const struct replay *r)
{
    return uf_link_settings(r->l)->pace == UF_PACE_FAST;
}

/* Real pace: is the newest sample still ahead of the clock? */
static bool is_ahead(struct replay *r)
{
    int64_t dev_us = uf_link_newest_dev_us(r->l), mono_us = uf_clock_mono_us();
    if (dev_us < 0)
        return false;
    if (!r->anchored || dev_us > r->last_dev_us + JUMP_US || dev_us < r->last_dev_us) {
        r->anchored = true;
        r->anchor_dev_us = dev_us;
        r->anchor_mono_us = mono_us;
    }
    r->last_dev_us = dev_us;
    return dev_us - r->anchor_dev_us > mono_us - r->anchor_mono_us;
}

static void read_block(struct replay *r);

/* Hands on what is due of the block, and sees to the next one. */
static void hand_on(struct replay *r)
{
    size_t unpaced = 0;
    while (!r->closing && !r->paused && r->at < r->n) {
        size_t n = r->n - r->at;
        if (!fast(r)) {
            if (is_ahead(r) || (!r->anchored && unpaced >= UNPACED))
                return; /* the timer comes back */
            n = n < PIECE_BYTES ? n : PIECE_BYTES;
            unpaced += n;
        }
        r->at += n;
        if (!uf_link_report_bytes(r->l, uf_link_buffer(r->l) + r->at - n, n))
            return;
    }
    if (!r->closing && !r->paused && !r->reading)
        read_block(r);
}

static void block_read(uv_fs_t *read)
{
    struct replay *r = read->data;
    ssize_t n = read->result;
    uv_fs_req_cleanup(read);
    r->reading = false;
    if (r->closing) {
        close_if_done(r);
    } else if (n < 0) {
        uf_link_report_loss(r->l, "cannot read the recording %s: %s", r->path, uv_strerror((int)n));
    } else if (n == 0) {
        uf_link_report_end(r->l);
    } else {
        r->at = 0;
        r->n = (size_t)n;
        r->offset += n;
        hand_on(r);
    }
}

static void read_block(struct replay *r)
{
    uv_buf_t buffer = uv_buf_init((char *)uf_link_buffer(r->l), UF_LINK_READ_BYTES);
    r->read.data = r;
    int rc = uv_fs_read(uf_link_loop(r->l), &r->read, r->fd, &buffer, 1, r->offset, block_read);
    if (rc < 0)
        uf_link_report_loss(r->l, "cannot read the recording %s: %s", r->path, uv_strerror(rc));
    else
        r->reading = true;
}

static void tick(uv_timer_t *timer)
{
    struct replay *r = timer->data;
    if (!r->reading)
        hand_on(r);
}

static void pause_replay(struct uf_link *l, bool pause)
{
    struct replay *r = uf_link_state(l);
    r->paused = pause; /* the timer goes on from here */
}

/* ---- opening ---- */

static int open_file(const char *path, int *fd, struct uf_error *err)
{
    struct stat st;
    *fd = open(path, O_RDONLY | O_NONBLOCK | O_CLOEXEC);
    if (*fd >= 0 && fstat(*fd, &st) == 0 && S_ISREG(st.st_mode))
        return UF_OK;
    int error = errno;
    if (*fd >= 0) {
        close(*fd);
        return uf_fail(err, UF_EINVAL, "%s is not a plain file: a recording is one (link.device)",
                       path);
    }
    return uf_fail(err, error == ENOENT ? UF_ENOTFOUND : UF_EIO,
                   "cannot open the recording %s: %s (link.device)", path, strerror(error));
}

static int open_replay(struct uf_link *l, struct uf_error *err)
{
    const char *path = uf_link_settings(l)->device;
    int fd;
    int rc = open_file(path, &fd, err);
    if (rc)
        return rc;
    struct replay *r = calloc(1, sizeof *r);
    if (!r) {
        close(fd);
        return uf_fail(err, UF_ENOMEM, "no memory to play %s", path);
    }
    r->l = l;
    r->path = path;
    r->fd = fd;
    uv_timer_init(uf_link_loop(l), &r->timer);
    r->timer.data = r;
    r->timer_open = true;
    uv_timer_start(&r->timer, tick, TICK_MS, TICK_MS);
    uf_link_set_state(l, r);
    uf_link_report_open(l);
    return UF_OK;
}

const struct uf_link_driver uf_link_replay = {.name = "replay",
                                              .ends = true,
                                              .open = open_replay,
                                              .close = close_replay,
                                              .pause = pause_replay};
