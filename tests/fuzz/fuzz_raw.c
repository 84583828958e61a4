/* SPDX-License-Identifier: MIT
 * Any bytes to the decoder of raw swings. What it accepts must encode and decode to the same. */
#include "store/raw_codec.h"

#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct uf_capture *c, *again;
    uint8_t *bytes;
    size_t n;
    if (uf_raw_decode(data, size, &c, NULL))
        return 0;
    if (uf_raw_encode(c, &bytes, &n, NULL) || uf_raw_decode(bytes, n, &again, NULL) ||
        !uf_capture_equal(c, again))
        abort();
    free(bytes);
    uf_capture_free(c);
    uf_capture_free(again);
    return 0;
}
