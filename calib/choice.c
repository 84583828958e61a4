/* SPDX-License-Identifier: MIT
 * Which model a plate gets: straight or curved channels, a matrix for each cell or a whole one. See
 * fit.h and curve.h. Pure. */
#include "calib/fit.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define WHOLE_PLACES 8    /* fewer do not allow a choice of the model */
#define TIE          1.05 /* predictions this near are equal: the model that assumes less is taken */

/* Cells or whole, by prediction. */
static int fit_either(struct uf_fit **out, struct uf_fit **other, const struct uf_rig *rig,
                      int plate, const struct uf_load_setup *setup, const struct uf_reading *r,
                      int n, const struct uf_fit_settings *s, struct uf_error *err)
{
    struct uf_fit *cells = NULL, *whole = NULL;
    int rc = uf_fit_new(&cells, UF_MODEL_CELLS, rig, plate, setup, r, n, s, err);
    if (rc != UF_OK)
        return rc;
    if (cells->loads.rank == UF_COMPONENTS && cells->places >= WHOLE_PLACES)
        rc = uf_fit_new(&whole, UF_MODEL_WHOLE, rig, plate, setup, r, n, s, err);
    if (rc != UF_OK) {
        uf_fit_free(cells);
        return rc;
    }
    bool take_whole = whole && whole->left_out_score < TIE * cells->left_out_score;
    *out = take_whole ? whole : cells;
    *other = take_whole ? cells : whole;
    return UF_OK;
}

/* A fit of straightened readings becomes one of what the channels show. The curves' own errors are
 * taken as errors of the matrix at the calibration's usual reading, one more pattern a channel. */
static int bend(struct uf_fit *f, const struct uf_curve_choice *curve, const struct uf_reading *r,
                int n, struct uf_error *err)
{
    int each = UF_COMPONENTS * f->channels, rows = 0;
    double square[UF_CHANNELS_MAX] = {0};
    double *more =
        realloc(f->pattern, (size_t)((f->patterns + f->channels) * each) * sizeof *f->pattern);
    if (!more)
        return uf_fail(err, UF_ENOMEM, "no memory for the errors of the fit");
    f->pattern = more;
    memset(more + f->patterns * each, 0, (size_t)(f->channels * each) * sizeof *more);
    for (int i = 0; i < n; i++)
        if (r[i].load.plate == f->plate) {
            for (int j = 0; j < f->channels; j++)
                square[j] += pow(r[i].above_raw[f->channel[j]], 2);
            rows++;
        }
    f->matrix.curved = true;
    for (int j = 0; j < f->channels; j++) {
        int ch = f->channel[j];
        f->matrix.curve[ch] = f->leftover.curve[ch] = curve->curve[j];
        double *pattern = more + (f->patterns + j) * each;
        for (int k = 0; k < UF_COMPONENTS; k++)
            pattern[k * f->channels + j] =
                f->matrix.c[k][ch] * curve->curve_sd[j] * sqrt(square[j] / rows);
    }
    f->patterns += f->channels;
    return UF_OK;
}

int uf_fit_best(struct uf_fit **out, struct uf_fit **other, const struct uf_rig *rig, int plate,
                const struct uf_load_setup *setup, const struct uf_reading *r, int n,
                const struct uf_fit_settings *s, struct uf_error *err)
{
    struct uf_curve_choice curve;
    struct uf_fit *best = NULL, *second = NULL;
    struct uf_reading *straight = NULL;
    *out = NULL;
    if (other)
        *other = NULL;
    memset(&curve, 0, sizeof curve);
    int rc = fit_either(&best, &second, rig, plate, setup, r, n, s, err);
    if (rc == UF_OK && !s->straight)
        rc = uf_curve_choose(&rig->plate[plate], plate, r, n, best->loads.rank, &curve, err);
    if (rc == UF_OK && curve.taken) {
        straight = calloc((size_t)n, sizeof *straight);
        if (!straight)
            rc = uf_fail(err, UF_ENOMEM, "no memory for %d loads", n);
        for (int i = 0; i < n && rc == UF_OK; i++) {
            straight[i] = r[i];
            for (int j = 0; j < best->channels; j++) {
                double *above = &straight[i].above_raw[best->channel[j]];
                *above += r[i].load.plate == plate ? curve.curve[j] * *above * *above : 0;
            }
        }
        uf_fit_free(best);
        uf_fit_free(second);
        best = second = NULL;
        if (rc == UF_OK)
            rc = fit_either(&best, &second, rig, plate, setup, straight, n, s, err);
        if (rc == UF_OK)
            rc = bend(best, &curve, straight, n, err);
    }
    free(straight);
    if (rc != UF_OK) {
        uf_fit_free(best);
        uf_fit_free(second);
        return rc;
    }
    best->curve = curve;
    *out = best;
    if (other)
        *other = second;
    else
        uf_fit_free(second);
    return UF_OK;
}
