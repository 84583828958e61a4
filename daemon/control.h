/* SPDX-License-Identifier: MIT
 * The control socket: a Unix socket on which other programs of this machine ask the daemon one
 * JSON object a line and get one a line. Owns the socket and its clients. Loop thread. */
#ifndef UF_DAEMON_CONTROL_H
#define UF_DAEMON_CONTROL_H

#include "base/error.h"

#include <jansson.h>
#include <stdint.h>
#include <uv.h>

#define UF_CONTROL_CLIENTS_MAX 16
#define UF_CONTROL_IDLE_MS     5000   /* silent for so long: makes room when all places are taken */
#define UF_CONTROL_LINE_MAX    4096   /* bytes of a question */
#define UF_CONTROL_UNREAD_MAX  262144 /* bytes of answers that a client may leave unread */

/* The answer to a question: a new reference, NULL without memory. */
typedef json_t *(*uf_control_answer)(void *who, const json_t *question);

struct uf_control_counts {
    uint64_t questions, bad_questions;
    uint64_t turned_away; /* clients beyond the limit */
    uint64_t made_room;   /* silent ones that were closed for another */
    uint64_t cut_off;     /* clients that did not read, or sent too long a line */
};

struct uf_control;

/* Listens at path (mode 0660). A socket file that nobody answers on is taken away first; UF_EBUSY
 * when somebody does. */
int uf_control_new(struct uf_control **out, uv_loop_t *loop, const char *path,
                   uf_control_answer answer, void *who, struct uf_error *err);
/* Closes and takes the socket file away. Run the loop once more. */
void uf_control_free(struct uf_control *c);
void uf_control_counts(const struct uf_control *c, struct uf_control_counts *out);

#endif
