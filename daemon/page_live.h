/* SPDX-License-Identifier: MIT
 * Live values as the page gets them: golfer frame, NAN as null. Pure. */
#ifndef UF_DAEMON_PAGE_LIVE_H
#define UF_DAEMON_PAGE_LIVE_H

#include "plate/rig.h"
#include "swing/pipeline.h"

#include <jansson.h>

/* New reference; NULL without memory. feet: those that hold now; NULL: none. */
json_t *uf_page_live_json(const struct uf_live *live, const struct uf_rig *rig, enum uf_hand hand,
                          const struct uf_feet *feet);
/* Where the plates lie, in the rig frame. */
json_t *uf_page_plates_json(const struct uf_rig *rig);

#endif
