/* SPDX-License-Identifier: MIT
 * The file of a calibration session (JSON): weights, tolerances, the loads in their order, and what
 * the channels said for those that were captured. `plan` makes one without counts, `run` fills
 * it in, `solve` reads it; by hand it can be written as well. calib/loads-file.md explains it. */
#ifndef UF_CALIB_DOCUMENT_H
#define UF_CALIB_DOCUMENT_H

#include "calib/fit.h"

#include <jansson.h>

#define UF_LOADS_FORM "underfoot-loads 1"

struct uf_document {
    json_t *json; /* the file as it stands; owned */
    char name[64];
    struct uf_load_setup setup;
    struct uf_fit_settings fit;
    int adc_bits;
    int64_t made_utc_us;        /* 0: not given */
    int n;                      /* all loads of the file */
    struct uf_reading *reading; /* [n] */
    bool *captured;             /* [n] has counts, and is not skipped */
    bool *skipped;              /* [n] the file says why */
};

/* From a file, or from JSON that is then owned by the document (path stands in the sentences).
 * Error: the sentence names the file, the load by its number from 1, and the field. */
int uf_document_read(struct uf_document *d, const char *path, const struct uf_rig *rig,
                     struct uf_error *err);
int uf_document_from_json(struct uf_document *d, json_t *json, const char *path,
                          const struct uf_rig *rig, struct uf_error *err);
void uf_document_free(struct uf_document *d);

/* The field "gravity". */
int uf_document_gravity(const json_t *json, const char *path, struct uf_gravity *out,
                        struct uf_error *err);

/* Written beside the file and moved over it: an interrupted write leaves the old one. */
int uf_document_write(const json_t *json, const char *path, struct uf_error *err);

/* One load as the file has it, without counts. New reference, NULL without memory. */
json_t *uf_document_load(const struct uf_rig *rig, const struct uf_load_setup *setup,
                         const struct uf_load *load, enum uf_series series);

/* The captured loads, packed: reading[i] is load number[i] of the file (from 0). Both are to be
 * freed. */
int uf_document_captured(const struct uf_document *d, struct uf_reading **reading, int **number,
                         int *n, struct uf_error *err);

/* Points of a load that was watched: seconds since it lay still, mean counts. n 0: it was not. */
#define UF_CREEP_MAX 400
int uf_document_creep(const struct uf_document *d, const struct uf_rig *rig, int number,
                      double *t_s, double (*raw)[UF_CHANNELS_MAX], int room, int *n,
                      struct uf_error *err);

/* "load 7 (left plate, 40 kg at 120, -200 mm)" */
void uf_document_name_load(const struct uf_document *d, const struct uf_rig *rig, int number,
                           char *text, size_t size);

#endif
