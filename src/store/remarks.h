/* SPDX-License-Identifier: MIT
 * What a person says of a stored swing: its block, that it does not count and why, a star, a
 * comment, a number of another instrument. The swing itself is never changed, and never deleted
 * but with its player. Each call is one transaction. */
#ifndef UF_STORE_REMARKS_H
#define UF_STORE_REMARKS_H

#include "store/lessons.h"

/* block_id 0: into none. UF_ESTATE when the block is of another session. */
int uf_remark_block(struct uf_store *s, const int64_t *swing, size_t n, int64_t block_id,
                    struct uf_error *err);
/* reason NULL or "": it counts again. */
int uf_remark_excluded(struct uf_store *s, const int64_t *swing, size_t n, const char *reason,
                       struct uf_error *err);
int uf_remark_starred(struct uf_store *s, const int64_t *swing, size_t n, bool starred,
                      struct uf_error *err);
/* comment NULL or "": none. */
int uf_remark_comment(struct uf_store *s, const int64_t *swing, size_t n, const char *comment,
                      struct uf_error *err);

/* How the player swung. The swings have to be derived again. */
int uf_remark_hand(struct uf_store *s, const int64_t *swing, size_t n, enum uf_hand hand,
                   struct uf_error *err);

struct uf_extra {
    int64_t swing_id;
    char name[64]; /* letters, digits and _, as club_speed */
    double value;  /* in unit; a speed in m/s */
    char unit[32];
    char original[96]; /* as given */
    char source[UF_NAME_BYTES];
    int64_t at_utc_us; /* 0: typed */
};
/* Canonical value and unit of a number with its unit as given (mph, km/h, kph, m/s; others stay):
 * fills value, unit and original. UF_EINVAL with a sentence for a value that is no number, a speed
 * without a known unit for a name that ends in _speed, a speed beyond 150 m/s. */
int uf_extra_take(struct uf_extra *e, const char *name, const char *value, const char *unit,
                  struct uf_error *err);
/* All or none. UF_ESTATE when a swing has another value of that name and !replace. */
int uf_extra_add(struct uf_store *s, const struct uf_extra *e, size_t n, bool replace,
                 int64_t now_utc_us, struct uf_error *err);
/* For a caller's transaction. */
int uf_extra_insert(struct uf_store *s, const struct uf_extra *e, bool replace, int64_t now_utc_us,
                    struct uf_error *err);

#endif
