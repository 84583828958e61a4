/* SPDX-License-Identifier: MIT
 * The text form: one line, its checksum, its fields. Strict: a field is digits and nothing else, so
 * that a damaged line which slips through its 8-bit checksum still has to look right. */
#include "wire/message.h"

#include <string.h>

#define COUNT_MAX 8388607
#define COUNT_MIN (-8388608)

/* The fields not yet read. */
struct fields {
    const uint8_t *p, *end;
    bool more; /* a comma has been read, so another field must follow */
};

static int hex_digit(uint8_t c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return -1;
}

/* The next field, without its comma. */
static bool next(struct fields *f, const uint8_t **field, size_t *n)
{
    if (!f->more)
        return false;
    const uint8_t *comma = memchr(f->p, ',', (size_t)(f->end - f->p));
    *field = f->p;
    *n = (size_t)((comma ? comma : f->end) - f->p);
    f->more = comma != NULL;
    f->p = comma ? comma + 1 : f->end;
    return true;
}

/* Decimal digits only, at most ten. */
static bool digits(const uint8_t *p, size_t n, uint64_t max, uint64_t *value)
{
    if (n < 1 || n > 10)
        return false;
    uint64_t v = 0;
    for (size_t i = 0; i < n; i++) {
        if (p[i] < '0' || p[i] > '9')
            return false;
        v = 10 * v + (uint64_t)(p[i] - '0');
    }
    *value = v;
    return v <= max;
}

static bool get_unsigned(struct fields *f, uint64_t max, uint64_t *value)
{
    const uint8_t *p;
    size_t n;
    return next(f, &p, &n) && digits(p, n, max, value);
}

static bool get_count(struct fields *f, int32_t *count)
{
    const uint8_t *p;
    size_t n;
    uint64_t v;
    if (!next(f, &p, &n))
        return false;
    bool negative = n > 0 && *p == '-';
    if (!digits(p + negative, n - negative, negative ? -(int64_t)COUNT_MIN : COUNT_MAX, &v))
        return false;
    *count = negative ? -(int32_t)v : (int32_t)v;
    return true;
}

/* One or two hex digits. */
static bool get_hex_byte(struct fields *f, uint8_t *value)
{
    const uint8_t *p;
    size_t n;
    if (!next(f, &p, &n) || n < 1 || n > 2)
        return false;
    unsigned v = 0;
    for (size_t i = 0; i < n; i++) {
        int d = hex_digit(p[i]);
        if (d < 0)
            return false;
        v = v << 4 | (unsigned)d;
    }
    *value = (uint8_t)v;
    return true;
}

static enum uf_verdict parse_hello(struct fields *f, struct uf_hello *h)
{
    uint64_t protocol, channels, adc_bits, rate_hz, firmware;
    const uint8_t *id;
    size_t n;
    if (!get_unsigned(f, 255, &protocol) || protocol == 0)
        return UF_BAD_FIELD;
    h->protocol = (uint8_t)protocol;
    if (protocol != UF_PROTOCOL)
        return UF_UNKNOWN_PROTOCOL;
    if (!get_unsigned(f, 255, &channels) || !get_unsigned(f, 255, &adc_bits) ||
        !get_unsigned(f, 65535, &rate_hz) || !get_unsigned(f, 65535, &firmware) ||
        !next(f, &id, &n) || n != 2 * sizeof h->board_id)
        return UF_BAD_FIELD;
    for (size_t i = 0; i < sizeof h->board_id; i++) {
        int high = hex_digit(id[2 * i]), low = hex_digit(id[2 * i + 1]);
        if (high < 0 || low < 0)
            return UF_BAD_FIELD;
        h->board_id[i] = (uint8_t)(high << 4 | low);
    }
    if (f->more)
        return UF_BAD_LENGTH;
    h->channels = (uint8_t)channels;
    h->adc_bits = (uint8_t)adc_bits;
    h->flags = 0;
    h->rate_hz = (uint16_t)rate_hz;
    h->firmware = (uint16_t)firmware;
    return uf_hello_is_legal(h) ? UF_GOT_HELLO : UF_BAD_FIELD;
}

static enum uf_verdict parse_sample(struct fields *f, struct uf_frame *frame, uint32_t *t_us)
{
    uint64_t seq, t;
    if (!get_unsigned(f, 65535, &seq) || !get_unsigned(f, UINT32_MAX, &t) ||
        !get_hex_byte(f, &frame->inputs) || !get_hex_byte(f, &frame->status))
        return UF_BAD_FIELD;
    frame->inputs &= UF_INPUT_BITS;
    frame->status &= UF_STATUS_BITS;
    frame->seq = (uint16_t)seq;
    *t_us = (uint32_t)t;
    size_t channels = 0;
    for (; f->more; channels++) {
        if (channels == UF_CHANNELS_MAX)
            return UF_BAD_LENGTH;
        if (!get_count(f, &frame->counts_raw[channels]))
            return UF_BAD_FIELD;
    }
    frame->channels = (uint8_t)channels;
    return channels ? UF_GOT_SAMPLE : UF_BAD_LENGTH;
}

enum uf_verdict uf_line_parse(const uint8_t *line, size_t n, struct uf_wire_event *out,
                              uint32_t *t_us)
{
    if (n && line[n - 1] == '\r')
        n--;
    if (n == 0)
        return UF_NOTHING;
    if (n < 3 || line[n - 3] != '*')
        return UF_BAD_CRC; /* cut short: its checksum is not there */
    int high = hex_digit(line[n - 2]), low = hex_digit(line[n - 1]);
    n -= 3;
    unsigned sum = 0;
    bool printable = true;
    for (size_t i = 0; i < n; i++) {
        sum ^= line[i];
        printable = printable && line[i] >= 0x20 && line[i] <= 0x7E;
    }
    if (high < 0 || low < 0 || sum != (unsigned)(high << 4 | low))
        return UF_BAD_CRC;
    if (!printable || n < 2 || line[1] != ',')
        return UF_BAD_FIELD;
    struct fields f = {line + 2, line + n, true};
    switch (line[0]) {
    case 'H':
        return parse_hello(&f, &out->hello);
    case 'S':
        return parse_sample(&f, &out->frame, t_us);
    case 'N':
        if (n - 2 > UF_NOTE_BYTES_MAX)
            return UF_BAD_LENGTH;
        uf_note_copy(out->note, line + 2, n - 2);
        return UF_GOT_NOTE;
    default:
        return line[0] >= 'A' && line[0] <= 'Z' ? UF_UNKNOWN_TYPE : UF_BAD_FIELD;
    }
}
