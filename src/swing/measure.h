/* SPDX-License-Identifier: MIT
 * Inside src/swing: what a metric function sees of one analysed swing. analysis.c fills it,
 * metric.c reads it. */
#ifndef UF_SWING_MEASURE_H
#define UF_SWING_MEASURE_H

#include "swing/analysis.h"

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
    UF_CURVE_KINDS
};

enum uf_extreme { MAXIMUM, MINIMUM, UF_EXTREMES };

/* Quality of a grid point. */
#define UF_POINT_FILLED 0x1u /* the sample was lost: interpolated */
#define UF_POINT_GAP    0x2u /* within a run of more than 20 ms of lost samples */
#define UF_POINT_RAIL   0x4u /* a channel at its rail */

struct uf_found {
    bool done;
    enum uf_reason reason;
    size_t index;    /* nearest grid point */
    double position; /* grid position of the top of the parabola fitted to the crest */
    double value;
};

struct uf_measure {
    const struct uf_capture *capture;
    const struct uf_curves *curves;
    const struct uf_event *event;
    const uint8_t *point;    /* [curves->n] UF_POINT_* */
    size_t from, to;         /* grid range in which peaks are sought */
    bool two_plates;         /* one under each foot */
    bool saturated, dead;    /* in the range */
    double weight_n;         /* NAN when not known */
    double quiet_n[UF_FEET]; /* mean vertical in the quiet stretch; NAN when not known */
    struct uf_found found[UF_CURVE_KINDS][UF_EXTREMES]; /* filled at first use */
};

/* Fills value[] and reason[] from the table. */
void uf_measure_all(struct uf_measure *m, double *value, enum uf_reason *reason);

/* Integral of curve - level over the grid points from..to, trapezoids; per second of device time.
 */
double uf_measure_integral(const struct uf_curves *c, const double *curve, double level,
                           size_t from, size_t to);

#endif
