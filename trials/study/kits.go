package study

import (
	"context"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"heardiff/trials/bundle"
	"heardiff/trials/ledger"
	"heardiff/trials/store"
)

// begunAt returns every session that the site of a bundle says it has begun, and the numbers that are missing from its list. The number of
// a session that the site imported from elsewhere is in neither.
func begunAt(b *bundle.Bundle) []store.Begun {
	site := b.Fingerprint()
	var all []store.Begun
	numbers, last := map[int]bool{}, 0
	for _, v := range b.Content.Begun {
		numbers[v.Number], last = true, max(last, v.Number)
		if strings.HasSuffix(v.Session, b.SessionSuffix()) {
			all = append(all, store.Begun{Site: site, Number: v.Number, Session: v.Session, Seal: v.Seal})
		}
	}
	for n := 1; n < last; n++ {
		if !numbers[n] {
			all = append(all, store.Begun{Site: site, Number: n})
		}
	}
	return all
}

// absences names the sessions that were begun at other sites and have not come back, the numbers that are missing from their lists, and the
// sites at which a kit was opened more than once.
func (s *Study) absences(ctx context.Context) ([]string, error) {
	begun, err := s.record.Begun(ctx)
	if err != nil || len(begun) == 0 {
		return nil, err
	}
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return nil, err
	}
	here := map[string]bool{}
	for _, v := range sessions {
		here[v.ID] = true
	}
	at := map[numbered]map[string]int{} // how often each session is named under a number
	for _, b := range begun {
		if p := (numbered{b.Site, b.Number}); b.Session != "" {
			if at[p] == nil {
				at[p] = map[string]int{}
			}
			at[p][b.Session]++
		}
	}
	var all []string
	taken := map[string]int{} // by site
	for _, b := range begun {
		named := at[numbered{b.Site, b.Number}]
		switch {
		case b.Session == "" && len(named) == 0:
			all = append(all, fmt.Sprintf("session number %d of site %s is missing from what it sent: it was removed there", b.Number, b.Site))
		case b.Session != "" && named[b.Session] > 1:
			all = append(all, fmt.Sprintf("session %s, number %d of site %s, was sent under several seals, one of them %.16s", ShortID(b.Session), b.Number, b.Site, b.Seal))
		case b.Session != "" && !here[b.Session]:
			all = append(all, fmt.Sprintf("session %s, number %d of site %s, sealed %.16s, was begun and has not come back", ShortID(b.Session), b.Number, b.Site, b.Seal))
		}
		taken[b.Site] = max(taken[b.Site], len(named))
	}
	for _, site := range slices.Sorted(maps.Keys(taken)) {
		if n := taken[site]; n > 1 {
			all = append(all, fmt.Sprintf("site %s took the kit %d times or more: sessions of the same number are of different copies", site, n))
		}
	}
	return all, nil
}

// numbered is a number in a site's list of sessions.
type numbered struct {
	site   string
	number int
}

// noteKit records in the ledger that a kit was opened, and warns if it was opened here before.
func (h *Host) noteKit(b *bundle.Bundle, dir string) error {
	l, err := h.openLedger()
	if err != nil {
		return err
	}
	if dir, err = filepath.Abs(dir); err != nil {
		return err
	}
	before, err := l.TakeKit(b.Manifest.Study, ledger.Place{Study: b.Manifest.Study, Folder: dir})
	for _, v := range before {
		h.warn("this kit's study was taken here before, on %s, into %s: sessions of both are distinguished where their results go", v.At.Local().Format("2 January 2006 15:04"), v.Folder)
	}
	return err
}

// ShortID is a session's id as tables show it.
func ShortID(id string) string { return fmt.Sprintf("%.12s", id) }
