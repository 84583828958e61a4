/* SPDX-License-Identifier: MIT
 * Rocking in the database: raw counts like a swing's, and the feet found from them. Feet are
 * derived: settling finds them again, for whatever calibration and player there are now. */
#ifndef UF_STORE_FEET_H
#define UF_STORE_FEET_H

#include "store/store.h"
#include "swing/rocking.h"

struct uf_rocking_meta {
    int64_t rig_id;
    int64_t session_id; /* 0: the one that was open then; made where there was none */
    int64_t hit_utc_us; /* for that; 0: when it is stored */
    int64_t at_utc_us;  /* 0: not known */
};
/* One transaction. The same rocking (board, first sample, counts) is found again instead. */
int uf_store_rocking_add(struct uf_store *s, const struct uf_rocking_meta *meta,
                         const struct uf_capture *capture, int64_t made_utc_us, int64_t *id,
                         struct uf_error *err);

/* The lengths of a session's player; not known: NAN all. */
int uf_store_foot_person(struct uf_store *s, int64_t session_id, struct uf_foot_person *out,
                         struct uf_error *err);

/* Finds the feet of a stored rocking for a golfer of that hand, with the lengths of its session's
 * player, and makes them the current ones. Nothing is written where nothing has changed. out may
 * be NULL. */
int uf_store_feet_settle(struct uf_store *s, int64_t rocking_id, enum uf_hand hand,
                         const struct uf_rig *rig, const struct uf_calibration *cal,
                         int64_t calibration_id, int64_t made_utc_us, struct uf_feet *out,
                         struct uf_error *err);

/* The current feet; row_id[UF_FEET] (may be NULL) are their rows, 0 where there is none: then the
 * pose is not known. */
int uf_store_feet(struct uf_store *s, int64_t rocking_id, enum uf_hand hand, struct uf_feet *out,
                  int64_t *row_id, struct uf_error *err);

#endif
