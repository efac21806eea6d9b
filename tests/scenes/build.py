"""Builds the scenes: recordings whose truth is known to the sample, from recorded sounds.

    python3 tests/scenes/build.py OUT [--half set|apart] [--only PREFIX,...] [--thin] [--quick] [--jobs 1]

OUT/HALF/marks-CONDITION/DEVICE/      a lesson of ten clicks and a recording of 22 marks
OUT/HALF/drill-CONDITION/DEVICE-BALL/ a lesson and 20 drops of one ball, a click 40-190 ms after each floor
OUT/HALF/first-CONDITION/DEVICE-BALL/ the same as a trainer's first use: one phone, one room, both recordings
OUT/HALF/hour/DEVICE/                 a lesson; OUT/HALF/hour/hour.flac holds no click and no ball

Each folder has truth.json: times in seconds from the first sample, arrival of the
direct sound: {lesson: {file, wav, press, release}, sound: {file, wav, press, release,
floor, release_of_ball, top, height}}. `file` is what the phone gives, `wav` its
decode. A level in dB is the press's peak (direct sound) over the noise's RMS, pink.
In a drill the first bounce of the first drop has the press's peak.
A lesson is recorded in its condition's room and goes through its codec; lessons of
rows with interferers are quiet. Seeds depend on names alone.
"""
import argparse, json, os, zlib
from concurrent.futures import ProcessPoolExecutor
import numpy as np, soundfile as sf

import fall, interferers as other, rooms, sounds
from rooms import put
from sounds import FS, PRE

PEAK = .22
ROOMS = {"dry": (.35, 6), "live": (.8, 0), "far": (1.5, -6)}

# condition: room, level dB, codec, kbit/s, then what else
MARKS = {
    "dry": {}, "live": dict(room="live"), "far": dict(room="far"), "move": dict(move=True),
    "over6": dict(over=6), "over12": dict(over=12), "agc": dict(agc=True),
    "aac128": dict(codec=("aac", 128)), "aac64": dict(codec=("aac", 64)), "aac32": dict(codec=("aac", 32)),
    "mp3-64": dict(codec=("mp3", 64)), "g722": dict(codec=("g722", None)),
    "opus64": dict(codec=("opus", 64)), "opus32": dict(codec=("opus", 32)), "opus24": dict(codec=("opus", 24)),
    "opus16": dict(codec=("opus", 16)), "voip32": dict(codec=("voip", 32)), "voip16": dict(codec=("voip", 16)),
    "agc-live-aac64": dict(room="live", agc=True, codec=("aac", 64)),
    "wav-to-aac64": dict(codec=("aac", 64), plain_lesson=True), "wav-to-opus32": dict(codec=("opus", 32), plain_lesson=True),
}
for level in (30, 20):
    for name in ("talk", "bangs", "both", "other"):
        MARKS[f"{name}{level}"] = dict(level=level, beside=name)
for name in ("talk", "bangs", "both", "other"):
    MARKS[f"{name}-aac64"] = dict(beside=name, codec=("aac", 64))
MARKS["all10"] = dict(level=10, beside="all")
DRILLS = {
    "30": {}, "20": dict(level=20), "15": dict(level=15), "aac64": dict(codec=("aac", 64)),
    "noisy20": dict(level=20, beside="both"), "heights30": dict(heights=(.8, 1.8)), "heights20": dict(level=20, heights=(.8, 1.8)),
}
FIRST = {
    "wav": {}, "aac128": dict(codec=("aac", 128)), "aac64": dict(codec=("aac", 64)),
    "live-talk-aac96": dict(room="live", beside="some", codec=("aac", 96)), "opus32": dict(codec=("opus", 32)),
}
QUICK = (  # rows of --quick, which implies --thin
    "marks-dry", "marks-live", "marks-aac64", "drill-30", "first-wav",
)


def seed(*words):
    return np.random.default_rng([zlib.crc32(w.encode()) for w in words])


class Place:
    """Where the clicks are made: one spot in a room, or a new one with each click."""

    def __init__(self, rng, how):
        self.rng, self.move = rng, how.get("move", False)
        rt, direct = ROOMS[how.get("room", "dry")]
        self.spots = [rooms.room(rng, .5, d) for d in (8, 6, 3, 1, 0, -2)] if self.move else [rooms.room(rng, rt, direct)]
        self.floor = rooms.room(rng, rt, direct)

    def click(self):
        if not self.move:
            return 0, 1.0
        return self.rng.integers(len(self.spots)), 10 ** (self.rng.uniform(-8, 0) / 20)


def clicks(rng, device, place, x, presses):
    """Puts a press at each sample and its release after it; the releases' samples."""
    back, dry = [], [np.zeros(len(x)) for _ in place.spots]
    for at in presses:
        spot, gain = place.click()
        put(dry[spot], at - PRE, sounds.once_more(device.press, rng), PEAK * gain)
        later = at + int(device.held * rng.uniform(.85, 1.2) * FS)
        put(dry[spot], later - PRE, sounds.once_more(device.release, rng), PEAK * gain)
        back.append(later)
    for h, y in zip(place.spots, dry):
        x += rooms.heard_in(h, y)[:len(x)]
    return back


def spaced(rng, first_s, least_s, most_s, count):
    return (np.cumsum(np.r_[first_s, rng.uniform(least_s, most_s, count - 1)]) * FS).astype(int)


def recorded(x, how, stem, plain=False):
    """The recorder and its codec: writes the files, gives their names."""
    if "over" in how:
        x = rooms.overload(x, PEAK, how["over"])
    if how.get("agc"):
        x = rooms.automatic_gain(x)
    if (top := np.abs(x).max()) > .99:
        x = x * .99 / top
    if "codec" in how and not plain:
        name, late = rooms.through(*how["codec"], x, stem)
        return {"file": name, "wav": os.path.basename(stem) + ".wav", "decode_delay_samples": late}
    sf.write(stem + ".wav", x, FS, subtype="PCM_16")
    return {"file": os.path.basename(stem) + ".wav", "wav": os.path.basename(stem) + ".wav"}


def noise(rng, n, level):
    return rooms.pink(rng, n) * PEAK * 10 ** (-level / 20)


def seconds(samples):
    return [round(int(s) / FS, 9) for s in samples]


def lesson(rng, device, place, how, stem, level=30):
    presses = spaced(rng, 1.0, .9, 1.2, 10)
    x = np.zeros(presses[-1] + int(1.5 * FS))
    back = clicks(rng, device, place, x, presses)
    x += noise(rng, len(x), level)
    return {**recorded(x, how, stem, how.get("plain_lesson")), "press": seconds(presses), "release": seconds(back)}


def marks(half, condition, name, out):
    how, rng = MARKS[condition], seed(half, "marks", condition, name)
    device, place = sounds.Device(name, sounds.HALVES[half][0][name]), Place(seed(half, "room", name), how)
    taught = lesson(rng, device, place, how, f"{out}/lesson")
    presses = spaced(rng, 1.5, 1.2, 2.5, 22)
    x = np.zeros(presses[-1] + 2 * FS)
    back = clicks(rng, device, place, x, presses)
    if "beside" in how:
        x += other.beside(rng, how["beside"], half, len(x), PEAK, place.floor, presses, name)
    x += noise(rng, len(x), how.get("level", 30))
    return {"lesson": taught, "sound": {**recorded(x, how, f"{out}/marks"), "press": seconds(presses), "release": seconds(back)}}


def drill(half, condition, name, out, table, within):
    how, rng = table[condition], seed(half, "drill", condition, name)
    d, b = name.split("-")
    device, ball = sounds.Device(d, sounds.HALVES[half][0][d]), sounds.Ball(b, sounds.HALVES[half][1][b])
    place = Place(seed(half, "room", d), how)
    taught = lesson(rng, device, place, how, f"{out}/lesson")
    starts = np.cumsum(np.r_[1.0, rng.uniform(4.6, 5.6, 19)])
    x = np.zeros(int((starts[-1] + 5) * FS))
    low, high = how.get("heights", (1 - within, 1 + within))
    truth = {"floor": [], "release_of_ball": [], "top": [], "height": []}
    loud = None
    for start in starts:
        height = rng.uniform(low, high)
        impacts, speeds, tops = fall.drop(ball, height)
        loud = loud or speeds[0]
        begin = int(start * FS) - impacts[0] * FS % 1  # floors on whole samples
        for t, v in zip(impacts, speeds):
            put(x, int(round(begin + t * FS)) - PRE, sounds.once_more(ball.hit, rng), PEAK * v / loud)
        at = lambda t: round((begin + t * FS) / FS, 9)
        truth["floor"].append(at(impacts[0])); truth["top"].append(at(tops[0]) if tops else None)
        truth["release_of_ball"].append(at(0)); truth["height"].append(round(height, 4))
    x = rooms.heard_in(place.floor, x)[:len(x)]
    presses = [int(round((f + rng.uniform(.04, .19)) * FS)) for f in truth["floor"]]
    back = clicks(rng, device, place, x, presses)
    if "beside" in how:
        x += other.beside(rng, how["beside"], half, len(x), PEAK, place.floor, presses, d)
    x += noise(rng, len(x), how.get("level", 30))
    return {"lesson": taught, "sound": {**recorded(x, how, f"{out}/drill"), "press": seconds(presses), "release": seconds(back), **truth}}


def hour(half, name, out):
    """A lesson beside the hour that holds no click; the hour itself is built once."""
    device, place = sounds.Device(name, sounds.HALVES[half][0][name]), Place(seed(half, "room", name), {})
    taught = lesson(seed(half, "hour", name), device, place, {}, f"{out}/lesson")
    return {"lesson": taught, "sound": {"file": "../hour.flac", "wav": "../hour.flac", "press": [], "release": []}}


def build(job):
    out, half, kind, condition, name, replace = job
    folder = f"{out}/{half}/{kind}-{condition}/{name}" if condition else f"{out}/{half}/{kind}/{name}"
    if os.path.exists(f"{folder}/truth.json") and not replace:
        return
    os.makedirs(folder, exist_ok=True)
    if kind == "marks":
        truth = marks(half, condition, name, folder)
    elif kind == "hour":
        truth = hour(half, name, folder)
    else:
        truth = drill(half, condition, name, folder, DRILLS if kind == "drill" else FIRST, .02 if kind == "drill" else .03)
    with open(f"{folder}/truth.json", "w") as f:
        json.dump(truth, f)


def jobs(out, half, only, quick, replace, thin=False):
    devices, balls = (list(t) for t in sounds.HALVES[half])
    only = only or (QUICK if quick else None)
    pairs = [f"{d}-{b}" for i, d in enumerate(devices) for j, b in enumerate(balls) if not thin or i % 3 == j]
    table = [("marks", c, devices) for c in MARKS] + [("drill", c, pairs) for c in DRILLS] + [("first", c, pairs) for c in FIRST] + [("hour", "", devices)]
    return [(out, half, k, c, n, replace) for k, c, names in table for n in names
            if not only or any((f"{k}-{c}" if c else k) == o or o.endswith("*") and f"{k}-{c}".startswith(o[:-1]) for o in only)]


def main():
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("out"); p.add_argument("--half", choices=list(sounds.HALVES)); p.add_argument("--only")
    p.add_argument("--quick", action="store_true"); p.add_argument("--replace", action="store_true"); p.add_argument("--jobs", type=int, default=1)
    p.add_argument("--thin", action="store_true", help="each device with one ball only, each ball with two devices")
    a = p.parse_args()
    sounds.fetch()
    only = a.only.split(",") if a.only else None
    work = [j for half in ([a.half] if a.half else sounds.HALVES) for j in jobs(a.out, half, only, a.quick, a.replace, a.thin or a.quick)]
    for half in {j[1] for j in work if j[2] == "hour"}:
        path = f"{a.out}/{half}/hour/hour.flac"
        if not os.path.exists(path) or a.replace:
            other.hour(seed(half, "hour"), half, path, PEAK)
    if a.jobs == 1:
        for j in work:
            build(j)
    else:
        with ProcessPoolExecutor(a.jobs) as pool:
            list(pool.map(build, work))
    print(f"{len(work)} scenes in {a.out}")


if __name__ == "__main__":
    main()
