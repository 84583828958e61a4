/* SPDX-License-Identifier: MIT
 * The binary form: COBS, CRC, bodies. Lengths are checked before anything is read. */
#include "base/bytes.h"
#include "wire/cobs.h"
#include "wire/crc32.h"
#include "wire/message.h"

#include <string.h>

enum packet_type { TYPE_HELLO = 0x01, TYPE_SAMPLE = 0x02, TYPE_NOTE = 0x03 };

#define CRC_BYTES         4
#define HELLO_BODY_BYTES  16
#define SAMPLE_HEAD_BYTES 8

static enum uf_verdict parse_hello(const uint8_t *body, size_t n, struct uf_hello *h)
{
    if (n < 1)
        return UF_BAD_LENGTH;
    h->protocol = body[0];
    if (h->protocol == 0)
        return UF_BAD_FIELD;
    if (h->protocol != UF_PROTOCOL) /* what follows is not ours to read */
        return UF_UNKNOWN_PROTOCOL;
    if (n != HELLO_BODY_BYTES)
        return UF_BAD_LENGTH;
    h->channels = body[1];
    h->adc_bits = body[2];
    h->flags = body[3];
    h->rate_hz = uf_get_u16(body + 4);
    h->firmware = uf_get_u16(body + 6);
    memcpy(h->board_id, body + 8, sizeof h->board_id);
    return uf_hello_is_legal(h) ? UF_GOT_HELLO : UF_BAD_FIELD;
}

static enum uf_verdict parse_sample(const uint8_t *body, size_t n, struct uf_frame *f,
                                    uint32_t *t_us)
{
    if (n < SAMPLE_HEAD_BYTES + 3 || (n - SAMPLE_HEAD_BYTES) % 3 != 0)
        return UF_BAD_LENGTH;
    size_t channels = (n - SAMPLE_HEAD_BYTES) / 3;
    if (channels > UF_CHANNELS_MAX)
        return UF_BAD_LENGTH;
    f->seq = uf_get_u16(body);
    *t_us = uf_get_u32(body + 2);
    f->inputs = body[6] & UF_INPUT_BITS;
    f->status = body[7] & UF_STATUS_BITS;
    f->channels = (uint8_t)channels;
    for (size_t i = 0; i < channels; i++)
        f->counts_raw[i] = uf_get_s24(body + SAMPLE_HEAD_BYTES + 3 * i);
    return UF_GOT_SAMPLE;
}

static enum uf_verdict parse_note(const uint8_t *body, size_t n, char *note)
{
    if (n > UF_NOTE_BYTES_MAX)
        return UF_BAD_LENGTH;
    uf_note_copy(note, body, n);
    return UF_GOT_NOTE;
}

enum uf_verdict uf_packet_parse(uint8_t *bytes, size_t n, struct uf_wire_event *out, uint32_t *t_us)
{
    if (n == 0)
        return UF_NOTHING;
    ptrdiff_t decoded = uf_cobs_decode(bytes, n);
    if (decoded < 0)
        return UF_BAD_COBS;
    const uint8_t *payload = bytes + 1;
    if (decoded < 1 + CRC_BYTES) /* cut short: its CRC is not there */
        return UF_BAD_CRC;
    size_t size = (size_t)decoded - CRC_BYTES;
    if (uf_crc32(payload, size) != uf_get_u32(payload + size))
        return UF_BAD_CRC;
    const uint8_t *body = payload + 1;
    switch (payload[0]) {
    case TYPE_HELLO:
        return parse_hello(body, size - 1, &out->hello);
    case TYPE_SAMPLE:
        return parse_sample(body, size - 1, &out->frame, t_us);
    case TYPE_NOTE:
        return parse_note(body, size - 1, out->note);
    default:
        return UF_UNKNOWN_TYPE;
    }
}
