/* SPDX-License-Identifier: MIT
 * Inside src/store: rows of derivation and of what hangs on it (events, metrics, reasons). The
 * caller holds the transaction of what writes. */
#ifndef UF_STORE_DERIVATION_H
#define UF_STORE_DERIVATION_H

#include "store/database.h"
#include "store/swings.h"

/* What makes a derivation: equal keys must give equal bits. */
struct uf_derivation_key {
    int64_t swing_id;
    int64_t calibration_id; /* 0: data sheet */
    int algorithm;
    struct uf_analysis_settings settings;
    char basis[UF_BASIS_SIZE]; /* see uf_store_given */
};

/* Adds it as the swing's current one. */
int uf_derivation_add(struct uf_store *s, const struct uf_derivation_key *key,
                      const struct uf_derived *derived, int64_t made_utc_us, struct uf_error *err);

/* *id is 0 when there is none of this key. */
int uf_derivation_find(struct uf_store *s, const struct uf_derivation_key *key, int64_t *id,
                       bool *current, struct uf_error *err);
int uf_derivation_read(struct uf_store *s, int64_t id, struct uf_derived *out,
                       struct uf_error *err);
int uf_derivation_make_current(struct uf_store *s, int64_t swing_id, int64_t id,
                               struct uf_error *err);

/* Writes the metrics that stored lacks (see uf_derived.reason) from derived. */
int uf_derivation_fill(struct uf_store *s, int64_t id, const struct uf_derived *stored,
                       const struct uf_derived *derived, struct uf_error *err);

/* Compares to the bit, but for metrics that stored lacks: *younger says how many those are. */
bool uf_derived_same(const struct uf_derived *stored, const struct uf_derived *derived,
                     int *younger);

#endif
