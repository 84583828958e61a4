/* SPDX-License-Identifier: MIT
 * Comparing two calibrations: see compare.h. Pure. */
#include "calib/compare.h"

#include "calib/least_squares.h"
#include "plate/wrench.h"

#include <math.h>
#include <string.h>

#define VERTICAL_N   400.0
#define HORIZONTAL_N 100.0
#define FREE_NM      20.0
#define INNER        0.8
#define GRID         5
#define CUTOFF       1e-6

/* Scaled newtons of each channel that a wrench makes, by a's matrix. */
struct inverse {
    int n, channel[UF_CHANNELS_MAX];
    double scale[UF_CHANNELS_MAX]; /* counts a newton */
    double rows[UF_COMPONENTS * UF_CHANNELS_MAX];
    int known, component[UF_COMPONENTS];
};

static void inverse_of(const struct uf_plate *plate, const struct uf_plate_matrix *m,
                       struct inverse *out)
{
    memset(out, 0, sizeof *out);
    for (int i = 0; i < plate->cells; i++)
        for (int k = 0; k < 3; k++) {
            int ch = plate->cell[i].channel[k];
            double n = fabs(plate->cell[i].n_per_count[k]);
            if (ch < 0)
                continue;
            out->channel[out->n] = ch;
            out->scale[out->n++] = n > 0 ? 1 / n : 1;
        }
    for (int r = 0; r < UF_COMPONENTS; r++) {
        if (!m->known[r])
            continue;
        for (int j = 0; j < out->n; j++)
            out->rows[out->known * out->n + j] = m->c[r][out->channel[j]] * out->scale[j];
        out->component[out->known++] = r;
    }
}

static int counts_of(const struct inverse *inv, const double w[UF_COMPONENTS],
                     double above_raw[UF_CHANNELS_MAX], struct uf_error *err)
{
    double b[UF_COMPONENTS];
    for (int r = 0; r < inv->known; r++)
        b[r] = w[inv->component[r]];
    struct uf_lsq fit;
    int rc = uf_lsq_solve(&fit, inv->rows, b, inv->known, inv->n, CUTOFF, err);
    if (rc != UF_OK)
        return rc;
    memset(above_raw, 0, UF_CHANNELS_MAX * sizeof *above_raw);
    for (int j = 0; j < inv->n; j++)
        above_raw[inv->channel[j]] = fit.x[j] * inv->scale[j];
    uf_lsq_free(&fit);
    return UF_OK;
}

static void raise(double *most, double value)
{
    if (isnan(value) || isnan(*most))
        *most = NAN;
    else if (value > *most)
        *most = value;
}

static void compare_vertical(const struct uf_plate *plate, const struct uf_wrench *a,
                             const struct uf_wrench *b, struct uf_compare *out)
{
    struct uf_cop at_a, at_b;
    uf_cop_of(a, plate->surface_mm, 1, &at_a);
    uf_cop_of(b, plate->surface_mm, 1, &at_b);
    raise(&out->vertical_pct, 100 * fabs(b->fz_n / a->fz_n - 1));
    raise(&out->place_mm, hypot(at_b.x_mm - at_a.x_mm, at_b.y_mm - at_a.y_mm));
    raise(&out->crosstalk_pct, 100 * hypot(b->fx_n - a->fx_n, b->fy_n - a->fy_n) / VERTICAL_N);
}

int uf_compare_plates(const struct uf_plate *plate, const struct uf_plate_matrix *a,
                      const struct uf_plate_matrix *b, struct uf_compare *out, struct uf_error *err)
{
    struct inverse inv;
    double above_raw[UF_CHANNELS_MAX], h_m = plate->surface_mm / 1000;
    struct uf_wrench by_a, by_b;
    memset(out, 0, sizeof *out);
    inverse_of(plate, a, &inv);
    if (inv.known == 0)
        return uf_fail(err, UF_EINVAL, "the %s plate's calibration knows no component",
                       uf_place_name(plate->place));
    for (int i = 0; i < GRID * GRID; i++) {
        double x_m = INNER * plate->size_x_mm / 2000 * (2.0 * (i % GRID) / (GRID - 1) - 1);
        double y_m = INNER * plate->size_y_mm / 2000 * (2.0 * (i / GRID) / (GRID - 1) - 1);
        const double w[UF_COMPONENTS] = {0, 0, VERTICAL_N, y_m * VERTICAL_N, -x_m * VERTICAL_N, 0};
        int rc = counts_of(&inv, w, above_raw, err);
        if (rc != UF_OK)
            return rc;
        uf_wrench_of_mean(a, above_raw, UF_CHANNELS_MAX, &by_a);
        uf_wrench_of_mean(b, above_raw, UF_CHANNELS_MAX, &by_b);
        compare_vertical(plate, &by_a, &by_b, out);
    }
    const double level[3][UF_COMPONENTS] = {{HORIZONTAL_N, 0, 0, 0, h_m * HORIZONTAL_N, 0},
                                            {0, HORIZONTAL_N, 0, -h_m * HORIZONTAL_N, 0, 0},
                                            {0, 0, 0, 0, 0, FREE_NM}};
    for (int i = 0; i < 3; i++) {
        int rc = counts_of(&inv, level[i], above_raw, err);
        if (rc != UF_OK)
            return rc;
        uf_wrench_of_mean(a, above_raw, UF_CHANNELS_MAX, &by_a);
        uf_wrench_of_mean(b, above_raw, UF_CHANNELS_MAX, &by_b);
        raise(&out->turn_nm, fabs(by_b.mz_nm - by_a.mz_nm));
        if (i < 2)
            raise(&out->horizontal_pct,
                  100 * hypot(by_b.fx_n - by_a.fx_n, by_b.fy_n - by_a.fy_n) / HORIZONTAL_N);
    }
    return UF_OK;
}
