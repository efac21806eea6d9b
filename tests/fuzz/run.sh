#!/usr/bin/env bash
# Fuzzes every door for a while: run.sh [SECONDS A TARGET] [TARGET ...]
# Needs cargo-fuzz (cargo install cargo-fuzz) and ffmpeg for the seeds. What it finds
# lies in tests/fuzz/artifacts; seeds and corpus in tests/fuzz/corpus (neither is kept).
set -euo pipefail
cd "$(dirname "$0")/../.."
seconds=${1:-60}
shift || true
targets=("$@")
[ ${#targets[@]} -gt 0 ] || targets=(recording moments settings profile cues journal teach plan events import merge word word_profile)
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
  for kind in opus webm mp4 caf; do
    for how in voip audio; do
      ffmpeg -loglevel error -y -f lavfi -i "sine=440:duration=0.1:sample_rate=48000" -c:a libopus -application $how "$corpus/$1/$how-opus.$kind" || true
    done
  done
}
[ -d "$corpus/recording" ] && seed_sounds recording
[ -d "$corpus/cues" ] && cp fixtures/*.wav "$corpus/cues/"
if [ -d "$corpus/moments" ]; then
  printf 't_s,kind,label\n1.5,floor,\n0:02.25,top,x\n' >"$corpus/moments/seed.csv"
  printf 'WEBVTT\n\n00:01.000 --> 00:01.500\nsit\n' >"$corpus/moments/seed.vtt"
fi
[ -d "$corpus/settings" ] && cp src/journal/settings/settings.toml "$corpus/settings/"
[ -d "$corpus/plan" ] && cp fixtures/plans/*.toml "$corpus/plan/"
if [ -d "$corpus/events" ]; then
  printf 'time,event,detail\n1.5,cue,\n0:02.25,reached,\n3,treat,\n4,step,2\n5,undo,\n6,redo,\n' >"$corpus/events/seed.csv"
  printf 'time,event\n1,offer\n9,break\n12,resume\n' >"$corpus/events/short.csv"
fi
if [ -d "$corpus/word" ] || [ -d "$corpus/word_profile" ]; then
  # Seven calls that glide through a vowel's bands: nothing but a seed.
  u='mod(t,1.1)'
  call="sin(2*PI*150*$u)*0.1+0.25*sin(2*PI*(600*$u+450*$u*$u))+0.15*sin(2*PI*(1500*$u+600*$u*$u))"
  ffmpeg -loglevel error -y -f lavfi -i "aevalsrc='($call)*between($u,0.4,0.75)+0.003*random(0)':d=7.8:s=16000" -f s16le "$home/word.raw"
  ffmpeg -loglevel error -y -f s16le -ar 16000 -ac 1 -i "$home/word.raw" "$home/word.wav"
  [ -d "$corpus/word" ] && { printf '\001\000'; cat "$home/word.raw"; } >"$corpus/word/seed"
  "$marklag" --home "$home" teach word good --from "$home/word.wav" >/dev/null
  [ -d "$corpus/word_profile" ] && cp "$home"/bridges/good.json "$corpus/word_profile/"
  rm "$home"/bridges/good.json
fi
"$marklag" --home "$home" teach click tilda --from fixtures/tilda-clicks.wav >/dev/null
"$marklag" --home "$home" review fixtures/tilda-drill.wav --keep >/dev/null
[ -d "$corpus/profile" ] && cp "$home"/bridges/*.json "$corpus/profile/"
for target in journal merge; do
  [ -d "$corpus/$target" ] && cp "$home/journal.sqlite" "$corpus/$target/"
done
[ -d "$corpus/import" ] && "$marklag" --home "$home" journal export >"$corpus/import/seed.jsonl"
for target in "${targets[@]}"; do
  cargo fuzz run --fuzz-dir tests/fuzz -s none "$target" -- \
    -max_total_time="$seconds" -timeout=20 -rss_limit_mb=2048 -max_len=262144 -print_final_stats=1 ||
    echo "fuzz: $target found something" >&2
done
