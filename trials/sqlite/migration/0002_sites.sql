-- Where a session was run: '' here, else the fingerprint of the site whose bundle brought it.
ALTER TABLE sessions ADD COLUMN site TEXT NOT NULL DEFAULT '';

-- Which bundles were taken in.
CREATE TABLE bundles (
    sha256 TEXT PRIMARY KEY,
    site   TEXT NOT NULL,
    at     TEXT NOT NULL
) STRICT;
