#!/usr/bin/env python3
"""The whole program against its floor, against more photos and pieces, and against a baseline made only from
libraries; all ratios from one run.

    python3 tests/bench/whole.py BUILD [--write .docs/speed.md] [--quick]

BUILD: a build folder with INTERSTICE_BENCH and INTERSTICE_TESTS on. Needs the standard library alone. Times are
CPU seconds of whole processes (all threads), so that other work on the machine counts little; seconds and the
load go to standard error, the document holds ratios. Scans kept beside a checkout (../shared/scans) are used where they are.
"""
import argparse
import json
import math
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time

SOURCE = pathlib.Path(__file__).resolve().parents[2]
TICK = os.sysconf("SC_CLK_TCK")
SCANS = [("plover, 20 x 3 MP, 57 pieces", SOURCE / "datasets/plover", "150.0"),
         ("godwit, 24 x 12 MP, 40 pieces", SOURCE / "../shared/scans/godwit", "148.05")]
# The renderer's cheap pictures: what is measured is cost, not accuracy.
CHEAP = ["form.rim_radius_mm=75", "form.height_mm=70", "layout.thickness_mm=10", "camera.width_px=1200",
         "camera.height_px=900", "camera.footprint_mm=0.46", "sampling.light_rays=8", "sampling.light_step_mm=3",
         "sampling.interior_samples=1", "sampling.edge_samples=8", "sampling.threads=2"]


class Refused(Exception):
    """A program that did not do its work, and what it said."""


class Run:
    """One finished process: CPU seconds by step of its progress, in all, wall seconds, peak memory."""

    def __init__(self, command):
        self.steps, start = [], time.time()
        output = tempfile.TemporaryFile("w+")
        process = subprocess.Popen([str(c) for c in command], stdout=output, stderr=subprocess.PIPE, text=True)
        last, name = 0.0, "start"
        for line in process.stderr:
            now = self.cpu_of(process.pid)
            self.steps.append((name, now - last))
            last, name = now, line.strip()
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        output.seek(0)
        self.out = output.read()
        self.cpu = usage.ru_utime + usage.ru_stime
        self.steps.append((name, self.cpu - last))
        self.wall, self.gigabytes = time.time() - start, usage.ru_maxrss / 1e6
        if process.returncode not in (0, 1):  # inspect: 1 is "needs work"
            raise Refused(f"{pathlib.Path(command[0]).name} ended with {process.returncode}: {name}")

    @staticmethod
    def cpu_of(pid):
        with open(f"/proc/{pid}/stat") as file:
            fields = file.read().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / TICK


class Bench:
    def __init__(self, build, work):
        self.build, self.work = build, work
        self.program = build / "src/app/interstice"

    def inspect(self, photos, plan, check, name):
        out = self.work / name
        shutil.rmtree(out, ignore_errors=True)
        return Run([self.program, "inspect", photos, "--plan", plan, "--check-line", check, "--out", out,
                    "--progress"])

    def floor(self, photos):
        return json.loads(Run([self.build / "tests/bench/floor_time", photos]).out)

    def render(self, name, scene, settings):
        out = self.work / name
        command = [self.build / "datasets/renderer/render_scene", "--scene", scene, "--quiet", "--out", out]
        for setting in settings:
            command += ["--set", setting]
        Run(command)
        return out


def table(head, rows):
    lines = ["| " + " | ".join(head) + " |", "| " + " | ".join("---" for _ in head) + " |"]
    return "\n".join(lines + ["| " + " | ".join(str(c) for c in row) + " |" for row in rows]) + "\n"


def slope(points):
    """Least-squares slope of log cost over log size: 1 is linear."""
    xs, ys = [math.log(x) for x, _ in points], [math.log(y) for _, y in points]
    mx, my = sum(xs) / len(xs), sum(ys) / len(ys)
    return sum((x - mx) * (y - my) for x, y in zip(xs, ys)) / sum((x - mx) ** 2 for x in xs)


def whole_scans(bench):
    text = ""
    for name, folder, check in SCANS:
        if not folder.exists():
            text += f"\n### {name}\n\nnot beside this checkout: left out\n"
            continue
        floor = bench.floor(folder / "photos")
        unit = floor["decode_cpu_s"] + floor["read_cpu_s"]
        run = bench.inspect(folder / "photos", folder / "plan.json", check, "whole")
        rows = [[step, f"{cpu / unit:.1f}", f"{100 * cpu / run.cpu:.0f} %"] for step, cpu in run.steps]
        rows.append(["**all**", f"**{run.cpu / unit:.1f}**", "100 %"])
        text += f"\n### {name}\n\n" + table(["step", "times the floor", "share"], rows)
        text += (f"\nPeak memory {run.gigabytes:.2f} GB; decoding is {100 * floor['decode_cpu_s'] / unit:.0f} % of the "
                 "floor.\n")
        print(f"{name}: CPU {run.cpu:.1f} s, wall {run.wall:.1f} s at a load of {os.getloadavg()[0]:.1f}, floor "
              f"{unit:.2f} s", file=sys.stderr)
    return text


def larger_photos(bench):
    name, folder, check = SCANS[-1]
    if not folder.exists():
        return "not beside this checkout: left out\n"
    large = bench.work / "large"
    Run([bench.build / "tests/bench/enlarge_photos", folder / "photos", large])
    rows, first = [], None
    for words, photos in (("as they are", folder / "photos"), ("four times the pixels", large)):
        run = bench.inspect(photos, folder / "plan.json", check, "larger")
        first = first or run.cpu
        megapixels = bench.floor(photos)["megapixels"]
        quality = json.loads((bench.work / "larger/scan/scan.json").read_text())["photos"][0]
        rows.append([words, f"{megapixels / len(list(photos.iterdir())):.0f}", quality.get("reduced", 1),
                     f"{run.cpu / first:.2f}", f"{run.gigabytes:.2f}"])
    return f"{name}.\n\n" + table(["photos", "megapixels", "carried at one pixel for n x n", "CPU against the first",
                                   "peak GB"], rows)


# What stages_bench measures: its name, in words, and whether of one photo or piece.
STAGES = [("decode_grey", "decoding a photo's light", True), ("decode_colour", "decoding a photo's colours", True),
          ("find_cards", "cards of a photo", True), ("features", "features of a whole photo", True),
          ("whole_scan", "the scan: cards, features, ties, adjustment", False), ("turn", "the turn", False),
          ("dense_heights", "heights", False), ("place_one_piece", "placing one outline", False),
          ("trace_one_piece", "tracing one outline once", False), ("whole_fit", "the fit: pieces and seams", False),
          ("voids_and_pours", "voids, reach and tilts", False), ("corrections", "least work", False),
          ("marked_photos", "marked photos", False), ("page", "page", False)]


def stage_table(cpu_s, floor_s, photos):
    """cpu_s: CPU seconds by benchmark; photos' own figures are held against one photo's share of the floor."""
    rows = [[words, f"{cpu_s[name] / (floor_s / photos if one else floor_s):.2g}", "the photo's" if one else "all"]
            for name, words, one in STAGES]
    return table(["stage", "times the floor", "floor of"], rows)


def stages(bench):
    result = json.loads(Run([bench.build / "tests/bench/stages_bench", "--benchmark_min_time=0.2",
                             "--benchmark_format=json"]).out)
    cpu = {b["name"].split("/")[0]: b["cpu_time"] / 1000 for b in result["benchmarks"]}
    floor = bench.floor(SOURCE / "datasets/plover/photos")
    return stage_table(cpu, floor["decode_cpu_s"] + floor["read_cpu_s"], floor["photos"])


def more_photos(bench, counts):
    """One rendered scan of as many photos as asked for at most, and evenly spread parts of it."""
    most = max(counts)
    wide = ["camera.width_px=1280", "camera.height_px=960", "camera.footprint_mm=0.47"]  # two cards in every photo
    scan = bench.render("photos", "patch", CHEAP[-5:] + wide + [f"camera.photos={most}"])
    photos, rows, points = sorted((scan / "photos").iterdir()), [], []
    for count in counts:
        part = bench.work / f"part{count}"
        part.mkdir()
        for k in range(count):
            shutil.copy(photos[k * most // count], part)
        try:
            run = bench.inspect(part, scan / "plan.json", "150.0", "out")
        except Refused as refused:
            print(f"{count} photos: {refused}", file=sys.stderr)
            continue
        floor = bench.floor(part)
        rows.append([count, f"{run.cpu / (floor['decode_cpu_s'] + floor['read_cpu_s']):.0f}",
                     f"{run.cpu / rows[0][-1]:.2f}" if rows else "1.00", f"{run.gigabytes:.2f}", run.cpu])
        points.append((count, run.cpu))
    text = table(["photos", "times the floor", "CPU against the first", "peak GB"], [r[:-1] for r in rows])
    return text + f"\nLog-log slope of CPU over photos: {slope(points):.2f} (1 is linear).\n"


LEAST_WORK = "working out the least work"


def more_pieces(bench, sizes):
    rows, points, first = [], [], None
    for size in sizes:
        scan = bench.render(f"pieces{size}", "bowl",
                            CHEAP + [f"layout.piece_size_mm={size}", "camera.photos=16"])
        pieces = len(json.loads((scan / "plan.json").read_text())["tiles"])
        try:
            run = bench.inspect(scan / "photos", scan / "plan.json", "150.0", "out")
        except Refused as refused:
            print(f"{pieces} pieces: {refused}", file=sys.stderr)
            continue
        # What the least work costs hangs on how many seams are too tight and how they hang together.
        work = sum(cpu for name, cpu in run.steps if name == LEAST_WORK)
        measured = run.cpu - work
        first = first or measured
        seams = json.loads((bench.work / "out/fit.json").read_text())["seams"]
        tight = sum(seam["verdict"] != "clear" for seam in seams)
        rows.append([pieces, f"{measured / first:.2f}", f"{measured / first * rows[0][0] / pieces:.2f}" if rows
                     else "1.00", f"{work / first:.2f}", tight])
        points.append((pieces, measured))
    text = table(["pieces", "CPU without the least work, against the first", "the same a piece",
                  "CPU of the least work, same unit", "seams not clear"], rows)
    return text + f"\nLog-log slope of CPU without the least work over pieces: {slope(points):.2f} (1 is linear).\n"


def against_baseline(bench, ready=None):
    folder = SOURCE / "datasets/plover"
    run = bench.inspect(folder / "photos", folder / "plan.json", "150.0", "ours")
    while ready and not ready.exists():  # still running beside this one
        time.sleep(2)
    theirs = json.loads(ready.read_text() if ready else
                        Run([bench.build / "tests/bench/baseline", bench.work / "ours",
                             folder / "truth.json"]).out)
    base, ours = theirs["baseline"], theirs["ours"]
    steps = {name: step["cpu_s"] for name, step in theirs["steps"].items()}
    baseline_cpu = sum(steps.values())
    surface_steps = ("measuring the pieces' edges", "measuring the seams", "what resin reaches",
                     "working out the least work", "writing the results")
    surface_cpu = sum(cpu for name, cpu in run.steps if name not in surface_steps)
    rows = [[label, form.format(base[key]), form.format(ours[key])] for label, key, form in (
        ("points on true faces a cm2", "points_per_cm2", "{:.0f}"),
        ("square millimetres of the faces with a point", "faces_covered", "{:.2f}"),
        ("median distance from the true face, mm", "median_mm", "{:.3f}"),
        ("RMS distance (of points within 3 mm), mm", "rms_mm", "{:.3f}"),
        ("mean distance (bias), mm", "bias_mm", "{:+.3f}"),
        ("points within 0.3 mm", "within_0.3_mm", "{:.2f}"))]
    about = [math.sqrt(e["rms_mm"] ** 2 - e["bias_mm"] ** 2) for e in (base, ours)]
    rows.append(["RMS about that mean, mm"] + [f"{x:.3f}" for x in about])
    rows.insert(0, ["CPU, photos to surface, ours = 1", f"{baseline_cpu / surface_cpu:.1f}", "1"])
    rows.insert(1, ["CPU, baseline's surface against our whole inspection", f"{baseline_cpu / run.cpu:.1f}", "1"])
    text = table(["", "libraries", "ours"], rows)
    shares = ", ".join(f"{name} {100 * cpu / baseline_cpu:.0f} %" for name, cpu in steps.items())
    return text + f"\nThe baseline's CPU: {shares}; {theirs['pairs']} pairs.\n"


INTRODUCTION = """# Speed

Written by `tests/bench/whole.py`; every ratio is between figures measured side by side, on 2 cores; parts may come from
different runs (`--only`). CPU is that of whole processes, all threads together. The floor is the CPU needed to decode every
photo once in colour and to read every pixel once: nothing that looks at the photos can cost less.
"""
FLOOR = """
What the rest is: finding the form is SIFT over every photo at twelve hundred pixels or less; a neighbour's
features are compared only near the epipolar line, and a match found there is held against all others until one
refuses it; cards are thresholds and contours at three scales; heights compare each map cell in five photos at some
forty heights; whether the form lay still is part of that step; edges are read along every outline in every photo
that sees it.
"""
SEQUENCE = """
CPU is not waiting time. On one thread run: solving the photos' positions, the adjustment in "tying", the network of
channels, the solver of the least work. The solver goes on beside the search for tilts and the writing of all that
does not depend on it; what is left of one thread is about 11 of 45 seconds of CPU on plover, nine of
them the solver's.
"""
LARGER = """
The same photos as a sensor of four times the pixels behind the same lens would give them
(`tests/bench/enlarge_photos.cpp`). What their edges do not fill is not carried (decision `pixels-resolved`).
"""
STAGE_WORDS = """
`stages_bench` on plover, every stage with the results of those before it at hand; CPU of all threads.

"""
BASELINE = """
The baseline is what the libraries alone make of the same photos (`tests/bench/baseline.cpp`): SIFT, brute-force
matching, essential matrices; semi-global matching of every photo with its two nearest neighbours; fusion into a
truncated signed distance field of 1 mm. To be kind to it the pairs are rectified by our poses and lens and
matched only near the form's depth. Both clouds are held against the true faces (drawn in by 1 mm), points further
than 3 mm off left out. Ours is `cloud.ply`: a point every half millimetre, from heights measured every millimetre.
The measured heights alone are 100 a cm2, fewer than the crossings the baseline's field gives, but they leave no
place of a face empty. The baseline's mean is the fusion's: what a wrong depth behind the surface says counts as
free space before it, what one in front of it says is cut off. Fed with true depths from the same cameras the field is right to 0.00 mm
in the mean (median 0.02); with 45 % of the depths spread evenly over 10 mm either way its mean is -1.07. Before
fusion the medians of the four pairs looked at lie within 0.1 mm of the truth, with 33 to 57 % of their
disparities right to a pixel. Our cloud only starts the measurement of the pieces; their faces are planes afterwards.
"""


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("build", type=pathlib.Path)
    parser.add_argument("--write", type=pathlib.Path)
    parser.add_argument("--keep", type=pathlib.Path,
                        help="folder for the finished parts: a run that was stopped goes on from there")
    parser.add_argument("--baseline", type=pathlib.Path,
                        help="what the baseline printed when it ran beside this run, instead of running it")
    parser.add_argument("--only", nargs="+", choices=["scans", "larger", "stages", "photos", "pieces", "baseline"])
    parser.add_argument("--photos", nargs="+", type=int, default=[12, 24, 48, 96])
    parser.add_argument("--quick", action="store_true", help="few photos and pieces, to try the script")
    arguments = parser.parse_args()
    parts = {
        "scans": ("## The whole, step by step", FLOOR + SEQUENCE, whole_scans),
        "larger": ("## Larger photos", LARGER, larger_photos),
        "stages": ("## Stages", STAGE_WORDS, stages),
        "photos": ("## More photos", "\nOne rendered patch of six pieces (1.2 MP a photo), evenly spread parts of its "
                   "photos.\n\n",
                   lambda b: more_photos(b, [12, 24] if arguments.quick else arguments.photos)),
        "pieces": ("## More pieces", "\nOne rendered bowl, 16 photos of 1.1 MP, cut into smaller and smaller "
                   "pieces.\n\n", lambda b: more_pieces(b, [48, 36] if arguments.quick else [40, 31, 24])),
        "baseline": ("## Against the libraries alone", BASELINE + "\n",
                     lambda b: against_baseline(b, arguments.baseline)),
    }
    text = INTRODUCTION
    with tempfile.TemporaryDirectory() as work:
        bench = Bench(arguments.build.resolve(), pathlib.Path(work))
        for name, (title, words, measure) in parts.items():
            if arguments.only and name not in arguments.only:
                continue
            kept = arguments.keep / f"{name}.md" if arguments.keep else None
            if kept and kept.exists():
                part = kept.read_text()
            else:
                part = f"\n{title}\n{words}{measure(bench)}"
                if kept:
                    kept.parent.mkdir(parents=True, exist_ok=True)
                    kept.write_text(part)
            print(part, flush=True)
            text += part
    if arguments.write:
        arguments.write.write_text(text)


if __name__ == "__main__":
    main()
