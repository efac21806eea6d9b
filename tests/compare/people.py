#!/usr/bin/env python3
"""How well a taught word is found when people say it: the table in docs/accuracy.md.

    python3 tests/compare/people_scenes.py VOICES FOLDER
    cargo build --release --example wordlooks
    python3 tests/compare/people.py FOLDER p07,p08,p09,p10,p11,p12 [--talk] [--lesson lesson20]

Found: a mark within 150 ms of the word's start, each once. Twice: another mark within the
same word. False: all else, in ten minutes. Praise: of the words run into another one, those
taken for a mark. The interval is the 95 % of a bootstrap over people. Onset: the error about
each word's median, 95th percentile; told: after the word's end.
"""
import csv
import json
import os
import subprocess
import sys
from collections import defaultdict

import numpy as np

SCENES = ["clear50", "clear20", "clear10", "soft20", "washing10", "bangs20", "bangs10", "between20",
          "between10", "others20", "others10", "own", "run", "strangers", "praise"]


def looks(folder, word, lesson, talk):
    """Every look of every scene: the scene, then numbers (see wordlooks.rs)."""
    here = os.path.dirname(os.path.abspath(__file__))
    program = os.path.join(here, "../../target/release/examples/wordlooks")
    at = f"{folder}/{word}"
    paths = [f"{at}/{s}.wav" for s in SCENES]
    run = [program, f"{at}/{lesson}.wav", f"{at}/talk.wav" if talk else "-", *paths]
    out = subprocess.run(run, capture_output=True, text=True)
    print(out.stderr.strip(), flush=True)
    return [(os.path.basename(r[0])[:-4], [float(v == "true") if v in ("true", "false") else float(v) for v in r[1:]])
            for r in csv.reader(out.stdout.splitlines())]


def judge(truth, rows):
    """Found, marks, false, twice, praise taken, seconds of one scene; its errors and delays."""
    heard = [r for r in rows if r[-3] >= r[-2] and not r[-4]]
    used, errors, late, twice, praise, false = set(), [], [], 0, 0, 0
    for onset, end in truth["marks"]:
        near = [(abs(h[0] - onset), k) for k, h in enumerate(heard) if abs(h[0] - onset) < 0.15 and k not in used]
        if near:
            k = min(near)[1]
            used.add(k)
            errors.append(1e3 * (heard[k][0] - onset))
            late.append(1e3 * (heard[k][2] - end))
    for k, h in enumerate(heard):
        if k in used:
            continue
        if any(a - 0.05 < h[0] < b + 0.05 for a, b in truth["marks"]):
            twice += 1
        elif any(abs(h[0] - p) < 0.25 for p in truth["praise"]):
            praise += 1
        else:
            false += 1
    marks = len(truth["marks"]) + len(truth["praise"])
    return np.array([len(used), marks, false, twice, praise, truth["seconds"]]), errors, late


def main():
    arguments = sys.argv[1:]
    talk = "--talk" in arguments
    lesson = arguments[arguments.index("--lesson") + 1] if "--lesson" in arguments else "lesson"
    folder, people = arguments[0], arguments[1].split(",")
    sums = defaultdict(lambda: defaultdict(lambda: np.zeros(6)))
    spread, late = [], []
    for word in sorted(os.listdir(folder)):
        if word.split("-")[0] not in people:
            continue
        truth = json.load(open(f"{folder}/{word}/truth.json"))
        rows, errors = defaultdict(list), []
        for scene, row in looks(folder, word, lesson, talk):
            rows[scene].append(row)
        for scene in SCENES:
            numbers, e, l = judge(truth[scene], rows[scene])
            sums[scene][word.split("-")[0]] += numbers
            errors, late = errors + e, late + l
        spread += list(np.abs(np.array(errors) - np.median(errors))) if errors else []
    rng = np.random.default_rng(1)

    def over(per, of):
        """A share of all people together and its interval over people."""
        each = np.array(list(per.values()))
        draws = [of(each[rng.integers(len(each), size=len(each))].sum(0)) for _ in range(2_000)]
        low, high = np.percentile(draws, (2.5, 97.5))
        return f"{of(each.sum(0)):.1f} ({low:.1f} to {high:.1f})"

    for scene in SCENES:
        per = sums[scene]
        line = [scene]
        if scene == "praise":
            line.append("taken %: " + over(per, lambda s: 100 * s[4] / s[1]))
        else:
            if scene not in ("own", "run", "strangers"):
                line.append("found %: " + over(per, lambda s: 100 * s[0] / s[1]))
            line.append("false: " + over(per, lambda s: 600 * s[2] / s[5]))
            line.append(f"twice: {int(sum(per.values())[3])}")
        print("; ".join(line))
    for who in people:
        s = sum(sums[k][who] for k in SCENES if k not in ("own", "run", "strangers", "praise"))
        print(who, f"found {100 * s[0] / max(s[1], 1):.1f} %")
    print("onset, 95 %%: %.0f ms; told, 95 %%: %.0f ms, latest %.0f ms" % (
        np.percentile(spread, 95), np.percentile(late, 95), max(late)))


if __name__ == "__main__":
    main()
