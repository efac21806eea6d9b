"""The query of docs/scale.md on exported journals, in two general-purpose engines.

    python3 schools.py EXPORT.jsonl …            SQLite, as it comes with Python 3.10 or later
    python3 schools.py --duckdb EXPORT.jsonl …   DuckDB (pip install duckdb==2.0.1)

Prints one row a person and kind of moment, as JSON.

    python3 schools.py --parquet FOLDER EXPORT.jsonl …

writes the tables as Parquet files with DuckDB, and prints what they weigh.
"""

import json
import os
import sqlite3
import sys

# The median: of n values in order the one in the middle, or the mean of the two.
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
       avg(lag_ms) FILTER (WHERE 2 * place BETWEEN n AND n + 2 AND place <= n) AS median_ms
FROM ranked GROUP BY person, moment_kind
"""
COLUMNS = {
    "person": {"id": "VARCHAR", "name": "VARCHAR"},
    "bout": {"id": "VARCHAR", "person_id": "VARCHAR", "kind": "VARCHAR", "started_at": "TIMESTAMP"},
    "pair": {"bout_id": "VARCHAR", "moment_kind": "VARCHAR", "lag_ms": "DOUBLE"},
}


def in_sqlite(exports):
    engine = sqlite3.connect(":memory:")
    engine.row_factory = sqlite3.Row
    for table, columns in COLUMNS.items():
        engine.execute(f"CREATE TABLE {table} ({', '.join(columns)})")
    for path in exports:
        with open(path, encoding="utf-8") as lines:
            for line in lines:
                row = json.loads(line)
                columns = COLUMNS.get(row.get("table"))
                if columns:
                    places = ", ".join("?" * len(columns))
                    values = [row[column] for column in columns]
                    engine.execute(f"INSERT INTO {row['table']} VALUES ({places})", values)
    return [dict(row) for row in engine.execute(QUERY)]


def duckdb_with(exports):
    import duckdb

    engine = duckdb.connect()
    for table, columns in COLUMNS.items():
        wanted = {"table": "VARCHAR", **columns}
        engine.execute(
            f"CREATE TABLE {table} AS SELECT * EXCLUDE (\"table\") FROM read_json("
            f"$files, format = 'newline_delimited', columns = {wanted}) WHERE \"table\" = $table",
            {"files": exports, "table": table})
    return engine


def in_duckdb(exports):
    told = duckdb_with(exports).execute(QUERY)
    names = [column[0] for column in told.description]
    return [dict(zip(names, row)) for row in told.fetchall()]


def as_parquet(folder, exports):
    engine = duckdb_with(exports)
    os.makedirs(folder, exist_ok=True)
    sizes = {}
    for table in COLUMNS:
        path = os.path.join(folder, f"{table}.parquet")
        engine.execute(f"COPY {table} TO '{path}' (FORMAT parquet, COMPRESSION zstd)")
        sizes[table] = os.path.getsize(path)
    moments = engine.execute("SELECT count(moment_kind) FROM pair").fetchone()[0]
    return {"moments": moments, "bytes": sizes, "bytes_a_moment": sum(sizes.values()) / max(moments, 1)}


match sys.argv[1:]:
    case ["--duckdb", *exports]:
        told = in_duckdb(exports)
    case ["--parquet", folder, *exports]:
        told = as_parquet(folder, exports)
    case exports:
        told = in_sqlite(exports)
json.dump(told, sys.stdout)
print()
