/* SPDX-License-Identifier: MIT
 * assert_near: a number within a tolerance of what is wanted, for cmocka (included before). */
#ifndef UF_CALIB_NEAR_H
#define UF_CALIB_NEAR_H

#include <math.h>

#define assert_near(got, want, tolerance)                                                          \
    do {                                                                                           \
        double got_ = (got), want_ = (want), within_ = (tolerance);                                \
        if (!(fabs(got_ - want_) <= within_))                                                      \
            fail_msg("%s is %.15g, not %.15g within %g", #got, got_, want_, within_);              \
    } while (0)

#endif
