/* SPDX-License-Identifier: MIT
 * Inside src/swing: what a metric function sees of one analysed swing. analysis.c fills it,
 * metric.c reads it. */
#ifndef UF_SWING_MEASURE_H
#define UF_SWING_MEASURE_H

#include "swing/curves.h"

/* Curves that metrics are measured on: names of the arrays in uf_curves. */
enum uf_curve {
    CURVE_SHARE,
    CURVE_TOTAL_VERTICAL,
    CURVE_EXCESS_VERTICAL, /* total vertical - weight */
    CURVE_LEAD_VERTICAL,
    CURVE_TRAIL_VERTICAL,
    CURVE_TOTAL_TARGET,
    CURVE_TOTAL_TOE,
    CURVE_LEAD_TOE,
    CURVE_TRAIL_TOE,
    CURVE_TURN,
    CURVE_TURN_TOE,
    CURVE_TURN_TARGET,
    CURVE_TURN_FREE,
    CURVE_NET_TARGET,
    CURVE_NET_TOE,
    CURVE_LEAD_COP_TARGET,
    CURVE_LEAD_COP_TOE,
    CURVE_TRAIL_COP_TARGET,
    CURVE_TRAIL_COP_TOE,
    CURVE_LEAD_TARGET,
    CURVE_TRAIL_TARGET,
    UF_CURVE_KINDS
};

enum uf_extreme { MAXIMUM, MINIMUM, UF_EXTREMES };

/* Instants at which curves are read: peaks, and moments of the swing. */
enum uf_anchor {
    AT_TOTAL_VERTICAL,
    AT_LEAD_VERTICAL,
    AT_TRAIL_VERTICAL,
    AT_TARGET,
    AT_TURN,
    AT_TOP,
    AT_ARM,
    AT_SHAFT,
    AT_IMPACT,
    UF_ANCHORS
};

/* What metric functions take beside a curve. */
enum uf_foot_part { LEAD_ALONG, LEAD_ACROSS, LEAD_REGION, TRAIL_ALONG, TRAIL_ACROSS, TRAIL_REGION };
enum uf_couple_part { COUPLE_LAG, COUPLE_OVERLAP, COUPLE_LEADER };
enum uf_travel_part { TRAVEL_LENGTH, TRAVEL_TARGET, TRAVEL_TOE, TRAVEL_SPEED };
enum uf_span { SPAN_BACKSWING, SPAN_DOWNSWING, SPAN_TEMPO };

/* Quality of a grid point. */
#define UF_POINT_FILLED 0x1u /* the sample was lost: interpolated */
#define UF_POINT_GAP    0x2u /* within a run of more than 20 ms of lost samples */
#define UF_POINT_RAIL   0x4u /* a channel at its rail */

struct uf_found {
    bool done;
    enum uf_reason reason;
    size_t index;    /* nearest grid point */
    double position; /* grid position of the top of the polynomial fitted to the crest */
    double value;
    double least; /* of the curve in the search range, with the extreme's sign */
    size_t
        rival; /* the next best local extreme, not of the same crest; index where there is none */
};

/* Of the net COP from the first movement to impact. */
struct uf_way {
    bool done;
    enum uf_reason reason;
    double length_mm, range_mm[2], speed_mm_s;
};

struct uf_measure {
    const struct uf_capture *capture;
    const struct uf_curves *curves;
    const struct uf_event *event;
    const uint8_t *point; /* [curves->n] UF_POINT_* */
    size_t from, to;      /* grid range in which peaks are sought */
    bool two_plates;      /* one under each foot */
    double cop_min_n;
    bool saturated, dead;            /* in the range */
    bool gaps;                       /* some point is within a gap */
    const struct uf_foot_pose *foot; /* [UF_FEET] */
    double weight_n;                 /* NAN when not known */
    double quiet_n[UF_FEET];         /* mean vertical in the quiet stretch; NAN when not known */
    struct uf_found found[UF_CURVE_KINDS][UF_EXTREMES]; /* filled at first use */
    /* What was found on the curves as measured, when these are slightly changed ones: the same
     * extremes are sought, each near its place. NULL: in the whole range. */
    const struct uf_found (*near)[UF_EXTREMES];
    const bool *wanted; /* [UF_METRICS]: the others are left out, without a reason; NULL: all */
    struct uf_way way;  /* filled at first use */
};

struct uf_reading {
    double value;
    enum uf_reason reason;
};
struct uf_reading uf_has(double value); /* NAN: not calibrated */
struct uf_reading uf_lacks(enum uf_reason reason);

/* Fills value[] and reason[] from the table. Forget what was found when anything that m points to
 * has changed. */
void uf_measure_forget(struct uf_measure *m);
void uf_measure_all(struct uf_measure *m, double *value, enum uf_reason *reason);
/* False for numbers about the signal itself and for codes (order, region, leader): they have no
 * uncertainty. */
bool uf_measure_has_sd(enum uf_metric m);
/* NULL with the flag's reason for all that the flags spoil. */
void uf_measure_spoil(uint32_t flags, double *value, enum uf_reason *reason);

/* The array of a curve; CURVE_EXCESS_VERTICAL is the total, with the weight taken off by users. */
const double *uf_array_of(const struct uf_measure *m, int curve);
/* What spoils every measurement on a curve, whatever its place. */
enum uf_reason uf_spoiled(const struct uf_measure *m, int curve);
/* True for a curve that a single plate under both feet cannot give. */
bool uf_needs_two_plates(int curve);
/* Why a COP (or what rests on it) is NAN at a grid position: too little force under that foot, or a
 * component that the calibration does not know. */
enum uf_reason uf_no_cop(const struct uf_measure *m, int curve, double position);
bool uf_gap_within(const struct uf_measure *m, size_t from, size_t to);
/* Extreme in the search range, refined by a polynomial fitted to its crest. */
const struct uf_found *uf_find(struct uf_measure *m, int curve, int extreme);
/* Takes the extreme at (or beside) a grid point for the one of the curve. */
void uf_found_at(struct uf_measure *m, int curve, int extreme, size_t index);
/* A curve between two grid points. NAN when either is. */
double uf_value_at(const struct uf_measure *m, int curve, double position);
/* Grid position of an instant. */
enum uf_reason uf_anchor_at(struct uf_measure *m, int anchor, double *position);

/* Functions of the table: measure, and the two arguments of the row. */
typedef struct uf_reading uf_metric_function(struct uf_measure *m, int a, int b);
uf_metric_function uf_m_weight, uf_m_share_address, uf_m_peak, uf_m_peak_bw, uf_m_peak_s,
    uf_m_peak_to_impact_ms, uf_m_at, uf_m_lobe, uf_m_lost, uf_m_quiet_noise, uf_m_closure;
uf_metric_function uf_m_span, uf_m_peak_to_top_ms, uf_m_peak_downswing_pct, uf_m_peak_gap_ms,
    uf_m_peak_order, uf_m_rise, uf_m_share_back_max, uf_m_travel, uf_m_line_at, uf_m_foot_at,
    uf_m_turn_impulse, uf_m_couple;

/* Integral of curve - level over the grid points from..to, trapezoids; per second of device time.
 */
double uf_measure_integral(const struct uf_curves *c, const double *curve, double level,
                           size_t from, size_t to);

#endif
