/* SPDX-License-Identifier: MIT
 * From kilograms to newtons at a place: normal gravity of the reference ellipsoid, corrected for
 * height, and the weight of a mass in air. Pure. */
#ifndef UF_CALIB_GRAVITY_H
#define UF_CALIB_GRAVITY_H

#include "base/error.h"

enum uf_ellipsoid { UF_WGS84, UF_GRS80 };

/* Acceleration where the weights hang, and its standard uncertainty. */
struct uf_gravity {
    double g_m_s2, sd_m_s2;
};

/* Normal gravity on the ellipsoid (Somigliana's closed form), m/s2; latitude -90..90. */
double uf_gravity_normal_m_s2(enum uf_ellipsoid e, double latitude_deg);

/* WGS84 normal gravity at a height above the sea, second-order free air. The standard uncertainty
 * is 5e-4 m/s2: normal gravity missed measured values by 1.1e-3 at most. Error: latitude outside
 * -90..90, height outside -500..9000. */
int uf_gravity_at(double latitude_deg, double height_m, struct uf_gravity *out,
                  struct uf_error *err);

/* A value from a survey. Error: not on earth (9.76..9.84), uncertainty negative or above 0.05. */
int uf_gravity_entered(double g_m_s2, double sd_m_s2, struct uf_gravity *out, struct uf_error *err);

/* What a mass weighs in air, N. The mass is the conventional one, as on every certificate and every
 * scale (against steel of 8000 kg/m3 in air of 1.2 kg/m3): then buoyancy takes the same 150 ppm
 * from it whatever it is made of, to first order (OIML R 111, D 28). */
double uf_gravity_weight_n(double g_m_s2, double mass_kg);

#endif
