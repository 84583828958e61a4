/* SPDX-License-Identifier: MIT
 * Feet from rocking drawn by hand, with a known place: axis, ends, foot frame, regions, and each
 * thing that must be noticed: a foot that shuffles, stands across both plates, off the edge, or
 * does not rock. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "swing/feet.h"

#include <math.h>
#include <string.h>

#define RATE_HZ 100
#define POINTS  600
#define PI      3.14159265358979323846

/* A foot with its middle at (t, f), and what its COP does. */
struct rocking {
    enum uf_foot foot;
    double middle_t_mm, middle_f_mm, toe_out_deg;
    double half_travel_mm, beside_mm; /* beside_mm: amplitude of a wobble across the line */
    double move_at_s, move_t_mm, move_f_mm, move_deg; /* shuffled from then on */
    size_t n;
};

static const struct rocking usual = {
    .foot = UF_LEAD,
    .middle_t_mm = 215,
    .middle_f_mm = 12,
    .toe_out_deg = 17,
    .half_travel_mm = 95,
    .beside_mm = 2,
    .move_at_s = 1e9,
    .n = POINTS,
};

static const struct uf_foot_person person = {270, 104, NAN};

struct drawn {
    double t[POINTS], f[POINTS];
};

static void draw(const struct rocking *r, struct drawn *d)
{
    double out = r->foot == UF_LEAD ? 1 : -1;
    for (size_t i = 0; i < r->n; i++) {
        double s = (double)i / RATE_HZ;
        bool moved = s >= r->move_at_s;
        double rad = (r->toe_out_deg + (moved ? r->move_deg : 0)) * PI / 180;
        double along = r->half_travel_mm * sin(2 * PI * 0.7 * s);
        double beside = r->beside_mm * sin(2 * PI * 0.43 * s + 1);
        d->t[i] = r->middle_t_mm + out * (along * sin(rad) + beside * cos(rad)) +
                  (moved ? r->move_t_mm : 0);
        d->f[i] =
            r->middle_f_mm + along * cos(rad) - beside * sin(rad) + (moved ? r->move_f_mm : 0);
    }
}

static enum uf_foot_state find(const struct rocking *r, struct uf_foot_pose *pose)
{
    struct drawn d;
    draw(r, &d);
    struct uf_rig rig;
    uf_rig_example(&rig);
    /* right-handed: the lead foot stands on the left plate */
    struct uf_foot_ground g =
        uf_foot_ground_of(&rig.plate[r->foot == UF_LEAD ? 0 : 1], UF_RIGHT_HANDED);
    struct uf_foot_path p = {r->n, RATE_HZ, d.t, d.f};
    return uf_foot_find(&p, r->foot, &person, &g, pose);
}

static void near(double got, double want, double within)
{
    if (!(fabs(got - want) <= within))
        fail_msg("%g, wanted %g +- %g", got, want, within);
}

static void finds_the_foot(void **state)
{
    (void)state;
    for (int foot = 0; foot < UF_FEET; foot++) {
        struct rocking r = usual;
        r.foot = (enum uf_foot)foot;
        double out = foot == UF_LEAD ? 1 : -1;
        r.middle_t_mm *= out;
        struct uf_foot_pose p;
        assert_int_equal(find(&r, &p), UF_FOOT_FOUND);
        assert_true(p.known);
        near(p.toe_out_deg, 17, 0.5);
        double rad = 17 * PI / 180;
        near(p.heel_target_mm, r.middle_t_mm - out * 135 * sin(rad), 3);
        near(p.heel_forward_mm, 12 - 135 * cos(rad), 3);
        near(p.length_mm, 270, 1e-9);
        near(p.width_mm, 104, 1e-9);
        assert_true(p.axis_u_deg < 2 && p.end_u_mm < 8);
    }
}

/* Where the path comes to rest on its way is no end of the foot. */
static void a_pause_is_no_end(void **state)
{
    (void)state;
    struct drawn d;
    struct rocking r = usual;
    r.toe_out_deg = 0;
    draw(&r, &d);
    for (size_t i = 464; i < POINTS; i++) { /* from the toes at 4.64 s */
        double s = (double)i / RATE_HZ;
        d.f[i] = r.middle_f_mm + (s < 5 ? 95 * (5 - s) / 0.36 : s < 5.5 ? 100 * (s - 5) : 50);
    }
    struct uf_foot_path path = {POINTS, RATE_HZ, d.t, d.f};
    const struct uf_foot_ground wide = {-500, 500, -500, 500};
    struct uf_foot_pose p;
    assert_int_equal(uf_foot_find(&path, UF_LEAD, &person, &wide, &p), UF_FOOT_FOUND);
    near(p.heel_forward_mm, r.middle_f_mm - 135, 2);
}

static void length_from_height_or_travel(void **state)
{
    (void)state;
    struct drawn d;
    draw(&usual, &d);
    struct uf_foot_path path = {POINTS, RATE_HZ, d.t, d.f};
    const struct uf_foot_ground wide = {-500, 500, -500, 500};
    struct uf_foot_person who = {NAN, NAN, 1.75};
    struct uf_foot_pose p, q;
    assert_int_equal(uf_foot_find(&path, UF_LEAD, &who, &wide, &p), UF_FOOT_FOUND);
    near(p.length_mm, 266, 0.01); /* 0.152 of the height */
    who.height_m = NAN;
    assert_int_equal(uf_foot_find(&path, UF_LEAD, &who, &wide, &q), UF_FOOT_FOUND);
    near(q.length_mm, 190 / 0.75, 2);
    assert_true(q.end_u_mm > p.end_u_mm); /* a guess is worth less */
}

static void a_cop_in_the_foots_frame(void **state)
{
    (void)state;
    /* straight foot, heel end at (200, -100): 250 long, 100 wide */
    struct uf_foot_pose p = {true, 200, -100, 250, 100, 0, 0, 0, 50, 50, UF_LENGTH_GIVEN};
    double along, across;
    uf_foot_place(&p, UF_LEAD, 200, -100, &along, &across);
    near(along, 0, 1e-9);
    near(across, 50, 1e-9);
    uf_foot_place(&p, UF_LEAD, 200, 150, &along, &across);
    near(along, 100, 1e-9);
    /* the lead foot's outer edge is target-ward, the trail foot's is not */
    uf_foot_place(&p, UF_LEAD, 250, 25, &along, &across);
    near(along, 50, 1e-9);
    near(across, 0, 1e-9);
    uf_foot_place(&p, UF_TRAIL, 250, 25, &along, &across);
    near(across, 100, 1e-9);
    /* turned out by 90 degrees: target-ward is along the lead foot */
    p.toe_out_deg = 90;
    uf_foot_place(&p, UF_LEAD, 325, -100, &along, &across);
    near(along, 50, 1e-9);
    near(across, 50, 1e-9);
    uf_foot_place(&p, UF_LEAD, 325, -150, &along, &across);
    near(across, 0, 1e-9); /* turned out, its outer edge lies heel-ward */
    p.known = false;
    uf_foot_place(&p, UF_LEAD, 325, -100, &along, &across);
    assert_true(isnan(along) && isnan(across));
}

static void regions(void **state)
{
    (void)state;
    static const struct {
        double along, across;
        enum uf_region want;
    } rows[] = {
        {10, 50, UF_REGION_HEEL},       {45, 50, UF_REGION_ARCH},
        {70, 10, UF_REGION_BALL_OUTER}, {70, 50, UF_REGION_BALL_MIDDLE},
        {70, 90, UF_REGION_BALL_INNER}, {90, 50, UF_REGION_TOES},
        {120, 50, UF_REGION_NONE},      {50, 130, UF_REGION_NONE},
        {NAN, NAN, UF_REGION_NONE},     {50, NAN, UF_REGION_NONE},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        assert_int_equal(uf_foot_region(rows[i].along, rows[i].across), rows[i].want);
    assert_string_equal(uf_region_name(UF_REGION_BALL_INNER), "ball, inner");
}

static void a_shuffled_foot_is_noticed(void **state)
{
    (void)state;
    static const struct {
        double at_s, t, f, deg;
    } moves[] = {
        {3, 16, 0, 0}, {4.2, -14, 0, 0}, {3.1, 0, 60, 0}, {2.9, 0, 0, 14}, {1.6, 20, 10, 5}};
    for (size_t i = 0; i < sizeof moves / sizeof moves[0]; i++) {
        struct rocking r = usual;
        r.move_at_s = moves[i].at_s;
        r.move_t_mm = moves[i].t;
        r.move_f_mm = moves[i].f;
        r.move_deg = moves[i].deg;
        struct uf_foot_pose p;
        if (find(&r, &p) != UF_FOOT_SHUFFLED)
            fail_msg("move %zu: \"%s\"", i, uf_foot_state_name(find(&r, &p)));
        assert_false(p.known);
    }
}

static void what_is_no_rocking_is_refused(void **state)
{
    (void)state;
    struct uf_foot_pose p;
    struct rocking r = usual;
    r.n = 3 * RATE_HZ;
    assert_int_equal(find(&r, &p), UF_FOOT_SHORT);
    r = usual;
    r.half_travel_mm = 12;
    assert_int_equal(find(&r, &p), UF_FOOT_STILL);
    r = usual;
    r.toe_out_deg = 75; /* side to side */
    assert_int_equal(find(&r, &p), UF_FOOT_CROOKED);
    r = usual;
    r.half_travel_mm = 60;
    r.beside_mm = 30; /* circles */
    assert_int_not_equal(find(&r, &p), UF_FOOT_FOUND);
    assert_false(p.known);
}

static void a_foot_over_an_edge_is_noticed(void **state)
{
    (void)state;
    struct uf_foot_pose p;
    struct rocking r = usual;
    r.middle_t_mm = 45; /* the plate begins at 10 mm from the middle of the rig */
    assert_int_equal(find(&r, &p), UF_FOOT_ACROSS);
    r = usual;
    r.middle_t_mm = 385;
    assert_int_equal(find(&r, &p), UF_FOOT_OFF);
    r = usual;
    r.middle_f_mm = 190;
    assert_int_equal(find(&r, &p), UF_FOOT_OFF);
    r = usual;
    r.foot = UF_TRAIL;
    r.middle_t_mm = -45;
    assert_int_equal(find(&r, &p), UF_FOOT_ACROSS);
    r.middle_t_mm = -385;
    assert_int_equal(find(&r, &p), UF_FOOT_OFF);
}

static void stance_and_toe_line(void **state)
{
    (void)state;
    struct uf_foot_pose p[UF_FEET] = {
        {true, 230, -100, 250, 100, 0, 0, 0, 50, 50, UF_LENGTH_GIVEN},
        {true, -230, -100, 250, 100, 0, 0, 0, 50, 50, UF_LENGTH_GIVEN}};
    struct uf_stance_shape s;
    uf_feet_stance(p, &s);
    near(s.width_mm, 460, 1e-9);
    near(s.toe_line_deg, 0, 1e-9);
    p[UF_LEAD].heel_forward_mm = -140; /* set back: open */
    uf_feet_stance(p, &s);
    near(s.toe_line_deg, -atan(40.0 / 460) * 180 / PI, 1e-9);
    p[UF_TRAIL].known = false;
    uf_feet_stance(p, &s);
    assert_true(isnan(s.width_mm) && isnan(s.toe_line_deg));
}

static void a_moved_stance_is_noticed(void **state)
{
    (void)state;
    struct uf_foot_pose p;
    assert_int_equal(find(&usual, &p), UF_FOOT_FOUND);
    assert_false(uf_foot_moved(&p, UF_LEAD, 215, 12));
    assert_false(uf_foot_moved(&p, UF_LEAD, 219, 32)); /* sways */
    assert_true(uf_foot_moved(&p, UF_LEAD, 235, 12));
    assert_true(uf_foot_moved(&p, UF_LEAD, 215, 75));
    assert_false(uf_foot_moved(&p, UF_LEAD, NAN, NAN)); /* cannot be told */
}

static void holes_in_the_path_do_no_harm(void **state)
{
    (void)state;
    struct drawn d;
    draw(&usual, &d);
    for (size_t i = 0; i < POINTS; i += 23)
        d.t[i] = d.f[i] = NAN;
    struct uf_foot_path path = {POINTS, RATE_HZ, d.t, d.f};
    const struct uf_foot_ground wide = {-500, 500, -500, 500};
    struct uf_foot_pose p;
    assert_int_equal(uf_foot_find(&path, UF_LEAD, &person, &wide, &p), UF_FOOT_FOUND);
    near(p.toe_out_deg, 17, 0.5);
    for (size_t i = 0; i < POINTS; i += 3)
        d.t[i] = d.f[i] = NAN;
    assert_int_equal(uf_foot_find(&path, UF_LEAD, &person, &wide, &p), UF_FOOT_SHORT);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_the_foot),
        cmocka_unit_test(a_pause_is_no_end),
        cmocka_unit_test(length_from_height_or_travel),
        cmocka_unit_test(a_cop_in_the_foots_frame),
        cmocka_unit_test(regions),
        cmocka_unit_test(a_shuffled_foot_is_noticed),
        cmocka_unit_test(what_is_no_rocking_is_refused),
        cmocka_unit_test(a_foot_over_an_edge_is_noticed),
        cmocka_unit_test(stance_and_toe_line),
        cmocka_unit_test(a_moved_stance_is_noticed),
        cmocka_unit_test(holes_in_the_path_do_no_harm),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
