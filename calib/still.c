/* SPDX-License-Identifier: MIT
 * Still stretches: see still.h. Pure. */
#include "calib/still.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define GAP_US         50000 /* lost samples for longer break a stretch */
#define FORCE_ROWS     3
#define FEWEST_SAMPLES 3 /* of a block */

struct block {
    int samples;
    double n[UF_PLATES_MAX][FORCE_ROWS]; /* mean force of each plate, data sheet */
};

struct uf_still {
    struct uf_still_settings s;
    struct uf_rig rig;
    struct uf_calibration sheet;
    bool running, taking;
    uint32_t epoch;
    int64_t last_dev_us, block_dev_us, from_dev_us;
    double reference_raw[UF_CHANNELS_MAX]; /* keeps sums of squares exact */
    struct block now, first;               /* first: of the present stretch */
    int blocks;                            /* whole ones of the stretch */
    int settle_blocks, take_blocks;
    double sum[UF_CHANNELS_MAX], square[UF_CHANNELS_MAX];
    int samples;
};

void uf_still_defaults(struct uf_still_settings *s)
{
    *s = (struct uf_still_settings){1, 3, 0.4, 0.1};
}

int uf_still_new(struct uf_still **out, const struct uf_still_settings *s, const struct uf_rig *rig,
                 struct uf_error *err)
{
    *out = NULL;
    if (!(s->settle_s >= UF_STILL_BLOCK_S) || !(s->take_s >= 2 * UF_STILL_BLOCK_S) ||
        !(s->take_s <= 600) || !(s->settle_s <= 600))
        return uf_fail(err, UF_EINVAL,
                       "a take must last %g to 600 s, and be still for %g to 600 s before, not %g "
                       "and %g",
                       2 * UF_STILL_BLOCK_S, UF_STILL_BLOCK_S, s->take_s, s->settle_s);
    struct uf_still *t = calloc(1, sizeof *t);
    if (!t)
        return uf_fail(err, UF_ENOMEM, "no memory for the means");
    t->s = *s;
    t->rig = *rig;
    t->settle_blocks = (int)ceil(s->settle_s / UF_STILL_BLOCK_S - 1e-9);
    t->take_blocks = (int)ceil(s->take_s / UF_STILL_BLOCK_S - 1e-9);
    uf_calibration_nominal(rig, &t->sheet);
    *out = t;
    return UF_OK;
}

void uf_still_free(struct uf_still *t)
{
    free(t);
}

static void begin_block(struct uf_still *t, int64_t dev_us)
{
    memset(&t->now, 0, sizeof t->now);
    t->block_dev_us = dev_us;
}

static void begin_stretch(struct uf_still *t, const struct uf_frame *f)
{
    t->running = true;
    t->taking = false;
    t->blocks = 0;
    t->epoch = f->epoch;
    begin_block(t, f->t_dev_us);
}

static void begin_take(struct uf_still *t, const struct uf_frame *f)
{
    t->taking = true;
    t->blocks = 0;
    t->samples = 0;
    t->from_dev_us = f->t_dev_us;
    memset(t->sum, 0, sizeof t->sum);
    memset(t->square, 0, sizeof t->square);
    for (int ch = 0; ch < f->channels; ch++)
        t->reference_raw[ch] = f->counts_raw[ch];
}

static void add(struct uf_still *t, const struct uf_frame *f)
{
    t->now.samples++;
    for (int p = 0; p < t->rig.plates; p++)
        for (int k = 0; k < FORCE_ROWS; k++)
            for (int ch = 0; ch < t->rig.channels; ch++)
                t->now.n[p][k] += t->sheet.plate[p].c[k][ch] * f->counts_raw[ch];
    if (!t->taking)
        return;
    t->samples++;
    for (int ch = 0; ch < t->rig.channels; ch++) {
        double d = f->counts_raw[ch] - t->reference_raw[ch];
        t->sum[ch] += d;
        t->square[ch] += d * d;
    }
}

/* Greatest change of a force between two blocks, and what is allowed. */
static double moved_n(const struct uf_still *t, const struct block *a, const struct block *b,
                      double *allowed_n)
{
    double most = 0, most_allowed = t->s.move_n;
    for (int p = 0; p < t->rig.plates; p++) {
        double force = 0, change = 0;
        for (int k = 0; k < FORCE_ROWS; k++) {
            force += b->n[p][k] * b->n[p][k];
            change += (b->n[p][k] - a->n[p][k]) * (b->n[p][k] - a->n[p][k]);
        }
        double allowed = fmax(t->s.move_n, t->s.move_pct / 100 * sqrt(force));
        if (sqrt(change) / allowed > most / most_allowed) {
            most = sqrt(change);
            most_allowed = allowed;
        }
    }
    *allowed_n = most_allowed;
    return most;
}

static void give(const struct uf_still *t, int64_t to_dev_us, struct uf_still_take *take)
{
    memset(take, 0, sizeof *take);
    take->from_dev_us = t->from_dev_us;
    take->to_dev_us = to_dev_us;
    take->samples = t->samples;
    for (int ch = 0; ch < t->rig.channels; ch++) {
        double mean = t->sum[ch] / t->samples;
        double var = (t->square[ch] - t->samples * mean * mean) / (t->samples - 1);
        take->mean_raw[ch] = t->reference_raw[ch] + mean;
        take->noise_raw[ch] = sqrt(fmax(var, 0));
    }
}

static enum uf_still_event end_block(struct uf_still *t, const struct uf_frame *f,
                                     struct uf_still_take *take, char reason[120])
{
    struct block b = t->now;
    for (int p = 0; p < t->rig.plates; p++)
        for (int k = 0; k < FORCE_ROWS; k++)
            b.n[p][k] /= b.samples > 0 ? b.samples : 1;
    begin_block(t, f->t_dev_us);
    if (b.samples < FEWEST_SAMPLES) {
        t->taking = false;
        t->blocks = 0;
        return UF_STILL_NOTHING;
    }
    if (t->blocks == 0)
        t->first = b;
    t->blocks++;
    double allowed_n, change_n = moved_n(t, &t->first, &b, &allowed_n);
    if (change_n > allowed_n) {
        bool was = t->taking;
        t->taking = false;
        t->first = b;
        t->blocks = 1;
        if (!was)
            return UF_STILL_NOTHING;
        snprintf(reason, 120, "it moved by %.1f N while it was measured (allowed: %.1f N)",
                 change_n, allowed_n);
        return UF_STILL_MOVED;
    }
    if (t->taking && t->blocks >= t->take_blocks) {
        give(t, f->t_dev_us, take);
        t->taking = false;
        t->first = b;
        t->blocks = 1;
        return UF_STILL_TAKEN;
    }
    if (!t->taking && t->blocks >= t->settle_blocks) {
        begin_take(t, f);
        return UF_STILL_BEGUN;
    }
    return UF_STILL_NOTHING;
}

enum uf_still_event uf_still_feed(struct uf_still *t, const struct uf_frame *f,
                                  struct uf_still_take *take, char reason[120])
{
    enum uf_still_event event = UF_STILL_NOTHING;
    bool reboot = t->running && f->epoch != t->epoch;
    bool gap = t->running && f->t_dev_us - t->last_dev_us > GAP_US;
    bool rail = (f->status & (UF_STATUS_RAIL | UF_STATUS_EXCITATION)) != 0;
    if (f->channels < t->rig.channels)
        return UF_STILL_NOTHING;
    if (!t->running || reboot || gap || rail) {
        if (t->taking) {
            snprintf(reason, 120, "%s",
                     reboot ? "the board started anew"
                     : gap  ? "samples were lost"
                            : "the board reports a channel at its rail, or a bad excitation");
            event = UF_STILL_BROKEN;
        }
        begin_stretch(t, f);
    }
    t->last_dev_us = f->t_dev_us;
    if (f->t_dev_us - t->block_dev_us >= (int64_t)(1e6 * UF_STILL_BLOCK_S))
        event = end_block(t, f, take, reason);
    add(t, f);
    return event;
}
