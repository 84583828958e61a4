/* SPDX-License-Identifier: MIT
 * Which loads to put where: the fewest that identify every component, and after them those that
 * gain most. Pure.
 *
 * Reckoned in load space: what the plate says = B x load, B near 1 and not known better than the
 * data sheet. The first placements are those that raise the determinant of sum L L' most
 * (D-optimal: they reach full rank soonest); the later ones those that lower the mean variance of
 * what a swing needs: place and size of 400 N, horizontal 100 N, turn moment (A-optimal). */
#ifndef UF_CALIB_PLAN_H
#define UF_CALIB_PLAN_H

#include "calib/fit.h"

#define UF_PLAN_MAX 120

struct uf_plan_settings {
    int most;              /* placements, 3..UF_PLAN_MAX (25) */
    bool pulley;           /* there is one (or a second person's string and a known angle) */
    double wedge_deg;      /* tilt of the plate by a wedge; 0: there is none */
    double pull_height_mm; /* of the string above the top (20) */
    double pull_most_kg;   /* heaviest that is hung on the string (15) */
    double lie_most_kg;    /* heaviest that is put on the plate (60) */
    double cog_height_mm;  /* of the weights' centre of gravity above the top, on the wedge (60) */
    double inner;          /* part of the half width that weights may reach (0.8) */
    double place_tol_mm, height_tol_mm, towards_tol_deg, angle_tol_deg; /* (1, 2, 0.5, 0.5) */
    double reading_pct;
};
void uf_plan_defaults(struct uf_plan_settings *s);

/* One placement, and what is known after it. Expected 95 % errors (2 standard uncertainties), NAN
 * below full rank where a component is not identified. */
struct uf_plan_step {
    struct uf_load load;
    int rank;
    double condition;
    double cop_mm;         /* rms over the inner plate, at 400 N */
    double vertical_pct;   /* at 400 N */
    double horizontal_pct; /* at 100 N, the worse of x and y */
    double turn_nm;        /* Mz of 100 N pulls at the plate's edge */
};

/* Fills step[settings->most]; returns how many, fewer when there are no more places, or a negative
 * code. Error: no weight within the limits. */
int uf_plan_make(const struct uf_plate *plate, int plate_index, const struct uf_load_setup *setup,
                 const struct uf_plan_settings *s, struct uf_plan_step *step, struct uf_error *err);

/* What a given list of loads would reach: the same numbers after each of them. */
int uf_plan_rate(const struct uf_plate *plate, const struct uf_load_setup *setup,
                 const struct uf_plan_settings *s, const struct uf_load *load, int n,
                 struct uf_plan_step *step, struct uf_error *err);

#endif
