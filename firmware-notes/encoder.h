/* SPDX-License-Identifier: MIT
 * Reference encoder of the wire format, version 1 (wire-format.md), for the microcontroller:
 * portable C99, no libc but memcpy, no heap, no state. Each call writes one whole packet, delimiter
 * included, into the caller's buffer and returns its length, or 0 when the buffer is too small or
 * a value is out of range; then nothing that was written counts. Re-entrant: may be called from an
 * interrupt. Plain int32_t counts, least significant bit of the converter = 1. */
#ifndef UF_ENCODER_H
#define UF_ENCODER_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define UF_ENC_PROTOCOL     1
#define UF_ENC_CHANNELS_MAX 48
#define UF_ENC_NOTE_MAX     120

/* Buffer sizes that always suffice. Binary: type, body, CRC, one COBS byte, one delimiter. Text:
 * "S,65535,4294967295,ff,ff" and ",-8388608" a channel, "*hh", LF. */
#define UF_ENC_HELLO_SIZE            (1 + 16 + 4 + 2)
#define UF_ENC_SAMPLE_SIZE(channels) (1 + 8 + 3 * (channels) + 4 + 2)
#define UF_ENC_NOTE_SIZE(bytes)      (1 + (bytes) + 4 + 2)
#define UF_ENC_PACKET_MAX            UF_ENC_SAMPLE_SIZE(UF_ENC_CHANNELS_MAX) /* 159 */

#define UF_ENC_TEXT_SAMPLE_SIZE(channels) (24 + 9 * (channels) + 4)
#define UF_ENC_TEXT_HELLO_SIZE            (22 + 16 + 4)
#define UF_ENC_TEXT_NOTE_SIZE(bytes)      (2 + (bytes) + 4)
#define UF_ENC_TEXT_MAX                   UF_ENC_TEXT_SAMPLE_SIZE(UF_ENC_CHANNELS_MAX) /* 460 */

#define UF_ENC_INPUT_STRIKE      0x01u
#define UF_ENC_INPUT_BEAM        0x02u
#define UF_ENC_INPUT_SYNC        0x04u
#define UF_ENC_INPUT_BUTTON      0x08u
#define UF_ENC_STATUS_OVERRUN    0x01u
#define UF_ENC_STATUS_RAIL       0x02u
#define UF_ENC_STATUS_EXCITATION 0x04u

/* Who the board is. Send it at boot and once a second. */
struct uf_enc_hello {
    uint8_t channels;    /* 1..48 */
    uint8_t adc_bits;    /* 16..24 */
    uint16_t rate_hz;    /* nominal samples a second, > 0 */
    uint16_t firmware;   /* version of the firmware */
    uint8_t board_id[8]; /* unique to the board: the chip's serial number does */
};

/* One conversion of all channels. */
struct uf_enc_sample {
    uint16_t seq;   /* one more than the sample before, also when that one was not sent */
    uint32_t t_us;  /* the board's microsecond clock at the conversion; wraps */
    uint8_t inputs; /* UF_ENC_INPUT_*; other bits are sent as zero */
    uint8_t status; /* UF_ENC_STATUS_*; other bits are sent as zero */
    uint8_t channels;
    const int32_t *counts; /* [channels]; beyond 24 bits: sent as the nearest 24-bit value, with
                              the rail bit of status set */
};

/* Binary form. text: n bytes of UTF-8, at most 120. */
size_t uf_enc_hello(uint8_t *out, size_t size, const struct uf_enc_hello *hello);
size_t uf_enc_sample(uint8_t *out, size_t size, const struct uf_enc_sample *sample);
size_t uf_enc_note(uint8_t *out, size_t size, const char *text, size_t n);

/* Text form, LF included, no NUL after it. A note's characters outside printable ASCII, and '*',
 * are sent as '?'. */
size_t uf_enc_text_hello(uint8_t *out, size_t size, const struct uf_enc_hello *hello);
size_t uf_enc_text_sample(uint8_t *out, size_t size, const struct uf_enc_sample *sample);
size_t uf_enc_text_note(uint8_t *out, size_t size, const char *text, size_t n);

/* CRC-32/ISO-HDLC, for firmware that builds packets elsewhere (DMA, second core). */
uint32_t uf_enc_crc32(const uint8_t *data, size_t n);

#ifdef __cplusplus
}
#endif

#endif
