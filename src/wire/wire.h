/* SPDX-License-Identifier: MIT
 * Bytes of the line in, frames out: COBS, CRC-32, packets, the text form, detection of the form,
 * sequence gaps, and the unwrapped device clock. Sans-I/O; no clock; no allocation after
 * uf_wire_new. The format is pinned: firmware-notes/wire-format.md.
 *
 * Every damaged piece of the stream moves exactly one of the counters in uf_wire_counts (named
 * there), and never makes a frame. After damage the decoder is back in step at the next
 * delimiter (binary 0x00, text LF). */
#ifndef UF_WIRE_WIRE_H
#define UF_WIRE_WIRE_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define UF_CHANNELS_MAX   48
#define UF_NOTE_BYTES_MAX 120
#define UF_PROTOCOL       1

enum uf_wire_form { UF_FORM_AUTO, UF_FORM_BINARY, UF_FORM_TEXT };

/* Bits of uf_frame.inputs and uf_frame.status. */
#define UF_INPUT_STRIKE      0x01u
#define UF_INPUT_BEAM        0x02u
#define UF_INPUT_SYNC        0x04u
#define UF_INPUT_BUTTON      0x08u
#define UF_STATUS_OVERRUN    0x01u
#define UF_STATUS_RAIL       0x02u
#define UF_STATUS_EXCITATION 0x04u

struct uf_hello {
    uint8_t protocol;
    uint8_t channels; /* 1..48 */
    uint8_t adc_bits; /* 16..24 */
    uint8_t flags;
    uint16_t rate_hz; /* nominal samples a second, > 0 */
    uint16_t firmware;
    uint8_t board_id[8];
};

/* One sample as the board sent it. */
struct uf_frame {
    int64_t t_dev_us;     /* device clock, unwrapped: grows for ever, 0 at the first sample.
                             After a reboot (epoch grows by one) it goes on one nominal period
                             after the last sample of the former epoch. */
    uint32_t epoch;       /* 0, then one more at each reboot of the board */
    uint32_t lost_before; /* samples missing between the former frame and this one (seq and t_us
                             agree), 0 at the first of an epoch */
    uint16_t seq;
    uint8_t inputs;
    uint8_t status;
    uint8_t channels;
    int32_t counts_raw[UF_CHANNELS_MAX];
};

enum uf_wire_kind { UF_WIRE_NONE, UF_WIRE_HELLO, UF_WIRE_SAMPLE, UF_WIRE_NOTE };

struct uf_wire_event {
    enum uf_wire_kind kind;
    bool hello_changed;               /* with HELLO: first one, or it differs from the one before */
    struct uf_hello hello;            /* with HELLO */
    struct uf_frame frame;            /* with SAMPLE */
    char note[UF_NOTE_BYTES_MAX + 1]; /* with NOTE: printable UTF-8, NUL-terminated, control
                                         characters and malformed bytes replaced by '?' */
};

struct uf_wire_counts {
    uint64_t bytes;
    uint64_t samples; /* frames handed out */
    uint64_t hellos;
    uint64_t notes;
    uint64_t lost;       /* samples missing by sequence and time */
    uint64_t duplicates; /* came before, by seq and t_us (a doubled piece of the line): dropped */
    uint64_t reboots;
    uint64_t bad_cobs;         /* binary: not decodable */
    uint64_t bad_crc;          /* binary CRC or text checksum wrong, or cut off */
    uint64_t bad_length;       /* sample length disagrees with HELLO, body too short or long */
    uint64_t bad_field;        /* HELLO out of range, text field not a number, ... */
    uint64_t too_long;         /* no delimiter within the longest legal packet */
    uint64_t unknown_type;     /* good CRC, type not known: skipped */
    uint64_t unknown_protocol; /* HELLO of another protocol version: its samples are skipped */
    uint64_t before_hello;     /* samples skipped: no HELLO of our protocol is in force yet */
};

struct uf_wire;

int uf_wire_new(struct uf_wire **out, enum uf_wire_form form, struct uf_error *err);
void uf_wire_free(struct uf_wire *w);

/* Takes bytes until one event is complete or the bytes are used up; returns how many were taken
 * (> 0 when n > 0). out->kind is UF_WIRE_NONE when no event came. Call again with the rest. */
size_t uf_wire_feed(struct uf_wire *w, const uint8_t *bytes, size_t n, struct uf_wire_event *out);

/* The line was cut (port closed and opened again): forgets the half packet and, with form auto,
 * the detected form; keeps the counters, the clock and the last HELLO. */
void uf_wire_line_cut(struct uf_wire *w);

const struct uf_wire_counts *uf_wire_counts(const struct uf_wire *w);
/* AUTO until enough bytes were seen to tell. */
enum uf_wire_form uf_wire_detected(const struct uf_wire *w);
/* Protocol number of the last HELLO with another version than ours, or 0. */
int uf_wire_foreign_protocol(const struct uf_wire *w);

#endif
