/* SPDX-License-Identifier: MIT
 * What the two forms share: legal values, and notes made fit for a log or a page. */
#include "wire/message.h"

#include "base/utf8.h"

#include <string.h>

bool uf_hello_is_legal(const struct uf_hello *h)
{
    return h->channels >= 1 && h->channels <= UF_CHANNELS_MAX && h->adc_bits >= 16 &&
           h->adc_bits <= 24 && h->rate_hz > 0;
}

void uf_note_copy(char note[UF_NOTE_BYTES_MAX + 1], const uint8_t *bytes, size_t n)
{
    size_t i = 0;
    while (i < n) {
        size_t size = uf_utf8_character(bytes + i, n - i);
        if (size)
            memcpy(note + i, bytes + i, size);
        else
            note[i] = '?';
        i += size ? size : 1;
    }
    note[n] = '\0';
}
