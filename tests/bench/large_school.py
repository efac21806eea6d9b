"""A made-up school as large as wanted, for measuring `marklag progress --everyone`.

    marklag demo school FOLDER --people 1 --days 1
    python3 large_school.py FOLDER/journal.sqlite 200 3650 4
    /usr/bin/time -v marklag --home FOLDER progress --everyone

Adds PEOPLE who drop a ball DRILLS times a day on each of DAYS days, 20 drops a
drill. Of each drill it writes the row of the bout and its digest, which is all that
the command reads; the pairs, moments and sounds behind them (17 times as much) are
left out, so that 60 million lags can be made in minutes. Such a journal is for
measuring only: `journal check` finds that its digests have no pairs.
Needs numpy (tried with 2.4.6).
"""

import datetime
import sqlite3
import sys
import uuid

import numpy as np

file, people, days, drills = sys.argv[1], *map(int, sys.argv[2:5])
chance = np.random.default_rng(1)
journal = sqlite3.connect(file)
journal.executescript("PRAGMA synchronous = OFF; PRAGMA cache_size = -200000;")
bout_key = journal.execute("SELECT coalesce(max(bout_key), 0) FROM bout").fetchone()[0]
first = datetime.date(2016, 2, 10)
instants = [f"{first + datetime.timedelta(d)}T{7 + 2 * n:02}:{(7 * d) % 60:02}:00.000000000Z"
            for d in range(days) for n in range(drills)]
done = np.repeat(np.arange(days) / max(days - 1, 1), drills)[:, None]
for person in range(people):
    key = journal.execute("INSERT INTO person (id, name) VALUES (?, ?)",
                          (str(uuid.uuid4()), f"Trainer {person + 1:03}")).lastrowid
    start, gain, spread = chance.uniform(40, 120), chance.uniform(30, 60), chance.uniform(30, 55)
    count = days * drills
    of_day = np.repeat(chance.normal(0, 6, days), drills)[:, None]
    lags = start - gain * done + of_day + spread * (1 - 0.5 * done) * chance.normal(size=(count, 20))
    blobs = [row.astype("<f8").tobytes() for row in lags]
    keys = range(bout_key + 1, bout_key + 1 + count)
    journal.executemany(
        "INSERT INTO bout (bout_key, id, kind, person_key, started_at, ended_at, time_zone,"
        " sample_rate_hz, channels, duration_s, program_version, settings_json)"
        " VALUES (?, ?, 'drill', ?, ?, ?, 'Europe/Vienna', 48000, 1, 85.0, '0.1.0', '{}')",
        ((k, str(uuid.uuid4()), key, at, at) for k, at in zip(keys, instants)))
    journal.executemany(
        "INSERT INTO digest VALUES (?, 0, NULL, '', NULL, NULL, 0, 0, x'')", ((k,) for k in keys))
    journal.executemany(
        "INSERT INTO digest VALUES (?, 1, 'floor', '', 'click', 'blue', 0, 0, ?)", zip(keys, blobs))
    bout_key += count
    journal.commit()
print(f"{people * days * drills} drills, {people * days * drills * 20} lags")
