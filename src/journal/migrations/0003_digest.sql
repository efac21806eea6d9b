-- Once released, this file is never changed: a change is a new file.
-- What a bout's pairs come to, so that years are read at once. It is worked out
-- from the other tables and may be emptied at any time; the triggers empty it
-- for a bout whose pairs change.

CREATE TABLE digest (
    bout_key     INTEGER NOT NULL REFERENCES bout ON DELETE CASCADE,
    part         INTEGER NOT NULL CHECK (part >= 0),
    moment_kind  TEXT CHECK (moment_kind IN ('floor', 'release', 'top', 'behaviour')),
    label        TEXT NOT NULL,
    mark_kind    TEXT CHECK (mark_kind IN ('click', 'word')),
    mark_name    TEXT,
    missed       INTEGER NOT NULL CHECK (missed >= 0),
    strays       INTEGER NOT NULL CHECK (strays >= 0),
    lags_ms      BLOB NOT NULL CHECK (length(lags_ms) % 8 = 0),
    PRIMARY KEY (bout_key, part)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER digest_pair_new AFTER INSERT ON pair
BEGIN DELETE FROM digest WHERE bout_key = NEW.bout_key; END;
CREATE TRIGGER digest_pair_changed AFTER UPDATE ON pair
BEGIN DELETE FROM digest WHERE bout_key IN (OLD.bout_key, NEW.bout_key); END;
CREATE TRIGGER digest_pair_gone AFTER DELETE ON pair
BEGIN DELETE FROM digest WHERE bout_key = OLD.bout_key; END;
CREATE TRIGGER digest_aside_new AFTER INSERT ON set_aside
BEGIN DELETE FROM digest WHERE bout_key = NEW.bout_key; END;
CREATE TRIGGER digest_aside_changed AFTER UPDATE ON set_aside
BEGIN DELETE FROM digest WHERE bout_key IN (OLD.bout_key, NEW.bout_key); END;
CREATE TRIGGER digest_aside_gone AFTER DELETE ON set_aside
BEGIN DELETE FROM digest WHERE bout_key = OLD.bout_key; END;
