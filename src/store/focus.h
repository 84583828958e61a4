/* SPDX-License-Identifier: MIT
 * What a lesson is about: the fault in the teacher's words, and the one number that shows it. Of
 * twenty numbers one changes by chance alone, so this one is chosen beforehand. */
#ifndef UF_STORE_FOCUS_H
#define UF_STORE_FOCUS_H

#include "store/person_text.h"
#include "store/store.h"

struct uf_focus {
    char fault[UF_NAME_BYTES]; /* "": not said */
    int metric;                /* of enum uf_metric; -1: none, or one that this program has not */
};

/* The number of a metric by its name; UF_EINVAL with the nearest name. */
int uf_focus_metric(const char *name, int *metric, struct uf_error *err);

/* Of a session: fault NULL: as it is, "": taken away; metric NULL: as it is, "": none.
 * UF_ENOTFOUND: no such session. */
int uf_focus_set(struct uf_store *s, int64_t session_id, const char *fault, const char *metric,
                 struct uf_error *err);
int uf_focus_get(struct uf_store *s, int64_t session_id, struct uf_focus *out,
                 struct uf_error *err);

#endif
