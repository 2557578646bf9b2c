package trials

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"heardiff/stats"
)

// Comparison is two chains and one excerpt, and how often they are asked about.
type Comparison struct {
	// Name identifies the comparison within its plan and in every result.
	Name string `json:"name"`
	Kind Kind   `json:"kind"`
	// A and B are the names of the chains.
	A string `json:"a"`
	B string `json:"b"`
	// Excerpt names the stretch of music.
	Excerpt string `json:"excerpt"`
	// AudioA and AudioB identify the two presentations (SHA-256 of the prepared files), so that a plan is bound to exactly
	// these samples. In a negative control they are equal.
	AudioA string `json:"audio_a"`
	AudioB string `json:"audio_b"`
	// Trials is how often it is asked about; 0 for a graded comparison, where the answers determine it.
	Trials int `json:"trials"`
}

// Plan is what will be run, fixed before the first trial.
type Plan struct {
	ID          string       `json:"id"`
	Design      Design       `json:"design"`
	Comparisons []Comparison `json:"comparisons"`
	// Alpha is the one-sided level of significance, inside (0, 0.5].
	Alpha float64 `json:"alpha"`
	// SmallestEffect is the smallest proportion of discriminators worth finding, inside (0, 1]: 'ruled out' means that this
	// or more is ruled out.
	SmallestEffect float64 `json:"smallest_effect"`
	// RestMinutes is how long to listen before a rest is due, in minutes; 0: never.
	RestMinutes float64 `json:"rest_minutes"`
	Layout      Layout  `json:"layout"`
	Order       Order   `json:"order"`
	// Looks, where set, make the plan sequential: at these numbers of scored trials the session stops if the count of right
	// answers reaches 'heard' or 'ruled out'. They are part of the plan and of its hash.
	Looks *stats.Looks `json:"looks,omitempty"`
	// Study, where set, is the planned size of the study, which may exceed what it contains when the first session begins.
	Study *Scope `json:"study,omitempty"`
	// SingleBlind marks a plan run by a helper who knows what is connected.
	SingleBlind bool `json:"single_blind,omitempty"`
	// LeastSeconds is how many seconds everything that the design requires must sound in a trial; an earlier answer is marked as hurried. 0:
	// no requirement.
	LeastSeconds float64 `json:"least_seconds,omitempty"`
	// Threshold, where set, makes the plan a threshold run.
	Threshold *Threshold `json:"threshold,omitempty"`
}

// Scope is the number of listeners and comparisons that a study is planned for: all verdicts share one risk, and unplanned
// ones get hardly any of it. 0 means as many as there are when the first session begins.
type Scope struct {
	Listeners   int `json:"listeners,omitempty"`
	Comparisons int `json:"comparisons,omitempty"`
}

// MaxTrials is the largest number of trials of one plan.
const MaxTrials = 10_000

// Validate returns an error that names the first field out of range and its value.
func (p Plan) Validate() error {
	if err := p.ValidateSettings(); err != nil {
		return err
	}
	if err := p.validateComparisons(); err != nil {
		return err
	}
	return cmp.Or(p.validateLooks(), p.validateThreshold())
}

// Limits of a plan's settings (judgement, no source; TestPlanRejectsWhatMakesNoTest holds them).
const (
	maxAlpha        = 0.5       // with more, a coin would decide as well
	maxPlanned      = 1_000_000 // listeners, and comparisons
	maxRestMinutes  = 24 * 60
	maxLeastSeconds = 60
)

// ValidateSettings returns an error that names the first setting out of range; it does not check the comparisons.
func (p Plan) ValidateSettings() error {
	switch {
	case p.ID == "":
		return errors.New("plan without an id")
	case checkShown("plan", p.ID, MaxName) != nil:
		return checkShown("plan", p.ID, MaxName)
	case !p.Design.Known():
		return errors.New("plan without a design")
	case p.Order == Balanced && len(p.Design.of.answers) != 2:
		// Fisher's exact test, which stays valid if the listener counts answers, is for two answers.
		return fmt.Errorf("%s in balanced order: that order needs a design of two answers", p.Design)
	case !(p.Alpha > 0 && p.Alpha <= maxAlpha):
		return fmt.Errorf("alpha %v: must lie above 0 and at most at %v", p.Alpha, maxAlpha)
	case !(p.SmallestEffect > 0 && p.SmallestEffect <= 1):
		return fmt.Errorf("smallest effect %v: must lie above 0 and at most at 1", p.SmallestEffect)
	case p.Study != nil && (p.Study.Listeners < 0 || p.Study.Comparisons < 0 || p.Study.Listeners > maxPlanned || p.Study.Comparisons > maxPlanned):
		return fmt.Errorf("planned for %d listeners and %d comparisons: 0 to a million", p.Study.Listeners, p.Study.Comparisons)
	case !(p.RestMinutes >= 0 && p.RestMinutes <= maxRestMinutes):
		return fmt.Errorf("rest after %v minutes: must lie between 0 and a day", p.RestMinutes)
	case !(p.LeastSeconds >= 0 && p.LeastSeconds <= maxLeastSeconds):
		return fmt.Errorf("least time %v s: must lie between 0 and a minute", p.LeastSeconds)
	}
	return nil
}

func (p Plan) validateComparisons() error {
	seen := map[string]bool{}
	for _, c := range p.Comparisons {
		switch {
		case c.Name == "" || seen[c.Name]:
			return fmt.Errorf("comparison %q: the name is missing or used twice", c.Name)
		case c.shown() != nil:
			return c.shown()
		case c.Kind == Graded && c.Trials != 0:
			return fmt.Errorf("comparison %q: %d trials, but how many a dose of a threshold run gets follows from the answers", c.Name, c.Trials)
		case c.Kind != Graded && (c.Trials < 1 || c.Trials > MaxTrials): // so that the sum below cannot overflow
			return fmt.Errorf("comparison %q: %d trials", c.Name, c.Trials)
		case c.AudioA == "" || c.AudioB == "":
			return fmt.Errorf("comparison %q: no prepared audio", c.Name)
		case (c.AudioA == c.AudioB) != (c.Kind == NegativeControl):
			return fmt.Errorf("comparison %q is a %s: its two presentations must be the same audio in a negative control and in no other", c.Name, c.Kind)
		}
		seen[c.Name] = true
	}
	if total := p.Trials(); total < 1 || total > MaxTrials {
		return fmt.Errorf("%d trials in all: must lie between 1 and %d", total, MaxTrials)
	}
	return nil
}

// shown returns an error if a name of the comparison is too long or not printable.
func (c Comparison) shown() error {
	return cmp.Or(checkShown("comparison", c.Name, MaxName), checkShown("chain", c.A, MaxName), checkShown("chain", c.B, MaxName),
		checkShown("excerpt", c.Excerpt, MaxName))
}

// Hash returns the SHA-256 of the plan's JSON. Every session's commitment covers it, so that no plan can be changed after
// its results.
func (p Plan) Hash() [32]byte {
	data, err := json.Marshal(p)
	if err != nil {
		panic("trials: a plan that cannot be encoded: " + err.Error()) // plain fields: cannot happen
	}
	return sha256.Sum256(data)
}

// HashText is Hash in hexadecimal, by which bundles name their plans.
func (p Plan) HashText() string {
	h := p.Hash()
	return hex.EncodeToString(h[:])
}

// Trials returns the number of trials over all comparisons; for a threshold run, the most there can be.
func (p Plan) Trials() int {
	n := 0
	if p.Threshold != nil {
		for _, t := range p.Threshold.Tracks {
			n += min(max(0, t.Limit), MaxTrials+1) // so that the sum cannot overflow
		}
	}
	for _, c := range p.Comparisons {
		n += c.Trials
	}
	return n
}

func (p Plan) restAfter() time.Duration { return time.Duration(p.RestMinutes * float64(time.Minute)) }

// Count returns the number of trials of one kind over all comparisons.
func (p Plan) Count(k Kind) int {
	n := 0
	for _, c := range p.Comparisons {
		if c.Kind == k {
			n += c.Trials
		}
	}
	return n
}
