package plot_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"heardiff/cmd/heardiff/internal/plot"
)

// charts returns one of every kind, crowded on purpose; every number is invented.
func charts() map[string]plot.Chart {
	response := plot.Curve{Name: "optical − bus"}
	for i := range 31 {
		response.Hz = append(response.Hz, 20*math.Pow(1000, float64(i)/30))
		response.Y = append(response.Y, -0.3*math.Pow(float64(i)/30, 6))
	}
	null := plot.Null{Title: "Null by octave"}
	for i := range 10 {
		null.Bands = append(null.Bands, plot.NullBand{LowHz: 22 * math.Pow(2, float64(i)), HighHz: 44 * math.Pow(2, float64(i)), DB: -104 + 6*float64(i)})
	}
	power := plot.Power{Title: "What 16 trials can find", Trials: 16, Smallest: 0.75}
	for i := range 101 {
		p := 0.5 + 0.005*float64(i)
		power.PTrue, power.Power = append(power.PTrue, p), append(power.Power, math.Pow((p-0.5)*2, 1.4))
	}
	transfer := plot.Transfer{Title: "Clock recovery on against off"}
	for i := range 13 {
		hz := 10 * math.Pow(10, float64(i)/4)
		transfer.Points = append(transfer.Points, plot.TransferPoint{Hz: hz, DB: math.Max(-46, -10*math.Log10(1+hz*hz/1e4)), AtFloor: i > 10})
	}
	return map[string]plot.Chart{
		"jitter": jitterChart(), "noise": noiseChart(), "stability": stabilityChart(),
		"response": plot.ResponseDifference{Title: "Response difference", Curves: []plot.Curve{response}, LimitDB: 0.1},
		"null":     null, "forest": forestChart(), "dose": doseChart(), "power": power, "transfer": transfer, "crowd": crowdChart(),
		"lines": plot.Lines{Title: "Mean of a channel (invented)", Across: "time, s", Along: "mean, millionths of full scale", Lines: []plot.Line{
			{Name: "player by bus", X: []float64{0, 1, 2, 3, 4}, Y: []float64{-3, 2, math.NaN(), 4, 2.5}},
			{Name: "player by optical link", X: []float64{0, 2, 4}, Y: []float64{11, 12, 14}}}},
		"flat":   plot.Lines{Title: "One value", Across: "time, s", Along: "mean", Lines: []plot.Line{{Name: "flat", X: []float64{1, 1}, Y: []float64{5, 5}}}},
		"empty":  plot.JitterSpectrum{Title: "Nothing measured"},
		"nobody": plot.Forest{Title: "No results", Chance: 0.5},
	}
}

// curve returns n points of a density that rises towards low frequencies.
func curve(rng *rand.Rand, name string, level, lo, hi float64, n int) plot.Curve {
	c := plot.Curve{Name: name}
	for i := range n {
		hz := lo * math.Pow(hi/lo, float64(i)/float64(n-1))
		c.Hz = append(c.Hz, hz)
		c.Y = append(c.Y, level*(1+40/hz)*(0.8+0.4*rng.Float64()))
	}
	return c
}

func jitterChart() plot.Chart {
	rng := rand.New(rand.NewPCG(1, 2))
	a, b := curve(rng, "player by bus", 0.6, 10, 10000, 3000), curve(rng, "player by optical link", 3, 10, 10000, 3000)
	floor := curve(rng, "recorder loop", 0.2, 10, 10000, 3000)
	a.Spurs = []plot.Spur{{Hz: 50, Y: 4}, {Hz: 100, Y: 9}, {Hz: 250, Y: 17, Inherent: true}, {Hz: 1000, Y: 3}}
	b.Spurs = []plot.Spur{{Hz: 50, Y: 5}, {Hz: 100, Y: 20}, {Hz: 102, Y: 18}, {Hz: 104, Y: 17}, {Hz: 300, Y: 64}, {Hz: 7350, Y: 30}}
	return plot.JitterSpectrum{Title: "Jitter of two chains (invented)", Chains: []plot.Curve{a, b}, Floor: &floor}
}

func noiseChart() plot.Chart {
	rng := rand.New(rand.NewPCG(3, 4))
	noise := func(name string, at float64) plot.Curve {
		c := curve(rng, name, 1, 20, 20000, 2000)
		for i := range c.Y {
			c.Y[i] = at + 3*c.Y[i]
		}
		return c
	}
	floor := noise("recorder loop", -172)
	return plot.Spectrum{Title: "Noise (invented)", Chains: []plot.Curve{noise("player by bus", -160), noise("player by optical link", -152)}, Floor: &floor}
}

func stabilityChart() plot.Chart {
	clock := func(name string, white, wander float64, floor float64) plot.Clock {
		c := plot.Clock{Name: name}
		for _, tau := range []float64{0.1, 0.2, 0.5, 1, 2, 5, 10} {
			y := math.Hypot(white/math.Sqrt(tau), wander*tau)
			c.Allan = append(c.Allan, plot.StabilityPoint{TauS: tau, Y: y, SE: 0.06 * y * math.Sqrt(tau), AtFloor: y < floor/tau*1.4})
			c.TDEV = append(c.TDEV, plot.StabilityPoint{TauS: tau, Y: 1e9 * y * tau / 3, AtFloor: y < floor/tau*1.4})
			c.MTIE = append(c.MTIE, plot.StabilityPoint{TauS: tau, Y: 4e9 * y * tau})
		}
		return c
	}
	s := plot.Stability{Title: "Stability of two clocks (invented)", Clocks: []plot.Clock{clock("player by bus", 2e-11, 4e-12, 1e-11), clock("player by optical link", 3e-10, 1e-10, 1e-11)},
		LimitName: "additive noise of player by bus (the limit of what can be measured)"}
	for _, tau := range []float64{0.1, 0.2, 0.5, 1, 2, 5, 10} {
		s.Limit = append(s.Limit, plot.StabilityPoint{TauS: tau, Y: 6e-12 / tau})
	}
	return s
}

func forestChart() plot.Chart {
	f := plot.Forest{Title: "Who heard the optical link (invented listeners)", Chance: 0.5, Smallest: 0.75, Notes: []string{"Exact 95 % intervals, two-sided."}}
	for i := range 9 {
		p := 0.35 + 0.07*float64(i)
		f.Rows = append(f.Rows, plot.ForestRow{Name: fmt.Sprintf("listener-%02d", i+1), Estimate: p, Lo: p - 0.22, Hi: min(1, p+0.2), Weight: 16, Counts: fmt.Sprintf("%d of 16", int(p*16)), Said: "undecided"})
	}
	f.Rows = append(f.Rows, plot.ForestRow{Name: "musicians, who train every day", Kind: plot.Group, Estimate: 0.66, Lo: 0.58, Hi: 0.75, Weight: 100, Counts: "66 of 100", Said: "heard"},
		plot.ForestRow{Name: "all", Kind: plot.Pooled, Estimate: 0.6, Lo: 0.55, Hi: 0.66, Weight: 200, Counts: "120 of 200", Said: "heard"})
	return f
}

func doseChart() plot.Chart {
	d := plot.Dose{Title: "Random jitter: how much is heard (invented)", XTitle: "random jitter, ps RMS", Chance: 0.5, Threshold: 20000, Lo: 12000, Hi: 34000,
		Published: []plot.Published{{From: 35000, To: 35000, Citation: "An invented citation that is long enough to be broken over several lines on a narrow screen, 1974"}, {From: 10000, To: 20000, Citation: "Another invented one, 1998"}}}
	rise := func(x float64) float64 { return 1 - 0.5*math.Exp2(-math.Pow(x/20000, 1.5)) }
	for i := range 8 {
		x := 500 * math.Pow(3, float64(i))
		d.Points = append(d.Points, plot.DosePoint{X: x, Y: rise(x), Lo: rise(x) - 0.12, Hi: min(1, rise(x)+0.1), Name: fmt.Sprintf("dose %d", i+1)})
	}
	for i := range 101 {
		x := 500 * math.Pow(2187, float64(i)/100)
		d.FitX, d.FitY = append(d.FitX, x), append(d.FitY, rise(x))
	}
	return d
}

// A published band is said and drawn from end to end, and no fit is in the key where none is drawn.
func TestPublishedBandsAreDrawn(t *testing.T) {
	d := doseChart().(plot.Dose)
	if said := d.Words().Description; !strings.Contains(said, "Published: 10000 to 20000, Another invented one") || !strings.Contains(said, "Published: 35000, An invented") {
		t.Error(said)
	}
	with := plot.SVG(d, 900)
	d.FitX, d.FitY = nil, nil
	without := plot.SVG(d, 900)
	if !strings.Contains(with, ">fit<") || strings.Contains(without, ">fit<") {
		t.Error("the key has a fit that is not drawn, or lacks the one that is")
	}
}

func crowdChart() plot.Chart {
	c := plot.Crowd{Title: "How ten thousand invented listeners spread", Notes: []string{"Each bin is one count of right answers."}}
	for i := range 21 {
		at := math.Exp(-math.Pow(float64(i-10)/3, 2))
		c.Bins = append(c.Bins, plot.CrowdBin{Lo: float64(i) / 21, Hi: float64(i+1) / 21, Observed: int(1700 * at), Guessing: 1800 * at})
	}
	return c
}

// Of a crowd the words count the listeners in bins that begin at 65 % right or above.
func TestTheWordsOfACrowdCountFromAShareOn(t *testing.T) {
	c := plot.Crowd{Bins: []plot.CrowdBin{{Lo: 0.6, Hi: 0.64, Observed: 100}, {Lo: 0.64, Hi: 0.66, Observed: 10}, {Lo: 0.66, Hi: 1, Observed: 3, Guessing: 2}}}
	if said := c.Words().Description; !strings.Contains(said, "From 65 % right up: 3 listeners, 2 guessers.") {
		t.Error(said)
	}
}
