// Package store keeps a study: its chains, captures, plans, listeners and the journals of its sessions.
//
// The record is a database, SQLite or PostgreSQL: trials/sqlite and trials/postgres open it, and do through Database the few
// things in which they differ. All other SQL is one text for both ($1 is read by either). The audio is in the study's folder,
// under paths relative to it.
//
// When a method returns, what it wrote is on disk. Exported methods begin, call and commit; the SQL is theirs alone.
//
// # Answers
//
// A journal entry is on disk before the session goes on (SQLite: WAL, synchronous=FULL; a server: synchronous_commit on, and
// one without fsync is refused). Entries are chained by SHA-256, and triggers refuse to change or remove them.
//
// # The record
//
// All that is done to a study is an entry of the table record, each bound to the one before by its hash; the rows of all
// other tables are held against it (record.go). Write methods run their statements through change.put and change.remove,
// which read back each row and append its entry in the same transaction: a new table needs a line in tables.go, a column
// added later its default there, and storetest edits every column of every table that it finds. Session journals are
// chained themselves, so that no answer waits for the study; the record holds their heads where a session begins, where a
// listener sits down or rests, and at the end. Audit names every edit; where a listener was forgotten the body of an entry is
// emptied and its salted digest stays. A study made before there was a record is of the older kind until something is added:
// then its record begins with what is found. Whoever can write the database can make a whole new record, which only a head
// written down elsewhere shows.
//
// # Counts
//
// What an ended session came to (trials.Summary) is kept in the table outcomes, written when a session ends or a bundle is
// taken in, so that ten thousand orders need not be dealt again for each report. It is derived: one is counted only where the
// record is whole and holds both it and the end of the journal, which must be there; all else is dealt again, and Audit
// derives each anew and names one that differs.
//
// # A server
//
// Each study has a schema of its own: it can be granted, saved and dropped alone, and no query can forget a study's key.
// Writers of more than one row take the study's advisory lock, so that merging is one after the other, as in a file, and
// sessions are numbered without gaps; a single answer waits for nobody. A listener is locked for the length of a session,
// whichever machine they sit at. A process has one connection, and the lock belongs to it: where it is lost, the next one
// takes the lock again before anything else, or every further answer is refused (trials/postgres/seats.go). A server that
// owes an answer and is silent for 20 s counts as lost (silence.go).
package store
