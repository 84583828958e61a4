/* SPDX-License-Identifier: MIT
 * Players: who stands on the plates. A name is unique in a file, and is text for people: any
 * letters, quotes and markup, but nothing that moves the cursor. */
#ifndef UF_STORE_PLAYERS_H
#define UF_STORE_PLAYERS_H

#include "store/person_text.h"
#include "store/store.h"

struct uf_player {
    int64_t id;
    char uuid[37];
    char name[UF_NAME_BYTES];
    enum uf_hand hand;
    double foot_length_mm, stature_mm; /* NAN: not known */
    char note[UF_NOTE_BYTES];          /* "": none */
    char cautions[UF_NOTE_BYTES];
    int64_t made_utc_us;
};

/* name and hand are needed; id, uuid, made_utc_us are set. UF_ESTATE: there is one of that name. */
int uf_player_add(struct uf_store *s, struct uf_player *p, int64_t now_utc_us,
                  struct uf_error *err);
/* Writes all but id, uuid and made_utc_us. */
int uf_player_change(struct uf_store *s, const struct uf_player *p, struct uf_error *err);
/* By name (letters A-Z of either case) or uuid. UF_ENOTFOUND with the nearest name. */
int uf_player_find(struct uf_store *s, const char *name, struct uf_player *out,
                   struct uf_error *err);
int uf_player_get(struct uf_store *s, int64_t id, struct uf_player *out, struct uf_error *err);

#endif
