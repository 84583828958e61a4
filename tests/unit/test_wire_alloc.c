/* SPDX-License-Identifier: MIT
 * The decoder and the clock map allocate when they are made, and never again. Allocations are seen
 * by the sanitizer's hooks where the build has one, else by standing in for malloc. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "wire/clockmap.h"
#include "wire_stream.h"

#if defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define HOOKS 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define HOOKS 1
#endif

static size_t allocations;

#ifdef HOOKS

int __sanitizer_install_malloc_and_free_hooks(void (*malloc_hook)(const volatile void *, size_t),
                                              void (*free_hook)(const volatile void *));

static void on_malloc(const volatile void *p, size_t n)
{
    (void)p;
    (void)n;
    allocations++;
}

static void on_free(const volatile void *p)
{
    (void)p;
}

static void watch(void)
{
    assert_true(__sanitizer_install_malloc_and_free_hooks(on_malloc, on_free) > 0);
}

#else

/* glibc's own, under the names that it keeps for this */
void *__libc_malloc(size_t n);
void *__libc_calloc(size_t n, size_t size);
void *__libc_realloc(void *p, size_t n);

void *malloc(size_t n)
{
    allocations++;
    return __libc_malloc(n);
}

void *calloc(size_t n, size_t size)
{
    allocations++;
    return __libc_calloc(n, size);
}

void *realloc(void *p, size_t n)
{
    allocations++;
    return __libc_realloc(p, n);
}

static void watch(void)
{
}

#endif

static struct stream s;

static void test_decoder(void **state)
{
    (void)state;
    uint64_t rng = 31;
    size_t events = 0;
    for (int text = 0; text < 2; text++) { /* clean, noise, damaged, and the other form */
        s.text = text;
        s.channels = 12;
        put_hello(&s);
        for (uint32_t k = 0; k < 500; k++) {
            put_sample(&s, k);
            if (k % 10 == 0)
                s.bytes[s.n - 9] ^= 0x55;
            if (k % 50 == 0)
                put_note(&s, "a note");
            uint8_t noise[40];
            for (size_t i = 0; i < sizeof noise; i++)
                noise[i] = (uint8_t)chance(&rng);
            if (k % 25 == 0)
                put_bytes(&s, noise, sizeof noise);
        }
    }
    size_t before = allocations;
    struct uf_wire *w = new_wire(UF_FORM_AUTO);
    assert_true(allocations > before); /* the watch does see them */
    before = allocations;
    for (int turn = 0; turn < 3; turn++) {
        for (size_t taken = 0; taken < s.n;) {
            struct uf_wire_event e;
            size_t n = s.n - taken < 777 ? s.n - taken : 777;
            taken += uf_wire_feed(w, s.bytes + taken, n, &e);
            events += e.kind != UF_WIRE_NONE;
        }
        uf_wire_line_cut(w);
    }
    size_t after = allocations;
    assert_int_equal(after, before);
    assert_true(events > 2000);
    uf_wire_free(w);
}

static void test_clockmap(void **state)
{
    (void)state;
    uint64_t rng = 37;
    struct uf_clockmap *m;
    assert_int_equal(uf_clockmap_new(&m, 60, NULL), 0);
    size_t before = allocations;
    int64_t host_us, mapped = 0;
    for (int64_t d_us = 0; d_us < 200000000; d_us += 1 + chance(&rng) % 40000) {
        uf_clockmap_feed(m, d_us, d_us + 500 + chance(&rng) % 20000);
        mapped += uf_clockmap_host_us(m, d_us, &host_us);
    }
    uf_clockmap_reset(m);
    size_t after = allocations;
    assert_int_equal(after, before);
    assert_true(mapped > 1000);
    uf_clockmap_free(m);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_decoder),
        cmocka_unit_test(test_clockmap),
    };
    watch();
    return cmocka_run_group_tests(tests, NULL, NULL);
}
