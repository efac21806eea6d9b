#!/usr/bin/env bash
# Runs the live tests and fails when they do not run: run.sh [--long]
#   --long   ten minutes a timing run instead of 45 s
# Needs pulseaudio, pulseaudio-utils and libasound2-plugins.
set -euo pipefail
cd "$(dirname "$0")/../.."
for tool in pulseaudio pactl; do
    command -v "$tool" >/dev/null || {
        echo "live tests: $tool is missing (apt-get install pulseaudio pulseaudio-utils libasound2-plugins)" >&2
        exit 1
    }
done
[ "${1:-}" = --long ] && export MARKLAG_LIVE_S=600
cargo build --quiet --examples
log=$(mktemp)
trap 'rm -f "$log"' EXIT
cargo test --quiet --test live -- --ignored --test-threads=1 --nocapture 2>&1 | tee "$log"
wanted=$(grep -h -c 'ignore = "run by' tests/live/*.rs | awk "{n += \$1} END {print n}")
passed=$(grep -oE '[0-9]+ passed' "$log" | grep -oE '[0-9]+')
if [ "$passed" != "$wanted" ]; then
    echo "live tests: $passed ran, $wanted were wanted" >&2
    exit 1
fi
