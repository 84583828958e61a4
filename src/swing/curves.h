/* SPDX-License-Identifier: MIT
 * Inside src/swing: from conditioned wrenches on the even grid to golfer-frame curves, and the same
 * with one thing changed, which is how uncertainties are found. Pure. */
#ifndef UF_SWING_CURVES_H
#define UF_SWING_CURVES_H

#include "plate/wrench.h"
#include "swing/analysis.h"

/* What curves are made of. grid: six arrays of n, one after another, for each plate. */
struct uf_scene {
    struct uf_rig rig;
    enum uf_hand hand;
    double cop_min_n;
    size_t n;
    double rate_hz;
    const double *grid[UF_PLATES_MAX];
    bool quiet_known;
    struct uf_wrench quiet[UF_PLATES_MAX]; /* of the quiet stretch before the swing */
};

/* One change of the wrenches under one foot (of a one-plate rig: the lead foot's):
 * row += gain * column + add; or by a whole matrix; or noise under both. */
struct uf_nudge {
    int foot;                             /* -1: of none; UF_FEET: noise */
    const double (*error)[UF_COMPONENTS]; /* w += error w, instead of gain and add; or NULL */
    int row, column;
    double gain, add;
    /* unit noise, low-passed; component k of a foot reads it from [(6 foot + k) * stride] on */
    const double *noise;
    size_t stride;
    const double (*noise_sd)[UF_COMPONENTS]; /* [foot][component] */
};
/* -1 where a change of that component must be turned round for a right-handed golfer. */
double uf_mirror_sign(enum uf_hand hand, int component);
/* Index of the plate under a foot, of a rig with two. */
int uf_plate_under(enum uf_hand hand, int foot);

/* Arrays of n points; free with uf_curves_free. */
int uf_curves_new(struct uf_curves *c, size_t n, double rate_hz, struct uf_error *err);
/* Points from..to - 1. nudge may be NULL. */
void uf_curves_fill(struct uf_curves *c, const struct uf_scene *scene, const struct uf_nudge *nudge,
                    size_t from, size_t to);

/* The two halves of it, of a rig with two plates: the curves of a foot alone, and from those of
 * both feet all the others. */
void uf_curves_foot(struct uf_curves *c, const struct uf_scene *scene, const struct uf_nudge *nudge,
                    int foot, size_t from, size_t to);
void uf_curves_both(struct uf_curves *c, const struct uf_scene *scene, size_t from, size_t to);
/* The curves of a foot alone from others of the same length. */
void uf_curves_copy_foot(struct uf_curves *c, const struct uf_curves *from_curves, int foot,
                         size_t from, size_t to);

/* Quiet standing: vertical force of each foot and of both, COP of each foot in the golfer frame;
 * NAN what is not known. */
struct uf_quiet {
    double weight_n, vertical_n[UF_FEET], cop_target_mm[UF_FEET], cop_toe_mm[UF_FEET];
};
void uf_quiet_of(const struct uf_scene *scene, const struct uf_nudge *nudge, struct uf_quiet *out);

#endif
