package sqlite

import "heardiff/trials/store"

// The store's own names.
type (
	Store        = store.Store
	Study        = store.Study
	Chain        = store.Chain
	Capture      = store.Capture
	Measurement  = store.Measurement
	Entered      = store.Entered
	Excerpt      = store.Excerpt
	Presentation = store.Presentation
	Listener     = store.Listener
	Session      = store.Session
	Merge        = store.Merge
	MergeSession = store.MergeSession
	Merged       = store.Merged
)

// The store's own errors.
var (
	ErrNotFound = store.ErrNotFound
	ErrExists   = store.ErrExists
	ErrNotStudy = store.ErrNotStudy
	ErrBusy     = store.ErrBusy
)
