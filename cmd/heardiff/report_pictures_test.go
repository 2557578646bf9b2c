package main

import (
	"math"
	"path/filepath"
	"testing"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/cmd/heardiff/internal/report"
	"heardiff/measure/jitter/jittertest"
	"heardiff/playback/pcm"
)

// storedPictures makes a study of four chains with known jitter and noise, measures it, and returns what is stored.
func storedPictures(t *testing.T) linked {
	t.Helper()
	dir, folder := emptyStudy(t)
	for i, c := range []struct {
		name, role                 string
		randomPs, linePs, noiseDBF float64
	}{{"plain", "source", 2000, 4000, -100}, {"recovered", "source", 200, 400, -110}, {"quiet", "source", 45, 0, -110}, {"loop", "floor", 40, 0, -116}} {
		args := []string{"chain", "add", c.name, "--role", c.role}
		if c.name == "recovered" {
			args = append(args, "--after", "plain")
		}
		command(t, 0, args...)
		tone := jittertest.Capture{Rate: 48000, Seconds: 5, CarrierHz: 12000.1, Amplitude: 0.7, NoiseDBFS: -125, Seed: uint64(i + 1),
			Jitter: []jittertest.Sine{{Hz: 700, Peak: c.linePs * 1e-12}}, RandomPs: c.randomPs, RandomLowHz: 10, RandomHighHz: 9600}
		silence := jittertest.Capture{Rate: 48000, Seconds: 4, CarrierHz: 50, Amplitude: 1e-5, NoiseDBFS: c.noiseDBF, Seed: uint64(i + 9)}
		for kind, capture := range map[string]jittertest.Capture{"jitter": tone, "noise": silence} {
			file := filepath.Join(dir, c.name+kind+".wav")
			saveWords(t, file, jittertest.Clip(capture))
			command(t, 0, "capture", "add", c.name, file, "--as", kind)
		}
	}
	command(t, 0, "measure")
	return linked{linkIn(t, folder)}
}

// What a study stores is enough to draw noise and clock recovery: a chain with a tenth of another's jitter is 20 dB
// below it, and one whose jitter is the recorder's is marked as a bound.
func TestPicturesComeFromWhatAStudyStores(t *testing.T) {
	l := storedPictures(t)
	p, err := l.pictures()
	must(t, err)
	jitter, noise := chartOf[plot.JitterSpectrum](t, p), chartOf[plot.Spectrum](t, p)
	if len(p.Pairs) != 1 || p.Pairs[0].Words().Title != "Jitter of recovered over that of plain, channel 1" {
		t.Errorf("%d pictures of chains beside each other: one was declared to feed another", len(p.Pairs))
	}
	if len(jitter.Chains) != 3 || jitter.Floor == nil || len(noise.Chains) != 3 || noise.Floor == nil {
		t.Fatalf("%d curves of jitter, %d of noise, floors %v and %v", len(jitter.Chains), len(noise.Chains), jitter.Floor, noise.Floor)
	}
	for _, c := range noise.Chains {
		if c.Name == "plain" {
			noiseIsDrawn(t, c, -100)
		}
	}
	for b, wantDB := range map[string]float64{"recovered": -20, "quiet": math.Inf(-1)} {
		charts, err := l.transfers("plain", b)
		must(t, err)
		if len(charts) != 1 {
			t.Fatalf("%d pictures of plain and %s, want the transfer", len(charts), b)
		}
		transferIsDrawn(t, b, charts[0].(plot.Transfer), wantDB)
	}
	if charts, err := l.transfers("plain", "plain"); err != nil || len(charts) > 0 {
		t.Error("a chain against itself is drawn")
	}
}

// chartOf returns the one picture of a type that the report has of the kinds.
func chartOf[C plot.Chart](t *testing.T, p report.Pictures) C {
	t.Helper()
	var found []C
	for _, chart := range p.Kinds {
		if c, ok := chart.(C); ok {
			found = append(found, c)
		}
	}
	if len(found) != 1 {
		t.Fatalf("%d pictures of a kind, want one", len(found))
	}
	return found[0]
}

// noiseIsDrawn compares a curve with white noise of a level over 24 kHz: in 1 Hz it is 10·log10(24000) = 43.8 dB lower.
func noiseIsDrawn(t *testing.T, c plot.Curve, levelDBFS float64) {
	t.Helper()
	want := levelDBFS - 10*math.Log10(24000)
	sum, n := 0.0, len(c.Y)
	for i, y := range c.Y {
		if c.Hz[i] > 200 {
			sum += math.Pow(10, y/10) * (c.Hz[min(i+1, n-1)] - c.Hz[i])
		}
	}
	if got := 10 * math.Log10(sum/19800); n > 500 || math.Abs(got-want) > 0.2 || len(c.Spurs) == 0 {
		t.Errorf("noise of %s: %d points, %.2f dBFS in 1 Hz, lines %v; want at most 500, %.2f and the hum", c.Name, n, got, c.Spurs, want)
	}
}

// transferIsDrawn compares with wantDB every line, and the noise on average; −Inf means bounds alone.
func transferIsDrawn(t *testing.T, name string, chart plot.Transfer, wantDB float64) {
	t.Helper()
	sum, read, bounds := 0.0, 0, 0
	for _, point := range chart.Points {
		switch {
		case point.AtFloor:
			bounds++
		case point.Line && math.Abs(point.DB-wantDB) > 0.5:
			t.Errorf("%s: line %+v, want %v dB", name, point, wantDB)
		case !point.Line:
			sum, read = sum+pcm.Ratio(point.DB), read+1
		}
	}
	if math.IsInf(wantDB, -1) {
		if bounds < read {
			t.Errorf("%s, at the recorder's own: %d readings, %d bounds", name, read, bounds)
		}
		return
	}
	if got := pcm.DB(sum / float64(read)); !(math.Abs(got-wantDB) <= 0.3) {
		t.Errorf("%s: %.2f dB over %d readings, want %v", name, got, read, wantDB)
	}
}
