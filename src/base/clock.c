/* SPDX-License-Identifier: MIT
 * The host's clocks: see clock.h. Linux only (CLOCK_BOOTTIME). */
#include "base/clock.h"

#include <time.h>

static int64_t read_us(clockid_t id)
{
    struct timespec t;
    if (clock_gettime(id, &t) != 0)
        return 0;
    return (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
}

int64_t uf_clock_mono_us(void)
{
    return read_us(CLOCK_BOOTTIME);
}

int64_t uf_clock_utc_us(void)
{
    return read_us(CLOCK_REALTIME);
}
