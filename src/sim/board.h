/* SPDX-License-Identifier: MIT
 * The simulated microcontroller: packets of the reference encoder from samples, HELLO at boot and
 * once a second, and what a reboot does to seq and clock. Pure. */
#ifndef UF_SIM_BOARD_H
#define UF_SIM_BOARD_H

#include "sim/sim.h"

#include <stddef.h>

/* HELLO, NOTE and SAMPLE together, in either form. */
#define UF_SIM_BOARD_BYTES 1024

struct uf_sim_board {
    struct uf_hello hello;
    bool text;
    bool booting; /* HELLO is due at the next sample that is sent */
    double silent_until_s, next_hello_s;
    bool rebased; /* after a reboot: seq and clock are counted from these */
    uint16_t seq_base;
    uint32_t t_base_us;
    uint64_t reboots;
};

void uf_sim_board_start(struct uf_sim_board *b, const struct uf_hello *hello, bool text);

/* Packets that are due with that sample, each whole, into out (UF_SIM_BOARD_BYTES); lengths of at
 * most 3 into length[], returns how many. 0 while it boots. */
size_t uf_sim_board_packets(struct uf_sim_board *b, const struct uf_sim_sample *sample,
                            uint8_t *out, size_t length[3]);

/* From t_s on: nothing for so long, then seq and clock start again. */
void uf_sim_board_reboot(struct uf_sim_board *b, double t_s, double silent_s);

#endif
