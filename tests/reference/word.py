#!/usr/bin/env python3
"""Reference cepstra for src/ear/word: librosa's mel bank, scipy's DCT.

    pip install numpy scipy librosa
    python3 tests/reference/word.py > tests/reference/word.json
"""
import json

import librosa
import numpy as np
import scipy
from scipy.fft import dct

n = np.arange(401, dtype=float)
cases = []
for a, b in ((0.05, 2e-5), (0.3, 1e-4), (0.02, 1e-3)):
    x = (0.3 * np.sin(a * n + b * n * n) + 0.05 * np.sin(1.1 * n)).astype(np.float32).astype(float)
    y = (x[1:] - 0.97 * x[:-1]) * np.hamming(400)
    power = np.abs(np.fft.rfft(y, 512))**2 / 512
    bank = librosa.filters.mel(sr=16000, n_fft=512, n_mels=26, fmin=80, fmax=7600, htk=True, norm=None)
    logs = np.log(bank @ power + 1e-10)
    cases.append({"a": a, "b": b, "log_mel": logs.tolist(), "cepstra": dct(logs, norm="ortho")[:13].tolist()})
print(json.dumps({"versions": {"librosa": librosa.__version__, "numpy": np.__version__, "scipy": scipy.__version__},
                  "cases": cases}))
