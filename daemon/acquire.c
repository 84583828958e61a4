/* SPDX-License-Identifier: MIT
 * The loop's side of measuring: see acquire.h. Owns the gate, the measuring chain and the map of
 * the board's clock. */
#include "daemon/acquire_inside.h"

#include "base/clock.h"
#include "base/log.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CLOCKMAP_S  60.0
#define TARE_KEPT_S (12 * 3600.0) /* a stored zero older than this is not begun with */
#define SILENT_S    2.0           /* open for so long without a sample: say what is missing */
#define DROP_S      10.0          /* ... and so long: let go of the line and try again */

_Static_assert(UF_LINK_READ_BYTES <= UF_GATE_FEED_MAX, "the gate takes what is read at once");

const char *uf_acquire_state_name(enum uf_acquire_state s)
{
    static const char *const names[] = {
        [UF_WAITING] = "waiting", [UF_RECEIVING] = "receiving", [UF_STALE] = "stale"};
    return names[s];
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
        snprintf(a->text, sizeof a->text, "%s is open, waiting for the board's HELLO",
                 uf_acquire_device(a));
}

/* Once a read: the newest sample's two times, and the state. */
static void samples_came(struct uf_acquire *a, int64_t now_us)
{
    char text[480];
    uint64_t reboots = uf_pipeline_counts(a->pipeline)->reboots;
    if (reboots != a->reboots) {
        uf_clockmap_reset(a->clockmap);
        uf_log(UF_LOG_WARNING, "the board has started anew");
        uf_acquire_note_event(a, "reboot", "the board has started anew");
    }
    a->reboots = reboots;
    a->sample_mono_us = now_us;
    uf_clockmap_feed(a->clockmap, a->newest_dev_us, now_us);
    a->clock_fed = true;
    a->refused_why[0] = '\0';
    a->text_stands = false;
    if (a->state != UF_RECEIVING) {
        uf_acquire_board_text(a, text, sizeof text);
        uf_acquire_set_state(a, UF_RECEIVING, text);
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
        uf_acquire_take(a, &event, &err);
        if (!uf_link_is_open(a->link))
            return; /* refused */
    } while (at < n || event.kind != UF_PIPE_NONE);
    if (a->newest_dev_us != before_dev_us)
        samples_came(a, now_us);
    uint64_t strange = uf_pipeline_counts(a->pipeline)->unknown_protocol;
    if (strange != a->strange_hellos) {
        a->strange_hellos = strange;
        uf_acquire_refuse(
            a, "the board has begun to speak another version of the wire format, which this "
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
        uf_acquire_refuse(a, err.text);
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
    uf_acquire_set_state(a, a->state == UF_RECEIVING ? UF_STALE : a->state, sentence);
}

static void failed(void *who, const char *sentence)
{
    struct uf_acquire *a = who;
    a->text_stands = false;
    uf_acquire_set_state(a, UF_WAITING, sentence);
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
                 uf_acquire_device(a));
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
    uf_words_missing(uf_acquire_device(a), a->bytes_since_open > 0, uf_gate_is_open(a->gate), text,
                     sizeof text);
    a->text_stands = true;
    uf_acquire_set_state(a, UF_WAITING, text);
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
        snprintf(text, sizeof text, "no sample from %s for %.2g s", uf_acquire_device(a),
                 a->c.config->link.stale_s);
        uf_acquire_set_state(a, UF_STALE, text);
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
    a->marks[a->next_mark] =
        (struct uf_acquire_mark){now_us, uf_pipeline_counts(a->pipeline)->samples};
    a->next_mark = (a->next_mark + 1) % UF_ACQUIRE_MARKS;
    look_for_silence(a, now_us);
    uf_acquire_tell_spool(a, now_us);
}

static double measured_rate_hz(const struct uf_acquire *a)
{
    const struct uf_acquire_mark *oldest = &a->marks[a->next_mark];
    const struct uf_acquire_mark *newest =
        &a->marks[(a->next_mark + UF_ACQUIRE_MARKS - 1) % UF_ACQUIRE_MARKS];
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
        uf_acquire_take(a, &event, &err);
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
    uf_acquire_spool_state(a, UF_SPOOL_STATE);
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
    uf_acquire_spool_state(a, UF_SPOOL_START);
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
    a->spare = uf_job_new(UF_JOB_SWING);
    int rc = a->spare ? UF_OK : uf_fail(err, UF_ENOMEM, "no memory for the measuring chain");
    if (!rc)
        rc = uf_gate_new(&a->gate, c->link.form, c->link.board_id, &c->rig, err);
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
    uf_job_free(a->spare);
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
    uf_acquire_spool_state(a, UF_SPOOL_STATE);
}

void uf_acquire_status(struct uf_acquire *a, struct uf_acquire_status *out)
{
    const struct uf_hello *h = uf_pipeline_hello(a->pipeline);
    *out = (struct uf_acquire_status){
        .state = a->state,
        .greeted = h != NULL,
        .measured_rate_hz = measured_rate_hz(a),
        .drift_ppm = uf_acquire_drift_ppm(a),
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
