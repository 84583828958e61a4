/* SPDX-License-Identifier: MIT
 * Sentences about the line and the plates that the loop logs and stores. No state. */
#ifndef UF_DAEMON_WORDS_H
#define UF_DAEMON_WORDS_H

#include "plate/monitor.h"
#include "plate/rig.h"
#include "plate/tare.h"
#include "swing/pipeline.h"

/* Several ports in turn, or one with two faults, say the same things again and again. True: this
 * sentence was said already; waiting false: all may be said again. */
#define UF_SAID_MAX 4
struct uf_words_said {
    char text[UF_SAID_MAX][480];
    size_t n;
};
bool uf_words_was_said(struct uf_words_said *said, bool waiting, const char *text);

/* Who the board is; h NULL: it has not said so yet. */
void uf_words_board(const struct uf_hello *h, const char *device, char *text, size_t size);
/* Why samples come and no zero is found. */
const char *uf_words_no_zero(const struct uf_pipeline_doubts *d, uint64_t samples);
/* Logs what is strange about a zero; warn_n: a drift that is. */
void uf_words_log_zero(const struct uf_tare_event *tare, const struct uf_rig *rig, double warn_n);
/* What is missing where no sample comes. */
void uf_words_missing(const char *device, bool bytes, bool greeted, char *text, size_t size);
/* The strike sensor went off, and no swing came of it; count: such so far. */
void uf_words_lone_strike(int64_t t_dev_us, uint64_t count, char *text, size_t size);
/* A plate has become suspect, or is well again. */
void uf_words_plate(const struct uf_monitor_plate *w, const struct uf_plate *plate, char *text,
                    size_t size);

#endif
