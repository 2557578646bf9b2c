CREATE TABLE version (one INTEGER PRIMARY KEY CHECK (one = 1), migrations INTEGER NOT NULL);
INSERT INTO version VALUES (1, 0);

-- origin_key is the public key of the site whose kit this study is.
CREATE TABLE study (
    one        INTEGER PRIMARY KEY CHECK (one = 1),
    id         TEXT NOT NULL,
    title      TEXT NOT NULL,
    created    TEXT NOT NULL,
    origin_key BYTEA
);

-- Texts that are sorted or compared are so by their bytes, as in SQLite: COLLATE "C".
CREATE TABLE chains (
    rowid BIGINT GENERATED ALWAYS AS IDENTITY,
    name  TEXT COLLATE "C" PRIMARY KEY,
    about TEXT NOT NULL,
    cost  DOUBLE PRECISION,
    role  TEXT NOT NULL CHECK (role IN ('source', 'floor', 'replay'))
);

-- Paths are relative to the study's folder.
CREATE TABLE captures (
    id       BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    chain    TEXT COLLATE "C" NOT NULL REFERENCES chains (name),
    kind     TEXT NOT NULL,
    music    TEXT NOT NULL,
    path     TEXT NOT NULL UNIQUE,
    sha256   TEXT NOT NULL UNIQUE,
    rate_hz  BIGINT NOT NULL,
    channels BIGINT NOT NULL,
    frames   BIGINT NOT NULL,
    bits     BIGINT NOT NULL,
    added    TEXT NOT NULL
);

CREATE TABLE measurements (
    capture BIGINT NOT NULL REFERENCES captures (id),
    kind    TEXT COLLATE "C" NOT NULL,
    result  TEXT NOT NULL,
    at      TEXT NOT NULL,
    PRIMARY KEY (capture, kind)
);

CREATE TABLE excerpts (
    rowid   BIGINT GENERATED ALWAYS AS IDENTITY,
    name    TEXT PRIMARY KEY,
    music   TEXT NOT NULL,
    start_s DOUBLE PRECISION NOT NULL,
    seconds DOUBLE PRECISION NOT NULL,
    rate_hz BIGINT NOT NULL,
    result  TEXT NOT NULL,
    at      TEXT NOT NULL
);

-- treatment is '' for a chain's own capture, else the known dose put into it ('level +1 dB', …).
CREATE TABLE presentations (
    rowid     BIGINT GENERATED ALWAYS AS IDENTITY,
    sha256    TEXT PRIMARY KEY,
    excerpt   TEXT NOT NULL REFERENCES excerpts (name),
    chain     TEXT COLLATE "C" NOT NULL REFERENCES chains (name),
    treatment TEXT NOT NULL,
    dose      DOUBLE PRECISION NOT NULL,
    path      TEXT NOT NULL UNIQUE,
    result    TEXT NOT NULL,
    UNIQUE (excerpt, chain, treatment)
);

CREATE TABLE plans (
    rowid   BIGINT GENERATED ALWAYS AS IDENTITY,
    id      TEXT PRIMARY KEY,
    body    TEXT NOT NULL,
    created TEXT NOT NULL
);

-- A listener who was forgotten stays so: no later bundle may bring back what they had said of themselves.
CREATE TABLE listeners (
    rowid      BIGINT GENERATED ALWAYS AS IDENTITY,
    id         TEXT PRIMARY KEY,
    grouping   TEXT COLLATE "C" NOT NULL,
    years      DOUBLE PRECISION,
    hearing    TEXT COLLATE "C" NOT NULL,
    transducer TEXT COLLATE "C" NOT NULL,
    room       TEXT COLLATE "C" NOT NULL,
    consent    TEXT COLLATE "C" NOT NULL,
    simulated  BOOLEAN NOT NULL,
    added      TEXT NOT NULL,
    forgotten  BOOLEAN NOT NULL DEFAULT FALSE
);

-- rowid numbers the sessions without gaps: a number that is missing was removed.
-- sealed is the session's seed, encrypted with a key that is on no server; escrow is it sealed to the site whose kit this is.
-- site is where a session was run: '' here, else the fingerprint of the site whose bundle brought it.
CREATE TABLE sessions (
    rowid    BIGINT NOT NULL UNIQUE,
    id       TEXT PRIMARY KEY,
    plan     TEXT NOT NULL REFERENCES plans (id),
    listener TEXT NOT NULL REFERENCES listeners (id),
    sealed   BYTEA NOT NULL,
    device   TEXT NOT NULL,
    created  TEXT NOT NULL,
    site     TEXT NOT NULL DEFAULT '',
    escrow   BYTEA
);

-- What the listener did, entry by entry, chained by hash. Nothing here says what was right.
CREATE TABLE entries (
    session TEXT NOT NULL REFERENCES sessions (id),
    number  BIGINT NOT NULL,
    body    TEXT NOT NULL,
    PRIMARY KEY (session, number)
);

CREATE TABLE entered (
    chain  TEXT COLLATE "C" NOT NULL REFERENCES chains (name),
    metric TEXT COLLATE "C" NOT NULL,
    value  DOUBLE PRECISION,
    unit   TEXT NOT NULL,
    bound  DOUBLE PRECISION,
    source TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (chain, metric, source)
);

-- Which bundles were taken in.
CREATE TABLE bundles (
    sha256 TEXT PRIMARY KEY,
    site   TEXT NOT NULL,
    at     TEXT NOT NULL
);

CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '%', TG_ARGV[0];
END $$;

CREATE TRIGGER entries_stay BEFORE UPDATE ON entries EXECUTE FUNCTION refuse('entries are never changed');
CREATE TRIGGER entries_remain BEFORE DELETE OR TRUNCATE ON entries EXECUTE FUNCTION refuse('entries are never removed');
CREATE TRIGGER sessions_remain BEFORE DELETE OR TRUNCATE ON sessions EXECUTE FUNCTION refuse('sessions are never removed');

CREATE FUNCTION keep_plan() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF EXISTS (SELECT 1 FROM sessions WHERE plan = OLD.id) THEN
        RAISE EXCEPTION 'a plan cannot change once a session has begun';
    END IF;
    RETURN NEW;
END $$;

CREATE TRIGGER plans_stay BEFORE UPDATE ON plans FOR EACH ROW EXECUTE FUNCTION keep_plan();
