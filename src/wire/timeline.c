/* SPDX-License-Identifier: MIT
 * How the samples' order and time are judged.
 *
 * Both numbers of a sample wrap: seq after 65,536 samples (65 s at 1 kHz), t_us after 71.6 minutes.
 * Their differences to the last sample are known modulo 2^16 and 2^32. The time difference, taken
 * as signed (less than 35.8 minutes either way), says about how many periods have passed; of the
 * numbers congruent to the sequence difference, the one nearest to it is the number of samples. The
 * two agree on a board that only lost samples on the line. So:
 * - both as at the last sample, or both back by the same few periods: a repeat, dropped;
 * - time back by more than a period, the slack of the next rule: the board has rebooted;
 * - time forward, but not by about as many periods as samples: rebooted. For the first second of a
 *   gap "about" is 1 % of the period as measured on this board (3 % of the nominal one, until it is
 *   measured): far beyond two crystals, and enough for a converter on an RC oscillator. For the
 * rest of it 50 ppm: after a long gap nearly every sequence would do otherwise, and a board that
 *   reboots after 36 to 71 minutes looks like one. Time may also run ahead of the sequence by
 *   50 ms: a converter that stalled while the firmware ran on.
 * What cannot be told without a host's clock: a reboot behind the host's back whose first sample
 * seen lies ahead in time and sequence alike is taken as a gap (1 in 300 of those after an hour's
 * run, fewer else); a pause of the line beyond 35.8 minutes, or a long one with an RC oscillator,
 * may be taken as a reboot. Either way time goes on growing, and the stream is marked as broken
 * there (lost, or a new epoch). */
#include "wire/timeline.h"

#include <math.h>

#define TOLERANCE      0.01    /* of a gap's first second, on a measured period */
#define TOLERANCE_NEW  0.03    /* the same on a nominal one */
#define TOLERANCE_LONG 50e-6   /* of the rest of the gap */
#define STALL_US       50000.0 /* a converter may stop for so long without counting */
#define SLACK_PERIODS  2.0     /* jitter of the stamps of both samples */
#define REPEAT_PERIODS 16      /* a doubled piece of the line goes back so far at most */
#define MEASURED_MAX   4096    /* intervals that the mean period remembers */

void uf_timeline_board(struct uf_timeline *t, uint16_t rate_hz)
{
    t->other_board = true;
    t->nominal_us = 1e6 / rate_hz;
    t->period_us = t->nominal_us;
    t->measured = 0;
}

static enum uf_step begin_epoch(struct uf_timeline *t, uint16_t seq, uint32_t t_us)
{
    bool first = !t->started;
    t->started = true;
    t->other_board = false;
    t->seq = seq;
    t->t_us = t_us;
    t->t_dev_us += first ? 0 : llround(fmax(t->nominal_us, 1));
    t->clock_us = t->t_dev_us;
    t->epoch += !first;
    return first ? UF_STEP_NEXT : UF_STEP_REBOOT;
}

/* The mean of the intervals between neighbours: plain at first, then forgetting slowly, so that it
 * follows a warming oscillator. An interval far from nominal is a stall or a bad stamp. */
static void measure(struct uf_timeline *t, double dt_us)
{
    if (dt_us < 0.5 * t->nominal_us || dt_us > 2 * t->nominal_us)
        return;
    if (t->measured < MEASURED_MAX)
        t->measured++;
    t->period_us += (dt_us - t->period_us) / t->measured;
}

/* By how much the time of a gap and its number of samples may disagree. */
static double slack(const struct uf_timeline *t, double gap_us)
{
    double tolerance = t->measured == MEASURED_MAX ? TOLERANCE : TOLERANCE_NEW;
    return SLACK_PERIODS * t->period_us + tolerance * fmin(gap_us, 1e6) +
           TOLERANCE_LONG * fmax(gap_us - 1e6, 0);
}

enum uf_step uf_timeline_step(struct uf_timeline *t, uint16_t seq, uint32_t t_us, uint32_t *lost)
{
    *lost = 0;
    if (!t->started || t->other_board)
        return begin_epoch(t, seq, t_us);

    uint16_t ahead = (uint16_t)(seq - t->seq);
    int32_t dt_us = (int32_t)(t_us - t->t_us);
    double periods = dt_us / t->period_us;

    int behind = (uint16_t)(t->seq - seq);
    if (behind <= REPEAT_PERIODS && fabs(periods + behind) < 0.5)
        return UF_STEP_REPEAT;
    double rounds = fmax(nearbyint((periods - ahead) / 65536.0), ahead == 0 ? 1 : 0);
    double samples = ahead + 65536.0 * rounds; /* at least 1 */
    double unexplained_us = dt_us - samples * t->period_us;
    double slack_us = slack(t, fmax(dt_us, 0));
    if (unexplained_us < -slack_us || unexplained_us > fmax(slack_us, STALL_US))
        return begin_epoch(t, seq, t_us);

    *lost = (uint32_t)(samples - 1);
    if (samples == 1)
        measure(t, dt_us);
    t->seq = seq;
    t->t_us = t_us;
    t->clock_us += dt_us;
    t->t_dev_us = t->clock_us > t->t_dev_us ? t->clock_us : t->t_dev_us + 1;
    return UF_STEP_NEXT;
}
