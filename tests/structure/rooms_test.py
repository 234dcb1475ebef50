#!/usr/bin/env python3
"""The rooms of src/ against the one list in src/CMakeLists.txt.  rooms_test.py SOURCE_DIR ROOMS_LIST

ROOMS_LIST has a line a room, "room: rooms it may include". Checked: every include goes to a room on that list, every
file of a room opens the namespace of the room, no type of one qualified name is defined in two places (undefined
behaviour that no compiler reports), files, functions and rooms keep their sizes, and the table of DEVELOPERS.md is the list.
"""
import collections
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


def without_comments(text):
    text = re.sub(r"/\*.*?\*/", "", text, flags=re.S)
    return re.sub(r"//[^\n]*", "", text)


def unnamed_removed(text):
    """The text without what stands in unnamed namespaces: names there are the file's own."""
    out, i = [], 0
    for match in re.finditer(r"^namespace \{", text, flags=re.M):
        if match.start() < i:
            continue
        out.append(text[i:match.start()])
        depth, i = 1, match.end()
        while depth and i < len(text):
            depth += {"{": 1, "}": -1}.get(text[i], 0)
            i += 1
    return "".join(out) + text[i:]


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


def check_file(path, room, rooms, types, faults):
    text = path.read_text(encoding="utf-8")
    for target in re.findall(r'^#include "([a-z_]+)/', text, flags=re.M):
        if target != room and room != "app" and target not in rooms.get(room, []):
            faults.append(f"{path}: a file of {room} may not include {target}")
    if not re.search(rf"^namespace interstice::{room}\b", text, flags=re.M) and "namespace" in text:
        faults.append(f"{path}: does not open namespace interstice::{room}")
    bare = unnamed_removed(without_comments(text))
    for name in re.findall(r"^(?:struct|class|enum class) (\w+)(?: final)?(?: : [^;{]*)? \{", bare, flags=re.M):
        types[f"{room}::{name}"].append(path)
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
    faults, types = [], collections.defaultdict(list)
    folders = sorted(p for p in (source / "src").iterdir() if p.is_dir())
    for folder in folders:
        files = sorted(f for f in folder.iterdir() if f.suffix in (".cpp", ".h"))
        lines = sum(check_file(f, folder.name, rooms, types, faults) for f in files)
        reason = re.search(rf"`{folder.name}` is larger", guide)
        if (lines > MOST_LINES_A_ROOM or len(files) > MOST_FILES_A_ROOM) and not reason:
            faults.append(f"{folder}: {len(files)} files, {lines} lines; the guide gives no reason ('`{folder.name}` is larger')")
        if folder.name not in rooms and folder.name != "app":
            faults.append(f"{folder}: not in the list of rooms")
    faults += [f"{name} is defined {len(at)} times: {', '.join(map(str, at))}" for name, at in types.items() if len(at) > 1]
    rows = guide_rows(guide)
    for room, sees in rooms.items():
        if rows.get(room) != sees:
            faults.append(f"DEVELOPERS.md: the row of {room} says {rows.get(room)}, the list {sees}")
    print("\n".join(faults) if faults else f"{len(folders)} rooms as listed")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv))
