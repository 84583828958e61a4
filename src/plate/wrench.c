/* SPDX-License-Identifier: MIT
 * Wrench, centre of pressure, free moment, two plates together: see wrench.h. Pure. The order of
 * the sums is such that a rig and counts mirrored in x give the mirrored bits. */
#include "plate/wrench_inline.h"

#include <string.h>

/* Channels without weight are the other plate's: left out, also because their zero may be unknown
 * (NAN). */
void uf_weights_of(const struct uf_plate_matrix *m, int channels, struct uf_weights *out)
{
    out->n = 0;
    out->curved = m->curved;
    for (int ch = 0; ch < channels; ch++) {
        bool weighs = false;
        for (int k = 0; k < UF_COMPONENTS; k++) {
            out->c[out->n][k] = m->c[k][ch];
            weighs = weighs || m->c[k][ch] != 0;
        }
        out->channel[out->n] = ch;
        out->curve[out->n] = m->curve[ch];
        out->n += weighs;
    }
    for (int k = 0; k < UF_COMPONENTS; k++)
        out->start[k] = m->known[k] ? 0 : NAN;
}

void uf_wrench_weighed(const struct uf_weights *w, const int32_t *counts_raw,
                       const double *tare_raw, struct uf_wrench *out)
{
    double sum[UF_COMPONENTS];
    memcpy(sum, w->start, sizeof sum);
    for (int i = 0; i < w->n; i++) {
        int ch = w->channel[i];
        double above = counts_raw[ch] - tare_raw[ch];
        if (w->curved)
            above += w->curve[i] * above * above;
        for (int k = 0; k < UF_COMPONENTS; k++)
            sum[k] += w->c[i][k] * above;
    }
    *out = (struct uf_wrench){sum[0], sum[1], sum[2], sum[3], sum[4], sum[5]};
}

void uf_wrench_of(const struct uf_plate_matrix *m, const int32_t *counts_raw,
                  const double *tare_raw, int channels, struct uf_wrench *out)
{
    struct uf_weights w;
    uf_weights_of(m, channels, &w);
    uf_wrench_weighed(&w, counts_raw, tare_raw, out);
}

void uf_wrench_of_mean(const struct uf_plate_matrix *m, const double *above_raw, int channels,
                       struct uf_wrench *out)
{
    double w[UF_COMPONENTS];
    for (int k = 0; k < UF_COMPONENTS; k++) {
        w[k] = m->known[k] ? 0 : NAN;
        for (int ch = 0; ch < channels; ch++)
            if (m->c[k][ch] != 0)
                w[k] += m->c[k][ch] * uf_straight(m, ch, above_raw[ch]);
    }
    *out = (struct uf_wrench){w[UF_FX], w[UF_FY], w[UF_FZ], w[UF_MX], w[UF_MY], w[UF_MZ]};
}

void uf_cop_of(const struct uf_wrench *w, double surface_mm, double min_n, struct uf_cop *out)
{
    uf_cop_inline(w, surface_mm, min_n, out);
}

void uf_ground_of(const struct uf_plate *plate, const struct uf_wrench *w, double min_n,
                  struct uf_ground *out)
{
    uf_ground_inline(plate, uf_plate_turn(plate), w, min_n, out);
}

void uf_both_of(const struct uf_ground *a, const struct uf_ground *b, double min_n,
                struct uf_both *out)
{
    uf_both_inline(a, b, min_n, out);
}
