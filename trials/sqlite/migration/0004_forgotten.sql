-- A listener who was forgotten stays so: no later bundle may bring back what they had said of themselves.
ALTER TABLE listeners ADD COLUMN forgotten INTEGER NOT NULL DEFAULT 0 CHECK (forgotten IN (0, 1));
