/* SPDX-License-Identifier: MIT
 * The metric table: one row a number. The field, the SQL column, the JSON key, the CSV heading, the
 * page's table and the manual's table all come from src/swing/metric_table.h. */
#ifndef UF_SWING_METRIC_H
#define UF_SWING_METRIC_H

#include <stdbool.h>

enum uf_metric {
#define UF_METRIC(name, ...) UF_M_##name,
#include "swing/metric_table.h"
#undef UF_METRIC
    UF_METRICS
};

/* Why a metric has no value. */
enum uf_reason {
    UF_REASON_NONE,
    UF_REASON_NO_IMPACT,       /* no strike event in the swing */
    UF_REASON_NO_WEIGHT,       /* no quiet standing before it */
    UF_REASON_NOT_STILL_AFTER, /* the window does not end still */
    UF_REASON_BELOW_THRESHOLD, /* too little force for a COP */
    UF_REASON_ONE_PLATE,       /* needs a plate under each foot */
    UF_REASON_NOT_CALIBRATED,  /* the calibration does not know this component */
    UF_REASON_SATURATED,       /* a channel it needs was at its rail */
    UF_REASON_GAP,             /* samples missing where it is measured */
    UF_REASON_AT_EDGE,         /* the peak lies at the edge of the window: not a peak */
    UF_REASON_DEAD_CHANNEL,    /* a channel did not move */
    UF_REASON_IMPLAUSIBLE,     /* outside the plausible range of the table: not believed */
    UF_REASON_NO_EVENT,        /* the moment that it needs is not known */
    UF_REASON_NO_FEET,         /* the feet were not found by rocking */
    UF_REASON_OUTSIDE_FOOT,    /* the COP lies outside the foot's outline */
    UF_REASON_UNCERTAIN,       /* its uncertainty is larger than is useful */
    UF_REASON_NOT_CLOSED,      /* flags: */
    UF_REASON_EXCITATION,
    UF_REASON_HAND,
    UF_REASON_TWO_STRIKES,
    UF_REASON_FOOT_OFF,
    UF_REASON_FOOT_ACROSS,
    UF_REASON_STANCE_MOVED,
    UF_REASON_STEP,
    UF_REASONS
};

struct uf_metric_row {
    const char *name;    /* ends in its unit */
    const char *unit;    /* "N", "BW", "pct", "ms", "s", "mm", "N m", "N s", "N m s", "" */
    double lo, hi;       /* plausible range: outside it the value is NULL (implausible) */
    const char *meaning; /* one line */
};

const struct uf_metric_row *uf_metric_row(enum uf_metric m);
/* -1 when there is none of that name. */
int uf_metric_find(const char *name);
/* "no_impact", ... : stored in the database. */
const char *uf_reason_code(enum uf_reason r);
/* "no strike was sensed in this swing", ... : for people. */
const char *uf_reason_text(enum uf_reason r);

#endif
