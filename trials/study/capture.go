package study

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"heardiff/measure"
	"heardiff/measure/integrity"
	"heardiff/playback/audiofile"
	"heardiff/playback/pcm"
	"heardiff/stats/wire"
	"heardiff/trials/store/atomicfile"
)

// CaptureOptions say what recordings are, and of which chain they are.
type CaptureOptions struct {
	Chain, Kind string
	Music       string // of music: the piece, "": the usual name
	Sent        string // of a kind that is compared when it is added: the file that was played
}

// Check refuses options that are invalid in every study.
func (o CaptureOptions) Check() error {
	_, err := o.check()
	return err
}

// check returns the options with defaults filled in, and refuses invalid ones.
func (o CaptureOptions) check() (CaptureOptions, error) {
	var err error
	if o.Kind, o.Music, err = FiledAs(o.Kind, o.Music); err != nil {
		return o, err
	}
	if isSent(o.Kind) != (o.Sent != "") {
		return o, misusedf("%v FILE goes with %v %s, and is needed there: the file that was played", OptionSent, OptionKind, Integrity.Name)
	}
	return o, nil
}

// AddedCapture is a capture that was added.
type AddedCapture struct {
	Capture
	Holds     string            `json:"holds"` // as a first look sees it
	Integrity *integrity.Result `json:"integrity,omitempty"`
}

// AddCapture copies a recording of a chain into the study; an integrity capture is compared first with what was sent, and its result
// kept. Nothing stays of a file that is refused.
func (s *Study) AddCapture(ctx context.Context, o CaptureOptions, file string) (AddedCapture, error) {
	var added AddedCapture
	o, err := o.check()
	if err != nil {
		return added, err
	}
	if _, err := s.Chain(ctx, o.Chain); err != nil {
		return added, InStudy(err)
	}
	added.Capture = Capture{Chain: o.Chain, Kind: o.Kind, Music: o.Music}
	copied, err := s.copyIn(ctx, file)
	if err != nil {
		return added, err
	}
	defer copied.Discard()
	var data []byte
	if o.Sent != "" {
		r, err := s.CompareSent(ctx, o.Sent, copied.Name())
		if err != nil {
			return added, inNameOf(file, copied.Name(), err)
		}
		if data, err = wire.Marshal(r); err != nil {
			return added, err
		}
		added.Integrity = &r
	}
	var look measure.Look
	if added.Capture, look, err = s.addCapture(ctx, added.Capture, file, copied); err != nil {
		return added, err
	}
	added.Holds = look.String()
	k, _ := KindNamed(added.Kind)
	if odd := k.misfit(look); odd != "" {
		s.warn("%s, now capture %d: %s; was it another signal? %v files it anew, %v removes it", file, added.ID, odd, call(ToRefileCapture), call(ToRemoveCapture))
	}
	if data == nil {
		return added, nil
	}
	return added, s.record.SaveMeasurement(ctx, Measurement{Capture: added.ID, Kind: o.Kind, Result: data})
}

// addCapture checks the copy of one file, puts it in its place in the study and records it. It is the copy that is
// checked: the file itself may still be written to. Nothing stays of one that is refused.
func (s *Study) addCapture(ctx context.Context, c Capture, file string, copied *atomicfile.File) (Capture, measure.Look, error) {
	if err := s.describe(ctx, &c, copied.Name()); err != nil {
		return c, measure.Look{}, inNameOf(file, copied.Name(), err)
	}
	look, err := s.look(ctx, copied.Name())
	if err != nil {
		return c, look, inNameOf(file, copied.Name(), err)
	}
	if err := s.checkMates(ctx, c, file); err != nil {
		return c, look, err
	}
	if c.SHA256, err = hashUntil(ctx, copied.Name()); err != nil {
		return c, look, err
	}
	if err := s.checkCopies(ctx, c, file); err != nil {
		return c, look, err
	}
	c.Path = fmt.Sprintf("audio/captures/%s-%s-%.12s%s", c.Chain, c.Kind, c.SHA256, strings.ToLower(filepath.Ext(file)))
	var added Capture
	err = s.placeAudio(ctx, c.Path, func(path string) error { return copied.Rename(path, false) }, func() error {
		added, err = s.record.AddCapture(ctx, c)
		return err
	})
	if errors.Is(err, ErrExists) { // another process was faster
		if err := s.checkCopies(ctx, c, file); err != nil {
			return c, look, err
		}
	}
	return added, look, InStudy(err)
}

// checkCopies refuses audio that the chain holds already, and says where another chain does: such a pair is a control.
func (s *Study) checkCopies(ctx context.Context, c Capture, file string) error {
	copies, err := s.record.CapturesBySHA(ctx, c.SHA256)
	if err != nil {
		return err
	}
	for _, same := range copies {
		if same.Chain == c.Chain {
			return Rejected(fmt.Errorf("%s: the same audio is in the study as capture %d of chain %q", file, same.ID, same.Chain),
				"a chain is recorded anew for each capture; a copy tells nothing")
		}
	}
	for _, same := range copies {
		s.warn("%s: the same audio is capture %d of chain %q: a control, which nobody can tell apart", file, same.ID, same.Chain)
	}
	return nil
}

// inNameOf replaces the name of a copy, or of a folder in the making, in an error by the name that the user gave.
func inNameOf(file, copied string, err error) error {
	named := renamed{strings.ReplaceAll(err.Error(), copied, file), err}
	if f, ok := FaultOf(err); ok {
		return advised(f.Blame, named, f.Hint)
	}
	return named
}

// renamed is an error in other words.
type renamed struct {
	text string
	error
}

// Error implements error.
func (r renamed) Error() string { return r.text }

// Unwrap lets errors.Is see the cause.
func (r renamed) Unwrap() error { return r.error }

// describe reads the whole file once, so that damage is found before it gets into the study.
func (h *Host) describe(ctx context.Context, c *Capture, file string) error {
	f, err := audiofile.Open(ctx, file)
	if err != nil {
		return err
	}
	defer f.Close()
	if err := pcm.Verify(pcm.Until(ctx, f, h.progress("reading"))); err != nil {
		return Rejected(fmt.Errorf("%s: %w", file, err), "record it again, or export it again as WAV or FLAC")
	}
	format := f.Format()
	c.RateHz, c.Channels, c.Bits, c.Frames = int(format.Rate), format.Channels, format.Bits, f.Frames()
	return nil
}

// look takes a first look at what a file holds.
func (h *Host) look(ctx context.Context, file string) (measure.Look, error) {
	f, err := audiofile.Open(ctx, file)
	if err != nil {
		return measure.Look{}, err
	}
	defer f.Close()
	l, err := measure.LookAt(pcm.Until(ctx, f, nil))
	if ctx.Err() != nil {
		return l, ctx.Err()
	}
	return l, Rejected(audiofile.Named(file, err), "record it again, or export it again as WAV or FLAC")
}

// checkMates refuses music whose rate or channels disagree with the other captures of the same piece.
func (s *Study) checkMates(ctx context.Context, c Capture, file string) error {
	if !isPiece(c.Kind) {
		return nil
	}
	all, err := s.Captures(ctx)
	if err != nil {
		return err
	}
	for _, mate := range all {
		if isPiece(mate.Kind) && mate.Music == c.Music && (mate.RateHz != c.RateHz || mate.Channels != c.Channels) {
			return Rejected(fmt.Errorf("%s: %d Hz, %d channels, but capture %d of %q has %d Hz, %d channels",
				file, c.RateHz, c.Channels, mate.ID, c.Music, mate.RateHz, mate.Channels),
				"record all chains at one rate; resampling one of them would be a difference of its own")
		}
	}
	return nil
}

// copyIn copies a file into the study's audio folder, as a temporary file that still has to be placed there.
func (s *Study) copyIn(ctx context.Context, file string) (*atomicfile.File, error) {
	in, _, err := pcm.OpenFile(file)
	if errors.Is(err, pcm.ErrNotRegular) {
		return nil, &audiofile.Error{Path: file, Err: audiofile.ErrNotAudio}
	}
	if err != nil {
		return nil, Rejected(audiofile.Named(file, err), "")
	}
	defer in.Close()
	dir := s.Path("audio")
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, fmt.Errorf("make the audio folder: %w", err)
	}
	out, err := atomicfile.NewFile(dir)
	if err != nil {
		return nil, fmt.Errorf("copy into the study: %w", err)
	}
	if _, err := io.Copy(out, untilDone{ctx, in}); err != nil {
		out.Discard()
		return nil, fmt.Errorf("copy into the study: %w", err)
	}
	if err := out.Seal(); err != nil {
		return nil, fmt.Errorf("copy into the study: %w", err)
	}
	return out, nil
}

// CompareSent compares a recording with the file that was sent.
func (h *Host) CompareSent(ctx context.Context, sentPath, receivedPath string) (integrity.Result, error) {
	files, err := audiofile.OpenPair(ctx, sentPath, receivedPath)
	if err != nil {
		return integrity.Result{}, err
	}
	defer files.Close()
	result, err := integrity.Compare(pcm.Until(ctx, files.A, h.progress("reading")), pcm.Until(ctx, files.B, h.progress("comparing")))
	if ctx.Err() != nil {
		return integrity.Result{}, ctx.Err()
	}
	hint := "record digitally, at the rate of the file that was sent"
	if errors.Is(err, integrity.ErrUnrelated) {
		hint = "is this the capture of that file?"
	}
	return result, Rejected(audiofile.Named(receivedPath, err), hint)
}
