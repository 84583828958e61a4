/* SPDX-License-Identifier: MIT
 * See number_text.h. */
#include "base/number_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *unit, *written;
    int digits;
} units[] = {{"BW", "BW", 3},   {"N", "N", 1},   {"pct", "%", 1},   {"s", "s", 3},
             {"ms", "ms", 1},   {"mm", "mm", 1}, {"N m", "N m", 1}, {"N s", "N s", 1},
             {"m/s", "m/s", 2}, {"", "", 0},     {"deg", "deg", 1}, {"N m s", "N m s", 2}};

void uf_text_number(double value, const char *unit, char *out, size_t size)
{
    int digits = 3;
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++)
        if (strcmp(units[i].unit, unit) == 0)
            digits = units[i].digits;
    if (isnan(value))
        snprintf(out, size, "-");
    else
        snprintf(out, size, "%.*f", digits, value);
    if (strtod(out, NULL) == 0 && out[0] == '-' && out[1]) /* no "-0.0" */
        memmove(out, out + 1, strlen(out));
}

const char *uf_text_unit(const char *unit)
{
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++)
        if (strcmp(units[i].unit, unit) == 0)
            return units[i].written;
    return unit;
}
