/* SPDX-License-Identifier: MIT
 * What somebody says of a stored swing on the page: a star, a comment, that it does not count and
 * why, its block. Taken from JSON on the loop, done by the store thread (teach.h). The rows are
 * written by store/remarks.h, as from the command line. */
#ifndef UF_DAEMON_ANNOTATE_H
#define UF_DAEMON_ANNOTATE_H

#include "store/remarks.h"

#include <jansson.h>

struct uf_annotation {
    int64_t swing;
    enum uf_annotated {
        UF_ANNOTATE_STAR,
        UF_ANNOTATE_COMMENT,
        UF_ANNOTATE_EXCLUDED,
        UF_ANNOTATE_BLOCK
    } what;
    /* A star is 0 or 1, a block its number or 0; comment and reason are text, "": none. */
    int64_t number, seen_number;
    char text[UF_NOTE_BYTES], seen_text[UF_NOTE_BYTES];
};

/* {"ask": "remark", "id": 7, ..} with one of "starred": true, "comment": "..", "excluded": ".." (or
 * null: counts again), "block": 3 (or null), and "seen": what the asker's screen showed of just
 * that. UF_EINVAL with a sentence. */
int uf_annotate_parse(struct uf_annotation *out, const json_t *question, struct uf_error *err);

/* Does it; said[size]: a sentence. UF_ESTATE where the swing says something else than was seen:
 * nothing is changed then, whoever wrote last. */
int uf_annotate_do(const struct uf_annotation *a, struct uf_store *s, char *said, size_t size,
                   struct uf_error *err);

#endif
