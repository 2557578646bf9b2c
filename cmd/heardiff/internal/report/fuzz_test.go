package report_test

import (
	"errors"
	"math/rand/v2"
	"regexp"
	"testing"

	"heardiff/cmd/heardiff/internal/report"
)

// unread is the part of a page that its check compares by digests alone: most of its bytes.
var unread = regexp.MustCompile(`(?s)<script>.*?</script>|<style>.*?</style>|<svg.*?</svg>`)

// FuzzCheck: whatever a page holds, checking it names what was edited, or says that it is no report.
func FuzzCheck(f *testing.F) {
	invented, _ := invent(f, rand.New(rand.NewPCG(1, 2)))
	for _, in := range []report.Input{study(f), invented} {
		f.Add(unread.ReplaceAll([]byte(write(f, in)), nil))
	}
	f.Add([]byte(`<title id=title>t</title><p id=record-head></p><p id=record-short></p><script id=form></script><pre id=record data-part=end>00	x	y</pre><pre id=plans>1	{}</pre><pre id=sessions>s	1	{}</pre><pre id=journals>0	00	{}</pre><pre id=counted>{"row":0,"parts":[[0,[0]]]}</pre><tr data-row=0><td data-f=p data-v=1>1</td></tr>`))
	f.Fuzz(func(t *testing.T, page []byte) {
		c, err := report.Check(page)
		if err != nil {
			if !errors.Is(err, report.ErrNoPage) {
				t.Error(err)
			}
			return
		}
		for _, s := range c.Sessions {
			if len(s.Faults) > 0 && len(c.Faults) == 0 {
				t.Errorf("session %q: %q, and the page has no fault", s.ID, s.Faults)
			}
		}
	})
}
