package bundle

import (
	"archive/zip"
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"sort"
	"time"
)

// Draft is a bundle about to be written.
type Draft struct {
	Kind    Kind
	Study   string
	Title   string
	Created time.Time
	SealKey []byte // for a kit: see Manifest
	Record  string // see Manifest
	Program string // see Manifest
	Content Content
	// Audio opens the prepared file with the given SHA-256, for each presentation named in the content; nil: none.
	Audio func(sha256 string) (io.ReadCloser, error)
}

// Write writes a bundle signed with the site's key. It rejects content that Read would reject.
func Write(w io.Writer, d Draft, site ed25519.PrivateKey) error {
	if err := d.check(site.Public().(ed25519.PublicKey)); err != nil {
		return err
	}
	if _, err := d.Content.reveal(); err != nil {
		return err
	}
	content, err := json.Marshal(d.Content)
	if err != nil {
		return fmt.Errorf("encode the bundle: %w", err)
	}
	m := Manifest{
		Schema: Schema, Kind: d.Kind, Study: d.Study, Title: d.Title, Created: d.Created.UTC(),
		Site: hex.EncodeToString(site.Public().(ed25519.PublicKey)), SealKey: hex.EncodeToString(d.SealKey), Record: d.Record, Program: d.Program,
	}
	sum := sha256.Sum256(content)
	m.Members = append(m.Members, Member{contentName, int64(len(content)), hex.EncodeToString(sum[:])})
	audio, err := d.audioMembers()
	if err != nil {
		return err
	}
	m.Members = append(m.Members, audio...)
	manifest, err := json.Marshal(m)
	if err != nil {
		return fmt.Errorf("encode the manifest: %w", err)
	}
	z := zip.NewWriter(w)
	for _, part := range []struct {
		name string
		data []byte
	}{{manifestName, manifest}, {signatureName, ed25519.Sign(site, manifest)}, {contentName, content}} {
		if err := store(z, part.name, bytes.NewReader(part.data)); err != nil {
			return err
		}
	}
	for _, a := range audio {
		if err := d.storeAudio(z, a); err != nil {
			return err
		}
	}
	return z.Close()
}

// check checks the draft as Read would.
func (d Draft) check(site ed25519.PublicKey) error {
	m := Manifest{Kind: d.Kind, Study: d.Study, Title: d.Title, Created: d.Created, SealKey: hex.EncodeToString(d.SealKey), Record: d.Record, Program: d.Program}
	if err := m.check(); err != nil {
		return record(err)
	}
	if err := d.Content.plausible(d.Created.Add(24 * time.Hour)); err != nil {
		return err
	}
	return d.Content.check(site, d.Study)
}

// audioMembers returns the members for the audio that the content names, with their sizes.
func (d Draft) audioMembers() ([]Member, error) {
	if d.Audio == nil {
		return nil, nil
	}
	seen := map[string]bool{}
	var all []Member
	for _, e := range d.Content.Excerpts {
		for _, p := range e.Presentations {
			if seen[p.SHA256] {
				continue
			}
			seen[p.SHA256] = true
			n, err := d.measure(p.SHA256)
			if err != nil {
				return nil, err
			}
			all = append(all, Member{audioPrefix + p.SHA256, n, p.SHA256})
		}
	}
	sort.Slice(all, func(i, k int) bool { return all[i].Name < all[k].Name })
	return all, nil
}

func (d Draft) measure(sum string) (int64, error) {
	r, err := d.Audio(sum)
	if err != nil {
		return 0, err
	}
	defer r.Close()
	h := sha256.New()
	n, err := io.Copy(h, r)
	if err != nil {
		return 0, fmt.Errorf("read prepared audio: %w", err)
	}
	if hex.EncodeToString(h.Sum(nil)) != sum {
		return 0, fmt.Errorf("%w: prepared audio %.12s was changed", ErrRecord, sum)
	}
	return n, nil
}

func (d Draft) storeAudio(z *zip.Writer, a Member) error {
	r, err := d.Audio(a.SHA256)
	if err != nil {
		return err
	}
	defer r.Close()
	return store(z, a.Name, r)
}

func store(z *zip.Writer, name string, r io.Reader) error {
	w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store})
	if err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	if _, err := io.Copy(w, r); err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	return nil
}
