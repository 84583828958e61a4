/* SPDX-License-Identifier: MIT
 * See person_text.h. */
#include "store/person_text.h"

#include <ctype.h>
#include <stdbool.h>
#include <string.h>

/* Bytes of the UTF-8 character at p, 0 when it is none; shortest forms only, no surrogates. */
static size_t utf8_length(const unsigned char *p)
{
    size_t n = p[0] < 0x80 ? 1 : p[0] >= 0xC2 && p[0] < 0xE0 ? 2 : p[0] >> 4 == 0xE ? 3 : 4;
    if (n == 4 && (p[0] < 0xF0 || p[0] > 0xF4))
        return 0;
    for (size_t i = 1; i < n; i++)
        if ((p[i] & 0xC0) != 0x80)
            return 0;
    if ((p[0] == 0xE0 && p[1] < 0xA0) || (p[0] == 0xED && p[1] > 0x9F) ||
        (p[0] == 0xF0 && p[1] < 0x90) || (p[0] == 0xF4 && p[1] > 0x8F))
        return 0;
    return n;
}

int uf_person_text(char *out, size_t size, const char *text, const char *what, struct uf_error *err)
{
    while (isspace((unsigned char)*text))
        text++;
    size_t n = strlen(text);
    while (n > 0 && isspace((unsigned char)text[n - 1]))
        n--;
    if (n >= size)
        return uf_fail(err, UF_EINVAL, "%s has %zu bytes; %zu are the most", what, n, size - 1);
    for (size_t i = 0; i < n;) {
        const unsigned char *p = (const unsigned char *)text + i;
        size_t length = utf8_length(p);
        if (length == 0)
            return uf_fail(err, UF_EINVAL,
                           "%s is not UTF-8 at byte %zu; set the terminal or the file to UTF-8",
                           what, i + 1);
        bool newline = *p == '\n' && size > UF_NAME_BYTES;
        if ((*p < 0x20 && !newline) || *p == 0x7F || (*p == 0xC2 && p[1] < 0xA0))
            return uf_fail(err, UF_EINVAL,
                           "%s has a control character at byte %zu (a tab, a line end, a colour "
                           "code?); leave it out",
                           what, i + 1);
        i += length;
    }
    memcpy(out, text, n);
    out[n] = '\0';
    return UF_OK;
}
