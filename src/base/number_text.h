/* SPDX-License-Identifier: MIT
 * Numbers as people read them: as many digits as their unit deserves, the same on the screen, on
 * paper and in a browser. Pure. */
#ifndef UF_BASE_NUMBER_TEXT_H
#define UF_BASE_NUMBER_TEXT_H

#include <stddef.h>

/* A value with as many digits as its unit deserves, without the unit; "-" for NAN. */
void uf_text_number(double value, const char *unit, char *out, size_t size);
/* How a unit is written behind a number: "pct" is "%". */
const char *uf_text_unit(const char *unit);

#endif
