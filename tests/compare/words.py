#!/usr/bin/env python3
"""How well a taught word is found: the tables in docs/accuracy.md.

    python3 tests/compare/words_scenes.py FOLDER
    cargo build --release --example wordlooks
    python3 tests/compare/words.py FOLDER [tune|seen|test|real] [--others N]

A mark counts as found when a word is heard within 250 ms of it, each once; all else
that counts as a mark is false. The timing error is about each speaker's and word's
median (its bias). Marks during which other people, clicks or birds sound at more than
-22 dB of the word are counted apart ("covered"). `--others` also listens to an hour of
other people for every Nth word.
"""
import csv
import json
import os
import subprocess
import sys

import numpy as np

arguments = sys.argv[1:]
every = int(arguments.pop(arguments.index("--others") + 1)) if "--others" in arguments else 0
folder, name = arguments[0], ([a for a in arguments[1:] if a != "--others"] or ["test"])[0]
here = os.path.dirname(os.path.abspath(__file__))
looks = os.path.join(here, "../../target/release/examples/wordlooks")
os.chdir(os.path.join(folder, name))
total, covered, late, u_shares = {}, {}, [], []
done = sorted(d for d in os.listdir(".") if os.path.exists(f"{d}/truth.json"))
for n, at in enumerate(done):
    truth = json.load(open(f"{at}/truth.json"))
    names = ["found20", "found10", "own"] + (["others"] if every and n % every == 0 else [])
    paths = [f"{at}/{s}.wav" if s != "others" else "others.wav" for s in names]
    out = subprocess.run([looks, f"{at}/lesson.wav", f"{at}/talk.wav", *paths], capture_output=True, text=True)
    print(out.stderr.strip(), flush=True)
    # From the end: in_talk, score, bar, standard uncertainty in ms.
    rows = [r for r in csv.reader(out.stdout.splitlines()) if float(r[-3]) >= float(r[-2]) and r[-4] == "false"]
    errors, line = [], []
    for scene, path in zip(names, paths):
        heard = [(float(r[1]), float(r[3]), float(r[-1])) for r in rows if r[0] == path]
        marks = truth.get(scene, {}).get("marks", [])
        covers = truth.get(scene, {}).get("covers_db", [-99] * len(marks))
        used = set()
        for (onset, end), cover in zip(marks, covers):
            near = [(abs(h[0] - onset), k) for k, h in enumerate(heard) if abs(h[0] - onset) < 0.25 and k not in used]
            sums = covered.setdefault((scene, cover > -22), [0, 0])
            sums[1] += 1
            if near:
                k = min(near)[1]
                used.add(k)
                sums[0] += 1
                errors.append((1e3 * (heard[k][0] - onset), heard[k][2]))
                late.append(1e3 * (heard[k][1] - end))
        line.append(f"{scene} {len(used)}/{len(marks)}, {len(heard) - len(used)} false")
        sums = total.setdefault(scene, [0, 0, 0])
        for k, v in enumerate((len(used), len(marks), len(heard) - len(used))):
            sums[k] += v
    if errors:
        e, u = np.array(errors).T
        bias = np.median(e)
        u_shares.extend(abs(e - bias) < 2 * u)
        line.append(f"bias {bias:.1f} ms, 95 % {np.percentile(abs(e - bias), 95):.1f} ms")
    print(at, "; ".join(line), flush=True)
print("all", total)
print("covered", {f"{s} {'covered' if c else 'free'}": v for (s, c), v in sorted(covered.items())})
print("told after the word's end, ms: median %.0f, 95 %% %.0f, latest %.0f" % (
    np.median(late), np.percentile(late, 95), max(late)))
print("errors within two standard uncertainties: %.1f %%" % (100 * np.mean(u_shares)))
