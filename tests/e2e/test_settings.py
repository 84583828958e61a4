#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The command line and the settings file of underfootd; calibrations read again on SIGHUP."""
import json
import os
import signal

from e2e import check, one, run


def conf(place, text):
    path = place.path("mine.conf")
    with open(path, "w") as f:
        f.write(text)
    return path


def test_bad_settings(place):
    """File, line, and what is wrong."""
    program = place.program("daemon/underfootd")
    path = conf(place, "[link]\ntype = raw\n\n[daemon]\nqueue = many\n")
    out = place.run(program, "--config", path, code=2)
    check(path in out and "5" in out and "queue" in out, out)
    path = conf(place, "[link]\nbuad = 115200\n")
    out = place.run(program, "--config", path, "--check", code=2)
    check("2" in out and "buad" in out and "baud" in out, out)
    out = place.run(program, "--config", place.path("none.conf"), code=2)
    check("none.conf" in out, out)


def test_command_line(place):
    program, path = place.program("daemon/underfootd"), place.empty_config()
    check("usage:" in place.run(program, "--help"), "help")
    check(place.run(program, "-V").startswith("underfootd 0."), "version")
    for words in (["--nonsense"], ["nonsense"], ["--set"], ["-c"], ["--check=yes"], ["--"], ["-"],
                  ["--set", "queue=4"], ["--set", "daemon.queue=0"], ["-x"],
                  ["--record", "x" * 300]):
        out = place.run(program, "-c", path, *words, code=2)
        check(len(out.strip().splitlines()) == 1, "one sentence:", out)
    out = place.run(program, "--config=" + path, "--set", "daemon.queue=3", "--set=daemon.queue=4",
                    "--record", "r.ufr", "--print-config")
    check("queue = 4" in out and "record = r.ufr" in out, out)
    again = place.run(program, "--config", conf(place, out), "--print-config")
    check(again == out, "what is printed does not read back to the same")


def test_check(place):
    program = place.program("daemon/underfootd")
    common = [program, "--config", place.empty_config(), "--check", "--set",
              f"daemon.database={place.path('underfoot.db')}", "--set",
              f"daemon.control={place.path('control')}", "--set", "link.type=raw", "--set",
              f"link.device={place.path('board')}"]
    out = place.run(*common)
    check("will be made" in out and "waits for it" in out and "24 channels" in out, out)
    check(os.listdir(place.folder) == ["underfoot.conf"], "--check made files:",
          os.listdir(place.folder))
    daemon = place.daemon()
    daemon.wait_log("waiting:")
    daemon.stop()
    check("0 swings in" in place.run(*common), "a database that is there")
    with open(place.path("other.db"), "w") as f:
        f.write("not a database at all, whatever its name says\n" * 50)
    out = place.run(*common, "--set", f"daemon.database={place.path('other.db')}", code=1)
    check("wrong:" in out and "other.db" in out, out)
    out = place.run(*common, "--record", place.path("underfoot.db"), code=1)
    check("are the same file" in out, out)
    check("host:port" in place.run(*common, "--set", "link.type=tcp", code=1), "tcp")
    check("cannot read" in place.run(*common, "--set", "link.type=replay", code=1), "replay")


def test_calibration(place):
    """A calibration that is activated while the daemon runs counts from SIGHUP on."""
    config = conf(place, f"[daemon]\ndatabase = {place.path('underfoot.db')}\n")
    calibration = place.path("calibration.json")
    data, _ = place.recording("--calibration", calibration)
    board = place.board()
    daemon = place.daemon()
    daemon.wait_log("no calibration of the rig")
    board.send(data)
    daemon.wait_status(lambda s: s["swings_stored"] == 2, "two swings")
    place.run(place.program("calib/underfoot-calib"), "--config", config, "add", calibration,
              "--activate")
    daemon.signal(signal.SIGHUP)
    daemon.wait_log("calibration in force: ")
    status = daemon.ask()["calibration"]
    check(status["nominal"] is False and len(status["uuid"]) == 36, status)
    board.send(data)
    daemon.wait_status(lambda s: s["swings_stored"] >= 3, "swings by the new calibration")
    log = daemon.stop()
    database = daemon.database
    check(one(database, "SELECT count(*) FROM derivation WHERE calibration_id IS NULL") == 2, log)
    check(one(database, "SELECT count(*) FROM derivation WHERE calibration_id = 1") >= 1, log)
    # the next run begins with it, and with the last zero
    daemon = place.daemon()
    status = daemon.ask()
    check(status["calibration"]["nominal"] is False and status["tared"] is True, status)
    check(0 <= status["tare_age_s"] < 600, status)
    log = daemon.stop()
    check("no calibration" not in log, log)


run(test_bad_settings, test_command_line, test_check, test_calibration)
