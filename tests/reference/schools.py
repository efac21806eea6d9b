"""The query of docs/scale.md on exported journals, in a general-purpose engine
(SQLite as it comes with Python 3.8 or later, standard library only).

    python3 schools.py EXPORT.jsonl …        prints one row a person and kind, JSON
"""

import json
import sqlite3
import sys

QUERY = """
WITH ranked AS (
    SELECT person.name AS person, moment_kind, lag_ms,
           row_number() OVER w AS place, count(lag_ms) OVER whole AS n,
           count(*) OVER whole AS moments
    FROM pair JOIN bout ON bout.id = pair.bout_id
              LEFT JOIN person ON person.id = bout.person_id
    WHERE moment_kind IS NOT NULL
    WINDOW whole AS (PARTITION BY person.name, moment_kind),
           w AS (PARTITION BY person.name, moment_kind ORDER BY lag_ms IS NULL, lag_ms))
SELECT person, moment_kind, max(n) AS lags, max(moments) - max(n) AS missed,
       avg(lag_ms) FILTER (WHERE place IN ((n + 1) / 2, (n + 2) / 2)) AS median_ms
FROM ranked GROUP BY person, moment_kind
"""
COLUMNS = {
    "person": ["id", "name"],
    "bout": ["id", "person_id", "kind", "started_at"],
    "pair": ["bout_id", "moment_kind", "lag_ms"],
}

engine = sqlite3.connect(":memory:")
for table, columns in COLUMNS.items():
    engine.execute(f"CREATE TABLE {table} ({', '.join(columns)})")
for path in sys.argv[1:]:
    with open(path, encoding="utf-8") as lines:
        for line in lines:
            row = json.loads(line)
            columns = COLUMNS.get(row.get("table"))
            if columns:
                places = ", ".join("?" * len(columns))
                values = [row[column] for column in columns]
                engine.execute(f"INSERT INTO {row['table']} VALUES ({places})", values)
engine.row_factory = sqlite3.Row
json.dump([dict(row) for row in engine.execute(QUERY)], sys.stdout)
