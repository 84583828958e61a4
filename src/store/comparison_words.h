/* SPDX-License-Identifier: MIT
 * A comparison in plain sentences, the same in `underfoot compare` and on the page; and which
 * numbers a teacher looks at first. Pure. */
#ifndef UF_STORE_COMPARISON_WORDS_H
#define UF_STORE_COMPARISON_WORDS_H

#include "store/comparison.h"

#include <stdio.h>

/* A block with fewer swings knows its noise badly: said so. */
#define UF_COMPARISON_GOOD 5

/* Metrics that a teacher looks at first, in their order. Ended by UF_METRICS. */
const enum uf_metric *uf_comparison_first(void);
/* Of the above, or of another instrument. */
bool uf_comparison_is_first(const struct uf_comparison_row *r);

/* One sentence a line: what changed, what stays within the noise, of what too little is known, and
 * what else a difference may come from. shown[k->n]: the rows that it speaks of. meanings: the
 * meaning of a metric in place of its name. */
void uf_comparison_say(const struct uf_comparison *k, bool blocks, const bool *shown, bool meanings,
                       FILE *out);

#endif
