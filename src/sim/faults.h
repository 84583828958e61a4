/* SPDX-License-Identifier: MIT
 * A bad line: takes packets of a good one and damages them, by chance from a seed or at set times.
 * Pure: it neither waits nor closes anything; pauses, reboots and unplugs are told to the program,
 * which acts them out. */
#ifndef UF_SIM_FAULTS_H
#define UF_SIM_FAULTS_H

#include "sim/sim.h"

#include <stddef.h>
#include <stdio.h>

#define UF_FAULT_EVENTS_MAX 32
#define UF_FAULT_BURST_MAX  64 /* bytes of garbage in one burst at most */

enum uf_fault_kind {
    UF_FAULT_NONE,
    UF_FAULT_PAUSE,  /* bytes are held for length_s, then come all at once */
    UF_FAULT_GAP,    /* packets of length_s are never sent; seq and clock go on */
    UF_FAULT_REBOOT, /* cut in a packet, silence of length_s, then seq and clock from the start */
    UF_FAULT_UNPLUG  /* the device is gone for length_s */
};
const char *uf_fault_name(enum uf_fault_kind kind);

struct uf_fault_event {
    enum uf_fault_kind kind;
    double at_s, length_s;
};

struct uf_fault_settings {
    double flip, lose, twice; /* chance of a byte: one bit flipped, lost, doubled */
    double damage, drop;      /* chance of a packet: damaged somewhere (each of the former, or cut
                                 short), dropped whole */
    double burst_hz, pause_hz;
    double pause_s; /* length of a pause by chance; 0.3 */
    double ppm;     /* error of the board's clock */
    struct uf_fault_event event[UF_FAULT_EVENTS_MAX];
    size_t events;
};

/* Adds what a text like
 * "flip=1e-5,lose=1e-6,burst=0.01/s,damage=0.01,reboot@30,unplug@60:2,ppm=100" says. The sentence
 * of an error names the part that is wrong. */
int uf_fault_parse(const char *text, struct uf_fault_settings *s, struct uf_error *err);
/* One line each, for --help. */
void uf_fault_help(FILE *out);

struct uf_fault_counts {
    uint64_t flipped, lost, doubled; /* bytes */
    uint64_t damaged, dropped;       /* packets */
    uint64_t bursts;
};

struct uf_fault {
    struct uf_fault_settings s;
    struct uf_sim_rng rng;
    double next_burst_s, next_pause_s;
    size_t next_event;
    double gap_until_s;
    struct uf_fault_counts counts;
};

void uf_fault_start(struct uf_fault *f, const struct uf_fault_settings *s, uint64_t seed);

/* What happens to one packet (whole, with its delimiter) at that time: bytes into out, which has
 * room for 2 * n + UF_FAULT_BURST_MAX. Returns how many; 0 when nothing is left of it. */
size_t uf_fault_packet(struct uf_fault *f, double t_s, const uint8_t *packet, size_t n,
                       uint8_t *out);

/* The next event that is due at t_s, once each; NONE when there is none. Gaps are handled inside.
 */
struct uf_fault_event uf_fault_due(struct uf_fault *f, double t_s);

#endif
