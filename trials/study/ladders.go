package study

import (
	"cmp"
	"path"
	"slices"

	"heardiff/measure/impair"
)

// PreparedLadder is a ladder as one PrepareLadder put it into an excerpt.
type PreparedLadder struct {
	LadderOptions
	// Words says what its doses are of: see impair.Ladder.Words.
	Words string
	// Audio holds the SHA-256 of each step's file, from the first dose on.
	Audio []string
}

// PreparedLadders returns the ladders of an excerpt, in the order in which they were prepared.
func PreparedLadders(e Excerpt) []PreparedLadder {
	var folders []string
	steps := map[string][]Presentation{}
	for _, p := range e.Presentations {
		if doseOf(p) == nil {
			continue
		}
		dir := path.Dir(p.Path)
		if len(steps[dir]) == 0 {
			folders = append(folders, dir)
		}
		steps[dir] = append(steps[dir], p)
	}
	var all []PreparedLadder
	for _, dir := range folders {
		slices.SortFunc(steps[dir], func(a, b Presentation) int { // step-100 after step-99
			return cmp.Or(cmp.Compare(len(a.Path), len(b.Path)), cmp.Compare(a.Path, b.Path))
		})
		all = append(all, ladderOf(e.Name, steps[dir]))
	}
	return all
}

// ladderOf returns the ladder whose doses are the given steps, in order.
func ladderOf(excerpt string, steps []Presentation) PreparedLadder {
	first, last := doseOf(steps[0]), doseOf(steps[len(steps)-1])
	l := PreparedLadder{LadderOptions: LadderOptions{Of: excerpt, Chain: steps[0].Chain}, Words: first.Words}
	l.Ladder = impair.Ladder{Quantity: first.Quantity, From: first.Value, To: last.Value, Steps: len(steps), Seed: first.Done.Dose.Seed}
	for _, j := range first.Done.Dose.Jitter {
		l.LowHz, l.HighHz, l.FreqHz = j.LowHz, j.HighHz, j.FreqHz
	}
	for _, n := range first.Done.Dose.Noise {
		l.Colour = n.Colour
	}
	for _, s := range steps {
		l.Audio = append(l.Audio, s.SHA256)
	}
	return l
}
