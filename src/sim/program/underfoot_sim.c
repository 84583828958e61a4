/* SPDX-License-Identifier: MIT
 * underfoot-sim: plays a simulated lesson as the byte stream of a board: onto a pseudo-terminal or
 * a loopback socket in real time, or into a recording. One thread. */
#include "options.h"
#include "sink.h"

#include "sim/board.h"

#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define TICK_S      0.001
#define BUFFER_SIZE 65536
#define HELD_MAX    (8u << 20) /* bytes that a pause holds back at most */

static volatile sig_atomic_t stopped;

static void stop(int signal)
{
    (void)signal;
    stopped = 1;
}

struct player {
    struct options o;
    struct uf_sim *sim;
    struct uf_sim_board board;
    struct uf_fault fault;
    struct sink sink;
    FILE *truth;
    size_t truths; /* written so far */
    struct timespec begun;
    uint8_t buffer[BUFFER_SIZE];
    size_t used;
    uint8_t *held; /* during a pause */
    size_t held_size;
    double held_until_s, unplugged_until_s; /* -1: not */
};

static double since(const struct timespec *begun)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)(now.tv_sec - begun->tv_sec) + 1e-9 * (double)(now.tv_nsec - begun->tv_nsec);
}

static void sleep_s(double s)
{
    struct timespec t = {(time_t)s, (long)(1e9 * (s - (double)(time_t)s))};
    nanosleep(&t, NULL);
}

static int write_json(const char *path, json_t *json, struct uf_error *err)
{
    if (!json)
        return uf_fail(err, UF_ENOMEM, "no memory for the calibration");
    int rc = json_dump_file(json, path, JSON_INDENT(1));
    json_decref(json);
    return rc ? uf_fail(err, UF_EIO, "%s cannot be written: %s", path, strerror(errno)) : UF_OK;
}

static int write_truths(struct player *p, size_t until, struct uf_error *err)
{
    for (; p->truth && p->truths < until; p->truths++) {
        json_t *json = uf_sim_truth_json(uf_sim_truth(p->sim, p->truths));
        if (!json)
            return uf_fail(err, UF_ENOMEM, "no memory for the truth of an act");
        int rc = json_dumpf(json, p->truth, JSON_COMPACT | JSON_REAL_PRECISION(10));
        json_decref(json);
        if (rc || fputc('\n', p->truth) == EOF || fflush(p->truth))
            return uf_fail(err, UF_EIO, "%s cannot be written: %s", p->o.truth, strerror(errno));
    }
    return UF_OK;
}

static int flush(struct player *p, struct uf_error *err)
{
    int rc = UF_OK;
    if (p->unplugged_until_s >= 0) { /* also from a recording it is missing */
        p->sink.dropped_bytes += p->used;
    } else if (p->held_until_s >= 0) { /* a pause: keep for later */
        if (p->held_size + p->used <= HELD_MAX) {
            memcpy(p->held + p->held_size, p->buffer, p->used);
            p->held_size += p->used;
        }
    } else {
        rc = sink_write(&p->sink, p->buffer, p->used, err);
    }
    p->used = 0;
    return rc;
}

static int end_pause(struct player *p, struct uf_error *err)
{
    int patience_ms = p->sink.patience_ms;
    p->held_until_s = -1;
    if (patience_ms >= 0)
        p->sink.patience_ms = 1000; /* what was held comes late, and all of it */
    int rc = sink_write(&p->sink, p->held, p->held_size, err);
    p->sink.patience_ms = patience_ms;
    p->held_size = 0;
    return rc;
}

/* Pauses, reboots and unplugs that are due. */
static int act_out(struct player *p, double t_s, struct uf_error *err)
{
    int rc = UF_OK;
    if (p->held_until_s >= 0 && t_s >= p->held_until_s)
        rc = end_pause(p, err);
    if (!rc && p->unplugged_until_s >= 0 && t_s >= p->unplugged_until_s) {
        p->unplugged_until_s = -1;
        rc = sink_plug(&p->sink, err);
        fprintf(stderr, "underfoot-sim: %.3f s: plugged in again\n", t_s);
    }
    struct uf_fault_event e;
    while (!rc && (e = uf_fault_due(&p->fault, t_s)).kind != UF_FAULT_NONE) {
        if (e.kind != UF_FAULT_PAUSE || p->fault.s.pause_hz == 0)
            fprintf(stderr, "underfoot-sim: %.3f s: %s of %g s\n", t_s, uf_fault_name(e.kind),
                    e.length_s);
        switch (e.kind) {
        case UF_FAULT_PAUSE:
            rc = flush(p, err);
            if (!p->held && !(p->held = malloc(HELD_MAX)))
                return uf_fail(err, UF_ENOMEM, "no memory for a pause");
            p->held_until_s = t_s + e.length_s;
            break;
        case UF_FAULT_REBOOT:
            uf_sim_board_reboot(&p->board, t_s, e.length_s);
            p->used -= p->used > 20 ? 20 : p->used; /* the last packet stops in its middle */
            break;
        case UF_FAULT_UNPLUG:
            rc = flush(p, err);
            sink_unplug(&p->sink);
            p->unplugged_until_s = t_s + e.length_s;
            break;
        case UF_FAULT_NONE:
        case UF_FAULT_GAP:
            break;
        }
    }
    return rc;
}

static int send_sample(struct player *p, const struct uf_sim_sample *sample, struct uf_error *err)
{
    uint8_t packets[UF_SIM_BOARD_BYTES], *packet = packets;
    size_t length[3], n = uf_sim_board_packets(&p->board, sample, packets, length);
    for (size_t i = 0; i < n; i++) {
        if (p->used + 2 * length[i] + UF_FAULT_BURST_MAX > BUFFER_SIZE) {
            int rc = flush(p, err);
            if (rc)
                return rc;
        }
        p->used += uf_fault_packet(&p->fault, sample->t_s, packet, length[i], p->buffer + p->used);
        packet += length[i];
    }
    return UF_OK;
}

/* Sends what is gathered and waits until the time of the next sample has come. */
static int keep_pace(struct player *p, double t_s, struct uf_error *err)
{
    if (since(&p->begun) >= t_s)
        return UF_OK;
    int rc = flush(p, err);
    sink_accept(&p->sink, false);
    while (!stopped && since(&p->begun) < t_s)
        sleep_s(TICK_S);
    return rc;
}

static int play(struct player *p, struct uf_error *err)
{
    bool paced = !p->o.out && !p->o.fast;
    struct uf_sim_sample sample;
    size_t act = 0;
    int rc = UF_OK;
    while (p->o.wait && p->sink.kind == SINK_TCP && p->sink.fd < 0 && !stopped)
        sink_accept(&p->sink, true);
    clock_gettime(CLOCK_MONOTONIC, &p->begun);
    while (!rc && !stopped && uf_sim_next(p->sim, &sample)) {
        while (act < uf_sim_truths(p->sim) && uf_sim_truth(p->sim, act)->end_s <= sample.t_s)
            act++;
        rc = write_truths(p, act, err);
        if (!rc && paced)
            rc = keep_pace(p, sample.t_s, err);
        if (!rc)
            rc = act_out(p, sample.t_s, err);
        if (!rc)
            rc = send_sample(p, &sample, err);
    }
    if (!rc)
        rc = flush(p, err);
    if (!rc && p->held_until_s >= 0)
        rc = end_pause(p, err);
    if (!rc && !stopped)
        rc = write_truths(p, uf_sim_truths(p->sim), err);
    return rc;
}

static int open_all(struct player *p, struct uf_error *err)
{
    struct uf_hello hello;
    struct options *o = &p->o;
    int rc = uf_sim_new(&p->sim, &o->sim, o->steps, o->n_steps, err);
    if (rc)
        return rc;
    uf_sim_hello(p->sim, &hello);
    uf_sim_board_start(&p->board, &hello, o->text);
    uf_fault_start(&p->fault, &o->faults, o->sim.seed);
    if (o->calibration) {
        struct uf_calibration cal;
        uf_sim_true_calibration(p->sim, &cal);
        rc = write_json(o->calibration, uf_calibration_to_json(&o->sim.rig, &cal), err);
        if (rc)
            return rc;
    }
    if (o->truth && !(p->truth = fopen(o->truth, "w")))
        return uf_fail(err, UF_EIO, "%s cannot be written: %s", o->truth, strerror(errno));
    rc = o->pty   ? sink_open_pty(&p->sink, o->pty, err)
         : o->out ? sink_open_file(&p->sink, o->out, err)
                  : sink_open_tcp(&p->sink, o->tcp_port, err);
    p->sink.ended = &stopped;
    p->sink.patience_ms = o->fast ? -1 : 0;
    return rc;
}

static void print_config(struct options *o)
{
    if (o->pty) {
        o->config.link.type = UF_LINK_RAW;
        snprintf(o->config.link.device, sizeof o->config.link.device, "%s", o->pty);
    }
    o->config.link.form = o->text ? UF_FORM_TEXT : UF_FORM_AUTO;
    o->config.pipeline.hand = o->sim.golfer.hand;
    uf_config_print(&o->config, stdout);
}

static void report(const struct player *p)
{
    const struct uf_fault_counts *c = &p->fault.counts;
    fprintf(stderr, "underfoot-sim: %s after %llu bytes\n", stopped ? "stopped" : "ended",
            (unsigned long long)p->sink.sent_bytes);
    if (p->sink.dropped_bytes)
        fprintf(stderr,
                "underfoot-sim: %llu bytes were dropped, because nobody took them in time\n",
                (unsigned long long)p->sink.dropped_bytes);
    if (c->flipped | c->lost | c->doubled | c->damaged | c->dropped | c->bursts)
        fprintf(stderr,
                "underfoot-sim: faults: %llu bytes flipped, %llu lost, %llu doubled; %llu packets "
                "damaged, %llu dropped; %llu bursts\n",
                (unsigned long long)c->flipped, (unsigned long long)c->lost,
                (unsigned long long)c->doubled, (unsigned long long)c->damaged,
                (unsigned long long)c->dropped, (unsigned long long)c->bursts);
}

int main(int argc, char **argv)
{
    static struct player p = {.held_until_s = -1,
                              .unplugged_until_s = -1,
                              .sink = {.fd = -1, .slave = -1, .listener = -1}};
    struct uf_error err, end;
    int rc = options_read(&p.o, argc, argv, &err);
    if (rc == UF_OK && p.o.print_config) {
        print_config(&p.o);
        rc = 1;
    }
    if (rc == UF_OK) {
        struct sigaction act = {.sa_handler = stop};
        sigaction(SIGINT, &act, NULL);
        sigaction(SIGTERM, &act, NULL);
        fprintf(stderr, "underfoot-sim: simulated data: the golfer, the plates and all numbers are "
                        "invented\n");
        rc = open_all(&p, &err);
        if (rc == UF_OK)
            rc = play(&p, &err);
        int rc_end = sink_close(&p.sink, rc || stopped ? 0 : 2, &end);
        if (rc == UF_OK && rc_end) {
            rc = rc_end;
            err = end;
        }
        if (rc == UF_OK)
            report(&p);
    }
    if (rc < 0)
        fprintf(stderr, "underfoot-sim: %s\n", err.text);
    if (p.truth && fclose(p.truth) && rc == UF_OK)
        rc = UF_EIO;
    free(p.held);
    free(p.o.steps);
    uf_sim_free(p.sim);
    return rc < 0 ? 1 : 0;
}
