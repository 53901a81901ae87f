#!/usr/bin/env bash
# Checks the samples in Verilog: both conform, and each fault is told first by a rule that may name it.
# Usage: check.sh TRACKPROOF [FAULT]...   TRACKPROOF is the command; without faults, all of them
set -euo pipefail

here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
trackproof=${1:?the command trackproof}
shift
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
bad=0

check() { # LIB CASES: the report goes to $folder/report, the exit code is the check's
    "$trackproof" check "lib:$1" --cases "$2" --jobs 1 --in-process --out "$folder/out" \
        > "$folder/report" 2> /dev/null
}

say_bad() {
    echo "BAD  $1"
    bad=1
}

if [ $# -eq 0 ]; then
    for part in word-reader track-writer; do
        "$here/build.sh" --part $part --keep "$folder/keep" -o "$folder/sample.so" > /dev/null
        if check "$folder/sample.so" 2000; then
            echo "ok   $part"
        else
            say_bad "$part: $(grep Verdict "$folder/report")"
        fi
        rm -f "$folder/sample.so"
    done
fi

while read -r part name accepted; do
    [ $# -eq 0 ] || [[ " $* " == *" $name "* ]] || continue
    "$here/build.sh" --part "$part" --fault "$name" --keep "$folder/keep" -o "$folder/faulty.so" \
        > /dev/null
    # Some show in one case of thousands; of a track writer's cases one in fifteen is judged.
    for cases in 400 6000 20000; do
        code=0
        check "$folder/faulty.so" $cases || code=$?
        [ $code = 0 ] || [ $code = 3 ] || [ $code = 4 ] || break
    done
    first=$(grep -Eo -m 1 '^[a-z]+(\.[a-z]+)?: .*' "$folder/report" || true)
    if [ "$code" = 1 ] && [[ ",$accepted," == *",${first%%:*},"* ]]; then
        echo "ok   $part $name: $first"
    else
        say_bad "$part $name: exit code $code, ${first:-nothing}; accepted: $accepted"
    fi
    rm -f "$folder/faulty.so"
done < <("$here/build.sh" --faults | sed -En 's/^([a-z-]+) \(([a-z-]+)\): (.*)$/\2 \1 \3/p' | sed 's/, /,/g')
exit $bad
