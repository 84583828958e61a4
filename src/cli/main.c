/* SPDX-License-Identifier: MIT
 * The `underfoot` command: see cli.h. */
#include "cli/cli.h"

#include <locale.h>
#include <unistd.h>

int main(int argc, char **argv)
{
    setlocale(LC_CTYPE, ""); /* not LC_NUMERIC: numbers keep their point */
    return uf_cli_main(argc, argv, isatty(STDIN_FILENO) ? stdin : NULL, stdout, stderr);
}
