-- The public key of the site whose kit this study is, and each session's seed sealed to it.
ALTER TABLE study ADD COLUMN origin_key BLOB;
ALTER TABLE sessions ADD COLUMN escrow BLOB;
