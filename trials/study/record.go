package study

import (
	"context"

	"heardiff/trials"
)

// Readings are the read-only methods of a study's record. Only the methods of Study write it, because each checks its arguments.
type Readings interface {
	// Study returns the study's identifier, title and date.
	Study(ctx context.Context) (About, error)
	// Dir returns the study's folder.
	Dir() string
	// Path returns the path of a file of the study on this machine.
	Path(relative string) string

	// Chains returns the chains in the order in which they were added, and Chain the one of a name, or ErrNotFound.
	Chains(ctx context.Context) ([]Chain, error)
	Chain(ctx context.Context, name string) (Chain, error)
	// Captures returns the captures in the order in which they were added, without removed ones, and Capture the one of a number, or ErrNotFound.
	Captures(ctx context.Context) ([]Capture, error)
	Capture(ctx context.Context, id int) (Capture, error)
	// Measurements returns what was measured of the captures.
	Measurements(ctx context.Context) ([]Measurement, error)
	// EnteredFigures returns the figures of other analysers.
	EnteredFigures(ctx context.Context) ([]Entered, error)
	// Excerpts returns the prepared excerpts.
	Excerpts(ctx context.Context) ([]Excerpt, error)

	// Plans returns the plans in the order in which they were made, Plan the one of an identifier, or ErrNotFound, and PlansByID all of them
	// by the identifiers that sessions use: a plan imported with results of another site has its own identifier followed by "@" and the
	// beginning of its hash.
	Plans(ctx context.Context) ([]trials.Plan, error)
	Plan(ctx context.Context, id string) (trials.Plan, error)
	PlansByID(ctx context.Context) (map[string]trials.Plan, error)
	// Listeners returns the listeners, and Listener the one of an identifier, or ErrNotFound.
	Listeners(ctx context.Context) ([]Listener, error)
	Listener(ctx context.Context, id string) (Listener, error)
	// Sessions returns the sessions in the order in which they began, and Entries the journal of one.
	Sessions(ctx context.Context) ([]Session, error)
	Entries(ctx context.Context, session string) ([]trials.Entry, error)
	// Arrivals returns the number of the record's entry at which each session's end became known here: when it ended, or when its bundle was
	// imported. Sessions that ended before the record was kept are left out.
	Arrivals(ctx context.Context) (map[string]int, error)

	// Record returns all entries of the record, and Head the newest: written down elsewhere, its hash fixes all that went before.
	Record(ctx context.Context) ([]RecordEntry, error)
	Head(ctx context.Context) (Head, error)
	// Corrections returns what was corrected, renamed or removed, in the order of the record.
	Corrections(ctx context.Context) ([]Correction, error)
	// Present returns an error where the record is no longer where it was opened.
	Present() error
	// Close closes the record.
	Close() error
}

// Enter adds figures of another analyser.
func (s *Study) Enter(ctx context.Context, figures []Entered) error {
	return InStudy(s.record.Enter(ctx, figures))
}
