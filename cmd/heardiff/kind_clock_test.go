package main

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure/clock"
	"heardiff/measure/jitter/jittertest"
	"heardiff/trials/study"
)

// swaying writes a capture of the jitter signal whose clock runs 3 ppm fast and sways once a second: over whole periods
// x = p·sin(2πt) has an Allan deviation of 2p·sin²(πτ)/τ, and an MTIE of 2p from half a period on.
func swaying(t *testing.T, path string, peak, noiseDBFS float64) string {
	t.Helper()
	saveWords(t, path, jittertest.Clip(jittertest.Capture{Rate: 48000, Seconds: 12, CarrierHz: 12000 * (1 + 3e-6), Amplitude: 0.7, NoiseDBFS: noiseDBFS,
		Seed: uint64(len(path)), Jitter: []jittertest.Sine{{Hz: 1, Peak: peak}}}))
	return path
}

func TestMeasureReportsTheClockOfTheJitterSignal(t *testing.T) {
	t.Chdir(t.TempDir())
	swaying(t, "box.wav", 4e-9, -110)
	swaying(t, "loop.wav", 0, -110)
	var r clock.Result
	decode(t, &r, "measure", "box.wav", "--as", "clock", "--floor", "loop.wav", "--plot", "box.svg", "--overlay", "loop.wav", "--json")
	c := r.Channel[0]
	if r.Schema != "heardiff.clock/1" || math.Abs(c.OffsetPPM-3) > 1e-3 {
		t.Errorf("%s, offset %v ppm, want 3", r.Schema, c.OffsetPPM)
	}
	for _, d := range c.Allan {
		s := math.Sin(math.Pi * d.TauS)
		if want := 2 * 4e-9 * s * s / d.TauS; d.TauS <= 0.5 && math.Abs(d.Deviation/want-1) > 0.03 {
			t.Errorf("Allan deviation over %v s %v, want %v", d.TauS, d.Deviation, want)
		}
	}
	if m := c.MTIE[2]; m.TauS != 0.5 || math.Abs(m.NS/8-1) > 0.03 || m.AtFloor {
		t.Errorf("MTIE over 0.5 s: %+v, want 8 ns, above the floor", m)
	}
	picture, err := os.ReadFile("box.svg")
	must(t, err)
	for _, want := range []string{"Clock of box.wav and loop.wav", "Allan deviation", "MTIE", "loop.wav (the limit"} {
		if !strings.Contains(string(picture), want) {
			t.Errorf("the picture does not say %q", want)
		}
	}
	text, _ := command(t, 0, "measure", "box.wav", "--as", "clock", "--floor", "box.wav")
	for _, want := range []string{"offset ppm", "+3.0000", "Allan deviation", "TDEV ns", "<"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	refused(t, exitRejected, "measure", "box.wav", "--as", "clock", "--signal-rate", "44100")
}

// A capture of the jitter signal gives the figures of jitter and of the clock. A study that was measured before clocks
// were measured gets what it lacks.
func TestAStudysClocksComeFromItsJitterCaptures(t *testing.T) {
	dir, folder := emptyStudy(t)
	for _, c := range []struct {
		name, role string
		peak       float64
	}{{"box", "source", 4e-9}, {"bus", "source", 1e-9}, {"loop", "floor", 0}} {
		command(t, 0, "chain", "add", c.name, "--role", c.role)
		command(t, 0, "capture", "add", c.name, swaying(t, filepath.Join(dir, c.name+".wav"), c.peak, -100), "--as", "jitter")
	}
	command(t, 2, "capture", "add", "box", filepath.Join(dir, "box.wav"), "--as", "clock")
	if m := measureAll(t); len(m.Measured) != 6 || len(m.Texts) != 0 {
		t.Fatalf("%d measured, warnings %q; want jitter and clock of three captures", len(m.Measured), m.Texts)
	}
	forgetClocks(t, folder)
	m := measureAll(t)
	if len(m.Measured) != 3 || m.Measured[0].Kind != "clock" || m.Measured[0].Floor == nil || *m.Measured[0].Floor != 3 {
		t.Fatalf("what was lacking: %+v", m.Measured)
	}
	figures, _ := figuresIn(t, folder, "box", "box", "bus")
	if f := figures["allan_deviation_1_s_ppb"]; len(f) != 1 {
		t.Errorf("Allan deviation in the link: %+v", f)
	}
	if f := figures["mtie_1_s_ns"]; len(f) != 1 || math.Abs(f[0].Value-8) > 0.3 || !(f[0].Limit < f[0].Value) {
		t.Errorf("MTIE in the link: %+v, want 8 ns above its limit", f)
	}
	l := linked{linkIn(t, folder)}
	p, err := l.pictures()
	must(t, err)
	if drawn := chartOf[plot.Stability](t, p); len(drawn.Clocks) != 2 || len(drawn.Limit) == 0 || !strings.Contains(drawn.LimitName, "loop") {
		t.Errorf("the report draws %d clocks above %q", len(drawn.Clocks), drawn.LimitName)
	}
	if _, html := reported(t); !strings.Contains(html, "Clocks of the chains") {
		t.Error("no clocks in the report")
	}
}

// forgetClocks makes a study as it was before clocks were measured: refiling a capture drops what was measured of it, and jitter is kept anew.
func forgetClocks(t *testing.T, folder string) {
	t.Helper()
	ctx := context.Background()
	s := openRecord(t, folder)
	defer s.Close()
	have, err := s.Measurements(ctx)
	must(t, err)
	for _, m := range have {
		if m.Kind != "jitter" {
			continue
		}
		must(t, s.RefileCapture(ctx, m.Capture, "tone", "", ""))
		must(t, s.RefileCapture(ctx, m.Capture, "jitter", "", ""))
		must(t, s.SaveMeasurement(ctx, m))
	}
}

// A tone of no common rate is measured for jitter; that nothing is known of its clock is no failure.
func TestAToneWithoutAClockIsStillMeasuredForJitter(t *testing.T) {
	dir, _ := emptyStudy(t)
	command(t, 0, "chain", "add", "box")
	odd := filepath.Join(dir, "odd.wav")
	saveWords(t, odd, jittertest.Clip(jittertest.Capture{Rate: 48000, Seconds: 6, CarrierHz: 5000, Amplitude: 0.7, NoiseDBFS: -110, Seed: 3}))
	command(t, 0, "capture", "add", "box", odd, "--as", "jitter")
	m := measureAll(t)
	if len(m.Measured) != 1 || m.Measured[0].Kind != "jitter" || len(m.Details) != 1 || m.Details[0].Code != study.NotMeasuredAs {
		t.Errorf("measured %+v, warnings %q", m.Measured, m.Texts)
	}
}
