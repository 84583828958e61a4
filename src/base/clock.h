/* SPDX-License-Identifier: MIT
 * The host's clocks, for programs only: pure stages know none. Any thread. */
#ifndef UF_BASE_CLOCK_H
#define UF_BASE_CLOCK_H

#include <stdint.h>

/* CLOCK_BOOTTIME: monotonic, goes on through suspend. For intervals. */
int64_t uf_clock_mono_us(void);

/* UTC since 1970-01-01, as the host believes it now. For labels, never for intervals. */
int64_t uf_clock_utc_us(void);

#endif
