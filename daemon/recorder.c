/* SPDX-License-Identifier: MIT
 * The byte stream to a file: see recorder.h. Owns the file, two blocks, one write request and the
 * timer that has a block written before it is full. */
#include "daemon/recorder.h"

#include "base/log.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define FLUSH_MS       500
#define WRITE_AT_BYTES (64u << 10) /* so much is written without waiting for the timer */

struct block {
    uint8_t *bytes;
    size_t n;
};

struct uf_recorder {
    uv_loop_t *loop;
    const char *path;
    int fd;
    uv_timer_t timer;
    uv_fs_t request;
    bool writing, reopen;
    struct block filling, leaving; /* leaving: under the request while writing */
    size_t left_at;                /* of leaving: so much is written */
    struct uf_recorder_status status;
    void (*stopped)(void *who);
    void *who;
};

static int open_file(const char *path, int *fd, struct uf_error *err)
{
    struct stat st;
    *fd = open(path, O_WRONLY | O_CREAT | O_APPEND | O_NONBLOCK | O_CLOEXEC, 0640);
    if (*fd < 0)
        return uf_fail(err, UF_EIO, "cannot write the recording %s: %s (daemon.record)", path,
                       strerror(errno));
    if (fstat(*fd, &st) == 0 && (S_ISREG(st.st_mode) || S_ISCHR(st.st_mode)))
        return UF_OK;
    close(*fd);
    *fd = -1;
    return uf_fail(err, UF_EINVAL, "%s is not a plain file: give another name (daemon.record)",
                   path);
}

/* ---- state, told once a change ---- */

static void fail(struct uf_recorder *r, const char *reason)
{
    snprintf(r->status.problem, sizeof r->status.problem, "cannot write the recording %s: %.200s",
             r->path, reason);
    if (!r->status.failing)
        uf_log(UF_LOG_ERROR, "record: %s; the recording has a gap from here, measuring goes on",
               r->status.problem);
    r->status.failing = true;
}

static void succeed(struct uf_recorder *r)
{
    if (r->status.failing)
        uf_log(UF_LOG_NOTICE, "record: recording again; %llu bytes are missing so far",
               (unsigned long long)r->status.lost);
    r->status.failing = false;
    r->status.problem[0] = '\0';
}

/* ---- writing ---- */

static void write_some(struct uf_recorder *r);

static void reopen_now(struct uf_recorder *r)
{
    struct uf_error err = {0};
    int fd;
    r->reopen = false;
    if (open_file(r->path, &fd, &err) != UF_OK) {
        fail(r, err.text);
        return;
    }
    close(r->fd);
    r->fd = fd;
}

static void stop_if_done(struct uf_recorder *r)
{
    if (!r->stopped || r->writing || r->filling.n > 0)
        return;
    void (*stopped)(void *) = r->stopped;
    r->stopped = NULL;
    uv_timer_stop(&r->timer);
    stopped(r->who);
}

static void written(uv_fs_t *request)
{
    struct uf_recorder *r = request->data;
    ssize_t n = request->result;
    uv_fs_req_cleanup(request);
    r->writing = false;
    if (n > 0) {
        r->status.written += (uint64_t)n;
        r->left_at += (size_t)n;
        succeed(r);
    } else if (n != UV_EINTR && n != UV_EAGAIN) {
        r->status.lost += r->leaving.n - r->left_at;
        r->left_at = r->leaving.n;
        fail(r, n ? uv_strerror((int)n) : "nothing was written");
    }
    /* After a failure the next try waits for the timer. */
    if (r->left_at < r->leaving.n || (n > 0 && r->filling.n >= WRITE_AT_BYTES) || r->stopped)
        write_some(r);
    stop_if_done(r);
}

static void write_some(struct uf_recorder *r)
{
    if (r->writing)
        return;
    if (r->left_at == r->leaving.n) {
        struct block empty = {r->leaving.bytes, 0};
        r->leaving = r->filling;
        r->filling = empty;
        r->left_at = 0;
        if (r->reopen)
            reopen_now(r);
    }
    if (r->left_at == r->leaving.n)
        return;
    uv_buf_t buffer =
        uv_buf_init((char *)r->leaving.bytes + r->left_at, (unsigned)(r->leaving.n - r->left_at));
    r->request.data = r;
    int rc = uv_fs_write(r->loop, &r->request, r->fd, &buffer, 1, -1, written);
    if (rc == 0) {
        r->writing = true;
        return;
    }
    r->status.lost += r->leaving.n - r->left_at;
    r->left_at = r->leaving.n;
    fail(r, uv_strerror(rc));
}

static void flush(uv_timer_t *timer)
{
    struct uf_recorder *r = timer->data;
    write_some(r);
    stop_if_done(r);
}

void uf_recorder_put(struct uf_recorder *r, const uint8_t *bytes, size_t n)
{
    size_t room = UF_RECORDER_BYTES_MAX - r->filling.n;
    if (n > room) {
        r->status.lost += n;
        fail(r, "the disk is too slow");
        return;
    }
    memcpy(r->filling.bytes + r->filling.n, bytes, n);
    r->filling.n += n;
    if (r->filling.n >= WRITE_AT_BYTES && !r->status.failing)
        write_some(r);
}

/* ---- life ---- */

static void free_recorder(struct uf_recorder *r)
{
    if (r->fd >= 0)
        close(r->fd);
    free(r->filling.bytes);
    free(r->leaving.bytes);
    free(r);
}

static void timer_closed(uv_handle_t *timer)
{
    free_recorder(timer->data);
}

int uf_recorder_new(struct uf_recorder **out, uv_loop_t *loop, const char *path,
                    struct uf_error *err)
{
    *out = NULL;
    struct uf_recorder *r = calloc(1, sizeof *r);
    if (!r)
        return uf_fail(err, UF_ENOMEM, "no memory for the recording");
    r->fd = -1;
    r->loop = loop;
    r->path = path;
    r->filling.bytes = malloc(UF_RECORDER_BYTES_MAX);
    r->leaving.bytes = malloc(UF_RECORDER_BYTES_MAX);
    int rc = r->filling.bytes && r->leaving.bytes
                 ? open_file(path, &r->fd, err)
                 : uf_fail(err, UF_ENOMEM, "no memory for the recording");
    if (rc) {
        free_recorder(r);
        return rc;
    }
    uv_timer_init(loop, &r->timer);
    r->timer.data = r;
    uv_timer_start(&r->timer, flush, FLUSH_MS, FLUSH_MS);
    *out = r;
    return UF_OK;
}

void uf_recorder_free(struct uf_recorder *r)
{
    if (r)
        uv_close((uv_handle_t *)&r->timer, timer_closed);
}

void uf_recorder_reopen(struct uf_recorder *r)
{
    r->reopen = true;
}

void uf_recorder_stop(struct uf_recorder *r, void (*stopped)(void *who), void *who)
{
    r->stopped = stopped;
    r->who = who;
    write_some(r);
    /* Not from within this call: the next tick of the timer, or of the write, ends it. */
    uv_timer_start(&r->timer, flush, 0, FLUSH_MS);
}

void uf_recorder_status(const struct uf_recorder *r, struct uf_recorder_status *out)
{
    *out = r->status;
}
