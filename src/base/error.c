/* SPDX-License-Identifier: MIT
 * Errors: see error.h. Pure; any thread. */
#include "base/error.h"

#include "base/utf8.h"

#include <stdarg.h>
#include <stdio.h>

int uf_fail(struct uf_error *err, int code, const char *format, ...)
{
    if (err) {
        va_list args;
        va_start(args, format);
        vsnprintf(err->text, sizeof err->text, format, args);
        va_end(args);
        uf_utf8_plain(err->text); /* it may quote a file, a line, a database; or be cut short */
        err->code = code;
    }
    return code;
}
