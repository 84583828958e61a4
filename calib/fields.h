/* SPDX-License-Identifier: MIT
 * Inside calib: fields of JSON objects, read by tables, and the parts of uf_document. Every
 * sentence begins with the place it is about. */
#ifndef UF_CALIB_FIELDS_H
#define UF_CALIB_FIELDS_H

#include "calib/document.h"

#include <stddef.h>

struct uf_field {
    const char *key;
    size_t offset; /* of a double */
    double min, max;
    double initial; /* NAN: must be given */
};

#define UF_ROWS(table) (sizeof(table) / sizeof(table)[0])

/* What is being read, for the sentences. */
struct uf_field_place {
    char text[160];
};

int uf_field_number(const json_t *object, const char *key, double min, double max, double initial,
                    double *out, const struct uf_field_place *at, struct uf_error *err);
int uf_field_numbers(const json_t *object, const struct uf_field *table, size_t rows, void *base,
                     const struct uf_field_place *at, struct uf_error *err);
/* Keys that mean nothing are refused: a misspelt tolerance would be a default without a word. keys:
 * those that mean something, with blanks between. */
int uf_field_keys(const json_t *object, const char *keys, const struct uf_field_place *at,
                  struct uf_error *err);

/* Tolerances that a load may have of its own. */
struct uf_tolerances {
    double place_mm, height_mm, towards_deg, angle_deg;
};
int uf_field_tolerances(const json_t *object, const struct uf_tolerances *usual,
                        struct uf_tolerances *out, const struct uf_field_place *at,
                        struct uf_error *err);

/* Load i of the file into d->reading[i], captured[i], skipped[i]. */
int uf_document_read_load(struct uf_document *d, int i, const json_t *json,
                          const struct uf_rig *rig, const struct uf_tolerances *usual,
                          const char *path, struct uf_error *err);

/* Once all loads are read: adds to each the uncertainty of where its zero was while it was loaded.
 * A drift of d between the zeros before and after leaves d / sqrt 12; d is that of the load or the
 * session's rms, whichever is more: a zero that came back by chance says nothing. */
void uf_document_drift(struct uf_document *d);

#endif
