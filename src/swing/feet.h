/* SPDX-License-Identifier: MIT
 * Where the feet stand, found from heel-toe rocking, and what that makes of a centre of pressure:
 * percent of the foot from heel to toes and from the outer to the inner edge, and a region in plain
 * anatomy. Golfer frame throughout: target-ward and toe-ward mm, as the curves of an analysis,
 * so a mirrored golfer gives the same bits. Pure. */
#ifndef UF_SWING_FEET_H
#define UF_SWING_FEET_H

#include "plate/rig.h"
#include "swing/capture.h"

#include <stdbool.h>
#include <stddef.h>

enum uf_foot { UF_LEAD, UF_TRAIL, UF_FEET };

/* ---- the line through a cloud of points ---- */

/* Total least squares: the line with the least sum of squared distances at right angles to it, and
 * so the first principal axis. angle_deg from the first coordinate towards the second, in
 * (-90, 90]. Points with a NAN are left out; n counts the others. NAN all where n < 2. */
struct uf_axis {
    size_t n;
    double mean[2];
    double angle_deg;
    double along_sd, across_sd; /* spread along the line and at right angles (divisor n - 1) */
};
void uf_axis_fit(const double *first, const double *second, size_t n, struct uf_axis *out);

/* Mean of directions that repeat every period_deg (360; 180 for lines), and their circular standard
 * deviation sqrt(-2 ln R), both in degrees (as scipy.stats.circmean, circstd). The mean lies in
 * (-period/2, period/2]. NAN where n is 0. */
void uf_circular(const double *deg, size_t n, double period_deg, double *mean_deg, double *sd_deg);

/* ---- a foot ---- */

/* Where the length of a foot comes from. */
enum uf_foot_length { UF_LENGTH_GIVEN, UF_LENGTH_OF_HEIGHT, UF_LENGTH_GUESS };

struct uf_foot_pose {
    bool known;
    double heel_target_mm, heel_forward_mm; /* back end of the heel: target-ward and toe-ward */
    double length_mm, width_mm;
    double toe_out_deg; /* of the long axis from straight ahead, outwards positive */
    double axis_u_deg;  /* standard uncertainties: of the axis, and of each end along it */
    double end_u_mm;
    double rest_along_pct, rest_across_pct; /* mean place of the COP in it while it was found */
    enum uf_foot_length length_from;
};

/* What one foot did on its plate: COP on even times, NAN where it did not exist. */
struct uf_foot_path {
    size_t n;
    double rate_hz;
    const double *target_mm, *forward_mm;
};

/* Standard uncertainties, as parts of the foot's length: of a foot length that was measured, and of
 * the middle of the COP's travel against the middle of the foot. Of the path's direction against
 * the foot's axis, in degrees. */
#define UF_FOOT_U_LENGTH   0.01
#define UF_FOOT_U_MIDDLE   0.012
#define UF_FOOT_U_AXIS_DEG 0.3

/* Lengths that are not known are NAN: then a length comes from the height, or else is that of a
 * grown-up, or more where the travel shows it, with the uncertainty that this has. */
struct uf_foot_person {
    double foot_length_mm, foot_width_mm;
    double height_m;
};

/* The plate under the foot, golfer frame. */
struct uf_foot_ground {
    double target_lo_mm, target_hi_mm, forward_lo_mm, forward_hi_mm;
};
/* The top of a plate without rotation, its bounding box otherwise. */
struct uf_foot_ground uf_foot_ground_of(const struct uf_plate *plate, enum uf_hand hand);

enum uf_foot_state {
    UF_FOOT_FOUND,
    UF_FOOT_SHORT,    /* fewer than 4 s, or too often without a COP */
    UF_FOOT_STILL,    /* too little travel: not rocked */
    UF_FOOT_CROOKED,  /* the path is no line: not rocked from heel to toe */
    UF_FOOT_SHUFFLED, /* the foot was somewhere else for a part of the time */
    UF_FOOT_ACROSS,   /* its outline reaches over the edge to the other plate */
    UF_FOOT_OFF,      /* its outline reaches over another edge: partly on the floor */
    UF_FOOT_STATES
};
/* "found", ... and a sentence for the person on the plates: what to do. */
const char *uf_foot_state_name(enum uf_foot_state s);
const char *uf_foot_state_text(enum uf_foot_state s);

/* Finds a foot from its rocking. out->known only with UF_FOOT_FOUND. */
enum uf_foot_state uf_foot_find(const struct uf_foot_path *path, enum uf_foot foot,
                                const struct uf_foot_person *who,
                                const struct uf_foot_ground *ground, struct uf_foot_pose *out);

/* A COP in the foot's own frame: 0 at the heel's end to 100 at the toes' end; 0 at the outer edge
 * to 100 at the inner edge. NAN where the foot is not known or the COP does not exist. */
void uf_foot_place(const struct uf_foot_pose *pose, enum uf_foot foot, double target_mm,
                   double forward_mm, double *along_pct, double *across_pct);

enum uf_region {
    UF_REGION_NONE, /* not known, or outside the foot */
    UF_REGION_HEEL,
    UF_REGION_ARCH,
    UF_REGION_BALL_INNER, /* first and second metatarsal heads */
    UF_REGION_BALL_MIDDLE,
    UF_REGION_BALL_OUTER, /* fourth and fifth */
    UF_REGION_TOES,
    UF_REGIONS
};
enum uf_region uf_foot_region(double along_pct, double across_pct);
const char *uf_region_name(enum uf_region r); /* "heel", "ball, inner", ...; "" for NONE */

/* ---- both feet ---- */

struct uf_stance_shape {
    double width_mm;     /* target-ward, between the middles of the feet */
    double toe_line_deg; /* line from the trail foot's toes to the lead foot's against the target
                            line; negative: the lead foot is set back (open) */
};
/* NAN all where a foot is not known. */
void uf_feet_stance(const struct uf_foot_pose pose[UF_FEET], struct uf_stance_shape *out);

/* True when a COP of quiet standing does not belong to the foot as it was found: the foot has moved
 * since. False where it cannot be told. */
bool uf_foot_moved(const struct uf_foot_pose *pose, enum uf_foot foot, double target_mm,
                   double forward_mm);

#endif
