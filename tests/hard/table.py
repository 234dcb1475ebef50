#!/usr/bin/env python3
"""The tables of .docs/hard-to-break.md from what the tests wrote.

  table.py RESULTS DOCUMENT            puts the rows of RESULTS/*.md into the document
  table.py --check RESULTS DOCUMENT    says which rows differ, exit 1 if any does

RESULTS is results/hard in the build folder: the hard_*_tests write a file a group (INTERSTICE_HARD=full for the
long cases), tests/fuzz/long_run.sh writes fuzz.md. In the document a table stands between the lines
<!-- table NAME --> and <!-- end -->. Rows of cases that were not run again stay as they are; so a table need not
be made in one run, and a row whose case no test has any more must be deleted by hand (--check names it).
"""
import pathlib
import re
import sys


def case_of(row):
    return row.split(" | ")[0]


def rows_of(text):
    """The rows of a table without its two heading lines, and without what only this run could say: the test's folder,
    numbers of processes, the program's name before every line it says."""
    for gone, instead in ((r"hard/[A-Za-z]+_[A-Za-z]+/", ""), (r"\.result\.\d+\.part", ".result.N.part"),
                          (r"\| interstice: ", "| ")):
        text = re.sub(gone, instead, text)
    return [r for r in text.splitlines() if r.startswith("| ")][2:]


def merged(old, new):
    fresh = {case_of(r): r for r in new}
    rows = [fresh.pop(case_of(r), r) for r in old]
    return rows + list(fresh.values())


def main(arguments):
    check = arguments[:1] == ["--check"]
    folder, path = map(pathlib.Path, arguments[check:])
    document = path.read_text()
    problems = []

    def table(match):
        name, old_text = match.group(1), match.group(2)
        heading = "\n".join([r for r in old_text.splitlines() if r.startswith("| ")][:2])
        old = rows_of(old_text)
        source = folder / f"{name}.md"
        new = rows_of(source.read_text()) if source.exists() else []
        known = {case_of(r): r for r in new}
        for row in old:
            if case_of(row) not in known:
                problems.append(f"{name}: not run: {case_of(row)[2:]}")
            elif known[case_of(row)] != row:
                problems.append(f"{name}: differs:\n  document: {row}\n  run:      {known[case_of(row)]}")
        for row in new:
            if case_of(row) not in map(case_of, old):
                problems.append(f"{name}: not in the document: {case_of(row)[2:]}")
        return f"<!-- table {name} -->\n{heading}\n" + "\n".join(merged(old, new)) + "\n<!-- end -->"

    result = re.sub(r"<!-- table (\w+) -->\n(.*?)<!-- end -->", table, document, flags=re.S)
    if check:
        print("\n".join(problems) or "every row of the document is what the tests wrote")
        return 1 if problems else 0
    path.write_text(result)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
