/* SPDX-License-Identifier: MIT
 * A captured swing as raw data: all that an analysis needs, and nothing that it makes. This is what
 * is stored, and what `underfoot rederive` starts from. */
#ifndef UF_SWING_CAPTURE_H
#define UF_SWING_CAPTURE_H

#include "wire/wire.h"

#include <stdbool.h>
#include <stddef.h>

enum uf_hand { UF_RIGHT_HANDED, UF_LEFT_HANDED };

struct uf_capture {
    struct uf_hello board;
    enum uf_hand hand;       /* as set when it was captured */
    enum uf_hand shape_hand; /* the hand whose shape the trigger saw */
    int64_t start_dev_us;    /* device time of sample 0 */
    int64_t trigger_dev_us;  /* steepest rise of the lead foot's vertical force */
    bool ended_still;        /* the window ends in quiet standing */

    double tare_raw[UF_CHANNELS_MAX];           /* zero in force */
    bool quiet_known;                           /* quiet standing came before the swing */
    double quiet_raw[UF_CHANNELS_MAX];          /* mean counts of that quiet stretch */
    int64_t quiet_from_dev_us, quiet_to_dev_us; /* may lie before start_dev_us */

    size_t samples;
    uint32_t *offset_us;   /* [samples] device time - start_dev_us */
    uint16_t *lost_before; /* [samples] samples missing before this one; 65535 = that or more */
    uint8_t *inputs;       /* [samples] UF_INPUT_* */
    uint8_t *status;       /* [samples] UF_STATUS_* */
    int32_t *counts_raw;   /* [samples][board.channels] */
};

/* Arrays for n samples of board.channels channels; zeroed. */
int uf_capture_new(struct uf_capture **out, const struct uf_hello *board, size_t samples,
                   struct uf_error *err);
void uf_capture_free(struct uf_capture *c);

/* Are both the same swing, cut out perhaps a little differently? The same board, and the counts
 * about a's trigger stand in b, to the bit. */
bool uf_capture_same(const struct uf_capture *a, const struct uf_capture *b);

#endif
