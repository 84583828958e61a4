/* SPDX-License-Identifier: MIT
 * `underfoot-calib manual`: the manual page and the completion for bash, from the tables of
 * commands and options. */
#include "base/roff.h"
#include "calib/command.h"

#include <string.h>

static void print_options(const struct uf_calib_command *command, bool everywhere, FILE *out)
{
    for (int i = 0; i < UF_CALIB_OPTIONS; i++) {
        const char *value, *help;
        char name[48];
        enum uf_calib_option o = (enum uf_calib_option)i;
        /* those of every command stand once, at the end */
        if (uf_calib_option_of(NULL, o, &value, &help) != everywhere ||
            !uf_calib_option_of(command, o, &value, &help))
            continue;
        snprintf(name, sizeof name, "--%s", uf_calib_option_name(o));
        uf_roff_item(out, name, value, help);
    }
}

static void print_page(FILE *out)
{
    fputs(".TH UNDERFOOT\\-CALIB 1 \"\" \"Underfoot " UF_VERSION "\" \"Underfoot\"\n"
          ".SH NAME\nunderfoot\\-calib \\- known weights to a calibration of force plates\n"
          ".SH SYNOPSIS\n\\fBunderfoot\\-calib\\fR [\\fIOPTION\\fR]... \\fICOMMAND\\fR ...\n"
          ".SH DESCRIPTION\nPlans which weights to lay where, captures the loads, solves them to "
          "the\nmatrices that turn counts into newtons, says how good these are, stores them and "
          "puts\none in force. A calibration is never changed: a new one stands beside it.\n"
          ".SH COMMANDS\n",
          out);
    for (const struct uf_calib_command *c = uf_calib_command; c->name; c++) {
        fprintf(out, ".SS \"%s\"\n\\fBunderfoot\\-calib %s\\fR", c->name, c->name);
        if (*c->operands) {
            fputs(" \\fI", out);
            uf_roff_text(out, c->operands);
            fputs("\\fR", out);
        }
        fputs("\n.PP\n", out);
        uf_roff_text(out, c->help);
        fputs(".\n", out);
        print_options(c, false, out);
    }
    fputs(".SH OPTIONS\n", out);
    print_options(NULL, true, out);
    fputs(".SH EXIT STATUS\n0 done; 1 failed; 2 the command line is wrong.\n"
          ".SH FILES\n" UF_CONFIG_PATH ": settings and rig.\n"
          ".SH SEE ALSO\n.BR underfootd (8),\n.BR underfoot (1)\n",
          out);
}

static void print_words(const struct uf_calib_command *command, FILE *out)
{
    const char *value, *help;
    for (int i = 0; i < UF_CALIB_OPTIONS; i++)
        if (uf_calib_option_of(command, (enum uf_calib_option)i, &value, &help))
            fprintf(out, " --%s", uf_calib_option_name((enum uf_calib_option)i));
}

/* The options that take one of these values, as a pattern of the shell. */
static void print_pattern(bool with_value, const char *only, FILE *out)
{
    const char *value, *help, *bar = "";
    for (int i = 0; i < UF_CALIB_OPTIONS; i++) {
        (void)uf_calib_option_of(NULL, (enum uf_calib_option)i, &value, &help);
        if ((value != NULL) != with_value || (only && strcmp(value, only) != 0))
            continue;
        fprintf(out, "%s--%s", bar, uf_calib_option_name((enum uf_calib_option)i));
        bar = "|";
    }
}

static void print_completion(FILE *out)
{
    fputs("# bash completion for underfoot-calib; made by: underfoot-calib manual completion\n"
          "_underfoot_calib() {\n"
          "    local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD-1]} command= word\n"
          "    local i=1 offer=\n"
          "    case \"$prev\" in\n    ",
          out);
    print_pattern(true, "FILE", out);
    fputs(
        ") compopt -o default; COMPREPLY=(); return ;;\n"
        "    --plate) COMPREPLY=($(compgen -W \"left right single\" -- \"$cur\")); return ;;\n    ",
        out);
    print_pattern(true, NULL, out);
    fputs(") COMPREPLY=(); return ;;\n"
          "    esac\n"
          "    while [ \"$i\" -lt \"$COMP_CWORD\" ]; do\n"
          "        word=${COMP_WORDS[i]}\n"
          "        case \"$word\" in\n        ",
          out);
    print_pattern(true, NULL, out);
    fputs(") i=$((i + 1)) ;;\n"
          "        -*) ;;\n"
          "        *) command=${command:-$word} ;;\n"
          "        esac\n"
          "        i=$((i + 1))\n"
          "    done\n"
          "    case \"$command\" in\n"
          "    \"\") offer=\"",
          out);
    for (const struct uf_calib_command *c = uf_calib_command; c->name; c++)
        fprintf(out, " %s", c->name);
    print_words(NULL, out);
    fputs("\" ;;\n", out);
    for (const struct uf_calib_command *c = uf_calib_command; c->name; c++) {
        fprintf(out, "    %s) offer=\"%s", c->name,
                strcmp(c->name, "manual") == 0 ? " page completion" : "");
        print_words(c, out);
        fputs("\" ;;\n", out);
    }
    fputs("    esac\n"
          "    COMPREPLY=($(compgen -W \"$offer\" -- \"$cur\"))\n"
          "    [ \"${#COMPREPLY[@]}\" -gt 0 ] || compopt -o default\n"
          "}\n"
          "complete -F _underfoot_calib underfoot-calib\n",
          out);
}

int uf_calib_manual(const struct uf_calib_args *args, FILE *out, struct uf_error *err)
{
    if (strcmp(args->operand[0], "page") == 0)
        print_page(out);
    else if (strcmp(args->operand[0], "completion") == 0)
        print_completion(out);
    else
        return uf_fail(err, UF_EINVAL, "manual %.40s: give page or completion", args->operand[0]);
    return UF_OK;
}
