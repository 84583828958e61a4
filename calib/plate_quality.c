/* SPDX-License-Identifier: MIT
 * Quality of a fitted plate: see quality.h. Pure. */
#include "calib/least_squares.h"
#include "calib/quality.h"

#include <math.h>
#include <string.h>

#define COP_LEAST_N 50.0
#define PURE        0.98 /* a load is along an axis when so much of it is */

static void place_of(const double w[UF_COMPONENTS], double surface_mm, double *x_mm, double *y_mm)
{
    struct uf_wrench wrench = {w[UF_FX], w[UF_FY], w[UF_FZ], w[UF_MX], w[UF_MY], w[UF_MZ]};
    struct uf_cop cop;
    uf_cop_of(&wrench, surface_mm, COP_LEAST_N, &cop);
    *x_mm = cop.x_mm;
    *y_mm = cop.y_mm;
}

/* Distance of the fitted centre of pressure from the known one; NAN where there is none. */
static double cop_error_mm(const struct uf_fit_reading *r, const double e[UF_COMPONENTS],
                           double surface_mm)
{
    double x0, y0, x1, y1, fitted[UF_COMPONENTS];
    for (int k = 0; k < UF_COMPONENTS; k++)
        fitted[k] = r->known[k] + e[k];
    place_of(r->known, surface_mm, &x0, &y0);
    place_of(fitted, surface_mm, &x1, &y1);
    return hypot(x1 - x0, y1 - y0);
}

static void residuals(const struct uf_fit *f, const struct uf_plate *plate, struct uf_quality *out)
{
    double cop2 = 0, left2 = 0;
    int cops = 0, lefts = 0;
    for (int i = 0; i < f->readings; i++) {
        const struct uf_fit_reading *r = &f->reading[i];
        for (int k = 0; k < UF_COMPONENTS; k++) {
            out->rms[k] += r->residual[k] * r->residual[k] / f->readings;
            out->left_out_rms[k] += r->left_out[k] * r->left_out[k] / f->readings;
            out->most[k] = fmax(out->most[k], fabs(r->residual[k]));
        }
        double here = cop_error_mm(r, r->residual, plate->surface_mm);
        double left = cop_error_mm(r, r->left_out, plate->surface_mm);
        if (!isnan(here)) {
            cop2 += here * here;
            out->cop_most_mm = fmax(out->cop_most_mm, here);
            cops++;
        }
        if (!isnan(left)) {
            left2 += left * left;
            lefts++;
        }
    }
    for (int k = 0; k < UF_COMPONENTS; k++) {
        out->rms[k] = f->matrix.known[k] ? sqrt(out->rms[k]) : NAN;
        out->left_out_rms[k] = f->matrix.known[k] ? sqrt(out->left_out_rms[k]) : NAN;
        if (!f->matrix.known[k])
            out->most[k] = NAN;
    }
    bool place = f->matrix.known[UF_MX] && f->matrix.known[UF_MY] && f->matrix.known[UF_FZ];
    out->cop_rms_mm = place && cops ? sqrt(cop2 / cops) : NAN;
    out->left_out_cop_rms_mm = place && lefts ? sqrt(left2 / lefts) : NAN;
    if (!place)
        out->cop_most_mm = NAN;
}

static void crosstalk(const struct uf_fit *f, struct uf_quality *out)
{
    int count[3] = {0};
    for (int i = 0; i < f->readings; i++) {
        const struct uf_fit_reading *r = &f->reading[i];
        double n =
            sqrt(r->known[0] * r->known[0] + r->known[1] * r->known[1] + r->known[2] * r->known[2]);
        for (int along = 0; along < 3; along++) {
            if (!(fabs(r->known[along]) > PURE * n))
                continue;
            count[along]++;
            for (int k = 0; k < 3; k++)
                out->crosstalk_pct[along][k] += r->residual[k] * r->residual[k] / (n * n);
        }
    }
    for (int along = 0; along < 3; along++)
        for (int k = 0; k < 3; k++)
            out->crosstalk_pct[along][k] =
                count[along] && f->matrix.known[k]
                    ? 100 * sqrt(out->crosstalk_pct[along][k] / count[along])
                    : NAN;
}

/* Vertical loads of one place as a series. */
struct series {
    int n, direction[UF_READINGS_MAX];
    double known[UF_READINGS_MAX], got[UF_READINGS_MAX];
};

static void gather(const struct uf_fit *f, const struct uf_reading *r, int place, struct series *s)
{
    s->n = 0;
    for (int i = 0; i < f->readings && s->n < UF_READINGS_MAX; i++) {
        const struct uf_fit_reading *fr = &f->reading[i];
        const struct uf_reading *from = &r[fr->reading];
        if (fr->place != place || from->load.kind != UF_LOAD_VERTICAL)
            continue;
        s->known[s->n] = fr->known[UF_FZ];
        s->got[s->n] = fr->known[UF_FZ] + fr->residual[UF_FZ];
        s->direction[s->n++] = from->series == UF_SERIES_DOWN ? -1 : 1;
    }
}

static int different(const struct series *s)
{
    int count = 0;
    for (int i = 0; i < s->n; i++) {
        bool first = true;
        for (int j = 0; j < i; j++)
            first = first && fabs(s->known[i] - s->known[j]) > 1e-6 * s->known[i];
        count += first;
    }
    return count;
}

static double greatest(const struct series *s)
{
    double n = 0;
    for (int i = 0; i < s->n; i++)
        n = fmax(n, s->known[i]);
    return n;
}

static void series_of(const struct uf_fit *f, const struct uf_reading *r, struct uf_quality *out)
{
    int most_loads = 2; /* a line needs three */
    static const struct series none;
    struct series s = none;
    out->linearity_pct = out->hysteresis_pct = out->repeatability_pct = NAN;
    if (!f->matrix.known[UF_FZ])
        return;
    for (int p = 0; p < f->places; p++) {
        gather(f, r, p, &s);
        if (s.n < 2)
            continue;
        int loads = different(&s);
        double full = greatest(&s), hysteresis = uf_hysteresis(s.known, s.got, s.direction, s.n);
        if (loads > most_loads) {
            most_loads = loads;
            out->linearity_pct = uf_linearity_pct(s.known, s.got, s.n);
        }
        if (!isnan(hysteresis)) {
            out->hysteresis_pct = fmax(out->hysteresis_pct, 100 * hysteresis / full);
            out->hysteresis_loads += loads;
        }
        if (s.n > loads) {
            double spread = uf_repeatability(s.known, s.got, s.direction, s.n);
            bool met = spread > 0;
            if (met) {
                out->repeatability_pct = fmax(out->repeatability_pct, 100 * spread / full);
                out->repeats += s.n - loads;
            }
        }
    }
}

static void zeros(const struct uf_fit *f, const struct uf_reading *r, struct uf_quality *out)
{
    out->zero_return_pct = NAN;
    if (!f->matrix.known[UF_FZ])
        return;
    for (int i = 0; i < f->readings; i++) {
        const struct uf_fit_reading *fr = &f->reading[i];
        struct uf_wrench moved;
        uf_fit_wrench(f, r[fr->reading].moved_raw, &moved);
        double loaded = fr->known[UF_FZ] + fr->residual[UF_FZ];
        if (isnan(moved.fz_n) || !(fabs(loaded) > COP_LEAST_N))
            continue;
        double pct = uf_zero_return_pct(0, moved.fz_n, loaded);
        out->zero_return_pct = fmax(out->zero_return_pct, fabs(pct));
        out->zeros++;
    }
}

void uf_quality_of(const struct uf_fit *f, const struct uf_plate *plate, const struct uf_reading *r,
                   struct uf_quality *out)
{
    memset(out, 0, sizeof *out);
    residuals(f, plate, out);
    crosstalk(f, out);
    series_of(f, r, out);
    zeros(f, r, out);
}

/* Counts for a wrench: the combination of the plate's ways that reads as it. */
static int counts_for(const struct uf_fit *f, const double w[UF_COMPONENTS], double *above_raw,
                      struct uf_error *err)
{
    const struct uf_leftover *l = &f->leftover;
    double a[UF_COMPONENTS * UF_COMPONENTS] = {0}, b[UF_COMPONENTS];
    int rows = 0;
    for (int k = 0; k < UF_COMPONENTS; k++) {
        if (!f->matrix.known[k])
            continue;
        for (int v = 0; v < l->ways; v++)
            for (int j = 0; j < l->channels; j++)
                a[rows * l->ways + v] +=
                    f->matrix.c[k][l->channel[j]] * l->way[v][j] / l->n_per_count[j];
        b[rows++] = w[k];
    }
    struct uf_lsq fit;
    if (rows == 0 || l->ways == 0)
        return uf_fail(err, UF_EINVAL, "the calibration knows no component");
    int rc = uf_lsq_solve(&fit, a, b, rows, l->ways, 1e-9, err);
    if (rc != UF_OK)
        return rc;
    memset(above_raw, 0, UF_CHANNELS_MAX * sizeof *above_raw);
    for (int v = 0; v < l->ways; v++)
        for (int j = 0; j < l->channels; j++)
            above_raw[l->channel[j]] += fit.x[v] * l->way[v][j] / l->n_per_count[j];
    uf_lsq_free(&fit);
    return UF_OK;
}

int uf_quality_map(const struct uf_fit *f, const struct uf_plate *plate, double x_mm, double y_mm,
                   double vertical_n, double *cop_mm, double *vertical_u_n, struct uf_error *err)
{
    double w[UF_COMPONENTS] = {
        0, 0, vertical_n, y_mm / 1000 * vertical_n, -x_mm / 1000 * vertical_n, 0};
    double above_raw[UF_CHANNELS_MAX], cov[UF_COMPONENTS][UF_COMPONENTS];
    struct uf_wrench wrench;
    struct uf_cop_sd sd;
    struct uf_cover cover;
    int rc = counts_for(f, w, above_raw, err);
    if (rc != UF_OK)
        return rc;
    uf_fit_wrench(f, above_raw, &wrench);
    uf_fit_covariance(f, above_raw, NULL, cov);
    uf_cop_sd_of(&wrench, cov, plate->surface_mm, 1, &sd);
    uf_fit_cover(f, above_raw, cov, &wrench, plate->surface_mm, 1, &cover);
    *cop_mm = isnan(sd.x_mm) || isnan(sd.y_mm) ? NAN : fmax(cover.x * sd.x_mm, cover.y * sd.y_mm);
    *vertical_u_n = cover.component[UF_FZ] * sqrt(cov[UF_FZ][UF_FZ]);
    return UF_OK;
}
