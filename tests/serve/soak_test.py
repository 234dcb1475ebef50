#!/usr/bin/env python3
"""Two hours' worth of requests without growth.  soak_test.py PROGRAM SCAN_FOLDER [REQUESTS]

A phone that shows a scan asks for its state every 0.7 s and its ticks every 2.5 s: 13,200 requests in two hours. They
come here as fast as they are answered, in rounds that a photo, a page, a wrong path and a broken-off sending belong to.
The server's own memory and descriptors are read after each quarter; the first is its warming up.
"""
import os
import pathlib
import socket
import sys
import tempfile
import time

from served import Bench, Checks

program, scan = sys.argv[1], pathlib.Path(sys.argv[2])
requests = int(sys.argv[3]) if len(sys.argv) > 3 else 13200
check = Checks()
photos = [p.read_bytes() for p in sorted((scan / "photos").iterdir())][:3]


def descriptors(bench):
    return len(os.listdir(f"/proc/{bench.process.pid}/fd"))


def threads(bench):
    return len(os.listdir(f"/proc/{bench.process.pid}/task"))


def break_off(bench, place):
    line = f"POST {place}/slice?id={'0' * 32}&at=0&total=100000 HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\n"
    with socket.create_connection(("127.0.0.1", bench.port), timeout=10) as s:
        s.sendall((line + f"Origin: http://127.0.0.1:{bench.port}\r\nCookie: {bench.cookie}\r\nContent-Length: 5000\r\n\r\nab").encode())


with tempfile.TemporaryDirectory() as base:
    bench = Bench(program, pathlib.Path(base) / "bench")
    bench.pair()
    place = bench.new_scan((scan / "plan.json").read_bytes())
    for photo in photos:
        check(bench.send(place, photo)[0] == 200, "a photo arrives")
    while not bench.get_json(place + "/state")["whole"]:
        time.sleep(0.1)
    paths = [place + "/state"] * 3 + [place + "/ticks", "/work.json", place, "/", "/b/nowhere", "/assets/bench.js"]
    answers, marks, began, waited = {}, [], time.time(), 0
    for i in range(requests):
        while True:
            status = bench.ask("GET", paths[i % len(paths)])[0]
            if status != 429:
                break
            time.sleep(1)  # more a minute than a phone would ask
            waited += 1
        answers[status] = answers.get(status, 0) + 1
        if i % 500 == 0:
            break_off(bench, place)
            bench.send(place, photos[0])  # known already: nothing is added
        if (i + 1) % (requests // 4) == 0:
            time.sleep(1)
            marks.append((bench.memory_mb(), descriptors(bench), threads(bench)))
    print(f"{requests} requests in {time.time() - began:.0f} s ({waited} s of them told to wait); after each quarter "
          + ", ".join(f"{m:.1f} MB, {d} descriptors, {t} threads" for m, d, t in marks))
    check(set(answers) <= {200, 404}, f"every request has its answer ({answers})")
    growth = marks[-1][0] - marks[0][0]
    check(growth <= 2, f"memory grows by {growth:.1f} MB over the last three quarters")
    check(marks[-1][1] <= marks[0][1] + 1, f"no descriptor stays open ({marks[0][1]} to {marks[-1][1]})")
    check(marks[-1][2] <= marks[0][2] + 1, f"no thread stays ({marks[0][2]} to {marks[-1][2]})")
    check(bench.stop() in (0, 130), "it ends as told")
sys.exit(check.end())
