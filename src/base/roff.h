/* SPDX-License-Identifier: MIT
 * Pieces of a manual page (roff, man macros), so that each program makes its own page of the tables
 * that it works by. Pure but for the FILE. */
#ifndef UF_BASE_ROFF_H
#define UF_BASE_ROFF_H

#include <stdio.h>

/* Text: nothing in it is a request, and a hyphen is a hyphen. A line that begins with a blank is an
 * example, on a line of its own. */
void uf_roff_text(FILE *out, const char *text);

/* An indented paragraph "NAME VALUE" (value NULL: none), and what it does. */
void uf_roff_item(FILE *out, const char *name, const char *value, const char *help);

#endif
