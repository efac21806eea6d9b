"""Reference values for src/ear, from well-known libraries.

Run: python3 ear.py   (writes ear.json beside itself; needs numpy, scipy, obspy)

The versions used are written into the file.

Index conventions: obspy's aic_simple stores the criterion of the split "k
samples before, the rest after" at index k - 1, so the first sample of the
second part is argmin + 1; its last element only repeats the one before.
"""
import json
import pathlib
import platform

import numpy as np
import obspy
import scipy
from obspy.signal.trigger import aic_simple
from scipy import signal

rng = np.random.default_rng(19850213)


def short(x, digits=9):
    return [float(f"{v:.{digits}g}") for v in np.asarray(x, dtype=float)]


out = {
    "versions": {
        "python": platform.python_version(),
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "obspy": obspy.__version__,
    }
}

# The worked case: 25 x (1, -1), then 25 x (10, -10); AIC by hand at k = 49, 50, 51.
worked = np.array([1.0, -1.0] * 25 + [10.0, -10.0] * 25)
curve = aic_simple(worked)
for k, want in ((49, 229.2578), (50, 225.6533391), (51, 275.3764)):
    assert abs(curve[k - 1] - want) < 6e-5, (k, curve[k - 1])
assert np.argmin(curve) + 1 == 50

# Random cases: a quieter part, then a louder one, some with an offset and some
# without any change. Only splits that leave two samples on both sides count.
cases = []
for n, first, ratio, offset in [
    (12, 6, 20.0, 0.0),
    (16, 5, 5.0, 0.0),
    (40, 20, 3.0, 0.0),
    (60, 50, 8.0, 0.2),
    (80, 7, 4.0, -0.5),
    (100, 99, 10.0, 0.0),
    (100, 0, 1.0, 0.0),
    (120, 60, 1.5, 0.0),
    (150, 140, 30.0, 0.0),
    (200, 100, 0.2, 0.0),
    (240, 61, 100.0, 0.05),
    (5, 2, 10.0, 0.0),
    (4, 2, 10.0, 0.0),
]:
    x = 0.01 * rng.standard_normal(n)
    x[first:] *= ratio
    x = np.round(x + offset, 5).astype(np.float32).astype(float)
    x = np.array(short(x, 9)).astype(np.float32).astype(float)
    curve = aic_simple(x)
    inner = curve[1 : n - 2]  # k = 2 .. n - 2
    k = int(np.argmin(inner)) + 2
    cases.append({"x": short(x), "k": k, "aic": float(curve[k - 1])})
out["aic"] = cases

# Second-order Butterworth high-pass, scipy.signal.butter.
out["high_pass"] = []
for hz, rate in [(1500, 48000), (1500, 8000), (80, 48000), (80, 192000), (1500, 11025)]:
    b, a = signal.butter(2, hz, "highpass", fs=rate)
    out["high_pass"].append({"hz": hz, "rate_hz": rate, "b": list(b), "a": list(a[1:])})

# Band-pass: the analog prototype of the audio cookbook, H(s) = (s/Q)/(s^2 + s/Q + 1),
# carried over by scipy.signal.bilinear with the centre prewarped; its response by freqz.
out["band_pass"] = []
for hz, q, rate in [(170, 0.8, 48000), (600, 0.8, 8000), (2200, 0.8, 44100), (6500, 0.8, 96000)]:
    warped = 2 * rate * np.tan(np.pi * hz / rate)
    b, a = signal.bilinear([warped / q, 0], [1, warped / q, warped**2], fs=rate)
    at = np.array([hz / 4, hz / 2, hz, 1.5 * hz])
    _, h = signal.freqz(b, a, worN=at, fs=rate)
    out["band_pass"].append(
        {"hz": hz, "q": q, "rate_hz": rate, "at_hz": list(at), "gain": short(np.abs(h), 12)}
    )

# A filter's output on noise, scipy.signal.lfilter.
x = np.array(short(rng.standard_normal(60), 6))
b, a = signal.butter(2, 1500, "highpass", fs=16000)
out["filtered"] = {"hz": 1500, "rate_hz": 16000, "x": short(x), "y": short(signal.lfilter(b, a, x), 12)}

# Matched filter: plain correlation with the template scaled to unit energy.
x = np.array(short(rng.standard_normal(150), 5)).astype(np.float32).astype(float)
t = np.array(short(rng.standard_normal(16), 5)).astype(np.float32).astype(float)
padded = np.concatenate([np.zeros(16), x])
full = signal.correlate(padded, t / np.linalg.norm(t), mode="valid")
# Element 0 belongs to the template laid 16 samples before the stream's first.
out["matched"] = {"template": short(t), "x": short(x), "y": short(full, 8)}

# Resampling of a band-limited sound: the closed form, a Gaussian tone burst.
def burst(rate, n):
    time = np.arange(n) / rate - 0.004
    return np.exp(-0.5 * (time / 0.0006) ** 2) * np.cos(2 * np.pi * 1800 * time + 0.4)


out["resampled"] = []
for start, to in [(48000, 44100), (48000, 16000), (16000, 48000), (44100, 192000), (48000, 11025)]:
    n = int(0.012 * start)
    x = burst(start, n)
    length = int(np.floor(n * to / start))
    gcd = np.gcd(start, to)
    y = signal.resample_poly(x, to // gcd, start // gcd)[:length]
    exact = burst(to, length)
    off = float(np.abs(y - exact).max())
    assert off < 5e-3, (start, to, off)
    pick = np.linspace(0, length - 1, 24).astype(int)
    out["resampled"].append(
        {
            "from_hz": start,
            "to_hz": to,
            "at": [int(k) for k in pick],
            "scipy": short(y[pick], 8),
            "scipy_off_closed_form": off,
        }
    )

pathlib.Path(__file__).with_suffix(".json").write_text(json.dumps(out) + "\n")
