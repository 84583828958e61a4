/* SPDX-License-Identifier: MIT
 * Inside underfoot-calib: a solved session, plate by plate, and the ways to show it: text, JSON of
 * where it came from, HTML. */
#ifndef UF_CALIB_SESSION_H
#define UF_CALIB_SESSION_H

#include "calib/document.h"
#include "calib/quality.h"
#include "calib/suspect.h"

#include <stdio.h>

#define UF_MAP_CELLS 5 /* of the maps over a plate, each way */
#define UF_MAP_N     400.0

struct uf_solved_plate {
    bool solved; /* false: the session has no captured load on it */
    struct uf_fit *fit;
    double other_score; /* of the model that was not taken; NAN: not tried */
    struct uf_findings findings;
    struct uf_quality quality;
    double creep_pct; /* the greatest, from 30 s to 300 s after loading; NAN: not watched */
    /* 95 % (2 standard uncertainties) at UF_MAP_N, over the inner 80 %; NAN: not known */
    double cop_mm[UF_MAP_CELLS][UF_MAP_CELLS]; /* [y][x], y growing */
    double vertical_pct[UF_MAP_CELLS][UF_MAP_CELLS];
};

struct uf_session {
    const struct uf_rig *rig;
    const struct uf_document *document;
    struct uf_reading *reading; /* captured ones */
    int *number, readings;      /* number[i]: of reading i in the file, from 0 */
    struct uf_solved_plate plate[UF_PLATES_MAX];
};

/* Error: no captured load at all, or a plate whose loads allow no fit. */
int uf_session_solve(struct uf_session *s, const struct uf_rig *rig, const struct uf_document *d,
                     struct uf_error *err);
void uf_session_free(struct uf_session *s);

bool uf_session_grave(const struct uf_session *s);

/* Plates that were not solved are taken from base. */
void uf_session_calibration(const struct uf_session *s, const struct uf_calibration *base,
                            struct uf_calibration *out);

void uf_session_print(const struct uf_session *s, FILE *out);

/* How it was found: the session file, the fit, residuals, quality, errors of the matrix. New
 * reference, NULL without memory. base_name: whose matrices stand for plates that were not
 * solved; base_provenance (may be NULL): where that one came from, which says how wrong they may
 * be.
 */
json_t *uf_session_provenance(const struct uf_session *s, const char *base_name,
                              const json_t *base_provenance, int64_t made_utc_us);

/* One self-contained HTML page. */
int uf_session_report(const struct uf_session *s, const char *path, struct uf_error *err);

/* Centre of a map's cell in mm. */
void uf_session_map_place(const struct uf_plate *plate, int ix, int iy, double *x_mm, double *y_mm);

#endif
