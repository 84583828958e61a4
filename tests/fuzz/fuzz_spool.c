/* SPDX-License-Identifier: MIT
 * Any bytes as a segment of the spool. First as they are; then with the CRC of each record that has
 * room made good, so that what lies behind it is reached. No record may lie outside. */
#include "base/bytes.h"
#include "daemon/spool_format.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void walk(const uint8_t *p, size_t n, uint64_t sequence)
{
    struct uf_spool_record r;
    size_t at = UF_SPOOL_HEADER_BYTES, before = at;
    while (uf_spool_next(p, n, sequence, &at, &r)) {
        if (r.bytes < p + before || r.bytes + r.n + 4 != p + at || at > n)
            abort();
        before = at;
        struct uf_spool_state state;
        (void)uf_spool_get_state(r.bytes, r.n, &state);
        volatile uint8_t sum = 0;
        for (size_t i = 0; i < r.n; i++)
            sum = (uint8_t)(sum + r.bytes[i]);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    uint64_t sequence = 1;
    int64_t utc_us;
    uint8_t *p = malloc(size ? size : 1); /* so that a read beyond it is seen */
    if (!p)
        return 0;
    if (size)
        memcpy(p, data, size);
    (void)uf_spool_get_header(p, size, &sequence, &utc_us);
    walk(p, size, sequence);
    for (size_t at = UF_SPOOL_HEADER_BYTES; at + UF_SPOOL_RECORD_BYTES <= size;) {
        uint32_t holds = uf_get_u32(p + at);
        if (holds > size - at - UF_SPOOL_RECORD_BYTES)
            break;
        uf_spool_seal(p + at, sequence);
        at += UF_SPOOL_RECORD_BYTES + holds;
    }
    walk(p, size, sequence);
    free(p);
    return 0;
}
