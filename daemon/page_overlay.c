/* SPDX-License-Identifier: MIT
 * See page_overlay.h. */
#include "daemon/page_overlay.h"

#include <math.h>
#include <stdlib.h>

/* Welford: a running mean, and the sum of squares about it. */
struct point {
    double mean, squares;
    int n;
};

struct uf_overlay {
    int swings;
    struct point point[UF_OVERLAY_CURVES][UF_OVERLAY_POINTS];
};

static const char *const names[UF_OVERLAY_CURVES] = {
    "lead_vertical_n",     "trail_vertical_n",   "total_vertical_n",
    "lead_target_n",       "trail_target_n",     "total_target_n",
    "lead_toe_n",          "trail_toe_n",        "turn_nm",
    "trail_share_pct",     "lead_cop_target_mm", "lead_cop_toe_mm",
    "trail_cop_target_mm", "trail_cop_toe_mm",
};

static void curves_of(const struct uf_curves *c, const double *out[UF_OVERLAY_CURVES])
{
    const double *all[UF_OVERLAY_CURVES] = {
        c->vertical_n[UF_LEAD],     c->vertical_n[UF_TRAIL],   c->total_vertical_n,
        c->target_n[UF_LEAD],       c->target_n[UF_TRAIL],     c->total_target_n,
        c->toe_n[UF_LEAD],          c->toe_n[UF_TRAIL],        c->turn_nm,
        c->trail_share_pct,         c->cop_target_mm[UF_LEAD], c->cop_toe_mm[UF_LEAD],
        c->cop_target_mm[UF_TRAIL], c->cop_toe_mm[UF_TRAIL],
    };
    for (size_t k = 0; k < UF_OVERLAY_CURVES; k++)
        out[k] = all[k];
}

const char *uf_overlay_name(size_t k)
{
    return names[k];
}

struct uf_overlay *uf_overlay_new(void)
{
    return calloc(1, sizeof(struct uf_overlay));
}

void uf_overlay_free(struct uf_overlay *o)
{
    free(o);
}

static void add_point(struct point *p, double v)
{
    if (isnan(v))
        return;
    double off = v - p->mean;
    p->n++;
    p->mean += off / p->n;
    p->squares += off * (v - p->mean);
}

void uf_overlay_add(struct uf_overlay *o, const struct uf_curves *c, double zero_s)
{
    const double *curve[UF_OVERLAY_CURVES];
    curves_of(c, curve);
    o->swings++;
    for (size_t i = 0; i < UF_OVERLAY_POINTS; i++) {
        double at = (zero_s + UF_OVERLAY_FROM_S + UF_OVERLAY_STEP_S * (double)i) * c->rate_hz;
        if (!(at >= 0 && at <= (double)c->n - 1))
            continue;
        size_t before = (size_t)at;
        double part = at - (double)before;
        for (size_t k = 0; k < UF_OVERLAY_CURVES; k++) {
            if (!curve[k])
                continue;
            double v = curve[k][before];
            if (part > 0) /* so that the last point needs none behind it */
                v += part * (curve[k][before + 1] - v);
            add_point(&o->point[k][i], v);
        }
    }
}

void uf_overlay_get(const struct uf_overlay *o, size_t k, double *mean, double *sd)
{
    for (size_t i = 0; i < UF_OVERLAY_POINTS; i++) {
        const struct point *p = &o->point[k][i];
        bool enough = p->n > 0 && 2 * p->n >= o->swings;
        if (mean)
            mean[i] = enough ? p->mean : (double)NAN;
        if (sd)
            sd[i] = enough && p->n > 1 ? sqrt(p->squares / (p->n - 1)) : (double)NAN;
    }
}
