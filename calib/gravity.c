/* SPDX-License-Identifier: MIT
 * Gravity and buoyancy: see gravity.h. Pure. */
#include "calib/gravity.h"

#include <math.h>

#define RAD(deg) ((deg)*3.14159265358979323846 / 180)

#define SEMI_AXIS_M      6378137.0
#define FLATTENING       (1 / 298.257223563)
#define CENTRIFUGAL      0.00344978650684 /* omega2 a2 b / GM */
#define NORMAL_SD_M_S2   5e-4
#define AIR_TO_STEEL     (1.2 / 8000)
#define LEAST_M_S2       9.76
#define GREATEST_M_S2    9.84
#define GREATEST_SD_M_S2 0.05
#define LOWEST_M         (-500)
#define HIGHEST_M        9000

double uf_gravity_normal_m_s2(enum uf_ellipsoid e, double latitude_deg)
{
    static const struct {
        double equator_m_s2, k, e2;
    } of[] = {
        [UF_WGS84] = {9.7803253359, 0.00193185265241, 0.00669437999013},
        [UF_GRS80] = {9.7803267715, 0.001931851353, 0.0066943800229},
    };
    double s = sin(RAD(latitude_deg)), s2 = s * s;
    return of[e].equator_m_s2 * (1 + of[e].k * s2) / sqrt(1 - of[e].e2 * s2);
}

int uf_gravity_at(double latitude_deg, double height_m, struct uf_gravity *out,
                  struct uf_error *err)
{
    if (!(fabs(latitude_deg) <= 90))
        return uf_fail(err, UF_EINVAL,
                       "the latitude is %g degrees: give -90 to 90, south is negative",
                       latitude_deg);
    if (!(height_m >= LOWEST_M && height_m <= HIGHEST_M))
        return uf_fail(err, UF_EINVAL, "the height is %g m: give metres above the sea, %d to %d",
                       height_m, LOWEST_M, HIGHEST_M);
    double s = sin(RAD(latitude_deg)), part = height_m / SEMI_AXIS_M;
    double slope = 2 * (1 + FLATTENING + CENTRIFUGAL - 2 * FLATTENING * s * s);
    out->g_m_s2 =
        uf_gravity_normal_m_s2(UF_WGS84, latitude_deg) * (1 - slope * part + 3 * part * part);
    out->sd_m_s2 = NORMAL_SD_M_S2;
    return UF_OK;
}

int uf_gravity_entered(double g_m_s2, double sd_m_s2, struct uf_gravity *out, struct uf_error *err)
{
    if (!(g_m_s2 >= LEAST_M_S2 && g_m_s2 <= GREATEST_M_S2))
        return uf_fail(err, UF_EINVAL,
                       "gravity is given as %g m/s2: on the ground it is %g to %g; leave it out "
                       "and give latitude_deg and height_m",
                       g_m_s2, LEAST_M_S2, GREATEST_M_S2);
    if (!(sd_m_s2 >= 0 && sd_m_s2 <= GREATEST_SD_M_S2))
        return uf_fail(err, UF_EINVAL,
                       "the uncertainty of gravity is given as %g m/s2: give 0 to %g", sd_m_s2,
                       GREATEST_SD_M_S2);
    *out = (struct uf_gravity){g_m_s2, sd_m_s2};
    return UF_OK;
}

double uf_gravity_weight_n(double g_m_s2, double mass_kg)
{
    return mass_kg * g_m_s2 * (1 - AIR_TO_STEEL);
}
