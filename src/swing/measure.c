/* SPDX-License-Identifier: MIT
 * What all metric functions share: curves by name, what spoils them, peaks between grid points,
 * integrals. Pure; any thread. */
#include "swing/measure.h"

#include <math.h>

#define GAP_MARGIN_S 0.03 /* a peak that close to a long gap is not believed */
#define CREST        0.03 /* depth of the crest that the top is fitted to, of the curve's range */
#define CREST_S      0.08 /* .. and its greatest half length */
#define DEGREE       4    /* .. by a polynomial of this degree */
#define PLACES       8    /* .. whose top is sought from so many places to each side */
#define SAME_S       0.04 /* an extreme further away is another one */

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

/* Coefficients of the polynomial of that degree through y - y[index] by least squares, over the
 * grid points from index - left to index + right; t runs in units of width grid steps from index.
 * Normal equations: with |t| <= 1 and degree 4 they lose six of sixteen digits. */
static inline void fit(const double *y, const struct uf_found *f, size_t left, size_t right,
                       double width, const int degree, double c[DEGREE + 1])
{
    double power[2 * DEGREE + 1] = {0}, a[DEGREE + 1][DEGREE + 2];
    double moment[DEGREE + 1] = {0};
    for (size_t i = f->index - left; i <= f->index + right; i++) {
        double t = ((double)i - (double)f->index) / width, tk = 1, v = y[i] - y[f->index];
        for (int k = 0; k <= 2 * degree; k++) {
            power[k] += tk;
            if (k <= degree)
                moment[k] += v * tk;
            tk *= t;
        }
    }
    for (int r = 0; r <= degree; r++) {
        for (int k = 0; k <= degree; k++)
            a[r][k] = power[r + k];
        a[r][degree + 1] = moment[r];
    }
    for (int i = 0; i <= degree; i++) /* positive definite: no pivots needed */
        for (int r = i + 1; r <= degree; r++) {
            double part = a[r][i] / a[i][i];
            for (int k = i; k <= degree + 1; k++)
                a[r][k] -= part * a[i][k];
        }
    for (int r = degree; r >= 0; r--) {
        c[r] = a[r][degree + 1];
        for (int k = r + 1; k <= degree; k++)
            c[r] -= a[r][k] * c[k];
        c[r] /= a[r][r];
    }
}

/* The polynomial's value at t, and its first two derivatives. */
static double polynomial(const double *c, int degree, double t, double *slope, double *bend)
{
    double v = 0;
    *slope = *bend = 0;
    for (int k = degree; k >= 0; k--) {
        *bend = *bend * t + 2 * *slope;
        *slope = *slope * t + v;
        v = v * t + c[k];
    }
    return v;
}

/* The crest: the grid points around the extreme that come within CREST of the curve's range to it
 * (at least one, at most CREST_S to each side). A flat crest has many, and noise moves its top
 * little; a sharp one has few. A polynomial of the fourth degree follows the skew of a crest, which
 * would draw a parabola's top to its gentler side. Takes the polynomial's top when it lies among
 * the points. */
static void refine(const struct uf_measure *m, const double *y, double sign, struct uf_found *f)
{
    double top = sign * y[f->index], depth = CREST * (top - f->least);
    size_t reach = (size_t)(CREST_S * m->curves->rate_hz), left = 1, right = 1;
    while (left < reach && f->index - left > m->from && sign * y[f->index - left - 1] > top - depth)
        left++;
    while (right < reach && f->index + right < m->to &&
           sign * y[f->index + right + 1] > top - depth)
        right++;
    double width = (double)(left > right ? left : right), c[DEGREE + 1], slope, bend;
    int degree = left + right >= 2 * DEGREE ? DEGREE : 2;
    if (degree == DEGREE) /* constants: the loops within are unrolled */
        fit(y, f, left, right, width, DEGREE, c);
    else
        fit(y, f, left, right, width, 2, c);
    double t = 0, best = -INFINITY;
    for (int i = -PLACES; i <= PLACES; i++) { /* near the top .. */
        double place = i < 0 ? (double)left * i : (double)right * i;
        place /= PLACES * width;
        double v = sign * polynomial(c, degree, place, &slope, &bend);
        if (v > best) {
            best = v;
            t = place;
        }
    }
    for (int i = 0; i < 4; i++) { /* .. and by Newton's steps onto it */
        polynomial(c, degree, t, &slope, &bend);
        if (!(sign * bend < 0))
            return;
        t -= slope / bend;
    }
    if (!(t * width >= -(double)left && t * width <= (double)right))
        return;
    f->position += t * width;
    f->value = y[f->index] + polynomial(c, degree, t, &slope, &bend);
}

/* Grid points within SAME_S of one. */
static size_t around(const struct uf_measure *m, size_t index, size_t *to)
{
    size_t reach = (size_t)(SAME_S * m->curves->rate_hz);
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
