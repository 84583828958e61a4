#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The live page's server: what it serves, whom it lets in, what it tells, what it bears, and that it
ends cleanly with browsers connected."""
import os
import signal
import socket
import time

from browser import Refused, Socket, get, http
from e2e import Failed, check, one, rows, run, swings_of, wait_until


def start(place, *settings, **more):
    daemon = place.daemon(settings, **more)
    return daemon, daemon.ask()["page_port"]


def refused(port, **more):
    try:
        Socket(port, **more).socket.close()
    except Refused:
        return True
    return False


def test_files(place):
    place.board()
    daemon, port = start(place)
    for path, kind in (("/", "text/html"), ("/page.css", "text/css"),
                       ("/page.js", "text/javascript")):
        status, fields, body = get(port, path)
        check(status == 200 and len(body) == int(fields["content-length"]) > 500, path, status)
        check(fields["content-type"].startswith(kind), path, fields)
        csp = fields["content-security-policy"]
        check("default-src 'none'" in csp and "unsafe" not in csp and "*" not in csp, csp)
        check(fields["x-content-type-options"] == "nosniff", fields)
    status, fields, body = get(port, method="HEAD")
    check(status == 200 and body == b"" and int(fields["content-length"]) > 500, "HEAD", fields)
    for path in ("/nothing", "/../underfoot.db", "/%2e%2e/underfoot.db", "/live",
                 "/index.html/", "/?a=b/../c"):
        check(get(port, path)[0] == (200 if path[1] == "?" else 404), path, get(port, path)[0])
    for method in ("POST", "PUT", "DELETE", "OPTIONS", "PATCH"):
        status = get(port, method=method, headers=("Content-Length: 0",))[0]
        check(status in (400, 404, 405), method, status)
    daemon.stop()


def test_names(place):
    place.board()
    daemon, port = start(place)
    for host in ("evil.example", f"evil.example:{port}", "127.0.0.1", f"127.0.0.1:{port + 1}",
                 f"192.168.1.2:{port}", f"localhost.evil.example:{port}", f"localhost:{port}x", ":"):
        check(get(port, host=host)[0] == 403, host)
        check(refused(port, host=host), "socket", host)
    check(get(port, host=f"localhost:{port}")[0] == 200, "localhost")
    Socket(port, host=f"LOCALHOST:{port}").socket.close()
    for origin in (None, "null", "http://evil.example", f"http://evil.example:{port}",
                   f"https://127.0.0.1:{port}", "http://127.0.0.1", f"http://127.0.0.1:{port}/",
                   f"http://localhost:{port}"):
        check(refused(port, origin=origin), "origin", origin)
    check(get(port, headers=("Origin: http://evil.example",))[0] == 403, "origin of a request")
    check(refused(port, path="/"), "path")
    check(refused(port, protocol=None) and refused(port, protocol="http"), "protocol")
    counters = daemon.ask()["counters"]
    check(counters["page_refused_upgrades"] >= 16 and counters["page_refused_requests"] >= 9,
          counters)
    daemon.stop()


def test_lesson(place):
    """Live values, and the swing with the numbers that are stored."""
    daemon, port = start(place)
    with Socket(port) as s:
        hello = s.message()
        check(hello["type"] == "hello" and hello["may_write"] and len(hello["plates"]) == 2, hello)
        check(s.message()["type"] == "state", "the state comes next")
        s.send({"ask": "swing"})
        check("no swing is stored" in s.wait("problem")["text"], "nothing yet")
        place.sim("--lesson", "empty:4,walk_on,address,ball,stand:4", "--pty", place.path("board"),
                  wait=False)
        s.wait("state", lambda m: m["state"] == "receiving")
        stood = s.wait("live", lambda m: m["stance"] == "still" and
                       m["lead"]["vertical_n"] > 200 and m["trail"]["vertical_n"] > 200)
        check(abs(stood["lead"]["vertical_n"] + stood["trail"]["vertical_n"] - stood["total_n"]) < 1,
              stood)
        check(abs(stood["total_n"] / stood["weight_n"] - 1) < 0.05, stood)
        check(stood["lead"]["cop_target_mm"] > 0 > stood["trail"]["cop_target_mm"], stood)
        last, swing, live = stood["t_dev_us"], None, 0
        begun = time.monotonic()
        while swing is None:
            m = s.message()
            if m["type"] == "live":
                live += 1
                check(m["t_dev_us"] > last, "device time runs on")
                last = m["t_dev_us"]
            if m["type"] == "swing":
                swing = m
                end_s = m["utc_us"] / 1e6 + m["duration_s"] - m["trigger_s"]
                late_ms = 1e3 * (time.time() - end_s)
                print(f"        the swing came {late_ms:.0f} ms after its end")
                check(late_ms < 2000, "late") # sanitizers, a busy machine
        rate = live / (time.monotonic() - begun)
        check(25 < rate < 63, "live values a second:", rate)
        metrics = {m["name"]: m for m in swing["metrics"]}
        stored = one(daemon.database, "SELECT turn_peak_nm FROM swing_metric")
        check(abs(metrics["turn_peak_nm"]["value"] / stored - 1) < 1e-5, "turn peak")
        check(all((m["value"] is None) == ("why" in m and m["why"] is not None)
                  for m in metrics.values()), "each missing number has its reason")
        curves = swing["curves"]
        n = len(curves["turn_nm"])
        check(n * curves["step_s"] > 1 and all(len(c) == n for k, c in curves.items()
                                               if k != "step_s"), "curves of one length")
        peak = max(v for v in curves["turn_nm"] if v is not None)
        check(abs(peak / stored - 1) < 0.02, "the curve has the peak", peak, stored)
        check(any(e["name"] == "impact" for e in swing["events"]), swing["events"])
        check([r["id"] for r in s.wait("swings")["rows"]] == [swing["id"]], "the list")
    daemon.stop()


def test_commands(place):
    place.board()
    daemon, port = start(place)
    with Socket(port) as a, Socket(port) as b:
        a.send({"ask": "hand", "hand": "left"})
        check(a.wait("answer")["ask"] == "hand", "answered")
        check(b.wait("state", lambda m: m["hand"] == "left"), "the other browser sees it")
        a.send({"ask": "hand", "hand": "<b>both</b>"})
        check('"left" or "right"' in a.wait("problem")["text"], "hand")
        a.send({"ask": "tare"})
        check("zero" in a.wait("answer")["text"], "tare")
        for bad in ({"ask": "status2"}, {"ask": 7}, {}, {"ask": "swing", "id": -1},
                    {"ask": "swing", "id": "1; DROP TABLE swing"}, {"ask": "swing", "id": 2**62}):
            a.send(bad)
            check(a.wait("problem")["text"], bad)
    daemon.stop()


def teach(s, question, kind="answer"):
    """Asks as somebody who has seen the newest state; what came of it."""
    s.send(question)
    m = s.wait(kind, lambda m: m.get("ask") == question["ask"])
    return m["text"]


def lesson_is(s, condition):
    return s.wait("state", lambda m: condition(m["lesson"]))["lesson"]


def test_a_lesson(place):
    """Begun, led and ended over the socket; each browser sees each change; bad questions change nothing."""
    place.board()
    daemon, port = start(place)
    with Socket(port) as a, Socket(port) as b:
        own = lesson_is(a, lambda l: l)
        check(own["player"] is None and own["block"] is None, "the daemon's own session", own)
        name = "Zo\u00eb \u201c<b>\u201d'; DROP TABLE player; --"
        text = teach(a, {"ask": "begin", "new": {"name": name, "hand": "left", "foot_length_mm": 265.5,
                                                 "cautions": "x" * 400}, "note": "y" * 1900})
        check(name in text and "left-handed" in text, text)
        mine = lesson_is(b, lambda l: l and l["player"] == name)
        check(mine["hand"] == "left" and mine["cautions"] == "x" * 400, mine)
        b.wait("state", lambda m: m["hand"] == "left")
        here = {"seen_session": mine["session"]}
        for question, words in (
                ({"ask": "begin", "player": 1}, "has begun meanwhile"),
                ({"ask": "begin", "player": 77, **here}, "not in the database any more"),
                ({"ask": "begin", "new": {"name": name, "hand": "left"}, **here}, "already"),
                ({"ask": "block", **here}, "needs a kind"),
                ({"ask": "block", "kind": "drill", "ball": "no", **here}, "true, false or null"),
                ({"ask": "block", "kind": "drill", "seen_session": 99}, "another lesson"),
                ({"ask": "block-end", **here}, "no block is open"),
                ({"ask": "block-end", "seen_block": 5, **here}, "no block 5"),
                ({"ask": "end"}, "no lesson is open"),
                ({"ask": "end", "seen_session": 99}, "no session 99")):
            text = teach(b, question, "problem")
            check(words in text, question, text)
        check(one(daemon.database, "SELECT (SELECT count(*) FROM player) = 1 AND"
                                   " (SELECT count(*) FROM block) = 0"), "nothing has changed")
        teach(b, {"ask": "block", "kind": "drill", "ball": False, "club": "9 iron", **here})
        block = lesson_is(a, lambda l: l and l["block"])["block"]
        check((block["kind"], block["ball"], block["club"], block["swings"]) ==
              ("drill", False, "9 iron", 0), block)
        a.send({"ask": "lesson"})
        lists = a.wait("lesson")
        check([p["name"] for p in lists["players"]] == [name], lists)
        check([c["club"] for c in lists["clubs"]] == ["9 iron"], lists)
        check([k["ended_utc_us"] for k in lists["blocks"]] == [None], lists)
        end = {"ask": "block-end", "seen_block": block["id"], **here}
        for s in (a, b):
            s.send(end)
        said = {}
        for s in (a, b):  # whichever was first
            m = s.wait(("answer", "problem"), lambda m: m.get("ask") == "block-end")
            said[m["type"]] = m["text"]
        check("has ended." in said.get("answer", "") and "has ended already" in said.get("problem", ""), said)
        teach(a, {"ask": "end", **here})
        lesson_is(b, lambda l: l is None)
    daemon.stop()


def test_slow_disk_and_blocks(place):
    """A swing that waits for the disk while the teacher starts the next block stays in its own."""
    daemon, port = start(place, env={"UNDERFOOT_TEST_SLOW_COMMIT_MS": "2000"})
    with Socket(port) as s:
        teach(s, {"ask": "begin", "new": {"name": "Kim", "hand": "right"}})
        here = {"seen_session": lesson_is(s, lambda l: l and l["player"])["session"]}
        teach(s, {"ask": "block", "kind": "baseline", **here})
    # at full speed, so that both are found while the first one is being stored
    place.sim("--rate", "250", "--lesson", "empty:12,walk_on,address,ball,address,ball,stand:4", "--fast",
              "--pty", place.path("board"), wait=False)
    daemon.wait_status(lambda m: m["counters"]["swings_found"] == 2, "two swings", 120)
    with Socket(port) as s:
        teach(s, {"ask": "block", "kind": "retest", "seen_block": 1, **here})
    daemon.wait_status(lambda m: m["swings_stored"] == 2, "both are stored", 120)
    got = rows(daemon.database, "SELECT block_id FROM swing ORDER BY id")
    check(got == [(1,), (1,)], "the block of each:", got)
    began, stored = rows(daemon.database, "SELECT (SELECT started_utc_us FROM block WHERE id = 2),"
                                          " (SELECT max(stored_utc_us) FROM swing)")[0]
    check(began < stored, "the second block began before the last swing was stored")
    daemon.stop()


def test_rude_sockets(place):
    """Frames that no browser sends, floods of questions and of writes, all places taken by silent
    sockets: the lesson's samples are all there."""
    daemon, port = start(place)
    before = daemon.ask()
    sim = place.sim("--rate", "500", "--lesson", "empty:12,walk_on,address,ball,stand:8", "--pty",
                    place.path("board"), wait=False)
    daemon.wait_status(lambda s: s["state"] == "receiving", "receiving")
    silent = [Socket(port) for _ in range(12)]
    idle = [socket.create_connection(("127.0.0.1", port)) for _ in range(30)]
    frames = (
        b"\x81\xff" + b"\x7f" + b"\xff" * 7 + b"abcd",  # 2^63 bytes are to come
        b"\x81\xfe\xff\xff" + b"\0" * 70000, b"\x81\x05hello",  # not masked
        b"\x83\x80abcd", b"\xf1\x80abcd", b"\x89\xfe\x01\x00" + b"\0" * 260,  # reserved; long ping
        b"\x01\x80abcd" * 3, b"\x80\x80abcd", b"\x00\x81abcd\0" * 200,  # continues what never began
        b"\x88\x81abcd\0", b"\x88\x82abcd\xff\xff", b"\x89\x80abcd" * 500)  # pings
    for frame in frames:
        with Socket(port) as s:
            try:
                s.socket.sendall(frame)
                s.socket.settimeout(0.2)
                while s.socket.recv(65536):
                    pass
            except OSError:
                pass
    with Socket(port) as s:
        for i in range(30):  # each is a transaction
            try:
                s.send({"ask": "begin", "new": {"name": f"n{i}", "hand": "left"},
                        "seen_session": i + 1})
                s.send({"ask": "lesson"})
            except OSError:
                break
            time.sleep(0.02)
        try:
            for _ in range(3000):
                s.send({"ask": "swings"})
        except OSError:
            pass
    for _ in range(20):
        with Socket(port) as s:
            for i in range(30):
                s.send({"ask": "swing", "id": 1})
    for s in idle:
        s.close()
    check(sim.wait(90) == 0, "the simulator ends")
    status = daemon.wait_status(lambda s: s["swings_stored"] == 1, "its swing is stored")
    check(status["samples"] > 5000 and (status["lost"], status["bad"]) ==
          (before["lost"], before["bad"]), status["samples"], status["lost"], status["bad"])
    check(status["counters"]["page_cut_off"] > 0, status["counters"])
    for s in silent:
        s.socket.close()
    wait_until(lambda: get_or_none(port), "the page is still there")
    check(one(daemon.database, "PRAGMA integrity_check") == "ok", "the database")
    daemon.stop()


def test_limits(place):
    place.board()
    daemon, port = start(place)
    for payload, why in ((b"[]", "not a JSON object"), (b"\xff", "not a JSON object"),
                         (b"x" * 9000, "too long"), (b"", "not a JSON object")):
        with Socket(port) as s:
            s.send_frame(1, payload)
            closed = s.wait_close()
            check(why in closed or closed == "", payload[:10], closed)
    with Socket(port) as s:
        s.send_frame(2, b"{}")
        s.wait_close()
    cut = daemon.ask()["counters"]["page_cut_off"]
    with Socket(port) as s:  # one question in pieces
        s.send_frame(1, b'{"ask":', final=False)
        s.send_frame(0, b'"nothing"}')
        check(s.wait("problem"), "in pieces")
        try:
            for _ in range(60):
                s.send({"ask": "nothing"})
        except OSError:
            pass
        s.wait_close() # its reason may be lost: what we sent too much is answered with a reset
    check(daemon.ask()["counters"]["page_cut_off"] == cut + 1, "rate")
    everybody = []
    for _ in range(24):
        everybody.append(Socket(port))
    with Socket(port) as s:
        check("too many browsers" in s.wait_close(), "clients")
    check(daemon.ask()["counters"]["page_clients"] == 24, "24 are in")
    for s in everybody:
        s.socket.close()
    daemon.wait_status(lambda s: s["counters"]["page_clients"] == 0, "all are gone")
    with Socket(port) as s:
        check(s.message()["type"] == "hello", "and one may come again")
    idle = [socket.create_connection(("127.0.0.1", port)) for _ in range(70)]
    daemon.wait_status(lambda s: s["counters"]["page_turned_away"] >= 6, "connections are limited")
    for s in idle:
        s.close()
    wait_until(lambda: get_or_none(port), "free again")
    daemon.stop()


def get_or_none(port):
    try:
        return get(port)[0] == 200
    except (Failed, OSError):
        return None


def test_token(place):
    """Beyond loopback: nothing without a token, and one that may only look."""
    place.board()
    daemon, port = start(place, "page.listen=0.0.0.0", "page.name=bay1.lan")
    tokens = {}
    for right in ("read", "write"):
        path = place.path(f"page-{right}.token")
        check(os.stat(path).st_mode & 0o777 == 0o600, path)
        with open(path) as f:
            tokens[right] = f.read().strip()
        check(tokens[right] not in daemon.log(), "no token in a log")
    check(tokens["read"] != tokens["write"] and len(tokens["read"]) == 64, "two tokens")
    check(get(port, host=f"bay1.lan:{port}")[0] == 200, "its name")
    check(get(port, host=f"192.0.2.7:{port}")[0] == 200, "an address")
    check(get(port, host=f"bay2.lan:{port}")[0] == 403, "another's name")
    for bad in ({"ask": "swings"}, {"token": "0" * 64}, {"token": tokens["read"][:-1]},
                {"token": 7}, {"token": ""}):
        with Socket(port) as s:
            s.send(bad)
            check("no such token" in s.wait_close(), bad)
    with Socket(port) as s:
        s.send({"token": tokens["read"]})
        check(not s.wait("hello")["may_write"], "look only")
        s.send({"ask": "tare"})
        check("not change" in s.wait("problem")["text"], "tare")
        s.send({"ask": "swings"})
        check(s.wait("swings")["rows"] == [], "swings")
    with Socket(port, host=f"bay1.lan:{port}") as s:
        s.send({"token": tokens["write"]})
        check(s.wait("hello")["may_write"], "may change")
        s.send({"ask": "tare"})
        s.wait("answer")
    begun = time.monotonic()
    with Socket(port) as s:
        check("no token came" in s.wait_close(), "silence")
        check(3 < time.monotonic() - begun < 30, "after 5 s")
    daemon.stop()
    daemon, port = start(place, "page.listen=0.0.0.0")
    with Socket(port) as s:
        s.send({"token": tokens["read"]})
        check(s.message()["type"] == "hello", "the token stays")
    daemon.stop()
    os.chmod(place.path("page-write.token"), 0o640)
    daemon = place.daemon(["page.listen=0.0.0.0"])
    check("mode 0600" in daemon.wait_end(1), "others may read it")
    for bad in ("localhost", "300.1.1.1", "::1", "0.0.0.0x"):
        daemon = place.daemon([f"page.listen={bad}"])
        check("page.listen" in daemon.wait_end(daemon.process.wait(30)), bad)


def test_port_in_use(place):
    place.board()
    with socket.create_server(("127.0.0.1", 0)) as taken:
        daemon = place.daemon([f"page.port={taken.getsockname()[1]}"])
        check("page.port" in daemon.wait_end(1), "says what to do")
    daemon = place.daemon(["page.serve=off"])
    check(daemon.ask()["page_port"] is None, "no page")
    daemon.stop()


def test_unknown_upgrade(place):
    """On a connection that has had an answer: libwebsockets gives the head back before it asks what we
    think of the upgrade (seen by AddressSanitizer: the daemon would not end with 0)."""
    daemon, port = start(place)
    host = f"Host: 127.0.0.1:{port}\r\n"
    with socket.create_connection(("127.0.0.1", port), timeout=20) as s:
        answers = b""
        for request in (f"GET /nothing HTTP/1.1\r\n{host}\r\n",
                        f"GET /live HTTP/1.1\r\n{host}Upgrade: other\r\n\r\n"):
            s.sendall(request.encode())
            begun = len(answers)
            while b"\r\n\r\n" not in answers[begun:]:
                more = s.recv(65536)
                check(more, "closed without an answer:", answers)
                answers += more
            time.sleep(0.1)
    check(b" 404 " in answers and b" 403 " in answers, answers)
    check(get(port)[0] == 200, "the page is still there")
    daemon.stop()


def test_rude(place):
    """Malformed, oversized and slow senders: no sample is lost, and the page is still there."""
    daemon, port = start(place)
    sim = place.sim("--rate", "250", "--lesson", "walk_on,stand:12", "--pty", place.path("board"), wait=False)
    before = daemon.wait_status(lambda s: s["samples"] > 100, "receiving")
    slow = []
    for i in range(20):  # heads that never end
        s = socket.create_connection(("127.0.0.1", port))
        s.sendall(b"GET / HTTP/1.1\r\nHost: 127" if i % 2 else b"")
        slow.append(s)
    lazy = [Socket(port) for _ in range(4)]  # never read
    for request in (b"\0" * 5000, b"GET " + b"/" * 100000 + b" HTTP/1.1\r\n\r\n", b"\r\n" * 1000,
                    b"GET / HTTP/1.1\r\n" + b"A: b\r\n" * 5000 + b"\r\n", b"GET / HTTP/9.9\r\n\r\n",
                    b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n", b"\x16\x03\x01\x02\x00\x01",
                    b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", b"GET / HTTP/1.1\nHost: x\n\n",
                    b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 99999999999999999999\r\n\r\n" +
                    b"x" * 100000, b"GET /live HTTP/1.1\r\nUpgrade: h2c\r\n\r\n",
                    b"GET http://127.0.0.1/ HTTP/1.1\r\n\r\n", b"GET\r\n\r\n", b"%s%n%s\r\n\r\n"):
        try:
            http(port, request, timeout_s=0.3)
        except OSError:
            pass
    state = os.urandom
    for _ in range(150):
        try:
            http(port, state(200), timeout_s=0.02)
            with Socket(port) as s:
                s.socket.sendall(state(400))
        except (OSError, Refused):
            pass
    for s in slow:
        s.settimeout(20)
        try:
            check(s.recv(1000) is not None, "closed")
        except ConnectionResetError:
            pass
        s.close()
    check(sim.wait(60) == 0, "the simulator ends")
    status = daemon.ask()
    check(status["samples"] > 2500 and (status["lost"], status["bad"]) ==
          (before["lost"], before["bad"]), status["samples"], status["lost"], status["bad"])
    check(get(port)[0] == 200, "the page is still there")
    for s in lazy:
        s.socket.close()
    daemon.stop()


def test_end(place):
    """uv_loop_close is content, with browsers connected, half a request, and a question at work."""
    place.board()
    for number in (signal.SIGTERM, signal.SIGINT):
        daemon, port = start(place)
        clients = [Socket(port) for _ in range(3)]
        half = socket.create_connection(("127.0.0.1", port))
        half.sendall(b"GET / HTT")
        for c in clients:
            c.send({"ask": "swings"})
            c.send({"ask": "swing", "id": 1})
        daemon.signal(number)
        check("did not end cleanly" not in daemon.wait_end(), "the loop")
        for c in clients:
            check(c.wait_close() is not None, "closed")
            c.socket.close()
        half.close()


def test_end_unplugged(place):
    """The board is pulled out in a swing, browsers are connected: the end is in order, and (built with
    AddressSanitizer) nothing leaks, or the code is not 0."""
    data, truth = place.recording()
    board = place.board()
    daemon, port = start(place)
    clients = [Socket(port) for _ in range(3)]
    board.send(data[:int(len(data) * (swings_of(truth)[0]["start_s"] + 0.5) / truth[-1]["end_s"])])
    daemon.wait_log("receiving:")
    board.unplug()
    daemon.wait_log("hung up")
    daemon.signal(signal.SIGTERM)
    check("did not end cleanly" not in daemon.wait_end(), "the loop")
    for c in clients:
        check(c.wait_close() is not None, "closed")
        c.socket.close()


run(test_files, test_names, test_lesson, test_commands, test_a_lesson, test_slow_disk_and_blocks,
    test_limits, test_token, test_port_in_use, test_unknown_upgrade, test_rude, test_rude_sockets, test_end,
    test_end_unplugged)
