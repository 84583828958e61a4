/* SPDX-License-Identifier: MIT
 * The metric table as arrays, reasons, and which flags spoil what. The functions that the rows name
 * are in measure_*.c. Pure; any thread. */
#include "swing/metric.h"

#include "swing/measure.h"

#include <math.h>
#include <string.h>

/* ---- the table ---- */

static const struct uf_metric_row rows[UF_METRICS] = {
#define UF_METRIC(name, unit, lo, hi, function, a, b, meaning) {#name, unit, lo, hi, meaning},
#include "swing/metric_table.h"
#undef UF_METRIC
};

static const struct {
    uf_metric_function *function;
    int a, b;
} functions[UF_METRICS] = {
#define UF_METRIC(name, unit, lo, hi, function, a, b, meaning) {uf_m_##function, a, b},
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
    [UF_REASON_NO_EVENT] = {"no_event", "the moment of the swing that it needs is not known"},
    [UF_REASON_NO_FEET] = {"no_feet", "the feet were not found: rock from heels to toes before"},
    [UF_REASON_OUTSIDE_FOOT] = {"outside_foot", "the centre of pressure lies outside the foot"},
    [UF_REASON_UNCERTAIN] = {"uncertain", "its uncertainty is larger than is useful"},
    [UF_REASON_NOT_CLOSED] = {"not_closed", "momentum does not close: drift, or a wrong gain"},
    [UF_REASON_EXCITATION] = {"excitation", "the supply of the load cells was out of range"},
    [UF_REASON_HAND] = {"hand", "the swing is of the other hand than was set"},
    [UF_REASON_TWO_STRIKES] = {"two_strikes", "two strikes were sensed: which is the ball's?"},
    [UF_REASON_FOOT_OFF] = {"foot_off", "a foot stood over an outer edge of its plate"},
    [UF_REASON_FOOT_ACROSS] = {"foot_across", "a foot stood on both plates"},
    [UF_REASON_STANCE_MOVED] = {"stance_moved", "a foot has moved since the rocking"},
    [UF_REASON_STEP] = {"step", "a foot was in the air before impact"},
};

void uf_measure_forget(struct uf_measure *m)
{
    memset(m->found, 0, sizeof m->found);
    m->way.done = false;
}

void uf_measure_all(struct uf_measure *m, double *value, enum uf_reason *reason)
{
    for (int i = 0; i < UF_METRICS; i++) {
        if (m->wanted && !m->wanted[i]) {
            value[i] = NAN;
            reason[i] = UF_REASON_NONE;
            continue;
        }
        struct uf_reading r = functions[i].function(m, functions[i].a, functions[i].b);
        if (!r.reason && !(r.value >= rows[i].lo && r.value <= rows[i].hi))
            r = uf_lacks(isnan(r.value) ? UF_REASON_NOT_CALIBRATED : UF_REASON_IMPLAUSIBLE);
        value[i] = r.reason ? NAN : r.value;
        reason[i] = r.reason;
    }
}

/* ---- flags ---- */

/* What a metric rests on, as far as flags care. */
#define RESTS_FORCE    0x01u /* anything but quality */
#define RESTS_FEET     0x02u /* each foot alone on its plate */
#define RESTS_HAND     0x04u /* which foot leads, where the target is */
#define RESTS_INTEGRAL 0x08u /* adds up over time: drift adds up too */
#define RESTS_OUTLINE  0x10u /* the feet as rocking found them */
#define RESTS_STRIKE   0x20u /* the moment of impact */

static unsigned rests_on(enum uf_metric metric)
{
    uf_metric_function *f = functions[metric].function;
    int a = functions[metric].a, b = functions[metric].b;
    if (f == uf_m_lost || f == uf_m_quiet_noise || f == uf_m_closure)
        return 0;
    if (f == uf_m_weight)
        return RESTS_FORCE;
    if (f == uf_m_share_address)
        return RESTS_FORCE | RESTS_FEET | RESTS_HAND;
    if (f == uf_m_span)
        return RESTS_FORCE | RESTS_HAND | (a == SPAN_BACKSWING ? 0 : RESTS_STRIKE);
    if (f == uf_m_line_at)
        return RESTS_FORCE | RESTS_FEET | RESTS_HAND | (b == AT_TOP ? 0 : RESTS_STRIKE);
    if (f == uf_m_foot_at)
        return RESTS_FORCE | RESTS_FEET | RESTS_HAND | RESTS_OUTLINE |
               (b >= AT_TOP && b <= AT_IMPACT ? RESTS_STRIKE : 0);
    if (f == uf_m_travel)
        return RESTS_FORCE | RESTS_HAND | RESTS_STRIKE;
    if (f == uf_m_couple || f == uf_m_share_back_max)
        return RESTS_FORCE | RESTS_FEET | RESTS_HAND;
    if (f == uf_m_peak_order)
        return RESTS_FORCE | RESTS_FEET | RESTS_HAND;
    /* the others measure the curve a */
    unsigned rests = RESTS_FORCE;
    if (uf_needs_two_plates(a))
        rests |= RESTS_FEET;
    if (a != CURVE_TOTAL_VERTICAL && a != CURVE_EXCESS_VERTICAL)
        rests |= RESTS_HAND;
    if (f == uf_m_lobe || f == uf_m_turn_impulse)
        rests |= RESTS_INTEGRAL;
    if (f == uf_m_turn_impulse || f == uf_m_peak_to_impact_ms || f == uf_m_peak_downswing_pct ||
        f == uf_m_peak_to_top_ms || (f == uf_m_at && b >= AT_TOP))
        rests |= RESTS_STRIKE;
    return rests;
}

bool uf_measure_has_sd(enum uf_metric m)
{
    uf_metric_function *f = functions[m].function;
    bool is_code =
        f == uf_m_peak_order || (f == uf_m_couple && functions[m].a == COUPLE_LEADER) ||
        (f == uf_m_foot_at && (functions[m].a == LEAD_REGION || functions[m].a == TRAIL_REGION));
    return rests_on(m) != 0 && !is_code;
}

/* Bit for bit as UF_FLAG_: what a flag spoils, and the reason that is given. Flags that only say
 * what to think of a swing (nominal, old) widen uncertainties instead; lost samples, gaps, rails
 * and dead channels, a missing weight and a missing impact spoil by what they touch. */
static const struct {
    unsigned spoils;
    enum uf_reason reason;
} of_flag[UF_FLAGS] = {
    [3] = {RESTS_FORCE, UF_REASON_EXCITATION},
    [5] = {RESTS_INTEGRAL, UF_REASON_NOT_CLOSED},
    [8] = {RESTS_HAND, UF_REASON_HAND},
    [9] = {RESTS_STRIKE, UF_REASON_TWO_STRIKES},
    [11] = {RESTS_FORCE, UF_REASON_FOOT_OFF},
    [12] = {RESTS_FEET, UF_REASON_FOOT_ACROSS},
    [13] = {RESTS_OUTLINE, UF_REASON_STANCE_MOVED},
    [14] = {RESTS_OUTLINE, UF_REASON_STEP},
};

bool uf_flag_spoils(int bit, enum uf_metric metric)
{
    return bit >= 0 && bit < UF_FLAGS && (of_flag[bit].spoils & rests_on(metric)) != 0;
}

void uf_measure_spoil(uint32_t flags, double *value, enum uf_reason *reason)
{
    for (int i = 0; i < UF_METRICS; i++)
        for (int bit = 0; bit < UF_FLAGS && reason[i] == UF_REASON_NONE; bit++)
            if ((flags & (1u << bit)) && uf_flag_spoils(bit, (enum uf_metric)i)) {
                value[i] = NAN;
                reason[i] = of_flag[bit].reason;
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
