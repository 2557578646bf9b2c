package trials

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"heardiff/stats"
)

// FuzzReveal feeds records such as a bundle may contain: whatever the bytes, Reveal must return, must not give a result for
// an unfinished or broken record, and must not count more answers than there are entries.
func FuzzReveal(f *testing.F) {
	for _, d := range []Design{ABX, SameDifferent} {
		s, m := beginFuzz(testPlan(d, 3))
		for s.View().Phase != Done {
			for _, l := range d.Labels() {
				s.Heard(l, 1)
			}
			if s.Ask(d.Answers()[0], 0) != nil || s.Confirm() != nil {
				f.Fatal("the seed session does not run")
			}
		}
		plan, _ := json.Marshal(s.Plan())
		entries, _ := json.Marshal(m.entries)
		f.Add(plan, entries, false)
		f.Add(plan, entries, true)
	}
	s, m := beginFuzz(climbPlan(TwoInterval, stats.PlacedStaircase, 3))
	for n := 0; s.View().Phase != Done; n++ {
		for _, l := range TwoInterval.Labels() {
			s.Heard(l, 1)
		}
		if s.Ask(scripted(s, n), 0) != nil || s.Confirm() != nil {
			f.Fatal("the threshold run does not run")
		}
	}
	plan, _ := json.Marshal(s.Plan())
	entries, _ := json.Marshal(m.entries)
	f.Add(plan, entries, true)
	f.Fuzz(func(t *testing.T, plan, entries []byte, rechain bool) {
		var p Plan
		var list []Entry
		if json.Unmarshal(plan, &p) != nil || json.Unmarshal(entries, &list) != nil {
			return
		}
		if rechain && possibleTimes(list) {
			chain(list)
		}
		r, err := Reveal(p, list)
		if err != nil {
			return
		}
		answered := 0
		for _, tally := range r.Tallies {
			answered += tally.Trials
		}
		if answered+r.Voids != len(r.Trials) || len(r.Trials) > len(list) {
			t.Errorf("%d answered, %d void, %d trials, %d entries", answered, r.Voids, len(r.Trials), len(list))
		}
	})
}

func possibleTimes(list []Entry) bool {
	for _, e := range list {
		if y := e.At.UTC().Year(); y < 0 || y > 9999 {
			return false
		}
	}
	return true
}

// chain recomputes the hashes, as a forger would, so that the fuzzer gets past them.
func chain(list []Entry) {
	previous := ""
	for i := range list {
		list[i].Number, list[i].Previous = i+1, previous
		list[i].Hash = list[i].Digest()
		previous = list[i].Hash
	}
}

func beginFuzz(p Plan) (*Session, *memory) {
	m := &memory{}
	s, err := Begin("s", Seat{}, p, Seed{1}, m, func() time.Time { return time.Unix(1e9, 0) })
	if err != nil {
		panic(err)
	}
	return s, m
}

// A time zone can move the last instant of the year 9999 into a year that has no JSON form.
func TestImpossibleTimeIsAnErrorNotAPanic(t *testing.T) {
	at := time.Date(9999, 12, 31, 23, 59, 59, 0, time.FixedZone("west", -3600))
	if err := CheckChain([]Entry{{Number: 1, Kind: EntryBegin, At: at}}); err == nil {
		t.Error("accepted")
	}
}

// A forger who recomputes the hashes is still limited to what a session can contain.
func TestForgedRecordsAreRefused(t *testing.T) {
	finished := func() (Plan, []Entry) {
		s, m := begin(t, testPlan(ABX, 4), Seed{8})
		for s.View().Phase != Done {
			answer(t, s, AnswerA)
		}
		return s.plan, m.entries
	}
	for name, forge := range map[string]func([]Entry) []Entry{
		"an answer of the other design": func(e []Entry) []Entry { e[len(e)-2].Answer = AnswerSame; return e },
		"no answer":                     func(e []Entry) []Entry { e[len(e)-2].Answer = AnswerUnset; return e },
		"a trial left out":              func(e []Entry) []Entry { return append(e[:len(e)-2], e[len(e)-1]) },
		"an end before the end":         func(e []Entry) []Entry { return append([]Entry{e[0], e[len(e)-1]}, e[1:]...) },
		"an answer after giving up": func(e []Entry) []Entry {
			return append([]Entry{e[0], {Session: e[0].Session, Kind: EntryGiveUp}}, e[1:]...)
		},
		"another seed revealed": func(e []Entry) []Entry { e[len(e)-1].Note = strings.Repeat("09", 32); return e },
	} {
		p, entries := finished()
		entries = forge(entries)
		chain(entries)
		if r, err := Reveal(p, entries); err == nil {
			t.Errorf("%s: accepted, %+v", name, r.Tallies)
		}
	}
}
