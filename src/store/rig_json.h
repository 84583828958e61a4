/* SPDX-License-Identifier: MIT
 * A rig's description as JSON, the form of rig.description_json, and back to the same bits. Keys
 * are sorted, so that equal descriptions are equal texts. Pure. */
#ifndef UF_STORE_RIG_JSON_H
#define UF_STORE_RIG_JSON_H

#include "plate/rig.h"

/* To be freed by the caller; NULL without memory. */
char *uf_rig_to_text(const struct uf_rig *rig);

/* Checks as uf_rig_check does. The sentence begins with "the stored description of the rig". */
int uf_rig_from_text(const char *text, struct uf_rig *out, struct uf_error *err);

#endif
