/* SPDX-License-Identifier: MIT
 * Butterworth low-pass as second-order sections: see filter.h. Pure. */
#include "plate/filter.h"

#include <math.h>
#include <string.h>

static double pi(void)
{
    return acos(-1.0);
}

/* s = (1 - 1/z) / (1 + 1/z), so the analogue corner is w = tan(pi fc / fs). Pole pair k of an
 * order-N Butterworth at angle a from the imaginary axis: w^2 / (s^2 + 2 w sin(a) s + w^2); the
 * real pole of an odd order: w / (s + w). Each section has gain 1 at DC. */
int uf_lowpass_design(struct uf_lowpass *f, int order, double cutoff_hz, double rate_hz,
                      struct uf_error *err)
{
    if (order < 1 || order > 2 * UF_SECTIONS_MAX)
        return uf_fail(err, UF_EINVAL, "a low-pass of order %d: the order must be 1 to %d", order,
                       2 * UF_SECTIONS_MAX);
    if (!(rate_hz > 0) || isinf(rate_hz))
        return uf_fail(err, UF_EINVAL, "a low-pass at %g samples a second: give a positive rate",
                       rate_hz);
    if (!(cutoff_hz > 0) || !(cutoff_hz < rate_hz / 2))
        return uf_fail(err, UF_EINVAL,
                       "a low-pass at %g Hz for %g samples a second: the cut-off must lie above 0 "
                       "and below %g Hz, half the rate",
                       cutoff_hz, rate_hz, rate_hz / 2);
    memset(f, 0, sizeof *f);
    f->order = order;
    f->sections = (order + 1) / 2;
    f->cutoff_hz = cutoff_hz;
    f->rate_hz = rate_hz;
    double w = tan(pi() * (cutoff_hz / rate_hz));
    for (int k = 0; k < f->sections; k++) {
        double *sos = f->sos[k];
        if (2 * k + 1 == order) {
            sos[0] = sos[1] = w / (1 + w);
            sos[4] = (w - 1) / (w + 1);
        } else {
            double twice_damping = 2 * sin(pi() * (2 * k + 1) / (2 * order));
            double d = 1 + twice_damping * w + w * w;
            sos[0] = sos[2] = w * w / d;
            sos[1] = 2 * sos[0];
            sos[4] = 2 * (w * w - 1) / d;
            sos[5] = (1 - twice_damping * w + w * w) / d;
        }
        sos[3] = 1;
        f->zi[k][1] = sos[2] - sos[5];
        f->zi[k][0] = sos[1] - sos[4] + f->zi[k][1];
    }
    return UF_OK;
}

double uf_two_pass_cutoff_hz(int order, double cutoff_hz, double rate_hz)
{
    if (!(cutoff_hz < rate_hz / 2)) /* no such filter: the design says so */
        return cutoff_hz;
    double factor = pow(sqrt(2.0) - 1, 1.0 / (2 * order));
    return rate_hz / pi() * atan(tan(pi() * (cutoff_hz / rate_hz)) / factor);
}

size_t uf_lowpass_pad(const struct uf_lowpass *f)
{
    size_t taps = 2 * (size_t)f->sections + 1;
    if (f->order % 2) /* the first-order section has no second delay */
        taps--;
    return 3 * taps;
}

/* Transposed direct form II over x[n] in steps of stride, from the steady state of its first
 * value. */
static void run(const struct uf_lowpass *f, double *x, size_t n, ptrdiff_t stride)
{
    for (int k = 0; k < f->sections; k++) {
        const double b0 = f->sos[k][0], b1 = f->sos[k][1], b2 = f->sos[k][2];
        const double a1 = f->sos[k][4], a2 = f->sos[k][5];
        double z0 = f->zi[k][0] * x[0], z1 = f->zi[k][1] * x[0];
        double *p = x;
        for (size_t i = 0; i < n; i++, p += stride) {
            double in = *p, y = b0 * in + z0;
            z0 = b1 * in - a1 * y + z1;
            z1 = b2 * in - a2 * y;
            *p = y;
        }
    }
}

void uf_lowpass_zero_phase(const struct uf_lowpass *f, double *x, size_t n, double *work)
{
    if (n < 2)
        return;
    size_t pad = uf_lowpass_pad(f);
    if (n <= pad)
        pad = n - 1;
    size_t total = n + 2 * pad;
    for (size_t i = 0; i < pad; i++) {
        work[i] = 2 * x[0] - x[pad - i];
        work[pad + n + i] = 2 * x[n - 1] - x[n - 2 - i];
    }
    memcpy(work + pad, x, n * sizeof *x);
    run(f, work, total, 1);
    run(f, work + total - 1, total, -1);
    memcpy(x, work + pad, n * sizeof *x);
}

void uf_lowpass_step(const struct uf_lowpass *f, struct uf_lowpass_state *s,
                     double x[UF_LOWPASS_LANES])
{
    for (int k = 0; k < f->sections; k++) {
        const double b0 = f->sos[k][0], b1 = f->sos[k][1], b2 = f->sos[k][2];
        const double a1 = f->sos[k][4], a2 = f->sos[k][5];
        double *z0 = s->z[k][0], *z1 = s->z[k][1];
        for (int i = 0; i < UF_LOWPASS_LANES && !s->primed; i++) {
            z0[i] = f->zi[k][0] * x[i];
            z1[i] = f->zi[k][1] * x[i];
        }
        for (int i = 0; i < UF_LOWPASS_LANES; i++) {
            double in = x[i], y = b0 * in + z0[i];
            z0[i] = b1 * in - a1 * y + z1[i];
            z1[i] = b2 * in - a2 * y;
            x[i] = y;
        }
    }
    s->primed = 1;
}
