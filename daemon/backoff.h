/* SPDX-License-Identifier: MIT
 * How long to wait before the next try: twice as long each time, up to a limit. Plain values. */
#ifndef UF_DAEMON_BACKOFF_H
#define UF_DAEMON_BACKOFF_H

#include <stdint.h>

struct uf_backoff {
    uint64_t first_ms, longest_ms;
    uint64_t next_ms; /* 0: first_ms is next */
};

/* The wait before this try; the next one is twice as long, longest_ms at most. */
static inline uint64_t uf_backoff_next(struct uf_backoff *b)
{
    uint64_t now_ms = b->next_ms ? b->next_ms : b->first_ms;
    if (now_ms > b->longest_ms)
        now_ms = b->longest_ms;
    b->next_ms = now_ms < b->longest_ms / 2 ? 2 * now_ms : b->longest_ms;
    return now_ms;
}

/* It went well: begin again with first_ms. */
static inline void uf_backoff_reset(struct uf_backoff *b)
{
    b->next_ms = 0;
}

/* No use in trying soon. */
static inline void uf_backoff_slow(struct uf_backoff *b)
{
    b->next_ms = b->longest_ms;
}

#endif
