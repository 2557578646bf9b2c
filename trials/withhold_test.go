package trials

import (
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"
)

// eventful runs a session with everything that leaves text or times in the record.
func eventful(t *testing.T, remark string) (Plan, []Entry) {
	t.Helper()
	p := Plan{ID: "1", Design: SameDifferent, Alpha: 0.05, SmallestEffect: 0.3,
		Comparisons: []Comparison{{Name: "one", A: "left", B: "right", Excerpt: "e", AudioA: "aa", AudioB: "bb", Trials: 6}}}
	j := &memory{}
	at := time.Date(2031, 5, 6, 23, 59, 30, 123456789, time.UTC)
	s, err := Begin("invented", Seat{}, p, Seed{4, 2}, j, func() time.Time { at = at.Add(7654 * time.Millisecond); return at })
	if err != nil {
		t.Fatal(err)
	}
	done := errors.Join(s.Open(remark), s.Flag(remark), s.Void(remark), s.Rest(), s.Open(remark))
	for s.View().Phase != Done {
		s.Heard(LabelFirst, 1)
		s.Heard(LabelSecond, 1)
		done = errors.Join(done, s.Ask(AnswerDifferent, 3), s.Confirm())
	}
	if done != nil {
		t.Fatal(done)
	}
	return p, j.entries
}

func TestWithholdingLeavesTheResultAndNothingOfTheListener(t *testing.T) {
	const remark = "Lisa's dog barked"
	p, entries := eventful(t, remark)
	before, err := Reveal(p, entries)
	if err != nil {
		t.Fatal(err)
	}
	out := Withhold(entries)
	after, err := Reveal(p, out)
	if err != nil {
		t.Fatalf("the withheld record does not verify: %v", err)
	}
	if !reflect.DeepEqual(before.Tallies, after.Tallies) || before.Voids != after.Voids || before.Flags != after.Flags || len(before.Trials) != len(after.Trials) {
		t.Errorf("the result changed: %+v, %+v", before.Tallies, after.Tallies)
	}
	for i, e := range out {
		a, b := entries[i], e
		if strings.Contains(e.Note, "dog") || e.At.Truncate(24*time.Hour) != e.At || e.Seconds != float64(int(e.Seconds)) {
			t.Errorf("entry %d is still identifiable: %+v", e.Number, e)
		}
		if a.Kind != b.Kind || a.Trial != b.Trial || a.Answer != b.Answer || a.Confidence != b.Confidence || a.Switches != b.Switches ||
			(a.Kind == EntryBegin || a.Kind == EntryEnd) && a.Note != b.Note {
			t.Errorf("entry %d lost more than text and times: %+v, %+v", e.Number, a, b)
		}
	}
	if after.Trials[0].Void != Withheld {
		t.Errorf("the void trial counts now: %+v", after.Trials[0])
	}
	if !reflect.DeepEqual(Withhold(out), out) {
		t.Error("Withhold is not idempotent")
	}
}

func TestWithheldRecordsAreRecognised(t *testing.T) {
	_, entries := eventful(t, "a door")
	_, other := eventful(t, "a dog")
	changed := append([]Entry(nil), entries...)
	for i := range changed {
		if changed[i].Kind == EntryAnswer {
			changed[i].Answer = AnswerSame
			break
		}
	}
	for name, c := range map[string]struct {
		a, b []Entry
		want bool
	}{
		"itself":             {entries, entries, true},
		"withheld":           {entries, Withhold(entries), true},
		"withheld, reversed": {Withhold(entries), entries, true},
		"other words":        {other, entries, false},
		"another answer":     {Withhold(changed), entries, false},
		"cut":                {entries[:3], entries, false},
		"nothing":            {nil, nil, false},
	} {
		if got := SameRecord(c.a, c.b); got != c.want {
			t.Errorf("%s: %v", name, got)
		}
	}
}
