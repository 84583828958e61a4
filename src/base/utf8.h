/* SPDX-License-Identifier: MIT
 * Text from outside, made fit for a terminal, a log or a page. Pure; any thread. */
#ifndef UF_BASE_UTF8_H
#define UF_BASE_UTF8_H

#include <stddef.h>
#include <stdint.h>

/* Length of the well-formed UTF-8 character (RFC 3629) at p, of which left > 0 bytes are there; 0
 * when it is none, or a control character (U+0000..U+001F, U+007F..U+009F). */
size_t uf_utf8_character(const uint8_t *p, size_t left);

/* Puts a '?' for each byte of text that belongs to no such character. */
void uf_utf8_plain(char *text);
/* The same, but line ends stay. */
void uf_utf8_lines(char *text);

#endif
