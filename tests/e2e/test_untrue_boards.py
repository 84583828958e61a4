#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Boards that say what is not so, slow boards, and plates that cannot be zeroed: no swing is lost for
it, and each is told in a sentence, once."""
import zlib

from e2e import check, one, rows, run, swings_of


def packets(data):
    """The payloads of a binary stream."""
    for piece in data.split(b"\0"):
        out, i = bytearray(), 0
        while i < len(piece):
            n = piece[i]
            out += piece[i + 1:i + n]
            i += n
            if n < 255 and i < len(piece):
                out.append(0)
        if out:
            yield bytearray(out[:-4])


def packet(payload):
    """COBS of payload and CRC-32, with the delimiter."""
    data = bytes(payload) + zlib.crc32(bytes(payload)).to_bytes(4, "little")
    out = bytearray()
    for run_of in data.split(b"\0"):
        while len(run_of) >= 254:
            out += b"\xff" + run_of[:254]
            run_of = run_of[254:]
        out += bytes([len(run_of) + 1]) + run_of
    return bytes(out) + b"\0"


def play(place, data, *settings):
    with open(place.path("changed.ufr"), "wb") as f:
        f.write(data)
    database = place.path("changed.db")
    daemon = place.daemon(["link.type=replay", f"link.device={place.path('changed.ufr')}",
                           "link.pace=fast", *settings], database=database)
    return database, daemon.wait_end()


def changed(place, change):
    data, truth = place.recording()
    out = []
    for i, payload in enumerate(packets(data)):
        change(i, payload)
        out.append(packet(payload))
    return b"".join(out), truth


def test_the_tool_changes_nothing(place):
    data, _ = place.recording()
    check(b"".join(packet(p) for p in packets(data)) == data, "unpacked and packed again")


def test_slow_board(place):
    """The low-pass gives way to 100 samples a second, and the row says so."""
    data, truth = place.recording("--rate", "100")
    database, log = play(place, data)
    check(one(database, "SELECT count(*) FROM swing") == len(swings_of(truth)), log)
    check(one(database, "SELECT DISTINCT cutoff_hz FROM derivation") == 40, log)


def test_untrue_rate(place):
    def promise_500(_, payload):
        if payload[0] == 1:
            payload[5:7] = (500).to_bytes(2, "little")

    data, truth = changed(place, promise_500)
    database, log = play(place, data)
    check("promises 500 samples a second and sends 1000" in log, log)
    check(one(database, "SELECT count(*) FROM swing") == len(swings_of(truth)), log)
    check(one(database, "SELECT min(flags LIKE '%rate not as promised%') FROM swings") == 1, log)


def test_clock_that_stands(place):
    def stand(_, payload):
        if payload[0] == 2:
            payload[3:7] = bytes(4)

    data, _ = changed(place, stand)
    _, log = play(place, data)
    check(log.count("clock stands") == 1, log)


def test_clock_in_steps(place):
    """Ten samples share a time; a step of a sample is a fine clock. Said once, and in the status."""
    def floor(step_us):
        def change(_, payload):
            if payload[0] == 2:
                t_us = int.from_bytes(payload[3:7], "little")
                payload[3:7] = (t_us - t_us % step_us).to_bytes(4, "little")
        return change

    data, truth = changed(place, floor(1000))
    _, log = play(place, data)
    check("goes in steps" not in log, log)
    data, truth = changed(place, floor(10000))
    board = place.board()
    daemon = place.daemon()
    daemon.wait_status(lambda s: "is open" in s["state_text"], "open")
    board.send(data)
    status = daemon.wait_status(lambda s: s["swings_stored"] == len(swings_of(truth)), "stored")
    check(9.5 < status["clock_step_ms"] < 10.5, status)
    log = daemon.stop()
    check(log.count("the board's clock goes in steps of about 10 ms, so 10 samples share a time") == 1, log)


def test_rare_doubts_spoil_no_zero(place):
    def doubt(i, payload):
        if payload[0] == 2 and i % 300 == 0:
            payload[8] |= 4

    data, truth = changed(place, doubt)
    database, log = play(place, data)
    check(one(database, "SELECT count(*) FROM swing") == len(swings_of(truth)), log)


def test_no_zero_is_told(place):
    def rail(_, payload):
        if payload[0] == 2:
            payload[9:12] = b"\xff\xff\x7f"

    data, _ = changed(place, rail)
    database, log = play(place, data)
    check(log.count("no zero yet") == 1 and "a channel is at its rail" in log, log)
    check(rows(database, "SELECT kind FROM link_event WHERE kind = 'no_zero'"), log)


def test_two_boards_on_a_line(place):
    """HELLOs of two boards, turn about: said, and not a thousand times."""
    def other(i, payload):
        if payload[0] == 1 and (i // 1001) % 2:
            payload[9] ^= 0xff

    data, _ = changed(place, other)
    _, log = play(place, data)
    check("changes all the time" in log, log)
    check(len(log.splitlines()) < 40, log)


run(test_the_tool_changes_nothing, test_slow_board, test_untrue_rate, test_clock_that_stands, test_clock_in_steps,
    test_rare_doubts_spoil_no_zero, test_no_zero_is_told, test_two_boards_on_a_line)
