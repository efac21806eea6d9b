#!/usr/bin/env bash
# All tests of marklag, on a bare Debian machine: installs what they need, then
# format, lints, docs and every test.
set -euo pipefail
cd "$(dirname "$0")/.."
need=(libasound2-dev pkg-config ffmpeg sox python3)
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
