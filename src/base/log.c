/* SPDX-License-Identifier: MIT
 * Log lines on standard error: see log.h. Keeps no state; one write(2) a line, so that lines of
 * two threads never mix. */
#include "base/log.h"

#include "base/utf8.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

void uf_log(enum uf_log_level level, const char *format, ...)
{
    char line[1024];
    int start = 0;
    if (getenv("JOURNAL_STREAM"))
        start = snprintf(line, sizeof line, "<%d>", (int)level);
    va_list args;
    va_start(args, format);
    int n = vsnprintf(line + start, sizeof line - (size_t)start - 1, format, args);
    va_end(args);
    if (n < 0)
        return;
    size_t end = (size_t)start + (size_t)n;
    if (end > sizeof line - 2)
        end = sizeof line - 2;
    line[end] = '\0';
    uf_utf8_plain(line + start);
    line[end++] = '\n';
    ssize_t written = write(STDERR_FILENO, line, end);
    (void)written; /* there is nowhere left to complain to */
}
