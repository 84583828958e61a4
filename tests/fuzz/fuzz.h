/* SPDX-License-Identifier: MIT
 * For the fuzz targets: what must hold, and inputs as the parsers get them. */
#ifndef UF_TESTS_FUZZ_H
#define UF_TESTS_FUZZ_H

#include "base/error.h"
#include "base/utf8.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#define REQUIRE(x) ((x) ? (void)0 : abort())

/* Of that size exactly, so that a read beyond it is seen; ended by a NUL. To be freed. */
static inline char *fuzz_text(const uint8_t *data, size_t size)
{
    char *text = malloc(size + 1);
    REQUIRE(text);
    if (size)
        memcpy(text, data, size);
    text[size] = '\0';
    return text;
}

/* What is said can be shown: one line of printable text. */
static inline void require_plain(const char *text)
{
    REQUIRE(*text);
    for (size_t left = strlen(text), n; left > 0; text += n, left -= n) {
        n = uf_utf8_character((const uint8_t *)text, left);
        REQUIRE(n > 0);
    }
}

/* A refusal has its code, and a sentence. */
static inline void require_refusal(int rc, const struct uf_error *err)
{
    REQUIRE(rc < 0 && err->code == rc);
    require_plain(err->text);
}

/* The next byte of a script; 0 behind its end. */
struct fuzz_script {
    const uint8_t *p;
    size_t left;
};

static inline uint8_t fuzz_take(struct fuzz_script *s)
{
    if (s->left == 0)
        return 0;
    s->left--;
    return *s->p++;
}

#endif
