#!/bin/sh
# Every C++ file as .clang-format lays it out.  format_test.sh CLANG_FORMAT SOURCE_DIR
set -eu
cd "$2"
find src tests datasets \( -name '*.cpp' -o -name '*.h' \) -print0 | xargs -0 "$1" --dry-run --Werror
echo "laid out as .clang-format says"
