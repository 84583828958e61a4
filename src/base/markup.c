/* SPDX-License-Identifier: MIT
 * See markup.h. */
#include "base/markup.h"

#include <string.h>

static void put(FILE *out, char c)
{
    switch (c) {
    case '<':
        fputs("&lt;", out);
        break;
    case '>':
        fputs("&gt;", out);
        break;
    case '&':
        fputs("&amp;", out);
        break;
    case '"':
        fputs("&quot;", out);
        break;
    case '\'':
        fputs("&#39;", out);
        break;
    default:
        fputc(c, out);
    }
}

void uf_markup_text(FILE *out, const char *text)
{
    for (; *text; text++)
        put(out, *text);
}

size_t uf_markup_part(FILE *out, const char *text, size_t most)
{
    size_t n = strlen(text), end = n;
    if (n > most) {
        end = most;
        while (end > 0 && ((unsigned char)text[end] & 0xC0) == 0x80) /* within a character */
            end--;
    }
    for (size_t i = 0; i < end; i++)
        put(out, text[i]);
    if (end < n)
        fputs("\u2026", out);
    return end;
}
