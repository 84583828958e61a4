/* SPDX-License-Identifier: MIT
 * CRC-32 eight bytes a step ("slicing by eight"). Table k holds the CRC of each byte followed by k
 * zero bytes. A CRC is linear over XOR, so each table follows from its eight one-bit entries. */
#include "wire/crc32.h"

#include "base/bytes.h"

/* clang-format off */
#define BIT(i, b, v) (((i) >> (b) & 1u) * (v))
#define ENTRY(i, a, b, c, d, e, f, g, h)                                                           \
    BIT(i, 0, a) ^ BIT(i, 1, b) ^ BIT(i, 2, c) ^ BIT(i, 3, d) ^ BIT(i, 4, e) ^ BIT(i, 5, f) ^      \
        BIT(i, 6, g) ^ BIT(i, 7, h)
#define FOUR(i, ...)                                                                               \
    ENTRY((i), __VA_ARGS__), ENTRY((i) + 1u, __VA_ARGS__), ENTRY((i) + 2u, __VA_ARGS__),           \
        ENTRY((i) + 3u, __VA_ARGS__)
#define SIXTEEN(i, ...)                                                                            \
    FOUR((i), __VA_ARGS__), FOUR((i) + 4u, __VA_ARGS__), FOUR((i) + 8u, __VA_ARGS__),              \
        FOUR((i) + 12u, __VA_ARGS__)
#define SIXTY_FOUR(i, ...)                                                                         \
    SIXTEEN((i), __VA_ARGS__), SIXTEEN((i) + 16u, __VA_ARGS__),                                    \
        SIXTEEN((i) + 32u, __VA_ARGS__), SIXTEEN((i) + 48u, __VA_ARGS__)
#define TABLE(...)                                                                                 \
    SIXTY_FOUR(0u, __VA_ARGS__), SIXTY_FOUR(64u, __VA_ARGS__), SIXTY_FOUR(128u, __VA_ARGS__),      \
        SIXTY_FOUR(192u, __VA_ARGS__)

static const uint32_t table[8][256] = {
    {TABLE(0x77073096u, 0xEE0E612Cu, 0x076DC419u, 0x0EDB8832u, 0x1DB71064u, 0x3B6E20C8u, 0x76DC4190u, 0xEDB88320u)},
    {TABLE(0x191B3141u, 0x32366282u, 0x646CC504u, 0xC8D98A08u, 0x4AC21251u, 0x958424A2u, 0xF0794F05u, 0x3B83984Bu)},
    {TABLE(0x01C26A37u, 0x0384D46Eu, 0x0709A8DCu, 0x0E1351B8u, 0x1C26A370u, 0x384D46E0u, 0x709A8DC0u, 0xE1351B80u)},
    {TABLE(0xB8BC6765u, 0xAA09C88Bu, 0x8F629757u, 0xC5B428EFu, 0x5019579Fu, 0xA032AF3Eu, 0x9B14583Du, 0xED59B63Bu)},
    {TABLE(0x3D6029B0u, 0x7AC05360u, 0xF580A6C0u, 0x30704BC1u, 0x60E09782u, 0xC1C12F04u, 0x58F35849u, 0xB1E6B092u)},
    {TABLE(0xCB5CD3A5u, 0x4DC8A10Bu, 0x9B914216u, 0xEC53826Du, 0x03D6029Bu, 0x07AC0536u, 0x0F580A6Cu, 0x1EB014D8u)},
    {TABLE(0xA6770BB4u, 0x979F1129u, 0xF44F2413u, 0x33EF4E67u, 0x67DE9CCEu, 0xCFBD399Cu, 0x440B7579u, 0x8816EAF2u)},
    {TABLE(0xCCAA009Eu, 0x4225077Du, 0x844A0EFAu, 0xD3E51BB5u, 0x7CBB312Bu, 0xF9766256u, 0x299DC2EDu, 0x533B85DAu)},
};
/* clang-format on */

uint32_t uf_crc32(const uint8_t *data, size_t n)
{
    uint32_t crc = 0xFFFFFFFFu;
    for (; n >= 8; n -= 8, data += 8) {
        uint32_t lo = crc ^ uf_get_u32(data);
        uint32_t hi = uf_get_u32(data + 4);
        crc = table[7][lo & 255] ^ table[6][lo >> 8 & 255] ^ table[5][lo >> 16 & 255] ^
              table[4][lo >> 24] ^ table[3][hi & 255] ^ table[2][hi >> 8 & 255] ^
              table[1][hi >> 16 & 255] ^ table[0][hi >> 24];
    }
    for (; n; n--, data++)
        crc = crc >> 8 ^ table[0][(crc ^ *data) & 255];
    return crc ^ 0xFFFFFFFFu;
}
