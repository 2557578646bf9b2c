-- What was done to the study, entry by entry, chained by hash: see trials/store/record.go. The rows of all other tables are
-- held against it. body is emptied where a listener was forgotten; its digest stays.
CREATE TABLE record (
    number   INTEGER PRIMARY KEY,
    at       TEXT NOT NULL,
    kind     TEXT NOT NULL,
    subject  TEXT NOT NULL,
    body     TEXT NOT NULL,
    digest   TEXT NOT NULL,
    previous TEXT NOT NULL,
    hash     TEXT NOT NULL
) STRICT;

CREATE TRIGGER record_stays BEFORE UPDATE ON record
WHEN NEW.body <> '' OR NEW.number <> OLD.number OR NEW.at <> OLD.at OR NEW.kind <> OLD.kind OR NEW.subject <> OLD.subject
    OR NEW.digest <> OLD.digest OR NEW.previous <> OLD.previous OR NEW.hash <> OLD.hash
BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END;
CREATE TRIGGER record_remains BEFORE DELETE ON record BEGIN SELECT RAISE(ABORT, 'entries are never removed'); END;

-- Since when the record is kept; '' in a study of before there was one, to which nothing was added since.
ALTER TABLE study ADD COLUMN recorded TEXT NOT NULL DEFAULT '';
