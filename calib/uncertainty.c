/* SPDX-License-Identifier: MIT
 * What a fit is good for: the wrench of some counts and its uncertainty. See fit.h. Pure. */
#include "calib/fit.h"

#include <math.h>
#include <string.h>

void uf_fit_wrench(const struct uf_fit *f, const double *above_raw, struct uf_wrench *out)
{
    double w[UF_COMPONENTS];
    for (int k = 0; k < UF_COMPONENTS; k++) {
        w[k] = f->matrix.known[k] ? 0 : NAN;
        for (int j = 0; j < f->channels; j++)
            w[k] += f->matrix.c[k][f->channel[j]] * above_raw[f->channel[j]];
    }
    *out = (struct uf_wrench){w[UF_FX], w[UF_FY], w[UF_FZ], w[UF_MX], w[UF_MY], w[UF_MZ]};
}

void uf_fit_covariance(const struct uf_fit *f, const double *above_raw, const double *sd_raw,
                       double cov[UF_COMPONENTS][UF_COMPONENTS])
{
    memset(cov, 0, UF_COMPONENTS * UF_COMPONENTS * sizeof(double));
    for (int p = 0; p < f->patterns + f->channels; p++) {
        double d[UF_COMPONENTS] = {0};
        if (p < f->patterns) {
            const double *c = f->pattern + (size_t)p * (size_t)(UF_COMPONENTS * f->channels);
            for (int k = 0; k < UF_COMPONENTS; k++)
                for (int j = 0; j < f->channels; j++)
                    d[k] += c[k * f->channels + j] * above_raw[f->channel[j]];
        } else {
            int ch = f->channel[p - f->patterns];
            double sd = hypot(f->reading_pct / 100 * above_raw[ch], sd_raw ? sd_raw[ch] : 0);
            for (int k = 0; k < UF_COMPONENTS; k++)
                d[k] = f->matrix.c[k][ch] * sd;
        }
        for (int k = 0; k < UF_COMPONENTS; k++)
            for (int l = 0; l < UF_COMPONENTS; l++)
                cov[k][l] += d[k] * d[l];
    }
    for (int k = 0; k < UF_COMPONENTS; k++)
        for (int l = 0; l < UF_COMPONENTS; l++)
            if (!f->matrix.known[k] || !f->matrix.known[l])
                cov[k][l] = NAN;
}

static double propagate(const double g[UF_COMPONENTS], double cov[UF_COMPONENTS][UF_COMPONENTS])
{
    double var = 0;
    for (int k = 0; k < UF_COMPONENTS; k++)
        for (int l = 0; l < UF_COMPONENTS; l++)
            if (g[k] != 0 && g[l] != 0) /* an unknown component that does not matter */
                var += g[k] * g[l] * cov[k][l];
    return sqrt(var);
}

void uf_cop_sd_of(const struct uf_wrench *w, double cov[UF_COMPONENTS][UF_COMPONENTS],
                  double surface_mm, double min_n, struct uf_cop_sd *out)
{
    struct uf_cop at;
    *out = (struct uf_cop_sd){NAN, NAN, NAN};
    uf_cop_of(w, surface_mm, min_n, &at);
    if (isnan(at.x_mm))
        return;
    double h = surface_mm / 1000, x = at.x_mm / 1000, y = at.y_mm / 1000, fz = w->fz_n;
    const double gx[UF_COMPONENTS] = {[UF_FX] = h / fz, [UF_FZ] = -x / fz, [UF_MY] = -1 / fz};
    const double gy[UF_COMPONENTS] = {[UF_FY] = h / fz, [UF_FZ] = -y / fz, [UF_MX] = 1 / fz};
    double gt[UF_COMPONENTS] = {[UF_FX] = y, [UF_FY] = -x, [UF_MZ] = 1};
    for (int k = 0; k < UF_COMPONENTS; k++)
        gt[k] += w->fx_n * gy[k] - w->fy_n * gx[k];
    out->x_mm = 1000 * propagate(gx, cov);
    out->y_mm = 1000 * propagate(gy, cov);
    out->tz_nm = propagate(gt, cov);
}
