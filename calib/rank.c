/* SPDX-License-Identifier: MIT
 * What a set of loads can tell: see fit.h. Pure. */
#include "calib/fit.h"
#include "calib/least_squares.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RANK_CUTOFF 0.01
#define WITHIN      0.999

int uf_load_rank_of(const struct uf_plate *plate, double wrench[][UF_COMPONENTS], int n,
                    struct uf_load_rank *out, struct uf_error *err)
{
    memset(out, 0, sizeof *out);
    int rows = n < UF_COMPONENTS ? UF_COMPONENTS : n; /* zero rows change nothing */
    double length_m = hypot(plate->size_x_mm, plate->size_y_mm) / 2000, greatest = 0;
    double *a = calloc((size_t)(rows * UF_COMPONENTS), sizeof *a), v[UF_COMPONENTS * UF_COMPONENTS];
    if (!a)
        return uf_fail(err, UF_ENOMEM, "no memory for the loads");
    for (int i = 0; i < n; i++)
        greatest = fmax(greatest, sqrt(wrench[i][0] * wrench[i][0] + wrench[i][1] * wrench[i][1] +
                                       wrench[i][2] * wrench[i][2]));
    for (int i = 0; i < n && greatest > 0; i++)
        for (int k = 0; k < UF_COMPONENTS; k++)
            a[i * UF_COMPONENTS + k] = wrench[i][k] / (k < UF_MX ? 1 : length_m) / greatest;
    int rc = uf_lsq_singular(a, rows, UF_COMPONENTS, out->singular, v, err);
    free(a);
    if (rc != UF_OK)
        return rc;
    while (out->rank < UF_COMPONENTS && out->singular[out->rank] > RANK_CUTOFF * out->singular[0])
        out->rank++;
    out->condition =
        out->rank == UF_COMPONENTS ? out->singular[0] / out->singular[UF_COMPONENTS - 1] : INFINITY;
    for (int k = 0; k < UF_COMPONENTS; k++) {
        double within = 0;
        for (int d = 0; d < out->rank; d++)
            within += v[d * UF_COMPONENTS + k] * v[d * UF_COMPONENTS + k];
        out->known[k] = within > WITHIN;
        out->weakest[k] = v[(UF_COMPONENTS - 1) * UF_COMPONENTS + k];
    }
    return UF_OK;
}
