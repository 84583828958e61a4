/* SPDX-License-Identifier: MIT
 * What the two forms share: legal values, and notes made fit for a log or a page. */
#include "wire/message.h"

#include <string.h>

bool uf_hello_is_legal(const struct uf_hello *h)
{
    return h->channels >= 1 && h->channels <= UF_CHANNELS_MAX && h->adc_bits >= 16 &&
           h->adc_bits <= 24 && h->rate_hz > 0;
}

/* Length of the well-formed, printable UTF-8 character at p, or 0. */
static size_t character(const uint8_t *p, size_t left)
{
    uint8_t c = p[0];
    if (c < 0x80)
        return c >= 0x20 && c != 0x7F;
    size_t n = c >= 0xF0 ? 4 : c >= 0xE0 ? 3 : 2;
    if (c < 0xC2 || c > 0xF4 || n > left)
        return 0;
    for (size_t i = 1; i < n; i++)
        if ((p[i] & 0xC0) != 0x80)
            return 0;
    bool overlong = (c == 0xE0 && p[1] < 0xA0) || (c == 0xF0 && p[1] < 0x90);
    bool surrogate = c == 0xED && p[1] > 0x9F;
    bool beyond = c == 0xF4 && p[1] > 0x8F;
    bool control = c == 0xC2 && p[1] < 0xA0; /* U+0080..U+009F */
    return overlong || surrogate || beyond || control ? 0 : n;
}

void uf_note_copy(char note[UF_NOTE_BYTES_MAX + 1], const uint8_t *bytes, size_t n)
{
    size_t i = 0;
    while (i < n) {
        size_t size = character(bytes + i, n - i);
        if (size)
            memcpy(note + i, bytes + i, size);
        else
            note[i] = '?';
        i += size ? size : 1;
    }
    note[n] = '\0';
}
