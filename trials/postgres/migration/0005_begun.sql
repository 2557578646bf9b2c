-- Every session that another site said it had begun; session is '' for a number that was missing from its list.
CREATE TABLE begun (
    site    TEXT COLLATE "C" NOT NULL,
    number  BIGINT NOT NULL,
    session TEXT COLLATE "C" NOT NULL,
    seal    TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (site, number, session, seal)
);
