/* SPDX-License-Identifier: MIT
 * Where the feet stand, as the daemon knows it: what came of the last rocking, for whom it holds,
 * and the same as JSON and as a log line. A plain value of the loop thread. */
#ifndef UF_DAEMON_FEET_H
#define UF_DAEMON_FEET_H

#include "daemon/store_thread.h"

#include <jansson.h>

struct uf_feet_state {
    uint64_t tries;    /* answers so far, good or bad */
    bool asked;        /* somebody had asked for the last one */
    char problem[200]; /* why there is none; "": there is one */
    struct uf_feet last;
    bool known; /* feet below: of a rocking that counts */
    struct uf_feet feet;
    uint64_t stand; /* they hold in this time on the plates */
};

/* The answer of the store to a ROCKING job. Logs what a person should know. */
void uf_feet_state_take(struct uf_feet_state *f, const struct uf_job *job);

/* The feet that hold now for a golfer of that hand; NULL: none. */
const struct uf_feet *uf_feet_now(const struct uf_feet_state *f, uint64_t stand, enum uf_hand hand);

/* {"tries", "looking", "asked", "problem", "lead": {"state", "text"}, "trail": .., "now": feet or
 * null}: the last try, and what holds now. */
json_t *uf_feet_state_json(const struct uf_feet_state *f, bool looking, const struct uf_feet *now);

/* {"lead": foot or null, "trail": .., "width_mm", "toe_line_deg"}; a foot in the golfer frame:
 * heel_target_mm, heel_toe_mm, toes_target_mm, toes_toe_mm, length_mm, width_mm, toe_out_deg,
 * axis_u_deg, end_u_mm, length_from. */
json_t *uf_feet_json(const struct uf_feet *feet);

#endif
