-- Every session that another site said it had begun; session is '' for a number that was missing from its list.
CREATE TABLE begun (
    site    TEXT NOT NULL,
    number  INTEGER NOT NULL,
    session TEXT NOT NULL,
    seal    TEXT NOT NULL,
    PRIMARY KEY (site, number, session, seal)
) STRICT;
