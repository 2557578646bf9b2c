-- What the site at which a session was begun said against its blindness.
CREATE TABLE marks (
    session TEXT NOT NULL REFERENCES sessions (id),
    mark    TEXT NOT NULL,
    PRIMARY KEY (session, mark)
) STRICT;
