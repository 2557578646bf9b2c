package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

// pooled are the counts of one comparison and one design.
type pooled struct {
	listeners  []stats.Listener
	comparison string
	design     trials.Design
}

// tallied is one tally of a session that may be pooled.
type tallied struct {
	study.EndedSession
	trials.Tally
}

// studyListeners returns the scored counts of every session that has ended and is not void, those given up included, for
// one comparison and one design. Designs judged by rates are not among them: a listener's habit of answering would
// pass for hearing. Nor are sequential plans, whose number of trials depends on the answers.
func (a *app) studyListeners(l study.Linked, comparison string, design trials.Design) (pooled, error) {
	found := pooled{comparison: comparison, design: design}
	tallies, names := a.tallies(l, comparison)
	if comparison == "" && len(names) == 1 {
		found.comparison = names[0]
	}
	switch {
	case comparison != "" && !slices.Contains(names, comparison):
		return found, misusedf("--comparison %q: no ended session has it (%s)", comparison, strings.Join(names, "; "))
	case comparison == "" && len(names) > 1:
		return found, misusedf("there are several comparisons: choose one with --comparison (%s)", strings.Join(names, "; "))
	}
	designs := designsOf(tallies)
	if !design.Known() && len(designs) > 1 {
		return found, misusedf("the comparison was made by several designs, whose counts cannot be added up: choose one with --design (%s)", strings.Join(designs, ", "))
	}
	if !design.Known() && len(tallies) > 0 {
		found.design = tallies[0].Result.Plan.Design
	}
	for _, t := range tallies {
		if t.Result.Plan.Design == found.design {
			found.listeners = append(found.listeners, stats.Listener{Listener: t.Who.ID, Group: t.Who.Group, Site: siteName(t.Site), Correct: t.Correct, Trials: t.Trials})
		}
	}
	if len(found.listeners) == 0 {
		return found, rejected(fmt.Errorf("no session of a design whose counts add up (%s) has ended", countedDesigns()), "give a FILE.csv, or listen first")
	}
	// By name, so that neither the order in which bundles came nor that of the sessions decides which group is compared with which.
	slices.SortStableFunc(found.listeners, func(a, b stats.Listener) int {
		return cmp.Or(cmp.Compare(a.Group, b.Group), cmp.Compare(a.Site, b.Site), cmp.Compare(a.Listener, b.Listener))
	})
	return found, nil
}

// tallies returns what can be pooled of a comparison ("": of all), and the names of all that were made.
func (a *app) tallies(l study.Linked, comparison string) (found []tallied, names []string) {
	void := link.VoidSessions(l.Input.Results, l.Input.Family)
	left, voids := 0, 0
	for _, v := range a.peopleOf(l.Sessions) {
		for _, t := range v.Result.Tallies {
			if t.Comparison.Kind != trials.Scored || t.Trials == 0 {
				continue
			}
			if !slices.Contains(names, t.Comparison.Name) {
				names = append(names, t.Comparison.Name)
			}
			if comparison != "" && t.Comparison.Name != comparison {
				continue
			}
			if p := v.Result.Plan; p.Design.ByRates() || p.Sequential() {
				left++
				continue
			}
			if why := void[v.ID]; why != "" {
				if voids++; voids <= mostVoids {
					a.warn("session %s is void and left out: %s", study.ShortID(v.ID), why)
				}
				continue
			}
			found = append(found, tallied{v, t})
		}
	}
	if left > 0 {
		a.warn("%d results of duplicate pairs or sequential plans are left out: their counts cannot be added up; see \"heardiff results\"", left)
	}
	if voids > mostVoids {
		a.warn("and %s more: see \"heardiff link\"", trials.Counted(voids-mostVoids, "void session"))
	}
	return found, names
}

// designsOf names the designs of tallies, each once.
func designsOf(tallies []tallied) []string {
	var names []string
	for _, t := range tallies {
		if name := t.Result.Plan.Design.String(); !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}

// mostVoids is how many void sessions are named.
const mostVoids = 5

// peopleOf returns the sessions that speak of people, and all of them where none does; either way it says so.
func (a *app) peopleOf(sessions []study.EndedSession) []study.EndedSession {
	var people []study.EndedSession
	for _, v := range sessions {
		if !v.Who.Simulated && !v.Result.Silent {
			people = append(people, v)
		}
	}
	switch {
	case len(people) == len(sessions):
	case len(people) == 0:
		a.warn("nothing here speaks of people: every session is simulated, or was answered where no device sounded")
		return sessions
	default:
		a.warn("left out: %s, simulated or answered where no device sounded", trials.Counted(len(sessions)-len(people), "session"))
	}
	return people
}

// siteName names the site with the given fingerprint, "" being this one.
func siteName(fingerprint string) string {
	if fingerprint == "" {
		return "here"
	}
	return fingerprint
}
