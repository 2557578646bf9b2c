-- The chain whose output is this one's input, '' where none is declared.
ALTER TABLE chains ADD COLUMN fed_by TEXT NOT NULL DEFAULT '';
