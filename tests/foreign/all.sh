#!/usr/bin/env bash
# Draws the sets that are not there yet, then checks them: all.sh FOLDER SET...
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
program=${PUNCHREADY:-$here/../../target/release/punchready}
out=$1
shift
mkdir -p "$out"
[ -e "$out/cards/cards.json" ] || "$program" cards --png "$out/cards" >/dev/null
# Large pictures come and go: keeping the memory is three times faster than giving it back each time.
export MALLOC_MMAP_THRESHOLD_=8000000000 MALLOC_TRIM_THRESHOLD_=8000000000 OPENBLAS_NUM_THREADS=1
for set in "$@"; do
    [ -e "$out/$set/done" ] || python3 "$here/render.py" "$set" "$out/$set" --cards "$out/cards" ${PUNCHREADY_REFERENCE:+--reference "$PUNCHREADY_REFERENCE"}
    touch "$out/$set/done"
done
python3 "$here/run.py" "${@/#/$out/}" --program "$program"
