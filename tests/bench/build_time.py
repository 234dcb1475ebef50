#!/usr/bin/env python3
"""What a build costs.  build_time.py SOURCE_DIR [--tests] [--one-by-one]

Prints the CPU of building the program from nothing, without a compiler cache, and the same in units of compiling one
fixed file that includes OpenCV, Eigen, JSON and regular expressions, so that figures of several machines compare.
--tests builds the tests as well; --one-by-one compiles every file alone, not rooms as one unit.
"""
import argparse
import os
import pathlib
import resource
import statistics
import subprocess
import tempfile

UNIT = """#include <opencv2/imgproc.hpp>
#include <Eigen/Dense>
#include <nlohmann/json.hpp>
#include <regex>
int main() { return 0; }
"""


def cpu_s(command, **kwargs):
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, **kwargs)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def unit_s(folder):
    source = folder / "unit.cpp"
    source.write_text(UNIT, encoding="utf-8")
    command = ["c++", "-std=c++20", "-O2", "-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wshadow", "-isystem", "/usr/include/opencv4",
               "-isystem", "/usr/include/eigen3", "-c", str(source), "-o", str(folder / "unit.o")]
    return statistics.median(cpu_s(command) for _ in range(5))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("source", type=pathlib.Path)
    parser.add_argument("--tests", action="store_true")
    parser.add_argument("--one-by-one", action="store_true")
    a = parser.parse_args()
    environment = dict(os.environ, CCACHE_DISABLE="1")
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        unit = unit_s(folder)
        build = folder / "build"
        subprocess.run(["cmake", "-S", a.source.resolve(), "-B", build, "-G", "Ninja", "-DCMAKE_BUILD_TYPE=Release",
                        f"-DINTERSTICE_TESTS={'ON' if a.tests else 'OFF'}", f"-DINTERSTICE_UNITY={'OFF' if a.one_by_one else 'ON'}"],
                       check=True, stdout=subprocess.DEVNULL, env=environment)
        targets = [] if a.tests else ["interstice"]
        cost = cpu_s(["cmake", "--build", build, "--target", *targets] if targets else ["cmake", "--build", build], env=environment)
        print(f"{cost:.0f} s of CPU, {cost / unit:.0f} times one file ({unit:.1f} s)")


if __name__ == "__main__":
    main()
