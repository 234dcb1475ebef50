#!/usr/bin/env python3
"""clang-tidy has nothing to say of src.  tidy_test.py CLANG_TIDY BUILD_DIR

The checks are those of .clang-tidy. Every unit of compilation of src is checked (a room is one, where rooms are
compiled as one), as many at a time as there are processors, the largest first. A unit is not checked again while its
sources, all headers of src, the checks and clang-tidy itself are those of its last clean run.
"""
import concurrent.futures
import hashlib
import json
import os
import pathlib
import re
import subprocess
import sys

SOURCE = pathlib.Path(__file__).resolve().parents[2]


def units_of(build):
    """The units of src and the commands that compile them."""
    units = {}
    for entry in json.loads((build / "compile_commands.json").read_text(encoding="utf-8")):
        if re.search(r" -o src/CMakeFiles/interstice\w*\.dir/", entry["command"]):
            units[pathlib.Path(entry["file"])] = entry["command"]
    return units


def sources_of(unit):
    """The unit itself or, of a room compiled as one, the files it includes."""
    named = re.findall(r'^#include "(/[^"]*\.cpp)"', unit.read_text(encoding="utf-8"), flags=re.M)
    return [pathlib.Path(n) for n in named] or [unit]


def size_of(unit):
    return sum(f.stat().st_size for f in sources_of(unit) if SOURCE / "src" in f.parents)


def fingerprint(tidy, unit, command):
    digest = hashlib.sha256(command.encode())
    digest.update(subprocess.run([tidy, "--version"], capture_output=True, check=True).stdout)
    for file in [SOURCE / ".clang-tidy", *sorted((SOURCE / "src").rglob("*.h")), *sources_of(unit)]:
        digest.update(file.read_bytes())
    return digest.hexdigest()


def findings_of(tidy, build, unit):
    run = subprocess.run([tidy, "-p", str(build), "--quiet", f"--header-filter=^{re.escape(str(SOURCE))}/src/",
                          "--extra-arg=-Wno-unknown-warning-option", str(unit)], capture_output=True, text=True)
    return "" if run.returncode == 0 else run.stdout + run.stderr


def main(argv):
    tidy, build = argv[1], pathlib.Path(argv[2]).resolve()
    units = units_of(build)
    if not units:
        print("no unit of src stands in compile_commands.json")
        return 1
    marks = {unit: build / "tidy" / f"{hashlib.sha256(str(unit).encode()).hexdigest()[:16]}" for unit in units}
    prints = {unit: fingerprint(tidy, unit, command) for unit, command in units.items()}
    stale = [u for u in units if not marks[u].exists() or marks[u].read_text(encoding="utf-8") != prints[u]]
    stale.sort(key=size_of, reverse=True)
    (build / "tidy").mkdir(exist_ok=True)
    faults = []
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
        for unit, findings in zip(stale, pool.map(lambda u: findings_of(tidy, build, u), stale)):
            if findings:
                faults.append(findings)
            else:
                marks[unit].write_text(prints[unit], encoding="utf-8")
    print("\n".join(faults) if faults else f"{len(units)} units of src, {len(stale)} checked now")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv))
