/* SPDX-License-Identifier: MIT
 * Inside src/cli: what stands in the report of a lesson, gathered first (report_read.c), then
 * written (report_page.c, with the pictures of report_curves.c, report_feet.c, report_strip.c).
 * Sides: what was before and what came after; a lesson without a retest has one, one without swings
 * none. Swings that don't count are counted and shown, but in no mean. */
#ifndef UF_CLI_REPORT_H
#define UF_CLI_REPORT_H

#include "cli/cli.h"
#include "plate/tare.h"
#include "store/comparison.h"
#include "store/focus.h"
#include "store/swings.h"

/* ---- curves: every swing on one time, aligned at impact ---- */

#define UF_REPORT_STEP_S 0.005
#define UF_REPORT_FROM_S (-2.0)
#define UF_REPORT_TO_S   0.6
#define UF_REPORT_POINTS 521 /* of a curve */

enum uf_report_curve {
    UF_RC_LEAD_VERTICAL, /* BW */
    UF_RC_TRAIL_VERTICAL,
    UF_RC_LEAD_TARGET,
    UF_RC_TRAIL_TARGET,
    UF_RC_LEAD_TOE,
    UF_RC_TRAIL_TOE,
    UF_RC_TOTAL_VERTICAL, /* of one plate, or of both */
    UF_RC_TOTAL_TARGET,
    UF_RC_TOTAL_TOE,
    UF_RC_TURN,            /* N m */
    UF_RC_TRAIL_SHARE,     /* % */
    UF_RC_LEAD_COP_TARGET, /* mm */
    UF_RC_LEAD_COP_TOE,
    UF_RC_TRAIL_COP_TARGET,
    UF_RC_TRAIL_COP_TOE,
    UF_REPORT_CURVES
};

/* Where a foot's COP is marked. */
enum uf_report_moment { UF_RM_ADDRESS, UF_RM_TOP, UF_RM_IMPACT, UF_REPORT_MOMENTS };

struct uf_report_cop {
    double target_mm, toe_mm; /* golfer frame; NAN: not measured */
};

struct uf_report_swing {
    int64_t id, block_id; /* block 0: none */
    int side;             /* 0, 1; -1: of neither */
    bool excluded;
    bool derived; /* false: stored without numbers */
    struct uf_derived d;
    double weight_n;
    int64_t calibration_id;
    int64_t rate_hz;
    enum uf_hand hand;
    bool simulated;
    double club_speed_mps; /* NAN: none was given */
    /* of the swings of a side */
    bool aligned;  /* at impact (sensed, marked or estimated); else it has no curves */
    double *curve; /* [UF_REPORT_CURVES][UF_REPORT_POINTS]; NULL: none */
    struct uf_report_cop cop[UF_REPORT_MOMENTS][UF_FEET];
    struct uf_foot_pose foot[UF_FEET];
};

struct uf_report_side {
    struct uf_block block; /* id 0: the swings outside of blocks */
    size_t swings, excluded;
};

struct uf_report_calibration {
    int64_t id; /* 0: data sheet */
    char name[64];
    int64_t made_utc_us;
    double cop_u_mm; /* of loads that the fit had not seen, rms; NAN: not known */
};
#define UF_REPORT_CALIBRATIONS 3
#define UF_REPORT_BLOCKS       12

struct uf_report {
    int64_t session_id, started_utc_us, ended_utc_us; /* ended 0: open */
    char note[UF_NOTE_BYTES];
    bool has_player;
    struct uf_player player;
    struct uf_focus focus;
    struct uf_rig rig;
    int64_t rig_id;
    bool simulated; /* at least one swing is of a simulated board */

    struct uf_block block[UF_REPORT_BLOCKS]; /* of the session, in order */
    size_t block_swings[UF_REPORT_BLOCKS];   /* that count */
    size_t blocks, more_blocks;              /* shown; not shown */

    struct uf_report_swing *swing; /* in order; of the session, and of a baseline of another one */
    size_t swings, outside;        /* outside: of the session, in no block */
    int sides;
    struct uf_report_side side[2];
    struct uf_comparison *comparison; /* NULL with less than two sides */

    struct uf_report_calibration calibration[UF_REPORT_CALIBRATIONS];
    size_t calibrations, more_calibrations;
    char check[UF_PLATES_MAX][96]; /* last check of each plate before the lesson's end; "": none */
    double drift_n;                /* greatest of a plate within the session, by size; NAN */
};

/* baseline, retest: blocks, 0: as session_change takes them. Fails with a sentence. Free with
 * uf_report_free, also after a failure. */
int uf_report_read(struct uf_store *s, int64_t session, int64_t baseline, int64_t retest,
                   struct uf_report **out, struct uf_error *err);
void uf_report_free(struct uf_report *r);

/* Fills what a swing shows in pictures: curves from impact (none where impact is not known), COP at
 * its moments, feet. */
int uf_report_align(struct uf_report_swing *w, const struct uf_capture *capture,
                    const struct uf_analysis *analysis, const struct uf_given *given,
                    struct uf_error *err);

/* ---- numbers ---- */

/* Values of a metric over the swings of a side that count. */
void uf_report_spread(const struct uf_report *r, int side, enum uf_metric m, struct uf_spread *out);
/* The same of club speed. */
void uf_report_speed(const struct uf_report *r, int side, struct uf_spread *out);
/* Typical standard uncertainty of one value (rms over the swings of a side); NAN: not known. */
double uf_report_sd(const struct uf_report *r, int side, enum uf_metric m);
/* Its row of the comparison, or NULL. */
const struct uf_comparison_row *uf_report_row(const struct uf_report *r, const char *name);

/* Mean and SD of a curve over the swings of a side, UF_REPORT_POINTS each; NAN where fewer than one
 * (two) have it. n: how many swings have curves. */
size_t uf_report_mean(const struct uf_report *r, int side, enum uf_report_curve curve, double *mean,
                      double *sd);
/* Mean time of an event from impact, s; NAN: not known. */
double uf_report_event_s(const struct uf_report *r, int side, enum uf_event_kind kind);
/* Does the swing count on that side? */
bool uf_report_counts(const struct uf_report_swing *swing, int side);

/* ---- pictures, as <svg> ---- */

/* dense: in less height. */
int uf_report_curves(const struct uf_report *r, bool dense, FILE *out);
/* The feet of one side from above; both sides have the same scale. False: there was nothing. */
bool uf_report_feet(const struct uf_report *r, int side, FILE *out);
/* Swing by swing: a metric, or club speed with m < 0. */
void uf_report_strip(const struct uf_report *r, int m, FILE *out);

/* "Before", "After"; of a lesson with one side: "Lesson". */
const char *uf_report_side_name(const struct uf_report *r, int side);

/* A scale for an axis: step of 1, 2 or 5 times a power of ten, so that about n fit. */
double uf_report_step(double range, int n);
/* A number on it, with a true minus. */
void uf_report_tick(double v, int digits, FILE *out);

/* ---- the page ---- */

/* Short words of a metric for a teacher. */
const char *uf_report_words(const char *metric);
/* -1 without memory. */
int uf_report_write(const struct uf_report *r, FILE *out);
/* The sentences about one number. */
void uf_report_sentence(const struct uf_report *r, const struct uf_comparison_row *row, FILE *out);

#endif
