package stats

import (
	"fmt"
	"math"
	"slices"
)

// RatingCurve says how well ratings discriminate two kinds of trial: the area under the receiver operating characteristic
// is the probability that a rating drawn from the high kind exceeds one drawn from the low kind, ties counting half. It is
// 1/2 where ratings do not discriminate, and does not depend on where the listener sets the criteria.
type RatingCurve struct {
	Low  int     `json:"low_trials"`  // trials that should be rated low: same pairs, or wrong answers
	High int     `json:"high_trials"` // trials that should be rated high: different pairs, or right answers
	Area float64 `json:"area"`
	// Interval inverts the score test with the variance of Hanley and McNeil at the area tested; it is valid at 0 and 1 too.
	Interval       [2]float64    `json:"interval"`
	SE             float64       `json:"se"` // DeLong: 0 at an area of 0 or 1, where it means nothing
	DeLong         [2]float64    `json:"delong_interval"`
	SEHanleyMcNeil float64       `json:"se_hanley_mcneil"`
	Confidence     float64       `json:"confidence"`
	P              float64       `json:"p_value"` // one-sided, over all divisions of the ratings; normal where there are too many
	Exact          bool          `json:"exact"`
	Points         []RatingPoint `json:"points"` // from the strictest criterion to the laxest
}

// RatingPoint is the curve at one criterion: the shares of both kinds rated at or above it.
type RatingPoint struct {
	Rating         int     `json:"rating"`
	HitRate        float64 `json:"hit_rate"`
	FalseAlarmRate float64 `json:"false_alarm_rate"`
	ZDifference    float64 `json:"z_hit_minus_z_false_alarm"` // NaN where a rate is 0 or 1
}

// CompareRatings returns how well ratings discriminate high trials from low ones. It is an error if either kind is missing
// or confidence is not inside (0, 1).
//
// ref: Hanley & McNeil (1982); DeLong, DeLong & Clarke-Pearson (1988); Newcombe (2006) for intervals by inversion.
func CompareRatings(low, high []int, confidence float64) (RatingCurve, error) {
	if len(low) == 0 || len(high) == 0 {
		return RatingCurve{}, fmt.Errorf("stats: %d low and %d high ratings: some of both are needed", len(low), len(high))
	}
	if err := checkFraction("confidence", confidence); err != nil {
		return RatingCurve{}, err
	}
	s := newRatings(low, high)
	r := RatingCurve{Low: len(low), High: len(high), Confidence: confidence, Points: s.points()}
	r.Area, r.SE = s.area()
	m, n := float64(r.High), float64(r.Low)
	r.SEHanleyMcNeil = math.Sqrt(hanleyMcNeil(r.Area, m, n))
	z := normalUpperPoint(math.Log((1 - confidence) / 2))
	r.DeLong = [2]float64{math.Max(0, r.Area-z*r.SE), math.Min(1, r.Area+z*r.SE)}
	if r.SE == 0 {
		r.DeLong = [2]float64{math.NaN(), math.NaN()}
	}
	r.Interval = [2]float64{areaLower(r.Area, m, n, z), 1 - areaLower(1-r.Area, n, m, z)}
	r.P, r.Exact = s.test(r.Area)
	return r, nil
}

// ratings counts the trials of both kinds at each rating, from the lowest.
type ratings struct {
	values    []int
	low, high []int
	nLow      int
	nHigh     int
}

func newRatings(low, high []int) ratings {
	s := ratings{nLow: len(low), nHigh: len(high)}
	s.values = append(append(s.values, low...), high...)
	slices.Sort(s.values)
	s.values = slices.Compact(s.values)
	s.low, s.high = s.count(low), s.count(high)
	return s
}

func (s ratings) count(rated []int) []int {
	at := make([]int, len(s.values))
	for _, v := range rated {
		i, _ := slices.BinarySearch(s.values, v)
		at[i]++
	}
	return at
}

func (s ratings) points() []RatingPoint {
	var all []RatingPoint
	hits, alarms := 0, 0
	for i := len(s.values) - 1; i >= 0; i-- {
		hits, alarms = hits+s.high[i], alarms+s.low[i]
		h, f := float64(hits)/float64(s.nHigh), float64(alarms)/float64(s.nLow)
		p := RatingPoint{Rating: s.values[i], HitRate: h, FalseAlarmRate: f, ZDifference: math.NaN()}
		if h > 0 && h < 1 && f > 0 && f < 1 {
			p.ZDifference = normalQuantile(h) - normalQuantile(f)
		}
		all = append(all, p)
	}
	return all
}

// area returns the area and DeLong's standard error, from the spread of each trial's placement among the other kind.
func (s ratings) area() (area, se float64) {
	m, n := float64(s.nHigh), float64(s.nLow)
	below, above := 0.0, m
	var inLow, inHigh, squaresLow, squaresHigh float64
	for i := range s.values {
		above -= float64(s.high[i])
		placeHigh := (below + float64(s.low[i])/2) / n
		placeLow := (above + float64(s.high[i])/2) / m
		below += float64(s.low[i])
		inHigh += float64(s.high[i]) * placeHigh
		squaresHigh += float64(s.high[i]) * placeHigh * placeHigh
		inLow += float64(s.low[i]) * placeLow
		squaresLow += float64(s.low[i]) * placeLow * placeLow
	}
	area = inHigh / m
	return area, math.Sqrt(meanVariance(squaresHigh, area, m) + meanVariance(squaresLow, inLow/n, n))
}

// meanVariance returns the variance of the mean of k values from their squares and mean; 0 for a single value.
func meanVariance(squares, mean, k float64) float64 {
	if k < 2 {
		return 0
	}
	return math.Max(0, squares-k*mean*mean) / (k - 1) / k
}

// hanleyMcNeil returns the variance of the area estimated from m high and n low trials where the true area is a.
//
//	[a·(1 − a) + (m − 1)·(a/(2 − a) − a²) + (n − 1)·(2a²/(1 + a) − a²)] / (m·n)
func hanleyMcNeil(a, m, n float64) float64 {
	return (a*(1-a) + (m-1)*(a/(2-a)-a*a) + (n-1)*(2*a*a/(1+a)-a*a)) / (m * n)
}

// areaLower returns the lowest area that the score test does not reject, given the estimate found.
func areaLower(found, m, n, z float64) float64 {
	if found == 0 {
		return 0
	}
	excess := func(a float64) float64 { return found - a - z*math.Sqrt(math.Max(0, hanleyMcNeil(a, m, n))) }
	return rootBetween(excess, 0, math.Min(found, 1-1e-12)) // at 1 the variance is 0, which makes 1 a meaningless root
}

// test returns the probability of an area at least as large where ratings are assigned to trials at random.
func (s ratings) test(area float64) (p float64, exact bool) {
	k, n := s.nHigh, s.nHigh+s.nLow
	if cost := 2 * rankSumCost(k, n); cost <= rankSumLimit {
		return s.countDivisions(), true
	}
	m, low := float64(s.nHigh), float64(s.nLow)
	all, ties := m+low, 0.0
	for i := range s.values {
		t := float64(s.low[i] + s.high[i])
		ties += t * (t*t - 1)
	}
	variance := (all + 1 - ties/(all*(all-1))) / (12 * m * low)
	return math.Exp(lnNormalUpper((area - 0.5) / math.Sqrt(variance))), false
}

// countDivisions returns the share of all divisions of the trials into the same numbers of high and low ones whose area is
// at least the observed one, counted rating by rating. Twice the number of pairs won plus the ties is a whole number.
func (s ratings) countDivisions() float64 {
	k := s.nHigh
	won, seen := 0, 0 // twice the pairs won by the observed division; trials rated lower
	top := 2 * k * s.nLow
	ways := make([][]float64, k+1) // ways[j][u]: j high trials so far, u = twice the pairs won
	for j := range ways {
		ways[j] = make([]float64, top+1)
	}
	ways[0][0] = 1
	highSeen := 0
	for i := range s.values {
		t := s.low[i] + s.high[i]
		won += s.high[i] * (2*(seen-highSeen) + s.low[i])
		ways = addRating(ways, t, seen, s.nLow)
		seen, highSeen = seen+t, highSeen+s.high[i]
	}
	total, reached := 0.0, 0.0
	for u, w := range ways[k] {
		total += w
		if u >= won {
			reached += w
		}
	}
	return math.Min(1, reached/total)
}

// addRating extends the counts by t trials of one rating, of which any number may be high; seen trials are rated lower.
func addRating(ways [][]float64, t, seen, nLow int) [][]float64 {
	next := make([][]float64, len(ways))
	for j := range next {
		next[j] = make([]float64, len(ways[0]))
	}
	for j, row := range ways {
		lowSeen := seen - j
		if lowSeen < 0 || lowSeen > nLow {
			continue
		}
		for h := 0; h <= t && j+h < len(ways); h++ {
			choices := math.Exp(lnChooseOrNone(t, h))
			shift := h * (2*lowSeen + t - h)
			for u, w := range row {
				if w != 0 && u+shift < len(row) {
					next[j+h][u+shift] += w * choices
				}
			}
		}
	}
	return next
}
