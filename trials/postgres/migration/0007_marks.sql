-- What the site at which a session was begun said against its blindness.
CREATE TABLE marks (
    session TEXT COLLATE "C" NOT NULL REFERENCES sessions (id),
    mark    TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (session, mark)
);
