/* SPDX-License-Identifier: MIT
 * The curves of one swing on the report's own time, which counts from impact, and where each foot's
 * COP was at its moments: see report.h. Pure. */
#include "cli/report.h"

#include <math.h>
#include <stdlib.h>

/* Value of y at t_s by linear interpolation; NAN outside, and beside a NAN. */
static double at(const struct uf_curves *c, const double *y, double t_s)
{
    double x = t_s * c->rate_hz;
    if (!(x >= 0 && x <= (double)(c->n - 1)))
        return NAN;
    size_t i = (size_t)x;
    if (i + 1 >= c->n)
        return y[i];
    double part = x - (double)i;
    return part > 0 ? y[i] + part * (y[i + 1] - y[i]) : y[i];
}

static void sample(const struct uf_curves *c, double zero_s, double *out)
{
    double bw = 1 / c->weight_n;
    const struct {
        const double *y;
        double scale;
    } rows[UF_REPORT_CURVES] = {
        [UF_RC_LEAD_VERTICAL] = {c->vertical_n[UF_LEAD], bw},
        [UF_RC_TRAIL_VERTICAL] = {c->vertical_n[UF_TRAIL], bw},
        [UF_RC_LEAD_TARGET] = {c->target_n[UF_LEAD], bw},
        [UF_RC_TRAIL_TARGET] = {c->target_n[UF_TRAIL], bw},
        [UF_RC_LEAD_TOE] = {c->toe_n[UF_LEAD], bw},
        [UF_RC_TRAIL_TOE] = {c->toe_n[UF_TRAIL], bw},
        [UF_RC_TOTAL_VERTICAL] = {c->total_vertical_n, bw},
        [UF_RC_TOTAL_TARGET] = {c->total_target_n, bw},
        [UF_RC_TOTAL_TOE] = {c->total_toe_n, bw},
        [UF_RC_TURN] = {c->turn_nm, 1},
        [UF_RC_TRAIL_SHARE] = {c->trail_share_pct, 1},
        [UF_RC_LEAD_COP_TARGET] = {c->cop_target_mm[UF_LEAD], 1},
        [UF_RC_LEAD_COP_TOE] = {c->cop_toe_mm[UF_LEAD], 1},
        [UF_RC_TRAIL_COP_TARGET] = {c->cop_target_mm[UF_TRAIL], 1},
        [UF_RC_TRAIL_COP_TOE] = {c->cop_toe_mm[UF_TRAIL], 1},
    };
    for (int k = 0; k < UF_REPORT_CURVES; k++)
        for (int i = 0; i < UF_REPORT_POINTS; i++)
            out[k * UF_REPORT_POINTS + i] =
                rows[k].scale * at(c, rows[k].y, zero_s + UF_REPORT_FROM_S + i * UF_REPORT_STEP_S);
}

/* Mean COP of the quiet standing before the swing, as far as the capture holds it. */
static struct uf_report_cop address(const struct uf_capture *capture, const struct uf_curves *c,
                                    enum uf_foot foot)
{
    struct uf_report_cop sum = {0, 0};
    size_t n = 0;
    double from = 1e-6 * (double)(capture->quiet_from_dev_us - capture->start_dev_us);
    double to = 1e-6 * (double)(capture->quiet_to_dev_us - capture->start_dev_us);
    for (size_t i = 0; capture->quiet_known && i < c->n; i++) {
        double t = (double)i / c->rate_hz;
        if (t < from || t > to || isnan(c->cop_target_mm[foot][i]))
            continue;
        sum.target_mm += c->cop_target_mm[foot][i];
        sum.toe_mm += c->cop_toe_mm[foot][i];
        n++;
    }
    if (n == 0)
        return (struct uf_report_cop){NAN, NAN};
    return (struct uf_report_cop){sum.target_mm / (double)n, sum.toe_mm / (double)n};
}

int uf_report_align(struct uf_report_swing *w, const struct uf_capture *capture,
                    const struct uf_analysis *analysis, const struct uf_given *given,
                    struct uf_error *err)
{
    const struct uf_curves *c = &analysis->curves;
    double impact_s = w->d.event[UF_EVENT_IMPACT].t_s, top_s = w->d.event[UF_EVENT_TOP].t_s;
    for (int foot = 0; foot < UF_FEET; foot++) {
        w->cop[UF_RM_ADDRESS][foot] = address(capture, c, (enum uf_foot)foot);
        w->cop[UF_RM_TOP][foot] = (struct uf_report_cop){at(c, c->cop_target_mm[foot], top_s),
                                                         at(c, c->cop_toe_mm[foot], top_s)};
        w->cop[UF_RM_IMPACT][foot] = (struct uf_report_cop){at(c, c->cop_target_mm[foot], impact_s),
                                                            at(c, c->cop_toe_mm[foot], impact_s)};
        w->foot[foot] = given->foot[foot];
    }
    if (isnan(impact_s))
        return UF_OK;
    w->curve = malloc(sizeof *w->curve * UF_REPORT_CURVES * UF_REPORT_POINTS);
    if (!w->curve)
        return uf_fail(err, UF_ENOMEM, "no memory for the report");
    sample(c, impact_s, w->curve);
    w->aligned = true;
    return UF_OK;
}
