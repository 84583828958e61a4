/* SPDX-License-Identifier: MIT
 * Is the board at the other end ours? After each opening of the line the bytes are held back until
 * a HELLO has said who sends them; then they go on, all of them, and so does the rest of the line
 * as it comes. So another device's bytes reach neither the measuring chain nor a recording.
 * Pure; no clock. */
#ifndef UF_DAEMON_GATE_H
#define UF_DAEMON_GATE_H

#include "config/config.h"

/* A HELLO comes once a second; 2 kHz of 24 channels in text form is 0.3 MB a second. */
#define UF_GATE_BYTES_MAX (1u << 20)
#define UF_GATE_FEED_MAX  65536 /* bytes at once */

struct uf_gate;

enum uf_gate_verdict {
    UF_GATE_HOLD,    /* no HELLO yet: the bytes are kept */
    UF_GATE_PASS,    /* *bytes, *n go on */
    UF_GATE_UNKNOWN, /* so many bytes and no HELLO: *bytes, *n are given up, nobody's */
    UF_GATE_REFUSE   /* not ours: err says why; what was held is gone */
};

/* board_id: 16 hex digits, or "" for any. rig may be NULL: any number of channels. */
int uf_gate_new(struct uf_gate **out, enum uf_wire_form form, const char *board_id,
                const struct uf_rig *rig, struct uf_error *err);
void uf_gate_free(struct uf_gate *g);

/* The line was opened (again): hold until the next HELLO. */
void uf_gate_shut(struct uf_gate *g);
/* In: what was read, at most UF_GATE_FEED_MAX. Out, with PASS and UNKNOWN: what goes on, valid
 * until the next call; it begins with what was held. */
enum uf_gate_verdict uf_gate_feed(struct uf_gate *g, const uint8_t **bytes, size_t *n,
                                  struct uf_error *err);
/* UF_OK, or why this board is not ours (UF_EINVAL). */
int uf_gate_check(const struct uf_gate *g, const struct uf_hello *h, struct uf_error *err);
bool uf_gate_is_open(const struct uf_gate *g);

#endif
