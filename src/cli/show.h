/* SPDX-License-Identifier: MIT
 * Inside src/cli: a stored swing as JSON, and the words of its flags. */
#ifndef UF_CLI_SHOW_H
#define UF_CLI_SHOW_H

#include "store/swings.h"

/* New reference; NULL without memory. Missing numbers are null, with reason and text in "missing".
 */
json_t *uf_show_swing(const struct uf_swing_row *row);

/* "lost samples, gap" into text[size]; "" without flags. */
void uf_show_flags(uint32_t flags, char *text, size_t size);

/* Trigger's time, or when it was stored where that is not known. */
int64_t uf_show_time_us(const struct uf_swing_row *row);

#endif
