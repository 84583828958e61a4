/* SPDX-License-Identifier: MIT
 * How sure each number is: the law of propagation of the GUM (JCGM 100, 5.1.2), with sensitivities
 * found by changing one thing by its standard uncertainty and measuring again (5.1.3, note 2).
 * What is changed: calibration (each element of a plate's 6 x 6 error), zeros, mounting (the feet
 * that rocking found go along), the low-pass, the moments of the swing, the feet; converter noise
 * by seeded records. Where a second extreme of a curve is nearly as good as the one that was taken,
 * the chance that it is the true one counts with all that this would change. Pure. */
#ifndef UF_SWING_UNCERTAINTY_H
#define UF_SWING_UNCERTAINTY_H

#include "plate/calibration.h"

/* Standard uncertainties of one plate, independent of each other. */
struct uf_plate_u {
    /* Of E in: true wrench = (1 + E) shown wrench; N/N, N/(N m), N m/N, N m/(N m). Row is what is
     * wrong, column what makes it wrong: error[FZ][FZ] gain, error[FX][FZ] cross-talk,
     * error[MY][FZ] a COP (m) that lies wrong at any load. */
    double error[UF_COMPONENTS][UF_COMPONENTS];
    const struct uf_matrix_error *matrix; /* the same with correlations, instead; NULL: not known */
    double zero[UF_COMPONENTS];           /* N, N m: drift since the zero, and its own noise */
    double x_mm, y_mm, rotation_deg, surface_mm; /* of the mounting */
};

struct uf_system_u {
    struct uf_plate_u plate[UF_PLATES_MAX];
};

/* What is assumed without better knowledge: a carefully made known-weight calibration (vertical 0.3
 * %, horizontal and Mz 1 %, cross-talk 0.3 %, COP 1 mm), 0.5 N and 0.05 N m of zero, plates that
 * were placed to 1 mm and 0.2 degrees. A data-sheet calibration is taken as three times as bad. A
 * judgement after the validation studies of home-built plates (COP 1 to 1.3 mm at the centre, 1.5
 * to 2 near the edge: Rev Bras Cineantropom Desempenho Hum 2011;13(5):367-372). */
/* A plate whose calibration says how wrong its matrix may be has that instead; *out points into
 * *cal then. */
void uf_system_u_defaults(const struct uf_calibration *cal, struct uf_system_u *out);

#endif
