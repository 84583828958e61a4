/* SPDX-License-Identifier: MIT
 * The loop's side of measuring: see acquire.h. Owns the gate, the measuring chain and the map of
 * the board's clock. */
#include "daemon/acquire.h"

#include "base/clock.h"
#include "base/log.h"
#include "daemon/gate.h"
#include "daemon/words.h"
#include "wire/clockmap.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CLOCKMAP_S    60.0
#define TARE_KEPT_S   (12 * 3600.0) /* a stored zero older than this is not begun with */
#define SILENT_S      2.0           /* open for so long without a sample: say what is missing */
#define DROP_S        10.0          /* ... and so long: let go of the line and try again */
#define NOTE_EVERY_S  10.0          /* the board's own log lines are passed on so often at most */
#define CLEAR_EVERY_S 10.0          /* the spool is played from there on after a crash */
#define PAST_S        20.0          /* a swing that began before the start has ended by then */
#define ZERO_WAIT_S   15.0          /* samples for so long without a zero: say what is missing */
#define HELLO_MOST    3    /* boards on one line within HELLO_S: more are not told apart .. */
#define HELLO_S       10.0 /* .. in the log any more */
#define RATE_MARKS    21   /* ticks over which the rate is measured: 2 s */

_Static_assert(UF_LINK_READ_BYTES <= UF_GATE_FEED_MAX, "the gate takes what is read at once");

struct mark {
    int64_t mono_us;
    uint64_t samples;
};

struct uf_acquire {
    struct uf_acquire_config c;
    struct uf_link *link;
    struct uf_gate *gate;
    struct uf_pipeline *pipeline;
    struct uf_clockmap *clockmap;
    struct uf_calibration calibration;
    int64_t calibration_id;
    enum uf_hand hand;
    bool replay, paused;

    enum uf_acquire_state state;
    char text[480];
    struct uf_words_said said; /* since samples came */
    char pipe_error[480];      /* the last one that was logged */
    char refused_why[480];     /* the last board that was */
    bool text_stands; /* it says what is wrong with what comes: opening again does not mend that */

    int64_t newest_dev_us; /* -1: none yet */
    int64_t opened_mono_us, sample_mono_us, note_mono_us, lone_mono_us;
    uint64_t bytes_since_open, reboots, strange_hellos;
    bool clock_fed;
    struct uf_spool_state spooled; /* what the spool knows of the chain */
    int64_t past_dev_us; /* up to here an earlier run may have stored; -1: there was none */
    int64_t clear_mono_us;
    bool clear_due;
    int64_t tare_mono_us; /* when the zero was taken, by the monotonic clock */
    bool has_tare;
    double drift_n[UF_PLATES_MAX], total_drift_n[UF_PLATES_MAX];
    bool zero_missed; /* it was said that there is none yet */
    int64_t first_dev_us;
    int64_t hello_mono_us; /* since then .. */
    int hellos;            /* .. so many changed HELLOs */

    struct mark marks[RATE_MARKS];
    int next_mark;
    struct uf_feet_state feet;
    uint64_t chain; /* upper half of each stand */
    uint64_t swings, strikes, lone_strikes, notes_hushed, link_losses, boards_refused,
        unknown_bytes;
};

const char *uf_acquire_state_name(enum uf_acquire_state s)
{
    static const char *const names[] = {
        [UF_WAITING] = "waiting", [UF_RECEIVING] = "receiving", [UF_STALE] = "stale"};
    return names[s];
}

/* ---- what people are told ---- */

static void store_event(struct uf_acquire *a, const char *event, const char *text)
{
    struct uf_job *job = uf_job_new(UF_JOB_LINK_EVENT);
    if (!job)
        return;
    job->utc_us = uf_clock_utc_us();
    snprintf(job->event, sizeof job->event, "%s", event);
    snprintf(job->text, sizeof job->text, "%s", text);
    (void)uf_store_thread_put(a->c.store, job); /* counted where it is lost */
}

static void set_state(struct uf_acquire *a, enum uf_acquire_state state, const char *text)
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
    store_event(a, uf_acquire_state_name(state), text);
}

static const char *device(const struct uf_acquire *a)
{
    return a->link ? uf_link_path(a->link) : a->c.config->link.device;
}

static void board_text(const struct uf_acquire *a, char *text, size_t size)
{
    uf_words_board(uf_pipeline_hello(a->pipeline), device(a), text, size);
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

static double drift_ppm(const struct uf_acquire *a)
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

static void spool_state(struct uf_acquire *a, enum uf_spool_kind kind)
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
static void tell_spool(struct uf_acquire *a, int64_t now_us)
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
    if (!job)
        uf_capture_free(capture);
    if (!job)
        return NULL;
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
    store_event(a, "lone_strike", text);
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
    job->maybe_stored = a->past_dev_us >= 0 && event->capture->start_dev_us <= a->past_dev_us;
    job->stored_after = a->spooled.stored_id;
    job->drift_ppm = drift_ppm(a);
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
    spool_state(a, UF_SPOOL_STATE);
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
static void refuse(struct uf_acquire *a, const char *why)
{
    a->boards_refused++;
    if (strcmp(a->refused_why, why) != 0)
        store_event(a, "refused", why);
    snprintf(a->refused_why, sizeof a->refused_why, "%s", why);
    a->text_stands = true;
    set_state(a, UF_WAITING, why);
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
    store_event(a, "no_zero", why);
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
        refuse(a, err.text);
        return;
    }
    uf_clockmap_reset(a->clockmap); /* another firmware, another clock */
    a->clock_fed = false;
    if (too_many_hellos(a))
        return;
    board_text(a, text, sizeof text);
    store_event(a, "hello", text);
    if (a->state == UF_RECEIVING) /* another firmware while it ran */
        set_state(a, UF_RECEIVING, text);
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
        store_event(a, w->suspect ? "plate_suspect" : "plate_ok", text);
    }
}

static void take_event(struct uf_acquire *a, struct uf_pipeline_event *event,
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

/* ---- the link's calls ---- */

static void opened(void *who)
{
    struct uf_acquire *a = who;
    uf_gate_shut(a->gate);
    uf_pipeline_line_cut(a->pipeline);
    if (a->c.spool)
        uf_spool_mark(a->c.spool, UF_SPOOL_CUT);
    uf_clockmap_reset(a->clockmap);
    a->clock_fed = false;
    a->opened_mono_us = uf_clock_mono_us();
    a->bytes_since_open = 0;
    bool another = uf_link_has_others(a->link);                 /* the text may be about that one */
    if (a->state == UF_WAITING && (another || !a->text_stands)) /* no log line: one follows */
        snprintf(a->text, sizeof a->text, "%s is open, waiting for the board's HELLO", device(a));
}

/* Once a read: the newest sample's two times, and the state. */
static void samples_came(struct uf_acquire *a, int64_t now_us)
{
    char text[480];
    uint64_t reboots = uf_pipeline_counts(a->pipeline)->reboots;
    if (reboots != a->reboots) {
        uf_clockmap_reset(a->clockmap);
        uf_log(UF_LOG_WARNING, "the board has started anew");
        store_event(a, "reboot", "the board has started anew");
    }
    a->reboots = reboots;
    a->sample_mono_us = now_us;
    uf_clockmap_feed(a->clockmap, a->newest_dev_us, now_us);
    a->clock_fed = true;
    a->refused_why[0] = '\0';
    a->text_stands = false;
    if (a->state != UF_RECEIVING) {
        board_text(a, text, sizeof text);
        set_state(a, UF_RECEIVING, text);
    }
    a->c.samples(a->c.who);
}

static void feed(struct uf_acquire *a, const uint8_t *bytes, size_t n, int64_t now_us)
{
    int64_t before_dev_us = a->newest_dev_us;
    struct uf_pipeline_event event = {0};
    struct uf_error err = {0};
    size_t at = 0;
    do {
        at += uf_pipeline_feed(a->pipeline, bytes + at, n - at, &event, &err);
        take_event(a, &event, &err);
        if (!uf_link_is_open(a->link))
            return; /* refused */
    } while (at < n || event.kind != UF_PIPE_NONE);
    if (a->newest_dev_us != before_dev_us)
        samples_came(a, now_us);
    uint64_t strange = uf_pipeline_counts(a->pipeline)->unknown_protocol;
    if (strange != a->strange_hellos) {
        a->strange_hellos = strange;
        refuse(a, "the board has begun to speak another version of the wire format, which this "
                  "underfootd does not know: update underfootd, or load the matching firmware");
    }
}

static void bytes_came(void *who, const uint8_t *bytes, size_t n)
{
    struct uf_acquire *a = who;
    struct uf_error err = {0};
    int64_t now_us = uf_clock_mono_us();
    a->bytes_since_open += n;
    switch (uf_gate_feed(a->gate, &bytes, &n, &err)) {
    case UF_GATE_HOLD:
        return;
    case UF_GATE_REFUSE:
        refuse(a, err.text);
        return;
    case UF_GATE_UNKNOWN:
        a->unknown_bytes += n;
        if (a->c.recorder)
            uf_recorder_put(a->c.recorder, bytes, n);
        return;
    case UF_GATE_PASS:
        if (a->c.recorder)
            uf_recorder_put(a->c.recorder, bytes, n);
        if (a->c.spool)
            uf_spool_bytes(a->c.spool, bytes, n);
        feed(a, bytes, n, now_us);
    }
}

static void lost(void *who, const char *sentence)
{
    struct uf_acquire *a = who;
    a->link_losses++;
    set_state(a, a->state == UF_RECEIVING ? UF_STALE : a->state, sentence);
}

static void failed(void *who, const char *sentence)
{
    struct uf_acquire *a = who;
    a->text_stands = false;
    set_state(a, UF_WAITING, sentence);
}

static int64_t newest_dev_us(void *who)
{
    struct uf_acquire *a = who;
    return a->newest_dev_us;
}

static void ended(void *who, const char *sentence)
{
    struct uf_acquire *a = who;
    char text[480];
    if (!sentence && !uf_gate_is_open(a->gate)) {
        snprintf(text, sizeof text, "no board says HELLO in %s: it is no recording of one",
                 device(a));
        sentence = text;
    }
    a->c.ended(a->c.who, sentence);
}

static void stopped(void *who)
{
    struct uf_acquire *a = who;
    a->c.stopped(a->c.who);
}

/* ---- time passes ---- */

static void say_what_is_missing(struct uf_acquire *a)
{
    char text[480];
    uf_words_missing(device(a), a->bytes_since_open > 0, uf_gate_is_open(a->gate), text,
                     sizeof text);
    a->text_stands = true;
    set_state(a, UF_WAITING, text);
}

static void look_for_silence(struct uf_acquire *a, int64_t now_us)
{
    if (a->paused || !uf_link_is_open(a->link))
        return;
    bool since_open = a->sample_mono_us < a->opened_mono_us;
    double silent_s =
        1e-6 * (double)(now_us - (since_open ? a->opened_mono_us : a->sample_mono_us));
    if (a->state == UF_RECEIVING && silent_s > a->c.config->link.stale_s) {
        char text[480];
        snprintf(text, sizeof text, "no sample from %s for %.2g s", device(a),
                 a->c.config->link.stale_s);
        set_state(a, UF_STALE, text);
    }
    if (since_open && silent_s > SILENT_S && !*a->refused_why)
        say_what_is_missing(a);
    /* Opening a port or a connection again may help. A FIFO's writer would die of it. */
    enum uf_link_type type = a->c.config->link.type;
    bool may_drop = (type == UF_LINK_SERIAL && a->bytes_since_open > 0) || type == UF_LINK_TCP ||
                    uf_link_has_others(a->link);
    if (silent_s > DROP_S && may_drop)
        uf_link_drop(a->link, false, "no sample");
}

void uf_acquire_tick(struct uf_acquire *a)
{
    int64_t now_us = uf_clock_mono_us();
    a->marks[a->next_mark] = (struct mark){now_us, uf_pipeline_counts(a->pipeline)->samples};
    a->next_mark = (a->next_mark + 1) % RATE_MARKS;
    look_for_silence(a, now_us);
    tell_spool(a, now_us);
}

static double measured_rate_hz(const struct uf_acquire *a)
{
    const struct mark *oldest = &a->marks[a->next_mark];
    const struct mark *newest = &a->marks[(a->next_mark + RATE_MARKS - 1) % RATE_MARKS];
    if (a->state != UF_RECEIVING || oldest->mono_us == 0)
        return NAN;
    return 1e6 * (double)(newest->samples - oldest->samples) /
           (double)(newest->mono_us - oldest->mono_us);
}

void uf_acquire_store_changed(struct uf_acquire *a)
{
    struct uf_store_status s;
    if (!a->paused)
        return;
    uf_store_thread_status(a->c.store, &s);
    if (s.waiting <= s.limit / 2) {
        a->paused = false;
        a->sample_mono_us = uf_clock_mono_us();
        uf_link_pause(a->link, false);
    }
}

void uf_acquire_finish(struct uf_acquire *a)
{
    struct uf_pipeline_event event;
    struct uf_error err = {0};
    do {
        event = (struct uf_pipeline_event){0};
        uf_pipeline_finish(a->pipeline, &event, &err);
        take_event(a, &event, &err);
    } while (event.kind != UF_PIPE_NONE);
}

/* ---- life ---- */

/* With the chain of the run before, in the midst of whatever it was. */
static void go_on(struct uf_acquire *a, struct uf_past *past)
{
    a->pipeline = past->pipeline;
    past->pipeline = NULL;
    a->chain = past->chain;
    a->spooled = past->state;
    a->hand = past->state.hand;
    a->newest_dev_us = a->past_dev_us = past->newest_dev_us;
    a->reboots = uf_pipeline_counts(a->pipeline)->reboots;
    a->has_tare = past->state.has_tare;
    a->tare_mono_us = uf_clock_mono_us() - (uf_clock_utc_us() - past->state.tare_utc_us);
    uf_pipeline_set_calibration(a->pipeline, &a->calibration);
    spool_state(a, UF_SPOOL_STATE);
}

/* start: with its zero; NULL: without one. */
static int begin(struct uf_acquire *a, const struct uf_store_start *start, struct uf_error *err)
{
    const struct uf_config *c = a->c.config;
    a->spooled.hand = a->hand;
    a->spooled.has_tare = start != NULL;
    a->spooled.stored_id = a->c.start->newest_swing_id;
    if (start) {
        a->spooled.tare_utc_us = start->tare_utc_us;
        memcpy(a->spooled.tare_raw, start->tare_raw, sizeof a->spooled.tare_raw);
    }
    spool_state(a, UF_SPOOL_START);
    return uf_pipeline_new(&a->pipeline, &c->pipeline, &c->rig, &a->calibration,
                           start ? start->tare_raw : NULL, err);
}

int uf_acquire_new(struct uf_acquire **out, const struct uf_acquire_config *config,
                   struct uf_error *err)
{
    *out = NULL;
    const struct uf_config *c = config->config;
    const struct uf_store_start *start = config->start;
    struct uf_acquire *a = calloc(1, sizeof *a);
    if (!a)
        return uf_fail(err, UF_ENOMEM, "no memory for the measuring chain");
    a->c = *config;
    for (int p = 0; p < UF_PLATES_MAX; p++)
        a->drift_n[p] = a->total_drift_n[p] = NAN;
    a->replay = c->link.type == UF_LINK_REPLAY;
    a->calibration = start->calibration;
    a->calibration_id = start->calibration_id;
    /* A recording's golfer is not the one of the open session. */
    a->hand = start->has_hand && !a->replay ? start->hand : c->pipeline.hand;
    a->newest_dev_us = a->past_dev_us = -1;
    a->clear_due = true;
    snprintf(a->text, sizeof a->text, "opening %s", c->link.device);
    /* A recording brings its own zero: one of today would make other numbers of it. */
    double age_s = 1e-6 * (double)(uf_clock_utc_us() - start->tare_utc_us);
    bool keep = start->has_tare && !a->replay && age_s >= 0 && age_s < TARE_KEPT_S;
    a->has_tare = keep;
    a->tare_mono_us = uf_clock_mono_us() - (int64_t)(1e6 * age_s);
    int rc = uf_gate_new(&a->gate, c->link.form, c->link.board_id, &c->rig, err);
    if (!rc)
        rc = uf_clockmap_new(&a->clockmap, CLOCKMAP_S, err);
    if (!rc && config->past && config->past->pipeline)
        go_on(a, config->past);
    else if (!rc)
        rc = begin(a, keep ? start : NULL, err);
    if (!rc)
        uf_pipeline_set_hand(a->pipeline, a->hand);
    if (rc) {
        uf_acquire_free(a);
        return rc;
    }
    uf_acquire_watch(a, start->leftover, start->has_leftover);
    *out = a;
    return UF_OK;
}

void uf_acquire_free(struct uf_acquire *a)
{
    if (!a)
        return;
    uf_gate_free(a->gate);
    uf_clockmap_free(a->clockmap);
    uf_pipeline_free(a->pipeline);
    free(a);
}

void uf_acquire_owner(struct uf_acquire *a, struct uf_link_owner *owner)
{
    *owner = (struct uf_link_owner){.who = a,
                                    .opened = opened,
                                    .bytes = bytes_came,
                                    .lost = lost,
                                    .failed = failed,
                                    .ended = ended,
                                    .newest_dev_us = newest_dev_us,
                                    .stopped = stopped};
}

void uf_acquire_attach(struct uf_acquire *a, struct uf_link *link)
{
    a->link = link;
}

void uf_acquire_set_calibration(struct uf_acquire *a, const struct uf_calibration *cal, int64_t id)
{
    a->calibration = *cal;
    a->calibration_id = id;
    uf_pipeline_set_calibration(a->pipeline, cal);
}

void uf_acquire_set_newest_id(struct uf_acquire *a, int64_t id)
{
    if (a->spooled.stored_id > id) /* another database: what it holds is not known */
        a->spooled.stored_id = 0;
}

void uf_acquire_watch(struct uf_acquire *a, const struct uf_leftover *leftover, const bool *known)
{
    uf_pipeline_watch(a->pipeline, leftover, known);
}

void uf_acquire_request_tare(struct uf_acquire *a)
{
    uf_pipeline_request_tare(a->pipeline);
    if (a->c.spool)
        uf_spool_mark(a->c.spool, UF_SPOOL_ZERO);
}

void uf_acquire_ask_feet(struct uf_acquire *a)
{
    uf_pipeline_ask_feet(a->pipeline);
}

void uf_acquire_feet_found(struct uf_acquire *a, const struct uf_job *job)
{
    uf_feet_state_take(&a->feet, job);
}

void uf_acquire_set_hand(struct uf_acquire *a, enum uf_hand hand)
{
    a->hand = hand;
    uf_pipeline_set_hand(a->pipeline, hand);
    a->spooled.hand = hand;
    spool_state(a, UF_SPOOL_STATE);
}

void uf_acquire_status(struct uf_acquire *a, struct uf_acquire_status *out)
{
    const struct uf_hello *h = uf_pipeline_hello(a->pipeline);
    *out = (struct uf_acquire_status){
        .state = a->state,
        .greeted = h != NULL,
        .measured_rate_hz = measured_rate_hz(a),
        .drift_ppm = drift_ppm(a),
        .counts = *uf_pipeline_counts(a->pipeline),
        .swings = a->swings,
        .strikes = a->strikes,
        .lone_strikes = a->lone_strikes,
        .feet = &a->feet,
        .feet_now = uf_feet_now(&a->feet, a->chain | uf_pipeline_stand(a->pipeline), a->hand),
        .feet_asked = uf_pipeline_feet_asked(a->pipeline),
        .notes_hushed = a->notes_hushed,
        .link_losses = a->link_losses,
        .boards_refused = a->boards_refused,
        .unknown_bytes = a->unknown_bytes,
        .live = uf_pipeline_live(a->pipeline),
        .monitor = uf_pipeline_monitor(a->pipeline),
        .hand = a->hand,
        .tare_age_s =
            a->has_tare ? 1e-6 * (double)(uf_clock_mono_us() - a->tare_mono_us) : (double)NAN,
        .calibration = &a->calibration,
        .calibration_id = a->calibration_id,
    };
    memcpy(out->text, a->text, sizeof out->text);
    memcpy(out->drift_n, a->drift_n, sizeof out->drift_n);
    memcpy(out->total_drift_n, a->total_drift_n, sizeof out->total_drift_n);
    if (h)
        out->hello = *h;
    out->doubts = *uf_pipeline_doubts(a->pipeline);
    for (int r = 0; r < UF_REFUSALS; r++)
        out->refused[r] = uf_pipeline_refused(a->pipeline, (enum uf_refusal)r);
}
