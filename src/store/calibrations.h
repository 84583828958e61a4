/* SPDX-License-Identifier: MIT
 * Reading calibrations and rigs of the database; adding and activating are in store.h. */
#ifndef UF_STORE_CALIBRATIONS_H
#define UF_STORE_CALIBRATIONS_H

#include "store/store.h"

struct uf_calibration_info {
    int64_t id, rig_id, made_utc_us;
    int64_t derivations; /* analyses of swings that rest on it */
    char uuid[37], name[64];
    bool nominal, active;
};

/* All of one rig (0: of every rig), oldest first. *out is to be freed; NULL when there is none. */
int uf_store_calibration_list(struct uf_store *s, int64_t rig_id, struct uf_calibration_info **out,
                              size_t *n, struct uf_error *err);

/* id 0: the data-sheet one of the rig. UF_ENOTFOUND; UF_ECORRUPT when it does not fit the rig. */
int uf_store_calibration_get(struct uf_store *s, int64_t id, const struct uf_rig *rig,
                             struct uf_calibration *out, struct uf_error *err);

/* How it was found, as it was added. New reference; json_null when there is nothing. */
int uf_store_calibration_provenance(struct uf_store *s, int64_t id, json_t **out,
                                    struct uf_error *err);

int uf_store_rig_get(struct uf_store *s, int64_t rig_id, struct uf_rig *out, struct uf_error *err);

#endif
