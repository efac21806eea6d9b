"""marklag beside two general-purpose onset detectors, on the same scenes.

    cargo build --release
    python3 -m pip install -r tests/compare/requirements.txt
    apt-get install -y ffmpeg sonic-pi-samples asterisk-core-sounds-it-g722 asterisk-core-sounds-es-g722
    python3 tests/compare/compare.py

The scenes are built here, by a click model that is not the program's own, with
real talk (asterisk-core-sounds, CC BY-SA) and real percussion (sonic-pi-samples,
CC0) from Debian packages; no sound is kept. F-measure at +-25 ms by
mir_eval.onset.f_measure (maximum matching); timing error of the matched events
about their median, 95th percentile, in ms. The general-purpose detectors do not
know which sound is meant: the table shows what that costs, not a fault of theirs.
"""
import glob, json, os, subprocess, sys, tempfile
import aubio, librosa, mir_eval, numpy as np, scipy, soundfile as sf

FS, HERE = 48000, os.path.dirname(os.path.abspath(__file__))
PROGRAM = os.environ.get("MARKLAG", os.path.join(HERE, "../../target/release/marklag"))


def ring(rng, parts, length_s=0.03):
    """Damped modes struck at given instants: parts = [(delay_s, gain, hz, decay_s, phase)]."""
    t = np.arange(int(length_s * FS)) / FS
    y = np.zeros_like(t)
    for delay, gain, hz, decay, phase in parts:
        s = t - delay
        on = s >= 0
        y[on] += gain * np.exp(-s[on] / decay) * np.cos(2 * np.pi * hz * s[on] + phase)
    return y


class Clicker:
    """A strip of spring steel: it buckles (a short bright blow), hits its seat, and rings."""

    def __init__(self, seed):
        r = np.random.default_rng(seed)
        base = r.uniform(1800, 4200)
        self.modes = [(base * m * r.uniform(.97, 1.03), r.uniform(.0006, .003), r.uniform(.3, 1), r.uniform(0, 6.28))
                      for m in (1, 1.6, 2.3, 3.1, 4.4)]
        self.seat = r.uniform(.0004, .0018), r.uniform(.2, .8)
        self.back = [(hz * r.uniform(.9, 1.1), d * r.uniform(.7, 1.3), g * r.uniform(.4, 1.4), r.uniform(0, 6.28))
                     for hz, d, g, _ in self.modes]
        self.back_gain, self.held = r.uniform(.4, .9), r.uniform(.07, .2)

    def strike(self, rng, modes, seat):
        wobble = lambda x, sd: x * (1 + sd * rng.standard_normal())
        parts = []
        for hz, d, g, ph in modes:
            hz, g = wobble(hz, .003), wobble(g, .08)
            parts.append((0, g, hz, d, ph))
            if seat:
                parts.append((wobble(seat[0], .03), g * wobble(seat[1], .08), hz, d, ph))
        y = ring(rng, parts)
        n = int(.0008 * FS)
        y[:n] += .15 * rng.standard_normal(n) * np.exp(-np.arange(n) / (.0003 * FS)) * np.abs(y).max()
        return y / np.abs(y).max()

    def press(self, rng):
        return self.strike(rng, self.modes, self.seat)

    def release(self, rng):
        return self.strike(rng, self.back, None) * self.back_gain


def put(x, at, y, gain):
    n = min(len(y), len(x) - at)
    if n > 0:
        x[at:at + n] += gain * y[:n]


def room(x, rng):
    """A small room: twelve early reflections and a noisy tail of 0.3 s."""
    h = np.zeros(int(.3 * FS)); h[0] = 1
    for _ in range(12):
        h[int(rng.uniform(.002, .04) * FS)] += rng.choice([-1, 1]) * .25 * rng.uniform(.3, 1)
    t = np.arange(len(h)) / FS
    h += .01 * rng.standard_normal(len(h)) * np.exp(-t / .045) * (t > .01)
    return scipy.signal.fftconvolve(x, h)[:len(x)]


def talk(seconds, seed, voice="it"):
    files = sorted(glob.glob(f"/usr/share/asterisk/sounds/{voice}_*/**/*.g722", recursive=True))
    r = np.random.default_rng(seed); out = []; have = 0
    while have < seconds * FS:
        f = files[r.integers(len(files))]
        raw = subprocess.run(["ffmpeg", "-v", "error", "-f", "g722", "-i", f, "-ar", str(FS), "-ac", "1", "-f", "f32le", "-"], capture_output=True).stdout
        y = np.frombuffer(raw, np.float32).astype(float); out += [y, np.zeros(int(.2 * FS))]; have += len(y) + .2 * FS
    y = np.concatenate(out)[:int(seconds * FS)]
    return y / np.abs(y).max()


def percussion(seed):
    files = sorted(glob.glob("/usr/share/sonic-pi/samples/*.flac"))
    files = [f for f in files if os.path.basename(f).split("_")[0] in ("bd", "drum", "sn", "perc", "tabla")]
    y, fs = sf.read(files[np.random.default_rng(seed).integers(len(files))], always_2d=True)
    y = librosa.resample(y.mean(1), orig_sr=fs, target_sr=FS)[:FS]
    return y / np.abs(y).max()


def scene(kind, db, seed, seconds=60, turn=0):
    rng = np.random.default_rng([seed, int(db), sum(map(ord, kind))] + [turn] * (turn > 0))
    mine, other = Clicker(seed), Clicker(seed + 700)
    x, truth, peak = np.zeros(int(seconds * FS)), [], .2
    for k in range(int((seconds - 2) / 2.2)):
        at = int((1 + 2.2 * k + rng.uniform(0, .8)) * FS)
        truth.append(at / FS)
        put(x, at, mine.press(rng), peak)
        put(x, at + int(mine.held * rng.uniform(.7, 1.5) * FS), mine.release(rng), peak)
    if kind in ("other", "all"):
        for k in range(int((seconds - 4) / 2.2)):
            at = int((2.1 + 2.2 * k + rng.uniform(0, .6)) * FS)
            put(x, at, other.press(rng), peak); put(x, at + int(other.held * FS), other.release(rng), peak)
    if kind in ("talk", "all"):
        x += talk(seconds, seed) * peak * 10 ** (3 / 20)
    if kind in ("percussion", "all"):
        for k in range(int(seconds / 1.5)):
            put(x, int((1.5 * k + rng.uniform(0, .9)) * FS), percussion(1000 * seed + k), peak * 10 ** (rng.uniform(-6, 6) / 20))
    x = room(x, rng)
    return x + rng.standard_normal(len(x)) * peak * 10 ** (-db / 20), np.array(truth)


def lesson(seed):
    rng, mine = np.random.default_rng([seed, 9]), Clicker(seed)
    x = np.zeros(14 * FS)
    for k in range(10):
        at = int((.8 + 1.3 * k) * FS)
        put(x, at, mine.press(rng), .3); put(x, at + int(mine.held * rng.uniform(.8, 1.3) * FS), mine.release(rng), .3)
    return room(x, rng) + rng.standard_normal(len(x)) * .3 * 10 ** (-38 / 20)


def by_marklag(x, home, seed):
    with tempfile.NamedTemporaryFile(suffix=".wav") as f:
        sf.write(f.name, x, FS, subtype="FLOAT")
        out = subprocess.run([PROGRAM, "--home", home, "review", f.name, "--bridge", f"c{seed}", "--json"], capture_output=True, text=True, check=True)
    return np.array([s["t_s"] for s in json.loads(out.stdout)["sounds"] if s["kind"] == "click"])


def by_aubio(method):
    def run(x, *_):
        o = aubio.onset(method, 1024, 256, FS); found = []
        x = x.astype(np.float32)
        for k in range(0, len(x) - 256, 256):
            if o(x[k:k + 256]):
                found.append(o.get_last_s())
        return np.array(found)
    return run


def by_librosa(backtrack):
    return lambda x, *_: librosa.onset.onset_detect(y=x.astype(np.float32), sr=FS, units="time", hop_length=256, backtrack=backtrack)


def main():
    detectors = {"marklag": by_marklag, "aubio default": by_aubio("default"), "aubio complex": by_aubio("complex"),
                 "librosa": by_librosa(False), "librosa backtrack": by_librosa(True)}
    seeds = [11, 12, 13, 14]
    print("numpy", np.__version__, "scipy", scipy.__version__, "librosa", librosa.__version__, "aubio", aubio.version, "mir_eval", mir_eval.__version__)
    with tempfile.TemporaryDirectory() as home:
        for seed in seeds:
            sf.write(f"{home}/l.wav", lesson(seed), FS, subtype="PCM_24")
            done = subprocess.run([PROGRAM, "--home", home, "teach", "click", f"c{seed}", "--from", f"{home}/l.wav"], capture_output=True, text=True)
            print(f"clicker {seed}:", (done.stdout + done.stderr).splitlines()[2:3])
        print("| scene | " + " | ".join(f"{d}: F, ms" for d in detectors) + " |\n|---" * 1 + "|---" * len(detectors) + "|")
        for kind, db in [("quiet", 30), ("quiet", 20), ("talk", 30), ("talk", 20), ("percussion", 30), ("percussion", 20), ("other", 30), ("other", 20), ("all", 10)]:
            row = []
            cells = {d: ([0, 0, 0], []) for d in detectors}
            for seed in seeds:
                x, truth = scene(kind, db, seed)
                for name, run in detectors.items():
                    found = np.sort(run(x, home, seed))
                    pairs = mir_eval.util.match_events(truth, found, .025) if len(found) else []
                    counts, errors = cells[name]
                    counts[0] += len(pairs); counts[1] += len(found); counts[2] += len(truth)
                    e = np.array([found[j] - truth[i] for i, j in pairs]) * 1e3
                    if len(e):
                        errors += list(np.abs(e - np.median(e)))
                    if name == "marklag" and "-v" in sys.argv:
                        hit = {i for i, _ in pairs}; used = {j for _, j in pairs}
                        print(f"   {kind} {db} seed {seed}: missed {[round(float(truth[i]),3) for i in range(len(truth)) if i not in hit]} false {[round(float(found[j]),3) for j in range(len(found)) if j not in used]}")
            for name in detectors:
                (tp, n, m), errors = cells[name]
                row.append(f"{2 * tp / (n + m):.3f}, {np.percentile(errors, 95) if errors else float('nan'):.3f}")
            print(f"| {kind} {db} dB | " + " | ".join(row) + " |", flush=True)


if __name__ == "__main__":
    main()
