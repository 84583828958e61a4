/* SPDX-License-Identifier: MIT
 * The decoder of the line: cuts the bytes at delimiters, has the pieces parsed, counts what is bad,
 * knows the last HELLO, and puts samples on the timeline. Owns two fixed buffers; allocates only in
 * uf_wire_new.
 *
 * With form auto both forms are followed side by side, each in its own buffer, and the first packet
 * that proves itself decides: by its CRC-32 in binary, by checksum and every field in text. The
 * other form is still followed behind, so a wrong guess, or a board that now runs another
 * firmware, is noticed by the same proof. A text line can only displace the binary form where no
 * binary packet can be: more bytes without a zero than the longest has. (A binary note may carry
 * anything, a text line too.) */
#include "wire/wire.h"

#include "wire/message.h"
#include "wire/timeline.h"

#include <stdlib.h>
#include <string.h>

#define SCAN_BYTES      512 /* how far a delimiter is looked for at once */
#define LIKE_TEXT_BYTES 12

/* The piece of the line since the last delimiter. */
struct piece {
    size_t n;
    bool over; /* longer than any legal one: skipping to the next delimiter */
};

struct uf_wire {
    enum uf_wire_form form;     /* as set */
    enum uf_wire_form detected; /* AUTO: not known yet */
    struct piece packet, line;
    uint8_t packet_bytes[UF_PACKET_BYTES_MAX];
    uint8_t line_bytes[UF_LINE_BYTES_MAX];
    struct uf_hello hello;
    bool greeted; /* hello is in force */
    int foreign_protocol;
    struct uf_timeline timeline;
    struct uf_wire_counts counts;
};

int uf_wire_new(struct uf_wire **out, enum uf_wire_form form, struct uf_error *err)
{
    *out = calloc(1, sizeof **out);
    if (!*out)
        return uf_fail(err, UF_ENOMEM, "no memory for the decoder of the line");
    (*out)->form = form;
    (*out)->detected = form;
    return UF_OK;
}

void uf_wire_free(struct uf_wire *w)
{
    free(w);
}

void uf_wire_line_cut(struct uf_wire *w)
{
    w->packet = (struct piece){0};
    w->line = (struct piece){0};
    w->detected = w->form;
}

const struct uf_wire_counts *uf_wire_counts(const struct uf_wire *w)
{
    return &w->counts;
}

enum uf_wire_form uf_wire_detected(const struct uf_wire *w)
{
    return w->detected;
}

int uf_wire_foreign_protocol(const struct uf_wire *w)
{
    return w->foreign_protocol;
}

/* ---- counting ---- */

/* Only text characters, and not just a few by chance: then a damaged piece is taken for text while
 * the form is not known. */
static bool looks_like_text(const uint8_t *bytes, size_t n)
{
    if (n < LIKE_TEXT_BYTES)
        return false;
    for (size_t i = 0; i < n; i++)
        if ((bytes[i] < 0x20 && bytes[i] != '\r' && bytes[i] != '\n') || bytes[i] > 0x7E)
            return false;
    return true;
}

/* Each damaged piece is counted once, though both forms see it: by the form in force; before one is
 * known, by the one that the bytes look like. */
static bool is_counted(const struct uf_wire *w, enum uf_wire_form form, bool like_text)
{
    if (w->detected != UF_FORM_AUTO)
        return w->detected == form;
    return like_text == (form == UF_FORM_TEXT);
}

static void count(struct uf_wire_counts *c, enum uf_verdict verdict)
{
    switch (verdict) {
    case UF_BAD_COBS:
        c->bad_cobs++;
        break;
    case UF_BAD_CRC:
        c->bad_crc++;
        break;
    case UF_BAD_LENGTH:
        c->bad_length++;
        break;
    case UF_BAD_FIELD:
        c->bad_field++;
        break;
    case UF_TOO_LONG:
        c->too_long++;
        break;
    case UF_UNKNOWN_TYPE:
        c->unknown_type++;
        break;
    case UF_UNKNOWN_PROTOCOL:
        c->unknown_protocol++;
        break;
    case UF_GOT_HELLO:
    case UF_GOT_SAMPLE:
    case UF_GOT_NOTE:
    case UF_NOTHING:
        break;
    }
}

/* ---- messages ---- */

static bool same_board(const struct uf_hello *a, const struct uf_hello *b)
{
    return a->channels == b->channels && a->adc_bits == b->adc_bits && a->rate_hz == b->rate_hz &&
           a->firmware == b->firmware && memcmp(a->board_id, b->board_id, sizeof a->board_id) == 0;
}

static void take_hello(struct uf_wire *w, struct uf_wire_event *out)
{
    out->kind = UF_WIRE_HELLO;
    out->hello_changed = !w->greeted || !same_board(&w->hello, &out->hello);
    if (out->hello_changed) /* another board or another firmware: its clock is another one, too */
        uf_timeline_board(&w->timeline, out->hello.rate_hz);
    w->hello = out->hello;
    w->greeted = true;
    w->foreign_protocol = 0;
    w->counts.hellos++;
}

static void take_sample(struct uf_wire *w, struct uf_wire_event *out, uint32_t t_us)
{
    struct uf_frame *f = &out->frame;
    if (!w->greeted) {
        w->counts.before_hello++;
        return;
    }
    if (f->channels != w->hello.channels) {
        w->counts.bad_length++;
        return;
    }
    enum uf_step step = uf_timeline_step(&w->timeline, f->seq, t_us, &f->lost_before);
    if (step == UF_STEP_REPEAT) {
        w->counts.duplicates++;
        return;
    }
    w->counts.reboots += step == UF_STEP_REBOOT;
    w->counts.lost += f->lost_before;
    w->counts.samples++;
    f->t_dev_us = w->timeline.t_dev_us;
    f->epoch = w->timeline.epoch;
    out->kind = UF_WIRE_SAMPLE;
}

static void take(struct uf_wire *w, enum uf_verdict verdict, struct uf_wire_event *out,
                 uint32_t t_us)
{
    switch (verdict) {
    case UF_GOT_HELLO:
        take_hello(w, out);
        break;
    case UF_GOT_SAMPLE:
        take_sample(w, out, t_us);
        break;
    case UF_GOT_NOTE:
        out->kind = UF_WIRE_NOTE;
        w->counts.notes++;
        break;
    case UF_UNKNOWN_PROTOCOL:
        w->foreign_protocol = out->hello.protocol;
        w->greeted = false;
        count(&w->counts, verdict);
        break;
    default:
        count(&w->counts, verdict);
    }
}

/* ---- pieces ---- */

static void end_packet(struct uf_wire *w, struct uf_wire_event *out)
{
    size_t n = w->packet.n;
    bool over = w->packet.over;
    w->packet = (struct piece){0};
    if (over) /* was counted when it went over */
        return;
    uint32_t t_us = 0;
    enum uf_verdict verdict = uf_packet_parse(w->packet_bytes, n, out, &t_us);
    bool proven = verdict != UF_NOTHING && verdict != UF_BAD_COBS && verdict != UF_BAD_CRC;
    if (proven) {
        w->detected = UF_FORM_BINARY;
        w->line = (struct piece){0};
        take(w, verdict, out, t_us);
    } else if (is_counted(w, UF_FORM_BINARY, false)) {
        count(&w->counts, verdict);
    }
}

static void end_line(struct uf_wire *w, struct uf_wire_event *out)
{
    size_t n = w->line.n;
    bool over = w->line.over;
    w->line = (struct piece){0};
    if (over || (w->detected == UF_FORM_BINARY && !w->packet.over))
        return;
    uint32_t t_us = 0;
    enum uf_verdict verdict = uf_line_parse(w->line_bytes, n, out, &t_us);
    bool proven = verdict == UF_GOT_HELLO || verdict == UF_GOT_SAMPLE || verdict == UF_GOT_NOTE ||
                  verdict == UF_UNKNOWN_PROTOCOL;
    if (proven || w->detected == UF_FORM_TEXT) {
        if (proven)
            w->packet = (struct piece){0};
        w->detected = UF_FORM_TEXT;
        take(w, verdict, out, t_us);
    } else if (is_counted(w, UF_FORM_TEXT, looks_like_text(w->line_bytes, n))) {
        count(&w->counts, verdict);
    }
}

/* Adds n bytes to a piece. One that no legal packet can be is counted as soon as that is known. */
static void append(struct uf_wire *w, enum uf_wire_form form, const uint8_t *bytes, size_t n)
{
    bool binary = form == UF_FORM_BINARY;
    struct piece *piece = binary ? &w->packet : &w->line;
    uint8_t *buffer = binary ? w->packet_bytes : w->line_bytes;
    size_t room = (binary ? sizeof w->packet_bytes : sizeof w->line_bytes) - piece->n;
    if (piece->over)
        return;
    size_t fits = n < room ? n : room;
    memcpy(buffer + piece->n, bytes, fits);
    piece->n += fits;
    if (fits == n)
        return;
    piece->over = true;
    if (is_counted(w, form, looks_like_text(buffer, piece->n)))
        w->counts.too_long++;
}

size_t uf_wire_feed(struct uf_wire *w, const uint8_t *bytes, size_t n, struct uf_wire_event *out)
{
    size_t taken = 0;
    bool binary = w->form != UF_FORM_TEXT, text = w->form != UF_FORM_BINARY;
    out->kind = UF_WIRE_NONE;
    while (taken < n && out->kind == UF_WIRE_NONE) {
        const uint8_t *p = bytes + taken;
        size_t size = n - taken < SCAN_BYTES ? n - taken : SCAN_BYTES;
        const uint8_t *zero = binary ? memchr(p, 0x00, size) : NULL;
        if (zero)
            size = (size_t)(zero - p) + 1;
        const uint8_t *lf = text ? memchr(p, '\n', size) : NULL;
        if (lf) {
            size = (size_t)(lf - p) + 1;
            zero = NULL;
        }
        if (binary)
            append(w, UF_FORM_BINARY, p, size - (zero != NULL));
        if (text)
            append(w, UF_FORM_TEXT, p, size - (lf != NULL));
        taken += size;
        if (zero)
            end_packet(w, out);
        if (lf)
            end_line(w, out);
    }
    w->counts.bytes += taken;
    return taken;
}
