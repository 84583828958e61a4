/* SPDX-License-Identifier: MIT
 * Metrics against the simulator's truth, noise and quantisation on, through bytes, decoder, zero,
 * calibration, filter and all: bias, spread and greatest error of each group of numbers.
 *   bench_accuracy [GOLFERS [SWINGS each [RATE_HZ]]]     default 50 6 1000 */
#include "lesson.h"
#include "swing/analysis.h"

#include <math.h>

#define STEPS_MAX  200
#define SWINGS_MAX 20000

struct row {
    const char *name, *unit;
    double goal; /* greatest allowed error */
    size_t n, nulls;
    double error[SWINGS_MAX];
};

enum row_kind {
    ROW_WEIGHT,
    ROW_SHARE,
    ROW_VERTICAL,
    ROW_HORIZONTAL,
    ROW_TIME_VERTICAL,
    ROW_TIME_OTHER,
    ROW_COP,
    ROW_NET_COP,
    ROW_TURN,
    ROW_IMPACT,
    ROWS
};

static struct row rows[ROWS] = {
    [ROW_WEIGHT] = {.name = "weight", .unit = "%", .goal = 1},
    [ROW_SHARE] = {.name = "share (address, extremes)", .unit = "points", .goal = 0.5},
    [ROW_VERTICAL] = {.name = "vertical peaks", .unit = "%", .goal = 1},
    [ROW_HORIZONTAL] = {.name = "horizontal peaks", .unit = "%", .goal = 1},
    [ROW_TIME_VERTICAL] = {.name = "time of vertical peaks", .unit = "ms", .goal = 3},
    [ROW_TIME_OTHER] = {.name = "time of other peaks", .unit = "ms", .goal = 3},
    [ROW_COP] = {.name = "COP of a foot above 200 N", .unit = "mm", .goal = 2},
    [ROW_NET_COP] = {.name = "net COP at peaks", .unit = "mm", .goal = 2},
    [ROW_TURN] = {.name = "turn moment peak", .unit = "N m", .goal = 2},
    [ROW_IMPACT] = {.name = "impact against strike", .unit = "ms", .goal = 1},
};

struct job {
    const struct lesson *lesson;
    const struct uf_sim *sim;
    double rate_hz;
    const struct uf_rig *rig;
    const struct uf_calibration *cal;
    const struct uf_analysis_settings *settings;
    const struct uf_sim_golfer *golfer;
    double clock0_s; /* device time - true time */
    int swings;
};

static void put(enum row_kind kind, const struct uf_analysis *a, enum uf_metric m, double got,
                double want, double scale)
{
    struct row *r = &rows[kind];
    if (m < UF_METRICS && a->reason[m]) {
        r->nulls++;
        return;
    }
    if (r->n < SWINGS_MAX && !isnan(want))
        r->error[r->n++] = scale * (got - want);
}

static void peak(const struct uf_analysis *a, const struct job *j, double start_s,
                 enum row_kind value_row, enum row_kind time_row, enum uf_metric value,
                 enum uf_metric time, double want, double want_s, double scale)
{
    put(value_row, a, value, a->value[value], want, scale);
    put(time_row, a, time, start_s + a->value[time] - j->clock0_s, want_s, 1e3);
}

/* True trail share (%) over a stretch of true time: the mean, the greatest and the least. */
struct shares {
    double mean, greatest, least;
};

static struct shares true_shares(const struct job *j, double from_s, double to_s)
{
    struct shares s = {NAN, -INFINITY, INFINITY};
    double trail_n = 0, total_n = 0;
    int trail = j->golfer->hand == UF_RIGHT_HANDED ? 1 : 0;
    for (size_t i = (size_t)llround(from_s * j->rate_hz);
         i <= (size_t)llround(to_s * j->rate_hz) && i < j->lesson->samples; i++) {
        const float *fz = j->lesson->fz_n + 2 * i;
        double t = fz[trail], both = (double)fz[0] + (double)fz[1];
        trail_n += t;
        total_n += both;
        s.greatest = fmax(s.greatest, 100 * t / both);
        s.least = fmin(s.least, 100 * t / both);
    }
    s.mean = 100 * trail_n / total_n;
    return s;
}

static void take(void *context, struct uf_capture *c)
{
    struct job *j = context;
    struct uf_analysis *a;
    struct uf_error err;
    if (uf_analyse(c, j->rig, j->cal, j->settings, &a, &err))
        give_up(err.text);
    double start_s = 1e-6 * (double)c->start_dev_us;
    double trigger_s = 1e-6 * (double)c->trigger_dev_us - j->clock0_s;
    for (size_t i = 0; i < uf_sim_truths(j->sim); i++) {
        const struct uf_sim_truth *t = uf_sim_truth(j->sim, i);
        if (!t->is_swing || trigger_s < t->top_s - 0.3 || trigger_s > t->impact_s + 0.3)
            continue;
        j->swings++;
        const double *v = a->value;
        put(ROW_WEIGHT, a, UF_M_weight_n, v[UF_M_weight_n], t->weight_n, 100 / t->weight_n);
        /* shares by their definitions: of the quiet stretch, and of the search range */
        struct shares quiet = true_shares(j, 1e-6 * (double)c->quiet_from_dev_us - j->clock0_s,
                                          1e-6 * (double)c->quiet_to_dev_us - j->clock0_s);
        put(ROW_SHARE, a, UF_M_trail_share_address_pct, v[UF_M_trail_share_address_pct], quiet.mean,
            1);
        if (a->event[UF_EVENT_START].source) {
            struct shares swing = true_shares(
                j, start_s + a->event[UF_EVENT_START].t_s - j->clock0_s, trigger_s + 0.6);
            put(ROW_SHARE, a, UF_M_trail_share_max_pct, v[UF_M_trail_share_max_pct], swing.greatest,
                1);
            put(ROW_SHARE, a, UF_M_trail_share_min_pct, v[UF_M_trail_share_min_pct], swing.least,
                1);
        }
#define PEAK(row, time_row, stem, truth)                                                           \
    peak(a, j, start_s, row, time_row, UF_M_##stem##_n, UF_M_##stem##_s, t->truth##_n,             \
         t->truth##_s, 100 / fabs(t->truth##_n))
        PEAK(ROW_VERTICAL, ROW_TIME_VERTICAL, total_vertical_peak, total_vertical_peak);
        PEAK(ROW_VERTICAL, ROW_TIME_VERTICAL, lead_vertical_peak, lead_vertical_peak);
        PEAK(ROW_VERTICAL, ROW_TIME_VERTICAL, trail_vertical_peak, trail_vertical_peak);
        PEAK(ROW_HORIZONTAL, ROW_TIME_OTHER, target_peak, target_peak);
        PEAK(ROW_HORIZONTAL, ROW_TIME_OTHER, lead_heel_peak, lead_toe_min);
        PEAK(ROW_HORIZONTAL, ROW_TIME_OTHER, trail_toe_peak, trail_toe_max);
#undef PEAK
        peak(a, j, start_s, ROW_TURN, ROW_TIME_OTHER, UF_M_turn_peak_nm, UF_M_turn_peak_s,
             t->turn_peak_nm, t->turn_peak_s, 1);
        static const struct {
            enum uf_metric target, toe;
            int peak, who;
        } cops[] = {
            {UF_M_lead_cop_target_at_lead_vertical_peak_mm,
             UF_M_lead_cop_toe_at_lead_vertical_peak_mm, 1, 0},
            {UF_M_trail_cop_target_at_trail_vertical_peak_mm,
             UF_M_trail_cop_toe_at_trail_vertical_peak_mm, 2, 1},
            {UF_M_net_cop_target_at_turn_peak_mm, UF_M_net_cop_toe_at_turn_peak_mm, 4, 2},
            {UF_M_lead_cop_target_at_turn_peak_mm, UF_M_lead_cop_toe_at_turn_peak_mm, 4, 0},
            {UF_M_net_cop_target_at_target_peak_mm, UF_M_net_cop_toe_at_target_peak_mm, 3, 2},
        };
        for (size_t k = 0; k < sizeof cops / sizeof cops[0]; k++) {
            enum row_kind row = cops[k].who == 2 ? ROW_NET_COP : ROW_COP;
            put(row, a, cops[k].target, v[cops[k].target],
                t->cop_target_mm[cops[k].peak][cops[k].who], 1);
            put(row, a, cops[k].toe, v[cops[k].toe], t->cop_toe_mm[cops[k].peak][cops[k].who], 1);
        }
        if (a->event[UF_EVENT_IMPACT].source == UF_SOURCE_SENSOR)
            put(ROW_IMPACT, a, UF_METRICS, start_s + a->event[UF_EVENT_IMPACT].t_s - j->clock0_s,
                t->impact_s, 1e3);
        break;
    }
    uf_analysis_free(a);
    uf_capture_free(c);
}

static int by_size(const void *a, const void *b)
{
    double x = fabs(*(const double *)a), y = fabs(*(const double *)b);
    return (x > y) - (x < y);
}

int main(int argc, char **argv)
{
    int golfers = argc > 1 ? atoi(argv[1]) : 50;
    int swings = argc > 2 ? atoi(argv[2]) : 6;
    double rate_hz = argc > 3 ? atof(argv[3]) : 1000;
    struct uf_config config;
    uf_config_defaults(&config);
    int seen = 0;
    for (int g = 0; g < golfers; g++) {
        struct uf_sim_step steps[STEPS_MAX];
        size_t n = 0;
        steps[n++] = (struct uf_sim_step){UF_SIM_EMPTY, 4};
        steps[n++] = (struct uf_sim_step){UF_SIM_WALK_ON, 0};
        for (int i = 0; i < swings && n + 4 < STEPS_MAX; i++) {
            steps[n++] = (struct uf_sim_step){UF_SIM_ADDRESS, 0};
            steps[n++] = (struct uf_sim_step){i % 4 == 3 ? UF_SIM_NO_BALL : UF_SIM_BALL, 0};
            steps[n++] = (struct uf_sim_step){UF_SIM_STAND, 0};
        }
        struct uf_sim_settings s;
        uf_sim_defaults(&s);
        uf_sim_golfer_random(&s.golfer, 5000 + (uint64_t)g);
        s.rig = config.rig;
        s.rate_hz = rate_hz;
        s.seed = s.golfer.seed;
        struct lesson l;
        lesson_make(&l, &s, steps, n, 0);
        struct uf_calibration cal;
        uf_sim_true_calibration(l.sim, &cal);
        config.pipeline.hand = s.golfer.hand;
        struct job j = {.lesson = &l,
                        .sim = l.sim,
                        .rate_hz = rate_hz,
                        .rig = &config.rig,
                        .cal = &cal,
                        .settings = &config.analysis,
                        .golfer = &s.golfer};
        lesson_play(&l, &config.pipeline, &config.rig, take, &j);
        seen += j.swings;
        lesson_free(&l);
    }
    printf(
        "%d simulated golfers, %d of %d swings found, %.0f samples a second, cut-off %.0f Hz\n\n",
        golfers, seen, golfers * swings, rate_hz, config.analysis.cutoff_hz);
    printf("%-28s %-7s %6s %5s %8s %8s %8s %8s %8s %7s\n", "number", "unit", "n", "NULL", "bias",
           "SD", "95 %", "99.5 %", "greatest", "goal");
    for (int r = 0; r < ROWS; r++) {
        struct row *row = &rows[r];
        double sum = 0, square = 0;
        for (size_t i = 0; i < row->n; i++)
            sum += row->error[i];
        double bias = sum / (double)row->n;
        for (size_t i = 0; i < row->n; i++)
            square += (row->error[i] - bias) * (row->error[i] - bias);
        qsort(row->error, row->n, sizeof row->error[0], by_size);
        printf("%-28s %-7s %6zu %5zu %8.3f %8.3f %8.3f %8.3f %8.3f %7g\n", row->name, row->unit,
               row->n, row->nulls, bias, sqrt(square / (double)(row->n - 1)),
               fabs(row->error[(size_t)(0.95 * (double)row->n)]),
               fabs(row->error[(size_t)(0.995 * (double)row->n)]), fabs(row->error[row->n - 1]),
               row->goal);
    }
    return 0;
}
