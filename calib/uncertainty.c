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
            w[k] += f->matrix.c[k][f->channel[j]] *
                    uf_straight(&f->matrix, f->channel[j], above_raw[f->channel[j]]);
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

/* What x, y (m a unit) and the free moment change by with each component. False: no place. */
struct gradients {
    double x[UF_COMPONENTS], y[UF_COMPONENTS], tz[UF_COMPONENTS];
};
static bool gradients_of(const struct uf_wrench *w, double surface_mm, double min_n,
                         struct gradients *g)
{
    struct uf_cop at;
    uf_cop_of(w, surface_mm, min_n, &at);
    memset(g, 0, sizeof *g);
    if (isnan(at.x_mm))
        return false;
    double h = surface_mm / 1000, x = at.x_mm / 1000, y = at.y_mm / 1000, fz = w->fz_n;
    g->x[UF_FX] = h / fz;
    g->x[UF_FZ] = -x / fz;
    g->x[UF_MY] = -1 / fz;
    g->y[UF_FY] = h / fz;
    g->y[UF_FZ] = -y / fz;
    g->y[UF_MX] = 1 / fz;
    g->tz[UF_FX] = y;
    g->tz[UF_FY] = -x;
    g->tz[UF_MZ] = 1;
    for (int k = 0; k < UF_COMPONENTS; k++)
        g->tz[k] += w->fx_n * g->y[k] - w->fy_n * g->x[k];
    return true;
}

void uf_cop_sd_of(const struct uf_wrench *w, double cov[UF_COMPONENTS][UF_COMPONENTS],
                  double surface_mm, double min_n, struct uf_cop_sd *out)
{
    struct gradients g;
    *out = (struct uf_cop_sd){NAN, NAN, NAN};
    if (!gradients_of(w, surface_mm, min_n, &g))
        return;
    out->x_mm = 1000 * propagate(g.x, cov);
    out->y_mm = 1000 * propagate(g.y, cov);
    out->tz_nm = propagate(g.tz, cov);
}

/* ---- intervals ---- */

#define COVERED 0.95
#define NORMAL  1.959963984540054 /* of the normal distribution */

/* Integral of the normal distribution function. */
static double normal_integral(double z)
{
    return z * 0.5 * erfc(-z * M_SQRT1_2) + exp(-0.5 * z * z) * 0.3989422804014327;
}

double uf_coverage_factor(double rectangular)
{
    double half = fmin(fmax(rectangular, 0), 1) * sqrt(3);
    double sd = sqrt(fmax(1 - half * half / 3, 1e-6)), lo = 1, hi = 2.5;
    if (isnan(rectangular))
        return NAN;
    if (half < 0.1) /* the difference of two integrals would lose its digits */
        return NORMAL;
    for (int i = 0; i < 60; i++) {
        double k = (lo + hi) / 2;
        double below =
            sd / (2 * half) * (normal_integral((k + half) / sd) - normal_integral((k - half) / sd));
        if (2 * below - 1 < COVERED)
            lo = k;
        else
            hi = k;
    }
    return lo;
}

static double factor(const double g[UF_COMPONENTS], double cov[UF_COMPONENTS][UF_COMPONENTS],
                     double shared[UF_SHARED_ERRORS][UF_COMPONENTS])
{
    double fourth = 0, sd = propagate(g, cov);
    for (int e = 0; e < UF_SHARED_ERRORS; e++) {
        double part = 0;
        for (int k = 0; k < UF_COMPONENTS; k++)
            part += g[k] * shared[e][k];
        fourth += pow(part, 4);
    }
    return sd > 0 ? uf_coverage_factor(pow(fourth, 0.25) / sd) : isnan(sd) ? NAN : NORMAL;
}

void uf_fit_cover(const struct uf_fit *f, const double *above_raw,
                  double cov[UF_COMPONENTS][UF_COMPONENTS], const struct uf_wrench *w,
                  double surface_mm, double min_n, struct uf_cover *out)
{
    double shared[UF_SHARED_ERRORS][UF_COMPONENTS] = {{0}};
    struct gradients g;
    for (int e = 0; e < UF_SHARED_ERRORS; e++) {
        const double *c = f->shared_pattern + (size_t)(e * UF_COMPONENTS * f->channels);
        for (int k = 0; k < UF_COMPONENTS && e != UF_SHARED_GRAVITY; k++)
            for (int j = 0; j < f->channels; j++)
                shared[e][k] += c[k * f->channels + j] * above_raw[f->channel[j]];
    }
    for (int k = 0; k < UF_COMPONENTS; k++) {
        const double own[UF_COMPONENTS] = {
            [0] = k == 0, [1] = k == 1, [2] = k == 2, [3] = k == 3, [4] = k == 4, [5] = k == 5};
        out->component[k] = factor(own, cov, shared);
    }
    out->x = out->y = out->tz = NAN;
    if (!gradients_of(w, surface_mm, min_n, &g))
        return;
    out->x = factor(g.x, cov, shared);
    out->y = factor(g.y, cov, shared);
    out->tz = factor(g.tz, cov, shared);
}
