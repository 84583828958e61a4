/* SPDX-License-Identifier: MIT
 * Any text as a date, a time, a count or a number of another instrument. First byte: the order of
 * dates. What is accepted, written out in UTC, is read again as the same moment. */
#include "fuzz.h"

#include "cli/text.h"
#include "cli/when.h"
#include "store/remarks.h"

#include <math.h>
#include <stdio.h>

static void look_when(const char *text, const char *order)
{
    int64_t utc_us = 0, again_us = 0;
    char written[64];
    const char *wrong = uf_when_parse(text, order, 1767225600000000, &utc_us);
    if (wrong) {
        require_plain(wrong);
        return;
    }
    uf_text_utc(utc_us, written, sizeof written);
    wrong = uf_when_parse(written, "ymd", UF_WHEN_NO_DAY, &again_us);
    if (strspn(written, "0123456789") == 4) /* the years that a file may have */
        REQUIRE(!wrong && again_us == utc_us);
}

static void look_number(const char *text)
{
    static const char *const units[] = {"mph", "km/h", "m/s", "rpm", ""};
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        struct uf_extra e;
        struct uf_error err = {0};
        memset(&e, 0, sizeof e);
        int rc = uf_extra_take(&e, i < 3 ? "club_speed" : "spin", text, units[i], &err);
        if (rc)
            require_refusal(rc, &err);
        else
            REQUIRE(isfinite(e.value) && (i >= 3 || (e.value >= 0 && e.value < 1000)));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const char *const orders[] = {"ymd", "dmy", "mdy"};
    if (size < 1)
        return 0;
    char *text = fuzz_text(data + 1, size - 1);
    int64_t v = 0;
    look_when(text, orders[data[0] % 3]);
    look_number(text);
    if (uf_text_parse_date(text, 1767225600000000, &v) == 0) {
        char local[64];
        int64_t again = 0;
        uf_text_local(v, local, sizeof local);
        REQUIRE(uf_text_parse_date(local, 0, &again) == 0);
        int64_t apart = again > v ? again - v : v - again;
        REQUIRE(apart % 1800000000 == 0 && apart <= 7200000000); /* an hour that comes twice */
    }
    if (uf_text_parse_count(text, 1, &v) == 0)
        REQUIRE(v >= 1);
    free(text);
    return 0;
}
