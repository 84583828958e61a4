/* SPDX-License-Identifier: MIT
 * Inside src/swing: moments of a swing. Impact from the strike input, anything from a mark; the
 * rest is estimated from the shape of the forces, with an uncertainty that was learned on simulated
 * golfers whose truth is known. An estimate is never presented as measured. Pure. */
#ifndef UF_SWING_EVENTS_H
#define UF_SWING_EVENTS_H

#include "swing/analysis.h"

/* Moments that the forces show by themselves, from which estimates are made. */
enum uf_sign {
    UF_SIGN_TRIGGER,  /* steepest rise of the lead foot's vertical force */
    UF_SIGN_SHARE_20, /* trail share: so many percent of its way from address to its greatest */
    UF_SIGN_SHARE_50,
    UF_SIGN_SHARE_80,
    UF_SIGN_TARGET,   /* target-ward peak of the transition */
    UF_SIGN_COUPLE,   /* turn moment from the toe-heel forces, its peak */
    UF_SIGN_VERTICAL, /* peak of the total vertical force */
    UF_SIGN_AWAY,     /* greatest force away from the target after it */
    UF_SIGN_LEAD,     /* peak of the lead foot's vertical force */
    UF_SIGN_SETTLED,  /* vertical force last leaves weight +- 4 % after the trigger */
    UF_SIGNS
};

/* Times from the first sample; NAN where there is none. address_pct and the curves' weight may be
 * NAN. trigger: grid index. */
void uf_signs_find(const struct uf_curves *c, double address_pct, size_t trigger,
                   double sign_s[UF_SIGNS]);

/* Grid index of the last point before the trigger at which the trail share was still what it is at
 * address, within two points: where a search for peaks begins. 0 when it cannot be told. */
size_t uf_movement_seen(const struct uf_curves *c, double address_pct, size_t trigger);

/* Impact by the strike input near the trigger, or else by the beam gate at the ball;
 * UF_FLAG_TWO_STRIKES when there is another strike. */
void uf_impact_sensed(const struct uf_capture *capture, struct uf_event *impact, uint32_t *flags);

/* Fills the events that are not known yet (source NONE) with estimates, where the signs allow. */
void uf_events_estimate(const double sign_s[UF_SIGNS], struct uf_event event[UF_EVENTS]);

#endif
