/* SPDX-License-Identifier: MIT
 * The whole chain on bytes of the reference encoder: a hand-drawn lesson on the example rig, whose
 * answers are known by construction. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "encoder.h"
#include "load.h"
#include "shape.h"
#include "swing/analysis.h"
#include "swing/pipeline.h"

#include <limits.h>
#include <stdlib.h>
#include <string.h>

/* The linker leads the chain's allocations here (tests/CMakeLists.txt). Those of a pipeline at work
 * are counted; the fail_at-th gets nothing (0: all get what they want), and fail_more after it. */
static int fail_at, fail_more, allocations;
static bool counting;
void *__real_malloc(size_t n);
void *__real_calloc(size_t count, size_t n);
void *__wrap_malloc(size_t n);
void *__wrap_calloc(size_t count, size_t n);

static bool fails(void)
{
    allocations += counting;
    return counting && fail_at > 0 && allocations >= fail_at && allocations - fail_at <= fail_more;
}

void *__wrap_malloc(size_t n)
{
    return fails() ? NULL : __real_malloc(n);
}

void *__wrap_calloc(size_t count, size_t n)
{
    return fails() ? NULL : __real_calloc(count, n);
}

#define WEIGHT_N  800.0
#define EMPTY_S   4.0 /* before the shape begins */
#define BYTES_MAX 3000000
#define CAPTURES  8

static const struct uf_pipeline_settings settings = {
    .form = UF_FORM_AUTO,
    .hand = UF_RIGHT_HANDED,
    .live_cutoff_hz = 20,
    .tare = {.still_s = 2, .still_n = 1.5, .empty_n = 15, .warn_n = 40, .min_between_s = 30},
    .segment = {.on_n = 150,
                .still_s = 0.5,
                .still_pct = 1.5,
                .lead_rise_bw = 0.45,
                .lead_rate_bw_s = 2,
                .before_s = 0.5,
                .after_s = 1.5,
                .longest_s = 6},
};

struct stream {
    uint8_t *bytes;
    size_t n;
    uint16_t seq;
    uint32_t t_us;
    uint32_t noise;
    int channels;
    uint16_t promised_hz; /* 0: the true one, 1000 */
    bool clock_stands, railed;
    double rock_from_s, rock_to_s; /* of the shape: rocks from heels to toes */
    double second_strike_s;        /* after its beginning, 0: none */
};

static void say_hello_of(struct stream *s, uint16_t rate_hz)
{
    struct uf_enc_hello h = {.channels = (uint8_t)s->channels,
                             .adc_bits = 24,
                             .rate_hz = rate_hz,
                             .firmware = 3,
                             .board_id = {1, 2, 3, 4, 5, 6, 7, 8}};
    s->n += uf_enc_hello(s->bytes + s->n, BYTES_MAX - s->n, &h);
}

static void say_hello(struct stream *s)
{
    say_hello_of(s, s->promised_hz ? s->promised_hz : 1000);
}

/* Appends EMPTY_S of empty plates and then the shape; strike_s after its beginning, 0: none. */
static void append(struct stream *s, const struct knot *k, size_t n, double strike_s)
{
    struct uf_rig rig;
    uf_rig_example(&rig);
    double zero[UF_CHANNELS_MAX];
    for (int c = 0; c < UF_CHANNELS_MAX; c++)
        zero[c] = 300.0 * c - 2000;
    for (int i = 0; i / 1000.0 < EMPTY_S + k[n - 1].t_s; i++) {
        double t_s = i / 1000.0 - EMPTY_S, lead = 0, trail = 0;
        if (t_s > 0)
            shape(k, n, t_s, &lead, &trail);
        int32_t counts[UF_CHANNELS_MAX] = {0};
        /* toe-heel couple of 0.1 BW that follows the lead foot's force */
        double toe_n = -0.1 * WEIGHT_N * (lead - 0.5);
        double rock_mm = 0;
        if (t_s > s->rock_from_s && t_s < s->rock_to_s)
            rock_mm = 90 * sin(2 * 3.14159265358979 * 0.6 * (t_s - s->rock_from_s));
        put_load(&rig.plate[0], 0, lead > 0 ? toe_n : 0, WEIGHT_N * lead, -10, 30 + rock_mm, 0,
                 zero, counts);
        put_load(&rig.plate[1], 0, lead > 0 ? -toe_n : 0, WEIGHT_N * trail, 10, -20 + rock_mm, 0,
                 zero, counts);
        for (int c = 0; c < s->channels; c++) {
            s->noise = s->noise * 1664525u + 1013904223u;
            counts[c] += (int32_t)(s->noise >> 24) - 128;
        }
        struct uf_enc_sample e = {
            .seq = s->seq++, .t_us = s->t_us, .channels = (uint8_t)s->channels, .counts = counts};
        if (!s->clock_stands)
            s->t_us += 1000;
        if (s->railed)
            counts[5] = 8388607;
        if (strike_s > 0 && t_s >= strike_s && t_s < strike_s + 0.005)
            e.inputs = UF_INPUT_STRIKE;
        if (s->second_strike_s > 0 && t_s >= s->second_strike_s && t_s < s->second_strike_s + 0.005)
            e.inputs = UF_INPUT_STRIKE;
        if (i % 1000 == 0)
            say_hello(s);
        s->n += uf_enc_sample(s->bytes + s->n, BYTES_MAX - s->n, &e);
    }
}

static struct stream begin(int channels)
{
    struct stream s = {.bytes = malloc(BYTES_MAX), .noise = 5, .channels = channels};
    assert_non_null(s.bytes);
    s.t_us = 0xffffffffu - 3000000u; /* wraps within the lesson */
    return s;
}

struct heard {
    int hellos, tares, strikes, lone, swings, rockings, refused, errors, samples;
    uint32_t rocking_stand, stand[CAPTURES]; /* of the last rocking, of the swings */
    double rocked_s;                         /* length of the last one */
    struct uf_capture *capture[CAPTURES];
    struct uf_error err;
    enum uf_stance stance;
    double live_total_n; /* at the last sample */
    struct uf_pipeline_doubts doubts;
};

static void hear(struct uf_pipeline *p, const struct uf_pipeline_event *e, struct heard *h)
{
    switch (e->kind) {
    case UF_PIPE_HELLO:
        h->hellos++;
        break;
    case UF_PIPE_TARE:
        h->tares++;
        break;
    case UF_PIPE_STRIKE:
        h->strikes++;
        break;
    case UF_PIPE_REFUSED:
        h->refused++;
        break;
    case UF_PIPE_ERROR:
        h->errors++;
        break;
    case UF_PIPE_STANCE:
        h->stance = e->stance;
        break;
    case UF_PIPE_SWING:
        assert_true(h->swings < CAPTURES);
        h->stand[h->swings] = e->stand;
        h->capture[h->swings++] = e->capture;
        break;
    case UF_PIPE_LONE_STRIKE:
        h->lone++;
        break;
    case UF_PIPE_ROCKING:
        h->rockings++;
        h->rocking_stand = e->stand;
        h->rocked_s = 1e-6 * e->capture->offset_us[e->capture->samples - 1];
        uf_capture_free(e->capture);
        break;
    case UF_PIPE_SAMPLE:
        h->samples++;
        h->live_total_n = uf_pipeline_live(p)->both.fz_n;
        break;
    case UF_PIPE_NONE:
    case UF_PIPE_NOTE:
    case UF_PIPE_PLATE:
        break;
    }
}

/* Plays the stream in pieces of so many bytes. */
static struct heard play(const struct stream *s, const struct uf_rig *rig,
                         const struct uf_pipeline_settings *with, size_t piece)
{
    struct heard h = {0};
    struct uf_calibration cal;
    uf_calibration_nominal(rig, &cal);
    struct uf_pipeline *p;
    assert_int_equal(uf_pipeline_new(&p, with, rig, &cal, NULL, NULL), 0);
    allocations = 0;
    counting = true;
    struct uf_pipeline_event e;
    for (size_t at = 0; at < s->n; at += piece) {
        size_t n = s->n - at < piece ? s->n - at : piece, taken = 0;
        do {
            taken += uf_pipeline_feed(p, s->bytes + at + taken, n - taken, &e, &h.err);
            hear(p, &e, &h);
        } while (e.kind != UF_PIPE_NONE || taken < n);
    }
    do {
        uf_pipeline_finish(p, &e, &h.err);
        hear(p, &e, &h);
    } while (e.kind != UF_PIPE_NONE);
    counting = false;
    h.doubts = *uf_pipeline_doubts(p);
    uf_pipeline_free(p);
    return h;
}

static void forget(struct heard *h)
{
    for (int i = 0; i < h->swings; i++)
        uf_capture_free(h->capture[i]);
}

static void same_window(const struct uf_capture *a, const struct uf_capture *b)
{
    assert_int_equal(a->samples, b->samples);
    assert_int_equal(a->start_dev_us, b->start_dev_us);
    assert_int_equal(a->trigger_dev_us, b->trigger_dev_us);
    assert_memory_equal(a->quiet_raw, b->quiet_raw, sizeof a->quiet_raw);
    assert_memory_equal(a->offset_us, b->offset_us, a->samples * sizeof *a->offset_us);
    assert_memory_equal(a->counts_raw, b->counts_raw,
                        a->samples * a->board.channels * sizeof *a->counts_raw);
}

static void same_capture(const struct uf_capture *a, const struct uf_capture *b)
{
    same_window(a, b);
    assert_memory_equal(a->tare_raw, b->tare_raw, sizeof a->tare_raw);
}

#define SHAPE_N (sizeof swing_shape / sizeof swing_shape[0])

static void a_lesson_from_bytes(void **state)
{
    (void)state;
    struct stream s = begin(24);
    append(&s, swing_shape, SHAPE_N, 5.1);
    append(&s, swing_shape, SHAPE_N, 0);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard h = play(&s, &rig, &settings, 4096);
    assert_int_equal(h.hellos, 1);
    assert_int_equal(h.errors, 0);
    assert_true(h.tares >= 1);
    assert_int_equal(h.strikes, 1);
    assert_int_equal(h.swings, 2);
    assert_int_equal(h.samples, 2 * (int)(1000 * (EMPTY_S + 9)));
    for (int i = 0; i < 2; i++) {
        struct uf_calibration cal;
        uf_calibration_nominal(&rig, &cal);
        struct uf_analysis_settings how;
        uf_analysis_defaults(&how);
        struct uf_analysis *a;
        assert_int_equal(uf_analyse(h.capture[i], &rig, &cal, &how, &a, NULL), 0);
        assert_true(fabs(a->value[UF_M_weight_n] - WEIGHT_N) < 1);
        assert_true(fabs(a->value[UF_M_lead_vertical_peak_bw] - 1.15) < 0.01);
        assert_true(fabs(a->value[UF_M_trail_share_max_pct] - 100 * 0.82 / 1.02) < 0.5);
        bool struck = i == 0;
        assert_int_equal(a->reason[UF_M_lead_vertical_peak_to_impact_ms],
                         struck ? UF_REASON_NONE : UF_REASON_NO_IMPACT);
        if (struck) /* the lead peak is the knot at 5.05 s, the strike at 5.1 s; the drawn crest has
                       no curvature and two unequal sides, so its top is not sharp */
            assert_true(fabs(a->value[UF_M_lead_vertical_peak_to_impact_ms] + 50) < 10);
        uf_analysis_free(a);
    }
    forget(&h);
    free(s.bytes);
}

/* Stands for long, swings, steps off. */
static const struct knot long_shape[] = {{0, 0, 0},          {0.5, 0, 0},       {1.5, 0.5, 0.5},
                                         {14, 0.5, 0.5},     {14.8, 0.2, 0.82}, {15.05, 1.15, 0.25},
                                         {15.4, 0.85, 0.15}, {18, 0.85, 0.15},  {18.5, 0.5, 0.5},
                                         {19, 0, 0},         {20, 0, 0}};
#define LONG_N (sizeof long_shape / sizeof long_shape[0])

/* Feet found in rocking hold for the swing behind it, and not for the one of another time. */
static void rocking_holds_until_he_steps_off(void **state)
{
    (void)state;
    struct stream s = begin(24);
    s.rock_from_s = 3;
    s.rock_to_s = 9.7;
    append(&s, long_shape, LONG_N, 15.1);
    s.rock_from_s = s.rock_to_s = 0;
    append(&s, swing_shape, SHAPE_N, 5.1);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard h = play(&s, &rig, &settings, 4096);
    assert_int_equal(h.rockings, 1);
    assert_true(h.rocked_s > 5 && h.rocked_s < 7.2);
    assert_int_equal(h.swings, 2);
    assert_int_equal(h.stand[0], h.rocking_stand);
    assert_int_not_equal(h.stand[1], h.rocking_stand);
    assert_int_equal(h.lone, 0);
    forget(&h);
    free(s.bytes);
}

/* A strike without a swing is told of, once, and makes no swing. */
static void a_strike_without_a_swing(void **state)
{
    (void)state;
    struct stream s = begin(24);
    s.second_strike_s = 4;
    append(&s, long_shape, LONG_N, 15.1);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard h = play(&s, &rig, &settings, 4096);
    assert_int_equal(h.strikes, 2);
    assert_int_equal(h.lone, 1);
    assert_int_equal(h.swings, 1);
    forget(&h);
    free(s.bytes);
}

static uint32_t flags_of_first(const struct heard *h, const struct uf_rig *rig, enum uf_metric m,
                               enum uf_reason *reason, enum uf_reason *weight)
{
    struct uf_calibration cal;
    uf_calibration_nominal(rig, &cal);
    struct uf_analysis_settings how;
    uf_analysis_defaults(&how);
    struct uf_analysis *a;
    assert_int_equal(h->swings, 1);
    assert_int_equal(uf_analyse(h->capture[0], rig, &cal, &how, &a, NULL), 0);
    uint32_t flags = a->flags;
    *reason = a->reason[m];
    *weight = a->reason[UF_M_weight_n];
    uf_analysis_free(a);
    return flags;
}

static void two_strikes_are_one_swing(void **state)
{
    (void)state;
    struct stream s = begin(24);
    s.second_strike_s = 5.25;
    append(&s, swing_shape, SHAPE_N, 5.1);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard h = play(&s, &rig, &settings, 4096);
    enum uf_reason reason, weight;
    assert_true(flags_of_first(&h, &rig, UF_M_lead_vertical_peak_to_impact_ms, &reason, &weight) &
                UF_FLAG_TWO_STRIKES);
    assert_int_equal(reason, UF_REASON_TWO_STRIKES);
    assert_int_equal(h.lone, 0); /* both are of the swing */
    forget(&h);
    free(s.bytes);
}

static void the_other_hand_is_noticed(void **state)
{
    (void)state;
    struct stream s = begin(24);
    append(&s, swing_shape, SHAPE_N, 5.1); /* of a right-handed golfer */
    struct uf_pipeline_settings left = settings;
    left.hand = UF_LEFT_HANDED;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard h = play(&s, &rig, &left, 4096);
    enum uf_reason reason, weight;
    assert_true(flags_of_first(&h, &rig, UF_M_trail_share_impact_pct, &reason, &weight) &
                UF_FLAG_HAND);
    assert_int_equal(reason, UF_REASON_HAND);
    assert_int_equal(weight, UF_REASON_NONE); /* it has no hand */
    forget(&h);
    free(s.bytes);
}

/* He never stands still before: no weight, and no number that needs it. */
static void a_swing_without_a_weight(void **state)
{
    (void)state;
    static const struct knot restless[] = {{0, 0, 0},         {0.5, 0, 0},        {0.9, 0.56, 0.48},
                                           {1.3, 0.44, 0.54}, {1.7, 0.57, 0.46},  {2.1, 0.43, 0.53},
                                           {2.5, 0.56, 0.44}, {2.9, 0.44, 0.53},  {3.3, 0.55, 0.46},
                                           {4.1, 0.2, 0.82},  {4.35, 1.15, 0.25}, {4.7, 0.85, 0.15},
                                           {8.0, 0.85, 0.15}};
    struct stream s = begin(24);
    append(&s, restless, sizeof restless / sizeof restless[0], 4.4);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard h = play(&s, &rig, &settings, 4096);
    enum uf_reason reason, weight;
    assert_true(flags_of_first(&h, &rig, UF_M_lead_vertical_peak_to_impact_ms, &reason, &weight) &
                UF_FLAG_NO_QUIET);
    assert_int_equal(weight, UF_REASON_NO_WEIGHT);
    assert_int_equal(reason, UF_REASON_NONE); /* a time needs none */
    forget(&h);
    free(s.bytes);
}

/* However the bytes are cut: the same captures, to the bit. */
static void pieces_do_not_matter(void **state)
{
    (void)state;
    struct stream s = begin(24);
    append(&s, swing_shape, SHAPE_N, 5.1);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard whole = play(&s, &rig, &settings, s.n);
    assert_int_equal(whole.swings, 1);
    static const size_t pieces[] = {1, 7, 86, 4096};
    for (size_t i = 0; i < sizeof pieces / sizeof pieces[0]; i++) {
        struct heard h = play(&s, &rig, &settings, pieces[i]);
        assert_int_equal(h.swings, 1);
        same_capture(h.capture[0], whole.capture[0]);
        assert_int_equal(h.tares, whole.tares);
        assert_int_equal(h.refused, whole.refused);
        forget(&h);
    }
    forget(&whole);
    free(s.bytes);
}

/* The same bytes on the mirrored rig: a left-handed lesson with the same numbers, to the last bit.
 */
static void a_mirrored_lesson_gives_the_same_numbers(void **state)
{
    (void)state;
    struct stream s = begin(24);
    append(&s, swing_shape, SHAPE_N, 5.1);
    struct uf_rig rig, mirror;
    uf_rig_example(&rig);
    mirror_rig(&rig, &mirror);
    struct uf_pipeline_settings left = settings;
    left.hand = UF_LEFT_HANDED;
    struct heard a = play(&s, &rig, &settings, 1000), b = play(&s, &mirror, &left, 1000);
    assert_int_equal(a.swings, 1);
    assert_int_equal(b.swings, 1);
    assert_int_equal(b.capture[0]->shape_hand, UF_LEFT_HANDED);
    same_capture(a.capture[0], b.capture[0]);
    struct uf_calibration cal, cal_mirror;
    uf_calibration_nominal(&rig, &cal);
    uf_calibration_nominal(&mirror, &cal_mirror);
    struct uf_analysis_settings how;
    uf_analysis_defaults(&how);
    struct uf_analysis *x, *y;
    assert_int_equal(uf_analyse(a.capture[0], &rig, &cal, &how, &x, NULL), 0);
    assert_int_equal(uf_analyse(b.capture[0], &mirror, &cal_mirror, &how, &y, NULL), 0);
    assert_memory_equal(x->value, y->value, sizeof x->value);
    assert_int_equal(x->flags, y->flags);
    uf_analysis_free(x);
    uf_analysis_free(y);
    forget(&a);
    forget(&b);
    free(s.bytes);
}

static void the_wrong_hand_loses_no_swing(void **state)
{
    (void)state;
    struct stream s = begin(24);
    append(&s, swing_shape, SHAPE_N, 0);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_pipeline_settings left = settings;
    left.hand = UF_LEFT_HANDED;
    struct heard h = play(&s, &rig, &left, 4096);
    assert_int_equal(h.swings, 1);
    assert_int_equal(h.capture[0]->hand, UF_LEFT_HANDED);
    assert_int_equal(h.capture[0]->shape_hand, UF_RIGHT_HANDED);
    forget(&h);
    free(s.bytes);
}

static void a_board_with_too_few_channels_is_told(void **state)
{
    (void)state;
    struct stream s = begin(12);
    append(&s, swing_shape, SHAPE_N, 0);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard h = play(&s, &rig, &settings, 4096);
    assert_int_equal(h.swings, 0);
    assert_int_equal(h.errors, 1); /* once, not once a second */
    assert_non_null(strstr(h.err.text, "12 channels"));
    assert_non_null(strstr(h.err.text, "maps channel 23"));
    free(s.bytes);
}

/* HELLO says what is not so: that is said once, and the swing is found and flagged all the same. */
static void an_untrue_rate_is_told(void **state)
{
    (void)state;
    static const uint16_t promised[] = {150, 500, 2000, 10000};
    for (size_t i = 0; i < sizeof promised / sizeof promised[0]; i++) {
        struct stream s = begin(24);
        s.promised_hz = promised[i];
        append(&s, swing_shape, SHAPE_N, 0);
        struct uf_rig rig;
        uf_rig_example(&rig);
        struct heard h = play(&s, &rig, &settings, 4096);
        assert_int_equal(h.errors, 1);
        assert_non_null(strstr(h.err.text, "sends 1000 by its own clock"));
        assert_int_equal(h.swings, 1);
        assert_true(h.capture[0]->quiet_known);
        struct uf_calibration cal;
        uf_calibration_nominal(&rig, &cal);
        struct uf_analysis_settings how;
        uf_analysis_defaults(&how);
        struct uf_analysis *a;
        assert_int_equal(uf_analyse(h.capture[0], &rig, &cal, &how, &a, NULL), 0);
        assert_true(a->flags & UF_FLAG_RATE);
        assert_true(fabs(a->value[UF_M_lead_vertical_peak_bw] - 1.15) < 0.01);
        uf_analysis_free(a);
        forget(&h);
        free(s.bytes);
    }
}

static void a_clock_that_stands_is_told(void **state)
{
    (void)state;
    struct stream s = begin(24);
    s.clock_stands = true;
    append(&s, swing_shape, SHAPE_N, 0);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard h = play(&s, &rig, &settings, 4096);
    assert_int_equal(h.errors, 1);
    assert_non_null(strstr(h.err.text, "clock stands"));
    free(s.bytes);
}

/* A channel at its rail is no zero, whatever the board says of it. */
static void a_railed_channel_is_no_zero(void **state)
{
    (void)state;
    static const struct knot nobody[] = {{0, 0, 0}, {2, 0, 0}};
    struct stream s = begin(24);
    s.railed = true;
    append(&s, nobody, 2, 0);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard h = play(&s, &rig, &settings, 4096);
    assert_int_equal(h.tares, 0);
    assert_int_equal(h.doubts.rail, (int)(1000 * (EMPTY_S + 2)));
    assert_int_equal(h.doubts.overrun, 0);
    free(s.bytes);
}

/* The board restarts between two swings: both are there, and no window reaches over the restart. */
static void a_reboot_between_swings(void **state)
{
    (void)state;
    struct stream s = begin(24);
    append(&s, swing_shape, SHAPE_N, 0);
    s.seq = 0;
    s.t_us = 700;
    append(&s, swing_shape, SHAPE_N, 0);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard h = play(&s, &rig, &settings, 4096);
    assert_int_equal(h.swings, 2);
    assert_true(h.capture[1]->start_dev_us > h.capture[0]->start_dev_us + 9000000);
    forget(&h);
    free(s.bytes);
}

static void live_values_show_the_weight(void **state)
{
    (void)state;
    static const struct knot stand[] = {{0, 0, 0}, {1, 0.5, 0.5}, {4, 0.5, 0.5}};
    struct stream s = begin(24);
    append(&s, stand, 3, 0);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard h = play(&s, &rig, &settings, 4096);
    assert_int_equal(h.swings, 0);
    assert_int_equal(h.stance, UF_STANCE_STILL);
    assert_true(fabs(h.live_total_n - WEIGHT_N) < 2);
    free(s.bytes);
}

/* Whatever allocation fails from the board's first HELLO on, the swing is found: the next HELLO or
 * the next sample is another try. */
static void no_memory_for_a_moment(void **state)
{
    (void)state;
    struct stream s = begin(24);
    append(&s, swing_shape, SHAPE_N, 5.1);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard whole = play(&s, &rig, &settings, 4096);
    assert_int_equal(whole.swings, 1);
    int needed = allocations, told = 0;
    assert_in_range(needed, 6, 100);
    for (fail_at = 1; fail_at <= needed; fail_at++) {
        struct heard h = play(&s, &rig, &settings, 4096);
        told += h.errors;
        assert_int_equal(h.swings, 1);
        same_window(h.capture[0], whole.capture[0]); /* the zero may be of a second later */
        forget(&h);
    }
    assert_int_not_equal(told, 0); /* while nothing can be measured */
    fail_at = 0;
    forget(&whole);
    free(s.bytes);
}

/* For longer: a sentence, said once, and no swing. */
static void no_memory_for_long(void **state)
{
    (void)state;
    struct stream s = begin(24);
    append(&s, swing_shape, SHAPE_N, 5.1);
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct heard whole = play(&s, &rig, &settings, 4096);
    forget(&whole);
    const struct {
        int at;
        const char *words;
    } cases[] = {{1, "no memory for the "}, {allocations, "no memory for a swing of"}};
    fail_more = INT_MAX;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        fail_at = cases[i].at; /* from HELLO on; from the swing's last piece on */
        struct heard h = play(&s, &rig, &settings, 4096);
        assert_int_equal(h.swings, 0);
        assert_int_equal(h.errors, 1);
        assert_non_null(strstr(h.err.text, cases[i].words));
    }
    fail_at = fail_more = 0;
    free(s.bytes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_lesson_from_bytes),
        cmocka_unit_test(rocking_holds_until_he_steps_off),
        cmocka_unit_test(a_strike_without_a_swing),
        cmocka_unit_test(two_strikes_are_one_swing),
        cmocka_unit_test(the_other_hand_is_noticed),
        cmocka_unit_test(a_swing_without_a_weight),
        cmocka_unit_test(pieces_do_not_matter),
        cmocka_unit_test(a_mirrored_lesson_gives_the_same_numbers),
        cmocka_unit_test(the_wrong_hand_loses_no_swing),
        cmocka_unit_test(a_board_with_too_few_channels_is_told),
        cmocka_unit_test(an_untrue_rate_is_told),
        cmocka_unit_test(a_clock_that_stands_is_told),
        cmocka_unit_test(a_railed_channel_is_no_zero),
        cmocka_unit_test(a_reboot_between_swings),
        cmocka_unit_test(live_values_show_the_weight),
        cmocka_unit_test(no_memory_for_a_moment),
        cmocka_unit_test(no_memory_for_long),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
