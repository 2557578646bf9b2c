// Package store keeps a study: its chains, captures, plans, listeners and the journals of its sessions.
//
// The record is a database, SQLite or PostgreSQL: trials/sqlite and trials/postgres open it and implement, as a Database, the
// few operations in which they differ. All other SQL is shared by both. The audio is in the study's folder, under paths
// relative to it.
//
// When a method returns, what it wrote is on disk. Exported methods begin and commit; the SQL is in unexported functions.
//
// # Answers
//
// A journal entry is on disk before the session goes on (SQLite: WAL, synchronous=FULL; a server: synchronous_commit on, and
// one without fsync is refused). Entries are chained by SHA-256, and triggers refuse to change or remove them.
//
// # The record
//
// Everything done to a study is an entry of the append-only table record, each bound to the one before by its hash; the rows
// of all other tables are checked against it (record.go). Write methods run their statements through change.put and
// change.remove, which read back each row and append its entry in the same transaction: a new table needs a line in
// tables.go, a column added later its default there, and storetest edits every column of every table that it finds. Session
// journals have chains of their own, so that no answer waits for the study; the record holds their heads where a session
// begins, where a sitting or a rest begins, and at the end. Audit reports every edit. When a listener is forgotten, the bodies
// of entries are emptied and their salted digests stay. A study from before records were kept is of the older kind until
// something is added: then its record begins with what is found. What was misspelt or is not needed can be corrected, renamed or removed
// as long as nothing refers to it that a result may rest on (mend.go); its earlier rows stay in the record, with the reason, and
// Corrections lists them. Anybody with write access to the database can make a
// completely new record, which only a head written down elsewhere reveals.
//
// # Counts
//
// The result of an ended session (trials.Summary) is stored in the table outcomes when the session ends or a bundle is
// imported, so that ten thousand orders need not be recomputed for each report. It is derived data: it is used only if the
// record is intact and contains both it and the end of the journal, which must exist. Otherwise the session is recomputed, and
// Audit recomputes each one and reports any that differs.
//
// # A server
//
// Each study has a schema of its own: it can be granted, saved and dropped separately, and no query can omit a study's key.
// Writers of more than one row take the study's advisory lock, so that merges are serialised, as in a file, and sessions are
// numbered without gaps; a single answer waits for nobody. A listener is locked for the duration of a session, on whichever
// machine. A process has one connection, which owns the lock: if it is lost, the next connection takes the lock again before
// anything else, or every further answer is rejected (trials/postgres/seats.go). A server that owes a reply and is silent for
// 20 s counts as lost (silence.go).
package store
