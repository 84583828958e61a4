/* SPDX-License-Identifier: MIT
 * Zero of the plates: see tare.h. The still stretch is a ring of BLOCKS blocks of sums, so memory
 * does not grow with the rate or the length. Pure; device time only. */
#include "plate/tare.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The still stretch is judged in BLOCKS parts, and the zero is the mean of the first MEAN_BLOCKS:
 * it ends before a movement that begins too small to be seen yet. */
#define BLOCKS      10
#define MEAN_BLOCKS 8

#define GAP_S        0.05 /* lost samples up to so long leave the stretch whole */
#define BLOCK_FILLED 0.5  /* least part of a block's samples that must have come */
#define SETTLED_N    0.1  /* a zero that would move no force by more is not taken again */
#define SETTLED_NM   0.03

struct block {
    int64_t sum_raw[UF_CHANNELS_MAX];
    double sum_n[UF_PLATES_MAX], square_n[UF_PLATES_MAX]; /* of fz, from reference_raw */
    int samples;
};

/* The channels that weigh in a plate's vertical force. */
struct vertical {
    int n, channel[UF_CHANNELS_MAX];
    double c[UF_CHANNELS_MAX];
};

struct uf_tare {
    struct uf_tare_settings s;
    int plates, channels;
    struct uf_plate_matrix matrix[UF_PLATES_MAX];
    struct vertical vertical[UF_PLATES_MAX]; /* of the matrices */

    bool ready, requested;
    double zero_raw[UF_CHANNELS_MAX];
    double first_raw[UF_CHANNELS_MAX]; /* drift counts from here */
    int64_t zero_dev_us;
    bool timed; /* zero_dev_us is of this run */

    struct block block[BLOCKS];
    double reference_raw[UF_CHANNELS_MAX]; /* first sample of the stretch: keeps the sums small */
    int full;                              /* complete blocks, at most BLOCKS */
    int now;                               /* index of the one being filled */
    bool running;
    int64_t block_dev_us; /* its start */
    uint32_t epoch;
};

static void use_calibration(struct uf_tare *t, const struct uf_calibration *cal)
{
    memcpy(t->matrix, cal->plate, sizeof t->matrix);
    for (int p = 0; p < t->plates; p++) {
        struct vertical *v = &t->vertical[p];
        v->n = 0;
        for (int ch = 0; ch < t->channels; ch++)
            if (cal->plate[p].c[UF_FZ][ch] != 0) {
                v->channel[v->n] = ch;
                v->c[v->n++] = cal->plate[p].c[UF_FZ][ch];
            }
    }
}

int uf_tare_new(struct uf_tare **out, const struct uf_tare_settings *s, const struct uf_rig *rig,
                const struct uf_calibration *cal, const double *initial_raw, struct uf_error *err)
{
    *out = NULL;
    if (!(s->still_s > 0) || !(s->still_n > 0) || !(s->empty_n > 0) || !(s->warn_n > 0) ||
        !(s->min_between_s >= 0))
        return uf_fail(err, UF_EINVAL,
                       "the settings of the zero must be above 0: still_s %g, still_n %g, "
                       "empty_n %g, warn_n %g, min_between_s %g",
                       s->still_s, s->still_n, s->empty_n, s->warn_n, s->min_between_s);
    if (cal->plates != rig->plates)
        return uf_fail(err, UF_EINVAL,
                       "the calibration \"%s\" is of %d plates and the rig \"%s\" has %d: choose "
                       "the calibration of this rig",
                       cal->name, cal->plates, rig->name, rig->plates);
    for (int p = 0; p < rig->plates; p++)
        if (!cal->plate[p].known[UF_FZ])
            return uf_fail(err, UF_EINVAL,
                           "the calibration \"%s\" does not know the vertical force of the %s "
                           "plate, so an empty plate cannot be told: calibrate with weights",
                           cal->name, uf_place_name(rig->plate[p].place));
    struct uf_tare *t = calloc(1, sizeof *t);
    if (!t)
        return uf_fail(err, UF_ENOMEM, "no memory for the zero of the plates");
    t->s = *s;
    t->plates = rig->plates;
    t->channels = rig->channels;
    use_calibration(t, cal);
    if (initial_raw) {
        memcpy(t->zero_raw, initial_raw, sizeof t->zero_raw);
        memcpy(t->first_raw, initial_raw, sizeof t->first_raw);
        t->ready = true;
    }
    *out = t;
    return UF_OK;
}

void uf_tare_free(struct uf_tare *t)
{
    free(t);
}

void uf_tare_request(struct uf_tare *t)
{
    t->requested = true;
    t->running = false; /* the stretch begins after the wish */
}

void uf_tare_set_calibration(struct uf_tare *t, const struct uf_calibration *cal)
{
    use_calibration(t, cal);
    t->running = false;
}

bool uf_tare_ready(const struct uf_tare *t)
{
    return t->ready;
}

const double *uf_tare_raw(const struct uf_tare *t)
{
    return t->zero_raw;
}

/* ---- the still stretch ---- */

static void start_stretch(struct uf_tare *t, const struct uf_frame *f)
{
    t->running = true;
    t->full = t->now = 0;
    memset(&t->block[0], 0, sizeof t->block[0]);
    t->block_dev_us = f->t_dev_us;
    for (int ch = 0; ch < t->channels; ch++)
        t->reference_raw[ch] = f->counts_raw[ch];
}

static double fz_above(const struct uf_tare *t, int plate, const int32_t *counts_raw)
{
    const struct vertical *v = &t->vertical[plate];
    double fz_n = 0;
    for (int i = 0; i < v->n; i++)
        fz_n += v->c[i] * (counts_raw[v->channel[i]] - t->reference_raw[v->channel[i]]);
    return fz_n;
}

static void add_sample(struct uf_tare *t, const struct uf_frame *f)
{
    struct block *b = &t->block[t->now];
    b->samples++;
    for (int ch = 0; ch < t->channels; ch++)
        b->sum_raw[ch] += f->counts_raw[ch];
    for (int p = 0; p < t->plates; p++) {
        double fz_n = fz_above(t, p, f->counts_raw);
        b->sum_n[p] += fz_n;
        b->square_n[p] += fz_n * fz_n;
    }
}

static void next_block(struct uf_tare *t, const struct uf_frame *f)
{
    t->now = (t->now + 1) % BLOCKS;
    memset(&t->block[t->now], 0, sizeof t->block[t->now]);
    t->block_dev_us = f->t_dev_us;
}

/* Was every plate still over all blocks together? */
static bool still(const struct uf_tare *t)
{
    for (int p = 0; p < t->plates; p++) {
        double n = 0, sum = 0, square = 0;
        for (int i = 0; i < BLOCKS; i++) {
            n += t->block[i].samples;
            sum += t->block[i].sum_n[p];
            square += t->block[i].square_n[p];
        }
        double mean = sum / n;
        if (!(square / n - mean * mean <= t->s.still_n * t->s.still_n))
            return false;
    }
    return true;
}

/* Mean counts of the first MEAN_BLOCKS blocks. */
static void mean_of(const struct uf_tare *t, double *mean_raw)
{
    int64_t sum[UF_CHANNELS_MAX] = {0};
    int n = 0;
    for (int i = 0; i < MEAN_BLOCKS; i++) {
        const struct block *b = &t->block[(t->now + 1 + i) % BLOCKS]; /* the oldest follows now */
        n += b->samples;
        for (int ch = 0; ch < t->channels; ch++)
            sum[ch] += b->sum_raw[ch];
    }
    for (int ch = 0; ch < UF_CHANNELS_MAX; ch++)
        mean_raw[ch] = ch < t->channels ? (double)sum[ch] / n : 0;
}

/* ---- the zero ---- */

/* Component r of a plate between two sets of mean counts. */
static double change_of(const struct uf_tare *t, int plate, int r, const double *from_raw,
                        const double *to_raw)
{
    const double *c = t->matrix[plate].c[r];
    double sum = 0;
    for (int ch = 0; ch < t->channels; ch++)
        if (c[ch] != 0)
            sum += c[ch] * (to_raw[ch] - from_raw[ch]);
    return sum;
}

static bool settled(const struct uf_tare *t, const double *mean_raw)
{
    for (int p = 0; p < t->plates; p++)
        for (int r = 0; r < UF_COMPONENTS; r++)
            if (fabs(change_of(t, p, r, t->zero_raw, mean_raw)) >
                (r < UF_MX ? SETTLED_N : SETTLED_NM))
                return false;
    return true;
}

static void take(struct uf_tare *t, const struct uf_frame *f, const double *mean_raw,
                 bool was_loaded, struct uf_tare_event *event)
{
    memset(event, 0, sizeof *event);
    event->t_dev_us = f->t_dev_us;
    event->first = !t->ready;
    event->was_loaded = was_loaded;
    memcpy(event->tare_raw, mean_raw, sizeof event->tare_raw);
    /* drift from a zero that was none says nothing */
    if (!t->ready || was_loaded)
        memcpy(t->first_raw, mean_raw, sizeof t->first_raw);
    for (int p = 0; p < UF_PLATES_MAX; p++) {
        event->drift_n[p] = event->total_drift_n[p] = NAN;
        if (p >= t->plates)
            continue;
        if (t->ready)
            event->drift_n[p] = change_of(t, p, UF_FZ, t->zero_raw, mean_raw);
        event->total_drift_n[p] = change_of(t, p, UF_FZ, t->first_raw, mean_raw);
        if (fabs(event->total_drift_n[p]) > t->s.warn_n)
            event->look = true;
    }
    memcpy(t->zero_raw, mean_raw, sizeof t->zero_raw);
    t->zero_dev_us = f->t_dev_us;
    t->ready = t->timed = true;
    t->requested = false;
    t->running = false;
}

/* The stretch is whole and still: is it a zero? */
static bool judge(struct uf_tare *t, const struct uf_frame *f, struct uf_tare_event *event)
{
    double mean_raw[UF_CHANNELS_MAX];
    mean_of(t, mean_raw);
    if (t->requested || !t->ready) {
        take(t, f, mean_raw, false, event);
        return true;
    }
    double total_n = 0;
    bool empty = true, light = true;
    for (int p = 0; p < t->plates; p++) {
        double fz_n = change_of(t, p, UF_FZ, t->zero_raw, mean_raw);
        total_n += fz_n;
        empty = empty && fabs(fz_n) < t->s.empty_n;
        light = light && fz_n < t->s.empty_n;
    }
    if (!empty && light && total_n < -t->s.empty_n) {
        take(t, f, mean_raw, true, event);
        return true;
    }
    bool due = !t->timed || 1e-6 * (double)(f->t_dev_us - t->zero_dev_us) >= t->s.min_between_s;
    if (!empty || !due || settled(t, mean_raw))
        return false;
    take(t, f, mean_raw, false, event);
    return true;
}

bool uf_tare_feed(struct uf_tare *t, const struct uf_frame *f, double rate_hz,
                  struct uf_tare_event *event)
{
    bool broken = f->epoch != t->epoch || f->lost_before > GAP_S * rate_hz;
    bool doubtful = (f->status & (UF_STATUS_EXCITATION | UF_STATUS_RAIL)) != 0;
    t->epoch = f->epoch;
    if (f->channels < t->channels || broken)
        t->running = false;
    if (f->channels < t->channels || doubtful) /* as if it had been lost */
        return false;
    if (!t->running)
        start_stretch(t, f);
    add_sample(t, f);
    double block_s = t->s.still_s / BLOCKS;
    if (1e-6 * (double)(f->t_dev_us - t->block_dev_us) < block_s)
        return false;
    if (t->block[t->now].samples < BLOCK_FILLED * block_s * rate_hz) {
        t->running = false;
        return false;
    }
    t->full += t->full < BLOCKS;
    if (t->full == BLOCKS && still(t) && judge(t, f, event))
        return true;
    next_block(t, f);
    return false;
}
