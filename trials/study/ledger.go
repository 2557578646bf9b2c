package study

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"heardiff/trials"
	"heardiff/trials/bundle"
	"heardiff/trials/ledger"
	"heardiff/trials/link"
	"heardiff/trials/sqlite"
)

// openLedger opens the ledger of this account, which is in the folder of its key.
func (h *Host) openLedger() (*ledger.Ledger, error) {
	dir, err := h.KeyFolder()
	if err != nil {
		return nil, err
	}
	return ledger.Open(filepath.Join(dir, "ledger"), h.now), nil
}

// place returns which record is open, and where.
func (s *Study) place(ctx context.Context) (ledger.Place, error) {
	of, err := s.Study(ctx)
	if err != nil {
		return ledger.Place{}, err
	}
	folder, err := filepath.Abs(s.Dir())
	if err != nil {
		return ledger.Place{}, fmt.Errorf("find the study's folder: %w", err)
	}
	record, err := "", error(nil)
	if OnServer(folder) {
		record, err = s.record.Identity(ctx)
	} else { // a study that can only be read may have a copy of its file open
		record, err = sqlite.IdentityIn(folder)
	}
	if record == "" { // a system that does not identify files
		record = "folder " + folder
	}
	return ledger.Place{Study: of.ID, Record: record, Folder: folder}, err
}

// holds reports whether the folder of a place still holds its record.
func holds(p ledger.Place) bool {
	if !strings.HasPrefix(p.Record, "file ") {
		return false // on a server: only the server would know
	}
	record, err := sqlite.IdentityIn(p.Folder)
	return err == nil && p.Is(record)
}

// ErrRevealed is wrapped where the order of a session may be known: it is never resumed.
var ErrRevealed = errors.New("its order may be known")

// seat notes in the ledger that a session is begun, or resumed after the entries given, and returns the journal through which it is to
// write, and a remark to be written to that journal, or "". It refuses a session whose order may be known, with ErrRevealed, and one of a
// copy whose original is still there.
func (s *Study) seat(ctx context.Context, session string, entries []trials.Entry) (journal trials.Journal, remark string, err error) {
	l, err := s.openLedger()
	if err != nil {
		return nil, "", err
	}
	here, err := s.place(ctx)
	if err != nil {
		return nil, "", err
	}
	line, known, err := l.Line(session)
	if err != nil {
		return nil, "", err
	}
	moved := known && !line.Last().Is(here.Record)
	switch {
	case known && (!line.In(entries) || moved && line.State == ledger.Ending):
		return nil, "", fmt.Errorf("session %s: %s: %w", session, wentOn(line, here.Record), ErrRevealed)
	case moved && holds(line.Last().Place):
		return nil, "", Rejected(fmt.Errorf("session %s runs in %s, of which this study is a copy", session, line.Last().Folder),
			"resume it there; a copy that is resumed would reveal its order")
	case moved:
		remark = fmt.Sprintf("the study was moved, restored or copied: it was in %s", line.Last().Folder)
	case !known && len(entries) > 0:
		remark = "the ledger of this account does not know the session: it was begun before there was one, or elsewhere, or the ledger was removed"
	}
	return l.Journal(s.record.Journal(ctx)), remark, l.Sit(session, here)
}

// wentOn says where a session went on if its newest entry is not in the record with the given identity.
func wentOn(line ledger.Line, record string) string {
	what := "it went on"
	if line.State == ledger.Ended || line.State == ledger.Ending {
		what = "its order was opened"
	}
	last := line.Last()
	if last.Is(record) {
		return fmt.Sprintf("%s here as far as entry %d, and entries were removed or exchanged since", what, line.Number)
	}
	return fmt.Sprintf("%s as far as entry %d in a copy, %s, on %s", what, line.Number, last.Folder, last.At.Local().Format("2 January 2006 15:04"))
}

// behind returns the mark for what wentOn says.
func behind(line ledger.Line, record string) trials.Mark {
	opened := line.State == ledger.Ended || line.State == ledger.Ending
	switch here := line.Last().Is(record); {
	case here && opened:
		return trials.MarkOpenedCut
	case here:
		return trials.MarkCut
	case opened:
		return trials.MarkOpened
	}
	return trials.MarkWentOn
}

// ledgerWatch knows what the ledger of this account, and imported bundles, say against the blindness of each session.
type ledgerWatch struct {
	said   map[string][]trials.Mark // by session
	ledger *ledger.Ledger
	here   ledger.Place
	since  time.Time // zero: there is no ledger
	suffix string    // of the sessions that were begun at this site
}

func (s *Study) watch(ctx context.Context) (w ledgerWatch, err error) {
	if w.said, err = s.record.Marks(ctx); err != nil {
		return w, err
	}
	if w.ledger, err = s.openLedger(); err != nil {
		return w, err
	}
	ok := false
	if w.since, ok, err = w.ledger.Since(); err != nil || !ok {
		return w, err
	}
	if w.suffix, err = s.siteSuffix(); err != nil {
		return w, err
	}
	w.here, err = s.place(ctx)
	return w, err
}

// marks returns what is known against a session, given its journal.
func (w ledgerWatch) marks(session, site string, journal []trials.Entry) ([]link.Mark, error) {
	against := saidAgainst(w.said[session])
	if site != "" || w.since.IsZero() {
		return against, nil
	}
	line, known, err := w.ledger.Line(session)
	if err != nil {
		return nil, err
	}
	return append(against, w.judge(session, line, known, journal)...), nil
}

// saidAgainst returns what the site at which a session was begun says against it.
func saidAgainst(marks []trials.Mark) (all []link.Mark) {
	for _, m := range marks {
		all = append(all, link.Mark{Code: m, Says: "the site at which it was begun says: " + markWords(m), Voids: m.Voids()})
	}
	return all
}

// markWords says what a mark of another site means.
func markWords(m trials.Mark) string {
	switch m {
	case trials.MarkOpened:
		return "its order was opened in a copy of the study"
	case trials.MarkWentOn:
		return "it went on in a copy of the study"
	case trials.MarkCut:
		return "entries of it were removed or exchanged while it ran"
	case trials.MarkOpenedCut:
		return "entries of it were removed or exchanged after its order was opened"
	case trials.MarkUnknown:
		return "its line in the ledger was removed, and where it was opened cannot be known"
	case trials.MarkMoved:
		return "the study was moved, restored or copied while it ran"
	}
	return "it is marked " + strconv.Quote(string(m))
}

func (w ledgerWatch) judge(session string, line ledger.Line, known bool, journal []trials.Entry) []link.Mark {
	if len(journal) == 0 {
		return nil
	}
	ended := journal[len(journal)-1].Kind == trials.EntryEnd
	switch {
	case !known && strings.HasSuffix(session, w.suffix) && journal[0].At.After(w.since):
		return []link.Mark{{Code: trials.MarkUnknown, Says: "the ledger of this account does not know it: its line was removed, and where it was opened cannot be known", Voids: true}}
	case !known:
		return nil
	case !line.In(journal):
		return []link.Mark{{Code: behind(line, w.here.Record), Says: wentOn(line, w.here.Record), Voids: true}}
	case !ended && !line.Last().Is(w.here.Record):
		return []link.Mark{{Code: trials.MarkRuns, Says: "it runs in " + line.Last().Folder + ", of which this study is a copy"}}
	case len(line.Sittings) > 1:
		return []link.Mark{{Code: trials.MarkMoved, Says: "it was begun in " + line.Sittings[0].Folder + " and resumed in " + line.Last().Folder + ": the study was moved, restored or copied meanwhile"}}
	}
	return nil
}

// missing returns the sessions, in words, that the ledger saw in this very record and that are not in it any more.
func (w ledgerWatch) missing(here []string) ([]string, error) {
	if w.since.IsZero() {
		return nil, nil
	}
	lines, err := w.ledger.Lines(w.here.Record)
	if err != nil {
		return nil, err
	}
	var gone []string
	for _, line := range lines {
		if line.Number > 0 && !slices.Contains(here, line.Session) {
			gone = append(gone, fmt.Sprintf("session %s, begun here on %s, was removed", line.Session, line.Sittings[0].At.Local().Format("2 January 2006 15:04")))
		}
	}
	return gone, nil
}

// markedSessions returns what the ledger knows against the sessions given, by session. For a session that ended as the ledger saw it end,
// only its last entry is read.
func (s *Study) markedSessions(ctx context.Context, sessions []EndedSession) (map[string][]link.Mark, error) {
	w, err := s.watch(ctx)
	if err != nil {
		return nil, err
	}
	heads, err := s.record.Heads(ctx)
	if err != nil {
		return nil, err
	}
	all := map[string][]link.Mark{}
	for _, v := range sessions {
		all[v.ID] = saidAgainst(w.said[v.ID])
		if v.Site != "" || w.since.IsZero() {
			continue
		}
		line, known, err := w.ledger.Line(v.ID)
		if err != nil {
			return nil, err
		}
		journal := []trials.Entry{heads[v.ID]}
		if !known || line.Hash != heads[v.ID].Hash {
			if journal, err = s.Entries(ctx, v.ID); err != nil {
				return nil, err
			}
		} else {
			line.Number, line.Hash = 0, "" // it is the head
		}
		all[v.ID] = append(all[v.ID], w.judge(v.ID, line, known, journal)...)
	}
	return all, nil
}

// siteSuffix is the suffix of the ids of sessions begun at this site.
func (h *Host) siteSuffix() (string, error) {
	site, err := h.siteKey()
	if err != nil {
		return "", err
	}
	return bundle.SessionSuffix(site.Public().(ed25519.PublicKey)), nil
}
