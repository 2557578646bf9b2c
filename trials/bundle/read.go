package bundle

import (
	"archive/zip"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"time"

	"heardiff/trials"
)

const (
	manifestName  = "manifest.json"
	signatureName = "signature"
	contentName   = "content.json"
	audioPrefix   = "audio/"
	maxManifest   = 4 << 20
)

// Bundle is a bundle that passed every check.
type Bundle struct {
	Manifest Manifest
	Content  Content
	// Outcomes are the results of the sessions, in their order.
	Outcomes []trials.Summary
	site     ed25519.PublicKey
	files    map[string]*zip.File
}

// SessionSuffix is the suffix of the ids of sessions begun under the key that signed.
func (b *Bundle) SessionSuffix() string { return SessionSuffix(b.site) }

// Fingerprint returns the fingerprint of the key that signed.
func (b *Bundle) Fingerprint() string { return Fingerprint(b.site) }

// Read checks a bundle of the given size and returns it. Errors wrap ErrDamaged, ErrVersion or ErrRecord and name what
// is wrong; where several records were edited they are Edits. The audio is checked by Audio, as it is read.
func Read(r io.ReaderAt, size int64) (*Bundle, error) {
	return ReadIf(r, size, func(*Bundle) error { return nil })
}

// ReadIf is Read for a bundle that accept approves: accept sees the manifest and the key that signed it before the content is
// read, and its error is returned unchanged.
func ReadIf(r io.ReaderAt, size int64, accept func(*Bundle) error) (*Bundle, error) {
	if size > MaxBytes {
		return nil, fmt.Errorf("%w: %d bytes, at most %d are taken", ErrDamaged, size, int64(MaxBytes))
	}
	if err := checkDirectory(r, size); err != nil {
		return nil, err
	}
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	b := &Bundle{files: map[string]*zip.File{}}
	if err := b.index(z, size); err != nil {
		return nil, err
	}
	if err := b.readManifest(); err != nil {
		return nil, err
	}
	if err := accept(b); err != nil {
		return nil, err
	}
	if err := b.compareMembers(); err != nil {
		return nil, err
	}
	if err := b.readContent(); err != nil {
		return nil, err
	}
	if err := b.checkKit(); err != nil {
		return nil, err
	}
	if err := b.Content.check(b.site, b.Manifest.Study); err != nil {
		return nil, err
	}
	if b.Outcomes, err = b.Content.reveal(); err != nil {
		return nil, err
	}
	return b, nil
}

// checkKit requires all audio that a kit's plan plays, and no answers.
func (b *Bundle) checkKit() error {
	if b.Manifest.Kind != Kit {
		return nil
	}
	if len(b.Content.Sessions) > 0 {
		return fmt.Errorf("%w: a kit with answers", ErrRecord)
	}
	offered := map[string]bool{}
	for _, e := range b.Content.Excerpts {
		for _, p := range e.Presentations {
			offered[p.SHA256] = b.files[audioPrefix+p.SHA256] != nil
		}
	}
	for _, p := range b.Content.Plans {
		for _, c := range p.Comparisons {
			if !offered[c.AudioA] || !offered[c.AudioB] {
				return fmt.Errorf("%w: the audio of comparison %q is missing", ErrDamaged, c.Name)
			}
		}
	}
	return nil
}

// index rejects names that are not of this format (and so every path that leads elsewhere), compression (and so every
// decompression bomb), links, duplicates, and sizes that exceed the file.
func (b *Bundle) index(z *zip.Reader, size int64) error {
	if len(z.File) > MaxMembers {
		return fmt.Errorf("%w: %d members, at most %d are taken", ErrDamaged, len(z.File), MaxMembers)
	}
	total := uint64(0)
	for _, f := range z.File {
		switch {
		case !memberName(f.Name):
			return fmt.Errorf("%w: member %q has no place in a bundle", ErrDamaged, f.Name)
		case b.files[f.Name] != nil:
			return fmt.Errorf("%w: member %q appears twice", ErrDamaged, f.Name)
		case f.Method != zip.Store || f.CompressedSize64 != f.UncompressedSize64:
			return fmt.Errorf("%w: member %q is compressed", ErrDamaged, f.Name)
		case !f.Mode().IsRegular():
			return fmt.Errorf("%w: member %q is no plain file", ErrDamaged, f.Name)
		}
		if total += f.UncompressedSize64; f.UncompressedSize64 > uint64(size) || total > uint64(size) {
			return fmt.Errorf("%w: the members are larger than the file", ErrDamaged)
		}
		b.files[f.Name] = f
	}
	return nil
}

func memberName(name string) bool {
	if name == manifestName || name == signatureName || name == contentName {
		return true
	}
	sum, ok := strings.CutPrefix(name, audioPrefix)
	return ok && isSHA256(sum)
}

func isSHA256(s string) bool {
	raw, err := hex.DecodeString(s)
	return err == nil && len(raw) == sha256.Size && s == strings.ToLower(s)
}

func (b *Bundle) readManifest() error {
	manifest, err := b.read(manifestName, maxManifest)
	if err != nil {
		return err
	}
	signature, err := b.read(signatureName, ed25519.SignatureSize)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(manifest, &b.Manifest); err != nil {
		return fmt.Errorf("%w: manifest: %w", ErrDamaged, err)
	}
	if b.Manifest.Schema != Schema {
		return fmt.Errorf("%w: %q, this heardiff reads %q", ErrVersion, b.Manifest.Schema, Schema)
	}
	key, err := hex.DecodeString(b.Manifest.Site)
	if err != nil || len(key) != ed25519.PublicKeySize {
		return fmt.Errorf("%w: the manifest names no key", ErrDamaged)
	}
	if b.site = key; !ed25519.Verify(b.site, manifest, signature) {
		return fmt.Errorf("%w: the signature is not that of the key in the manifest", ErrDamaged)
	}
	if b.Manifest.Kind != Results && b.Manifest.Kind != Kit {
		return fmt.Errorf("%w: kind %q unknown", ErrVersion, b.Manifest.Kind)
	}
	return record(b.Manifest.check())
}

// studyForm is the form of a study's id: files outside the study are named by it, so that it must not contain a path.
var studyForm = regexp.MustCompile(`^[0-9a-f]{32}$`)

// check checks what the manifest says about the study.
func (m Manifest) check() error {
	if !studyForm.MatchString(m.Study) {
		return fmt.Errorf("study id %.40q: 32 hexadecimal digits are wanted", m.Study)
	}
	if err := trials.CheckText("title", m.Title); err != nil {
		return err
	}
	if err := trials.CheckText("program", m.Program); err != nil {
		return err
	}
	if m.Created.Before(time.Unix(0, 0)) {
		return fmt.Errorf("made on %s", m.Created.UTC().Format(time.DateOnly))
	}
	if m.Record != "" && !isSHA256(m.Record) {
		return fmt.Errorf("head of the record %.40q: 64 hexadecimal digits are wanted", m.Record)
	}
	if m.Kind != Kit {
		return nil
	}
	raw, err := hex.DecodeString(m.SealKey)
	if err == nil {
		err = trials.CheckSealingKey(raw)
	}
	if err != nil {
		return fmt.Errorf("the kit's sealing key: %w", err)
	}
	return nil
}

// compareMembers requires that archive and manifest list the same members with the same sizes.
func (b *Bundle) compareMembers() error {
	named := map[string]bool{manifestName: true, signatureName: true}
	for _, m := range b.Manifest.Members {
		f := b.files[m.Name]
		if f == nil || int64(f.UncompressedSize64) != m.Bytes || !isSHA256(m.SHA256) || named[m.Name] {
			return fmt.Errorf("%w: member %q is missing or has another size", ErrDamaged, m.Name)
		}
		named[m.Name] = true
	}
	for name := range b.files {
		if !named[name] {
			return fmt.Errorf("%w: member %q is not signed for", ErrDamaged, name)
		}
	}
	return nil
}

// readContent reads the content twice: once to check that it is what was signed, then item by item.
func (b *Bundle) readContent() error {
	r, err := b.open(contentName, MaxContent)
	if err != nil {
		return err
	}
	defer r.Close()
	h := sha256.New()
	if _, err := io.Copy(h, r); err != nil {
		return fmt.Errorf("%w: member %q cannot be read: %w", ErrDamaged, contentName, err)
	}
	signed := slices.IndexFunc(b.Manifest.Members, func(m Member) bool { return m.Name == contentName })
	if signed < 0 || hex.EncodeToString(h.Sum(nil)) != b.Manifest.Members[signed].SHA256 {
		return fmt.Errorf("%w: member %q is not what was signed", ErrDamaged, contentName)
	}
	second, err := b.open(contentName, MaxContent)
	if err != nil {
		return err
	}
	defer second.Close()
	b.Content, err = decodeContent(second, b.Manifest.Created)
	return err
}

// open opens a member of at most limit bytes.
func (b *Bundle) open(name string, limit int64) (io.ReadCloser, error) {
	f := b.files[name]
	if f == nil {
		return nil, fmt.Errorf("%w: member %q is missing", ErrDamaged, name)
	}
	if int64(f.UncompressedSize64) > limit {
		return nil, fmt.Errorf("%w: member %q has %d bytes, at most %d are taken", ErrDamaged, name, f.UncompressedSize64, limit)
	}
	r, err := f.Open()
	if err != nil {
		return nil, fmt.Errorf("%w: member %q: %w", ErrDamaged, name, err)
	}
	return r, nil
}

func (b *Bundle) read(name string, limit int64) ([]byte, error) {
	r, err := b.open(name, limit)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	data, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err != nil {
		return nil, fmt.Errorf("%w: member %q cannot be read: %w", ErrDamaged, name, err)
	}
	if int64(len(data)) > limit {
		return nil, fmt.Errorf("%w: member %q is longer than it says", ErrDamaged, name)
	}
	return data, nil
}

// AudioSums returns the SHA-256 of each prepared file in the bundle, in its order.
func (b *Bundle) AudioSums() []string {
	var all []string
	for _, m := range b.Manifest.Members {
		if sum, ok := strings.CutPrefix(m.Name, audioPrefix); ok {
			all = append(all, sum)
		}
	}
	return all
}

// Audio copies the prepared file with the given SHA-256 to w. It returns ErrDamaged, wrapped, if the bundle does not contain
// it or it is not what was signed; the caller must then discard what was written to w. An error of w, which is no fault of
// the bundle, is wrapped alone.
func (b *Bundle) Audio(w io.Writer, sum string) error {
	f := b.files[audioPrefix+sum]
	if f == nil {
		return fmt.Errorf("%w: audio %.12s is missing", ErrDamaged, sum)
	}
	r, err := f.Open()
	if err != nil {
		return fmt.Errorf("%w: audio %.12s: %w", ErrDamaged, sum, err)
	}
	defer r.Close()
	h, to := sha256.New(), &noting{Writer: w}
	_, err = io.Copy(io.MultiWriter(to, h), r)
	switch {
	case to.err != nil:
		return fmt.Errorf("audio %.12s: %w", sum, to.err)
	case err != nil:
		return fmt.Errorf("%w: audio %.12s: %w", ErrDamaged, sum, err)
	}
	if hex.EncodeToString(h.Sum(nil)) != sum {
		return fmt.Errorf("%w: audio %.12s is not what was signed", ErrDamaged, sum)
	}
	return nil
}

// noting is a writer that keeps its error, so that it can be distinguished from an error of what is read.
type noting struct {
	io.Writer
	err error
}

// Write implements io.Writer.
func (n *noting) Write(p []byte) (int, error) {
	done, err := n.Writer.Write(p)
	n.err = err
	return done, err
}
