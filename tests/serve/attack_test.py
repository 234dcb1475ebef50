#!/usr/bin/env python3
"""The bench under attack, from outside.  attack_test.py PROGRAM SCAN_FOLDER

Each attack has its answer, and what others do meanwhile goes on.
"""
import hashlib
import http.client
import io
import json
import os
import pathlib
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import zipfile

from served import FORM, Bench, Checks

program, scan = sys.argv[1], pathlib.Path(sys.argv[2])
check = Checks()
plan = (scan / "plan.json").read_bytes()
photos = [p.read_bytes() for p in sorted((scan / "photos").iterdir())]


def pairing(bench):
    for path in ("/", "/work.json", "/new", "/phones", "/b/plover", "/cards.pdf"):
        check(bench.ask("GET", path)[0] == 401, f"without a cookie {path} is shut")
    check(bench.ask("POST", "/new?name=x&from=plan", plan)[0] == 401, "without a cookie nothing is made")
    wrong = {bench.ask("GET", "/", headers={"Cookie": f"interstice_{bench.port}=" + c})[0]
             for c in ("", "0" * 64, "a" * 10000, "'; --", "%00")}
    check(wrong <= {401, 431, 413}, f"a made-up cookie is none ({wrong})")
    answers, began = {}, time.time()
    for i in range(10000):
        if i % 200 == 0:
            connection = http.client.HTTPConnection("127.0.0.1", bench.port, timeout=60)
        connection.request("POST", "/pair", f"code=AAAA-AAAA-AAAA-{i:04d}&device=x",
                           {**FORM, "Origin": f"http://127.0.0.1:{bench.port}"})
        answer = connection.getresponse()
        answer.read()
        answers[answer.status] = answers.get(answer.status, 0) + 1
    check(set(answers) <= {403, 429} and answers.get(403, 0) <= 40,
          f"10,000 wrong codes: {answers} in {time.time() - began:.0f} s")
    time.sleep(61)  # the rate limit of this address
    bench.pair()
    check(bench.ask("GET", "/")[0] == 200, "the right code still lets in")
    check(bench.tell("/pair", code=bench.code, device="second")[0] == 403, "and only once")
    check("code" not in bench.said().replace("another", "") and bench.code not in bench.said()
          and bench.cookie.split("=")[1] not in bench.said(), "neither code nor token stands in the log")


def other_sites(bench, place):
    port = bench.port
    for host in ("evil.example", f"evil.example:{port}", "127.0.0.1", f"127.0.0.1:{port + 1}", f"[::1]:{port}", ""):
        check(bench.ask("GET", "/", host=host)[0] in (400, 421), f"Host {host or 'empty'} is refused")
    check(bench.ask("GET", "/", host=f"localhost:{port}")[0] == 200, "localhost is this computer")
    for origin in ("http://evil.example", "null", f"https://127.0.0.1:{port}", "http://127.0.0.1"):
        status = bench.ask("POST", place + "/measure", "", {**FORM, "Origin": origin})[0]
        check(status == 403, f"a post from Origin {origin} is refused")
    check(bench.ask("POST", place + "/measure", "", FORM, origin=False)[0] == 403, "a post from nowhere is refused")
    check(bench.ask("POST", place + "/measure", "", {**FORM, "Sec-Fetch-Site": "cross-site"})[0] == 403,
          "a post that a browser says is another site's is refused")
    for method in ("PUT", "DELETE", "OPTIONS", "TRACE", "PATCH"):
        check(bench.ask(method, "/")[0] in (403, 405, 400, 501), f"{method} is not known")
    _, headers, _ = bench.ask("GET", "/")
    for name, part in (("content-security-policy", "default-src 'none'"), ("x-content-type-options", "nosniff"),
                       ("x-frame-options", "SAMEORIGIN"), ("cache-control", "no-store"), ("referrer-policy", "same-origin")):
        check(part in headers.get(name, ""), f"every page says {name}: {part}")


def paths(bench, place):
    (bench.folder.parent / "secret.txt").write_text("secret")
    bowl = place.split("/")[2]
    os.symlink(bench.folder.parent / "secret.txt", bench.folder / "bowls" / bowl / "patterns.pdf")
    photos_folder = bench.folder / "bowls" / bowl / "scans" / place.split("/")[4] / "photos"
    os.symlink(bench.folder.parent / "secret.txt", photos_folder / "photo_900.jpg")
    tries = ["/../secret.txt", "/b/../../secret.txt", "/b/%2e%2e/%2e%2e/secret.txt", "/b/..%2f..%2fsecret.txt",
             f"/b/{bowl}/patterns.pdf", f"{place}/photo/photo_900.jpg", f"{place}/photo/..%2f..%2f..%2fplan.json",
             f"{place}/get/../../../plan.json", f"{place}/get/result.json", f"{place}/small/%00", "/assets/../bench.json",
             "/.bench/paired.json", "/bowls", f"/b/{bowl}/s", f"/b/{bowl}/s/", "//etc/passwd", "/b/" + "a" * 5000]
    for path in tries:
        status, _, body = bench.ask("GET", path)
        check(status in (400, 404, 414, 431) and b"secret" not in body and b"tiles" not in body, f"{path[:60]} leads nowhere ({status})")
    check("photo_900.jpg" not in json.dumps(bench.get_json(place + "/state")), "a link is no photo")
    (photos_folder / "photo_900.jpg").unlink()


def raw(bench, text, wait=10):
    with socket.create_connection(("127.0.0.1", bench.port), timeout=wait) as s:
        s.sendall(text)
        got = b""
        try:
            while True:
                more = s.recv(65536)
                if not more:
                    return got
                got += more
        except (socket.timeout, ConnectionError):
            return got


def sizes(bench, place):
    head = (f"POST {place}/slice?id={'a' * 32}&at=0&total=3000000000 HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\n"
            f"Origin: http://127.0.0.1:{bench.port}\r\nCookie: {bench.cookie}\r\n").encode()
    began = time.time()
    answer = raw(bench, head + b"Content-Length: 3000000000\r\n\r\n" + b"x" * 100000)
    check(b" 413 " in answer.split(b"\r\n")[0] and time.time() - began < 9, "a body of 3 GB is refused before it is read")
    answer = raw(bench, head + b"Content-Length: 99999999999999999999999\r\n\r\nx")
    check(answer == b"" or answer.split(b" ")[1] in (b"400", b"413"), "an absurd length is refused")
    answer = raw(bench, head + b"Content-Length: -5\r\n\r\nx")
    check(answer == b"" or answer.split(b" ")[1] in (b"400", b"413"), "a negative length is refused")
    with socket.create_connection(("127.0.0.1", bench.port), timeout=20) as s:
        s.sendall(head + b"Transfer-Encoding: chunked\r\n\r\n")
        sent, block = 0, b"100000\r\n" + b"x" * (1 << 20) + b"\r\n"
        try:
            for _ in range(200):
                s.sendall(block)
                sent += 1
        except (ConnectionError, socket.timeout):
            pass
    check(sent < 60, f"an endless body in chunks is cut off ({sent} MB were taken)")
    check(bench.memory_mb() < 400, f"and does not stay in memory ({bench.memory_mb():.0f} MB)")
    answer = raw(bench, b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: " + b"y" * 200000 + b"\r\n\r\n")
    check(answer == b"" or b" 4" in answer[:14], "headers without end are refused")
    for total in (0, 41 << 20, 10**17):
        status = bench.ask("POST", f"{place}/slice?id={'b' * 32}&at=0&total={total}", b"x")[0]
        check(status in (400, 413), f"a photo of {total} bytes is refused")
    for query in ("", "?id=../../x&at=0&total=5", "?id=" + "c" * 32, "?id=" + "c" * 32 + "&at=9&total=5",
                  "?id=" + "c" * 32 + "&at=-1&total=5", "?id=" + "c" * 32 + "&at=0&total=0x5"):
        check(bench.ask("POST", place + "/slice" + query, b"x")[0] in (400, 409), f"slice{query[:40]} is refused")


def many_small(bench, place):
    statuses = {}
    connection = http.client.HTTPConnection("127.0.0.1", bench.port, timeout=60)
    for i in range(10000):
        connection.request("POST", f"{place}/slice?id={i:032x}&at=0&total=2000", b"x" * 10,
                           {"Cookie": bench.cookie, "Origin": f"http://127.0.0.1:{bench.port}"})
        answer = connection.getresponse()
        answer.read()
        statuses[answer.status] = statuses.get(answer.status, 0) + 1
        if answer.getheader("Connection", "").lower() == "close":
            connection.close()
    waiting = len(list((bench.folder / ".bench" / "uploads").iterdir()))
    check(set(statuses) <= {202, 429} and waiting <= 100, f"10,000 small files: {statuses}, {waiting} are kept")
    for part in (bench.folder / ".bench" / "uploads").iterdir():
        part.unlink()
    time.sleep(61)  # the rate limit of this address


def not_photos(bench, place):
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w") as z:
        z.writestr("a.txt", "x" * 1000)
    kinds = {"a zip": archive.getvalue(), "a text": b"hello" * 500, "a page": b"<html><script>alert(1)</script></html>",
             "half a photo": photos[0][:200000], "a photo's beginning": photos[0][:3] + b"\0" * 5000,
             "an SVG": b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>"}
    for name, data in kinds.items():
        status, answer = bench.send(place, data)
        check(status == 422 and answer.get("fault"), f"{name} named .jpg is no photo ({status}: {answer.get('fault')})")
    check(bench.get_json(place + "/state")["photos"] == [], "none of them is among the photos")


def names(bench):
    for name in ("<img src=x onerror=alert(1)>", "\u05e9\u05dc\u05d5\u05dd", "a\"onmouseover=\"alert(1)", "'};alert(1)//"):
        place = bench.new_scan(plan, bowl=name, scan=name)
        for path in ("/", "/".join(place.split("/")[:3]), place):
            body = bench.ask("GET", path, headers={"Accept": "text/html"})[2].decode()
            check("<img src=x" not in body and 'onmouseover="' not in body, f"{name[:24]} is text on {path[:20]}")
    for name in ("a\u202etxt.exe", "a\nb", "\u200f", "x" * 5000, "\0", ""):
        status = bench.tell("/b/plover/scans", name=name)[0]
        check(status == 400, f"a name that cannot be shown is refused ({name[:6]!r})")


def slow(bench, place):
    """200 connections that hardly move, half of them writing, half reading."""
    held = []
    for i in range(200):
        s = socket.create_connection(("127.0.0.1", bench.port), timeout=30)
        if i % 2:
            s.sendall(f"POST {place}/slice?id={i:032x}&at=0&total=2000000 HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\n"
                      f"Origin: http://127.0.0.1:{bench.port}\r\nCookie: {bench.cookie}\r\n"
                      "Content-Length: 2000000\r\n\r\nx".encode())
        else:
            s.sendall(b"GET / HTT")
        held.append(s)
    began = time.time()
    status, answer = bench.send(place, photos[1])
    check(status == 200, f"200 slow connections: a photo still arrives, in {time.time() - began:.2f} s")
    check(bench.ask("GET", "/")[0] == 200, "and pages are served")
    print(f"      memory with them {bench.memory_mb():.0f} MB")
    alive, until = held, time.time() + 90
    while alive and time.time() < until:  # a byte now and then does not keep them
        still = []
        for s in alive:
            try:
                s.sendall(b"x")
                s.setblocking(False)
                try:
                    if s.recv(100) == b"":
                        raise ConnectionError
                except BlockingIOError:
                    pass
                s.setblocking(True)
                still.append(s)
            except OSError:
                s.close()
        alive = still
        time.sleep(2)
    check(not alive, f"they are ended although a byte comes every other second ({len(alive)} left)")
    for s in alive:
        s.close()


def crash(bench, place):
    """The reader goes down while it works; the photo before and the one after are not the worse for it."""
    stop, shot = threading.Event(), []

    def shoot():
        while not stop.is_set():
            for child in bench.children():
                try:
                    os.kill(child, signal.SIGSEGV)
                    shot.append(child)
                except ProcessLookupError:
                    pass
            time.sleep(0.05)
    shooter = threading.Thread(target=shoot)
    shooter.start()
    answers = [bench.send(place, photos[2])[0] for _ in range(3)]
    stop.set()
    shooter.join()
    check(len(shot) > 2 and set(answers) <= {200, 422}, f"readers shot ({len(shot)}): an answer all the same ({answers})")
    status, answer = bench.send(place, photos[3])
    check(status == 200, "the next photo arrives")
    until = time.time() + 60
    while time.time() < until and not bench.get_json(place + "/state")["whole"]:
        time.sleep(0.2)
    check(bench.get_json(place + "/state")["whole"], "and all are looked at")


def second(bench):
    ran = subprocess.run([program, "bench", str(bench.folder), "--port", "0"], capture_output=True, text=True, timeout=60)
    check(ran.returncode == 2 and "another bench" in ran.stderr and ran.stderr.count("\n") == 1, "a second bench on the folder says so")
    ran = subprocess.run([program, "bench", str(bench.folder.parent / "other"), "--port", str(bench.port)],
                         capture_output=True, text=True, timeout=60)
    check(ran.returncode == 2 and "--port" in ran.stderr, f"a port that is taken is named ({ran.stderr.strip()})")


def soak(bench, place):
    for _ in range(300):
        bench.ask("GET", place + "/state")
    before = bench.memory_mb()
    for i in range(1500):
        bench.ask("GET", ("/", place, place + "/state", "/work.json", "/assets/bench.css")[i % 5])
    grown = bench.memory_mb() - before
    check(grown < 8, f"1,500 requests leave {grown:+.1f} MB")


with tempfile.TemporaryDirectory() as base:
    bench = Bench(program, pathlib.Path(base) / "bench")
    print(f"      idle: {bench.memory_mb():.0f} MB, readers {len(bench.children())}")
    try:
        pairing(bench)
        place = bench.new_scan(plan)
        other_sites(bench, place)
        paths(bench, place)
        sizes(bench, place)
        not_photos(bench, place)
        names(bench)
        many_small(bench, place)
        slow(bench, place)
        crash(bench, place)
        second(bench)
        soak(bench, place)
        check(bench.process.poll() is None, "the bench stands")
        check(bench.stop() == 130, "and ends by Ctrl-C")
        time.sleep(0.5)
        check(not bench.children(), "with its readers")
    finally:
        bench.kill()
sys.exit(check.end())
