-- Once released, this file is never changed: a change is a new file.
-- Times within a bout are seconds from its first sample. `seq` counts the rows
-- of one bout in order of arrival, over all of the bout's tables together.
-- `abs(x) < 9e999` says that x is finite (9e999 reads as infinity).

CREATE TABLE about (
    one         INTEGER PRIMARY KEY CHECK (one = 1),
    journal_id  TEXT NOT NULL,
    created_at  TEXT NOT NULL
) STRICT;

INSERT INTO about VALUES
    (1, lower(hex(randomblob(16))), strftime('%Y-%m-%dT%H:%M:%fZ', 'now'));

CREATE TABLE person (
    person_key  INTEGER PRIMARY KEY,
    id          TEXT NOT NULL UNIQUE CHECK (length(id) = 36),
    name        TEXT NOT NULL CHECK (length(name) > 0)
) STRICT;

CREATE INDEX person_by_name ON person (name);

CREATE TABLE bout (
    bout_key        INTEGER PRIMARY KEY,
    id              TEXT NOT NULL UNIQUE CHECK (length(id) = 36),
    kind            TEXT NOT NULL CHECK (kind IN ('review', 'drill', 'session')),
    person_key      INTEGER REFERENCES person,
    started_at      TEXT NOT NULL CHECK (started_at GLOB '*T*Z'),
    ended_at        TEXT CHECK (ended_at GLOB '*T*Z'),
    time_zone       TEXT,
    source          TEXT,
    sound_file      TEXT CHECK (length(sound_file) > 0),
    sample_rate_hz  INTEGER CHECK (sample_rate_hz > 0),
    channels        INTEGER CHECK (channels > 0),
    duration_s      REAL CHECK (duration_s >= 0 AND duration_s < 9e999),
    program_version TEXT NOT NULL,
    settings_json   TEXT NOT NULL CHECK (json_valid(settings_json))
) STRICT;

CREATE INDEX bout_by_start ON bout (started_at);
CREATE INDEX bout_by_person ON bout (person_key);
CREATE INDEX bout_unended ON bout (started_at) WHERE ended_at IS NULL;

CREATE TABLE profile (
    profile_key  INTEGER PRIMARY KEY,
    name         TEXT NOT NULL CHECK (length(name) > 0),
    sha256       TEXT NOT NULL CHECK (length(sha256) = 64),
    profile_json TEXT NOT NULL CHECK (json_valid(profile_json)),
    UNIQUE (name, sha256)
) STRICT;

CREATE TABLE bout_profile (
    bout_key     INTEGER NOT NULL REFERENCES bout ON DELETE CASCADE,
    profile_key  INTEGER NOT NULL REFERENCES profile,
    PRIMARY KEY (bout_key, profile_key)
) STRICT, WITHOUT ROWID;

CREATE INDEX bout_profile_by_profile ON bout_profile (profile_key);

CREATE TABLE sound (
    bout_key    INTEGER NOT NULL REFERENCES bout ON DELETE CASCADE,
    seq         INTEGER NOT NULL CHECK (seq >= 1),
    t_s         REAL NOT NULL CHECK (abs(t_s) < 9e999),
    kind        TEXT NOT NULL CHECK (kind IN ('click', 'word', 'impact')),
    name        TEXT NOT NULL,
    confidence  REAL NOT NULL CHECK (confidence BETWEEN 0 AND 1),
    level_dbfs  REAL NOT NULL CHECK (abs(level_dbfs) < 9e999),
    PRIMARY KEY (bout_key, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE moment (
    bout_key  INTEGER NOT NULL REFERENCES bout ON DELETE CASCADE,
    seq       INTEGER NOT NULL CHECK (seq >= 1),
    t_s       REAL NOT NULL CHECK (abs(t_s) < 9e999),
    kind      TEXT NOT NULL CHECK (kind IN ('floor', 'release', 'top', 'behaviour')),
    source    TEXT NOT NULL CHECK (source IN ('sound', 'file', 'hand')),
    label     TEXT NOT NULL,
    PRIMARY KEY (bout_key, seq)
) STRICT, WITHOUT ROWID;

-- The moment's kind is repeated here so that years of lags can be read by kind
-- from one table.
CREATE TABLE pair (
    bout_key     INTEGER NOT NULL REFERENCES bout ON DELETE CASCADE,
    seq          INTEGER NOT NULL CHECK (seq >= 1),
    outcome      TEXT NOT NULL
                 CHECK (outcome IN ('on_time', 'early', 'late', 'missed', 'stray')),
    moment_kind  TEXT CHECK (moment_kind IN ('floor', 'release', 'top', 'behaviour')),
    moment_seq   INTEGER,
    mark_seq     INTEGER,
    moment_s     REAL CHECK (abs(moment_s) < 9e999),
    mark_s       REAL CHECK (abs(mark_s) < 9e999),
    lag_ms       REAL CHECK (abs(lag_ms) < 9e999),
    u_ms         REAL CHECK (u_ms >= 0 AND u_ms < 9e999),
    PRIMARY KEY (bout_key, seq),
    FOREIGN KEY (bout_key, moment_seq) REFERENCES moment,
    FOREIGN KEY (bout_key, mark_seq) REFERENCES sound,
    CHECK ((moment_s IS NULL) = (outcome = 'stray')),
    CHECK ((mark_s IS NULL) = (outcome = 'missed')),
    CHECK ((lag_ms IS NULL) = (outcome IN ('missed', 'stray'))),
    CHECK ((moment_s IS NULL) = (moment_seq IS NULL)),
    CHECK ((moment_s IS NULL) = (moment_kind IS NULL)),
    CHECK ((mark_s IS NULL) = (mark_seq IS NULL)),
    CHECK (u_ms IS NULL OR lag_ms IS NOT NULL)
) STRICT, WITHOUT ROWID;

-- Everything else that happens: a gap in the sound, a pause, a cue, a treat.
CREATE TABLE event (
    bout_key     INTEGER NOT NULL REFERENCES bout ON DELETE CASCADE,
    seq          INTEGER NOT NULL CHECK (seq >= 1),
    t_s          REAL CHECK (abs(t_s) < 9e999),
    u_ms         REAL CHECK (u_ms >= 0 AND u_ms < 9e999),
    kind         TEXT NOT NULL CHECK (kind <> '' AND kind NOT GLOB '*[^a-z0-9_]*'),
    detail_json  TEXT CHECK (json_valid(detail_json)),
    PRIMARY KEY (bout_key, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE note (
    bout_key  INTEGER NOT NULL REFERENCES bout ON DELETE CASCADE,
    seq       INTEGER NOT NULL CHECK (seq >= 1),
    t_s       REAL CHECK (abs(t_s) < 9e999),
    kind      TEXT NOT NULL CHECK (kind IN ('note', 'tag')),
    text      TEXT NOT NULL,
    PRIMARY KEY (bout_key, seq)
) STRICT, WITHOUT ROWID;

-- Nothing is taken out by an undo: it is marked here, and a later row for the
-- same target with is_aside = 0 takes it back in.
CREATE TABLE set_aside (
    bout_key    INTEGER NOT NULL REFERENCES bout ON DELETE CASCADE,
    seq         INTEGER NOT NULL CHECK (seq >= 1),
    target_seq  INTEGER NOT NULL CHECK (target_seq < seq),
    is_aside    INTEGER NOT NULL CHECK (is_aside IN (0, 1)),
    reason      TEXT NOT NULL,
    PRIMARY KEY (bout_key, seq)
) STRICT, WITHOUT ROWID;

CREATE INDEX set_aside_by_target ON set_aside (bout_key, target_seq, seq);

CREATE VIEW aside_now AS
SELECT bout_key, target_seq, seq, reason
FROM set_aside AS s
WHERE is_aside = 1
  AND NOT EXISTS (
      SELECT 1 FROM set_aside AS later
      WHERE later.bout_key = s.bout_key
        AND later.target_seq = s.target_seq
        AND later.seq > s.seq);

-- The pairs that count: neither they nor their moment nor their mark set aside.
CREATE VIEW pair_counted AS
SELECT *
FROM pair AS p
WHERE NOT EXISTS (
    SELECT 1 FROM aside_now AS a
    WHERE a.bout_key = p.bout_key
      AND a.target_seq IN (p.seq, p.moment_seq, p.mark_seq));

-- One row a pair that counts, with all that a table program needs beside it.
CREATE VIEW lag AS
SELECT b.id AS bout_id, b.kind AS bout_kind, b.started_at, b.time_zone,
       person.name AS person, p.seq, p.moment_kind, sound.kind AS mark_kind,
       sound.name AS mark_name, p.moment_s, p.mark_s, p.lag_ms, p.u_ms, p.outcome
FROM bout AS b
JOIN pair_counted AS p ON p.bout_key = b.bout_key
LEFT JOIN person ON person.person_key = b.person_key
LEFT JOIN sound ON sound.bout_key = p.bout_key AND sound.seq = p.mark_seq;

-- One row a bout: counts, and the mean lag (constant error), the mean of the
-- lags without their signs (absolute error), the ends. No lags: NULL.
CREATE VIEW bout_measure AS
SELECT b.bout_key, b.id AS bout_id, b.kind, b.started_at, b.ended_at, b.time_zone,
       person.name AS person, b.source, b.duration_s,
       count(p.moment_s)                               AS moments,
       count(p.lag_ms)                                 AS lags,
       count(*) FILTER (WHERE p.outcome = 'on_time')   AS on_time,
       count(*) FILTER (WHERE p.outcome = 'early')     AS early,
       count(*) FILTER (WHERE p.outcome = 'late')      AS late,
       count(*) FILTER (WHERE p.outcome = 'missed')    AS missed,
       count(*) FILTER (WHERE p.outcome = 'stray')     AS stray,
       avg(p.lag_ms)                                   AS mean_lag_ms,
       avg(abs(p.lag_ms))                              AS mean_abs_lag_ms,
       min(p.lag_ms)                                   AS min_lag_ms,
       max(p.lag_ms)                                   AS max_lag_ms
FROM bout AS b
LEFT JOIN person ON person.person_key = b.person_key
LEFT JOIN pair_counted AS p ON p.bout_key = b.bout_key
GROUP BY b.bout_key;
