/* SPDX-License-Identifier: MIT
 * `underfoot manual`: the manual page (roff, man macros) and the completion for bash, both from the
 * table of commands. */
#include "base/roff.h"
#include "cli/cli.h"

#include <string.h>

/* ---- manual page ---- */

static void roff_options(FILE *out, const struct uf_cli_option *o)
{
    for (; o->name; o++)
        uf_roff_item(out, o->name, o->value, o->help);
}

static void print_page(FILE *out)
{
    int n;
    const struct uf_cli_command *commands = uf_cli_commands(&n);
    fprintf(out,
            ".TH UNDERFOOT 1 \"\" \"Underfoot %s\" \"Underfoot\"\n"
            ".SH NAME\nunderfoot \\- lessons, swings and numbers of the force plates\n"
            ".SH SYNOPSIS\n\\fBunderfoot\\fR [\\fB\\-\\-config\\fR \\fIFILE\\fR] "
            "[\\fB\\-\\-database\\fR \\fIFILE\\fR] \\fICOMMAND\\fR ...\n"
            ".SH DESCRIPTION\nReads and writes the database of \\fBunderfootd\\fR, while that runs "
            "or not. No number is a diagnosis.\n.SH COMMANDS\n",
            UF_VERSION);
    for (int i = 0; i < n; i++) {
        fprintf(out, ".SS \"%s\"\n", commands[i].name);
        fprintf(out, "\\fBunderfoot %s\\fR", commands[i].name);
        if (*commands[i].operands)
            fprintf(out, " \\fI%s\\fR", commands[i].operands);
        fputs("\n.PP\n", out);
        uf_roff_text(out, commands[i].summary);
        fputs(".\n", out);
        uf_roff_text(out, commands[i].more);
        fputc('\n', out);
        roff_options(out, commands[i].options);
    }
    fputs(".SH OPTIONS\n", out);
    roff_options(out, uf_cli_global_options);
    fprintf(out,
            ".SH EXIT STATUS\n%d done; %d failed; %d the command line is wrong; %d no daemon "
            "answers (status).\n"
            ".SH FILES\n%s: settings.\n"
            ".SH SEE ALSO\n.BR underfootd (8),\n.BR underfoot\\-calib (1),\n.BR sqlite3 (1)\n",
            UF_EXIT_DONE, UF_EXIT_FAILED, UF_EXIT_USAGE, UF_EXIT_NO_DAEMON, UF_CLI_CONFIG);
}

/* ---- completion ---- */

static void print_words(FILE *out, const struct uf_cli_option *o)
{
    for (; o->name; o++)
        fprintf(out, " %s", o->name);
}

/* First words, each once; or the second words of a family. */
static void print_names(FILE *out, const char *family)
{
    int n;
    const struct uf_cli_command *commands = uf_cli_commands(&n);
    for (int i = 0; i < n; i++) {
        const char *name = commands[i].name, *blank = strchr(name, ' ');
        size_t length = strcspn(name, " ");
        if (family) {
            if (blank && uf_cli_is_of(&commands[i], family))
                fprintf(out, " %s", blank + 1);
            continue;
        }
        if (i == 0 || strncmp(commands[i - 1].name, name, length) != 0 ||
            strcspn(commands[i - 1].name, " ") != length)
            fprintf(out, " %.*s", (int)length, name);
    }
}

/* Is the first operand the name of a player that there is? */
static bool takes_player(const struct uf_cli_command *command)
{
    return strncmp(command->operands, "PLAYER", 6) == 0 ||
           (uf_cli_is_of(command, "player") && strcmp(command->operands, "NAME") == 0 &&
            strcmp(command->name, "player add") != 0);
}

/* The words so far without options, the database that was named, and what an option before the
 * cursor asks for. */
static const char head[] =
    "# bash completion for underfoot; made by: underfoot manual completion\n"
    "_underfoot_players() {\n"
    "    local cur=$1 name; shift\n"
    "    local plain=${cur//\\\\/}\n"
    "    while IFS= read -r name; do\n"
    "        case \"$cur\" in\n"
    "        [\\\"\\']*) # a name that could do something inside of quotes is not offered there\n"
    "            [[ $name != *[\\\"\\'\\$\\`\\\\!]* && $name == \"${plain:1}\"* ]] && "
    "COMPREPLY+=(\"$name\") ;;\n"
    "        *) [[ $name == \"$plain\"* ]] && COMPREPLY+=(\"$(printf %q \"$name\")\") ;;\n"
    "        esac\n"
    "    done < <(underfoot \"$@\" player list --names 2>/dev/null)\n"
    "}\n"
    "_underfoot() {\n"
    "    local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD-1]} words=() which=() "
    "word\n"
    "    local i=1 offer= players=\n"
    "    COMPREPLY=()\n"
    "    while [ \"$i\" -lt \"$COMP_CWORD\" ]; do\n"
    "        word=${COMP_WORDS[i]}\n"
    "        case \"$word\" in\n"
    "        --config|--database)\n"
    "            [ \"$((i + 1))\" -lt \"$COMP_CWORD\" ] && which+=(\"$word\" "
    "\"${COMP_WORDS[i+1]}\")\n"
    "            i=$((i + 1)) ;;\n"
    "        -*) ;;\n"
    "        *) words+=(\"$word\") ;;\n"
    "        esac\n"
    "        i=$((i + 1))\n"
    "    done\n"
    "    case \"$prev\" in\n"
    "    --config|--database|--out) compopt -o default; return ;;\n"
    "    --player) _underfoot_players \"$cur\" \"${which[@]}\"; return ;;\n"
    "    --hand) COMPREPLY=($(compgen -W \"right left\" -- \"$cur\")); return ;;\n";

static void print_metrics(FILE *out)
{
    fputs("    --focus|--metric) COMPREPLY=($(compgen -W \"", out);
    for (int i = 0; i < UF_METRICS; i++)
        fprintf(out, "%s%s", i ? " " : "", uf_metric_row((enum uf_metric)i)->name);
    fputs("\" -- \"$cur\")); return ;;\n    esac\n", out);
}

/* What may follow a command: its options, and the names of players. */
static void print_offer(const struct uf_cli_command *command, FILE *out)
{
    print_words(out, command->options);
    fputs(takes_player(command) ? "\"; players=yes ;;\n" : "\" ;;\n", out);
}

static void print_completion(FILE *out)
{
    int n;
    const struct uf_cli_command *commands = uf_cli_commands(&n);
    fputs(head, out);
    print_metrics(out);
    fputs("    case \"${words[0]-} ${words[1]-}\" in\n", out);
    for (int i = 0; i < n; i++) /* the longer names first: "swing label" before "swing N" */
        if (strchr(commands[i].name, ' ')) {
            fprintf(out, "    \"%s\") offer=\"", commands[i].name);
            print_offer(&commands[i], out);
        }
    fputs("    *)\n        case \"${words[0]-}\" in\n        \"\") offer=\"", out);
    print_names(out, NULL);
    print_words(out, uf_cli_global_options);
    fputs("\" ;;\n", out);
    for (int i = 0; i < n; i++) {
        const char *name = commands[i].name;
        size_t length = strcspn(name, " ");
        bool seen = false;
        for (int k = 0; k < i; k++)
            seen = seen || (strcspn(commands[k].name, " ") == length &&
                            strncmp(commands[k].name, name, length) == 0);
        if (seen)
            continue;
        char first[24];
        snprintf(first, sizeof first, "%.*s", (int)length, name);
        fprintf(out, "        %s) offer=\"", first);
        print_names(out, first);
        if (name[length])
            fputs("\" ;;\n", out);
        else
            print_offer(&commands[i], out);
    }
    fputs("        esac ;;\n"
          "    esac\n"
          "    COMPREPLY=($(compgen -W \"$offer\" -- \"$cur\"))\n"
          "    [ -z \"$players\" ] || _underfoot_players \"$cur\" \"${which[@]}\"\n"
          "    case \"${words[0]-}\" in\n"
          "    import|export|backup) [ \"${#COMPREPLY[@]}\" -gt 0 ] || compopt -o default ;;\n"
          "    esac\n"
          "}\n"
          "complete -F _underfoot underfoot\n",
          out);
}

int uf_cli_manual(struct uf_cli *c)
{
    if (strcmp(c->operand[0], "page") == 0)
        print_page(c->out);
    else if (strcmp(c->operand[0], "completion") == 0)
        print_completion(c->out);
    else
        return uf_cli_fail(c, UF_EXIT_USAGE, "manual %s: give page or completion", c->operand[0]);
    return UF_EXIT_DONE;
}
