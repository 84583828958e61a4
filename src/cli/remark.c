/* SPDX-License-Identifier: MIT
 * `underfoot swing label|exclude|include|star|unstar|comment|extra|hand`: what a person says of
 * swings.
 */
#include "base/clock.h"
#include "cli/cli.h"
#include "store/remarks.h"

#include <stdio.h>
#include <string.h>

/* Numbers of swings from operand `from` on. */
static int take_swings(const struct uf_cli *c, int from, int64_t *id, size_t *n)
{
    int rc = UF_EXIT_DONE;
    *n = 0;
    for (int i = from; !rc && i < c->operands; i++)
        rc = uf_cli_number(c, c->operand[i], "swing", &id[(*n)++]);
    return rc;
}

/* "swing 3" or "5 swings". */
static const char *swings_text(const int64_t *id, size_t n, char out[40])
{
    if (n == 1)
        snprintf(out, 40, "swing %lld", (long long)id[0]);
    else
        snprintf(out, 40, "%zu swings", n);
    return out;
}

enum act { LABEL, EXCLUDE, STAR, COMMENT };

/* Opens, does it, says it: number is a block or a star, text a reason or a comment. */
static int mark(struct uf_cli *c, enum act act, const int64_t *id, size_t n, int64_t number,
                const char *text, const char *said)
{
    struct uf_store *s;
    struct uf_error err;
    char which[40];
    int rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    switch (act) {
    case LABEL:
        rc = uf_remark_block(s, id, n, number, &err);
        break;
    case EXCLUDE:
        rc = uf_remark_excluded(s, id, n, text, &err);
        break;
    case STAR:
        rc = uf_remark_starred(s, id, n, number != 0, &err);
        break;
    case COMMENT:
        rc = uf_remark_comment(s, id, n, text, &err);
        break;
    }
    uf_store_close(s);
    return rc ? uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text)
              : uf_cli_done(c, "swings", (int64_t)n, "%s: %s", swings_text(id, n, which), said);
}

int uf_cli_swing_label(struct uf_cli *c)
{
    int64_t id[UF_CLI_OPERANDS_MAX], block = 0;
    char said[60] = "in no block";
    size_t n = 0;
    int rc = strcmp(c->operand[0], "none") == 0 ? UF_EXIT_DONE
                                                : uf_cli_number(c, c->operand[0], "block", &block);
    if (!rc)
        rc = take_swings(c, 1, id, &n);
    if (block)
        snprintf(said, sizeof said, "now in block %lld", (long long)block);
    return rc ? rc : mark(c, LABEL, id, n, block, NULL, said);
}

int uf_cli_swing_exclude(struct uf_cli *c)
{
    int64_t id[UF_CLI_OPERANDS_MAX];
    char reason[UF_NOTE_BYTES] = "";
    struct uf_error err;
    size_t n;
    bool back = strcmp(c->command->name, "swing include") == 0;
    const char *text = back ? NULL : uf_cli_option(c, "--reason");
    if (text && uf_person_text(reason, sizeof reason, text, "--reason", &err))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s", err.text);
    if (!back && !*reason)
        return uf_cli_fail(c, UF_EXIT_USAGE,
                           "swing exclude needs --reason TEXT: in a month nobody knows why");
    int rc = take_swings(c, 0, id, &n);
    return rc ? rc
              : mark(c, EXCLUDE, id, n, 0, reason,
                     back ? "counts again" : "excluded; stored all the same");
}

int uf_cli_swing_star(struct uf_cli *c)
{
    int64_t id[UF_CLI_OPERANDS_MAX];
    size_t n;
    bool on = strcmp(c->command->name, "swing star") == 0;
    int rc = take_swings(c, 0, id, &n);
    return rc ? rc : mark(c, STAR, id, n, on, NULL, on ? "starred" : "no star");
}

int uf_cli_swing_comment(struct uf_cli *c)
{
    int64_t id;
    char text[UF_NOTE_BYTES];
    struct uf_error err;
    int rc = uf_cli_number(c, c->operand[0], "swing", &id);
    if (rc)
        return rc;
    if (uf_person_text(text, sizeof text, c->operand[1], "the comment", &err))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s", err.text);
    return mark(c, COMMENT, &id, 1, 0, text, *text ? "commented" : "no comment");
}

int uf_cli_swing_extra(struct uf_cli *c)
{
    struct uf_extra e = {.source = "typed"};
    struct uf_store *s;
    struct uf_error err;
    int rc = uf_cli_number(c, c->operand[0], "swing", &e.swing_id);
    if (rc)
        return rc;
    if (uf_extra_take(&e, c->operand[1], c->operand[2], c->operands > 3 ? c->operand[3] : "", &err))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s", err.text);
    rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    rc = uf_extra_add(s, &e, 1, uf_cli_option(c, "--replace") != NULL, uf_clock_utc_us(), &err)
             ? uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text)
             : uf_cli_done(c, "swing", e.swing_id, "swing %lld: %s %g%s%s (%s)",
                           (long long)e.swing_id, e.name, e.value, *e.unit ? " " : "", e.unit,
                           e.original);
    uf_store_close(s);
    return rc;
}

int uf_cli_swing_hand(struct uf_cli *c)
{
    struct uf_store *s;
    struct uf_error err;
    struct uf_rederive_counts counts;
    int64_t id[UF_CLI_OPERANDS_MAX], now_us = uf_clock_utc_us();
    size_t n;
    char which[40];
    bool left = strcmp(c->operand[0], "left") == 0;
    if (!left && strcmp(c->operand[0], "right") != 0)
        return uf_cli_fail(c, UF_EXIT_USAGE, "the hand is right or left, not \"%s\"",
                           c->operand[0]);
    int rc = take_swings(c, 1, id, &n);
    if (!rc)
        rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (rc)
        return rc;
    rc = uf_remark_hand(s, id, n, left ? UF_LEFT_HANDED : UF_RIGHT_HANDED, &err);
    if (rc == 0)
        rc = uf_store_rederive(s, id, n, INT64_MIN, &c->config.analysis, now_us, &counts, &err);
    uf_store_close(s);
    return rc ? uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text)
              : uf_cli_done(c, "swing", id[0], "%s: %s-handed, and derived again",
                            swings_text(id, n, which), left ? "left" : "right");
}
