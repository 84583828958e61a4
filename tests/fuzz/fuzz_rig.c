/* SPDX-License-Identifier: MIT
 * Any text as a stored description of a rig: what is refused has its sentence; what is accepted
 * passes the rig's own check, and written out reads back to the same bits. */
#include "fuzz.h"

#include "store/rig_json.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct uf_rig rig, back;
    struct uf_error err = {0};
    char *given = fuzz_text(data, size);
    int rc = uf_rig_from_text(given, &rig, &err);
    free(given);
    if (rc) {
        require_refusal(rc, &err);
        return 0;
    }
    struct uf_rig checked = rig;
    REQUIRE(uf_rig_check(&checked, NULL) == UF_OK && !memcmp(&checked, &rig, sizeof rig));
    char *text = uf_rig_to_text(&rig);
    REQUIRE(text && uf_rig_from_text(text, &back, &err) == UF_OK);
    char *again = uf_rig_to_text(&back);
    REQUIRE(again && !strcmp(text, again));
    free(again);
    free(text);
    return 0;
}
