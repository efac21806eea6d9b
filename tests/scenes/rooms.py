"""What happens to sound between the click and the file: room, noise, recorder, codec.

Rooms are shoeboxes by image sources (pyroomacoustics), early part exact, late part a
decaying noise. The direct sound is one sample of value 1 at delay 0, so a truth is
the arrival of the direct sound. Codecs are ffmpeg's; a decode is checked against
what went in, and the delay that a container cannot tell (G.722) is taken out.
"""
import os, subprocess
import numpy as np, pyroomacoustics as pra, soundfile as sf
from scipy.fft import irfft, next_fast_len, rfft
from scipy.signal import correlate, lfilter, oaconvolve

from sounds import FS


def room(rng, rt_s, direct_db, size=(5.2, 4.1, 2.7)):
    """Impulse response with reverberation time `rt_s`; the direct sound's energy is `direct_db` re the rest."""
    size = np.array(size) * (1 if rt_s < 1 else 1.8) * rng.uniform(.9, 1.1, 3)
    absorption, _ = pra.inverse_sabine(rt_s, size)
    box = pra.ShoeBox(size, fs=FS, materials=pra.Material(absorption), max_order=8)
    box.add_source(size * rng.uniform(.2, .45, 3))
    box.add_microphone(size * rng.uniform(.55, .8, 3))
    box.image_source_model()
    source = box.sources[0]
    far = np.linalg.norm(source.images - box.mic_array.R[:, :1], axis=0)
    gain = source.damping.mean(0) / far
    near = int(np.argmin(far))
    delay = (far - far[near]) / 343 * FS
    n = int(rt_s * FS * .9)
    h = np.zeros(n)
    early = int(.06 * FS)
    for d, g in zip(np.delete(delay, near), np.delete(gain, near)):
        k = int(d)
        if k + 1 < n and d < early:
            h[k] += g * (1 - d + k)
            h[k + 1] += g * (d - k)
    t = np.arange(n) / FS
    slope = np.exp(-6.91 * t / rt_s)
    tail = rng.standard_normal(n) * slope
    dull = lfilter([.35], [1, -.65], rng.standard_normal(n)) * slope
    tail = tail * np.exp(-t / (.25 * rt_s)) + dull
    level = np.sqrt((h[early // 2:early] ** 2).mean() / (tail[early // 2:early] ** 2).mean())
    h += level * tail * np.clip((t - .02) / .04, 0, 1)
    h *= np.sqrt(10 ** (-direct_db / 10) / (h ** 2).sum())
    h[0] += 1
    return h


def pink(rng, n):
    """Noise of 1/f power above 20 Hz, RMS 1."""
    m = next_fast_len(n, real=True)
    s = rfft(rng.standard_normal(m))
    s /= np.sqrt(np.maximum(np.fft.rfftfreq(m, 1 / FS), 20))
    y = irfft(s, m)[:n]
    return y / y.std()


def put(x, at, y, gain=1.0):
    n = min(len(y), len(x) - at)
    if n > 0:
        x[at:at + n] += gain * y[:n]


def automatic_gain(x, target=.25, attack_s=.003, release_s=.6, most=20):
    """A recorder's level control: down within milliseconds, up within a second, in steps of 1 ms."""
    step = FS // 1000
    peaks = np.abs(np.pad(x, (0, -len(x) % step))).reshape(-1, step).max(1)
    down, up = np.exp(-.001 / attack_s), np.exp(-.001 / release_s)
    level, gains = 1e-3, []
    for p in peaks:
        k = down if p > level else up
        level = k * level + (1 - k) * p
        gains.append(min(target / max(level, 1e-6), most))
    at = np.arange(len(gains)) * step
    return np.clip(x * np.interp(np.arange(len(x)), at, gains), -1, 1)


def overload(x, press_peak, by_db):
    return np.clip(x * 10 ** (by_db / 20) / press_peak, -1, 1) * .99


CODECS = {
    "aac": ("m4a", ["-c:a", "aac"]), "mp3": ("mp3", ["-c:a", "libmp3lame"]),
    "opus": ("ogg", ["-c:a", "libopus", "-application", "audio"]),
    "voip": ("ogg", ["-c:a", "libopus", "-application", "voip"]),
    "g722": ("g722", ["-c:a", "g722", "-ar", "16000"]),
}


def through(codec, kbit, x, stem):
    """Encodes into STEM.m4a (or so), decodes into STEM.wav; names both, and the decode's delay against `x` in samples."""
    ending, options = CODECS[codec]
    sf.write(f"{stem}.in.wav", x, FS, subtype="PCM_16")
    rate = ["-b:a", f"{kbit}k"] if kbit else []
    subprocess.run(["ffmpeg", "-v", "error", "-y", "-i", f"{stem}.in.wav", *options, *rate, "-ac", "1", "-map_metadata", "-1", f"{stem}.{ending}"], check=True)
    os.remove(f"{stem}.in.wav")
    y = decode_file(f"{stem}.{ending}")
    late = delay_of(x, y)
    if codec == "g722":
        y = np.roll(y, -late)
        os.remove(f"{stem}.{ending}")
        ending = "wav"
    sf.write(f"{stem}.wav", y, FS, subtype="PCM_16")
    return f"{os.path.basename(stem)}.{ending}", late


def decode_file(path):
    kind = ["-f", "g722"] if path.endswith(".g722") else []
    out = subprocess.run(["ffmpeg", "-v", "error", *kind, "-i", path, "-ar", str(FS), "-ac", "1", "-f", "f32le", "-"], capture_output=True, check=True)
    return np.frombuffer(out.stdout, np.float32).astype(float)


def delay_of(x, y, most=4000):
    """How many samples `y` comes after `x`."""
    n = min(len(x), len(y), 12 * FS)
    c = correlate(y[:n], x[:n], "full", "fft")
    middle = n - 1
    return int(np.argmax(c[middle - most:middle + most + 1])) - most



def heard_in(h, y):
    return oaconvolve(y, h)
