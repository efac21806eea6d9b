#!/usr/bin/env bash
# All tests of marklag, on a bare Debian machine: installs what they need, then
# format, lints, docs and every test.
set -euo pipefail
cd "$(dirname "$0")/.."
need=(libasound2-dev pkg-config ffmpeg sox python3 pulseaudio pulseaudio-utils libasound2-plugins alsa-utils)
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
cargo test
# The microphone's path, against a real sound server. Its timing rests on the
# machine being free to run: a first failure is shown and tried once more.
bash tests/live/run.sh || bash tests/live/run.sh
