/* SPDX-License-Identifier: MIT
 * Text into HTML and SVG: nothing that a person typed is markup. Pure but for the FILE. */
#ifndef UF_BASE_MARKUP_H
#define UF_BASE_MARKUP_H

#include <stddef.h>
#include <stdio.h>

/* Writes text (UTF-8) as text, in an element or in an attribute with double or single quotes. */
void uf_markup_text(FILE *out, const char *text);

/* The same of its first most bytes at most, cut between two characters, with an ellipsis where
 * something was cut. Returns how many bytes of text were written. */
size_t uf_markup_part(FILE *out, const char *text, size_t most);

#endif
