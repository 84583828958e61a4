/* SPDX-License-Identifier: MIT
 * A simulated golfer on simulated plates. Everything here is invented: golfers, lessons, numbers.
 * Forces obey mechanics (see golfer.h); plates have true cell matrices, cross-talk, offsets, drift,
 * noise and quantisation (see hardware.h); bytes go out through the reference encoder and, on
 * demand, through a bad line (see faults.h). Pure: one seed, one lesson, to the bit. Programs pace
 * and write. */
#ifndef UF_SIM_SIM_H
#define UF_SIM_SIM_H

#include "plate/calibration.h"
#include "plate/rig.h"
#include "swing/capture.h"

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

/* Small seeded generator (xoshiro256** or the like), the only source of chance. */
struct uf_sim_rng {
    uint64_t s[4];
};
void uf_sim_rng_seed(struct uf_sim_rng *r, uint64_t seed);
uint64_t uf_sim_rng_u64(struct uf_sim_rng *r);
double uf_sim_rng_uniform(struct uf_sim_rng *r, double lo, double hi);
double uf_sim_rng_normal(struct uf_sim_rng *r, double mean, double sd);

enum uf_sim_style { UF_SIM_TURNER, UF_SIM_SLIDER, UF_SIM_JUMPER, UF_SIM_BACKFOOT, UF_SIM_STYLES };

struct uf_sim_golfer {
    uint64_t seed;
    double mass_kg;  /* 45..130 */
    double height_m; /* 1.45..2.05 */
    enum uf_hand hand;
    double skill; /* 0..1 */
    double speed; /* 0 (slow) .. 1 (very fast): tempo and peak forces */
    enum uf_sim_style style;
    double g_m_s2; /* 9.81 */
};
/* A plausible golfer of that seed, over all hands, masses, speeds and styles. */
void uf_sim_golfer_random(struct uf_sim_golfer *g, uint64_t seed);

/* What a person does on the plates, one after another. */
enum uf_sim_act {
    UF_SIM_EMPTY, /* nobody on */
    UF_SIM_WALK_ON,
    UF_SIM_STAND,   /* quiet standing, with the sway of a living body */
    UF_SIM_ADDRESS, /* settle over the ball, then still */
    UF_SIM_BALL,    /* full swing with a ball: strike bit at impact */
    UF_SIM_NO_BALL, /* full-speed swing without a ball: no strike bit */
    UF_SIM_WAGGLE,
    UF_SIM_HALF,   /* practice half turn */
    UF_SIM_ROCK,   /* heel-toe rocking */
    UF_SIM_SWAY,   /* side-to-side weight shift drill */
    UF_SIM_TEE_UP, /* bends, picks a ball up, tees it */
    UF_SIM_JUMP,
    UF_SIM_STEP_DRILL, /* lifts and sets down the lead foot, without a swing */
    UF_SIM_DROP_CLUB,  /* impact of a thing on a plate */
    UF_SIM_KICK,       /* kicked or bumped plate, with or without a person on it */
    UF_SIM_FIDGET,     /* shuffles the feet */
    UF_SIM_STEP_OFF,
    UF_SIM_ACTS
};
const char *uf_sim_act_name(enum uf_sim_act a);

struct uf_sim_step {
    enum uf_sim_act act;
    double duration_s; /* 0: what is natural for that act and golfer (with spread) */
};

struct uf_sim_settings {
    struct uf_sim_golfer golfer;
    struct uf_rig rig;
    double rate_hz;          /* of the samples; 1000 */
    int adc_bits;            /* 24 */
    double noise_n;          /* white noise of a cell axis, N rms; 0.15 */
    double drift_n_per_h;    /* drift of each cell axis, N an hour, 1 SD over cells; 1 */
    double gain_spread;      /* 1 SD of a cell's gain error against its data sheet; 0.01 */
    double crosstalk;        /* 1 SD of cell cross-talk; 0.01 */
    double clock_ppm;        /* of the board's clock; 0 */
    uint64_t seed;           /* of plates and noise */
    bool perfect;            /* no noise, offset, drift, gain error or cross-talk: only rounding */
    uint32_t clock_start_us; /* the board's clock at the first sample; 0 */
};
void uf_sim_defaults(struct uf_sim_settings *s);

/* One instant, before and after the plates. */
struct uf_sim_sample {
    double t_s;    /* true time from the lesson's start */
    uint32_t t_us; /* the board's clock */
    uint16_t seq;
    uint8_t inputs, status;
    int32_t counts_raw[UF_CHANNELS_MAX];
    /* truth, rig frame, per plate (0 left, 1 right) */
    double fx_n[2], fy_n[2], fz_n[2], cop_x_mm[2], cop_y_mm[2], tz_nm[2];
};

/* Truth of one act, complete once the lesson has passed its end. NAN where it does not apply. All
 * peaks are of the unfiltered, noise-free forces, found on a 10 kHz grid. Golfer frame. */
struct uf_sim_truth {
    enum uf_sim_act act;
    bool is_swing;
    double start_s, end_s; /* of the act */
    double first_move_s, top_s, lead_arm_level_s, shaft_level_s, impact_s, finish_s;
    double weight_n;
    double trail_share_address_pct, trail_share_max_pct, trail_share_min_pct;
    double total_vertical_peak_n, total_vertical_peak_s;
    double lead_vertical_peak_n, lead_vertical_peak_s;
    double trail_vertical_peak_n, trail_vertical_peak_s;
    double target_peak_n, target_peak_s;
    double lead_toe_min_n, lead_toe_min_s; /* heel-ward peak of the lead foot */
    double trail_toe_max_n, trail_toe_max_s;
    double turn_peak_nm, turn_peak_s;
    /* COP (golfer frame: target-ward, toe-ward mm) of lead, trail, net at the five peaks: total
     * vertical, lead vertical, trail vertical, target, turn */
    double cop_target_mm[5][3], cop_toe_mm[5][3];
    /* 0 with nobody on: the feet of lead, trail at the end of the act: middle, axis, size */
    double foot_target_mm[2], foot_toe_mm[2], toe_out_deg[2], foot_length_mm, foot_width_mm;
};

struct uf_sim;
int uf_sim_new(struct uf_sim **out, const struct uf_sim_settings *s,
               const struct uf_sim_step *steps, size_t n, struct uf_error *err);
void uf_sim_free(struct uf_sim *sim);

bool uf_sim_next(struct uf_sim *sim, struct uf_sim_sample *out); /* false: the lesson is over */
/* Forces only, without counts: faster, for the trigger's bench. Fills all but counts_raw. */
bool uf_sim_next_forces(struct uf_sim *sim, struct uf_sim_sample *out);

size_t uf_sim_truths(const struct uf_sim *sim); /* one a step */
const struct uf_sim_truth *uf_sim_truth(const struct uf_sim *sim, size_t i);
json_t *uf_sim_truth_json(const struct uf_sim_truth *t);

/* HELLO of the simulated board, and the calibration that would be right for its plates. */
void uf_sim_hello(const struct uf_sim *sim, struct uf_hello *out);
void uf_sim_true_calibration(const struct uf_sim *sim, struct uf_calibration *out);

/* A named lesson: "demo", "short", "confounders", ... fills steps (at most max), returns how many,
 * 0 when the name is unknown. */
size_t uf_sim_lesson(const char *name, struct uf_sim_step *steps, size_t max);

#endif
