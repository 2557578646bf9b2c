package study

import (
	"fmt"
	"path/filepath"
	"strings"

	"heardiff/trials/bundle"
	"heardiff/trials/ledger"
	"heardiff/trials/store"
)

// begunAt returns every session that the site of a bundle says it has begun, and the numbers that are missing from its list. The number of
// a session that the site imported from elsewhere is in neither.
func begunAt(b *bundle.Bundle) []store.Begun {
	site := b.Fingerprint()
	var all []store.Begun
	numbers, last := map[int]bool{}, 0
	for _, v := range b.Content.Begun {
		numbers[v.Number], last = true, max(last, v.Number)
		if strings.HasSuffix(v.Session, b.SessionSuffix()) {
			all = append(all, store.Begun{Site: site, Number: v.Number, Session: v.Session, Seal: v.Seal})
		}
	}
	for n := 1; n < last; n++ {
		if !numbers[n] {
			all = append(all, store.Begun{Site: site, Number: n})
		}
	}
	return all
}

// noteKit records in the ledger that a kit was opened, and warns if it was opened here before.
func (h *Host) noteKit(b *bundle.Bundle, dir string) error {
	l, err := h.openLedger()
	if err != nil {
		return err
	}
	if dir, err = filepath.Abs(dir); err != nil {
		return err
	}
	before, err := l.TakeKit(b.Manifest.Study, ledger.Place{Study: b.Manifest.Study, Folder: dir})
	for _, v := range before {
		h.warn("this kit's study was taken here before, on %s, into %s: sessions of both are distinguished where their results go", v.At.Local().Format("2 January 2006 15:04"), v.Folder)
	}
	return err
}

// ShortID is a session's id as tables show it.
func ShortID(id string) string { return fmt.Sprintf("%.12s", id) }
