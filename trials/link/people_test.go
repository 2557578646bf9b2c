package link_test

import (
	"slices"
	"strings"
	"testing"

	"heardiff/stats/warning"
	"heardiff/trials"
	"heardiff/trials/link"
)

func build(t *testing.T, heard ...link.Heard) link.Result {
	t.Helper()
	got, err := link.Build(link.Input{Chains: chains(), Pairings: []link.Pairing{pairing()}, Results: heard})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// of returns the row of a kind and listener.
func of(t *testing.T, r link.Result, kind, listener string, silent bool) link.Row {
	t.Helper()
	for _, row := range r.Rows {
		if row.Kind == kind && row.Listener == listener && row.Silent == silent {
			return row
		}
	}
	t.Fatalf("no row %s %s in %+v", kind, listener, r.Rows)
	return link.Row{}
}

// What no person heard does not count in results about people: neither a session at the null device that was right 16 times
// of 16 nor a simulated one changes any pooled figure.
func TestSessionsWithoutSoundOrPeopleAreCountedWithNobody(t *testing.T) {
	person, silent, computed := session("l", "g", 8, 16), session("l", "g", 16, 16), session("c", "h", 16, 16)
	silent.Silent, silent.Session, silent.Devices = true, "l-2", []string{"null, 48000 Hz"}
	computed.Simulated = true
	alone, mixed := build(t, person), build(t, person, silent, computed)
	if a, m := of(t, alone, "all", link.Everybody, false), of(t, mixed, "all", link.Everybody, false); a.Correct != m.Correct || m.Listeners != 1 || m.Sessions != 1 || a.Verdict != m.Verdict {
		t.Errorf("pooled alone %d of %d %s, with them %d of %d %s", a.Correct, a.Trials, a.Verdict, m.Correct, m.Trials, m.Verdict)
	}
	if r := of(t, mixed, "listener", "l", false); r.Correct != 8 || r.Sessions != 1 {
		t.Errorf("the person's own row holds %d of %d", r.Correct, r.Trials)
	}
	if r := of(t, mixed, "listener", "l", true); r.Correct != 16 || !strings.Contains(r.Reason, "no device sounded") || len(r.Devices) != 1 {
		t.Errorf("the silent row: %+v", r)
	}
	for _, r := range mixed.Rows {
		if r.Kind == "group" {
			t.Errorf("a group of people and computations: %+v", r)
		}
	}
	aside := func(w warning.Warning) bool { return w.Code == link.PeopleAlone && w.Value == 2 }
	if !slices.ContainsFunc(mixed.Details, aside) || alone.Warned(link.PeopleAlone) {
		t.Errorf("warnings %q; without them %q", mixed.Texts, alone.Texts)
	}
	if only := build(t, silent); !only.Silent || !of(t, only, "all", link.Everybody, true).Silent {
		t.Error("a study without people is not marked")
	}
}

// A 'ruled out' always mentions hurried answers and a missing positive control.
func TestAWeakNullIsAlwaysExplained(t *testing.T) {
	hurried := control(session("l", "", 8, 16), trials.PositiveControl, 10, 10)
	hurried.Hurried = 120
	marked := control(session("l", "", 16, 16), trials.PositiveControl, 10, 10)
	marked.Marks = []link.Mark{{Says: "its order was opened in a copy", Voids: true}}
	for _, c := range []struct {
		name  string
		heard link.Heard
		want  link.Verdict
		says  string
	}{
		{"no positive control", session("l", "", 8, 16), link.RuledOut, "no positive control"},
		{"hurried", hurried, link.RuledOut, "120 answers were hurried"},
		{"a met control and time enough", control(session("l", "", 8, 16), trials.PositiveControl, 10, 10), link.RuledOut, "8 of 16 right, as guessing would give; a difference that is heard on"},
		{"an order that was opened elsewhere", marked, link.Void, "opened in a copy"},
	} {
		r := build(t, c.heard).Rows[0]
		if r.Verdict != c.want || !strings.Contains(r.Reason, c.says) {
			t.Errorf("%s: %s, %q", c.name, r.Verdict, r.Reason)
		}
		if weak := strings.HasPrefix(r.Reason, "weakened by"); weak != (c.name == "no positive control" || c.name == "hurried") {
			t.Errorf("%s: %q", c.name, r.Reason)
		}
	}
}

// By guessing seven of seven are right with probability 1/128 where chance is one half, five of five with 1/243 where it is one third; one
// trial fewer, with 1/64 and 1/81, shows no leak at one in a hundred.
func TestAListenerLeaksAtOneInAHundred(t *testing.T) {
	for d, want := range map[trials.Design]int{trials.ABX: 7, trials.SameDifferent: 7, trials.TwoInterval: 7, trials.Triangle: 5} {
		if got := link.LeastNegative(d); got != want {
			t.Errorf("%s: %d negative controls reveal a leak, want %d", d, got, want)
		}
	}
}
