/* SPDX-License-Identifier: MIT
 * Spread and change of a player's own numbers: see variability.h. Student's t is GSL's. */
#include "swing/variability.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#define NORMAL_95 1.96 /* as the sources round it */

double uf_t_two_sided(double level, double dof)
{
    if (!(level > 0 && level < 1) || !(dof > 0))
        return NAN;
    double p = 0.5 + 0.5 * level;
    return isinf(dof) ? gsl_cdf_ugaussian_Pinv(p) : gsl_cdf_tdist_Pinv(p, dof);
}

void uf_spread_of(const double *value, size_t n, struct uf_spread *out)
{
    *out = (struct uf_spread){0, NAN, NAN, NAN, NAN, NAN, NAN, NAN};
    double sum = 0, square = 0;
    for (size_t i = 0; i < n; i++)
        if (!isnan(value[i])) {
            sum += value[i];
            out->n++;
        }
    if (out->n == 0)
        return;
    double count = (double)out->n;
    out->mean = sum / count;
    if (out->n < 2)
        return;
    for (size_t i = 0; i < n; i++)
        if (!isnan(value[i]))
            square += (value[i] - out->mean) * (value[i] - out->mean);
    out->sd = sqrt(square / (count - 1));
    out->mean_u = out->sd / sqrt(count);
    double half = uf_t_two_sided(0.95, count - 1) * out->mean_u;
    out->lo = out->mean - half;
    out->hi = out->mean + half;
    out->detectable = NORMAL_95 * sqrt(2) * out->sd;
    out->detectable_of_n = out->detectable / sqrt(count);
}

double uf_effective_dof(const double *u, const double *dof, size_t n)
{
    double variance = 0, below = 0;
    for (size_t i = 0; i < n; i++) {
        double square = u[i] * u[i];
        variance += square;
        below += square * square / dof[i];
    }
    return variance * variance / below;
}

void uf_change_of(const struct uf_spread *first, const struct uf_spread *second,
                  struct uf_change *out)
{
    *out = (struct uf_change){NAN, NAN, NAN, NAN, NAN, NAN, NAN};
    if (first->n < 2 || second->n < 2)
        return;
    double u[2] = {first->mean_u, second->mean_u};
    double dof[2] = {(double)(first->n - 1), (double)(second->n - 1)};
    out->difference = second->mean - first->mean;
    out->u = hypot(u[0], u[1]);
    out->pooled_sd = sqrt((dof[0] * first->sd * first->sd + dof[1] * second->sd * second->sd) /
                          (dof[0] + dof[1]));
    /* two blocks without any spread: the difference is exact */
    out->dof = out->u > 0 ? uf_effective_dof(u, dof, 2) : dof[0] + dof[1];
    out->detectable = uf_t_two_sided(0.95, out->dof) * out->u;
    out->lo = out->difference - out->detectable;
    out->hi = out->difference + out->detectable;
}

void uf_repeat_of(const double *first, const double *second, size_t n, struct uf_repeat *out)
{
    *out = (struct uf_repeat){0, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN};
    double sum = 0, raw = 0, square = 0;
    for (size_t i = 0; i < n; i++) {
        double d = first[i] - second[i];
        if (isnan(d))
            continue;
        out->n++;
        sum += d;
        raw += d * d;
    }
    if (out->n == 0)
        return;
    double count = (double)out->n;
    out->bias = sum / count;
    out->within_sd = sqrt(raw / count / 2);
    out->repeatability = NORMAL_95 * sqrt(2) * out->within_sd;
    if (out->n < 2)
        return;
    for (size_t i = 0; i < n; i++) {
        double d = first[i] - second[i] - out->bias;
        if (!isnan(d))
            square += d * d;
    }
    out->sd = sqrt(square / (count - 1));
    out->bias_u = out->sd / sqrt(count);
    out->lo = out->bias - NORMAL_95 * out->sd;
    out->hi = out->bias + NORMAL_95 * out->sd;
    out->typical_error = out->sd / sqrt(2);
    out->detectable = NORMAL_95 * sqrt(2) * out->typical_error;
}

double uf_detectable_of_mean_square(double ms_error)
{
    return NORMAL_95 * sqrt(2) * sqrt(ms_error);
}
