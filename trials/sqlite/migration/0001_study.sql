CREATE TABLE study (
    one     INTEGER PRIMARY KEY CHECK (one = 1),
    id      TEXT NOT NULL,
    title   TEXT NOT NULL,
    created TEXT NOT NULL
) STRICT;

CREATE TABLE chains (
    name  TEXT PRIMARY KEY,
    about TEXT NOT NULL,
    cost  REAL,
    role  TEXT NOT NULL CHECK (role IN ('source', 'floor', 'replay'))
) STRICT;

-- Paths are relative to the study's folder, so that the folder can be moved.
CREATE TABLE captures (
    id       INTEGER PRIMARY KEY,
    chain    TEXT NOT NULL REFERENCES chains (name),
    kind     TEXT NOT NULL,
    music    TEXT NOT NULL,
    path     TEXT NOT NULL UNIQUE,
    sha256   TEXT NOT NULL UNIQUE,
    rate_hz  INTEGER NOT NULL,
    channels INTEGER NOT NULL,
    frames   INTEGER NOT NULL,
    bits     INTEGER NOT NULL,
    added    TEXT NOT NULL
) STRICT;

CREATE TABLE measurements (
    capture INTEGER NOT NULL REFERENCES captures (id),
    kind    TEXT NOT NULL,
    result  TEXT NOT NULL,
    at      TEXT NOT NULL,
    PRIMARY KEY (capture, kind)
) STRICT;

CREATE TABLE excerpts (
    name    TEXT PRIMARY KEY,
    music   TEXT NOT NULL,
    start_s REAL NOT NULL,
    seconds REAL NOT NULL,
    rate_hz INTEGER NOT NULL,
    result  TEXT NOT NULL,
    at      TEXT NOT NULL
) STRICT;

-- treatment is '' for a chain's own capture, else the known dose put into it ('level +1 dB', …).
CREATE TABLE presentations (
    sha256    TEXT PRIMARY KEY,
    excerpt   TEXT NOT NULL REFERENCES excerpts (name),
    chain     TEXT NOT NULL REFERENCES chains (name),
    treatment TEXT NOT NULL,
    dose      REAL NOT NULL,
    path      TEXT NOT NULL UNIQUE,
    result    TEXT NOT NULL,
    UNIQUE (excerpt, chain, treatment)
) STRICT;

CREATE TABLE plans (
    id      TEXT PRIMARY KEY,
    body    TEXT NOT NULL,
    created TEXT NOT NULL
) STRICT;

CREATE TABLE listeners (
    id         TEXT PRIMARY KEY,
    grouping   TEXT NOT NULL,
    years      REAL,
    hearing    TEXT NOT NULL,
    transducer TEXT NOT NULL,
    room       TEXT NOT NULL,
    consent    TEXT NOT NULL,
    simulated  INTEGER NOT NULL CHECK (simulated IN (0, 1)),
    added      TEXT NOT NULL
) STRICT;

-- sealed is the session's seed, encrypted with a key that is not in this folder.
CREATE TABLE sessions (
    id        TEXT PRIMARY KEY,
    plan      TEXT NOT NULL REFERENCES plans (id),
    listener  TEXT NOT NULL REFERENCES listeners (id),
    sealed    BLOB NOT NULL,
    device    TEXT NOT NULL,
    created   TEXT NOT NULL
) STRICT;

-- What the listener did, entry by entry, chained by hash. Nothing here says what was right.
CREATE TABLE entries (
    session TEXT NOT NULL REFERENCES sessions (id),
    number  INTEGER NOT NULL,
    body    TEXT NOT NULL,
    PRIMARY KEY (session, number)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER entries_stay BEFORE UPDATE ON entries BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END;
CREATE TRIGGER entries_remain BEFORE DELETE ON entries BEGIN SELECT RAISE(ABORT, 'entries are never removed'); END;
CREATE TRIGGER sessions_remain BEFORE DELETE ON sessions BEGIN SELECT RAISE(ABORT, 'sessions are never removed'); END;
CREATE TRIGGER plans_stay BEFORE UPDATE ON plans
WHEN EXISTS (SELECT 1 FROM sessions WHERE plan = OLD.id)
BEGIN SELECT RAISE(ABORT, 'a plan cannot change once a session has begun'); END;

CREATE TABLE entered (
    chain  TEXT NOT NULL REFERENCES chains (name),
    metric TEXT NOT NULL,
    value  REAL,
    unit   TEXT NOT NULL,
    bound  REAL,
    source TEXT NOT NULL,
    PRIMARY KEY (chain, metric, source)
) STRICT;
