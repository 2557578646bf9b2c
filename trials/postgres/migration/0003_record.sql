-- What was done to the study, entry by entry, chained by hash: see trials/store/record.go. The rows of all other tables are
-- held against it. body is emptied where a listener was forgotten; its digest stays.
CREATE TABLE record (
    number   BIGINT PRIMARY KEY,
    at       TEXT NOT NULL,
    kind     TEXT NOT NULL,
    subject  TEXT NOT NULL,
    body     TEXT NOT NULL,
    digest   TEXT NOT NULL,
    previous TEXT NOT NULL,
    hash     TEXT NOT NULL
);

CREATE FUNCTION keep_record() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW.body <> '' OR (NEW.number, NEW.at, NEW.kind, NEW.subject, NEW.digest, NEW.previous, NEW.hash)
        IS DISTINCT FROM (OLD.number, OLD.at, OLD.kind, OLD.subject, OLD.digest, OLD.previous, OLD.hash) THEN
        RAISE EXCEPTION 'entries are never changed';
    END IF;
    RETURN NEW;
END $$;

CREATE TRIGGER record_stays BEFORE UPDATE ON record FOR EACH ROW EXECUTE FUNCTION keep_record();
CREATE TRIGGER record_remains BEFORE DELETE OR TRUNCATE ON record EXECUTE FUNCTION refuse('entries are never removed');

-- Since when the record is kept; '' in a study of before there was one, to which nothing was added since.
ALTER TABLE study ADD COLUMN recorded TEXT NOT NULL DEFAULT '';
