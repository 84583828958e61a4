/* SPDX-License-Identifier: MIT
 * Any bytes as one line of the text form, as it is and with its checksum made good. A second
 * reader, written from wire-format.md alone, must agree on which samples are legal; what is
 * accepted goes through the reference encoder and back to the same. */
#include "fuzz.h"

#include "encoder.h"
#include "wire/message.h"

#include <ctype.h>
#include <stdio.h>

/* Checks by text alone: is this a legal sample line (without its checksum)? */
static int plain_sample(const char *line)
{
    long long v[4 + UF_CHANNELS_MAX];
    int n = 0;
    if (strncmp(line, "S,", 2) != 0)
        return 0;
    const char *p = line + 2;
    for (;;) {
        int minus = n >= 4 && *p == '-', digits = 0;
        bool hex = n == 2 || n == 3; /* inputs, status */
        long long value = 0;
        p += minus;
        for (; (hex ? isxdigit((unsigned char)*p) : isdigit((unsigned char)*p)) && digits < 11; p++)
            digits++;
        if (digits < 1 || digits > (hex ? 2 : 10) || n == 4 + UF_CHANNELS_MAX)
            return 0;
        value = strtoll(p - digits, NULL, hex ? 16 : 10);
        v[n++] = minus ? -value : value;
        if (*p == '\0')
            break;
        if (*p++ != ',')
            return 0;
    }
    if (n < 5 || v[0] > 65535 || v[1] > 4294967295 || v[2] > 255 || v[3] > 255)
        return 0;
    for (int i = 4; i < n; i++)
        if (v[i] < -8388608 || v[i] > 8388607)
            return 0;
    return n - 4;
}

static enum uf_verdict again(const uint8_t *line, size_t n, struct uf_wire_event *e, uint32_t *t_us)
{
    REQUIRE(n > 1 && line[n - 1] == '\n');
    memset(e, 0, sizeof *e);
    return uf_line_parse(line, n - 1, e, t_us);
}

static void round_trip(enum uf_verdict verdict, const struct uf_wire_event *e, uint32_t t_us)
{
    uint8_t line[UF_ENC_TEXT_MAX];
    struct uf_wire_event back;
    uint32_t back_us = 0;
    if (verdict == UF_GOT_SAMPLE) {
        const struct uf_frame *f = &e->frame;
        struct uf_enc_sample s = {f->seq, t_us, f->inputs, f->status, f->channels, f->counts_raw};
        size_t n = uf_enc_text_sample(line, sizeof line, &s);
        REQUIRE(again(line, n, &back, &back_us) == UF_GOT_SAMPLE && back_us == t_us);
        REQUIRE(back.frame.seq == f->seq && back.frame.inputs == f->inputs &&
                back.frame.status == f->status && back.frame.channels == f->channels);
        REQUIRE(
            !memcmp(back.frame.counts_raw, f->counts_raw, f->channels * sizeof f->counts_raw[0]));
    } else if (verdict == UF_GOT_HELLO) {
        REQUIRE(uf_hello_is_legal(&e->hello));
    } else if (verdict == UF_GOT_NOTE && *e->note) {
        require_plain(e->note);
        char sent[UF_NOTE_BYTES_MAX + 1];
        strcpy(sent, e->note);
        for (char *c = sent; *c; c++)
            if ((unsigned char)*c > 0x7E || *c == '*')
                *c = '?'; /* as the encoder says it sends them */
        size_t n = uf_enc_text_note(line, sizeof line, e->note, strlen(e->note));
        REQUIRE(again(line, n, &back, &back_us) == UF_GOT_NOTE && !strcmp(back.note, sent));
    }
}

static void look(const char *line, size_t n)
{
    struct uf_wire_event e;
    uint32_t t_us = 0;
    memset(&e, 0, sizeof e);
    enum uf_verdict verdict = uf_line_parse((const uint8_t *)line, n, &e, &t_us);
    REQUIRE(verdict <= UF_UNKNOWN_PROTOCOL);
    round_trip(verdict, &e, t_us);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    if (size > UF_LINE_BYTES_MAX)
        return 0;
    char *line = fuzz_text(data, size);
    look(line, size);
    unsigned sum = 0;
    for (size_t i = 0; i < size; i++)
        sum ^= data[i];
    char *mended = malloc(size + 4);
    REQUIRE(mended);
    memcpy(mended, line, size);
    snprintf(mended + size, 4, "*%02X", sum);
    char *exact = fuzz_text((const uint8_t *)mended, size + 3);
    look(exact, size + 3);

    struct uf_wire_event e;
    uint32_t t_us;
    memset(&e, 0, sizeof e);
    enum uf_verdict verdict = uf_line_parse((const uint8_t *)exact, size + 3, &e, &t_us);
    int channels = memchr(line, '\0', size) ? 0 : plain_sample(line);
    REQUIRE((verdict == UF_GOT_SAMPLE) == (channels > 0));
    REQUIRE(!channels || e.frame.channels == channels);
    free(exact);
    free(mended);
    free(line);
    return 0;
}
