/* SPDX-License-Identifier: MIT
 * See teach.h. */
#include "daemon/teach.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- from JSON ---- */

/* Missing or null: "". */
static int take_text(const json_t *o, const char *key, char *out, size_t size, const char *what,
                     struct uf_error *err)
{
    const json_t *v = json_object_get(o, key);
    out[0] = '\0';
    if (!v || json_is_null(v))
        return UF_OK;
    if (!json_is_string(v))
        return uf_fail(err, UF_EINVAL, "\"%s\" must be text", key);
    return uf_person_text(out, size, json_string_value(v), what, err);
}

/* Missing or null: 0. */
static int take_id(const json_t *o, const char *key, int64_t *id, struct uf_error *err)
{
    const json_t *v = json_object_get(o, key);
    *id = 0;
    if (!v || json_is_null(v))
        return UF_OK;
    if (!json_is_integer(v) || json_integer_value(v) < 0)
        return uf_fail(err, UF_EINVAL, "\"%s\" must be a whole number", key);
    *id = json_integer_value(v);
    return UF_OK;
}

static int take_new_player(const json_t *o, struct uf_player *p, struct uf_error *err)
{
    const char *hand = json_string_value(json_object_get(o, "hand"));
    const json_t *foot = json_object_get(o, "foot_length_mm");
    p->foot_length_mm = p->stature_mm = NAN;
    int rc = take_text(o, "name", p->name, sizeof p->name, "the name", err);
    if (rc == 0)
        rc = take_text(o, "cautions", p->cautions, sizeof p->cautions, "the cautions", err);
    if (rc)
        return rc;
    if (!*p->name)
        return uf_fail(err, UF_EINVAL, "a player needs a name or a code");
    if (!hand || (strcmp(hand, "left") != 0 && strcmp(hand, "right") != 0))
        return uf_fail(err, UF_EINVAL,
                       "say whether %s is right-handed or left-handed: the lead foot, and every "
                       "sign, follow from it",
                       p->name);
    p->hand = hand[0] == 'l' ? UF_LEFT_HANDED : UF_RIGHT_HANDED;
    if (foot && !json_is_null(foot)) {
        if (!json_is_number(foot))
            return uf_fail(err, UF_EINVAL, "\"foot_length_mm\" must be a number of millimetres");
        p->foot_length_mm = json_number_value(foot);
    }
    return UF_OK;
}

static int take_begin(struct uf_teach *t, const json_t *o, struct uf_error *err)
{
    const json_t *made = json_object_get(o, "new");
    int rc = take_text(o, "note", t->note, sizeof t->note, "the note", err);
    if (rc == 0 && json_is_object(made))
        return take_new_player(made, &t->player, err);
    if (rc == 0)
        rc = take_id(o, "player", &t->player.id, err);
    if (rc == 0 && t->player.id == 0)
        rc = uf_fail(err, UF_EINVAL, "choose a player from the list, or add a new one");
    return rc;
}

static int take_block(struct uf_teach *t, const json_t *o, struct uf_error *err)
{
    struct uf_block *b = &t->block;
    const json_t *ball = json_object_get(o, "ball");
    b->ball = -1;
    if (ball && !json_is_null(ball)) {
        if (!json_is_boolean(ball))
            return uf_fail(err, UF_EINVAL, "\"ball\" must be true, false or null");
        b->ball = json_is_true(ball);
    }
    int rc = take_text(o, "kind", b->kind, sizeof b->kind, "the kind of block", err);
    if (rc == 0)
        rc = take_text(o, "club", b->club, sizeof b->club, "the club", err);
    if (rc == 0)
        rc = take_text(o, "note", b->note, sizeof b->note, "the note", err);
    if (rc == 0 && !*b->kind)
        rc = uf_fail(err, UF_EINVAL,
                     "a block needs a kind: baseline, drill, retest, or a word of yours");
    return rc;
}

static int take_block_end(struct uf_teach *t, const json_t *o, struct uf_error *err)
{
    (void)o;
    return t->seen_block ? UF_OK
                         : uf_fail(err, UF_ESTATE, "no block is open: there is none to stop");
}

static int take_end(struct uf_teach *t, const json_t *o, struct uf_error *err)
{
    (void)o;
    return t->seen_session ? UF_OK
                           : uf_fail(err, UF_ESTATE, "no lesson is open: there is none to end");
}

static int take_remark(struct uf_teach *t, const json_t *o, struct uf_error *err)
{
    return uf_annotate_parse(&t->remark, o, err);
}

int uf_teach_parse(struct uf_teach **out, const json_t *question, struct uf_error *err)
{
    static const struct {
        const char *ask;
        enum uf_teach_kind kind;
        int (*take)(struct uf_teach *t, const json_t *question, struct uf_error *err);
    } table[] = {{"begin", UF_TEACH_BEGIN, take_begin},
                 {"end", UF_TEACH_END, take_end},
                 {"block", UF_TEACH_BLOCK, take_block},
                 {"block-end", UF_TEACH_BLOCK_END, take_block_end},
                 {"remark", UF_TEACH_REMARK, take_remark}};
    const char *ask = json_string_value(json_object_get(question, "ask"));
    struct uf_teach *t = calloc(1, sizeof *t);
    *out = NULL;
    if (!t)
        return uf_fail(err, UF_ENOMEM, "no memory");
    int rc = take_id(question, "seen_session", &t->seen_session, err);
    if (rc == 0)
        rc = take_id(question, "seen_block", &t->seen_block, err);
    size_t i = 0, n = sizeof table / sizeof table[0];
    while (ask && i < n && strcmp(ask, table[i].ask) != 0)
        i++;
    if (rc == 0 && (!ask || i == n))
        rc = uf_fail(err, UF_EINVAL, "\"ask\" must be begin, end, block, block-end or remark");
    if (rc == 0) {
        t->kind = table[i].kind;
        rc = table[i].take(t, question, err);
    }
    if (rc) {
        free(t);
        return rc;
    }
    *out = t;
    return UF_OK;
}

/* ---- on the store thread ---- */

struct bay {
    struct uf_store *s;
    const struct uf_rig *rig;
    int64_t utc_us;
    struct uf_lesson open;
};

static const char *hand_name(enum uf_hand hand)
{
    return hand == UF_LEFT_HANDED ? "left" : "right";
}

static int do_begin(struct uf_teach *t, const struct bay *b, struct uf_error *err)
{
    struct uf_player *p = &t->player;
    bool added = p->id == 0;
    int64_t id;
    if (b->open.player_id && b->open.session_id != t->seen_session) {
        struct uf_player other;
        int rc = uf_player_get(b->s, b->open.player_id, &other, err);
        return rc ? rc
                  : uf_fail(err, UF_ESTATE,
                            "a lesson with %.80s has begun meanwhile: look first, and begin this "
                            "one if that one is over",
                            other.name);
    }
    if (added) {
        int rc = uf_player_add(b->s, p, b->utc_us, err);
        if (rc)
            return rc;
    } else if (uf_player_get(b->s, p->id, p, err)) {
        return uf_fail(err, UF_ENOTFOUND,
                       "that player is not in the database any more: choose one from the list");
    }
    int rc = uf_session_start(b->s, p->id, t->note, b->rig, b->utc_us, &id, err);
    if (rc && added) {
        struct uf_error why = *err;
        return uf_fail(err, rc, "%.80s is added, but the lesson has not begun: %.300s", p->name,
                       why.text);
    }
    if (rc == 0)
        snprintf(t->text, sizeof t->text, "The lesson with %.80s, %s-handed, has begun.", p->name,
                 hand_name(p->hand));
    return rc;
}

static int do_end(struct uf_teach *t, const struct bay *b, struct uf_error *err)
{
    int64_t ended;
    int rc = uf_session_end(b->s, t->seen_session, b->utc_us, &ended, err);
    if (rc == 0)
        snprintf(t->text, sizeof t->text, "The lesson has ended (session %lld).", (long long)ended);
    return rc;
}

static int do_block(struct uf_teach *t, const struct bay *b, struct uf_error *err)
{
    int64_t before;
    struct uf_block other;
    if (b->open.session_id == 0)
        return uf_fail(err, UF_ESTATE,
                       "no lesson is open, and a block is a part of one: begin one");
    if (b->open.session_id != t->seen_session)
        return uf_fail(
            err, UF_ESTATE,
            "another lesson has begun meanwhile: look whose it is, then start the block");
    if (b->open.block_id && b->open.block_id != t->seen_block) {
        int rc = uf_block_get(b->s, b->open.block_id, &other, err);
        return rc ? rc
                  : uf_fail(err, UF_ESTATE,
                            "the block \"%.80s\" has begun meanwhile: look first, and start this "
                            "one if that one is over",
                            other.kind);
    }
    int rc = uf_block_start(b->s, &t->block, b->utc_us, &before, err);
    if (rc == 0)
        snprintf(t->text, sizeof t->text, "Block %lld, %.80s, has begun.%s", (long long)t->block.id,
                 t->block.kind, before ? " The one before has ended." : "");
    return rc;
}

static int do_block_end(struct uf_teach *t, const struct bay *b, struct uf_error *err)
{
    int64_t ended;
    int rc = uf_block_end(b->s, t->seen_block, b->utc_us, &ended, err);
    if (rc == 0)
        snprintf(t->text, sizeof t->text, "Block %lld has ended.", (long long)ended);
    return rc;
}

static int do_remark(struct uf_teach *t, const struct bay *b, struct uf_error *err)
{
    return uf_annotate_do(&t->remark, b->s, t->text, sizeof t->text, err);
}

void uf_teach_do(struct uf_teach *t, struct uf_store *s, const struct uf_rig *rig, int64_t rig_id,
                 int64_t utc_us)
{
    static int (*const table[])(struct uf_teach *, const struct bay *,
                                struct uf_error *) = {[UF_TEACH_BEGIN] = do_begin,
                                                      [UF_TEACH_END] = do_end,
                                                      [UF_TEACH_BLOCK] = do_block,
                                                      [UF_TEACH_BLOCK_END] = do_block_end,
                                                      [UF_TEACH_REMARK] = do_remark};
    struct bay b = {.s = s, .rig = rig, .utc_us = utc_us};
    struct uf_error err = {0};
    t->rc = uf_lesson_now(s, rig_id, utc_us, &b.open, &err);
    if (t->rc == 0)
        t->rc = table[t->kind](t, &b, &err);
    if (t->rc)
        snprintf(t->text, sizeof t->text, "%.*s", (int)sizeof t->text - 1, err.text);
}
