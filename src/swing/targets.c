/* SPDX-License-Identifier: MIT
 * Windows for peaks: see targets.h. Pure. */
#include "swing/targets.h"

#include <math.h>

/* Rules of thumb of teaching, no source (tag PRACTICE): the target-ward force peaks at the
 * transition; the turn moment a little before the lead arm is level; the vertical force between
 * lead arm level and shaft level. */
static const struct uf_target defaults[] = {
    {"target-ward at the transition", "target_peak_s", UF_EVENT_TOP, UF_EVENT_IMPACT, -10, 25, 10,
     "common practice"},
    {"turn before the lead arm is level", "turn_peak_s", UF_EVENT_TOP, UF_EVENT_ARM, 65, 100, 10,
     "common practice"},
    {"vertical between lead arm level and shaft level", "total_vertical_peak_s", UF_EVENT_ARM,
     UF_EVENT_SHAFT, 0, 100, 10, "common practice"},
};

const struct uf_target *uf_targets(size_t *n)
{
    *n = sizeof defaults / sizeof defaults[0];
    return defaults;
}

const char *uf_timing_name(enum uf_timing t)
{
    static const char *const names[] = {"", "early", "on time", "late"};
    return names[t];
}

void uf_target_judge(const struct uf_target *target, double t_s, double u_s,
                     const struct uf_event event[UF_EVENTS], struct uf_judgement *out)
{
    *out = (struct uf_judgement){UF_TIMING_UNKNOWN, NAN, NAN, false};
    const struct uf_event *from = &event[target->from], *to = &event[target->to];
    if (isnan(t_s) || from->source == UF_SOURCE_NONE || to->source == UF_SOURCE_NONE ||
        !(to->t_s > from->t_s))
        return;
    double length_s = to->t_s - from->t_s;
    double lo_s = from->t_s + 0.01 * target->from_pct * length_s;
    double hi_s = from->t_s + 0.01 * target->to_pct * length_s;
    bool before = t_s < 0.5 * (lo_s + hi_s);
    /* uncertainty of the edge that counts: it moves with both moments */
    double part = 0.01 * (before ? target->from_pct : target->to_pct);
    double u_edge_s = hypot((1 - part) * from->u_s, part * to->u_s);
    out->off_ms = t_s < lo_s ? 1e3 * (t_s - lo_s) : t_s > hi_s ? 1e3 * (t_s - hi_s) : 0;
    out->u_ms = 1e3 * hypot(u_s, u_edge_s);
    out->timing = out->off_ms < -target->tolerance_ms  ? UF_TIMING_EARLY
                  : out->off_ms > target->tolerance_ms ? UF_TIMING_LATE
                                                       : UF_TIMING_ON_TIME;
    /* distance to the nearest place where the answer changes */
    double early_ms = 1e3 * (t_s - lo_s) + target->tolerance_ms;
    double late_ms = target->tolerance_ms - 1e3 * (t_s - hi_s);
    out->sure = fmin(fabs(early_ms), fabs(late_ms)) > 1.96 * out->u_ms;
}
