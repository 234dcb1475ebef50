#!/usr/bin/env python3
"""The bench killed again and again while photos arrive.  kill_test.py PROGRAM SCAN_FOLDER [TIMES]

Whatever was acknowledged is there afterwards, byte for byte as acknowledged; nothing half-written has a photo's
name; a photo sent again is not kept twice.
"""
import hashlib
import pathlib
import random
import secrets
import sys
import tempfile
import threading
import time

from served import Bench, Checks

program, scan = sys.argv[1], pathlib.Path(sys.argv[2])
times = int(sys.argv[3]) if len(sys.argv) > 3 else 50
check = Checks()
plan = (scan / "plan.json").read_bytes()
photos = [p.read_bytes() for p in sorted((scan / "photos").iterdir())]
rng = random.Random(7)


def different(photo, n):
    """The same picture with another comment (JPEG, COM): what it tells beside the picture is taken out again."""
    return photo[:2] + b"\xff\xfe\x00\x0a%08d" % n + photo[2:]


with tempfile.TemporaryDirectory() as base:
    folder = pathlib.Path(base) / "bench"
    bench = Bench(program, folder)
    bench.pair()
    cookie_value = bench.cookie.split("=")[1]
    place = bench.new_scan(plan)
    bowl_place = "/".join(place.split("/")[:3])
    acknowledged, tried, unfinished, sent = {}, 0, [], 0
    for kill in range(times):
        if kill % 2 == 0:  # a scan for every two kills: what one left is taken up once, then new photos come
            place, tried, unfinished = bench.add_scan(bowl_place, f"Ring {kill}"), 0, []
            kept = folder / "bowls" / place.split("/")[2] / "scans" / place.split("/")[4] / "photos"
        # Killed a moment after some request was begun: in the middle of a slice, of the cleaning, of the keeping.
        moments, wait = iter(range(rng.randint(0, 60), -1, -1)), rng.uniform(0, 0.15)
        end = threading.Timer(wait, bench.kill)
        bench.before_request = lambda: next(moments, None) == 0 and end.start()
        try:
            while True:
                # First what the last server left unacknowledged, as the page does, under its upload's name.
                number, upload = unfinished.pop() if unfinished else (tried, secrets.token_hex(16))
                tried = max(tried, number + 1)
                unfinished.append((number, upload))
                status, answer = bench.send(place, different(photos[number % len(photos)], number), 1 << 17, upload)
                unfinished.pop()
                if status != 200:
                    check(False, f"a photo was refused: {status} {answer}")
                    break
                acknowledged[kept / answer["photo"]] = answer["sha256"]
                sent += 1
                if number >= len(photos) and not answer["known"]:
                    check(False, f"{answer['photo']} is kept twice")
        except OSError:
            pass
        except Exception as e:  # a connection cut in the middle of an answer
            if "ncomplete" not in type(e).__name__ and "Remote" not in type(e).__name__ and "BadStatus" not in type(e).__name__:
                raise
        end.join()
        for file, digest in acknowledged.items():
            if not file.exists() or hashlib.sha256(file.read_bytes()).hexdigest() != digest:
                check(False, f"after kill {kill}: {file.name} is not as acknowledged")
        for file in kept.iterdir():
            whole = file.read_bytes()
            if not (whole.startswith(b"\xff\xd8") and whole.endswith(b"\xff\xd9")):
                check(False, f"after kill {kill}: {file.name} is half a photo")
        bench = Bench(program, folder)
        bench.cookie = f"interstice_{bench.port}={cookie_value}"
    check(bench.ask("GET", "/")[0] == 200, f"killed {times} times, and devices are still let in")
    check(len(acknowledged) > times, f"{sent} acknowledgements of {len(acknowledged)} photos, all there byte for byte")
    scans = list((folder / "bowls").glob("*/scans/*/photos"))
    check(len(scans) > times // 2, f"{len(scans)} scans")
    twice = [s for s in scans if len({hashlib.sha256(f.read_bytes()).hexdigest() for f in s.iterdir()}) < len(list(s.iterdir()))]
    check(not twice, f"no photo is kept twice ({len(twice)} scans with one)")
    check(bench.stop() == 130, "ends by Ctrl-C")
sys.exit(check.end())
