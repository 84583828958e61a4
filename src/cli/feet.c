/* SPDX-License-Identifier: MIT
 * `underfoot feet`: asks the running daemon to look for the feet in the next seconds of rocking,
 * and says what it found, or what to do better. */
#include "cli/ask.h"
#include "cli/cli.h"
#include "cli/text.h"
#include "swing/rocking.h"

#include <math.h>
#include <string.h>
#include <time.h>

#define LOOK_EVERY_MS 200
#define PATIENCE_S    (UF_ROCKING_ASKED_S + 10) /* the store may be slow */

static double number_of(const json_t *o, const char *key)
{
    const json_t *v = json_object_get(o, key);
    return json_is_number(v) ? json_number_value(v) : (double)NAN;
}

static const char *text_of(const json_t *o, const char *key)
{
    const char *v = json_string_value(json_object_get(o, key));
    return v ? v : "";
}

/* "feet" of the daemon's status: a new reference. */
static int ask_state(struct uf_cli *c, json_t **out)
{
    json_t *status = NULL;
    struct uf_error err;
    int rc = uf_ask(c->config.daemon.control, "status", &status, &err);
    *out = json_incref(json_object_get(status, "feet"));
    json_decref(status);
    if (rc)
        return uf_cli_fail(c, rc == UF_ENOTFOUND ? UF_EXIT_NO_DAEMON : UF_EXIT_FAILED, "%s",
                           err.text);
    if (!json_is_object(*out))
        return uf_cli_fail(c, UF_EXIT_FAILED,
                           "the daemon knows nothing of feet: it is of an older version; restart "
                           "it: systemctl restart underfootd");
    return UF_EXIT_DONE;
}

/* Waits until the daemon has had another try than `tries`. */
static int wait_for_try(struct uf_cli *c, double tries, json_t **out)
{
    for (int i = 0; i < (int)(1000 * PATIENCE_S / LOOK_EVERY_MS); i++) {
        const struct timespec pause = {.tv_nsec = LOOK_EVERY_MS * 1000000L};
        (void)nanosleep(&pause, NULL);
        int rc = ask_state(c, out);
        if (rc)
            return rc;
        if (number_of(*out, "tries") > tries && json_is_true(json_object_get(*out, "asked")))
            return UF_EXIT_DONE;
        json_decref(*out);
        *out = NULL;
    }
    return uf_cli_fail(c, UF_EXIT_FAILED,
                       "the daemon has no answer after %.0f s: do samples come? See: underfoot "
                       "status",
                       (double)PATIENCE_S);
}

static int look(struct uf_cli *c, json_t **out)
{
    json_t *answer = NULL;
    struct uf_error err;
    int asked = uf_ask(c->config.daemon.control, "feet", &answer, &err);
    double tries = number_of(answer, "tries");
    json_decref(answer);
    if (asked)
        return uf_cli_fail(c, asked == UF_ENOTFOUND ? UF_EXIT_NO_DAEMON : UF_EXIT_FAILED, "%s",
                           err.text);
    if (!uf_cli_option(c, "--json")) {
        fputs("Both feet on the plates as for a swing: rock from the heels to the toes and back,\n"
              "slowly and as far as it goes, for six seconds; then stand still.\n",
              c->out);
        fflush(c->out);
    }
    return wait_for_try(c, tries, out);
}

static void print_foot(struct uf_cli *c, const char *name, const json_t *foot)
{
    fprintf(c->out,
            "%s foot: %.1f deg out (+- %.1f), %.0f mm long%s, %.0f mm wide, ends +- %.0f mm\n",
            name, number_of(foot, "toe_out_deg"), 1.96 * number_of(foot, "axis_u_deg"),
            number_of(foot, "length_mm"),
            strcmp(text_of(foot, "length_from"), "guess") == 0    ? " (a guess: see below)"
            : strcmp(text_of(foot, "length_from"), "height") == 0 ? " (from the height)"
                                                                  : "",
            number_of(foot, "width_mm"), 1.96 * number_of(foot, "end_u_mm"));
}

/* What holds now, and for a foot that was not found, why. */
static int print(struct uf_cli *c, const json_t *state)
{
    const json_t *now = json_object_get(state, "now");
    bool tried = uf_cli_option(c, "--known") == NULL, all = true, guess = false;
    static const char *const names[] = {"lead", "trail"}, *const heads[] = {"Lead", "Trail"};
    for (int i = 0; i < 2; i++) {
        const json_t *foot = json_object_get(now, names[i]),
                     *said = json_object_get(state, names[i]);
        bool found = !tried || strcmp(text_of(said, "state"), "found") == 0;
        if (found && json_is_object(foot)) {
            print_foot(c, heads[i], foot);
            guess = guess || strcmp(text_of(foot, "length_from"), "guess") == 0;
            continue;
        }
        all = false;
        fprintf(c->out, "%s foot: %s\n", heads[i],
                tried && *text_of(said, "text") ? text_of(said, "text") : "not known");
    }
    if (all)
        fprintf(c->out, "Stance %.0f mm wide, toe line %+.1f deg (positive: closed)\n",
                number_of(now, "width_mm"), number_of(now, "toe_line_deg"));
    if (guess)
        fputs("The length of the foot is not known: measure it and say it with\n"
              "  underfoot player edit NAME --foot-mm MM\n",
              c->out);
    if (all)
        return UF_EXIT_DONE;
    return tried ? uf_cli_fail(c, UF_EXIT_FAILED,
                               "not both feet were found; try again: underfoot "
                               "feet")
                 : uf_cli_fail(c, UF_EXIT_FAILED,
                               "not both feet are known; rock from the heels to "
                               "the toes, or: underfoot feet");
}

int uf_cli_feet(struct uf_cli *c)
{
    json_t *state = NULL;
    int rc = uf_cli_option(c, "--known") ? ask_state(c, &state) : look(c, &state);
    if (rc == UF_EXIT_DONE && *text_of(state, "problem"))
        rc = uf_cli_fail(c, UF_EXIT_FAILED, "%s", text_of(state, "problem"));
    else if (rc == UF_EXIT_DONE && uf_cli_option(c, "--json"))
        return uf_cli_print_json(c, state);
    else if (rc == UF_EXIT_DONE)
        rc = print(c, state);
    json_decref(state);
    return rc;
}
