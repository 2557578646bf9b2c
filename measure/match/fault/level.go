package fault

import (
	"fmt"
	"math"
	"slices"

	"heardiff/measure/match/fit"
	"heardiff/measure/spectrum"
	"heardiff/stats/warning"

	"gonum.org/v1/gonum/stat"
)

// What a level is estimated from, and which change is warned of.
const (
	// leastChangeDB is the change that is said: half of what a pair may differ by (common practice, no source).
	leastChangeDB = 0.05
	// sure is how many standard errors make a change clear, whether estimated from the scatter over time or over the bands:
	// with 31 bands and a split at any second, by chance in less than one pair of a thousand if they scatter as noise does.
	sure = 6
)

// change is a level that does not hold: from frame at of A on, or slowly throughout.
type change struct {
	channel int // from 1; 0: all
	at      int
	db      float64
	slow    bool
}

// changes returns where the level of B against A changes, in all channels alike or by channel.
func (r Evidence) changes() []change {
	var found []change
	for c := range r.Stretches {
		if d, ok := r.change(c); ok {
			d.channel = c + 1
			found = append(found, d)
		}
	}
	unlike := func(d change) bool { return !d.like(found[0], int(r.Rate)) }
	if len(found) == len(r.Stretches) && !slices.ContainsFunc(found, unlike) {
		found[0].channel = 0
		return found[:1]
	}
	return found
}

// warning puts a change into words.
func (d change) warning(t clock) warning.Warning {
	who := "B"
	if d.channel > 0 {
		who = fmt.Sprintf("channel %d of B", d.channel)
	}
	if d.slow {
		return warning.Newf(LevelDrift, "the level of %s drifts by %+.2f dB against A from start to end: it does not hold", who, d.db).In(d.channel).Of(d.db, "dB")
	}
	at := t.seconds(d.at)
	return warning.Newf(LevelStep, "the level of %s changes by %+.2f dB against A about %.1f s into A: it does not hold", who, d.db, at).In(d.channel).At(at).Of(d.db, "dB")
}

// like reports whether two channels change alike, to a second.
func (d change) like(o change, second int) bool {
	return math.Abs(d.db-o.db) < leastChangeDB && d.slow == o.slow && (d.slow || max(d.at-o.at, o.at-d.at) <= second)
}

// change looks for one change of level in channel c: where before and after differ most, over seconds. What a filter does
// is the same before and after in every band; where the music moves within a band, bands disagree about the change.
func (r Evidence) change(c int) (change, bool) {
	bands := r.courseOf(c)
	series, second := together(bands)
	at := split(series)
	if at == 0 {
		return change{}, false
	}
	db, se := agreed(bands, second[at])
	if !(math.Abs(db) >= leastChangeDB && math.Abs(db) > sure*se) {
		return change{}, false
	}
	found := change{at: r.BlockGains[0].At + second[at]*r.stretch(), db: db}
	if drift, ok := slowly(series, at); ok {
		found.slow, found.db = true, drift
	}
	return found, math.Abs(found.db) >= leastChangeDB
}

// together returns the level that all bands show by second, and which seconds those are in which any does.
func together(bands []bandCourse) (series []float64, second []int) {
	if len(bands) == 0 {
		return nil, nil
	}
	for k := range bands[0].seconds {
		sum, weight := 0.0, 0.0
		for _, b := range bands {
			if v := b.seconds[k]; !math.IsNaN(v) {
				sum, weight = sum+b.weight*(v-b.middle), weight+b.weight
			}
		}
		if weight > 0 {
			series, second = append(series, sum/weight), append(second, k)
		}
	}
	return series, second
}

// split returns where the series before and after differ most, 0 where they differ by no more than the scatter.
func split(series []float64) int {
	n := len(series)
	if n < leastSeconds {
		return 0
	}
	best, at := sure*scatterOf(series), 0
	for k := 1; k < n; k++ {
		d := math.Abs(stat.Mean(series[k:], nil) - stat.Mean(series[:k], nil))
		if v := d * math.Sqrt(float64(k*(n-k))/float64(n)); v > best {
			best, at = v, k
		}
	}
	return at
}

const (
	// mostLevelDB is the level of B against A beyond which a band of a block holds something else than the music. A judgement, no source;
	// TestABandsCourseIsKnownInEnoughSeconds holds it.
	mostLevelDB = 20
	// leastSeconds, and as many bands, are needed to distinguish a change from scatter, and a band must be known in one of knownOf seconds.
	// A judgement, no source; TestABandsCourseIsKnownInEnoughSeconds holds them.
	leastSeconds, knownOf = 4, 4
)

// bandCourse is the level of one band by second, NaN where it is not known.
type bandCourse struct {
	seconds        []float64
	middle, weight float64 // the median; and 1/scatter²
}

// stretch is over how many frames a level is averaged: a second, or an eighth of a short capture.
func (r Evidence) stretch() int {
	return max(1, min(int(r.Rate), (r.BlockGains[len(r.BlockGains)-1].At-r.BlockGains[0].At)/8))
}

// courseOf returns the bands of channel c of which enough is known.
func (r Evidence) courseOf(c int) []bandCourse {
	if len(r.BlockGains) == 0 {
		return nil
	}
	first, stretch := r.BlockGains[0].At, r.stretch()
	count := 1 + (r.BlockGains[len(r.BlockGains)-1].At-first)/stretch
	var out []bandCourse
	for band := range r.BlockGains[0].DB[c] {
		parts := make([][]float64, count)
		for _, l := range r.BlockGains {
			if v := l.DB[c][band]; !math.IsNaN(v) && math.Abs(v) < mostLevelDB {
				k := (l.At - first) / stretch
				parts[k] = append(parts[k], v)
			}
		}
		b := bandCourse{seconds: make([]float64, count)}
		var known []float64
		for k, p := range parts {
			b.seconds[k] = math.NaN()
			if len(p) > 0 {
				b.seconds[k] = spectrum.Median(p)
				known = append(known, b.seconds[k])
			}
		}
		if len(known) < max(leastSeconds, count/knownOf) {
			continue
		}
		const finest = 0.003 // dB: no band decides alone
		b.middle, b.weight = spectrum.Median(known), 1/(math.Pow(scatterOf(known), 2)+finest*finest)
		out = append(out, b)
	}
	return out
}

// scatterOf returns the standard deviation of x from the median difference of neighbours, which one step does not raise;
// no less than rounding.
func scatterOf(x []float64) float64 {
	var steps []float64
	for i := 1; i < len(x); i++ {
		steps = append(steps, math.Abs(x[i]-x[i-1]))
	}
	return spectrum.Deviation(steps)/math.Sqrt2 + 1e-6
}

// agreed returns the change at second k on which the bands agree, and its standard error from how far they disagree.
func agreed(bands []bandCourse, k int) (db, se float64) {
	var steps, weights []float64
	sum, all := 0.0, 0.0
	for _, b := range bands {
		before, after := known(b.seconds[:k]), known(b.seconds[k:])
		if len(before) == 0 || len(after) == 0 {
			continue
		}
		d := stat.Mean(after, nil) - stat.Mean(before, nil)
		steps, weights = append(steps, d), append(weights, b.weight)
		sum, all = sum+b.weight*d, all+b.weight
	}
	if len(steps) < leastSeconds {
		return 0, math.Inf(1)
	}
	db = sum / all
	miss := 0.0
	for i, d := range steps {
		miss += math.Pow(weights[i]*(d-db), 2)
	}
	return db, math.Sqrt(miss) / all
}

func known(x []float64) []float64 {
	return slices.DeleteFunc(slices.Clone(x), math.IsNaN)
}

// slowly returns the change from end to end of a straight line through x, and whether that fits it better than a step at k.
func slowly(x []float64, k int) (drift float64, ok bool) {
	line := fit.New()
	for i, v := range x {
		line.Add(float64(i), v, 1)
	}
	base, slope := line.Solve()
	before, after := stat.Mean(x[:k], nil), stat.Mean(x[k:], nil)
	var bent, stepped float64
	for i, v := range x {
		level := before
		if i >= k {
			level = after
		}
		stepped += (v - level) * (v - level)
		bent += math.Pow(v-base-slope*float64(i), 2)
	}
	return slope * float64(len(x)), bent < stepped
}
