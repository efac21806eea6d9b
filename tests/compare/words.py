#!/usr/bin/env python3
"""How well a taught word is found: the table in docs/accuracy.md.

    python3 tests/compare/words_scenes.py FOLDER
    cargo build --release --example wordlooks
    python3 tests/compare/words.py FOLDER [tune|test]

A mark counts as found when a word is heard within 250 ms of it, each once; all else
that counts as a mark is false. The timing error is about each speaker's and word's
median (its bias).
"""
import csv
import json
import os
import subprocess
import sys

import numpy as np

folder, name = sys.argv[1], (sys.argv[2:] or ["test"])[0]
here = os.path.dirname(os.path.abspath(__file__))
looks = os.path.join(here, "../../target/release/examples/wordlooks")
os.chdir(os.path.join(folder, name))
total = {}
for at in sorted(d for d in os.listdir(".") if os.path.isdir(d)):
    truth = json.load(open(f"{at}/truth.json"))
    scenes = [f"{at}/{s}.wav" for s in ("found20", "found10", "own")] + ["others.wav"]
    out = subprocess.run([looks, f"{at}/lesson.wav", f"{at}/talk.wav", *scenes], capture_output=True, text=True)
    rows = [r for r in csv.reader(out.stdout.splitlines()) if float(r[12]) >= float(r[13]) and r[11] == "false"]
    errors, line = [], []
    for scene in ("found20", "found10", "own", "others"):
        heard = [float(r[1]) for r in rows if scene in r[0]]
        marks = truth.get(scene, {}).get("marks", [])
        used = set()
        for onset, _ in marks:
            near = [(abs(t - onset), k) for k, t in enumerate(heard) if abs(t - onset) < 0.25 and k not in used]
            if near:
                k = min(near)[1]
                used.add(k)
                errors.append(1e3 * (heard[k] - onset))
        line.append(f"{scene} {len(used)}/{len(marks)}, {len(heard) - len(used)} false")
        sums = total.setdefault(scene, [0, 0, 0])
        for k, v in enumerate((len(used), len(marks), len(heard) - len(used))):
            sums[k] += v
    if errors:
        e = np.array(errors)
        bias = np.median(e)
        line.append(f"bias {bias:.1f} ms, 95 % {np.percentile(abs(e - bias), 95):.1f} ms")
    print(at, "; ".join(line), flush=True)
print("all", total)
