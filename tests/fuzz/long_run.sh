#!/bin/bash
# The long fuzzing run, by hand: every reader under libFuzzer with the address and undefined-behaviour sanitizers,
# one after the other, and the table of it.
#   tests/fuzz/long_run.sh BUILD [SECONDS [TARGET...]]
# BUILD is a build folder with -DINTERSTICE_FUZZ=ON and clang; corpora, logs and failing inputs are kept in
# BUILD/fuzzing, the table is BUILD/results/hard/fuzz.md (tests/hard/table.py takes it up).
set -eu
build=$(realpath "$1")
seconds=${2:-300}
shift $(($# < 2 ? $# : 2))
seeds=$(dirname "$(realpath "$0")")/seeds
[ $# -gt 0 ] || set -- $(ls "$seeds")
mkdir -p "$build/results/hard"
table=$build/results/hard/fuzz.md
[ -s "$table" ] || printf '| reader | runs | seconds | found |\n| --- | --- | --- | --- |\n' > "$table"
failed=0
for target in "$@"; do
  mkdir -p "$build/fuzzing/$target/corpus"
  cd "$build/fuzzing/$target"
  found=nothing
  UBSAN_OPTIONS=print_stacktrace=1 "$build/tests/fuzz/fuzz_$target" -max_total_time="$seconds" -timeout=20 \
    -print_final_stats=1 corpus "$seeds/$target" > log 2>&1 || { found="stopped: see the log"; failed=1; }
  runs=$(sed -n 's/^stat::number_of_executed_units: *//p' log)
  took=$(sed -n 's/^Done .* in \([0-9]*\) second.*/\1/p' log)
  sed -i "/^| $target | /d" "$table"
  echo "| $target | ${runs:-?} | ${took:-?} | $found |" >> "$table"
done
cat "$table"
exit $failed
