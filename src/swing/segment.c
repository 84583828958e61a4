/* SPDX-License-Identifier: MIT
 * Stillness, weight, trigger and window: see segment.h. Samples are averaged into bins of 4 ms; all
 * decisions are made on bins. A steep rise of one foot's force opens a candidate for that foot
 * as the lead one; when its window has passed, its whole shape is judged. Pure; no allocation
 * after new. */
#include "swing/segment.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BIN_S         0.004
#define SLOPE_S       0.048 /* the rate of a rise is taken over so long */
#define OPEN_PART     0.6   /* a candidate opens at this part of lead_rate_bw_s */
#define SAME_RISE_S   0.35  /* a steeper slope within this belongs to the same rise */
#define RIVAL_S       1.2   /* two candidates closer than this are one swing at most */
#define BEFORE_RISE_S 0.8   /* the lead foot's least force is sought so long before the trigger */
#define BACKSWING_S   1.3   /* .. and the trail foot's greatest */
#define TRANSFER_S    0.40  /* the lead foot's share rises with its force: from so long before */
#define AFTER_RISE_S  0.40  /* the lead foot's greatest force is sought so long after it */
#define SETTLE_S      0.3   /* the earliest still stretch after a trigger begins so long after it */
#define NO_QUIET_S    2.5   /* window before the trigger without quiet standing */
#define LEAST_S       1.5   /* least window before the trigger */
#define DOUBT_PART    0.6   /* so much of the still window's end is not counted as quiet */
#define KEEP_S        0.06  /* a push is held for so long; a knock is not */

/* Shape of a swing. Each limit lies outside what any of 4,000 simulated swings shows, and all of
 * them together refuse what is not one: tests/bench/bench_segment. */
#define TRAIL_LOADED_BW 0.55 /* least of the trail foot's greatest in the backswing */
#define LEAD_LIGHT_BW   0.42 /* greatest of the lead foot's least before the trigger */
#define LEAD_TOP_BW     0.72 /* least of the lead foot's greatest after it */
#define SHARE_RISE      0.34 /* least rise of the lead foot's share of the whole */
#define SHARE_TOP       0.63 /* least of its greatest */
#define SHARE_RATE_S    1.25 /* least of its greatest rate, of the whole a second */
#define PUSH_BW         1.11 /* least of the total's greatest: a step does not push */
#define FLIGHT_BW       0.42 /* least of the total's least: a jump is lighter */
#define STOOD_BW        0.93 /* mean total before the backswing, at least .. */
#define STOOD_MOST_BW   1.07 /* .. and at most */
#define AIR_BW          0.03 /* a foot with less is in the air; the lead one never is .. */
#define TRAIL_AIR_S     0.30 /* .. and the trail one only for so long in the first 0.6 s */
#define SHOCK_BW_S      25.0 /* no body pushes faster than this */

#define CANDIDATES 8

struct candidate {
    uint64_t opened;   /* bin */
    uint64_t steepest; /* bin in the middle of the steepest slope */
    double rate_bw_s;
    double weight_n;
    bool left_is_lead;
    int64_t quiet_from_dev_us, quiet_to_dev_us;
};

struct bin {
    int64_t t_dev_us;   /* of its middle */
    double foot_n[2];   /* left, right */
    int32_t foot_cn[2]; /* the same in whole hundredths of a newton: sums of these are exact */
};

/* Running sums over the last still_bins bins: left, right, both. */
struct running {
    int64_t sum_cn[3];
    int64_t square_cn2[3];
};

struct uf_segment {
    struct uf_segment_settings s;
    double bin_s;
    int64_t bin_us;
    size_t bins; /* ring size */
    struct bin *bin;
    uint64_t count;      /* bins ever made; the newest is count - 1 */
    uint64_t valid_from; /* first bin since the last break */

    int64_t bin_from_dev_us; /* the bin being filled */
    double sum_n[2];
    unsigned in_bin;

    size_t still_bins, slope_bins;
    size_t doubt_bins; /* at the end of a still window a movement may have begun unseen */
    struct running running;
    enum uf_stance stance;
    bool still;
    double weight_n;
    uint64_t still_since; /* first bin of the still stretch */
    int64_t quiet_from_dev_us, quiet_to_dev_us;

    struct candidate candidate[CANDIDATES];
    size_t candidates;
    uint64_t taken_to; /* no candidate opens before this bin: it lies in a swing handed out */
    enum uf_refusal refusal;
};

int uf_segment_new(struct uf_segment **out, const struct uf_segment_settings *s, double rate_hz,
                   struct uf_error *err)
{
    *out = NULL;
    if (!(rate_hz >= 20))
        return uf_fail(err, UF_EINVAL,
                       "%g samples a second are too few to find a swing: at least 20, better 1000",
                       rate_hz);
    struct uf_segment *g = calloc(1, sizeof *g);
    if (!g)
        return uf_fail(err, UF_ENOMEM, "no memory for the segmenter");
    g->s = *s;
    g->bin_us = (int64_t)(1e6 * (rate_hz > 1 / BIN_S ? BIN_S : 1 / rate_hz));
    g->bin_s = 1e-6 * (double)g->bin_us;
    g->bins = (size_t)((s->longest_s + s->after_s + 2 * RIVAL_S + 4) / g->bin_s);
    g->bin = calloc(g->bins, sizeof *g->bin);
    if (!g->bin) {
        uf_segment_free(g);
        return uf_fail(err, UF_ENOMEM, "no memory for the bins of the segmenter");
    }
    g->still_bins = (size_t)(s->still_s / g->bin_s);
    if (g->still_bins < 5)
        g->still_bins = 5;
    g->doubt_bins = (size_t)(DOUBT_PART * (double)g->still_bins);
    g->slope_bins = (size_t)(SLOPE_S / g->bin_s + 0.5);
    if (g->slope_bins < 1)
        g->slope_bins = 1;
    g->weight_n = NAN;
    *out = g;
    return UF_OK;
}

void uf_segment_free(struct uf_segment *g)
{
    if (!g)
        return;
    free(g->bin);
    free(g);
}

/* ---- looking back ---- */

static const struct bin *at(const struct uf_segment *g, uint64_t index)
{
    return &g->bin[index % g->bins];
}

static double total_at(const struct uf_segment *g, uint64_t index)
{
    const struct bin *b = at(g, index);
    return b->foot_n[0] + b->foot_n[1];
}

/* Oldest bin that may be read. */
static uint64_t oldest(const struct uf_segment *g)
{
    uint64_t kept = g->count > g->bins ? g->count - g->bins : 0;
    return kept > g->valid_from ? kept : g->valid_from;
}

/* The bin so many seconds from bin i, within what is kept. */
static uint64_t shifted(const struct uf_segment *g, uint64_t i, double seconds)
{
    double j = (double)i + seconds / g->bin_s;
    uint64_t first = oldest(g);
    if (j <= (double)first)
        return first;
    return j >= (double)(g->count - 1) ? g->count - 1 : (uint64_t)j;
}

enum which { FOOT_LEFT, FOOT_RIGHT, FOOT_BOTH };

static double force(const struct uf_segment *g, enum which foot, uint64_t i)
{
    return foot == FOOT_BOTH ? total_at(g, i) : at(g, i)->foot_n[foot];
}

static double mean_of(const struct uf_segment *g, enum which foot, uint64_t from, uint64_t to)
{
    double sum = 0;
    for (uint64_t i = from; i <= to; i++)
        sum += force(g, foot, i);
    return sum / (double)(to - from + 1);
}

static double least_of(const struct uf_segment *g, enum which foot, uint64_t from, uint64_t to)
{
    double least = INFINITY;
    for (uint64_t i = from; i <= to; i++)
        least = fmin(least, force(g, foot, i));
    return least;
}

/* Greatest force that was held for KEEP_S: greatest of the running means. */
static double greatest_held(const struct uf_segment *g, enum which foot, uint64_t from, uint64_t to)
{
    uint64_t width = (uint64_t)(KEEP_S / g->bin_s);
    if (width < 1)
        width = 1;
    if (to - from + 1 < width)
        return mean_of(g, foot, from, to);
    double sum = 0, greatest = -INFINITY;
    for (uint64_t i = from; i <= to; i++) {
        sum += force(g, foot, i);
        if (i >= from + width)
            sum -= force(g, foot, i - width);
        if (i + 1 >= from + width)
            greatest = fmax(greatest, sum / (double)width);
    }
    return greatest;
}

/* ---- stillness and weight ---- */

static void add_bin(struct running *r, const struct bin *b, int sign)
{
    int64_t cn[3] = {b->foot_cn[0], b->foot_cn[1], (int64_t)b->foot_cn[0] + b->foot_cn[1]};
    for (int k = FOOT_LEFT; k <= FOOT_BOTH; k++) {
        r->sum_cn[k] += sign * cn[k];
        r->square_cn2[k] += sign * cn[k] * cn[k];
    }
}

/* The newest bin comes into the sums, the one before the window goes out. */
static void follow_sums(struct uf_segment *g)
{
    add_bin(&g->running, at(g, g->count - 1), 1);
    if (g->count > g->valid_from + g->still_bins)
        add_bin(&g->running, at(g, g->count - 1 - g->still_bins), -1);
}

static bool window_still(const struct uf_segment *g, double *mean_n)
{
    if (g->count < g->valid_from + g->still_bins)
        return false;
    double n = (double)g->still_bins;
    *mean_n = (double)g->running.sum_cn[FOOT_BOTH] / n / 100;
    if (*mean_n < g->s.on_n)
        return false;
    double limit_n = g->s.still_pct / 100 * *mean_n;
    for (int k = FOOT_LEFT; k <= FOOT_BOTH; k++) {
        double mean_cn = (double)g->running.sum_cn[k] / n;
        double variance_cn2 = (double)g->running.square_cn2[k] / n - mean_cn * mean_cn;
        if (variance_cn2 > 1e4 * limit_n * limit_n)
            return false;
    }
    return true;
}

static void follow_stillness(struct uf_segment *g)
{
    double mean_n;
    bool still = window_still(g, &mean_n);
    uint64_t newest = g->count - 1;
    if (still) {
        if (!g->still) {
            g->still_since = g->count - g->still_bins;
            g->quiet_from_dev_us = at(g, g->still_since)->t_dev_us;
        }
        g->quiet_to_dev_us = at(g, newest - g->doubt_bins)->t_dev_us;
        g->weight_n = mean_n;
    }
    g->still = still;
}

static void follow_stance(struct uf_segment *g, double total_n)
{
    if (total_n < 0.7 * g->s.on_n) {
        g->stance = UF_STANCE_EMPTY;
        g->weight_n = NAN;
        g->quiet_from_dev_us = g->quiet_to_dev_us = 0;
        return;
    }
    if (g->stance == UF_STANCE_EMPTY && total_n < g->s.on_n)
        return;
    if (g->stance == UF_STANCE_SWING && g->candidates > 0)
        return;
    if (g->still)
        g->stance = UF_STANCE_STILL;
    else
        g->stance = isnan(g->weight_n) ? UF_STANCE_ON : UF_STANCE_MOVING;
}

/* Weight for judging a shape: of quiet standing, else the mean of the last two seconds on the
 * plates. */
static double rough_weight(const struct uf_segment *g)
{
    if (!isnan(g->weight_n))
        return g->weight_n;
    uint64_t from = shifted(g, g->count - 1, -2);
    if ((double)(g->count - 1 - from) * g->bin_s < 1)
        return NAN;
    double mean_n = mean_of(g, FOOT_BOTH, from, g->count - 1);
    return mean_n >= g->s.on_n ? mean_n : NAN;
}

/* ---- candidates ---- */

static double slope_of(const struct uf_segment *g, enum which foot, double weight_n)
{
    uint64_t newest = g->count - 1;
    double rise = force(g, foot, newest) - force(g, foot, newest - g->slope_bins);
    return rise / ((double)g->slope_bins * g->bin_s) / weight_n;
}

static void open_or_steepen(struct uf_segment *g, bool left_is_lead, double weight_n)
{
    double rate = slope_of(g, left_is_lead ? FOOT_LEFT : FOOT_RIGHT, weight_n);
    if (rate < OPEN_PART * g->s.lead_rate_bw_s)
        return;
    uint64_t middle = g->count - 1 - g->slope_bins / 2;
    if (middle < g->taken_to)
        return;
    for (size_t k = 0; k < g->candidates; k++) {
        struct candidate *c = &g->candidate[k];
        if (c->left_is_lead != left_is_lead ||
            (double)(middle - c->steepest) * g->bin_s > SAME_RISE_S)
            continue;
        if (rate > c->rate_bw_s) {
            c->rate_bw_s = rate;
            c->steepest = middle;
        }
        return;
    }
    if (g->candidates == CANDIDATES) { /* the oldest gives way */
        memmove(&g->candidate[0], &g->candidate[1], sizeof g->candidate[0] * (CANDIDATES - 1));
        g->candidates--;
    }
    g->candidate[g->candidates++] = (struct candidate){.opened = g->count - 1,
                                                       .steepest = middle,
                                                       .rate_bw_s = rate,
                                                       .weight_n = weight_n,
                                                       .left_is_lead = left_is_lead,
                                                       .quiet_from_dev_us = g->quiet_from_dev_us,
                                                       .quiet_to_dev_us = g->quiet_to_dev_us};
}

static void drop(struct uf_segment *g, size_t k)
{
    g->candidates--;
    memmove(&g->candidate[k], &g->candidate[k + 1], sizeof g->candidate[0] * (g->candidates - k));
}

/* What stands before and at the trigger. */
static enum uf_refusal judge_before(const struct uf_segment *g, const struct candidate *c)
{
    enum which lead = c->left_is_lead ? FOOT_LEFT : FOOT_RIGHT;
    enum which trail = c->left_is_lead ? FOOT_RIGHT : FOOT_LEFT;
    uint64_t k = c->steepest;
    if (c->rate_bw_s > SHOCK_BW_S)
        return UF_REFUSE_SHOCK;
    if (c->rate_bw_s < g->s.lead_rate_bw_s)
        return UF_REFUSE_SMALL;
    double lead_least = least_of(g, lead, shifted(g, k, -BEFORE_RISE_S), k) / c->weight_n;
    double trail_most =
        greatest_held(g, trail, shifted(g, k, -BACKSWING_S), shifted(g, k, 0.05)) / c->weight_n;
    if (trail_most < TRAIL_LOADED_BW || lead_least > LEAD_LIGHT_BW)
        return UF_REFUSE_NO_BACKSWING;
    double stood = mean_of(g, FOOT_BOTH, shifted(g, k, -1.6), shifted(g, k, -0.6)) / c->weight_n;
    if (stood < STOOD_BW || stood > STOOD_MOST_BW || lead_least < AIR_BW)
        return UF_REFUSE_NOT_STOOD;
    return UF_REFUSE_NONE;
}

static double share_of(const struct uf_segment *g, enum which foot, uint64_t i)
{
    return force(g, foot, i) / fmax(total_at(g, i), 1);
}

/* How the lead foot's share of the whole goes up: from its least before bin k to its greatest
 * after. */
struct transfer {
    double least, greatest, rate_s;
};

static struct transfer transfer_of(const struct uf_segment *g, enum which lead, uint64_t k)
{
    uint64_t from = shifted(g, k, -TRANSFER_S), to = shifted(g, k, AFTER_RISE_S);
    struct transfer t = {INFINITY, 0, 0};
    for (uint64_t i = from; i <= to; i++) {
        double share = share_of(g, lead, i);
        if (i <= k)
            t.least = fmin(t.least, share);
        else
            t.greatest = fmax(t.greatest, share);
        if (i >= from + g->slope_bins)
            t.rate_s = fmax(t.rate_s, (share - share_of(g, lead, i - g->slope_bins)) /
                                          ((double)g->slope_bins * g->bin_s));
    }
    return t;
}

/* Longest time in from..to that a foot is in the air. */
static double air_s(const struct uf_segment *g, enum which foot, double weight_n, uint64_t from,
                    uint64_t to)
{
    uint64_t now = 0, longest = 0;
    for (uint64_t i = from; i <= to; i++) {
        now = force(g, foot, i) < AIR_BW * weight_n ? now + 1 : 0;
        longest = now > longest ? now : longest;
    }
    return (double)longest * g->bin_s;
}

static enum uf_refusal judge(const struct uf_segment *g, const struct candidate *c)
{
    enum uf_refusal refusal = judge_before(g, c);
    if (refusal)
        return refusal;
    enum which lead = c->left_is_lead ? FOOT_LEFT : FOOT_RIGHT;
    enum which trail = c->left_is_lead ? FOOT_RIGHT : FOOT_LEFT;
    uint64_t k = c->steepest, soon = shifted(g, k, AFTER_RISE_S);
    double lead_least = least_of(g, lead, shifted(g, k, -BEFORE_RISE_S), k) / c->weight_n;
    double lead_most = greatest_held(g, lead, k, soon) / c->weight_n;
    double push = greatest_held(g, FOOT_BOTH, shifted(g, k, -0.1), soon) / c->weight_n;
    if (lead_most < LEAD_TOP_BW || lead_most - lead_least < g->s.lead_rise_bw || push < PUSH_BW)
        return UF_REFUSE_SMALL;
    if (least_of(g, FOOT_BOTH, shifted(g, k, -0.3), soon) / c->weight_n < FLIGHT_BW)
        return UF_REFUSE_FLIGHT;
    struct transfer t = transfer_of(g, lead, k);
    if (t.greatest - t.least < SHARE_RISE || t.greatest < SHARE_TOP || t.rate_s < SHARE_RATE_S)
        return UF_REFUSE_NO_TRANSFER;
    if (air_s(g, trail, c->weight_n, k, shifted(g, k, 0.6)) > TRAIL_AIR_S)
        return UF_REFUSE_ONE_FOOT;
    return UF_REFUSE_NONE;
}

/* Another candidate of nearly the same time with a steeper rise that is a swing as well. */
static bool has_better_rival(const struct uf_segment *g, const struct candidate *c)
{
    for (size_t k = 0; k < g->candidates; k++) {
        const struct candidate *r = &g->candidate[k];
        if (r == c || r->rate_bw_s <= c->rate_bw_s)
            continue;
        double apart_s = fabs((double)r->steepest - (double)c->steepest) * g->bin_s;
        if (apart_s < RIVAL_S && judge(g, r) == UF_REFUSE_NONE)
            return true;
    }
    return false;
}

static void hand_out(struct uf_segment *g, const struct candidate *c, uint64_t end,
                     bool ended_still, struct uf_segment_result *result)
{
    uint64_t k = c->steepest;
    int64_t trigger = at(g, k)->t_dev_us;
    bool quiet = c->quiet_to_dev_us > c->quiet_from_dev_us;
    double back_s = NO_QUIET_S;
    if (quiet)
        back_s = 1e-6 * (double)(trigger - c->quiet_to_dev_us) + g->s.before_s;
    back_s = fmin(fmax(back_s, LEAST_S), g->s.longest_s);
    *result = (struct uf_segment_result){
        .start_dev_us = at(g, shifted(g, k, -back_s))->t_dev_us,
        .end_dev_us = at(g, end)->t_dev_us,
        .trigger_dev_us = trigger,
        .quiet_from_dev_us = quiet ? c->quiet_from_dev_us : 0,
        .quiet_to_dev_us = quiet ? c->quiet_to_dev_us : 0,
        .left_is_lead = c->left_is_lead,
        .ended_still = ended_still,
        .weight_n = quiet ? c->weight_n : NAN,
    };
    g->taken_to = end;
    for (size_t i = g->candidates; i-- > 0;)
        if (g->candidate[i].steepest <= end)
            drop(g, i);
}

/* Judges the candidates whose windows have passed; at most one result. */
static enum uf_segment_event decide(struct uf_segment *g, bool at_end,
                                    struct uf_segment_result *result)
{
    for (size_t k = 0; k < g->candidates; k++) {
        struct candidate *c = &g->candidate[k];
        uint64_t newest = g->count - 1;
        double since_s = (double)(newest - c->steepest) * g->bin_s;
        bool still_after =
            g->still && (double)g->still_since > (double)c->steepest + SETTLE_S / g->bin_s;
        if (since_s < g->s.after_s && !still_after && !(at_end && since_s >= AFTER_RISE_S))
            continue;
        enum uf_refusal refusal = judge(g, c);
        if (!refusal && !has_better_rival(g, c)) {
            struct candidate accepted = *c;
            hand_out(g, &accepted, newest, still_after, result);
            return UF_SEG_SWING;
        }
        g->refusal = refusal;
        drop(g, k);
        return refusal ? UF_SEG_REFUSED : UF_SEG_NOTHING;
    }
    return UF_SEG_NOTHING;
}

/* ---- the stream ---- */

/* The bin under way becomes the newest one; without a sample (all lost) it repeats the one before.
 */
static void close_bin(struct uf_segment *g)
{
    struct bin *b = &g->bin[g->count % g->bins];
    for (int foot = 0; foot < 2; foot++) {
        b->foot_n[foot] =
            g->in_bin ? g->sum_n[foot] / g->in_bin : at(g, g->count - 1)->foot_n[foot];
        g->sum_n[foot] = 0;
    }
    for (int foot = 0; foot < 2; foot++) /* no plate carries 100 kN */
        b->foot_cn[foot] = (int32_t)lround(fmin(fmax(100 * b->foot_n[foot], -1e7), 1e7));
    b->t_dev_us = g->bin_from_dev_us + g->bin_us / 2;
    g->bin_from_dev_us += g->bin_us;
    g->in_bin = 0;
    g->count++;
}

static enum uf_segment_event follow_bin(struct uf_segment *g, struct uf_segment_result *result)
{
    enum uf_stance before = g->stance;
    follow_sums(g);
    follow_stillness(g);
    follow_stance(g, total_at(g, g->count - 1));
    double weight_n = rough_weight(g);
    if (!isnan(weight_n) && g->count > g->valid_from + g->slope_bins) {
        open_or_steepen(g, true, weight_n);
        open_or_steepen(g, false, weight_n);
        for (size_t k = 0; k < g->candidates; k++)
            if (g->stance != UF_STANCE_EMPTY && g->stance != UF_STANCE_SWING &&
                judge_before(g, &g->candidate[k]) == UF_REFUSE_NONE)
                g->stance = UF_STANCE_SWING;
    }
    enum uf_segment_event event = decide(g, false, result);
    if (event == UF_SEG_NOTHING && g->stance != before)
        event = UF_SEG_STANCE;
    return event;
}

static enum uf_segment_event break_stream(struct uf_segment *g)
{
    enum uf_segment_event event = UF_SEG_NOTHING;
    for (size_t k = 0; k < g->candidates; k++)
        if (judge_before(g, &g->candidate[k]) == UF_REFUSE_NONE) {
            g->refusal = UF_REFUSE_CUT;
            event = UF_SEG_REFUSED;
        }
    g->candidates = 0;
    g->valid_from = g->count;
    g->in_bin = 0;
    g->sum_n[0] = g->sum_n[1] = 0;
    g->still = false;
    g->running = (struct running){{0}, {0}};
    return event;
}

enum uf_segment_event uf_segment_feed(struct uf_segment *g, const struct uf_segment_sample *s,
                                      struct uf_segment_result *result)
{
    enum uf_segment_event event = UF_SEG_NOTHING;
    if (s->discontinuity || (g->count == g->valid_from && g->in_bin == 0)) {
        event = break_stream(g);
        g->bin_from_dev_us = s->t_dev_us;
    }
    while (s->t_dev_us >= g->bin_from_dev_us + g->bin_us) {
        struct uf_segment_result found;
        close_bin(g);
        enum uf_segment_event e = follow_bin(g, &found);
        if (e == UF_SEG_SWING)
            *result = found;
        if (e > event) /* a swing tells more than a refusal, and that more than a stance */
            event = e;
    }
    for (int foot = 0; foot < 2; foot++) {
        double n = foot == FOOT_LEFT ? s->left_n : s->right_n;
        g->sum_n[foot] += isnan(n) ? 0 : n;
    }
    g->in_bin++;
    return event;
}

enum uf_segment_event uf_segment_finish(struct uf_segment *g, struct uf_segment_result *result)
{
    return g->count > g->valid_from ? decide(g, true, result) : UF_SEG_NOTHING;
}

enum uf_stance uf_segment_stance(const struct uf_segment *g)
{
    return g->stance;
}

double uf_segment_weight_n(const struct uf_segment *g)
{
    return g->weight_n;
}

enum uf_refusal uf_segment_last_refusal(const struct uf_segment *g)
{
    return g->refusal;
}

const char *uf_stance_name(enum uf_stance s)
{
    static const char *const names[] = {"empty", "on", "still", "moving", "swing"};
    return names[s];
}

const char *uf_refusal_name(enum uf_refusal r)
{
    static const char *const names[UF_REFUSALS] = {
        "none",        "too small or too slow", "no backswing", "not standing before",
        "flight",      "no transfer",           "one foot",     "shock",
        "stream broke"};
    return names[r];
}
