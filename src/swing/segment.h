/* SPDX-License-Identifier: MIT
 * Finds swings in the stream of vertical forces: stillness and body weight, the trigger, and the
 * window around it. Works on body weights, so that it needs no setting for a child or a giant,
 * and on both hands at once, so that a wrong setting loses no swing. Pure; device time only. */
#ifndef UF_SWING_SEGMENT_H
#define UF_SWING_SEGMENT_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum uf_stance {
    UF_STANCE_EMPTY,
    UF_STANCE_ON,
    UF_STANCE_STILL,
    UF_STANCE_MOVING,
    UF_STANCE_SWING
};
const char *uf_stance_name(enum uf_stance s);

struct uf_segment_settings {
    double on_n;           /* total vertical force that means somebody is on (150) */
    double still_s;        /* length of quiet standing that gives the weight (0.5) */
    double still_pct;      /* greatest SD of the total, % of it, that is quiet (1.5) */
    double lead_rise_bw;   /* least rise of the lead foot's vertical force (0.45) */
    double lead_rate_bw_s; /* least rate of that rise (2) */
    double before_s;       /* window before the first movement (0.5) */
    double after_s;        /* window after the trigger, when it is not still sooner (1.5) */
    double longest_s;      /* greatest window before the trigger (6) */
};

/* What the segmenter is fed: one a sample. */
struct uf_segment_sample {
    int64_t t_dev_us;
    double left_n, right_n; /* vertical force of each plate, unfiltered; NAN where missing */
    bool discontinuity;     /* the stream broke before it: too long to bridge, or reboot */
};

struct uf_segment_result {
    int64_t start_dev_us, end_dev_us; /* window, both ends in it */
    int64_t trigger_dev_us;
    int64_t quiet_from_dev_us, quiet_to_dev_us; /* equal: no quiet standing before */
    bool left_is_lead; /* the shape's lead foot: left for a right-handed golfer */
    bool ended_still;
    double weight_n;
};

/* Why a candidate was not a swing: for counters and for the bench. */
enum uf_refusal {
    UF_REFUSE_NONE,
    UF_REFUSE_SMALL,        /* rise too small or too slow: waggle, half turn, sway */
    UF_REFUSE_NO_BACKSWING, /* the trail foot was not loaded before */
    UF_REFUSE_NOT_STOOD,    /* not both feet down before: stepping on, step drill */
    UF_REFUSE_FLIGHT,       /* both feet light at once: jump */
    UF_REFUSE_NO_TRANSFER,  /* both feet rise together: bounce, landing */
    UF_REFUSE_ONE_FOOT,     /* the trail foot leaves the ground: step, bend */
    UF_REFUSE_SHOCK,        /* much faster than a body can push: dropped club, kick */
    UF_REFUSE_CUT,          /* the stream broke within the window */
    UF_REFUSALS
};
const char *uf_refusal_name(enum uf_refusal r);

struct uf_segment;
int uf_segment_new(struct uf_segment **out, const struct uf_segment_settings *s, double rate_hz,
                   struct uf_error *err);
void uf_segment_free(struct uf_segment *g);

enum uf_segment_event { UF_SEG_NOTHING, UF_SEG_STANCE, UF_SEG_REFUSED, UF_SEG_SWING };

/* One sample in, at most one event out. SWING: *result is filled, and its whole window lies at or
 * before this sample. */
enum uf_segment_event uf_segment_feed(struct uf_segment *g, const struct uf_segment_sample *s,
                                      struct uf_segment_result *result);
enum uf_stance uf_segment_stance(const struct uf_segment *g);
double uf_segment_weight_n(const struct uf_segment *g); /* NAN when not known */
enum uf_refusal uf_segment_last_refusal(const struct uf_segment *g);
/* The stream ends: a swing whose window is long enough to judge is handed out now. */
enum uf_segment_event uf_segment_finish(struct uf_segment *g, struct uf_segment_result *result);

#endif
