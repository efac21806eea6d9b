#!/usr/bin/env bash
# Fuzzes every door for a while: run.sh [SECONDS A TARGET] [TARGET ...]
# Needs cargo-fuzz (cargo install cargo-fuzz) and ffmpeg for the seeds. What it finds
# lies in tests/fuzz/artifacts; seeds and corpus in tests/fuzz/corpus (neither is kept).
set -euo pipefail
cd "$(dirname "$0")/../.."
seconds=${1:-60}
shift || true
targets=("$@")
[ ${#targets[@]} -gt 0 ] || targets=(recording moments settings profile cues journal teach teach_word)
# The sanitizers' flags of cargo-fuzz are not stable ones.
export RUSTC_BOOTSTRAP=1
cargo build --quiet
marklag=target/debug/marklag
corpus=tests/fuzz/corpus
home=$(mktemp -d)
trap 'rm -rf "$home"' EXIT
for target in "${targets[@]}"; do mkdir -p "$corpus/$target"; done

seed_sounds() {
  for kind in wav flac mp3 ogg m4a aiff caf mkv mp2 aac; do
    ffmpeg -loglevel error -y -f lavfi -i "sine=440:duration=0.05:sample_rate=16000" "$corpus/$1/seed.$kind" || true
  done
}
[ -d "$corpus/recording" ] && seed_sounds recording
[ -d "$corpus/cues" ] && cp fixtures/*.wav "$corpus/cues/"
if [ -d "$corpus/moments" ]; then
  printf 't_s,kind,label\n1.5,floor,\n0:02.25,top,x\n' >"$corpus/moments/seed.csv"
  printf 'WEBVTT\n\n00:01.000 --> 00:01.500\nsit\n' >"$corpus/moments/seed.vtt"
fi
[ -d "$corpus/settings" ] && cp src/journal/settings/settings.toml "$corpus/settings/"
if [ -d "$corpus/profile" ] || [ -d "$corpus/journal" ]; then
  "$marklag" --home "$home" teach click tilda --from fixtures/tilda-clicks.wav >/dev/null
  "$marklag" --home "$home" review fixtures/tilda-drill.wav --keep >/dev/null
  [ -d "$corpus/profile" ] && cp "$home"/bridges/*.json "$corpus/profile/"
  [ -d "$corpus/journal" ] && cp "$home/journal.sqlite" "$corpus/journal/"
fi
for target in "${targets[@]}"; do
  cargo fuzz run --fuzz-dir tests/fuzz -s none "$target" -- \
    -max_total_time="$seconds" -timeout=20 -rss_limit_mb=2048 -max_len=262144 -print_final_stats=1 ||
    echo "fuzz: $target found something" >&2
done
