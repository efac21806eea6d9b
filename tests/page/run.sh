#!/usr/bin/env bash
# The page of a made-up school in a real browser; see look.py. Pictures of what was
# seen go into the folder that is given, if any.
set -euo pipefail
cd "$(dirname "$0")/../.."
if ! command -v chromium >/dev/null; then
  apt-get update
  apt-get install -y --no-install-recommends chromium
fi
cargo build --quiet
folder="$(mktemp -d)"
trap 'rm -rf "$folder"' EXIT
target/debug/marklag demo school "$folder/home" >/dev/null
target/debug/marklag --home "$folder/home" page "$folder/page.html" --person Tilda
python3 tests/page/look.py "$folder/page.html" "$@"
