/* SPDX-License-Identifier: MIT
 * The walk through a session: which load is next, what to say, what a still stretch was: an empty
 * plate, the load that was asked for, or something else. Driven by the signal alone, hands free:
 * the same for a live board and a recording. Fills the session's JSON. Pure; device time only. */
#ifndef UF_CALIB_PROCEDURE_H
#define UF_CALIB_PROCEDURE_H

#include "calib/document.h"
#include "calib/still.h"

struct uf_procedure_settings {
    struct uf_still_settings still;
    double drift_s;     /* zero is watched for so long before the first load; 0: not */
    double drift_n_min; /* and must move less than that in a minute (0.5) */
    double empty_n;     /* a plate within that of its last zero is empty (15) */
    double patience_s;  /* a load that was not asked for is taken when it stays so long (20) */
};
void uf_procedure_defaults(struct uf_procedure_settings *s);

struct uf_procedure_owner {
    void *who;
    void (*say)(void *who, const char *sentence);
    /* The JSON has changed: keep it. Error ends the procedure. */
    int (*keep)(void *who, struct uf_error *err);
    int64_t (*utc_us)(void *who); /* label of a captured load; 0: not known */
};

struct uf_procedure;
/* d must outlive it; its json is filled in. Begins at the first load that is neither captured nor
 * skipped. */
int uf_procedure_new(struct uf_procedure **out, const struct uf_rig *rig, struct uf_document *d,
                     const struct uf_procedure_settings *s, const struct uf_procedure_owner *owner,
                     struct uf_error *err);
void uf_procedure_free(struct uf_procedure *p);

/* Says the first thing to do. */
void uf_procedure_begin(struct uf_procedure *p);
/* 0, or the error of keep. */
int uf_procedure_feed(struct uf_procedure *p, const struct uf_frame *f, struct uf_error *err);
bool uf_procedure_done(const struct uf_procedure *p);
int uf_procedure_captured(const struct uf_procedure *p); /* in this run */
int uf_procedure_open(const struct uf_procedure *p);     /* loads that are still to be captured */

#endif
