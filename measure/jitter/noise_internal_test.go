package jitter

import "testing"

// What a line leaves within three bins of the record counts as no noise, and what is farther away does.
func TestBinsNextToALineAreHidden(t *testing.T) {
	r := &record{binHz: 1, pad: 1.5, pm: make([]complex128, 1000)}
	hidden := r.hide([]peak{{hz: 500}}, []span{{100, 110}})
	for k, want := range map[int]bool{493: false, 496: true, 500: true, 504: true, 507: false, 99: false, 100: true, 109: true, 110: false} {
		if hidden[k] != want {
			t.Errorf("bin %d is hidden: %v", k, hidden[k])
		}
	}
}
