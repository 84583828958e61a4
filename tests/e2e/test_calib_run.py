#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""underfoot-calib run on its own line: a session by the plan, on a board that shows a plate with its
own gains and cross-talk under weights and pulls. It is interrupted by SIGINT and killed, also with
the pile still on the plate, and goes on without losing a captured load; solve finds the plate; a
running daemon takes the result over, and its swings carry the errors of it, live as in rederive."""
import json
import math
import random
import re
import signal
import subprocess

from e2e import TextBoard, check, one, rows, run, wait_until

G_M_S2, BUOYANCY = 9.81, 0.99985
X_M, Y_M = (-0.16, 0.16, 0.16, -0.16), (-0.25, -0.25, 0.25, 0.25)  # of the left plate's cells
TOP_M, N_PER_COUNT = 0.06, (2e-4, 2e-4, 4e-4)


class Plate:
    """Statics of four three-axis cells, and what each of them makes of its forces."""

    def __init__(self):
        luck = random.Random(11)
        self.answer = [[[(i == k) + luck.gauss(0, 0.03 if i == k else 0.01) for k in range(3)]
                        for i in range(3)] for _ in range(4)]

    def above_raw(self, wrench):
        fx, fy, fz, mx, my, mz = wrench
        a, b = X_M[1], Y_M[2]
        ring = 4 * (a * a + b * b)
        out = {}
        for cell in range(4):
            x, y = X_M[cell], Y_M[cell]
            force = (fx / 4 - mz * y / ring, fy / 4 + mz * x / ring,
                     fz / 4 + mx * y / (4 * b * b) - my * x / (4 * a * a))
            for k in range(3):
                n = sum(self.answer[cell][k][i] * force[i] for i in range(3))
                out[3 * cell + k] = round(n / N_PER_COUNT[k])
        return out


def wrench_of(load, kg):
    n = kg * G_M_S2 * BUOYANCY
    x, y, z = load["x_mm"] / 1000, load["y_mm"] / 1000, TOP_M
    if load["kind"] == "pull":
        to = math.radians(load["towards_deg"])
        f = (-n * math.cos(to), -n * math.sin(to), 0.0)
        z += load["height_mm"] / 1000
    else:
        f = (0.0, 0.0, n)
    return (*f, y * f[2] - z * f[1], z * f[0] - x * f[2], x * f[1] - y * f[0])


class Session:
    def __init__(self, place):
        self.place, self.path, self.runs = place, place.path("session.json"), 0
        self.plate, self.board = Plate(), TextBoard(place.board())
        self.config = place.path("calib.conf")
        with open(self.config, "w") as f:
            f.write(f"[link]\ntype = raw\ndevice = {place.path('board')}\n"
                    f"[daemon]\ncontrol = {place.path('control')}\n"
                    f"database = {place.path('underfoot.db')}\n")
        self.calib("plan", "--weights", "A:20:0.001,B:20:0.001,C:10:0.001", "--gravity", "9.81",
                   "--placements", "14", "--plate", "left", "--name", "spring", "--out", self.path)
        session = self.read()
        session["tolerances"] = {"place_mm": 0.1, "pulley_pct": 0.1, "level_deg": 0.01}
        for load in session["loads"]:
            load.pop("watch_s", None)
        with open(self.path, "w") as f:
            json.dump(session, f)
        self.kg = {w["name"]: w["kg"] for w in session["weights"]}

    def calib(self, *words, code=0):
        return self.place.run(self.place.program("calib/underfoot-calib"), "--config", self.config,
                              *words, code=code)

    def read(self):
        with open(self.path) as f:
            return json.load(f)

    def captured(self):
        return [load.get("loaded_raw") for load in self.read()["loads"]]

    def start(self):
        self.runs += 1
        self.log_path = self.place.path(f"run.{self.runs}")
        with open(self.log_path, "w") as log:
            self.process = subprocess.Popen(
                [self.place.program("calib/underfoot-calib"), "run", self.path, "--config",
                 self.config, "--drift", "0", "--seconds", "1"],
                stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        self.place.children.append(self.process)
        wait_until(lambda: "Zero: take everything off" in self.log(), "its first words")

    def log(self):
        with open(self.log_path) as f:
            return f.read()

    def does_what_is_asked(self, until, stubborn=None):
        """Puts on and takes off what the session asks for, until it says so; stubborn: what stays on
        the plate whatever is asked for."""
        loads = self.read()["loads"]
        for _ in range(400):
            said = self.log()
            if until in said or self.process.poll() is not None:
                break
            on = stubborn or {}
            asked = re.findall(r"^(?:Zero: take|Load (\d+) of)", said, re.M)
            if stubborn is None and asked[-1]:
                load = loads[int(asked[-1]) - 1]
                on = self.plate.above_raw(wrench_of(load, sum(self.kg[n] for n in load["weights"])))
            self.board.send(0.5, on, gone=lambda: self.process.poll() is not None)
        check(until in self.log(), "it never said", until, "\n", self.log())

    def interrupt(self):
        self.process.send_signal(signal.SIGINT)
        check(self.process.wait(20) == 0, self.log())

    def kill(self):
        self.process.kill()
        self.process.wait()


def capture(place):
    s = Session(place)
    loads = len(s.captured())
    piles = [i for i, load in enumerate(s.read()["loads"]) if load.get("series") == "up"]

    s.start()
    s.does_what_is_asked("Load 3 taken")
    s.interrupt()
    check(f"3 captured now, {loads - 3} to go; run goes on from here" in s.log(), s.log())
    before = s.captured()
    check(all(before[:3]) and not any(before[3:]), before)

    s.start()  # goes on at the fourth, and is killed as soon as it says that one is taken
    s.does_what_is_asked("Load 6 taken")
    check("Load 3 of" not in s.log(), s.log())
    s.kill()
    after = s.captured()
    check(after[:3] == before[:3] and all(after[3:6]), "a captured load is lost:", after)

    s.start()  # killed with the pile on the plate
    s.does_what_is_asked(f"Load {piles[2] + 1} taken")
    s.kill()
    on = s.plate.above_raw(wrench_of({"x_mm": 0, "y_mm": 0, "kind": "vertical"}, 50))
    before = s.captured()
    check(all(before[:piles[2] + 1]), before)
    s.start()
    s.does_what_is_asked("than at the last zero of this session", stubborn=on)
    s.does_what_is_asked("All loads are captured")
    check(s.process.wait(20) == 0, s.log())
    check(s.captured()[:piles[2] + 1] == before[:piles[2] + 1], "what was captured is kept as it was")
    check(all(s.captured()), s.captured())
    check("0 captured now" in s.calib("run", s.path), "nothing is left to do")
    return s


def test_run(place):
    s = capture(place)
    out = s.calib("solve", s.path, "--add")
    check("WRONG" not in out, out)
    s.calib("show", "1", "--out", place.path("got.json"))
    with open(place.path("got.json")) as f:
        left = next(p for p in json.load(f)["plates"] if p["plate"] == "left")
    force = {"kind": "vertical", "x_mm": 90, "y_mm": -130}
    want = wrench_of(force, 80)
    raw = s.plate.above_raw(want)
    got = [sum(row[j] * raw[c] for j, c in enumerate(left["channels"])) for row in left["matrix"]]
    for k, within in enumerate((2, 2, 1.5, 0.8, 0.8, 0.8)):
        check(abs(got[k] - want[k]) < within, "component", k, "is", got[k], "and should be", want[k])

    # nobody measures yet; then a daemon does, and takes it over when it is put in force
    check("it is taken at the next start" in s.calib("activate", "1"), "no daemon runs")
    s.calib("add", place.path("got.json"), code=1)  # never overwritten
    other = json.load(open(place.path("got.json")))
    other["uuid"] = "00000000-1111-2222-3333-444444444444"
    with open(place.path("other.json"), "w") as f:
        json.dump(other, f)
    s.board.board.unplug()
    daemon = place.daemon()
    uuid = daemon.wait_status(lambda st: st["calibration"]["name"] == "spring", "it is in force")
    out = s.calib("add", place.path("other.json"), "--activate")
    check("measures with it from now on" in out, out)
    check(daemon.ask()["calibration"]["uuid"] == other["uuid"], daemon.ask()["calibration"], uuid)

    # its errors are in the swings: not those that are assumed, and the same again when derived anew
    place.sim("--pty", place.path("board"), "--lesson", "short", "--fast", "--truth",
              place.path("truth.jsonl"))
    daemon.wait_status(lambda st: st["swings_stored"] == 2, "two swings")
    daemon.stop()
    sql = ("SELECT weight_n, lead_vertical_peak_n, turn_peak_nm, trail_share_max_pct,"
           " lead_cop_target_at_lead_vertical_peak_mm FROM swing_metric_sd"
           " JOIN derivation ON id = derivation_id WHERE current ORDER BY swing_id")
    stated = rows(daemon.database, sql)
    out = s.place.run(s.place.program("src/cli/underfoot"), "--config", s.config, "rederive")
    check("2  the same to the last bit" in out, out)
    check(rows(daemon.database, sql) == stated, "derived again:", stated)
    check(one(daemon.database, "SELECT count(*) FROM derivation") == 2, "nothing new was derived")
    s.calib("activate", "1")  # the same matrix from the same loads: the same numbers
    s.place.run(s.place.program("src/cli/underfoot"), "--config", s.config, "rederive")
    check(rows(daemon.database, sql) == stated, "the same loads:", stated, rows(daemon.database, sql))
    del other["provenance"], other["uuid"]
    with open(place.path("other.json"), "w") as f:
        json.dump(other, f)
    s.calib("add", place.path("other.json"), "--activate")
    s.place.run(s.place.program("src/cli/underfoot"), "--config", s.config, "rederive")
    assumed = rows(daemon.database, sql)
    check(all(a != b for x, y in zip(stated, assumed) for a, b in zip(x, y) if a is not None),
          "without its loads the errors are assumed:", stated, assumed)
    check(stated[0][0] < assumed[0][0], "weights of 0.01 %:", stated[0], assumed[0])


run(test_run)
