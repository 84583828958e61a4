/* SPDX-License-Identifier: MIT
 * The table of commands: grammar, help, manual page and completion all come from it. A name of two
 * words belongs to a family. */
#include "cli/cli.h"

#define JSON_OPTION                                                                                \
    {                                                                                              \
        "--json", NULL, "as JSON, with every number unrounded"                                     \
    }
#define SINCE_OPTION                                                                               \
    {                                                                                              \
        "--since", "DATE", "from that local time on: 2026-03-01, \"2026-03-01 14:30\" or today"    \
    }
#define NOTE_OPTION                                                                                \
    {                                                                                              \
        "--note", "TEXT", "a note; \"\" takes it away"                                             \
    }
#define PLAYER_OPTIONS                                                                             \
    {"--hand", "right|left", "how the player swings"},                                             \
        {"--foot-mm", "MM", "length of the foot, heel to longest toe; \"\": not known"},           \
        {"--stature-mm", "MM", "height without shoes; \"\": not known"}, NOTE_OPTION,              \
        {"--cautions", "TEXT", "old injuries and the like, in your words"}, JSON_OPTION
#define FOCUS_OPTIONS                                                                              \
    {"--fault", "TEXT", "what the lesson is about, in your words; \"\" takes it away"},            \
    {                                                                                              \
        "--focus", "METRIC", "the one number that shows it, chosen beforehand; \"\": none"         \
    }
#define BLOCK_OPTIONS                                                                              \
    {"--ball", NULL, "with a ball"}, {"--no-ball", NULL, "without a ball"},                        \
        {"--club", "CLUB", "which club, as you call it"}, NOTE_OPTION, JSON_OPTION

static const struct uf_cli_command commands[] = {
    {.name = "swings",
     .operands = "",
     .summary = "list stored swings, the newest last",
     .more = "One line a swing. \"-\": not measurable; `underfoot swing N` says why.",
     .options = {{"--last", "N", "only the newest N (default 20; all: 0)"},
                 SINCE_OPTION,
                 JSON_OPTION},
     .run = uf_cli_swings},
    {.name = "swing",
     .operands = "N|last",
     .summary = "all numbers of one swing, and its curves",
     .more =
         "Forces are of the ground on the golfer. Lead: the foot nearer the target. Target-ward\n"
         "and toe-ward are positive, and so is a turn moment that turns the golfer towards the\n"
         "target. BW: body weights. A number that could not be measured shows its reason.",
     .least = 1,
     .most = 1,
     .options = {{"--words", NULL, "the meaning of each number instead of its name"},
                 {"--ascii", NULL, "curves in ASCII (as where the locale is not UTF-8)"},
                 JSON_OPTION},
     .run = uf_cli_swing},
    {.name = "swing label",
     .operands = "BLOCK|none N ...",
     .summary = "move swings into a block of their session",
     .more = "A swing that arrived while no block, or the wrong one, was open. `underfoot block\n"
             "list` shows the blocks; `underfoot block add` makes one for a session that is over.",
     .least = 2,
     .most = UF_CLI_OPERANDS_MAX,
     .options = {JSON_OPTION},
     .run = uf_cli_swing_label},
    {.name = "swing exclude",
     .operands = "N ...",
     .summary = "let swings not count, with a reason",
     .more = "They stay stored, and `underfoot swing include` takes it back.",
     .least = 1,
     .most = UF_CLI_OPERANDS_MAX,
     .options = {{"--reason", "TEXT", "why (needed)"}, JSON_OPTION},
     .run = uf_cli_swing_exclude},
    {.name = "swing include",
     .operands = "N ...",
     .summary = "let excluded swings count again",
     .more = "The opposite of `underfoot swing exclude`.",
     .least = 1,
     .most = UF_CLI_OPERANDS_MAX,
     .options = {JSON_OPTION},
     .run = uf_cli_swing_exclude},
    {.name = "swing star",
     .operands = "N ...",
     .summary = "mark swings that are worth finding again",
     .more = "sqlite3: SELECT * FROM swings WHERE starred.",
     .least = 1,
     .most = UF_CLI_OPERANDS_MAX,
     .options = {JSON_OPTION},
     .run = uf_cli_swing_star},
    {.name = "swing unstar",
     .operands = "N ...",
     .summary = "take that mark away",
     .more = "The opposite of `underfoot swing star`.",
     .least = 1,
     .most = UF_CLI_OPERANDS_MAX,
     .options = {JSON_OPTION},
     .run = uf_cli_swing_star},
    {.name = "swing comment",
     .operands = "N TEXT",
     .summary = "say something of a swing; \"\" takes it away",
     .more = "Another comment takes the place of the one before.",
     .least = 2,
     .most = 2,
     .options = {JSON_OPTION},
     .run = uf_cli_swing_comment},
    {.name = "swing extra",
     .operands = "N NAME VALUE [UNIT]",
     .summary = "a number that another instrument measured of a swing",
     .more = "NAME in small letters, as club_speed or spin. A name that ends in _speed needs mph,\n"
             "km/h or m/s, and is kept in m/s beside what you typed.",
     .least = 3,
     .most = 4,
     .options = {{"--replace", NULL, "put it in the place of another value"}, JSON_OPTION},
     .run = uf_cli_swing_extra},
    {.name = "swing hand",
     .operands = "right|left N ...",
     .summary = "say how the player swung, and derive the swings again",
     .more =
         "For swings that came while the other hand was set. The lead foot, and every sign, hang\n"
         "on it. What was set at the capture stays in swing.captured_hand.",
     .least = 2,
     .most = UF_CLI_OPERANDS_MAX,
     .options = {JSON_OPTION},
     .run = uf_cli_swing_hand},
    {.name = "player add",
     .operands = "NAME",
     .summary = "add a player, by name or by a code",
     .more = "The hand is needed. Cautions are shown with every report: an old injury, say, in\n"
             "your own words.",
     .least = 1,
     .most = 1,
     .options = {PLAYER_OPTIONS},
     .run = uf_cli_player_add},
    {.name = "player edit",
     .operands = "NAME",
     .summary = "change what is known of a player",
     .more = "Only what is given changes. \"\" takes a value away.",
     .least = 1,
     .most = 1,
     .options = {{"--name", "NAME", "another name or code"}, PLAYER_OPTIONS},
     .run = uf_cli_player_edit},
    {.name = "player list",
     .operands = "",
     .summary = "list the players",
     .more = "With their sessions and swings, and when they were last here.",
     .options = {{"--names", NULL, "only the names, one a line"}, JSON_OPTION},
     .run = uf_cli_player_list},
    {.name = "player show",
     .operands = "NAME",
     .summary = "a player: cautions, sessions, blocks",
     .more = "Means of the swings that count are in the view player_history.",
     .least = 1,
     .most = 1,
     .options = {JSON_OPTION},
     .run = uf_cli_player_show},
    {.name = "session start",
     .operands = "PLAYER",
     .summary = "begin a lesson with a player",
     .more =
         "Swings that arrive from now on belong to it, and the daemon takes the player's hand.\n"
         "A session that is still open ends.",
     .least = 1,
     .most = 1,
     .options = {FOCUS_OPTIONS, NOTE_OPTION, JSON_OPTION},
     .run = uf_cli_session_start},
    {.name = "session end",
     .operands = "[N]",
     .summary = "end a session, by default the open one",
     .more = "Its open block ends too.",
     .most = 1,
     .options = {JSON_OPTION},
     .run = uf_cli_session_end},
    {.name = "session edit",
     .operands = "N",
     .summary = "say whose session it was, what it was about, or change its note",
     .more = "For swings that came before anybody was named, and for the report.",
     .least = 1,
     .most = 1,
     .options =
         {{"--player", "NAME", "whose; \"\": nobody's"}, FOCUS_OPTIONS, NOTE_OPTION, JSON_OPTION},
     .run = uf_cli_session_edit},
    {.name = "session list",
     .operands = "",
     .summary = "list the sessions, the newest last",
     .more = "Sessions without a player were opened by the daemon.",
     .options = {{"--last", "N", "only the newest N (default 20; all: 0)"},
                 {"--player", "NAME", "only this player's"},
                 JSON_OPTION},
     .run = uf_cli_session_list},
    {.name = "session show",
     .operands = "[N]",
     .summary = "a session: its blocks, and what changed from first to last",
     .more =
         "By default the newest. The comparison is the view session_change: the first baseline\n"
         "block (or the first) against the last retest block (or the last).",
     .most = 1,
     .options = {JSON_OPTION},
     .run = uf_cli_session_show},
    {.name = "block start",
     .operands = "KIND",
     .summary = "begin a block: baseline, drill, retest, or a word of yours",
     .more = "Of the open session. Swings that arrive from now on belong to it. A block that is\n"
             "still open ends.",
     .least = 1,
     .most = 1,
     .options = {BLOCK_OPTIONS},
     .run = uf_cli_block_start},
    {.name = "block end",
     .operands = "[N]",
     .summary = "end a block, by default the open one",
     .more = "Swings that arrive from now on belong to no block.",
     .most = 1,
     .options = {JSON_OPTION},
     .run = uf_cli_block_end},
    {.name = "block add",
     .operands = "SESSION KIND",
     .summary = "add a block to a session afterwards",
     .more = "Empty: move swings into it with `underfoot swing label`.",
     .least = 2,
     .most = 2,
     .options = {BLOCK_OPTIONS},
     .run = uf_cli_block_add},
    {.name = "block edit",
     .operands = "N",
     .summary = "change kind, ball, club or note of a block",
     .more = "Only what is given changes.",
     .least = 1,
     .most = 1,
     .options = {{"--kind", "KIND", "baseline, drill, retest, or a word of yours"}, BLOCK_OPTIONS},
     .run = uf_cli_block_edit},
    {.name = "block list",
     .operands = "[SESSION]",
     .summary = "list the blocks of a session, by default of the newest",
     .more = "With how many of their swings count.",
     .most = 1,
     .options = {JSON_OPTION},
     .run = uf_cli_block_list},
    {.name = "compare blocks",
     .operands = "A B",
     .summary = "what changed from one block to another",
     .more =
         "Means, their difference, and the change that it takes to exceed the player's own\n"
         "swing-to-swing noise (half of the 95 % interval of the difference, Welch). Excluded\n"
         "swings do not count. Of twenty numbers one passes by chance alone: decide beforehand\n"
         "which number the lesson is about.",
     .least = 2,
     .most = 2,
     .options = {{"--metric", "NAME", "only this number"},
                 {"--all", NULL, "every number"},
                 JSON_OPTION},
     .run = uf_cli_compare_blocks},
    {.name = "compare swings",
     .operands = "A B",
     .summary = "one swing against another",
     .more = "The noise is the player's own, from the other swings of their blocks; without three\n"
             "of these nothing can be said.",
     .least = 2,
     .most = 2,
     .options = {{"--metric", "NAME", "only this number"},
                 {"--all", NULL, "every number"},
                 JSON_OPTION},
     .run = uf_cli_compare_swings},
    {.name = "report",
     .operands = "[SESSION]",
     .summary = "a lesson on two pages: one HTML file, to print and to give away",
     .more =
         "By default of the newest session. What was measured, with what; the number that the\n"
         "lesson is about (session edit --focus), baseline against retest; feet and curves;\n"
         "notes and cautions; what could not be measured, and why. The file needs no network\n"
         "and no script, and is readable by its owner only. Without a retest it says what there\n"
         "is. --baseline may be a block of an earlier lesson of the same player.",
     .most = 1,
     .options = {{"--out", "FILE", "instead of report-SESSION-PLAYER.html; -: standard output"},
                 {"--force", NULL, "put it in the place of a file that is there"},
                 {"--baseline", "BLOCK", "instead of the first baseline block (or the first)"},
                 {"--retest", "BLOCK", "instead of the last retest block (or the last)"},
                 {"--focus", "METRIC", "another number, for this report only"},
                 JSON_OPTION},
     .run = uf_cli_report},
    {.name = "import",
     .operands = "FILE [HEADING=NAME:UNIT ...]",
     .summary = "numbers of another instrument, from any CSV file",
     .more =
         "The first time, say which column is the time and which columns to take, as in\n"
         "  underfoot import shots.csv --time \"Shot time\" \"Club Speed=club_speed:mph\"\n"
         "and it is remembered under the mapping's name (--as). Each line goes to the swing whose\n"
         "trigger is nearest in time. Units of speed: mph, km/h, m/s. Nothing is written unless\n"
         "every line could be read.",
     .least = 1,
     .most = UF_CLI_OPERANDS_MAX,
     .options = {{"--as", "NAME", "name of the mapping (default: csv)"},
                 {"--time", "HEADING", "the column that says when"},
                 {"--dates", "ymd|dmy|mdy", "order of the dates, e.g. 3/1/2026 is mdy"},
                 {"--day", "DATE", "the day, where the file has only times of day"},
                 {"--within", "S", "furthest in seconds that still matches (default 10)"},
                 {"--ahead", "S", "how far the other instrument's clock is ahead, in seconds"},
                 {"--dry-run", NULL, "show the matches, write nothing"},
                 {"--replace", NULL, "put values in the place of others"},
                 JSON_OPTION},
     .run = uf_cli_import},
    {.name = "export",
     .operands = "PLAYER FOLDER",
     .summary = "all that is stored of a player, into a new folder",
     .more = "player.json has everything but the raw counts; swings.csv has a line a swing for a\n"
             "spreadsheet; raw/ has what the board sent, a CSV file a swing.",
     .least = 2,
     .most = 2,
     .options = {JSON_OPTION},
     .run = uf_cli_export},
    {.name = "backup",
     .operands = "FILE",
     .summary = "a verified copy of the database, while the daemon runs",
     .more = "FILE must not exist. It is a database like the original, readable by its owner only.",
     .least = 1,
     .most = 1,
     .options = {JSON_OPTION},
     .run = uf_cli_backup},
    {.name = "erase",
     .operands = "PLAYER",
     .summary = "erase a player and all of his swings, for good",
     .more =
         "Raw counts, numbers, comments, sessions: overwritten in the file, not only unlinked. "
         "Asks\n"
         "for the name once more. Backups, exports and recordings are other files, and yours to\n"
         "delete. `underfoot export` first, if the player wants a copy.",
     .least = 1,
     .most = 1,
     .options = {{"--yes", NULL, "do not ask"}, JSON_OPTION},
     .run = uf_cli_erase},
    {.name = "rederive",
     .operands = "[N ...]",
     .summary = "derive the numbers of swings again from their raw counts",
     .more =
         "Each swing with the rig it was captured with, that rig's active calibration, and the\n"
         "[analysis] of the settings. Where a derivation of just these exists, the result is\n"
         "compared with it to the last bit; otherwise a new one is added and becomes the\n"
         "current one. Old ones stay in the database.",
     .most = UF_CLI_OPERANDS_MAX,
     .options = {SINCE_OPTION, JSON_OPTION},
     .run = uf_cli_rederive},
    {.name = "mark",
     .operands = "N",
     .summary = "enter moments of a swing from video, and derive it again",
     .more =
         "A moment is in seconds from the swing's first sample, or with --fps in frames of a\n"
         "camera from the sync pulse; none takes a mark away. Marks win over the strike sensor\n"
         "and over estimates. --arm: lead arm level, --shaft: shaft level, in the downswing.",
     .least = 1,
     .most = 1,
     .options = {{"--start", "T", "first movement"},
                 {"--top", "T", "top of the swing"},
                 {"--arm", "T", "lead arm level"},
                 {"--shaft", "T", "shaft level"},
                 {"--impact", "T", "impact"},
                 {"--finish", "T", "finish"},
                 {"--fps", "RATE", "frames a second: the moments are frames"}},
     .run = uf_cli_mark},
    {.name = "feet",
     .operands = "",
     .summary = "find where the feet stand, from rocking",
     .more =
         "The daemon also finds them by itself whenever somebody rocks for some seconds. Feet "
         "hold\n"
         "until the player steps off or rocks again; with them each centre of pressure is given\n"
         "in the foot too, from heel to toes. Needs the daemon, and for the ends of the feet the\n"
         "length: underfoot player edit NAME --foot-mm MM. Exit status 1 when a foot is not found.",
     .options = {{"--known", NULL, "what is known now, without a new try"}, JSON_OPTION},
     .run = uf_cli_feet},
    {.name = "status",
     .operands = "",
     .summary = "what the daemon is doing",
     .more = "Asks the running daemon. Exit status 3 when none answers.",
     .options = {JSON_OPTION},
     .run = uf_cli_status},
    {.name = "doctor",
     .operands = "",
     .summary = "look at everything, and say what to do",
     .more =
         "Settings, database, spool, disk, device, daemon, zero, calibration and clock: one line\n"
         "each, with what to do where something is wrong. Changes nothing. Exit status 1 when\n"
         "something is wrong. As root it sees what the daemon's own user may and may not do.",
     .options = {{"--deep", NULL, "every page of the database, not only its structure (slow)"},
                 JSON_OPTION},
     .run = uf_cli_doctor},
    {.name = "manual",
     .operands = "page|completion",
     .summary = "this command's manual page, or its completion for bash",
     .more = "The installed ones are made with it.",
     .least = 1,
     .most = 1,
     .options = {{NULL, NULL, NULL}},
     .run = uf_cli_manual},
};

const struct uf_cli_command *uf_cli_commands(int *n)
{
    *n = (int)(sizeof commands / sizeof commands[0]);
    return commands;
}
