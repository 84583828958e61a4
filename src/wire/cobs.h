/* SPDX-License-Identifier: MIT
 * Inside src/wire: consistent-overhead byte stuffing (Cheshire & Baker, IEEE/ACM Trans. Networking
 * 7(2), 1999), the decoder. Pure. */
#ifndef UF_WIRE_COBS_H
#define UF_WIRE_COBS_H

#include <stddef.h>
#include <stdint.h>

/* Decodes n bytes (the delimiter not among them) in place: the result lies at buf + 1, because
 * each code byte but the first takes the place of the zero that it stands for, so that nothing
 * moves in packets below 255 bytes. Returns its length, or -1 when a code byte is zero or points
 * past the end; buf then holds garbage. n = 0 is an error: even an empty payload has a code byte.
 */
ptrdiff_t uf_cobs_decode(uint8_t *buf, size_t n);

#endif
