/* SPDX-License-Identifier: MIT
 * Before and after: two blocks, or two swings, number by number, against the player's own
 * swing-to-swing noise. Excluded swings don't count; a missing number is left out. */
#ifndef UF_STORE_COMPARISON_H
#define UF_STORE_COMPARISON_H

#include "store/lessons.h"
#include "swing/variability.h"

/* A block with fewer values says nothing of its noise. */
#define UF_COMPARISON_LEAST 3

enum uf_verdict {
    UF_VERDICT_MISSING, /* not measured in one of them */
    UF_VERDICT_FEW,     /* too few swings to know the noise */
    UF_VERDICT_WITHIN,  /* within the noise */
    UF_VERDICT_CHANGED
};
const char *uf_verdict_name(enum uf_verdict v);

struct uf_comparison_row {
    char name[64]; /* of the metric, or of another instrument's number */
    char unit[32];
    bool extra;            /* of another instrument */
    struct uf_spread a, b; /* of two swings: their values as means */
    double difference;     /* b - a */
    double noise_sd;       /* swing to swing, within blocks; NAN: not known */
    double needed;         /* a smaller difference is within the noise; NAN: not known */
    enum uf_verdict verdict;
};

/* What else is different between the two: a difference may come from it. */
struct uf_comparison {
    bool players, sessions, clubs, balls, calibrations;
    size_t a_swings, b_swings; /* that count; of two swings: 1 and 1 */
    size_t a_excluded, b_excluded;
    size_t n;
    struct uf_comparison_row *row; /* metrics in their order, then extras by name */
};

/* UF_ENOTFOUND; UF_EINVAL when both are the same one. Free with uf_comparison_free. */
int uf_comparison_blocks(struct uf_store *s, int64_t a, int64_t b, struct uf_comparison **out,
                         struct uf_error *err);
/* Their noise is that of the swings of their blocks (without a block: of the same session's swings
 * without one). */
int uf_comparison_swings(struct uf_store *s, int64_t a, int64_t b, struct uf_comparison **out,
                         struct uf_error *err);
void uf_comparison_free(struct uf_comparison *c);

#endif
