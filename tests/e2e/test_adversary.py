#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Somebody who means harm: what he can inherit, read, prepare and write on a terminal."""
import json
import os
import sqlite3
import subprocess

from browser import Socket
from e2e import check, one, run, wait_until


def test_nothing_is_inherited(place):
    """With all that opens descriptors in use, each of them closes at an exec."""
    data, _ = place.recording(lesson="empty:2")
    board = place.board()
    daemon = place.daemon(["page.listen=0.0.0.0"], ["--record", place.path("kept.ufr")])
    board.send(data)
    daemon.wait_status(lambda s: s["samples"] > 0, "samples")
    pid = daemon.process.pid
    with daemon.connect(), Socket(daemon.ask()["page_port"]):
        daemon.ask()
        kept = []
        for fd in os.listdir(f"/proc/{pid}/fd"):
            try:
                to = os.readlink(f"/proc/{pid}/fd/{fd}")
                with open(f"/proc/{pid}/fdinfo/{fd}") as f:
                    flags = int(dict(line.split(":", 1) for line in f)["flags"], 8)
            except FileNotFoundError:
                continue
            if int(fd) > 2 and not flags & os.O_CLOEXEC:
                kept.append(f"{fd}: {to}")
        check(not kept, "not closed at an exec:", kept)
    daemon.stop()


def test_no_secret_gets_out(place):
    """The tokens are in their two files alone: not in a log, an answer, the database, a recording,
    the process's arguments or surroundings."""
    place.board()
    daemon = place.daemon(["page.listen=0.0.0.0"])
    status = daemon.ask()
    tokens = []
    for right in ("read", "write"):
        with open(place.path(f"page-{right}.token")) as f:
            tokens.append(f.read().strip())
    said = [json.dumps(status)]
    with Socket(status["page_port"]) as s:
        s.send({"token": tokens[1]})
        said += [json.dumps(s.wait("hello")), json.dumps(s.wait("state"))]
    for bad in (tokens[0][:-1], tokens[1] + "0"):
        with Socket(status["page_port"]) as s:
            s.send({"token": bad})
            said.append(str(s.wait_close()))
    pid = daemon.process.pid
    for name in ("cmdline", "environ"):
        with open(f"/proc/{pid}/{name}", "rb") as f:
            said.append(f.read().decode(errors="replace"))
    said.append(place.run(place.program("src/cli/underfoot"), "--config", place.empty_config(),
                          "--database", daemon.database, "swings"))
    said.append(daemon.stop())
    for name in os.listdir(place.folder):
        path = place.path(name)
        if os.path.isfile(path) and not name.endswith(".token"):
            with open(path, "rb") as f:
                said.append(f.read().decode(errors="replace"))
    check(len(said) > 8 and all(len(t) == 64 for t in tokens), len(said))
    for token in tokens:
        check(not any(token[:32] in text for text in said), "a token got out")


def prepare(database, sql):
    db = sqlite3.connect(database, timeout=20)
    db.executescript(sql)
    db.close()


def test_prepared_database(place):
    """A trigger that makes each swing fail: measuring goes on, the state says so, and the swings are
    stored once it is gone."""
    board = place.board()
    daemon = place.daemon()
    daemon.ask()
    daemon.stop()
    prepare(daemon.database, "CREATE TRIGGER theirs BEFORE INSERT ON swing BEGIN"
                             " SELECT * FROM there_is_none; END")
    data, truth = place.recording()
    daemon = place.daemon()
    board.send(data, timeout_s=120)
    status = daemon.wait_status(lambda s: "there_is_none" in json.dumps(s), "the reason in the state")
    check(status["samples"] > 10000, status)
    check(one(daemon.database, "SELECT count(*) FROM swing") == 0, "no half swing")
    prepare(daemon.database, "DROP TRIGGER theirs")
    wait_until(lambda: one(daemon.database, "SELECT count(*) FROM swing") == 2, "both swings", 90)
    daemon.stop()


def test_nothing_writes_on_the_terminal(place):
    """Colours, titles and line ends in what is quoted come out as question marks."""
    strange = "\x1b]0;mine\x07\x1b[2J\x9b1m"
    config = place.path("strange.conf")
    with open(config, "w") as f:
        f.write(f"[link]\ndevice{strange} = x\n")
    calibration = place.path("strange.json")
    with open(calibration, "w") as f:
        json.dump({"name": "x", "plates": [{"plate": strange}]}, f)
    csv = place.path("strange.csv")
    with open(csv, "w") as f:
        f.write(f"when,a\n{strange},7\n")
    place.board()
    daemon = place.daemon()
    daemon.ask()
    rest = ["--config", place.empty_config(), "--database", daemon.database]
    cli, calib = place.program("src/cli/underfoot"), place.program("calib/underfoot-calib")
    for command in ([place.program("daemon/underfootd"), "--config", config, "--check"],
                    [place.program("daemon/underfootd"), "--set", strange],
                    [cli, "--config", config, "swings"], [cli, *rest, "swing", strange],
                    [cli, *rest, strange], [calib, strange], [calib, "add", calibration, *rest],
                    [calib, "solve", calibration, "--config", place.empty_config()],
                    [cli, *rest, "import", csv, "a=spin", "--time", "when"]):
        p = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, timeout=60)
        said = (p.stdout + p.stderr).decode()
        check(p.returncode != 0 and said, command)
        check(all(c == "\n" or (c >= " " and not "\x7f" <= c <= "\x9f") for c in said),
              command, repr(said))
    with daemon.connect() as s:
        s.sendall(json.dumps({"ask": strange}).encode() + b"\n")
        check("error" in json.loads(s.makefile().readline()), "the answer")
    check("\x1b" not in daemon.stop(), "the log")


run(test_nothing_is_inherited, test_no_secret_gets_out, test_prepared_database,
    test_nothing_writes_on_the_terminal)
