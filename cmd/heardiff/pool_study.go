package main

import (
	"cmp"
	"errors"
	"slices"
	"strings"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
)

// studyListeners returns the scored ABX counts of every session that has ended and is not void, those given up included, for
// one comparison, and its name. Duplicate pairs are not among them: a listener's habit of answering would pass for
// hearing. Nor are sequential plans, whose number of trials depends on the answers.
func (a *app) studyListeners(l linked, comparison string) ([]stats.Listener, string, error) {
	void := link.VoidSessions(l.input.Results, l.input.Family)
	var found []stats.Listener
	var names []string
	left := 0
	voids := 0
	for _, v := range a.peopleOf(l.sessions) {
		for _, t := range v.result.Tallies {
			if t.Comparison.Kind != trials.Scored || t.Trials == 0 {
				continue
			}
			if !slices.Contains(names, t.Comparison.Name) {
				names = append(names, t.Comparison.Name)
			}
			if comparison != "" && t.Comparison.Name != comparison {
				continue
			}
			if p := v.result.Plan; p.Design != trials.ABX || p.Sequential() {
				left++
				continue
			}
			if why := void[v.ID]; why != "" {
				if voids++; voids <= mostVoids {
					a.warn("session %s is void and left out: %s", shortID(v.ID), why)
				}
				continue
			}
			found = append(found, stats.Listener{Listener: v.who.ID, Group: v.who.Group, Site: siteName(v.Site), Correct: t.Correct, Trials: t.Trials})
		}
	}
	// By name, so that neither the order in which bundles came nor that of the sessions chooses which groups are compared.
	slices.SortStableFunc(found, func(a, b stats.Listener) int {
		return cmp.Or(cmp.Compare(a.Group, b.Group), cmp.Compare(a.Site, b.Site), cmp.Compare(a.Listener, b.Listener))
	})
	if left > 0 {
		a.warn("%d results of duplicate pairs or sequential plans are left out: their counts cannot be added up; see \"heardiff results\"", left)
	}
	if voids > mostVoids {
		a.warn("and %d void sessions more: see \"heardiff link\"", voids-mostVoids)
	}
	if comparison == "" && len(names) == 1 {
		comparison = names[0]
	}
	switch {
	case comparison != "" && !slices.Contains(names, comparison):
		return nil, "", misusedf("--comparison %q: no ended session has it (%s)", comparison, strings.Join(names, "; "))
	case comparison == "" && len(names) > 1:
		return nil, "", misusedf("there are several comparisons: choose one with --comparison (%s)", strings.Join(names, "; "))
	case len(found) == 0:
		return nil, "", rejected(errors.New("no ABX session of the study has ended"), "give a FILE.csv, or listen first")
	}
	return found, comparison, nil
}

// mostVoids is how many void sessions are named.
const mostVoids = 5

// peopleOf returns the sessions that speak of people, and all of them where none does; either way it says so.
func (a *app) peopleOf(sessions []endedSession) []endedSession {
	var people []endedSession
	for _, v := range sessions {
		if !v.who.Simulated && !v.result.Silent {
			people = append(people, v)
		}
	}
	switch {
	case len(people) == len(sessions):
	case len(people) == 0:
		a.warn("nothing here speaks of people: every session is simulated, or was answered where no device sounded")
		return sessions
	default:
		a.warn("%d sessions are left out: simulated, or answered where no device sounded", len(sessions)-len(people))
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
