#!/usr/bin/env bash
# The scenes of recorded switches and bounces, on a bare machine: installs what they
# need, builds them in target/scenes, prints what marklag hears, and ends with 1 when a
# row falls below its bar (bars.tsv).
#   tests/scenes/run.sh            both halves; some 5 GB, and most of an hour on two cores
#   tests/scenes/run.sh --quick    five rows of the half that nothing was set on
# MARKLAG names the program; without it a release is built.
set -euo pipefail
cd "$(dirname "$0")/../.."
need=(ffmpeg python3 python3-venv)
command -v npm >/dev/null || need+=(npm)
missing=()
for package in "${need[@]}"; do
  dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q 'ok installed' || missing+=("$package")
done
if [ ${#missing[@]} -gt 0 ] || [ ! -d target/scenes/packages/tuxpaint-data ]; then
  apt-get update
fi
if [ ${#missing[@]} -gt 0 ]; then
  apt-get install -y --no-install-recommends "${missing[@]}"
fi
python=target/scenes/python/bin/python
if ! "$python" -c 'import pyroomacoustics, soundfile' 2>/dev/null; then
  python3 -m venv --clear target/scenes/python
  "$python" -m pip install --quiet -r tests/scenes/requirements.txt
fi
if [ -z "${MARKLAG:-}" ]; then
  cargo build --release --quiet
  export MARKLAG="$PWD/target/release/marklag"
fi
"$python" tests/scenes/fall.py
"$python" tests/scenes/sounds.py
if [ "${1:-}" = --quick ]; then
  "$python" tests/scenes/build.py target/scenes --half apart --quick --jobs 2
  "$python" tests/scenes/measure.py target/scenes/apart --bars --only marks-dry,marks-live,marks-aac64,drill-30,first-wav
else
  "$python" tests/scenes/build.py target/scenes --thin --jobs 2
  "$python" tests/scenes/measure.py target/scenes/set
  "$python" tests/scenes/measure.py target/scenes/apart --each --bars
fi
