/* SPDX-License-Identifier: MIT
 * Any bytes as underfoot.conf: no crash; what is refused has a sentence, what is accepted is a
 * sound rig and prints to a file that reads back to the same. */
#include "config/config.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void need(int holds)
{
    if (!holds)
        abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct uf_config c, back;
    struct uf_error err = {0};
    uf_config_defaults(&c);
    uf_config_defaults(&back);
    if (uf_config_read_text(&c, "f", (const char *)data, size, &err)) {
        need(err.code == UF_EINVAL && err.text[0] == 'f' && !strchr(err.text, '\n'));
        need(!memcmp(&c, &back, sizeof c));
        return 0;
    }
    char *text = NULL;
    size_t n = 0;
    FILE *out = open_memstream(&text, &n);
    need(out != NULL);
    uf_config_print(&c, out);
    fclose(out);
    need(uf_config_read_text(&back, "p", text, n, &err) == UF_OK);
    need(!memcmp(&c, &back, sizeof c));
    need(uf_rig_check(&back.rig, &err) == UF_OK);
    free(text);

    /* and as an assignment from a command line */
    char assignment[400];
    size_t length = size < sizeof assignment - 1 ? size : sizeof assignment - 1;
    memcpy(assignment, data, length);
    assignment[length] = '\0';
    uf_config_set(&back, assignment, &err);
    need(uf_rig_check(&back.rig, &err) == UF_OK);
    return 0;
}
