package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"heardiff/playback/audiofile"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
	"heardiff/trials/store/atomicfile"
	"heardiff/trials/study"
)

// destination is where a command was asked to write: checked before any work is done, and again after it.
//
// A file appears complete or not at all. An existing one is replaced only if it is of the kind that is
// written and --force asks for it; a file of a study never is. A pipe or a device is written to, and stays what it is.
type destination struct {
	app    *app
	named  string // as the command line has it
	path   string // with links followed
	kind   outputKind
	exists bool
	// stream says that path is a pipe or a device, or what standard output leads to.
	stream bool
}

// outputKind is a kind of file that commands write.
type outputKind struct {
	name string // with its article
	is   func(head []byte) bool
}

// headBytes is how much of a file is read to recognise its kind.
const headBytes = 1024

// wavHead is the length in bytes of what a WAV file begins with: RIFF or RF64, a size, WAVE.
const wavHead = 12

var (
	reportFile = outputKind{"a report", func(head []byte) bool {
		return bytes.Contains(head, []byte(`<meta name="generator" content="heardiff">`))
	}}
	bundleFile = outputKind{"a bundle", beginsWith("PK\x03\x04")}
	noteFile   = outputKind{"a note of heardiff's", beginsWith(`{"schema":"heardiff.`)}
	svgFile    = outputKind{"an SVG picture", func(head []byte) bool { return bytes.Contains(head, []byte("<svg")) }}
	pngFile    = outputKind{"a PNG picture", beginsWith("\x89PNG\r\n\x1a\n")}
	wavFile    = outputKind{"a WAV file", func(head []byte) bool {
		return len(head) > wavHead && string(head[8:wavHead]) == "WAVE" && (string(head[:4]) == "RIFF" || string(head[:4]) == "RF64")
	}}
	// tapeFile is a WAV file as the output device file:PATH writes it.
	tapeFile = outputKind{"a tape of an earlier session", func(head []byte) bool {
		tape := wav.Header(pcm.Format{Rate: 48000, Channels: 2, Bits: 32, Float: true}, 0)
		coded := bytes.Index(tape, []byte("fmt ")) + 10 // name, size and coding of the format
		return len(head) > coded && bytes.Equal(head[8:coded], tape[8:coded])
	}}
)

func beginsWith(text string) func(head []byte) bool {
	return func(head []byte) bool { return bytes.HasPrefix(head, []byte(text)) }
}

// tableOf is the kind of a table whose first column has that name.
func tableOf(column string) outputKind {
	return outputKind{"such a table", func(head []byte) bool {
		return bytes.HasPrefix(head, []byte(column+",")) || bytes.HasPrefix(head, []byte(column+"\n"))
	}}
}

// forceFlag lets a command replace what exists at its destination.
func (a *app) forceFlag(c *cobra.Command) {
	c.Flags().BoolVar(&a.force, "force", false, "replace what an earlier run wrote there")
}

// destination checks the place where a file of the kind is to be written.
func (a *app) destination(path string, kind outputKind) (destination, error) {
	d := destination{app: a, named: path, path: path, kind: kind}
	info, err := os.Stat(path)
	switch {
	case err == nil && (a.isStdout(info) || !info.Mode().IsRegular() && !info.IsDir()):
		d.stream = true
		return d, nil
	case err == nil && info.IsDir():
		return d, rejected(fmt.Errorf("%s is a folder", path), folderHint)
	case err == nil:
		d.exists = true
	case !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, errNotFolder):
		return d, audiofile.Named(path, err)
	default:
		if err := folderThere(path); err != nil {
			return d, err
		}
	}
	if d.path, err = atomicfile.Followed(path); err != nil {
		return d, misused(err)
	}
	if study.OwnPlace(d.path) {
		return d, study.Blamed(study.Misuse, fmt.Errorf("%s is a place for a study's own files", path), "name a file elsewhere")
	}
	return d, d.mayReplace()
}

const folderHint = "name a file in a folder that is there, or make the folder first"

// folderThere refuses a path in a folder that does not exist.
func folderThere(path string) error {
	dir := filepath.Dir(path)
	switch info, err := os.Stat(dir); {
	case err != nil:
		return rejected(fmt.Errorf("%s: there is no folder %s", path, dir), folderHint)
	case !info.IsDir():
		return rejected(fmt.Errorf("%s: %s is no folder", path, dir), folderHint)
	}
	return nil
}

// mayReplace refuses to replace what exists at the path, unless it is of the kind that is written and --force was given.
func (d destination) mayReplace() error {
	if !d.exists {
		return nil
	}
	if !d.app.force {
		return study.Blamed(study.Misuse, fmt.Errorf("%s is there already", d.named), "--force replaces it; or name another file")
	}
	head, err := headOf(d.path)
	if err != nil {
		return audiofile.Named(d.named, err)
	}
	if len(head) > 0 && !d.kind.is(head) {
		return study.Blamed(study.Misuse, fmt.Errorf("%s is not %s and is not replaced", d.named, d.kind.name), "remove it first, or name another file")
	}
	return nil
}

// headOf returns the first bytes of a file.
func headOf(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, headBytes))
}

// isStdout reports whether the file is the one to which standard output leads.
func (a *app) isStdout(info os.FileInfo) bool {
	f, ok := a.raw.(*os.File)
	if !ok {
		return false
	}
	own, err := f.Stat()
	return err == nil && os.SameFile(own, info)
}

// output is a file on its way to its destination.
type output struct {
	*atomicfile.File
	to destination
}

// begin makes an empty output. Output to a pipe or a device is first assembled in the folder for temporary files: otherwise
// half of it would be sent before a fault was found, and some writers write parts twice.
func (d destination) begin() (*output, error) {
	dir := filepath.Dir(d.path)
	if d.stream {
		dir = os.TempDir()
	}
	atomicfile.Sweep(dir)
	f, err := atomicfile.NewFile(dir)
	if err != nil {
		return nil, err
	}
	if d.stream { // nobody but its reader is meant to see it
		if err := f.Chmod(0o600); err != nil {
			f.Discard()
			return nil, err
		}
	}
	return &output{f, d}, nil
}

// commit puts the output in its place, or sends it there. Without it, Discard removes it.
func (o *output) commit(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if o.to.stream {
		defer o.Discard()
		return o.send(ctx)
	}
	err := o.Place(o.to.path, o.to.exists)
	if errors.Is(err, fs.ErrExist) {
		return study.Blamed(study.Misuse, fmt.Errorf("%s is there now: something else wrote it meanwhile", o.to.named), "name another file")
	}
	return err
}

// send copies the output to a pipe or a device.
func (o *output) send(ctx context.Context) error {
	if _, err := o.Seek(0, io.SeekStart); err != nil {
		return err
	}
	if info, err := os.Stat(o.to.path); err == nil && o.to.app.isStdout(info) {
		o.to.app.stdout = o.to.app.stderr // messages must not end up in the output
		_, err := io.Copy(o.to.app.verbatim, o.File.File)
		return err
	}
	pipe, err := openStream(ctx, o.to.path)
	if err != nil {
		return err
	}
	defer pipe.Close()
	stop := context.AfterFunc(ctx, func() { pipe.SetWriteDeadline(time.Unix(1, 0)) }) // nobody may be reading
	defer stop()
	_, err = io.Copy(pipe, o.File.File)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return errors.Join(err, pipe.Close())
}

// write puts what write writes at the destination in one step.
func (d destination) write(ctx context.Context, write func(w io.Writer) error) error {
	o, err := d.begin()
	if err != nil {
		return err
	}
	defer o.Discard()
	if err := write(o); err != nil {
		return err
	}
	return o.commit(ctx)
}

// outputWAV is a WAV file on its way to its destination.
type outputWAV struct {
	*wav.Writer
	out *output
}

// wav begins a WAV file.
func (d destination) wav(f pcm.Format, q *pcm.Quantizer) (*outputWAV, error) {
	o, err := d.begin()
	if err != nil {
		return nil, err
	}
	w, err := wav.NewWriter(o, f, q)
	if err != nil {
		o.Discard()
		return nil, err
	}
	return &outputWAV{w, o}, nil
}

// commit completes the file and puts it in its place; its note, where it has one, comes there with it or not at all.
func (w *outputWAV) commit(ctx context.Context, note []byte) error {
	if err := w.Close(); err != nil {
		return err
	}
	to := w.out.to
	if to.stream || note == nil { // a pipe has no place for a note
		return w.out.commit(ctx)
	}
	noteFile, err := to.note()
	if err != nil {
		return err
	}
	if err := noteFile.write(ctx, func(out io.Writer) error {
		_, err := out.Write(append(note, '\n'))
		return err
	}); err != nil {
		return err
	}
	if err := w.out.commit(ctx); err != nil {
		if !noteFile.exists { // a note without its audio is half of what was asked for
			return errors.Join(err, os.Remove(noteFile.path))
		}
		return err
	}
	return nil
}

// discard removes the file unless it was committed. It can be deferred.
func (w *outputWAV) discard() { w.out.Discard() }

// destinationWAV is destination of a WAV file and of its note.
func (a *app) destinationWAV(path string) (destination, error) {
	d, err := a.destination(path, wavFile)
	if err == nil && !d.stream {
		_, err = d.note()
	}
	return d, err
}

// note is the destination of the note of a WAV file. A note without its WAV file, left by a process that was killed in between, is replaced.
func (d destination) note() (destination, error) {
	a := *d.app
	a.force = a.force || !d.exists
	return a.destination(d.named+".json", noteFile)
}
