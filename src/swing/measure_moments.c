/* SPDX-License-Identifier: MIT
 * Functions of the metric table that rest on the moments of the swing and on the feet: timing
 * against top and impact, travel of the net COP, places in the foot, the couple. Pure. */
#include "swing/measure.h"

#include <math.h>

#define PI         3.14159265358979323846
#define RISE_S     0.03  /* rate of force development: greatest mean slope over so long */
#define TOGETHER_S 0.005 /* peaks of the couple closer than this come together */
#define LOADED_N   200.0 /* a COP under less is too uncertain to draw a line from */

static bool known(const struct uf_event *e)
{
    return e->source != UF_SOURCE_NONE;
}

static size_t grid_of(const struct uf_measure *m, double t_s)
{
    double i = t_s * m->curves->rate_hz, last = (double)(m->curves->n - 1);
    return i <= 0 ? 0 : i >= last ? m->curves->n - 1 : (size_t)(i + 0.5);
}

/* ---- timing ---- */

struct uf_reading uf_m_span(struct uf_measure *m, int span, int b)
{
    (void)b;
    const struct uf_event *start = &m->event[UF_EVENT_START], *top = &m->event[UF_EVENT_TOP];
    const struct uf_event *impact = &m->event[UF_EVENT_IMPACT];
    if (!known(top) || (span != SPAN_DOWNSWING && !known(start)))
        return uf_lacks(UF_REASON_NO_EVENT);
    if (span != SPAN_BACKSWING && !known(impact))
        return uf_lacks(UF_REASON_NO_IMPACT);
    double back_ms = 1e3 * (top->t_s - start->t_s), down_ms = 1e3 * (impact->t_s - top->t_s);
    return uf_has(span == SPAN_BACKSWING   ? back_ms
                  : span == SPAN_DOWNSWING ? down_ms
                                           : back_ms / down_ms);
}

struct uf_reading uf_m_peak_to_top_ms(struct uf_measure *m, int curve, int extreme)
{
    const struct uf_event *top = &m->event[UF_EVENT_TOP];
    if (!known(top))
        return uf_lacks(UF_REASON_NO_EVENT);
    struct uf_reading r = uf_m_peak_s(m, curve, extreme);
    r.value = 1e3 * (r.value - top->t_s);
    return r;
}

struct uf_reading uf_m_peak_downswing_pct(struct uf_measure *m, int curve, int extreme)
{
    const struct uf_event *top = &m->event[UF_EVENT_TOP], *impact = &m->event[UF_EVENT_IMPACT];
    if (!known(top))
        return uf_lacks(UF_REASON_NO_EVENT);
    if (!known(impact))
        return uf_lacks(UF_REASON_NO_IMPACT);
    struct uf_reading r = uf_m_peak_s(m, curve, extreme);
    r.value = 100 * (r.value - top->t_s) / (impact->t_s - top->t_s);
    return r;
}

/* From the peak of one curve to that of another. */
struct uf_reading uf_m_peak_gap_ms(struct uf_measure *m, int from, int to)
{
    struct uf_reading a = uf_m_peak_s(m, from, MAXIMUM), b = uf_m_peak_s(m, to, MAXIMUM);
    if (a.reason || b.reason)
        return uf_lacks(a.reason ? a.reason : b.reason);
    return uf_has(1e3 * (b.value - a.value));
}

/* Digits in the order of time: 1 target-ward, 2 turn, 3 vertical. */
struct uf_reading uf_m_peak_order(struct uf_measure *m, int a, int b)
{
    (void)a, (void)b;
    static const int curve[3] = {CURVE_TOTAL_TARGET, CURVE_TURN, CURVE_TOTAL_VERTICAL};
    double t_s[3];
    for (int i = 0; i < 3; i++) {
        struct uf_reading r = uf_m_peak_s(m, curve[i], MAXIMUM);
        if (r.reason)
            return r;
        t_s[i] = r.value;
    }
    int place[3] = {0, 0, 0}; /* how many come before it */
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++)
            place[i] += k != i && (t_s[k] < t_s[i] || (t_s[k] <= t_s[i] && k < i));
    double order = 0;
    static const double digit[3] = {100, 10, 1};
    for (int i = 0; i < 3; i++)
        order += digit[place[i]] * (i + 1);
    return uf_has(order);
}

/* Rate of force development: greatest mean slope over RISE_S in the last half second before the
 * peak. per_bw: in body weights. */
struct uf_reading uf_m_rise(struct uf_measure *m, int curve, int per_bw)
{
    const struct uf_found *f = uf_find(m, curve, MAXIMUM);
    if (f->reason)
        return uf_lacks(f->reason);
    if (per_bw && isnan(m->weight_n))
        return uf_lacks(UF_REASON_NO_WEIGHT);
    size_t reach = (size_t)(0.5 * m->curves->rate_hz);
    size_t from = f->index > m->from + reach ? f->index - reach : m->from;
    if (uf_gap_within(m, from, f->index))
        return uf_lacks(UF_REASON_GAP);
    const double *y = uf_array_of(m, curve);
    double length = RISE_S * m->curves->rate_hz, best = -INFINITY;
    for (size_t i = from; (double)i + length <= (double)f->index; i++) {
        double rise = uf_value_at(m, curve, (double)i + length) - y[i];
        if (rise > best)
            best = rise;
    }
    if (!isfinite(best))
        return uf_lacks(UF_REASON_AT_EDGE);
    return uf_has(best / RISE_S / (per_bw ? m->weight_n : 1));
}

/* ---- share and pressure ---- */

/* Greatest trail share from the first movement to the top. */
struct uf_reading uf_m_share_back_max(struct uf_measure *m, int a, int b)
{
    (void)a, (void)b;
    enum uf_reason reason = uf_spoiled(m, CURVE_SHARE);
    if (!reason && (!known(&m->event[UF_EVENT_TOP]) || !known(&m->event[UF_EVENT_START])))
        reason = UF_REASON_NO_EVENT;
    if (reason)
        return uf_lacks(reason);
    size_t from = grid_of(m, m->event[UF_EVENT_START].t_s);
    size_t to = grid_of(m, m->event[UF_EVENT_TOP].t_s);
    if (uf_gap_within(m, from, to))
        return uf_lacks(UF_REASON_GAP);
    const double *share = m->curves->trail_share_pct;
    double best = -INFINITY;
    for (size_t i = from; i <= to; i++)
        best = share[i] > best ? share[i] : best;
    return isfinite(best) ? uf_has(best) : uf_lacks(UF_REASON_BELOW_THRESHOLD);
}

/* Length of the net COP's way, ranges, greatest speed. */
static struct uf_way way_of(const struct uf_measure *m)
{
    struct uf_way w = {.done = true, .reason = uf_spoiled(m, CURVE_NET_TARGET)};
    if (!w.reason && !known(&m->event[UF_EVENT_START]))
        w.reason = UF_REASON_NO_EVENT;
    if (!w.reason && !known(&m->event[UF_EVENT_IMPACT]))
        w.reason = UF_REASON_NO_IMPACT;
    if (w.reason)
        return w;
    size_t from = grid_of(m, m->event[UF_EVENT_START].t_s);
    size_t to = grid_of(m, m->event[UF_EVENT_IMPACT].t_s);
    if (uf_gap_within(m, from, to)) {
        w.reason = UF_REASON_GAP;
        return w;
    }
    const double *t = m->curves->net_target_mm, *f = m->curves->net_toe_mm;
    double length = 0, fastest = 0, lo[2] = {t[from], f[from]}, hi[2] = {t[from], f[from]};
    for (size_t i = from + 1; i <= to; i++) {
        double dt = t[i] - t[i - 1], df = f[i] - f[i - 1], square = dt * dt + df * df;
        length += sqrt(square);
        fastest = square > fastest ? square : fastest;
        lo[0] = t[i] < lo[0] ? t[i] : lo[0];
        hi[0] = t[i] > hi[0] ? t[i] : hi[0];
        lo[1] = f[i] < lo[1] ? f[i] : lo[1];
        hi[1] = f[i] > hi[1] ? f[i] : hi[1];
    }
    if (isnan(length)) /* the COP did not exist all the way */
        w.reason = UF_REASON_BELOW_THRESHOLD;
    w.length_mm = length;
    w.range_mm[0] = hi[0] - lo[0];
    w.range_mm[1] = hi[1] - lo[1];
    w.speed_mm_s = sqrt(fastest) * m->curves->rate_hz;
    return w;
}

struct uf_reading uf_m_travel(struct uf_measure *m, int part, int b)
{
    (void)b;
    if (!m->way.done)
        m->way = way_of(m);
    if (m->way.reason)
        return uf_lacks(m->way.reason);
    switch ((enum uf_travel_part)part) {
    case TRAVEL_LENGTH:
        return uf_has(m->way.length_mm);
    case TRAVEL_TARGET:
        return uf_has(m->way.range_mm[0]);
    case TRAVEL_TOE:
        return uf_has(m->way.range_mm[1]);
    case TRAVEL_SPEED:
        break;
    }
    return uf_has(m->way.speed_mm_s);
}

/* Angle of the line from the trail foot's COP to the lead foot's against the target line. */
struct uf_reading uf_m_line_at(struct uf_measure *m, int a, int anchor)
{
    (void)a;
    double position;
    enum uf_reason reason = uf_anchor_at(m, anchor, &position);
    if (!reason)
        reason = uf_spoiled(m, CURVE_LEAD_COP_TOE);
    if (reason)
        return uf_lacks(reason);
    if (uf_value_at(m, CURVE_LEAD_VERTICAL, position) < LOADED_N ||
        uf_value_at(m, CURVE_TRAIL_VERTICAL, position) < LOADED_N)
        return uf_lacks(UF_REASON_BELOW_THRESHOLD);
    double along = uf_value_at(m, CURVE_LEAD_COP_TARGET, position) -
                   uf_value_at(m, CURVE_TRAIL_COP_TARGET, position);
    double aside = uf_value_at(m, CURVE_LEAD_COP_TOE, position) -
                   uf_value_at(m, CURVE_TRAIL_COP_TOE, position);
    double deg = atan2(aside, along) * 180 / PI;
    return isnan(deg) ? uf_lacks(UF_REASON_BELOW_THRESHOLD) : uf_has(deg);
}

/* Place of a foot's COP in the foot's own frame. */
struct uf_reading uf_m_foot_at(struct uf_measure *m, int part, int anchor)
{
    enum uf_foot foot = part < TRAIL_ALONG ? UF_LEAD : UF_TRAIL;
    int target = foot == UF_LEAD ? CURVE_LEAD_COP_TARGET : CURVE_TRAIL_COP_TARGET;
    int toe = foot == UF_LEAD ? CURVE_LEAD_COP_TOE : CURVE_TRAIL_COP_TOE;
    if (!m->foot[foot].known)
        return uf_lacks(UF_REASON_NO_FEET);
    struct uf_reading t = uf_m_at(m, target, anchor), f = uf_m_at(m, toe, anchor);
    if (t.reason || f.reason)
        return uf_lacks(t.reason ? t.reason : f.reason);
    double along_pct, across_pct;
    uf_foot_place(&m->foot[foot], foot, t.value, f.value, &along_pct, &across_pct);
    if (part == LEAD_ALONG || part == TRAIL_ALONG)
        return uf_has(along_pct);
    if (part == LEAD_ACROSS || part == TRAIL_ACROSS)
        return uf_has(across_pct);
    enum uf_region region = uf_foot_region(along_pct, across_pct);
    return region == UF_REGION_NONE ? uf_lacks(UF_REASON_OUTSIDE_FOOT) : uf_has(region);
}

/* ---- turn ---- */

/* Angular impulse about the net COP's vertical from top to impact, to the very moments. */
struct uf_reading uf_m_turn_impulse(struct uf_measure *m, int curve, int b)
{
    (void)b;
    double from, to;
    enum uf_reason reason = uf_spoiled(m, curve);
    if (!reason)
        reason = uf_anchor_at(m, AT_TOP, &from);
    if (!reason)
        reason = uf_anchor_at(m, AT_IMPACT, &to);
    if (reason)
        return uf_lacks(reason);
    size_t first = (size_t)ceil(from), last = (size_t)to;
    if (first > last)
        return uf_lacks(UF_REASON_NO_EVENT);
    if (uf_gap_within(m, first, last))
        return uf_lacks(UF_REASON_GAP);
    const double *y = uf_array_of(m, curve);
    double sum = uf_measure_integral(m->curves, y, 0, first, last);
    sum += 0.5 * (uf_value_at(m, curve, from) + y[first]) * ((double)first - from) /
           m->curves->rate_hz;
    sum += 0.5 * (uf_value_at(m, curve, to) + y[last]) * (to - (double)last) / m->curves->rate_hz;
    return isnan(sum) ? uf_lacks(UF_REASON_BELOW_THRESHOLD) : uf_has(sum);
}

/* Overlap of the lead foot's heel-ward and the trail foot's toe-ward push from top to impact: the
 * area that both share, as a part of the area that either covers. */
static struct uf_reading overlap(struct uf_measure *m)
{
    if (!known(&m->event[UF_EVENT_TOP]))
        return uf_lacks(UF_REASON_NO_EVENT);
    if (!known(&m->event[UF_EVENT_IMPACT]))
        return uf_lacks(UF_REASON_NO_IMPACT);
    size_t from = grid_of(m, m->event[UF_EVENT_TOP].t_s);
    size_t to = grid_of(m, m->event[UF_EVENT_IMPACT].t_s);
    if (uf_gap_within(m, from, to))
        return uf_lacks(UF_REASON_GAP);
    double both = 0, either = 0;
    for (size_t i = from; i <= to; i++) {
        double lead = -m->curves->toe_n[UF_LEAD][i], trail = m->curves->toe_n[UF_TRAIL][i];
        lead = lead > 0 ? lead : 0;
        trail = trail > 0 ? trail : 0;
        both += lead < trail ? lead : trail;
        either += lead < trail ? trail : lead;
    }
    return either > 0 ? uf_has(both / either) : uf_lacks(UF_REASON_AT_EDGE);
}

struct uf_reading uf_m_couple(struct uf_measure *m, int part, int b)
{
    (void)b;
    enum uf_reason reason = uf_spoiled(m, CURVE_LEAD_TOE);
    if (reason)
        return uf_lacks(reason);
    if (part == COUPLE_OVERLAP)
        return overlap(m);
    struct uf_reading lead = uf_m_peak_s(m, CURVE_LEAD_TOE, MINIMUM);
    struct uf_reading trail = uf_m_peak_s(m, CURVE_TRAIL_TOE, MAXIMUM);
    if (lead.reason || trail.reason)
        return uf_lacks(lead.reason ? lead.reason : trail.reason);
    double lag_s = trail.value - lead.value;
    if (part == COUPLE_LAG)
        return uf_has(1e3 * lag_s);
    return uf_has(fabs(lag_s) < TOGETHER_S ? 0 : lag_s > 0 ? 1 : 2);
}
