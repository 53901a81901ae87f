#!/usr/bin/env bash
# Builds a shared library for trackproof from a core in Verilog, or from the sample in Verilog.
set -euo pipefail

here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)

usage() {
    cat <<'TEXT'
Usage: build.sh [OPTION]... [FILE.v]...

Builds a shared library for `trackproof check lib:LIB` from your Verilog files, one of which holds
the top module trackproof_word_reader or trackproof_track_writer (see wrapper.md). Without files it
builds the sample.

  --part PART      word-reader (the default) or track-writer
  -o LIB           where the library goes; default ./lib followed by the part's name and .so
  --clocks N       clock edges for each channel bit and each operation, 2 or more; default 8, of the
                   sample 4
  --profile FILE   C statements `values[TP_KEY_...] = N;` that say where the core's profile differs
                   from sync-dma
  --keep DIR       keeps Verilator's own code there, compiled, for the next build
  --name NAME      the core's name in reports
  -I DIR, -D NAME  for Verilog's `include and `ifdef; as often as you like
  --fault NAME     the sample, with a fault
  --faults         lists the sample's faults and the rules that may name them
  --help
TEXT
}

fail() {
    echo "build.sh: $1" >&2
    exit "${2:-2}"
}

# Prints PART, NAME, RULES and SENTENCE of each fault, a fault a line, with tabs between.
fault_table() {
    awk '
        function value(line) { sub(/^[a-z]+ = /, "", line); return line }
        function text(line) { line = value(line); gsub(/^"|"$/, "", line); return line }
        /^name = / { name = text($0) }
        /^part = / { part = text($0) }
        /^sentence = / { sentence = text($0) }
        /^rules = / {
            rules = value($0); gsub(/[]["]/, "", rules)
            print part "\t" name "\t" rules "\t" sentence
        }' "$here/faults.toml"
}

part=word-reader
library= keep= fault= profile= name= clocks=
verilog_options=() files=()

while [ $# -gt 0 ]; do
    case $1 in
        --part | --fault | --profile | --keep | --name | --clocks | -o | -I | -D)
            [ $# -ge 2 ] || fail "$1 needs a value; see --help" ;;
    esac
    case $1 in
        --part) part=$2; shift 2 ;;
        --fault) fault=$2; shift 2 ;;
        --profile) profile=$2; shift 2 ;;
        --keep) keep=$2; shift 2 ;;
        --name) name=$2; shift 2 ;;
        --clocks) clocks=$2; shift 2 ;;
        -o) library=$2; shift 2 ;;
        -I | -D) verilog_options+=("$1$2"); shift 2 ;;
        -I* | -D*) verilog_options+=("$1"); shift ;;
        --faults)
            fault_table | while IFS=$'\t' read -r of fault rules sentence; do
                printf '%s (%s): %s\n    %s\n' "$fault" "$of" "$rules" "$sentence"
            done
            exit 0 ;;
        --help | -h) usage; exit 0 ;;
        -*) fail "there is no option $1; see --help" ;;
        *) files+=("$1"); shift ;;
    esac
done

case $part in
    word-reader | track-writer) ;;
    *) fail "there is no part $part: word-reader or track-writer" ;;
esac
if [ ${#files[@]} -eq 0 ]; then clocks=${clocks:-4}; fi
clocks=${clocks:-8}
case $clocks in
    *[!0-9]*) fail "--clocks $clocks is no number" ;;
esac
[ "$clocks" -ge 2 ] && [ "$clocks" -le 1000 ] || fail "--clocks $clocks is not from 2 to 1000"

if [ ${#files[@]} -eq 0 ]; then
    files=("$here/sample/"*.v)
    verilog_options+=("-I$here/sample")
    name=${name:-the sample $part in Verilog${fault:+ with $fault}}
    if [ "$part" = track-writer ]; then
        profile=${profile:-$here/sample/track_writer_profile.h}
    fi
    if [ -n "$fault" ]; then
        fault_table | grep "^$part	$fault	" > /dev/null ||
            fail "the sample $part has no fault $fault; see --faults"
        verilog_options+=("-DFAULT_$(echo "$fault" | tr 'a-z-' 'A-Z_')")
    fi
elif [ -n "$fault" ]; then
    fail "--fault is for the sample, which is built without files"
fi
name=${name:-$(basename "${files[0]}")}
case $name in *[\"\\]*) fail "--name $name holds a quote or a backslash" ;; esac

for tool in verilator g++; do
    command -v "$tool" > /dev/null ||
        fail "$tool is missing: on Debian and its kin, apt-get install $tool" 1
done
for file in "${files[@]}" ${profile:+"$profile"}; do
    [ -r "$file" ] || fail "$file is not there, or cannot be read"
done

part_name=${part/-/_}
library=${library:-./lib$part_name.so}
[ -d "$(dirname "$library")" ] || fail "the folder of $library is not there"
[ -z "$profile" ] || profile=$(cd "$(dirname "$profile")" && pwd)/$(basename "$profile")

objects=$(mktemp -d)
trap 'rm -rf "$objects"' EXIT

# Warnings of style are the core's own matter; what Verilator cannot make sense of is an error.
verilator --cc -O3 --x-assign fast --x-initial fast --noassert -Wno-fatal -Wno-lint -Wno-style \
    +1364-2005ext+v --top-module "trackproof_$part_name" --prefix Vtop --Mdir "$objects" \
    "${verilog_options[@]}" "${files[@]}" >&2 ||
    fail "Verilator refused; is there a module trackproof_$part_name among the files?" 1

runtime=$(verilator --getenv VERILATOR_ROOT)/include
compile=(g++ -std=c++17 -fPIC -fvisibility=hidden -fno-gnu-unique -I"$objects" -I"$here" -I"$here/../c-abi/include"
    -isystem "$runtime" -isystem "$runtime/vltstd")

# Verilator's own code is the same for all cores, and takes longer than a small core does.
keep=${keep:-$objects}
mkdir -p "$keep"
for source in verilated verilated_threads; do
    [ "$keep/$source.o" -nt "$runtime/$source.cpp" ] ||
        "${compile[@]}" -O1 -c -o "$keep/$source.o" "$runtime/$source.cpp"
done

# One unit, for most of the time would go into reading the same headers again and again.
for source in "$objects"/*.cpp "$here/$part_name.cpp"; do
    echo "#include \"$source\""
done > "$objects/library.inc"
"${compile[@]}" -O2 -shared -o "$library" \
    -DTP_CLOCKS="$clocks" -DTP_NAME="\"$name\"" ${profile:+-DTP_PROFILE="\"$profile\""} \
    -x c++ "$objects/library.inc" -x none "$keep/verilated.o" "$keep/verilated_threads.o" \
    -lpthread -latomic ||
    fail "the C++ compiler refused: a line with 'static assertion failed' names a port" 1
echo "$library"
