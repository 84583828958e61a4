/* SPDX-License-Identifier: MIT
 * The store thread and its queue: see store_thread.h. Owns the thread, the jobs that wait, and the
 * async handle by which the thread tells the loop. */
#include "daemon/store_thread.h"

#include "base/log.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FIRST_WAIT_MS    200
#define LONGEST_WAIT_MS  30000
#define STOPPING_WAIT_MS 500 /* between tries while the daemon ends */
#define TRIES_AT_HEAD    3   /* of a job that time won't mend, before others pass it */

struct list {
    struct uf_job *first, *last;
};

struct uf_store_thread {
    struct uf_store_thread_config config; /* not changed after new */
    uv_thread_t thread;
    uv_async_t async;

    uv_mutex_t lock; /* all below */
    uv_cond_t wake;
    struct list queue;
    struct list urgent; /* TEACH and LESSON: pass the queue */
    struct list done;   /* CALIBRATION, TEACH and LESSON jobs on their way back */
    struct uf_store_status status;
    int notes; /* jobs that are no swings */
    bool stopping, finished;
    uint64_t stop_by_ns; /* uv_hrtime at which a stopping thread gives up */
    int left;
    bool told; /* stopped has been called */
};

const char *uf_store_state_name(enum uf_store_state s)
{
    static const char *const names[] = {
        [UF_STORE_OK] = "ok", [UF_STORE_BEHIND] = "behind", [UF_STORE_FAILING] = "failing"};
    return names[s];
}

struct uf_job *uf_job_new(enum uf_job_kind kind)
{
    struct uf_job *job = calloc(1, sizeof *job);
    if (job)
        job->kind = kind;
    return job;
}

void uf_job_free(struct uf_job *job)
{
    if (!job)
        return;
    uf_capture_free(job->capture);
    free(job->teach);
    free(job->found);
    free(job);
}

/* ---- lists ---- */

static void append(struct list *l, struct uf_job *job)
{
    job->next = NULL;
    if (l->last)
        l->last->next = job;
    else
        l->first = job;
    l->last = job;
}

static struct uf_job *take_first(struct list *l)
{
    struct uf_job *job = l->first;
    l->first = job->next;
    if (!l->first)
        l->last = NULL;
    job->next = NULL;
    return job;
}

static void free_list(struct list *l)
{
    while (l->first)
        uf_job_free(take_first(l));
}

static uint64_t bytes_of(const struct uf_job *job)
{
    if (!job->capture)
        return sizeof *job;
    const struct uf_capture *c = job->capture;
    size_t sample = sizeof *c->offset_us + sizeof *c->lost_before + sizeof *c->inputs +
                    sizeof *c->status + c->board.channels * sizeof *c->counts_raw;
    return sizeof *job + sizeof *c + c->samples * sample;
}

/* ---- the thread; the lock is held where a name ends in _locked ---- */

static void settle_state_locked(struct uf_store_thread *t, bool failing)
{
    struct uf_store_status *s = &t->status;
    if (failing)
        s->state = UF_STORE_FAILING;
    else
        s->state = s->waiting > s->limit ? UF_STORE_BEHIND : UF_STORE_OK;
}

static bool may_mend(int code)
{
    return code == UF_EIO || code == UF_EBUSY || code == UF_ENOMEM || code == UF_EFULL ||
           code == UF_EPERM;
}

/* The head job leaves the queue for good. */
static void leave_locked(struct uf_store_thread *t)
{
    struct uf_store_status *s = &t->status;
    struct uf_job *job = take_first(&t->queue);
    if (job->capture)
        s->waiting_bytes -= bytes_of(job);
    if (job->kind == UF_JOB_SWING)
        s->waiting--;
    else
        t->notes--;
    if (job->kind == UF_JOB_CALIBRATION || job->kind == UF_JOB_ROCKING || job->found)
        append(&t->done, job);
    else
        uf_job_free(job);
}

static void keep_lesson_locked(struct uf_store_thread *t, const struct uf_job *job)
{
    if (job->has_lesson)
        t->status.lesson = job->lesson;
    if (job->has_health)
        t->status.health = job->health;
}

/* The head job is stored. */
static void finish_locked(struct uf_store_thread *t)
{
    struct uf_store_status *s = &t->status;
    struct uf_job *job = t->queue.first;
    s->problem[0] = '\0';
    if (job->kind == UF_JOB_SWING) {
        s->stored += !job->was_stored;
        s->last_swing_id = job->swing_id;
        s->last_swing_utc_us = job->utc_us;
        s->last_swing_flags = job->flags;
    }
    keep_lesson_locked(t, job);
    leave_locked(t);
    settle_state_locked(t, false);
}

/* It could not be stored: true when the reason is a new one. */
static bool fail_locked(struct uf_store_thread *t, const struct uf_error *err)
{
    struct uf_store_status *s = &t->status;
    bool news = s->state != UF_STORE_FAILING || strcmp(s->problem, err->text) != 0;
    snprintf(s->problem, sizeof s->problem, "%s", err->text);
    s->retries++;
    settle_state_locked(t, true);
    struct uf_job *head = t->queue.first;
    if (head->kind == UF_JOB_OPEN || may_mend(err->code) || ++head->tries < TRIES_AT_HEAD)
        return news;
    head->tries = 0;
    if (head->kind == UF_JOB_SWING) {
        append(&t->queue, take_first(&t->queue));
    } else {
        head->calibration_id = -1; /* of a CALIBRATION: not read */
        s->notes_lost++;
        leave_locked(t);
    }
    return news;
}

static void do_urgent_locked(struct uf_store_thread *t)
{
    while (t->urgent.first) {
        struct uf_job *job = take_first(&t->urgent);
        struct uf_error err = {0};
        uv_mutex_unlock(&t->lock);
        int rc = t->config.sink.store(t->config.sink.who, job, &err);
        uv_mutex_lock(&t->lock);
        t->notes--;
        if (rc && job->teach) {
            job->teach->rc = rc;
            memcpy(job->teach->text, err.text, sizeof job->teach->text);
        }
        keep_lesson_locked(t, job);
        append(&t->done, job);
        uv_async_send(&t->async);
    }
}

/* Waits before the next try; false: the time to stop has come. */
static bool wait_locked(struct uf_store_thread *t, struct uf_backoff *backoff)
{
    uint64_t until_ns = uv_hrtime() + uf_backoff_next(backoff) * 1000000;
    bool opening = t->queue.first->kind == UF_JOB_OPEN;
    for (;;) {
        do_urgent_locked(t);
        uint64_t now_ns = uv_hrtime();
        if (t->stopping && (now_ns >= t->stop_by_ns || (opening && t->status.waiting == 0)))
            return false;
        uint64_t soon_ns = now_ns + (uint64_t)STOPPING_WAIT_MS * 1000000;
        if (t->stopping && until_ns > soon_ns)
            until_ns = soon_ns;
        if (now_ns >= until_ns)
            return true;
        bool was_stopping = t->stopping;
        uv_cond_timedwait(&t->wake, &t->lock, until_ns - now_ns);
        if (t->stopping && !was_stopping) /* a last round, at once */
            return true;
    }
}

static void log_change(bool failed, const struct uf_error *err, int waiting)
{
    if (failed)
        uf_log(UF_LOG_ERROR, "store: %s; %d swing%s wait%s in memory, trying again", err->text,
               waiting, waiting == 1 ? "" : "s", waiting == 1 ? "s" : "");
    else
        uf_log(UF_LOG_NOTICE, "store: storing again");
}

static void run_locked(struct uf_store_thread *t)
{
    struct uf_backoff backoff = t->config.waits;
    for (;;) {
        while (!t->queue.first && !t->urgent.first && !t->stopping)
            uv_cond_wait(&t->wake, &t->lock);
        do_urgent_locked(t);
        struct uf_job *job = t->queue.first;
        if (!job && t->stopping)
            return;
        if (!job)
            continue;
        uv_mutex_unlock(&t->lock); /* others only append: the head is ours */
        struct uf_error err = {0};
        int rc = t->config.sink.store(t->config.sink.who, job, &err);
        uv_mutex_lock(&t->lock);
        bool was_failing = t->status.state == UF_STORE_FAILING, news = was_failing;
        if (rc) {
            news = fail_locked(t, &err);
        } else {
            finish_locked(t);
            uf_backoff_reset(&backoff);
        }
        int waiting = t->status.waiting;
        uv_async_send(&t->async);
        if (news) {
            uv_mutex_unlock(&t->lock); /* a log line may take its time */
            log_change(rc != UF_OK, &err, waiting);
            uv_mutex_lock(&t->lock);
        }
        if (rc && !wait_locked(t, &backoff))
            return;
    }
}

static void run(void *thread)
{
    struct uf_store_thread *t = thread;
    uv_mutex_lock(&t->lock);
    run_locked(t);
    int left = t->status.waiting;
    uv_mutex_unlock(&t->lock);
    t->config.sink.close(t->config.sink.who);
    uv_mutex_lock(&t->lock);
    t->finished = true;
    t->left = left;
    uv_async_send(&t->async);
    uv_mutex_unlock(&t->lock);
}

/* ---- the loop ---- */

static void told(uv_async_t *async)
{
    struct uf_store_thread *t = async->data;
    uv_mutex_lock(&t->lock);
    struct list done = t->done;
    t->done = (struct list){0};
    bool stopped = t->finished && !t->told;
    t->told = t->told || t->finished;
    int left = t->left;
    uv_mutex_unlock(&t->lock);
    while (done.first) {
        struct uf_job *job = take_first(&done);
        if (t->config.answered)
            t->config.answered(t->config.who, job);
        else
            uf_job_free(job);
    }
    if (t->config.changed)
        t->config.changed(t->config.who);
    if (stopped && t->config.stopped)
        t->config.stopped(t->config.who, left);
}

static void free_members(struct uf_store_thread *t)
{
    free_list(&t->queue);
    free_list(&t->urgent);
    free_list(&t->done);
    uv_cond_destroy(&t->wake);
    uv_mutex_destroy(&t->lock);
    free(t);
}

static void free_thread(uv_handle_t *async)
{
    free_members(async->data);
}

int uf_store_thread_new(struct uf_store_thread **out, const struct uf_store_thread_config *config,
                        struct uf_error *err)
{
    *out = NULL;
    struct uf_store_thread *t = calloc(1, sizeof *t);
    if (!t || uv_mutex_init(&t->lock) != 0) {
        free(t);
        return uf_fail(err, UF_ENOMEM, "no memory for the store thread");
    }
    if (uv_cond_init(&t->wake) != 0) {
        uv_mutex_destroy(&t->lock);
        free(t);
        return uf_fail(err, UF_ENOMEM, "no memory for the store thread");
    }
    t->config = *config;
    if (t->config.waits.first_ms == 0)
        t->config.waits =
            (struct uf_backoff){.first_ms = FIRST_WAIT_MS, .longest_ms = LONGEST_WAIT_MS};
    t->status.limit = config->limit;
    t->status.lesson = config->lesson;
    t->status.health = config->health;
    if (config->problem && *config->problem) {
        t->status.state = UF_STORE_FAILING;
        snprintf(t->status.problem, sizeof t->status.problem, "%s", config->problem);
    }
    int rc = uv_async_init(config->loop, &t->async, told);
    if (rc == 0) {
        t->async.data = t;
        rc = uv_thread_create(&t->thread, run, t);
        if (rc)
            uv_close((uv_handle_t *)&t->async, free_thread);
    } else {
        free_members(t);
    }
    if (rc)
        return uf_fail(err, UF_ENOMEM, "cannot start the store thread: %s", uv_strerror(rc));
    *out = t;
    return UF_OK;
}

void uf_store_thread_free(struct uf_store_thread *t)
{
    if (!t)
        return;
    uf_store_thread_stop(t, 0);
    uv_thread_join(&t->thread);
    uv_close((uv_handle_t *)&t->async, free_thread);
}

bool uf_store_thread_put(struct uf_store_thread *t, struct uf_job *job)
{
    uint64_t bytes = bytes_of(job);
    bool swing = job->kind == UF_JOB_SWING,
         urgent = job->kind == UF_JOB_TEACH || job->kind == UF_JOB_LESSON;
    uv_mutex_lock(&t->lock);
    struct uf_store_status *s = &t->status;
    bool room = !job->capture || s->waiting_bytes + bytes <= UF_STORE_BYTES_MAX;
    if (!swing)
        room = room && t->notes < UF_STORE_NOTES_MAX;
    if (t->stopping)
        room = false;
    if (!room && swing)
        s->lost++;
    else if (!room)
        s->notes_lost++;
    if (room) {
        append(urgent ? &t->urgent : &t->queue, job);
        if (job->capture)
            s->waiting_bytes += bytes;
        if (swing) {
            s->waiting++;
            if (s->waiting > s->most_waiting)
                s->most_waiting = s->waiting;
        } else {
            t->notes++;
        }
        settle_state_locked(t, s->state == UF_STORE_FAILING);
        uv_cond_signal(&t->wake);
    }
    uv_mutex_unlock(&t->lock);
    if (!room)
        uf_job_free(job);
    return room;
}

void uf_store_thread_stop(struct uf_store_thread *t, uint64_t limit_ms)
{
    uv_mutex_lock(&t->lock);
    if (!t->stopping)
        t->stop_by_ns = uv_hrtime() + limit_ms * 1000000;
    t->stopping = true;
    uv_cond_signal(&t->wake);
    uv_mutex_unlock(&t->lock);
}

void uf_store_thread_hurry(struct uf_store_thread *t)
{
    uv_mutex_lock(&t->lock);
    t->stop_by_ns = 0;
    uv_cond_signal(&t->wake);
    uv_mutex_unlock(&t->lock);
}

void uf_store_thread_status(struct uf_store_thread *t, struct uf_store_status *out)
{
    uv_mutex_lock(&t->lock);
    *out = t->status;
    uv_mutex_unlock(&t->lock);
}
