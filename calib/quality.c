/* SPDX-License-Identifier: MIT
 * Definitions of quality: see quality.h. Pure. */
#include "calib/quality.h"

#include <math.h>
#include <stdbool.h>

#define SAME_LOAD 1e-6

void uf_line_fit(const double *x, const double *y, int n, struct uf_line *out)
{
    *out = (struct uf_line){NAN, NAN, NAN, NAN, NAN, NAN};
    double mean_x = 0, mean_y = 0, sxx = 0, sxy = 0, x2 = 0, ss = 0;
    for (int i = 0; i < n; i++) {
        mean_x += x[i] / n;
        mean_y += y[i] / n;
        x2 += x[i] * x[i];
    }
    for (int i = 0; i < n; i++) {
        sxx += (x[i] - mean_x) * (x[i] - mean_x);
        sxy += (x[i] - mean_x) * (y[i] - mean_y);
    }
    if (n < 2 || !(sxx > 0))
        return;
    out->slope = sxy / sxx;
    out->intercept = mean_y - out->slope * mean_x;
    if (n < 3)
        return;
    for (int i = 0; i < n; i++) {
        double e = y[i] - out->intercept - out->slope * x[i];
        ss += e * e;
    }
    out->s = sqrt(ss / (n - 2));
    out->slope_sd = out->s / sqrt(sxx);
    out->intercept_sd = out->s * sqrt(x2 / (n * sxx));
    out->correlation = -mean_x * sqrt(n / x2);
}

double uf_line_sd(const struct uf_line *l, double x)
{
    double a = l->intercept_sd, b = x * l->slope_sd;
    return sqrt(a * a + b * b + 2 * a * b * l->correlation);
}

void uf_deviation(const struct uf_line *line, const double *x, const double *y, int n, double *most,
                  double *least)
{
    *most = -INFINITY;
    *least = INFINITY;
    for (int i = 0; i < n; i++) {
        double d = y[i] - (line->intercept + line->slope * x[i]);
        *most = fmax(*most, d);
        *least = fmin(*least, d);
    }
}

double uf_linearity_pct(const double *x, const double *y, int n)
{
    struct uf_line line;
    double most, least, low = INFINITY, high = -INFINITY;
    uf_line_fit(x, y, n, &line);
    if (isnan(line.slope) || n < 3)
        return NAN;
    uf_deviation(&line, x, y, n, &most, &least);
    for (int i = 0; i < n; i++) {
        low = fmin(low, x[i]);
        high = fmax(high, x[i]);
    }
    return 100 * fmax(most, -least) / fabs(line.slope * (high - low));
}

static bool same(double a, double b)
{
    return fabs(a - b) <= SAME_LOAD * fmax(fabs(a), fabs(b));
}

double uf_repeatability(const double *x, const double *y, const int *direction, int n)
{
    double spread = 0;
    for (int i = 0; i < n; i++)
        for (int j = 0; j < i; j++)
            if (direction[i] == direction[j] && same(x[i], x[j]))
                spread = fmax(spread, fabs(y[i] - y[j]));
    return spread;
}

/* Mean output at the load of i in one direction; NAN where it was not met. */
static double mean_at(const double *x, const double *y, const int *direction, int n, double load,
                      int going)
{
    double sum = 0;
    int count = 0;
    for (int i = 0; i < n; i++)
        if (direction[i] == going && same(x[i], load)) {
            sum += y[i];
            count++;
        }
    return count ? sum / count : NAN;
}

double uf_hysteresis(const double *x, const double *y, const int *direction, int n)
{
    double most = NAN;
    for (int i = 0; i < n; i++) {
        double up = mean_at(x, y, direction, n, x[i], 1);
        double down = mean_at(x, y, direction, n, x[i], -1);
        most = fmax(most, fabs(down - up)); /* fmax passes over a NAN */
    }
    return most;
}

double uf_reversibility_pct(const double *x, const double *y, const int *direction, int n)
{
    double sum = 0;
    int count = 0;
    for (int i = 0; i < n; i++) {
        bool first = direction[i] == 1;
        for (int j = 0; j < i; j++)
            first = first && !(direction[j] == 1 && same(x[i], x[j]));
        double up = mean_at(x, y, direction, n, x[i], 1);
        double down = mean_at(x, y, direction, n, x[i], -1);
        if (!first || isnan(down) || up == 0)
            continue;
        sum += 100 * fabs((down - up) / up);
        count++;
    }
    return count ? sum / count : NAN;
}

double uf_zero_return_pct(double before, double after, double loaded)
{
    return 100 * (after - before) / (loaded - before);
}

static double at_time(const double *t_s, const double *y, int n, double when_s)
{
    for (int i = 1; i < n; i++)
        if (t_s[i - 1] <= when_s && when_s <= t_s[i])
            return y[i - 1] + (y[i] - y[i - 1]) * (when_s - t_s[i - 1]) / (t_s[i] - t_s[i - 1]);
    return NAN;
}

double uf_creep_pct(const double *t_s, const double *y, int n, double from_s, double to_s)
{
    double a = at_time(t_s, y, n, from_s), b = at_time(t_s, y, n, to_s);
    return 100 * fabs((b - a) / b);
}

double uf_r60_mpe_v(double load_v)
{
    return 0.7 * (load_v <= 500 ? 0.5 : load_v <= 2000 ? 1.0 : 1.5);
}

double uf_r60_creep_30min_v(double load_v)
{
    return 0.7 * uf_r60_mpe_v(load_v);
}

double uf_r60_creep_20_30min_v(double load_v)
{
    return 0.15 * uf_r60_mpe_v(load_v);
}
