#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""underfoot-calib run --follow: a load is captured live from the file that a running daemon records
to, and stays when the session is interrupted. The board speaks the text form, with a weight on the
middle of the left plate of the example rig while the session asks for it."""
import json
import os
import signal
import subprocess

from e2e import CHANNELS, N_PER_COUNT, TEXT_RATE_HZ, TextBoard, check, run, wait_until

KG, G_M_S2 = 40, 9.81
EACH_RAW = round(KG * G_M_S2 / 4 / N_PER_COUNT)  # of the left plate's four vertical channels
LOADED = {c: EACH_RAW for c in (2, 5, 8, 11)}


def session(place):
    path = place.path("session.json")
    with open(path, "w") as f:
        json.dump({"form": "underfoot-loads 1", "name": "follow",
                   "gravity": {"g_m_s2": G_M_S2, "sd_m_s2": 0.001},
                   "weights": [{"name": "iron", "kg": KG, "tolerance_kg": 0.01}],
                   "loads": [{"plate": "left", "kind": "vertical", "weights": ["iron"],
                              "x_mm": x, "y_mm": 0} for x in (0, 100)]}, f)
    return path


def first_load(path):
    with open(path) as f:
        return json.load(f)["loads"][0]


def test_follow(place):
    recording, said = place.path("kept.ufr"), place.path("run.log")
    weights = TextBoard(place.board())
    daemon = place.daemon(args=["--record", recording])
    weights.send(2, {})
    wait_until(lambda: os.path.exists(recording) and os.path.getsize(recording), "a recording")
    path = session(place)
    with open(said, "w") as out:
        process = subprocess.Popen(
            [place.program("calib/underfoot-calib"), "run", path, "--config", place.empty_config(),
             "--follow", recording, "--drift", "0", "--seconds", "1"],
            stdin=subprocess.DEVNULL, stdout=out, stderr=out)
    place.children.append(process)

    def log():
        with open(said) as f:
            return f.read()

    def send_until(words, loaded):
        for _ in range(40):
            if words in log():
                return
            weights.send(1, LOADED if loaded else {})
            wait_until(lambda: daemon.ask()["samples"] == weights.n, "the daemon has them all")
        check(False, "never said:", words, "\n", log(), daemon.log())
    wait_until(lambda: "Zero: take everything off" in log(), "its first words")
    send_until("Load 1 of 2", False)
    check("loaded_raw" not in first_load(path), "an empty plate is no load")
    send_until("Load 1 taken", True)
    send_until("Load 2 of 2", False)
    process.send_signal(signal.SIGINT)
    check(process.wait(20) == 0, log())
    check("1 captured now, 1 to go; run goes on from here" in log(), log())
    load = first_load(path)
    check(load["samples"] >= 0.9 * TEXT_RATE_HZ, load)
    for c in range(CHANNELS):
        want = LOADED.get(c, 0)
        got = load["loaded_raw"][c] - load["zero_raw"][c]
        check(abs(got - want) < 60, "channel", c, "moved by", got, "not", want)
    daemon.stop()


run(test_follow)
