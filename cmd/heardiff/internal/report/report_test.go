package report_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/cmd/heardiff/internal/report"
	"heardiff/stats/wire"
	"heardiff/trials"
	"heardiff/trials/link"
)

var look = flag.String("look", "", "write the page to this `file`, to be looked at")

// study is invented throughout: four chains, eight listeners, three comparisons.
func study(t testing.TB) report.Input {
	t.Helper()
	nan := math.NaN()
	chain := func(name, about, role string, cost, random, lines, noise float64) link.Chain {
		return link.Chain{Name: name, About: about, Role: role, Cost: cost, Figures: map[link.Metric][]link.Figure{
			link.RandomJitter:        {{Value: random, Limit: 9}, {Value: random * 1.02, Limit: 9}},
			link.RandomJitterLow:     {{Value: random * 0.4, Limit: 3}},
			link.DeterministicJitter: {{Value: lines, Limit: 2}}, link.Noise: {{Value: noise, Limit: -121}}, link.THDN: {{Value: -104, Limit: nan}}}}
	}
	in := link.Input{Title: "Does the optical link sound different?", Chains: []link.Chain{
		chain("bus", "the player’s bus, straight", "source", 0, 38, 4, -112),
		chain("optical", "cheap optical cable", "source", 12, 24000, 90, -111),
		chain("isolator", "galvanic isolator", "source", 180, 41, 5, -113),
		chain("network", "network player <b>&", "source", 640, 300, 60, -108),
		chain("recorder loop", "", "floor", nan, 9, 2, -121)}}
	counts := map[string][]int{"optical": {14, 15, 9, 16, 12, 8, 13, 15}, "isolator": {8, 9, 7, 10, 6, 8, 9, 7}, "network": {9, 8, 11, 7, 9, 10, 8, 6}}
	plan := trials.Plan{ID: "evening", Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.3}
	for _, b := range []string{"optical", "isolator", "network"} {
		plan.Comparisons = append(plan.Comparisons, trials.Comparison{Name: "bus against " + b, A: "bus", B: b, Excerpt: "strings", Trials: 16})
		in.Pairings = append(in.Pairings, link.Pairing{A: "bus", B: b, Excerpt: "strings", NullDB: -71, ResponseMaxDB: 0.04, LoudnessDifferenceLU: 0.01, LevelErrorDB: 0.003, OffsetErrorUS: 0.02, Dose: nan})
	}
	in.Pairings[2].ResponseMaxDB = 0.21
	var sessions []report.Session
	begun := time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)
	for i := range 8 {
		h := link.Heard{Listener: fmt.Sprintf("listener-%d", i+1), Group: []string{"players", "engineers"}[i%2], Simulated: true,
			Result: trials.Result{Session: fmt.Sprint(i), Plan: plan}}
		for k, b := range []string{"optical", "isolator", "network"} {
			h.Tallies = append(h.Tallies, trials.Tally{Comparison: plan.Comparisons[k], Trials: 16, Correct: counts[b][i]})
		}
		in.Results = append(in.Results, h)
		sessions = append(sessions, report.Session{Listener: h.Listener, Device: "an invented headphone amplifier", Begun: begun, Ended: begun, Simulated: true})
	}
	linked, err := link.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	return report.Input{Link: linked, Chains: in.Chains, Plans: []trials.Plan{plan}, Sessions: sessions, Pictures: pictures(), Made: begun,
		Command:  "heardiff report --out study.html",
		Captures: []report.Warned{{Means: "The level did not keep still.", Where: []string{"bus (tone), captures 4, 7"}, InFull: []string{"capture 4 (bus, tone): the level moves by 0.31 dB"}}},
		Excerpts: []report.Excerpt{{Name: "strings", Music: "plucked strings", StartS: 4, Seconds: 12, RateHz: 48000, NullDB: -71}}}
}

func pictures() report.Pictures {
	curve := func(name string, level float64) plot.Curve {
		c := plot.Curve{Name: name}
		for i := range 1000 {
			hz := 10 * math.Pow(1000, float64(i)/999)
			c.Hz, c.Y = append(c.Hz, hz), append(c.Y, level*(1+30/hz)*(1+0.2*math.Sin(float64(i*i))))
		}
		return c
	}
	bus, optical, floor := curve("bus", 0.4), curve("optical", 240), curve("recorder loop", 0.1)
	bus.Spurs, optical.Spurs = []plot.Spur{{Hz: 100, Y: 5}}, []plot.Spur{{Hz: 100, Y: 110}, {Hz: 250, Y: 17, Inherent: true}}
	response := plot.Curve{Name: "bus against network", Hz: []float64{20, 200, 2000, 20000}, Y: []float64{0, 0, -0.02, -0.21}}
	noise, noiseFloor := plot.Curve{Name: "bus", Hz: response.Hz, Y: []float64{-140, -150, -152, -152}, Spurs: []plot.Spur{{Hz: 50, Y: -108}}}, plot.Curve{Name: "recorder loop", Hz: response.Hz, Y: []float64{-150, -158, -160, -160}}
	transfer := plot.Transfer{Title: "Jitter of bus that optical still shows", Points: []plot.TransferPoint{{Hz: 50, DB: -3}, {Hz: 500, DB: -20}, {Hz: 5000, DB: -30, AtFloor: true}}}
	return report.Pictures{Kinds: []plot.Chart{plot.JitterSpectrum{Title: "Jitter of the chains", Chains: []plot.Curve{bus, optical}, Floor: &floor},
		plot.Spectrum{Title: "Noise of the chains", Chains: []plot.Curve{noise}, Floor: &noiseFloor}}, Pairs: []plot.Chart{transfer}, Responses: []plot.Curve{response},
		Nulls: []plot.Null{{Title: "Null by octave, bus against optical", Bands: []plot.NullBand{{LowHz: 22, HighHz: 44, DB: -90}, {LowHz: 44, HighHz: 88, DB: -84}, {LowHz: 88, HighHz: 176, DB: -80}}}}}
}

func write(t testing.TB, in report.Input) string {
	t.Helper()
	var b bytes.Buffer
	if err := report.Write(&b, in); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestThePageIsSelfContainedAndSaysWhatIsSimulated(t *testing.T) {
	html := write(t, study(t))
	if *look != "" {
		if err := os.WriteFile(*look, []byte(html), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if m := regexp.MustCompile(`(?i)(src|href)="?(https?:)?//|@import|url\(`).FindString(html); m != "" {
		t.Errorf("the page reaches for the network: %q", m)
	}
	for _, want := range []string{"<strong>Simulated.</strong>", "network player &lt;b&gt;&amp;", "NIOSH", "kind of jitter", "Capture 4 (bus, tone): the level moves", "bus (tone), captures 4, 7"} {
		if !strings.Contains(html, want) {
			t.Errorf("the page does not hold %q", want)
		}
	}
	if m := regexp.MustCompile(`[>"\s]NaN[<"\s]`).FindString(html); m != "" {
		t.Errorf("the page shows %q", m)
	}
	for _, bad := range []string{"no difference", "ZgotmplZ", "&lt;nil&gt;"} {
		if strings.Contains(html, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
}

func TestTheEmbeddedNumbersAreTheLinksJSON(t *testing.T) {
	in := study(t)
	want, err := wire.Marshal(in.Link)
	if err != nil {
		t.Fatal(err)
	}
	html := write(t, in)
	m := regexp.MustCompile(`(?s)<script type="application/json" id="link-json">(.*?)</script>`).FindStringSubmatch(html)
	if m == nil {
		t.Fatal("no numbers")
	}
	if got := strings.ReplaceAll(m[1], `\u003c`, "<"); got != string(want) {
		t.Errorf("the page's numbers differ from link's:\n%.300s\n%.300s", got, want)
	}
}

// A key that appears twice in one object is read differently by different readers.
func TestNoKeyOfTheNumbersOccursTwice(t *testing.T) {
	data, err := wire.Marshal(study(t).Link)
	if err != nil {
		t.Fatal(err)
	}
	if err := distinctKeys(json.NewDecoder(bytes.NewReader(data))); err != nil {
		t.Error(err)
	}
}

func distinctKeys(d *json.Decoder) error {
	token, err := d.Token()
	if err != nil {
		return err
	}
	open, ok := token.(json.Delim)
	if !ok {
		return nil
	}
	seen := map[string]bool{}
	for d.More() {
		if open == '{' {
			key, err := d.Token()
			if err != nil {
				return err
			}
			if seen[key.(string)] {
				return fmt.Errorf("%q appears twice", key)
			}
			seen[key.(string)] = true
		}
		if err := distinctKeys(d); err != nil {
			return err
		}
	}
	_, err = d.Token()
	return err
}

func TestAStudyWithoutResultsStillMakesAPage(t *testing.T) {
	linked, err := link.Build(link.Input{Title: "Nothing yet"})
	if err != nil {
		t.Fatal(err)
	}
	if html := write(t, report.Input{Link: linked}); !strings.Contains(html, "No session has ended yet") {
		t.Error("the page does not say so")
	}
}

func BenchmarkReport(b *testing.B) {
	in := study(b)
	for b.Loop() {
		write(b, in)
	}
}
