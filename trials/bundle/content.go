package bundle

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"heardiff/trials"
)

// Limits of content.json, checked while it is read (judgement, no source; TestEmptyItemsCostNoMemory holds them).
const (
	MaxPlans         = 1_000
	MaxChains        = 1_000
	MaxExcerpts      = 10_000
	MaxPresentations = 1_000 // of one excerpt
	MaxListeners     = 100_000
	MaxSessions      = 100_000
	MaxEntries       = 2_000_000 // of all sessions
	MaxMarks         = 20        // of one session

	maxItem  = 1 << 20 // bytes of one plan or excerpt with all its contents
	maxSmall = 1 << 16 // bytes of one chain, listener or entry, and of a session's other fields
)

// errTooLong is returned by an exhausted budget.
var errTooLong = errors.New("longer than any that is taken")

// budget is a reader that fails after remaining bytes, more than any honest item has.
type budget struct {
	r         io.Reader
	remaining int64
}

// slack is how far the decoder may have read ahead of the current item.
const slack = 2 * maxItem

// Read implements io.Reader.
func (b *budget) Read(p []byte) (int, error) {
	if b.remaining <= 0 {
		return 0, errTooLong
	}
	n, err := b.r.Read(p[:min(int64(len(p)), b.remaining)])
	b.remaining -= int64(n)
	return n, err
}

// decoder reads the content item by item, so that neither one huge item nor millions of empty ones fill the memory before
// they are rejected.
type decoder struct {
	*json.Decoder
	budget  *budget
	until   time.Time // the latest time at which an entry can have been written
	entries int
}

// decodeContent reads the content of a bundle that was made at the given time.
func decodeContent(r io.Reader, made time.Time) (Content, error) {
	b := &budget{r: r, remaining: slack}
	d := &decoder{Decoder: json.NewDecoder(b), budget: b, until: made.Add(24 * time.Hour)}
	d.DisallowUnknownFields()
	var c Content
	err := d.object(map[string]func() error{
		"plans":     func() error { return list(d, "plans", MaxPlans, maxItem, &c.Plans, d.plan) },
		"chains":    func() error { return list(d, "chains", MaxChains, maxSmall, &c.Chains, decoded[Chain](d)) },
		"excerpts":  func() error { return list(d, "excerpts", MaxExcerpts, maxItem, &c.Excerpts, decoded[Excerpt](d)) },
		"listeners": func() error { return list(d, "listeners", MaxListeners, maxSmall, &c.Listeners, decoded[Listener](d)) },
		"sessions":  func() error { return list(d, "sessions", MaxSessions, maxSmall, &c.Sessions, d.session) },
		"begun":     func() error { return list(d, "begun", MaxSessions, maxSmall, &c.Begun, d.begun) },
	})
	if err != nil {
		return Content{}, err
	}
	if _, err := d.Token(); err != io.EOF {
		return Content{}, fmt.Errorf("%w: something follows the content", ErrDamaged)
	}
	return c, nil
}

// damaged wraps an error of the JSON decoder in ErrDamaged.
func damaged(err error) error {
	if err == nil || errors.Is(err, ErrRecord) || errors.Is(err, ErrDamaged) {
		return err
	}
	return fmt.Errorf("%w: content: %w", ErrDamaged, err)
}

// object reads an object of the given fields, each at most once.
func (d *decoder) object(fields map[string]func() error) error {
	if err := d.open('{'); err != nil {
		return err
	}
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return damaged(err)
		}
		name, _ := key.(string)
		read := fields[name]
		if read == nil {
			return fmt.Errorf("%w: content: field %.40q is unknown or appears twice", ErrDamaged, name)
		}
		delete(fields, name)
		if err := read(); err != nil {
			return damaged(err)
		}
	}
	_, err := d.Token()
	return damaged(err)
}

func (d *decoder) open(want json.Delim) error {
	token, err := d.Token()
	if err != nil {
		return damaged(err)
	}
	if token != want {
		return fmt.Errorf("%w: content: %q is missing", ErrDamaged, want.String())
	}
	return nil
}

// list reads an array, or null, of at most most items of at most largest bytes each, and appends them to all. Each item is
// checked as soon as it is read.
func list[T any](d *decoder, what string, most int, largest int64, all *[]T, read func(*T) error) error {
	token, err := d.Token()
	if err != nil || token == nil {
		return damaged(err)
	}
	if token != json.Delim('[') {
		return fmt.Errorf("%w: content: %s are no list", ErrDamaged, what)
	}
	for d.More() {
		if len(*all) == most {
			return fmt.Errorf("%w: more than %d %s", ErrRecord, most, what)
		}
		d.budget.remaining = largest + slack
		var item T
		if err := read(&item); err != nil {
			return fmt.Errorf("%s, number %d: %w", what, len(*all)+1, damaged(err))
		}
		*all = append(*all, item)
	}
	_, err = d.Token()
	return damaged(err)
}

// record wraps in ErrRecord an error that no honest site causes.
func record(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%w: %w", ErrRecord, err)
}

func (d *decoder) begun(b *Begun) error {
	if err := d.Decode(b); err != nil {
		return err
	}
	return record(b.validate())
}

func (d *decoder) plan(p *trials.Plan) error {
	if err := d.Decode(p); err != nil {
		return err
	}
	return record(p.Validate())
}

// checker is a part of the content that can be judged by itself.
type checker interface{ check() error }

// decoded returns what reads a part and checks it.
func decoded[T checker](d *decoder) func(*T) error {
	return func(v *T) error {
		if err := d.Decode(v); err != nil {
			return err
		}
		return record((*v).check())
	}
}

// checked checks parts, as they are when they are read.
func checked[T checker](all []T) error {
	for _, v := range all {
		if err := v.check(); err != nil {
			return record(err)
		}
	}
	return nil
}

func (d *decoder) entry(e *trials.Entry) error {
	if d.entries++; d.entries > MaxEntries {
		return record(fmt.Errorf("more than %d entries in all", MaxEntries))
	}
	if err := d.Decode(e); err != nil {
		return err
	}
	return record(e.Plausible(d.until))
}

func (d *decoder) session(s *Session) error {
	err := d.object(map[string]func() error{
		"id":       func() error { return d.Decode(&s.ID) },
		"plan":     func() error { return d.Decode(&s.Plan) },
		"listener": func() error { return d.Decode(&s.Listener) },
		"device":   func() error { return d.Decode(&s.Device) },
		"escrow":   func() error { return d.Decode(&s.Escrow) },
		"marks":    func() error { return d.Decode(&s.Marks) },
		"entries":  func() error { return list(d, "entries", trials.MaxEntries, maxSmall, &s.Entries, d.entry) },
	})
	if err != nil {
		return err
	}
	return record(s.check())
}
