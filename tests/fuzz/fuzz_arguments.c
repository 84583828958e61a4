/* SPDX-License-Identifier: MIT
 * Any words as the command line of underfoot-calib (words end in a newline; the program's name is
 * not among them): command, options, numbers, weights, gravity, and the settings they make. Nothing
 * is run. */
#include "fuzz.h"

#include "calib/command.h"

#include <math.h>

#define WORDS_MAX 24

static void look_values(const struct uf_calib_args *args)
{
    struct uf_error err = {0};
    struct uf_load_setup setup;
    memset(&setup, 0, sizeof setup);
    json_t *list = json_array(), *gravity = NULL;
    int rc = uf_calib_weights(args, &setup, list, &err);
    REQUIRE(setup.weights <= UF_WEIGHTS_MAX);
    if (rc)
        require_refusal(rc, &err);
    for (int i = 0; i < setup.weights; i++)
        REQUIRE(setup.weight[i].mass_kg > 0 && setup.weight[i].tolerance_kg >= 0);
    rc = uf_calib_gravity(args, &gravity, &err);
    if (rc)
        require_refusal(rc, &err);
    REQUIRE((rc == 0) == (gravity != NULL));
    for (int o = 0; o < UF_CALIB_OPTIONS; o++) {
        double v;
        rc = uf_calib_number(args, (enum uf_calib_option)o, 3, 120, 25, &v, &err);
        REQUIRE(rc || (v >= 3 && v <= 120));
    }
    json_decref(list);
    json_decref(gravity);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *text = fuzz_text(data, size), *argv[WORDS_MAX + 2] = {(char[]){"underfoot-calib"}};
    int argc = 1;
    for (char *p = text; argc <= WORDS_MAX && p < text + size; argc++) {
        argv[argc] = p;
        p += strcspn(p, "\n");
        *p++ = '\0';
    }
    struct uf_calib_args args;
    struct uf_error err = {0};
    int rc = uf_calib_args_parse(argc, argv, &args, &err);
    if (rc) {
        require_refusal(rc, &err);
    } else {
        REQUIRE(args.operands <= UF_OPERANDS_MAX);
        look_values(&args);
    }
    free(text);
    return 0;
}
