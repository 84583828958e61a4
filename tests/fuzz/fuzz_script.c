/* SPDX-License-Identifier: MIT
 * Any text as a lesson or a list of faults of the simulator, as they stand on a command line. */
#include "fuzz.h"

#include "sim/faults.h"
#include "sim/lesson.h"

#include <math.h>

#define STEPS_MAX 300

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct uf_sim_step step[STEPS_MAX];
    struct uf_fault_settings f;
    struct uf_error err = {0};
    char *text = fuzz_text(data, size);
    size_t n = 0;
    int rc = uf_sim_steps_parse(text, step, STEPS_MAX, &n, &err);
    if (rc)
        require_refusal(rc, &err);
    REQUIRE(n <= STEPS_MAX);
    for (size_t i = 0; rc == 0 && i < n; i++)
        REQUIRE((unsigned)step[i].act < UF_SIM_ACTS && step[i].duration_s >= 0 &&
                step[i].duration_s <= 3600);
    memset(&f, 0, sizeof f);
    rc = uf_fault_parse(text, &f, &err);
    if (rc)
        require_refusal(rc, &err);
    REQUIRE(f.events <= UF_FAULT_EVENTS_MAX && isfinite(f.ppm) && f.flip >= 0 && f.flip <= 1);
    for (size_t i = 0; i < f.events; i++)
        REQUIRE(f.event[i].at_s >= 0 && f.event[i].length_s >= 0 &&
                (i == 0 || f.event[i].at_s >= f.event[i - 1].at_s));
    free(text);
    return 0;
}
