#!/usr/bin/env python3
"""The weights of the word's score (src/ear/word/judge.rs), fitted on people.

    python3 tests/compare/people_fit.py FOLDER p01,p02,p03,p04,p05,p06

FOLDER is that of people_scenes.py; the people named there are those of the Arabic Speech
Commands Dataset (CC BY 4.0) that nothing is reported on. A logistic regression on the
features of every look, their squares and their products: the word alone against all else,
without what runs into another word. Then the counter-examples' weights, with talk taught.
"""
import json
import os
import sys

import numpy as np
from sklearn.linear_model import LogisticRegression

from people import looks

FEATURES, PRODUCTS, STRENGTH = 11, 9, 0.3


def data(folder, people, talk):
    features, is_word, against = [], [], []
    for word in sorted(os.listdir(folder)):
        if word.split("-")[0] not in people:
            continue
        truth = json.load(open(f"{folder}/{word}/truth.json"))
        for scene, row in looks(folder, word, "lesson", talk):
            t, onset = truth[scene], row[0]
            near = any(abs(onset - a) < 0.15 for a, _ in t["marks"])
            inside = not near and any(a - 0.05 < onset < b for a, b in t["marks"])
            if inside or any(abs(onset - p) < 0.15 for p in t["praise"]):
                continue
            # onset, end, told, cues, features, before, after, in_talk, score, bar, u.
            features.append(row[-6 - FEATURES:-6])
            against.append(row[-7 - FEATURES])
            is_word.append(near)
    return np.array(features), np.array(is_word), np.array(against)


def expand(x):
    x = x.copy()
    x[:, PRODUCTS:] = 0
    pairs = [x[:, a] * x[:, b] for a in range(FEATURES) for b in range(a, FEATURES)]
    return np.stack([np.ones(len(x)), *x.T, *pairs], axis=1)


def main():
    folder, people = sys.argv[1], sys.argv[2].split(",")
    x, y, _ = data(folder, people, False)
    fit = LogisticRegression(C=STRENGTH, max_iter=3_000, fit_intercept=False).fit(expand(x), y)
    print("WEIGHTS", ", ".join(f"{w:.4f}" for w in fit.coef_[0]))
    x, y, against = data(folder, people, True)
    known = against != 0
    both = np.stack([np.ones(len(x)), expand(x) @ fit.coef_[0], against], axis=1)[known]
    fit = LogisticRegression(C=1.0, fit_intercept=False).fit(both, y[known])
    print("AGAINST", ", ".join(f"{w:.4f}" for w in fit.coef_[0]))


if __name__ == "__main__":
    main()
