"""What listening to an hour costs: marklag beside two general-purpose libraries.

    cargo build --release
    (what compare.py needs, see there)
    python3 tests/compare/cost.py [MINUTES]

One WAV (48 kHz, mono, 16 bit) of minutes from compare.py's scenes, whose truth is
known: a click among nothing, talk, another clicker and percussion, at 30 dB. Each
program reads the same file in a process of its own, of which the system tells the
processor's time (user and system, so that other work on the machine counts for
little) and the most memory. aubio is fed block by block; librosa has no streaming
onset detector and takes the whole. F-measure at +-25 ms by maximum matching; timing:
95th percentile of the error about its median, in ms. aubio and librosa do not know
which sound is meant, and look for less: the table is about cost.

With --start it measures how long each command takes to say its help, and a few to do
something small, in the median of twenty.
"""
import json, os, statistics, subprocess, sys, tempfile, time
import numpy as np, soundfile as sf

HERE = os.path.dirname(os.path.abspath(__file__))
PROGRAM = os.environ.get("MARKLAG", os.path.join(HERE, "../../target/release/marklag"))
RATE, SEED = 48000, 11
MOST_KB = 10 << 20  # a program that wants more than 10 GB is ended by that

AUBIO = """
import sys, json, aubio, soundfile as sf, numpy as np
o = aubio.onset(sys.argv[2], 1024, 256, 48000); found = []
with sf.SoundFile(sys.argv[1]) as f:
    for x in f.blocks(256, dtype="float32", fill_value=0):
        if o(x): found.append(o.get_last_s())
print(json.dumps(found))
"""
LIBROSA = """
import sys, json, librosa, soundfile as sf
x, rate = sf.read(sys.argv[1], dtype="float32")
print(json.dumps(librosa.onset.onset_detect(y=x, sr=rate, units="time", hop_length=256).tolist()))
"""


# A shell between, so that the memory of this process does not count as the child's:
# the system carries the most memory over from the process that starts another.
SHELL = 'ulimit -v "$1"; shift; exec /usr/bin/time -f "%U %S %M" -o "$@"'


def measured(command):
    """Output, exit code, wall seconds, processor seconds and MB of a command."""
    with tempfile.NamedTemporaryFile("r") as told:
        begin = time.monotonic()
        done = subprocess.run(["sh", "-c", SHELL, "sh", str(MOST_KB), told.name] + command, capture_output=True, text=True)
        wall = time.monotonic() - begin
        user, system, kb = told.read().splitlines()[-1].split()
    return done.stdout, done.returncode, wall, float(user) + float(system), int(kb) / 1024


def hour(path, minutes):
    from compare import scene
    truth, kinds = [], ["quiet", "talk", "other", "percussion"]
    with sf.SoundFile(path, "w", RATE, 1, "PCM_16") as f:
        for k in range(minutes):
            x, at = scene(kinds[k % 4], 30, SEED, turn=k + 1)
            f.write(np.clip(x, -1, 1))
            truth += list(60 * k + at)
    return np.array(truth)


def cost(minutes):
    import aubio, librosa, mir_eval
    from compare import lesson
    print("aubio", aubio.version, "librosa", librosa.__version__)
    with tempfile.TemporaryDirectory() as home:
        path = f"{home}/hour.wav"
        sf.write(f"{home}/l.wav", lesson(SEED), RATE, subtype="PCM_24")
        subprocess.run([PROGRAM, "--home", home, "teach", "click", "c", "--from", f"{home}/l.wav"], check=True, stdout=subprocess.DEVNULL)
        truth = hour(path, minutes)
        python = sys.executable
        ways = {
            "marklag review": [PROGRAM, "--home", home, "review", path, "--json"],
            "aubio default": [python, "-c", AUBIO, path, "default"],
            "aubio complex": [python, "-c", AUBIO, path, "complex"],
            "librosa": [python, "-c", LIBROSA, path],
        }
        print("| program | processor | times real time | memory | F | timing, 95 % |\n|---|---|---|---|---|---|")
        for name, command in ways.items():
            text, code, _, cpu, mb = measured(command)
            if code != 0:
                print(f"| {name} | ended with {code} after {cpu:.0f} s and {mb:.0f} MB | | | | |", flush=True)
                continue
            found = json.loads(text)
            if isinstance(found, dict):
                found = [s["t_s"] for s in found["sounds"] if s["kind"] == "click"]
            found = np.sort(np.array(found))
            pairs = mir_eval.util.match_events(truth, found, .025)
            f1 = 2 * len(pairs) / max(len(truth) + len(found), 1)
            e = np.array([found[j] - truth[i] for i, j in pairs]) * 1e3
            p95 = np.percentile(np.abs(e - np.median(e)), 95) if len(e) else float("nan")
            print(f"| {name} | {cpu:.1f} s | {60 * minutes / cpu:.0f} | {mb:.0f} MB | {f1:.3f} | {p95:.3f} ms |", flush=True)


def start():
    fixtures = os.path.join(HERE, "../../fixtures")
    with tempfile.TemporaryDirectory() as home:
        first = [PROGRAM, "--home", home]
        subprocess.run(first + ["teach", "click", "tilda", "--from", f"{fixtures}/tilda-clicks.wav"], check=True, stdout=subprocess.DEVNULL)
        subprocess.run(first + ["review", f"{fixtures}/tilda-drill.wav", "--keep"], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        named = subprocess.run([PROGRAM, "--help"], capture_output=True, text=True).stdout.split("Commands:")[1].split("\n\n")[0]
        commands = [line.split()[0] for line in named.splitlines() if line.startswith("  ") and line[2:3].strip()]
        runs = {f"{c} --help": [c, "--help"] for c in commands if c != "help"}
        runs |= {"(no command)": [], "journal list": ["journal", "list"], "journal check": ["journal", "check"], "progress": ["progress"],
                 "page -": ["page", "-"], "plan list": ["plan", "list"]}
        print("| command | median | slowest of twenty |\n|---|---|---|")
        for name, args in runs.items():
            times = [measured(first + args)[2] * 1e3 for _ in range(20)]
            print(f"| `{name}` | {statistics.median(times):.0f} ms | {max(times):.0f} ms |", flush=True)


if __name__ == "__main__":
    sys.path.insert(0, HERE)
    if "--start" in sys.argv:
        start()
    else:
        cost(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
