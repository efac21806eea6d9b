"""Reads a journal, its JSON Lines export and its CSV export with Python's own
readers (sqlite3, json, csv: standard library, 3.9 or later) and compares every
value. The folder given holds journal.sqlite, all.jsonl and TABLE.csv.

The queries here are written from docs/journal.md, not from the program.
"""

import csv
import hashlib
import json
import math
import pathlib
import sqlite3
import struct
import sys

folder = pathlib.Path(sys.argv[1])
file = sqlite3.connect(folder / "journal.sqlite")
file.row_factory = sqlite3.Row

OWN = ["person", "profile", "bout", "animal", "behaviour", "step", "plan", "observer"]
LINKS = ["bout_profile", "plan_item", "session"]
IN_BOUT = ["sound", "moment", "pair", "event", "note", "set_aside"]


def from_file(table):
    """The table's rows with ids in the place of local keys."""
    rows = []
    bouts = dict(file.execute("SELECT bout_key, id FROM bout").fetchall())
    people = dict(file.execute("SELECT person_key, id FROM person").fetchall())
    profiles = {r["profile_key"]: r for r in file.execute("SELECT * FROM profile")}
    # Which key stands for which table's id.
    others = {f"{of}_key": (f"{of}_id",
                            dict(file.execute(f"SELECT {of}_key, id FROM {of}").fetchall()))
              for of in ["animal", "behaviour", "plan", "person", "bout"]}
    for row in map(dict, file.execute(f"SELECT * FROM {table}")):
        if table == "bout":
            row["person_id"] = people.get(row.pop("person_key"))
            del row["bout_key"]
        elif table == "person":
            del row["person_key"]
        elif table == "profile":
            del row["profile_key"]
        elif table == "bout_profile":
            profile = profiles[row["profile_key"]]
            row = {"bout_id": bouts[row["bout_key"]],
                   "name": profile["name"], "sha256": profile["sha256"]}
        elif table in ["animal", "behaviour", "step", "plan", "observer", "plan_item", "session"]:
            # Its own key goes; those that name other rows become ids.
            own = None if table == "session" else f"{table}_key"
            for column in [c for c in row if c.endswith("_key")]:
                value = row.pop(column)
                if column != own:
                    name, ids = others[column]
                    row[name] = ids.get(value)
        else:
            row["bout_id"] = bouts[row.pop("bout_key")]
        rows.append(row)
    return rows


def exact(value):
    """A value that differs when a bit differs or the type does."""
    if isinstance(value, float):
        assert math.isfinite(value)
        return ("real", struct.pack(">d", value).hex())
    return (type(value).__name__, value)


def key(row):
    return sorted((name, exact(value)) for name, value in row.items())


def as_set(rows):
    return sorted(map(repr, map(key, rows)))


lines = [json.loads(line) for line in (folder / "all.jsonl").read_text("utf-8").split("\n")[:-1]]
head, body, end = lines[0], lines[1:-1], lines[-1]
assert head["format"] == "marklag.journal/1", head
assert head["schema"] == file.execute("PRAGMA user_version").fetchone()[0]
assert head["journal_id"] == file.execute("SELECT journal_id FROM about").fetchone()[0]
assert end == {"end": True, "rows": len(body)}, end

for row in file.execute("SELECT * FROM profile"):
    assert hashlib.sha256(row["profile_json"].encode()).hexdigest() == row["sha256"]


def name_of(table, row):
    """What names a row for good."""
    if table in IN_BOUT:
        return (row["bout_id"], int(row["seq"]))
    if table == "plan_item":
        return (row["plan_id"], int(row["number"]))
    return tuple(row.get(column) for column in ("bout_id", "id", "name", "sha256"))


def from_text(text, like):
    """A CSV field as the type that the column has in the file."""
    if like is None or like == "":
        # In CSV a missing value and an empty text look alike.
        assert text == ""
        return like
    return type(like)(text)


count = 0
for table in [*OWN, *LINKS, *IN_BOUT]:
    there = from_file(table)
    assert there, f"{table} is empty: nothing is proved"
    said = [{k: v for k, v in line.items() if k != "table"}
            for line in body if line["table"] == table]
    assert as_set(said) == as_set(there), (table, said, there)

    with open(folder / f"{table}.csv", newline="", encoding="utf-8") as text:
        rows = list(csv.DictReader(text))
    assert len(rows) == len(there), table
    named = {name_of(table, row): row for row in there}
    assert len(named) == len(there), table
    for row in rows:
        like = named[name_of(table, row)]
        assert row.keys() == like.keys(), (table, row)
        typed = {column: from_text(field, like[column]) for column, field in row.items()}
        assert key(typed) == key(like), (table, row, like)
    count += len(there)

# The view's measures, done again.
for row in file.execute("SELECT * FROM bout_measure"):
    pairs = [p for p in from_file("pair") if p["bout_id"] == row["bout_id"]]
    lags = [p["lag_ms"] for p in pairs if p["lag_ms"] is not None]
    assert row["lags"] == len(lags)
    assert row["moments"] == sum(p["moment_s"] is not None for p in pairs)
    assert row["missed"] == sum(p["outcome"] == "missed" for p in pairs)
    assert row["stray"] == sum(p["outcome"] == "stray" for p in pairs)
    if lags:
        assert math.isclose(row["mean_lag_ms"], math.fsum(lags) / len(lags))
    else:
        assert row["mean_lag_ms"] is None

assert len(body) == count, (len(body), count)
print(f"{count} rows in {len(OWN) + len(LINKS) + len(IN_BOUT)} tables, all equal "
      f"(Python {sys.version.split()[0]}, SQLite {sqlite3.sqlite_version})")
