package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// While a session runs its process must hold no presentation open: which file is open would tell what plays.
func TestNoAudioFileStaysOpen(t *testing.T) {
	study := listeningStudy(t, "abx", 2)
	s := sit(t, study)
	s.line()
	s.hear("x")
	links, err := filepath.Glob("/proc/self/fd/*")
	if err != nil || len(links) == 0 {
		t.Fatalf("no list of open files on this system: %v", err)
	}
	for _, l := range links {
		if name, err := os.Readlink(l); err == nil && strings.Contains(name, "excerpts") {
			t.Errorf("%s is open", name)
		}
	}
	s.say("quit", "stopped")
	<-s.ended
}
