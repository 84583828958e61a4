/* SPDX-License-Identifier: MIT
 * See comparison_words.h. */
#include "store/comparison_words.h"

#include "base/number_text.h"

#include <math.h>
#include <string.h>

static const enum uf_metric first_metrics[] = {
    UF_M_trail_share_address_pct,
    UF_M_trail_share_max_pct,
    UF_M_lead_vertical_peak_bw,
    UF_M_lead_vertical_peak_to_impact_ms,
    UF_M_trail_vertical_peak_bw,
    UF_M_total_vertical_peak_bw,
    UF_M_target_peak_bw,
    UF_M_target_peak_to_impact_ms,
    UF_M_lead_heel_peak_bw,
    UF_M_trail_toe_peak_bw,
    UF_M_turn_peak_nm,
    UF_M_turn_peak_to_impact_ms,
    UF_M_vertical_impulse_ns,
    UF_M_target_impulse_ns,
    UF_METRICS,
};

const enum uf_metric *uf_comparison_first(void)
{
    return first_metrics;
}

bool uf_comparison_is_first(const struct uf_comparison_row *r)
{
    if (r->extra)
        return true;
    for (const enum uf_metric *m = first_metrics; *m != UF_METRICS; m++)
        if (strcmp(uf_metric_row(*m)->name, r->name) == 0)
            return true;
    return false;
}

static const char *name_of(const struct uf_comparison_row *r, bool meaning)
{
    int m = meaning && !r->extra ? uf_metric_find(r->name) : -1;
    return m < 0 ? r->name : uf_metric_row((enum uf_metric)m)->meaning;
}

static void say_changed(const struct uf_comparison_row *r, bool meanings, FILE *out)
{
    char a[40], b[40], d[40], needed[40];
    uf_text_number(r->a.mean, r->unit, a, sizeof a);
    uf_text_number(r->b.mean, r->unit, b, sizeof b);
    uf_text_number(r->difference, r->unit, d, sizeof d);
    uf_text_number(r->needed, r->unit, needed, sizeof needed);
    fprintf(out, "Changed: %s, from %s to %s %s: %s%s, and it takes %s to be more than noise.\n",
            name_of(r, meanings), a, b, uf_text_unit(r->unit), r->difference > 0 ? "+" : "", d,
            needed);
}

static void say_few_swings(size_t n, FILE *out)
{
    static const char *const words[][2] = {
        {"No", "no"}, {"One", "one"}, {"Two", "two"}, {"Three", "three"}, {"Four", "four"}};
    fprintf(out, "%s swing%s %s %s swing%s: more of them make smaller changes visible.\n",
            words[n][0], n == 1 ? "" : "s", n == 1 ? "is" : "are", words[n][1], n == 1 ? "" : "s");
}

static void say_different(const struct uf_comparison *k, FILE *out)
{
    const struct {
        bool is;
        const char *words;
    } all[] = {{k->players, "different players: one player's noise says nothing of another"},
               {k->clubs, "different clubs"},
               {k->balls, "one with a ball, one without, or not said"},
               {k->sessions, "different sessions (shoes, warm-up, the day)"},
               {k->calibrations, "different calibrations of the plates"}};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        if (all[i].is)
            fprintf(out, "A difference may also come from: %s.\n", all[i].words);
}

void uf_comparison_say(const struct uf_comparison *k, bool blocks, const bool *shown, bool meanings,
                       FILE *out)
{
    size_t count[UF_VERDICT_CHANGED + 1] = {0}, n = 0;
    for (size_t i = 0; i < k->n; i++)
        if (shown[i]) {
            count[k->row[i].verdict]++;
            n++;
        }
    size_t judged = count[UF_VERDICT_WITHIN] + count[UF_VERDICT_CHANGED];
    for (size_t i = 0; i < k->n; i++)
        if (shown[i] && k->row[i].verdict == UF_VERDICT_CHANGED)
            say_changed(&k->row[i], meanings, out);
    if (judged && count[UF_VERDICT_WITHIN])
        fprintf(out, "%zu of %zu numbers stay%s within the player's own noise.\n",
                count[UF_VERDICT_WITHIN], n, count[UF_VERDICT_WITHIN] == 1 ? "s" : "");
    if (count[UF_VERDICT_FEW])
        fprintf(out, "Too few swings to say whether %zu of %zu numbers changed: %s\n",
                count[UF_VERDICT_FEW], n,
                blocks ? "it takes three that count in each block, and ten are better."
                       : "it takes three swings in their blocks to know the player's noise.");
    if (judged > 1 && count[UF_VERDICT_CHANGED])
        fprintf(out,
                "Of %zu numbers, about %.0f pass by chance alone: trust the one that you "
                "chose beforehand.\n",
                judged, ceil(0.05 * (double)judged));
    size_t least = k->a_swings < k->b_swings ? k->a_swings : k->b_swings;
    if (blocks && least > 0 && least < UF_COMPARISON_GOOD)
        say_few_swings(least, out);
    say_different(k, out);
}
