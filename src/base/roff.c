/* SPDX-License-Identifier: MIT
 * See roff.h. */
#include "base/roff.h"

void uf_roff_text(FILE *out, const char *text)
{
    if (*text == '.' || *text == '\'')
        fputs("\\&", out);
    for (; *text; text++)
        switch (*text) {
        case '\\':
            fputs("\\e", out);
            break;
        case '-':
            fputs("\\-", out);
            break;
        case '\n':
            fputc('\n', out);
            if (text[1] == ' ') /* an example */
                fputs(".br\n", out);
            if (text[1] == '.' || text[1] == '\'')
                fputs("\\&", out);
            break;
        default:
            fputc(*text, out);
        }
}

void uf_roff_item(FILE *out, const char *name, const char *value, const char *help)
{
    fputs(".TP\n\\fB", out);
    uf_roff_text(out, name);
    fputs("\\fR", out);
    if (value) {
        fputs(" \\fI", out);
        uf_roff_text(out, value);
        fputs("\\fR", out);
    }
    fputc('\n', out);
    uf_roff_text(out, help);
    fputc('\n', out);
}
