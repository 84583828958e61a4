/* SPDX-License-Identifier: MIT
 * How a firmware uses the encoder: the converters' data-ready interrupt takes the sample and the
 * time, the main loop encodes and sends. What is declared under "yours" depends on the chip. It is
 * compiled, and run against the host's decoder, with the tests. */
#include "encoder.h"

#define CHANNELS 24
#define RATE_HZ  1000
#define FIRMWARE 1
#define WAITING  16 /* samples between interrupt and loop, a power of two: 16 ms at 1 kHz */

/* ---- yours ---- */

uint32_t board_capture_us(void);     /* microsecond timer, captured by the data-ready edge */
uint8_t board_read(int32_t *counts); /* all converters over SPI; returns UF_ENC_STATUS bits */
uint8_t board_inputs(void);          /* levels now, as UF_ENC_INPUT bits */
void board_id(uint8_t id[8]);        /* serial number of the chip */
int board_send(const uint8_t *p, size_t n); /* all or nothing into the port's buffer; 0: no room */

void on_input_edge(void); /* interrupts: these two must have the same priority, so that neither */
void on_data_ready(void); /* can interrupt the other */
void loop(void);          /* call it for ever */

/* ---- the same everywhere ---- */

struct waiting {
    uint16_t seq;
    uint32_t t_us;
    uint8_t inputs, status;
    int32_t counts[CHANNELS];
};

static struct waiting ring[WAITING];
static volatile uint8_t written, sent; /* each has one writer; both wrap at 256 */
static volatile uint8_t latched;
static uint16_t next_seq;

/* A strike lasts less than a sample: what was high at any time since the last one must be seen. */
void on_input_edge(void)
{
    latched |= board_inputs();
}

void on_data_ready(void)
{
    struct waiting *w = &ring[written % WAITING];
    uint16_t seq = next_seq++; /* counts also what cannot be kept: the host sees the gap */
    if ((uint8_t)(written - sent) == WAITING)
        return; /* inputs stay latched for the next one */
    w->seq = seq;
    w->t_us = board_capture_us();
    w->status = board_read(w->counts);
    w->inputs = latched | board_inputs();
    latched = 0;
    written++;
}

static int send_hello(void)
{
    uint8_t packet[UF_ENC_HELLO_SIZE];
    struct uf_enc_hello hello = {CHANNELS, 24, RATE_HZ, FIRMWARE, {0}};
    board_id(hello.board_id);
    return board_send(packet, uf_enc_hello(packet, sizeof packet, &hello));
}

void loop(void)
{
    static uint16_t until_hello;
    uint8_t packet[UF_ENC_SAMPLE_SIZE(CHANNELS)];
    if (until_hello == 0 && !send_hello())
        return;
    if (until_hello == 0)
        until_hello = RATE_HZ;
    if (sent == written)
        return;
    {
        const struct waiting *w = &ring[sent % WAITING];
        struct uf_enc_sample s = {w->seq, w->t_us, w->inputs, w->status, CHANNELS, w->counts};
        if (!board_send(packet, uf_enc_sample(packet, sizeof packet, &s)))
            return; /* it is tried again; the ring takes what comes meanwhile */
    }
    sent++;
    until_hello--;
}
