/* SPDX-License-Identifier: MIT
 * Bytes in; live values, swings, zeros and notes out: see pipeline.h. Owns a decoder, the zero, the
 * segmenter, the ring of frames and the live filters. */
#include "swing/pipeline.h"

#include "plate/filter.h"
#include "swing/ring.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BRIDGE_S       0.25 /* lost samples up to so long are bridged; more breaks the stream */
#define RATE_SPAN_S    1.0  /* the rate is checked over so long */
#define RATE_TOLERANCE 0.02
#define RATE_MOST_HZ   65535 /* what HELLO can promise */
#define SAME_TIME_PART 0.25  /* of the samples at the time of the one before: it goes in steps */
#define QUIET_MEAN_S   2.0   /* the weight is the mean of the last so many quiet seconds */
#define LEAVE_S        1.0 /* a stream broken for longer: somebody may have stepped off meanwhile */
#define STRIKE_S       0.05 /* a second rise within this is the same strike, bouncing */
#define LONE_S         3.0  /* beyond the window behind a trigger: no swing takes the strike now */
#define STRIKES        8    /* that wait for their swing */
#define CUT_TRIES_S    2.0  /* for so long memory is asked for, for a swing */
#define RING_EXTRA_S   6.0  /* frames kept beyond the longest window: the quiet stretch before it */
#define SINGLE_HALF_MM                                                                             \
    225.0 /* single plate: the feet are taken to stand so far from the middle                      \
           */

/* Events that wait for the next call, in this order. */
enum pending {
    WAIT_HELLO = 1,
    WAIT_ERROR = 2,
    WAIT_TARE = 4,
    WAIT_STRIKE = 8,
    WAIT_SWING = 16,
    WAIT_REFUSED = 32,
    WAIT_STANCE = 64,
    WAIT_SAMPLE = 128,
    WAIT_NOTE = 256,
    WAIT_PLATE = 512,
    WAIT_ROCKING = 1024,
    WAIT_LONE = 2048
};

struct uf_pipeline {
    struct uf_pipeline_settings s;
    struct uf_rig rig;
    struct uf_calibration cal;
    struct uf_wire *wire;
    struct uf_tare *tare;
    struct uf_monitor monitor;
    unsigned changed_plates;    /* of the PLATE event that waits */
    struct uf_segment *segment; /* made at HELLO: they need the rate */
    struct uf_ring *ring;
    struct uf_hello hello;
    bool greeted, fits, wants_memory;
    double rate_hz; /* promised, or as found where that is untrue */
    bool rate_checked;
    uint64_t rate_samples; /* since rate_from_dev_us */
    int64_t rate_from_dev_us, rate_last_dev_us;
    uint64_t rate_same; /* samples at the time of the one before */
    bool mapped[UF_CHANNELS_MAX];
    struct uf_pipeline_doubts doubts;
    uint32_t epoch;
    bool first_frame;

    struct uf_lowpass lowpass;
    struct uf_lowpass_state lowpass_state;
    struct uf_weights weights[UF_PLATES_MAX]; /* of cal, for the board's channels */
    struct uf_wrench live_wrench[UF_PLATES_MAX];
    struct uf_live live;

    struct uf_wire_event event;
    unsigned waiting; /* enum pending bits */
    struct uf_tare_event tare_event;
    struct uf_segment_result uncut; /* a swing that no memory was found for yet, */
    int64_t uncut_dev_us;           /* .. since then; */
    bool cut_due;
    struct uf_capture *capture;
    uint32_t capture_stand; /* of it */
    struct uf_rocking rocking;
    struct uf_capture *rocked; /* of the ROCKING event that waits */
    bool rocked_asked;
    uint32_t rocked_stand;
    uint32_t stand;                 /* see uf_pipeline_event */
    int64_t stand_dev_us;           /* it began then */
    int64_t strike_dev_us[STRIKES]; /* without a swing so far; oldest first */
    size_t strikes;
    int64_t lone_dev_us;
    struct uf_error error;
    uint8_t inputs_before;
    uint64_t refused[UF_REFUSALS];
};

int uf_pipeline_new(struct uf_pipeline **out, const struct uf_pipeline_settings *s,
                    const struct uf_rig *rig, const struct uf_calibration *cal,
                    const double *initial_tare_raw, struct uf_error *err)
{
    *out = NULL;
    struct uf_pipeline *p = calloc(1, sizeof *p);
    if (!p)
        return uf_fail(err, UF_ENOMEM, "no memory for the measuring chain");
    p->s = *s;
    p->rig = *rig;
    p->cal = *cal;
    p->live.weight_n = NAN;
    p->first_frame = true;
    for (int k = 0; k < rig->plates; k++)
        for (int c = 0; c < rig->plate[k].cells; c++)
            for (int a = 0; a < 3; a++)
                if (rig->plate[k].cell[c].channel[a] >= 0)
                    p->mapped[rig->plate[k].cell[c].channel[a]] = true;
    uf_monitor_start(&p->monitor, rig, NULL, NULL);
    uf_rocking_start(&p->rocking);
    int rc = uf_wire_new(&p->wire, s->form, err);
    if (!rc)
        rc = uf_tare_new(&p->tare, &s->tare, rig, cal, initial_tare_raw, err);
    if (rc) {
        uf_pipeline_free(p);
        return rc;
    }
    *out = p;
    return UF_OK;
}

void uf_pipeline_free(struct uf_pipeline *p)
{
    if (!p)
        return;
    uf_wire_free(p->wire);
    uf_tare_free(p->tare);
    uf_segment_free(p->segment);
    uf_ring_free(p->ring);
    uf_capture_free(p->capture);
    uf_capture_free(p->rocked);
    free(p);
}

/* ---- HELLO ---- */

/* What the calibration makes of the board's channels; the live filters start anew. */
static void weigh(struct uf_pipeline *p)
{
    for (int k = 0; k < p->rig.plates; k++)
        uf_weights_of(&p->cal.plate[k], p->rig.channels, &p->weights[k]);
    memset(&p->lowpass_state, 0, sizeof p->lowpass_state);
}

/* Makes what depends on the board's rate and channels. */
static int fit_board(struct uf_pipeline *p, double rate_hz, struct uf_error *err)
{
    const struct uf_hello *h = &p->hello;
    p->rate_hz = rate_hz;
    if (p->rig.channels > h->channels)
        return uf_fail(err, UF_EINVAL,
                       "the board sends %d channels, but the rig \"%s\" maps channel %d: mend the "
                       "channels of [cell ...] in underfoot.conf, or the firmware",
                       h->channels, p->rig.name, p->rig.channels - 1);
    uf_segment_free(p->segment);
    uf_ring_free(p->ring);
    p->segment = NULL;
    p->ring = NULL;
    int rc = uf_segment_new(&p->segment, &p->s.segment, rate_hz, err);
    if (rc)
        return rc;
    double kept_s =
        fmax(p->s.segment.longest_s + p->s.segment.after_s, UF_ROCKING_LONGEST_S) + RING_EXTRA_S;
    rc = uf_ring_new(&p->ring, h->channels, (size_t)(kept_s * rate_hz) + 1, err);
    if (rc)
        return rc;
    double cutoff_hz = fmin(p->s.live_cutoff_hz, 0.4 * rate_hz);
    weigh(p);
    return uf_lowpass_design(&p->lowpass, 2, cutoff_hz, rate_hz, err);
}

/* Is said once; where memory was all that lacked, the board's next HELLO is the next try. */
static bool try_to_fit(struct uf_pipeline *p, double rate_hz)
{
    int rc = fit_board(p, rate_hz, &p->error);
    p->fits = rc == UF_OK;
    if (!p->fits && !p->wants_memory)
        p->waiting |= WAIT_ERROR;
    p->wants_memory = rc == UF_ENOMEM;
    return p->fits;
}

static void take_hello(struct uf_pipeline *p)
{
    if (!p->event.hello_changed) {
        if (p->wants_memory)
            try_to_fit(p, p->rate_hz);
        return;
    }
    p->hello = p->event.hello;
    p->greeted = true;
    p->waiting |= WAIT_HELLO;
    p->rate_checked = false;
    p->rate_samples = 0;
    p->wants_memory = false;
    try_to_fit(p, p->hello.rate_hz);
}

/* ---- samples ---- */

/* The forces that the trigger sees. A single plate has no feet: its force is split by the lever
 * rule between two places SINGLE_HALF_MM either side of the middle; good enough for a trigger. */
static void trigger_forces(const struct uf_pipeline *p, const struct uf_wrench *w,
                           struct uf_segment_sample *s)
{
    if (p->rig.plates == 2) {
        s->left_n = w[0].fz_n;
        s->right_n = w[1].fz_n;
        return;
    }
    struct uf_ground g;
    uf_ground_of(&p->rig.plate[0], &w[0], UF_COP_MIN_N_DEFAULT, &g);
    double part = isnan(g.cop_x_mm) ? 0.5 : 0.5 + g.cop_x_mm / (2 * SINGLE_HALF_MM);
    part = fmin(fmax(part, 0), 1);
    s->right_n = part * g.fz_n;
    s->left_n = g.fz_n - s->right_n;
}

/* Both plates at once, a lane a component. */
static void filter_live(struct uf_pipeline *p, const struct uf_wrench w[UF_PLATES_MAX])
{
    double x[UF_LOWPASS_LANES];
    _Static_assert(sizeof x == sizeof p->live_wrench, "a lane for each component");
    memcpy(x, w, sizeof x);
    uf_lowpass_step(&p->lowpass, &p->lowpass_state, x);
    memcpy(p->live_wrench, x, sizeof x);
}

/* Cuts the swing's window out of the ring. */
static int cut_out(struct uf_pipeline *p, const struct uf_segment_result *r, struct uf_error *err)
{
    struct uf_capture *c;
    int rc = uf_ring_capture(p->ring, &p->hello, r->start_dev_us, r->end_dev_us, &c, err);
    if (rc)
        return rc;
    c->hand = p->s.hand;
    c->shape_hand = r->left_is_lead ? UF_RIGHT_HANDED : UF_LEFT_HANDED;
    c->trigger_dev_us = r->trigger_dev_us;
    c->ended_still = r->ended_still;
    memcpy(c->tare_raw, uf_tare_raw(p->tare), sizeof c->tare_raw);
    if (r->quiet_to_dev_us > r->quiet_from_dev_us) {
        int64_t from = r->quiet_to_dev_us - (int64_t)(1e6 * QUIET_MEAN_S);
        if (from < r->quiet_from_dev_us)
            from = r->quiet_from_dev_us;
        c->quiet_known = uf_ring_mean(p->ring, from, r->quiet_to_dev_us, c->quiet_raw) > 0;
        c->quiet_from_dev_us = from;
        c->quiet_to_dev_us = r->quiet_to_dev_us;
    }
    uf_capture_free(p->capture); /* one that nobody took */
    p->capture = c;
    p->capture_stand = p->stand - (r->trigger_dev_us < p->stand_dev_us);
    return UF_OK;
}

/* Without memory once more with each sample, as long as the ring keeps the whole window for sure;
 * after longest_s: no more. */
static void try_to_cut(struct uf_pipeline *p, double longest_s)
{
    int rc = cut_out(p, &p->uncut, &p->error);
    p->cut_due = rc == UF_ENOMEM && 1e-6 * (double)(p->live.t_dev_us - p->uncut_dev_us) < longest_s;
    if (!p->cut_due)
        p->waiting |= rc ? WAIT_ERROR : WAIT_SWING;
}

/* Nobody stands there any more, or it may be somebody else. */
static void stand_anew(struct uf_pipeline *p)
{
    p->stand++;
    p->stand_dev_us = p->live.t_dev_us;
    uf_rocking_break(&p->rocking);
}

/* ---- strikes ---- */

static void drop_strikes(struct uf_pipeline *p, size_t first, size_t n)
{
    p->strikes -= n;
    memmove(p->strike_dev_us + first, p->strike_dev_us + first + n,
            (p->strikes - first) * sizeof p->strike_dev_us[0]);
}

static void take_strike(struct uf_pipeline *p, int64_t t_dev_us)
{
    p->waiting |= WAIT_STRIKE;
    if (p->strikes && t_dev_us - p->strike_dev_us[p->strikes - 1] <= (int64_t)(1e6 * STRIKE_S))
        return;
    if (p->strikes == STRIKES)
        drop_strikes(p, 0, 1);
    p->strike_dev_us[p->strikes++] = t_dev_us;
}

/* Those within the window of a swing are its own. */
static void match_strikes(struct uf_pipeline *p, const struct uf_segment_result *r)
{
    for (size_t i = p->strikes; i-- > 0;)
        if (p->strike_dev_us[i] >= r->start_dev_us && p->strike_dev_us[i] <= r->end_dev_us)
            drop_strikes(p, i, 1);
}

static void look_for_lone_strike(struct uf_pipeline *p)
{
    double most_s = p->s.segment.after_s + LONE_S;
    if (p->strikes == 0 || (p->waiting & WAIT_LONE) ||
        1e-6 * (double)(p->live.t_dev_us - p->strike_dev_us[0]) < most_s)
        return;
    p->lone_dev_us = p->strike_dev_us[0];
    drop_strikes(p, 0, 1);
    p->waiting |= WAIT_LONE;
}

/* ---- rocking ---- */

static void take_rocking(struct uf_pipeline *p, const struct uf_rocking_stretch *r)
{
    struct uf_capture *c;
    if (uf_ring_capture(p->ring, &p->hello, r->from_dev_us, r->to_dev_us, &c, &p->error)) {
        p->waiting |= WAIT_ERROR;
        return;
    }
    c->hand = c->shape_hand = p->s.hand;
    c->trigger_dev_us = r->from_dev_us;
    memcpy(c->tare_raw, uf_tare_raw(p->tare), sizeof c->tare_raw);
    uf_capture_free(p->rocked); /* one that nobody took */
    p->rocked = c;
    p->rocked_asked = r->asked;
    p->rocked_stand = p->stand;
    p->waiting |= WAIT_ROCKING;
}

static void take_segment_event(struct uf_pipeline *p, enum uf_segment_event event,
                               const struct uf_segment_result *result)
{
    if (event == UF_SEG_NOTHING)
        return;
    if (event == UF_SEG_SWING) {
        match_strikes(p, result);
        p->uncut = *result;
        p->uncut_dev_us = p->live.t_dev_us;
        try_to_cut(p, CUT_TRIES_S);
    }
    if (event == UF_SEG_REFUSED) {
        p->refused[uf_segment_last_refusal(p->segment)]++;
        p->waiting |= WAIT_REFUSED;
    }
    if (uf_segment_stance(p->segment) != p->live.stance) {
        p->live.stance = uf_segment_stance(p->segment);
        if (p->live.stance == UF_STANCE_EMPTY)
            stand_anew(p);
        p->waiting |= WAIT_STANCE;
    }
}

/* A clock of whole milliseconds, say, or of a timer's ticks: samples share a time. */
static void look_for_steps(struct uf_pipeline *p, double n, double span_s, double found_hz)
{
    double same = (double)p->rate_same;
    p->doubts.clock_step_ms = 0;
    if (same < SAME_TIME_PART * n || found_hz > RATE_MOST_HZ)
        return;
    p->doubts.clock_step_ms = 1e3 * span_s / (n - same);
    p->waiting |= WAIT_ERROR;
    uf_fail(
        &p->error, UF_EINVAL,
        "the board's clock goes in steps of about %.2g ms, so %.0f samples share a time: moments "
        "of a swing are unsure by a step; the firmware must send the microseconds of each "
        "conversion (t_us)",
        p->doubts.clock_step_ms, n / (n - same));
}

/* Once after each HELLO of a new kind: do the samples come at the promised rate, by the board's own
 * clock? If not, that is said, and the chain is set up for the rate that was found. */
static void check_rate(struct uf_pipeline *p, const struct uf_frame *f)
{
    if (p->rate_samples == 0 || f->epoch != p->epoch) {
        p->rate_samples = 1;
        p->rate_same = 0;
        p->rate_from_dev_us = p->rate_last_dev_us = f->t_dev_us;
        return;
    }
    p->rate_samples += 1 + f->lost_before;
    double span_s = 1e-6 * (double)(f->t_dev_us - p->rate_from_dev_us);
    double n = (double)(p->rate_samples - 1), promised_hz = p->hello.rate_hz;
    /* Equal times come as a microsecond more each: see wire/timeline.h. */
    p->rate_same += 1e-6 * (double)(f->t_dev_us - p->rate_last_dev_us) * promised_hz < 0.1;
    p->rate_last_dev_us = f->t_dev_us;
    if (span_s < RATE_SPAN_S && n < 2 * RATE_SPAN_S * promised_hz)
        return;
    p->rate_checked = true;
    double found_hz = n / span_s;
    look_for_steps(p, n, span_s, found_hz);
    if (fabs(found_hz / promised_hz - 1) <= RATE_TOLERANCE)
        return;
    p->waiting |= WAIT_ERROR;
    if (found_hz > RATE_MOST_HZ) {
        uf_fail(
            &p->error, UF_EINVAL,
            "the board's clock stands: %.0f samples have come within %.3f s of it; the firmware "
            "must send the microseconds of each conversion (t_us)",
            n, span_s);
        return;
    }
    if (try_to_fit(p, found_hz))
        uf_fail(
            &p->error, UF_EINVAL,
            "the board promises %.0f samples a second and sends %.0f by its own clock: mend its "
            "HELLO; until then its swings are flagged",
            promised_hz, found_hz);
}

/* The sample with its doubts: counts at the rail are as good as the board's own word for it. */
static void doubt(struct uf_pipeline *p, struct uf_frame *f)
{
    int32_t rail = (int32_t)(1u << (p->hello.adc_bits - 1)) - 1;
    unsigned railed = 0;
    for (int c = 0; c < p->rig.channels; c++)
        railed |= p->mapped[c] & ((f->counts_raw[c] >= rail) | (f->counts_raw[c] <= -rail - 1));
    if (railed)
        f->status |= UF_STATUS_RAIL;
    p->doubts.overrun += (f->status & UF_STATUS_OVERRUN) != 0;
    p->doubts.excitation += (f->status & UF_STATUS_EXCITATION) != 0;
    p->doubts.rail += (f->status & UF_STATUS_RAIL) != 0;
}

static void watch_plates(struct uf_pipeline *p, const struct uf_frame *f, bool broken)
{
    if (broken || (f->status & UF_STATUS_RAIL))
        uf_monitor_cut(&p->monitor);
    if (f->status & UF_STATUS_RAIL)
        return;
    p->changed_plates |=
        uf_monitor_feed(&p->monitor, f->counts_raw, uf_tare_raw(p->tare), p->rate_hz);
    if (p->changed_plates)
        p->waiting |= WAIT_PLATE;
}

static void take_sample(struct uf_pipeline *p)
{
    struct uf_frame *f = &p->event.frame;
    if (!p->fits || f->channels != p->hello.channels)
        return;
    if (!p->rate_checked)
        check_rate(p, f);
    if (!p->fits)
        return;
    double rate_hz = p->rate_hz;
    bool broken = p->first_frame || f->epoch != p->epoch || f->lost_before > BRIDGE_S * rate_hz;
    bool away = p->first_frame || f->epoch != p->epoch || f->lost_before > LEAVE_S * rate_hz;
    if (f->epoch != p->epoch) {
        uf_ring_clear(p->ring);
        p->strikes = 0;
    }
    p->first_frame = false;
    p->epoch = f->epoch;
    uf_ring_push(p->ring, f); /* as it came */
    if (p->cut_due)
        try_to_cut(p, CUT_TRIES_S);
    doubt(p, f);
    p->live.t_dev_us = f->t_dev_us;
    p->live.inputs = f->inputs;
    p->live.status = f->status;
    p->waiting |= WAIT_SAMPLE;
    if (away)
        stand_anew(p);
    if ((f->inputs & UF_INPUT_STRIKE) && !(p->inputs_before & UF_INPUT_STRIKE))
        take_strike(p, f->t_dev_us);
    look_for_lone_strike(p);
    p->inputs_before = f->inputs;

    if (uf_tare_feed(p->tare, f, rate_hz, &p->tare_event)) {
        p->waiting |= WAIT_TARE;
        memset(&p->lowpass_state, 0, sizeof p->lowpass_state);
        uf_monitor_cut(&p->monitor);
    }
    if (!uf_tare_ready(p->tare))
        return;
    watch_plates(p, f, broken);
    struct uf_wrench wrench[UF_PLATES_MAX];
    memset(wrench, 0, sizeof wrench);
    for (int k = 0; k < p->rig.plates; k++)
        uf_wrench_weighed(&p->weights[k], f->counts_raw, uf_tare_raw(p->tare), &wrench[k]);
    filter_live(p, wrench);
    struct uf_segment_sample s = {.t_dev_us = f->t_dev_us, .discontinuity = broken};
    trigger_forces(p, wrench, &s);
    struct uf_segment_result result;
    enum uf_segment_event event = uf_segment_feed(p->segment, &s, &result);
    take_segment_event(p, event, &result);
    p->live.weight_n = uf_segment_weight_n(p->segment);
    struct uf_rocking_stretch stretch;
    if (broken)
        uf_rocking_break(&p->rocking);
    if (uf_rocking_feed(&p->rocking, &p->rig, wrench, f->t_dev_us, &stretch))
        take_rocking(p, &stretch);
}

/* ---- events out ---- */

/* Gives the first waiting event; false when none waits. */
static bool give(struct uf_pipeline *p, struct uf_pipeline_event *out, struct uf_error *err)
{
    static const struct {
        enum pending bit;
        enum uf_pipeline_kind kind;
    } order[] = {{WAIT_HELLO, UF_PIPE_HELLO},     {WAIT_ERROR, UF_PIPE_ERROR},
                 {WAIT_TARE, UF_PIPE_TARE},       {WAIT_STRIKE, UF_PIPE_STRIKE},
                 {WAIT_SWING, UF_PIPE_SWING},     {WAIT_REFUSED, UF_PIPE_REFUSED},
                 {WAIT_STANCE, UF_PIPE_STANCE},   {WAIT_SAMPLE, UF_PIPE_SAMPLE},
                 {WAIT_NOTE, UF_PIPE_NOTE},       {WAIT_PLATE, UF_PIPE_PLATE},
                 {WAIT_ROCKING, UF_PIPE_ROCKING}, {WAIT_LONE, UF_PIPE_LONE_STRIKE}};
    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++) {
        if (!(p->waiting & order[i].bit))
            continue;
        p->waiting &= ~(unsigned)order[i].bit;
        out->kind = order[i].kind;
        out->t_dev_us = p->live.t_dev_us;
        switch (out->kind) {
        case UF_PIPE_HELLO:
            out->hello = p->hello;
            break;
        case UF_PIPE_ERROR:
            if (err)
                *err = p->error;
            break;
        case UF_PIPE_TARE:
            out->tare = p->tare_event;
            break;
        case UF_PIPE_SWING:
            out->capture = p->capture;
            out->stand = p->capture_stand;
            p->capture = NULL;
            break;
        case UF_PIPE_ROCKING:
            out->capture = p->rocked;
            out->stand = p->rocked_stand;
            out->asked = p->rocked_asked;
            p->rocked = NULL;
            break;
        case UF_PIPE_LONE_STRIKE:
            out->lone_dev_us = p->lone_dev_us;
            break;
        case UF_PIPE_REFUSED:
            out->refusal = uf_segment_last_refusal(p->segment);
            break;
        case UF_PIPE_STANCE:
            out->stance = p->live.stance;
            break;
        case UF_PIPE_NOTE:
            memcpy(out->note, p->event.note, sizeof out->note);
            break;
        case UF_PIPE_PLATE:
            out->plates = p->changed_plates;
            p->changed_plates = 0;
            break;
        case UF_PIPE_NONE:
        case UF_PIPE_SAMPLE:
        case UF_PIPE_STRIKE:
            break;
        }
        return true;
    }
    out->kind = UF_PIPE_NONE;
    return false;
}

size_t uf_pipeline_feed(struct uf_pipeline *p, const uint8_t *bytes, size_t n,
                        struct uf_pipeline_event *out, struct uf_error *err)
{
    size_t taken = 0;
    while (!give(p, out, err) && taken < n) {
        taken += uf_wire_feed(p->wire, bytes + taken, n - taken, &p->event);
        switch (p->event.kind) {
        case UF_WIRE_HELLO:
            take_hello(p);
            break;
        case UF_WIRE_SAMPLE:
            take_sample(p);
            break;
        case UF_WIRE_NOTE:
            p->waiting |= WAIT_NOTE;
            break;
        case UF_WIRE_NONE:
            break;
        }
    }
    return taken;
}

void uf_pipeline_finish(struct uf_pipeline *p, struct uf_pipeline_event *out, struct uf_error *err)
{
    if (give(p, out, err) || !p->segment)
        return;
    if (p->cut_due) { /* one swing after the other */
        try_to_cut(p, 0);
        give(p, out, err);
        return;
    }
    struct uf_segment_result result;
    take_segment_event(p, uf_segment_finish(p->segment, &result), &result);
    if (p->cut_due)
        try_to_cut(p, 0);
    give(p, out, err);
}

void uf_pipeline_line_cut(struct uf_pipeline *p)
{
    uf_wire_line_cut(p->wire);
}

void uf_pipeline_request_tare(struct uf_pipeline *p)
{
    uf_tare_request(p->tare);
}

void uf_pipeline_set_hand(struct uf_pipeline *p, enum uf_hand hand)
{
    p->s.hand = hand;
}

void uf_pipeline_ask_feet(struct uf_pipeline *p)
{
    uf_rocking_ask(&p->rocking);
}

bool uf_pipeline_feet_asked(const struct uf_pipeline *p)
{
    return uf_rocking_is_asked(&p->rocking);
}

uint32_t uf_pipeline_stand(const struct uf_pipeline *p)
{
    return p->stand;
}

void uf_pipeline_set_calibration(struct uf_pipeline *p, const struct uf_calibration *cal)
{
    p->cal = *cal;
    weigh(p);
    uf_tare_set_calibration(p->tare, cal);
}

void uf_pipeline_watch(struct uf_pipeline *p, const struct uf_leftover *leftover, const bool *known)
{
    uf_monitor_start(&p->monitor, &p->rig, leftover, known);
}

const struct uf_monitor *uf_pipeline_monitor(const struct uf_pipeline *p)
{
    return &p->monitor;
}

const struct uf_live *uf_pipeline_live(struct uf_pipeline *p)
{
    struct uf_live *live = &p->live;
    live->plates = p->rig.plates;
    live->tared = uf_tare_ready(p->tare);
    for (int k = 0; k < p->rig.plates; k++)
        uf_ground_of(&p->rig.plate[k], &p->live_wrench[k], UF_COP_MIN_N_DEFAULT, &live->ground[k]);
    if (p->rig.plates == 2) {
        uf_both_of(&live->ground[0], &live->ground[1], UF_COP_MIN_N_DEFAULT, &live->both);
    } else {
        const struct uf_ground *g = &live->ground[0];
        live->both = (struct uf_both){g->fx_n, g->fy_n, g->fz_n, g->cop_x_mm, g->cop_y_mm,
                                      NAN,     NAN,     NAN,     NAN};
    }
    return live;
}

const struct uf_wire_counts *uf_pipeline_counts(const struct uf_pipeline *p)
{
    return uf_wire_counts(p->wire);
}

const struct uf_hello *uf_pipeline_hello(const struct uf_pipeline *p)
{
    return p->greeted ? &p->hello : NULL;
}

const struct uf_pipeline_doubts *uf_pipeline_doubts(const struct uf_pipeline *p)
{
    return &p->doubts;
}

uint64_t uf_pipeline_refused(const struct uf_pipeline *p, enum uf_refusal r)
{
    return p->refused[r];
}
