"""Writes bars.tsv: what each row of the scenes must reach, and which rows are known red.

    python3 tests/scenes/measure.py OUT/apart --json measured.json
    python3 tests/scenes/bars.py measured.json

The bars stand in this file. A row that was measured below its bar is kept as red with
its measured value, so that only a further fall fails; a row that was not measured is not.
"""
import json, os, sys

LOSSLESS = ["dry", "live", "far", "move", "over6", "over12", "agc"]
HIGH = ["aac128", "aac64", "mp3-64", "opus64", "g722", "agc-live-aac64", "wav-to-aac64"]
LOW = ["aac32", "opus32", "opus24", "opus16", "voip32", "voip16", "wav-to-opus32"]
BESIDE = {"talk": .99, "bangs": .98, "both": .98, "other": .97}
FLOORS = {"30": .99, "20": .97, "15": .90, "aac64": .95, "noisy20": .93, "heights30": .95, "heights20": .85}
FIRST = {"wav": .95, "aac128": .95, "aac64": .92, "live-talk-aac96": .85, "opus32": .85}
HEAD = """# The bars of the scenes: half, row, figure, sign, bar, and the measured value where a row is
# known to be red (then only a fall below that value fails). refused is a share of the lessons,
# bias that of the worst device, nan a figure that cannot be had for want of any match.
# Written by bars.py from a table of measure.py.
"""


def bars():
    for rows, p95, bias in ((LOSSLESS, .05, .5), (HIGH, 1, .5), (LOW, 2.5, 1.5)):
        for c in rows:
            yield from ((f"marks-{c}", "refused", "<=", 0), (f"marks-{c}", "F", ">=", .98),
                        (f"marks-{c}", "p95_ms", "<=", p95), (f"marks-{c}", "bias_ms", "<=", bias))
    for name, f in BESIDE.items():
        for level in (30, 20):
            yield from ((f"marks-{name}{level}", "F", ">=", f), (f"marks-{name}{level}", "p95_ms", "<=", .1))
        yield from ((f"marks-{name}-aac64", "F", ">=", .95), (f"marks-{name}-aac64", "p95_ms", "<=", 2))
    yield from (("marks-all10", "F", ">=", .92), ("marks-all10", "p95_ms", "<=", .5))
    for name, f in FLOORS.items():
        yield f"drill-{name}", "floors_F", ">=", f
    for name, share in FIRST.items():
        yield from ((f"first-{name}", "lags", ">=", share), (f"first-{name}", "false_lags", "<=", .01))
    yield "hour", "false_marks", "<=", 1


def red(measured, what, sign, bar):
    """The measured figure as text where it misses its bar, else nothing."""
    if not measured:
        return ""
    value = abs(measured[what]) / (measured["scenes"] if what == "refused" else 1)
    if value != value:
        return "nan"
    return "" if (value >= bar if sign == ">=" else value <= bar) else f"{value:.3f}"


def main():
    with open(sys.argv[1]) as f:
        measured = json.load(f)
    with open(os.path.join(os.path.dirname(os.path.abspath(__file__)), "bars.tsv"), "w") as out:
        out.write(HEAD)
        for name, what, sign, bar in bars():
            out.write(f"apart\t{name}\t{what}\t{sign}\t{bar:g}\t{red(measured.get(name), what, sign, bar)}\n")


if __name__ == "__main__":
    main()
