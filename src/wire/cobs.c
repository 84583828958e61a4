/* SPDX-License-Identifier: MIT
 * COBS decoder in place: see cobs.h. */
#include "wire/cobs.h"

#include <string.h>

ptrdiff_t uf_cobs_decode(uint8_t *buf, size_t n)
{
    if (!n || memchr(buf, 0, n))
        return -1;
    size_t in = 0, out = 1; /* buf[in] was the code byte; the next decoded byte goes to buf[out] */
    for (size_t code = buf[0];;) {
        size_t next = in + code;
        if (next > n)
            return -1;
        if (out != in + 1) /* only behind a block of 254 bytes, which stands for no zero */
            memmove(buf + out, buf + in + 1, code - 1);
        out += code - 1;
        if (next == n)
            return (ptrdiff_t)out - 1;
        size_t following = buf[next]; /* out may be next: read it before the zero goes there */
        if (code != 0xFF)
            buf[out++] = 0;
        in = next;
        code = following;
    }
}
