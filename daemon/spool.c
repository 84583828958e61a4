/* SPDX-License-Identifier: MIT
 * The spool's writer: see spool.h. Owns the folder's lock, the segment that is written, two blocks
 * of memory, the thread, and the loop's handles for its end and for syncing. */
#include "daemon/spool.h"

#include "base/bytes.h"
#include "base/clock.h"
#include "base/log.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#define SYNC_MS       2000
#define FIRST_FILES   3 /* allocated at the start: a disk that is full afterwards does not matter */
#define RETRY_AFTER_S 1.0 /* of a disk that refuses */

struct block {
    uint8_t *bytes;
    size_t n;
};

struct uf_spool {
    struct uf_spool_config config; /* not changed after new */
    int lock_fd;
    uv_thread_t thread;
    uv_async_t async;
    uv_timer_t timer;
    uv_fs_t sync;
    bool syncing, started, running; /* running: the thread */
    int handles;                    /* still open, once it is being freed; else -1 */
    int sync_fd;
    void (*stopped)(void *who);
    void *who;

    uv_mutex_t lock; /* the next ones */
    uv_cond_t wake;
    struct block filling;
    bool stopping, finished;
    int fd; /* the segment that is written, -1: none; changed under the lock, by the thread */
    struct uf_spool_status status;

    /* the thread's */
    struct block leaving;
    struct uf_spool_segment *segment; /* the oldest first, that in use last */
    size_t segments;
    int next_number;
    uint64_t sequence;
    off_t at;
    uint8_t state[UF_SPOOL_STATE_BYTES]; /* the last one that passed */
    bool has_state, gap;
    int64_t retry_mono_us;
};

/* ---- state, told once a change ---- */

static void refuse(struct uf_spool *s, size_t n, const char *doing, int why)
{
    char problem[480];
    snprintf(problem, sizeof problem, "cannot %s the spool in %s: %s (daemon.spool)", doing,
             s->config.folder, strerror(why));
    uv_mutex_lock(&s->lock);
    bool news = !s->status.failing;
    s->status.failing = true;
    s->status.lost += n;
    memcpy(s->status.problem, problem, sizeof problem);
    uv_mutex_unlock(&s->lock);
    s->gap = true;
    s->retry_mono_us = uf_clock_mono_us() + (int64_t)(1e6 * RETRY_AFTER_S);
    if (news)
        uf_log(UF_LOG_ERROR,
               "spool: %s; measuring and storing go on, but a crash would now lose what is not "
               "stored yet",
               problem);
}

static void succeed(struct uf_spool *s, size_t n)
{
    uv_mutex_lock(&s->lock);
    bool news = s->status.failing;
    unsigned long long lost = s->status.lost;
    s->status.failing = false;
    s->status.problem[0] = '\0';
    s->status.written += n;
    uv_mutex_unlock(&s->lock);
    if (news)
        uf_log(UF_LOG_NOTICE, "spool: written again; %llu bytes are not in it", lost);
}

/* ---- the folder and its segments ---- */

/* UF_EPERM, UF_EFULL: it may be possible later. */
static int no_folder(const char *doing, const char *folder, struct uf_error *err)
{
    int code = errno == EROFS || errno == EACCES    ? UF_EPERM
               : errno == ENOSPC || errno == EDQUOT ? UF_EFULL
                                                    : UF_EIO;
    return uf_fail(err, code, "cannot %s the spool's folder %s: %s (daemon.spool)", doing, folder,
                   strerror(errno));
}

static int take_folder(struct uf_spool *s, struct uf_error *err)
{
    char path[UF_SPOOL_PATH_MAX];
    const char *folder = s->config.folder;
    if (mkdir(folder, 0750) != 0 && errno != EEXIST)
        return no_folder("make", folder, err);
    snprintf(path, sizeof path, "%s/lock", folder);
    s->lock_fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0640);
    if (s->lock_fd < 0 && errno == EROFS) /* what is in it can be read all the same */
        s->lock_fd = open(path, O_RDONLY | O_CLOEXEC);
    if (s->lock_fd < 0)
        return no_folder("write in", folder, err);
    if (flock(s->lock_fd, LOCK_EX | LOCK_NB) != 0) {
        close(s->lock_fd);
        s->lock_fd = -1;
        errno = EBUSY;
        return uf_fail(err, UF_EBUSY,
                       "another underfootd has the spool %s: give this one its own daemon.spool",
                       folder);
    }
    int rc = uf_spool_list(folder, &s->segment, &s->segments, err);
    for (size_t i = 0; rc == UF_OK && i < s->segments; i++) {
        if (s->segment[i].number >= s->next_number)
            s->next_number = s->segment[i].number + 1;
        if (s->segment[i].sequence > s->sequence)
            s->sequence = s->segment[i].sequence;
    }
    return rc;
}

/* An errno, or 0. */
static int write_at(int fd, const uint8_t *bytes, size_t n, off_t at)
{
    while (n > 0) {
        ssize_t put = pwrite(fd, bytes, n, at);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0)
            return put < 0 ? errno : EIO;
        bytes += put;
        n -= (size_t)put;
        at += put;
    }
    return 0;
}

/* Another file, with all its room. An errno, or 0. */
static int add_file(struct uf_spool *s)
{
    char path[UF_SPOOL_PATH_MAX];
    struct uf_spool_segment *more = realloc(s->segment, (s->segments + 1) * sizeof *s->segment);
    if (!more)
        return ENOMEM;
    s->segment = more;
    uf_spool_path(path, s->config.folder, s->next_number);
    int fd = open(path, O_RDWR | O_CREAT | O_TRUNC | O_CLOEXEC, 0640);
    if (fd < 0)
        return errno;
    int why = posix_fallocate(fd, 0, UF_SPOOL_SEGMENT_BYTES);
    close(fd);
    if (why) {
        unlink(path);
        return why;
    }
    memmove(s->segment + 1, s->segment, s->segments * sizeof *s->segment);
    s->segment[0] = (struct uf_spool_segment){.number = s->next_number++};
    s->segments++;
    return 0;
}

static size_t most_files(const struct uf_spool *s)
{
    size_t most = (size_t)(1e6 * s->config.mb / UF_SPOOL_SEGMENT_BYTES);
    if (most > UF_SPOOL_SEGMENTS_MAX)
        most = UF_SPOOL_SEGMENTS_MAX;
    return most < FIRST_FILES ? FIRST_FILES : most;
}

/* The oldest segment may go: it was never used, there is no room for more, or all of it is older
 * than the hours that are kept (the next one began before that). */
static bool oldest_may_go(const struct uf_spool *s)
{
    if (s->segments < FIRST_FILES)
        return false;
    if (s->segment[0].sequence == 0 || s->segments >= most_files(s))
        return true;
    double age_s = 1e-6 * (double)(uf_clock_utc_us() - s->segment[1].utc_us);
    return s->segment[1].sequence > 0 && age_s > 3600 * s->config.hours;
}

static void use_fd(struct uf_spool *s, int fd)
{
    uv_mutex_lock(&s->lock);
    int before = s->fd;
    s->fd = fd;
    s->status.segments = (int)s->segments;
    uv_mutex_unlock(&s->lock);
    if (before >= 0) {
        (void)posix_fadvise(before, 0, 0, POSIX_FADV_DONTNEED); /* begins to write back */
        close(before);
    }
}

/* The next segment. An errno, or 0. */
static int next_segment(struct uf_spool *s)
{
    if (s->lock_fd < 0 && take_folder(s, NULL) != UF_OK)
        return errno ? errno : EIO;
    char path[UF_SPOOL_PATH_MAX];
    uint8_t begin[UF_SPOOL_HEADER_BYTES + UF_SPOOL_RECORD_BYTES + UF_SPOOL_STATE_BYTES];
    size_t n = UF_SPOOL_HEADER_BYTES;
    int why = oldest_may_go(s) ? 0 : add_file(s);
    if (why && s->segments < 2)
        return why; /* with two or more, the oldest goes sooner than it should */
    struct uf_spool_segment next = s->segment[0];
    uf_spool_path(path, s->config.folder, next.number);
    int fd = open(path, O_RDWR | O_CLOEXEC);
    if (fd < 0)
        return errno;
    next.sequence = s->sequence + 1;
    next.utc_us = uf_clock_utc_us();
    uf_spool_put_header(begin, next.sequence, next.utc_us);
    if (s->has_state) {
        struct uf_spool_record r = {.kind = UF_SPOOL_STATE,
                                    .mono_us = uf_clock_mono_us(),
                                    .utc_us = next.utc_us,
                                    .bytes = s->state,
                                    .n = sizeof s->state};
        size_t size = uf_spool_put_record(begin + n, &r);
        uf_spool_seal(begin + n, next.sequence);
        n += size;
    }
    why = write_at(fd, begin, n, 0);
    if (why) {
        close(fd);
        return why;
    }
    memmove(s->segment, s->segment + 1, (s->segments - 1) * sizeof *s->segment);
    s->segment[s->segments - 1] = next;
    s->sequence = next.sequence;
    s->at = (off_t)n;
    use_fd(s, fd);
    return 0;
}

/* ---- the thread ---- */

/* What later segments must begin with. */
static void remember(struct uf_spool *s, const uint8_t *record)
{
    const uint8_t *holds = record + UF_SPOOL_RECORD_BYTES - 4;
    if (record[4] == UF_SPOOL_STATE || record[4] == UF_SPOOL_START) {
        memcpy(s->state, holds, sizeof s->state);
        s->has_state = true;
    } else if (record[4] == UF_SPOOL_CLEAR) {
        uf_put_u64(s->state + 16, uf_get_u64(holds)); /* stored_id */
    }
}

static void remember_all(struct uf_spool *s, const uint8_t *bytes, size_t n)
{
    for (size_t at = 0; at < n; at += uf_spool_record_size(bytes + at))
        remember(s, bytes + at);
}

/* Bytes are missing before what comes next. An errno, or 0. */
static int write_gap(struct uf_spool *s)
{
    uint8_t record[UF_SPOOL_RECORD_BYTES];
    struct uf_spool_record r = {
        .kind = UF_SPOOL_CUT, .mono_us = uf_clock_mono_us(), .utc_us = uf_clock_utc_us()};
    size_t n = uf_spool_put_record(record, &r);
    uf_spool_seal(record, s->sequence);
    int why = write_at(s->fd, record, n, s->at);
    if (why == 0) {
        s->at += (off_t)n;
        s->gap = false;
    }
    return why;
}

/* Records from bytes on that fit into the segment, in one write. */
static size_t write_run(struct uf_spool *s, uint8_t *bytes, size_t n, int *why)
{
    size_t run = 0;
    while (run < n) {
        size_t size = uf_spool_record_size(bytes + run);
        if ((size_t)s->at + run + size > UF_SPOOL_SEGMENT_BYTES)
            break;
        uf_spool_seal(bytes + run, s->sequence);
        remember(s, bytes + run);
        run += size;
    }
    *why = run ? write_at(s->fd, bytes, run, s->at) : 0;
    if (*why == 0)
        s->at += (off_t)run;
    return run;
}

static void write_block(struct uf_spool *s)
{
    uint8_t *bytes = s->leaving.bytes;
    size_t n = s->leaving.n, at = 0;
    int why = 0;
    if (s->gap && uf_clock_mono_us() < s->retry_mono_us) {
        remember_all(s, bytes, n);
        uv_mutex_lock(&s->lock);
        s->status.lost += n;
        uv_mutex_unlock(&s->lock);
        return;
    }
    if (s->fd >= 0 && s->gap && s->at + UF_SPOOL_RECORD_BYTES <= UF_SPOOL_SEGMENT_BYTES)
        why = write_gap(s);
    while (why == 0 && at < n) {
        size_t run = s->fd >= 0 ? write_run(s, bytes + at, n - at, &why) : 0;
        if (why)
            break;
        at += run;
        if (run == 0)
            why = next_segment(s);
        if (why == 0 && s->gap)
            why = write_gap(s);
    }
    if (why) {
        refuse(s, n - at, "write", why);
        remember_all(s, bytes + at, n - at);
    } else {
        succeed(s, n);
    }
}

static void run(void *spool)
{
    struct uf_spool *s = spool;
    for (int i = 0; s->lock_fd >= 0 && i < FIRST_FILES && s->segments < FIRST_FILES; i++) {
        int why = add_file(s);
        if (why) {
            refuse(s, 0, "make room for", why);
            break;
        }
    }
    uv_mutex_lock(&s->lock);
    for (;;) {
        while (s->filling.n == 0 && !s->stopping)
            uv_cond_wait(&s->wake, &s->lock);
        if (s->filling.n == 0)
            break;
        struct block full = s->filling;
        s->filling = (struct block){s->leaving.bytes, 0};
        s->leaving = full;
        uv_mutex_unlock(&s->lock);
        write_block(s);
        uv_mutex_lock(&s->lock);
    }
    uv_mutex_unlock(&s->lock);
    if (s->fd >= 0 && fdatasync(s->fd) != 0)
        refuse(s, 0, "sync", errno);
    uv_mutex_lock(&s->lock);
    s->finished = true;
    uv_mutex_unlock(&s->lock);
    uv_async_send(&s->async);
}

/* ---- the loop ---- */

static void put(struct uf_spool *s, enum uf_spool_kind kind, const uint8_t *bytes, size_t n)
{
    struct uf_spool_record r = {.kind = kind,
                                .mono_us = uf_clock_mono_us(),
                                .utc_us = uf_clock_utc_us(),
                                .bytes = bytes,
                                .n = n};
    uv_mutex_lock(&s->lock);
    bool room = s->filling.n + UF_SPOOL_RECORD_BYTES + n <= UF_SPOOL_BLOCK_BYTES, news = false;
    if (!room) { /* the decoder of the next start sees a gap and goes on */
        news = !s->status.failing;
        s->status.failing = true;
        s->status.lost += n;
        snprintf(s->status.problem, sizeof s->status.problem,
                 "the disk is too slow for the spool in %s", s->config.folder);
    } else {
        s->filling.n += uf_spool_put_record(s->filling.bytes + s->filling.n, &r);
        uv_cond_signal(&s->wake);
    }
    uv_mutex_unlock(&s->lock);
    if (news)
        uf_log(UF_LOG_ERROR, "spool: the disk is too slow for it; measuring goes on");
}

void uf_spool_bytes(struct uf_spool *s, const uint8_t *bytes, size_t n)
{
    for (size_t at = 0; at < n;) {
        size_t piece = n - at < UF_SPOOL_PIECE_MAX ? n - at : UF_SPOOL_PIECE_MAX;
        put(s, UF_SPOOL_BYTES, bytes + at, piece);
        at += piece;
    }
}

void uf_spool_mark(struct uf_spool *s, enum uf_spool_kind kind)
{
    put(s, kind, NULL, 0);
}

void uf_spool_state(struct uf_spool *s, enum uf_spool_kind kind, const struct uf_spool_state *st)
{
    uint8_t bytes[UF_SPOOL_STATE_BYTES];
    uf_spool_put_state(bytes, st);
    put(s, kind, bytes, sizeof bytes);
}

void uf_spool_clear(struct uf_spool *s, int64_t stored_id)
{
    uint8_t bytes[8];
    uf_put_u64(bytes, (uint64_t)stored_id);
    put(s, UF_SPOOL_CLEAR, bytes, sizeof bytes);
}

static void free_members(struct uf_spool *s)
{
    if (s->fd >= 0)
        close(s->fd);
    if (s->lock_fd >= 0)
        close(s->lock_fd);
    free(s->filling.bytes);
    free(s->leaving.bytes);
    free(s->segment);
    uv_cond_destroy(&s->wake);
    uv_mutex_destroy(&s->lock);
    free(s);
}

static void free_if_done(struct uf_spool *s)
{
    if (s->handles == 0 && !s->syncing)
        free_members(s);
}

static void handle_closed(uv_handle_t *handle)
{
    struct uf_spool *s = handle->data;
    s->handles--;
    free_if_done(s);
}

static void synced(uv_fs_t *request)
{
    struct uf_spool *s = request->data;
    uv_fs_req_cleanup(request);
    close(s->sync_fd);
    s->sync_fd = -1;
    s->syncing = false;
    free_if_done(s);
}

static void begin_sync(uv_timer_t *timer)
{
    struct uf_spool *s = timer->data;
    if (s->syncing)
        return;
    uv_mutex_lock(&s->lock);
    s->sync_fd = s->fd >= 0 ? fcntl(s->fd, F_DUPFD_CLOEXEC, 0) : -1;
    uv_mutex_unlock(&s->lock);
    if (s->sync_fd < 0)
        return;
    s->sync.data = s;
    s->syncing = uv_fs_fdatasync(s->config.loop, &s->sync, s->sync_fd, synced) == 0;
    if (!s->syncing) {
        close(s->sync_fd);
        s->sync_fd = -1;
    }
}

static void told(uv_async_t *async)
{
    struct uf_spool *s = async->data;
    uv_mutex_lock(&s->lock);
    bool finished = s->finished;
    uv_mutex_unlock(&s->lock);
    void (*stopped)(void *) = s->stopped;
    if (!finished || !stopped)
        return;
    s->stopped = NULL;
    uv_timer_stop(&s->timer);
    stopped(s->who);
}

/* ---- life ---- */

/* The settings allow less than there is: the oldest go. */
static void remove_surplus(struct uf_spool *s)
{
    size_t most = most_files(s), surplus = s->segments > most ? s->segments - most : 0;
    for (size_t i = 0; i < surplus; i++) {
        char path[UF_SPOOL_PATH_MAX];
        uf_spool_path(path, s->config.folder, s->segment[i].number);
        unlink(path);
    }
    if (surplus) {
        s->segments -= surplus;
        memmove(s->segment, s->segment + surplus, s->segments * sizeof *s->segment);
    }
}

int uf_spool_new(struct uf_spool **out, const struct uf_spool_config *config, struct uf_error *err)
{
    static const char no_memory[] = "no memory for the spool";
    *out = NULL;
    struct uf_spool *s = calloc(1, sizeof *s);
    if (!s || uv_mutex_init(&s->lock) != 0) {
        free(s);
        return uf_fail(err, UF_ENOMEM, no_memory);
    }
    if (uv_cond_init(&s->wake) != 0) {
        uv_mutex_destroy(&s->lock);
        free(s);
        return uf_fail(err, UF_ENOMEM, no_memory);
    }
    s->config = *config;
    s->fd = s->lock_fd = s->sync_fd = s->handles = -1;
    s->filling.bytes = malloc(UF_SPOOL_BLOCK_BYTES);
    s->leaving.bytes = malloc(UF_SPOOL_BLOCK_BYTES);
    int rc = s->filling.bytes && s->leaving.bytes ? take_folder(s, err)
                                                  : uf_fail(err, UF_ENOMEM, no_memory);
    if (rc == UF_EPERM || rc == UF_EFULL) {
        s->status.failing = s->gap = true; /* the thread tries again */
        memcpy(s->status.problem, err->text, sizeof s->status.problem);
        uf_log(UF_LOG_ERROR,
               "spool: %s; measuring and storing go on, but a crash would now lose "
               "what is not stored yet",
               err->text);
        rc = UF_OK;
    }
    if (rc) {
        free_members(s);
        return rc;
    }
    /* touched now: no page fault in the loop later, and memory that does not seem to grow */
    memset(s->filling.bytes, 0, UF_SPOOL_BLOCK_BYTES);
    memset(s->leaving.bytes, 0, UF_SPOOL_BLOCK_BYTES);
    remove_surplus(s);
    *out = s;
    return UF_OK;
}

int uf_spool_start(struct uf_spool *s, struct uf_error *err)
{
    int rc = uv_async_init(s->config.loop, &s->async, told);
    if (rc)
        return uf_fail(err, UF_ENOMEM, "cannot start the spool's thread: %s", uv_strerror(rc));
    s->async.data = s;
    uv_timer_init(s->config.loop, &s->timer);
    s->timer.data = s;
    uv_timer_start(&s->timer, begin_sync, SYNC_MS, SYNC_MS);
    s->started = true;
    rc = uv_thread_create(&s->thread, run, s);
    s->running = rc == 0;
    if (s->running)
        return UF_OK;
    return uf_fail(err, UF_ENOMEM, "cannot start the spool's thread: %s", uv_strerror(rc));
}

void uf_spool_stop(struct uf_spool *s, void (*stopped)(void *who), void *who)
{
    s->stopped = stopped;
    s->who = who;
    uv_mutex_lock(&s->lock);
    s->stopping = true;
    uv_cond_signal(&s->wake);
    uv_mutex_unlock(&s->lock);
}

void uf_spool_free(struct uf_spool *s)
{
    if (!s)
        return;
    if (!s->started) {
        free_members(s);
        return;
    }
    uf_spool_stop(s, NULL, NULL);
    if (s->running)
        uv_thread_join(&s->thread);
    s->handles = 2;
    uv_close((uv_handle_t *)&s->timer, handle_closed);
    uv_close((uv_handle_t *)&s->async, handle_closed);
}

void uf_spool_status(struct uf_spool *s, struct uf_spool_status *out)
{
    uv_mutex_lock(&s->lock);
    *out = s->status;
    uv_mutex_unlock(&s->lock);
}
