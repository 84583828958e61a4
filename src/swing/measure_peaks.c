/* SPDX-License-Identifier: MIT
 * Functions of the metric table: weight, shares, peaks, impulses, signal quality. Each gives a
 * value, or a reason why there is none; nothing is invented. Pure; any thread. */
#include "swing/measure.h"

#include <math.h>

struct uf_reading uf_m_weight(struct uf_measure *m, int a, int b)
{
    (void)a, (void)b;
    if (m->dead)
        return uf_lacks(UF_REASON_DEAD_CHANNEL);
    return isnan(m->weight_n) ? uf_lacks(UF_REASON_NO_WEIGHT) : uf_has(m->weight_n);
}

/* a: 0 trail, 1 lead. */
struct uf_reading uf_m_share_address(struct uf_measure *m, int a, int b)
{
    (void)b;
    if (!m->two_plates)
        return uf_lacks(UF_REASON_ONE_PLATE);
    if (m->dead)
        return uf_lacks(UF_REASON_DEAD_CHANNEL);
    if (isnan(m->weight_n))
        return uf_lacks(UF_REASON_NO_WEIGHT);
    return uf_has(100 * m->quiet_n[a ? UF_LEAD : UF_TRAIL] / m->weight_n);
}

struct uf_reading uf_m_peak(struct uf_measure *m, int curve, int extreme)
{
    const struct uf_found *f = uf_find(m, curve, extreme);
    /* the share's extremes are extremes of the swing even where it begins or ends there */
    if (f->reason == UF_REASON_AT_EDGE && curve == CURVE_SHARE)
        return uf_has(f->value);
    return f->reason ? uf_lacks(f->reason) : uf_has(f->value);
}

struct uf_reading uf_m_peak_bw(struct uf_measure *m, int curve, int extreme)
{
    struct uf_reading r = uf_m_peak(m, curve, extreme);
    if (!r.reason && isnan(m->weight_n))
        return uf_lacks(UF_REASON_NO_WEIGHT);
    r.value /= m->weight_n;
    return r;
}

struct uf_reading uf_m_peak_s(struct uf_measure *m, int curve, int extreme)
{
    const struct uf_found *f = uf_find(m, curve, extreme);
    if (f->reason && !(f->reason == UF_REASON_AT_EDGE && curve == CURVE_SHARE))
        return uf_lacks(f->reason);
    return uf_has(f->position / m->curves->rate_hz);
}

struct uf_reading uf_m_peak_to_impact_ms(struct uf_measure *m, int curve, int extreme)
{
    const struct uf_event *impact = &m->event[UF_EVENT_IMPACT];
    /* by an estimate it would look finer than it is: see the *_downswing_pct rows */
    if (impact->source == UF_SOURCE_NONE || impact->source == UF_SOURCE_ESTIMATE)
        return uf_lacks(UF_REASON_NO_IMPACT);
    struct uf_reading r = uf_m_peak_s(m, curve, extreme);
    r.value = 1e3 * (r.value - impact->t_s);
    return r;
}

struct uf_reading uf_m_at(struct uf_measure *m, int curve, int anchor)
{
    double position;
    enum uf_reason reason = uf_anchor_at(m, anchor, &position);
    if (!reason)
        reason = uf_spoiled(m, curve);
    if (reason)
        return uf_lacks(reason);
    double value = uf_value_at(m, curve, position);
    return isnan(value) ? uf_lacks(uf_no_cop(m, curve, position)) : uf_has(value);
}

/* Impulse of the lobe of one sign around the peak. */
struct uf_reading uf_m_lobe(struct uf_measure *m, int curve, int extreme)
{
    double level = 0;
    if (curve == CURVE_EXCESS_VERTICAL) {
        if (isnan(m->weight_n))
            return uf_lacks(UF_REASON_NO_WEIGHT);
        level = m->weight_n;
    }
    const struct uf_found *f = uf_find(m, curve, extreme);
    if (f->reason)
        return uf_lacks(f->reason);
    const double *y = uf_array_of(m, curve);
    double sign = extreme == MAXIMUM ? 1 : -1;
    if (sign * (y[f->index] - level) <= 0)
        return uf_lacks(UF_REASON_AT_EDGE);
    size_t first = f->index, last = f->index;
    while (first > 0 && sign * (y[first - 1] - level) > 0)
        first--;
    while (last + 1 < m->curves->n && sign * (y[last + 1] - level) > 0)
        last++;
    if (first == 0 || last + 1 >= m->curves->n)
        return uf_lacks(UF_REASON_AT_EDGE);
    if (uf_gap_within(m, first, last))
        return uf_lacks(UF_REASON_GAP);
    /* from zero crossing to zero crossing: the two part-steps are triangles */
    double area = uf_measure_integral(m->curves, y, level, first, last);
    double before = y[first - 1] - level, begin = y[first] - level;
    double after = y[last + 1] - level, end = y[last] - level;
    area +=
        0.5 * (begin * begin / (begin - before) + end * end / (end - after)) / m->curves->rate_hz;
    return uf_has(area);
}

struct uf_reading uf_m_lost(struct uf_measure *m, int a, int b)
{
    (void)a, (void)b;
    double sum = 0;
    for (size_t i = 1; i < m->capture->samples; i++)
        sum += m->capture->lost_before[i];
    return uf_has(sum);
}

/* SD of the total about its mean in the part of the quiet stretch that lies in the window. */
struct uf_reading uf_m_quiet_noise(struct uf_measure *m, int a, int b)
{
    (void)a, (void)b;
    const struct uf_capture *c = m->capture;
    double to_s = 1e-6 * (double)(c->quiet_to_dev_us - c->start_dev_us);
    double n_points = to_s * m->curves->rate_hz;
    if (!c->quiet_known || n_points < 20)
        return uf_lacks(UF_REASON_NO_WEIGHT);
    size_t n = n_points < (double)m->curves->n ? (size_t)n_points : m->curves->n;
    double from_s = 1e-6 * (double)(c->quiet_from_dev_us - c->start_dev_us);
    size_t first = from_s > 0 ? (size_t)(from_s * m->curves->rate_hz) : 0;
    if (first + 20 > n)
        return uf_lacks(UF_REASON_NO_WEIGHT);
    const double *y = m->curves->total_vertical_n;
    double mean = 0, square = 0;
    for (size_t i = first; i < n; i++)
        mean += y[i];
    mean /= (double)(n - first);
    for (size_t i = first; i < n; i++)
        square += (y[i] - mean) * (y[i] - mean);
    return uf_has(sqrt(square / (double)(n - first - 1)));
}

struct uf_reading uf_m_closure(struct uf_measure *m, int curve, int b)
{
    (void)b;
    const struct uf_event *end = &m->event[UF_EVENT_END];
    if (isnan(m->weight_n))
        return uf_lacks(UF_REASON_NO_WEIGHT);
    if (end->source == UF_SOURCE_NONE)
        return uf_lacks(UF_REASON_NOT_STILL_AFTER);
    enum uf_reason reason = uf_spoiled(m, curve);
    if (reason)
        return uf_lacks(reason);
    size_t to = (size_t)(end->t_s * m->curves->rate_hz);
    if (to >= m->curves->n)
        to = m->curves->n - 1;
    if (uf_gap_within(m, 0, to))
        return uf_lacks(UF_REASON_GAP);
    return uf_has(uf_measure_integral(m->curves, uf_array_of(m, curve),
                                      curve == CURVE_EXCESS_VERTICAL ? m->weight_n : 0, 0, to));
}
