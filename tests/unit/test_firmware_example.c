/* SPDX-License-Identifier: MIT
 * The example firmware on a made-up board, its bytes read by the decoder: a short strike is seen, a
 * port that is full for a while costs samples, and their number is right. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "example.c"
#include "wire/wire.h"

#include <string.h>

static uint32_t clock_us;
static uint8_t level;
static bool full;
static uint8_t port[200000];
static size_t port_n;

uint32_t board_capture_us(void)
{
    return clock_us;
}

uint8_t board_read(int32_t *counts)
{
    for (int i = 0; i < CHANNELS; i++)
        counts[i] = (int32_t)clock_us + i;
    return 0;
}

uint8_t board_inputs(void)
{
    return level;
}

void board_id(uint8_t id[8])
{
    memcpy(id, "ABCDEFGH", 8);
}

int board_send(const uint8_t *p, size_t n)
{
    assert_true(n > 0);
    if (full)
        return 0;
    memcpy(port + port_n, p, n);
    port_n += n;
    return 1;
}

static void test_a_run(void **state)
{
    (void)state;
    for (uint32_t k = 0; k < 2000; k++) {
        clock_us = 1000 * k;
        if (k == 500) { /* a strike of far less than a sample */
            level = UF_ENC_INPUT_STRIKE;
            on_input_edge();
            level = 0;
        }
        full = k >= 1000 && k < 1050;
        on_data_ready();
        for (int i = 0; i < 4; i++)
            loop();
    }
    struct uf_wire *w;
    assert_int_equal(uf_wire_new(&w, UF_FORM_AUTO, NULL), 0);
    int64_t struck_us = -1, last_us = -1;
    for (size_t taken = 0; taken < port_n;) {
        struct uf_wire_event e;
        taken += uf_wire_feed(w, port + taken, port_n - taken, &e);
        if (e.kind != UF_WIRE_SAMPLE)
            continue;
        for (int i = 0; i < CHANNELS; i++)
            assert_int_equal(e.frame.counts_raw[i], e.frame.t_dev_us + i);
        if (e.frame.inputs & UF_INPUT_STRIKE) {
            assert_int_equal(struck_us, -1); /* once */
            struck_us = e.frame.t_dev_us;
        }
        last_us = e.frame.t_dev_us;
    }
    const struct uf_wire_counts *c = uf_wire_counts(w);
    assert_int_equal(struck_us, 500000);
    assert_int_equal(last_us, 1999000);
    assert_int_equal(c->hellos, 2);
    assert_int_equal(c->lost, 51 - WAITING); /* 1000..1050: the loop runs after the interrupt */
    assert_int_equal(c->samples, 2000 - (51 - WAITING));
    uf_wire_free(w);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_a_run)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
