/* SPDX-License-Identifier: MIT
 * From a capture to numbers: conditioning (calibrate, fill lost samples, zero-phase low-pass),
 * golfer-frame curves, events, and one value or one reason for each row of the metric table.
 * Pure: the same capture, rig, calibration and settings give the same bits, live or years later. */
#ifndef UF_SWING_ANALYSIS_H
#define UF_SWING_ANALYSIS_H

#include "plate/calibration.h"
#include "plate/rig.h"
#include "swing/capture.h"
#include "swing/feet.h"
#include "swing/metric.h"
#include "swing/uncertainty.h"

/* Grows whenever the same raw counts would give other numbers. Stored with each derivation. */
#define UF_ALGORITHM 3

struct uf_analysis_settings {
    double cutoff_hz; /* -3 dB of forward and backward passes together; default 50 */
    int order;        /* of one pass; default 2 (so 4 in all) */
    double cop_min_n; /* below it a COP does not exist; default 25 */
    double old_days;  /* a calibration is flagged as old after so long; default 365 */
};

#define UF_OLD_DAYS_DEFAULT 365.0
void uf_analysis_defaults(struct uf_analysis_settings *s);

/* Golfer frame, filtered, on the even time grid t = i / rate_hz from the capture's first sample.
 * NAN where not measurable. Lengths in mm of the rig frame turned into target-ward and toe-ward. */
struct uf_curves {
    size_t n;
    double rate_hz;
    double weight_n; /* NAN when not known */
    double *vertical_n[UF_FEET], *target_n[UF_FEET], *toe_n[UF_FEET], *tz_nm[UF_FEET];
    double *cop_target_mm[UF_FEET], *cop_toe_mm[UF_FEET];
    double *total_vertical_n, *total_target_n, *total_toe_n;
    double *net_target_mm, *net_toe_mm; /* net COP */
    double *turn_nm, *turn_from_toe_nm, *turn_from_target_nm, *turn_from_free_nm;
    double *trail_share_pct;
    double *memory; /* owns all arrays */
};
void uf_curves_free(struct uf_curves *c);

/* In the order of a swing. */
enum uf_event_kind {
    UF_EVENT_START, /* first movement */
    UF_EVENT_TOP,   /* transition: the club turns round */
    UF_EVENT_ARM,   /* lead arm level in the downswing */
    UF_EVENT_SHAFT, /* shaft level in the downswing */
    UF_EVENT_IMPACT,
    UF_EVENT_FINISH, /* the body has come to rest over the lead foot */
    UF_EVENT_END,    /* quiet standing again: end of the window */
    UF_EVENTS
};
enum uf_event_source { UF_SOURCE_NONE, UF_SOURCE_SENSOR, UF_SOURCE_MARK, UF_SOURCE_ESTIMATE };
struct uf_event {
    double t_s; /* from the capture's first sample; NAN when not known */
    double u_s; /* standard uncertainty */
    enum uf_event_source source;
};
const char *uf_event_name(enum uf_event_kind kind);
const char *uf_source_name(enum uf_event_source source);

/* What is wrong with a swing; each spoils the metrics that need what it breaks. */
#define UF_FLAG_LOST         0x0001u /* samples lost within the window (filled) */
#define UF_FLAG_GAP          0x0002u /* more than 20 ms missing at once */
#define UF_FLAG_SATURATED    0x0004u /* a channel at its rail, or the board said so */
#define UF_FLAG_EXCITATION   0x0008u
#define UF_FLAG_NO_QUIET     0x0010u /* no quiet standing before */
#define UF_FLAG_NOT_CLOSED   0x0020u /* momentum does not close: drift or gain */
#define UF_FLAG_NOMINAL      0x0040u /* data-sheet calibration */
#define UF_FLAG_ONE_PLATE    0x0080u
#define UF_FLAG_HAND         0x0100u /* the shape is of the other hand */
#define UF_FLAG_TWO_STRIKES  0x0200u
#define UF_FLAG_DEAD_CHANNEL 0x0400u  /* a channel did not change over the whole window */
#define UF_FLAG_FOOT_OFF     0x0800u  /* a foot at an outer edge: partly on the floor */
#define UF_FLAG_FOOT_ACROSS  0x1000u  /* a foot at the inner edge: partly on the other plate */
#define UF_FLAG_STANCE_MOVED 0x2000u  /* a foot is not where the rocking found it */
#define UF_FLAG_STEP         0x4000u  /* a foot was in the air between first movement and impact */
#define UF_FLAG_OLD          0x8000u  /* calibration older than settings.old_days */
#define UF_FLAG_NO_IMPACT    0x10000u /* neither sensed nor marked: estimated, if at all */
#define UF_FLAG_RATE         0x20000u /* samples come at another rate than the board promises */
#define UF_FLAG_OVERRUN      0x40000u /* the converter was too slow, says the board */
#define UF_FLAG_FOOT_LENGTH  0x80000u /* the length of the feet is a guess */
#define UF_FLAGS             20
/* Name of bit i ("lost samples", ...). */
const char *uf_flag_name(int bit);
/* True when a swing with that flag has no value for the metric, wherever in the window the trouble
 * was; the reason says which flag. (Lost samples and rails spoil by place besides.) */
bool uf_flag_spoils(int bit, enum uf_metric m);

/* What is known of a swing beside its raw counts. */
struct uf_mark {
    double t_s, u_s; /* t_s NAN: no mark */
};
struct uf_given {
    struct uf_mark mark[UF_EVENTS];    /* entered from video; they win over all else */
    struct uf_foot_pose foot[UF_FEET]; /* from rocking; not known: plate coordinates only */
    struct uf_system_u system;         /* used where system_known, else the defaults */
    bool system_known;
    double calibration_age_days; /* NAN: not known */
};
/* No marks, no feet, nothing known. */
void uf_given_nothing(struct uf_given *g);

struct uf_analysis {
    double value[UF_METRICS];          /* NAN when not measurable */
    double sd[UF_METRICS];             /* standard uncertainty of the value; NAN without a value,
                                          and for numbers about the signal itself */
    enum uf_reason reason[UF_METRICS]; /* why; UF_REASON_NONE when there is a value */
    struct uf_event event[UF_EVENTS];
    uint32_t flags;
    struct uf_analysis_settings settings; /* in force: the cut-off is at most 0.4 of the rate */
    struct uf_curves curves;
};

/* Fails only without memory, or when the capture does not fit the rig (channels). Free with
 * uf_analysis_free. */
int uf_analyse(const struct uf_capture *capture, const struct uf_rig *rig,
               const struct uf_calibration *cal, const struct uf_analysis_settings *settings,
               struct uf_analysis **out, struct uf_error *err);
/* The same, with what is given; NULL: nothing. */
int uf_analyse_given(const struct uf_capture *capture, const struct uf_rig *rig,
                     const struct uf_calibration *cal, const struct uf_analysis_settings *settings,
                     const struct uf_given *given, struct uf_analysis **out, struct uf_error *err);
void uf_analysis_free(struct uf_analysis *a);

#endif
