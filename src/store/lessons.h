/* SPDX-License-Identifier: MIT
 * Sessions and their blocks. A database has at most one open session of a rig, and a session at
 * most one open block: a swing that arrives belongs to these. A session in which nothing happened
 * for UF_SESSION_IDLE_US is over, whether or not somebody ended it. */
#ifndef UF_STORE_LESSONS_H
#define UF_STORE_LESSONS_H

#include "store/players.h"

#define UF_SESSION_IDLE_US (INT64_C(6) * 3600 * 1000000)

/* What a swing that comes now belongs to. 0: none. */
struct uf_lesson {
    int64_t session_id, block_id, player_id;
    enum uf_hand hand; /* the player's; meaningless without one */
};
/* rig_id 0: of any rig, the newest. A session that is over by idleness is none. */
int uf_lesson_now(struct uf_store *s, int64_t rig_id, int64_t now_utc_us, struct uf_lesson *out,
                  struct uf_error *err);
/* What was open at that time, which a swing that was hit then belongs to however late it is stored.
 * or_last: where nothing was, what was the last to be open before (a power cut ends a session at
 * its last stored swing; the one that was not stored yet came after that). */
int uf_lesson_at(struct uf_store *s, int64_t rig_id, int64_t at_utc_us, bool or_last,
                 struct uf_lesson *out, struct uf_error *err);
/* Inside a transaction of the caller: the same, and where nothing was open a session is made of the
 * daemon's own; between two lessons it ends where the next one begins. A clock that was set back
 * (now lies before the open session) cannot say: then it is what is open now. */
int uf_lesson_claim(struct uf_store *s, int64_t rig_id, int64_t at_utc_us, int64_t now_utc_us,
                    struct uf_lesson *out, struct uf_error *err);

/* Begins a lesson; an open session (and block) ends. The rig is that of the newest session, else
 * rig. */
int uf_session_start(struct uf_store *s, int64_t player_id, const char *note,
                     const struct uf_rig *rig, int64_t now_utc_us, int64_t *id,
                     struct uf_error *err);
/* id 0: the open one. *ended is its id. UF_ESTATE when it has ended already. */
int uf_session_end(struct uf_store *s, int64_t id, int64_t now_utc_us, int64_t *ended,
                   struct uf_error *err);
/* Names the player of a session (-1: as it is, 0: nobody) and its note (NULL: as it is). */
int uf_session_change(struct uf_store *s, int64_t id, int64_t player_id, const char *note,
                      struct uf_error *err);

struct uf_block {
    int64_t id, session_id;
    char kind[UF_NAME_BYTES];
    int ball; /* 1 with, 0 without, -1 not said */
    char club[UF_NAME_BYTES], note[UF_NOTE_BYTES];
    int64_t started_utc_us, ended_utc_us; /* ended 0: open */
};
/* Opens a block in the open session; b->session_id and id are set. An open one ends: *before is its
 * id, or 0. */
int uf_block_start(struct uf_store *s, struct uf_block *b, int64_t now_utc_us, int64_t *before,
                   struct uf_error *err);
/* Adds a block that is over to the session b->session_id, for swings to be moved into. */
int uf_block_add(struct uf_store *s, struct uf_block *b, struct uf_error *err);
/* id 0: the open one. *ended is its id. UF_ESTATE when it has ended already. */
int uf_block_end(struct uf_store *s, int64_t id, int64_t now_utc_us, int64_t *ended,
                 struct uf_error *err);
/* Writes kind, ball, club and note. */
int uf_block_change(struct uf_store *s, const struct uf_block *b, struct uf_error *err);
int uf_block_get(struct uf_store *s, int64_t id, struct uf_block *out, struct uf_error *err);

/* What is open, as people are shown it. */
struct uf_lesson_about {
    struct uf_lesson now;
    char player[UF_NAME_BYTES]; /* "": nobody is named */
    char cautions[UF_NOTE_BYTES];
    int64_t started_utc_us;
    int64_t swings;        /* of the session, those that count */
    struct uf_block block; /* id 0: none is open */
    int64_t block_swings;  /* those that count */
};
/* Reads uf_lesson_now and what belongs to it. */
int uf_lesson_about(struct uf_store *s, int64_t rig_id, int64_t now_utc_us,
                    struct uf_lesson_about *out, struct uf_error *err);

#endif
