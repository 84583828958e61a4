/* SPDX-License-Identifier: MIT
 * Command line of underfoot-sim. */
#ifndef UF_SIM_PROGRAM_OPTIONS_H
#define UF_SIM_PROGRAM_OPTIONS_H

#include "config/config.h"
#include "sim/faults.h"
#include "sim/sim.h"

#define STEPS_MAX 10000

struct options {
    struct uf_config config;
    struct uf_sim_settings sim;
    struct uf_fault_settings faults;
    struct uf_sim_step *steps; /* STEPS_MAX */
    size_t n_steps;
    const char *pty, *out, *truth, *calibration;
    int tcp_port; /* -1: no; 0: any free one */
    bool text, fast, wait, print_config;
};

/* 0: go on; 1: all is said (--help, --manual); negative: *err says what is wrong. */
int options_read(struct options *o, int argc, char **argv, struct uf_error *err);

#endif
