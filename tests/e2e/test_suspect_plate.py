#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""A dead cell is seen live by what no load can make: one log line a change, a link event, the
status; a calibration without those combinations is not watched."""
import json

from e2e import N_PER_COUNT, TextBoard, check, one, rows, run

EACH_N = 100  # on each vertical output of the left plate
HEALTHY = {c: round(EACH_N / N_PER_COUNT) for c in (2, 5, 8, 11)}
DEAD = {**HEALTHY, 8: 0}  # channel 8: cell 3
X_MM, Y_MM = (-160, 160, 160, -160), (-250, -250, 250, 250)  # of the left plate's cells


def ways():
    """What loads make of four cells at the corners: along x, along y, down, two tilts, a turn."""
    made = [[f(i, k) for i in range(4) for k in range(3)] for f in (
        lambda i, k: k == 0, lambda i, k: k == 1, lambda i, k: k == 2,
        lambda i, k: X_MM[i] * (k == 2), lambda i, k: Y_MM[i] * (k == 2),
        lambda i, k: (-Y_MM[i], X_MM[i], 0)[k])]
    return [[v / sum(u * u for u in way) ** 0.5 for v in way] for way in made]


def calibrate(place, watched):
    gains = [[2e-4, 0, 0], [0, 2e-4, 0], [0, 0, N_PER_COUNT]]
    calibration = {"name": "made for a test", "plates": [
        {"plate": p, "cells": [{"cell": str(c + 1), "matrix": gains} for c in range(4)]}
        for p in ("left", "right")]}
    if watched:
        calibration["provenance"] = {"plates": [
            {"plate": "left", "channels": list(range(12)),
             "leftover": {"n_per_count": [2e-4, 2e-4, N_PER_COUNT] * 4, "ways": ways(),
                          "reading_pct": 0.05, "noise_n": 0.01}}]}
    path = place.path("calibration.json")
    with open(path, "w") as f:
        json.dump(calibration, f)
    place.run(place.program("calib/underfoot-calib"), "add", path, "--activate", "--config",
              place.empty_config(), "--database", place.path("underfoot.db"))


def left(daemon, board):
    status = daemon.wait_status(lambda s: s["samples"] == board.n, "all samples")
    return status["plates"][0], status["plates"][1]


def test_dead_cell(place):
    calibrate(place, True)
    board = TextBoard(place.board())
    daemon = place.daemon()
    board.send(5, {})
    board.send(5, HEALTHY)
    plate, other = left(daemon, board)
    check(plate["state"] == "ok" and plate["left_n"] < 0.5 and plate["cell"] is None, plate)
    check(other["state"] is None, "no combinations of the right plate:", other)
    board.send(1, DEAD)
    check(left(daemon, board)[0]["state"] == "ok", "one second is not enough")
    board.send(5, DEAD)
    plate, _ = left(daemon, board)
    # a quarter of what is missing is left at each vertical output: 50 N in one of six combinations
    check(plate["state"] == "suspect" and plate["cell"] == "3", plate)
    check(abs(plate["left_n"] - 50 / 6 ** 0.5) < 1, plate)
    config = place.path("reader.conf")
    with open(config, "w") as f:
        f.write(f"[daemon]\ncontrol = {daemon.control}\ndatabase = {daemon.database}\n")
    shown = place.run(place.program("src/cli/underfoot"), "--config", config, "status")
    check("SUSPECT, most at cell 3" in shown, shown)
    board.send(8, HEALTHY)
    check(left(daemon, board)[0]["state"] == "ok", left(daemon, board))
    log = daemon.stop()
    check(log.count("as no load can make them") == 1, "said once:", log)
    check(log.count("as they should again") == 1, "said once:", log)
    kinds = rows(daemon.database, "SELECT kind FROM link_event WHERE kind LIKE 'plate_%'"
                                  " ORDER BY id")
    check(kinds == [("plate_suspect",), ("plate_ok",)], kinds)


def test_not_watched(place):
    calibrate(place, False)
    board = TextBoard(place.board())
    daemon = place.daemon()
    board.send(5, {})
    board.send(8, DEAD)
    check(left(daemon, board)[0]["state"] is None, left(daemon, board))
    daemon.stop()
    check(one(daemon.database, "SELECT count(*) FROM link_event WHERE kind LIKE 'plate_%'") == 0,
          "nothing is said of what is not watched")


run(test_dead_cell, test_not_watched)
