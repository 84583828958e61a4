#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""A line that is cut, falls silent, comes back; an end in the middle of a swing."""
import os
import signal
import socket
import time

from e2e import check, one, rows, run, swings_of, wait_until


def at(data, truth, t_s):
    """How many bytes the board has sent at that time of the lesson, in whole packets."""
    return data.index(b"\0", int(len(data) * t_s / truth[-1]["end_s"])) + 1


def test_unplugged(place):
    """Pulled out between two swings, back as another pty: both swings are stored, no sample of
    the stream is missing, and nothing spins in between."""
    data, truth = place.recording()
    first, second = swings_of(truth)
    cut = at(data, truth, (first["end_s"] + second["start_s"]) / 2)
    board = place.board()
    daemon = place.daemon()
    board.send(data[:cut])
    daemon.wait_log("receiving:")
    board.unplug()
    daemon.wait_log("stale: .* hung up")
    status = daemon.wait_status(lambda s: s["state"] == "waiting", "waiting for the device")
    check("there is no board at" in status["state_text"], status)
    check(status["measured_rate_hz"] is None, "a rate of nothing:", status)
    wait_until(daemon.is_calm, "rest while unplugged")
    lines = daemon.log().count("\n")
    time.sleep(1)
    check(daemon.log().count("\n") == lines, "the log is flooded:", daemon.log())
    place.board().send(data[cut:])
    daemon.wait_log("receiving:", times=2)
    place.boards[-1].unplug()
    daemon.wait_log("hung up", times=2)
    log = daemon.stop()
    check(one(daemon.database, "SELECT count(*) FROM swing") == 2, log)
    check(" 0 lost, " in log, log)
    kinds = [k for (k,) in rows(daemon.database, "SELECT kind FROM link_event ORDER BY id")]
    check(kinds.count("receiving") == 2 and kinds.count("stale") == 2, kinds)


def test_silent(place):
    """Plugged in, but no samples: stale, then receiving again."""
    data, truth = place.recording()
    half = at(data, truth, 6)
    board = place.board()
    daemon = place.daemon(["link.stale_s=0.3"])
    board.send(data[:half])
    daemon.wait_log("receiving:")
    status = daemon.wait_status(lambda s: s["state"] == "stale", "stale")
    check("no sample from" in status["state_text"], status)
    time.sleep(1)
    check(daemon.log().count("stale:") == 1, "said once:", daemon.log())
    board.send(data[half:])
    daemon.wait_log("receiving:", times=2)
    board.unplug()
    daemon.wait_log("hung up")
    daemon.stop()
    check(one(daemon.database, "SELECT count(*) FROM swing") == 2, "swings")
    check(one(daemon.database, "SELECT count(*) FROM link_event WHERE kind = 'stale'") == 2,
          "events")


def test_end_in_a_swing(place):
    """SIGTERM just before the second swing's window is over: the first one is stored, and the
    second one too, for all that a judgement needs has been seen."""
    data, truth = place.recording()
    second = swings_of(truth)[1]
    board = place.board()
    daemon = place.daemon()
    board.send(data[:at(data, truth, second["impact_s"] + 0.7)])
    log = daemon.stop()
    check(one(daemon.database, "SELECT count(*) FROM swing") == 2, log)


def test_end_in_a_backswing(place):
    """SIGTERM at the top: there is no second swing yet, the first is stored."""
    data, truth = place.recording()
    second = swings_of(truth)[1]
    board = place.board()
    daemon = place.daemon(env={"UNDERFOOT_TEST_SLOW_COMMIT_MS": "1500"})
    board.send(data[:at(data, truth, second["top_s"])])
    begun = time.monotonic()
    log = daemon.stop()
    check(one(daemon.database, "SELECT count(*) FROM swing") == 1, log)
    check(time.monotonic() - begun < 30, "too slow an end")


def test_killed(place):
    """Power cut: what was stored stays, and the next run begins by itself on the same socket and
    lock files."""
    data, truth = place.recording()
    board = place.board()
    daemon = place.daemon()
    board.send(data)
    daemon.wait_status(lambda s: s["swings_stored"] >= 1, "a swing stored")
    daemon.signal(signal.SIGKILL)
    daemon.process.wait()
    check(os.path.exists(daemon.control), "a killed daemon leaves its socket")
    daemon = place.daemon()
    daemon.wait_status(lambda s: s["state"] == "waiting", "the second run")
    board.send(data)
    board.unplug()
    daemon.wait_log("hung up")
    daemon.stop()
    check(one(daemon.database, "SELECT count(*) FROM swing") >= 3, "swings of both runs")
    check(one(daemon.database, "SELECT count(*) FROM session") == 2, "sessions")


def test_fifo(place):
    """Writers come and go."""
    data, truth = place.recording()
    os.mkfifo(place.path("board"))
    daemon = place.daemon()
    cut = at(data, truth, swings_of(truth)[1]["start_s"] - 0.5)
    for times, piece in enumerate((data[:cut], data[cut:]), 1):
        with open(place.path("board"), "wb") as f:
            f.write(piece)
        daemon.wait_log("the writer closed the FIFO", times=times)
    wait_until(daemon.is_calm, "rest on a FIFO without writers")
    log = daemon.stop()
    check(one(daemon.database, "SELECT count(*) FROM swing") == 2, log)


def test_tcp(place):
    """A serial bridge, that goes and comes back."""
    sim = place.sim("--tcp", "0", "--wait", "--fast", "--lesson", "short", wait=False)
    log_path = place.path("sim.log")

    def port():
        with open(log_path) as f:
            words = f.read().rsplit("serving on 127.0.0.1:", 1)
        return words[1].split()[0] if len(words) == 2 else None
    number = wait_until(port, "the simulator's port")
    daemon = place.daemon(["link.type=tcp", f"link.device=127.0.0.1:{number}"])
    daemon.wait_log("receiving:")
    check(sim.wait() == 0, "the simulator failed")
    daemon.wait_log("closed the connection|lost the connection")
    daemon.wait_log("waiting: cannot connect to .*refused")
    log = daemon.stop()
    check(one(daemon.database, "SELECT count(*) FROM swing") == 2, log)


def test_silent_bridge(place):
    """A bridge that is connected and sends nothing for ten seconds: it is connected to again."""
    data, _ = place.recording(lesson="empty:2")
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(2)
        listener.settimeout(30)
        daemon = place.daemon(["link.type=tcp",
                               "link.device=localhost:%d" % listener.getsockname()[1]])
        first = listener.accept()[0]
        first.sendall(data)
        daemon.wait_log("receiving:")
        daemon.wait_log("stale: no sample")
        second = listener.accept()[0]
        check(first.recv(1) == b"", "the first connection is still open")
        second.sendall(data)
        daemon.wait_log("receiving:", times=2)
        daemon.stop()
        first.close()
        second.close()


run(test_unplugged, test_silent, test_end_in_a_swing, test_end_in_a_backswing, test_killed,
    test_fifo, test_tcp, test_silent_bridge)
