#!/usr/bin/env python3
"""The guide's "Where do I look?" against the sources.  guide_test.py SOURCE_DIR

Every file it names is there. For the questions below the named file, and no other, defines the function that does it,
and the program reaches it: another room or command calls it.
"""
import pathlib
import re
import sys

# question: function whose definition answers it
DONE_BY = {
    "why is this seam called too tight": "judge",
    "where is a card detected": "detect_cards",
    "where is an arris traced": "trace_arris",
    "who decides the lean": "search_pours",
    "where is a photo's location removed": "clean_picture",
    "what is written into a result folder": "ResultFolder::commit",
}


def without_comments(text):
    return re.sub(r"//[^\n]*", "", text)


def defines(text, function):
    return re.search(rf"^[\w:<>,&\* ]*\b{function}\([^;{{}}]*\)(?: const)? \{{", text, flags=re.M | re.S) is not None


def main(argv):
    source, faults = pathlib.Path(argv[1]), []
    table = (source / "DEVELOPERS.md").read_text(encoding="utf-8").split("## Where do I look?")[1].split("\n## ")[0]
    rows = dict(re.findall(r"^\| ([^|`]+?) \| `([^`]+)`", table, flags=re.M))
    texts = {f: without_comments(f.read_text(encoding="utf-8")) for f in sorted((source / "src").glob("*/*.*"))
             if f.suffix in (".cpp", ".h")}
    for question, name in rows.items():
        if not list(source.glob(name)):
            faults.append(f"{question}: there is no {name}")
    for question, function in DONE_BY.items():
        file = source / rows.get(question, "the guide does not answer")
        at = [f for f, text in texts.items() if defines(text, function)]
        if at != [file]:
            faults.append(f"{question}: the guide says {file}, {function}() is defined in {', '.join(map(str, at)) or 'no file'}")
        called = function.split("::")[-1] + "("
        if not any(called in text for f, text in texts.items() if f.stem != file.stem):
            faults.append(f"{question}: nothing calls {function}()")
    print("\n".join(faults) if faults else f"{len(rows)} questions, {len(DONE_BY)} of them followed into the code")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv))
