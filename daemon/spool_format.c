/* SPDX-License-Identifier: MIT
 * The spool's bytes: see spool_format.h. */
#include "daemon/spool_format.h"

#include "base/bytes.h"
#include "wire/crc32.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define BEFORE_BYTES 32u /* of a record, before what it holds; the CRC follows that */

static const uint8_t magic[8] = {'U', 'F', 'S', 'P', 'O', 'O', 'L', '1'};

void uf_spool_put_header(uint8_t *p, uint64_t sequence, int64_t utc_us)
{
    memset(p, 0, UF_SPOOL_HEADER_BYTES);
    memcpy(p, magic, sizeof magic);
    uf_put_u64(p + 8, sequence);
    uf_put_u64(p + 16, (uint64_t)utc_us);
    uf_put_u32(p + 24, uf_crc32(p, 24));
}

bool uf_spool_get_header(const uint8_t *p, size_t n, uint64_t *sequence, int64_t *utc_us)
{
    if (n < UF_SPOOL_HEADER_BYTES || memcmp(p, magic, sizeof magic) != 0 ||
        uf_get_u32(p + 24) != uf_crc32(p, 24))
        return false;
    *sequence = uf_get_u64(p + 8);
    *utc_us = (int64_t)uf_get_u64(p + 16);
    return *sequence > 0;
}

size_t uf_spool_put_record(uint8_t *p, const struct uf_spool_record *r)
{
    memset(p, 0, BEFORE_BYTES);
    uf_put_u32(p, (uint32_t)r->n);
    p[4] = (uint8_t)r->kind;
    uf_put_u64(p + 16, (uint64_t)r->mono_us);
    uf_put_u64(p + 24, (uint64_t)r->utc_us);
    if (r->n)
        memcpy(p + BEFORE_BYTES, r->bytes, r->n);
    return UF_SPOOL_RECORD_BYTES + r->n;
}

size_t uf_spool_record_size(const uint8_t *p)
{
    return UF_SPOOL_RECORD_BYTES + uf_get_u32(p);
}

void uf_spool_seal(uint8_t *p, uint64_t sequence)
{
    size_t n = BEFORE_BYTES + uf_get_u32(p);
    uf_put_u64(p + 8, sequence);
    uf_put_u32(p + n, uf_crc32(p, n));
}

bool uf_spool_next(const uint8_t *segment, size_t n, uint64_t sequence, size_t *at,
                   struct uf_spool_record *out)
{
    if (*at > n || n - *at < UF_SPOOL_RECORD_BYTES)
        return false;
    const uint8_t *p = segment + *at;
    uint32_t holds = uf_get_u32(p);
    if (holds > UF_SPOOL_PIECE_MAX || holds > n - *at - UF_SPOOL_RECORD_BYTES ||
        uf_get_u64(p + 8) != sequence || p[4] < UF_SPOOL_START || p[4] >= UF_SPOOL_KINDS ||
        uf_get_u32(p + BEFORE_BYTES + holds) != uf_crc32(p, BEFORE_BYTES + holds))
        return false;
    *out = (struct uf_spool_record){.kind = (enum uf_spool_kind)p[4],
                                    .mono_us = (int64_t)uf_get_u64(p + 16),
                                    .utc_us = (int64_t)uf_get_u64(p + 24),
                                    .bytes = p + BEFORE_BYTES,
                                    .n = holds};
    *at += UF_SPOOL_RECORD_BYTES + holds;
    return true;
}

/* ---- state ---- */

void uf_spool_put_state(uint8_t p[UF_SPOOL_STATE_BYTES], const struct uf_spool_state *s)
{
    memset(p, 0, UF_SPOOL_STATE_BYTES);
    p[0] = s->hand == UF_LEFT_HANDED;
    p[1] = s->has_tare;
    uf_put_u64(p + 8, (uint64_t)s->tare_utc_us);
    uf_put_u64(p + 16, (uint64_t)s->stored_id);
    for (size_t c = 0; c < UF_CHANNELS_MAX; c++) {
        uint64_t bits;
        memcpy(&bits, &s->tare_raw[c], sizeof bits);
        uf_put_u64(p + 24 + 8 * c, bits);
    }
}

bool uf_spool_get_state(const uint8_t *p, size_t n, struct uf_spool_state *out)
{
    if (n != UF_SPOOL_STATE_BYTES || p[0] > 1 || p[1] > 1)
        return false;
    out->hand = p[0] ? UF_LEFT_HANDED : UF_RIGHT_HANDED;
    out->has_tare = p[1];
    out->tare_utc_us = (int64_t)uf_get_u64(p + 8);
    out->stored_id = (int64_t)uf_get_u64(p + 16);
    for (size_t c = 0; c < UF_CHANNELS_MAX; c++) {
        uint64_t bits = uf_get_u64(p + 24 + 8 * c);
        memcpy(&out->tare_raw[c], &bits, sizeof bits);
        if (!isfinite(out->tare_raw[c]))
            out->tare_raw[c] = 0;
    }
    return true;
}

/* ---- files ---- */

void uf_spool_path(char path[UF_SPOOL_PATH_MAX], const char *folder, int number)
{
    snprintf(path, UF_SPOOL_PATH_MAX, "%s/%06d.seg", folder, number);
}

/* Number of a segment's name, or -1. */
static int number_of(const char *name)
{
    char *end;
    if (strlen(name) != 10 || strcmp(name + 6, ".seg") != 0)
        return -1;
    long v = strtol(name, &end, 10);
    return end == name + 6 && v >= 0 && v < UF_SPOOL_SEGMENTS_MAX ? (int)v : -1;
}

int uf_spool_load(const char *folder, int number, uint8_t *bytes, size_t most, size_t *n,
                  struct uf_error *err)
{
    char path[UF_SPOOL_PATH_MAX];
    uf_spool_path(path, folder, number);
    *n = 0;
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return uf_fail(err, UF_EIO, "cannot read the spool %s: %s", path, strerror(errno));
    while (*n < most) {
        ssize_t got = read(fd, bytes + *n, most - *n);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0) {
            int why = errno;
            close(fd);
            return uf_fail(err, UF_EIO, "cannot read the spool %s: %s", path, strerror(why));
        }
        if (got == 0)
            break;
        *n += (size_t)got;
    }
    close(fd);
    return UF_OK;
}

static int by_sequence(const void *a, const void *b)
{
    const struct uf_spool_segment *x = a, *y = b;
    if (x->sequence != y->sequence)
        return x->sequence < y->sequence ? -1 : 1;
    return x->number < y->number ? -1 : x->number > y->number;
}

int uf_spool_list(const char *folder, struct uf_spool_segment **out, size_t *n,
                  struct uf_error *err)
{
    struct uf_spool_segment *list = NULL;
    size_t room = 0;
    int rc = UF_OK;
    *out = NULL;
    *n = 0;
    DIR *dir = opendir(folder);
    if (!dir)
        return errno == ENOENT ? UF_OK
                               : uf_fail(err, UF_EIO, "cannot read the spool's folder %s: %s",
                                         folder, strerror(errno));
    for (const struct dirent *e; rc == UF_OK && (e = readdir(dir)) != NULL;) {
        uint8_t header[UF_SPOOL_HEADER_BYTES];
        struct uf_spool_segment s = {.number = number_of(e->d_name)};
        size_t got;
        if (s.number < 0)
            continue;
        if (*n == room) {
            room = 2 * room + 16;
            struct uf_spool_segment *more = realloc(list, room * sizeof *list);
            if (!more) {
                rc = uf_fail(err, UF_ENOMEM, "no memory to list the spool");
                break;
            }
            list = more;
        }
        rc = uf_spool_load(folder, s.number, header, sizeof header, &got, err);
        if (rc == UF_OK && !uf_spool_get_header(header, got, &s.sequence, &s.utc_us))
            s.sequence = 0;
        list[(*n)++] = s;
    }
    closedir(dir);
    if (rc || *n == 0) {
        free(list);
        *n = 0;
        return rc;
    }
    qsort(list, *n, sizeof *list, by_sequence);
    *out = list;
    return UF_OK;
}
