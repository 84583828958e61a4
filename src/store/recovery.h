/* SPDX-License-Identifier: MIT
 * What storing a swing that was found again must know: is it there already? */
#ifndef UF_STORE_RECOVERY_H
#define UF_STORE_RECOVERY_H

#include "store/store.h"

/* Id of the newest swing, 0 when there is none. */
int uf_store_swing_newest(struct uf_store *s, int64_t *id, struct uf_error *err);

/* The same swing (uf_capture_same) among those with a greater id than after_id, of the same board,
 * and not in taken. UF_ENOTFOUND when there is none. */
int uf_store_swing_find(struct uf_store *s, const struct uf_capture *capture, int64_t after_id,
                        const int64_t *taken, size_t n, int64_t *id, struct uf_error *err);

#endif
