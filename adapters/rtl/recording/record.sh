#!/usr/bin/env bash
# Records the sample track writer in Verilog, or one with a fault, as a value change dump:
#   record.sh [--fault NAME] FILE.vcd
# `build.sh --faults` lists the faults of the track writer. map.toml beside this file says which signal
# is which line: trackproof capture FILE.vcd --map map.toml
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)

fail() {
    echo "record.sh: $1" >&2
    exit "${2:-2}"
}

options=()
if [ "${1:-}" = --fault ]; then
    [ $# -ge 2 ] || fail "--fault needs a name"
    "$here/../build.sh" --faults | grep "^$2 (track-writer)" > /dev/null ||
        fail "the sample track writer has no fault $2; see build.sh --faults"
    options+=("-DFAULT_$(echo "$2" | tr 'a-z-' 'A-Z_')")
    shift 2
fi
[ $# -eq 1 ] || fail "say where the recording goes: record.sh [--fault NAME] FILE.vcd"
command -v verilator > /dev/null || fail "verilator is missing: apt-get install verilator" 1

objects=$(mktemp -d)
trap 'rm -rf "$objects"' EXIT
verilator --binary --timing --trace -Wno-fatal -Wno-lint -Wno-style --top-module bench \
    --Mdir "$objects" -I"$here/../sample" "${options[@]}" \
    "$here/bench.v" "$here/../sample/"*.v > "$objects/log" 2>&1 ||
    { cat "$objects/log" >&2; fail "Verilator refused" 1; }
"$objects/Vbench" "+recording=$1" > "$objects/log" || fail "the simulation failed" 1
