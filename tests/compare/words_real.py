#!/usr/bin/env python3
"""A real voice: words cut out of telephone prompts, for docs/accuracy.md.

    apt-get install ffmpeg asterisk-core-sounds-en asterisk-core-sounds-en-g722
    pip install -r tests/compare/requirements-words.txt pocketsphinx==5.1.1
    python3 tests/compare/words_real.py FOLDER

Writes FOLDER/real/VOICE-WORD as words_scenes.py does. One voice said the prompts; the
words are found in them by forced alignment (pocketsphinx and its own model), which is
good to some 20 ms: enough to tell what is found, not to judge an onset. They were said
in sentences, so they differ more among themselves than a trainer's marks would.
"""
import gzip
import json
import os
import re
import subprocess
import sys
import zlib

import numpy as np
from pocketsphinx import Decoder

from words_scenes import RATE, Scene, bird, click, room, write

WORDS = ["press", "please", "message"]
SOUNDS = "/usr/share/asterisk/sounds/en_US_f_Allison"
TEXTS = "/usr/share/doc/asterisk-core-sounds-en/core-sounds-en.txt.gz"


def prompts():
    """What each prompt says and its sound."""
    for line in gzip.open(TEXTS, "rt", errors="ignore"):
        name, _, text = line.partition(":")
        path = f"{SOUNDS}/{name.strip()}.g722"
        said = re.findall(r"[a-z']+", text.lower())
        if line.startswith(";") or not said or not os.path.exists(path):
            continue
        raw = subprocess.run(["ffmpeg", "-v", "quiet", "-f", "g722", "-i", path, "-f", "f32le", "-"],
                             capture_output=True, check=True).stdout
        x = np.frombuffer(raw, np.float32).astype(float)
        if len(x) > RATE // 2 and np.abs(x).max() > 1e-3:
            yield said, x


def places(decoder, said, x):
    """Word, first and last sample of each word of a prompt."""
    try:
        decoder.set_align_text(" ".join(said))
        decoder.start_utt()
        decoder.process_raw((np.clip(x, -1, 1) * 32767).astype(np.int16).tobytes(), full_utt=True)
        decoder.end_utt()
        return [(s.word.split("(")[0], s.start_frame * 160, (s.end_frame + 1) * 160) for s in decoder.seg()]
    except (RuntimeError, TypeError):
        return []


def main():
    folder = sys.argv[1]
    decoder = Decoder(loglevel="FATAL")
    takes, free = {w: [] for w in WORDS}, {w: [] for w in WORDS}
    for said, x in prompts():
        wanted = [w for w in WORDS if w in said]
        for w in WORDS:
            if w not in said and not any(s.startswith(w[:4]) for s in said):
                free[w].append(x)
        if wanted:
            for word, a, b in places(decoder, said, x):
                if word in WORDS and 0.12 < (b - a) / RATE < 0.9:
                    y = x[max(0, a - 160):b + 160].copy()
                    fade = np.linspace(0, 1, 96)
                    y[:96] *= fade
                    y[-96:] *= fade[::-1]
                    takes[word].append(y)
    for word in WORDS:
        rng = np.random.default_rng(zlib.crc32(word.encode()))
        order = rng.permutation(len(takes[word]))
        said = [takes[word][k] for k in order]
        talk = [free[word][k] for k in rng.permutation(len(free[word]))]
        at = f"{folder}/real/allison-{word}"
        os.makedirs(at, exist_ok=True)

        def fill(scene, seconds):
            end = scene.at + int(seconds * RATE)
            while scene.at < end and talk:
                scene.put(talk.pop(), rng.uniform(0.3, 1.0))

        def put(scene, x):
            start = scene.put(x, rng.uniform(0.5, 1.0))
            scene.marks.append([(start + 160) / RATE, (start + len(x) - 160) / RATE])

        lesson = Scene(rng)
        for x in said[:8]:
            put(lesson, x)
            lesson.at += RATE // 3
        write(f"{at}/lesson.wav", lesson.finish(35))
        truth = {"lesson": {"marks": lesson.marks}}
        scene = Scene(rng)
        fill(scene, 60)
        write(f"{at}/talk.wav", scene.finish(35))
        rest = said[8:56]
        for k, snr in enumerate((20, 10)):
            scene = Scene(rng)
            for n, x in enumerate(rest[k * (len(rest) // 2):(k + 1) * (len(rest) // 2)]):
                scene.at += int(rng.uniform(0.1, 0.6) * RATE)
                put(scene, x)
                if n % 2:
                    fill(scene, 1.5)
            extra = []
            for _ in range(len(scene.marks)):
                x = click(rng) if rng.uniform() < 0.5 else bird(rng)
                extra.append((int(rng.integers(scene.at)), room(x, rng) * rng.uniform(0.02, 0.15)))
            write(f"{at}/found{snr}.wav", scene.finish(snr, extra))
            truth[f"found{snr}"] = {"marks": scene.marks, "praise": [], "covers_db": scene.covers_db}
        scene = Scene(rng)
        fill(scene, 600)
        write(f"{at}/own.wav", scene.finish(20))
        truth["own"] = {"marks": [], "praise": []}
        json.dump(truth, open(f"{at}/truth.json", "w"))
        print(at, len(said), "takes; own talk", round(scene.at / RATE), "s", flush=True)


if __name__ == "__main__":
    main()
