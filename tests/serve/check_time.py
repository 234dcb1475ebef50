#!/usr/bin/env python3
"""How soon after arriving a photo is looked at, while others are being sent.  check_time.py PROGRAM SCAN_FOLDER

No test: prints figures. Photos are sent one after the other from one sender and, meanwhile, from a second one into
another scan.
"""
import pathlib
import statistics
import sys
import tempfile
import threading
import time

from served import Bench

program, scan = sys.argv[1], pathlib.Path(sys.argv[2])
plan = (scan / "plan.json").read_bytes()
photos = [p.read_bytes() for p in sorted((scan / "photos").iterdir())][:12]

with tempfile.TemporaryDirectory() as base:
    bench = Bench(program, pathlib.Path(base) / "bench")
    bench.pair()
    place = bench.new_scan(plan)
    other = bench.add_scan("/".join(place.split("/")[:3]), "Ring 2")
    idle = bench.memory_mb()
    stop = threading.Event()

    def send_others():
        for photo in photos:
            if stop.is_set():
                return
            bench.send(other, photo)
            time.sleep(1)  # a person taking photos is slower
    sender = threading.Thread(target=send_others)
    sender.start()
    acknowledged, looked_at, placed = [], [], []
    for i, photo in enumerate(photos):
        began = time.time()
        status, answer = bench.send(place, photo)
        assert status == 200, answer
        arrived = time.time()
        acknowledged.append(arrived - began)
        while not bench.get_json(place + "/state")["photos"][-1]["checked"]:
            time.sleep(0.02)
        looked_at.append(time.time() - arrived)
        while not bench.get_json(place + "/state")["whole"]:
            time.sleep(0.02)
        placed.append(time.time() - arrived)
    stop.set()
    sender.join()
    for name, times in (("sent and acknowledged", acknowledged), ("looked at", looked_at), ("dial up to date", placed)):
        print(f"{name}: median {statistics.median(times):.2f} s, longest {max(times):.2f} s")
    print(f"server: {idle:.0f} MB idle, {bench.memory_mb():.0f} MB after")
    bench.stop()
