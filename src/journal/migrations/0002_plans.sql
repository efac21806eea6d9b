-- Once released, this file is never changed: a change is a new file.
-- Animals, what they are taught, plans, and which session followed which plan.

CREATE TABLE animal (
    animal_key  INTEGER PRIMARY KEY,
    id          TEXT NOT NULL UNIQUE CHECK (length(id) = 36),
    name        TEXT NOT NULL CHECK (length(name) > 0)
) STRICT;

CREATE INDEX animal_by_name ON animal (name);

-- A behaviour belongs to the animal that learns it.
CREATE TABLE behaviour (
    behaviour_key  INTEGER PRIMARY KEY,
    id             TEXT NOT NULL UNIQUE CHECK (length(id) = 36),
    animal_key     INTEGER NOT NULL REFERENCES animal ON DELETE CASCADE,
    name           TEXT NOT NULL CHECK (length(name) > 0),
    cue            TEXT NOT NULL,
    is_on_cue      INTEGER NOT NULL CHECK (is_on_cue IN (0, 1))
) STRICT;

CREATE INDEX behaviour_by_animal ON behaviour (animal_key, name);

CREATE TABLE step (
    behaviour_key  INTEGER NOT NULL REFERENCES behaviour ON DELETE CASCADE,
    number         INTEGER NOT NULL CHECK (number >= 1),
    id             TEXT NOT NULL UNIQUE CHECK (length(id) = 36),
    earns          TEXT NOT NULL CHECK (length(earns) > 0),
    PRIMARY KEY (behaviour_key, number)
) STRICT, WITHOUT ROWID;

CREATE TABLE plan (
    plan_key        INTEGER PRIMARY KEY,
    id              TEXT NOT NULL UNIQUE CHECK (length(id) = 36),
    name            TEXT NOT NULL CHECK (length(name) > 0),
    animal_key      INTEGER NOT NULL REFERENCES animal ON DELETE CASCADE,
    person_key      INTEGER REFERENCES person,
    bridge          TEXT,
    length_min      REAL NOT NULL CHECK (length_min > 0 AND length_min < 9e999),
    treats          INTEGER CHECK (treats >= 0),
    again_after_min REAL CHECK (again_after_min > 0 AND again_after_min < 9e999)
) STRICT;

CREATE INDEX plan_by_name ON plan (name);
CREATE INDEX plan_by_animal ON plan (animal_key);
CREATE INDEX plan_by_person ON plan (person_key);

-- What a plan practises, in turn. No behaviour: the bridge is paired with food.
CREATE TABLE plan_item (
    plan_key       INTEGER NOT NULL REFERENCES plan ON DELETE CASCADE,
    number         INTEGER NOT NULL CHECK (number >= 1),
    behaviour_key  INTEGER REFERENCES behaviour ON DELETE CASCADE,
    step           INTEGER CHECK (step >= 1),
    PRIMARY KEY (plan_key, number),
    CHECK ((behaviour_key IS NULL) = (step IS NULL))
) STRICT, WITHOUT ROWID;

CREATE INDEX plan_item_by_behaviour ON plan_item (behaviour_key);

-- A session stays when its animal or its plan is forgotten; how it was planned
-- is kept with it in settings_json, without the animal's name.
CREATE TABLE session (
    bout_key    INTEGER PRIMARY KEY REFERENCES bout ON DELETE CASCADE,
    animal_key  INTEGER REFERENCES animal ON DELETE SET NULL,
    plan_key    INTEGER REFERENCES plan ON DELETE SET NULL
) STRICT;

CREATE INDEX session_by_animal ON session (animal_key);
CREATE INDEX session_by_plan ON session (plan_key);

-- How a person presses a key: key minus sound, in milliseconds. The latest counts.
CREATE TABLE observer (
    observer_key  INTEGER PRIMARY KEY,
    id            TEXT NOT NULL UNIQUE CHECK (length(id) = 36),
    person_key    INTEGER NOT NULL REFERENCES person,
    measured_at   TEXT NOT NULL CHECK (measured_at GLOB '*T*Z'),
    n             INTEGER NOT NULL CHECK (n >= 2),
    bias_ms       REAL NOT NULL CHECK (abs(bias_ms) < 9e999),
    spread_ms     REAL NOT NULL CHECK (spread_ms >= 0 AND spread_ms < 9e999)
) STRICT;

CREATE INDEX observer_by_person ON observer (person_key, measured_at);
