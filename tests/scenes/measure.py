"""Runs marklag over built scenes and prints a table of what it hears.

    cargo build --release
    python3 tests/scenes/measure.py OUT/HALF [--only NAME,PREFIX*] [--each] [--wav] [--others] [--bars]

MARKLAG names the program. Each scene: `teach click` from its lesson, then `review`
with that bridge. A refused lesson counts its whole scene as missed.
F: one-to-one matches within 25 ms of a true press (or floor). p95 and bias: of the
matched presses' errors, p95 about each scene's own median. Lags: share of true drops
whose lag comes out within 2 ms after the recording's own median error; false lags:
those further off or of no true drop, as a share of the lags given. The interval
after F is a 95 % bootstrap over devices, for repeats of one device are no new
evidence. --others sets aubio and librosa beside it, untaught, on the decoded files.
--bars compares with bars.tsv and ends with 1 when a row falls below.
"""
import argparse, collections, concurrent.futures, glob, json, os, subprocess, sys, tempfile
import numpy as np

HERE = os.path.dirname(os.path.abspath(__file__))
PROGRAM = os.environ.get("MARKLAG", os.path.join(HERE, "../../target/release/marklag"))
WITHIN_S = .025


def matched(truth, found):
    """One-to-one pairs (i, j) within WITHIN_S in order of time, as many as can be."""
    pairs, j = [], 0
    for i, t in enumerate(truth):
        while j < len(found) and found[j] < t - WITHIN_S:
            j += 1
        if j < len(found) and found[j] <= t + WITHIN_S:
            pairs.append((i, j))
            j += 1
    return pairs


def program(*words):
    return subprocess.run([PROGRAM, *words], capture_output=True, text=True, timeout=600)


def run(folder, wav):
    """What came of one scene: counts and errors, in seconds."""
    with open(f"{folder}/truth.json") as f:
        truth = json.load(f)
    file = lambda part: f"{folder}/{truth[part]['wav' if wav else 'file']}"
    sound = truth["sound"]
    got = {"folder": folder, "taught": False, "press": sound["press"], "floor": sound.get("floor", []), "clicks": [], "floors": [], "lags": [], "why": ""}
    with tempfile.TemporaryDirectory() as home:
        taught = program("--home", home, "teach", "click", "it", "--from", file("lesson"))
        if taught.returncode:
            got["why"] = last_line(taught.stderr)
            return got
        got["taught"] = True
        heard = program("--home", home, "review", file("sound"), "--bridge", "it", "--json")
        if heard.returncode:
            got["why"] = "review: " + last_line(heard.stderr)
            return got
    out = json.loads(heard.stdout)
    got["clicks"] = sorted(s["t_s"] for s in out["sounds"] if s["kind"] == "click")
    got["floors"] = sorted(m["t_s"] for m in out["moments"] if m["kind"] == "floor")
    got["lags"] = sorted((p["moment_s"], p["lag_ms"]) for p in out["pairs"] if p["lag_ms"] is not None)
    return got


def last_line(text):
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines[0][:110] if lines else "no word"


def f_measure(counts):
    hits, given, true = np.sum(counts, axis=0)
    return 2 * hits / (given + true) if given + true else float("nan")


def interval(by_device, rng=None):
    """95 % bootstrap interval of F, devices drawn with replacement."""
    rng, rows = rng or np.random.default_rng(1), list(by_device.values())
    draws = [f_measure([c for k in rng.integers(len(rows), size=len(rows)) for c in rows[k]]) for _ in range(1000)]
    return np.nanquantile(draws, [.025, .975])


def lags_of(r):
    """(true drops, lags within 2 ms about the recording's own bias, lags given)."""
    pairs = matched(r["floor"], [m for m, _ in r["lags"]])
    true = {i: (r["press"][i] - r["floor"][i]) * 1e3 for i in range(len(r["floor"]))}
    off = np.array([r["lags"][j][1] - true[i] for i, j in pairs])
    good = int((np.abs(off - np.median(off)) <= 2).sum()) if len(off) else 0
    return len(r["floor"]), good, len(r["lags"])


def row(results):
    """The figures of one row, by name."""
    marks, floors, errors, bias = collections.defaultdict(list), [], [], []
    for r in results:
        device = os.path.basename(r["folder"]).split("-")[0]
        pairs = matched(r["press"], r["clicks"])
        marks[device].append((len(pairs), len(r["clicks"]), len(r["press"])))
        e = np.array([r["clicks"][j] - r["press"][i] for i, j in pairs]) * 1e3
        if len(e):
            errors += list(np.abs(e - np.median(e)))
            bias.append(np.median(e))
        floors.append((len(matched(r["floor"], r["floors"])), len(r["floors"]), len(r["floor"])))
    lags = np.sum([lags_of(r) for r in results], axis=0)
    nothing_true = not sum(len(r["press"]) for r in results)
    out = {"scenes": len(results), "refused": sum(not r["taught"] for r in results),
           "F": float("nan") if nothing_true else f_measure([c for m in marks.values() for c in m]),
           "low": float("nan"), "high": float("nan"),
           "p95_ms": np.percentile(errors, 95) if errors else float("nan"),
           "bias_ms": max(bias, key=abs) if bias else float("nan"),
           "floors_F": f_measure(floors) if lags[0] else float("nan"),
           "lags": lags[1] / lags[0] if lags[0] else float("nan"),
           "false_lags": (lags[2] - lags[1]) / lags[2] if lags[2] else float("nan"),
           "false_marks": max(len(r["clicks"]) for r in results) if nothing_true else float("nan")}
    if not nothing_true:
        out["low"], out["high"] = interval(marks)
    return out


def figure(x, form):
    return "–" if np.isnan(x) else format(x, form)


def line(name, r, others=()):
    cells = [name, f"{r['refused']} of {r['scenes']}", f"{figure(r['F'], '.3f')} ({figure(r['low'], '.2f')}–{figure(r['high'], '.2f')})",
             figure(r["p95_ms"], ".2f"), figure(r["bias_ms"], ".2f"), figure(r["floors_F"], ".3f"), figure(r["lags"], ".1%"), figure(r["false_lags"], ".1%")]
    if not np.isnan(r["false_marks"]):
        cells[2] = f"{r['false_marks']:.0f} false marks at most"
    return "| " + " | ".join(cells + [figure(o, ".3f") for o in others]) + " |"


def untaught(folder):
    """Counts of aubio's and librosa's onsets, with their own defaults, on the decoded sound."""
    import aubio, librosa, soundfile as sf
    with open(f"{folder}/truth.json") as f:
        sound = json.load(f)["sound"]
    x, fs = sf.read(f"{folder}/{sound['wav']}", dtype="float32")
    pick, found = aubio.onset("default", 1024, 256, fs), []
    for k in range(0, len(x) - 256, 256):
        if pick(x[k:k + 256]):
            found.append(pick.get_last_s())
    return [(len(matched(sound["press"], o)), len(o), len(sound["press"])) for o in
            (found, list(librosa.onset.onset_detect(y=x, sr=fs, units="time", hop_length=256)))]


def bars():
    """Rows of bars.tsv: (half, row, figure) to (sign, bar, measured where known red)."""
    out = {}
    with open(f"{HERE}/bars.tsv") as f:
        for text in f:
            if text.strip() and not text.startswith("#"):
                half, name, what, sign, bar, red = (text.rstrip("\n").split("\t") + [""] * 6)[:6]
                out[half, name, what] = sign, float(bar), float(red) if red.strip() else None
    return out


def fallen(half, name, r, table):
    """What is worse than its bar and, where that is known to be red, worse than was measured."""
    words = []
    for (h, n, what), (sign, bar, red) in table.items():
        if h != half or n != name:
            continue
        value = r[what] / r["scenes"] if what == "refused" else abs(r[what])
        worse = lambda limit, slack: np.isnan(value) or (value < limit - slack if sign == ">=" else value > limit + slack)
        if worse(bar, 1e-9):
            slack = .2 + .1 * abs(red or 0) if what.endswith("_ms") else .02
            if red is None or not np.isnan(red) and worse(red, slack):
                words.append(f"{name}: {what} {value:.3f}, bar {sign} {bar:g}" + (f", known red at {red:g}" if red is not None else ""))
    return words


def main():
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("folder"); p.add_argument("--only"); p.add_argument("--each", action="store_true")
    p.add_argument("--wav", action="store_true"); p.add_argument("--others", action="store_true"); p.add_argument("--bars", action="store_true"); p.add_argument("--json")
    a = p.parse_args()
    half = os.path.basename(os.path.normpath(a.folder))
    wanted = a.only.split(",") if a.only else ["*"]
    names = sorted(n for n in os.listdir(a.folder) if any(n == w or w.endswith("*") and n.startswith(w[:-1]) for w in wanted))
    print("| row | lessons refused | F at ±25 ms (95 %) | p95 ms | worst bias ms | floors F | lags within 2 ms | false lags |" + (" aubio F | librosa F |" if a.others else ""))
    print("|" + "---|" * (10 if a.others else 8))
    table, bad, kept = bars() if a.bars else {}, [], {}
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        for name in names:
            folders = sorted(os.path.dirname(t) for t in glob.glob(f"{a.folder}/{name}/*/truth.json"))
            if not folders:
                continue
            results = list(pool.map(lambda f: run(f, a.wav), folders))
            r = kept[name] = row(results)
            counts = list(zip(*[untaught(f) for f in folders])) if a.others else []
            print(line(name, r, [f_measure(c) for c in counts]), flush=True)
            bad += fallen(half, name, r, table)
            if a.each:
                for one in results:
                    print(line("&nbsp; " + os.path.basename(one["folder"]), row([one])), one["why"], flush=True)
    if a.json:
        with open(a.json, "w") as f:
            json.dump(kept, f)
    for words in bad:
        print("BELOW ITS BAR", words)
    sys.exit(bool(bad))


if __name__ == "__main__":
    main()
