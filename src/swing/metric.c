/* SPDX-License-Identifier: MIT
 * The metric table and the functions that its rows name. Each function gives a value, or a reason
 * why there is none; nothing is invented. Pure; any thread. */
#include "swing/metric.h"

#include "swing/measure.h"

#include <math.h>
#include <string.h>

#define GAP_MARGIN_S 0.03  /* a peak that close to a long gap is not believed */
#define CREST        0.005 /* depth of the crest that the top is fitted to, of the curve's range */
#define CREST_S      0.04  /* .. and its greatest half length */

struct reading {
    double value;
    enum uf_reason reason;
};

static struct reading has(double value)
{
    return (struct reading){value, isnan(value) ? UF_REASON_NOT_CALIBRATED : UF_REASON_NONE};
}

static struct reading lacks(enum uf_reason reason)
{
    return (struct reading){NAN, reason};
}

/* The array of a curve; CURVE_EXCESS_VERTICAL is the total, with the weight taken off by users. */
static const double *array_of(const struct uf_measure *m, int curve)
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
    case UF_CURVE_KINDS:
        break;
    }
    return NULL;
}

static bool is_cop(int curve)
{
    return curve >= CURVE_NET_TARGET && curve <= CURVE_TRAIL_COP_TOE;
}

/* A single plate under both feet gives totals and the net COP only. */
static bool needs_two_plates(int curve)
{
    return curve != CURVE_TOTAL_VERTICAL && curve != CURVE_EXCESS_VERTICAL &&
           curve != CURVE_TOTAL_TARGET && curve != CURVE_TOTAL_TOE && curve != CURVE_NET_TARGET &&
           curve != CURVE_NET_TOE;
}

/* What spoils every measurement on a curve, whatever its place. */
static enum uf_reason spoiled(const struct uf_measure *m, int curve)
{
    if (needs_two_plates(curve) && !m->two_plates)
        return UF_REASON_ONE_PLATE;
    if (m->dead)
        return UF_REASON_DEAD_CHANNEL;
    if (m->saturated)
        return UF_REASON_SATURATED;
    return UF_REASON_NONE;
}

static bool gap_within(const struct uf_measure *m, size_t from, size_t to)
{
    for (size_t i = from; i <= to && i < m->curves->n; i++)
        if (m->point[i] & UF_POINT_GAP)
            return true;
    return false;
}

/* A long gap may hide the peak: true when one lies beside the peak, or when the curve at the edges
 * of one comes within a tenth of it. */
static bool gap_may_hide(const struct uf_measure *m, const double *y, size_t peak)
{
    size_t margin = (size_t)(GAP_MARGIN_S * m->curves->rate_hz);
    if (gap_within(m, peak > margin ? peak - margin : 0, peak + margin))
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
    double least = INFINITY;
    for (size_t i = m->from; i <= m->to; i++)
        if (!isnan(y[i]))
            least = fmin(least, sign * y[i]);
    double top = sign * y[f->index], depth = CREST * (top - least);
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

/* Extreme in the search range. */
static const struct uf_found *find(struct uf_measure *m, int curve, int extreme)
{
    struct uf_found *f = &m->found[curve][extreme];
    if (f->done)
        return f;
    f->done = true;
    f->value = NAN;
    f->reason = spoiled(m, curve);
    if (f->reason)
        return f;
    const double *y = array_of(m, curve);
    double sign = extreme == MAXIMUM ? 1 : -1;
    size_t best = m->curves->n;
    for (size_t i = m->from; i <= m->to; i++)
        if (!isnan(y[i]) && (best == m->curves->n || sign * y[i] > sign * y[best]))
            best = i;
    if (best == m->curves->n) {
        f->reason = isnan(m->curves->total_vertical_n[m->from]) ? UF_REASON_NOT_CALIBRATED
                    : is_cop(curve) || curve == CURVE_SHARE     ? UF_REASON_BELOW_THRESHOLD
                                                                : UF_REASON_NOT_CALIBRATED;
        return f;
    }
    f->index = best;
    f->position = (double)best;
    f->value = y[best];
    if (gap_may_hide(m, y, best)) {
        f->reason = UF_REASON_GAP;
        return f;
    }
    if (best == m->from || best == m->to) {
        f->reason = UF_REASON_AT_EDGE;
        return f;
    }
    refine(m, y, sign, f);
    return f;
}

/* A curve between two grid points. NAN when either is. */
static double value_at(const struct uf_measure *m, int curve, double position)
{
    const double *y = array_of(m, curve);
    size_t i = (size_t)position;
    if (i + 1 >= m->curves->n)
        return y[m->curves->n - 1];
    double part = position - (double)i;
    return y[i] + part * (y[i + 1] - y[i]);
}

double uf_measure_integral(const struct uf_curves *c, const double *curve, double level,
                           size_t from, size_t to)
{
    double sum = 0;
    for (size_t i = from; i < to; i++)
        sum += 0.5 * (curve[i] + curve[i + 1]) - level;
    return sum / c->rate_hz;
}

/* ---- functions of the table: (measure, a, b) ---- */

static struct reading weight(struct uf_measure *m, int a, int b)
{
    (void)a, (void)b;
    if (m->dead)
        return lacks(UF_REASON_DEAD_CHANNEL);
    return isnan(m->weight_n) ? lacks(UF_REASON_NO_WEIGHT) : has(m->weight_n);
}

/* a: 0 trail, 1 lead. */
static struct reading share_address(struct uf_measure *m, int a, int b)
{
    (void)b;
    if (!m->two_plates)
        return lacks(UF_REASON_ONE_PLATE);
    if (m->dead)
        return lacks(UF_REASON_DEAD_CHANNEL);
    if (isnan(m->weight_n))
        return lacks(UF_REASON_NO_WEIGHT);
    return has(100 * m->quiet_n[a ? UF_LEAD : UF_TRAIL] / m->weight_n);
}

static struct reading peak(struct uf_measure *m, int curve, int extreme)
{
    const struct uf_found *f = find(m, curve, extreme);
    /* the share's extremes are extremes of the swing even where it begins or ends there */
    if (f->reason == UF_REASON_AT_EDGE && curve == CURVE_SHARE)
        return has(f->value);
    return f->reason ? lacks(f->reason) : has(f->value);
}

static struct reading peak_bw(struct uf_measure *m, int curve, int extreme)
{
    struct reading r = peak(m, curve, extreme);
    if (!r.reason && isnan(m->weight_n))
        return lacks(UF_REASON_NO_WEIGHT);
    r.value /= m->weight_n;
    return r;
}

static struct reading peak_s(struct uf_measure *m, int curve, int extreme)
{
    const struct uf_found *f = find(m, curve, extreme);
    if (f->reason && !(f->reason == UF_REASON_AT_EDGE && curve == CURVE_SHARE))
        return lacks(f->reason);
    return has(f->position / m->curves->rate_hz);
}

static struct reading peak_to_impact_ms(struct uf_measure *m, int curve, int extreme)
{
    const struct uf_event *impact = &m->event[UF_EVENT_IMPACT];
    if (impact->source == UF_SOURCE_NONE)
        return lacks(UF_REASON_NO_IMPACT);
    struct reading r = peak_s(m, curve, extreme);
    r.value = 1e3 * (r.value - impact->t_s);
    return r;
}

/* Peaks at which other curves are read. */
enum anchor { AT_TOTAL_VERTICAL, AT_LEAD_VERTICAL, AT_TRAIL_VERTICAL, AT_TARGET, AT_TURN };
static const int anchor_curve[] = {CURVE_TOTAL_VERTICAL, CURVE_LEAD_VERTICAL, CURVE_TRAIL_VERTICAL,
                                   CURVE_TOTAL_TARGET, CURVE_TURN};

static struct reading at_peak(struct uf_measure *m, int curve, int anchor)
{
    const struct uf_found *f = find(m, anchor_curve[anchor], MAXIMUM);
    if (f->reason)
        return lacks(f->reason);
    enum uf_reason reason = spoiled(m, curve);
    if (reason)
        return lacks(reason);
    double value = value_at(m, curve, f->position);
    return isnan(value) ? lacks(UF_REASON_BELOW_THRESHOLD) : has(value);
}

/* Impulse of the lobe of one sign around the peak. */
static struct reading lobe(struct uf_measure *m, int curve, int extreme)
{
    double level = 0;
    if (curve == CURVE_EXCESS_VERTICAL) {
        if (isnan(m->weight_n))
            return lacks(UF_REASON_NO_WEIGHT);
        level = m->weight_n;
    }
    const struct uf_found *f = find(m, curve, extreme);
    if (f->reason)
        return lacks(f->reason);
    const double *y = array_of(m, curve);
    double sign = extreme == MAXIMUM ? 1 : -1;
    if (sign * (y[f->index] - level) <= 0)
        return lacks(UF_REASON_AT_EDGE);
    size_t first = f->index, last = f->index;
    while (first > 0 && sign * (y[first - 1] - level) > 0)
        first--;
    while (last + 1 < m->curves->n && sign * (y[last + 1] - level) > 0)
        last++;
    if (first == 0 || last + 1 >= m->curves->n)
        return lacks(UF_REASON_AT_EDGE);
    if (gap_within(m, first, last))
        return lacks(UF_REASON_GAP);
    /* from zero crossing to zero crossing: the two part-steps are triangles */
    double area = uf_measure_integral(m->curves, y, level, first, last);
    double before = y[first - 1] - level, begin = y[first] - level;
    double after = y[last + 1] - level, end = y[last] - level;
    area +=
        0.5 * (begin * begin / (begin - before) + end * end / (end - after)) / m->curves->rate_hz;
    return has(area);
}

static struct reading lost(struct uf_measure *m, int a, int b)
{
    (void)a, (void)b;
    double sum = 0;
    for (size_t i = 1; i < m->capture->samples; i++)
        sum += m->capture->lost_before[i];
    return has(sum);
}

/* SD of the total about its mean in the part of the quiet stretch that lies in the window. */
static struct reading quiet_noise(struct uf_measure *m, int a, int b)
{
    (void)a, (void)b;
    const struct uf_capture *c = m->capture;
    double to_s = 1e-6 * (double)(c->quiet_to_dev_us - c->start_dev_us);
    double n_points = to_s * m->curves->rate_hz;
    if (!c->quiet_known || n_points < 20)
        return lacks(UF_REASON_NO_WEIGHT);
    size_t n = n_points < (double)m->curves->n ? (size_t)n_points : m->curves->n;
    double from_s = 1e-6 * (double)(c->quiet_from_dev_us - c->start_dev_us);
    size_t first = from_s > 0 ? (size_t)(from_s * m->curves->rate_hz) : 0;
    if (first + 20 > n)
        return lacks(UF_REASON_NO_WEIGHT);
    const double *y = m->curves->total_vertical_n;
    double mean = 0, square = 0;
    for (size_t i = first; i < n; i++)
        mean += y[i];
    mean /= (double)(n - first);
    for (size_t i = first; i < n; i++)
        square += (y[i] - mean) * (y[i] - mean);
    return has(sqrt(square / (double)(n - first - 1)));
}

static struct reading closure(struct uf_measure *m, int curve, int b)
{
    (void)b;
    const struct uf_event *end = &m->event[UF_EVENT_END];
    if (isnan(m->weight_n))
        return lacks(UF_REASON_NO_WEIGHT);
    if (end->source == UF_SOURCE_NONE)
        return lacks(UF_REASON_NOT_STILL_AFTER);
    enum uf_reason reason = spoiled(m, curve);
    if (reason)
        return lacks(reason);
    size_t to = (size_t)(end->t_s * m->curves->rate_hz);
    if (to >= m->curves->n)
        to = m->curves->n - 1;
    if (gap_within(m, 0, to))
        return lacks(UF_REASON_GAP);
    return has(uf_measure_integral(m->curves, array_of(m, curve),
                                   curve == CURVE_EXCESS_VERTICAL ? m->weight_n : 0, 0, to));
}

/* ---- the table ---- */

static const struct uf_metric_row rows[UF_METRICS] = {
#define UF_METRIC(name, unit, lo, hi, function, a, b, meaning) {#name, unit, lo, hi, meaning},
#include "swing/metric_table.h"
#undef UF_METRIC
};

static const struct {
    struct reading (*function)(struct uf_measure *, int, int);
    int a, b;
} functions[UF_METRICS] = {
#define UF_METRIC(name, unit, lo, hi, function, a, b, meaning) {function, a, b},
#include "swing/metric_table.h"
#undef UF_METRIC
};

static const struct {
    const char *code, *text;
} reasons[UF_REASONS] = {
    [UF_REASON_NONE] = {"", ""},
    [UF_REASON_NO_IMPACT] = {"no_impact", "no strike was sensed in this swing"},
    [UF_REASON_NO_WEIGHT] = {"no_weight", "no quiet standing before the swing gave a weight"},
    [UF_REASON_NOT_STILL_AFTER] = {"not_still_after", "the golfer was not still after the swing"},
    [UF_REASON_BELOW_THRESHOLD] = {"below_threshold", "too little force for a centre of pressure"},
    [UF_REASON_ONE_PLATE] = {"one_plate", "needs a plate under each foot"},
    [UF_REASON_NOT_CALIBRATED] = {"not_calibrated",
                                  "the calibration does not cover this component"},
    [UF_REASON_SATURATED] = {"saturated", "a channel was at its rail"},
    [UF_REASON_GAP] = {"gap", "samples are missing where it is measured"},
    [UF_REASON_AT_EDGE] = {"at_edge", "greatest at the edge of the window: not a peak"},
    [UF_REASON_DEAD_CHANNEL] = {"dead_channel", "a channel did not move during the swing"},
    [UF_REASON_IMPLAUSIBLE] = {"implausible", "outside the plausible range: not believed"},
};

void uf_measure_all(struct uf_measure *m, double *value, enum uf_reason *reason)
{
    for (int i = 0; i < UF_METRICS; i++) {
        struct reading r = functions[i].function(m, functions[i].a, functions[i].b);
        if (!r.reason && !(r.value >= rows[i].lo && r.value <= rows[i].hi))
            r = lacks(isnan(r.value) ? UF_REASON_NOT_CALIBRATED : UF_REASON_IMPLAUSIBLE);
        value[i] = r.reason ? NAN : r.value;
        reason[i] = r.reason;
    }
}

const struct uf_metric_row *uf_metric_row(enum uf_metric m)
{
    return &rows[m];
}

int uf_metric_find(const char *name)
{
    for (int i = 0; i < UF_METRICS; i++)
        if (strcmp(rows[i].name, name) == 0)
            return i;
    return -1;
}

const char *uf_reason_code(enum uf_reason r)
{
    return reasons[r].code;
}

const char *uf_reason_text(enum uf_reason r)
{
    return reasons[r].text;
}
