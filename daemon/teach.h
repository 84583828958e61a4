/* SPDX-License-Identifier: MIT
 * What a teacher does to the lesson from the page: begin it with a player, start and stop blocks,
 * end it. Taken from JSON on the loop, done by the store thread, answered with a sentence. The rows
 * are written by store/lessons.h, as from the command line. */
#ifndef UF_DAEMON_TEACH_H
#define UF_DAEMON_TEACH_H

#include "daemon/annotate.h"

enum uf_teach_kind {
    UF_TEACH_BEGIN,
    UF_TEACH_END,
    UF_TEACH_BLOCK,
    UF_TEACH_BLOCK_END,
    UF_TEACH_REMARK
};

struct uf_teach {
    enum uf_teach_kind kind;
    uint64_t client; /* who asked; the receiver's affair */
    /* What the asker's screen showed as open, 0: nothing. Two browsers may act at once: the second
     * one is told, instead of ending what the first has just begun. */
    int64_t seen_session, seen_block;
    struct uf_player player; /* BEGIN: of that id, or where that is 0 a new one */
    char note[UF_NOTE_BYTES];
    struct uf_block block;       /* BLOCK */
    struct uf_annotation remark; /* REMARK: says itself what was seen */
    int rc;                      /* result: UF_OK or why not */
    char text[480];              /* result: a sentence */
};

/* {"ask": "begin", "player": 3} or {"ask": "begin", "new": {"name": .., "hand": "left",
 * "foot_length_mm": 265, "cautions": ..}}, both with "note"; {"ask": "end"};
 * {"ask": "block", "kind": .., "ball": true, "club": .., "note": ..}; {"ask": "block-end"};
 * {"ask": "remark", ..} as annotate.h says.
 * All with "seen_session" and "seen_block". *out is to be freed. UF_EINVAL with a sentence. */
int uf_teach_parse(struct uf_teach **out, const json_t *question, struct uf_error *err);

/* Sets rc and text. utc_us: when it was asked for. */
void uf_teach_do(struct uf_teach *t, struct uf_store *s, const struct uf_rig *rig, int64_t rig_id,
                 int64_t utc_us);

#endif
