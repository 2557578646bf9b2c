-- One recording may be filed for two chains, as a control; a chain still holds it once.
ALTER TABLE captures DROP CONSTRAINT captures_sha256_key;
ALTER TABLE captures ADD UNIQUE (chain, sha256);
