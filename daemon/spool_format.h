/* SPDX-License-Identifier: MIT
 * The spool on the disk: a folder of segments of one size, used in a ring. A segment begins with a
 * header (magic, sequence, time); records follow. A record names the segment's sequence and ends in
 * a CRC, so what is left of an older use of the file, or was torn by a power cut, ends the segment.
 * Bytes of the line stand in it unchanged, between what else the measuring chain was told. Pure but
 * for uf_spool_list and uf_spool_load. */
#ifndef UF_DAEMON_SPOOL_FORMAT_H
#define UF_DAEMON_SPOOL_FORMAT_H

#include "base/error.h"
#include "swing/capture.h"

#define UF_SPOOL_SEGMENT_BYTES (8u << 20) /* 90 s of 24 channels at 1 kHz */
#define UF_SPOOL_HEADER_BYTES  32u
#define UF_SPOOL_RECORD_BYTES  36u          /* of a record, beside what it holds */
#define UF_SPOOL_PIECE_MAX     (128u << 10) /* most that a record holds */
#define UF_SPOOL_SEGMENTS_MAX  200000
#define UF_SPOOL_PATH_MAX      320

enum uf_spool_kind {
    UF_SPOOL_START = 1, /* a new measuring chain, which knows a state */
    UF_SPOOL_STATE,     /* what it knows by now: after a change, and first in each segment */
    UF_SPOOL_BYTES,     /* of the line, and when they were read */
    UF_SPOOL_CUT,       /* the line was opened (again), or bytes are missing here */
    UF_SPOOL_ZERO,      /* a person asked for a zero */
    UF_SPOOL_CLEAR,     /* no swing waits; the database's newest one has this id */
    UF_SPOOL_END,       /* an orderly end of the daemon */
    UF_SPOOL_KINDS
};

struct uf_spool_state {
    enum uf_hand hand;
    bool has_tare;
    int64_t tare_utc_us;
    int64_t stored_id; /* as of the last CLEAR */
    double tare_raw[UF_CHANNELS_MAX];
};
#define UF_SPOOL_STATE_BYTES (24u + 8u * UF_CHANNELS_MAX)

struct uf_spool_record {
    enum uf_spool_kind kind;
    int64_t mono_us, utc_us; /* when it was put; mono: of that boot of the machine */
    const uint8_t *bytes;
    size_t n;
};

/* Header at p (UF_SPOOL_HEADER_BYTES). */
void uf_spool_put_header(uint8_t *p, uint64_t sequence, int64_t utc_us);
/* False: there is none, or it is damaged. */
bool uf_spool_get_header(const uint8_t *p, size_t n, uint64_t *sequence, int64_t *utc_us);

/* Record at p, room for UF_SPOOL_RECORD_BYTES + r->n; without sequence and CRC, which
 * uf_spool_seal puts in. Returns its size. */
size_t uf_spool_put_record(uint8_t *p, const struct uf_spool_record *r);
/* Size of the record at p, made by uf_spool_put_record. */
size_t uf_spool_record_size(const uint8_t *p);
void uf_spool_seal(uint8_t *p, uint64_t sequence);
/* The record at *at of a segment; steps over it. False: the segment ends there. */
bool uf_spool_next(const uint8_t *segment, size_t n, uint64_t sequence, size_t *at,
                   struct uf_spool_record *out);

void uf_spool_put_state(uint8_t p[UF_SPOOL_STATE_BYTES], const struct uf_spool_state *s);
/* False: not a state. Channels without a finite number have 0. */
bool uf_spool_get_state(const uint8_t *p, size_t n, struct uf_spool_state *out);

/* A segment's file; sequence 0: not used yet. */
struct uf_spool_segment {
    uint64_t sequence;
    int64_t utc_us; /* of its first record */
    int number;     /* in its name */
};
void uf_spool_path(char path[UF_SPOOL_PATH_MAX], const char *folder, int number);
/* All segments, the oldest first. *out is to be freed; NULL when there is none. */
int uf_spool_list(const char *folder, struct uf_spool_segment **out, size_t *n,
                  struct uf_error *err);
/* The first most bytes of a segment into bytes; *n is how many there are. */
int uf_spool_load(const char *folder, int number, uint8_t *bytes, size_t most, size_t *n,
                  struct uf_error *err);

#endif
