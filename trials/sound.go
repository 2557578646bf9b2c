package trials

import "errors"

// Sound is what the player of a session does now. It is the same for every hidden assignment.
type Sound struct {
	Playing Label // LabelUnset: stopped
	// Selected is what plays, or what was paused.
	Selected Label
	// Position, Length, From and To are in seconds of the excerpt; From to To is looped.
	Position, Length, From, To float64
	// Envelope is the music's loudness over the excerpt, 0 to 1, the same for all presentations.
	Envelope []float64
	// Device says what plays: its name, rate and format.
	Device string
	// ByHand is true where a helper switches: there is no time line, and Play takes as long as the helper does.
	ByHand bool
	// Fault is set if the device has failed.
	Fault error
}

// Errors of a session's player that are not the fault of the request.
var (
	// ErrOver is wrapped if nothing can be kept any more: the session must be left at once.
	ErrOver = errors.New("the session is left")
	// ErrVoid is wrapped if a trial became void before the request could be carried out.
	ErrVoid = errors.New("the trial is void, and one like it comes at the end")
)
