/* SPDX-License-Identifier: MIT
 * Damage to a byte stream: see faults.h. Pure; any thread. */
#include "sim/faults.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum form { CHANCE, RATE, NUMBER, EVENT };

struct key {
    const char *name;
    enum form form;
    size_t offset; /* CHANCE, RATE, NUMBER: of the double */
    enum uf_fault_kind kind;
    double length_s; /* EVENT: natural */
    double most;
    const char *help;
};

#define AT(field) offsetof(struct uf_fault_settings, field)

static const struct key keys[] = {
    {"flip", CHANCE, AT(flip), 0, 0, 1, "flip=P: chance of a byte to have a bit flipped"},
    {"lose", CHANCE, AT(lose), 0, 0, 1, "lose=P: chance of a byte to be lost"},
    {"twice", CHANCE, AT(twice), 0, 0, 1, "twice=P: chance of a byte to come twice"},
    {"damage", CHANCE, AT(damage), 0, 0, 1, "damage=P: chance of a packet to be damaged somewhere"},
    {"drop", CHANCE, AT(drop), 0, 0, 1, "drop=P: chance of a packet not to come at all"},
    {"burst", RATE, AT(burst_hz), 0, 0, 1e4, "burst=R/s: bursts of garbage between packets"},
    {"pause", RATE, AT(pause_hz), 0, 0, 1e3, "pause=R/s: bytes held back, then all at once"},
    {"pause_s", NUMBER, AT(pause_s), 0, 0, 60, "pause_s=S: how long (0.3)"},
    {"ppm", NUMBER, AT(ppm), 0, 0, 1e4, "ppm=N: error of the board's clock"},
    {"pause", EVENT, 0, UF_FAULT_PAUSE, 0.3, 60, "pause@T:S: one pause at T s, S s long (0.3)"},
    {"gap", EVENT, 0, UF_FAULT_GAP, 0.1, 3600, "gap@T:S: nothing sent for S s (0.1)"},
    {"reboot", EVENT, 0, UF_FAULT_REBOOT, 0.5, 3600, "reboot@T:S: the board restarts in S s (0.5)"},
    {"unplug", EVENT, 0, UF_FAULT_UNPLUG, 2, 3600, "unplug@T:S: the device is gone for S s (2)"},
};
#define KEYS (sizeof keys / sizeof keys[0])

const char *uf_fault_name(enum uf_fault_kind kind)
{
    for (size_t i = 0; i < KEYS; i++)
        if (keys[i].form == EVENT && keys[i].kind == kind)
            return keys[i].name;
    return "none";
}

void uf_fault_help(FILE *out)
{
    for (size_t i = 0; i < KEYS; i++)
        fprintf(out, "  %s\n", keys[i].help);
}

static int bad(const char *part, size_t n, const char *why, struct uf_error *err)
{
    return uf_fail(err, UF_EINVAL, "fault \"%.*s\": %s; underfoot-sim --help lists the faults",
                   (int)(n > 60 ? 60 : n), part, why);
}

static int add_event(struct uf_fault_settings *s, const struct key *key, double at_s,
                     double length_s, struct uf_error *err)
{
    if (s->events == UF_FAULT_EVENTS_MAX)
        return uf_fail(err, UF_EFULL, "more than %d faults at set times", UF_FAULT_EVENTS_MAX);
    size_t i = s->events++; /* kept in order of time */
    for (; i > 0 && s->event[i - 1].at_s > at_s; i--)
        s->event[i] = s->event[i - 1];
    s->event[i] = (struct uf_fault_event){key->kind, at_s, length_s};
    return UF_OK;
}

static int parse_part(const char *part, size_t n, struct uf_fault_settings *s, struct uf_error *err)
{
    char text[64];
    if (n >= sizeof text)
        return bad(part, n, "too long", err);
    memcpy(text, part, n);
    text[n] = '\0';
    size_t name = strcspn(text, "=@");
    bool event = text[name] == '@';
    if (!text[name])
        return bad(part, n, "it needs a '=' or a '@'", err);
    for (size_t i = 0; i < KEYS; i++) {
        const struct key *key = &keys[i];
        if (strlen(key->name) != name || memcmp(key->name, text, name) != 0 ||
            (key->form == EVENT) != event)
            continue;
        char *end, *number = text + name + 1;
        double value = strtod(number, &end), length_s = key->length_s;
        if (end == number || !isfinite(value))
            return bad(part, n, "no number after the '=' or '@'", err);
        if (event && *end == ':') {
            number = end + 1;
            length_s = strtod(number, &end);
            if (end == number || !(length_s > 0 && length_s <= key->most))
                return bad(part, n, "the length after ':' is not a number of seconds in range",
                           err);
        }
        if (key->form == RATE && !strcmp(end, "/s"))
            end += 2;
        if (*end)
            return bad(part, n, "something follows the number", err);
        if (event)
            return value >= 0 ? add_event(s, key, value, length_s, err)
                              : bad(part, n, "the time is negative", err);
        if (value < (key->form == NUMBER ? -key->most : 0) || value > key->most)
            return bad(part, n, "the number is out of range", err);
        *(double *)((char *)s + key->offset) = value;
        return UF_OK;
    }
    return bad(part, n, "there is no such fault", err);
}

int uf_fault_parse(const char *text, struct uf_fault_settings *s, struct uf_error *err)
{
    for (;;) {
        size_t n = strcspn(text, ",");
        int rc = parse_part(text, n, s, err);
        if (rc || !text[n])
            return rc;
        text += n + 1;
    }
}

/* Time of the next event of a rate: exponential gaps. */
static double later(struct uf_fault *f, double t_s, double rate_hz)
{
    return rate_hz > 0 ? t_s - log(1 - uf_sim_rng_uniform(&f->rng, 0, 1)) / rate_hz : INFINITY;
}

void uf_fault_start(struct uf_fault *f, const struct uf_fault_settings *s, uint64_t seed)
{
    memset(f, 0, sizeof *f);
    f->s = *s;
    if (!(f->s.pause_s > 0))
        f->s.pause_s = 0.3;
    uf_sim_rng_seed(&f->rng, seed ^ 0xFA17u);
    f->next_burst_s = later(f, 0, s->burst_hz);
    f->next_pause_s = later(f, 0, s->pause_hz);
}

static bool happens(struct uf_fault *f, double chance)
{
    return chance > 0 && uf_sim_rng_uniform(&f->rng, 0, 1) < chance;
}

static size_t below(struct uf_fault *f, size_t n)
{
    return (size_t)(uf_sim_rng_u64(&f->rng) % n);
}

static uint8_t flipped(struct uf_fault *f, uint8_t byte)
{
    return (uint8_t)(byte ^ (1u << below(f, 8)));
}

/* One damage at a place of the packet; returns the new length. */
static size_t damage(struct uf_fault *f, uint8_t *out, size_t n)
{
    size_t at = below(f, n);
    f->counts.damaged++;
    switch (below(f, 4)) {
    case 0:
        out[at] = flipped(f, out[at]);
        return n;
    case 1:
        memmove(out + at, out + at + 1, n - at - 1);
        return n - 1;
    case 2:
        memmove(out + at + 1, out + at, n - at);
        return n + 1;
    default:
        return at; /* cut short */
    }
}

static size_t single_bytes(struct uf_fault *f, uint8_t *out, size_t n)
{
    const struct uf_fault_settings *s = &f->s;
    for (size_t i = 0; i < n; i++) {
        if (happens(f, s->flip)) {
            out[i] = flipped(f, out[i]);
            f->counts.flipped++;
        }
        if (happens(f, s->twice)) {
            memmove(out + i + 1, out + i, n - i);
            n++;
            i++; /* the copy is left alone: at most twice as many */
            f->counts.doubled++;
        } else if (happens(f, s->lose)) {
            memmove(out + i, out + i + 1, n - i - 1);
            n--;
            i--;
            f->counts.lost++;
        }
    }
    return n;
}

size_t uf_fault_packet(struct uf_fault *f, double t_s, const uint8_t *packet, size_t n,
                       uint8_t *out)
{
    const struct uf_fault_settings *s = &f->s;
    size_t burst = 0;
    if (t_s < f->gap_until_s)
        return 0;
    if (t_s >= f->next_burst_s) {
        burst = 1 + below(f, UF_FAULT_BURST_MAX);
        for (size_t i = 0; i < burst; i++)
            out[i] = (uint8_t)uf_sim_rng_u64(&f->rng);
        f->counts.bursts++;
        f->next_burst_s = later(f, t_s, s->burst_hz);
    }
    if (n == 0)
        return burst;
    if (happens(f, s->drop)) {
        f->counts.dropped++;
        return burst;
    }
    memcpy(out + burst, packet, n);
    /* damage adds a byte at most, and so needs a packet that single bytes have not doubled */
    if (happens(f, s->damage))
        n = damage(f, out + burst, n);
    else if (s->flip > 0 || s->twice > 0 || s->lose > 0)
        n = single_bytes(f, out + burst, n);
    return burst + n;
}

struct uf_fault_event uf_fault_due(struct uf_fault *f, double t_s)
{
    while (f->next_event < f->s.events && f->s.event[f->next_event].at_s <= t_s) {
        struct uf_fault_event e = f->s.event[f->next_event++];
        if (e.kind != UF_FAULT_GAP)
            return e;
        f->gap_until_s = t_s + e.length_s;
    }
    if (t_s >= f->next_pause_s) {
        f->next_pause_s = later(f, t_s, f->s.pause_hz);
        return (struct uf_fault_event){UF_FAULT_PAUSE, t_s, f->s.pause_s};
    }
    return (struct uf_fault_event){UF_FAULT_NONE, t_s, 0};
}
