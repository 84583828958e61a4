/* SPDX-License-Identifier: MIT
 * Keeps the last hours of the byte stream on the disk, so that a swing that a crash, a power cut or
 * a full disk kept from being stored is found by the next start (recover.h). The loop appends to a
 * block in memory; a thread of the spool's own writes it at once. Segments are allocated before
 * they are used and used again in a ring, so a disk that fills up does not stop it. What the disk
 * refuses is lost from the spool only, counted, said once. Every 2 s libuv's threads sync it: a
 * power cut costs so much, kill -9 nothing that was read some milliseconds before. */
#ifndef UF_DAEMON_SPOOL_H
#define UF_DAEMON_SPOOL_H

#include "daemon/spool_format.h"

#include <uv.h>

#define UF_SPOOL_BLOCK_BYTES (4u << 20) /* in memory: 45 s of 24 channels at 1 kHz */

struct uf_spool;

struct uf_spool_config {
    uv_loop_t *loop;
    const char *folder; /* made when missing; outlives the spool */
    double hours;
    int mb;
};

struct uf_spool_status {
    uint64_t written; /* bytes, by this run */
    uint64_t lost;    /* bytes that found no room, or that the disk refused */
    int segments;
    bool failing;
    char problem[480];
};

/* Takes the folder (UF_EBUSY: another daemon has it). Changes nothing in it yet, so that what is
 * there can be read. A file system that is read-only or full is no failure: the status says so, and
 * it is tried again. */
int uf_spool_new(struct uf_spool **out, const struct uf_spool_config *config, struct uf_error *err);
/* Starts the thread; before, what is put waits in memory. */
int uf_spool_start(struct uf_spool *s, struct uf_error *err);
/* After stopped, or where the loop never ran. Run the loop once more. */
void uf_spool_free(struct uf_spool *s);

/* Loop thread. n: at most UF_SPOOL_PIECE_MAX, more is split. */
void uf_spool_bytes(struct uf_spool *s, const uint8_t *bytes, size_t n);
void uf_spool_mark(struct uf_spool *s, enum uf_spool_kind kind); /* CUT, ZERO, END */
/* kind: START or STATE. */
void uf_spool_state(struct uf_spool *s, enum uf_spool_kind kind, const struct uf_spool_state *st);
/* All swings found so far are stored; stored_id: the newest one in the database. */
void uf_spool_clear(struct uf_spool *s, int64_t stored_id);

/* Writes what there is and syncs it, then calls stopped, from the loop. */
void uf_spool_stop(struct uf_spool *s, void (*stopped)(void *who), void *who);
void uf_spool_status(struct uf_spool *s, struct uf_spool_status *out);

#endif
