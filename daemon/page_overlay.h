/* SPDX-License-Identifier: MIT
 * Curves of several swings on one grid of time, with the same moment at 0: their mean, and their
 * spread about it. For pictures, not for numbers. Pure. */
#ifndef UF_DAEMON_PAGE_OVERLAY_H
#define UF_DAEMON_PAGE_OVERLAY_H

#include "swing/analysis.h"

#define UF_OVERLAY_FROM_S (-2.0)
#define UF_OVERLAY_STEP_S 0.005
#define UF_OVERLAY_POINTS 641 /* to +1.2 s */
#define UF_OVERLAY_CURVES 14

/* Name of curve k, as in the message of a swing. */
const char *uf_overlay_name(size_t k);

struct uf_overlay;
struct uf_overlay *uf_overlay_new(void); /* NULL without memory */
void uf_overlay_free(struct uf_overlay *o);
/* One swing more, whose moment is at zero_s from its first sample. Between its points straight
 * lines; NAN before, behind, and where one of the two points is NAN. */
void uf_overlay_add(struct uf_overlay *o, const struct uf_curves *c, double zero_s);
/* mean and sd[UF_OVERLAY_POINTS] of curve k: NAN where fewer than half of the swings have a value
 * (sd: fewer than two). Either may be NULL. */
void uf_overlay_get(const struct uf_overlay *o, size_t k, double *mean, double *sd);

#endif
