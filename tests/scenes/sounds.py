"""Recorded sounds from packages: stand-ins for clickers, single bounces, interferers.

    python3 tests/scenes/sounds.py [FOLDER]     fetch the packages, print what was cut

No recording of a hand clicker is in a package, so switches, buttons, a stapler, a
shutter and the like stand in: a press and a release, cut where Akaike's criterion
(Maeda 1985) places the onset on the clean recording. Debian packages come by
`apt-get download`, others by `pip download` and `npm pack`; nothing is installed
and nothing is kept in the repository. SET serves for setting thresholds, APART for
reporting alone: no threshold is set on it. The halves share no recording and no
kind of device.
"""
import glob, os, subprocess, sys
import numpy as np, soundfile as sf
from scipy.signal import resample_poly

FS = 48000
HERE = os.path.dirname(os.path.abspath(__file__))
RAW = os.environ.get("SCENE_SOUNDS", os.path.join(HERE, "../../target/scenes/packages"))
PRE = 48  # samples kept before an onset, faded in

DEBIAN = """asterisk-core-sounds-es-g722 asterisk-core-sounds-it-g722 asterisk-core-sounds-ru-g722
asterisk-moh-opsound-g722 brainparty-data csmash-data enigma-data focuswriter foobillardplus-data
gnome-shell-pomodoro-data klick kolf lomiri-sounds minetest-data minetest-mod-homedecor scratch
sonic-pi-samples sound-icons tuxpaint-data""".split()

# name: (press file, seconds to look in, release file, seconds to look in, release gain, seconds from press to release)
# A release from another sample of the family is quieter by the gain; `None` keeps the file's own pair as it is.
SET_DEVICES = {
    "key": ("keebsound/**/gateron-red/SPACE.mp3", (.03, .09), None, (.14, .20), 1, .11),
    "button": ("ion-sound/**/button_tiny.ogg", (.02, .08), None, (.12, .17), 1, .105),
    "stapler": ("ion-sound/**/staple_gun.ogg", (.03, .1), "ion-sound/**/button_click_on.ogg", (.2, .28), .5, .16),
    "keyclick": ("tuxpaint-data/**/keyclick.wav", (0, .02), "tuxpaint-data/**/keyclick.wav", (0, .02), .35, .13),
    "typewriter": ("focuswriter/**/keyany.wav", (.0, .04), "focuswriter/**/keyenter.wav", (.34, .42), .4, .15),
    "shutter": ("lomiri-sounds/**/camera_click.ogg", (.05, .08), None, (.11, .14), 1, .14),
}
APART_DEVICES = {
    "click": ("csmash-data/**/click.wav", (.01, .04), None, (.075, .11), 1, .12),
    "mouse": ("brainparty-data/**/mouse_click.wav", (0, .03), None, (.08, .11), 1, .092),
    "trigger": ("enigma-data/**/it-triggerdown.wav", (0, .03), "enigma-data/**/it-triggerup.wav", (0, .02), .6, .14),
    "toaster": ("minetest-mod-homedecor/**/toaster.ogg", (.06, .1), "minetest-mod-homedecor/**/insert_coin.ogg", (0, .3), .4, .17),
    "snap": ("sonic-pi-samples/**/perc_snap.flac", (0, .03), "sonic-pi-samples/**/perc_snap2.flac", (0, .03), .4, .15),
    "metronome": ("klick/**/click_normal.wav", (0, .02), "klick/**/click_emphasis.wav", (0, .02), .4, .12),
}
# name: (file, seconds to look in, mass kg, diameter m, restitution at 4.4 m/s)
SET_BALLS = {
    "tabletennis": ("csmash-data/**/table.wav", (0, .03), .0027, .040, .88),
    "rubber": ("ion-sound/**/tap.ogg", (.01, .06), .058, .065, .78),
    "wood": ("minetest-data/**/default_place_node.1.ogg", (0, .03), .110, .060, .68),
}
APART_BALLS = {
    "golf": ("kolf/**/wall.wav", (0, .02), .0459, .0427, .80),
    "marble": ("enigma-data/**/ballcollision.wav", (.02, .06), .0054, .016, .74),
    "billiard": ("foobillardplus-data/**/oneballontable.wav", (0, .03), .170, .0572, .70),
}
HALVES = {"set": (SET_DEVICES, SET_BALLS), "apart": (APART_DEVICES, APART_BALLS)}


def fetch(folder=RAW):
    """Unpacks each package into a folder of its name; skips those already there."""
    os.makedirs(folder, exist_ok=True)
    missing = [p for p in DEBIAN if not os.path.isdir(f"{folder}/{p}")]
    for name in missing:
        subprocess.run(["apt-get", "download", name], cwd=folder, check=True)
        deb = glob.glob(f"{folder}/{name}_*.deb")[0]
        subprocess.run(["dpkg-deb", "-x", deb, f"{folder}/{name}"], check=True)
        os.remove(deb)
    if not os.path.isdir(f"{folder}/keebsound"):
        subprocess.run([sys.executable, "-m", "pip", "download", "-q", "--no-deps", "-d", folder, "keebsound==0.0.2"], check=True)
        unpack(glob.glob(f"{folder}/keebsound-*.tar.gz")[0], f"{folder}/keebsound")
    if not os.path.isdir(f"{folder}/ion-sound"):
        subprocess.run(["npm", "pack", "--silent", "ion-sound@3.0.7"], cwd=folder, check=True)
        unpack(glob.glob(f"{folder}/ion-sound-*.tgz")[0], f"{folder}/ion-sound")


def unpack(archive, folder):
    os.makedirs(folder)
    subprocess.run(["tar", "xf", archive, "-C", folder], check=True)


def find(pattern):
    files = sorted(glob.glob(f"{RAW}/{pattern}", recursive=True))
    if not files:
        raise SystemExit(f"No file {pattern} in {RAW}: run tests/scenes/sounds.py first")
    return files


def decode(path, fs=FS):
    """Samples of a file, one channel, at `fs`. ffmpeg reads what libsndfile does not."""
    if path.endswith((".wav", ".flac", ".ogg", ".oga")):
        y, rate = sf.read(path, always_2d=True)
        g = np.gcd(rate, fs)
        return resample_poly(y.mean(1), fs // g, rate // g) if rate != fs else y.mean(1)
    kind = ["-f", "g722"] if path.endswith(".g722") else []
    out = subprocess.run(["ffmpeg", "-v", "error", *kind, "-i", path, "-ar", str(fs), "-ac", "1", "-f", "f32le", "-"], capture_output=True, check=True)
    return np.frombuffer(out.stdout, np.float32).astype(float)


def onset(y, span):
    """Sample of the onset of the loudest rise within `span` seconds (Maeda 1985).

    Noise 50 dB below the peak stands under the recording, so that an encoder's faint
    foreshadow of the sound is not taken for its beginning."""
    a, b = int(span[0] * FS), min(int(span[1] * FS), len(y))
    pad = int(.02 * FS)
    quiet = 3e-3 * np.abs(y[a:b]).max() * np.random.default_rng(1).standard_normal(len(y) + pad)
    x = np.concatenate([np.zeros(pad), y]) + quiet
    e = np.sqrt(np.convolve(x ** 2, np.ones(24) / 24, "same"))
    top = pad + a + int(np.argmax(e[pad + a:pad + b]))
    low = top
    floor = e[top] * 10 ** (-18 / 20)
    while low > max(pad + a - int(.01 * FS), 600) and e[low] > floor:
        low -= 1
    w = x[max(low - 360, 0):top + 1]
    k = np.arange(24, len(w) - 12)
    aic = [i * np.log(w[:i].var() + 1e-30) + (len(w) - i) * np.log(w[i:].var() + 1e-30) for i in k]
    return max(low - 360, 0) + int(k[np.argmin(aic)]) - pad


def cut(y, at, seconds):
    """A piece that begins PRE samples before `at`, faded in before the onset and out at its end."""
    x = np.concatenate([np.zeros(PRE), y, np.zeros(int(seconds * FS))])[at:at + PRE + int(seconds * FS)].copy()
    x[:PRE] *= np.linspace(0, 1, PRE) ** 2
    n = len(x) // 3
    x[-n:] *= np.cos(np.linspace(0, np.pi / 2, n)) ** 2
    return x


class Device:
    """One stand-in for a clicker. `press` and `release` begin PRE samples before their onsets."""

    def __init__(self, name, row):
        self.name = name
        press, span, release, back, gain, self.held = row
        y = decode(find(press)[0])
        at = onset(y, span)
        z = y if release is None else decode(find(release)[0])
        at_back = onset(z, back)
        room = (at_back - at) / FS - .004 if release is None else .12
        self.press = cut(y, at, min(max(room, .02), .12))
        self.release = cut(z, at_back, .1)
        peak = np.abs(self.press).max()
        if release is None:
            self.release = self.release / peak
        else:
            self.release = self.release / np.abs(self.release).max() * gain
        self.press = self.press / peak
        self.onsets = at / FS, at_back / FS


class Ball:
    """One kind of ball: the sound of a bounce, peak 1, and its mechanics."""

    def __init__(self, name, row):
        self.name = name
        path, span, self.mass, self.diameter, self.restitution = row
        y = decode(find(path)[0])
        self.onset_s = (at := onset(y, span)) / FS
        self.hit = cut(y, at, .15)
        self.hit /= np.abs(self.hit).max()


def once_more(y, rng, level_db=2, pitch=.003, tilt=.15):
    """A repeat of a sound, a little different: level, pitch about the onset, spectral tilt."""
    n = np.arange(len(y), dtype=float)
    r = 1 + pitch * rng.uniform(-1, 1)
    x = np.interp(PRE + (n - PRE) * r, n, y, right=0)
    a = tilt * rng.uniform(-1, 1)
    x[1:] = x[1:] + a * x[:-1]
    return x * 10 ** (level_db * rng.uniform(-1, 1) / 20) / (1 + abs(a) / 2)


def devices(half):
    return {n: Device(n, r) for n, r in HALVES[half][0].items()}


def balls(half):
    return {n: Ball(n, r) for n, r in HALVES[half][1].items()}


def main():
    fetch(RAW)
    for half in HALVES:
        for d in devices(half).values():
            print(f"{half:6}{d.name:12} press at {d.onsets[0]:.5f} s, release at {d.onsets[1]:.5f} s, release peak {np.abs(d.release).max():.2f}")
        for b in balls(half).values():
            print(f"{half:6}{b.name:12} bounce at {b.onset_s:.5f} s")


if __name__ == "__main__":
    main()
