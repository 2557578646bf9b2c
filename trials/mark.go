package trials

import (
	"fmt"
	"regexp"
)

// Mark is a doubt about the blindness of a session, raised where the session was begun: a word for programs to read, which never changes.
type Mark string

// The marks.
const (
	// MarkOpened: its order was opened in a copy of the study.
	MarkOpened Mark = "opened-elsewhere"
	// MarkWentOn: it went on in a copy of the study.
	MarkWentOn Mark = "went-on-elsewhere"
	// MarkCut: its newest entries were removed or exchanged, before it ended.
	MarkCut Mark = "entries-removed"
	// MarkOpenedCut: they were removed or exchanged after it ended, when its order was known.
	MarkOpenedCut Mark = "entries-removed-after-the-end"
	// MarkUnknown: the ledger of the account that began it has lost it.
	MarkUnknown Mark = "not-in-the-ledger"
	// MarkRuns: it runs in the study of which this one is a copy.
	MarkRuns Mark = "runs-elsewhere"
	// MarkMoved: the study was moved, restored or copied while it ran.
	MarkMoved Mark = "moved"
)

// Voids reports whether the answers may have been given by somebody who knew the order. It is true of marks that this version does
// not know.
func (m Mark) Voids() bool { return m != MarkMoved && m != MarkRuns }

var markForm = regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)

// maxMark is the longest mark that is accepted, in bytes: marks of later versions are accepted, too. A judgement, no source: the longest
// today has 29. TestMarksTravelWithTheirSession holds it.
const maxMark = 40

// Validate refuses a mark that is not words of lower-case letters joined by hyphens, or is longer than maxMark.
func (m Mark) Validate() error {
	if len(m) > maxMark || !markForm.MatchString(string(m)) {
		return fmt.Errorf("%.40q is no mark of a session", string(m))
	}
	return nil
}
