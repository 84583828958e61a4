/* SPDX-License-Identifier: MIT
 * See annotate.h. */
#include "daemon/annotate.h"

#include "base/utf8.h"
#include "store/swings.h"

#include <stdio.h>
#include <string.h>

/* null and a missing value: 0 and "". */
static int take(const json_t *v, const char *key, bool text, char *out, int64_t *number,
                struct uf_error *err)
{
    *number = 0;
    out[0] = '\0';
    if (!v || json_is_null(v))
        return UF_OK;
    if (text && json_is_string(v))
        return uf_person_text(out, UF_NOTE_BYTES, json_string_value(v),
                              strcmp(key, "comment") == 0 ? "the comment" : "the reason", err);
    if (text)
        return uf_fail(err, UF_EINVAL, "\"%s\" must be text, or null", key);
    if (!json_is_boolean(v) && !(json_is_integer(v) && json_integer_value(v) >= 0))
        return uf_fail(err, UF_EINVAL, "\"%s\" must be %s", key,
                       strcmp(key, "starred") == 0 ? "true or false" : "the number of a block");
    *number = json_is_boolean(v) ? json_is_true(v) : json_integer_value(v);
    return UF_OK;
}

int uf_annotate_parse(struct uf_annotation *out, const json_t *question, struct uf_error *err)
{
    static const char *const keys[] = {[UF_ANNOTATE_STAR] = "starred",
                                       [UF_ANNOTATE_COMMENT] = "comment",
                                       [UF_ANNOTATE_EXCLUDED] = "excluded",
                                       [UF_ANNOTATE_BLOCK] = "block"};
    const json_t *id = json_object_get(question, "id"), *seen = json_object_get(question, "seen");
    int found = -1;
    for (int i = 0; i < (int)(sizeof keys / sizeof keys[0]); i++)
        if (json_object_get(question, keys[i])) {
            if (found >= 0)
                return uf_fail(err, UF_EINVAL, "one remark at a time: \"%s\" or \"%s\"",
                               keys[found], keys[i]);
            found = i;
        }
    if (!json_is_integer(id) || json_integer_value(id) < 1)
        return uf_fail(err, UF_EINVAL, "\"id\" must be the number of a swing");
    if (found < 0)
        return uf_fail(err, UF_EINVAL,
                       "a remark is one of \"starred\", \"comment\", \"excluded\" and \"block\"");
    if (!seen)
        return uf_fail(err, UF_EINVAL, "say in \"seen\" what the swing's \"%s\" was before",
                       keys[found]);
    out->swing = json_integer_value(id);
    out->what = (enum uf_annotated)found;
    bool text = found == UF_ANNOTATE_COMMENT || found == UF_ANNOTATE_EXCLUDED;
    const json_t *value = json_object_get(question, keys[found]);
    int rc = take(value, keys[found], text, out->text, &out->number, err);
    if (rc == UF_OK)
        rc = take(seen, keys[found], text, out->seen_text, &out->seen_number, err);
    if (rc == UF_OK && found == UF_ANNOTATE_EXCLUDED && !json_is_null(value) && !*out->text)
        rc =
            uf_fail(err, UF_EINVAL, "say why swing %lld does not count: in a month nobody knows it",
                    (long long)out->swing);
    return rc;
}

/* ---- on the store thread ---- */

/* What the swing says now. */
static int read_now(struct uf_store *s, const struct uf_annotation *a, int64_t *number, char *text,
                    struct uf_error *err)
{
    static const char *const sql[] = {
        [UF_ANNOTATE_STAR] = "SELECT starred, '' FROM swing WHERE id = ?1",
        [UF_ANNOTATE_COMMENT] = "SELECT 0, coalesce(comment, '') FROM swing WHERE id = ?1",
        [UF_ANNOTATE_EXCLUDED] = "SELECT 0, coalesce(excluded_reason, '') FROM swing WHERE id = ?1",
        [UF_ANNOTATE_BLOCK] = "SELECT coalesce(block_id, 0), '' FROM swing WHERE id = ?1"};
    sqlite3_stmt *q = NULL;
    int rc = uf_store_swing_known(s, a->swing, err);
    if (rc)
        return rc;
    int step = sqlite3_prepare_v2(uf_store_db(s), sql[a->what], -1, &q, NULL);
    if (step == SQLITE_OK) {
        sqlite3_bind_int64(q, 1, a->swing);
        step = sqlite3_step(q);
    }
    if (step == SQLITE_ROW) {
        *number = sqlite3_column_int64(q, 0);
        snprintf(text, UF_NOTE_BYTES, "%s", uf_store_text(q, 1));
    } else {
        rc = uf_fail(err, UF_EIO, "swing %lld cannot be read: %s", (long long)a->swing,
                     sqlite3_errmsg(uf_store_db(s)));
    }
    sqlite3_finalize(q);
    return rc;
}

/* "in block 3, retest". */
static void block_words(struct uf_store *s, int64_t block, char *out, size_t size)
{
    struct uf_block b;
    if (block == 0)
        snprintf(out, size, "in no block");
    else if (uf_block_get(s, block, &b, NULL))
        snprintf(out, size, "in block %lld", (long long)block);
    else
        snprintf(out, size, "in block %lld, %.80s", (long long)block, b.kind);
}

/* How the swing is, for a sentence. */
static void words(struct uf_store *s, const struct uf_annotation *a, int64_t number,
                  const char *text, char *out, size_t size)
{
    switch (a->what) {
    case UF_ANNOTATE_STAR:
        snprintf(out, size, "%s", number ? "starred" : "without a star");
        break;
    case UF_ANNOTATE_COMMENT:
        if (*text)
            snprintf(out, size, "commented \"%.120s\"", text);
        else
            snprintf(out, size, "without a comment");
        break;
    case UF_ANNOTATE_EXCLUDED:
        if (*text)
            snprintf(out, size, "excluded: %.120s", text);
        else
            snprintf(out, size, "one that counts");
        break;
    case UF_ANNOTATE_BLOCK:
        block_words(s, number, out, size);
        break;
    }
    uf_utf8_plain(out); /* it may end within a letter */
}

int uf_annotate_do(const struct uf_annotation *a, struct uf_store *s, char *said, size_t size,
                   struct uf_error *err)
{
    char text[UF_NOTE_BYTES], is[220];
    int64_t number = 0;
    int rc = read_now(s, a, &number, text, err);
    if (rc)
        return rc;
    bool same = number == a->number && strcmp(text, a->text) == 0; /* somebody was faster */
    if (!same && (number != a->seen_number || strcmp(text, a->seen_text) != 0)) {
        words(s, a, number, text, is, sizeof is);
        return uf_fail(err, UF_ESTATE,
                       "swing %lld was changed meanwhile, it is now %s: look first, then do it "
                       "again if you still want to",
                       (long long)a->swing, is);
    }
    if (same)
        rc = UF_OK;
    else if (a->what == UF_ANNOTATE_STAR)
        rc = uf_remark_starred(s, &a->swing, 1, a->number != 0, err);
    else if (a->what == UF_ANNOTATE_COMMENT)
        rc = uf_remark_comment(s, &a->swing, 1, a->text, err);
    else if (a->what == UF_ANNOTATE_EXCLUDED)
        rc = uf_remark_excluded(s, &a->swing, 1, a->text, err);
    else
        rc = uf_remark_block(s, &a->swing, 1, a->number, err);
    if (rc == UF_OK) {
        words(s, a, a->number, a->text, is, sizeof is);
        snprintf(said, size, "Swing %lld is now %s.", (long long)a->swing, is);
    }
    return rc;
}
