/* SPDX-License-Identifier: MIT
 * Inside src/wire: the packets' checksum. Pure. */
#ifndef UF_WIRE_CRC32_H
#define UF_WIRE_CRC32_H

#include <stddef.h>
#include <stdint.h>

/* CRC-32/ISO-HDLC (poly 0x04C11DB7 reflected, init and xorout 0xFFFFFFFF). */
uint32_t uf_crc32(const uint8_t *data, size_t n);

#endif
