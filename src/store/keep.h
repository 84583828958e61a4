/* SPDX-License-Identifier: MIT
 * Keeping and forgetting: a verified copy of the database, and the erasure of a player. */
#ifndef UF_STORE_KEEP_H
#define UF_STORE_KEEP_H

#include "store/players.h"

/* A copy at path, made while others read and write (SQLite's online backup), checked with
 * integrity_check and foreign_key_check, mode 0600, complete or not there. Never overwrites:
 * UF_ESTATE when path exists. *swings: how many it has. */
int uf_backup(struct uf_store *s, const char *path, int64_t *swings, struct uf_error *err);

struct uf_erased {
    int64_t sessions, blocks, swings, extras;
    int64_t bytes_before, bytes_after; /* of the database's file */
};
/* What there is to erase. */
int uf_erase_count(struct uf_store *s, int64_t player_id, struct uf_erased *out,
                   struct uf_error *err);
/* Erases the player, his sessions and all that hangs on them: rows overwritten (secure_delete), the
 * file packed (VACUUM), the write-ahead log emptied. UF_EBUSY when the rows are gone, but another
 * program still holds the log: the sentence says what is left to do. */
int uf_erase(struct uf_store *s, int64_t player_id, struct uf_erased *out, struct uf_error *err);

#endif
