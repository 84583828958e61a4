#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Feet through the daemon: a lesson with rocking gives swings whose numbers are in the foot's own
frame, near the simulator's truth; until the player steps off; the same bits when derived again;
others when the player's foot, or the hand, turns out to be another."""
import json
import math

from e2e import check, one, rows, run, swings_of

LESSON = ("empty:5,walk_on,stand:2,rock:8,stand:1,address,ball,address:2,ball,step_off,empty:4,"
          "walk_on,stand:2,address,ball,step_off,empty:2")
SIM = ("--lesson", LESSON, "--golfer", "3", "--seed", "3", "--height", "1.8")
FOOT_MM = 152 * 1.8  # as the simulated golfer has it
ALONG = "lead_cop_along_at_impact_pct"


def underfoot(place, daemon, *words, code=0):
    with open(place.path("cli.conf"), "w") as f:
        f.write(f"[daemon]\ndatabase = {daemon.database}\ncontrol = {daemon.control}\n")
    return place.run(place.program("src/cli/underfoot"), "--config", place.path("cli.conf"), *words,
                     code=code)


def play(place, sim=SIM, foot_mm=FOOT_MM):
    """The daemon on the lesson; the player is known and his session open."""
    daemon = place.daemon()
    daemon.connect().close()
    known = ("--foot-mm", f"{foot_mm:g}") if foot_mm else ()
    underfoot(place, daemon, "player", "add", "Golfer A", "--hand", "right", *known)
    underfoot(place, daemon, "session", "start", "Golfer A")
    place.sim("--pty", place.path("board"), "--fast", "--perfect", "--truth",
              place.path("truth.jsonl"), *sim, "--hand", "right")
    daemon.wait_log("hung up")
    daemon.wait_status(lambda s: s["queue"] == 0, "all is stored")
    return daemon


def feet_of(daemon, where="1"):
    names = ("foot", "state", "heel_target_mm", "heel_toe_mm", "length_mm", "toe_out_deg", "length_from")
    return {r[0]: dict(zip(names, r)) for r in rows(
        daemon.database, f"SELECT {', '.join(names)} FROM stance WHERE current AND {where}")}


def near_truth(feet, act):
    for i, foot in enumerate(("lead", "trail")):
        found, out = feet[foot], (1, -1)[i]
        check(found["state"] == "found", foot, found)
        true = act[f"{foot}_foot"]
        deg, long_mm = true["toe_out_deg"], true["length_mm"]
        rad = math.radians(deg)
        check(abs(found["toe_out_deg"] - deg) < 2, foot, "axis", found, deg)
        check(abs(found["length_mm"] - long_mm) < 1e-6, foot, "length", found, long_mm)
        dt = found["heel_target_mm"] - (true["target_mm"] - out * long_mm / 2 * math.sin(rad))
        df = found["heel_toe_mm"] - (true["toe_mm"] - long_mm / 2 * math.cos(rad))
        along = dt * out * math.sin(rad) + df * math.cos(rad)
        check(abs(along) < 8, foot, "heel is off by", along, "mm")


def test_rocking_gives_feet(place):
    daemon = play(place)
    rock = [act for act in place.truth() if act["act"] == "rock"][0]
    near_truth(feet_of(daemon), rock)
    swings = swings_of(place.truth())
    along = [r[0] for r in rows(daemon.database,
                                f"SELECT {ALONG} FROM swing_metric ORDER BY derivation_id")]
    check(len(along) == len(swings) == 3, along, len(swings))
    check(None not in along[:2], "swings after the rocking have no feet:", along)
    check(along[2] is None, "feet still hold after the player has stepped off:", along)
    reason = one(daemon.database, "SELECT reason FROM swing_metric_null JOIN derivation ON"
                 f" derivation_id = derivation.id WHERE swing_id = 3 AND metric = '{ALONG}'")
    check(reason == "no_feet", reason)
    state = daemon.ask()["feet"]
    check(state["now"] is None and state["lead"]["state"] == "found", state)
    before = rows(daemon.database, "SELECT * FROM swing_metric ORDER BY 1")
    said = underfoot(place, daemon, "rederive")
    check("3" in said and before == rows(daemon.database, "SELECT * FROM swing_metric ORDER BY 1"),
          "derived again, it is different:", said)
    daemon.stop()


def test_length_and_hand_said_later(place):
    daemon = play(place, foot_mm=None)
    check({f["length_from"] for f in feet_of(daemon).values()} == {"guess"}, feet_of(daemon))
    flags = rows(daemon.database, "SELECT flags & 0x80000 <> 0 FROM derivation ORDER BY id")
    check(flags == [(1,), (1,), (0,)], "a guessed length is not flagged:", flags)
    underfoot(place, daemon, "player", "edit", "Golfer A", "--foot-mm", f"{FOOT_MM:g}")
    underfoot(place, daemon, "rederive")
    near_truth(feet_of(daemon), [act for act in place.truth() if act["act"] == "rock"][0])
    check(one(daemon.database, "SELECT count(*) FROM derivation WHERE current"
              " AND flags & 0x80000") == 0, "the flag stays")
    before = rows(daemon.database, "SELECT * FROM swing_metric JOIN derivation ON"
                  " derivation.id = derivation_id WHERE current AND swing_id = 1")
    underfoot(place, daemon, "swing", "hand", "left", "1")
    shown = json.loads(underfoot(place, daemon, "swing", "1", "--json"))
    check(shown["hand"] == "left" and "shape of the other hand" in shown["flags"], shown["flags"])
    check(one(daemon.database, "SELECT captured_hand FROM swing WHERE id = 1") == "right")
    left = feet_of(daemon, "hand = 'left'")
    right = feet_of(daemon, "hand = 'right'")
    check(abs(left["lead"]["toe_out_deg"] - right["trail"]["toe_out_deg"]) < 1e-9, left, right)
    underfoot(place, daemon, "swing", "hand", "right", "1")
    check(before == rows(daemon.database, "SELECT * FROM swing_metric JOIN derivation ON"
                         " derivation.id = derivation_id WHERE current AND swing_id = 1"),
          "set back, it is not what it was")
    check(one(daemon.database, "SELECT captured_hand FROM swing WHERE id = 1") is None)
    daemon.stop()


def ask_for_feet(place, lesson, code):
    """`underfoot feet` while somebody does something on the plates, at the board's pace."""
    daemon = place.daemon()
    place.sim("--pty", place.path("board"), "--perfect", "--golfer", "3", "--lesson", lesson, "--hand",
              "right", wait=False)
    daemon.wait_status(lambda s: s["stance"] == "still", "somebody stands")
    said = underfoot(place, daemon, "feet", code=code)
    state = daemon.ask()["feet"]
    known = underfoot(place, daemon, "feet", "--known", code=code)
    daemon.stop()
    return said, state, known


def test_asked_and_found(place):
    said, state, known = ask_for_feet(place, "empty:4,walk_on,stand:4,rock:8,stand:60", 0)
    check("Lead foot: " in said and "deg out" in said and "Stance" in said, said)
    check("a guess: see below" in said and "--foot-mm" in said, "the length is not known:", said)
    check("Trail foot: " in known and "Stance" in known, known)
    check(state["asked"] and not state["looking"] and state["now"]["lead"]["length_mm"] >= 258, state)
    check(150 < state["now"]["width_mm"] < 800 and abs(state["now"]["toe_line_deg"]) < 15, state)


def test_asked_and_not_found(place):
    said, state, known = ask_for_feet(place, "empty:4,walk_on,stand:80", 1)
    check("too little travel" in said and "try again: underfoot feet" in said, said)
    check(state["now"] is None and state["lead"]["state"] == "still", state)
    check("not known" in known, known)


def test_nobody_to_ask(place):
    daemon = place.daemon()
    daemon.ask()
    refused = underfoot(place, daemon, "feet", code=1)
    check("samples and a zero" in refused, refused)
    daemon.stop()
    check("underfootd" in underfoot(place, daemon, "feet", code=3), "no daemon")


if __name__ == "__main__":
    run(test_rocking_gives_feet, test_length_and_hand_said_later, test_asked_and_found,
        test_asked_and_not_found, test_nobody_to_ask)
