#!/usr/bin/env python3
"""One name, one type.  names_test.py SOURCE_DIR

Two different types of one qualified name in one program are undefined behaviour that no compiler and no linker reports
(only a link of the whole program with -flto -Wodr does, which costs as much as the build). Here every class, struct,
union and enum that src, the renderer and the tests define is listed with its namespaces, and no name may be defined
twice in what can be linked into one program. Types in unnamed namespaces and in functions are their file's own, but not
in a header, which brings them into every file. The checks below run first, on planted texts.
"""
import collections
import functools
import pathlib
import re
import sys

SKIPPED = re.compile(
    r'//[^\n]*|/\*.*?\*/|R"(?P<mark>[^()\s\\"]*)\(.*?\)(?P=mark)"|"(?:[^"\\\n]|\\.)*"|(?<![0-9a-fA-F])\'(?:[^\'\\\n]|\\.)+\''
    r"|^[ \t]*#(?:[^\n\\]|\\.)*", re.S | re.M)
TOKEN = re.compile(r"[{};]|[^{};]+", re.S)
NAMESPACE = re.compile(r"^(?:inline\s+)?namespace\b\s*([\w:]*)\s*$")
TYPE = re.compile(r"\b(?:struct|class|union|enum(?:\s+(?:class|struct))?)\s+"
                  r"(?:(?:alignas\s*\([^)]*\)|\[\[[^\]]*\]\]|__attribute__\s*\(\([^)]*\)\))\s*)*(\w+(?:::\w+)*(?:\s*<[^()]*>)?)"
                  r"(?:\s+final)?\s*(?::(?!:)[^()]*)?$", re.S)
TEMPLATE = re.compile(r"^\s*template\s*<(?:[^<>]|<(?:[^<>]|<[^<>]*>)*>)*>\s*(?:requires\s+[\w:<>, ]+?\s+(?=struct|class|union))?")


@functools.lru_cache(maxsize=None)
def types_of(text):
    """Qualified names of the types that a text defines, and whether they stand in an unnamed namespace."""
    text = SKIPPED.sub(" ", text)
    around = []  # of each open brace: the names it adds, None: not a namespace
    unnamed = 0
    head = ""
    found_types = []
    for token in TOKEN.findall(text):
        if token == "{":
            words = head.strip()
            namespace = NAMESPACE.match(words)
            if namespace and None not in around:
                names = namespace.group(1).split("::") if namespace.group(1) else [""]
                unnamed += names == [""]
                around.append(names)
            else:
                bare = TEMPLATE.sub("", words)
                found = TYPE.search(bare) if None not in around else None
                if found and "(" not in bare[:found.start()] and "=" not in bare[:found.start()]:
                    spaces = [n for names in around for n in names if n]
                    found_types.append(("::".join(spaces + [re.sub(r"\s+", "", found.group(1))]), unnamed > 0))
                around.append(None)
            head = ""
        elif token == "}":
            if around and around.pop() == [""]:
                unnamed -= 1
            head = ""
        elif token == ";":
            head = ""
        else:
            head += token
    return found_types


def doubles(files):
    """Faults among the texts of one program, by path: a name defined twice, whether or not the definitions agree."""
    at = collections.defaultdict(list)
    for path, text in files.items():
        for name, unnamed in types_of(text):
            if not unnamed:
                at[name].append(path)
            elif path.endswith(".h"):
                yield f"{path}: {name} stands in an unnamed namespace of a header: another type in every file"
    for name, paths in at.items():
        if len(paths) > 1:
            yield f"{name} is defined {len(paths)} times: {', '.join(sorted(paths))}"


PLANTED = {
    # name of the case: (files, how many faults)
    "two structs of one name": ({"a.cpp": "namespace i::a {\nstruct Place {\n int x;\n};\n}",
                                 "b.cpp": "namespace i::a {\nstruct Place { double y; };\n}"}, 1),
    "a class and a struct, one with a base, one indented":
        ({"a.h": "namespace i::a {\nclass Way final : public std::vector<int> {\n};\n}",
          "b.cpp": "namespace i {\nnamespace a {\n  struct Way { int x = 0; };\n}\n}"}, 1),
    "templates and enums": ({"a.h": "namespace i {\ntemplate <class T, class U = std::vector<T>>\nstruct By { T t; };\n"
                                    "enum class Side : int { left, right };\n}",
                             "b.h": "namespace i { template <class T> struct By { T u; }; enum Side { up }; }"}, 2),
    "attributes": ({"a.h": "struct [[nodiscard]] Held { int a; };", "b.h": "struct alignas(16) Held { int b; };"}, 1),
    "an unnamed namespace in a header": ({"a.h": "namespace i {\nnamespace {\nstruct Own {};\n}\n}"}, 1),
    "two in one file": ({"a.cpp": "namespace i { struct A { int x; }; }\nnamespace i { struct A { int y; }; }"}, 1),
    "none: own to their files, functions and classes, declared, other namespaces, texts and comments":
        ({"a.cpp": 'namespace i {\nnamespace {\nstruct Own { int x; };\n}\nclass Told;\nint f() {\n  struct In { int x; };\n'
                   '  return In{1}.x;\n}\nstruct Outer { struct Part { int x; }; };\n}\n// struct Said { int x; };\n'
                   'const char* t = "struct Said { int y; };";\nstruct Said g() { return {}; }',
          "b.cpp": "namespace i {\nnamespace {\nstruct Own { double y; };\n}\nclass Told;\nint g() {\n  struct In { long y; };\n"
                   "  return 0;\n}\nstruct Other { struct Part { long y; }; };\n}\nnamespace j { struct Outer { int z; }; }\n"
                   "struct Said { int x; };"}, 0),
}


def check_planted():
    for case, (files, expected) in PLANTED.items():
        found = list(doubles(files))
        if len(found) != expected:
            sys.exit(f"the check itself: {case}: {len(found)} faults instead of {expected}: {found}")


def main(argv):
    source = pathlib.Path(argv[1])
    check_planted()

    def texts(folder):
        return {str(f.relative_to(source)): f.read_text(encoding="utf-8")
                for f in sorted((source / folder).rglob("*")) if f.suffix in (".cpp", ".h")}

    program = {**texts("src"), **texts("datasets/renderer")}
    faults = set(doubles(program))
    for folder in sorted(p for p in (source / "tests").iterdir() if p.is_dir()):
        own = texts(folder.relative_to(source))
        if folder.name == "fuzz":  # a program a file
            headers = {p: t for p, t in own.items() if p.endswith(".h")}
            for path, text in own.items():
                faults.update(doubles({**program, **headers, path: text}))
        else:
            faults.update(doubles({**program, **own}))
    print("\n".join(sorted(faults)) if faults else f"{sum(1 for t in program.values() for _ in types_of(t))} types, each of one name")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv))
