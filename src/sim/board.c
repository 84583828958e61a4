/* SPDX-License-Identifier: MIT
 * Packets of the simulated board: see board.h. Pure; any thread. */
#include "sim/board.h"

#include "encoder.h"

#include <string.h>

#define BOOT_US 180000 /* the board's clock at its first sample after a reboot */

void uf_sim_board_start(struct uf_sim_board *b, const struct uf_hello *hello, bool text)
{
    *b = (struct uf_sim_board){.hello = *hello, .text = text, .booting = true};
}

static size_t put_hello(const struct uf_sim_board *b, uint8_t *out, size_t size)
{
    struct uf_enc_hello h = {.channels = b->hello.channels,
                             .adc_bits = b->hello.adc_bits,
                             .rate_hz = b->hello.rate_hz,
                             .firmware = b->hello.firmware};
    memcpy(h.board_id, b->hello.board_id, sizeof h.board_id);
    return b->text ? uf_enc_text_hello(out, size, &h) : uf_enc_hello(out, size, &h);
}

static size_t put_note(const struct uf_sim_board *b, uint8_t *out, size_t size)
{
    static const char note[] = "simulated board: no real person, no real plates";
    size_t n = sizeof note - 1;
    return b->text ? uf_enc_text_note(out, size, note, n) : uf_enc_note(out, size, note, n);
}

static size_t put_sample(const struct uf_sim_board *b, const struct uf_sim_sample *s, uint8_t *out,
                         size_t size)
{
    struct uf_enc_sample e = {.seq = s->seq,
                              .t_us = s->t_us,
                              .inputs = s->inputs,
                              .status = s->status,
                              .channels = b->hello.channels,
                              .counts = s->counts_raw};
    if (b->rebased) {
        e.seq = (uint16_t)(s->seq - b->seq_base);
        e.t_us = s->t_us - b->t_base_us + BOOT_US;
    }
    return b->text ? uf_enc_text_sample(out, size, &e) : uf_enc_sample(out, size, &e);
}

size_t uf_sim_board_packets(struct uf_sim_board *b, const struct uf_sim_sample *sample,
                            uint8_t *out, size_t length[3])
{
    size_t n = 0, used = 0;
    if (sample->t_s < b->silent_until_s)
        return 0;
    if (b->booting && b->reboots) {
        b->rebased = true;
        b->seq_base = sample->seq;
        b->t_base_us = sample->t_us;
    }
    if (b->booting || sample->t_s >= b->next_hello_s) {
        used += length[n++] = put_hello(b, out, UF_SIM_BOARD_BYTES);
        b->next_hello_s = sample->t_s + 1;
        if (b->booting)
            used += length[n++] = put_note(b, out + used, UF_SIM_BOARD_BYTES - used);
        b->booting = false;
    }
    length[n++] = put_sample(b, sample, out + used, UF_SIM_BOARD_BYTES - used);
    return n;
}

void uf_sim_board_reboot(struct uf_sim_board *b, double t_s, double silent_s)
{
    b->booting = true;
    b->silent_until_s = t_s + silent_s;
    b->reboots++;
}
