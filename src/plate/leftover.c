/* SPDX-License-Identifier: MIT
 * How much of some counts no load can make: see leftover.h. Pure. */
#include "plate/leftover.h"

#include <math.h>
#include <string.h>

static double square(const double *v, int n)
{
    double sum = 0;
    for (int i = 0; i < n; i++)
        sum += v[i] * v[i];
    return sum;
}

void uf_leftover_newtons(const struct uf_leftover *l, const double *above_raw, double *n)
{
    for (int j = 0; j < l->channels; j++)
        n[j] =
            l->n_per_count[j] * (above_raw[l->channel[j]] +
                                 l->curve[j] * above_raw[l->channel[j]] * above_raw[l->channel[j]]);
}

double uf_leftover_rest(const struct uf_leftover *l, const double *n, double *left_n)
{
    memcpy(left_n, n, (size_t)l->channels * sizeof *left_n);
    for (int w = 0; w < l->ways; w++) {
        double along = 0;
        for (int j = 0; j < l->channels; j++)
            along += l->way[w][j] * n[j];
        for (int j = 0; j < l->channels; j++)
            left_n[j] -= along * l->way[w][j];
    }
    return square(left_n, l->channels);
}

#define READ_N                                                                                     \
    50.0 /* by half a man's weight on twelve channels; of calibrations that do not tell */

double uf_leftover_expected(const struct uf_leftover *l, double read_n)
{
    double known_n = l->read_n > 0 ? l->read_n : READ_N;
    return l->reading_pct / 100 * read_n * fmax(1, read_n / known_n);
}

void uf_leftover_of(const struct uf_leftover *l, const double *above_raw, double *rms_n,
                    double *expected_n)
{
    double n[UF_CHANNELS_MAX], left_n[UF_CHANNELS_MAX];
    *rms_n = *expected_n = NAN;
    if (l->channels <= l->ways || isnan(l->reading_pct))
        return;
    uf_leftover_newtons(l, above_raw, n);
    *rms_n = sqrt(uf_leftover_rest(l, n, left_n) / (l->channels - l->ways));
    *expected_n =
        hypot(l->noise_n, uf_leftover_expected(l, sqrt(square(n, l->channels) / l->channels)));
}
