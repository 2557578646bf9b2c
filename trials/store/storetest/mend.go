package storetest

import (
	"context"
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"heardiff/trials/store"
)

// After a correction the study is as if it had been right from the start, and every edit behind the record's back is still found.
func mended(t *testing.T, b Backend) {
	ctx, s := context.Background(), b.New(t, time.Now)
	cost, more := 40.5, 60.0
	for _, c := range []store.Chain{{Name: "optcal", Role: "source", Cost: &cost}, {Name: "box", Role: "source", After: "optcal"}, {Name: "spare", Role: "source"}} {
		check(t, s.AddChain(ctx, c))
	}
	_, err := s.AddCapture(ctx, store.Capture{Chain: "optcal", Kind: "jitter", Path: "audio/a", SHA256: "11", RateHz: 48000})
	check(t, err)
	check(t, s.Enter(ctx, []store.Entered{{Chain: "optcal", Metric: "noise", Value: &cost, Unit: "dB"}, {Chain: "spare", Metric: "noise", Value: &cost, Unit: "dB"}}))

	check(t, s.Retitle(ctx, "another title", "a slip"))
	check(t, s.RenameChain(ctx, "optcal", "optical", "misspelt"))
	check(t, s.CorrectChain(ctx, store.Chain{Name: "optical", About: "the red cable", Role: "source", Cost: &more}, "the invoice says so"))
	check(t, s.RemoveChain(ctx, "spare", "never used"))

	of, err := s.Study(ctx)
	check(t, err)
	chains, err := s.Chains(ctx)
	check(t, err)
	captures, err := s.Captures(ctx)
	check(t, err)
	figures, err := s.EnteredFigures(ctx)
	check(t, err)
	want := []store.Chain{{Name: "box", Role: "source", After: "optical"}, {Name: "optical", About: "the red cable", Role: "source", Cost: &more}}
	if of.Title != "another title" || !reflect.DeepEqual(chains, want) || captures[0].Chain != "optical" || len(figures) != 1 || figures[0].Chain != "optical" {
		t.Errorf("%q\n%+v\n%+v\n%+v", of.Title, chains, captures, figures)
	}
	if found := faults(t, s); len(found) > 0 {
		t.Errorf("found %q", found)
	}
	keptReasons(t, s, "a slip", "misspelt", "the invoice says so", "never used")
	listed, err := s.Corrections(ctx)
	check(t, err)
	var says []string
	for _, v := range listed {
		says = append(says, v.Says+" ("+v.Why+")")
	}
	if want := []string{`the study: title was "a title", and is "another title" (a slip)`, `chain "box": after was "optcal", and is "optical" (misspelt)`,
		`capture "1": chain was "optcal", and is "optical" (misspelt)`, `chain "optcal": is called "optical" (misspelt)`,
		`chain "optical": about was "", and is "the red cable"; cost was 40.5, and is 60 (the invoice says so)`,
		`figure "spare" "noise" "": was removed (never used)`, `chain "spare": was removed (never used)`}; !slices.Equal(says, want) {
		t.Errorf("listed\n%s\nwant\n%s", strings.Join(says, "\n"), strings.Join(want, "\n"))
	}
	e := tampered(t, b, s)
	check(t, e.exec(`UPDATE chains SET name = 'optcal' WHERE name = 'optical'`))
	if found := strings.Join(faults(t, s), "\n"); !strings.Contains(found, `chain "optical": was removed`) || !strings.Contains(found, `chain "optcal"`) {
		t.Errorf("a chain that got its old name back: %s", found)
	}
}

// keptReasons demands that the record keeps each reason.
func keptReasons(t *testing.T, s *store.Store, reasons ...string) {
	t.Helper()
	all, err := s.Record(context.Background())
	check(t, err)
	for _, why := range reasons {
		kept := 0
		for _, e := range all {
			if strings.Contains(e.Body, why) {
				kept++
			}
		}
		if kept == 0 {
			t.Errorf("the record does not keep the reason %q", why)
		}
	}
}

// What something else refers to stays as it is, and the error names what refers to it.
func usedStays(t *testing.T, b Backend) {
	ctx, s := context.Background(), filled(t, b) // plans play audio of the excerpt "opening" alone
	before, err := s.Head(ctx)
	check(t, err)
	left := store.Chain{Name: "left", About: "one", Role: "floor"}
	for what, tt := range map[string]struct {
		err  error
		noun string
	}{
		"a chain in a plan, renamed":      {s.RenameChain(ctx, "left", "right-hand", ""), "plan"},
		"a chain that feeds one, removed": {s.RemoveChain(ctx, "left", ""), "chain"},
		"a chain in a plan, removed":      {s.RemoveChain(ctx, "right", ""), "plan"},
		"a chain with captures, removed":  {s.RemoveChain(ctx, "loop", ""), "capture"},
		"a role with figures, changed":    {s.CorrectChain(ctx, left, ""), "figure"},
	} {
		var used *store.InUse
		if !errors.As(tt.err, &used) || used.Noun != tt.noun || len(used.Names) == 0 {
			t.Errorf("%s: error %v", what, tt.err)
		}
	}
	for what, err := range map[string]error{
		"unknown chain renamed":    s.RenameChain(ctx, "none", "some", ""),
		"unknown chain removed":    s.RemoveChain(ctx, "none", ""),
		"unknown chain corrected":  s.CorrectChain(ctx, store.Chain{Name: "none", Role: "source"}, ""),
		"fed by a chain not there": s.CorrectChain(ctx, store.Chain{Name: "loop", Role: "floor", After: "none"}, ""),
		"unknown excerpt removed":  s.RemoveExcerpt(ctx, "none", ""),
	} {
		if !errors.Is(err, store.ErrNotFound) {
			t.Errorf("%s: error %v", what, err)
		}
	}
	if err := s.RenameChain(ctx, "loop", "left", ""); !errors.Is(err, store.ErrExists) {
		t.Errorf("a name that is taken: %v", err)
	}
	if now, err := s.Head(ctx); err != nil || now != before {
		t.Errorf("what was refused left %d entries, error %v", now.Entries-before.Entries, err)
	}
}

// An excerpt that a plan plays stays, because it is found by its audio, whatever its name; another one goes, and its name can be used
// again.
func unusedExcerptGoes(t *testing.T, b Backend) {
	ctx, s := context.Background(), filled(t, b)
	plan := Plan(2)
	plan.ID, plan.Comparisons[0].AudioA, plan.Comparisons[0].AudioB = "3", "aa0", "bb0"
	check(t, s.AddPlan(ctx, plan))
	var used *store.InUse
	if err := s.RemoveExcerpt(ctx, "opening", ""); !errors.As(err, &used) || used.Noun != "plan" || used.Names[0] != `"3"` {
		t.Errorf("an excerpt that is played: %v", err)
	}
	check(t, s.RemoveExcerpt(ctx, "close", "cut in the wrong place"))
	keptReasons(t, s, "cut in the wrong place")
	all, err := s.Excerpts(ctx)
	check(t, err)
	if len(all) != 1 || all[0].Name != "opening" || len(faults(t, s)) > 0 {
		t.Errorf("%d excerpts, %q", len(all), faults(t, s))
	}
	again := store.Excerpt{Name: "close", Music: "suite", Seconds: 9, RateHz: 48000, Result: []byte(`{}`),
		Presentations: []store.Presentation{{Chain: "left", Path: "close/left", SHA256: "aa1", Result: []byte(`{}`)}}}
	check(t, s.SaveExcerpt(ctx, again))
	if found := faults(t, s); len(found) > 0 {
		t.Errorf("found %q", found)
	}
}
