/* SPDX-License-Identifier: MIT
 * Inside src/cli: date and time as other programs write them into their files. */
#ifndef UF_CLI_WHEN_H
#define UF_CLI_WHEN_H

#include <stdint.h>

#define UF_WHEN_NO_DAY INT64_MIN

/* "2026-03-01 14:30:05.25", "3/1/2026 2:30:05 PM", "01.03.2026, 14:30", "2026-03-01T13:30:05Z",
 * "...+01:00"; or a time of day alone, of the day that begins at day_utc_us (UF_WHEN_NO_DAY: none).
 * Local time unless it says otherwise. order: "ymd", "dmy" or "mdy"; a year of four digits in front
 * is ymd whatever it says. NULL, or what is wrong. */
const char *uf_when_parse(const char *text, const char *order, int64_t day_utc_us, int64_t *utc_us);

#endif
