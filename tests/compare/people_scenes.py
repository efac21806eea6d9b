#!/usr/bin/env python3
"""Scenes of a taught word from real people's takes, their truth known by construction.

    python3 tests/compare/people_scenes.py VOICES OUT [PERSON …]

VOICES holds a folder a person with WORD.flac (ten takes of a second each, 16 kHz) and
noises/: twelve people of the Arabic Speech Commands Dataset (A. Ghandoura, F. Hjabo and
O. Al Dakkak 2021, CC BY 4.0). For each person six words are taught, each from its first
six takes (`lesson.wav`) with 30 dB of room about them; the other four, each twice, are
the marks. Level: RMS of the word's frames within 20 dB of its loudest over the noise's.
The room goes on between words: noise with the spectrum of the person's own pauses.
"""
import json
import os
import sys
import zlib

import numpy as np
import soundfile as sf

RATE = 16_000
MARKS = ["no", "yes", "ok", "right", "left", "open", "stop", "next", "start", "up", "down", "close"]
LESSON = 6


def frames(x):
    n = len(x) // 80
    return np.sqrt(np.mean(x[:n * 80].reshape(n, 80) ** 2, axis=1) + 1e-14)


def sounding(x, db=28):
    """First and last sample of what is within `db` of the loudest 5 ms."""
    level = frames(x)
    loud = np.nonzero(level > level.max() * 10 ** (-db / 20))[0]
    return loud[0] * 80, (loud[-1] + 1) * 80


def word_rms(x):
    level = frames(x)
    return np.sqrt(np.mean(level[level > 0.1 * level.max()] ** 2))


def shaped(psd, n, rng):
    """Noise with the square-root spectrum `psd`."""
    spectrum = np.fft.rfft(rng.standard_normal(n))
    at = np.linspace(0, len(psd) - 1, len(spectrum))
    y = np.fft.irfft(spectrum * np.interp(at, np.arange(len(psd)), psd), n)
    return y / np.sqrt(np.mean(y ** 2))


def pink(n, rng):
    return shaped(1 / np.sqrt(np.linspace(0.004, 1, 512)), n, rng)


class Person:
    def __init__(self, folder):
        self.takes, quiet = {}, []
        for name in sorted(os.listdir(folder)):
            x = sf.read(f"{folder}/{name}")[0]
            cut = [x[k * RATE:(k + 1) * RATE] - np.mean(x[k * RATE:(k + 1) * RATE]) for k in range(10)]
            self.takes[name[:-5]] = cut
            for take in cut:
                a = sounding(take, 34)[0]
                if a > 1_600:
                    quiet.append(take[a - 1_500:a - 476])
        quiet = sorted(quiet, key=lambda q: np.mean(q ** 2))[:len(quiet) // 2]
        self.room_rms = np.sqrt(np.mean([np.mean(q ** 2) for q in quiet]))
        self.room = np.sqrt(np.mean([np.abs(np.fft.rfft(q * np.hanning(1024))) ** 2 for q in quiet], axis=0))

    def whole(self, word, k):
        """A take with its pauses, its edges faded."""
        x = self.takes[word][k].copy()
        x[:160] *= np.linspace(0, 1, 160)
        x[-160:] *= np.linspace(1, 0, 160)
        return x

    def trimmed(self, word, k):
        x = self.takes[word][k]
        a, b = sounding(x)
        y = x[max(0, a - 80):b + 80].copy()
        fade = np.linspace(0, 1, 64)
        y[:64] *= fade
        y[-64:] *= fade[::-1]
        return y


class Scene:
    def __init__(self, person, rng):
        self.person, self.rng = person, rng
        self.at, self.parts, self.marks, self.praise, self.said = int(0.8 * RATE), [], [], [], []

    def pause(self, low, high):
        self.at += int(self.rng.uniform(low, high) * RATE)

    def put(self, x):
        self.parts.append((self.at, x))
        self.at += len(x)

    def mark(self, word, k):
        x = self.person.whole(word, k)
        a, b = sounding(x, 26)
        # A take's own silence counts as pause.
        self.at -= min(a, int(0.2 * RATE))
        self.marks.append(((self.at + a) / RATE, (self.at + b) / RATE))
        self.put(x[:min(len(x), b + 1_600)])

    def other(self, word, k):
        x = self.person.whole(word, k)
        a, b = sounding(x, 26)
        self.at -= min(a, int(0.2 * RATE))
        self.said.append(((self.at + a) / RATE, word))
        self.put(x[:min(len(x), b + 1_600)])

    def finish(self, level, snr, extra=(), noise=None):
        n = self.at + int(0.8 * RATE)
        y = self.person.room_rms * shaped(self.person.room, n, self.rng)
        for at, x in list(self.parts) + list(extra):
            x = x[:max(0, n - at)]
            y[at:at + len(x)] += x
        if snr is not None:
            hum = pink(n, self.rng) if noise is None else np.resize(noise, n) / np.sqrt(np.mean(noise ** 2))
            y += hum * level * 10 ** (-snr / 20)
        return y

    def truth(self, n):
        return {"marks": self.marks, "praise": self.praise, "said": self.said, "seconds": n / RATE}


def bang(rng):
    n = int(rng.uniform(0.02, 0.25) * RATE)
    t = np.arange(n) / RATE
    y = rng.standard_normal(n) * np.exp(-t / rng.uniform(0.003, 0.05))
    for _ in range(3):
        y += 2 * np.sin(2 * np.pi * rng.uniform(150, 6_000) * t) * np.exp(-t / rng.uniform(0.003, 0.08))
    return y / np.abs(y).max()


def strangers(people, seconds, level, rng, word):
    """Other people's words, but for the taught one, run together to sentences."""
    out, n = [], 0
    while n < seconds * RATE:
        who = people[rng.integers(len(people))]
        words = [w for w in who.takes if w != word]
        for _ in range(rng.integers(3, 8)):
            x = who.trimmed(words[rng.integers(len(words))], rng.integers(10))
            out.append(x / word_rms(x) * level)
            n += len(x)
        gap = int(rng.uniform(0.3, 1.2) * RATE)
        out.append(np.zeros(gap))
        n += gap
    return np.concatenate(out)


def make(name, person, others, word, noises, out):
    rng = np.random.default_rng(zlib.crc32(f"{name}-{word}".encode()))
    at = f"{out}/{name}-{word.replace(' ', '_')}"
    os.makedirs(at, exist_ok=True)
    level = np.median([word_rms(x) for x in person.takes[word]])
    left = [w for w in person.takes if w != word]
    truth = {}

    def keep(scene, what, snr, extra=(), noise=None, gain=1.0):
        y = gain * scene.finish(level, snr, extra, noise)
        top = np.abs(y).max()
        truth[what] = scene.truth(len(y))
        sf.write(f"{at}/{what}.wav", np.clip(y, -1, 1) if top < 1.3 else y / top, RATE, subtype="FLOAT")

    def lesson(what, snr, takes=range(LESSON)):
        scene = Scene(person, rng)
        for k in takes:
            scene.mark(word, k)
            scene.pause(0.7, 1.2)
        keep(scene, what, snr)

    def marks(put_between=None):
        scene = Scene(person, rng)
        for k in list(rng.permutation(np.arange(LESSON, 10))) * 2:
            if put_between:
                put_between(scene)
            scene.mark(word, k)
            scene.pause(0.5, 1.6)
        return scene

    def words_between(scene):
        for _ in range(3):
            scene.other(left[rng.integers(len(left))], rng.integers(10))
            scene.pause(0.35, 1.0)

    lesson("lesson", 30)
    lesson("lesson20", 20)
    # The talk holds half of the other words; takes 0 to 4 are the talk's.
    order = rng.permutation(left)
    scene = Scene(person, rng)
    for n in range(44):
        scene.other(str(order[n % (len(order) // 2)]), int(rng.integers(5)))
        scene.pause(0.3, 0.9) if rng.uniform() < 0.6 else None
    keep(scene, "talk", 30)
    for snr in (50, 20, 10):
        keep(marks(), f"clear{snr}", None if snr == 50 else snr)
    keep(marks(), "soft20", 20, gain=0.1)
    keep(marks(), "washing10", 10, noise=noises[1])
    for snr in (20, 10):
        scene = marks()
        keep(scene, f"bangs{snr}", snr, [
            (int(rng.integers(scene.at)), bang(rng) * level * 10 ** rng.uniform(-0.2, 0.9))
            for _ in range(16)])
        keep(marks(words_between), f"between{snr}", snr)
        scene = marks()
        over = [(0, strangers([o], scene.at / RATE + 1, level * 10 ** (-15 / 20), rng, word))
                for o in rng.choice(others, 2, replace=False)]
        keep(scene, f"others{snr}", snr, over)
    scene = Scene(person, rng)
    while scene.at < 150 * RATE:
        scene.other(left[rng.integers(len(left))], int(rng.integers(5, 10)))
        scene.pause(0.35, 1.2)
    keep(scene, "own", 20)
    scene = Scene(person, rng)
    while scene.at < 90 * RATE:
        for _ in range(rng.integers(2, 7)):
            scene.put(person.trimmed(left[rng.integers(len(left))], int(rng.integers(5, 10))))
        scene.pause(0.4, 1.2)
    keep(scene, "run", 20)
    scene = Scene(person, rng)
    rng = np.random.default_rng(zlib.crc32(f"{name}-{word}-strangers".encode()))
    scene.put(strangers(others, 120, level, rng, word))
    keep(scene, "strangers", 20)
    scene = Scene(person, rng)
    for k in list(range(LESSON, 10)) * 4:
        scene.praise.append(scene.at / RATE)
        scene.put(person.trimmed(word, k))
        scene.put(person.trimmed(left[rng.integers(len(left))], rng.integers(10)))
        scene.pause(0.6, 1.2)
    keep(scene, "praise", 20)
    json.dump(truth, open(f"{at}/truth.json", "w"))


def main():
    voices, out = sys.argv[1:3]
    names = [n for n in sorted(os.listdir(voices)) if n.startswith("p") and os.path.isdir(f"{voices}/{n}")]
    people = {n: Person(f"{voices}/{n}") for n in names}
    noises = [sf.read(f"{voices}/noises/{n}")[0] for n in ("boiler.flac", "washing_machine.flac")]
    for n, name in enumerate(names):
        if sys.argv[3:] and name not in sys.argv[3:]:
            continue
        # Nobody of the setting half is heard behind the reporting half, nor the reverse.
        others = [people[o] for k, o in enumerate(names) if o != name and (k < len(names) // 2) == (n < len(names) // 2)]
        for k in range(6):
            make(name, people[name], others, MARKS[(n + 2 * k) % len(MARKS)], noises, out)
        print(name, flush=True)


if __name__ == "__main__":
    main()
