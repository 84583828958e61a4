/* SPDX-License-Identifier: MIT
 * Inside daemon/acquire*.c: what the loop's side of measuring knows, and what its two files call of
 * each other. */
#ifndef UF_DAEMON_ACQUIRE_INSIDE_H
#define UF_DAEMON_ACQUIRE_INSIDE_H

#include "daemon/acquire.h"
#include "daemon/gate.h"
#include "daemon/words.h"
#include "wire/clockmap.h"

#define UF_ACQUIRE_MARKS 21 /* ticks over which the rate is measured: 2 s */

struct uf_acquire_mark {
    int64_t mono_us;
    uint64_t samples;
};

struct uf_acquire {
    struct uf_acquire_config c;
    struct uf_link *link;
    struct uf_gate *gate;
    struct uf_pipeline *pipeline;
    struct uf_clockmap *clockmap;
    struct uf_calibration calibration;
    int64_t calibration_id;
    enum uf_hand hand;
    bool replay, paused;

    enum uf_acquire_state state;
    char text[480];
    struct uf_words_said said; /* since samples came */
    char pipe_error[480];      /* the last one that was logged */
    char refused_why[480];     /* the last board that was */
    bool text_stands; /* it says what is wrong with what comes: opening again does not mend that */

    int64_t newest_dev_us; /* -1: none yet */
    int64_t opened_mono_us, sample_mono_us, note_mono_us, lone_mono_us;
    uint64_t bytes_since_open, reboots, strange_hellos;
    bool clock_fed;
    struct uf_spool_state spooled; /* what the spool knows of the chain */
    int64_t past_dev_us; /* up to here an earlier run may have stored; -1: there was none */
    int64_t clear_mono_us;
    bool clear_due;
    int64_t tare_mono_us; /* when the zero was taken, by the monotonic clock */
    bool has_tare;
    double drift_n[UF_PLATES_MAX], total_drift_n[UF_PLATES_MAX];
    bool zero_missed; /* it was said that there is none yet */
    int64_t first_dev_us;
    int64_t hello_mono_us; /* since then .. */
    int hellos;            /* .. so many changed HELLOs */

    struct uf_job *spare; /* for a swing that there is no memory for */

    struct uf_acquire_mark marks[UF_ACQUIRE_MARKS];
    int next_mark;
    struct uf_feet_state feet;
    uint64_t chain; /* upper half of each stand */
    uint64_t swings, strikes, lone_strikes, notes_hushed, link_losses, boards_refused,
        unknown_bytes;
};

/* What people are told: a row of link_event; the state with its sentence, in the log once; the
 * port; the board and what it sends. */
void uf_acquire_note_event(struct uf_acquire *a, const char *event, const char *text);
void uf_acquire_set_state(struct uf_acquire *a, enum uf_acquire_state state, const char *text);
const char *uf_acquire_device(const struct uf_acquire *a);
void uf_acquire_board_text(const struct uf_acquire *a, char *text, size_t size);
/* Of the board's clock against the host's; NAN: not known. */
double uf_acquire_drift_ppm(const struct uf_acquire *a);
/* Not ours: let go of it, and look again now and then. */
void uf_acquire_refuse(struct uf_acquire *a, const char *why);
/* What the spool is told: what the chain knows; now and then that all that was found is stored. */
void uf_acquire_spool_state(struct uf_acquire *a, enum uf_spool_kind kind);
void uf_acquire_tell_spool(struct uf_acquire *a, int64_t now_us);
/* One event of the measuring chain; what belongs to the receiver is taken. */
void uf_acquire_take(struct uf_acquire *a, struct uf_pipeline_event *event,
                     const struct uf_error *err);

#endif
