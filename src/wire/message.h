/* SPDX-License-Identifier: MIT
 * Inside src/wire: one packet or line, parsed. Both forms give the same message, so that all that
 * follows (HELLO, sequence, clock) is written once. Pure. */
#ifndef UF_WIRE_MESSAGE_H
#define UF_WIRE_MESSAGE_H

#include "wire/wire.h"

/* What became of a packet. The BAD ones and those after them each have a counter in
 * uf_wire_counts. */
enum uf_verdict {
    UF_GOT_HELLO,
    UF_GOT_SAMPLE,
    UF_GOT_NOTE,
    UF_NOTHING, /* an empty packet or line: legal */
    UF_BAD_COBS,
    UF_BAD_CRC,
    UF_BAD_LENGTH,
    UF_BAD_FIELD,
    UF_TOO_LONG,
    UF_UNKNOWN_TYPE,
    UF_UNKNOWN_PROTOCOL /* out->hello.protocol says which */
};

/* Longest legal binary packet and text line, delimiter not counted: 48 channels. */
#define UF_PACKET_BYTES_MAX (1 + 1 + 8 + 3 * UF_CHANNELS_MAX + 4)
#define UF_LINE_BYTES_MAX   (24 + 9 * UF_CHANNELS_MAX + 3 + 1) /* CR counted */

/* A binary packet of n bytes without its delimiter; decoded in place. Fills the event's hello,
 * note, or frame (seq, inputs, status, channels, counts_raw: the rest is the timeline's) and
 * *t_us. */
enum uf_verdict uf_packet_parse(uint8_t *bytes, size_t n, struct uf_wire_event *out,
                                uint32_t *t_us);

/* The same of a text line without its LF; a CR at its end is tolerated. */
enum uf_verdict uf_line_parse(const uint8_t *line, size_t n, struct uf_wire_event *out,
                              uint32_t *t_us);

/* A HELLO of our protocol holds only values that the format allows. */
bool uf_hello_is_legal(const struct uf_hello *h);

/* The bits of inputs and status that have a meaning. The others are sent as zero today; a firmware
 * that sets one loses no sample by it. The same holds for the flags of HELLO. */
#define UF_INPUT_BITS  0x0Fu
#define UF_STATUS_BITS 0x07u

/* Copies n <= UF_NOTE_BYTES_MAX bytes into note, NUL-terminated: printable UTF-8, with '?' for each
 * byte that is a control character or not well-formed (RFC 3629). */
void uf_note_copy(char note[UF_NOTE_BYTES_MAX + 1], const uint8_t *bytes, size_t n);

#endif
