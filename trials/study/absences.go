package study

import (
	"context"
	"maps"
	"slices"

	"heardiff/stats/warning"
	"heardiff/trials/store"
)

// Absences are what was begun at other sites and has not come back, in words and as data.
type Absences struct {
	Absent  []string          `json:"absent"`
	Details []warning.Warning `json:"absent_details"`
}

// The codes of Absences.
const (
	NumberMissing warning.Code = "number-missing"  // Value is the number of a session that the site left out of its list
	SeveralSeals  warning.Code = "several-seals"   // Value is the number of a session that was sent under more than one seal
	NotComeBack   warning.Code = "not-come-back"   // Value is the number of a session that was begun elsewhere
	KitTakenOften warning.Code = "kit-taken-often" // Value is how often a site took the kit, at least
)

// numbered is a number in a site's list of sessions.
type numbered struct {
	site   string
	number int
}

// absences names the sessions that were begun at other sites and have not come back, the numbers that are missing from their lists, and the
// sites at which a kit was opened more than once.
func (s *Study) absences(ctx context.Context) (Absences, error) {
	begun, err := s.record.Begun(ctx)
	if err != nil || len(begun) == 0 {
		return Absences{}, err
	}
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return Absences{}, err
	}
	here := map[string]bool{}
	for _, v := range sessions {
		here[v.ID] = true
	}
	at := sentUnder(begun)
	var all warning.Warnings
	taken := map[string]int{} // by site
	for _, b := range begun {
		named := at[numbered{b.Site, b.Number}]
		number := func(code warning.Code, format string, args ...any) {
			all.Warn(warning.Newf(code, format, args...).Of(float64(b.Number), ""))
		}
		switch {
		case b.Session == "" && len(named) == 0:
			number(NumberMissing, "session number %d of site %s is missing from what it sent: it was removed there", b.Number, b.Site)
		case b.Session != "" && named[b.Session] > 1:
			number(SeveralSeals, "session %s, number %d of site %s, was sent under several seals, one of them %.16s", ShortID(b.Session), b.Number, b.Site, b.Seal)
		case b.Session != "" && !here[b.Session]:
			number(NotComeBack, "session %s, number %d of site %s, sealed %.16s, was begun and has not come back", ShortID(b.Session), b.Number, b.Site, b.Seal)
		}
		taken[b.Site] = max(taken[b.Site], len(named))
	}
	for _, site := range slices.Sorted(maps.Keys(taken)) {
		if n := taken[site]; n > 1 {
			all.Warn(warning.Newf(KitTakenOften, "site %s took the kit %d times or more: sessions of the same number are of different copies", site, n).Of(float64(n), "times"))
		}
	}
	return Absences{all.Texts, all.Details}, nil
}

// sentUnder returns how often each session is named under a number.
func sentUnder(begun []store.Begun) map[numbered]map[string]int {
	at := map[numbered]map[string]int{}
	for _, b := range begun {
		if p := (numbered{b.Site, b.Number}); b.Session != "" {
			if at[p] == nil {
				at[p] = map[string]int{}
			}
			at[p][b.Session]++
		}
	}
	return at
}
