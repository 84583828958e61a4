/* SPDX-License-Identifier: MIT
 * A captured swing as the bytes of swing_raw.data, and back to the last bit: counts, times, inputs,
 * status, zeros, what the board said. Raw counts are the only thing that cannot be made again, so
 * the encoder decodes what it made and compares before it hands it out. Pure; any thread. */
#ifndef UF_STORE_RAW_CODEC_H
#define UF_STORE_RAW_CODEC_H

#include "swing/capture.h"

#include <stdint.h>

/* The format's version, stored in the bytes and in swing_raw.format. */
#define UF_RAW_FORMAT 1
/* A swing of more samples is refused (UF_EFULL): 8 s at 65 kHz have half as many. */
#define UF_RAW_SAMPLES_MAX 1000000

/* *out of *n bytes, to be freed by the caller. */
int uf_raw_encode(const struct uf_capture *capture, uint8_t **out, size_t *n, struct uf_error *err);

/* Any bytes: a capture equal to the encoded one, or UF_ECORRUPT, or UF_EVERSION for a format that
 * this version does not know. */
int uf_raw_decode(const uint8_t *bytes, size_t n, struct uf_capture **out, struct uf_error *err);

/* Equal in every field and every sample, to the bit. */
bool uf_capture_equal(const struct uf_capture *a, const struct uf_capture *b);

#endif
