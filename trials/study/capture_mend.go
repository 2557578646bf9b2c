package study

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
)

// defaultPiece is the name of a piece of music for which none is given.
const defaultPiece = "music"

// FiledAs checks how a capture is to be filed, and fills in the name of the piece.
func FiledAs(name, music string) (kind, piece string, err error) {
	k, ok := captureKind(name)
	if !ok {
		return "", "", misusedf("%v %q: %s", OptionKind, name, strings.Join(NamesOf(CaptureKinds()), ", "))
	}
	if k.Piece && music == "" {
		music = defaultPiece
	}
	if !k.Piece && music != "" {
		return "", "", misusedf("%v %q goes with %v %s", OptionMusic, music, OptionKind, Music.Name)
	}
	return k.Name, music, checkText(OptionMusic, music)
}

// unusedCapture returns a capture, and refuses music from which an excerpt was cut.
func (s *Study) unusedCapture(ctx context.Context, id int) (Capture, error) {
	c, err := s.Capture(ctx, id)
	if err != nil {
		return c, InStudy(err)
	}
	if !isPiece(c.Kind) {
		return c, nil
	}
	excerpts, err := s.Excerpts(ctx)
	if err != nil {
		return c, err
	}
	for _, e := range excerpts {
		used := func(p Presentation) bool { return p.Chain == c.Chain }
		if e.Music == c.Music && slices.ContainsFunc(e.Presentations, used) {
			return c, advised(Rejection, fmt.Errorf("capture %d: excerpt %q was cut from this music of chain %q", id, e.Name, c.Chain),
				phrasef("an excerpt that no plan plays can be removed first (%v); else record the chain again and prepare another", call(ToRemoveExcerpt, with(OptionExcerpt, e.Name))))
		}
	}
	return c, nil
}

// RemoveCapture removes a capture and its measurements from the study and deletes the study's copy of the file; the record keeps what it
// was, and why it was removed. It returns the capture as it was.
func (s *Study) RemoveCapture(ctx context.Context, id int, why string) (Capture, error) {
	if err := checkWhy(why); err != nil {
		return Capture{}, err
	}
	c, err := s.unusedCapture(ctx, id)
	if err != nil {
		return c, err
	}
	if err := s.record.RemoveCapture(ctx, id, why); err != nil {
		return c, InStudy(err)
	}
	// The record decides what is in the study: a file that stays behind does no harm.
	if err := s.dropAudio(ctx, c.Path); err != nil {
		s.warn("the study's copy %s stays: %v", c.Path, err)
	}
	return c, nil
}

// RefileCapture files a capture under another kind, and returns it as it is filed now. Its measurements are removed.
func (s *Study) RefileCapture(ctx context.Context, id int, kind, music, why string) (Capture, error) {
	kind, music, err := FiledAs(kind, music)
	if err := cmp.Or(err, checkWhy(why)); err != nil {
		return Capture{}, err
	}
	c, err := s.unusedCapture(ctx, id)
	if err != nil {
		return c, err
	}
	if isSent(kind) || isSent(c.Kind) {
		return c, advised(Rejection, fmt.Errorf("capture %d: an integrity capture is compared with the file that was sent when it is added", c.ID),
			phrasef("remove it (%v) and add the file again", call(ToRemoveCapture, with(OptionCapture, c.ID))))
	}
	c.Kind, c.Music = kind, music
	if err := s.checkMates(ctx, c, fmt.Sprintf("capture %d", c.ID)); err != nil {
		return c, err
	}
	return c, InStudy(s.record.RefileCapture(ctx, c.ID, c.Kind, c.Music, why))
}
