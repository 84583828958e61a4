/* SPDX-License-Identifier: MIT
 * What the measuring chain has found, told to people, to the spool and to the store: swings, zeros,
 * boards, suspect plates. */
#include "daemon/acquire_inside.h"

#include "base/clock.h"
#include "base/log.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define NOTE_EVERY_S  10.0 /* the board's own log lines are passed on so often at most */
#define CLEAR_EVERY_S 10.0 /* the spool is played from there on after a crash */
#define PAST_S        20.0 /* a swing that began before the start has ended by then */
#define ZERO_WAIT_S   15.0 /* samples for so long without a zero: say what is missing */
#define HELLO_MOST    3    /* boards on one line within HELLO_S: more are not told apart .. */
#define HELLO_S       10.0 /* .. in the log any more */

/* ---- what people are told ---- */

void uf_acquire_note_event(struct uf_acquire *a, const char *event, const char *text)
{
    struct uf_job *job = uf_job_new(UF_JOB_LINK_EVENT);
    if (!job)
        return;
    job->utc_us = uf_clock_utc_us();
    snprintf(job->event, sizeof job->event, "%s", event);
    snprintf(job->text, sizeof job->text, "%s", text);
    (void)uf_store_thread_put(a->c.store, job); /* counted where it is lost */
}

void uf_acquire_set_state(struct uf_acquire *a, enum uf_acquire_state state, const char *text)
{
    if (a->state == state && strcmp(a->text, text) == 0)
        return;
    a->state = state;
    snprintf(a->text, sizeof a->text, "%s", text);
    a->c.changed(a->c.who);
    if (uf_words_was_said(&a->said, state == UF_WAITING, text))
        return;
    uf_log(state == UF_RECEIVING ? UF_LOG_NOTICE : UF_LOG_WARNING, "%s: %s",
           uf_acquire_state_name(state), text);
    uf_acquire_note_event(a, uf_acquire_state_name(state), text);
}

const char *uf_acquire_device(const struct uf_acquire *a)
{
    return a->link ? uf_link_path(a->link) : a->c.config->link.device;
}

void uf_acquire_board_text(const struct uf_acquire *a, char *text, size_t size)
{
    uf_words_board(uf_pipeline_hello(a->pipeline), uf_acquire_device(a), text, size);
}

/* ---- events of the measuring chain ---- */

/* UTC of a device time by the clock map and the host's present idea of UTC; 0: not known. A
 * recording says nothing about the time of day. *sure: the map has a fit. */
static int64_t utc_of(const struct uf_acquire *a, int64_t t_dev_us, bool *sure)
{
    int64_t mono_us = 0;
    *sure = false;
    if (a->replay || !a->clock_fed)
        return 0;
    *sure = uf_clockmap_host_us(a->clockmap, t_dev_us, &mono_us);
    return mono_us + (uf_clock_utc_us() - uf_clock_mono_us());
}

double uf_acquire_drift_ppm(const struct uf_acquire *a)
{
    return a->replay ? NAN : uf_clockmap_drift_ppm(a->clockmap);
}

static void wait_for_store(struct uf_acquire *a)
{
    struct uf_store_status s;
    if (!a->replay || a->paused)
        return;
    uf_store_thread_status(a->c.store, &s);
    if (s.waiting >= s.limit) {
        a->paused = true;
        uf_link_pause(a->link, true);
    }
}

/* ---- the spool ---- */

void uf_acquire_spool_state(struct uf_acquire *a, enum uf_spool_kind kind)
{
    if (a->c.spool)
        uf_spool_state(a->c.spool, kind, &a->spooled);
}

static void spool_clear(struct uf_acquire *a, const struct uf_store_status *s)
{
    a->spooled.stored_id =
        s->last_swing_id > a->spooled.stored_id ? s->last_swing_id : a->spooled.stored_id;
    a->clear_due = false;
    a->clear_mono_us = uf_clock_mono_us();
    uf_spool_clear(a->c.spool, a->spooled.stored_id);
}

/* Says now and then that all that was found is stored, when it is. */
void uf_acquire_tell_spool(struct uf_acquire *a, int64_t now_us)
{
    struct uf_store_status s;
    if (!a->c.spool ||
        (!a->clear_due && now_us - a->clear_mono_us < (int64_t)(1e6 * CLEAR_EVERY_S)))
        return;
    if (a->past_dev_us >= 0 && a->newest_dev_us < a->past_dev_us + (int64_t)(1e6 * PAST_S))
        return;
    a->past_dev_us = -1;
    uf_store_thread_status(a->c.store, &s);
    if (s.waiting == 0 && s.lost == 0)
        spool_clear(a, &s);
}

void uf_acquire_close_spool(struct uf_acquire *a, bool all_stored)
{
    struct uf_store_status s;
    if (!a->c.spool)
        return;
    uf_store_thread_status(a->c.store, &s);
    if (all_stored && s.lost == 0)
        spool_clear(a, &s);
    uf_spool_mark(a->c.spool, UF_SPOOL_END);
}

/* ---- swings and zeros ---- */

static struct uf_job *capture_job(struct uf_acquire *a, enum uf_job_kind kind,
                                  const struct uf_pipeline_event *event)
{
    struct uf_capture *capture = event->capture;
    struct uf_job *job = uf_job_new(kind);
    if (!job && kind == UF_JOB_SWING) {
        job = a->spare;
        a->spare = NULL;
    }
    if (!job) {
        uf_capture_free(capture);
        return NULL;
    }
    job->capture = capture;
    job->stand = a->chain | event->stand;
    job->asked = event->asked;
    bool sure;
    job->utc_us = utc_of(a, capture->trigger_dev_us, &sure);
    /* a recording, or a board whose time is no clock's: it was hit when it came */
    job->hit_utc_us = sure ? job->utc_us : uf_clock_utc_us();
    job->calibration = a->calibration;
    job->calibration_id = a->calibration_id;
    return job;
}

static void take_rocking(struct uf_acquire *a, const struct uf_pipeline_event *event)
{
    struct uf_job *job = capture_job(a, UF_JOB_ROCKING, event);
    (void)(job && uf_store_thread_put(a->c.store, job)); /* counted where it is lost */
}

static void take_lone_strike(struct uf_acquire *a, int64_t t_dev_us)
{
    char text[200];
    int64_t now_us = uf_clock_mono_us();
    a->lone_strikes++;
    if (a->lone_mono_us && now_us - a->lone_mono_us < (int64_t)(1e6 * NOTE_EVERY_S))
        return;
    a->lone_mono_us = now_us;
    uf_words_lone_strike(t_dev_us, a->lone_strikes, text, sizeof text);
    uf_log(UF_LOG_NOTICE, "%s", text);
    uf_acquire_note_event(a, "lone_strike", text);
}

static void take_swing(struct uf_acquire *a, const struct uf_pipeline_event *event)
{
    a->swings++;
    a->clear_due = true;
    struct uf_job *job = capture_job(a, UF_JOB_SWING, event);
    if (!job) {
        uf_log(UF_LOG_ERROR, "a swing is lost: no memory");
        return;
    }
    if (!a->spare)
        a->spare = uf_job_new(UF_JOB_SWING);
    job->maybe_stored = a->past_dev_us >= 0 && event->capture->start_dev_us <= a->past_dev_us;
    job->stored_after = a->spooled.stored_id;
    job->drift_ppm = uf_acquire_drift_ppm(a);
    if (!uf_store_thread_put(a->c.store, job))
        uf_log(UF_LOG_ERROR,
               "a swing is lost: the store is stuck, and %llu MB of swings wait in "
               "memory; see to the disk of %s",
               UF_STORE_BYTES_MAX >> 20, a->c.config->daemon.database);
    wait_for_store(a);
}

static void take_tare(struct uf_acquire *a, const struct uf_tare_event *tare)
{
    const struct uf_hello *h = uf_pipeline_hello(a->pipeline);
    a->tare_mono_us = uf_clock_mono_us();
    a->has_tare = true;
    memcpy(a->drift_n, tare->drift_n, sizeof a->drift_n);
    memcpy(a->total_drift_n, tare->total_drift_n, sizeof a->total_drift_n);
    a->spooled.has_tare = true;
    a->spooled.tare_utc_us = uf_clock_utc_us();
    memcpy(a->spooled.tare_raw, tare->tare_raw, sizeof a->spooled.tare_raw);
    uf_acquire_spool_state(a, UF_SPOOL_STATE);
    uf_words_log_zero(tare, &a->c.config->rig, a->c.config->pipeline.tare.warn_n);
    struct uf_job *job = a->replay ? NULL : uf_job_new(UF_JOB_TARE);
    if (!job || !h) {
        uf_job_free(job);
        return;
    }
    job->utc_us = uf_clock_utc_us();
    job->tare = *tare;
    job->channels = h->channels;
    (void)uf_store_thread_put(a->c.store, job);
}

static void take_note(struct uf_acquire *a, const char *note)
{
    int64_t now_us = uf_clock_mono_us();
    if (a->note_mono_us && now_us - a->note_mono_us < (int64_t)(1e6 * NOTE_EVERY_S)) {
        a->notes_hushed++;
        return;
    }
    a->note_mono_us = now_us;
    uf_log(UF_LOG_INFO, "the board says: %s", note);
}

/* Not ours: let go of it, and look again now and then. */
void uf_acquire_refuse(struct uf_acquire *a, const char *why)
{
    a->boards_refused++;
    if (strcmp(a->refused_why, why) != 0)
        uf_acquire_note_event(a, "refused", why);
    snprintf(a->refused_why, sizeof a->refused_why, "%s", why);
    a->text_stands = true;
    uf_acquire_set_state(a, UF_WAITING, why);
    uf_link_drop(a->link, true, why);
}

/* Samples come, but there is no zero to count from, so no force and no swing: why? */
static void say_no_zero(struct uf_acquire *a)
{
    const char *why =
        uf_words_no_zero(uf_pipeline_doubts(a->pipeline), uf_pipeline_counts(a->pipeline)->samples);
    a->zero_missed = true;
    uf_log(UF_LOG_WARNING, "no zero yet after %.0f s, and no swing without one: %s", ZERO_WAIT_S,
           why);
    uf_acquire_note_event(a, "no_zero", why);
}

static void take_sample(struct uf_acquire *a, int64_t t_dev_us)
{
    if (a->newest_dev_us < 0)
        a->first_dev_us = t_dev_us;
    a->newest_dev_us = t_dev_us;
    if (!a->has_tare && !a->zero_missed &&
        1e-6 * (double)(t_dev_us - a->first_dev_us) > ZERO_WAIT_S)
        say_no_zero(a);
}

/* Two boards on one line change the HELLO all the time; that is one thing to say, not a thousand.
 */
static bool too_many_hellos(struct uf_acquire *a)
{
    int64_t now_us = uf_clock_mono_us();
    if (now_us - a->hello_mono_us > (int64_t)(1e6 * HELLO_S)) {
        a->hello_mono_us = now_us;
        a->hellos = 0;
    }
    if (++a->hellos <= HELLO_MOST)
        return false;
    if (a->hellos == HELLO_MOST + 1)
        uf_log(UF_LOG_WARNING, "the HELLO on this line changes all the time: two boards, or one "
                               "that restarts; set link.board_id to listen to one");
    return true;
}

static void take_hello(struct uf_acquire *a, const struct uf_hello *hello)
{
    struct uf_error err = {0};
    char text[480];
    if (uf_gate_check(a->gate, hello, &err) != UF_OK) {
        uf_acquire_refuse(a, err.text);
        return;
    }
    uf_clockmap_reset(a->clockmap); /* another firmware, another clock */
    a->clock_fed = false;
    if (too_many_hellos(a))
        return;
    uf_acquire_board_text(a, text, sizeof text);
    uf_acquire_note_event(a, "hello", text);
    if (a->state == UF_RECEIVING) /* another firmware while it ran */
        uf_acquire_set_state(a, UF_RECEIVING, text);
}

/* A plate has become suspect, or is well again. */
static void take_plates(struct uf_acquire *a, unsigned plates)
{
    const struct uf_monitor *m = uf_pipeline_monitor(a->pipeline);
    for (int p = 0; p < m->plates; p++) {
        const struct uf_monitor_plate *w = &m->plate[p];
        char text[480];
        if (!(plates & (1u << p)))
            continue;
        uf_words_plate(w, &a->c.config->rig.plate[p], text, sizeof text);
        uf_log(w->suspect ? UF_LOG_WARNING : UF_LOG_NOTICE, "%s", text);
        uf_acquire_note_event(a, w->suspect ? "plate_suspect" : "plate_ok", text);
    }
}

void uf_acquire_take(struct uf_acquire *a, struct uf_pipeline_event *event,
                     const struct uf_error *err)
{
    switch (event->kind) {
    case UF_PIPE_HELLO:
        take_hello(a, &event->hello);
        break;
    case UF_PIPE_SAMPLE:
        take_sample(a, event->t_dev_us);
        break;
    case UF_PIPE_SWING:
        take_swing(a, event);
        break;
    case UF_PIPE_ROCKING:
        take_rocking(a, event);
        break;
    case UF_PIPE_LONE_STRIKE:
        take_lone_strike(a, event->lone_dev_us);
        break;
    case UF_PIPE_TARE:
        take_tare(a, &event->tare);
        break;
    case UF_PIPE_STRIKE:
        a->strikes++;
        break;
    case UF_PIPE_NOTE:
        take_note(a, event->note);
        break;
    case UF_PIPE_PLATE:
        take_plates(a, event->plates);
        break;
    case UF_PIPE_ERROR:
        if (strcmp(a->pipe_error, err->text) != 0)
            uf_log(UF_LOG_ERROR, "%s", err->text);
        snprintf(a->pipe_error, sizeof a->pipe_error, "%s", err->text);
        break;
    case UF_PIPE_NONE:
    case UF_PIPE_STANCE:
    case UF_PIPE_REFUSED:
        break;
    }
}
