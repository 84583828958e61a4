/* SPDX-License-Identifier: MIT
 * The formulas of wrench.h as inline functions, for loops over whole curves. Everyone else calls
 * the functions of wrench.h, which are these. Pure. */
#ifndef UF_PLATE_WRENCH_INLINE_H
#define UF_PLATE_WRENCH_INLINE_H

#include "plate/wrench.h"

#include <math.h>

static inline void uf_cop_inline(const struct uf_wrench *w, double surface_mm, double min_n,
                                 struct uf_cop *out)
{
    *out = (struct uf_cop){NAN, NAN, NAN};
    if (!(w->fz_n >= min_n) || !(w->fz_n > 0))
        return;
    double h_m = surface_mm / 1000;
    /* with the top at the sensors' height the horizontal force has no lever: it need not be known
     */
    double x_m = h_m == 0 ? -w->my_nm / w->fz_n : (-w->my_nm + h_m * w->fx_n) / w->fz_n;
    double y_m = h_m == 0 ? w->mx_nm / w->fz_n : (w->mx_nm + h_m * w->fy_n) / w->fz_n;
    if (isnan(x_m) || isnan(y_m))
        return;
    out->x_mm = 1000 * x_m;
    out->y_mm = 1000 * y_m;
    out->tz_nm = w->mz_nm - (x_m * w->fy_n - y_m * w->fx_n);
}

static inline struct uf_turn uf_plate_turn(const struct uf_plate *plate)
{
    return plate->rotation_deg != 0 ? uf_turn_of(plate->rotation_deg) : (struct uf_turn){1, 0};
}

/* t: uf_plate_turn(plate). */
static inline void uf_ground_inline(const struct uf_plate *plate, struct uf_turn t,
                                    const struct uf_wrench *w, double min_n, struct uf_ground *out)
{
    struct uf_cop cop;
    uf_cop_inline(w, plate->surface_mm, min_n, &cop);
    out->fz_n = w->fz_n;
    out->tz_nm = cop.tz_nm;
    if (t.sin == 0) { /* also: an unknown component does not spoil the known one */
        out->fx_n = t.cos * w->fx_n;
        out->fy_n = t.cos * w->fy_n;
        out->cop_x_mm = plate->centre_x_mm + t.cos * cop.x_mm;
        out->cop_y_mm = plate->centre_y_mm + t.cos * cop.y_mm;
        return;
    }
    out->fx_n = t.cos * w->fx_n - t.sin * w->fy_n;
    out->fy_n = t.sin * w->fx_n + t.cos * w->fy_n;
    out->cop_x_mm = plate->centre_x_mm + (t.cos * cop.x_mm - t.sin * cop.y_mm);
    out->cop_y_mm = plate->centre_y_mm + (t.sin * cop.x_mm + t.cos * cop.y_mm);
}

static inline void uf_both_inline(const struct uf_ground *a, const struct uf_ground *b,
                                  double min_n, struct uf_both *out)
{
    const struct uf_ground *foot[2] = {a, b};
    *out = (struct uf_both){
        a->fx_n + b->fx_n, a->fy_n + b->fy_n, a->fz_n + b->fz_n, NAN, NAN, NAN, NAN, NAN, NAN};
    if (!(out->fz_n >= min_n) || !(out->fz_n > 0))
        return;
    /* a foot below the threshold has no place: the net is that of the other */
    double weight = 0, x = 0, y = 0;
    for (int i = 0; i < 2; i++)
        if (!isnan(foot[i]->cop_x_mm)) {
            weight += foot[i]->fz_n;
            x += foot[i]->fz_n * foot[i]->cop_x_mm;
            y += foot[i]->fz_n * foot[i]->cop_y_mm;
        }
    if (!(weight > 0))
        return;
    out->cop_x_mm = x / weight;
    out->cop_y_mm = y / weight;
    double from_fy = 0, from_fx = 0, from_tz = 0;
    for (int i = 0; i < 2; i++)
        if (!isnan(foot[i]->cop_x_mm)) {
            from_fy += (foot[i]->cop_x_mm - out->cop_x_mm) / 1000 * foot[i]->fy_n;
            from_fx += (foot[i]->cop_y_mm - out->cop_y_mm) / 1000 * foot[i]->fx_n;
            from_tz += foot[i]->tz_nm;
        }
    out->turn_from_fy_nm = from_fy;
    out->turn_from_fx_nm = -from_fx;
    out->turn_from_tz_nm = from_tz;
    out->turn_nm = from_fy - from_fx + from_tz;
}

#endif
