package link

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// addThresholds adds the thresholds, the margins of the chains and the predictions for their tests.
func (r *Result) addThresholds(in Input) (err error) {
	if r.Thresholds, err = thresholds(in.Results); err != nil || len(r.Thresholds) == 0 {
		return err
	}
	for _, t := range r.Thresholds {
		r.Simulated, r.Silent = r.Simulated || t.Simulated, r.Silent || t.Silent
	}
	r.ThresholdDifferences = differences(r.Thresholds)
	r.Margins = margins(in.Chains, r.Thresholds)
	r.Predictions = predictions(in.Chains, r.Rows, r.Thresholds)
	if slices.ContainsFunc(r.Thresholds, func(t Threshold) bool { return measuredAgainst[t.Quantity] != "" }) {
		r.Published = PublishedThresholds()
	}
	return nil
}

// Margin is the distance of a chain's measured jitter from the lowest threshold found in the study.
type Margin struct {
	Chain  string  `json:"chain"`
	Metric Metric  `json:"metric"`
	Value  float64 `json:"value"`
	// AtMost marks a chain at the floor of what could be measured: Value is an upper bound.
	AtMost bool `json:"at_most"`
	// Threshold is the lowest of all listeners, ThresholdInterval that listener's 95 % interval.
	Threshold         float64    `json:"threshold"`
	ThresholdInterval [2]float64 `json:"threshold_interval"`
	Unit              string     `json:"unit"`
	What              string     `json:"what"`
	Listener          string     `json:"listener"`
	Listeners         int        `json:"listeners"`
	// BelowDB is how far the chain is below the threshold, in dB; negative where it exceeds it.
	BelowDB float64 `json:"below_db"`
	Says    string  `json:"says"`
}

// Prediction compares what the thresholds predict for a pair of chains with the result of its test.
type Prediction struct {
	Comparison string `json:"comparison"`
	A          string `json:"a"`
	B          string `json:"b"`
	Excerpt    string `json:"excerpt"`
	// Predicted is 'told apart', 'not told apart' or 'open', by the kinds of jitter for which there is a threshold; Agreement 'agrees',
	// 'surprise' or 'open'.
	Predicted string   `json:"predicted"`
	By        []Metric `json:"by"`
	Verdict   Verdict  `json:"verdict"`
	Agreement string   `json:"agreement"`
	Says      string   `json:"says"`
}

// What the thresholds may predict for a pair, and how that compares with its test.
const (
	ToldApart    = "told apart"
	NotToldApart = "not told apart"
	Open         = "open"
	Agrees       = "agrees"
	Surprise     = "surprise"
)

// measuredAgainst is the measured figure with which a ladder's quantity is compared. Both are of the same kind, though not of
// the same band: the figures cover what the recording set-up can resolve, 10 Hz to 10 kHz at most.
var measuredAgainst = map[string]Metric{"random-jitter": RandomJitter, "periodic-jitter": DeterministicJitter}

// Against returns the measured figure that a threshold is set against; false where there is none.
func (t Threshold) Against() (Metric, bool) {
	m, ok := measuredAgainst[t.Quantity]
	return m, ok
}

// Levels reports whether the doses are levels re full scale, which are drawn on a linear scale.
func (t Threshold) Levels() bool { return t.Unit == "dBFS" }

// lowest returns the lowest threshold of a listener for a metric, and how many listeners have one.
func lowest(all []Threshold, m Metric) (least Threshold, listeners int, found bool) {
	var names []string
	for _, t := range ofPeopleIfAny(all) {
		if t.Kind != "listener" || measuredAgainst[t.Quantity] != m || math.IsNaN(t.Threshold) {
			continue
		}
		if !slices.Contains(names, t.Listener) {
			names = append(names, t.Listener)
		}
		if !found || t.ThresholdDB < least.ThresholdDB {
			least, found = t, true
		}
	}
	return least, len(names), found
}

// ofPeopleIfAny returns the thresholds that are neither simulated nor silent, or all if there are none.
func ofPeopleIfAny(all []Threshold) []Threshold {
	people := func(t Threshold) bool { return !t.Simulated && !t.Silent }
	if !slices.ContainsFunc(all, people) {
		return all
	}
	return slices.DeleteFunc(slices.Clone(all), func(t Threshold) bool { return !people(t) })
}

// sizeOf returns a chain's figure: the mean, or the bound where it is at its floor.
func (c Chain) sizeOf(m Metric) (value float64, atMost bool) {
	mean, bound := c.figure(m)
	if math.IsNaN(mean) {
		return bound, !math.IsNaN(bound)
	}
	return mean, false
}

// margins compares every source and replay chain with the lowest threshold of each kind of jitter.
func margins(chains []Chain, all []Threshold) []Margin {
	var out []Margin
	for _, m := range []Metric{RandomJitter, DeterministicJitter} {
		least, listeners, found := lowest(all, m)
		if !found {
			continue
		}
		for _, c := range chains {
			value, atMost := c.sizeOf(m)
			if c.Role == "floor" || !(value > 0) {
				continue
			}
			of := Margin{Chain: c.Name, Metric: m, Value: value, AtMost: atMost, Threshold: least.Threshold, ThresholdInterval: least.ThresholdInterval,
				Unit: least.Unit, What: least.What, Listener: least.Listener, Listeners: listeners, BelowDB: 20 * math.Log10(least.Threshold/value)}
			of.Says = of.words()
			out = append(out, of)
		}
	}
	return out
}

func (m Margin) words() string {
	name, _ := m.Metric.Words()
	is := fmt.Sprintf("%.0f dB below", math.Abs(m.BelowDB))
	if m.BelowDB < 0 {
		is = fmt.Sprintf("%.0f dB above", -m.BelowDB)
	}
	most := ""
	if m.AtMost {
		most = "at most "
		if m.BelowDB >= 0 {
			is = fmt.Sprintf("at least %s", is)
		}
	}
	who := "1 listener"
	if m.Listeners > 1 {
		who = fmt.Sprintf("the lowest of %d listeners", m.Listeners)
	}
	has, own := inWords(m.Unit, m.Value)
	found, unit := Scaled(m.Unit, m.Threshold, m.ThresholdInterval[0], m.ThresholdInterval[1])
	return fmt.Sprintf("%s's %s (%s%s %s) is %s the lowest threshold found here for %s (%s %s, %s, %s)", m.Chain, name, most, has[0], own,
		is, m.What, Digits(found[0]), unit, who, IntervalWords([2]float64(found[1:]), Digits, ""))
}

// predictions compares the thresholds' prediction for each pair of chains with the verdict of its test over all listeners. A
// pair should be told apart by jitter where one chain exceeds the upper end of the lowest threshold's interval and the other
// is below the lower end; it should not where both are below the lower end of every kind that has a threshold.
func predictions(chains []Chain, rows []Row, all []Threshold) []Prediction {
	var by []Metric
	for _, m := range []Metric{RandomJitter, DeterministicJitter} {
		if _, _, found := lowest(all, m); found {
			by = append(by, m)
		}
	}
	if by == nil {
		return nil
	}
	named := byName(chains)
	best := map[string]Row{}
	var order []string
	for _, r := range rows {
		if r.Treatment != "" || r.A == r.B || r.Kind == "group" {
			continue
		}
		have, known := best[r.Comparison]
		if !known {
			order = append(order, r.Comparison)
		}
		if !known || r.Kind == "all" || have.Kind != "all" && r.Verdict == HeardIt {
			best[r.Comparison] = r
		}
	}
	var out []Prediction
	for _, name := range order {
		r := best[name]
		p := Prediction{Comparison: r.Comparison, A: r.A, B: r.B, Excerpt: r.Excerpt, Verdict: r.Verdict, By: by}
		p.Predicted = predicted(named[r.A], named[r.B], by, all)
		p.Agreement = agreement(p.Predicted, r.Verdict)
		p.Says = p.words()
		out = append(out, p)
	}
	return out
}

func predicted(a, b Chain, by []Metric, all []Threshold) string {
	below := true
	for _, m := range by {
		least, _, _ := lowest(all, m)
		va, _ := a.sizeOf(m)
		vb, _ := b.sizeOf(m)
		low, high := least.ThresholdInterval[0], least.ThresholdInterval[1]
		above := func(v float64, c Chain) bool { _, bound := c.sizeOf(m); return v > high && !bound }
		if above(va, a) && vb < low || above(vb, b) && va < low {
			return ToldApart
		}
		below = below && va < low && vb < low
	}
	if below {
		return NotToldApart
	}
	return Open
}

func agreement(predicted string, v Verdict) string {
	switch {
	case predicted == ToldApart && v == HeardIt, predicted == NotToldApart && v == RuledOut:
		return Agrees
	case predicted == ToldApart && v == RuledOut, predicted == NotToldApart && v == HeardIt:
		return Surprise
	}
	return Open
}

func (p Prediction) words() string {
	var names []string
	for _, m := range p.By {
		name, _ := m.Words()
		names = append(names, name)
	}
	kinds := strings.Join(names, " and ")
	says := map[string]string{
		ToldApart:    "one chain's " + kinds + " is above the lowest threshold found here and the other's below it: they should be told apart",
		NotToldApart: "both chains' " + kinds + " is below the lowest threshold found here: by that they should not be told apart",
		Open:         "the thresholds and figures at hand do not say whether they should be told apart",
	}[p.Predicted]
	says = fmt.Sprintf("%s: %s; the test says %s", p.Comparison, says, p.Verdict)
	switch {
	case p.Agreement == Agrees:
		return says + ": they agree"
	case p.Agreement == Surprise && p.Predicted == NotToldApart:
		return says + ": a surprise, look for another difference"
	case p.Agreement == Surprise:
		return says + ": a surprise, look whether the test had another excerpt, level or listener than the threshold"
	}
	return says
}

// Published is a threshold from the literature, in ps RMS. It was found by other methods, with other signals and listeners: a range for
// orientation, not a standard.
type Published struct {
	Metric   Metric  `json:"metric"`
	LowPS    float64 `json:"low_ps_rms"`
	HighPS   float64 `json:"high_ps_rms"` // as low, where the source gives one figure
	Citation string  `json:"citation"`
}

// PublishedThresholds returns the thresholds of jitter that were read in public texts, second hand where the citation says so. Findings
// known only from memory are left out.
func PublishedThresholds() []Published {
	const white, line = 180 / 1.7320508075688772, 20 / math.Sqrt2
	return []Published{
		{RandomJitter, 35000, 35000, "35 ns RMS: threshold of impairment, most critical material, mono; Manson, BBC Research Department, as reported by Chris Dunn and Hawksford, who call it unrealistically high."},
		{RandomJitter, 10000, 20000, "20 ns RMS on music (10 ns on tones): the lowest audible; Benjamin and Gannon, read in a second-hand summary that does not give the kind of jitter."},
		{RandomJitter, white, white, "180 ps peak of white, rectangular jitter (104 ps RMS) on a full-scale 20 kHz tone: a model without listeners that ignores masking; Chris Dunn and Hawksford, AES 93rd Convention, 1992."},
		{DeterministicJitter, line, line, "20 ps peak (14 ps RMS), the worst single line (22 kHz tone, 18.5 kHz jitter): a model without listeners that ignores masking; Chris Dunn and Hawksford, AES 93rd Convention, 1992."},
	}
}
