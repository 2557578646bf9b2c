-- One recording may be filed for two chains, as a control; a chain still holds it once. Numbers of captures are never used again.
-- A column's UNIQUE cannot be dropped: the table is made anew, and the one that refers to it with it.
CREATE TABLE kept_measurements AS SELECT * FROM measurements;
DROP TABLE measurements;
CREATE TABLE new_captures (
    id       INTEGER PRIMARY KEY AUTOINCREMENT,
    chain    TEXT NOT NULL REFERENCES chains (name),
    kind     TEXT NOT NULL,
    music    TEXT NOT NULL,
    path     TEXT NOT NULL UNIQUE,
    sha256   TEXT NOT NULL,
    rate_hz  INTEGER NOT NULL,
    channels INTEGER NOT NULL,
    frames   INTEGER NOT NULL,
    bits     INTEGER NOT NULL,
    added    TEXT NOT NULL,
    UNIQUE (chain, sha256)
) STRICT;
INSERT INTO new_captures SELECT id, chain, kind, music, path, sha256, rate_hz, channels, frames, bits, added FROM captures;
DROP TABLE captures;
ALTER TABLE new_captures RENAME TO captures;
CREATE TABLE measurements (
    capture INTEGER NOT NULL REFERENCES captures (id),
    kind    TEXT NOT NULL,
    result  TEXT NOT NULL,
    at      TEXT NOT NULL,
    PRIMARY KEY (capture, kind)
) STRICT;
INSERT INTO measurements SELECT capture, kind, result, at FROM kept_measurements;
DROP TABLE kept_measurements;
