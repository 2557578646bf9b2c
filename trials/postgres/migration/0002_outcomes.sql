-- What sessions that have ended came to, derived from their entries so that nobody need deal them again to add up counts.
-- version is that of the derivation. Nothing is lost by emptying the table.
CREATE TABLE outcomes (
    session TEXT NOT NULL REFERENCES sessions (id),
    version BIGINT NOT NULL,
    body    TEXT NOT NULL,
    PRIMARY KEY (session, version)
);
