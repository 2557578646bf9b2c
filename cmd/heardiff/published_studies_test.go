package main

import (
	"context"
	"fmt"
	"math"
	"os"
	"testing"
	"time"

	"heardiff/stats"
	"heardiff/stats/warning"
	"heardiff/trials"
	"heardiff/trials/store"
	"heardiff/trials/study"
)

// scoring plays a session of ABX with k right answers: the first k trials rightly, the others wrongly.
func scoring(t *testing.T, id string, p trials.Plan, seed trials.Seed, k int) store.MergeSession {
	t.Helper()
	j, at := &notebook{}, time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	s, err := trials.Begin(id, trials.Seat{}, p, seed, j, func() time.Time { at = at.Add(time.Second); return at })
	must(t, err)
	for i := 0; s.View().Phase != trials.Done; i++ {
		cue, err := s.Route(trials.LabelX)
		must(t, err)
		answer := trials.AnswerA
		if (cue.Source() == trials.SourceB) == (i < k) {
			answer = trials.AnswerB
		}
		s.Heard(trials.LabelX, 1)
		s.Heard(trials.LabelA, 1)
		must(t, s.Ask(answer, 0))
		must(t, s.Confirm())
	}
	r, err := trials.Reveal(p, j.entries)
	must(t, err)
	outcome := r.Summary()
	return store.MergeSession{ID: id, Listener: id, PlanHash: p.HashText(), Entries: j.entries, Outcome: &outcome}
}

// enter makes a study of one comparison by hand, with one session a listener, of k right answers among n.
func enter(t *testing.T, listeners [][2]int) {
	t.Helper()
	emptyStudy(t)
	command(t, 0, "chain", "add", "left")
	command(t, 0, "chain", "add", "right")
	m := store.Merge{Bundle: "entered from print", Site: "print"}
	for i, l := range listeners {
		p := trials.Plan{ID: fmt.Sprint(l[1]), Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.3, SingleBlind: true,
			Comparisons: []trials.Comparison{{Name: "left – right", A: "left", B: "right", AudioA: study.ByHand + "left", AudioB: study.ByHand + "right", Trials: l[1]}}}
		id := fmt.Sprintf("listener-%d", i+1)
		m.Plans = append(m.Plans, p)
		m.Listeners = append(m.Listeners, study.Listener{ID: id, Group: "all"})
		m.Sessions = append(m.Sessions, scoring(t, id, p, trials.Seed{byte(i + 1)}, l[0]))
	}
	s := openRecord(t, os.Getenv("HEARDIFF_STUDY"))
	defer s.Close()
	_, err := s.Merge(context.Background(), m)
	must(t, err)
}

// Results of studies in print, entered as sessions: "results", "link" and "pool" give the p that goes with them. The
// counts are those of testdata/statistics/audio_studies_k_n.csv, the p R's binom.test (4.2.2) of them:
//
//   - 276 of 554: Meyer and Moran, J. Audio Eng. Soc. 55(9), 2007 (276 comes from memory, 554 from print);
//   - 6614 of 12,645 trials of 18 experiments: Reiss, J. Audio Eng. Soc. 64(6), 2016, whose 52.3 % is printed; entered
//     in twelve parts, since no plan has as many trials;
//   - 1846 of 3530 of 505 listeners to an amplifier test of 1989, taken as if chance had been 1/2: it was not, see
//     stats.TestTrapUnequalPairsFlatterABiasedListener;
//   - 48 of 64 of eight listeners to its second round, who differ more than chance: pooled p is too good, and is said to be.
func TestPublishedStudiesEnteredAsSessionsGiveThePublishedP(t *testing.T) {
	var twelve [][2]int
	for i := range 12 {
		part := [2]int{551, 1054}
		if i < 2 {
			part[0]++
		}
		if i < 3 {
			part[1]--
		}
		twelve = append(twelve, part)
	}
	for _, c := range []struct {
		name      string
		listeners [][2]int
		p         float64 // of all trials
	}{
		{"276 of 554", [][2]int{{276, 554}}, 0.5507034759},
		{"6614 of 12,645", twelve, 1.130348273e-07},
		{"1846 of 3530", [][2]int{{1846, 3530}}, 0.003361989639},
		{"48 of 64", [][2]int{{8, 8}, {7, 8}, {7, 8}, {7, 8}, {7, 8}, {6, 8}, {4, 8}, {2, 8}}, 3.866538441e-05},
	} {
		t.Run(c.name, func(t *testing.T) {
			enter(t, c.listeners)
			var pool struct {
				Total struct {
					P float64 `json:"p_value"`
				}
				warning.Warnings
			}
			decode(t, &pool, "pool", "--json")
			if !agree(pool.Total.P, c.p) {
				t.Errorf("pool: p %v, want %v", pool.Total.P, c.p)
			}
			if differ := len(c.listeners) == 8; pool.Warned(stats.ListenersDiffer) != differ {
				t.Errorf("of these listeners is said: %q", pool.Texts)
			}
			if len(c.listeners) == 1 {
				comesToTheSame(t, c.p)
			}
		})
	}
}

// comesToTheSame compares the only session's p in "results" and in "link" with the one wanted.
func comesToTheSame(t *testing.T, want float64) {
	t.Helper()
	var results struct {
		Sessions []struct {
			Comparisons []struct {
				ABX struct {
					P float64 `json:"p_value"`
				} `json:"abx"`
			}
		}
	}
	decode(t, &results, "results", "--json")
	if p := results.Sessions[0].Comparisons[0].ABX.P; !agree(p, want) {
		t.Errorf("results: p %v, want %v", p, want)
	}
	var link struct {
		Rows []struct {
			Listener string
			P        float64 `json:"p_value"`
		}
	}
	decode(t, &link, "link", "--json")
	found := false
	for _, r := range link.Rows {
		if r.Listener == "listener-1" {
			found = true
			if !agree(r.P, want) {
				t.Errorf("link: p %v, want %v", r.P, want)
			}
		}
	}
	if !found {
		t.Errorf("link has no row of the session: %+v", link)
	}
}

// agree compares with values printed to ten digits.
func agree(got, want float64) bool { return math.Abs(got-want) <= 1e-9*want }
