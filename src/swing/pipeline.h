/* SPDX-License-Identifier: MIT
 * The whole pure chain in one object: bytes of the line in; live samples, captured swings, zeros
 * and notes out. The daemon, the replay, the benches and the tests all run this one, so live and
 * replay give the same bits. No clock, file or loop. */
#ifndef UF_SWING_PIPELINE_H
#define UF_SWING_PIPELINE_H

#include "plate/monitor.h"
#include "plate/tare.h"
#include "plate/wrench.h"
#include "swing/capture.h"
#include "swing/rocking.h"
#include "swing/segment.h"
#include "wire/wire.h"

struct uf_pipeline_settings {
    enum uf_wire_form form;
    enum uf_hand hand;
    double live_cutoff_hz; /* causal low-pass of live values, order 2 (20) */
    struct uf_tare_settings tare;
    struct uf_segment_settings segment;
};

enum uf_pipeline_kind {
    UF_PIPE_NONE,        /* the bytes are used up */
    UF_PIPE_HELLO,       /* the board said who it is (first time, or changed) */
    UF_PIPE_SAMPLE,      /* live values are fresh: uf_pipeline_live */
    UF_PIPE_SWING,       /* capture: the receiver owns it */
    UF_PIPE_TARE,        /* a new zero */
    UF_PIPE_STANCE,      /* the state of the person changed */
    UF_PIPE_REFUSED,     /* something that looked like a swing was refused */
    UF_PIPE_STRIKE,      /* the strike sensor went up */
    UF_PIPE_LONE_STRIKE, /* it went up at lone_dev_us, and no swing came of it */
    UF_PIPE_ROCKING,     /* somebody has rocked from heels to toes: capture, of the receiver */
    UF_PIPE_NOTE,
    UF_PIPE_PLATE, /* a plate has become suspect, or well again: uf_pipeline_monitor */
    UF_PIPE_ERROR  /* err of uf_pipeline_feed says what: board does not fit the rig, it sends at
                      another rate than it promises, its clock stands or goes in steps, no memory;
                      the pipeline goes  on */
};

struct uf_pipeline_event {
    enum uf_pipeline_kind kind;
    int64_t t_dev_us;
    struct uf_hello hello;
    struct uf_capture *capture;
    struct uf_tare_event tare;
    enum uf_stance stance;
    enum uf_refusal refusal;
    unsigned plates; /* PLATE: which, a bit each */
    /* SWING, ROCKING: number of the time on the plates, from stepping on to stepping off, in which
     * it was. Feet found in one hold for the swings of the same. */
    uint32_t stand;
    bool asked;          /* ROCKING: as uf_rocking_stretch */
    int64_t lone_dev_us; /* LONE_STRIKE */
    char note[UF_NOTE_BYTES_MAX + 1];
};

/* Causally filtered, golfer-independent (rig frame). */
struct uf_live {
    int64_t t_dev_us;
    int plates;
    struct uf_ground ground[UF_PLATES_MAX];
    struct uf_both both;
    double weight_n; /* NAN when not known */
    enum uf_stance stance;
    bool tared;
    uint8_t inputs, status;
};

struct uf_pipeline;
int uf_pipeline_new(struct uf_pipeline **out, const struct uf_pipeline_settings *s,
                    const struct uf_rig *rig, const struct uf_calibration *cal,
                    const double *initial_tare_raw, struct uf_error *err);
void uf_pipeline_free(struct uf_pipeline *p);

/* As uf_wire_feed: takes bytes until one event, returns how many were taken. Several events may
 * come from the same byte: a call may take 0 bytes and still give an event; loop until n is used
 * up and the kind is NONE. */
size_t uf_pipeline_feed(struct uf_pipeline *p, const uint8_t *bytes, size_t n,
                        struct uf_pipeline_event *out, struct uf_error *err);
/* End of the stream: at most one more swing; call until NONE. */
void uf_pipeline_finish(struct uf_pipeline *p, struct uf_pipeline_event *out, struct uf_error *err);

void uf_pipeline_line_cut(struct uf_pipeline *p);
void uf_pipeline_request_tare(struct uf_pipeline *p);
void uf_pipeline_set_hand(struct uf_pipeline *p, enum uf_hand hand);
/* A ROCKING event comes within UF_ROCKING_ASKED_S of samples, whatever is done in them. */
void uf_pipeline_ask_feet(struct uf_pipeline *p);
bool uf_pipeline_feet_asked(const struct uf_pipeline *p);
/* Number of the present time on the plates: what SWING and ROCKING say now. */
uint32_t uf_pipeline_stand(const struct uf_pipeline *p);
/* Takes effect with the next sample. */
void uf_pipeline_set_calibration(struct uf_pipeline *p, const struct uf_calibration *cal);
/* What no load can make, to be watched from the next sample on (uf_monitor_start). */
void uf_pipeline_watch(struct uf_pipeline *p, const struct uf_leftover *leftover,
                       const bool *known);
const struct uf_monitor *uf_pipeline_monitor(const struct uf_pipeline *p);

/* Made from the filters at the call: cheap enough for 60 a second, not for each sample. */
const struct uf_live *uf_pipeline_live(struct uf_pipeline *p);
const struct uf_wire_counts *uf_pipeline_counts(const struct uf_pipeline *p);
const struct uf_hello *uf_pipeline_hello(const struct uf_pipeline *p); /* NULL before the first */

/* Samples that say something against themselves: the board's status bits, mapped channels at their
 * rail (status bit or not), and times that many of them share. */
struct uf_pipeline_doubts {
    uint64_t overrun, excitation, rail;
    double
        clock_step_ms; /* the board's clock goes in steps of more than a sample; 0: it does not */
};
const struct uf_pipeline_doubts *uf_pipeline_doubts(const struct uf_pipeline *p);

uint64_t uf_pipeline_refused(const struct uf_pipeline *p, enum uf_refusal r);

#endif
