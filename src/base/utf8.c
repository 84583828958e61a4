/* SPDX-License-Identifier: MIT
 * See utf8.h. */
#include "base/utf8.h"

#include <stdbool.h>
#include <string.h>

size_t uf_utf8_character(const uint8_t *p, size_t left)
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

static void plain(char *text, bool lines)
{
    for (size_t left = strlen(text); left > 0;) {
        size_t n = lines && *text == '\n' ? 1 : uf_utf8_character((const uint8_t *)text, left);
        if (n == 0) {
            *text = '?';
            n = 1;
        }
        text += n;
        left -= n;
    }
}

void uf_utf8_plain(char *text)
{
    plain(text, false);
}

void uf_utf8_lines(char *text)
{
    plain(text, true);
}
