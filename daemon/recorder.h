/* SPDX-License-Identifier: MIT
 * Keeps the board's byte stream in a file, unchanged: two blocks of memory in turn, one filled by
 * the loop, the other written by libuv's threads. A disk that is slow or full costs the recording
 * (counted, one log line a change), never the loop. Loop thread. */
#ifndef UF_DAEMON_RECORDER_H
#define UF_DAEMON_RECORDER_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <uv.h>

#define UF_RECORDER_BYTES_MAX (4u << 20) /* a block: 45 s of 24 channels at 1 kHz */

struct uf_recorder;

struct uf_recorder_status {
    uint64_t written; /* bytes */
    uint64_t lost;    /* bytes that found no room, or that the disk refused */
    bool failing;
    char problem[480];
};

/* Opens path for appending, made when missing; path must outlive the recorder. */
int uf_recorder_new(struct uf_recorder **out, uv_loop_t *loop, const char *path,
                    struct uf_error *err);
/* After stopped, or before anything was put. Run the loop once more. */
void uf_recorder_free(struct uf_recorder *r);

void uf_recorder_put(struct uf_recorder *r, const uint8_t *bytes, size_t n);
/* Writes on to a new file of that name: the old one was moved away (SIGHUP). */
void uf_recorder_reopen(struct uf_recorder *r);
/* Writes what there is, then calls stopped, from the loop. */
void uf_recorder_stop(struct uf_recorder *r, void (*stopped)(void *who), void *who);
void uf_recorder_status(const struct uf_recorder *r, struct uf_recorder_status *out);

#endif
