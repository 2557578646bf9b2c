package bundle

import (
	"archive/zip"
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"heardiff/trials"
)

var testKey = ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, ed25519.SeedSize))

var (
	testStudy = strings.Repeat("0a", 16)
	testMade  = time.Date(2030, 1, 2, 0, 0, 0, 0, time.UTC)
	testSeal  = func() []byte { // 9 is the base point: a good public key
		key := make([]byte, 32)
		key[0] = 9
		return key
	}()
)

// journal keeps entries in memory.
type journal struct{ entries []trials.Entry }

func (j *journal) Append(e trials.Entry) error { j.entries = append(j.entries, e); return nil }

func plan() trials.Plan {
	return trials.Plan{ID: "1", Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.3,
		Comparisons: []trials.Comparison{{Name: "one", A: "left", B: "right", Excerpt: "e", AudioA: "aa", AudioB: "bb", Trials: 4}}}
}

// ended returns a session that has ended, always answered 'A'.
func ended(t testing.TB, id string, seed trials.Seed) Session {
	t.Helper()
	id += SessionSuffix(testKey.Public().(ed25519.PublicKey))
	j := &journal{}
	at := time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	s, err := trials.Begin(id, trials.NewSeat(testStudy, "L1", "invented"), plan(), seed, j, func() time.Time { at = at.Add(time.Second); return at })
	if err != nil {
		t.Fatal(err)
	}
	for s.View().Phase != trials.Done {
		s.Heard(trials.LabelX, 1)
		s.Heard(trials.LabelA, 1)
		if err := errors.Join(s.Ask(trials.AnswerA, 0), s.Confirm()); err != nil {
			t.Fatal(err)
		}
	}
	return Session{ID: id, Plan: plan().HashText(), Listener: "L1", Entries: j.entries}
}

func draft(t testing.TB) Draft {
	return Draft{Kind: Results, Study: testStudy, Title: "t", Created: testMade, Content: Content{
		Plans: []trials.Plan{plan()}, Listeners: []Listener{{ID: "L1", Group: "trained"}},
		Sessions: []Session{ended(t, "one", trials.Seed{1}), ended(t, "two", trials.Seed{2})}}}
}

func written(t testing.TB, d Draft) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, d, testKey); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func read(data []byte) (*Bundle, error) { return Read(bytes.NewReader(data), int64(len(data))) }

func TestWhatIsWrittenIsRead(t *testing.T) {
	b, err := read(written(t, draft(t)))
	if err != nil {
		t.Fatal(err)
	}
	if b.Fingerprint() != Fingerprint(testKey.Public().(ed25519.PublicKey)) || len(b.Content.Sessions) != 2 {
		t.Errorf("%+v", b.Manifest)
	}
}

// failing is a writer that fails.
type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

func TestAudioTravelsUnchanged(t *testing.T) {
	audio := []byte("forty-two samples of invented music")
	hash := sha256.Sum256(audio)
	sum := hex.EncodeToString(hash[:])
	d := Draft{Kind: Kit, Study: testStudy, Created: testMade, SealKey: testSeal, Content: Content{Excerpts: []Excerpt{{Name: "e", Seconds: 2, RateHz: 48_000, Result: []byte("{}"),
		Presentations: []Presentation{{Chain: "left", SHA256: sum, Result: []byte("{}")}}}}},
		Audio: func(string) (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(audio)), nil }}
	data := written(t, d)
	b, err := read(data)
	if err != nil {
		t.Fatal(err)
	}
	var got bytes.Buffer
	if err := b.Audio(&got, sum); err != nil || !bytes.Equal(got.Bytes(), audio) {
		t.Errorf("%q, %v", got.Bytes(), err)
	}
	noRoom := errors.New("no room")
	if err := b.Audio(failing{noRoom}, sum); !errors.Is(err, noRoom) || errors.Is(err, ErrDamaged) {
		t.Errorf("where there is no room: %v", err)
	}
	changed := bytes.Replace(data, []byte("forty-two"), []byte("forty-one"), 1)
	if b, err := read(changed); err == nil {
		if err := b.Audio(io.Discard, sum); !errors.Is(err, ErrDamaged) {
			t.Errorf("changed audio: %v", err)
		}
	}
}

// forge rebuilds the archive with other members and signs it with the key, as a cheating site could.
func forge(t testing.TB, content []byte, change func(z *zip.Writer, m *Manifest)) []byte {
	t.Helper()
	sum := sha256.Sum256(content)
	m := Manifest{Schema: Schema, Kind: Results, Study: testStudy, Created: testMade, Site: hex.EncodeToString(testKey.Public().(ed25519.PublicKey)),
		Members: []Member{{contentName, int64(len(content)), hex.EncodeToString(sum[:])}}}
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	if change != nil {
		change(z, &m)
	}
	manifest, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{manifestName: manifest, signatureName: ed25519.Sign(testKey, manifest), contentName: content} {
		if err := store(z, name, bytes.NewReader(data)); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// forgeAs is forge with another manifest.
func forgeAs(t *testing.T, content []byte, change func(*Manifest)) []byte {
	t.Helper()
	return forge(t, content, func(_ *zip.Writer, m *Manifest) { change(m) })
}

func encode(t testing.TB, c Content) []byte {
	t.Helper()
	data, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func TestEditedRecordsAreNamed(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Content)
		says   string
	}{
		{"an answer", func(c *Content) { c.Sessions[1].Entries[2].Answer = trials.AnswerB }, `: entry 3 was changed`},
		{"an answer, hashed anew", func(c *Content) {
			e := &c.Sessions[1].Entries[2]
			e.Answer = trials.AnswerB
			e.Hash = e.Digest()
		}, `: entry 4 does not follow`},
		{"an entry left out", func(c *Content) {
			e := c.Sessions[0].Entries
			c.Sessions[0].Entries = append(e[:2:2], e[3:]...)
		}, `session "one-`},
		{"a session cut before its end", func(c *Content) {
			c.Sessions[0].Entries = c.Sessions[0].Entries[:3]
		}, `session "one-`},
		{"the plan", func(c *Content) { c.Plans[0].Alpha = 0.5 }, "its plan is not in the bundle"},
		{"a session twice", func(c *Content) { c.Sessions[1] = c.Sessions[0] }, "appears twice"},
		{"another's entries", func(c *Content) { c.Sessions[1].Entries = c.Sessions[0].Entries }, "another session's"},
		{"another site's session", func(c *Content) { c.Sessions[0].ID = "one-00000000" }, "not begun at the site"},
		{"no listener", func(c *Content) { c.Listeners = nil }, `listener "L1"`},
		{"whose session it is", func(c *Content) {
			c.Listeners = append(c.Listeners, Listener{ID: "L2"})
			c.Sessions[0].Listener = "L2"
		}, `sealed for listener "L1", not for "L2"`},
		{"a path for a hash", func(c *Content) {
			c.Excerpts = []Excerpt{{Name: "e", Presentations: []Presentation{{Chain: "left", SHA256: "../../etc/passwd"}}}}
		}, "no SHA-256"},
	} {
		content := draft(t).Content
		c.change(&content)
		_, err := read(forge(t, encode(t, content), nil))
		if !errors.Is(err, ErrRecord) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func TestEveryEditedSessionIsNamed(t *testing.T) {
	content := draft(t).Content
	for i := range content.Sessions {
		content.Sessions[i].Entries[2].Answer = trials.AnswerB
	}
	_, err := read(forge(t, encode(t, content), nil))
	var edits Edits
	if !errors.As(err, &edits) || len(edits) != 2 || !strings.Contains(edits[1].Error(), `session "two-`) {
		t.Errorf("error %v", err)
	}
}

func TestASessionOfAnotherStudyIsRefused(t *testing.T) {
	_, err := read(forgeAs(t, encode(t, draft(t).Content), func(m *Manifest) { m.Study = strings.Repeat("0b", 16) }))
	if !errors.Is(err, ErrRecord) || !strings.Contains(err.Error(), "sealed for another study") {
		t.Errorf("error %v", err)
	}
}

func TestAttacksAreRefused(t *testing.T) {
	content := encode(t, draft(t).Content)
	member := func(h zip.FileHeader, data string) func(*zip.Writer, *Manifest) {
		return func(z *zip.Writer, _ *Manifest) {
			w, err := z.CreateHeader(&h)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := io.WriteString(w, data); err != nil {
				t.Fatal(err)
			}
		}
	}
	link := zip.FileHeader{Name: audioPrefix + strings.Repeat("ab", 32)}
	link.SetMode(0o777 | 1<<27) // a symbolic link
	good := written(t, draft(t))
	flipped := bytes.Clone(good)
	flipped[bytes.Index(flipped, []byte(`"trained"`))+2] ^= 1
	for name, data := range map[string][]byte{
		"a path":               forge(t, content, member(zip.FileHeader{Name: "../../evil"}, "x")),
		"an absolute path":     forge(t, content, member(zip.FileHeader{Name: "/etc/evil"}, "x")),
		"a bomb":               forge(t, content, member(zip.FileHeader{Name: audioPrefix + strings.Repeat("cd", 32), Method: zip.Deflate}, strings.Repeat("0", 1<<20))),
		"a link":               forge(t, content, member(link, "/etc/passwd")),
		"an unsigned member":   forge(t, content, member(zip.FileHeader{Name: audioPrefix + strings.Repeat("ef", 32)}, "x")),
		"another size":         forge(t, content, func(_ *zip.Writer, m *Manifest) { m.Members[0].Bytes++ }),
		"another hash":         forge(t, content, func(_ *zip.Writer, m *Manifest) { m.Members[0].SHA256 = strings.Repeat("0", 64) }),
		"a member twice named": forge(t, content, func(_ *zip.Writer, m *Manifest) { m.Members = append(m.Members, m.Members[0]) }),
		"unknown fields":       forge(t, []byte(`{"surprise":1}`), nil),
		"no JSON":              forge(t, []byte(`hello`), nil),
		"a bit changed":        flipped,
		"cut":                  good[:len(good)/2],
		"nothing":              {},
		"text":                 []byte("this is no bundle"),
	} {
		if _, err := read(data); !errors.Is(err, ErrDamaged) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := read(forge(t, content, func(_ *zip.Writer, m *Manifest) { m.Schema = "heardiff.bundle/9" })); !errors.Is(err, ErrVersion) {
		t.Errorf("another version: %v", err)
	}
	if _, err := Read(bytes.NewReader(nil), MaxBytes+1); !errors.Is(err, ErrDamaged) {
		t.Errorf("an absurd size: %v", err)
	}
}

func TestAnotherKeyIsNoticed(t *testing.T) {
	data := written(t, draft(t))
	var other bytes.Buffer
	if err := Write(&other, Draft{Kind: Results, Study: testStudy, Created: testMade}, ed25519.NewKeyFromSeed(bytes.Repeat([]byte{8}, ed25519.SeedSize))); err != nil {
		t.Fatal(err)
	}
	if err := Write(io.Discard, draft(t), ed25519.NewKeyFromSeed(bytes.Repeat([]byte{8}, ed25519.SeedSize))); !errors.Is(err, ErrRecord) {
		t.Errorf("another site's sessions were signed: %v", err)
	}
	a, errA := read(data)
	b, errB := read(other.Bytes())
	if errA != nil || errB != nil || a.Fingerprint() == b.Fingerprint() {
		t.Errorf("two keys, one fingerprint: %v %v", errA, errB)
	}
}

func FuzzRead(f *testing.F) {
	f.Add(written(f, draft(f)))
	f.Add([]byte("PK\x05\x06"))
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := read(data)
		if (b == nil) == (err == nil) && !errors.Is(err, ErrRecord) {
			t.Errorf("bundle %v, error %v", b != nil, err)
		}
	})
}

func BenchmarkReadFiveThousandTrials(b *testing.B) {
	d := draft(b)
	for i := range 2500 / 2 {
		d.Content.Sessions = append(d.Content.Sessions, ended(b, "s"+string(rune('a'+i%26))+hex.EncodeToString([]byte{byte(i >> 8), byte(i)}), trials.Seed{byte(i)}))
	}
	data := written(b, d)
	b.SetBytes(int64(len(data)))
	b.ResetTimer()
	for range b.N {
		if _, err := read(data); err != nil {
			b.Fatal(err)
		}
	}
}

// The marks that a site sets against its sessions travel with them, under its signature. A bundle from before marks has none; a malformed
// mark is refused, and so are more marks than a session can have.
func TestMarksTravelWithTheirSession(t *testing.T) {
	write := func(marks ...trials.Mark) ([]byte, error) {
		s := ended(t, "s1", trials.Seed{1})
		s.Marks = marks
		var out bytes.Buffer
		err := Write(&out, Draft{Kind: Results, Study: testStudy, Title: "t", Created: testMade,
			Content: Content{Plans: []trials.Plan{plan()}, Listeners: []Listener{{ID: "L1"}}, Sessions: []Session{s}}}, testKey)
		return out.Bytes(), err
	}
	for _, marks := range [][]trials.Mark{nil, {trials.MarkOpened, trials.MarkMoved}, {"of-a-later-version"}} {
		data, err := write(marks...)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(data, []byte(`"marks"`)) != (marks != nil) {
			t.Errorf("%v: the form of a session without marks is no longer that of before", marks)
		}
		b, err := Read(bytes.NewReader(data), int64(len(data)))
		if err != nil || !slices.Equal(b.Content.Sessions[0].Marks, marks) {
			t.Errorf("%v: read as %+v, %v", marks, b, err)
		}
		if marks == nil {
			continue
		}
		edited := bytes.Replace(data, []byte(marks[0][1:]), []byte("x"+marks[0][2:]), 1)
		if _, err := Read(bytes.NewReader(edited), int64(len(edited))); !errors.Is(err, ErrDamaged) {
			t.Errorf("%v: an edited mark: %v", marks, err)
		}
	}
	for _, marks := range [][]trials.Mark{{""}, {"\x1b[2J"}, {"Opened"}, {trials.Mark(strings.Repeat("a", 41))}, slices.Repeat([]trials.Mark{"a"}, MaxMarks+1)} {
		if _, err := write(marks...); err == nil {
			t.Errorf("%q was written", marks)
		}
	}
}
