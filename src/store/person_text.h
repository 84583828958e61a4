/* SPDX-License-Identifier: MIT
 * Text that a person gives, on its way into the database: any letters, quotes and markup, but
 * nothing that moves a terminal's cursor or that is not UTF-8. Pure. */
#ifndef UF_STORE_PERSON_TEXT_H
#define UF_STORE_PERSON_TEXT_H

#include "base/error.h"

#include <stddef.h>

#define UF_NAME_BYTES 200  /* a name, a club, a kind of block, with its NUL */
#define UF_NOTE_BYTES 2000 /* a note, with its NUL */

/* Copies a person's text: UTF-8 without control characters (a note may have newlines), less than
 * size bytes; without blanks at both ends. what: "the name", for the sentence. */
int uf_person_text(char *out, size_t size, const char *text, const char *what,
                   struct uf_error *err);

#endif
