#!/usr/bin/env bash
# All tests of marklag, on a bare Debian machine: installs what they need, then
# format, lints, docs and every test.
set -euo pipefail
cd "$(dirname "$0")/.."
need=(libasound2-dev pkg-config ffmpeg sox python3 python3-venv pulseaudio pulseaudio-utils libasound2-plugins alsa-utils)
missing=()
for package in "${need[@]}"; do
  dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q 'ok installed' || missing+=("$package")
done
if [ ${#missing[@]} -gt 0 ]; then
  apt-get update
  apt-get install -y --no-install-recommends "${missing[@]}"
fi
cargo fmt --check
cargo clippy --all-targets -- -D warnings
RUSTDOCFLAGS="-D warnings" cargo doc --no-deps
# A general-purpose engine reads exports (docs/scale.md); without it that test says so.
engine=target/test-python
if ! "$engine/bin/python" -c 'import duckdb' 2>/dev/null; then
  python3 -m venv --clear "$engine"
  "$engine/bin/pip" install --quiet duckdb==2.0.1
fi
MARKLAG_PYTHON="$PWD/$engine/bin/python" cargo test
# The page in a real browser.
bash tests/page/run.sh
# The microphone's path, against a real sound server. Its timing rests on the
# machine being free to run: a first failure is shown and tried once more.
bash tests/live/run.sh || bash tests/live/run.sh
