package link

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"heardiff/stats"
)

// ThresholdDifference compares the thresholds of two ladders that differ in one respect: the kind of jitter, its band or frequency, or the
// excerpt. It is B's threshold less A's in dB: below 0, less of B is needed. NaN: not measurable.
type ThresholdDifference struct {
	// Of is the respect in which the ladders differ: see the constants.
	Of       string `json:"of"`
	A        string `json:"a"` // what was put in
	B        string `json:"b"`
	AExcerpt string `json:"a_excerpt"`
	BExcerpt string `json:"b_excerpt"`
	Chain    string `json:"chain"`
	Kind     string `json:"kind"` // listener, group, all
	Listener string `json:"listener"`
	Group    string `json:"group"`
	// Listeners is how many have both thresholds, WithoutOne how many worked through both ladders and lack one of the two.
	Listeners  int  `json:"listeners"`
	WithoutOne int  `json:"listeners_without_difference"`
	Simulated  bool `json:"simulated"`
	Silent     bool `json:"silent"`
	// DifferenceDB has a 95 % interval: for one listener from the two posteriors (see between); for several, whose own differences are paired,
	// Hartung and Knapp's.
	DifferenceDB float64    `json:"difference_db"`
	IntervalDB   [2]float64 `json:"difference_interval_db"`
	// StandardErrorDB is the standard error of one listener's difference, by which the mean of several weighs it; NaN for several.
	StandardErrorDB float64 `json:"difference_se_db"`
	// BetweenSDDB is the standard deviation of the difference over listeners; NaN for one.
	BetweenSDDB float64 `json:"difference_between_sd_db"`
	Says        string  `json:"says"`
}

// The respects in which two ladders may differ.
const (
	RandomAgainstDeterministic = "random against deterministic"
	CloseInAgainstSpread       = "close-in against spread"    // random jitter in two bands
	LowAgainstHighFrequency    = "low against high frequency" // periodic jitter at two frequencies
	BetweenExcerpts            = "between excerpts"
)

// respect returns the respect in which two thresholds differ, and which of them is A; "" if they cannot be compared: both doses must have
// the same unit and go into the same chain.
func respect(s, t Threshold) (of string, a, b Threshold) {
	if s.Unit != t.Unit || s.Chain != t.Chain || s.Chance != t.Chance {
		return "", s, t
	}
	inOrder := func(of string, first bool) (string, Threshold, Threshold) {
		if first {
			return of, s, t
		}
		return of, t, s
	}
	switch {
	case s.What == t.What && s.Excerpt != t.Excerpt:
		return BetweenExcerpts, s, t
	case s.Excerpt != t.Excerpt || s.What == t.What:
		return "", s, t
	case s.Quantity == "random-jitter" && t.Quantity == "periodic-jitter", s.Quantity == "periodic-jitter" && t.Quantity == "random-jitter":
		return inOrder(RandomAgainstDeterministic, s.Quantity == "random-jitter")
	case s.Quantity != t.Quantity:
		return "", s, t
	}
	// The band with the lower upper end is closer in; if the bands are not known, the first to come is A.
	closer := len(s.BandHz) < 2 || len(t.BandHz) < 2 || cmp.Or(cmp.Compare(s.BandHz[1], t.BandHz[1]), cmp.Compare(s.BandHz[0], t.BandHz[0])) <= 0
	switch s.Quantity {
	case "random-jitter":
		return inOrder(CloseInAgainstSpread, closer)
	case "periodic-jitter":
		return inOrder(LowAgainstHighFrequency, closer)
	}
	return "", s, t
}

// differences compares every pair of ladders that differ in one respect: by listener, by group, and over all.
func differences(all []Threshold) []ThresholdDifference {
	var ladders []Threshold
	for _, t := range all {
		if !slices.ContainsFunc(ladders, func(have Threshold) bool { return have.SameLadder(t) }) {
			ladders = append(ladders, t)
		}
	}
	var out []ThresholdDifference
	for i, s := range ladders {
		for _, t := range ladders[i+1:] {
			if of, a, b := respect(s, t); of != "" {
				out = append(out, differencesOf(of, listenersOn(all, a), listenersOn(all, b))...)
			}
		}
	}
	return out
}

// SameLadder reports whether two thresholds are of the same doses, in the same excerpt and by the same design.
func (t Threshold) SameLadder(o Threshold) bool {
	return t.What == o.What && t.Unit == o.Unit && t.Chain == o.Chain && t.Excerpt == o.Excerpt && t.Chance == o.Chance
}

func listenersOn(all []Threshold, ladder Threshold) []Threshold {
	return slices.DeleteFunc(slices.Clone(all), func(t Threshold) bool { return t.Kind != "listener" || !t.SameLadder(ladder) })
}

// differencesOf pairs the listeners of two ladders.
func differencesOf(of string, as, bs []Threshold) []ThresholdDifference {
	var own []ThresholdDifference
	for _, a := range as {
		for _, b := range bs {
			if a.Listener == b.Listener && a.Simulated == b.Simulated && a.Silent == b.Silent && a.Trials > 0 && b.Trials > 0 {
				own = append(own, between(of, a, b))
			}
		}
	}
	people := slices.ContainsFunc(own, func(d ThresholdDifference) bool { return !d.Simulated && !d.Silent })
	counted := func(d ThresholdDifference) bool { return !people || !d.Simulated && !d.Silent }
	out := slices.Clone(own)
	var groups []string
	for _, d := range own {
		groups = append(groups, d.Group)
	}
	slices.Sort(groups)
	if groups = slices.Compact(groups); len(groups) > 1 {
		for _, g := range groups {
			if g != "" {
				out = append(out, meanDifference("group", g, own, func(d ThresholdDifference) bool { return counted(d) && d.Group == g })...)
			}
		}
	}
	return append(out, meanDifference("all", "", own, counted)...)
}

// between is one listener's difference. The answers on the two ladders come from different trials, so that their errors are independent,
// and the distances from either threshold to the ends of its interval add in squares.
//
// ref: Zou & Donner (2008), Construction of confidence limits about effect measures: a general approach, Statistics in Medicine 27,
// equations 1 and 2.
func between(of string, a, b Threshold) ThresholdDifference {
	d := ThresholdDifference{Of: of, A: a.What, B: b.What, AExcerpt: a.Excerpt, BExcerpt: b.Excerpt, Chain: a.Chain, Kind: "listener", Listener: a.Listener, Group: a.Group,
		Simulated: a.Simulated, Silent: a.Silent, DifferenceDB: b.ThresholdDB - a.ThresholdDB,
		StandardErrorDB: math.Hypot(a.StandardErrorDB, b.StandardErrorDB), BetweenSDDB: math.NaN()}
	d.IntervalDB = [2]float64{d.DifferenceDB - math.Hypot(b.ThresholdDB-b.IntervalDB[0], a.IntervalDB[1]-a.ThresholdDB),
		d.DifferenceDB + math.Hypot(b.IntervalDB[1]-b.ThresholdDB, a.ThresholdDB-a.IntervalDB[0])}
	if d.Listeners = 1; math.IsNaN(d.DifferenceDB) {
		d.Listeners, d.WithoutOne = 0, 1
	}
	d.Says = d.words()
	return d
}

// meanDifference is the difference of several listeners; none if only one of them counts.
func meanDifference(kind, group string, own []ThresholdDifference, counts func(ThresholdDifference) bool) []ThresholdDifference {
	var d ThresholdDifference
	var effects []stats.Effect
	for _, of := range own {
		if !counts(of) {
			continue
		}
		d.Of, d.A, d.B, d.AExcerpt, d.BExcerpt, d.Chain = of.Of, of.A, of.B, of.AExcerpt, of.BExcerpt, of.Chain
		d.Simulated, d.Silent = d.Simulated || of.Simulated, d.Silent || of.Silent
		d.Listeners, d.WithoutOne = d.Listeners+of.Listeners, d.WithoutOne+of.WithoutOne
		if of.Listeners > 0 {
			effects = append(effects, stats.Effect{Site: of.Listener, Estimate: of.DifferenceDB, Variance: of.StandardErrorDB * of.StandardErrorDB})
		}
	}
	if d.Listeners+d.WithoutOne < 2 {
		return nil
	}
	nan := math.NaN()
	d.Kind, d.Listener, d.Group = kind, Everybody, group
	d.DifferenceDB, d.IntervalDB, d.StandardErrorDB, d.BetweenSDDB = nan, [2]float64{nan, nan}, nan, nan
	if m, err := stats.CombineEffects(effects, 0.95); err == nil {
		d.DifferenceDB, d.IntervalDB, d.BetweenSDDB = m.RestrictedMaximum.Mean, m.RestrictedMaximum.HartungKnapp, math.Sqrt(m.RestrictedMaximum.Tau2)
	}
	d.Says = d.words()
	return []ThresholdDifference{d}
}

func (d ThresholdDifference) words() string {
	who := listenersOf(d.Kind, d.Listener, d.Group)
	a, b := d.A, d.B
	if d.Of == BetweenExcerpts {
		a, b = d.A+" in "+d.AExcerpt, d.B+" in "+d.BExcerpt
	} else {
		who = "in " + d.AExcerpt + ", " + who
	}
	return fmt.Sprintf("%s (%s): %s", d.Of, who, d.found(a, b))
}

func (d ThresholdDifference) found(a, b string) string {
	if math.IsNaN(d.DifferenceDB) {
		return fmt.Sprintf("not known: the answers bound no threshold for %s, or none for %s", a, b)
	}
	is := fmt.Sprintf("%.1f dB above", d.DifferenceDB)
	if d.DifferenceDB < 0 {
		is = fmt.Sprintf("%.1f dB below", -d.DifferenceDB)
	}
	says := fmt.Sprintf("the threshold for %s is %s that for %s, %s", b, is, a, IntervalWords(d.IntervalDB, signed, "dB"))
	if !(d.IntervalDB[0] > 0) && !(d.IntervalDB[1] < 0) {
		says += ", so that either may be the lower"
	}
	if d.Kind != "listener" {
		says += fmt.Sprintf(" (mean of %d listeners", d.Listeners)
		if d.WithoutOne > 0 {
			says += fmt.Sprintf("; %d more lack one of the two", d.WithoutOne)
		}
		says += ")"
	}
	return says
}
