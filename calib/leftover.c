/* SPDX-License-Identifier: MIT
 * Combinations of channels that no load moves: see leftover.h. Pure. */
#include "calib/leftover.h"

#include "calib/least_squares.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LEAST_PCT 0.005

static double square(const double *v, int n)
{
    double sum = 0;
    for (int i = 0; i < n; i++)
        sum += v[i] * v[i];
    return sum;
}

static void describe(const struct uf_plate *plate, struct uf_leftover *out)
{
    memset(out, 0, sizeof *out);
    for (int i = 0; i < plate->cells; i++)
        for (int k = 0; k < 3; k++)
            if (plate->cell[i].channel[k] >= 0) {
                double scale = fabs(plate->cell[i].n_per_count[k]);
                out->channel[out->channels] = plate->cell[i].channel[k];
                out->n_per_count[out->channels++] = scale > 0 ? scale : 1;
            }
}

int uf_leftover_find(const struct uf_plate *plate, int plate_index, const struct uf_reading *r,
                     int n, int rank, struct uf_leftover *out, struct uf_error *err)
{
    describe(plate, out);
    int cols = out->channels, rows = 0, rc = UF_OK;
    double *a = calloc((size_t)(n * cols) + 1, sizeof *a);
    double *v = calloc((size_t)(cols * cols), sizeof *v);
    double *values = calloc((size_t)(n + cols), sizeof *values);
    if (!a || !v || !values) {
        rc = uf_fail(err, UF_ENOMEM, "no memory for %d loads", n);
        goto done;
    }
    double noise = 0, read = 0, left = 0, sd_n[UF_CHANNELS_MAX], rest_n[UF_CHANNELS_MAX];
    for (int i = 0; i < n; i++) {
        if (r[i].load.plate != plate_index)
            continue;
        uf_leftover_newtons(out, r[i].above_raw, a + rows * cols);
        uf_leftover_newtons(out, r[i].sd_raw, sd_n);
        noise += square(sd_n, cols) / cols;
        read += square(a + rows * cols, cols) / cols;
        rows++;
    }
    rc = uf_lsq_singular(a, rows, cols, values, v, err);
    if (rc != UF_OK)
        goto done;
    int least = rows < cols ? rows : cols;
    out->ways = rank < least ? rank : least;
    for (int w = 0; w < out->ways; w++)
        memcpy(out->way[w], v + w * cols, (size_t)cols * sizeof *v);
    out->noise_n = sqrt(noise / rows);
    out->read_n = sqrt(read / rows);
    out->reading_pct = NAN;
    if (cols > out->ways && rows > out->ways && read > 0) {
        for (int i = 0; i < rows; i++)
            left += uf_leftover_rest(out, a + i * cols, rest_n);
        /* each way was fitted to the rows: a part ways/rows of the error went into it */
        double free_part = (cols - out->ways) * (1 - (double)out->ways / rows);
        double var = (left / free_part - noise) / read;
        out->reading_pct = fmax(LEAST_PCT, 100 * sqrt(fmax(var, 0)));
    }
done:
    free(a);
    free(v);
    free(values);
    return rc;
}
