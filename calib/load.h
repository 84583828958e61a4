/* SPDX-License-Identifier: MIT
 * A known load: which weights, where, how they act on the plate; and the wrench that it makes, with
 * its uncertainty. Pure.
 *
 * Signs. A force is what the plate does to the thing on it (DEVELOPERS.md, "Axes"): a weight that
 * lies on the plate gives Fz = +m g, and a string that pulls the plate to the right gives Fx < 0,
 * as a golfer does who pushes to the right. */
#ifndef UF_CALIB_LOAD_H
#define UF_CALIB_LOAD_H

#include "calib/gravity.h"
#include "plate/calibration.h"

#include <stdbool.h>

#define UF_PIECES_MAX  8
#define UF_WEIGHTS_MAX 24

/* A weight piece: its conventional mass is within +-tolerance of mass_kg. */
struct uf_weight {
    char name[24];
    double mass_kg, tolerance_kg;
};

enum uf_load_kind {
    UF_LOAD_VERTICAL, /* lies on the plate, or on a point on it */
    UF_LOAD_PULL,     /* hangs on a string that runs over a pulley to the plate */
    UF_LOAD_TILT,     /* lies on the plate while the plate is tilted by a wedge */
    UF_LOAD_KINDS
};
const char *uf_load_kind_name(enum uf_load_kind k);

/* Tolerances are half-widths: the value is within +- that (standard uncertainty: / sqrt 3). */
struct uf_load {
    int plate; /* index in the rig */
    enum uf_load_kind kind;
    int pieces;
    int piece[UF_PIECES_MAX]; /* indexes in uf_load_setup.weight */
    double x_mm, y_mm;        /* VERTICAL, TILT: under the centre of gravity; PULL: a point that the
                                 string's line passes over; from the centre of the top */
    double height_mm;         /* PULL: of the string there, above the top; TILT: of the centre of
                                 gravity above the top; VERTICAL: 0 */
    double towards_deg;       /* PULL: where the plate is pulled to; TILT: downhill. From +x,
                                 anticlockwise from above */
    double angle_deg;         /* PULL: how far the string rises above level; TILT: of the plate */
    double place_tol_mm, height_tol_mm, towards_tol_deg, angle_tol_deg;
};

/* What all loads of a session share. */
struct uf_load_setup {
    struct uf_gravity gravity;
    int weights;
    struct uf_weight weight[UF_WEIGHTS_MAX];
    double pulley_tol_pct; /* friction of the pulley: part of the pull that may be lost or added */
    double level_tol_deg;  /* how level the plate is, about each axis */
    double drawing_tol_mm; /* how well the drawing or the ruler's zero lies on the plate, x and y */
    double drawing_tol_deg; /* and how well it is turned */
};

/* What may be off, as factors and shifts. The own ones belong to one load, the shared ones to all
 * of the session. */
enum uf_own_error {
    UF_OWN_X,
    UF_OWN_Y,
    UF_OWN_HEIGHT,
    UF_OWN_TOWARDS,
    UF_OWN_ANGLE,
    UF_OWN_ERRORS
};
enum uf_shared_error {
    UF_SHARED_GRAVITY,
    UF_SHARED_PULLEY,
    UF_SHARED_LEVEL_X,
    UF_SHARED_LEVEL_Y,
    UF_SHARED_DRAWING_X,
    UF_SHARED_DRAWING_Y,
    UF_SHARED_DRAWING_TURN,
    UF_SHARED_WEIGHT, /* the first weight's; one each */
    UF_SHARED_ERRORS = UF_SHARED_WEIGHT + UF_WEIGHTS_MAX
};

struct uf_load_wrench {
    double w[UF_COMPONENTS]; /* N, N m about the sensor origin */
    /* change of w for one standard uncertainty of each error; 0 where it does not matter */
    double own[UF_OWN_ERRORS][UF_COMPONENTS];
    double shared[UF_SHARED_ERRORS][UF_COMPONENTS];
};

double uf_load_mass_kg(const struct uf_load_setup *s, const struct uf_load *l);

/* w = [F; r x F] with r = (x, y, surface + height) of the load's line; see the top for the sign. */
void uf_load_wrench_of(const struct uf_load_setup *s, const struct uf_plate *plate,
                       const struct uf_load *l, struct uf_load_wrench *out);

/* One weight: name, mass above 0 and below 500 kg, tolerance. Error: a sentence. */
int uf_weight_check(const struct uf_weight *w, struct uf_error *err);

/* One load against its plate: masses, place on the plate, angles, tolerances, rated load. The
 * sentence says what is wrong, but not which load it is. */
int uf_load_check(const struct uf_load_setup *s, const struct uf_plate *plate,
                  const struct uf_load *l, struct uf_error *err);

/* Same plate, kind, pieces and direction, and places within 1 mm. */
bool uf_load_same(const struct uf_load *a, const struct uf_load *b);
/* Same plate, kind, direction and place, whatever the mass. */
bool uf_load_same_place(const struct uf_load *a, const struct uf_load *b);

/* Greatest permissible error of OIML R 111 for a nominal mass (1, 2, 5, 10, 20, 50 kg) and class
 * "E2" "F1" "F2" "M1" "M2" "M3"; NAN where the table has none. */
double uf_weight_class_tolerance_kg(const char *class_name, double nominal_kg);

#endif
