/* SPDX-License-Identifier: MIT
 * underfoot-calib: known weights to a calibration, and the stored calibrations. Exit status: 0, 1
 * when it failed, 2 when it was asked wrongly. */
#include "calib/command.h"

#include <stdio.h>

int main(int argc, char **argv)
{
    struct uf_error err = {0, ""};
    struct uf_calib_args args;
    if (uf_calib_args_parse(argc, argv, &args, &err) != UF_OK) {
        fprintf(stderr, "underfoot-calib: %s\n", err.text);
        return 2;
    }
    if (args.option[UF_OPT_VERSION]) {
        puts("underfoot-calib " UF_VERSION);
        return 0;
    }
    if (!args.command || args.option[UF_OPT_HELP]) {
        bool asked = args.option[UF_OPT_HELP] != NULL;
        uf_calib_help(args.command, asked ? stdout : stderr);
        return asked ? 0 : 2;
    }
    if (args.command->run(&args, stdout, &err) != UF_OK) {
        fflush(stdout);
        fprintf(stderr, "underfoot-calib: %s\n", err.text);
        return 1;
    }
    if (fflush(stdout) != 0 || ferror(stdout)) {
        perror("underfoot-calib: cannot write the output");
        return 1;
    }
    return 0;
}
