package link

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"heardiff/stats"
	"heardiff/trials"
)

// Threshold is how large a dose a listener, a group or all need, from the threshold runs of the study. Doses are in Unit; levels in dB are
// 20·log10 of them, or the dose itself where it is a level. NaN: not measurable.
type Threshold struct {
	What     string `json:"what"`     // what was put in: "random jitter, 10 to 20000 Hz"
	Quantity string `json:"quantity"` // the ladder's kind: random-jitter, periodic-jitter, noise or gain
	Unit     string `json:"unit"`
	// BandHz are the two frequencies between which jitter lies, equal for periodic jitter; nil: not jitter, or not known.
	BandHz   []float64 `json:"band_hz"`
	Chain    string    `json:"chain"`
	Excerpt  string    `json:"excerpt"`
	Chance   float64   `json:"chance"` // a guesser's
	Kind     string    `json:"kind"`   // listener, group, all
	Listener string    `json:"listener"`
	Group    string    `json:"group"`
	// Listeners is how many have a threshold that counts here, WithoutOne how many have no threshold that their answers bound on both sides;
	// those are in no mean. LeftOut counts the sessions that a control or a mark makes void.
	Listeners  int  `json:"listeners"`
	WithoutOne int  `json:"listeners_without_threshold"`
	LeftOut    int  `json:"sessions_left_out"`
	Trials     int  `json:"trials"`
	Simulated  bool `json:"simulated"`
	Silent     bool `json:"silent"`
	// Threshold is the dose at which half of what can be distinguished is distinguished; for several listeners, the mean of theirs in dB. The
	// 95 % interval of one listener is the wider of the two posterior intervals, one under each prior; for several it is Hartung and Knapp's,
	// which allows for listeners who differ.
	Threshold         float64    `json:"threshold"`
	ThresholdInterval [2]float64 `json:"threshold_interval"`
	// ThresholdPeak is the peak of periodic jitter; NaN for everything else, which has no fixed peak.
	ThresholdPeak float64    `json:"threshold_peak"`
	ThresholdDB   float64    `json:"threshold_db"`
	IntervalDB    [2]float64 `json:"threshold_interval_db"`
	// StandardErrorDB is the posterior standard deviation of a listener's threshold, by which the mean of several weighs it; NaN for several.
	StandardErrorDB float64 `json:"threshold_se_db"`
	// BelowMusicDB is how far what the threshold dose changes lies below the level of the music.
	BelowMusicDB float64 `json:"below_music_db"`
	Slope        float64 `json:"slope"`
	Lapse        float64 `json:"lapse"`
	// BetweenSDDB is the standard deviation of thresholds over listeners, in dB; NaN for one.
	BetweenSDDB float64 `json:"threshold_between_sd_db"`
	// FitP is how often answers that follow the curve deviate from it as much as these: small where it does not fit. NaN for several.
	FitP   float64          `json:"p_fit"`
	Points []ThresholdPoint `json:"points"`
	Curve  []CurvePoint     `json:"curve"`
	Says   string           `json:"says"`
}

// ThresholdPoint holds the answers at one dose.
type ThresholdPoint struct {
	Dose       float64    `json:"dose"`
	LevelDB    float64    `json:"level_db"`
	Correct    int        `json:"correct"`
	Trials     int        `json:"trials"`
	Proportion float64    `json:"proportion"`
	Interval   [2]float64 `json:"interval"` // Clopper–Pearson, 95 %
}

// ladder identifies what a threshold is for: answers on other ladders say nothing about it.
type ladder struct {
	what, quantity, unit, chain, excerpt string
	band                                 [2]float64 // zeros: see Threshold.BandHz
	chance                               float64
}

func bandOf(t trials.Track) (band [2]float64) {
	copy(band[:], t.BandHz)
	return band
}

func (l ladder) bandHz() []float64 {
	if l.band == [2]float64{} {
		return nil
	}
	return l.band[:]
}

// rung is a dose of a ladder, and what it changes.
type rung struct{ dose, levelDB, changeDB float64 }

// climber is one listener's answers on a ladder.
type climber struct {
	listener, group   string
	simulated, silent bool
	counts            map[float64]stats.Count // by level
	leftOut           int
}

// who separates the real sessions of a listener from simulated and silent ones.
func (c climber) who() [3]any { return [3]any{c.listener, c.simulated, c.silent} }

// climbed is all answers on one ladder.
type climbed struct {
	ladder
	rungs    []rung // rising
	climbers []*climber
}

// thresholds returns the thresholds of the study: for each ladder those of the listeners, of the groups and of all together. Training
// sessions are left out.
func thresholds(results []Heard) ([]Threshold, error) {
	var out []Threshold
	for _, c := range gatherClimbs(results) {
		all, err := c.thresholds()
		if err != nil {
			return nil, fmt.Errorf("link: thresholds of %s: %w", c.what, err)
		}
		out = append(out, all...)
	}
	return out, nil
}

// gatherClimbs adds up the threshold runs by ladder and listener. A listener in whom something leaks, or a session with a mark that voids
// it, is left out; a session whose plain dose was missed is not: a listener who does not hear it has a high threshold.
func gatherClimbs(results []Heard) []*climbed {
	leaking := leaks(results)
	var all []*climbed
	for _, h := range results {
		run := h.Plan.Threshold
		if run == nil || run.Training {
			continue
		}
		_, leaks := leaking[h.Listener]
		for _, t := range run.Tracks {
			first, ok := tallyOf(h, t.Rungs[0].Comparison)
			if !ok {
				continue
			}
			c := climbedOf(&all, ladder{t.Name, t.Quantity, t.Unit, first.Comparison.A, first.Comparison.Excerpt, bandOf(t), h.Plan.Design.Chance()})
			of := c.climberOf(climber{listener: h.Listener, group: h.Group, simulated: h.Simulated, silent: h.Silent})
			if leaks || h.voidMark() != "" {
				of.leftOut++
				continue
			}
			for _, r := range t.Rungs {
				c.meet(rung{r.Dose, r.LevelDB, r.ChangeDB})
				if tally, ok := tallyOf(h, r.Comparison); ok {
					n := of.counts[r.LevelDB]
					of.counts[r.LevelDB] = stats.Count{Correct: n.Correct + tally.Correct, Trials: n.Trials + tally.Trials}
				}
			}
		}
	}
	return all
}

func tallyOf(h Heard, comparison string) (trials.Tally, bool) {
	i := slices.IndexFunc(h.Tallies, func(t trials.Tally) bool { return t.Comparison.Name == comparison })
	if i < 0 {
		return trials.Tally{}, false
	}
	return h.Tallies[i], true
}

func climbedOf(all *[]*climbed, l ladder) *climbed {
	for _, c := range *all {
		if c.ladder == l {
			return c
		}
	}
	c := &climbed{ladder: l}
	*all = append(*all, c)
	return c
}

func (c *climbed) climberOf(who climber) *climber {
	for _, have := range c.climbers {
		if have.who() == who.who() {
			return have
		}
	}
	who.counts = map[float64]stats.Count{}
	c.climbers = append(c.climbers, &who)
	return &who
}

// meet adds a rung that is not known yet.
func (c *climbed) meet(r rung) {
	at, known := slices.BinarySearchFunc(c.rungs, r, func(a, b rung) int { return cmp.Compare(a.levelDB, b.levelDB) })
	if !known {
		c.rungs = slices.Insert(c.rungs, at, r)
	}
}

func (c *climbed) thresholds() ([]Threshold, error) {
	if len(c.rungs) == 0 {
		return nil, nil // every session was left out
	}
	grid, err := c.grid()
	if err != nil {
		return nil, err
	}
	var own []Threshold
	for _, who := range c.climbers {
		t, err := c.listener(grid, who)
		if err != nil {
			return nil, err
		}
		own = append(own, t)
	}
	people := slices.ContainsFunc(own, func(t Threshold) bool { return !t.Simulated && !t.Silent })
	counted := func(t Threshold) bool { return !people || !t.Simulated && !t.Silent }
	out := slices.Clone(own)
	for _, g := range groupsIn(own) {
		out = append(out, c.mean("group", g, own, func(t Threshold) bool { return counted(t) && t.Group == g })...)
	}
	return append(out, c.mean("all", "", own, counted)...), nil
}

// grid returns the grid on which thresholds of the ladder are estimated.
func (c *climbed) grid() (*stats.ThresholdGrid, error) {
	levels := levelsOf(c.rungs)
	return stats.NewThresholdGrid(levels, c.chance, stats.PriorFor(levels[0], levels[len(levels)-1]))
}

// groupsIn returns the groups, where there are two or more.
func groupsIn(own []Threshold) []string {
	var groups []string
	for _, t := range own {
		if !slices.Contains(groups, t.Group) {
			groups = append(groups, t.Group)
		}
	}
	if len(groups) < 2 {
		return nil
	}
	slices.Sort(groups)
	return slices.DeleteFunc(groups, func(g string) bool { return g == "" })
}

// blank is a threshold of the ladder with every figure still unknown.
func (c *climbed) blank(kind string) Threshold {
	nan := math.NaN()
	none := [2]float64{nan, nan}
	return Threshold{What: c.what, Quantity: c.quantity, Unit: c.unit, BandHz: c.ladder.bandHz(), Chain: c.chain, Excerpt: c.excerpt, Chance: c.chance, Kind: kind,
		Threshold: nan, ThresholdInterval: none, ThresholdPeak: nan, ThresholdDB: nan, IntervalDB: none, StandardErrorDB: nan, BelowMusicDB: nan,
		Slope: nan, Lapse: nan, BetweenSDDB: nan, FitP: nan}
}

// fitDraws is how many simulated data sets the goodness of fit is judged by.
const fitDraws = 999

func (c *climbed) listener(grid *stats.ThresholdGrid, who *climber) (Threshold, error) {
	t := c.blank("listener")
	t.Listener, t.Group, t.Listeners, t.LeftOut = who.listener, who.group, 1, who.leftOut
	t.Simulated, t.Silent = who.simulated, who.silent
	counts := make([]stats.Count, len(c.rungs))
	for i, r := range c.rungs {
		counts[i] = who.counts[r.levelDB]
	}
	e, err := grid.Estimate(counts)
	if err != nil {
		return t, err
	}
	t.Trials = e.Trials
	c.answered(&t, counts)
	if e.Trials == 0 {
		t.Listeners = 0
		t.Says = t.words()
		return t, nil
	}
	t.IntervalDB, t.ThresholdDB, t.StandardErrorDB, t.Slope, t.Lapse = e.IntervalDB, e.ThresholdDB, e.StandardErrorDB, e.Slope, e.Lapse
	c.scale(&t)
	if math.IsNaN(t.ThresholdDB) {
		t.Listeners, t.WithoutOne, t.Slope, t.Lapse = 0, 1, math.NaN(), math.NaN()
		t.Says = t.words()
		return t, nil
	}
	t.FitP = e.FitP(levelsOf(c.rungs), counts, fitDraws, 1)
	c.draw(&t, e.At)
	t.Says = t.words()
	return t, nil
}

func levelsOf(rungs []rung) []float64 {
	var l []float64
	for _, r := range rungs {
		l = append(l, r.levelDB)
	}
	return l
}

// answered adds the points at which there are answers.
func (c *climbed) answered(t *Threshold, counts []stats.Count) {
	for i, n := range counts {
		if n.Trials == 0 {
			continue
		}
		p := ThresholdPoint{Dose: c.rungs[i].dose, LevelDB: c.rungs[i].levelDB, Correct: n.Correct, Trials: n.Trials,
			Proportion: float64(n.Correct) / float64(n.Trials), Interval: [2]float64{math.NaN(), math.NaN()}}
		if iv, err := stats.ProportionIntervals(n.Correct, n.Trials, 0.95); err == nil {
			p.Interval = iv.ClopperPearson
		}
		t.Points = append(t.Points, p)
	}
}

// draw adds the curve, from the lowest rung to the highest.
func (c *climbed) draw(t *Threshold, at func(levelDB float64) float64) {
	low, high := c.rungs[0].levelDB, c.rungs[len(c.rungs)-1].levelDB
	for i := range 101 {
		level := low + (high-low)*float64(i)/100
		t.Curve = append(t.Curve, CurvePoint{c.dose(level), at(level)})
	}
}

// levelled reports whether the doses themselves are levels in dB.
func (c *climbed) levelled() bool {
	return c.rungs[0].dose == c.rungs[0].levelDB && c.rungs[len(c.rungs)-1].dose == c.rungs[len(c.rungs)-1].levelDB
}

// dose returns the dose of a level.
func (c *climbed) dose(levelDB float64) float64 {
	if c.levelled() {
		return levelDB
	}
	return math.Pow(10, levelDB/20)
}

// scale turns the levels of a threshold into doses, and says how far below the music they lie.
func (c *climbed) scale(t *Threshold) {
	t.Threshold = c.dose(t.ThresholdDB)
	t.ThresholdInterval = [2]float64{c.dose(t.IntervalDB[0]), c.dose(t.IntervalDB[1])}
	if t.Quantity == "periodic-jitter" {
		t.ThresholdPeak = math.Sqrt2 * t.Threshold
	}
	t.BelowMusicDB = -c.change(t.ThresholdDB)
}

// change returns the level of what a dose changes, relative to the music: interpolated linearly between two rungs, and extrapolated from
// the two nearest beyond the ends.
func (c *climbed) change(levelDB float64) float64 {
	i := min(max(1, len(c.rungs)-1), max(1, slices.IndexFunc(c.rungs, func(r rung) bool { return r.levelDB >= levelDB })))
	if levelDB > c.rungs[len(c.rungs)-1].levelDB {
		i = len(c.rungs) - 1
	}
	a, b := c.rungs[i-1], c.rungs[i]
	return a.changeDB + (b.changeDB-a.changeDB)*(levelDB-a.levelDB)/(b.levelDB-a.levelDB)
}

// mean returns the mean threshold of several listeners; none if only one has a threshold that counts.
func (c *climbed) mean(kind, group string, own []Threshold, counts func(Threshold) bool) []Threshold {
	t := c.blank(kind)
	t.Listener, t.Group = Everybody, group
	var effects []stats.Effect
	sum := make([]stats.Count, len(c.rungs))
	var slope, lapse float64
	for _, of := range own {
		if !counts(of) {
			continue
		}
		t.LeftOut, t.Trials = t.LeftOut+of.LeftOut, t.Trials+of.Trials
		t.Simulated, t.Silent = t.Simulated || of.Simulated, t.Silent || of.Silent
		c.addPoints(sum, of)
		if of.Listeners == 0 {
			t.WithoutOne += of.WithoutOne
			continue
		}
		t.Listeners++
		slope, lapse = slope+math.Log(of.Slope), lapse+of.Lapse
		effects = append(effects, stats.Effect{Site: of.Listener, Estimate: of.ThresholdDB, Variance: of.StandardErrorDB * of.StandardErrorDB})
	}
	if t.Listeners+t.WithoutOne < 2 {
		return nil
	}
	c.answered(&t, sum)
	if m, err := stats.CombineEffects(effects, 0.95); err == nil {
		n := float64(len(effects))
		t.ThresholdDB, t.IntervalDB = m.RestrictedMaximum.Mean, m.RestrictedMaximum.HartungKnapp
		t.BetweenSDDB, t.Slope, t.Lapse = math.Sqrt(m.RestrictedMaximum.Tau2), math.Exp(slope/n), lapse/n
		c.scale(&t)
	}
	t.Says = t.words()
	return []Threshold{t}
}

// addPoints adds a listener's answers to the sums by rung.
func (c *climbed) addPoints(sum []stats.Count, of Threshold) {
	for _, p := range of.Points {
		i := slices.IndexFunc(c.rungs, func(r rung) bool { return r.levelDB == p.LevelDB })
		sum[i].Correct, sum[i].Trials = sum[i].Correct+p.Correct, sum[i].Trials+p.Trials
	}
}

// words says what the threshold is, and whose.
func (t Threshold) words() string {
	return fmt.Sprintf("%s in %s, %s: %s", t.What, t.Excerpt, listenersOf(t.Kind, t.Listener, t.Group), t.found())
}

// listenersOf names the listeners to whom a threshold of a kind belongs.
func listenersOf(kind, listener, group string) string {
	switch kind {
	case "group":
		return "group " + group
	case "all":
		return "all listeners"
	}
	return "listener " + listener
}

// OwnWords describes the threshold to its own listener.
func (t Threshold) OwnWords() string { return fmt.Sprintf("%s: %s", t.What, t.found()) }

func (t Threshold) found() string {
	if math.IsNaN(t.ThresholdDB) {
		return t.boundWords()
	}
	what := "threshold"
	if t.Kind != "listener" {
		what = fmt.Sprintf("mean threshold of %d", t.Listeners)
		if t.WithoutOne > 0 {
			what += fmt.Sprintf(" (%d more have none: their answers do not bound it on both sides)", t.WithoutOne)
		}
	}
	is, unit := Scaled(t.Unit, t.Threshold, t.ThresholdInterval[0], t.ThresholdInterval[1])
	says := fmt.Sprintf("%s %s %s, %s; what it changes lies %.0f dB below the music", what, Digits(is[0]), unit, IntervalWords([2]float64(is[1:]), Digits, ""), t.BelowMusicDB)
	if t.Shallow() {
		says += "; hearing grows so slowly with the dose that it is hard to distinguish from lapses: rely on the interval, since the threshold itself may be a decibel or two off on average"
	}
	return says
}

// shallowSlope is the slope below which the bias of a threshold may exceed a decibel, by the simulations in the package comment of stats.
const shallowSlope = 1

// Shallow reports whether a listener's chance of a right answer grows so slowly with the dose, by a slope below shallowSlope, that answers hardly
// distinguish it from lapses: the threshold then may have a bias of a decibel or two, downwards without lapses and upwards with them. The package comment of stats has the figures.
func (t Threshold) Shallow() bool { return t.Kind == "listener" && t.Slope < shallowSlope }

// boundWords says on which side the answers bound a threshold.
func (t Threshold) boundWords() string {
	ends, unit := inWords(t.Unit, t.ThresholdInterval[:]...)
	switch {
	case t.Kind != "listener":
		return "fewer than two listeners have a threshold: there is no mean"
	case t.Trials == 0 && t.LeftOut > 0:
		return "left out: negative controls were passed, or something is known against the session's blindness"
	case !math.IsNaN(t.ThresholdInterval[0]):
		return fmt.Sprintf("no threshold: the answers do not bound it from above; it is above %s %s (97.5 %%)", ends[0], unit)
	case !math.IsNaN(t.ThresholdInterval[1]):
		return fmt.Sprintf("no threshold: the answers do not bound it from below; it is below %s %s (97.5 %%)", ends[1], unit)
	}
	return "the answers give no threshold"
}
