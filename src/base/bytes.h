/* SPDX-License-Identifier: MIT
 * Little-endian integers in byte buffers, by shifting. The caller has checked the length. */
#ifndef UF_BASE_BYTES_H
#define UF_BASE_BYTES_H

#include <stdint.h>

static inline uint16_t uf_get_u16(const uint8_t *p)
{
    return (uint16_t)(p[0] | (uint16_t)(p[1] << 8));
}

static inline uint32_t uf_get_u32(const uint8_t *p)
{
    return (uint32_t)p[0] | (uint32_t)p[1] << 8 | (uint32_t)p[2] << 16 | (uint32_t)p[3] << 24;
}

static inline uint64_t uf_get_u64(const uint8_t *p)
{
    return (uint64_t)uf_get_u32(p) | (uint64_t)uf_get_u32(p + 4) << 32;
}

/* 24-bit two's complement. */
static inline int32_t uf_get_s24(const uint8_t *p)
{
    uint32_t u = (uint32_t)p[0] | (uint32_t)p[1] << 8 | (uint32_t)p[2] << 16;
    return (int32_t)(u ^ 0x800000u) - 0x800000;
}

static inline void uf_put_u16(uint8_t *p, uint16_t v)
{
    p[0] = (uint8_t)v;
    p[1] = (uint8_t)(v >> 8);
}

static inline void uf_put_u32(uint8_t *p, uint32_t v)
{
    uf_put_u16(p, (uint16_t)v);
    uf_put_u16(p + 2, (uint16_t)(v >> 16));
}

static inline void uf_put_u64(uint8_t *p, uint64_t v)
{
    uf_put_u32(p, (uint32_t)v);
    uf_put_u32(p + 4, (uint32_t)(v >> 32));
}

#endif
