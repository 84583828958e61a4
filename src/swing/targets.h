/* SPDX-License-Identifier: MIT
 * Early, on time or late: a peak against a window between two moments of the swing. Windows are
 * rows that a studio edits (table `target`); the defaults are common practice of the trade, not
 * measured truth, and no window is a grade. Pure. */
#ifndef UF_SWING_TARGETS_H
#define UF_SWING_TARGETS_H

#include "swing/analysis.h"

struct uf_target {
    const char *label;
    const char *metric; /* a time row of the metric table, "..._s" */
    enum uf_event_kind from, to;
    double from_pct, to_pct; /* window in percent of the way between them; may lie outside 0..100 */
    double tolerance_ms;     /* still on time so far outside */
    const char *source;
};
/* The defaults. */
const struct uf_target *uf_targets(size_t *n);

enum uf_timing { UF_TIMING_UNKNOWN, UF_TIMING_EARLY, UF_TIMING_ON_TIME, UF_TIMING_LATE };
const char *uf_timing_name(enum uf_timing t); /* "", "early", "on time", "late" */

struct uf_judgement {
    enum uf_timing timing;
    double off_ms; /* before the window negative, after it positive, 0 within; NAN: unknown */
    double u_ms;   /* of off_ms, from the peak and the moments */
    bool sure;     /* the 95 % interval does not reach another answer */
};
/* t_s, u_s: the peak. Unknown where it or a moment is. */
void uf_target_judge(const struct uf_target *target, double t_s, double u_s,
                     const struct uf_event event[UF_EVENTS], struct uf_judgement *out);

#endif
