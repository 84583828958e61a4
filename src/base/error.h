/* SPDX-License-Identifier: MIT
 * Errors: a negative code for the program and a sentence for the person.
 * Every call that can fail returns 0 or one of these codes, and fills the caller's uf_error. */
#ifndef UF_BASE_ERROR_H
#define UF_BASE_ERROR_H

enum uf_code {
    UF_OK = 0,
    UF_EINVAL = -1,    /* the input is wrong: the sentence says what and where */
    UF_ENOMEM = -2,    /* no memory */
    UF_EIO = -3,       /* the system refused a read or a write */
    UF_ENOTFOUND = -4, /* no such file, row, device */
    UF_EBUSY = -5,     /* somebody else holds it; try again later */
    UF_EVERSION = -6,  /* made by a newer or an unknown version */
    UF_EFULL = -7,     /* a named limit is reached */
    UF_ECORRUPT = -8,  /* stored data fails its check */
    UF_EPERM = -9,     /* not allowed */
    UF_ESTATE = -10    /* not possible in this state */
};

struct uf_error {
    int code;
    char text[480]; /* one sentence, no newline: what was wrong, where, what to do */
};

/* Fills *err (which may be NULL) and returns code, so that a caller writes
 * `return uf_fail(err, UF_EINVAL, "...", ...)`. What is quoted may be anything: control characters
 * and what is not UTF-8 become '?'. */
int uf_fail(struct uf_error *err, int code, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

#endif
