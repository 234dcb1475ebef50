#!/usr/bin/env python3
"""The rooms of src/ against the one list in src/CMakeLists.txt.  rooms_test.py SOURCE_DIR ROOMS_LIST

ROOMS_LIST has a line a room, "room: rooms it may include". Checked: every include goes to a room on that list, every
file of a room opens the namespace of the room, files, functions and rooms keep their sizes, and the table of
DEVELOPERS.md is the list.
"""
import pathlib
import re
import sys

MOST_LINES_A_FILE, MOST_LINES_A_ROOM, MOST_FILES_A_ROOM, MOST_LINES_A_FUNCTION = 400, 3000, 32, 60


def read_rooms(path):
    rooms = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.strip():
            room, sees = line.split(":", 1)
            rooms[room.strip()] = sees.split()
    return rooms


def long_functions(text):
    """Bodies that begin with a line at the margin ending in "{" and end with "}" at the margin, as clang-format lays out."""
    begins = None
    for number, line in enumerate(text.splitlines(), 1):
        if line.startswith("}"):
            if begins and number - begins[0] + 1 > MOST_LINES_A_FUNCTION:
                yield begins
            begins = None
        elif re.match(r"[A-Za-z].*\(", line):
            begins = (number, line)


def check_file(path, room, rooms, faults):
    text = path.read_text(encoding="utf-8")
    for target in re.findall(r'^#include "([a-z_]+)/', text, flags=re.M):
        if target != room and room != "app" and target not in rooms.get(room, []):
            faults.append(f"{path}: a file of {room} may not include {target}")
    if not re.search(rf"^namespace interstice::{room}\b", text, flags=re.M) and "namespace" in text:
        faults.append(f"{path}: does not open namespace interstice::{room}")
    for number, line in long_functions(text):
        faults.append(f"{path}:{number}: a function of more than {MOST_LINES_A_FUNCTION} lines: {line}")
    lines = text.count("\n")
    if lines > MOST_LINES_A_FILE:
        faults.append(f"{path}: {lines} lines, at most {MOST_LINES_A_FILE}")
    return lines


def guide_rows(guide):
    table = re.search(r"<!-- rooms -->(.*?)<!-- /rooms -->", guide, flags=re.S)
    rows = re.findall(r"^\| `(\w+)` \|[^|]*\|([^|]*)\|", table.group(1) if table else "", flags=re.M)
    return {room: sees.replace("`", "").split() for room, sees in rows}


def main(argv):
    source, rooms = pathlib.Path(argv[1]), read_rooms(pathlib.Path(argv[2]))
    guide = (source / "DEVELOPERS.md").read_text(encoding="utf-8")
    faults = []
    folders = sorted(p for p in (source / "src").iterdir() if p.is_dir())
    for folder in folders:
        files = sorted(f for f in folder.iterdir() if f.suffix in (".cpp", ".h"))
        lines = sum(check_file(f, folder.name, rooms, faults) for f in files)
        reason = re.search(rf"`{folder.name}` is larger", guide)
        if (lines > MOST_LINES_A_ROOM or len(files) > MOST_FILES_A_ROOM) and not reason:
            faults.append(f"{folder}: {len(files)} files, {lines} lines; the guide gives no reason ('`{folder.name}` is larger')")
        if folder.name not in rooms and folder.name != "app":
            faults.append(f"{folder}: not in the list of rooms")
    rows = guide_rows(guide)
    for room, sees in rooms.items():
        if rows.get(room) != sees:
            faults.append(f"DEVELOPERS.md: the row of {room} says {rows.get(room)}, the list {sees}")
    print("\n".join(faults) if faults else f"{len(folders)} rooms as listed")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv))
