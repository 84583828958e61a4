/* SPDX-License-Identifier: MIT
 * Moments of a swing: see events.h. The numbers of the estimates come from
 * tests/bench/learn_events, which fits them to simulated golfers of both hands and all styles;
 * their errors are printed by the same command. Pure. */
#include "swing/events.h"

#include <math.h>
#include <stdbool.h>

#define BEFORE_STRIKE_S 0.3  /* a strike belongs to the swing from so long before the trigger .. */
#define AFTER_STRIKE_S  0.6  /* .. to so long after it */
#define SAME_STRIKE_S   0.05 /* a second rise within this is the same strike, bouncing */
#define START_POINTS    2.0  /* the share has left the address share */
#define SETTLED_PART    0.04 /* of the weight */

static bool sensed(const struct uf_capture *cap, uint8_t input, struct uf_event *impact,
                   uint32_t *flags)
{
    /* midway between the conversion that showed it and the one before: the input is latched since
     */
    double trigger_s = 1e-6 * (double)(cap->trigger_dev_us - cap->start_dev_us);
    bool found = false;
    for (size_t i = 1; i < cap->samples; i++) {
        if (!(cap->inputs[i] & input) || (cap->inputs[i - 1] & input))
            continue;
        double t_s = 0.5e-6 * ((double)cap->offset_us[i] + (double)cap->offset_us[i - 1]);
        if (t_s < trigger_s - BEFORE_STRIKE_S || t_s > trigger_s + AFTER_STRIKE_S)
            continue;
        if (found) {
            if (t_s > impact->t_s + SAME_STRIKE_S)
                *flags |= UF_FLAG_TWO_STRIKES;
            continue;
        }
        /* anywhere between the two conversions: GUM 4.3.7, half width / sqrt 3 */
        double half_s = 0.5e-6 * (double)(cap->offset_us[i] - cap->offset_us[i - 1]);
        *impact = (struct uf_event){t_s, half_s / sqrt(3), UF_SOURCE_SENSOR};
        found = true;
    }
    return found;
}

void uf_impact_sensed(const struct uf_capture *cap, struct uf_event *impact, uint32_t *flags)
{
    /* the club breaks a beam at the ball twice at most, and a practice swing does too: one strike
     * is worth more than any beam, and a beam says nothing of two strikes */
    uint32_t beams = 0;
    if (!sensed(cap, UF_INPUT_STRIKE, impact, flags))
        sensed(cap, UF_INPUT_BEAM, impact, &beams);
}

/* ---- signs ---- */

struct range {
    size_t from, to;
};

static struct range around(const struct uf_curves *c, size_t trigger, double from_s, double to_s)
{
    double from = (double)trigger + from_s * c->rate_hz, to = (double)trigger + to_s * c->rate_hz;
    double last = (double)(c->n - 1);
    return (struct range){from < 0 ? 0 : (size_t)from, to > last ? c->n - 1 : (size_t)to};
}

/* Time of the extreme (sign 1: greatest), refined by a parabola; NAN at an edge. */
static double extreme_s(const struct uf_curves *c, const double *y, struct range r, double sign)
{
    size_t best = c->n;
    for (size_t i = r.from; i <= r.to; i++)
        if (!isnan(y[i]) && (best == c->n || sign * y[i] > sign * y[best]))
            best = i;
    if (best == c->n || best == r.from || best == r.to)
        return NAN;
    double bend = y[best - 1] - 2 * y[best] + y[best + 1];
    double shift = bend < 0 || bend > 0 ? 0.5 * (y[best - 1] - y[best + 1]) / bend : 0;
    return ((double)best + shift) / c->rate_hz;
}

/* Going back from the top, where the share was last below a level; between grid points. */
static double share_passed_s(const struct uf_curves *c, size_t top, double level_pct)
{
    const double *y = c->trail_share_pct;
    for (size_t i = top; i-- > 0;)
        if (y[i] <= level_pct)
            return ((double)i + (level_pct - y[i]) / (y[i + 1] - y[i])) / c->rate_hz;
    return NAN;
}

static size_t greatest_share(const struct uf_curves *c, size_t trigger)
{
    size_t top = trigger;
    for (size_t i = trigger; i-- > 0;)
        if (c->trail_share_pct[i] > c->trail_share_pct[top])
            top = i;
    return top;
}

size_t uf_movement_seen(const struct uf_curves *c, double address_pct, size_t trigger)
{
    if (isnan(address_pct))
        return 0;
    for (size_t i = greatest_share(c, trigger); i-- > 0;)
        if (fabs(c->trail_share_pct[i] - address_pct) <= START_POINTS)
            return i;
    return 0;
}

static double settled_s(const struct uf_curves *c, size_t trigger)
{
    if (isnan(c->weight_n))
        return NAN;
    /* the finish comes within so long; later steps and shifts are not its */
    struct range r = around(c, trigger, 0, 1.6);
    for (size_t i = r.to; i > r.from; i--)
        if (fabs(c->total_vertical_n[i] - c->weight_n) > SETTLED_PART * c->weight_n)
            return i == r.to ? NAN : (double)i / c->rate_hz;
    return NAN;
}

void uf_signs_find(const struct uf_curves *c, double address_pct, size_t trigger,
                   double sign_s[UF_SIGNS])
{
    for (int i = 0; i < UF_SIGNS; i++)
        sign_s[i] = NAN;
    sign_s[UF_SIGN_TRIGGER] = (double)trigger / c->rate_hz;
    size_t top = greatest_share(c, trigger);
    if (!isnan(address_pct) && top > 0 && top < trigger) {
        double rise = c->trail_share_pct[top] - address_pct;
        sign_s[UF_SIGN_SHARE_20] = share_passed_s(c, top, address_pct + 0.2 * rise);
        sign_s[UF_SIGN_SHARE_50] = share_passed_s(c, top, address_pct + 0.5 * rise);
        sign_s[UF_SIGN_SHARE_80] = share_passed_s(c, top, address_pct + 0.8 * rise);
    }
    sign_s[UF_SIGN_TARGET] = extreme_s(c, c->total_target_n, around(c, trigger, -0.5, 0.2), 1);
    sign_s[UF_SIGN_COUPLE] = extreme_s(c, c->turn_from_toe_nm, around(c, trigger, -0.3, 0.35), 1);
    sign_s[UF_SIGN_VERTICAL] = extreme_s(c, c->total_vertical_n, around(c, trigger, -0.2, 0.4), 1);
    sign_s[UF_SIGN_LEAD] = extreme_s(c, c->vertical_n[UF_LEAD], around(c, trigger, -0.1, 0.4), 1);
    sign_s[UF_SIGN_AWAY] = extreme_s(c, c->total_target_n, around(c, trigger, 0, 0.5), -1);
    sign_s[UF_SIGN_SETTLED] = settled_s(c, trigger);
}

/* ---- estimates ---- */

/* t = reference + sum of weight (sign - reference) + constant. The greatest force away from the
 * target is left out on purpose: in the simulator it goes with impact by construction, so a fit to
 * it would promise what no golfer keeps. */
#define TERMS_MAX 2

struct estimate {
    enum uf_event_kind kind;
    bool with_impact; /* only where impact is known; it is then the reference */
    enum uf_sign reference;
    int terms;
    struct {
        enum uf_sign sign;
        double weight;
    } term[TERMS_MAX];
    double constant_s, u_s;
};

/* In order: the first that can be made for a kind counts. From tests/bench/learn_events. */
static const struct estimate estimates[] = {
    {UF_EVENT_START, false, UF_SIGN_SHARE_20, 1, {{UF_SIGN_SHARE_50, -1.9748}}, -0.0439, 0.0254},
    {UF_EVENT_IMPACT,
     false,
     UF_SIGN_COUPLE,
     2,
     {{UF_SIGN_TARGET, -0.0906}, {UF_SIGN_VERTICAL, 0.3857}},
     0.0943,
     0.0085},
    {UF_EVENT_TOP,
     true,
     UF_SIGN_TRIGGER,
     2,
     {{UF_SIGN_COUPLE, 0.9137}, {UF_SIGN_TARGET, 0.4776}},
     -0.0281,
     0.0094},
    {UF_EVENT_TOP, false, UF_SIGN_COUPLE, 1, {{UF_SIGN_TARGET, 0.7503}}, -0.0530, 0.0114},
    {UF_EVENT_FINISH, false, UF_SIGN_SETTLED, 0, {{UF_SIGN_SETTLED, 0}}, 0.7594, 0.148},
};

/* Between top (0) and impact (1), with their spread as a part of the downswing. */
static const struct {
    enum uf_event_kind kind;
    double part, u_part;
} between[] = {{UF_EVENT_ARM, 0.579, 0.0151}, {UF_EVENT_SHAFT, 0.830, 0.0099}};

static bool is_known(const struct uf_event *e)
{
    return e->source != UF_SOURCE_NONE;
}

static void estimate(const struct estimate *e, const double sign_s[UF_SIGNS],
                     struct uf_event event[UF_EVENTS], bool impact_measured)
{
    if (is_known(&event[e->kind]) || (e->with_impact && !impact_measured))
        return;
    double reference_s = e->with_impact ? event[UF_EVENT_IMPACT].t_s : sign_s[e->reference];
    double t_s = reference_s + e->constant_s;
    for (int i = 0; i < e->terms; i++)
        t_s += e->term[i].weight * (sign_s[e->term[i].sign] - reference_s);
    if (isnan(t_s) || t_s < 0)
        return;
    double u_s = e->u_s;
    if (e->with_impact) {
        double rest = 1;
        for (int i = 0; i < e->terms; i++)
            rest -= e->term[i].weight;
        u_s = hypot(u_s, rest * event[UF_EVENT_IMPACT].u_s);
    }
    event[e->kind] = (struct uf_event){t_s, u_s, UF_SOURCE_ESTIMATE};
}

/* Estimates that contradict the order of a swing are worth nothing. */
static void drop_disorder(struct uf_event event[UF_EVENTS])
{
    for (int i = UF_EVENT_START; i < UF_EVENT_FINISH; i++)
        for (int k = i + 1; k <= UF_EVENT_FINISH; k++) {
            struct uf_event *a = &event[i], *b = &event[k];
            if (!is_known(a) || !is_known(b) || a->t_s < b->t_s)
                continue;
            struct uf_event *weak = a->source == UF_SOURCE_ESTIMATE ? a : b;
            if (weak->source == UF_SOURCE_ESTIMATE)
                *weak = (struct uf_event){NAN, NAN, UF_SOURCE_NONE};
        }
}

void uf_events_estimate(const double sign_s[UF_SIGNS], struct uf_event event[UF_EVENTS])
{
    bool measured = is_known(&event[UF_EVENT_IMPACT]);
    for (size_t i = 0; i < sizeof estimates / sizeof estimates[0]; i++)
        estimate(&estimates[i], sign_s, event, measured);
    const struct uf_event *top = &event[UF_EVENT_TOP], *impact = &event[UF_EVENT_IMPACT];
    for (size_t i = 0; is_known(top) && is_known(impact) && i < 2; i++) {
        struct uf_event *e = &event[between[i].kind];
        double part = between[i].part, down_s = impact->t_s - top->t_s;
        if (is_known(e))
            continue;
        double u_top = (1 - part) * top->u_s, u_impact = part * impact->u_s;
        double u_part = between[i].u_part * down_s;
        *e = (struct uf_event){top->t_s + part * down_s,
                               sqrt(u_top * u_top + u_impact * u_impact + u_part * u_part),
                               UF_SOURCE_ESTIMATE};
    }
    drop_disorder(event);
}
