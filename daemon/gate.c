/* SPDX-License-Identifier: MIT
 * Holds the line back until HELLO: see gate.h. Owns a decoder of its own and the bytes held. */
#include "daemon/gate.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct uf_gate {
    enum uf_wire_form form;
    char board_id[17];
    const struct uf_rig *rig;
    struct uf_wire *wire;
    bool open;
    size_t held;
    uint8_t bytes[UF_GATE_BYTES_MAX + UF_GATE_FEED_MAX];
};

int uf_gate_new(struct uf_gate **out, enum uf_wire_form form, const char *board_id,
                const struct uf_rig *rig, struct uf_error *err)
{
    *out = calloc(1, sizeof **out);
    struct uf_gate *g = *out;
    if (!g)
        return uf_fail(err, UF_ENOMEM, "no memory to look for the board");
    g->form = form;
    g->rig = rig;
    snprintf(g->board_id, sizeof g->board_id, "%s", board_id);
    int rc = uf_wire_new(&g->wire, form, err);
    if (rc) {
        free(g);
        *out = NULL;
    }
    return rc;
}

void uf_gate_free(struct uf_gate *g)
{
    if (!g)
        return;
    uf_wire_free(g->wire);
    free(g);
}

void uf_gate_shut(struct uf_gate *g)
{
    uf_wire_line_cut(g->wire);
    g->open = false;
    g->held = 0;
}

bool uf_gate_is_open(const struct uf_gate *g)
{
    return g->open;
}

int uf_gate_check(const struct uf_gate *g, const struct uf_hello *h, struct uf_error *err)
{
    char id[17];
    for (size_t i = 0; i < sizeof h->board_id; i++)
        snprintf(id + 2 * i, 3, "%02x", h->board_id[i]);
    if (*g->board_id && strcmp(id, g->board_id) != 0)
        return uf_fail(err, UF_EINVAL,
                       "board %s is not the one of this rig, %s: plug in that one, or set "
                       "link.board_id = %s",
                       id, g->board_id, id);
    if (g->rig && g->rig->channels > h->channels)
        return uf_fail(err, UF_EINVAL,
                       "board %s sends %d channels, but the rig \"%s\" needs %d: mend the channels "
                       "of [cell ...] in underfoot.conf, or the firmware",
                       id, h->channels, g->rig->name, g->rig->channels);
    return UF_OK;
}

/* What the bytes say: PASS, REFUSE, or HOLD when no HELLO is among them. */
static enum uf_gate_verdict look(struct uf_gate *g, const uint8_t *bytes, size_t n,
                                 struct uf_error *err)
{
    for (size_t at = 0; at < n;) {
        struct uf_wire_event event;
        uint64_t foreign = uf_wire_counts(g->wire)->unknown_protocol;
        at += uf_wire_feed(g->wire, bytes + at, n - at, &event);
        if (event.kind == UF_WIRE_HELLO)
            return uf_gate_check(g, &event.hello, err) ? UF_GATE_REFUSE : UF_GATE_PASS;
        if (uf_wire_counts(g->wire)->unknown_protocol != foreign) {
            uf_fail(err, UF_EVERSION,
                    "the board speaks version %d of the wire format, this underfootd knows version "
                    "%d: update underfootd, or load the matching firmware",
                    uf_wire_foreign_protocol(g->wire), UF_PROTOCOL);
            return UF_GATE_REFUSE;
        }
    }
    return UF_GATE_HOLD;
}

enum uf_gate_verdict uf_gate_feed(struct uf_gate *g, const uint8_t **bytes, size_t *n,
                                  struct uf_error *err)
{
    if (g->open)
        return UF_GATE_PASS;
    assert(*n <= UF_GATE_FEED_MAX);
    memcpy(g->bytes + g->held, *bytes, *n);
    g->held += *n;
    enum uf_gate_verdict verdict = look(g, *bytes, *n, err);
    if (verdict == UF_GATE_HOLD && g->held > UF_GATE_BYTES_MAX)
        verdict = UF_GATE_UNKNOWN;
    *bytes = g->bytes;
    *n = g->held;
    if (verdict != UF_GATE_HOLD)
        g->held = 0;
    g->open = verdict == UF_GATE_PASS;
    return verdict;
}
