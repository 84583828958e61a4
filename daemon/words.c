/* SPDX-License-Identifier: MIT
 * See words.h. */
#include "daemon/words.h"

#include "base/log.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

bool uf_words_was_said(struct uf_words_said *said, bool waiting, const char *text)
{
    if (!waiting) {
        said->n = 0;
        return false;
    }
    for (size_t i = 0; i < UF_SAID_MAX && i < said->n; i++)
        if (strcmp(said->text[i], text) == 0)
            return true;
    snprintf(said->text[said->n++ % UF_SAID_MAX], sizeof said->text[0], "%s", text);
    return false;
}

void uf_words_board(const struct uf_hello *h, const char *device, char *text, size_t size)
{
    char id[17];
    if (!h) {
        snprintf(text, size, "%s", device);
        return;
    }
    for (size_t i = 0; i < sizeof h->board_id; i++)
        snprintf(id + 2 * i, 3, "%02x", h->board_id[i]);
    snprintf(text, size, "board %s at %s, %d channels at %d Hz, %d bits, firmware %d", id, device,
             h->channels, h->rate_hz, h->adc_bits, h->firmware);
}

const char *uf_words_no_zero(const struct uf_pipeline_doubts *d, uint64_t samples)
{
    if (d->rail > samples / 4)
        return "a channel is at its rail: look at the cells' wiring and the amplifier's range";
    if (d->excitation > samples / 4)
        return "the board says that the excitation is out of range: look at its supply";
    return "step off the plates and leave them still for some seconds";
}

void uf_words_plate(const struct uf_monitor_plate *w, const struct uf_plate *plate, char *text,
                    size_t size)
{
    if (w->suspect)
        snprintf(text, size,
                 "the %s plate's cells share the load as no load can make them, by %.1f N (limit "
                 "%.1f N), most at cell %s: look for a loose foot or a dead cell, then "
                 "underfoot-calib check",
                 uf_place_name(plate->place), w->left_n, w->limit_n, plate->cell[w->cell].name);
    else
        snprintf(text, size,
                 "the %s plate's cells share the load as they should again, %.1f N left over",
                 uf_place_name(plate->place), w->left_n);
}

void uf_words_missing(const char *device, bool bytes, bool greeted, char *text, size_t size)
{
    if (!bytes)
        snprintf(text, size,
                 "%s is open, but nothing comes: is the board running, and is this its port "
                 "(link.device)?",
                 device);
    else if (!greeted)
        snprintf(text, size,
                 "bytes come from %s, but no board says HELLO: check link.baud, and whether this "
                 "is the board (link.device)",
                 device);
    else
        snprintf(text, size, "the board at %s says HELLO, but sends no good sample", device);
}

void uf_words_lone_strike(int64_t t_dev_us, uint64_t count, char *text, size_t size)
{
    snprintf(text, size,
             "the strike sensor went off at %.3f s of the board's clock, and no swing was found "
             "there; %llu such since the start",
             1e-6 * (double)t_dev_us, (unsigned long long)count);
}

void uf_words_log_zero(const struct uf_tare_event *tare, const struct uf_rig *rig, double warn_n)
{
    for (int p = 0; tare->look && p < rig->plates; p++)
        if (fabs(tare->total_drift_n[p]) > warn_n)
            uf_log(UF_LOG_WARNING,
                   "zero: the %s plate has drifted by %.0f N since the start: look at its cells "
                   "and what lies on it",
                   uf_place_name(rig->plate[p].place), tare->total_drift_n[p]);
    if (tare->was_loaded)
        uf_log(UF_LOG_WARNING, "zero: the one before was taken with somebody on the plates; this "
                               "one replaces it");
}
