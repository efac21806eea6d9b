"""Sounds that are neither the click nor the ball: talk, bangs, another clicker, an hour of a house.

Talk: Italian, Spanish and Russian telephone prompts (asterisk-core-sounds, G.722);
bangs: percussion, steps, doors; birds, dogs and other animals, dishes, music from
packages. SET and APART use different files.
"""
import os
import numpy as np, soundfile as sf

import sounds
from rooms import heard_in, put
from sounds import FS, PRE, decode, find

VOICES = {"set": ("es", "it"), "apart": ("ru",)}
BANGS = ("sonic-pi-samples/**/bd_*.flac", "sonic-pi-samples/**/drum_*.flac", "sonic-pi-samples/**/sn_*.flac",
         "sonic-pi-samples/**/tabla_*.flac", "minetest-data/**/default_*_footstep.*.ogg", "minetest-data/**/doors_*.ogg",
         "minetest-data/**/default_dig_*.ogg", "sound-icons/**/percussion-*.wav")
HOUSE = {
    "animals": ("scratch/**/Animal/*.wav", "sound-icons/**/canary-long.wav", "sonic-pi-samples/**/misc_crow.flac"),
    "dishes": ("minetest-mod-homedecor/**/*.ogg", "sound-icons/**/glass-water-1.wav", "minetest-data/**/default_break_glass.*.ogg", "minetest-data/**/default_place_node_metal.*.ogg", "scratch/**/Effects/*.wav"),
    "birds": ("gnome-shell-pomodoro-data/**/birds.ogg",),
    "music": ("asterisk-moh-opsound-g722/**/*.g722",),
}


def half_of(files, half):
    """Every second file belongs to the other half; a lone file to both."""
    return files if len(files) == 1 else files[(half == "apart")::2]


def loud(y):
    return y / max(np.abs(y).max(initial=0), 1e-9)


def talk(rng, half, n):
    files = [f for v in VOICES[half] for f in find(f"asterisk-core-sounds-{v}-g722/**/*.g722")]
    out, have = [], 0
    while have < n:
        y = loud(decode(files[rng.integers(len(files))]))
        out += [y, np.zeros(int(rng.uniform(.1, .5) * FS))]
        have += len(y) + len(out[-1])
    return np.concatenate(out)[:n]


def bangs(rng, half, n, every_s=1.5):
    files = half_of([f for p in BANGS for f in find(p)], half)
    x = np.zeros(n)
    t = rng.uniform(0, every_s)
    while t < n / FS:
        y = loud(decode(files[rng.integers(len(files))])[:FS])
        put(x, int(t * FS), y, 10 ** (rng.uniform(-6, 6) / 20))
        t += rng.uniform(.5, 2 * every_s - .5)
    return x


def another(rng, half, n, avoid, mine):
    """Another device of the same half, pressed at its own times, 0.25 s and more from ours."""
    names = [d for d in sounds.HALVES[half][0] if d != mine]
    name = names[rng.integers(len(names))]
    device = sounds.Device(name, sounds.HALVES[half][0][name])
    x, t = np.zeros(n), rng.uniform(1, 2)
    while t < n / FS - 1:
        at = int(t * FS)
        if np.min(np.abs(np.asarray(avoid) - at)) > .25 * FS:
            put(x, at - PRE, sounds.once_more(device.press, rng))
            put(x, at + int(device.held * FS) - PRE, sounds.once_more(device.release, rng))
        t += rng.uniform(1.4, 2.8)
    return x


def beside(rng, kind, half, n, peak, h, avoid, mine):
    """The interferers of one recording, in the room `h`: talk's peak 3 dB over the press, bangs -6 to +6 dB."""
    x = np.zeros(n)
    if kind in ("talk", "both", "all"):
        x += talk(rng, half, n) * 10 ** (3 / 20)
    if kind == "some":
        part = talk(rng, half, n)
        x += part * 10 ** (-6 / 20) * np.repeat(rng.random(n // FS + 1) < .4, FS)[:n]
    if kind in ("bangs", "both", "all"):
        x += bangs(rng, half, n)
    if kind in ("other", "all"):
        x += another(rng, half, n, avoid, mine)
    return peak * heard_in(h, x)[:n]


def ordered(rng, files, n, rest_s):
    out, have = [], 0
    while have < n:
        y = loud(decode(files[rng.integers(len(files))]))
        out += [y * 10 ** (rng.uniform(-8, 3) / 20), np.zeros(int(rng.uniform(0, 2 * rest_s) * FS))]
        have += len(y) + len(out[-1])
    return np.concatenate(out)[:n]


def hour(rng, half, path, peak, minute_s=60):
    """Talk 20 min, bangs and steps 8, animals 8, dishes 8, birds 4, music 12, over noise 30 dB down."""
    minute = int(minute_s * FS)
    os.makedirs(os.path.dirname(path), exist_ok=True)
    files = {k: half_of([f for p in v for f in find(p)], half) for k, v in HOUSE.items()}
    with sf.SoundFile(path, "w", FS, 1, "PCM_16") as f:
        for kind, m in (("talk", 20), ("bangs", 8), ("animals", 8), ("dishes", 8), ("birds", 4), ("music", 12)):
            for _ in range(m):
                n = minute
                x = talk(rng, half, n) if kind == "talk" else bangs(rng, half, n, 1.2) if kind == "bangs" else ordered(rng, files[kind], n, 0 if kind in ("music", "birds") else .5)
                x = x * peak * 10 ** (3 / 20) + rng.standard_normal(n) * peak * 10 ** (-30 / 20)
                f.write(np.clip(x, -1, 1))
