/* SPDX-License-Identifier: MIT
 * What all metric functions share: curves by name, what spoils them, peaks between grid points,
 * integrals. Pure; any thread. */
#include "swing/measure.h"

#include <math.h>

#define GAP_MARGIN_S 0.03  /* a peak that close to a long gap is not believed */
#define CREST        0.005 /* depth of the crest that the top is fitted to, of the curve's range */
#define CREST_S      0.04  /* .. and its greatest half length */

struct uf_reading uf_has(double value)
{
    return (struct uf_reading){value, isnan(value) ? UF_REASON_NOT_CALIBRATED : UF_REASON_NONE};
}

struct uf_reading uf_lacks(enum uf_reason reason)
{
    return (struct uf_reading){NAN, reason};
}

const double *uf_array_of(const struct uf_measure *m, int curve)
{
    const struct uf_curves *c = m->curves;
    switch ((enum uf_curve)curve) {
    case CURVE_SHARE:
        return c->trail_share_pct;
    case CURVE_TOTAL_VERTICAL:
    case CURVE_EXCESS_VERTICAL:
        return c->total_vertical_n;
    case CURVE_LEAD_VERTICAL:
        return c->vertical_n[UF_LEAD];
    case CURVE_TRAIL_VERTICAL:
        return c->vertical_n[UF_TRAIL];
    case CURVE_TOTAL_TARGET:
        return c->total_target_n;
    case CURVE_TOTAL_TOE:
        return c->total_toe_n;
    case CURVE_LEAD_TOE:
        return c->toe_n[UF_LEAD];
    case CURVE_TRAIL_TOE:
        return c->toe_n[UF_TRAIL];
    case CURVE_TURN:
        return c->turn_nm;
    case CURVE_TURN_TOE:
        return c->turn_from_toe_nm;
    case CURVE_TURN_TARGET:
        return c->turn_from_target_nm;
    case CURVE_TURN_FREE:
        return c->turn_from_free_nm;
    case CURVE_NET_TARGET:
        return c->net_target_mm;
    case CURVE_NET_TOE:
        return c->net_toe_mm;
    case CURVE_LEAD_COP_TARGET:
        return c->cop_target_mm[UF_LEAD];
    case CURVE_LEAD_COP_TOE:
        return c->cop_toe_mm[UF_LEAD];
    case CURVE_TRAIL_COP_TARGET:
        return c->cop_target_mm[UF_TRAIL];
    case CURVE_TRAIL_COP_TOE:
        return c->cop_toe_mm[UF_TRAIL];
    case CURVE_LEAD_TARGET:
        return c->target_n[UF_LEAD];
    case CURVE_TRAIL_TARGET:
        return c->target_n[UF_TRAIL];
    case UF_CURVE_KINDS:
        break;
    }
    return NULL;
}

static bool is_cop(int curve)
{
    return curve >= CURVE_NET_TARGET && curve <= CURVE_TRAIL_COP_TOE;
}

bool uf_needs_two_plates(int curve)
{
    return curve != CURVE_TOTAL_VERTICAL && curve != CURVE_EXCESS_VERTICAL &&
           curve != CURVE_TOTAL_TARGET && curve != CURVE_TOTAL_TOE && curve != CURVE_NET_TARGET &&
           curve != CURVE_NET_TOE && curve != CURVE_TURN;
}

enum uf_reason uf_no_cop(const struct uf_measure *m, int curve, double position)
{
    const struct uf_curves *c = m->curves;
    const double *vertical_n = c->total_vertical_n;
    if (curve == CURVE_LEAD_COP_TARGET || curve == CURVE_LEAD_COP_TOE)
        vertical_n = c->vertical_n[UF_LEAD];
    if (curve == CURVE_TRAIL_COP_TARGET || curve == CURVE_TRAIL_COP_TOE)
        vertical_n = c->vertical_n[UF_TRAIL];
    return vertical_n[(size_t)position] >= m->cop_min_n ? UF_REASON_NOT_CALIBRATED
                                                        : UF_REASON_BELOW_THRESHOLD;
}

enum uf_reason uf_spoiled(const struct uf_measure *m, int curve)
{
    if (uf_needs_two_plates(curve) && !m->two_plates)
        return UF_REASON_ONE_PLATE;
    if (m->dead)
        return UF_REASON_DEAD_CHANNEL;
    if (m->saturated)
        return UF_REASON_SATURATED;
    return UF_REASON_NONE;
}

bool uf_gap_within(const struct uf_measure *m, size_t from, size_t to)
{
    for (size_t i = from; m->gaps && i <= to && i < m->curves->n; i++)
        if (m->point[i] & UF_POINT_GAP)
            return true;
    return false;
}

/* A long gap may hide the peak: true when one lies beside the peak, or when the curve at the edges
 * of one comes within a tenth of it. */
static bool gap_may_hide(const struct uf_measure *m, const double *y, size_t peak)
{
    if (!m->gaps)
        return false;
    size_t margin = (size_t)(GAP_MARGIN_S * m->curves->rate_hz);
    if (uf_gap_within(m, peak > margin ? peak - margin : 0, peak + margin))
        return true;
    for (size_t i = m->from; i <= m->to; i++)
        if ((m->point[i] & UF_POINT_GAP) && fabs(y[i] - y[peak]) < 0.1 * fabs(y[peak]))
            return true;
    return false;
}

/* Parabola a + b t + c t^2 by least squares over the grid points around the extreme that come
 * within CREST of the curve's range to it (at least one, at most CREST_S to each side): a flat
 * crest uses many points, and noise moves its top little; a sharp one uses few, and its skew moves
 * it little. Takes the top of the parabola when it lies among these points. */
static void refine(const struct uf_measure *m, const double *y, double sign, struct uf_found *f)
{
    double top = sign * y[f->index], depth = CREST * (top - f->least);
    size_t reach = (size_t)(CREST_S * m->curves->rate_hz), left = 1, right = 1;
    while (left < reach && f->index - left > m->from && sign * y[f->index - left - 1] > top - depth)
        left++;
    while (right < reach && f->index + right < m->to &&
           sign * y[f->index + right + 1] > top - depth)
        right++;
    /* sums of t^k and y t^k over the points, t in grid steps from the extreme */
    double t1 = 0, t2 = 0, t3 = 0, t4 = 0, y0 = 0, y1 = 0, y2 = 0;
    double n = (double)(left + right + 1);
    for (size_t i = f->index - left; i <= f->index + right; i++) {
        double t = (double)i - (double)f->index, v = y[i] - y[f->index];
        t1 += t;
        t2 += t * t;
        t3 += t * t * t;
        t4 += t * t * t * t;
        y0 += v;
        y1 += v * t;
        y2 += v * t * t;
    }
    /* normal equations by Cramer's rule */
    double det = n * (t2 * t4 - t3 * t3) - t1 * (t1 * t4 - t3 * t2) + t2 * (t1 * t3 - t2 * t2);
    double a = (y0 * (t2 * t4 - t3 * t3) - t1 * (y1 * t4 - t3 * y2) + t2 * (y1 * t3 - t2 * y2));
    double b = (n * (y1 * t4 - t3 * y2) - y0 * (t1 * t4 - t3 * t2) + t2 * (t1 * y2 - y1 * t2));
    double c = (n * (t2 * y2 - y1 * t3) - t1 * (t1 * y2 - y1 * t2) + y0 * (t1 * t3 - t2 * t2));
    double shift = -0.5 * b / c;
    if (!(sign * c / det < 0) || !(shift >= -(double)left && shift <= (double)right))
        return;
    f->position += shift;
    f->value = y[f->index] + (a + 0.5 * b * shift) / det;
}

/* Grid points within CREST_S of one. */
static size_t around(const struct uf_measure *m, size_t index, size_t *to)
{
    size_t reach = (size_t)(CREST_S * m->curves->rate_hz);
    *to = index + reach < m->to ? index + reach : m->to;
    return index > m->from + reach ? index - reach : m->from;
}

static size_t best_of(const double *y, double sign, size_t from, size_t to, size_t none)
{
    size_t best = none;
    double most = -INFINITY;
    for (size_t i = from; i <= to; i++)
        if (sign * y[i] > most) {
            most = sign * y[i];
            best = i;
        }
    return best;
}

/* The best local extreme that is not of the crest around f->index. */
static size_t rival_of(const struct uf_measure *m, const double *y, double sign,
                       const struct uf_found *f)
{
    size_t to, from = around(m, f->index, &to), rival = f->index;
    double most = -INFINITY;
    for (size_t i = m->from + 1; i < m->to; i++) {
        double v = sign * y[i];
        if ((i < from || i > to) && v > most && v >= sign * y[i - 1] && v > sign * y[i + 1]) {
            most = v;
            rival = i;
        }
    }
    return rival;
}

static void search_all(const struct uf_measure *m, const double *y, double sign, struct uf_found *f)
{
    f->index = best_of(y, sign, m->from, m->to, m->curves->n);
    if (f->index == m->curves->n)
        return;
    f->least = INFINITY;
    for (size_t i = m->from; i <= m->to; i++)
        if (sign * y[i] < f->least)
            f->least = sign * y[i];
    f->rival = rival_of(m, y, sign, f);
}

static void search_near(const struct uf_measure *m, const double *y, double sign,
                        const struct uf_found *near, struct uf_found *f)
{
    size_t to, from = around(m, near->index, &to);
    f->least = near->least;
    f->index = f->rival = best_of(y, sign, from, to, m->curves->n);
}

/* f->index is set: what there is. */
static void judge(const struct uf_measure *m, const double *y, double sign, struct uf_found *f)
{
    f->position = (double)f->index;
    f->value = y[f->index];
    if (gap_may_hide(m, y, f->index))
        f->reason = UF_REASON_GAP;
    else if (f->index == m->from || f->index == m->to)
        f->reason = UF_REASON_AT_EDGE;
    else
        refine(m, y, sign, f);
}

const struct uf_found *uf_find(struct uf_measure *m, int curve, int extreme)
{
    struct uf_found *f = &m->found[curve][extreme];
    if (f->done)
        return f;
    f->done = true;
    f->value = NAN;
    f->reason = uf_spoiled(m, curve);
    if (f->reason)
        return f;
    const double *y = uf_array_of(m, curve);
    double sign = extreme == MAXIMUM ? 1 : -1;
    const struct uf_found *near = m->near ? &m->near[curve][extreme] : NULL;
    if (near && near->done && !isnan(near->value))
        search_near(m, y, sign, near, f);
    else
        search_all(m, y, sign, f);
    if (f->index == m->curves->n) {
        f->reason = isnan(m->curves->total_vertical_n[m->from]) ? UF_REASON_NOT_CALIBRATED
                    : is_cop(curve) || curve == CURVE_SHARE     ? UF_REASON_BELOW_THRESHOLD
                                                                : UF_REASON_NOT_CALIBRATED;
        return f;
    }
    judge(m, y, sign, f);
    return f;
}

void uf_found_at(struct uf_measure *m, int curve, int extreme, size_t index)
{
    const double *y = uf_array_of(m, curve);
    double sign = extreme == MAXIMUM ? 1 : -1;
    struct uf_found place = {.index = index, .least = uf_find(m, curve, extreme)->least};
    struct uf_found *f = &m->found[curve][extreme];
    f->reason = UF_REASON_NONE;
    search_near(m, y, sign, &place, f);
    judge(m, y, sign, f);
}

double uf_value_at(const struct uf_measure *m, int curve, double position)
{
    const double *y = uf_array_of(m, curve);
    size_t i = (size_t)position;
    if (i + 1 >= m->curves->n)
        return y[m->curves->n - 1];
    double part = position - (double)i;
    return y[i] + part * (y[i + 1] - y[i]);
}

enum uf_reason uf_anchor_at(struct uf_measure *m, int anchor, double *position)
{
    static const int curve[] = {CURVE_TOTAL_VERTICAL, CURVE_LEAD_VERTICAL, CURVE_TRAIL_VERTICAL,
                                CURVE_TOTAL_TARGET, CURVE_TURN};
    static const enum uf_event_kind event[] = {UF_EVENT_TOP, UF_EVENT_ARM, UF_EVENT_SHAFT,
                                               UF_EVENT_IMPACT};
    if (anchor < AT_TOP) {
        const struct uf_found *f = uf_find(m, curve[anchor], MAXIMUM);
        *position = f->position;
        return f->reason;
    }
    const struct uf_event *e = &m->event[event[anchor - AT_TOP]];
    if (e->source == UF_SOURCE_NONE)
        return anchor == AT_IMPACT ? UF_REASON_NO_IMPACT : UF_REASON_NO_EVENT;
    *position = e->t_s * m->curves->rate_hz;
    if (!(*position >= 0 && *position <= (double)(m->curves->n - 1)))
        return UF_REASON_NO_EVENT;
    size_t i = (size_t)*position;
    return uf_gap_within(m, i, i + 1) ? UF_REASON_GAP : UF_REASON_NONE;
}

double uf_measure_integral(const struct uf_curves *c, const double *curve, double level,
                           size_t from, size_t to)
{
    double sum = 0;
    for (size_t i = from; i < to; i++)
        sum += 0.5 * (curve[i] + curve[i + 1]) - level;
    return sum / c->rate_hz;
}
