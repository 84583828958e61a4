/* SPDX-License-Identifier: MIT
 * Reference encoder: see encoder.h. Small rather than fast: no table but 16 words, and a sample of
 * 24 channels costs a few thousand cycles on a small 32-bit core. */
#include "encoder.h"

#include <string.h>

#define COUNT_MAX 8388607
#define COUNT_MIN (-8388608)

/* ---- CRC-32, four bits a step: 64 bytes of table ---- */

uint32_t uf_enc_crc32(const uint8_t *data, size_t n)
{
    static const uint32_t table[16] = {
        0x00000000, 0x1DB71064, 0x3B6E20C8, 0x26D930AC, 0x76DC4190, 0x6B6B51F4,
        0x4DB26158, 0x5005713C, 0xEDB88320, 0xF00F9344, 0xD6D6A3E8, 0xCB61B38C,
        0x9B64C2B0, 0x86D3D2D4, 0xA00AE278, 0xBDBDF21C,
    };
    uint32_t crc = 0xFFFFFFFFu;
    size_t i;
    for (i = 0; i < n; i++) {
        crc ^= data[i];
        crc = crc >> 4 ^ table[crc & 15];
        crc = crc >> 4 ^ table[crc & 15];
    }
    return crc ^ 0xFFFFFFFFu;
}

/* ---- binary form ---- */

static uint8_t *put_u16(uint8_t *p, uint16_t v)
{
    p[0] = (uint8_t)(v & 0xFF);
    p[1] = (uint8_t)(v >> 8);
    return p + 2;
}

static uint8_t *put_u32(uint8_t *p, uint32_t v)
{
    return put_u16(put_u16(p, (uint16_t)(v & 0xFFFF)), (uint16_t)(v >> 16));
}

/* The payload lies at out + 1, n bytes. Adds the CRC, turns the whole into COBS in place and ends
 * it. No packet of version 1 has more than 157 bytes, so COBS is always one code byte in front and
 * code bytes in the places of the zeros: nothing moves. */
static size_t finish(uint8_t *out, size_t n)
{
    size_t code = 0, i;
    put_u32(out + 1 + n, uf_enc_crc32(out + 1, n));
    n += 4;
    for (i = 1; i <= n; i++) {
        if (out[i] == 0) {
            out[code] = (uint8_t)(i - code);
            code = i;
        }
    }
    out[code] = (uint8_t)(n + 1 - code);
    out[n + 1] = 0;
    return n + 2;
}

static int hello_is_legal(const struct uf_enc_hello *h)
{
    return h->channels >= 1 && h->channels <= UF_ENC_CHANNELS_MAX && h->adc_bits >= 16 &&
           h->adc_bits <= 24 && h->rate_hz > 0;
}

static int32_t clamped(int32_t count)
{
    return count > COUNT_MAX ? COUNT_MAX : count < COUNT_MIN ? COUNT_MIN : count;
}

static uint8_t status_of(const struct uf_enc_sample *s)
{
    uint8_t status = s->status & 0x07;
    uint8_t i;
    for (i = 0; i < s->channels; i++)
        if (s->counts[i] != clamped(s->counts[i]))
            status |= UF_ENC_STATUS_RAIL;
    return status;
}

size_t uf_enc_hello(uint8_t *out, size_t size, const struct uf_enc_hello *hello)
{
    uint8_t *p = out + 1;
    if (size < UF_ENC_HELLO_SIZE || !hello_is_legal(hello))
        return 0;
    *p++ = 0x01;
    *p++ = UF_ENC_PROTOCOL;
    *p++ = hello->channels;
    *p++ = hello->adc_bits;
    *p++ = 0; /* flags */
    p = put_u16(p, hello->rate_hz);
    p = put_u16(p, hello->firmware);
    memcpy(p, hello->board_id, 8);
    return finish(out, 17);
}

size_t uf_enc_sample(uint8_t *out, size_t size, const struct uf_enc_sample *sample)
{
    uint8_t *p = out + 1;
    uint8_t i;
    if (sample->channels < 1 || sample->channels > UF_ENC_CHANNELS_MAX ||
        size < UF_ENC_SAMPLE_SIZE((size_t)sample->channels))
        return 0;
    *p++ = 0x02;
    p = put_u16(p, sample->seq);
    p = put_u32(p, sample->t_us);
    *p++ = sample->inputs & 0x0F;
    *p++ = status_of(sample);
    for (i = 0; i < sample->channels; i++) {
        uint32_t v = (uint32_t)clamped(sample->counts[i]);
        p = put_u16(p, (uint16_t)(v & 0xFFFF));
        *p++ = (uint8_t)(v >> 16 & 0xFF);
    }
    return finish(out, 9 + 3 * (size_t)sample->channels);
}

size_t uf_enc_note(uint8_t *out, size_t size, const char *text, size_t n)
{
    if (n > UF_ENC_NOTE_MAX || size < UF_ENC_NOTE_SIZE(n))
        return 0;
    out[1] = 0x03;
    memcpy(out + 2, text, n);
    return finish(out, 1 + n);
}

/* ---- text form ---- */

static uint8_t *put_hex(uint8_t *p, uint8_t v)
{
    static const char digits[] = "0123456789abcdef";
    *p++ = (uint8_t)digits[v >> 4];
    *p++ = (uint8_t)digits[v & 15];
    return p;
}

static uint8_t *put_decimal(uint8_t *p, uint32_t v)
{
    uint8_t digits[10];
    int n = 0;
    do {
        digits[n++] = (uint8_t)('0' + v % 10);
        v /= 10;
    } while (v);
    while (n)
        *p++ = digits[--n];
    return p;
}

static uint8_t *put_field(uint8_t *p, uint32_t v)
{
    *p++ = ',';
    return put_decimal(p, v);
}

/* Adds "*hh" and LF to the line out..p. */
static size_t finish_line(uint8_t *out, uint8_t *p)
{
    uint8_t sum = 0;
    const uint8_t *q;
    for (q = out; q < p; q++)
        sum ^= *q;
    *p++ = '*';
    p = put_hex(p, sum);
    *p++ = '\n';
    return (size_t)(p - out);
}

size_t uf_enc_text_hello(uint8_t *out, size_t size, const struct uf_enc_hello *hello)
{
    uint8_t *p = out;
    int i;
    if (size < UF_ENC_TEXT_HELLO_SIZE || !hello_is_legal(hello))
        return 0;
    *p++ = 'H';
    p = put_field(p, UF_ENC_PROTOCOL);
    p = put_field(p, hello->channels);
    p = put_field(p, hello->adc_bits);
    p = put_field(p, hello->rate_hz);
    p = put_field(p, hello->firmware);
    *p++ = ',';
    for (i = 0; i < 8; i++)
        p = put_hex(p, hello->board_id[i]);
    return finish_line(out, p);
}

size_t uf_enc_text_sample(uint8_t *out, size_t size, const struct uf_enc_sample *sample)
{
    uint8_t *p = out;
    uint8_t i;
    if (sample->channels < 1 || sample->channels > UF_ENC_CHANNELS_MAX ||
        size < UF_ENC_TEXT_SAMPLE_SIZE((size_t)sample->channels))
        return 0;
    *p++ = 'S';
    p = put_field(p, sample->seq);
    p = put_field(p, sample->t_us);
    *p++ = ',';
    p = put_hex(p, sample->inputs & 0x0F);
    *p++ = ',';
    p = put_hex(p, status_of(sample));
    for (i = 0; i < sample->channels; i++) {
        int32_t count = clamped(sample->counts[i]);
        *p++ = ',';
        if (count < 0)
            *p++ = '-';
        p = put_decimal(p, (uint32_t)(count < 0 ? -count : count));
    }
    return finish_line(out, p);
}

size_t uf_enc_text_note(uint8_t *out, size_t size, const char *text, size_t n)
{
    uint8_t *p = out;
    size_t i;
    if (n > UF_ENC_NOTE_MAX || size < UF_ENC_TEXT_NOTE_SIZE(n))
        return 0;
    *p++ = 'N';
    *p++ = ',';
    for (i = 0; i < n; i++)
        *p++ = text[i] < 0x20 || text[i] > 0x7E || text[i] == '*' ? (uint8_t)'?' : (uint8_t)text[i];
    return finish_line(out, p);
}
