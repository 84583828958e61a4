/* SPDX-License-Identifier: MIT
 * Inside src/wire: from the 16-bit sequence and the 32-bit microseconds of the samples to a clock
 * that grows for ever, the samples lost, and the board's reboots. Pure: it decides from the
 * samples alone. */
#ifndef UF_WIRE_TIMELINE_H
#define UF_WIRE_TIMELINE_H

#include <stdbool.h>
#include <stdint.h>

/* A plain value; all zeros, then uf_timeline_board, is a new one. */
struct uf_timeline {
    bool started;
    bool other_board; /* the next sample begins an epoch, whatever it says */
    uint16_t seq;     /* of the last sample */
    uint32_t t_us;
    int64_t clock_us; /* its unwrapped time */
    int64_t t_dev_us; /* the same, made to grow: what was handed out */
    uint32_t epoch;
    double nominal_us; /* period by HELLO */
    double period_us;  /* period as measured on this board's clock */
    uint32_t measured; /* intervals in that mean */
};

enum uf_step {
    UF_STEP_NEXT,   /* a sample of the same run of the board */
    UF_STEP_REPEAT, /* one that came before: to be dropped, nothing changed */
    UF_STEP_REBOOT  /* the first sample of a new epoch */
};

/* A board with that rate speaks from now on (HELLO, first or changed). */
void uf_timeline_board(struct uf_timeline *t, uint16_t rate_hz);

/* One sample. After NEXT and REBOOT t->t_dev_us and t->epoch are its time; *lost is the number of
 * samples missing before it (0 after REBOOT). */
enum uf_step uf_timeline_step(struct uf_timeline *t, uint16_t seq, uint32_t t_us, uint32_t *lost);

#endif
