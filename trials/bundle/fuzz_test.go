package bundle

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"testing"
)

// FuzzSigned: whatever a site signs, as a manifest and a content, with a prepared file, is read completely or refused. The manifest is
// given the key and the members that the archive has, so that the fuzzer gets past them.
func FuzzSigned(f *testing.F) {
	audio := []byte("forty-two samples of invented music")
	hash := sha256.Sum256(audio)
	sum := hex.EncodeToString(hash[:])
	for _, m := range []Manifest{
		{Schema: Schema, Kind: Results, Study: testStudy, Title: "t", Created: testMade, Program: "heardiff"},
		{Schema: Schema, Kind: Kit, Study: testStudy, Created: testMade, SealKey: hex.EncodeToString(testSeal)},
	} {
		c := draft(f).Content
		if m.Kind == Kit {
			c = Content{Excerpts: []Excerpt{{Name: "e", Result: []byte("{}"), Presentations: []Presentation{{Chain: "left", SHA256: sum, Result: []byte("{}")}}}}}
		}
		manifest, err := json.Marshal(m)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(manifest, encode(f, c))
	}
	f.Fuzz(func(t *testing.T, manifest, content []byte) {
		var m Manifest
		if json.Unmarshal(manifest, &m) != nil {
			return
		}
		b, err := read(forge(t, content, func(z *zip.Writer, own *Manifest) {
			m.Site, m.Members = own.Site, append(own.Members, Member{audioPrefix + sum, int64(len(audio)), sum})
			*own = m
			if err := store(z, audioPrefix+sum, bytes.NewReader(audio)); err != nil {
				t.Fatal(err)
			}
		}))
		switch {
		case err != nil && !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrRecord) && !errors.Is(err, ErrVersion):
			t.Error(err)
		case err == nil && len(b.Outcomes) != len(b.Content.Sessions):
			t.Errorf("%d outcomes of %d sessions", len(b.Outcomes), len(b.Content.Sessions))
		}
	})
}
