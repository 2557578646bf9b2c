package bundle

import (
	"bytes"
	"encoding/binary"
	"errors"
	"runtime"
	"strings"
	"testing"
	"time"

	"heardiff/trials"
)

// rechained returns the entries with a change and all hashes recomputed, as a cheating site could.
func rechained(entries []trials.Entry, change func([]trials.Entry)) []trials.Entry {
	out := append([]trials.Entry(nil), entries...)
	change(out)
	previous := ""
	for i := range out {
		out[i].Previous = previous
		out[i].Hash = out[i].Digest()
		previous = out[i].Hash
	}
	return out
}

func TestNonsenseIsRefusedThoughSigned(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*trials.Entry)
		says   string
	}{
		{"confidence", func(e *trials.Entry) { e.Confidence = 99 }, "confidence 99"},
		{"below zero", func(e *trials.Entry) { e.Confidence = -1 }, "confidence -1"},
		{"negative time", func(e *trials.Entry) { e.Seconds = -3 }, "-3 seconds"},
		{"years to answer", func(e *trials.Entry) { e.Seconds = 1e9 }, "1e+09 seconds"},
		{"key presses", func(e *trials.Entry) { e.Switches = -1 }, "-1 key presses"},
		{"a million key presses", func(e *trials.Entry) { e.Switches = 1_000_001 }, "1000001 key presses"},
		{"long ago", func(e *trials.Entry) { e.At = time.Date(1912, 6, 23, 0, 0, 0, 0, time.UTC) }, "1912-06-23 is impossible"},
		{"after the bundle was made", func(e *trials.Entry) { e.At = testMade.AddDate(1, 0, 0) }, "2031-01-02 is impossible"},
		{"a note without end", func(e *trials.Entry) { e.Note = strings.Repeat("n", 5000) }, "a note of 5000 bytes"},
	} {
		content := draft(t).Content
		s := &content.Sessions[0]
		s.Entries = rechained(s.Entries, func(e []trials.Entry) { c.change(&e[len(e)-2]) })
		if _, err := read(forge(t, encode(t, content), nil)); !errors.Is(err, ErrRecord) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func TestNamesThatDoNotShowAreRefused(t *testing.T) {
	const escape = "a\x1b[2Jb"
	for name, change := range map[string]func(*Content){
		"group":      func(c *Content) { c.Listeners[0].Group = escape },
		"listener":   func(c *Content) { c.Listeners[0].ID = escape },
		"room":       func(c *Content) { c.Listeners[0].Room = "two\nlines" },
		"chain":      func(c *Content) { c.Chains = []Chain{{Name: "tur\u202ened"}} },
		"about":      func(c *Content) { c.Chains = []Chain{{Name: "a", About: escape}} },
		"music":      func(c *Content) { c.Excerpts = []Excerpt{{Name: "e", Music: escape}} },
		"device":     func(c *Content) { c.Sessions[0].Device = escape },
		"comparison": func(c *Content) { c.Plans[0].Comparisons[0].Name = escape },
		"a long one": func(c *Content) { c.Listeners[0].ID = strings.Repeat("n", 30_000) },
	} {
		content := draft(t).Content
		change(&content)
		_, err := read(forge(t, encode(t, content), nil))
		if !errors.Is(err, ErrRecord) || strings.ContainsAny(err.Error(), "\x1b\n\u202e") || len(err.Error()) > 400 {
			t.Errorf("%s: %q", name, err)
		}
	}
}

// An excerpt of 1e300 seconds once filled a terminal with its digits.
func TestExcerptsThatCannotBeAreRefused(t *testing.T) {
	for says, change := range map[string]func(*Excerpt){
		"begins at -5 s":     func(e *Excerpt) { e.StartS = -5 },
		"begins at 1e+300 s": func(e *Excerpt) { e.StartS = 1e300 },
		"lasts 0 s":          func(e *Excerpt) { e.Seconds = 0 },
		"lasts 1e+300 s":     func(e *Excerpt) { e.Seconds = 1e300 },
		"rate of 0 Hz":       func(e *Excerpt) { e.RateHz = 0 },
		"rate of 2000000 Hz": func(e *Excerpt) { e.RateHz = 2_000_000 },
	} {
		e := Excerpt{Name: "e", Music: "m", StartS: 1, Seconds: 2, RateHz: 48_000}
		if err := e.check(); err != nil {
			t.Fatal(err)
		}
		change(&e)
		if _, err := read(forge(t, encode(t, Content{Excerpts: []Excerpt{e}}), nil)); !errors.Is(err, ErrRecord) || !strings.Contains(err.Error(), says) {
			t.Errorf("want %q: %v", says, err)
		}
	}
}

func TestStudyIDsThatLeadElsewhereAreRefused(t *testing.T) {
	content := encode(t, draft(t).Content)
	for _, id := range []string{"", "a", "../../../etc/cron.d/x", strings.Repeat("0a", 16) + "/..", strings.Repeat("0A", 16)} {
		bad := forgeAs(t, content, func(m *Manifest) { m.Study = id })
		if _, err := read(bad); !errors.Is(err, ErrRecord) || !strings.Contains(err.Error(), "study id") {
			t.Errorf("%q: %v", id, err)
		}
	}
}

func TestAKitNeedsAGoodSealingKey(t *testing.T) {
	order4 := "ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f" // p − 1, of order 4
	for name, key := range map[string]string{
		"none": "", "short": "09", "zero": strings.Repeat("00", 32), "one": "01" + strings.Repeat("00", 31), "of low order": order4, "no digits": "key",
	} {
		bad := forgeAs(t, encode(t, Content{}), func(m *Manifest) { m.Kind, m.SealKey = Kit, key })
		if _, err := read(bad); !errors.Is(err, ErrRecord) || !strings.Contains(err.Error(), "sealing key") {
			t.Errorf("%s: %v", name, err)
		}
	}
	good := forgeAs(t, encode(t, Content{}), func(m *Manifest) { m.Kind, m.SealKey = Kit, "09"+strings.Repeat("00", 31) })
	if _, err := read(good); err != nil {
		t.Error(err)
	}
}

func TestTheSignerIsSeenBeforeTheContent(t *testing.T) {
	unwanted := errors.New("unwanted")
	data := forge(t, []byte("no JSON at all"), nil)
	if _, err := ReadIf(bytes.NewReader(data), int64(len(data)), func(*Bundle) error { return unwanted }); err != unwanted {
		t.Errorf("%v", err)
	}
}

// The memory that 15 MB of empty items, or one item of 15 MB, take before they are rejected.
func TestEmptyItemsCostNoMemory(t *testing.T) {
	many := func(field, item string) []byte {
		return []byte(`{"` + field + `":[` + strings.Repeat(item+",", 15<<20/(len(item)+1)) + item + `]}`)
	}
	for name, content := range map[string][]byte{
		"sessions":          many("sessions", "{}"),
		"begun":             many("begun", "{}"),
		"plans":             many("plans", "{}"),
		"listeners":         many("listeners", "{}"),
		"excerpts":          many("excerpts", `{"name":"e"}`),
		"comparisons":       []byte(`{"plans":[{"comparisons":[` + strings.Repeat("{},", 5<<20) + `{}]}]}`),
		"presentations":     []byte(`{"excerpts":[{"presentations":[` + strings.Repeat("{},", 5<<20) + `{}]}]}`),
		"entries":           []byte(`{"sessions":[{"entries":[` + strings.Repeat("{},", 5<<20) + `{}]}]}`),
		"one without end":   []byte(`{"listeners":[{"id":"` + strings.Repeat("a", 15<<20) + `"}]}`),
		"a name of a field": []byte(`{"` + strings.Repeat("a", 15<<20) + `":1}`),
		"blanks":            []byte(`{` + strings.Repeat(" ", 15<<20) + `}`),
	} {
		data := forge(t, content, nil)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := read(data)
		runtime.ReadMemStats(&after)
		if err == nil {
			t.Errorf("%s: taken", name)
		}
		// 15 MB once took 1 to 3 GB; a million of the smallest valid items take some 100 MB.
		if grown := (after.TotalAlloc - before.TotalAlloc) >> 20; grown > 200 {
			t.Errorf("%s: %d MB", name, grown)
		}
	}
}

func TestADirectoryWithoutEndIsRefused(t *testing.T) {
	good := written(t, draft(t))
	end := len(good) - endBytes
	for name, change := range map[string]func([]byte){
		"many members": func(b []byte) { binary.LittleEndian.PutUint16(b[end+10:], MaxMembers+1) },
		"many bytes":   func(b []byte) { binary.LittleEndian.PutUint32(b[end+12:], 1<<30) },
		"elsewhere":    func(b []byte) { binary.LittleEndian.PutUint32(b[end+16:], 0) },
		"no end":       func(b []byte) { b[end] = 'Q' },
	} {
		bad := bytes.Clone(good)
		change(bad)
		if _, err := read(bad); !errors.Is(err, ErrDamaged) || !strings.Contains(err.Error(), "director") && !strings.Contains(err.Error(), "end") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A signed bundle or kit whose plan has a design that this program does not know is rejected.
func TestUnknownDesignIsRefused(t *testing.T) {
	content := encode(t, draft(t).Content)
	later := bytes.Replace(content, []byte(`"design":"abx"`), []byte(`"design":"tetrad"`), 1)
	if bytes.Equal(later, content) {
		t.Fatal("no plan to change")
	}
	if _, err := read(forge(t, later, nil)); err == nil || !strings.Contains(err.Error(), `design "tetrad" unknown`) {
		t.Errorf("%v", err)
	}
}

// The program that a bundle says it was made with is a line of plain text.
func TestTheProgramOfABundleIsPlainText(t *testing.T) {
	for program, want := range map[string]error{"": nil, "heardiff 0.2.0": nil, "\x1b[31mred": ErrRecord, "two\nlines": ErrRecord} {
		b, err := read(forgeAs(t, encode(t, Content{}), func(m *Manifest) { m.Program = program }))
		if !errors.Is(err, want) || want == nil && b.Manifest.Program != program {
			t.Errorf("%q: %v", program, err)
		}
	}
}
